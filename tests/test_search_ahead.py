"""What a short run tells of the time after it: timers that must run, states that must differ."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import chain
from pathlib import Path
from random import Random

import pytest
from check_designs import STARTER, asked, load, part, pump_cycle, wired
from search_tools import INPUTS, accepts, some_moments
from test_known_designs import the_engine
from test_search_bounds import as_cycle

from synth import pipeline
from synth.check import check
from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import Kit
from synth.problem import InputKind, OutsideInput
from synth.result import Status
from synth.search.basics import DEPTH
from synth.search.pending import timers_at_once
from synth.search.scenario import Scenario, build_scenario
from synth.search.slots import supply_part
from synth.search.stimuli import drifting_runs
from synth.search.unroll import Unrolled
from synth.signals import Cycle, Level
from synth.trace import Moment

SUPPLY_ON = (Moment(Fraction(0), (("supply", True),)),)
PUMP = {"pump": Cycle(Level("supply"), 10_000, 50_000)}
TWO_CYCLES = "pump on 10 s of every 60 s, master cutoff for pump, mister on 15 s of every 15 min"


LOOP = {
    "R.in": "supply", "A.in": "supply", "B.in": "supply", "A.start": "R.out",
    "B.start": "A.out", "R.coil": "B.out", "pump.in": "A.out",
}  # fmt: skip
"""Two pulse timers and a break relay: one pulse of A in each of B."""


def wiring(parts: Sequence[PartInUse], feeds: dict[str, str], kit: Kit = STARTER) -> Skeleton:
    """Return the wiring in which each "part.terminal" of `feeds` hangs on its value."""

    def terminal(text: str) -> Terminal:
        name, _, end = text.rpartition(".")
        return Terminal(name or "supply", end if name else "out")

    ends = tuple((terminal(source), terminal(target)) for target, source in feeds.items())
    return Skeleton(kit.name, (supply_part(kit), *parts), ends)


def without_waits(scenario: Scenario) -> Scenario:
    """Return the scenario with nothing told of what comes later."""
    bare = tuple(dataclasses.replace(point, waits=(), rises=False) for point in scenario.points)
    return dataclasses.replace(scenario, points=bare)


# -- what is waited for ---------------------------------------------------------------------------


def test_each_point_waits_for_the_next_change_of_each_class() -> None:
    problem = asked(PUMP, kit=STARTER, times=(10_000, 50_000))
    scenario = build_scenario(problem, SUPPLY_ON, problem.times, 70_000)
    assert scenario.step == 10_000
    waits = {point.time: point.waits for point in scenario.points}
    # At 70 s the run ends: the pump comes on again at 120 s.
    assert waits[0] == (10_000,) and waits[10_000] == waits[50_000] == (60_000,)
    assert waits[60_000] == (70_000,) and waits[70_000] == (120_000,)


def test_clocks_that_drift_wait_each_for_itself() -> None:
    problem = pipeline.read_problem(None, TWO_CYCLES, None)
    moments = (
        Moment(Fraction(0), (("master", False), ("supply", True))),
        Moment(Fraction(2_000), (("master", True),)),
    )
    scenario = build_scenario(problem, moments, problem.times, 12_000)
    waits = {point.time: set(point.waits) for point in scenario.points}
    assert waits[0] == {15_000}  # the pump is cut off, and nothing says that it will not stay so
    assert waits[2_000] == {12_000, 15_000} and waits[12_000] == {62_000, 15_000}


def test_nothing_is_waited_for_beyond_a_change_that_must_come(tmp_path: Path) -> None:
    """The press ends within 2 s; what is to come 3 s later need not be under way."""
    path = tmp_path / "goals.yaml"
    path.write_text(
        "kit: full\ninputs: {push: button}\ngoals: [horn once push has lasted 3 s]\n"
        "known: [a press of push lasts at most 2 s]\n",
        encoding="utf-8",
    )
    problem = pipeline.read_problem(str(path), None, None)
    moments = (Moment(Fraction(0), (("push", True), ("supply", True))),)
    scenario = build_scenario(problem, moments, problem.times, 1_000)
    assert all(not point.waits for point in scenario.points)


# -- no design that holds is refused --------------------------------------------------------------


@pytest.mark.slow
def test_designs_that_keep_a_cycle_are_accepted() -> None:
    """Random wirings that the check finds to keep some cycle, in runs with cuts of the supply and
    inputs that change at random, and in those that the search begins with."""
    held = 0
    for seed in range(1500):
        random = Random(seed)
        found = as_cycle(random)
        if found is None:
            continue
        problem, _, skeleton = found
        engine = the_engine(problem)
        runs = [
            build_scenario(problem, some_moments(random, 9_000), problem.times, 9_000, 40)
            for _ in range(2)
        ]
        for scenario in [*runs, *engine.questions.scenarios[:3]]:
            assert accepts(skeleton, problem, scenario, DEPTH), seed
        held += 1
    assert held > 50


def two_loops(kit: Kit) -> tuple[list[PartInUse], dict[str, str]]:
    """Return two loops of two timers each, one behind the cutoff, wired by hand."""
    parts = [part("S", PartType.SWITCH, kit, input="master", contact="make")]
    feeds = {"S.in": "supply"}
    for name, way, pulse, period in (
        ("pump", "S.out", 10_000, 60_000),
        ("mister", "supply", 15_000, 900_000),
    ):
        parts += [
            part(f"{name} R", PartType.RELAY_BREAK, kit),
            part(f"{name} A", PartType.PULSE, kit, time=pulse),
            part(f"{name} B", PartType.PULSE, kit, time=period),
            load(name, kit=kit),
        ]
        own = {t.replace("pump", name): s.replace("pump", name) for t, s in LOOP.items()}
        for target, source in own.items():
            source = way if source == "supply" else f"{name} {source}"
            feeds[target if target.startswith(name) else f"{name} {target}"] = source
    return parts, feeds


def test_a_design_for_two_clocks_stands_the_runs_in_which_they_drift() -> None:
    problem = pipeline.read_problem(None, TWO_CYCLES, None)
    parts, feeds = two_loops(problem.kit)
    assert check(wired(parts, feeds, problem.kit), problem).holds
    skeleton = wiring(parts, feeds, problem.kit)
    runs = the_engine(problem).questions.drifting
    assert [len(scenarios) for scenarios in runs] == [2, 1]
    for scenario in chain(*runs):
        assert scenario.in_time and any(len(point.waits) == 2 for point in scenario.points)
        assert accepts(skeleton, problem, scenario, DEPTH)


def test_classes_drift_in_two_ways_and_then_for_longer() -> None:
    """The master at 1.667 s, and 15 s later, the second shortest of 10, 15, 40, … s: each run until
    both loads have changed by themselves, and half a step more. Then until the pump is on again."""
    problem = pipeline.read_problem(None, TWO_CYCLES, None)
    short, long = drifting_runs(problem, timers_at_once(problem).run)
    assert [[int(m.time) for m in moments] for (moments, _), _ in short] == [[0, 1666], [0, 16_666]]
    assert [end for (_, end), _ in short] == [15_000 + 2500, 26_666 + 2500]
    assert [(end, len(grid)) for (_, end), grid in long] == [(61_666 + 2500, 2 * 13)]
    assert sorted(short[0][1]) == sorted([*range(0, 17_500, 5000), *range(1666, 17_500, 5000)])


def test_what_takes_too_long_is_not_waited_for() -> None:
    """The mister's 20 s, and what is off for an hour: there is room for 18 steps of a second, half
    as many of them ahead of the switch."""
    words = "pump on 1 s of every 1 h while master, mister on 20 s of every 40 s"
    problem = pipeline.read_problem(None, words, None)
    (short,) = drifting_runs(problem, (("master", True),))
    assert [end for (_, end), _ in short] == [1333 + 500, 10_333 + 500]


# -- what is refused sooner -----------------------------------------------------------------------


def test_a_state_that_comes_back_too_soon_is_refused_before_it_shows() -> None:
    """A timer that starts itself again every 10 s, beside the one of the pump: the load is right up
    to 60 s, and yet nothing could tell 20 s from 30 s."""
    problem = asked(PUMP, kit=STARTER, times=(10_000, 50_000, 60_000))
    parts = [
        part("A", PartType.PULSE, STARTER, time=10_000),
        part("B", PartType.PULSE, STARTER, time=10_000),
        part("R", PartType.RELAY_BREAK, STARTER),
        load("pump", kit=STARTER),
    ]
    feeds = {"A.in": "supply", "A.start": "supply", "B.in": "supply", "R.in": "supply"}
    feeds |= {"R.coil": "B.out", "B.start": "R.out", "pump.in": "A.out"}
    assert not check(wired(parts, feeds, STARTER), problem).holds
    skeleton = wiring(parts, feeds)
    scenario = build_scenario(problem, SUPPLY_ON, (10_000,), 40_000)
    assert accepts(skeleton, problem, without_waits(scenario), DEPTH)
    assert not accepts(skeleton, problem, scenario, DEPTH)


def test_a_circuit_that_comes_to_rest_is_refused_before_it_shows() -> None:
    """Once the pulse is over nothing runs, though the next one is to come in 50 s."""
    problem = asked(PUMP, kit=STARTER, times=(10_000, 50_000, 60_000))
    parts = [part("A", PartType.PULSE, STARTER, time=10_000), load("pump", kit=STARTER)]
    feeds = {"A.in": "supply", "A.start": "supply", "pump.in": "A.out"}
    skeleton = wiring(parts, feeds)
    scenario = build_scenario(problem, SUPPLY_ON, (10_000,), 20_000)
    assert accepts(skeleton, problem, without_waits(scenario), DEPTH)
    assert not accepts(skeleton, problem, scenario, DEPTH)
    loop = pump_cycle(10_000, 60_000)
    assert check(loop, problem).holds
    parts = [p for p in loop.parts if p.name in {"R", "A", "B", "pump"}]
    assert accepts(wiring(parts, LOOP), problem, scenario, DEPTH)


def behind_a_timer(time: int) -> Skeleton:
    """Return a pulse of 10 s for the pump, begun by a timer that runs for `time` ticks."""
    parts = [
        part("A", PartType.PULSE, STARTER, time=10_000),
        part("B", PartType.PULSE, STARTER, time=time),
        load("pump", kit=STARTER),
    ]
    feeds = dict.fromkeys(("A.in", "B.in", "B.start"), "supply")
    return wiring(parts, feeds | {"A.start": "B.out", "pump.in": "A.out"})


@pytest.mark.parametrize("time", [50_000, 60_000, 70_000])
def test_a_timer_must_expire_in_time(time: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The pump is to go on again at 60 s, and nothing is asked of the run beyond 20 s: 50 s after
    the start no load changes, but a timer could start then; with 70 s nothing comes in time."""
    problem = asked(PUMP, kit=STARTER, times=(10_000, 50_000, 60_000, 70_000))
    scenario = build_scenario(problem, SUPPLY_ON, (10_000,), 20_000)
    scenario = dataclasses.replace(scenario, in_time=True)
    monkeypatch.setattr(Unrolled, "_can_close", lambda self: [self.true])
    assert accepts(behind_a_timer(time), problem, scenario, DEPTH) == (time <= 60_000)
    assert accepts(behind_a_timer(time), problem, without_waits(scenario), DEPTH)


def test_what_goes_on_later_takes_a_part_that_can_close(monkeypatch: pytest.MonkeyPatch) -> None:
    """A timer expires just when the pump is to go on, but all that it can do is open."""
    problem = asked(PUMP, kit=STARTER, times=(10_000, 50_000, 60_000))
    scenario = build_scenario(problem, SUPPLY_ON, (10_000,), 20_000)
    assert not accepts(behind_a_timer(60_000), problem, scenario, DEPTH)
    monkeypatch.setattr(Unrolled, "_can_close", lambda self: [self.true])
    assert accepts(behind_a_timer(60_000), problem, scenario, DEPTH)


def test_three_timers_and_two_relays_do_not_keep_two_clocks() -> None:
    """At each price below the first that is left, all lists are refuted in the drifting run."""
    problem = pipeline.read_problem(None, TWO_CYCLES, None)
    engine = the_engine(problem)
    needed = engine.needed()
    assert engine.questions.drifts and needed is not None
    refuted = 0
    for parts_list in engine.catalogue.in_order(needed, problem.objectives, engine.waiting.count):
        parts = engine.catalogue.parts(parts_list.items)
        if parts_list.price > 43:
            break
        if not engine.hopeless(parts_list):
            assert sum(p.type in TIMED for p in parts) == 3
            assert engine.questions.refuted_at_once(parts_list.items, False, lambda: False)
            refuted += 1
    assert refuted == 2


def test_what_stands_the_short_runs_may_fall_in_the_long_one() -> None:
    """Four timers, a break relay and a joint keep both clocks while the short runs last."""
    problem = pipeline.read_problem(None, TWO_CYCLES, None)
    engine = the_engine(problem)
    questions, needed = engine.questions, engine.needed()
    assert needed is not None
    wanted = Counter({"switch": 1, "pulse timer": 4, "relay break": 1, "joint": 1})
    items = next(
        x.items
        for x in engine.catalogue.in_order(needed, problem.objectives, engine.waiting.count)
        if Counter(part.name for part in engine.catalogue.parts(x.items)) == wanted
    )
    parts_list = engine.catalogue.measure(items)
    assert parts_list is not None and not engine.hopeless(parts_list)
    assert questions.refuted_at_once(items, False, lambda: False)
    questions.drifting = questions.drifting[:1]
    assert not questions.refuted_at_once(items, False, lambda: False)


def test_what_takes_no_input_has_no_run_that_drifts() -> None:
    problem = asked(PUMP, kit=STARTER, times=(10_000, 50_000))
    assert not drifting_runs(problem, ())
    steady = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    problem = asked(PUMP, steady, *INPUTS[1:], kit=STARTER, times=(1, 2))
    assert not drifting_runs(problem, (("hot", True),))  # there are no instants in between
    problem = asked({"fan": Level("hot")}, *INPUTS, kit=STARTER, times=(10_000, 50_000))
    assert not drifting_runs(problem, (("hot", True),))  # nothing changes by itself


@pytest.mark.slow
def test_two_clocks_one_behind_a_cutoff_are_planned_close_to_the_bound() -> None:
    problem = pipeline.read_problem(None, TWO_CYCLES, None)
    outcome = pipeline.plan(problem, seconds=60, gap=10)
    assert outcome.status in (Status.BEST_FOUND, Status.PROVEN) and outcome.bound is not None
    assert outcome.price is not None and outcome.bound >= 0.9 * outcome.price
    assert outcome.verdict is not None and outcome.verdict.holds
