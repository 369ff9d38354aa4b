"""What all of the search speaks of: its tools, its progress, what it found, its fixed bounds."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from synth.design import Design, Skeleton
from synth.problem import Objective, Problem
from synth.result import Verdict
from synth.search.bounds import sharing_floor
from synth.search.lists import PartsList
from synth.trace import Moment

Key = tuple[int, ...]
"""Objectives in their order."""
DEPTH = 8
"""Evaluations in which a circuit must have settled after an event: a bound of every claim."""
LARGEST = 500_000
"""Most clauses of a question, by estimate; a larger one is not put, and nothing is claimed of it.
It keeps the memory of the whole process within some 300 MB."""
POINTS = 26
"""Most grid points that a scenario starts with."""


@dataclass(frozen=True)
class Tools:
    """What the search needs of other rooms, handed in by the pipeline.

    `share` turns a wiring into the best complete design (None: its power cannot be shared within
    the limits), `check` judges a design exactly, `instants` gives the moments in ticks at which
    anything happens in a concrete run up to `end`, `fan_out` prices a net. `fast` says that the
    optional solver for plain clauses, which must be installed, answers what it can.
    """

    share: Callable[[Skeleton, Problem], Design | None]
    check: Callable[[Design, Problem], Verdict]
    instants: Callable[[Design, Problem, Sequence[Moment], Fraction], Sequence[Fraction]]
    fan_out: Callable[[int], int | None]
    fast: bool = False


def floor_for(tools: Tools) -> Callable[[int], int | None]:
    """Return the least price of splitting by surplus of inputs, see `bounds.sharing_floor`."""
    return sharing_floor(tools.fan_out)


def design_key(design: Design, problem: Problem) -> Key:
    """Return what a design costs by each objective, in their order."""
    values = {
        Objective.PRICE: design.price(problem.kit),
        Objective.SUPPLY: design.supply,
        Objective.WIRES: len(design.wires),
    }
    return tuple(values[objective] for objective in problem.objectives)


@dataclass
class Progress:
    """Reports what is known so far; `asked_to_stop` says when to end with what there is."""

    report: Callable[[str, int | None, int | None], None] = lambda stage, price, bound: None
    deadline: float = float("inf")
    asked_to_stop: Callable[[], bool] = lambda: False

    def over(self) -> bool:
        """Return whether time is up."""
        return self.asked_to_stop() or time.monotonic() >= self.deadline

    def left(self) -> float:
        """Return the seconds that are left (at most an hour, so that solvers accept it)."""
        return 0.0 if self.asked_to_stop() else min(3600.0, self.deadline - time.monotonic())


@dataclass(frozen=True)
class LearnedRun:
    """A run that refuted a wiring: its moments, last instant (ticks), and instants of events."""

    moments: tuple[Moment, ...]
    last: int
    instants: tuple[Fraction, ...] = ()


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
    the design. `doubt` says that `floor` is where a question had to be left open. `exhausted`:
    no list is left at all. `first` is the key of the first list that works or may work: all
    before it were refuted, so no design has a lesser key. `refuted` counts lists.
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
