"""The verdict on small designs: cycles of any length, must-reject designs, facts, peaks, races."""

from __future__ import annotations

import dataclasses
import time
from fractions import Fraction

import pytest
from check_designs import FULL, STARTER, asked, load, part, pump_cycle, wired
from plain_simulation import wanted_levels

from synth.check import amounts, check, simulate
from synth.check.witness import when_in_words
from synth.design import Terminal
from synth.errors import DesignError, Undecided
from synth.parts.behaviour import PartType
from synth.parts.kit import Trigger
from synth.problem import Apart, InputKind, OutsideInput, Peak
from synth.result import Fault
from synth.signals import OFF, And, Cycle, Latch, Level, Not, OnDelay, Or, Pulse
from synth.trace import Moment

S, N, M, HOT = Level("supply"), Level("night"), Level("master"), Level("hot")


def times(defect) -> list[Fraction]:
    return [moment.time for moment in defect.counterexample.moments]


def inputs(defect) -> list[tuple[tuple[str, bool], ...]]:
    return [moment.inputs for moment in defect.counterexample.moments]


# Cycles


@pytest.mark.parametrize("period", [60_000, 3_600_000, 86_400_000])
def test_pump_cycle_holds_with_the_same_states_at_any_length(period):
    problem = asked({"pump": Cycle(S, 10_000, period - 10_000)}, kit=STARTER)
    verdict = check(pump_cycle(10_000, period), problem)
    assert verdict.holds and verdict.states == 3


def test_pump_cycle_needs_four_units():
    # Common practice, no source: pump, A.start, B.start and R.coil use one unit each.
    design = pump_cycle(10_000, 60_000)
    assert design.supply == 4
    fed = amounts(design, STARTER)
    assert fed[Terminal("pump", "in")] == 1
    problem = asked({"pump": Cycle(S, 10_000, 50_000)}, kit=STARTER)
    less = dataclasses.replace(
        design,
        parts=tuple(
            dataclasses.replace(p, settings=(("units", 3),)) if p.name == "supply" else p
            for p in design.parts
        ),
    )
    verdict = check(less, problem)
    assert not verdict.holds
    assert {d.fault for d in verdict.defects} == {Fault.UNITS}


def test_wrong_period_is_shown_at_the_second_turn():
    problem = asked({"pump": Cycle(S, 10_000, 40_000)}, kit=STARTER)
    defect = check(pump_cycle(10_000, 60_000), problem).defects[0]
    assert defect.fault is Fault.GOAL and defect.goals == (1,)
    assert defect.message == "goal 1: pump is off 50 s after the supply comes on; it must be on"
    assert times(defect) == [0, 50_000]
    assert (defect.counterexample.expected, defect.counterexample.got) == (True, False)


def test_one_second_too_long_in_a_day_is_found():
    problem = asked({"pump": Cycle(S, 10_000, 86_390_000)}, kit=STARTER)
    verdict = check(pump_cycle(10_000, 86_401_000), problem)
    assert [d.fault for d in verdict.defects] == [Fault.GOAL]
    assert times(verdict.defects[0]) == [0, 86_400_000]


def cutoff(finishes: bool):
    """The cycle behind a master switch: before everything, or only before the first timer."""
    design = {
        "master.in": "supply",
        "R.in": "master.out",
        "A.in": "supply" if finishes else "master.out",
        "B.in": "supply" if finishes else "master.out",
        "A.start": "R.out",
        "pump.in": "A.out",
        "B.start": "A.out",
        "R.coil": "B.out",
    }
    return wired(
        [
            part("master", PartType.SWITCH, STARTER, input="master", contact="make"),
            part("R", PartType.RELAY_BREAK, STARTER),
            part("A", PartType.PULSE, STARTER, time=10_000),
            part("B", PartType.PULSE, STARTER, time=60_000),
            load("pump", kit=STARTER),
        ],
        design,
        STARTER,
    )


def test_cutoff_before_everything_holds():
    problem = asked({"pump": Cycle(And((M, S)), 10_000, 50_000)}, kit=STARTER)
    assert check(cutoff(False), problem).holds


def test_cutoff_that_lets_the_pulse_finish_is_rejected():
    problem = asked({"pump": Cycle(And((M, S)), 10_000, 50_000)}, kit=STARTER)
    defect = check(cutoff(True), problem).defects[0]
    assert defect.fault is Fault.GOAL
    assert inputs(defect) == [(("supply", True), ("master", True)), (("master", False),)]
    assert "must be off" in defect.message
    assert "switch 'master' opens" in defect.message


def test_cycle_without_break_relay_runs_once_and_stops():
    design = wired(
        [part("A", PartType.PULSE, STARTER, time=10_000), load("pump", kit=STARTER)],
        {"A.in": "supply", "A.start": "supply", "pump.in": "A.out"},
        STARTER,
    )
    problem = asked({"pump": Cycle(S, 10_000, 50_000)}, kit=STARTER)
    defect = check(design, problem).defects[0]
    assert times(defect) == [0, 60_000]
    assert defect.counterexample.got is False


def test_timer_that_feeds_its_own_restart_blinks():
    # The pump hangs behind a timer that re-arms through a break relay at once: always on but for
    # one settling step. With an instant trigger it runs on; it still blinks.
    kit = dataclasses.replace(FULL, trigger=Trigger.INSTANT)
    design = wired(
        [part("R", PartType.RELAY_BREAK, kit), part("A", PartType.PULSE, kit, time=10_000)]
        + [load("pump", kit=kit)],
        {
            "R.in": "supply",
            "A.in": "supply",
            "A.start": "R.out",
            "R.coil": "A.out",
            "pump.in": "A.out",
        },
        kit,
    )
    faults = {d.fault for d in check(design, asked({"pump": S}, kit=kit)).defects}
    assert faults == {Fault.BLIP}


def test_two_cycles_that_drift_in_one_cone():
    # 10 of 3600 s behind a cutoff and 15 of 900 s without, one lamp for both: any phase of the
    # two can come about, and the one thing wrong needs a single instant to be hit.
    parts = [
        part("master", PartType.SWITCH, input="master", contact="make"),
        part("A", PartType.RECYCLER, on=10_000, off=3_590_000, first="pulse"),
        part("B", PartType.RECYCLER, on=15_000, off=885_000, first="pulse"),
        part("either", PartType.JOINT),
        load("lamp"),
    ]
    feeds = {
        "master.in": "supply",
        "A.in": "master.out",
        "B.in": "supply",
        "either.in1": "A.out",
        "either.in2": "B.out",
        "lamp.in": "either.out",
    }
    wanted = Or((Cycle(And((M, S)), 10_000, 3_590_000), Cycle(S, 15_000, 885_000)))
    verdict = check(wired(parts, feeds), asked({"lamp": wanted}))
    assert [d.fault for d in verdict.defects] == [Fault.BLIP]
    opens = verdict.defects[0].counterexample.moments[-1]
    assert opens.inputs == (("master", False),)
    assert opens.time % 900_000 == 0
    assert verdict.states < 500


# Steady goals and inputs


def test_twilight_switch_beside_a_lever():
    parts = [
        part("dusk", PartType.TWILIGHT, passes="night"),
        part("master", PartType.SWITCH, input="master", contact="make"),
        load("heater"),
        load("light"),
    ]
    feeds = {
        "dusk.in": "supply",
        "heater.in": "dusk.out",
        "master.in": "supply",
        "light.in": "master.out",
    }
    problem = asked({"heater": And((N, S)), "light": And((M, S))})
    assert check(wired(parts, feeds), problem).holds
    wrong = asked({"heater": And((Not(N), S)), "light": And((M, S))})
    defects = check(wired(parts, feeds), wrong).defects
    assert [d.counterexample.load for d in defects] == ["heater"]
    assert defects[0].message == ("goal 1: heater is off when the supply comes on; it must be on")
    # What comes with the supply is found so: no night falls then.
    wrong = asked({"heater": And((N, S, Not(M))), "light": And((M, S, Not(N)))})
    told = {d.message for d in check(wired(parts, feeds), wrong).defects}
    both = "when the supply comes on by night with master on; it must be off"
    assert told == {f"goal 1: heater is on {both}", f"goal 2: light is on {both}"}


def test_twelve_inputs_on_one_timer_cost_little():
    names = [f"s{i}" for i in range(11)]
    parts = [part(n, PartType.SENSOR, input=n, contact="make") for n in names]
    feeds, last = {f"{n}.in": "supply" for n in names}, "s0.out"
    for n in names[1:]:
        parts.append(part(f"or {n}", PartType.JOINT))
        feeds.update({f"or {n}.in1": last, f"or {n}.in2": f"{n}.out"})
        last = f"or {n}.out"
    parts += [part("T", PartType.ON_DELAY, time=5000), load("fan")]
    feeds.update({"T.in": "supply", "T.start": last, "fan.in": "T.out"})
    any_on = Or(tuple(Level(n) for n in names))
    problem = asked({"fan": OnDelay(And((any_on, S)), 5000, S)})
    verdict = check(wired(parts, feeds), problem)
    assert verdict.holds and verdict.states < 20
    late = check(wired(parts, feeds), asked({"fan": OnDelay(And((any_on, S)), 6000, S)}))
    shown = late.defects[0].counterexample
    assert [m.inputs for m in shown.moments] == [(("supply", True), ("s0", True)), ()]


def test_a_second_way_to_power_is_not_overlooked():
    # The goal does not mention `hot`, but the circuit lets it through beside the timer.
    design = wired(
        [
            part("T", PartType.ON_DELAY, time=5000),
            part("hot", PartType.SENSOR, input="hot", contact="make"),
            part("or", PartType.JOINT),
            load("lamp"),
        ],
        {
            "T.in": "supply",
            "T.start": "supply",
            "hot.in": "supply",
            "or.in1": "T.out",
            "or.in2": "hot.out",
            "lamp.in": "or.out",
        },
    )
    hot = OutsideInput("hot", InputKind.SENSOR)
    defect = check(design, asked({"lamp": OnDelay(S, 5000, S)}, hot)).defects[0]
    assert inputs(defect) == [(("supply", True), ("hot", True))]
    # Asked for both ways, all that is left is the blink when `hot` goes off as the timer picks up.
    either = asked({"lamp": Or((OnDelay(S, 5000, S), And((HOT, S))))})
    blink = check(design, either).defects
    assert [d.fault for d in blink] == [Fault.BLIP]
    assert (times(blink[0])[-1], inputs(blink[0])[-1]) == (5000, (("hot", False),))


# What is known of the inputs


def behind_delay(**known):
    design = wired(
        [
            part("b", PartType.PUSH_BUTTON, input="b", contact="make"),
            part("T", PartType.ON_DELAY, time=3000),
            load("lamp"),
        ],
        {"b.in": "supply", "T.in": "supply", "T.start": "b.out", "lamp.in": "T.out"},
    )
    return check(design, asked({"lamp": OFF}, OutsideInput("b", InputKind.BUTTON, **known)))


def test_press_that_lasts_at_most():
    assert not behind_delay().holds
    assert not behind_delay(most_on=3000).defects  # let go at the very instant: never picks up
    assert behind_delay(most_on=2000).holds
    assert not behind_delay(most_on=3001).holds


def after_the_first_day(**known):
    """A lamp that lights 3 s into each night for 1 s, once a day has been seen."""
    design = wired(
        [
            part("day", PartType.TWILIGHT, passes="day"),
            part("never", PartType.SENSOR, input="never", contact="make"),
            part("L", PartType.BISTABLE, wins="reset"),
            part("dusk", PartType.TWILIGHT, passes="night"),
            part("T", PartType.ON_DELAY, time=3000),
            part("U", PartType.PULSE, time=1000),
            load("lamp"),
        ],
        {
            "day.in": "supply",
            "never.in": "supply",
            "L.in": "supply",
            "L.set": "day.out",
            "L.reset": "never.out",
            "dusk.in": "L.out",
            "T.in": "supply",
            "T.start": "dusk.out",
            "U.in": "supply",
            "U.start": "T.out",
            "lamp.in": "U.out",
        },
    )
    seen = Latch(And((Not(N), S)), And((Level("never"), S)))
    late = OnDelay(And((N, S, seen)), 3000, S)
    wanted = And((N, S, Pulse(late, 1000, False, S)))
    steady = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    never = OutsideInput("never", InputKind.SENSOR, steady=False)
    night = OutsideInput("night", InputKind.NIGHT, **known)
    return check(design, asked({"lamp": wanted}, steady, never, night))


def test_night_that_lasts_at_least():
    # A night that ends while the lamp is lit breaks "only at night"; one of 4 s or more cannot.
    assert not after_the_first_day().holds
    assert not after_the_first_day(least_on=1000).holds
    assert not after_the_first_day(least_on=3999).holds
    assert after_the_first_day(least_on=4000).holds
    assert after_the_first_day(least_on=5 * 3_600_000).holds


def test_first_level_may_have_begun_long_ago():
    # What is known to last 4 s may have lasted most of them when the supply comes on.
    design = wired(
        [
            part("dusk", PartType.TWILIGHT, passes="night"),
            part("T", PartType.PULSE, time=3000),
            load("lamp"),
        ],
        {"dusk.in": "supply", "T.in": "supply", "T.start": "dusk.out", "lamp.in": "T.out"},
    )
    wanted = And((N, S, Pulse(And((N, S)), 3000, False, S)))
    night = OutsideInput("night", InputKind.NIGHT, least_on=4000)
    defect = check(design, asked({"lamp": wanted}, night)).defects[0]
    assert inputs(defect) == [(("supply", True), ("night", True)), (("night", False),)]


def test_never_together_and_steady_inputs():
    design = wired(
        [
            part("a", PartType.SENSOR, input="a", contact="make"),
            part("b", PartType.SENSOR, input="b", contact="make"),
            load("lamp"),
        ],
        {"a.in": "supply", "b.in": "a.out", "lamp.in": "b.out"},
    )
    assert not check(design, asked({"lamp": OFF}, *both_sensors())).holds
    apart = asked({"lamp": OFF}, *both_sensors(), never_together=(("a", "b"),))
    assert check(design, apart).holds
    steady = asked({"lamp": And((Level("a"), S))}, *both_sensors(b=True))
    assert check(design, steady).holds


def both_sensors(b: bool | None = None):
    return (
        OutsideInput("a", InputKind.SENSOR),
        OutsideInput("b", InputKind.SENSOR, steady=b),
    )


def test_supply_that_never_fails():
    # A latch keeps its position through a cut; a goal that forgets it fails only if there are cuts.
    design = wired(
        [
            part("a", PartType.SENSOR, input="a", contact="make"),
            part("b", PartType.SENSOR, input="b", contact="make"),
            part("L", PartType.BISTABLE, wins="reset"),
            load("lamp"),
        ],
        {
            "a.in": "supply",
            "b.in": "supply",
            "L.in": "supply",
            "L.set": "a.out",
            "L.reset": "b.out",
            "lamp.in": "L.out",
        },
    )
    wanted = {"lamp": Latch(And((Level("a"), S)), And((Level("b"), S)), False, S)}
    assert not check(design, asked(wanted)).holds
    steady = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    assert check(design, asked(wanted, steady)).holds


# Together, peak


def interlocked(first_goes: bool):
    parts = [
        part("a", PartType.SENSOR, input="a", contact="make"),
        part("b", PartType.SENSOR, input="b", contact="make"),
        load("up"),
        load("down"),
    ]
    feeds = {"a.in": "supply", "b.in": "supply", "up.in": "a.out", "down.in": "b.out"}
    if first_goes:
        parts.append(part("R", PartType.RELAY_BREAK))
        feeds.update({"R.in": "b.out", "R.coil": "a.out", "down.in": "R.out"})
    return wired(parts, feeds)


def test_apart_is_judged_at_every_settling_step():
    wanted = {"up": And((Level("a"), S)), "down": And((Level("b"), Not(Level("a")), S))}
    problem = asked(wanted, apart=(Apart("up", "down", 2),))
    defects = check(interlocked(True), problem).defects
    # For one step, before the relay has picked up, both are on.
    assert Fault.TOGETHER in {d.fault for d in defects}
    together = next(d for d in defects if d.fault is Fault.TOGETHER)
    assert together.goals == (2,)
    changing = {name for m in inputs(together) for name, _ in m}
    assert changing == {"supply", "a", "b"}


def test_peak_counts_loads_and_controls():
    wanted = {"up": And((Level("a"), S)), "down": And((Level("b"), S))}
    assert check(interlocked(False), asked(wanted, peak=Peak(2, 3))).holds
    defect = check(interlocked(False), asked(wanted, peak=Peak(1, 3))).defects[0]
    assert defect.fault is Fault.PEAK and defect.goals == (3,)
    assert defect.message.startswith("goal 3: 2 units are in use when")


def test_peak_of_loads_that_cannot_meet():
    # Apart they could use 2 units; since their inputs exclude each other they never do.
    wanted = {"up": And((Level("a"), S)), "down": And((Level("b"), S))}
    exclusive = {"never_together": (("a", "b"),)}
    assert check(interlocked(False), asked(wanted, peak=Peak(1, 3), **exclusive)).holds


# Held and instant


def blip_started(kit):
    """A timer started by a step-long blip: supply before a break relay whose coil is at supply."""
    return wired(
        [part("R", PartType.RELAY_BREAK, kit), part("A", PartType.PULSE, kit, time=10_000)]
        + [load("pump", kit=kit)],
        {
            "R.in": "supply",
            "R.coil": "supply",
            "A.in": "supply",
            "A.start": "R.out",
            "pump.in": "A.out",
        },
        kit,
    )


def test_a_held_trigger_does_not_see_a_blip():
    instant = dataclasses.replace(FULL, trigger=Trigger.INSTANT)
    once = Pulse(S, 10_000, False, S)
    assert check(blip_started(instant), asked({"pump": once}, kit=instant)).holds
    assert check(blip_started(FULL), asked({"pump": OFF})).holds


def test_an_edge_in_the_step_of_another_expiry():
    # E's start is live for one step only, when `hot` comes on as A expires. Held: not seen.
    def design(kit):
        return wired(
            [
                part("A", PartType.PULSE, kit, time=5000),
                part("hot", PartType.SENSOR, kit, input="hot", contact="make"),
                part("E", PartType.PULSE, kit, time=9000),
                load("lamp", kit=kit),
            ],
            {
                "A.in": "supply",
                "A.start": "supply",
                "hot.in": "A.out",
                "E.in": "supply",
                "E.start": "hot.out",
                "lamp.in": "E.out",
            },
            kit,
        )

    wanted = {"lamp": Pulse(And((HOT, Pulse(S, 5000, False, S))), 9000, False, S)}
    assert check(design(FULL), asked(wanted)).holds
    instant = dataclasses.replace(FULL, trigger=Trigger.INSTANT)
    defect = check(design(instant), asked(wanted, kit=instant)).defects[0]
    assert times(defect) == [0, 5000]
    assert inputs(defect)[1] == (("hot", True),)


# Counterexamples


def test_counterexample_between_seconds():
    # Only an input that changes inside one millisecond shows the difference.
    design = wired(
        [
            part("hot", PartType.SENSOR, input="hot", contact="make"),
            part("A", PartType.PULSE, time=1000),
            part("B", PartType.RETRIGGERABLE, time=1000),
            load("lamp"),
        ],
        {
            "hot.in": "supply",
            "A.in": "supply",
            "B.in": "supply",
            "A.start": "hot.out",
            "B.start": "hot.out",
            "lamp.in": "B.out",
        },
    )
    problem = asked({"lamp": Pulse(And((HOT, S)), 1000, False, S)})
    defect = check(design, problem).defects[0]
    shown = defect.counterexample
    # On, off and on again within one second: times on a grid finer than whole seconds.
    assert [len(m.inputs) > 0 for m in shown.moments].count(True) == 3
    assert shown.moments[-1].time == 1000
    assert any(m.time.denominator == 1 and m.time % 1000 for m in shown.moments)
    end = shown.moments[-1].time
    got = next(
        t for t in simulate(design, problem, shown.moments, end + 1).tracks if t.name == "lamp"
    )
    assert (
        got.level(end) is shown.got is not wanted_levels(problem, shown.moments, end)["lamp"][-1][1]
    )


def test_counterexample_below_a_tick():
    fine = dataclasses.replace(
        FULL,
        parts=tuple(
            dataclasses.replace(p, times=dataclasses.replace(p.times, least=1, step=1))
            if p.times
            else p
            for p in FULL.parts
        ),
    )
    design = wired(
        [part("hot", PartType.SENSOR, fine, input="hot", contact="make")]
        + [part("B", PartType.RETRIGGERABLE, fine, time=1), load("lamp", kit=fine)],
        {"hot.in": "supply", "B.in": "supply", "B.start": "hot.out", "lamp.in": "B.out"},
        fine,
    )
    problem = asked({"lamp": Pulse(And((HOT, S)), 1, False, S)}, kit=fine)
    shown = check(design, problem).defects[0].counterexample
    assert shown.moments[-1].time == 1
    assert any(m.time.denominator > 1 for m in shown.moments)


def test_trace_shows_the_run_and_the_fault():
    problem = asked({"pump": Cycle(S, 10_000, 40_000)}, kit=STARTER)
    trace = check(pump_cycle(10_000, 60_000), problem).defects[0].counterexample.trace
    assert [t.role for t in trace.tracks].count("timer") == 2
    assert trace.end > 50_000
    assert trace.marks[-1][0] == 50_000


def test_undecided_rather_than_claimed():
    problem = asked({"pump": Cycle(S, 10_000, 50_000)}, kit=STARTER)
    with pytest.raises(Undecided):
        check(pump_cycle(10_000, 60_000), problem, most_states=2)
    with pytest.raises(Undecided):
        check(pump_cycle(10_000, 60_000), problem, deadline=time.monotonic() - 1)


def test_stop_at_first_gives_one_defect():
    problem = asked({"up": S, "down": S}, *both_sensors())
    assert len(check(interlocked(False), problem, stop_at_first=True).defects) == 1
    assert len(check(interlocked(False), problem).defects) >= 2


def test_same_input_same_verdict():
    problem = asked({"pump": Cycle(And((M, S)), 10_000, 50_000)}, kit=STARTER)
    first, second = (check(cutoff(True), problem) for _ in range(2))
    assert first.defects == second.defects and first.states == second.states


def test_simulate_names_unknown_inputs_and_bad_moments():
    design, problem = pump_cycle(10_000, 60_000), asked({"pump": S}, kit=STARTER)
    with pytest.raises(DesignError, match="no input"):
        simulate(design, problem, [Moment(Fraction(0), (("suply", True),))], 1000)
    with pytest.raises(DesignError, match="before 0"):
        simulate(design, problem, [Moment(Fraction(-1), (("supply", True),))], 1000)


def test_an_input_that_changes_without_the_supply_is_told_as_such():
    """That night falls is no more told as how things are found."""
    problem = asked({"heater": And((N, S))})
    moments = (Moment(Fraction(0), (("night", True),)), Moment(Fraction(5_000), ()))
    assert when_in_words(problem, moments[:1]) == "when night falls"
    assert when_in_words(problem, moments) == "5 s after night falls"


def test_three_things_found_as_the_supply_comes_on_are_a_list():
    problem = asked({"fan": And((HOT, S))})
    found = tuple((name, True) for name in ("supply", "hot", "wet", "master"))
    told = "when the supply comes on with hot, wet and master on"
    assert when_in_words(problem, (Moment(Fraction(0), found),)) == told
