"""The smallest clash of goals and limits, and the cheapest ways out of it.

The smallest set of wishes that cannot be had together is found by hitting sets: every set that
can be had, made as large as it goes, leaves out some wishes, and a clash has to hold one of those.
So the least set that hits all that was left out so far is asked for a design. If it has none it is
a clash, and since each smaller set misses some of what was left out, no smaller one clashes. If it
has one, it is made as large as it goes, and leaves out something new. What it leaves out is a way
out at the same time: all the rest can be had, as a checked design shows. (After Ignatiev, Previti,
Liffiton, Marques-Silva, *Smallest MUS Extraction with Minimal Hitting Set Dualization*, 2015, from
memory. Wishes are taken to be such that more of them are never easier to have.)
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from synth.conflict import Conflict, Kind, WayOut, Wish
from synth.parts.kit import Kit
from synth.problem import Limits, Problem
from synth.result import Outcome, Status

Posed = Callable[[frozenset[int]], Problem | None]
"""Returns the problem of the goals of these numbers, None when they cannot be asked alone."""
Plan = Callable[[Problem, float], Outcome]
"""Seeks any design within so many seconds."""
MOST_STEPS = 12
"""Most values of a limit that are tried one after the other."""
LEAST_SECONDS = 2.0
"""Seconds for one question, at least, as long as there is time."""
_NUMBERS = frozenset({Kind.PRICE, Kind.SUPPLY, Kind.MOST, Kind.LEAST, Kind.SPARE})
"""Kinds of limits that may give a little."""
_DOWN = frozenset({Kind.LEAST, Kind.SPARE})
"""Those that give by becoming smaller."""


def clash_of(
    problem: Problem,
    posed: Posed,
    plan: Plan,
    seconds: float,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
) -> Conflict:
    """Return why `problem` cannot be had, if it cannot."""
    return _Clash(problem, posed, plan, seconds, report, stopped).all()


@dataclass
class _Clash:
    problem: Problem
    posed: Posed
    plan: Plan
    seconds: float
    report: Callable[[str], None]
    stopped: Callable[[], bool]

    def __post_init__(self) -> None:
        self.deadline = time.monotonic() + self.seconds
        self.wishes = wishes_of(self.problem)
        self.answers: dict[frozenset[Wish], Outcome] = {}
        self.open = False
        """Whether a question had no answer."""

    def all(self) -> Conflict:
        """Return the clash and the ways out."""
        self.report("all goals and limits")
        everything = frozenset(self.wishes)
        whole = self.ask(everything)
        if whole.status is not Status.IMPOSSIBLE:
            return Conflict(whole.status, bounds=whole.bounds)
        left_out: list[frozenset[Wish]] = []
        while True:
            trial = least_hitting_set(left_out, self.wishes)
            self.report(f"is there a clash of {len(trial)}?")
            outcome = self.ask(frozenset(trial))
            if outcome.status is Status.IMPOSSIBLE:
                clash, smallest = frozenset(trial), not self.open
                break
            grown = self._grown(frozenset(trial))
            if self._over() or grown == everything:
                # No time for the smallest: make the whole as small as it goes.
                clash, smallest = self._shrunk(everything), False
                outcome = self.ask(clash)
                break
            left_out.append(everything - grown)
        ways = self._ways_out(clash, left_out)
        notes = () if smallest else ("A smaller clash is not ruled out.",)
        return Conflict(
            Status.IMPOSSIBLE,
            tuple(sorted(clash, key=self.wishes.index)),
            smallest,
            outcome.clash,
            ways,
            notes,
            outcome.bounds,
        )

    # -- questions ---------------------------------------------------------------------------

    def ask(self, wishes: frozenset[Wish]) -> Outcome:
        """Return what comes of planning for these wishes alone."""
        known = self.answers.get(wishes)
        if known is not None:
            return known
        problem = self._problem(wishes)
        left = self.deadline - time.monotonic()
        if problem is None:
            outcome = Outcome(Status.BEST_FOUND)  # nothing to be had, so nothing clashes
        else:
            outcome = self.plan(problem, max(LEAST_SECONDS, left / 8))
        if outcome.status is Status.UNDECIDED:
            self.open = True
        self.answers[wishes] = outcome
        return outcome

    def _problem(self, wishes: frozenset[Wish]) -> Problem | None:
        goals = frozenset(wish.number for wish in wishes if wish.kind is Kind.GOAL)
        if not goals:
            return None
        problem = self.problem
        if len(goals) < len(problem.goals):
            alone = self.posed(goals)
            if alone is None or not alone.requirements:
                return None
            problem = alone
            if any(wish.kind is Kind.LEAST for wish in wishes):
                # What a part asked for may follow, or be set to, must not hang on the goals asked.
                problem = replace(
                    problem,
                    inputs=self.problem.inputs,
                    never_together=self.problem.never_together,
                    times=self.problem.times,
                )
        limits = _kept(self.problem, wishes).about({r.load for r in problem.requirements})
        return replace(problem, limits=limits, kit=_kit(self.problem, wishes))

    def _feasible(self, wishes: frozenset[Wish]) -> bool:
        status = self.ask(wishes).status
        return status in (Status.PROVEN, Status.BEST_FOUND)

    def _over(self) -> bool:
        return self.stopped() or time.monotonic() >= self.deadline

    # -- sets --------------------------------------------------------------------------------

    def _grown(self, wishes: frozenset[Wish]) -> frozenset[Wish]:
        """Return `wishes` with all that can be had beside them, one after the other."""
        for wish in self.wishes:
            if wish in wishes or self._over():
                continue
            self.report(f"what can be had together: {len(wishes)} of {len(self.wishes)}")
            if self.ask(wishes | {wish}).status is not Status.IMPOSSIBLE:
                wishes |= {wish}
        return wishes

    def _shrunk(self, wishes: frozenset[Wish]) -> frozenset[Wish]:
        """Return a clash within `wishes`, a clash, as small as it goes within the time."""
        for wish in self.wishes:
            if wish in wishes and not self._over():
                rest = wishes - {wish}
                if rest and self.ask(rest).status is Status.IMPOSSIBLE:
                    wishes = rest
        return wishes

    # -- ways out ----------------------------------------------------------------------------

    def _ways_out(
        self, clash: frozenset[Wish], left_out: Sequence[frozenset[Wish]]
    ) -> tuple[WayOut, ...]:
        """Return the ways out that a checked design has shown, the least dropped first."""
        everything = frozenset(self.wishes)
        sets = {frozenset({wish}) for wish in clash} | set(left_out)
        ways: list[WayOut] = []
        for dropped in sorted(sets, key=lambda s: (len(s), sorted(s))):
            self.report("ways out")
            if any(set(way.dropped) < dropped for way in ways):
                continue
            if not self._feasible(everything - dropped):
                continue
            outcome = self.ask(everything - dropped)
            if outcome.design is None or outcome.price is None:
                continue
            ordered = tuple(sorted(dropped, key=self.wishes.index))
            ways.append(WayOut(ordered, None, outcome.price, outcome.design.supply))
            if len(dropped) == 1 and ordered[0].kind in _NUMBERS:
                loosened = self._loosened(ordered[0], outcome)
                if loosened is not None:
                    ways[-1] = loosened
        return tuple(ways)

    def _loosened(self, wish: Wish, without: Outcome) -> WayOut | None:
        """Return the least change of a limit that suffices; `without` is planned without it."""
        assert without.design is not None and without.price is not None
        kit, stock = self.problem.kit, self.problem.limits.stock
        enough = {
            Kind.PRICE: without.design.price(kit, stock),
            Kind.SUPPLY: without.design.supply,
            Kind.MOST: sum(part.part == wish.part for part in without.design.parts),
            Kind.LEAST: 0,
            Kind.SPARE: 0,
        }[wish.kind]
        best, least = without, False
        if wish.kind is Kind.PRICE:
            outcome = self._with(wish, enough - 1)
            while outcome.design is not None:
                best, enough = outcome, outcome.design.price(kit, stock)
                outcome = self._with(wish, enough - 1)
            least = outcome.status is Status.IMPOSSIBLE
        else:
            least = True
            down = wish.kind in _DOWN
            values = range(wish.number + 1, min(enough, wish.number + MOST_STEPS))
            if down:
                values = range(wish.number - 1, max(enough, wish.number - MOST_STEPS), -1)
            for value in values:
                outcome = self._with(wish, value)
                if outcome.design is not None:
                    best, enough = outcome, value
                    break
                least = least and outcome.status is Status.IMPOSSIBLE
            else:
                least = least and abs(enough - wish.number) <= MOST_STEPS
        assert best.design is not None and best.price is not None
        return WayOut((wish,), enough, best.price, best.design.supply, least)

    def _with(self, wish: Wish, value: int) -> Outcome:
        """Plan the whole with one limit set to `value`."""
        tighter = value >= wish.number if wish.kind in _DOWN else value <= wish.number
        if self._over() or tighter:
            impossible = tighter
            return Outcome(Status.IMPOSSIBLE if impossible else Status.UNDECIDED)
        limits, kit = self.problem.limits, self.problem.kit
        if wish.kind is Kind.PRICE:
            limits = replace(limits, price=value)
        elif wish.kind is Kind.SUPPLY:
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
        left = self.deadline - time.monotonic()
        return self.plan(
            replace(self.problem, limits=limits, kit=kit), max(LEAST_SECONDS, left / 8)
        )


def wishes_of(problem: Problem) -> list[Wish]:
    """Return all that is asked: goals in their order, then limits, those of the kit too."""
    found = [Wish(Kind.GOAL, goal.number) for goal in problem.goals]
    limits = problem.limits
    if limits.supply is not None:
        found.append(Wish(Kind.SUPPLY, limits.supply))
    if limits.price is not None:
        found.append(Wish(Kind.PRICE, limits.price))
    most = dict(limits.most)
    for part in problem.kit.parts:
        bounds = [b for b in (part.most, most.get(part.name)) if b is not None]
        if bounds:
            found.append(Wish(Kind.MOST, min(bounds), part.name))
    found += [Wish(Kind.LEAST, number, name) for name, number in limits.least]
    if limits.spare:
        found.append(Wish(Kind.SPARE, limits.spare))
    found += [Wish(Kind.BRANCHES, 0, "", pair) for pair in limits.branches]
    found += [Wish(Kind.UNTIMED, 0, "", (load,)) for load in limits.untimed]
    return found


def least_hitting_set(sets: Sequence[Collection[Wish]], order: Sequence[Wish]) -> tuple[Wish, ...]:
    """Return the fewest wishes, the first in `order` among equals, that hit each of `sets`."""
    useful = [wish for wish in order if any(wish in one for one in sets)]
    for size in range(len(useful) + 1):
        for trial in combinations(useful, size):
            if all(any(wish in one for wish in trial) for one in sets):
                return trial
    raise ValueError("an empty set cannot be hit")


def _kept(problem: Problem, wishes: Collection[Wish]) -> Limits:
    """Return the limits of the problem that are among the wishes."""
    kept = {(wish.kind, wish.part) for wish in wishes}
    loads = {(wish.kind, wish.loads) for wish in wishes}
    limits = problem.limits
    return Limits(
        tuple(entry for entry in limits.most if (Kind.MOST, entry[0]) in kept),
        limits.supply if (Kind.SUPPLY, "") in kept else None,
        limits.price if (Kind.PRICE, "") in kept else None,
        tuple(entry for entry in limits.least if (Kind.LEAST, entry[0]) in kept),
        limits.stock,
        limits.spare if (Kind.SPARE, "") in kept else 0,
        tuple(pair for pair in limits.branches if (Kind.BRANCHES, pair) in loads),
        tuple(load for load in limits.untimed if (Kind.UNTIMED, (load,)) in loads),
    )


def _kit(problem: Problem, wishes: Collection[Wish]) -> Kit:
    """Return the kit without its own limits that are not among the wishes."""
    kept = {wish.part for wish in wishes if wish.kind is Kind.MOST}
    return replace(
        problem.kit,
        parts=tuple(
            part if part.most is None or part.name in kept else replace(part, most=None)
            for part in problem.kit.parts
        ),
    )
