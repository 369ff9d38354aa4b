"""The main example: proven, at its price, checked, and the same bytes each time."""

from __future__ import annotations

from pathlib import Path

from synth.pipeline import check_design, plan, read_problem
from synth.problem import Problem
from synth.report.document import plan_document, to_json
from synth.result import Outcome, Status

GOALS = Path(__file__).parent.parent / "goals" / "potting-shed.yaml"


def told(outcome: Outcome, problem: Problem) -> str:
    """Return the plan as JSON text, but for the times it took."""
    document = plan_document(outcome, problem)
    return to_json({key: value for key, value in document.items() if key != "times"})


def test_potting_shed_is_proven_checked_and_the_same_twice() -> None:
    problem = read_problem(str(GOALS), None, None)
    first = plan(problem, seconds=60)
    assert first.status is Status.PROVEN
    assert (first.price, first.bound) == (35, 35)
    assert first.design is not None and first.design.price(problem.kit) == 35
    assert first.verdict is not None and first.verdict.holds
    assert check_design(first.design, problem).holds
    again = plan(read_problem(str(GOALS), None, None), seconds=60)
    assert told(first, problem) == told(again, problem)
