"""Less power at the proven price, and prices within a limit of the supply."""

from __future__ import annotations

from pathlib import Path

import pytest

from synth import pipeline
from synth.problem import Objective
from synth.result import Outcome, Status

ROOT = Path(__file__).resolve().parents[1]
SHED = (ROOT / "goals" / "potting-shed.yaml").read_text(encoding="utf-8")
EVERY = tuple(objective.value for objective in Objective)


def planned(tmp_path: Path, more: str, seconds: float = 30.0) -> Outcome:
    """Return the plan of the main example with `more` in its goal file."""
    path = tmp_path / "goals.yaml"
    path.write_text(f"{SHED}\n{more}\n", encoding="utf-8")
    return pipeline.plan(pipeline.read_problem(str(path), None, None), seconds=seconds)


def test_least_power_at_the_least_price(tmp_path: Path) -> None:
    """Three loads and three control inputs of one unit each: six units, and nothing is wasted."""
    outcome = planned(tmp_path, "")
    assert (outcome.price, outcome.supply, outcome.proven) == (35, 6, EVERY)
    assert outcome.design is not None
    problem = pipeline.read_problem(str(ROOT / "goals" / "potting-shed.yaml"), None, None)
    assert pipeline.check_design(outcome.design, problem).holds


@pytest.mark.slow
@pytest.mark.parametrize("units", [6, 9])
def test_a_limit_of_the_supply_needs_no_more_coins(tmp_path: Path, units: int) -> None:
    """Most wirings of the cheapest parts need ten units; the question goes on to those that do
    with less before it says anything of the price."""
    outcome = planned(tmp_path, f"limits: {{supply: {units}}}")
    assert (outcome.status, outcome.price) == (Status.PROVEN, 35)
    assert outcome.supply is not None and outcome.supply <= units


def test_a_limit_below_the_loads_and_controls(tmp_path: Path) -> None:
    """The loads alone need three units, so two are too few, whatever the parts."""
    assert planned(tmp_path, "limits: {supply: 2}").status is Status.IMPOSSIBLE
