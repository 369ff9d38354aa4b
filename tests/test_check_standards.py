"""The parts against published behaviour: timers, latches, edges, hazards and races.

Values are from the standards and papers named beside each check. "Worked out" means computed
from the rules of the source, since its diagrams give no numbers.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from check_designs import FULL, asked, load, part, wired

from synth.check import check, simulate
from synth.parts.behaviour import PartType
from synth.problem import InputKind, OutsideInput
from synth.result import Fault
from synth.signals import OFF, And, Level, Not, Or
from synth.trace import Moment

S = Level("supply")


def run_one(kind: PartType, terminals: dict[str, str], changes: str, end: int, **settings) -> str:
    """Return the lamp's edges ("+0 -5", seconds) behind one part driven by sensors."""
    sensors = sorted({name for name in terminals.values() if name != "supply"})
    parts = [part(f"s {n}", PartType.SENSOR, input=n, contact="make") for n in sensors]
    feeds = {f"s {n}.in": "supply" for n in sensors}
    parts += [part("P", kind, **settings), load("lamp")]
    feeds.update(
        {f"P.{t}": "supply" if n == "supply" else f"s {n}.out" for t, n in terminals.items()}
    )
    feeds["lamp.in"] = "P.out"
    design = wired(parts, feeds)
    problem = asked(
        {"lamp": OFF},
        OutsideInput("supply", InputKind.SUPPLY),
        *(OutsideInput(n, InputKind.SENSOR) for n in sensors),
    )
    trace = simulate(design, problem, moments(changes), end * 1000)
    lamp = next(t for t in trace.tracks if t.name == "lamp")
    edges = [(0, True)] if lamp.start else []
    edges += [(int(time) // 1000, level) for time, level in lamp.changes]
    return " ".join(f"{'+' if level else '-'}{time}" for time, level in edges)


def moments(text: str) -> list[Moment]:
    """Read "supply+0 in+0 in-8" (seconds)."""
    result = []
    for word in text.split():
        sign = "+" if "+" in word else "-"
        name, time = word.split(sign)
        result.append(Moment(Fraction(int(time) * 1000), ((name, sign == "+"),)))
    return result


IN = "supply+0 in+0 in-8 in+10 in-12 in+13 in-14 in+20 in-30"


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        (PartType.PULSE, "+0 -5 +10 -15 +20 -25"),
        (PartType.ON_DELAY, "+5 -8 +25 -30"),
        (PartType.OFF_DELAY, "+0 -19 +20 -35"),
    ],
)
def test_timers_follow_iec_61131_3(kind, expected):
    # IEC 61131-3:2013, 6.6.3.5, Table 46 and Fig. 15, PT = 5; outputs worked out from its rules.
    assert run_one(kind, {"in": "supply", "start": "in"}, IN, 40, time=5000) == expected


def test_retriggerable_pulse_is_timed_from_the_last_edge():
    # Not in IEC 61131-3. From its rule: T after the last rising edge; edges 0, 10, 13, 20.
    got = run_one(PartType.RETRIGGERABLE, {"in": "supply", "start": "in"}, IN, 40, time=5000)
    assert got == "+0 -5 +10 -18 +20 -25"


@pytest.mark.parametrize(
    ("kind", "expected"),
    [(PartType.PULSE, "+0 -5"), (PartType.ON_DELAY, ""), (PartType.OFF_DELAY, "+0 -10")],
)
def test_input_exactly_as_wide_as_the_time(kind, expected):
    # Not settled by the diagrams of IEC 61131-3; fixed here: an on-delay does not pick up when
    # its input falls at the very instant, since the circuit settles with the new level.
    got = run_one(kind, {"in": "supply", "start": "in"}, "supply+0 in+0 in-5", 20, time=5000)
    assert got == expected


def test_edge_at_the_very_end_of_a_pulse_begins_a_new_one():
    # Own rule: the expiry is seen first, then the edge; no gap (from the semantics, no source).
    got = run_one(
        PartType.PULSE, {"in": "supply", "start": "in"}, "supply+0 in+0 in-2 in+5", 20, time=5000
    )
    assert got == "+0 -10"


def test_timer_due_as_power_is_lost_is_lost():
    got = run_one(
        PartType.ON_DELAY,
        {"in": "power", "start": "in"},
        "supply+0 power+0 in+0 power-5 power+6",
        20,
        time=5000,
    )
    assert got == "+11"


@pytest.mark.parametrize(("wins", "both"), [("set", "+1 -7 +9"), ("reset", "+1 -2 +9")])
def test_latches_follow_iec_61131_3(wins, both):
    # IEC 61131-3:2013, Table 43: SR: Q1 := S1 OR (NOT R AND Q1); RS: Q1 := NOT R1 AND (S OR Q1).
    # Set 1..3, reset 2..4 (both at 2), then both 5..6 from set first, reset 7, set 9 and held.
    changes = {
        "set": "supply+0 s+1 r+2 r-4 s-6 r+7 r-8 s+9 s-10",
        "reset": "supply+0 s+1 r+2 s-3 r-4 s+9 s-10",
    }[wins]
    terminals = {"in": "supply", "set": "s", "reset": "r"}
    assert run_one(PartType.BISTABLE, terminals, changes, 20, wins=wins) == both


def test_edge_at_cold_start_counts():
    # IEC 61131-3:2013, Table 44, R_TRIG: CLK = 1 at cold start gives one pulse.
    got = run_one(PartType.PULSE, {"in": "supply", "start": "supply"}, "supply+3", 20, time=5000)
    assert got == "+3 -8"


def test_delayed_pick_up_and_drop_out():
    # IEC 60050-351, delay element t1 = 3, t2 = 2: IN +0 -10 gives Q +3 -12; a pulse shorter than
    # t1 gives none.
    design = wired(
        [
            part("in", PartType.SENSOR, input="in", contact="make"),
            part("T1", PartType.ON_DELAY, time=3000),
            part("T2", PartType.OFF_DELAY, time=2000),
            load("lamp"),
        ],
        {
            "in.in": "supply",
            "T1.in": "supply",
            "T2.in": "supply",
            "T1.start": "in.out",
            "T2.start": "T1.out",
            "lamp.in": "T2.out",
        },
    )
    problem = asked({"lamp": Level("in")})
    trace = simulate(design, problem, moments("supply+0 in+0 in-10 in+20 in-22"), 40_000)
    lamp = next(t for t in trace.tracks if t.name == "lamp")
    assert [(int(t), level) for t, level in lamp.changes] == [(3000, True), (12_000, False)]


@pytest.mark.parametrize(
    ("first", "expected"),
    [("pulse", "+0 -10 +60 -70 +120"), ("pause", "+50 -60 +110 -120")],
)
def test_recycler(first, expected):
    # IEC 60050-445 (cyclic timer), on 10, off 50: pulse first on [0,10), [60,70); pause first on
    # [50,60), [110,120).
    got = run_one(
        PartType.RECYCLER, {"in": "supply"}, "supply+0", 121, on=10_000, off=50_000, first=first
    )
    assert got == expected


def test_recycler_starts_afresh_after_a_cut():
    # From memory: supply dropped and restored, the phase starts again.
    got = run_one(
        PartType.RECYCLER,
        {"in": "supply"},
        "supply+0 supply-5 supply+7",
        30,
        on=10_000,
        off=50_000,
        first="pulse",
    )
    assert got == "+0 -5 +7 -17"


def test_impulse_relay():
    # IEC 60050-445 words for a remanent change-over: S +0 +3 +7 gives Q +0 -3 +7.
    got = run_one(
        PartType.IMPULSE,
        {"in": "supply", "pulse": "s"},
        "supply+0 s+0 s-1 s+3 s-4 s+7 s-8",
        20,
    )
    assert got == "+0 -3 +7"


# Eichelberger, Hazard detection in combinational and sequential switching circuits, IBM J. 1965.


def sensor(name: str):
    return part(name, PartType.SENSOR, input=name, contact="make")


def hazard(covered: bool):
    """f = a b + a' c, the a' by a relay; `covered` adds b c."""
    parts = [part("a again", PartType.SENSOR, input="a", contact="make"), sensor("a")]
    parts += [sensor("b"), sensor("c"), part("not a", PartType.RELAY_BREAK)]
    parts += [part("or", PartType.JOINT), load("f")]
    feeds = {
        "a again.in": "supply",
        "not a.coil": "a again.out",
        "a.in": "b.out",
        "b.in": "supply",
        "c.in": "supply",
        "not a.in": "c.out",
        "or.in1": "a.out",
        "or.in2": "not a.out",
        "f.in": "or.out",
    }
    if covered:
        parts += [part("c again", PartType.SENSOR, input="c", contact="make")]
        parts += [part("or more", PartType.JOINT)]
        feeds.update(
            {
                "c again.in": "b.out",
                "or more.in1": "or.out",
                "or more.in2": "c again.out",
                "f.in": "or more.out",
            }
        )
    return wired(parts, feeds)


def test_static_hazard_blinks():
    # Eichelberger 1965: f = ab + a'c, abc 111 -> 011, Algorithm A gives 1/2: static hazard.
    a, b, c = Level("a"), Level("b"), Level("c")
    wanted = And((S, Or((And((a, b)), And((Not(a), c))))))
    problem = asked({"f": wanted})
    change = moments("supply+0 a+0 b+0 c+0 a-1")
    assert (Fraction(1000), "f blinks") in simulate(hazard(False), problem, change, 3000).marks
    # The same with bc added: clean.
    marks = simulate(hazard(True), problem, change, 3000).marks
    assert not [mark for mark in marks if mark[0] == 1000]
    verdict = check(hazard(False), problem)
    assert [d.fault for d in verdict.defects] == [Fault.BLIP]


def test_static_hazard_is_shown_at_its_shortest():
    # Beyond the paper: with a relay for a', power that returns while a and c are on makes f
    # blink too, before the relay has picked up; that is a shorter way than 111 -> 011.
    a, b, c = Level("a"), Level("b"), Level("c")
    problem = asked({"f": And((S, Or((And((a, b)), And((Not(a), c))))))})
    shown = check(hazard(False), problem).defects[0].counterexample
    assert [m.inputs for m in shown.moments] == [(("supply", True), ("a", True), ("c", True))]


def cross_coupled():
    """Two break relays, each with its contact before the other's coil, behind sensor x."""
    return wired(
        [sensor("x"), part("Y1", PartType.RELAY_BREAK), part("Y2", PartType.RELAY_BREAK)]
        + [load("lamp")],
        {
            "x.in": "supply",
            "Y1.in": "x.out",
            "Y2.in": "x.out",
            "Y1.coil": "Y2.out",
            "Y2.coil": "Y1.out",
            "lamp.in": "supply",
        },
    )


def test_cross_coupled_relays_never_settle_together():
    # Eichelberger 1965: y1 = x y2', y2 = x y1', x rises: 1/2 1/2, a critical race. Moving
    # together the two relays swap for ever.
    verdict = check(cross_coupled(), asked({"lamp": S}, OutsideInput("x", InputKind.SENSOR)))
    assert [d.fault for d in verdict.defects] == [Fault.CHATTER]
    assert "Y1" in verdict.defects[0].message and "Y2" in verdict.defects[0].message


def test_relay_that_opens_its_own_coil_buzzes():
    # Eichelberger 1965: y = x y', x rises: no stable state.
    design = wired(
        [sensor("x"), part("Y", PartType.RELAY_BREAK), load("lamp")],
        {"x.in": "supply", "Y.in": "x.out", "Y.coil": "Y.out", "lamp.in": "supply"},
    )
    verdict = check(design, asked({"lamp": S}, OutsideInput("x", InputKind.SENSOR)))
    assert [d.fault for d in verdict.defects] == [Fault.CHATTER]
    assert verdict.defects[0].counterexample.moments[-1].inputs[-1] == ("x", True)


def nor_latch():
    """q1 = not (s or q2), q2 = not (r or q1), with break relays and joints."""
    return wired(
        [sensor("s"), sensor("r"), part("Q1", PartType.RELAY_BREAK)]
        + [part("Q2", PartType.RELAY_BREAK), part("or1", PartType.JOINT)]
        + [part("or2", PartType.JOINT), load("lamp")],
        {
            "s.in": "supply",
            "r.in": "supply",
            "Q1.in": "supply",
            "Q2.in": "supply",
            "or1.in1": "s.out",
            "or1.in2": "Q2.out",
            "or2.in1": "r.out",
            "or2.in2": "Q1.out",
            "Q1.coil": "or1.out",
            "Q2.coil": "or2.out",
            "lamp.in": "supply",
        },
    )


def test_nor_latch():
    # Eichelberger 1965, NOR latch: SR 11 -> 00 is a critical race; 01 -> 10 is clean.
    inputs = [OutsideInput(n, InputKind.SENSOR) for n in ("s", "r")]
    trace = simulate(
        nor_latch(),
        asked({"lamp": S}, *inputs),
        [
            Moment(Fraction(0), (("supply", True), ("s", True), ("r", True))),
            Moment(Fraction(1000), (("s", False), ("r", False))),
        ],
        5000,
    )
    assert any("never settles" in text for _, text in trace.marks)
    trace = simulate(
        nor_latch(),
        asked({"lamp": S}, *inputs),
        [
            Moment(Fraction(0), (("supply", True), ("r", True))),
            Moment(Fraction(1000), (("s", True), ("r", False))),
        ],
        5000,
    )
    assert not trace.marks
    levels = {t.name: t.level(Fraction(2000)) for t in trace.tracks}
    assert levels["Q1"] and not levels["Q2"]


def raced(covered: bool = False):
    """A latch whose set passes two relay contacts that change over as `x` does: make and break."""
    parts = [sensor("x"), part("M", PartType.RELAY_MAKE), part("B", PartType.RELAY_BREAK)]
    parts += [part("L", PartType.BISTABLE, wins="reset"), load("lamp")]
    feeds = {
        "x.in": "supply",
        "M.coil": "x.out",
        "B.coil": "x.out",
        "B.in": "supply",
        "M.in": "B.out",
        "L.in": "supply",
        "L.set": "M.out",
        "L.reset": "supply" if covered else "x.out",
        "lamp.in": "L.out",
    }
    if not covered:
        parts.append(part("no reset", PartType.SENSOR, input="y", contact="make"))
        feeds.update({"no reset.in": "supply", "L.reset": "no reset.out"})
    return wired(parts, feeds)


def test_critical_race_names_two_orders():
    # Huffman, The synthesis of sequential switching circuits, 1954: a critical race.
    inputs = [OutsideInput("x", InputKind.SENSOR), OutsideInput("y", InputKind.SENSOR)]
    verdict = check(raced(), asked({"lamp": OFF}, *inputs))
    assert [d.fault for d in verdict.defects] == [Fault.RACE]
    first, second = verdict.defects[0].counterexample.orders
    assert "M and B" in first
    assert second.startswith("M, then")
    assert "no load" in first and "lamp on" in second


def test_race_without_consequence_is_no_defect():
    # The latch is held reset, so the order of the relays does not show.
    inputs = [OutsideInput("x", InputKind.SENSOR)]
    assert check(raced(covered=True), asked({"lamp": OFF}, *inputs)).holds


def test_full_kit_says_held():
    assert FULL.trigger.value == "held"
