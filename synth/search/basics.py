"""What all of the search speaks of: its tools, its progress, what it found, its fixed bounds."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Protocol, TypeVar

from synth.design import Design, Skeleton
from synth.problem import Objective, Problem
from synth.result import Counterexample, LeftOpen, Verdict
from synth.search.bounds import sharing_floor
from synth.search.lists import Key, PartsList
from synth.trace import Moment, Order

DEPTH = 8
"""Evaluations in which a circuit must have settled after an event: a bound of every claim."""
LARGEST = 300_000
"""Most clauses of a question, by estimate; a larger one is not put, and nothing is claimed of it.
With it the whole process took at most 400 MB on the largest of the examples."""
POINTS = 26
"""Most grid points that a scenario starts with."""


Form = TypeVar("Form")


class Entry(Protocol):
    """The place of one question in a memory of earlier runs."""

    def recall(self, form: type[Form]) -> Form | None:
        """Return the answer that was kept, of type `form`; None where there is none to use."""

    def confirm(self) -> None:
        """Say that what was recalled was checked again, and holds."""

    def drop(self, why: str) -> None:
        """Forget the answer, with a note that says why."""

    def keep(self, answer: object) -> None:
        """Keep the answer (frozen data) for later runs."""


class Memory(Protocol):
    """What earlier runs have proved, wherever it is kept."""

    def entry(self, what: str, problem: Problem, also: tuple[int, ...]) -> Entry:
        """Return the place of what is asked about `problem`; `also` holds all else that the
        answer depends on."""


@dataclass(frozen=True)
class Tools:
    """What the search needs of other rooms, handed in by the pipeline.

    `share` turns a wiring into the best complete design (None: its power cannot be shared within
    the limits), `check` judges a design exactly (None: not in time), `instants` gives the moments
    in ticks at which anything happens in a concrete run up to `end`, `fan_out` prices a net, and
    `wastes` says whether the cheapest split of so many inputs of one unit each wastes units, or,
    with True, if one of them needs more. `orders` gives, by moment, in which order the parts move
    in a counterexample that shows a race (empty: not known). `fast` says that the optional solver
    for plain clauses, which must be installed, answers what it can. `memory` holds what earlier
    runs have proved (None: nothing is known, nothing is kept).
    """

    share: Callable[[Skeleton, Problem], Design | None]
    check: Callable[[Design, Problem], Verdict | None]
    instants: Callable[[Design, Problem, Sequence[Moment], Fraction], Sequence[Fraction]]
    fan_out: Callable[[int], int | None]
    wastes: Callable[[int, bool], bool] = lambda number, uneven: False
    fast: bool = False
    memory: Memory | None = None
    orders: Callable[[Design, Problem, Counterexample], Mapping[Fraction, Order]] = (
        lambda design, problem, example: {}
    )


def floor_for(tools: Tools) -> Callable[[int], int | None]:
    """Return the least price of splitting by surplus of inputs, see `bounds.sharing_floor`."""
    return sharing_floor(tools.fan_out)


def design_key(design: Design, problem: Problem) -> Key:
    """Return what a design costs by each objective, in their order."""
    values = {
        Objective.PRICE: design.price(problem.kit, problem.limits.stock),
        Objective.SUPPLY: design.supply,
        Objective.WIRES: len(design.wires),
    }
    return tuple(values[objective] for objective in problem.objectives)


@dataclass
class Progress:
    """What is known so far of the whole problem, by its first objective, and when to end.

    `show` is told (stage, best, bound) as they improve. `asked_to_stop` says when to end with
    what there is; so does a best design within `gap` percent of the bound. `counts` is whether the
    numbers reported now speak of the whole, `bounded` whether lists come in order of true bounds.
    `limit` is the most that a design may take of the first objective, where that is asked as a
    question about a bound: a design beyond it is none, and a bound beyond it ends the search.
    """

    show: Callable[[str, int | None, int | None], None] = lambda stage, best, bound: None
    deadline: float = float("inf")
    asked_to_stop: Callable[[], bool] = lambda: False
    gap: float | None = None
    best: int | None = None
    bound: int | None = None
    counts: bool = True
    bounded: bool = True
    limit: int | None = None

    def report(self, stage: str, best: int | None, bound: int | None) -> None:
        """Keep what is known of the whole, and show it."""
        if self.counts and best is not None:
            self.best = best if self.best is None else min(self.best, best)
        if self.counts and self.bounded and bound is not None:
            self.bound = bound if self.bound is None else max(self.bound, bound)
        if self.best is not None and self.bound is not None:
            # Lists dearer than the best design prove no more than that it is the best.
            self.bound = min(self.bound, self.best)
        within = self.best is None or self.limit is None or self.best <= self.limit
        self.show(stage, self.best if within else None, self.bound)

    @contextmanager
    def aside(self, really: bool = True) -> Iterator[None]:
        """While a part, or another question, is asked: its numbers say nothing of the whole, and
        no gap ends it."""
        before, self.counts = self.counts, self.counts and not really
        try:
            yield
        finally:
            self.counts = before

    @contextmanager
    def sharing(self, share: float, most: float = float("inf")) -> Iterator[None]:
        """Leave so large a part of the time that is left, and no more than `most` seconds."""
        deadline, now = self.deadline, time.monotonic()
        self.deadline = now + min(most, share * (deadline - now))
        try:
            yield
        finally:
            self.deadline = deadline

    def near(self) -> bool:
        """Return whether the best design is proven to be as near to the bound as was asked for."""
        if self.gap is None or not self.counts or self.best is None or self.bound is None:
            return False
        if self.limit is not None and self.best > self.limit:
            return False
        return 100 * (self.best - self.bound) <= self.gap * self.best

    def beyond(self) -> bool:
        """Return whether no design is within the limit, proven."""
        return self.limit is not None and self.bound is not None and self.bound > self.limit

    def over(self) -> bool:
        """Return whether time is up, or enough is proven."""
        late = self.asked_to_stop() or time.monotonic() >= self.deadline
        return late or self.near() or self.beyond()

    def left(self) -> float:
        """Return the seconds that are left (at most an hour, so that solvers accept it)."""
        stop = self.asked_to_stop() or self.near() or self.beyond()
        return 0.0 if stop else min(3600.0, self.deadline - time.monotonic())


@dataclass(frozen=True)
class LearnedRun:
    """A run that refuted a wiring: its moments, last instant (ticks), instants of events, and in
    which order the parts move at some of them, where they do not all move together."""

    moments: tuple[Moment, ...]
    last: int
    instants: tuple[Fraction, ...] = ()
    orders: tuple[tuple[Fraction, Order], ...] = ()


@dataclass(frozen=True)
class Working:
    """A wiring that was shared out and checked exactly, and the parts list it is made of."""

    skeleton: Skeleton
    design: Design
    verdict: Verdict
    parts_list: PartsList


@dataclass
class Found:
    """What an engine knows at its end.

    `floor` is the key (objectives in order) of the least list not refuted: a bound on every
    design, and on the whole where the engine counts the whole. `closed`: no list is left below
    the design. `doubt` says that `floor` is where a question had to be left open, so that it stays
    whatever comes of later ones. `exhausted`: no list is left at all. `first` is the least key at
    which a list was left with a design of that price, so that it may have others, lesser by the
    later objectives. `refuted` counts lists. `loads` are those of the engine's problem, `left_open`
    the questions behind `doubt`, and `late` says that it ended for want of time.
    """

    best: Working | None = None
    floor: Key | None = None
    first: Key | None = None
    closed: bool = False
    exhausted: bool = False
    doubt: bool = False
    refuted: int = 0
    asked: int = 0
    reasons: list[str] = field(default_factory=list)
    loads: tuple[str, ...] = ()
    left_open: list[LeftOpen] = field(default_factory=list)
    late: bool = False

    @property
    def least(self) -> Key | None:
        """A key that no design is below, in the order of the objectives; None: nothing is known."""
        known = [key for key in (self.floor, self.first) if key is not None]
        return min(known, default=None)
