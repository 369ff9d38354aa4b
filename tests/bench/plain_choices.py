"""The plain alternative to `synth options` and `synth clash`, as a process of its own.

What one would do with `synth plan` alone: each point of a front, and each set of goals and limits,
solved from scratch by the same search, nothing known from one question to the next. For a clash it
does the same work: sets by size until one has no design; then for each limit in it the least that
suffices, number by number, and the fewest goals and limits that may be left out; each way with its
cheapest design, proven; and the figures of the limits.

    python tests/bench/plain_choices.py front|clash GOALS KIT SECONDS
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

from synth import pipeline
from synth.choices import parts_counted
from synth.conflict import Kind, Wish
from synth.explore import weighed
from synth.explore.clash import _Clash
from synth.explore.figures import SENTENCES
from synth.explore.ways import NUMBERS, with_value
from synth.pipeline.asking import _posed_alone
from synth.problem import Problem
from synth.read.goal_file import load_goal_file
from synth.result import Outcome, Status

EACH = 30.0
"""Seconds for each question."""
NEARER = 3.75
"""Seconds for a number of a limit that may be too near: what `synth clash` gives such a question
in a minute, so that what cannot be decided costs both the same."""
MOST_STEPS = 12
Values = tuple[int, int, int]


class TimeUp(Exception):
    """The seconds for all questions are used up."""


@dataclass
class Asked:
    """The questions put so far."""

    until: float
    number: int = 0
    open: list[str] = field(default_factory=list)
    """Those that had no answer."""

    def plan(self, problem: Problem, seconds: float = EACH) -> Outcome:
        """Return the cheapest design for `problem`."""
        if time.monotonic() > self.until:
            raise TimeUp
        self.number += 1
        outcome = pipeline.plan(problem, seconds=seconds)
        if outcome.status is Status.UNDECIDED:
            self.open.append(str(problem.limits))
        return outcome


def points(problem: Problem, asked: Asked) -> Iterator[Values]:
    """Give the cheapest design, and that of the fewest parts, for each supply there may be. What
    lies in a hollow between them it cannot tell."""
    needs = sum(requirement.needs for requirement in problem.requirements)
    dear = 1000 * max(part.price for part in problem.kit.parts)
    kits = (problem.kit, weighed(problem.kit, 1, dear))
    first = asked.plan(problem)
    assert first.supply is not None
    for units in range(first.supply, needs - 1, -1):
        for kit in kits:
            limits = replace(problem.limits, supply=units)
            design = asked.plan(replace(problem, kit=kit, limits=limits)).design
            if design is not None:
                yield design.price(problem.kit), design.supply, parts_counted(design)


class Plain:
    """A clash and its ways out, by sets."""

    def __init__(self, problem: Problem, goals: str, asked: Asked) -> None:
        self.asked = asked
        problem = pipeline.choosing.by_price(problem)
        posed = _posed_alone(load_goal_file(goals), problem)
        # It answers nothing here, but knows what problem a set of wishes is.
        self.sets = _Clash(problem, posed, pipeline.plan, EACH, lambda stage: None, lambda: False)
        self.every = frozenset(self.sets.wishes)

    def clash(self) -> tuple[Wish, ...]:
        """Return the smallest clash."""
        for size in range(1, len(self.every) + 1):
            for trial in combinations(self.sets.wishes, size):
                problem = self.sets.problem_of(frozenset(trial))
                if problem is not None and self.asked.plan(problem).status is Status.IMPOSSIBLE:
                    return trial
        raise ValueError("nothing clashes")

    def ways(self, clash: tuple[Wish, ...]) -> Iterator[dict[str, Any]]:
        """Give the ways out: limits set anew, then the fewest that may go."""
        given = set()
        for wish in clash:
            if wish.kind in NUMBERS:
                way = self._nearest(wish)
                if way is not None:
                    given.add(wish)
                    yield way
        for size in range(1, len(self.every) + 1):
            found = False
            # What may go hits the clash.
            for dropped in combinations(self.sets.wishes, size):
                rest = self.sets.problem_of(self.every - set(dropped))
                if not set(dropped) & set(clash) or rest is None or set(dropped) <= given:
                    found = found or set(dropped) <= given
                    continue
                outcome = self.asked.plan(rest)
                if outcome.design is not None:
                    found = True
                    price = outcome.price if dropped[0].kind is Kind.PRICE and size == 1 else None
                    yield _way(dropped, price, outcome)
            if found:
                return

    def _nearest(self, wish: Wish) -> dict[str, Any] | None:
        step = -1 if wish.kind in (Kind.LEAST, Kind.SPARE) else 1
        for more in range(1, MOST_STEPS + 1):
            value = wish.number + step * more
            if value < 0:
                return None
            outcome = self.asked.plan(with_value(self.sets.problem, wish, value), NEARER)
            if outcome.design is not None:
                return _way((wish,), value, outcome)
        return None

    def figures(self, clash: tuple[Wish, ...]) -> None:
        """Ask what the rest of a clash takes at least, for each limit of units or coins in it."""
        for wish in clash:
            rest = self.sets.problem_of(frozenset(clash) - {wish})
            first = SENTENCES.get(wish.kind)
            if first is not None and rest is not None:
                order = (first, *(o for o in rest.objectives if o is not first))
                self.asked.plan(replace(rest, objectives=order))


def _way(dropped: tuple[Wish, ...], value: int | None, outcome: Outcome) -> dict[str, Any]:
    return {
        "dropped": [[wish.kind.value, wish.number, wish.part] for wish in dropped],
        "value": value,
        "price": outcome.price,
        "cheapest": outcome.status is Status.PROVEN,
    }


def main(what: str, goals: str, kit: str, seconds: str) -> None:
    """Print what was found as JSON."""
    asked = Asked(time.monotonic() + float(seconds))
    problem = pipeline.read_problem(goals, None, kit or None)
    told: dict[str, Any] = {"done": True}
    try:
        if what == "front":
            told["points"] = found = []
            for values in points(problem, asked):
                found.append(values)
        else:
            plain = Plain(problem, goals, asked)
            clash = plain.clash()
            told["clash"] = len(clash)
            told["ways"] = ways = []
            for way in plain.ways(clash):
                ways.append(way)
            plain.figures(clash)
    except TimeUp:
        told["done"] = False
    print(json.dumps({**told, "asked": asked.number, "open": asked.open}))


if __name__ == "__main__":
    main(*sys.argv[1:])
