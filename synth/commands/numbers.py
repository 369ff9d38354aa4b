"""Numbers given to options, within a range: what is wrong with one is said in plain words."""

from __future__ import annotations

from typing import Any

import click


class Number(click.FloatRange):
    """A number from `min` to `max`."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number; fail with what it has to be."""
        assert self.min is not None and self.max is not None
        try:
            number = float(value)
        except ValueError:
            self.fail(f"'{value}' is no number", param, ctx)
        # What is neither smaller nor larger ("nan") is for the option to refuse.
        if number < self.min or number > self.max:
            self.fail(f"{value} is not from {self.min:g} to {self.max:g}", param, ctx)
        return number


class Whole(click.IntRange):
    """A whole number from `min` to `max`."""

    name = "whole number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> int:
        """Return the number; fail with what it has to be."""
        assert self.min is not None and self.max is not None
        try:
            number = int(value)
        except ValueError:
            self.fail(f"'{value}' is no whole number", param, ctx)
        if not self.min <= number <= self.max:
            self.fail(f"{value} is not from {self.min} to {self.max}", param, ctx)
        return number
