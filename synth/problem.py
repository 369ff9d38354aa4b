"""The problem that the search solves and the checker judges: all that is asked, in exact form."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction
from functools import cached_property

from synth.errors import Place
from synth.parts.kit import Kit
from synth.signals import Signal, SignalMachine


class InputKind(StrEnum):
    """What an outside input is, and so which parts follow it."""

    SUPPLY = "supply"
    NIGHT = "night"
    SWITCH = "switch"
    BUTTON = "push-button"
    SENSOR = "sensor"


@dataclass(frozen=True)
class OutsideInput:
    """An outside input and what is known of it (times in ticks, None: nothing known).

    `least_on` and `most_on` bound how long it stays at 1, `least_off` and `most_off` at 0.
    `steady` is the level at which it always stays (a supply that never fails). `released_as` names
    inputs: at no instant at which one of them comes on is this one at 1 (a button that nobody holds
    as power returns).
    """

    name: str
    kind: InputKind
    least_on: int | None = None
    most_on: int | None = None
    least_off: int | None = None
    most_off: int | None = None
    steady: bool | None = None
    released_as: tuple[str, ...] = ()


@dataclass(frozen=True)
class Requirement:
    """What one load must do: in every settled state it is on exactly while `signal` is 1.

    `needs` is in whole units; `goals` are the numbers (from 1) of the goals it stems from.
    """

    load: str
    needs: int
    signal: Signal
    goals: tuple[int, ...] = ()


@dataclass(frozen=True)
class Goal:
    """A goal as the user wrote it: number from 1, phrase, place."""

    number: int
    phrase: str
    place: Place = field(default_factory=Place, compare=False)


@dataclass(frozen=True)
class Apart:
    """Loads `first` and `second` are never on together, not even for a step while settling."""

    first: str
    second: str
    goal: int


@dataclass(frozen=True)
class Peak:
    """The consumers live in any settled state, loads and controls, never use more than `units`."""

    units: int
    goal: int


@dataclass(frozen=True)
class Energy:
    """On every held day (`synth.days`) all consumers, loads and controls, use at most `unit_hours`.

    `nights` are the lengths of the night, in ticks, of the days that are asked about.
    """

    unit_hours: Fraction
    goal: int
    nights: tuple[int, ...]
    others: tuple[int, ...] = ()
    """Goals that ask the same with more unit-hours."""


class Objective(StrEnum):
    """What to minimise."""

    PRICE = "price"
    SUPPLY = "supply"
    WIRES = "wires"


@dataclass(frozen=True)
class Limits:
    """Bounds that the user set: most of each part by its kit name (0: not to be used), the
    largest supply in units, the largest price in coins; and wishes for how a design is built."""

    most: tuple[tuple[str, int], ...] = ()
    supply: int | None = None
    price: int | None = None
    least: tuple[tuple[str, int], ...] = ()
    """At least so many of a part are in use, each with an output that feeds another part."""
    stock: tuple[tuple[str, int], ...] = ()
    """So many of a part are there already: what is to be minimised, and the largest price, count
    what has to be bought beside them."""
    spare: int = 0
    """So many units the supply delivers beyond what the design needs; `supply` counts them."""
    branches: tuple[tuple[str, str], ...] = ()
    """Pairs of loads on separate branches: no part but the supply and splitting parts carries
    power to both."""
    untimed: tuple[str, ...] = ()
    """Loads whose power comes through no part with a running time."""

    def about(self, loads: Collection[str]) -> Limits:
        """Return these limits without what is said of loads that are not among `loads`."""
        return replace(
            self,
            branches=tuple(p for p in self.branches if p[0] in loads and p[1] in loads),
            untimed=tuple(load for load in self.untimed if load in loads),
        )

    def of_a_part(self) -> Limits:
        """Return what must hold of a part of the whole too, when that part is asked by itself.

        How many parts there must be at least, and what a price comes to beside what is in stock,
        only the whole can say.
        """
        price = None if self.stock else self.price
        return replace(self, price=price, least=(), stock=())


@dataclass(frozen=True)
class Problem:
    """All that is asked: requirements in the order of evaluation, inputs, kit, limits, wishes."""

    title: str
    kit: Kit
    goals: tuple[Goal, ...]
    requirements: tuple[Requirement, ...]
    inputs: tuple[OutsideInput, ...]
    never_together: tuple[tuple[str, ...], ...] = ()
    """Groups of inputs of which at most one is ever at 1."""
    apart: tuple[Apart, ...] = ()
    peak: Peak | None = None
    energy: Energy | None = None
    limits: Limits = Limits()
    objectives: tuple[Objective, ...] = (Objective.PRICE, Objective.SUPPLY, Objective.WIRES)
    assumptions: tuple[str, ...] = ()
    times: tuple[int, ...] = ()
    """The timer settings on offer to the search, in ticks, ascending."""
    contradictions: tuple[str, ...] = ()
    """Which goals contradict each other in so many words, in sentences. Where there are any, no
    design does all that is asked, and the requirements are only those that can be."""

    @cached_property
    def machine(self) -> SignalMachine:
        """The required signals of all loads, run side by side."""
        return SignalMachine(tuple((r.load, r.signal) for r in self.requirements))

    @property
    def coupled(self) -> tuple[tuple[str, ...], ...]:
        """Groups of inputs of which what one does may bear on what another can do."""
        held = ((item.name, other) for item in self.inputs for other in item.released_as)
        return (*self.never_together, *held)

    def may_follow(self, before: Mapping[str, bool] | None, after: Mapping[str, bool]) -> bool:
        """Return whether the levels `after` may follow `before` at once, as far as inputs bear on
        one another; an input that is not named is at 0.

        `before` None: the supply comes on for the first time. Other inputs may have been at their
        levels for long then.
        """
        if any(sum(after.get(name, False) for name in group) > 1 for group in self.never_together):
            return False
        for item in self.inputs:
            if item.released_as and after.get(item.name, False):
                for other in item.released_as:
                    was = other != "supply" if before is None else before.get(other, False)
                    if after.get(other, False) and not was:
                        return False
        return True

    def input(self, name: str) -> OutsideInput:
        """Return the outside input `name`; KeyError if there is none."""
        for item in self.inputs:
            if item.name == name:
                return item
        raise KeyError(name)
