"""Ways out of a clash: what may give so that all the rest can be had, each planned and checked.

A wish is dropped, or gives a little: a limit by the least that suffices, the units of a peak by as
many, the energy of a day by what a design was found to use, a time of a goal for another time that
the list has too, so that one timer may serve both.
Where one does not suffice, several give, the fewest that do.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from math import ceil
from typing import Protocol

from synth.conflict import Kind, WayOut, Wish
from synth.days import EVER, loads_alone
from synth.problem import Energy, Problem
from synth.result import Outcome, Status

MOST_STEPS = 12
"""Most values of a limit that are tried one after the other."""
MOST_DROPPED = 6
"""Most wishes that are dropped at once."""
QUICK_SECONDS = 0.5
"""An answer within so many seconds is quick; what is like it is asked freely."""
SLOWER = 4.0
"""So many times the slowest answer is waited for one, at first."""
FEWEST_SHARE = 0.5
"""Part of the time left that is kept for what each way costs, while ways are sought."""
MOST_TIMES = 4
"""Most other times that are tried for a goal."""
LEAST_SECONDS = 2.0
"""Seconds for one question, at least, as long as there is time."""
ONE_SHARE = 0.125
"""Part of the time left that one question may take."""
STEP_SHARE = 0.5
"""Part of that for one value of a limit, of which several may be tried."""
FINE = 1000
"""Unit-hours are given to this part of one, rounded up."""
OPEN = "Whether there are other ways out, of as few changes, is not decided."
NUMBERS = frozenset({Kind.SUPPLY, Kind.MOST, Kind.LEAST, Kind.SPARE})
"""Kinds of limits, but for the price, that may give a little."""
DOWN = frozenset({Kind.LEAST, Kind.SPARE})
"""Those that give by becoming smaller."""
UP = frozenset({Kind.SUPPLY, Kind.MOST})
"""Those that give by becoming larger."""
Retimed = Callable[[int], Iterable[tuple[int, int, Problem]]]
"""Gives for the goal of a number (old time, new time, problem with it), in ticks."""
Plan = Callable[[Problem, float], Outcome]


class Asking(Protocol):
    """What answers questions about sets of wishes."""

    problem: Problem
    wishes: list[Wish]
    deadline: float
    """When time is up, by the monotonic clock."""
    most: float | None
    """Seconds that one question may take at most."""
    slowest: float
    """Seconds that the slowest answer took."""

    @property
    def any_design(self) -> Plan:
        """Seeks any design."""

    @property
    def report(self) -> Callable[[str], None]:
        """Tells what is being done."""

    def ask(self, wishes: frozenset[Wish]) -> Outcome:
        """Return what comes of planning for these wishes alone."""

    def again(self, wishes: frozenset[Wish]) -> Outcome:
        """Return what comes of planning for these wishes alone, anew if it was not decided."""

    def stopped(self) -> bool:
        """Return whether the user asked to stop."""

    def status(self, wishes: frozenset[Wish]) -> Status:
        """Return whether wishes can be had, as is known or asked."""

    def clashes(self) -> list[frozenset[Wish]]:
        """Return the clashes that are known."""

    def shrunk(self, wishes: frozenset[Wish]) -> frozenset[Wish]:
        """Return a clash within `wishes`, a clash, as small as it goes within the time."""

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
        self.everything = frozenset(asking.wishes)
        self.notes: list[str] = []
        """What was not decided about the ways out."""
        self.open = False
        """Whether some sets of wishes had no answer in their time."""

    def out_of(
        self, clash: Sequence[Wish], left_out: Sequence[frozenset[Wish]]
    ) -> tuple[WayOut, ...]:
        """Return the ways that a checked design has shown: what gives a little before what is
        dropped, the fewest dropped first, then the cheapest."""
        asking = self.asking
        ways: list[WayOut] = []
        for wish in clash:
            # A goal may suffice with another number even where the rest is not decided.
            ways += self._given(wish)
        asking.most = max(QUICK_SECONDS, SLOWER * asking.slowest)
        sets = self._fewest(asking.deadline - FEWEST_SHARE * (asking.deadline - time.monotonic()))
        asking.most = None
        sets += [dropped for dropped in left_out if not any(other <= dropped for other in sets)]
        for dropped in sets:
            ways += self._by(dropped, ways)
        if self.open and not asking.over():
            # What had no answer is asked again, with more time for each question.
            self.open = False
            for dropped in self._fewest(asking.deadline):
                if dropped not in sets:
                    ways = [way for way in ways if not dropped < set(way.dropped)]
                    ways += self._by(dropped, ways)
        if self.open or not ways:
            self.notes.append(OPEN)

        def rank(way: WayOut) -> tuple[bool, int, int]:
            return way.value is None and way.unit_hours is None, len(way.dropped), way.price

        return tuple(sorted(ways, key=rank))

    def _by(self, dropped: frozenset[Wish], ways: Sequence[WayOut]) -> Iterator[WayOut]:
        """Give the way out in which these wishes give, if it is none of `ways` already."""
        asking = self.asking
        asking.report("ways out")
        first, *more = asking.ordered(dropped)
        if not more and first.kind is not Kind.GOAL and any(w.dropped == (first,) for w in ways):
            return  # a limit that gives by so much need not be dropped
        without = asking.ask(self.everything - dropped)
        problem = asking.problem_of(self.everything - dropped)
        if without.design is None or problem is None:
            return
        if more:
            yield from self._several(dropped, without)
        else:
            yield from self._way(asking.ordered(dropped), problem, known=without)

    def _fewest(self, until: float) -> list[frozenset[Wish]]:
        """Return the sets of the fewest wishes without which all the rest can be had.

        Such a set holds some wish of every clash. Those that hold one of every clash known are
        asked, small ones first; each that is not enough shows another clash. So all of the fewest
        are met. Where some could not be decided until then, there may be others, and `open` says
        so; what holds more than was not decided is not asked.
        """
        found: list[frozenset[Wish]] = []
        asked: set[frozenset[Wish]] = set()
        too_hard: list[frozenset[Wish]] = []
        size = 1
        while size <= MOST_DROPPED:
            dropped = next(self._hitting(size, asked), None)
            if dropped is None:
                if found:
                    break
                size += 1
                continue
            if self.asking.stopped() or time.monotonic() > until:
                self.open = True
                break
            self.asking.report(f"will it do to drop {size}?")
            asked.add(dropped)
            rest = self.everything - dropped
            if self.asking.problem_of(rest) is None:
                continue  # nothing that could be built is left
            if any(other <= rest for other in too_hard):
                self.open = True
                continue
            began = time.monotonic()
            outcome = self.asking.again(rest)
            if outcome.design is not None:
                found.append(dropped)
            elif outcome.status is not Status.IMPOSSIBLE:
                too_hard.append(rest)
                self.open = True
            elif self.asking.status(rest) is not Status.IMPOSSIBLE:
                continue  # one of those dropped eases the rest: fewer will do, or others
            elif time.monotonic() - began < QUICK_SECONDS:
                # What it clashes by rules out others; where that is asked soon.
                self.asking.shrunk(rest)
        return found

    def _hitting(self, size: int, asked: set[frozenset[Wish]]) -> Iterator[frozenset[Wish]]:
        """Give the sets of wishes, of this size, that hit every clash known and were not asked."""
        clashes = self.asking.clashes()
        useful = [w for w in self.asking.wishes if any(w in clash for clash in clashes)]
        for trial in combinations(useful, size):
            dropped = frozenset(trial)
            if dropped not in asked and all(dropped & clash for clash in clashes):
                yield dropped

    def _several(self, dropped: frozenset[Wish], without: Outcome) -> Iterator[WayOut]:
        """Give the way out in which several wishes give, each limit by the least that suffices
        once the others give as they do; `without` has a design without all of them."""
        asking = self.asking
        order = asking.ordered(dropped)
        values: dict[Wish, int] = {}
        known, least = without, True
        for wish in order:
            if not self._numbered(wish) or asking.over():
                continue
            gone = dropped - set(values) - {wish}
            rest = asking.problem_of(self.everything - gone)
            if rest is None or known.design is None:
                continue
            for other, value in values.items():
                rest = with_value(rest, other, value)
            # With the limit as it is it does not do, as else it would not have to give.
            sure = asking.status(self.everything - (dropped - {wish})) is Status.IMPOSSIBLE
            better = self._first(wish, known, rest)
            if better is not None:
                values[wish], known = better[0], better[2]
                least = least and sure and better[1]
        problem = asking.problem_of(self.everything - (dropped - set(values)))
        if problem is None:
            return
        for wish, value in values.items():
            problem = with_value(problem, wish, value)
        for way in self._way(order, problem, least=least and bool(values), known=known):
            # A price limit that gives is no less than what the rest costs.
            own = {w: way.price for w in order if w.kind is Kind.PRICE} | values
            given = tuple(own.get(wish) for wish in order)
            sure = way.least or not values
            sure = sure and (way.cheapest or not any(w.kind is Kind.PRICE for w in order))
            told = any(value is not None for value in given)
            yield replace(way, values=given if told else (), least=sure and told)

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
        energy = problem.energy
        if wish.kind is Kind.GOAL and energy is not None and energy.goal == wish.number:
            yield from self._more_energy(wish, energy)
        elif wish.kind is Kind.GOAL and not self._numbered(wish):
            yield from self._other_time(wish)
        elif self._numbered(wish):
            without = self._without(wish)
            if without.design is None and wish.kind is not Kind.GOAL:
                return
            better = self._first(wish, without, problem)
            if better is not None:
                value, least, known = better
                problem = with_value(problem, wish, value)
                yield from self._way((wish,), problem, value, least, known=known)

    def _without(self, wish: Wish) -> Outcome:
        """Return an outcome without one wish, whose design shows what number of it suffices.

        The cheapest design often does with the least of power and parts. Then it is the cheapest
        with that limit too, which is far harder to prove of the limit itself.
        """
        asking = self.asking
        without = asking.ask(self.everything - {wish})
        rest = asking.problem_of(self.everything - {wish})
        if wish.kind not in UP or without.design is None or rest is None or asking.over():
            return without
        cheapest = self.cheapest(rest, asking.time_for_one())
        if cheapest.design is None or self._enough(wish, cheapest) > self._enough(wish, without):
            return without
        return cheapest

    def _more_energy(self, wish: Wish, energy: Energy) -> Iterator[WayOut]:
        """Give the way out in which a goal about energy allows what a design was found to use.

        The loads alone use some; what allows no more than that is asked first, then ever less than
        the least that was found. It is the least when nothing less can be had, to a thousandth.
        """
        asking, problem = self.asking, self.asking.problem

        def asked(most: Fraction) -> Problem:
            return replace(problem, energy=replace(energy, unit_hours=most))

        def found(most: Fraction) -> tuple[Outcome, Fraction | None]:
            outcome = asking.any_design(asked(most), STEP_SHARE * asking.time_for_one())
            day = outcome.verdict.day if outcome.verdict is not None else None
            return outcome, None if day is None else Fraction(ceil(day.total * FINE), FINE)

        alone = loads_alone(problem, energy.nights)
        floor = Fraction(0) if alone is None else Fraction(ceil(alone.total * FINE), FINE)
        known, value = found(floor if floor > energy.unit_hours else EVER)
        if value is None and floor > energy.unit_hours and not asking.over():
            known, value = found(EVER)
        if value is None:
            return
        least = value <= floor
        for _ in range(MOST_STEPS):
            if least or asking.over():
                break
            other, less = found(value - Fraction(1, FINE))
            if less is None:
                least = other.status is Status.IMPOSSIBLE
                break
            known, value = other, less
            least = value <= floor
        for way in self._way((wish,), asked(value), None, least, known=known):
            yield replace(way, unit_hours=value, least=least)

    def _numbered(self, wish: Wish) -> bool:
        """Return whether a wish has a number, other than a price, that may give a little."""
        peak = self.asking.problem.peak
        if wish.kind is Kind.GOAL:
            return peak is not None and peak.goal == wish.number
        return wish.kind in NUMBERS

    def _now(self, wish: Wish) -> int:
        """Return the number of a wish."""
        peak = self.asking.problem.peak
        return peak.units if wish.kind is Kind.GOAL and peak is not None else wish.number

    def _enough(self, wish: Wish, without: Outcome) -> int:
        """Return a value that suffices, as the design of `without` shows."""
        if wish.kind in DOWN:
            return 0
        if without.design is None:
            return self._now(wish) + MOST_STEPS
        if wish.kind is Kind.MOST:
            return sum(part.part == wish.part for part in without.design.parts)
        return without.design.supply

    def _values(self, wish: Wish, enough: int) -> range:
        """Return the values to try, the nearest first; `enough` suffices."""
        now = self._now(wish)
        if wish.kind in DOWN:
            return range(now - 1, max(enough - 1, now - 1 - MOST_STEPS), -1)
        return range(now + 1, min(enough + 1, now + 1 + MOST_STEPS))

    def _first(
        self, wish: Wish, without: Outcome, problem: Problem
    ) -> tuple[int, bool, Outcome] | None:
        """Return the nearest value of a wish that suffices for `problem`, whether no nearer one
        does, and an outcome with a design; by halves, since a limit that gives more is never worse.
        `without` is an outcome without the wish."""
        enough = self._enough(wish, without)
        values = self._values(wish, enough)
        best: tuple[int, Outcome] | None = None
        below, above, sure = -1, len(values), True
        if without.design is not None and values and values[-1] == enough:
            best, above = (enough, without), len(values) - 1  # its design shows it
        while below + 1 < above and not self.asking.over():
            at = (below + above) // 2
            trial = with_value(problem, wish, values[at])
            outcome = self.asking.any_design(trial, STEP_SHARE * self.asking.time_for_one())
            if outcome.design is not None:
                best, above = (values[at], outcome), at
            else:
                # Undecided: it may be that it suffices, or that a nearer one does.
                below, sure = at, outcome.status is Status.IMPOSSIBLE
        if best is None:
            return None
        return best[0], sure and below + 1 == above, best[1]

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
            replace(p, most=max(p.most, value)) if p.name == wish.part and p.most is not None else p
            for p in kit.parts
        )
        kit = replace(kit, parts=parts)
    return replace(problem, limits=limits, kit=kit)
