"""The options that all commands have that search: seed, faster solver, memory."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from synth.commands.numbers import Whole

Command = TypeVar("Command", bound=Callable[..., Any])
_OPTIONS = (
    click.option("--seed", type=Whole(0, 2**31 - 1), default=1, show_default=True),
    click.option(
        "--fast",
        is_flag=True,
        help="Let the optional solver for plain clauses answer what it can "
        "(pip install '.[fast]').",
    ),
    click.option(
        "--no-cache", is_flag=True, help="Neither use nor keep what was proven in earlier runs."
    ),
)


def searches(command: Command) -> Command:
    """Give a command the options `seed`, `fast` and `no_cache`, in this order."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command
