"""What a circuit by itself, or one run of the inputs, tells of parts lists without a question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Protocol

from synth.problem import Problem
from synth.search.basics import Found
from synth.search.lists import Catalogue, PartsList
from synth.search.questions import Questions, holds
from synth.search.scenario import Scenario


class Asked(Protocol):
    """The engine of a circuit, asked about lists of the whole."""

    problem: Problem
    catalogue: Catalogue
    questions: Questions
    feasible: list[tuple[int, ...]]
    refuted: list[tuple[int, ...]]

    @property
    def by_price(self) -> bool:
        """Whether the price counts first."""

    def hopeless(self, parts_list: PartsList) -> str:
        """Return why this list is refuted without a question, "" if it is not."""


@dataclass
class Alone:
    """Some loads of a problem alone: what they are known to need refutes lists for the whole.

    Proof: hold every outside input that these loads do not depend on at a fixed level. Sensing
    parts of those inputs then never move: fixed contacts, closed or open, so that what hangs on
    them hangs on another output or is dead for good. A part with a dead or constant control input
    is a fixed contact as well, but for a bistable relay whose reset is dead, which the questions
    allow for. What is left of any design is a design for these loads alone, of some of its parts.
    """

    engine: Asked
    found: Found
    refuted: list[tuple[int, ...]] = field(default_factory=list)
    may: list[tuple[int, ...]] = field(default_factory=list)

    def possible(
        self, catalogue: Catalogue, items: Sequence[int], ask: bool = True
    ) -> bool | None:
        """Return whether the parts `items` may do for these loads (None: no time to say), without
        a question to the solver unless `ask`."""
        own = self.engine.catalogue
        where = {offer: i for i, offer in enumerate(own.offers)}
        kept = tuple(
            sorted(where[catalogue.offers[i]] for i in items if catalogue.offers[i] in where)
        )
        # By price a list comes after all that it holds, so that none of them was left to work.
        in_order = self.engine.by_price
        if in_order and kept in self.engine.refuted:
            return False
        if any(holds(other, kept) for other in self.refuted):
            return False
        if any(holds(kept, other) for other in self.may):
            return True
        best = self.found.best
        if best is not None and holds(kept, best.parts_list.items):
            return True
        measured = own.measure(kept)
        answer: bool | None = True
        used = kept
        if measured is None or self.engine.hopeless(measured):
            answer = False
        elif in_order and self.found.closed and self.engine.feasible:
            # All lists before the first that works were refuted, in order of their bounds.
            objectives = self.engine.problem.objectives
            first = own.measure(self.engine.feasible[0])
            assert first is not None
            answer = measured.key(objectives)[0] >= first.key(objectives)[0]
        if answer and not ask:
            return True
        if answer and measured is not None:
            said = self.engine.questions.any_wiring(measured)
            answer, used = (True, said) if isinstance(said, tuple) else (said, kept)
        if answer is not None:
            (self.may if answer else self.refuted).append(used)
        return answer


def changes_alone(scenarios: Sequence[Scenario]) -> str:
    """Return a load that has to change at an instant at which no input does, "" if none is known.

    That a goal names a time is not enough: with inputs that change soon enough it may never count.
    """
    for scenario in scenarios:
        for before, after in pairwise(scenario.points):
            if before.inputs == after.inputs:
                for load, one, other in zip(scenario.loads, before.loads, after.loads, strict=True):
                    if one != other:
                        return load
    return ""


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
