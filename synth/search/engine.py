"""The cheapest design for one problem: parts lists in order, each asked for any wiring that works.

A question "is there a wiring of exactly these parts?" is put to CP-SAT on a set of scenarios.
"No" is a proof for all of that list. "Yes" gives a wiring; it is shared out, checked exactly, and
either stands or teaches a new scenario. Lists come in order of a lower bound, so the first design
that stands at its own bound is the cheapest.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.parts.behaviour import CONTROLLED, LEVERS, SENSING, TIMED, PartType
from synth.problem import Objective, Problem
from synth.result import Verdict
from synth.search.bounds import essential, lacks_time, sharing_floor
from synth.search.formula import Formula
from synth.search.lists import Catalogue, PartsList
from synth.search.scenario import Scenario, build_scenario
from synth.search.slots import Slot, Wiring
from synth.search.solver import solve
from synth.search.stimuli import first_runs
from synth.search.unroll import Unrolled
from synth.signals import times_of
from synth.trace import Moment

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
    anything happens in a concrete run up to `end`, `fan_out` prices a net.
    """

    share: Callable[[Skeleton, Problem], Design | None]
    check: Callable[[Design, Problem], Verdict]
    instants: Callable[[Design, Problem, Sequence[Moment], Fraction], Sequence[Fraction]]
    fan_out: Callable[[int], int | None]


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


@dataclass
class Found:
    """What the engine knows at its end.

    `floor` is the key (objectives in order) of the least list not refuted: a bound on every
    design. `closed`: no list is left below the design. `refuted` counts lists.
    """

    design: Design | None = None
    skeleton: Skeleton | None = None
    verdict: Verdict | None = None
    parts_list: PartsList | None = None
    floor: tuple[int, ...] | None = None
    closed: bool = False
    exhausted: bool = False
    refuted: int = 0
    asked: int = 0
    reasons: list[str] = field(default_factory=list)


class Engine:
    """Searches one problem; see the module's text."""

    def __init__(
        self, problem: Problem, catalogue: Catalogue, tools: Tools, progress: Progress, seed: int
    ) -> None:
        self.problem = problem
        self.catalogue = catalogue
        self.alone: list[Alone] = []
        self.tools = tools
        self.progress = progress
        self.seed = seed
        self.scenarios: list[Scenario] = []
        self.excluded: list[Skeleton] = []
        self.loads = _representatives(problem)
        self._essential = sorted(essential(problem))
        times = sorted(set().union(*(times_of(r.signal) for r in problem.requirements)))
        for moments, horizon in first_runs(problem, seed):
            self.scenarios.append(
                build_scenario(
                    problem, moments, problem.times or times, horizon, POINTS, cut=2 * POINTS
                )
            )
        self.remembers = remembers(self.scenarios)
        self.plain = self.scenarios[:1]
        self.learned: list[Scenario] = []
        self.runs: list[LearnedRun] = []

    def lift(self, run: LearnedRun, also_on: Sequence[str]) -> None:
        """Ask of this problem what taught something about a circuit of it.

        All inputs that the run does not mention stay at 0 but for `also_on`, which are at 1.
        """
        mentioned = {name for moment in run.moments for name, _ in moment.inputs}
        if not run.moments or any(
            item.most_off is not None and item.name not in mentioned for item in self.problem.inputs
        ):
            return
        first = run.moments[0]
        levels = (*first.inputs, *((name, True) for name in also_on))
        moments = (Moment(first.time, levels), *run.moments[1:])
        scenario = build_scenario(
            self.problem, moments, self.problem.times, run.last, POINTS, also=run.instants
        )
        if len(scenario.points) <= 4 * POINTS:
            self.learned.append(scenario)

    def run(
        self, upper: tuple[int, ...] | None = None, known: tuple[int, ...] | None = None
    ) -> Found:
        """Return the best design with a key below `upper`, and what was proven.

        `known` is a list (its items) that is known to have a working wiring, that of `upper`.
        """
        found = Found()
        objectives = self.problem.objectives
        needed = self._needed()
        reason = self._impossible()
        if needed is None or reason:
            found.closed = found.exhausted = True
            found.reasons.append(reason)
            return found
        best: tuple[int, ...] | None = upper
        again: list[tuple[tuple[int, ...], PartsList]] = []
        lists = self.catalogue.in_order(needed, objectives)
        pending = next(lists, None)
        while pending is not None or again:
            if again and (
                pending is None or min(entry[0] for entry in again) <= pending.key(objectives)
            ):
                again.sort(key=lambda entry: (entry[0], entry[1].items))
                key, parts_list = again.pop(0)
                priced = True
            else:
                assert pending is not None
                parts_list, key, priced = pending, pending.key(objectives), False
                pending = next(lists, None)
            if found.floor is None or key > found.floor:
                found.floor = key
                self.progress.report("parts lists", None, key[0])
            if best is not None and key >= best:
                found.closed = True
                return found
            if self._too_dear(key):
                break
            if self.progress.over():
                return found
            if not priced:
                reason = self._hopeless(parts_list)
                if reason:
                    found.refuted += 1
                    if reason not in found.reasons:
                        found.reasons.append(reason)
                    continue
            if parts_list.items == known and not priced:
                again.append((key, parts_list))
                continue
            answer: bool | None = True
            for part in self.alone:
                answer = part.possible(self.catalogue, parts_list.items) if not priced else True
                if not answer:
                    break
            if answer:
                answer = self._ask(parts_list, key, priced, found)
            if answer is None:
                return found
            if answer:
                actual = self._key(found)
                if best is None or actual < best:
                    best = actual
                if actual > key and not priced:
                    again.append((key, parts_list))
            elif priced and key[0] < (best or key)[0]:
                again.append(((key[0] + 1, *key[1:]), parts_list))
            else:
                found.refuted += 1
        found.closed = found.exhausted = True
        return found

    def _too_dear(self, key: tuple[int, ...]) -> bool:
        """Return whether this and all later lists are beyond the limit of the first objective."""
        limits = self.problem.limits
        bound = {Objective.PRICE: limits.price, Objective.SUPPLY: limits.supply}.get(
            self.problem.objectives[0]
        )
        return bound is not None and key[0] > bound

    def _key(self, found: Found) -> tuple[int, ...]:
        assert found.design is not None and found.parts_list is not None
        price = found.design.price(self.problem.kit)
        elsewhere = sum(part.price for part in self.catalogue.elsewhere)
        values = {Objective.PRICE: price + elsewhere, Objective.SUPPLY: found.design.supply}
        return tuple(values.get(o, len(found.parts_list.items)) for o in self.problem.objectives)

    def _needed(self) -> list[int] | None:
        """Return the offers that every design has: one sensing part for each input that any
        signal depends on (nothing else follows that input). None when there is none."""
        needed: list[int] = []
        for name in self._named():
            options = [
                i
                for i, (part, follows) in enumerate(self.catalogue.offers)
                if follows == name and part.type in SENSING
            ]
            if not options:
                return None
            if len(options) == 1:
                needed.append(options[0])
        return needed

    def _named(self) -> list[str]:
        """Return the outside inputs that any load provably depends on, in order of name."""
        return self._essential

    def _impossible(self) -> str:
        """Return why no parts list whatever will do, "" if that is not known."""
        offers, limits = self.catalogue.offers, self.problem.limits
        for name in self._named():
            if all(follows != name for _, follows in offers):
                return f"nothing on offer follows '{name}'"
        timed = [r.load for r in self.problem.requirements if times_of(r.signal)]
        if timed and not any(part.type in TIMED for part, _ in offers):
            return f"'{timed[0]}' has to keep a time, and no timer that can is on offer"
        shared = any(part.type is PartType.RELAY_CHANGEOVER for part, _ in offers)
        if limits.supply is not None and self.catalogue.needs > limits.supply and not shared:
            return (
                f"the loads alone need {self.catalogue.needs} units, and the supply is limited "
                f"to {limits.supply}"
            )
        return ""

    def _hopeless(self, parts_list: PartsList) -> str:
        """Return why this list is refuted without a question, "" if it is not."""
        parts = self.catalogue.parts(parts_list.items)
        limits = self.problem.limits
        if limits.supply is not None and parts_list.units > limits.supply:
            return f"more than {limits.supply} units are needed"
        if limits.price is not None and parts_list.price > limits.price:
            return f"more than {limits.price} coins are needed"
        for name in self._named():
            if not any(self.catalogue.offers[i][1] == name for i in parts_list.items):
                return f"nothing follows '{name}'"
        followed = [
            self.catalogue.offers[i][1]
            for i in parts_list.items
            if self.catalogue.offers[i][0].type in LEVERS
        ]
        if len(followed) != len(set(followed)):
            return "a lever is one part with one contact"
        if self.remembers and not any(part.type in CONTROLLED for part in parts):
            return self.remembers
        return lacks_time(parts, self.problem)

    def _ask(
        self, parts_list: PartsList, key: tuple[int, ...], priced: bool, found: Found
    ) -> bool | None:
        """Return whether a design of this list stands (kept in `found`), None when time is up."""
        while True:
            slots = self.catalogue.slots(parts_list.items, self.loads)
            if too_large(slots, self.plain + self.learned):
                return None
            wiring = self._model(parts_list, self.plain + self.learned, key if priced else None)
            found.asked += 1
            answer = solve(
                wiring.formula,
                self.progress.left(),
                seed=self.seed,
                stopped=self.progress.over,
            )
            if answer.satisfiable is None:
                return None
            if answer.satisfiable is False:
                return False
            skeleton = self._completed(wiring.decode(answer.values))
            design = self.tools.share(skeleton, self.problem)
            if design is None:
                self.excluded.append(wiring.decode(answer.values))
                continue
            verdict = self.tools.check(design, self.problem)
            if verdict.holds:
                if found.design is None or self._better(design, parts_list, found):
                    found.design, found.skeleton = design, skeleton
                    found.verdict, found.parts_list = verdict, parts_list
                    self.progress.report("design found", self._key(found)[0], None)
                return True
            if self.progress.over():
                return None
            self._learn(design, verdict, wiring.decode(answer.values), wiring)

    def any_wiring(self, parts_list: PartsList) -> bool | None:
        """Return whether some wiring of some of these parts may do (None: no time to say).

        "Some of": the list of a whole may have more than these loads use.
        """
        slots = tuple(
            replace(slot, fixed=False)
            for slot in self.catalogue.slots(parts_list.items, self.loads)
        )
        for scenarios in (self.plain + self.learned, self.scenarios + self.learned):
            if too_large(slots, scenarios):
                return True
            wiring = Wiring(self.problem, slots, Formula())
            for scenario in scenarios:
                Unrolled(wiring, scenario, DEPTH)
            left = min(5.0, self.progress.left())
            answer = solve(wiring.formula, left, seed=self.seed, stopped=self.progress.over)
            if answer.satisfiable is None:
                return None if self.progress.over() else True
            if not answer.satisfiable:
                return False
        return True

    def _better(self, design: Design, parts_list: PartsList, found: Found) -> bool:
        old = self._key(found)
        trial = Found(design=design, parts_list=parts_list)
        return self._key(trial) < old

    def _model(
        self, parts_list: PartsList, scenarios: Sequence[Scenario], key: tuple[int, ...] | None
    ) -> Wiring:
        formula = Formula()
        slots = self.catalogue.slots(parts_list.items, self.loads)
        wiring = Wiring(self.problem, slots, formula)
        for scenario in scenarios:
            Unrolled(wiring, scenario, DEPTH)
        if key is not None:
            parts = self.catalogue.parts(parts_list.items)
            price = key[self.problem.objectives.index(Objective.PRICE)]
            elsewhere = self.catalogue.elsewhere
            rest = price - sum(p.price for p in parts) - sum(p.price for p in elsewhere)
            wiring.price_sharing(self.tools.fan_out, rest)
        for skeleton in self.excluded:
            wiring.exclude(skeleton)
        return wiring

    def _completed(self, skeleton: Skeleton) -> Skeleton:
        """Return the wiring with the loads added that want the same as one that has been wired."""
        return with_equal_loads(skeleton, self.problem)

    def _learn(self, design: Design, verdict: Verdict, bare: Skeleton, wiring: Wiring) -> None:
        """Add the scenario of the first counterexample, or rule out this very wiring."""
        for defect in verdict.defects:
            shown = defect.counterexample
            if shown is None or not shown.moments or shown.orders:
                continue
            last = max(m.time for m in shown.moments)
            end = last + 1
            instants = self.tools.instants(design, self.problem, shown.moments, end)
            scenario = build_scenario(
                self.problem,
                shown.moments,
                self.problem.times,
                int(last),
                POINTS,
                also=instants,
            )
            if self._refutes(scenario, bare):
                self.learned.append(scenario)
                self.runs.append(LearnedRun(shown.moments, int(last), tuple(instants)))
                return
        self.excluded.append(bare)

    def _refutes(self, scenario: Scenario, bare: Skeleton) -> bool:
        """Return whether the scenario rules out this wiring (asked of the model itself)."""
        names = {part.name for part in bare.parts}
        items = self.items_of(bare)
        formula = Formula()
        slots = tuple(
            slot
            for slot in self.catalogue.slots(items, self.loads)
            if slot.fixed or slot.load or slot.name in names
        )
        wiring = Wiring(self.problem, slots, formula)
        Unrolled(wiring, scenario, DEPTH)
        chosen = wiring.assignment(bare)
        assert chosen is not None
        fixed = [v if value else -v for v, value in chosen.items() if v <= formula.count]
        answer = solve(formula, max(1.0, self.progress.left()), fixed=fixed)
        return answer.satisfiable is False

    def items_of(self, bare: Skeleton) -> tuple[int, ...]:
        """Return the parts list of a wiring, as indices into the offers."""
        items: list[int] = []
        free = {part.name for part, _ in self.catalogue.free}
        for part in bare.parts:
            follows = part.setting("input") or ("night" if part.setting("passes") else "")
            for index, (offer, name) in enumerate(self.catalogue.offers):
                if offer.name == part.part and name == follows and part.part not in free:
                    items.append(index)
        return tuple(sorted(items))


@dataclass
class Alone:
    """Some loads of a problem alone: what they are known to need refutes lists for the whole.

    Proof: hold every outside input that these loads do not depend on at a fixed level. Sensing
    parts of those inputs then never move, so what is left of any design is a design for these
    loads alone, with all other parts of the list.
    """

    engine: Engine
    found: Found
    answers: dict[tuple[int, ...], bool] = field(default_factory=dict)

    def possible(self, catalogue: Catalogue, items: Sequence[int]) -> bool | None:
        """Return whether the parts `items` may do for these loads (None: no time to say)."""
        own = self.engine.catalogue
        where = {offer: i for i, offer in enumerate(own.offers)}
        kept = tuple(
            sorted(where[catalogue.offers[i]] for i in items if catalogue.offers[i] in where)
        )
        if kept in self.answers:
            return self.answers[kept]
        if self.found.parts_list is not None and _holds(kept, self.found.parts_list.items):
            return True
        measured = own.measure(kept)
        objectives = self.engine.problem.objectives
        answer: bool | None = True
        if measured is None or self.engine._hopeless(measured):
            answer = False
        elif self.found.closed and self.found.parts_list is not None:
            key, least = measured.key(objectives), self.found.parts_list.key(objectives)
            answer = key[0] >= least[0]
        if answer and measured is not None:
            answer = self.engine.any_wiring(measured)
        if answer is not None:
            self.answers[kept] = answer
        return answer


def _holds(items: Sequence[int], wanted: Sequence[int]) -> bool:
    """Return whether the multiset `items` holds all of `wanted`."""
    return all(items.count(i) >= wanted.count(i) for i in set(wanted))


def too_large(slots: Sequence[Slot], scenarios: Sequence[Scenario]) -> bool:
    """Return whether a question about these slots would have too many clauses to be put."""
    inputs = sum(len(s.part.shape.power) + len(s.part.shape.controls) for s in slots)
    outputs = 1 + sum(len(s.part.shape.outputs) for s in slots)
    steps = sum(len(scenario.points) for scenario in scenarios) * DEPTH
    return 2 * inputs * outputs * steps > LARGEST


def remembers(scenarios: Sequence[Scenario]) -> str:
    """Return why a part with a state of its own is needed, "" if that is not known.

    Proof: sensing contacts, joints and splitting parts follow the present levels of the inputs
    alone, so without a controlled part every load is a function of them. Two settled instants
    with the same inputs and different wanted loads show that it must not be.
    """
    for scenario in scenarios:
        seen: dict[tuple[bool, ...], tuple[bool, ...]] = {}
        for point in scenario.points:
            wanted = seen.setdefault(point.inputs, point.loads)
            for load, one, other in zip(scenario.loads, wanted, point.loads, strict=True):
                if one != other:
                    return f"'{load}' has to remember, and no part that can is in the list"
    return ""


def _representatives(problem: Problem) -> tuple[str, ...]:
    """Return one load for each distinct signal."""
    seen: dict[object, str] = {}
    for requirement in problem.requirements:
        seen.setdefault(requirement.signal, requirement.load)
    kept = set(seen.values())
    for pair in problem.apart:
        kept |= {pair.first, pair.second}
    return tuple(r.load for r in problem.requirements if r.load in kept)


def with_equal_loads(skeleton: Skeleton, problem: Problem) -> Skeleton:
    """Return `skeleton` with all loads, each fed where a load of the same signal is."""
    fed = {target.part: source for source, target in skeleton.feeds if target.terminal == "in"}
    present = {part.name for part in skeleton.parts if part.type is PartType.LOAD}
    parts, feeds = list(skeleton.parts), list(skeleton.feeds)
    load = problem.kit.of_type(PartType.LOAD)[0]
    for requirement in problem.requirements:
        if requirement.load in present:
            continue
        twin = next(
            r.load
            for r in problem.requirements
            if r.signal == requirement.signal and r.load in present
        )
        parts.append(
            PartInUse(requirement.load, PartType.LOAD, load.name, (("needs", requirement.needs),))
        )
        feeds.append((fed[twin], Terminal(requirement.load, "in")))
    return Skeleton(skeleton.kit, tuple(parts), tuple(feeds))


def floor_for(tools: Tools) -> Callable[[int], int | None]:
    """Return the least price of splitting by surplus of inputs, see `bounds.sharing_floor`."""
    return sharing_floor(tools.fan_out)
