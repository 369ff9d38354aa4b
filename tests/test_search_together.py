"""What is claimed of several circuits together: timers at once, dead inputs, equal loads."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest
from check_designs import FULL, asked

from synth import pipeline
from synth.parts.behaviour import CONTROLLED, TIMED, PartType
from synth.parts.kit import Kit
from synth.problem import InputKind, OutsideInput, Problem
from synth.read.design_file import parse_design
from synth.result import Status
from synth.search.basics import Progress, Tools, floor_for
from synth.search.engine import Engine
from synth.search.lists import Catalogue
from synth.search.pending import timers_at_once
from synth.search.questions import Elsewhere, Questions
from synth.share import fan_out_price
from synth.signals import OFF, Latch, Level, all_of, negated

ROOT = Path(__file__).resolve().parents[1]


def read(goals: str, kit: str | None = "full") -> Problem:
    return pipeline.read_problem(None, goals, kit)


@pytest.mark.parametrize(
    ("goals", "timers", "remembering"),
    [
        ("light always", 0, 0),
        ("fan 5 s after hot", 1, 0),
        ("fan 5 s after hot, bell for 30 s after each press of bell push", 2, 0),
        # The same input and the same time: one timer will do, and the bound must not say two.
        ("fan 5 s after hot, lamp 5 s after hot", 1, 0),
        # The two start together for ever, so nothing tells their events apart.
        ("pump on 10 s of every 60 s, fan on 5 s of every 20 s", 1, 0),
        ("pump on 10 s of every 60 s, fan 15 s of every 900 s, master cutoff for pump", 2, 0),
        ("fan 5 s after hot, filler fills between low and high", 1, 1),
        ("filler fills between low and high, lamp toggled by button", 0, 2),
    ],
)
def test_timers_that_must_run_at_once(goals: str, timers: int, remembering: int) -> None:
    waiting = timers_at_once(read(goals))
    assert (waiting.count, len(waiting.remembering)) == (timers, remembering)


def test_inputs_that_must_change_end_the_wait(tmp_path: Path) -> None:
    """A press of 2 s at most cannot wait for 5 s."""
    path = tmp_path / "goals.yaml"
    path.write_text(
        "title: t\nkit: full\ngoals: ['bell 5 s after push is pressed']\n"
        "known: ['a press of push lasts at most 2 s']\n",
        encoding="utf-8",
    )
    assert timers_at_once(pipeline.read_problem(str(path), None, None)).count == 0


@pytest.mark.parametrize("path", sorted((ROOT / "tests" / "designs").glob("*.json")))
def test_no_design_that_holds_has_fewer(path: Path) -> None:
    """The bound is below every design that the exact check has passed."""
    problem = pipeline.read_problem(str(ROOT / "goals" / f"{path.stem}.yaml"), None, None)
    text = path.read_text(encoding="utf-8")
    design = parse_design(text, str(path), problem.kit)
    assert pipeline.check_design(design, problem).holds
    waiting = timers_at_once(problem)
    assert sum(part.type in TIMED for part in design.parts) >= waiting.count
    assert sum(part.type in CONTROLLED for part in design.parts) >= waiting.controlled


def test_too_few_timers_on_offer_is_impossible() -> None:
    goals = "fan 5 s after hot, bell for 30 s after each press of bell push"
    problem = read(goals)
    limits = {
        part.name: 0 if part.type is not PartType.PULSE else 1
        for part in problem.kit.parts
        if part.type in TIMED
    }
    problem = dataclasses.replace(
        problem, limits=dataclasses.replace(problem.limits, most=tuple(limits.items()))
    )
    nothing: Any = None
    tools = Tools(nothing, nothing, nothing, lambda n: fan_out_price(n, problem.kit))
    progress = Progress()
    questions = Questions(problem, Catalogue(problem, floor_for(tools)), tools, progress, 1)
    found = Engine(questions, progress).run()
    assert found.exhausted and found.best is None
    assert "2 timers must run at once" in found.reasons[0]


# -- inputs that are dead in a larger whole ------------------------------------------------------


def _once() -> tuple[Problem, Kit]:
    """A lamp that comes on at the first press and stays on; nothing ever resets it."""
    parts = tuple(
        dataclasses.replace(part, options=("reset",)) if part.type is PartType.BISTABLE else part
        for part in FULL.parts
        if part.type
        in (
            *(PartType.SUPPLY, PartType.LOAD, PartType.BISTABLE, PartType.PUSH_BUTTON),
            *(PartType.TAP_OFF, PartType.DIVIDER),
        )
    )
    kit = dataclasses.replace(FULL, parts=parts)
    go = OutsideInput("go", InputKind.BUTTON)
    supply = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    signal = all_of(Level("supply"), Latch(Level("go"), OFF))
    return asked({"lamp": signal}, supply, go, kit=kit), kit


@pytest.mark.parametrize("fast", [False, True])
def test_a_reset_may_be_dead_within_a_larger_whole(fast: bool) -> None:
    """Alone the list is refuted, since its reset must hang on something that comes alive; within
    a whole it may hang on something dead, so there it must not be refuted."""
    problem, kit = _once()
    tools = Tools(
        lambda s, p: None,
        lambda d, p: pytest.fail("nothing to check"),
        lambda *a: (),
        lambda n: fan_out_price(n, kit),
        fast,
    )
    catalogue = Catalogue(problem, floor_for(tools))
    questions = Questions(problem, catalogue, tools, Progress(), 1)
    items = tuple(
        i
        for i, (part, _) in enumerate(catalogue.offers)
        if part.type in (PartType.BISTABLE, PartType.PUSH_BUTTON)
    )
    measured = catalogue.measure(items)
    assert measured is not None
    assert questions.working(measured) is False
    assert questions.loosely(measured) is True
    assert questions.any_wiring(measured)


# -- loads that want the same --------------------------------------------------------------------


def test_equal_loads_count_in_the_price() -> None:
    """A pilot that shows the pump changes which nets have an even number of inputs: a wiring of
    the same parts is two coins cheaper than the first that is found. The price is that of a design
    kept from an earlier run and checked above; it must not be missed."""
    problem = pipeline.read_problem(str(ROOT / "goals" / "glasshouse.yaml"), None, None)
    outcome = pipeline.plan(problem, seconds=60)
    assert outcome.status is Status.PROVEN
    assert outcome.price == 71


# -- claims that are withheld --------------------------------------------------------------------


def test_there_are_free_joints_for_each_load(tmp_path: Path) -> None:
    """Three switches at 2, three joints, and four dividers at 3: for the supply and each switch.
    Each switch is one lever and has to be joined to each other one, so nothing less will do."""
    kit = tmp_path / "kit.yaml"
    kit.write_text(
        "kit: joints\ntitle: Joints only\ntrigger: held\nparts:\n"
        "  supply: {type: supply}\n  switch: {type: switch, price: 2, contact: [make]}\n"
        "  joint: {type: joint, price: 0}\n"
        "  divider: {type: divider, price: 3, outputs: 3}\n  load: {type: load}\n",
        encoding="utf-8",
    )
    goals = tmp_path / "goals.yaml"
    goals.write_text(
        "title: t\nkit: kit.yaml\ninputs: {a: switch, b: switch, c: switch}\ngoals:\n"
        "  - lamp one while a or b\n  - lamp two while b or c\n  - lamp three while a or c\n",
        encoding="utf-8",
    )
    outcome = pipeline.plan(pipeline.read_problem(str(goals), None, None), seconds=30)
    assert (outcome.status, outcome.price) == (Status.PROVEN, 18)
    assert any("joints that cost nothing" in bound for bound in outcome.bounds)


def test_least_power_is_not_claimed_out_of_order(tmp_path: Path) -> None:
    """Two sensors and a change-over relay need 6 units, and come after lists of a higher bound."""
    goals = tmp_path / "goals.yaml"
    goals.write_text(
        "title: t\nkit: full\nloads: {fan one: 5, fan two: 5}\nminimise: [supply]\ngoals:\n"
        "  - fan one while hot\n  - fan two while not hot\n",
        encoding="utf-8",
    )
    outcome = pipeline.plan(pipeline.read_problem(str(goals), None, None), seconds=5)
    assert outcome.supply is not None
    assert outcome.status is Status.BEST_FOUND or outcome.supply <= 6
    assert outcome.bound is None or outcome.bound <= 6


def test_a_change_over_may_use_one_branch_only() -> None:
    """Three inverters of change-over relays, each with one branch idle: no price rules them out
    that is as high as that of splitting all their nets one by one."""
    parts = tuple(
        dataclasses.replace(part, options=("make",)) if part.type is PartType.SENSOR else part
        for part in FULL.parts
        if part.type
        in (
            *(PartType.SUPPLY, PartType.LOAD, PartType.RELAY_CHANGEOVER, PartType.SENSOR),
            *(PartType.TAP_OFF, PartType.DIVIDER),
        )
    )
    kit = dataclasses.replace(FULL, parts=parts)
    names = ("a", "b", "c")
    inputs = [OutsideInput(name, InputKind.SENSOR) for name in names]
    signals = {f"lamp {n}": all_of(Level("supply"), negated(Level(n))) for n in names}
    problem = asked(signals, OutsideInput("supply", InputKind.SUPPLY), *inputs, kit=kit)
    nothing: Any = None
    tools = Tools(nothing, nothing, nothing, lambda n: fan_out_price(n, kit))
    catalogue = Catalogue(problem, floor_for(tools))
    questions = Questions(problem, catalogue, tools, Progress(), 1)
    turning = [
        i for i, (p, _) in enumerate(catalogue.offers) if p.type is PartType.RELAY_CHANGEOVER
    ]
    sensing = [i for i, (p, _) in enumerate(catalogue.offers) if p.type is PartType.SENSOR]
    measured = catalogue.measure(tuple(sorted((*sensing, *(turning * 3)))))
    assert measured is not None
    assert questions.loosely(measured) is True
    assert questions.loosely(measured, 60, Elsewhere(1, 1)) is True
