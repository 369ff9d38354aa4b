"""Many loads of one signal: a model may leave some out only where that changes no price.

All names, kits and prices are invented.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from random_jobs import a_job

from synth import pipeline
from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import SPLITTING, PartType
from synth.problem import Problem
from synth.result import Status
from synth.search import questions
from synth.search.questions import may_hang_together, representatives
from synth.search.slots import supply_part
from synth.share import fan_out_price, share_power

CHEAP_SENSORS = """kit: cheap sensors
title: Cheap sensors, dear dividers (invented)
trigger: held
parts:
  supply: {type: supply}
  sensor: {type: sensor, price: 1, contact: [make, break]}
  divider: {type: divider, price: 4, outputs: 3}
  load: {type: load}
"""
LAMPS = "".join(f"  - lamp {number} always\n" for number in "abcdefghijklmno")
GOALS = f"goals:\n{LAMPS}  - fan one while hot\n  - fan two while hot\n"


def two_sensors(problem: Problem) -> Skeleton:
    """Return the wiring with a sensor of its own for each fan, instead of one that is split."""
    load = problem.kit.of_type(PartType.LOAD)[0].name
    make = (("input", "hot"), ("contact", "make"))
    out, fed = Terminal("supply", "out"), {}
    parts = [supply_part(problem.kit)]
    for number, fan in enumerate(("fan one", "fan two"), 1):
        parts.append(PartInUse(f"S{number}", PartType.SENSOR, "sensor", make))
        fed[fan] = Terminal(f"S{number}", "out")
    feeds = [(out, Terminal("S1", "in")), (out, Terminal("S2", "in"))]
    for requirement in problem.requirements:
        needs = (("needs", requirement.needs),)
        parts.append(PartInUse(requirement.load, PartType.LOAD, load, needs))
        feeds.append((fed.get(requirement.load, out), Terminal(requirement.load, "in")))
    return Skeleton(problem.kit.name, tuple(parts), tuple(feeds))


@pytest.mark.parametrize(
    ("head", "price", "to_buy"),
    # By hand: sixteen branches more than the supply has, of two each; and two sensors.
    [("kit: kit.yaml\n", 8 * 4 + 2, 34), ("stock: {sensor: 2}\n", 8 * 3 + 2 * 4, 24)],
    ids=["cheap sensors", "sensors in stock"],
)
def test_a_part_for_each_of_two_equal_loads(
    tmp_path: Path, head: str, price: int, to_buy: int
) -> None:
    (tmp_path / "kit.yaml").write_text(CHEAP_SENSORS, "utf-8")
    (tmp_path / "goals.yaml").write_text(head + GOALS, "utf-8")
    problem = pipeline.read_problem(str(tmp_path / "goals.yaml"), None, None)
    by_hand = share_power(two_sensors(problem), problem.kit, problem.objectives, problem.limits)
    assert by_hand is not None and pipeline.check_design(by_hand, problem).holds
    assert by_hand.price(problem.kit) == price
    assert by_hand.price(problem.kit, problem.limits.stock) == to_buy
    outcome = pipeline.plan(problem, seconds=60)
    assert outcome.design is not None
    assert outcome.design.price(problem.kit, problem.limits.stock) <= to_buy
    assert (outcome.bound or 0) <= to_buy


def test_where_loads_are_left_out(tmp_path: Path) -> None:
    def left_out(head: str, kit: str | None = None) -> bool:
        goals = "title: Many\n" + head + GOALS
        path.write_text(goals, "utf-8")
        problem = pipeline.read_problem(str(path), None, kit)
        limits = dict(problem.limits.most)

        def price(number: int) -> int | None:
            return fan_out_price(number, problem.kit, limits)

        kept = representatives(problem, price)
        assert may_hang_together(problem, price) == (len(kept) == 2)
        return len(kept) < len(problem.requirements)

    path = tmp_path / "goals.yaml"
    assert left_out("") and left_out("", "full")
    assert not left_out("stock: {sensor: 1}\n")
    assert not left_out("limits: {least: {sensor: 2}}\n")


def dearer(problem: Problem) -> Problem:
    """Return the problem with parts dear enough for equal loads to hang together."""
    parts = tuple(
        part if part.type in (*SPLITTING, PartType.SUPPLY) else replace(part, price=part.price + 8)
        for part in problem.kit.parts
    )
    limits = replace(problem.limits, price=None, stock=(), least=())
    return replace(problem, kit=replace(problem.kit, parts=parts), limits=limits)


@pytest.mark.slow
def test_left_out_or_held_the_price_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Random small jobs, with every load held and with all but one of each signal left out."""
    compared = fewer = 0
    for seed in range(400, 530):
        problem = dearer(a_job(seed).problem)
        if len({r.signal for r in problem.requirements}) == len(problem.requirements):
            continue
        found = []
        for few in (16, 0):
            monkeypatch.setattr(questions, "FEW_LOADS", few)
            found.append(pipeline.plan(problem, seconds=3))
        limits = dict(problem.limits.most)
        kept = representatives(problem, lambda n: fan_out_price(n, problem.kit, limits))  # noqa: B023
        fewer += len(kept) < len(problem.requirements)
        if len(kept) == len(problem.requirements):
            continue
        held, left = found
        if held.status in (Status.PROVEN, Status.IMPOSSIBLE) and left.status in (
            Status.PROVEN,
            Status.IMPOSSIBLE,
        ):
            compared += 1
            assert (held.status, held.price) == (left.status, left.price), f"job {seed}"
    assert compared > 1 and fewer > 2, (compared, fewer)
