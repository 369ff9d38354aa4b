"""The wiring questions that a search asks, put to another solver: CaDiCaL, by way of python-sat."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pysat.solvers import Cadical195

from synth.search import live, questions
from synth.search.formula import Formula
from synth.search.solver import Answer, CpSat

Clauses = list[list[int]]


def clauses_of(formula: Formula, fixed: Sequence[int] = ()) -> Clauses:
    """Return the formula in clauses alone; sums become decision diagrams (Een and Sorensson,
    *Translating Pseudo-Boolean Constraints into SAT*, 2006, section 5.3)."""
    clauses = [list(clause) for clause in formula.clauses] + [[literal] for literal in fixed]
    for group in formula.exactly_one:
        clauses.append(list(group))
        clauses += [[-a, -b] for i, a in enumerate(group) for b in group[i + 1 :]]
    fresh = formula.count
    for variables, weights, least, most in formula.sums:
        # A negative weight counts the opposite literal, and all are shifted by it.
        shift = sum(weight for weight in weights if weight < 0)
        literals = [v if w > 0 else -v for v, w in zip(variables, weights, strict=True)]
        sizes = [abs(weight) for weight in weights]
        fresh = at_most(literals, sizes, most - shift, clauses, fresh)
        flipped = [-literal for literal in literals]
        fresh = at_most(flipped, sizes, sum(sizes) - (least - shift), clauses, fresh)
    return clauses


def at_most(
    literals: list[int], weights: list[int], limit: int, clauses: Clauses, fresh: int
) -> int:
    """Add to `clauses`: the weights of the true literals sum to at most `limit`.

    Return the last variable in use; new ones come after `fresh`.
    """
    rest = [sum(weights[i:]) for i in range(len(weights) + 1)]
    if limit < 0:
        clauses.append([])
        return fresh
    if rest[0] <= limit:
        return fresh
    nodes: dict[tuple[int, int], int] = {(0, limit): fresh + 1}
    fresh += 1
    clauses.append([fresh])
    todo = [(0, limit)]
    while todo:
        at, slack = todo.pop()
        node = nodes[at, slack]
        for condition, left in (([], slack), ([-literals[at]], slack - weights[at])):
            if left < 0:
                clauses.append([-node, *condition])
            elif rest[at + 1] > left:
                if (at + 1, left) not in nodes:
                    fresh += 1
                    nodes[at + 1, left] = fresh
                    todo.append((at + 1, left))
                clauses.append([-node, *condition, nodes[at + 1, left]])
    return fresh


@dataclass(frozen=True)
class Replayed:
    """How many questions were asked, seconds in each solver, and how often they disagreed."""

    questions: int
    ours: float
    other: float
    disagreements: int


def replayed(goals: Path) -> Replayed:
    """Plan `goals`, and put every question that the search asked to CaDiCaL as well.

    Both times hold the handing over of the clauses and the solving.
    """
    from synth.pipeline import plan, read_problem

    asked: list[tuple[Clauses, bool | None]] = []
    ours = 0.0

    class Recording:
        def __init__(self, formula: Formula, seed: int = 1, fast: bool = False) -> None:
            self.formula, self.solver = formula, CpSat(formula, seed)

        def ask(
            self,
            seconds: float,
            assumed: Sequence[int] = (),
            stopped: Any = None,
            effort: float | None = None,
        ) -> Answer:
            nonlocal ours
            began = time.perf_counter()
            answer = self.solver.ask(seconds, assumed)
            ours += time.perf_counter() - began
            asked.append((clauses_of(self.formula, assumed), answer.satisfiable))
            return answer

    real = live.open_solver
    for room in (live, questions):
        vars(room)["open_solver"] = Recording
    try:
        plan(read_problem(str(goals), None, None), seconds=120, fast=False)
    finally:
        for room in (live, questions):
            vars(room)["open_solver"] = real
    other, disagreements = 0.0, 0
    for clauses, satisfiable in asked:
        if satisfiable is None:
            continue
        began = time.perf_counter()
        with Cadical195(bootstrap_with=clauses) as solver:
            answer = solver.solve()
        other += time.perf_counter() - began
        disagreements += answer is not satisfiable
    return Replayed(len(asked), ours, other, disagreements)
