"""A largest price, asked as a bound on the cheapest design.

By the meaning of the word: with at most so many coins there is a design just if the cheapest one
costs no more, and then that is the cheapest. What is compared are two questions to the same search;
that its prices are those of full enumeration is tested elsewhere (`test_wishes.py`,
`test_search_enumeration.py`).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from synth import pipeline
from synth.problem import Objective, Problem
from synth.result import Outcome, Status
from synth.search import Progress

ROOT = Path(__file__).resolve().parents[1]
SHED = (ROOT / "goals" / "potting-shed.yaml").read_text(encoding="utf-8")
HEAD = "kit: {kit}\ngoals: [{goals}]\n"

CASES = [
    # goals, kit, what else is asked
    pytest.param("lamp always", "starter", "", id="nothing but wire"),
    pytest.param("lamp at night, bell always, fan while hot", "starter", "", id="three circuits"),
    pytest.param("lamp while hot and not damp", "full", "", id="one circuit"),
    pytest.param("lamp and fan while hot, bell always", "full", "limits: {supply: 4}",
                 id="little power"),
    pytest.param("lamp while hot, bell while damp", "full", "stock: {sensor: 1}", id="in stock"),
    pytest.param("lamp while hot, bell always", "full", "limits: {least: {relay make: 1}}",
                 id="a part asked for"),
    pytest.param("lamp while hot, fan always, master cutoff", "full",
                 "limits: {branches: [[lamp, fan]]}", id="branches"),
    pytest.param("up while hot, down while cold, up and down never together", "full", "",
                 id="one before the other"),
]  # fmt: skip


def asked(tmp_path: Path, text: str) -> Problem:
    path = tmp_path / "goals.yaml"
    path.write_text(text, encoding="utf-8")
    return pipeline.read_problem(str(path), None, None)


def paid(outcome: Outcome) -> int | None:
    """What counts against a largest price: what is in stock is not bought."""
    return outcome.price if outcome.to_buy is None else outcome.to_buy


def within(problem: Problem, price: int, gap: float | None = None) -> Outcome:
    limits = replace(problem.limits, price=price)
    return pipeline.plan(replace(problem, limits=limits), seconds=30, gap=gap)


@pytest.mark.parametrize(("goals", "kit", "more"), CASES)
def test_a_largest_price_is_a_bound_on_the_cheapest(
    goals: str, kit: str, more: str, tmp_path: Path
) -> None:
    problem = asked(tmp_path, HEAD.format(kit=kit, goals=goals) + more + "\n")
    free = pipeline.plan(problem, seconds=30)
    cheapest = paid(free)
    assert free.status is Status.PROVEN and cheapest is not None
    for price in (cheapest, cheapest + 1, cheapest + 20):
        outcome = within(problem, price)
        assert (outcome.status, paid(outcome)) == (Status.PROVEN, cheapest)
        assert (outcome.supply, outcome.bound) == (free.supply, free.bound)
        limits = replace(problem.limits, price=price)
        assert outcome.design is not None
        assert pipeline.check_design(outcome.design, replace(problem, limits=limits)).holds
    for price in range(max(0, cheapest - 2), cheapest):
        outcome = within(problem, price)
        assert outcome.status is Status.IMPOSSIBLE and outcome.design is None
        assert any(f"more than {price} coins" in reason for reason in outcome.clash)


@pytest.mark.parametrize(("goals", "kit", "more"), CASES)
def test_near_enough_is_within_the_largest_price_too(
    goals: str, kit: str, more: str, tmp_path: Path
) -> None:
    """A gap ends the search at a design that is good enough; one beyond the limit is none."""
    problem = asked(tmp_path, HEAD.format(kit=kit, goals=goals) + more + "\n")
    cheapest = paid(pipeline.plan(problem, seconds=30))
    assert cheapest is not None
    for price in (cheapest, cheapest + 1):
        found = paid(within(problem, price, gap=100.0))
        assert found is not None and cheapest <= found <= price
    if cheapest:
        assert within(problem, cheapest - 1, gap=100.0).status is Status.IMPOSSIBLE


def test_power_first_within_a_largest_price(tmp_path: Path) -> None:
    """By hand: with 13 coins the seven loads hang on dividers that waste power, as the front of
    them shows (13 coins and 19 units, 14 and 9, 15 and 7)."""
    loads = ("lamp", "fan", "bell", "horn", "siren")
    goals = ", ".join([*(f"{load} while hot" for load in loads), "buzzer always", "light always"])
    problem = asked(tmp_path, HEAD.format(kit="full", goals=goals))
    order = (Objective.SUPPLY, Objective.PRICE, Objective.WIRES)
    problem = replace(problem, objectives=order)
    for price, units in ((13, 19), (14, 9), (15, 7)):
        outcome = within(problem, price)
        assert outcome.price is not None and outcome.price <= price
        assert outcome.supply is not None and outcome.supply >= units
    assert within(problem, 12).status is Status.IMPOSSIBLE


def test_a_bound_beyond_the_limit_ends_a_search_and_a_design_beyond_it_is_not_shown() -> None:
    shown: list[int | None] = []
    progress = Progress(lambda stage, best, bound: shown.append(best), gap=100.0, limit=10)
    progress.report("", 12, 6)
    assert not progress.over() and not progress.near()
    progress.report("", 10, 6)
    assert progress.near() and shown == [None, 10]
    progress = Progress(limit=10)
    progress.report("", None, 10)
    assert not progress.over()
    with progress.aside():
        progress.report("", None, 99)
    assert not progress.over()
    progress.report("", None, 11)
    assert progress.beyond() and progress.over() and progress.left() == 0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("more", "cheapest"),
    [("supply: 6", 35), ("most: {divider: 1}", 36), ("most: {divider: 0}", 37)],
)
def test_the_main_example_within_a_largest_price(more: str, cheapest: int, tmp_path: Path) -> None:
    """Refuted as a whole in seconds; wiring by wiring it took half a minute."""
    for price, status in ((cheapest - 1, Status.IMPOSSIBLE), (cheapest, Status.PROVEN)):
        problem = asked(tmp_path, f"{SHED}\nlimits: {{{more}, price: {price}}}\n")
        assert pipeline.plan(problem, seconds=30).status is status


def test_a_circuit_that_costs_too_much_by_itself_is_no_search_without_end() -> None:
    """Each lamp waits for the other to have been off: far beyond what 22 coins can buy."""
    goals = "pump while hot; lamp while not hot; leave 1 s between pump and lamp; heater always"
    problem = pipeline.read_problem(None, goals, "starter")
    problem = replace(problem, limits=replace(problem.limits, price=22))
    outcome = pipeline.plan(problem, seconds=20)
    assert outcome.status is Status.IMPOSSIBLE
    assert any("22 coins" in reason for reason in outcome.clash)
