"""Bounds of the search where they might be too strong: beside each a design that holds.

Each test fails when its bound forgets one thing that it looks at; what that is stands with it.
"""

from __future__ import annotations

from itertools import combinations_with_replacement
from pathlib import Path

import pytest
from check_designs import FULL, STARTER, asked, load, part, pump_cycle, wired

from synth import pipeline
from synth.check import check
from synth.design import Design
from synth.parts.behaviour import SPLITTING, PartType
from synth.parts.kit import KitPart
from synth.problem import InputKind, OutsideInput, Problem
from synth.result import Status
from synth.search.bounds import essential, lacks_time, on_together, sharing_totals
from synth.search.pending import timers_at_once
from synth.search.perpetual import cannot_go_on
from synth.signals import OFF, ON, Cycle, Latch, Level, OnDelay, all_of

SUPPLY = Level("supply")


def kit_parts(design: Design, problem: Problem) -> list[KitPart]:
    """Return the kit parts of a design, without the supply, its loads and what splits power."""
    kept = [p for p in design.parts if p.type not in (*SPLITTING, PartType.SUPPLY, PartType.LOAD)]
    return [problem.kit.index[p.part] for p in kept]


@pytest.mark.parametrize("outlets", range(1, 8))
def test_all_sums_that_splitting_may_cost(outlets: int) -> None:
    """Against a count of all heaps of splitting parts: each adds one outlet at least, and one less
    than it has outputs at most (a divider need not be used to the full)."""
    splitting = [p for p in STARTER.parts if p.type in SPLITTING]
    possible = set()
    for number in range(1, outlets + 1):
        for heap in combinations_with_replacement(splitting, number):
            if number <= outlets <= sum(len(p.shape.outputs) - 1 for p in heap):
                possible.add(sum(p.price for p in heap))
    assert sharing_totals(STARTER)(outlets) == possible


def test_what_is_never_on_together_is_not_added_up(tmp_path: Path) -> None:
    """Two loads of 3 units, whose inputs are known never to be on together, within 3 units."""
    text = (
        "loads: {lift: 3, lower: 3}\n"
        "goals: [lift while high, lower while low, never more than 3 units]\n"
        "known: [high and low never together]\n"
    )
    path = tmp_path / "goals.yaml"
    path.write_text("title: yard\nkit: starter\n" + text, encoding="utf-8")
    problem = pipeline.read_problem(str(path), None, None)
    assert on_together(problem) == 3
    outcome = pipeline.plan(problem, seconds=20)
    assert outcome.status is Status.PROVEN and outcome.verdict is not None
    assert outcome.verdict.holds


@pytest.mark.parametrize("others", [1, 5])
def test_a_load_that_only_a_press_turns_on_counts(others: int) -> None:
    """A lamp that is off as the supply comes on, until its button is pressed, may be on with all
    the rest: in a run of two steps, also where there are too many of these to look at all."""
    sensors = [f"s{number}" for number in range(others)]
    fans = ", ".join(f"fan {name} while {name}" for name in sensors)
    goals = f"lamp toggled by push, keeps its state, {fans}"
    problem = pipeline.read_problem(None, goals, "full")
    assert on_together(problem) == 1 + others
    limited = pipeline.read_problem(None, f"{goals}, never more than {others} units", "full")
    outcome = pipeline.plan(limited, seconds=20)
    assert outcome.status is Status.IMPOSSIBLE


def test_a_cycle_that_is_always_cut_short_needs_no_time_of_its_own() -> None:
    """Its gate lasts 5 s at most, its pulse would last 10 s: a timer that runs on is harmless."""
    hot = OutsideInput("hot", InputKind.SENSOR, most_on=5_000)
    cycle = Cycle(Level("hot"), 10_000, 50_000, enable=SUPPLY)
    problem = asked({"pump": cycle}, hot, kit=STARTER, times=(10_000, 50_000, 60_000))
    design = wired(
        [
            part("S", PartType.SENSOR, STARTER, input="hot", contact="make"),
            part("T", PartType.PULSE, STARTER, time=60_000),
            load("pump", kit=STARTER),
        ],
        {"S.in": "supply", "T.in": "S.out", "T.start": "S.out", "pump.in": "T.out"},
        STARTER,
    )
    assert check(design, problem).holds
    assert lacks_time(kit_parts(design, problem), problem, "") == ""
    # Where the gate may stay, the same parts cannot keep the time, and the design fails.
    stays = asked({"pump": cycle}, kit=STARTER, times=(10_000, 50_000, 60_000))
    assert not check(design, stays).holds
    assert lacks_time(kit_parts(design, stays), stays, "")


def test_an_input_that_never_lasts_long_enough_tells_nothing() -> None:
    """What is asked after 5 s of an input that lasts 3 s at most is never on: a relay that waits
    for itself does it, and follows no input."""
    hot = OutsideInput("hot", InputKind.SENSOR, most_on=3_000)
    signal = OnDelay(Level("hot"), 5_000, enable=SUPPLY)
    problem = asked({"lamp": signal}, hot, kit=STARTER, times=(5_000,))
    design = wired(
        [part("R", PartType.RELAY_MAKE, STARTER), load("lamp", kit=STARTER)],
        {"R.in": "supply", "R.coil": "R.out", "lamp.in": "R.out"},
        STARTER,
    )
    assert check(design, problem).holds
    assert essential(problem) == frozenset()
    lasting = asked({"lamp": signal}, kit=STARTER, times=(5_000,))
    assert not check(design, lasting).holds
    assert essential(lasting) == {"hot"}


def test_what_is_set_once_for_all_is_not_counted_as_remembering() -> None:
    """Three loads that are set once for all go through four states at most with equal inputs, not
    through eight: that each needs a part besides is not shown by counting."""
    once = {
        name: Latch(Level(f"{name} button"), OFF, enable=SUPPLY) for name in ("one", "two", "three")
    }
    again = {
        name: Latch(Level(f"{name} button"), Level(f"{name} stop"), enable=SUPPLY)
        for name in ("one", "two", "three")
    }
    assert timers_at_once(asked(once, kit=FULL)).remembering == ()
    assert timers_at_once(asked(again, kit=FULL)).remembering == ("one", "two", "three")


def test_a_change_over_relay_closes_as_a_break_relay_does() -> None:
    """The loop of two pulse timers with the break contact of a change-over relay."""
    design = pump_cycle(10_000, 60_000, FULL)
    cycle = Cycle(ON, 10_000, 50_000, enable=SUPPLY)
    problem = asked({"pump": cycle}, kit=FULL, times=(10_000, 50_000, 60_000))
    turned = wired(
        [
            part("R", PartType.RELAY_CHANGEOVER),
            part("A", PartType.PULSE, time=10_000),
            part("B", PartType.PULSE, time=60_000),
            load("pump"),
        ],
        {
            "R.in": "supply",
            "A.in": "supply",
            "B.in": "supply",
            "A.start": "R.break",
            "pump.in": "A.out",
            "B.start": "A.out",
            "R.coil": "B.out",
        },
    )
    perpetual = timers_at_once(problem).perpetual
    assert perpetual.closing == "pump"
    for one in (design, turned):
        assert check(one, problem).holds
        assert cannot_go_on(kit_parts(one, problem), perpetual, problem.times, False) == ""
    timers = [p for p in kit_parts(turned, problem) if p.type is PartType.PULSE]
    assert cannot_go_on(timers, perpetual, problem.times, False)


def test_a_gate_that_cannot_open_with_all_inputs_fixed_proves_nothing() -> None:
    """Two inputs that are never on together open the gate: the load is never on."""
    inputs = [OutsideInput(name, InputKind.SENSOR) for name in ("up", "down")]
    cycle = Cycle(all_of(Level("up"), Level("down")), 10_000, 50_000, enable=SUPPLY)
    problem = asked(
        {"pump": cycle},
        *inputs,
        kit=STARTER,
        times=(10_000, 50_000, 60_000),
        never_together=(("up", "down"),),
    )
    design = wired(
        [
            part("S", PartType.SENSOR, STARTER, input="up", contact="make"),
            part("D", PartType.SENSOR, STARTER, input="down", contact="make"),
            part("T", PartType.PULSE, STARTER, time=60_000),
            load("pump", kit=STARTER),
        ],
        {
            "S.in": "supply",
            "D.in": "S.out",
            "T.in": "D.out",
            "T.start": "D.out",
            "pump.in": "T.out",
        },
        STARTER,
    )
    assert check(design, problem).holds
    assert lacks_time(kit_parts(design, problem), problem, "") == ""
