"""Why goals cannot be had together: the smallest clash, never with a bystander, and ways out."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from synth import pipeline
from synth.cli import main
from synth.conflict import Conflict, Kind, Wish
from synth.explore.clash import least_hitting_set
from synth.problem import Problem
from synth.result import Status

GOALS = """title: Shed
kit: starter
loads: {pump: 1, light: 1, heater: 3}
goals:
  - pump on 10 s of every 60 s
  - light always
  - heater at night
  - master cutoff for pump
"""


def conflict(tmp_path: Path, more: str, goals: str = GOALS) -> tuple[Problem, Conflict]:
    path = tmp_path / "goals.yaml"
    path.write_text(f"{goals}{more}\n", encoding="utf-8")
    problem = pipeline.read_problem(str(path), None, None)
    return problem, pipeline.clash(str(path), None, problem, 60.0)


def test_nothing_clashes(tmp_path: Path) -> None:
    _, found = conflict(tmp_path, "")
    assert found.status in (Status.PROVEN, Status.BEST_FOUND)
    assert found.clash == ()


def test_power(tmp_path: Path) -> None:
    """The average looks fine: the heater takes 3 units and the pump 1, of 6. But the two timers
    that make the pump's cycle take a unit each, and with the relay that is 7. The light, which
    would make it 8, has no part in the smallest clash."""
    problem, found = conflict(tmp_path, "limits: {supply: 6}")
    assert found.status is Status.IMPOSSIBLE
    assert found.smallest
    assert found.clash == (Wish(Kind.GOAL, 1), Wish(Kind.GOAL, 3), Wish(Kind.SUPPLY, 6))
    assert "more than 6 units are needed" in found.reasons
    ways = {way.dropped: way for way in found.ways}
    assert set(ways) == {(wish,) for wish in found.clash}
    more = ways[(Wish(Kind.SUPPLY, 6),)]
    assert (more.value, more.least) == (8, True)
    # The way out is one: with the limit that it names there is a design, with a unit less none.
    for units, status in ((8, Status.PROVEN), (7, Status.IMPOSSIBLE)):
        again, _ = conflict(tmp_path, f"limits: {{supply: {units}}}")
        assert pipeline.plan(again, seconds=30).status is status


def test_price(tmp_path: Path) -> None:
    _, found = conflict(tmp_path, "limits: {price: 30}")
    assert found.clash == (Wish(Kind.GOAL, 1), Wish(Kind.GOAL, 3), Wish(Kind.PRICE, 30))
    limit = next(way for way in found.ways if way.dropped[0].kind is Kind.PRICE)
    assert (limit.value, limit.price, limit.least) == (35, 35, True)


@pytest.mark.slow
def test_parts(tmp_path: Path) -> None:
    _, found = conflict(tmp_path, "limits: {most: {pulse timer: 0}}")
    assert found.clash == (Wish(Kind.GOAL, 1), Wish(Kind.MOST, 0, "pulse timer"))
    assert any(way.dropped == (Wish(Kind.GOAL, 1),) for way in found.ways)


def test_a_peak_below_the_loads(tmp_path: Path) -> None:
    """Each load takes no more than 3 units, but light and heater are on together at night."""
    goals = GOALS + "  - never more than 3 units\n"
    _, found = conflict(tmp_path, "", goals)
    assert (found.status, found.smallest) == (Status.IMPOSSIBLE, True)
    # The heater with the light, or with the pump, which is on at first.
    assert [wish.number for wish in found.clash] in ([1, 3, 5], [2, 3, 5])
    assert found.reasons == (
        "the loads on at one moment need 4 units, and goal 5 allows 3",
    )
    dropped = {tuple(wish.number for wish in way.dropped) for way in found.ways}
    assert (3,) in dropped and (5,) in dropped


@pytest.mark.parametrize(
    ("sets", "hits"),
    [([], ()), (["ab"], ("a",)), (["ab", "bc"], ("b",)), (["a", "bc", "cd"], ("a", "c"))],
)
def test_least_hitting_sets(sets: list[str], hits: tuple[str, ...]) -> None:
    wish: Callable[[str], Wish] = lambda letter: Wish(Kind.MOST, 1, letter)  # noqa: E731
    order = [wish(letter) for letter in "abcd"]
    found = least_hitting_set([{wish(x) for x in one} for one in sets], order)
    assert found == tuple(wish(x) for x in hits)


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def test_command(tmp_path: Path) -> None:
    path = tmp_path / "goals.yaml"
    path.write_text(f"{GOALS}limits: {{supply: 2}}\n", encoding="utf-8")
    told = run("clash", str(path))
    assert told.exit_code == 1
    assert "heater at night" in told.stdout and "units" in told.stdout
    document = json.loads(run("clash", str(path), "--format", "json").stdout)
    assert document["status"] == "impossible"
    assert document["smallest"] is True
    # Three units for the heater alone: a clash of one goal and the limit.
    assert [wish["kind"] for wish in document["clash"]] == ["goal", "supply"]
    assert run("clash", "--goals", "light always").exit_code == 0
    assert run("clash", str(tmp_path / "none.yaml")).exit_code == 2
