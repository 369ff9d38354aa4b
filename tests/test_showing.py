"""The run drawn for a design that holds: it shows every goal, and keeps to what is known.

What the loads should do in it is worked out by `signal_runs`, which shares no code with the room
under test but the required signals themselves; what is known of the inputs is checked here, by
the words of `OutsideInput` and nothing else.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signal_runs import Edges, edges, run

from synth.check.showing import press_of, round_time, showing, showing_run
from synth.pipeline import plan, read_problem
from synth.problem import InputKind, OutsideInput, Problem
from synth.signals import Cycle
from synth.trace import Moment

ROOT = Path(__file__).parent.parent
GOALS = sorted((ROOT / "goals").glob("*.yaml"))
SECOND = 1000


@cache
def goal_file(name: str) -> Problem:
    return read_problem(str(ROOT / "goals" / f"{name}.yaml"), None, None)


def input_edges(moments: Sequence[Moment]) -> dict[str, Edges]:
    """Return the changes of each input; all are at 0 before the first moment."""
    found: dict[str, Edges] = {}
    for moment in moments:
        assert moment.time.denominator == 1
        for name, level in moment.inputs:
            own = found.setdefault(name, [])
            if level != bool(own and own[-1][1]):
                own.append((int(moment.time), int(level)))
    return found


def wanted(problem: Problem, moments: Sequence[Moment], end: Fraction) -> dict[str, Edges]:
    """Return what the goals want each load to do, before `end`."""
    inputs = {
        name: " ".join(f"{'+' if level else '-'}{time}" for time, level in own)
        for name, own in input_edges(moments).items()
    }
    signals = [(r.load, r.signal) for r in problem.requirements]
    return {load: edges(text) for load, text in run(signals, inputs, int(end) - 1).items()}


def broken_facts(problem: Problem, moments: Sequence[Moment], end: Fraction) -> list[str]:
    """Return a sentence for each thing known of the inputs that the run goes against."""
    wrong = []
    found = input_edges(moments)
    for item in problem.inputs:
        own = [(0, 0), *found.get(item.name, [])]
        spans = [
            (start, stop, bool(level))
            for (start, level), (stop, _) in zip(own, [*own[1:], (int(end), 0)], strict=True)
            if stop > start
        ]
        for start, stop, level in spans:
            said = f"{item.name} is {level} from {start} to {stop}"
            least, most = (
                (item.least_on, item.most_on) if level else (item.least_off, item.most_off)
            )
            # What is on at first may have been so for long; the supply comes on just then.
            first = start == 0 and item.name != "supply"
            if item.steady is not None and level is not item.steady:
                wrong.append(f"{said}, though steady")
            if least and stop - start < least and not first and stop < end:
                wrong.append(f"{said}, too short")
            if most and stop - start > most:
                wrong.append(f"{said}, too long")
    levels: dict[str, bool] = {}
    for moment in moments:
        levels.update(moment.inputs)
        for group in problem.never_together:
            if sum(levels.get(name, False) for name in group) > 1:
                wrong.append(f"{group} together at {moment.time}")
    return wrong


def levels_seen(own: Edges, end: Fraction) -> set[int]:
    """Return the levels that hold for some time in [0, end)."""
    steps = [(0, 0), *own]
    return {
        level
        for (time, level), (after, _) in zip(steps, [*steps[1:], (int(end), 0)], strict=True)
        if after > time
    }


def level_at(own: Edges, time: Fraction | int) -> int:
    return next((level for when, level in reversed(own) if when <= time), 0)


@pytest.mark.parametrize("path", GOALS, ids=lambda path: path.stem)
class TestEveryExample:
    def test_each_load_is_on_and_off(self, path: Path) -> None:
        problem = read_problem(str(path), None, None)
        moments, end = showing_run(problem)
        for load, own in wanted(problem, moments, end).items():
            assert levels_seen(own, end) == {0, 1}, load

    def test_each_input_moves_to_and_fro(self, path: Path) -> None:
        problem = read_problem(str(path), None, None)
        found = input_edges(showing_run(problem)[0])
        for item in problem.inputs:
            if item.steady is None:
                assert {level for time, level in found[item.name] if time} == {0, 1}, item.name

    def test_what_is_known_is_respected(self, path: Path) -> None:
        problem = read_problem(str(path), None, None)
        assert broken_facts(problem, *showing_run(problem)) == []

    def test_times_are_whole_seconds(self, path: Path) -> None:
        """The goals of all examples are in whole seconds, so the picture needs no finer ones."""
        moments, end = showing_run(read_problem(str(path), None, None))
        assert [m.time for m in moments if m.time % SECOND] == []
        assert end % SECOND == 0

    def test_supply_fails_last_and_cuts_loads(self, path: Path) -> None:
        problem = read_problem(str(path), None, None)
        moments, end = showing_run(problem)
        cuts = [m.time for m in moments if ("supply", False) in m.inputs]
        if problem.input("supply").steady:
            assert cuts == []
            return
        assert cuts == [moments[-2].time]
        assert ("supply", True) in moments[-1].inputs
        for own in wanted(problem, moments, end).values():
            assert level_at(own, cuts[0]) == 0
        assert any(
            level_at(own, cuts[0] - 1) for own in wanted(problem, moments, end).values()
        )

    def test_two_rounds_come_first(self, path: Path) -> None:
        """A cycle that runs by itself turns twice before anything else happens."""
        problem = read_problem(str(path), None, None)
        moments, end = showing_run(problem)
        tracks = wanted(problem, moments, end)
        for requirement in problem.requirements:
            if isinstance(requirement.signal, Cycle):
                own = [time for time, _ in tracks[requirement.load] if time < moments[1].time]
                assert len(own) >= 4, requirement.load

    def test_nothing_changes_with_a_timer(self, path: Path) -> None:
        """No input moves at the instant at which a load changes by a clock: were the input not
        moved then, the load would change all the same."""
        problem = read_problem(str(path), None, None)
        moments, end = showing_run(problem)
        for i, moment in enumerate(moments[1:], 1):
            without = wanted(problem, moments[:i], end)
            assert all(time != moment.time for own in without.values() for time, _ in own), moment

    def test_no_longer_than_needed(self, path: Path) -> None:
        """No input but those with a part in several things moves to and fro more than twice."""
        problem = read_problem(str(path), None, None)
        moments, _ = showing_run(problem)
        for name, own in input_edges(moments).items():
            assert len([time for time, _ in own if time]) <= 4, name


def test_night_and_cold_come_together() -> None:
    problem = goal_file("hen-house")
    moments, end = showing_run(problem)
    found = input_edges(moments)
    on = [time for time, level in wanted(problem, moments, end)["heater"] if level]
    assert on
    assert all(level_at(found["night"], t) and level_at(found["cold"], t) for t in on)


@pytest.mark.parametrize(
    ("name", "lever", "load"),
    [
        ("potting-shed", "master", "pump"),
        ("glasshouse", "master", "pilot"),
        ("seed-trays", "shed", "mister"),
        ("whole-yard", "master", "drip pump"),
        ("water-butt", "master", "filler"),
    ],
)
def test_cutoff_opens_while_its_load_is_on(name: str, lever: str, load: str) -> None:
    problem = goal_file(name)
    moments, end = showing_run(problem)
    own = wanted(problem, moments, end)[load]
    opened = [m.time for m in moments if (lever, False) in m.inputs]
    assert len(opened) == 1
    assert level_at(own, opened[0] - 1) == 1
    assert level_at(own, opened[0]) == 0


def test_tank_marks_come_in_the_order_of_rising_water() -> None:
    """The upper mark of a butt or sump is reached only while the lower one is."""
    found = input_edges(showing_run(goal_file("water-butt"))[0])
    for tank in ("butt", "sump"):
        low, high = found[f"{tank} low"], found[f"{tank} high"]
        assert any(level for _, level in high)
        assert all(level_at(low, time) == 1 for time, _ in high)


def test_presses_are_short_and_round() -> None:
    found = input_edges(showing_run(goal_file("workbench"))[0])
    for name in ("start", "stop", "lamp button", "bell push"):
        times = [time for time, _ in found[name]]
        assert {b - a for a, b in zip(times[::2], times[1::2], strict=True)} == {2 * SECOND}


def test_a_press_keeps_to_its_facts() -> None:
    button = OutsideInput("push", InputKind.BUTTON)
    assert press_of(button, 10_000) == 2_000
    assert press_of(replace(button, most_on=1_700), 10_000) == 1_000
    assert press_of(replace(button, least_on=3_000), 10_000) == 3_000
    assert press_of(button, 50) == 50


def test_round_times() -> None:
    assert [round_time(n) for n in (0, 1, 7, 999, 45_000, 3_600_000)] == [
        1, 1, 5, 500, 30_000, 3_600_000,
    ]  # fmt: skip


def test_many_conditions_at_once() -> None:
    problem = read_problem(
        None, "fan while a and while b and while c and while d and while e", None
    )
    moments, end = showing_run(problem)
    assert levels_seen(wanted(problem, moments, end)["fan"], end) == {0, 1}


def test_what_never_comes_on_is_left_out() -> None:
    """Inputs that exclude each other: the load can never be on, and the run ends all the same."""
    problem = read_problem(None, "fan while hot and while damp, light always", None)
    problem = replace(problem, never_together=(("hot", "damp"),))
    moments, end = showing_run(problem)
    assert broken_facts(problem, moments, end) == []
    tracks = wanted(problem, moments, end)
    assert tracks["fan"] == []
    assert levels_seen(tracks["light"], end) == {0, 1}


def test_a_cycle_of_seconds_beside_a_day_comes_to_an_end() -> None:
    problem = read_problem(None, "pump on 1 s of every 2 s, lamp 24 h after dull", None)
    moments, end = showing_run(problem)
    assert broken_facts(problem, moments, end) == []
    tracks = wanted(problem, moments, end)
    assert levels_seen(tracks["pump"], end) == {0, 1}
    assert end < 24 * 3600 * SECOND  # Rather no lamp than ninety thousand events.


def test_the_design_does_what_the_goals_want() -> None:
    """The picture is of the design: its run is compared with the goals, worked out apart."""
    problem = goal_file("potting-shed")
    design = plan(problem, seconds=60).design
    assert design is not None
    trace = showing(design, problem)
    assert trace.marks == ()
    tracks = {track.name: track for track in trace.tracks if track.role == "load"}
    for load, own in wanted(problem, *showing_run(problem)).items():
        assert tracks[load].start == bool(level_at(own, 0))
        assert [(int(t), int(v)) for t, v in tracks[load].changes] == [e for e in own if e[0]]


def test_same_run_whatever_the_order_of_sets() -> None:
    script = (
        "import sys; from synth.pipeline import read_problem\n"
        "from synth.check.showing import showing_run\n"
        "print([showing_run(read_problem(g, None, None)) for g in sys.argv[1:]])"
    )
    told = {f"{[showing_run(goal_file(path.stem)) for path in GOALS]}\n"}
    told |= {
        subprocess.run(
            [sys.executable, "-c", script, *map(str, GOALS)],
            env={**os.environ, "PYTHONHASHSEED": seed}, cwd=ROOT,
            capture_output=True, text=True, check=True,
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(told) == 1


@st.composite
def known_problems(draw: st.DrawFn) -> Problem:
    """An example with random times known of its inputs, and inputs that exclude each other."""
    problem = goal_file(draw(st.sampled_from(["whole-yard", "water-butt", "workbench"])))
    problem = replace(problem, never_together=())
    times = st.none() | st.sampled_from([1, 500, 3_000, 20_000, 90_000, 4_000_000])
    inputs = []
    for item in problem.inputs:
        on = sorted((draw(times), draw(times)), key=lambda time: time or 0)
        off = sorted((draw(times), draw(times)), key=lambda time: time or 0)
        if not draw(st.booleans()):
            on = off = [None, None]
        if item.name == "supply" and draw(st.booleans()):
            inputs.append(OutsideInput(item.name, item.kind, steady=True))
            continue
        inputs.append(OutsideInput(item.name, item.kind, *on, *off))
    names = [item.name for item in inputs if item.name != "supply"]
    groups = draw(st.lists(st.lists(st.sampled_from(names), min_size=2, max_size=3, unique=True),
                           max_size=2))  # fmt: skip
    return replace(problem, inputs=tuple(inputs), never_together=tuple(map(tuple, groups)))


def respected(problem: Problem) -> None:
    moments, end = showing_run(problem)
    assert end > 0
    assert broken_facts(problem, moments, end) == []


@settings(max_examples=12, deadline=None, derandomize=True)
@given(known_problems())
def test_whatever_is_known_is_respected(problem: Problem) -> None:
    respected(problem)


@pytest.mark.slow
@settings(max_examples=100, deadline=None, derandomize=True)
@given(known_problems())
def test_whatever_is_known_is_respected_at_length(problem: Problem) -> None:
    respected(problem)


def test_broken_facts_are_noticed() -> None:
    """The yardstick of the tests above bites."""
    problem = goal_file("hen-house")
    problem = replace(problem, never_together=(("cold", "damp"),))

    def moment(time: int, **inputs: bool) -> Moment:
        return Moment(Fraction(time), tuple(inputs.items()))

    hour = 3_600_000
    start = moment(0, supply=True, cold=True)
    night = [moment(hour, night=True), moment(6 * hour, night=False)]
    assert broken_facts(problem, [start, *night], Fraction(7 * hour)) == []
    short = [moment(hour, night=True), moment(2 * hour, night=False)]
    assert "too short" in broken_facts(problem, [start, *short], Fraction(7 * hour))[0]
    assert "too long" in broken_facts(problem, [start, night[0]], Fraction(22 * hour))[0]
    both = [start, moment(hour, damp=True)]
    assert "together" in broken_facts(problem, both, Fraction(2 * hour))[0]


@pytest.mark.parametrize(
    "goals",
    [
        # Nothing runs as power is back, and a cycle is waited for that does not begin.
        "pump on 10 s of every 60 s while hot, lamp always",
        "pump on 10 s of every 11 min while hot and wet, lamp always, fan for 2 min after damp",
        "pump on 10 s of every 60 s, master cutoff for pump, lamp at night",
    ],
)
def test_a_run_of_whole_seconds_has_no_odd_thousandth(goals: str) -> None:
    moments, end = showing_run(read_problem(None, goals, "full"))
    assert end % 1_000 == 0 and all(moment.time % 1_000 == 0 for moment in moments)
