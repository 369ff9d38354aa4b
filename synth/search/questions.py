"""Questions about one parts list: is there a wiring of exactly these parts, at this price?

A question is put to CP-SAT on a set of scenarios. "No" is a proof for all of that list. "Yes"
gives a wiring; it is shared out, checked exactly, and either stands or teaches a new scenario.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.result import Verdict
from synth.search.basics import DEPTH, LARGEST, POINTS, LearnedRun, Progress, Tools, Working
from synth.search.formula import Formula
from synth.search.lists import Catalogue, PartsList
from synth.search.scenario import Scenario, build_scenario
from synth.search.slots import Slot, Wiring
from synth.search.solver import solve
from synth.search.stimuli import first_runs
from synth.search.unroll import Unrolled
from synth.signals import times_of
from synth.trace import Moment

LONGEST_QUESTION = 5.0
"""Seconds that a question may take which only spares another one."""

FEW_LOADS = 16
"""Up to so many loads, a model holds all of them."""


@dataclass(frozen=True)
class Elsewhere:
    """What else the whole holds beside the circuit asked about: a number of inputs to be fed
    (loads included) and of outputs that feed something, see `Wiring.price_sharing`."""

    inputs: int = 0
    outputs: int = 0


class Questions:
    """Asks about the wirings of one problem and keeps what the answers taught."""

    def __init__(
        self, problem: Problem, catalogue: Catalogue, tools: Tools, progress: Progress, seed: int
    ) -> None:
        self.problem = problem
        self.catalogue = catalogue
        self.tools = tools
        self.progress = progress
        self.seed = seed
        self.loads = representatives(problem)
        self.excluded: list[Skeleton] = []
        self.learned: list[Scenario] = []
        self.runs: list[LearnedRun] = []
        times = sorted(set().union(*(times_of(r.signal) for r in problem.requirements)))
        self.scenarios = [
            build_scenario(
                problem, moments, problem.times or times, horizon, POINTS, cut=2 * POINTS
            )
            for moments, horizon in first_runs(problem, seed)
        ]
        self.plain = self.scenarios[:1]

    def lift(self, run: LearnedRun, also_on: Sequence[str]) -> None:
        """Ask of this problem what taught something about a circuit of it.

        All inputs that the run does not mention stay at 0 but for `also_on`, which are at 1.
        """
        mentioned = {name for moment in run.moments for name, _ in moment.inputs}
        others = [item for item in self.problem.inputs if item.name not in mentioned]
        if not run.moments or any(
            item.most_off is not None
            or (item.steady is True and item.name != "supply")
            or (item.steady is False and item.name in also_on)
            for item in others
        ):
            return
        first = run.moments[0]
        names = {item.name for item in self.problem.inputs}
        levels = (*first.inputs, *((name, True) for name in also_on if name in names))
        moments = (Moment(first.time, levels), *run.moments[1:])
        scenario = build_scenario(
            self.problem, moments, self.problem.times, run.last, POINTS, also=run.instants
        )
        if len(scenario.points) <= 4 * POINTS:
            self.learned.append(scenario)

    def working(
        self, parts_list: PartsList, rest: int | None = None, on_supply: int = 0
    ) -> Working | Literal[False] | None:
        """Return a wiring of exactly these parts that stands the exact check, in which splitting
        costs at most `rest` coins if given, with `on_supply` inputs more on the supply; False
        when there is none, None when time is up."""
        while True:
            slots = self.catalogue.slots(parts_list.items, self.loads)
            if too_large(slots, self.plain + self.learned):
                return None
            wiring = self._model(slots, self.plain + self.learned)
            if rest is not None:
                # Loads that the model leaves out are fed as well, each by some output.
                twins = len(self.problem.requirements) - len(self.loads)
                wiring.price_sharing(self.tools.fan_out, rest, twins, on_supply=on_supply)
            for skeleton in self.excluded:
                wiring.exclude(skeleton)
            answer = self._solve(wiring.formula)
            if answer is None or isinstance(answer, bool):
                return answer
            bare = wiring.decode(answer)
            skeleton = with_equal_loads(bare, self.problem)
            design = self.tools.share(skeleton, self.problem)
            if design is None:
                self.excluded.append(bare)
                continue
            verdict = self.tools.check(design, self.problem)
            if verdict.holds:
                return Working(skeleton, design, verdict, parts_list)
            if self.progress.over():
                return None
            self._learn(design, verdict, bare)

    def loosely(
        self, parts_list: PartsList, rest: int | None = None, elsewhere: Elsewhere | None = None
    ) -> bool | None:
        """Return whether these parts, some of them perhaps idle within a larger whole, might do.

        False is a proof that no design of the whole has exactly these parts for this circuit (at
        a price of splitting, of all nets of the whole, of `rest`). True claims nothing. None: no
        time to say.
        """
        slots = self.catalogue.slots(parts_list.items, self.loads)
        scenarios = self.plain + self.learned
        if too_large(slots, scenarios):
            return None
        wiring = self._model(slots, scenarios, loose=True)
        if rest is not None:
            more = elsewhere or Elsewhere()
            twins = len(self.problem.requirements) - len(self.loads)
            wiring.price_sharing(self.tools.fan_out, rest, more.inputs + twins, more.outputs)
        answer = self._solve(wiring.formula)
        return None if answer is None else answer is not False

    def any_wiring(self, parts_list: PartsList) -> tuple[int, ...] | bool | None:
        """Return whether some wiring of some of these parts may do (None: no time to say): the
        parts that it uses, where they are known.

        "Some of": the list of a whole may have more than these loads use. A control input may
        stay without power: in the whole it may hang on something that is dead all the time.
        """
        slots = tuple(
            replace(slot, fixed=False)
            for slot in self.catalogue.slots(parts_list.items, self.loads)
        )
        used: tuple[int, ...] | bool = True
        for scenarios in (self.plain + self.learned, self.scenarios + self.learned):
            if too_large(slots, scenarios):
                break
            wiring = self._model(slots, scenarios, loose=True)
            answer = self._solve(wiring.formula, LONGEST_QUESTION)
            if answer is None:
                return None if self.progress.over() else True
            if answer is False:
                return False
            used = self.items_of(wiring.decode(answer))
        return used

    def _model(
        self, slots: tuple[Slot, ...], scenarios: Sequence[Scenario], loose: bool = False
    ) -> Wiring:
        wiring = Wiring(self.problem, slots, Formula(), loose)
        for scenario in scenarios:
            Unrolled(wiring, scenario, DEPTH)
        return wiring

    def _solve(
        self, formula: Formula, most: float = 3600.0
    ) -> tuple[bool, ...] | Literal[False] | None:
        """Return an assignment (by variable), False when there is none, None when time is up."""
        answer = solve(
            formula,
            min(most, self.progress.left()),
            seed=self.seed,
            stopped=self.progress.over,
        )
        if answer.satisfiable is None:
            return None
        return answer.values if answer.satisfiable else False

    def _learn(self, design: Design, verdict: Verdict, bare: Skeleton) -> None:
        """Add the scenario of the first counterexample, or rule out this very wiring."""
        for defect in verdict.defects:
            shown = defect.counterexample
            if shown is None or not shown.moments or shown.orders:
                continue
            last = max(m.time for m in shown.moments)
            instants = self.tools.instants(design, self.problem, shown.moments, last + 1)
            scenario = build_scenario(
                self.problem,
                shown.moments,
                self.problem.times,
                int(last),
                POINTS,
                also=instants,
            )
            if self.refutes(scenario, bare):
                self.learned.append(scenario)
                self.runs.append(LearnedRun(shown.moments, int(last), tuple(instants)))
                return
        self.excluded.append(bare)

    def refutes(self, scenario: Scenario, bare: Skeleton) -> bool:
        """Return whether the scenario rules out this wiring (asked of the model itself)."""
        names = {part.name for part in bare.parts}
        slots = tuple(
            slot
            for slot in self.catalogue.slots(self.items_of(bare), self.loads)
            if slot.fixed or slot.load or slot.name in names
        )
        wiring = self._model(slots, [scenario])
        chosen = wiring.assignment(bare)
        assert chosen is not None
        fixed = [v if value else -v for v, value in chosen.items() if v <= wiring.formula.count]
        answer = solve(wiring.formula, max(1.0, self.progress.left()), fixed=fixed)
        return answer.satisfiable is False

    def bare(self, working: Working) -> Skeleton:
        """Return the wiring without the loads that the model leaves out."""
        out = {r.load for r in self.problem.requirements} - set(self.loads)
        parts = tuple(part for part in working.skeleton.parts if part.name not in out)
        feeds = tuple(feed for feed in working.skeleton.feeds if feed[1].part not in out)
        return replace(working.skeleton, parts=parts, feeds=feeds)

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


def too_large(slots: Sequence[Slot], scenarios: Sequence[Scenario]) -> bool:
    """Return whether a question about these slots would have too many clauses to be put."""
    inputs = sum(len(s.part.shape.power) + len(s.part.shape.controls) for s in slots)
    outputs = 1 + sum(len(s.part.shape.outputs) for s in slots)
    steps = sum(len(scenario.points) for scenario in scenarios) * DEPTH
    return 2 * inputs * outputs * steps > LARGEST


def representatives(problem: Problem) -> tuple[str, ...]:
    """Return the loads that a model holds: where there are many, one for each distinct signal,
    and every load that some rule names."""
    if len(problem.requirements) <= FEW_LOADS:
        return tuple(r.load for r in problem.requirements)
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
