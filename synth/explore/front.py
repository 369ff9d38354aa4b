"""The front of price, supply units and number of parts: what can be had for what.

Each design on it comes from the search, with a limit or with other prices:

- *price against power*: the cheapest design, then the cheapest with a supply smaller by a unit
  than that, and so on until nothing does with less. All designs that are cheapest for their
  supply are found that way.
- *price against parts*: with every price replaced by (coins x A + B), A and B whole numbers, the
  cheapest design is the one with the least of A coins + B parts. A very large B gives the fewest
  parts; then, between two neighbours on the front, the A and B by which these two tie show whether
  a third is better than either, and so on. What is found is the convex edge of the front; a design
  in a hollow between two neighbours may be missed, unless there is no room for one.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from synth.choices import Choice, Choices, Measure, parts_counted
from synth.design import Design
from synth.explore.different import telling
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit
from synth.problem import Objective, Problem
from synth.result import Outcome, Status

Plan = Callable[[Problem, float], Outcome]
"""Plans a problem within so many seconds."""


def front_of(
    problem: Problem,
    plan: Plan,
    seconds: float,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
) -> tuple[Choices, Outcome]:
    """Return the front for `problem`, and the outcome of planning it by price.

    The front is empty where no design was found; the outcome then says why.
    """
    by_price = replace(
        problem, objectives=(Objective.PRICE, Objective.SUPPLY, Objective.WIRES)
    )
    return _Front(by_price, plan, seconds, report, stopped).all()


@dataclass
class _Front:
    problem: Problem
    plan: Plan
    seconds: float
    report: Callable[[str], None]
    stopped: Callable[[], bool]

    def __post_init__(self) -> None:
        self.kit: Kit = self.problem.kit
        self.deadline = time.monotonic() + self.seconds
        self.found: list[Choice] = []
        self.notes: list[str] = []
        self.complete = True

    def all(self) -> tuple[Choices, Outcome]:
        """Return the front, and what planning by price came to."""
        self.report("the cheapest")
        first = self._planned(self.problem, 0.4)
        if first.design is None:
            return Choices((), False, ()), first
        self._add(first, Measure.PRICE)
        self._less_power(first)
        self._fewer_parts()
        best: dict[tuple[int, int, int], Choice] = {}
        for choice in self.found:
            if any(other.beats(choice) for other in self.found):
                continue
            same = best.setdefault(choice.values, choice)
            least = tuple(m for m in Measure if m in (*same.least, *choice.least))
            best[choice.values] = replace(same, least=least)
        front = [best[values] for values in sorted(best)]
        front = [
            replace(c, differs=self._telling(c.design, front[0].design) if number else "")
            for number, c in enumerate(front)
        ]
        return Choices(tuple(front), self.complete, tuple(self.notes)), first

    # -- price against power -----------------------------------------------------------------

    def _less_power(self, outcome: Outcome) -> None:
        """Go down with the limit of the supply until nothing does with less."""
        while True:
            assert outcome.design is not None
            units = outcome.design.supply
            limit = self.problem.limits.supply
            if limit is not None and units > limit:
                return
            if self._over():
                return self._open(f"whether fewer than {units} units would do")
            self.report(f"less than {units} units")
            limits = replace(self.problem.limits, supply=units - 1)
            outcome = self._planned(replace(self.problem, limits=limits), 0.4)
            if outcome.design is None:
                if outcome.status is Status.IMPOSSIBLE:
                    self.notes.append(f"No design does with less than {units} units.")
                else:
                    self._open(f"whether fewer than {units} units would do")
                return
            self._add(outcome, Measure.PRICE)

    # -- price against parts -----------------------------------------------------------------

    def _fewer_parts(self) -> None:
        """Find the fewest parts, then what lies between that and the cheapest."""
        if self.problem.limits.stock:
            return self._open("the number of parts, since some are in stock")
        if self.problem.limits.price is not None:
            return self._open("the number of parts, since a limit of the price is set")
        cheapest = min(self.found, key=lambda choice: choice.values)
        self.report("the fewest parts")
        fewest = self._weighed(1, self._beyond(cheapest), 0.5, Measure.PARTS)
        if fewest is None:
            return self._open("what the fewest parts are")
        if Measure.PARTS in fewest.least:
            self.notes.append(f"No design has fewer than {fewest.parts} parts.")
        self._between(cheapest, fewest)

    def _between(self, cheap: Choice, few: Choice) -> None:
        """Seek designs between two neighbours, the one cheaper, the other of fewer parts."""
        if few.price <= cheap.price or few.parts >= cheap.parts:
            return
        if few.parts == cheap.parts - 1 and Measure.PARTS in few.least:
            return  # there is no number between the two
        if few.price == cheap.price + 1 and Measure.PRICE in cheap.least:
            return
        if self._over():
            return self._open(f"what lies between {few.parts} and {cheap.parts} parts")
        self.report(f"between {few.parts} and {cheap.parts} parts")
        coins, parts = cheap.parts - few.parts, few.price - cheap.price
        other = self._weighed(coins, parts, 0.4)
        here = coins * cheap.price + parts * cheap.parts
        if other is None:
            return self._open(f"what lies between {few.parts} and {cheap.parts} parts")
        if coins * other.price + parts * other.parts < here:
            self._between(cheap, other)
            self._between(other, few)
        elif (few.parts < cheap.parts - 1) and (few.price > cheap.price + 1):
            self._open(
                f"a design of {few.parts + 1} to {cheap.parts - 1} parts that is dearer than a "
                "mix of its neighbours"
            )

    def _weighed(
        self, coins: int, parts: int, share: float, by: Measure | None = None
    ) -> Choice | None:
        """Return the design with the least of `coins` x price + `parts` x number of parts."""
        kit = replace(
            self.kit,
            parts=tuple(
                part
                if part.type in (PartType.SUPPLY, PartType.LOAD)
                else replace(part, price=coins * part.price + parts)
                for part in self.kit.parts
            ),
        )
        outcome = self._planned(replace(self.problem, kit=kit), share)
        if outcome.design is None:
            return None
        return self._add(outcome, by)

    def _beyond(self, choice: Choice) -> int:
        """Return more coins than any design of no more parts than `choice` can cost: weighed by
        that, one part less is worth any price."""
        return 1 + choice.parts * max(part.price for part in self.kit.parts)

    # -- common ------------------------------------------------------------------------------

    def _telling(self, design: Design, first: Design) -> str:
        return telling(design, first, self.kit, self.problem.limits.stock)

    def _planned(self, problem: Problem, share: float) -> Outcome:
        left = max(0.1, self.deadline - time.monotonic())
        return self.plan(problem, left * share)

    def _over(self) -> bool:
        return self.stopped() or time.monotonic() >= self.deadline

    def _open(self, what: str) -> None:
        self.complete = False
        self.notes.append(f"Not decided: {what}.")

    def _add(self, outcome: Outcome, by: Measure | None) -> Choice:
        """Keep the design of an outcome; `by` is what was made least."""
        design = outcome.design
        assert design is not None and outcome.verdict is not None
        price = design.price(self.kit, self.problem.limits.stock)
        proven = outcome.status is Status.PROVEN
        if not proven and by is not None:
            self._open(f"whether {price} coins is the least, where it says so")
        least = (by,) if proven and by is not None else ()
        choice = Choice(
            design,
            price,
            design.supply,
            parts_counted(design),
            least,
            outcome.verdict.states,
        )
        self.found.append(choice)
        return choice
