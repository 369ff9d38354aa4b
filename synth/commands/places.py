"""Files and folders given on the command line: what is wrong with one is said before the work."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click


class Named(click.ParamType[str]):
    """A name that is not empty: most often an empty one is a variable of a shell, never set."""

    name = "text"

    def __init__(self, what: str) -> None:
        """`what` is asked for, as in 'a kit'."""
        self.what = what

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> str:
        """Return the name; fail where there is none."""
        if not str(value).strip():
            self.fail(f"{self.what} is expected, and the name given is empty", param, ctx)
        return str(value)


class Folder(Named):
    """A folder to write into, there or to be made; `or_file`: or a file in one."""

    def __init__(self, or_file: bool = False) -> None:
        super().__init__("a folder")
        self.or_file = or_file

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> str:
        """Return its path; fail where nothing could be written to it."""
        name = super().convert(value, param, ctx)
        wrong = _in_the_way(Path(name), self.or_file)
        if wrong:
            self.fail(f"cannot write into '{name}': {wrong}; choose another folder", param, ctx)
        return name


FOLDER = Folder()
FOLDER_OR_FILE = Folder(or_file=True)
_KIT = Named("a kit")
any_kit = click.option(
    "--kit", type=_KIT, metavar="NAME|FILE", help="starter, full, or a kit file of your own."
)
"""The option of a command that makes a design."""
kit_of_design = click.option(
    "--kit", type=_KIT, metavar="NAME|FILE", help="The kit; by default the one the design names."
)
"""The option of a command that is given a design."""


def _in_the_way(path: Path, or_file: bool) -> str:
    """Return why nothing can be written to `path`, "" if nothing is known to be in the way."""
    try:
        if or_file and path.is_file():
            path = path.parent
        while not path.exists() and path != path.parent:
            path = path.parent
        if not path.is_dir():
            return f"'{path}' is no folder"
        return "" if os.access(path, os.W_OK | os.X_OK) else f"nothing may be written to '{path}'"
    except (OSError, ValueError) as failure:
        return getattr(failure, "strerror", None) or str(failure)


def goals_given(goals: str) -> tuple[str | None, str | None]:
    """Return (file, None) where `goals` names a file of goals, else (None, the goals in words)."""
    try:
        there = Path(goals).exists()
    except (OSError, ValueError):  # longer than a name may be, or with signs that none has
        there = False
    if there or (goals.endswith((".yaml", ".yml", ".json")) and "\n" not in goals):
        return goals, None
    return None, goals
