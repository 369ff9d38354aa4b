"""The search for test times, and the proof of what it returns.

Test times are whole multiples of one unit, the shortest time that is far enough above the slowest
part's reaction; so any two sums of them are equal or at least that far apart, and what differs in
real time can be told apart on the bench. The unknown is one whole number for each time. It is
wished that longer times get larger numbers, so that timers are not mistaken for each other; that
is no order of events, and is given up where the order can be kept within a wanted length without
it. The least numbers that keep the orders known so far are
tried: real and test design are walked side by side through all their events; where one can go
through a run that the other cannot, that run gives another order to keep. The first numbers with
which both go through the same runs are the least, since every order was one that has to be kept.
A run that must stay impossible can be so for several reasons; where one of them was taken, all
smaller numbers are then tried without it.
"""

from __future__ import annotations

import time as clock
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import gcd, lcm
from typing import Protocol

from synth.bench.goals_page import goals_page
from synth.bench.least import Cut, GaveUp, Numbers, cut
from synth.bench.orders import (
    Difference,
    bad_circle,
    cut_of_impossible,
    cuts_of_possible,
    said,
)
from synth.bench.times import (
    in_one_order,
    passes_of,
    ranges_of,
    retimed_design,
    retimed_fact,
    retimed_goal,
    retimed_problem,
    uses_of,
)
from synth.design import Design
from synth.errors import GoalError, Undecided
from synth.goals import AtMostUnitHours, Fact, Goal, GoalList
from synth.parts.behaviour import TIMED
from synth.problem import Problem
from synth.result import Verdict
from synth.settings_sheet import Claim, Place, SettingsSheet, TestTime, TimeUse, Together
from synth.ticks import LONGEST, TICKS_PER_SECOND, format_duration

ANY_KIT = "starter"
"""Named where the goals are read back; they are posed to the kit of the design."""
WISH = "the wish that longer times stay longer, and not the order"
"""Before what only that wish forces."""
NOT_SHORTER = "no shorter times were found; test with the real ones"


class Order(Protocol):
    """The order of events of the real design, to compare others with."""

    @property
    def together(self) -> tuple[Together, ...]:
        """Between which loads the order is compared too, and how far."""

    def differences_with(self, times: Mapping[int, int]) -> Sequence[Difference]:
        """Return the first differences when each time is another (ticks); none: the same."""

    def differences_from(self, design: Design, problem: Problem) -> Sequence[Difference]:
        """Return the first differences from a design and goals of their own."""


@dataclass(frozen=True)
class Tools:
    """What the search needs of other rooms."""

    order: Callable[[Design, Problem, float], Order]
    """The order of events of a design, to be asked until a reading of `time.monotonic()`."""
    check: Callable[[Design, Problem], Verdict]
    reread: Callable[[Design, Problem], Design]
    """A design written as a file and read again."""
    read_goals: Callable[[str], GoalList]
    pose: Callable[[GoalList], Problem]
    rephrase: Callable[[Goal | Fact, Goal | Fact, Mapping[int, int], Iterable[str]], str]


@dataclass(frozen=True)
class Wishes:
    """What is wanted of the test times, in ticks: `reaction` of the slowest part (an operate or
    release time, or a minimum trigger time), how many times it (`factor`) any time must be, and
    the `longest` time that one is willing to wait for. Search for `seconds`. `apart`: no input is
    ever moved at the very instant at which a time is up."""

    reaction: int = TICKS_PER_SECOND // 5
    factor: Fraction = Fraction(5)
    longest: int | None = None
    seconds: float = 60.0
    apart: bool = False


@dataclass(frozen=True)
class BenchTest:
    """The sheet, and the design and goals with test times, both read back and checked."""

    sheet: SettingsSheet
    design: Design
    goals: GoalList


@dataclass(frozen=True)
class _Made:
    """Design and goals with some test times, and what the check explored."""

    times: dict[int, int]
    design: Design
    goals: GoalList
    states: int


_Found = tuple[tuple[int, ...], _Made]


def bench_test(
    design: Design, goal_list: GoalList, problem: Problem, tools: Tools, wishes: Wishes
) -> BenchTest:
    """Return the least test times that keep every goal of a design that holds, and the order of
    its events. Raises Undecided when not even proportional times could be checked in time."""
    deadline = clock.monotonic() + wishes.seconds
    of_days = [goal for goal in goal_list.goals if isinstance(goal, AtMostUnitHours)]
    goals = tuple(goal for goal in goal_list.goals if goal not in of_days)
    asked = replace(problem, energy=None)
    search = _Search(design, replace(goal_list, goals=goals), asked, tools, wishes, deadline)
    search.left_out = tuple(
        f"goal {goal.number} ({goal.phrase}) is about the energy of a whole day at the real times; "
        "with test times it says nothing, so it is left out of the test"
        for goal in of_days
    )
    return search.result()


@dataclass
class _Search:
    design: Design
    goal_list: GoalList
    problem: Problem
    tools: Tools
    wishes: Wishes
    deadline: float
    cuts: dict[Cut, None] = field(default_factory=dict)
    """Orders that every answer keeps."""
    helping: dict[Cut, None] = field(default_factory=dict)
    """Orders that make a run impossible which must be so, though others might too."""
    forbidden: list[Difference] = field(default_factory=list)
    """Runs that must stay impossible."""
    refused: set[tuple[int, ...]] = field(default_factory=set)
    """Numbers that do not do for other reasons."""
    ranks: list[Cut] = field(default_factory=list)
    """The wish that longer times get larger numbers."""
    together: tuple[Together, ...] = ()
    left_out: tuple[str, ...] = ()
    """Which goals are no part of the test, and why."""

    def __post_init__(self) -> None:
        self.uses: dict[int, list[TimeUse]] = uses_of(self.design, self.goal_list)
        self.real = tuple(self.uses)
        self.ranges = ranges_of(self.design, self.problem.kit)
        self.unit = self._unit()
        for at in range(len(self.real) - 1):
            self.ranks.append(cut({at: -1, at + 1: 1}, 1))

    def _unit(self) -> int:
        """Return the shortest test time: a multiple of the steps of all timers in use."""
        floor = self.wishes.reaction * self.wishes.factor
        offers = [r for found in self.ranges.values() for r in found]
        if not offers:
            # Nothing but hands keeps these times; the kit's timers say what is a handy one.
            offers = [p.times for p in self.problem.kit.parts if p.type in TIMED and p.times]
        step = lcm(*(gcd(r.step, r.least) for r in offers)) if offers else TICKS_PER_SECOND
        return step * max(1, -(-floor // step))

    # numbers

    def next_allowed(self, at: int, number: int) -> int | None:
        """Return the next number from `number` on to which all timers of a time can be set."""
        ranges = self.ranges.get(self.real[at], ()) if at < len(self.real) else ()
        most = min((r.most for r in ranges), default=LONGEST)
        steps = 0
        while number * self.unit <= most and steps < 10_000:
            if all(number * self.unit in r for r in ranges):
                return number
            number += 1
            steps += 1
        return None

    def proportional(self) -> tuple[int, ...] | None:
        """Return the least numbers in the proportions of the real times, if they can be set."""
        common = gcd(*self.real)
        parts = [time // common for time in self.real]
        for times in range(1, 1_000):
            numbers = tuple(times * part for part in parts)
            if all(self.next_allowed(at, n) == n for at, n in enumerate(numbers)):
                return numbers
            if numbers[-1] * self.unit > LONGEST:
                break
        return None

    def as_times(self, numbers: Sequence[int]) -> dict[int, int]:
        """Return the test time of each real time."""
        return {real: n * self.unit for real, n in zip(self.real, numbers, strict=True)}

    # the search

    def result(self) -> BenchTest:
        """Return the least test times, with what is proven of them."""
        if not self.real:
            verdict = self.tools.check(self.design, self.problem)
            made = _Made({}, self.design, self.goal_list, verdict.states)
            return self._sheet(made, Claim.NO_TIMES, ())
        line = self.proportional()
        found: _Found | None = None
        proven = False
        by_order: _Found | None = None
        order: Order | None = None
        out_of_reach = False
        try:
            order = self.tools.order(self.design, self.problem, self.deadline)
            self.together = order.together
            largest = line[-1] if line is not None else -(-self.real[-1] // self.unit)
            found, proven = self._least(order, largest, ranked=True)
        except (GaveUp, Undecided):
            pass
        wanted = self.wishes.longest
        if order is not None and wanted is not None and (
            found is None or found[0][-1] * self.unit > wanted
        ):
            try:
                by_order, settled = self._least(order, wanted // self.unit, ranked=False)
                out_of_reach = by_order is None and settled
            except (GaveUp, Undecided):
                pass
            if by_order is not None:
                return self._without_ranks(by_order, settled, found if proven else None)
        notes: list[str] = []
        claim = Claim.SMALLEST if proven else Claim.BEST_FOUND
        if found is None and line is not None:
            # Another unit of time for everything changes no order.
            in_line = self._made(line)
            found = (line, in_line) if in_line is not None else None
            claim = Claim.PROPORTIONAL
            self.together = ()
        floor = self.wishes.reaction * self.wishes.factor
        times = found[1].times if found is not None else {}
        longer = not times or sum(times.values()) >= sum(self.real)
        if found is None or (longer and self.real[0] >= floor):
            verdict = self.tools.check(self.design, self.problem)
            made = _Made({t: t for t in self.real}, self.design, self.goal_list, verdict.states)
            notes.append(NOT_SHORTER)
            if self.real[0] < floor:
                notes.append(
                    f"{format_duration(self.real[0])} is shorter than {self._floor_said()}"
                )
            return self._sheet(made, Claim.REAL, tuple(notes), out_of_reach=out_of_reach)
        numbers, made = found
        notes += self._longer(made)
        forced = self._forced(numbers, out_of_reach) if claim is Claim.SMALLEST else ()
        return self._sheet(made, claim, tuple(notes), forced, out_of_reach)

    def _without_ranks(
        self, found: _Found, settled: bool, ranked: _Found | None
    ) -> BenchTest:
        """Return the times that keep the order alone, within the wanted length."""
        made = found[1]
        claim = Claim.SMALLEST if settled else Claim.BEST_FOUND
        with_ranks = None if ranked is None else ranked[0][-1] * self.unit
        sheet = self._sheet(made, claim, tuple(self._longer(made)))
        return replace(
            sheet, sheet=replace(sheet.sheet, ranks_kept=False, longest_in_ranks=with_ranks)
        )

    def _longer(self, made: _Made) -> list[str]:
        """Return a note for each test time that is longer than the real one."""
        return [
            f"{format_duration(real)} is shorter than {self._floor_said()}, so the test time is "
            f"longer than the real one"
            for real, test in made.times.items()
            if test > real
        ]

    def _floor_said(self) -> str:
        return f"{_plain(self.wishes.factor)} × {format_duration(self.wishes.reaction)}"

    def _least(
        self, order: Order, largest: int, *, ranked: bool
    ) -> tuple[_Found | None, bool]:
        """Return (the least numbers up to `largest` that keep the order, and all they make; None:
        none do), and whether that is proven; `ranked`: longer times get larger numbers. Raises
        GaveUp or Undecided where none were found in time."""
        count = len(self.real)
        if ranked:
            least = tuple(range(1, count + 1))
            most = tuple(largest - (count - 1 - at) for at in range(count))
            wish = self.ranks
        else:
            # One number more, no smaller than any: the search looks for the least last one.
            least, most = (1,) * (count + 1), (largest,) * (count + 1)
            wish = [cut({at: -1, count: 1}, 0) for at in range(count)]
        asked = Numbers(least, most, self.next_allowed)
        found: tuple[tuple[int, ...], _Found] | None = None
        try:
            while found is None:
                numbers = asked.least(
                    [*wish, *self.cuts, *self.helping],
                    lambda n: n[:count] not in self.refused,
                    self.deadline,
                )
                if numbers is None:
                    break
                tried = self._tried(order, numbers[:count])
                found = (numbers, tried) if tried is not None else None
            while self.helping:
                numbers = asked.least(
                    [*wish, *self.cuts], lambda n: self._may_do(n[:count]), self.deadline
                )
                if numbers is None or (found is not None and _key(numbers) >= _key(found[0])):
                    break
                tried = self._tried(order, numbers[:count])
                found = (numbers, tried) if tried is not None else found
        except (GaveUp, Undecided):
            if found is None:
                raise
            return found[1], False
        return (None if found is None else found[1]), True

    def _may_do(self, numbers: tuple[int, ...]) -> bool:
        """Return whether all runs that must be impossible are so with these numbers."""
        if numbers in self.refused:
            return False
        value = dict(zip(self.real, numbers, strict=True))
        return all(bad_circle(run.bounds, value.__getitem__) for run in self.forbidden)

    def _tried(self, order: Order, numbers: tuple[int, ...]) -> _Found | None:
        """Return numbers and all that they make if they do; else learn why not."""
        if clock.monotonic() > self.deadline:
            raise GaveUp
        differences = order.differences_with(self.as_times(numbers))
        for each in differences:
            if each.in_first:
                for new in cuts_of_possible(each, self.real, numbers):
                    self.cuts[new] = None
            else:
                self.helping[cut_of_impossible(each, self.real)] = None
                self.forbidden.append(each)
        if differences:
            return None
        made = self._made(numbers)
        if made is None:
            self.refused.add(numbers)
            return None
        design, problem = made.design, retimed_problem(self.problem, made.times.__getitem__)
        if order.differences_from(design, problem):
            raise Undecided("the test design does not go through the events of the real one")
        return numbers, made

    def _made(self, numbers: Sequence[int]) -> _Made | None:
        """Return design and goals with these times, written, read back and checked; None when
        the goals cannot be asked of this kit. Raises Undecided when they do not hold."""
        times = self.as_times(numbers)
        to = times.__getitem__
        wanted = replace(
            self.goal_list,
            goals=tuple(retimed_goal(goal, to) for goal in self.goal_list.goals),
            facts=tuple(retimed_fact(fact, to) for fact in self.goal_list.facts),
        )
        old = self.goal_list
        names = [*(item.name for item in old.loads), *(item.name for item in old.inputs)]
        goals = tuple(
            replace(new, phrase=self.tools.rephrase(before, new, times, names))
            for before, new in zip(old.goals, wanted.goals, strict=True)
        )
        facts = tuple(
            replace(new, phrase=self.tools.rephrase(before, new, times, names))
            for before, new in zip(old.facts, wanted.facts, strict=True)
        )
        wanted = replace(wanted, goals=goals, facts=facts)
        again = self.tools.read_goals(goals_page(wanted, ANY_KIT))
        if replace(again, title="", kit="", defaults=()) != replace(
            wanted, title="", kit="", defaults=()
        ):
            raise Undecided("the goals with test times do not read back as they were written")
        try:
            posed = self.tools.pose(again)
        except GoalError:
            return None
        meant = retimed_problem(self.problem, to)
        if not _same_meaning(posed, meant):
            raise Undecided("the goals with test times do not mean what the real ones mean")
        design = self.tools.reread(retimed_design(self.design, to), posed)
        verdict = self.tools.check(design, posed)
        if not verdict.holds:
            raise Undecided("the design with test times does not hold, though its events agree")
        return _Made(times, design, wanted, verdict.states)

    # what is shown

    def _forced(self, numbers: tuple[int, ...], out_of_reach: bool) -> tuple[str, ...]:
        """Return a smallest set of orders because of which the longest is no shorter, in words; or,
        `out_of_reach`, because of which none is as short as was wanted."""
        count = len(self.real)
        wanted = self.wishes.longest
        wish: list[Cut] = []
        if out_of_reach and wanted is not None:
            # The order alone is at fault, whether or not longer times are to stay longer.
            most = (wanted // self.unit,) * count
        else:
            most = (*(numbers[-1] + 1 for _ in range(count - 1)), numbers[-1] - 1)
            wish = [each for each in self.ranks if each not in self.cuts]
        asked = Numbers((1,) * count, most, self.next_allowed)

        def enough(cuts: Sequence[Cut]) -> bool:
            return asked.least(cuts, deadline=until) is None

        until = clock.monotonic() + 5.0
        kept = [*wish, *self.cuts, *self.helping]
        try:
            if not enough(kept):
                return ()
            # The wish is left out first, so that it stands there only where it has to; then those
            # with the most in them, so that the simplest orders are shown.
            first = sorted(wish, key=_weight, reverse=True)
            rest = sorted((c for c in kept if c not in wish), key=_weight, reverse=True)
            for each in (*first, *rest):
                fewer = [other for other in kept if other != each]
                if enough(fewer):
                    kept = fewer
        except GaveUp:
            return ()
        plain = all(len(c.terms) == 2 and sum(a for _, a in c.terms) == 0 for c in kept)
        if plain and (wanted is None or numbers[-1] * self.unit <= wanted):
            # That different times stay different needs no telling where nobody minds.
            return ()
        wished = [each for each in kept if each in wish]
        orders = [each for each in kept if each not in wish]
        return (
            *said(self._with_opposites(orders), self.real, self._whose),
            *(f"{WISH}: {line}" for line in said(wished, self.real, self._whose)),
        )

    def _whose(self, time: int) -> str:
        """Return to what a real time belongs, parts first, as far as a line has room."""
        names: dict[str, None] = {}
        for use in self.uses[time]:
            part = use.place is Place.PART
            names[use.of if part else f"{use.place.value} {use.of}"] = None
        few = list(names)[:2]
        return " and ".join(few) + (" and more" if len(names) > len(few) else "")

    def _with_opposites(self, kept: list[Cut]) -> list[Cut]:
        """Return cuts with the opposite of each that is part of an equality."""
        known = {*self.cuts, *self.helping}
        result = []
        for each in kept:
            result.append(each)
            opposite = Cut(tuple((i, -a) for i, a in each.terms), 0)
            if not each.least and opposite in known and opposite not in kept:
                result.append(opposite)
        return result

    def _sheet(
        self,
        made: _Made,
        claim: Claim,
        notes: tuple[str, ...],
        forced: tuple[str, ...] = (),
        out_of_reach: bool = False,
    ) -> BenchTest:
        times = tuple(
            TestTime(f"t{number}", real, made.times[real], tuple(self.uses[real]))
            for number, real in enumerate(self.real, start=1)
        )
        sheet = SettingsSheet(
            title=self.problem.title,
            reaction=self.wishes.reaction,
            factor=_plain(self.wishes.factor),
            unit=self.unit,
            times=times,
            claim=claim,
            forced_by=forced,
            passes=passes_of(self.goal_list, made.times.__getitem__) if times else (),
            longest_wanted=self.wishes.longest,
            states=made.states,
            notes=(*notes, *self.left_out),
            left_out=self.left_out,
            apart=self.wishes.apart,
            together=self.together,
            out_of_reach=out_of_reach,
        )
        return BenchTest(sheet, made.design, made.goals)


def _key(numbers: tuple[int, ...]) -> tuple[int, int]:
    return numbers[-1], sum(numbers)


def _weight(each: Cut) -> tuple[int, int, Cut]:
    return sum(abs(a) for _, a in each.terms), each.least, each


def _plain(value: Fraction) -> str:
    return str(value.numerator) if value.denominator == 1 else f"{float(value):g}"


def _same_meaning(one: Problem, two: Problem) -> bool:
    """Return whether two problems ask the same of the same loads in the same world."""
    asked = [
        [(r.load, r.needs, in_one_order(r.signal)) for r in p.requirements] for p in (one, two)
    ]
    return (
        asked[0] == asked[1]
        and one.inputs == two.inputs
        and sorted(one.never_together) == sorted(two.never_together)
        and [replace(pair, goal=0) for pair in one.apart]
        == [replace(pair, goal=0) for pair in two.apart]
        and (one.peak and one.peak.units) == (two.peak and two.peak.units)
    )


__all__ = ["BenchTest", "Order", "Tools", "Wishes", "bench_test"]
