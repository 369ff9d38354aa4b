"""Ways out of a clash: what may give so that all the rest can be had, each planned and checked.

A wish is dropped, or gives a little: a limit by the least that suffices, the units of a peak by as
many, a time of a goal for another time that the list has too, so that one timer may serve both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Protocol

from synth.conflict import Kind, WayOut, Wish
from synth.problem import Problem
from synth.result import Outcome, Status

MOST_STEPS = 12
"""Most values of a limit that are tried one after the other."""
MOST_TIMES = 4
"""Most other times that are tried for a goal."""
LEAST_SECONDS = 2.0
"""Seconds for one question, at least, as long as there is time."""
ONE_SHARE = 0.125
"""Part of the time left that one question may take."""
STEP_SHARE = 0.5
"""Part of that for one value of a limit, of which several may be tried."""
NUMBERS = frozenset({Kind.SUPPLY, Kind.MOST, Kind.LEAST, Kind.SPARE})
"""Kinds of limits, but for the price, that may give a little."""
DOWN = frozenset({Kind.LEAST, Kind.SPARE})
"""Those that give by becoming smaller."""
Retimed = Callable[[int], Iterable[tuple[int, int, Problem]]]
"""Gives for the goal of a number (old time, new time, problem with it), in ticks."""
Plan = Callable[[Problem, float], Outcome]


class Asking(Protocol):
    """What answers questions about sets of wishes."""

    problem: Problem
    wishes: list[Wish]

    @property
    def any_design(self) -> Plan:
        """Seeks any design."""

    @property
    def report(self) -> Callable[[str], None]:
        """Tells what is being done."""

    def ask(self, wishes: frozenset[Wish]) -> Outcome:
        """Return what comes of planning for these wishes alone."""

    def problem_of(self, wishes: frozenset[Wish]) -> Problem | None:
        """Return the problem of these wishes alone."""

    def ordered(self, wishes: frozenset[Wish]) -> tuple[Wish, ...]:
        """Return wishes in the order in which they are asked."""

    def time_for_one(self) -> float:
        """Return the seconds for one question."""

    def over(self) -> bool:
        """Return whether time is up."""


class Ways:
    """The ways out of one clash."""

    def __init__(self, asking: Asking, cheapest: Plan, retimed: Retimed) -> None:
        self.asking = asking
        self.cheapest = cheapest
        self.retimed = retimed

    def out_of(
        self, clash: Sequence[Wish], left_out: Sequence[frozenset[Wish]]
    ) -> tuple[WayOut, ...]:
        """Return the ways that a checked design has shown: what gives a little before what is
        dropped, the fewest dropped first, then the cheapest."""
        asking = self.asking
        everything = frozenset(asking.wishes)
        sets = {frozenset({wish}) for wish in clash} | set(left_out)
        ways: list[WayOut] = []
        enough: list[frozenset[Wish]] = []
        for dropped in sorted(sets, key=lambda s: (len(s), sorted(s))):
            asking.report("ways out")
            if any(other < dropped for other in enough):
                continue
            if len(dropped) == 1:
                # A goal may suffice with another number even where the rest is not decided.
                ways += self._given(next(iter(dropped)))
            without = asking.ask(everything - dropped)
            problem = asking.problem_of(everything - dropped)
            if without.design is None or problem is None:
                continue
            enough.append(dropped)
            ways += self._way(asking.ordered(dropped), problem, known=without)
        # A limit that gives by so much need not be dropped.
        loosened = {way.dropped for way in ways if way.value is not None}
        kept = [
            way for way in ways
            if way.value is not None
            or way.dropped not in loosened
            or way.dropped[0].kind is Kind.GOAL
        ]  # fmt: skip
        return tuple(sorted(kept, key=lambda way: (way.value is None, len(way.dropped), way.price)))

    def _way(
        self,
        dropped: tuple[Wish, ...],
        problem: Problem,
        value: int | None = None,
        least: bool = False,
        time: int | None = None,
        *,
        known: Outcome,
    ) -> Iterator[WayOut]:
        """Give the way out by way of `problem`, with the cheapest design there is time to find;
        `known` has some design for it."""
        outcome = known
        if known.status is not Status.PROVEN and not self.asking.over():
            outcome = self.cheapest(problem, self.asking.time_for_one())
            if outcome.design is None:
                outcome = known
        if outcome.design is not None:
            price = outcome.design.price(problem.kit, problem.limits.stock)
            if value is None and len(dropped) == 1 and dropped[0].kind is Kind.PRICE:
                value, least = price, outcome.status is Status.PROVEN
            proven = outcome.status is Status.PROVEN
            yield WayOut(dropped, value, price, outcome.design.supply, least, proven, time)

    def _given(self, wish: Wish) -> Iterator[WayOut]:
        """Give the ways out in which one wish is loosened by the least that suffices."""
        problem = self.asking.problem
        if wish.kind is Kind.GOAL:
            if problem.peak is not None and problem.peak.goal == wish.number:
                now = problem.peak.units
                yield from self._first(wish, range(now + 1, now + 1 + MOST_STEPS))
            else:
                yield from self._other_time(wish)
        elif wish.kind in NUMBERS:
            without = self.asking.ask(frozenset(self.asking.wishes) - {wish})
            if without.design is None:
                return
            enough = {
                Kind.SUPPLY: without.design.supply,
                Kind.MOST: sum(part.part == wish.part for part in without.design.parts),
            }.get(wish.kind, 0)
            yield from self._first(wish, self._values(wish, enough))

    @staticmethod
    def _values(wish: Wish, enough: int) -> range:
        """Return the values to try, the nearest first; `enough` suffices."""
        if wish.kind in DOWN:
            return range(wish.number - 1, max(enough - 1, wish.number - 1 - MOST_STEPS), -1)
        return range(wish.number + 1, min(enough + 1, wish.number + 1 + MOST_STEPS))

    def _first(self, wish: Wish, values: range) -> Iterator[WayOut]:
        """Give the way out with the first of the values that suffices."""
        least = True
        for value in values:
            if self.asking.over():
                return
            problem = with_value(self.asking.problem, wish, value)
            outcome = self.asking.any_design(problem, STEP_SHARE * self.asking.time_for_one())
            if outcome.design is not None:
                yield from self._way((wish,), problem, value, least, known=outcome)
                return
            least = least and outcome.status is Status.IMPOSSIBLE

    def _other_time(self, wish: Wish) -> Iterator[WayOut]:
        """Give the way out in which one time of a goal is another time of the list."""
        least = True
        for number, (old, new, problem) in enumerate(self.retimed(wish.number)):
            if number >= MOST_TIMES or self.asking.over():
                return
            problem = replace(problem, objectives=self.asking.problem.objectives)
            outcome = self.asking.any_design(problem, STEP_SHARE * self.asking.time_for_one())
            if outcome.design is not None:
                yield from self._way((wish,), problem, new, least, old, known=outcome)
                return
            least = least and outcome.status is Status.IMPOSSIBLE


def with_value(problem: Problem, wish: Wish, value: int) -> Problem:
    """Return the whole with one limit, or the units of a peak, set to `value`."""
    limits, kit = problem.limits, problem.kit
    if wish.kind is Kind.GOAL:
        assert problem.peak is not None
        return replace(problem, peak=replace(problem.peak, units=value))
    if wish.kind is Kind.SUPPLY:
        limits = replace(limits, supply=value)
    elif wish.kind is Kind.SPARE:
        limits = replace(limits, spare=value)
    elif wish.kind is Kind.LEAST:
        number = tuple((n, value if n == wish.part else m) for n, m in limits.least)
        limits = replace(limits, least=number)
    else:
        most = tuple((n, value if n == wish.part else m) for n, m in limits.most)
        limits = replace(limits, most=most)
        parts = tuple(
            replace(p, most=max(p.most, value)) if p.name == wish.part and p.most else p
            for p in kit.parts
        )
        kit = replace(kit, parts=parts)
    return replace(problem, limits=limits, kit=kit)
