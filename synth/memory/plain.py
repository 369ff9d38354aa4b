"""Frozen data as plain JSON data and back, strictly: nothing in a file is ever executed.

Going back is led by the type that is wanted, not by what the file says, and every value must be
of just the type that its field declares.
"""

from __future__ import annotations

import types
import typing
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from fractions import Fraction
from functools import cache
from typing import Any

from synth.problem import Problem

NAME = ""
"""The key under which plain data of a class holds the name of that class."""


class Unfit(ValueError):
    """Plain data that is not of the wanted form."""


def essence(problem: Problem) -> Problem:
    """Return `problem` without what only its reader sees: title, phrases, numbers of goals,
    assumptions told, what is said about the kit and where it lies.

    What is left decides every answer; equal essences have equal answers, to the byte.
    """
    parts = tuple(replace(part, about="") for part in problem.kit.parts)
    return replace(
        problem,
        title="",
        kit=replace(problem.kit, title="", about="", file="", parts=parts),
        goals=(),
        requirements=tuple(replace(r, goals=()) for r in problem.requirements),
        apart=tuple(replace(pair, goal=0) for pair in problem.apart),
        peak=None if problem.peak is None else replace(problem.peak, goal=0),
        energy=None if problem.energy is None else replace(problem.energy, goal=0, others=()),
        assumptions=(),
    )


def to_plain(value: object) -> Any:
    """Return frozen data as plain data: classes with their names, fractions as two integers.

    Raises TypeError for what has no plain form.
    """
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, Fraction):
        return [value.numerator, value.denominator]
    if isinstance(value, tuple):
        return [to_plain(item) for item in value]
    if is_dataclass(value) and not isinstance(value, type):
        plain: dict[str, Any] = {NAME: type(value).__name__}
        for field in fields(value):
            if field.init:
                plain[field.name] = to_plain(getattr(value, field.name))
        return plain
    raise TypeError(f"{type(value).__name__} has no plain form")


def from_plain(form: Any, data: Any) -> Any:
    """Return the value of type `form` that `data` is the plain form of.

    `form` is built of None, bool, int, str, Fraction, enumerations, tuples, dataclasses and
    unions of them. Raises Unfit where `data` is anything else.
    """
    origin, inner = typing.get_origin(form), typing.get_args(form)
    if origin is tuple:
        if not isinstance(data, list):
            raise Unfit("a list is missing")
        if len(inner) == 2 and inner[1] is Ellipsis:
            return tuple(from_plain(inner[0], item) for item in data)
        if len(inner) != len(data):
            raise Unfit("a list of another length")
        return tuple(from_plain(kind, item) for kind, item in zip(inner, data, strict=True))
    if origin in (types.UnionType, typing.Union):
        for kind in inner:
            try:
                return from_plain(kind, data)
            except Unfit:
                continue
        raise Unfit("none of the forms that are allowed here")
    if form is Fraction:
        above, below = from_plain(tuple[int, int], data)
        if below < 1:
            raise Unfit("no fraction")
        return Fraction(above, below)
    if form in (bool, int, str, types.NoneType):
        if type(data) is not form:
            raise Unfit(f"no {form.__name__}")
        return data
    if isinstance(form, type) and issubclass(form, Enum):
        try:
            return form(data)
        except ValueError:
            raise Unfit(f"no {form.__name__}") from None
    if isinstance(form, type) and is_dataclass(form):
        hints = _hints(form)
        if not isinstance(data, dict) or set(data) != {NAME, *hints} or data[NAME] != form.__name__:
            raise Unfit(f"no {form.__name__}")
        return form(**{name: from_plain(kind, data[name]) for name, kind in hints.items()})
    raise Unfit(f"{form} is never kept")


@cache
def _hints(form: type) -> dict[str, Any]:
    """Return the types of the fields that a dataclass is made from, in their order."""
    hints = typing.get_type_hints(form)
    return {field.name: hints[field.name] for field in fields(form) if field.init}
