"""Everything that can be wrong with the build of a design, and the sentence each earns."""

from __future__ import annotations

import dataclasses

import pytest
from check_designs import FULL, asked, load, part, wired

from synth.check import amounts, check, structure
from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import PartType
from synth.problem import InputKind, Limits, OutsideInput
from synth.result import Fault
from synth.signals import And, Level

S = Level("supply")


def good() -> Design:
    return wired(
        [
            part("master", PartType.SWITCH, input="master", contact="make"),
            part("R", PartType.RELAY_MAKE),
            part("T", PartType.PULSE, time=5000),
            load("lamp", 2),
        ],
        {
            "master.in": "supply",
            "R.in": "supply",
            "R.coil": "master.out",
            "T.in": "supply",
            "T.start": "R.out",
            "lamp.in": "T.out",
        },
    )


def problem(**limits):
    wanted = {"lamp": And((Level("master"), S))}
    found = asked(wanted, OutsideInput("master", InputKind.SWITCH), needs=2)
    return dataclasses.replace(found, limits=Limits(**limits))


def without(design: Design, name: str) -> Design:
    return dataclasses.replace(design, parts=tuple(p for p in design.parts if p.name != name))


def plus(design: Design, *parts: PartInUse) -> Design:
    return dataclasses.replace(design, parts=(*design.parts, *parts))


def rewired(design: Design, target: str, source: str) -> Design:
    name, _, terminal = target.rpartition(".")
    from_name, _, from_terminal = source.rpartition(".")
    return dataclasses.replace(
        design,
        wires=tuple(
            dataclasses.replace(w, source=Terminal(from_name, from_terminal))
            if w.target == Terminal(name, terminal)
            else w
            for w in design.wires
        ),
    )


def reset(design: Design, name: str, **settings: str | int) -> Design:
    return dataclasses.replace(
        design,
        parts=tuple(
            dataclasses.replace(p, settings=tuple(settings.items())) if p.name == name else p
            for p in design.parts
        ),
    )


def unwired(design: Design, target: str) -> Design:
    name, _, terminal = target.rpartition(".")
    return dataclasses.replace(
        design, wires=tuple(w for w in design.wires if w.target != Terminal(name, terminal))
    )


def wire_added(design: Design, source: str, target: str, number: int = 99) -> Design:
    ends = [Terminal(*end.rsplit(".", 1)) for end in (source, target)]
    return dataclasses.replace(design, wires=(*design.wires, Wire(number, *ends)))


WRONG = [
    (lambda d: unwired(d, "lamp.in"), "input left open: lamp:in has no wire"),
    (lambda d: unwired(d, "R.coil"), "input left open: R:coil has no wire"),
    (lambda d: wire_added(d, "T.out", "T.start"), "T:out feeds 2 wires"),
    (lambda d: wire_added(d, "tap 9.rest", "R.in"), "'tap 9', which is no part"),
    (lambda d: wire_added(d, "R.uot", "T.in"), "names R:uot; 'R' has only coil, in, out"),
    (lambda d: wire_added(d, "R.coil", "T.in"), "starts at R:coil, which is an input"),
    (lambda d: rewired(d, "lamp.in", "lamp.in"), "starts at lamp:in, which is an input"),
    (lambda d: wire_added(d, "T.out", "lamp.in"), "2 wires end on lamp:in; use a joint"),
    (lambda d: wire_added(d, "tap 2.rest", "lamp.in", 1), "2 wires have the number 1"),
    (lambda d: rewired(d, "R.in", "T.out"), "feeds 2 wires"),
    (lambda d: without(d, "supply"), "exactly one supply; this one has none"),
    (lambda d: plus(d, part("more", PartType.SUPPLY, units=1)), "this one has 2"),
    (lambda d: plus(d, d.parts[1]), "2 parts are called 'master'"),
    (lambda d: without(d, "lamp"), "the load 'lamp' is missing"),
    (lambda d: plus(d, load("lamb", 2)), "the load 'lamb' is in no goal (loads: lamp)"),
    (lambda d: reset(d, "T"), "'T' needs the setting 'time'"),
    (lambda d: reset(d, "T", time=1500), "'T' has time 1 s 500 ms; 'pulse timer' can be set from"),
    (lambda d: reset(d, "T", time=5000, tmie=3), "has a setting 'tmie'"),
    (lambda d: reset(d, "master", contact="make"), "'master' needs the setting 'input'"),
    (lambda d: reset(d, "master", input="master", contact="mkae"), "contact 'mkae'"),
    (lambda d: reset(d, "master", input="master"), "needs the setting 'contact': make or break"),
    (lambda d: reset(d, "master", input="mister", contact="make"), "follows 'mister'"),
    (lambda d: reset(d, "supply", units=0), "'supply' needs the setting 'units'"),
    (lambda d: reset(d, "tap 1", units=10**9), "from 1 to 999"),
    (lambda d: reset(d, "lamp", needs=1), "'lamp' is said to need 1, but it needs 2 units"),
    (
        lambda d: plus(d, PartInUse("X", PartType.RELAY_MAKE, "realy")),
        "'X' is a 'realy', which the kit 'full' does not have",
    ),
    (
        lambda d: plus(d, PartInUse("X", PartType.RELAY_BREAK, "relay make")),
        "'X' is called a relay-break, but the kit's 'relay make' is a relay-make",
    ),
    (
        lambda d: plus(d, part("again", PartType.SWITCH, input="master", contact="break")),
        "both follow 'master', which is one lever",
    ),
    (
        lambda d: plus(d, part("eye", PartType.SENSOR, input="master", contact="make")),
        "'eye' is a sensor, but 'master' is followed by a switch",
    ),
    (
        lambda d: plus(d, part("eye", PartType.SENSOR, input="supply", contact="make")),
        "is the supply itself",
    ),
]


@pytest.mark.parametrize(("break_it", "sentence"), WRONG, ids=[s for _, s in WRONG])
def test_each_mistake_has_its_sentence(break_it, sentence):
    design = break_it(good())
    defects = structure(design, FULL, problem())
    assert any(d.fault is Fault.STRUCTURE and sentence in d.message for d in defects), defects
    verdict = check(design, problem())
    assert not verdict.holds and verdict.states == 0


def test_a_good_build_has_no_defects():
    assert structure(good(), FULL, problem()) == ()
    assert structure(good(), FULL) == ()


def test_power_in_a_loop_names_the_loop():
    design = wired(
        [part("A", PartType.RELAY_MAKE), part("B", PartType.RELAY_MAKE), load("lamp")],
        {
            "A.in": "supply",
            "A.coil": "supply",
            "B.in": "A.out",
            "B.coil": "supply",
            "lamp.in": "B.out",
        },
    )
    looped = rewired(design, "A.in", "B.out")
    sentences = [d.message for d in structure(looped, FULL)]
    assert "power runs in a loop through A, B and back to A; only controls may loop" in sentences
    assert amounts(looped, FULL).get(Terminal("lamp", "in")) is None


@pytest.mark.parametrize(
    ("limits", "sentence"),
    [
        ({"most": (("relay make", 0),)}, "uses 1 of 'relay make'; the limits allow none"),
        ({"supply": 3}, "the supply is set to 4 units; at most 3 are allowed"),
        ({"price": 10}, "at most 10 is allowed"),
    ],
)
def test_limits(limits, sentence):
    defects = structure(good(), FULL, problem(**limits))
    assert [d.fault for d in defects] == [Fault.LIMIT]
    assert sentence in defects[0].message
    assert not check(good(), problem(**limits), stop_at_first=True).holds


def test_the_kit_may_have_only_so_many():
    few = dataclasses.replace(
        FULL,
        parts=tuple(
            dataclasses.replace(p, most=1) if p.type is PartType.TAP_OFF else p for p in FULL.parts
        ),
    )
    assert len([p for p in good().parts if p.type is PartType.TAP_OFF]) > 1
    assert any("the kit has 1" in d.message for d in structure(good(), few))


# Units


def shared(units: int, outputs: int) -> tuple[Design, list[int]]:
    """A divider with `outputs` lamps connected to it."""
    names = [f"lamp{i}" for i in range(1, outputs + 1)]
    supply = part("supply", PartType.SUPPLY, units=units)
    divider = part("D", PartType.DIVIDER)
    wires = [Wire(1, Terminal("supply", "out"), Terminal("D", "in"))]
    wires += [
        Wire(i + 2, Terminal("D", f"out{i + 1}"), Terminal(n, "in")) for i, n in enumerate(names)
    ]
    design = Design("full", (supply, divider, *(load(n) for n in names)), tuple(wires))
    fed = amounts(design, FULL)
    return design, [fed[Terminal(n, "in")] for n in names]


@pytest.mark.parametrize(
    ("units", "outputs", "shares"),
    [
        # Common practice, no source.
        (4, 3, [2, 1, 1]),
        (5, 3, [2, 2, 1]),
        (6, 3, [2, 2, 2]),
        # Graham, Knuth, Patashnik, Concrete Mathematics, eq. 3.24: ceil((n - i + 1) / m).
        (7, 3, [-(-7 // 3), -(-6 // 3), -(-5 // 3)]),
        # Over the connected outputs only; the third stays open.
        (5, 2, [3, 2]),
    ],
)
def test_divider_shares_equally(units, outputs, shares):
    design, got = shared(units, outputs)
    assert got == shares
    assert structure(design, FULL) == ()


def test_too_few_units_are_named():
    design, got = shared(2, 3)
    assert got == [1, 1, 0]
    messages = [d.message for d in structure(design, FULL)]
    assert messages == [
        "lamp3:in gets 0 units, but needs 1",
        "the supply may be set too small: 2 units for consumers that use 3 when all are live",
    ]


def test_tap_off_and_joint():
    design = wired(
        [
            part("a", PartType.SENSOR, input="a", contact="make"),
            part("b", PartType.SENSOR, input="b", contact="make"),
            part("or", PartType.JOINT),
            load("lamp", 2),
        ],
        {
            "a.in": "supply",
            "b.in": "supply",
            "or.in1": "a.out",
            "or.in2": "b.out",
            "lamp.in": "or.out",
        },
    )
    fed = amounts(design, FULL)
    # A joint counts for the least of its sources: 2 of 4 units come this way.
    assert fed[Terminal("or", "in1")] == fed[Terminal("or", "in2")] == 2
    assert fed[Terminal("lamp", "in")] == 2
    starved = reset(design, "tap 1", units=1)
    assert amounts(starved, FULL)[Terminal("lamp", "in")] == 1
    assert any("lamp:in gets 1 unit, but needs 2" in d.message for d in structure(starved, FULL))


def test_stated_units_must_be_right():
    design, _ = shared(4, 3)
    stated = dataclasses.replace(
        design, wires=tuple(dataclasses.replace(w, units=2) for w in design.wires)
    )
    messages = [d.message for d in structure(stated, FULL)]
    assert "wire 1 is said to carry 2 units; it carries 4" in messages
    assert "wire 2 is said" not in " ".join(messages)
    assert "wire 3 is said to carry 2 units; it carries 1" in messages


def test_a_long_chain_of_parts_is_no_trouble():
    parts, feeds, last = [], {}, "supply"
    for i in range(3000):
        parts.append(part(f"s{i}", PartType.SENSOR, input="a", contact="make"))
        feeds[f"s{i}.in"] = last
        last = f"s{i}.out"
    supply = part("supply", PartType.SUPPLY, units=1)
    wires = [
        Wire(
            i + 1,
            Terminal(*source.rsplit(".", 1)) if "." in source else Terminal("supply", "out"),
            Terminal(*target.rsplit(".", 1)),
        )
        for i, (target, source) in enumerate({**feeds, "lamp.in": last}.items())
    ]
    design = Design("full", (supply, *parts, load("lamp")), tuple(wires))
    assert check(design, asked({"lamp": And((Level("a"), S))})).holds
