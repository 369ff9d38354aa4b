"""Models that are kept alive, solver and all, while scenarios and forbidden wirings are added."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal, Protocol

from synth.design import Skeleton
from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.search.alike import in_order
from synth.search.basics import DEPTH, Progress
from synth.search.choice import open_solver
from synth.search.formula import Formula
from synth.search.lists import Catalogue
from synth.search.scenario import Scenario
from synth.search.slots import Slot, Wiring
from synth.search.solver import Solver
from synth.search.unroll import Unrolled

ROOM = 20_000
"""Clauses, by estimate, that what was learned may add to a model at its start; more are added as
they are needed. With seven times as many the hardest circuits took a quarter longer."""


class Known(Protocol):
    """What a model must be told: the problem, the parts on offer, and what was learned so far."""

    problem: Problem
    catalogue: Catalogue
    progress: Progress
    seed: int
    fast: bool
    largest: int
    loads: tuple[str, ...]
    plain: list[Scenario]
    learned: list[Scenario]
    excluded: list[Skeleton]
    forced: tuple[int, ...]

    @property
    def drifts(self) -> bool:
        """Whether lists are asked about drifting runs as well."""


class Live:
    """A model of the wirings of some parts, with its solver; both are kept as scenarios come.

    Its slots hold exactly `items`, or with `optional` any of them; see `Wiring` for `loose`.
    """

    def __init__(
        self,
        questions: Known,
        items: tuple[int, ...],
        loose: bool = False,
        optional: bool = False,
        only: Sequence[Scenario] = (),
        learned: Sequence[Scenario] | None = None,
        ordered: bool = True,
        largest: int | None = None,
    ) -> None:
        """`only`: begin with these scenarios, whatever was learned. `learned`: what was learned by
        the time that counts, if not all until now. `ordered`: of wirings that differ in names alone
        some are left out, where no slot may stay empty (see `alike`). `largest`: most clauses, if
        not as many as a question may have."""
        self.questions = questions
        self.items = items
        slots = questions.catalogue.slots(items, questions.loads)
        if optional:
            slots = tuple(replace(slot, fixed=False) for slot in slots)
        self.slots = slots
        self.scenarios: list[Scenario] = []
        self._excluded = 0
        self._solver: Solver | None = None
        self.effort: float | None = None
        """What may still go into questions, see `Solver.ask`; None: as much as there is time."""
        begin = only or questions.plain
        self._largest = largest or questions.largest
        self.too_large = too_large(slots, begin, self._largest)
        if self.too_large:
            return
        self.wiring = Wiring(questions.problem, slots, Formula(), loose)
        self.wiring.some_set_to(questions.forced)
        if ordered and not optional:
            in_order(self.wiring)
        for scenario in begin:
            self.add(scenario)
        # Of what was learned, the latest first, as much as keeps the model quick to handle.
        known = questions.learned if learned is None else learned
        for scenario in () if only or questions.drifts else reversed(known):
            if not too_large(slots, [*self.scenarios, scenario], ROOM):
                self.add(scenario)

    def add(self, scenario: Scenario) -> bool:
        """Ask this scenario as well; False when the model would be too large."""
        if too_large(self.slots, [*self.scenarios, scenario], self._largest):
            return False
        Unrolled(self.wiring, scenario, DEPTH)
        self.scenarios.append(scenario)
        return True

    def left_out(self) -> list[Scenario]:
        """Return what was learned and is not asked yet, the latest first."""
        asked = {id(scenario) for scenario in self.scenarios}
        return [s for s in reversed(self.questions.learned) if id(s) not in asked]

    def refresh(self, count: int | None = None) -> bool:
        """Rule out the wirings that were ruled out meanwhile (the first `count` of them, if told);
        return whether there are any."""
        excluded = self.questions.excluded[self._excluded : count]
        for skeleton in excluded:
            piece = all(part.type is not PartType.LOAD for part in skeleton.parts)
            for renamed in self.wiring.renamings(skeleton) if piece else (skeleton,):
                self.wiring.exclude(renamed)
        self._excluded += len(excluded)
        return bool(excluded)

    def exactly(self, items: Sequence[int]) -> list[int]:
        """Return literals: of the slots, just `items` are in use."""
        wanted, seen = Counter(items), Counter[int]()
        assumed: list[int] = []
        for item, used in zip(self.items, self.wiring.used, strict=False):
            seen[item] += 1
            if used != self.wiring.formula.true:
                assumed.append(used if seen[item] <= wanted[item] else -used)
        return assumed

    def ask(
        self,
        assumed: Sequence[int] = (),
        most: float = 3600.0,
        stopped: Callable[[], bool] = lambda: False,
    ) -> tuple[bool, ...] | Literal[False] | None:
        """Return an assignment (by variable), False when there is none, None when time is up or
        `stopped` says so, or `effort` is used up."""
        questions = self.questions
        if self._solver is None:
            self._solver = open_solver(self.wiring.formula, questions.seed, questions.fast)
        progress = questions.progress
        answer = self._solver.ask(
            min(most, progress.left()),
            assumed,
            lambda: stopped() or progress.over(),
            self.effort,
        )
        if self.effort is not None:
            self.effort -= answer.effort
        if answer.satisfiable is None:
            return None
        return answer.values if answer.satisfiable else False


def too_large(slots: Sequence[Slot], scenarios: Sequence[Scenario], most: int) -> bool:
    """Return whether a model of these slots would have more clauses than `most`, by estimate."""
    inputs = sum(len(s.part.shape.power) + len(s.part.shape.controls) for s in slots)
    outputs = 1 + sum(len(s.part.shape.outputs) for s in slots)
    steps = sum(len(scenario.points) for scenario in scenarios) * DEPTH
    return 2 * inputs * outputs * steps > most
