"""The smallest clash of goals and limits, and the cheapest ways out of it.

The smallest set of wishes that cannot be had together is found by hitting sets: every set that
can be had, made as large as it goes, leaves out some wishes, and a clash has to hold one of those.
So the least set that hits all that was left out so far is asked for a design. If it has none it is
a clash, and since each smaller set misses some of what was left out, no smaller one clashes. If it
has one, it is made as large as it goes, and leaves out something new. What it leaves out is a way
out at the same time (`ways`): all the rest can be had, as a checked design shows. Where the whole
list could not be decided, the same is tried: a clash within it proves that it cannot be had.
A clash that is found first, by leaving out one wish after the other, says how large the smallest
can be at most. (After Ignatiev, Previti, Liffiton, Marques-Silva, *Smallest MUS Extraction with
Minimal Hitting Set Dualization*, 2015, from memory.)

With some goals others are easier to have: two loads that are never on together need less power.
So wishes can be had, here, when they can be had by themselves or with more wishes of the list; a
clash cannot, whatever of the list is asked besides. Then more wishes are never easier to have.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Protocol

from synth.conflict import Conflict, Kind, Wish
from synth.days import EVER, loads_alone
from synth.explore.figures import SENTENCES, energy_figure, figure
from synth.explore.ways import LEAST_SECONDS, ONE_SHARE, Retimed, Ways
from synth.parts.kit import Kit
from synth.problem import Limits, Objective, Problem
from synth.result import Outcome, Status

Posed = Callable[[frozenset[int]], Problem | None]
"""Returns the problem of the goals of these numbers, None when they cannot be asked alone."""
Plan = Callable[[Problem, float], Outcome]
"""Plans a problem within so many seconds."""
MOST_EASING = 4
"""With so many goals that may ease others each choice of them is asked; of more, all at once."""


class Easing(Protocol):
    """A goal that alters what others ask."""

    def may_ease(self, problem: Problem) -> bool:
        """Return whether `problem` might be easier to have with this goal than without it."""


def clash_of(
    problem: Problem,
    posed: Posed,
    any_design: Plan,
    seconds: float,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
    cheapest: Plan | None = None,
    retimed: Retimed = lambda number: (),
    altering: Mapping[int, Easing] | None = None,
) -> Conflict:
    """Return why `problem` cannot be had, if it cannot.

    `any_design` seeks any design, `cheapest` the cheapest, for the ways out; `retimed` gives
    problems with another time in one goal, the nearest first. `altering` has the goals, by their
    numbers, that alter what others ask.
    """
    # What is to be minimised makes nothing possible; by price it is soonest found.
    by_price = replace(problem, objectives=(Objective.PRICE, Objective.SUPPLY, Objective.WIRES))
    search = _Clash(by_price, posed, any_design, seconds, report, stopped, altering or {})
    found, left_out = search.all()
    if found.status is not Status.IMPOSSIBLE:
        return replace(found, stopped=stopped())
    least = _once(cheapest or any_design)
    ways = Ways(search, least, retimed)
    out = ways.out_of(found.clash, left_out)
    told = search.figures(found.clash, least)
    found = replace(found, reasons=(*found.reasons, *told))
    return replace(
        found,
        ways=out,
        notes=(*found.notes, *ways.notes),
        others=search.others(found.clash, [way.dropped for way in out]),
        seconds=search.spent(),
        stopped=stopped(),
    )


def _once(plan: Plan) -> Plan:
    """Return what plans as `plan` does, and remembers what was proven."""
    known: dict[Problem, Outcome] = {}

    def planned(problem: Problem, seconds: float) -> Outcome:
        outcome = known.get(problem)
        if outcome is None:
            outcome = plan(problem, seconds)
            if outcome.status in (Status.PROVEN, Status.IMPOSSIBLE):
                known[problem] = outcome
        return outcome

    return planned


CLASH_SHARE = 0.6
"""Part of the time that may go into the smallest clash where there is one."""
FEW_GOALS = 2
"""So many goals are asked with all limits, where the whole list is undecided."""
FEW_SHARE = 0.5
"""Part of the time in which that has to be begun."""
LARGEST_SHARE = 1.0
"""Part of the time left that one question takes at most, when others had no answer."""


@dataclass
class _Clash:
    problem: Problem
    posed: Posed
    any_design: Plan
    seconds: float
    report: Callable[[str], None]
    stopped: Callable[[], bool]
    altering: Mapping[int, Easing]

    def __post_init__(self) -> None:
        self.began = time.monotonic()
        self.deadline = self.began + self.seconds
        self.wishes = wishes_of(self.problem)
        self.answers: dict[frozenset[Wish], Outcome] = {}
        """What came of planning for these wishes and no more."""
        self.proven: set[frozenset[Wish]] = set()
        """Clashes: what cannot be had, whatever of the other wishes is asked besides."""
        self.tried = 0
        """Questions that were put and forgotten."""
        self.share = ONE_SHARE
        """Part of the time left that one question may take."""
        self.most: float | None = None
        """Seconds that one question may take at most."""
        self.slowest = 0.0
        """Seconds that the slowest answer took."""

    def all(self) -> tuple[Conflict, list[frozenset[Wish]]]:
        """Return the clash, without ways out, and what was left out of sets that can be had."""
        self.report("all goals and limits")
        everything = frozenset(self.wishes)
        whole = self.ask(everything)
        if whole.design is not None:
            return Conflict(whole.status, bounds=whole.bounds), []
        clash: frozenset[Wish] | None = None
        if whole.status is Status.IMPOSSIBLE:
            self.proven.add(everything)
            self.report("a first clash")
            # Time is left for the ways out.
            self.deadline = self.began + CLASH_SHARE * self.seconds
            self.most = LEAST_SECONDS
            clash = self.shrunk(everything)
        else:
            self.most = LEAST_SECONDS
            clash = self._of_few_goals()
            if clash is not None:
                self.deadline = self.began + CLASH_SHARE * self.seconds
        self.most = None
        left_out: list[frozenset[Wish]] = []
        smallest = False
        while True:
            clash, smallest = self._hit(everything, left_out, clash)
            if smallest or self.over() or self.share >= LARGEST_SHARE:
                break
            # What had no answer is asked again, with more time for each question.
            self.share *= 2
            undecided = [s for s, o in self.answers.items() if o.status is Status.UNDECIDED]
            self.tried += len(undecided)
            for wishes in undecided:
                del self.answers[wishes]
            if clash is not None:
                clash = self.shrunk(clash)
        self.deadline = self.began + self.seconds
        if clash is None:
            return self._undecided(whole), left_out
        outcome = self.ask(clash)
        notes = () if smallest else ("A smaller clash is not ruled out.",)
        return Conflict(
            Status.IMPOSSIBLE,
            self.ordered(clash),
            smallest,
            outcome.clash,
            (),
            notes,
            outcome.bounds,
            tried=self.tried + len(self.answers),
        ), left_out

    def _hit(
        self,
        everything: frozenset[Wish],
        left_out: list[frozenset[Wish]],
        clash: frozenset[Wish] | None,
    ) -> tuple[frozenset[Wish] | None, bool]:
        """Return the smallest clash that is found, and whether it is proven to be the smallest.

        `clash` is one that is known. What is left out of sets that can be had is added to
        `left_out`: every clash has some of each. Sets without an answer are passed over.
        """
        passed: list[frozenset[Wish]] = []
        while not self.over():
            trial = frozenset(least_hitting_set([*left_out, *passed], self.wishes))
            if clash is not None and len(trial) >= len(clash):
                return clash, not passed
            self.report(f"is there a clash of {len(trial)}?")
            status = self.status(trial)
            if status is Status.IMPOSSIBLE:
                return self.within(trial), not passed
            if trial == everything:
                break
            if status is Status.UNDECIDED:
                passed.append(everything - trial)
            else:
                left_out.append(everything - self._grown(trial))
        return clash, False

    def _undecided(self, whole: Outcome) -> Conflict:
        """Return what is known where neither a design nor a clash was found."""
        most = max(
            (wishes for wishes, outcome in self.answers.items() if outcome.design is not None),
            key=lambda wishes: (len(wishes), [-self.wishes.index(w) for w in self.ordered(wishes)]),
            default=frozenset[Wish](),
        )
        return Conflict(
            Status.UNDECIDED,
            bounds=whole.bounds,
            together=self.ordered(most),
            open=self.ordered(frozenset(self.wishes) - most),
            tried=self.tried + len(self.answers),
            seconds=self.spent(),
            bound=whole.bound,
            time_up=self.over(),
        )

    def ordered(self, wishes: Collection[Wish]) -> tuple[Wish, ...]:
        """Return wishes in the order in which they are asked."""
        return tuple(sorted(wishes, key=self.wishes.index))

    def spent(self) -> float:
        """Return the seconds since the beginning."""
        return time.monotonic() - self.began

    # -- questions ---------------------------------------------------------------------------

    def ask(self, wishes: frozenset[Wish]) -> Outcome:
        """Return what comes of planning for these wishes alone."""
        known = self.answers.get(wishes)
        if known is not None:
            return known
        excluded = bounds_excluded(wishes)
        if excluded:
            return self.answers.setdefault(wishes, Outcome(Status.IMPOSSIBLE, clash=(excluded,)))
        problem = self.problem_of(wishes)
        if problem is None:
            # Some goals mean nothing without others, and so ask nothing; the rest may clash. Where
            # there is nothing to be had, nothing clashes.
            part = self._part(wishes)
            status = self.ask(part).status if part and part != wishes else Status.BEST_FOUND
            decided = status in (Status.IMPOSSIBLE, Status.UNDECIDED)
            return self.answers[part] if decided else Outcome(Status.BEST_FOUND)
        began = time.monotonic()
        outcome = self.any_design(problem, self.time_for_one())
        if outcome.status is not Status.UNDECIDED:
            self.slowest = max(self.slowest, time.monotonic() - began)
        self.answers[wishes] = outcome
        return outcome

    def _part(self, wishes: frozenset[Wish]) -> frozenset[Wish]:
        """Return the most of `wishes`, which cannot be asked as they are, that can be asked."""
        limits = frozenset(wish for wish in wishes if wish.kind is not Kind.GOAL)
        goals: list[Wish] = []
        more = True
        while more:
            more = False
            for wish in self.ordered(wishes - limits - set(goals)):
                trial = frozenset(other.number for other in (*goals, wish))
                posed = self.posed(trial)
                # What only adds to a goal that is not there is left out of what is posed.
                if posed is not None and any(goal.number == wish.number for goal in posed.goals):
                    goals.append(wish)
                    more = True
        return limits.union(goals) if goals else frozenset()

    def again(self, wishes: frozenset[Wish]) -> Outcome:
        """Return what comes of planning for these wishes alone, anew if it was not decided."""
        known = self.answers.get(wishes)
        if known is not None and known.status is Status.UNDECIDED:
            self.tried += 1
            del self.answers[wishes]
        return self.ask(wishes)

    def status(self, wishes: frozenset[Wish]) -> Status:
        """Return whether wishes can be had: as follows from what was asked before, else asked.

        What holds a clash is one; what is within a set that can be had can be had.
        """
        known = self.answers.get(wishes)
        if known is None or known.status is Status.UNDECIDED:
            if self.within(wishes):
                return Status.IMPOSSIBLE
            if any(wishes < other for other, o in self.answers.items() if o.design is not None):
                return Status.BEST_FOUND
        status = self.ask(wishes).status
        return status if status is not Status.IMPOSSIBLE else self._eased(wishes)

    def _eased(self, wishes: frozenset[Wish]) -> Status:
        """Return whether wishes, which cannot be had by themselves, can be had with goals that may
        ease them; those that cannot are kept as a clash."""
        if wishes in self.proven:
            return Status.IMPOSSIBLE
        problem = self.problem_of(wishes)
        may = [
            wish
            for wish in self.wishes
            if wish not in wishes
            and wish.kind is Kind.GOAL
            and wish.number in self.altering
            and (problem is None or self.altering[wish.number].may_ease(problem))
        ]
        status = Status.IMPOSSIBLE
        for size in range(len(may), 0, -1):
            for more in combinations(may, size):
                eased = self.ask(wishes.union(more))
                if eased.status in (Status.PROVEN, Status.BEST_FOUND):
                    return Status.BEST_FOUND
                if eased.status is Status.UNDECIDED:
                    status = Status.UNDECIDED
            if len(may) > MOST_EASING or status is Status.UNDECIDED:
                return Status.UNDECIDED
        self.proven.add(wishes)
        return Status.IMPOSSIBLE

    def within(self, wishes: frozenset[Wish]) -> frozenset[Wish]:
        """Return the smallest clash that is known within wishes, empty if there is none."""
        return min(
            (clash for clash in self.clashes() if clash <= wishes), key=len, default=frozenset()
        )

    def clashes(self) -> list[frozenset[Wish]]:
        """Return the clashes that are known, but for those that hold another one."""
        return [c for c in self.proven if not any(other < c for other in self.proven)]

    def others(
        self, clash: Sequence[Wish], ways: Sequence[Sequence[Wish]]
    ) -> tuple[tuple[Wish, ...], ...]:
        """Return clashes that say why a way out names wishes that are not in `clash`: each holds
        such a wish, and nothing else that gives on that way, so that it would still be there."""
        found: dict[tuple[Wish, ...], None] = {}
        for dropped in ways:
            for wish in dropped:
                if wish in clash:
                    continue
                rest = frozenset(dropped) - {wish}
                known = [one for one in self.clashes() if wish in one and not rest & one]
                if known:
                    found[self.ordered(self.shrunk(min(known, key=len)))] = None
        return tuple(found)

    def time_for_one(self) -> float:
        """Return the seconds for one question."""
        seconds = max(LEAST_SECONDS, (self.deadline - time.monotonic()) * self.share)
        return seconds if self.most is None else min(seconds, self.most)

    def problem_of(self, wishes: frozenset[Wish]) -> Problem | None:
        """Return the problem of these wishes alone; None where it cannot be asked."""
        goals = frozenset(wish.number for wish in wishes if wish.kind is Kind.GOAL)
        if not goals:
            return None
        problem = self.problem
        if len(goals) < len(problem.goals):
            alone = self.posed(goals)
            if alone is None or not (alone.requirements or alone.contradictions):
                return None
            # The times of all goals are on offer, or more goals might be easier than fewer.
            times = tuple(sorted({*alone.times, *self.problem.times}))
            problem = replace(alone, times=times)
            if any(wish.kind is Kind.LEAST for wish in wishes):
                # What a part asked for may follow must not hang on the goals asked.
                problem = replace(
                    problem,
                    inputs=self.problem.inputs,
                    never_together=self.problem.never_together,
                )
        limits = _kept(self.problem, wishes).about({r.load for r in problem.requirements})
        return replace(
            problem,
            limits=limits,
            kit=_kit(self.problem, wishes),
            objectives=self.problem.objectives,
        )

    def figures(self, clash: Sequence[Wish], least: Plan) -> list[str]:
        """Return what the goals of a clash take at least where a limit of units or coins is in it;
        `least` plans for what is to be made least."""
        told = [self._energy_figure(clash)]
        for wish in clash:
            first = SENTENCES.get(wish.kind)
            problem = self.problem_of(frozenset(clash) - {wish}) if first else None
            if first is None or problem is None or self.over():
                continue
            self.report("what a clash takes at least")
            order = (first, *(o for o in self.problem.objectives if o is not first))
            asked = replace(problem, objectives=order)
            told.append(figure(wish, clash, asked, least(asked, self.time_for_one())))
        return [words for words in told if words]

    def _energy_figure(self, clash: Sequence[Wish]) -> str:
        """Return what a design for all but a goal about energy uses; "" where there is no such goal
        in the clash, or where the search said already that the loads alone use too much."""
        problem = self.problem_of(frozenset(clash))
        energy = problem.energy if problem is not None else None
        if problem is None or energy is None or self.over():
            return ""
        alone = loads_alone(problem, energy.nights)
        if alone is not None and alone.total > energy.unit_hours:
            return ""
        self.report("what a clash uses in a day")
        asked = replace(problem, energy=replace(energy, unit_hours=EVER))
        return energy_figure(asked, self.any_design(asked, self.time_for_one()))

    def over(self) -> bool:
        """Return whether time is up."""
        return self.stopped() or time.monotonic() >= self.deadline

    # -- sets --------------------------------------------------------------------------------

    def _grown(self, wishes: frozenset[Wish]) -> frozenset[Wish]:
        """Return `wishes`, which can be had, with all that can be had beside them, one after the
        other."""
        for wish in self.wishes:
            if wish in wishes or self.over():
                continue
            self.report(f"what can be had together: {len(wishes)} of {len(self.wishes)}")
            if self.status(wishes | {wish}) in (Status.PROVEN, Status.BEST_FOUND):
                wishes |= {wish}
        return wishes

    def _of_few_goals(self) -> frozenset[Wish] | None:
        """Return a clash of one or two goals with the limits, where all together was too large a
        question; None when none is found."""
        goals = [wish for wish in self.wishes if wish.kind is Kind.GOAL]
        limits = frozenset(self.wishes) - frozenset(goals)
        open_ones: set[Wish] = set()
        for size in range(1, min(FEW_GOALS, len(goals) - 1) + 1):
            self.report(f"is there a clash of {size} goals and the limits?")
            # What is hard by itself is no easier with more, and comes last.
            for few in sorted(combinations(goals, size), key=lambda f: not open_ones.isdisjoint(f)):
                if self.spent() > FEW_SHARE * self.seconds or self.over():
                    return None
                status = self.status(limits.union(few))
                if status is Status.IMPOSSIBLE:
                    return self.shrunk(limits.union(few))
                if status is Status.UNDECIDED:
                    open_ones.update(few if size == 1 else ())
        return None

    def shrunk(self, wishes: frozenset[Wish]) -> frozenset[Wish]:
        """Return a clash within `wishes`, a clash, as small as it goes within the time."""
        wishes = self.within(wishes) or wishes
        for wish in self.wishes:
            if wish in wishes and not self.over():
                rest = wishes - {wish}
                if rest and self.status(rest) is Status.IMPOSSIBLE:
                    wishes = self.within(rest) or rest
        return wishes


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


def bounds_excluded(wishes: Collection[Wish]) -> str:
    """Return why two bounds on one part exclude each other, whatever is built; "" if none do."""
    most = {wish.part: wish.number for wish in wishes if wish.kind is Kind.MOST}
    for wish in sorted(wish for wish in wishes if wish.kind is Kind.LEAST):
        there = most.get(wish.part, wish.number)
        if there < wish.number:
            only = f"only {there} can be" if there else "none can be"
            return f"at least {wish.number} of '{wish.part}' should be in use, and {only}"
    return ""


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
