"""Numbers given to options, within a range: what is wrong with one is said in plain words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

Read = TypeVar("Read", int, float)


class Number(click.FloatRange):
    """A number from `min` to `max`."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number; fail with what it has to be."""
        return _within(self, float, value, param, ctx)


class Whole(click.IntRange):
    """A whole number from `min` to `max`."""

    name = "whole number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> int:
        """Return the number; fail with what it has to be."""
        return _within(self, int, value, param, ctx)


def _within(
    kind: Number | Whole,
    read: Callable[[Any], Read],
    value: Any,
    param: click.Parameter | None,
    ctx: click.Context | None,
) -> Read:
    assert kind.min is not None and kind.max is not None
    try:
        number = read(value)
    except ValueError:
        kind.fail(f"'{value}' is no {kind.name}", param, ctx)
    if number != number:
        kind.fail(f"'{value}' is no {kind.name}", param, ctx)  # "nan"
    if not kind.min <= number <= kind.max:
        kind.fail(f"{value} is not from {kind.min} to {kind.max}", param, ctx)
    return number
