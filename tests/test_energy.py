"""A goal on the energy of a day, from its phrase to the ways out of a clash.

Figures are worked out by hand beside each test: a unit that is on for an hour is one unit-hour.
Outside checks: a cycle's part of a day is its cyclic duration factor N / (N + R), IEC 60034-1,
duty type S3 (from memory; 10 min running and 30 min at rest are 25 %); days run here by events are
compared with `synth.check.day`, with runs of `synth.check.simulate` and of `plain_simulation`, and
what the search claims with all wirings of `random_jobs`.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from check_designs import FULL, STARTER, load, part, pump_cycle, wired

from synth import pipeline
from synth.check import check, first_failure, simulate
from synth.check.day import held_days, needs_of
from synth.check.energy import _Days, worst_day
from synth.check.modes import mode_graphs
from synth.days import (
    DAY,
    EVER,
    HOUR,
    NoDay,
    holdable,
    in_words,
    loads_alone,
    nights_asked,
    run_day,
)
from synth.design import Design
from synth.errors import GoalError, Undecided
from synth.goals import AtMostUnitHours
from synth.memory.plain import essence
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit
from synth.pose import pose
from synth.problem import Energy, Problem
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.result import Fault
from synth.trace import Moment

NIGHT = 14 * HOUR
DOCS = Path(__file__).resolve().parents[1] / "docs"


def posed(goals: str, kit: Kit = FULL, known_of: str = "") -> Problem:
    """Return the problem of some phrases, and of facts."""
    phrases = "".join(f"  - {goal.strip()}\n" for goal in goals.split(","))
    facts = "".join(f"  - {fact.strip()}\n" for fact in known_of.split(",") if fact)
    text = f"goals:\n{phrases}" + (f"known:\n{facts}" if facts else "")
    return pose(parse_goal_file(text, "goals.yaml"), kit)


def allowing(problem: Problem, unit_hours: Fraction | int | str) -> Problem:
    """Return the problem with a goal that allows so much, of the nights that are known."""
    energy = Energy(Fraction(unit_hours), 9, nights_asked(problem.inputs))
    return dataclasses.replace(problem, energy=energy)


def total(design: Design, problem: Problem) -> Fraction:
    """Return what is used on the worst day of a design."""
    nothing = allowing(problem, 0)
    assert nothing.energy is not None
    return worst_day(design, nothing, nothing.energy).total


def alone(problem: Problem) -> Fraction:
    """Return what the loads alone use on their worst day."""
    day = loads_alone(problem, nights_asked(problem.inputs))
    assert day is not None
    return day.total


# -- reading -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("phrase", "amount"),
    [
        ("at most 70 unit-hours a day", Fraction(70)),
        ("never more than 70 unit-hours a day", Fraction(70)),
        ("never more than 70.25 unit-hours per day", Fraction(281, 4)),
        ("never use more than 1 unit-hour daily", Fraction(1)),
        ("no more than 7 unit hours in 24 h", Fraction(7)),
        ("not more than 70 unit-hours of energy every day", Fraction(70)),
        ("at most 1/3 unit-hours each day", Fraction(1, 3)),
        ("at most 2 1/3 unit-hours in any day", Fraction(7, 3)),
        ("in a day at most 0.001 unit-hours", Fraction(1, 1000)),
    ],
)
def test_a_phrase_says_how_much_exactly(phrase: str, amount: Fraction) -> None:
    (goal,) = goals_from_text(phrase).goals
    assert goal == AtMostUnitHours(amount)


@pytest.mark.parametrize(
    ("phrase", "message"),
    [
        ("at most 70 unit-hours", "in how long"),
        ("at most 70 unit hours an hour", "in how long"),
        ("never more than 70 unit-hours per hour", "in how long"),
        ("at most 0 unit-hours a day", "more than 0 unit-hours"),
        ("at most 0.0 unit-hours a day", "more than 0 unit-hours"),
        ("at most -3 unit-hours a day", "'-' cannot stand here"),
        ("at most 99999999999 unit-hours a day", "at most 24000000"),
        ("at most 1234567890123 unit-hours a day", "cannot be read"),
        ("at most 1/0 unit-hours a day", "divides by nothing"),
        ("at most unit-hours a day", "how many unit-hours"),
        ("at most 70 unit-hurs a day", "unit-hurs"),
    ],
)
def test_bad_input_is_told_in_one_sentence(phrase: str, message: str) -> None:
    with pytest.raises(GoalError, match=message):
        goals_from_text(f"light always; {phrase}")


def test_units_and_unit_hours_are_told_apart() -> None:
    problem = posed("light always, never more than 6 units, at most 70 unit-hours a day")
    assert problem.peak is not None and problem.peak.units == 6
    assert problem.energy == Energy(Fraction(70), 3, (NIGHT,))


def test_of_two_goals_the_least_counts() -> None:
    one, two = "at most 70 unit-hours a day", "at most 60.5 unit-hours a day"
    for first, second in ((one, two), (two, one)):
        energy = posed(f"light always, {first}, {second}").energy
        assert energy is not None and energy.unit_hours == Fraction(121, 2)
        assert {energy.goal, *energy.others} == {2, 3}
        assert energy.goal == (3 if first == one else 2)


def test_what_the_goal_leaves_open_is_told() -> None:
    problem = posed("heater at night, at most 70 unit-hours a day")
    told = [line for line in problem.assumptions if line.startswith("goal 2: ")]
    assert any("every control input" in line for line in told)
    assert any("night of 14 h; say for example" in line for line in told)
    problem = posed("heater at night, at most 70 unit-hours a day", known_of=WINTER)
    assert any("night of 16 h and 8 h" in line for line in problem.assumptions)


WINTER = "night lasts between 8 h and 16 h"


def test_the_nights_are_those_that_are_known() -> None:
    def nights(known_of: str) -> tuple[Fraction, ...]:
        inputs = posed("heater at night", known_of=known_of).inputs
        return tuple(Fraction(night, HOUR) for night in nights_asked(inputs))

    assert nights("") == (14,)
    assert nights(WINTER) == (16, 8)
    assert nights("night lasts at most 10 h") == (10,)
    # A day of at least 9 h leaves no more than 15 h of night.
    assert nights("day lasts at least 9 h") == (15,)
    assert nights("night lasts at least 16 h") == (16,)


def test_the_numbers_of_goals_are_no_part_of_the_question() -> None:
    problems = [
        posed(f"light always{more}, at most 30 unit-hours a day") for more in ("", ", fan always")
    ]
    one, two = (dataclasses.replace(p, requirements=()) for p in problems)
    assert essence(one).energy == essence(two).energy
    other = allowing(one, 31)
    assert essence(one) != essence(other)


# -- what loads use, by hand ---------------------------------------------------------------------


def test_duty_is_the_cyclic_duration_factor() -> None:
    # S3: 10 min of 40 min are 25 % of 24 h; 10 s of 60 s are a sixth.
    assert alone(posed("pump 10 min on 30 min off")) == 6
    assert alone(posed("pump on 10 s of every 60 s")) == 4
    # 7 s of 17 s, first the pulse: 5082 whole cycles in a day and 6 s more, had each day begun
    # with a pulse. The second day begins 6 s into a cycle, with the last second of a pulse, then
    # 10 s of pause: 5081 cycles, 86377 s, are over 11 s + 86377 s = 86388 s on; 7 s of the last
    # 12 s are on.
    assert alone(posed("pump 7 s on 10 s off")) == Fraction(1 + 5081 * 7 + 7, 3600)


def test_night_and_day_and_what_runs_from_dusk() -> None:
    problem = posed(
        "heater at night, lamp by day, bell from dusk for 2 h, pump 1 h of every 4 h, "
        "pump only at night"
    )
    day = loads_alone(problem, (NIGHT,))
    assert day is not None
    # The pump's cycles begin anew at each dusk: hours 0, 4, 8 and 12 of 14.
    assert dict(day.loads) == {"heater": 14, "lamp": 10, "bell": 2, "pump": 4}
    # Three units by day are worst in the shortest night: 3 * 16 + 8 = 56, else 3 * 8 + 16 = 40.
    text = "loads: {lamp: 3}\ngoals: [heater at night, lamp by day]\nknown: [" + WINTER + "]"
    assert alone(pose(parse_goal_file(text, "g"), FULL)) == 56


def test_what_shares_an_input_is_held_at_one_level() -> None:
    # One or the other, never both: 24 and not 48; the third follows an input of its own.
    assert alone(posed("fan while hot, warmer while not hot")) == 24
    assert alone(posed("fan while hot, warmer while not hot, lamp while damp")) == 48
    # Never on together: at most one of three.
    facts = "hot and damp and foul never together"
    assert alone(posed("fan while hot, vent while damp, hood while foul", known_of=facts)) == 24


def test_what_was_started_runs_on() -> None:
    assert alone(posed("pump started by start and stopped by stop")) == 24
    # One runs as the other is stopped.
    both = "pump started by start and stopped by stop, fan started by stop and stopped by start"
    assert alone(posed(both)) == 24
    # 30 s after a press are over when the day begins.
    assert alone(posed("lamp for 30 s after bell is pressed")) == 0
    # An edge as power comes up is as good as a press.
    assert alone(posed("lamp toggled by bell")) == 24


def test_what_cannot_last_is_not_held() -> None:
    assert alone(posed("fan while hot")) == 24
    assert alone(posed("fan while hot", known_of="hot lasts at most 2 h")) == 0
    assert alone(posed("fan while hot", known_of="hot lasts at most 3 d")) == 24
    neither = posed(
        "fan while hot", known_of="hot lasts at most 2 h, pauses of hot last at most 2 h"
    )
    with pytest.raises(NoDay, match="'hot' never stays as it is"):
        holdable(neither, ["hot"])
    assert loads_alone(neither, (NIGHT,)) is None


def test_a_night_that_no_day_has_is_no_day() -> None:
    facts = "night lasts at most 4 h, day lasts at most 8 h"
    problem = posed("heater at night", known_of=facts)
    assert loads_alone(problem, nights_asked(problem.inputs)) is None
    # It is never hot while it is dark: it is not hot all day.
    problem = posed("fan while hot, heater at night")
    assert alone(problem) == 38
    assert alone(dataclasses.replace(problem, never_together=(("hot", "night"),))) == 14


def test_what_repeats_is_not_run_again() -> None:
    steps = Counter[str]()

    def step(state: object, levels: object, due: int) -> tuple[object, int, int]:
        steps["all"] += 1
        return (state, 1, 1) if not due else (not state, 1, int(not state))

    on = run_day(True, step, lambda state: [(0, 250)], [(0, None)])
    # 250 ms on, 250 ms off: half of the day, though a day has 345 600 events.
    assert on == {1: DAY // 2, 0: DAY // 2} and steps["all"] < 20


def test_more_events_than_can_be_run_are_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    # Cycles of 997 ms and 1009 ms meet again only after 1 005 973 ms; six such not in a day.
    monkeypatch.setattr("synth.days.MOST_EVENTS", 5_000)
    primes = (997, 1009, 1013, 1019, 1021, 1031)

    def step(state: object, levels: object, due: int) -> tuple[object, int, int]:
        return state, due or (1 << len(primes)) - 1, 0

    with pytest.raises(NoDay, match="too many events"):
        run_day(0, step, lambda state: list(enumerate(primes)), [(0, None)])


# -- what designs use, by hand -------------------------------------------------------------------


def test_control_inputs_draw_all_day() -> None:
    problem = posed("pump on 10 s of every 60 s", STARTER)
    design = pump_cycle(10_000, 60_000)
    # Pump 24 / 6; the timer of 60 s starts anew as soon as it is up, so the coil is live all day;
    # it is started by the pump's output; the relay starts the other for an instant each time.
    assert total(design, problem) == 4 + 24 + 4
    assert check(design, allowing(problem, 32)).holds
    verdict = check(design, allowing(problem, "31.999"))
    (defect,) = verdict.defects
    assert not verdict.holds and defect.fault is Fault.ENERGY and defect.goals == (9,)
    assert "on a day the consumers use 32 unit-hours; at most 31.999 may be" in defect.message
    assert "loads 4 (pump 4), control inputs 28 (R coil 24, B start 4)" in defect.message
    held = check(design, allowing(problem, 33))
    assert held.notes == (
        "goal 9: no held day uses more than 32 unit-hours of 33; on a day: loads 4 (pump 4), "
        "control inputs 28 (R coil 24, B start 4)",
    )


def sensors(kit: Kit = FULL) -> Design:
    """Return a fan while hot, and a warmer while not hot, each behind a sensor of its own."""
    return wired(
        [
            part("S1", PartType.SENSOR, kit, input="hot", contact="make"),
            part("S2", PartType.SENSOR, kit, input="hot", contact="break"),
            load("fan", kit=kit),
            load("warmer", 2, kit=kit),
        ],
        {"S1.in": "supply", "fan.in": "S1.out", "S2.in": "supply", "warmer.in": "S2.out"},
        kit,
    )


def test_circuits_are_held_at_the_same_levels() -> None:
    text = "loads: {warmer: 2}\ngoals: [fan while hot, warmer while not hot]"
    problem = pose(parse_goal_file(text, "g"), FULL)
    # Hot: fan 24. Not hot: warmer 48. Each at its worst they would use 72.
    assert total(sensors(), problem) == 48
    assert check(sensors(), allowing(problem, 48)).holds
    assert not check(sensors(), allowing(problem, "47.99")).holds


def test_states_that_do_not_come_together_are_not_added_up() -> None:
    problem = posed(
        "pump started by start and stopped by stop, fan started by stop and stopped by start, "
        "pump keeps its state through a power cut, fan keeps its state through a power cut",
        known_of="supply never fails",
    )
    design = wired(
        [
            part("B", PartType.PUSH_BUTTON, input="start", contact="make"),
            part("O", PartType.PUSH_BUTTON, input="stop", contact="make"),
            part("P", PartType.BISTABLE, wins="reset"),
            part("F", PartType.BISTABLE, wins="reset"),
            load("pump"),
            load("fan"),
        ],
        {"B.in": "supply", "O.in": "supply", "P.in": "supply", "F.in": "supply",
         "P.set": "B.out", "P.reset": "O.out", "F.set": "O.out", "F.reset": "B.out",
         "pump.in": "P.out", "fan.in": "F.out"},
    )  # fmt: skip
    assert check(design, problem).holds
    # Each bistable relay can be set, but the button that sets one resets the other. Only one is
    # ever on, though two circuits may each use 24 on their worst days.
    assert total(design, problem) == 24
    assert check(design, allowing(problem, 24)).holds
    free = allowing(problem, EVER)
    assert free.energy is not None
    assert worst_day(design, free, free.energy).total == 48


def test_a_coil_that_holds_itself_draws_on() -> None:
    problem = posed("pump started by start and stopped by stop", STARTER)
    problem = pose(goals_from_text("pump started by start and stopped by stop"), FULL)
    design = wired(
        [
            part("B", PartType.PUSH_BUTTON, input="start", contact="make"),
            part("O", PartType.PUSH_BUTTON, input="stop", contact="break"),
            part("J", PartType.JOINT),
            part("R", PartType.RELAY_MAKE),
            load("pump"),
        ],
        {"B.in": "supply", "R.in": "supply", "J.in1": "B.out", "J.in2": "R.out",
         "O.in": "J.out", "R.coil": "O.out", "pump.in": "O.out"},
    )  # fmt: skip
    assert check(design, problem).holds
    assert total(design, problem) == 24 + 24


def test_a_day_that_cannot_be_run_decides_nothing() -> None:
    facts = "supply lasts at most 4 h"
    problem = allowing(posed("light always", known_of=facts), 100)
    design = wired([load("light")], {"light.in": "supply"})
    assert check(design, dataclasses.replace(problem, energy=None)).holds
    with pytest.raises(Undecided, match="goal 9: no day can be reckoned, since the supply never"):
        check(design, problem)
    assert problem.energy is not None
    with pytest.raises(Undecided):
        first_failure(design, problem, problem.energy)


def test_what_fails_otherwise_is_told_first() -> None:
    problem = allowing(posed("light at night"), 1)
    design = wired([load("light")], {"light.in": "supply"})
    verdict = check(design, problem)
    assert [d.fault for d in verdict.defects] == [Fault.GOAL] and verdict.day is None


SMALL_JOBS = [
    ("pump on 10 s of every 60 s, light always, heater at night, master cutoff for pump", "full"),
    ("fan while hot, warmer while not hot and at night, bell for 30 s after start is pressed",
     "full"),
    ("pump started by start and stopped by stop, heater at night and while cold", "full"),
    ("heater at night, lamp by day, fan while hot and for 2 min after", "full"),
]  # fmt: skip


@pytest.mark.parametrize(("goals", "kit"), SMALL_JOBS)
def test_days_agree_with_those_of_the_pack_and_with_plain_runs(goals: str, kit: str) -> None:
    problem = posed(goals, STARTER if kit == "starter" else FULL)
    outcome = pipeline.plan(problem, seconds=20)
    design = outcome.design
    assert design is not None
    graphs = mode_graphs(design, problem)
    needs = needs_of(design, problem, graphs)
    units = dict(needs.units)
    free = allowing(problem, EVER)
    assert free.energy is not None
    days = _Days(design, free, free.energy, None)
    circuits = days._from_modes(graphs)
    held = held_days(design, problem, graphs, needs, NIGHT)
    assert held
    worst: dict[tuple[int, tuple[tuple[str, bool], ...]], Fraction] = {}
    for day in held:
        own = {n for n, owner in needs.owners if owner == day.circuit}
        used = sum((units[n] * on / HOUR for n, on in day.fed if n in own), Fraction(0))
        key = (day.circuit, day.levels)
        worst[key] = max(worst.get(key, Fraction(0)), used)
    for (number, levels), used in worst.items():
        assert sum(days._used(circuits[number], dict(levels), (), NIGHT).values()) == used
    # From power up, inputs held: the trace of the checker's simulation, added up.
    named = {item.name for item in problem.inputs}
    for levels in ({}, {name: True for name in ("hot", "master") if name in named}):
        first = {"supply": True, "night": True, **levels}
        start = {n: v for n, v in first.items() if n in named}
        moments = [Moment(Fraction(0), tuple(start.items()))]
        for time, dark in ((NIGHT, False), (DAY, True), (DAY + NIGHT, False)):
            moments.append(Moment(Fraction(time), (("night", dark),)))
        trace = simulate(design, problem, moments if "night" in named else moments[:1], 2 * DAY)
        assert trace.end == 2 * DAY
        on_for = {
            track.name: sum(
                (min(end, 2 * DAY) - max(begin, DAY))
                for begin, end, level in spans(track.start, track.changes)
                if level and end > DAY
            )
            for track in trace.tracks
            if track.role == "load"
        }
        mine: dict[str, Fraction] = {}
        for circuit in days._from_power_up():
            own_levels = {
                n: levels.get(n, False) for n in circuit.inputs if n not in ("supply", "night")
            }
            mine |= days._used(circuit, own_levels, (), NIGHT)
        for name, on in on_for.items():
            assert mine[f"{name}:in"] == Fraction(on) / HOUR, (name, levels)


def spans(
    start: bool, changes: tuple[tuple[Fraction, bool], ...]
) -> Iterator[tuple[Fraction, Fraction, bool]]:
    """Yield (from, to, level) of a track up to the end of the second day."""
    at, level = Fraction(0), start
    for time, after in (*changes, (Fraction(2 * DAY), False)):
        yield at, time, level
        at, level = time, after


def test_words_of_amounts() -> None:
    assert in_words(Fraction(143, 2)) == "71.5" and in_words(Fraction(70)) == "70"
    assert in_words(Fraction(211, 3)) == "70.3333 (211/3)"
