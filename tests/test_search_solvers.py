"""The answers of the search's solver against another one (CaDiCaL), question by question."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations
from typing import Any

import pytest
from pysat.solvers import Cadical153

from synth.pipeline import plan, read_problem
from synth.result import Status
from synth.search import engine, live, questions
from synth.search.choice import open_solver
from synth.search.engine import Engine
from synth.search.formula import Formula
from synth.search.solver import Answer, CpSat, Solver


def satisfiable(formula: Formula, fixed: Sequence[int]) -> bool:
    """Return what CaDiCaL says of the clauses and exactly-one groups."""
    with Cadical153() as other:
        for clause in formula.clauses:
            other.add_clause(list(clause))
        for group in formula.exactly_one:
            other.add_clause(list(group))
            for one, two in combinations(group, 2):
                other.add_clause([-one, -two])
        for literal in fixed:
            other.add_clause([literal])
        return bool(other.solve())


def fulfilled(formula: Formula, fixed: Sequence[int], values: Sequence[bool]) -> bool:
    """Return whether an assignment fulfils all that the formula asks, sums too."""

    def holds(literal: int) -> bool:
        return values[abs(literal)] == (literal > 0)

    return (
        all(any(map(holds, clause)) for clause in formula.clauses)
        and all(sum(map(holds, group)) == 1 for group in formula.exactly_one)
        and all(map(holds, fixed))
        and all(
            least <= sum(w for v, w in zip(variables, weights, strict=True) if holds(v)) <= most
            for variables, weights, least, most in formula.sums
        )
    )


class Compared:
    """A solver of the search, each answer of which is compared with those of two others."""

    def __init__(self, formula: Formula, inner: Solver, counts: Counter[str]) -> None:
        self.formula, self.inner, self.counts = formula, inner, counts

    def ask(
        self,
        seconds: float,
        assumed: Sequence[int] = (),
        stopped: Any = None,
        effort: float | None = None,
    ) -> Answer:
        answer = self.inner.ask(seconds, assumed)
        formula, counts = self.formula, self.counts
        assert answer.satisfiable is not None
        if answer.satisfiable:
            assert fulfilled(formula, assumed, answer.values)
        if not isinstance(self.inner, CpSat):
            assert CpSat(formula).ask(60, assumed).satisfiable == answer.satisfiable
        if answer.satisfiable or not formula.sums:
            assert satisfiable(formula, assumed) == answer.satisfiable
        elif satisfiable(formula, assumed):
            # Only the sums refute it, and CaDiCaL has no sums.
            counts["not compared"] += 1
            return answer
        counts["yes" if answer.satisfiable else "no"] += 1
        return answer


def compared(goals: str, kit: str, fast: bool, monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Plan, and compare the answer to each question asked on the way."""
    counts: Counter[str] = Counter()

    def opened(formula: Formula, seed: int = 1, fast: bool = False) -> Compared:
        return Compared(formula, open_solver(formula, seed, fast), counts)

    monkeypatch.setattr(live, "open_solver", opened)
    monkeypatch.setattr(questions, "open_solver", opened)
    # A guess that proves nothing, and may fail for its sums alone.
    monkeypatch.setattr(Engine, "frugal", lambda own, best: None)
    # The solvers shall refute the lists themselves.
    monkeypatch.setattr(engine, "cannot_go_on", lambda *question: "")
    plan(read_problem(None, goals, kit), seconds=60, fast=fast)
    return counts


GOALS = {
    "cycle": ("pump on 10 s of every 60 s, light always", "starter"),
    "steady": ("lamp while hot and not damp, fan while damp or not hot", "starter"),
    "delay": ("fan 5 s after hot", "full"),
}


@pytest.mark.parametrize(
    ("name", "fast"),
    [
        ("cycle", False),
        pytest.param("cycle", True, marks=pytest.mark.slow),
        ("delay", False),
        ("delay", True),
        ("steady", False),
        pytest.param("steady", True, marks=pytest.mark.slow),
    ],
)
def test_other_solvers_say_the_same(
    name: str, fast: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    counts = compared(*GOALS[name], fast, monkeypatch)
    assert counts["yes"] and counts["no"] and not counts["not compared"], counts


def test_sums_and_exactly_one_are_understood() -> None:
    """Small formulas with a known answer, by going through all assignments."""
    formula = Formula()
    a, b, c = formula.news(3)
    formula.choose([a, -b])
    formula.bound([a, b, c], [2, 3, 4], 5, 6)
    answer = CpSat(formula).ask(10)
    # a and b are equal; 2 + 3 = 5 fits, 4 and 9 do not.
    assert answer.satisfiable and answer.values[1:] == (True, True, False)
    assert CpSat(formula).ask(10, [c]).satisfiable is False


def test_a_question_is_given_up_after_so_much_effort() -> None:
    """Pigeons and holes: without counting, a solver of clauses needs exponentially many steps
    (Haken 1985), so little effort cannot do."""
    formula, pigeons, holes = Formula(), 11, 10
    sits = [formula.news(holes) for _ in range(pigeons)]
    for pigeon in sits:
        formula.add(*pigeon)
    for hole in range(holes):
        for one, other in combinations(sits, 2):
            formula.add(-one[hole], -other[hole])
    answer = CpSat(formula).ask(60, effort=0.05)
    assert answer.satisfiable is None and 0 < answer.effort < 1
    assert CpSat(formula).ask(60, effort=0.05).effort == answer.effort
    assert CpSat(formula).ask(60, effort=0).satisfiable is None


def test_without_effort_the_price_is_proven_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    goals = "pump on 10 s of every 60 s, light always, heater at night, master cutoff for pump"
    spent = plan(read_problem(None, goals, None), seconds=60)
    monkeypatch.setattr(questions, "FRUGAL_EFFORT", 0.0)
    spared = plan(read_problem(None, goals, None), seconds=60)
    assert spent.design is not None and spared.design is not None
    assert spent.status is spared.status is Status.PROVEN
    assert spent.design.supply < spared.design.supply
