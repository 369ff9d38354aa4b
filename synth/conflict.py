"""What clashes: the smallest set of goals and limits that cannot be had together, and ways out."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from synth.result import Status


class Kind(StrEnum):
    """What a wish is."""

    GOAL = "goal"
    SUPPLY = "supply"
    """The largest supply, in units."""
    PRICE = "price"
    """The largest price, in coins."""
    MOST = "most"
    """The most of one part."""
    LEAST = "least"
    """At least so many of one part."""
    SPARE = "spare"
    """Units of the supply to spare."""
    BRANCHES = "branches"
    """Two loads on separate branches."""
    UNTIMED = "untimed"
    """A load that gets its power through no timer."""


@dataclass(frozen=True, order=True)
class Wish:
    """A goal (`number` is its own) or a limit (`number` is its value, `part` the kit's name,
    `loads` those that it is about)."""

    kind: Kind
    number: int
    part: str = ""
    loads: tuple[str, ...] = ()


@dataclass(frozen=True)
class WayOut:
    """What may give so that all the rest can be had: `dropped` wishes, or one of them set to
    `value` (a limit, or the units or a time of a goal); a design that was checked shows that it
    suffices, at `price` and `supply`.

    `least`: no smaller change will do; proven. `cheapest`: no design for all the rest has a lower
    price; proven. `time`: the time, in ticks, that a goal has in place of which `value` is tried.
    Where several give, `values` has for each of `dropped` what it is set to, None if it goes.
    """

    dropped: tuple[Wish, ...]
    value: int | None
    price: int
    supply: int
    least: bool = False
    cheapest: bool = False
    time: int | None = None
    values: tuple[int | None, ...] = ()
    unit_hours: Fraction | None = None
    """What a goal about energy is set to; `value` is None then."""

    @property
    def given(self) -> tuple[tuple[Wish, int | None], ...]:
        """Each wish that gives, with what it is set to; None where it is dropped."""
        values = self.values or (self.value,) * len(self.dropped)
        return tuple(zip(self.dropped, values, strict=True))


@dataclass(frozen=True)
class Conflict:
    """Why a whole list cannot be had.

    `status` of the whole list: only when it is impossible is there a clash. `clash` cannot be
    had, proven; `smallest` says that no smaller set clashes, proven. `reasons` are the search's.
    Where it is undecided, `together` can be had together, as a checked design shows, the most of
    all that were tried; `open` could be neither had with those nor ruled out. `tried` counts the
    questions put, `seconds` they took in all, and `bound` is a proven least price, in coins.
    `others` are further clashes, proven, each with a wish that a way out names and `clash` does
    not hold. `stopped`: the user ended the search.
    """

    status: Status
    clash: tuple[Wish, ...] = ()
    smallest: bool = False
    reasons: tuple[str, ...] = ()
    ways: tuple[WayOut, ...] = ()
    notes: tuple[str, ...] = ()
    bounds: tuple[str, ...] = ()
    together: tuple[Wish, ...] = ()
    open: tuple[Wish, ...] = ()
    tried: int = 0
    seconds: float = 0.0
    bound: int | None = None
    time_up: bool = True
    """Where it is undecided: whether it was the time that ended the search."""
    others: tuple[tuple[Wish, ...], ...] = ()
    stopped: bool = False
