"""What is claimed of several circuits together: timers at once, dead inputs, equal loads."""

from __future__ import annotations

import dataclasses
from collections import Counter
from math import comb
from pathlib import Path
from random import Random
from typing import Any

import pytest
from check_designs import FULL, asked

from synth import pipeline
from synth.parts.behaviour import CONTROLLED, TIMED, PartType
from synth.parts.kit import Kit
from synth.problem import InputKind, Objective, OutsideInput, Problem
from synth.read.design_file import parse_design
from synth.result import Status
from synth.search.apart import may_be_held, may_be_open, take_apart
from synth.search.basics import Progress, Tools, floor_for
from synth.search.bounds import on_together
from synth.search.engine import Engine
from synth.search.formula import Formula
from synth.search.lists import Catalogue
from synth.search.pending import _remembers, timers_at_once
from synth.search.questions import Elsewhere, Questions
from synth.search.slots import Wiring
from synth.search.solver import CpSat
from synth.search.stimuli import first_runs
from synth.share import fan_out_price
from synth.signals import (
    OFF,
    Latch,
    Level,
    Signal,
    SignalMachine,
    Toggle,
    all_of,
    any_of,
    negated,
)

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


LATCHED = Latch(Level("go"), Level("halt"), enable=Level("supply"))
FOR_GOOD = Latch(Level("go"), OFF, enable=Level("supply"))


@pytest.mark.parametrize(
    ("signal", "again"),
    [
        (LATCHED, True),
        (Toggle(Level("go"), Level("supply")), True),
        (Toggle(Level("go"), Level("halt")), True),
        (any_of(LATCHED, Level("halt")), True),
        # 0 and then 1 with the same inputs, but never 0 again.
        (FOR_GOOD, False),
        (negated(FOR_GOOD), False),
        (all_of(FOR_GOOD, Level("halt")), False),
        # Again and again, until it is set for good.
        (any_of(FOR_GOOD, Toggle(Level("halt"), Level("supply"))), True),
        # Never 0 and 1 with the same inputs.
        (Level("go"), False),
        (any_of(LATCHED, Level("supply")), False),
    ],
)
def test_a_load_counts_as_remembering_if_it_does_so_again_and_again(
    signal: Signal, again: bool
) -> None:
    """Compared with long walks through the inputs: one level of them with both levels of the load,
    by turns, more often than a latch that is set for good can show."""
    assert _remembers(signal, ["go", "halt"]) == again
    problem = asked({"lamp": signal})
    turns = max(turns_of(signal, seed) for seed in range(40))
    assert (turns > 3) == again
    assert timers_at_once(problem).remembering == (("lamp",) if again else ())


def turns_of(signal: Signal, seed: int) -> int:
    """Return how often the load turns in a random walk, looked at with one level of the inputs:
    the level at which that is most often."""
    random, machine = Random(seed), SignalMachine((("lamp", signal),))
    state, now = machine.start, {"supply": True, "go": False, "halt": False}
    last: dict[tuple[bool, ...], bool] = {}
    turns: Counter[tuple[bool, ...]] = Counter()
    # Walks that leave `go` alone come too, to see what happens before it is ever on.
    names = random.choice((["go", "halt"], ["halt"]))
    for _ in range(60):
        state, loads, _ = machine.react(state, now)
        key = tuple(now.values())
        turns[key] += last.get(key, loads["lamp"]) != loads["lamp"]
        last[key] = loads["lamp"]
        now = {**now, (name := random.choice(names)): not now[name]}
    return max(turns.values())


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


def only_with(narrowed: PartType, option: str, *others: PartType) -> Kit:
    """Return the full kit with these parts and what splits power, `narrowed` in one way only."""
    kept = (PartType.SUPPLY, PartType.LOAD, PartType.TAP_OFF, PartType.DIVIDER, narrowed, *others)
    parts = tuple(
        dataclasses.replace(part, options=(option,)) if part.type is narrowed else part
        for part in FULL.parts
        if part.type in kept
    )
    return dataclasses.replace(FULL, parts=parts)


def _once() -> tuple[Problem, Kit]:
    """A lamp that comes on at the first press and stays on; nothing ever resets it."""
    kit = only_with(PartType.BISTABLE, "reset", PartType.PUSH_BUTTON)
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


@pytest.mark.slow
def test_least_power_where_a_relay_chooses(tmp_path: Path) -> None:
    """Five units for the one load or the other, and one for the coil: the lists that hold a
    change-over relay are bounded lower than those without, and must not come too late."""
    goals = tmp_path / "goals.yaml"
    goals.write_text(
        "title: t\nkit: full\nloads: {fan one: 5, fan two: 5}\nminimise: [supply]\ngoals:\n"
        "  - fan one while hot\n  - fan two while not hot\n",
        encoding="utf-8",
    )
    problem = pipeline.read_problem(str(goals), None, None)
    outcome = pipeline.plan(problem, seconds=5)
    assert outcome.supply == 6
    assert outcome.bound == 5 == on_together(problem)
    assert outcome.status is Status.BEST_FOUND


@pytest.mark.parametrize("first", [Objective.PRICE, Objective.SUPPLY, Objective.WIRES])
def test_lists_come_in_order_and_once(first: Objective) -> None:
    signals = {"one": Level("hot"), "two": negated(Level("hot"))}
    problem = asked(signals, OutsideInput("hot", InputKind.SENSOR), kit=FULL)
    objectives = (first, *(o for o in problem.objectives if o is not first))
    problem = dataclasses.replace(problem, objectives=objectives)
    catalogue = Catalogue(problem, lambda extra: fan_out_price(extra + 1, FULL), most=3)
    lists = list(catalogue.in_order((), objectives))
    keys = [one.key(objectives) for one in lists]
    assert keys == sorted(keys)
    assert len({one.items for one in lists}) == len(lists)
    # All multisets of up to three: none is missing.
    kinds = len(catalogue.offers)
    assert len(lists) == sum(comb(kinds + n - 1, n) for n in range(4))


def test_a_change_over_may_use_one_branch_only() -> None:
    """Three inverters of change-over relays, each with one branch idle: no price rules them out
    that is as high as that of splitting all their nets one by one."""
    kit = only_with(PartType.SENSOR, "make", PartType.RELAY_CHANGEOVER)
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


# -- inputs that are held ------------------------------------------------------------------------


def given(**facts: Any) -> Problem:
    """A lamp on `go`, beside an input `other` of which `facts` are known."""
    other = OutsideInput("other", InputKind.SENSOR, **facts)
    inputs = (OutsideInput("supply", InputKind.SUPPLY), OutsideInput("go", InputKind.SENSOR), other)
    return asked({"lamp": all_of(Level("supply"), Level("go"))}, *inputs)


@pytest.mark.parametrize(
    ("facts", "held", "opened"),
    [
        ({}, True, True),
        ({"least_on": 5000, "least_off": 5000}, True, True),
        # At 0 it may stay for good; a break contact would have to be held open at 1.
        ({"most_on": 5000}, True, False),
        ({"most_off": 5000}, True, False),
        ({"most_on": 5000, "most_off": 5000}, False, False),
        ({"steady": True}, True, False),
        ({"steady": False}, True, False),
    ],
)
def test_inputs_that_may_be_held(facts: dict[str, Any], held: bool, opened: bool) -> None:
    problem = given(**facts)
    assert may_be_held(problem, {"other"}) is held
    assert may_be_open(problem, {"other"}) is opened


def test_an_input_held_at_1_shuts_out_its_group() -> None:
    problem = dataclasses.replace(given(most_off=5000), never_together=(("go", "other"),))
    assert not may_be_held(problem, {"other"})
    assert may_be_held(dataclasses.replace(given(), never_together=(("go", "other"),)), {"other"})


# -- the price of splitting, with what is elsewhere counted in -------------------------------------


def one_sensor() -> tuple[Problem, Catalogue, tuple[int, ...]]:
    """A lamp on a sensor, and the list of just that sensor."""
    problem = asked({"lamp": all_of(Level("supply"), Level("hot"))}, *_hot(), kit=FULL)
    catalogue = Catalogue(problem, lambda extra: fan_out_price(extra + 1, FULL))
    sensor = next(i for i, (p, _) in enumerate(catalogue.offers) if p.type is PartType.SENSOR)
    return problem, catalogue, (sensor,)


def _hot() -> tuple[OutsideInput, ...]:
    return OutsideInput("supply", InputKind.SUPPLY), OutsideInput("hot", InputKind.SENSOR)


def least(catalogue: Catalogue, items: tuple[int, ...], loose: bool, **more: int) -> int | None:
    """Return the least price at which the nets of a bare model can be split, up to 40."""
    for rest in range(41):
        slots = catalogue.slots(items, ["lamp"])
        wiring = Wiring(catalogue.problem, slots, Formula(), loose)
        wiring.price_sharing(lambda n: fan_out_price(n, FULL), rest, **more)
        if CpSat(wiring.formula).ask(30).satisfiable:
            return rest
    return None


@pytest.mark.parametrize("outputs", [0, 1, 2, 3])
@pytest.mark.parametrize("surplus", range(7))
def test_splitting_with_inputs_elsewhere(outputs: int, surplus: int) -> None:
    """Two outputs here and some elsewhere, each of which feeds something; all the surplus may be
    put on one of them, which is the cheapest (see `fan_out_price`)."""
    _, catalogue, items = one_sensor()
    found = least(catalogue, items, True, more_inputs=outputs + surplus, more_outputs=outputs)
    assert found == fan_out_price(surplus + 1, FULL)


@pytest.mark.parametrize("more", range(6))
def test_splitting_with_more_on_the_supply(more: int) -> None:
    _, catalogue, items = one_sensor()
    assert least(catalogue, items, False, on_supply=more) == fan_out_price(more + 1, FULL)


def test_a_latch_beside_another_circuit_is_as_cheap_as_alone() -> None:
    """Nothing of the tank's circuit is of use to the lamp, nor the other way round: to the price of
    the first come a sensor at 4 and the split of the supply for it."""
    prices = []
    for goals in ("filler fills between low and high", "lamp while hot"):
        alone = pipeline.plan(read(goals, "starter"), seconds=60)
        assert alone.status is Status.PROVEN and alone.price is not None
        prices.append(alone.price)
    both = pipeline.plan(
        read("filler fills between low and high, lamp while hot", "starter"), seconds=60
    )
    assert both.status is Status.PROVEN and both.price is not None
    assert sum(prices) < both.price <= sum(prices) + 2


def test_a_circuit_without_a_first_run_is_asked_within_the_whole() -> None:
    """Sensors that are never on together, one for at least 2 s: none of the usual first runs of
    the pump's circuit may happen, and so it has nothing to teach the whole from the start."""
    problem = read("pump empties between low and high; fan by day; heater always")
    high = dataclasses.replace(problem.input("high"), least_on=2000)
    steady = dataclasses.replace(problem.input("supply"), steady=True)
    known = {"high": high, "supply": steady}
    problem = dataclasses.replace(
        problem,
        inputs=tuple(known.get(item.name, item) for item in problem.inputs),
        never_together=(("low", "high"),),
    )
    pump = next(p for p in take_apart(problem) if p.problem.requirements[0].load == "pump")
    assert not first_runs(pump.problem)
    outcome = pipeline.plan(problem, seconds=20)
    assert outcome.status in (Status.BEST_FOUND, Status.PROVEN) and outcome.verdict is not None
    assert outcome.verdict.holds
