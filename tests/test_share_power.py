"""Sharing the power of whole wirings: against full enumeration and common practice."""

from __future__ import annotations

import itertools
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from share_enumeration import KITS, divider, fitted, kit_of, serves, tap, trees

from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.errors import DesignError
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.parts.sharing import equal_share, tap_off
from synth.problem import Limits, Objective
from synth.read.kit_file import load_kit
from synth.share import least_units, share_power

STARTER = load_kit("starter")
FULL = load_kit("full")
PRICE, SUPPLY, WIRES = Objective.PRICE, Objective.SUPPLY, Objective.WIRES


def wiring(kit: Kit, parts: dict[str, str], *feeds: str, **needs: int) -> Skeleton:
    """Return a skeleton from {name: kit part} and wires written "from > to, to"."""
    used = []
    for name, line in parts.items():
        need = (("needs", needs[name]),) if name in needs else ()
        used.append(PartInUse(name, kit.index[line].type, line, need))
    wires = []
    for feed in feeds:
        source, targets = feed.split(" > ")
        for target in targets.split(", "):
            wires.append((Terminal(*source.split(":")), Terminal(*target.split(":"))))
    return Skeleton(kit.name, tuple(used), tuple(wires))


def delivered(design: Design, kit: Kit) -> dict[Terminal, int]:
    """Return what arrives at every input, computed from the wires alone."""
    wires = {wire.source: wire.target for wire in design.wires}
    assert len(wires) == len(design.wires), "an output feeds two wires"
    assert len({wire.target for wire in design.wires}) == len(design.wires)
    arriving: dict[Terminal, int] = {}
    todo = [(Terminal(p.name, "out"), design.supply) for p in design.parts
            if p.type is PartType.SUPPLY]
    while todo:
        source, units = todo.pop()
        if source not in wires:
            continue
        target = wires[source]
        arriving[target] = units
        part = design.part(target.part)
        shape = kit.index[part.part].shape
        if target.terminal not in shape.power:
            continue
        inputs = [arriving.get(Terminal(part.name, t)) for t in shape.power]
        if any(amount is None for amount in inputs):
            continue
        amount = min(a for a in inputs if a is not None)
        outputs = [Terminal(part.name, t) for t in shape.outputs]
        if part.type is PartType.TAP_OFF:
            setting = part.setting("units")
            assert isinstance(setting, int)
            todo += zip(outputs, tap_off(amount, setting), strict=True)
        elif part.type is PartType.DIVIDER:
            outputs = [o for o in outputs if o in wires]
            todo += zip(outputs, equal_share(amount, len(outputs)), strict=True)
        else:
            todo += [(output, amount) for output in outputs]
    return arriving


def assert_well_shared(design: Design, skeleton: Skeleton, kit: Kit) -> None:
    """Every input has one wire, carries what it says and gets what it needs."""
    got = delivered(design, kit)
    for part in design.parts:
        line = kit.index[part.part]
        for terminal in line.shape.power + line.shape.controls:
            place = Terminal(part.name, terminal)
            assert place in got, f"{place} is open"
            need = line.units if terminal in line.shape.controls else 0
            if part.type is PartType.LOAD:
                need = int(part.setting("needs") or line.units)
            if part.type is PartType.PULSE:
                need = max(need, 1)
            assert got[place] >= need
    assert {wire.target: wire.units for wire in design.wires} == got
    assert [wire.number for wire in design.wires] == list(range(1, len(design.wires) + 1))
    # The wires that were asked for are there, splitting parts in between or not.
    behind = {wire.target: wire.source for wire in design.wires}

    def origin(terminal: Terminal) -> Terminal:
        source = behind[terminal]
        if design.part(source.part).type in (PartType.TAP_OFF, PartType.DIVIDER):
            return origin(Terminal(source.part, "in"))
        return source

    for source, target in skeleton.feeds:
        assert origin(target) == source
    # Each part's power input is wired before its outputs are.
    done: set[str] = set()
    for wire in design.wires:
        if design.part(wire.source.part).type not in (PartType.SUPPLY, PartType.JOINT):
            assert wire.source.part in done
        if wire.target.terminal in kit.index[design.part(wire.target.part).part].shape.power:
            done.add(wire.target.part)


PUMP = wiring(
    STARTER,
    {
        "supply": "supply", "relay": "relay break", "short": "pulse timer",
        "long": "pulse timer", "pump": "load",
    },
    "supply:out > relay:in, short:in, long:in",
    "relay:out > short:start",
    "short:out > pump:in, long:start",
    "long:out > relay:coil",
)  # fmt: skip


def test_two_pulse_timers_in_a_loop_need_four_units() -> None:
    # Common practice, no source: pump 1, two starts 1 each, one coil 1.
    assert least_units(PUMP, STARTER) == 4
    design = share_power(PUMP, STARTER)
    assert design is not None
    assert_well_shared(design, PUMP, STARTER)
    assert design.supply == 4
    assert design.price(STARTER) == 4 + 8 + 8 + 3 + 2
    assert share_power(PUMP, STARTER, limits=Limits(supply=3)) is None
    assert share_power(PUMP, STARTER, limits=Limits(price=24)) is None
    assert share_power(PUMP, STARTER, limits=Limits(price=25)) == design
    # The divider's first output, which gets the remainder, feeds the timer that needs two.
    first = next(w for w in design.wires if w.source == Terminal("divider 1", "out1"))
    assert (str(first.target), first.units) == ("short:in", 2)


def five_lamps(kit: Kit = STARTER, load: str = "load", supply: str = "supply") -> Skeleton:
    names = [f"lamp {i}" for i in range(1, 6)]
    return wiring(
        kit,
        {"supply": supply, **dict.fromkeys(names, load)},
        "supply:out > " + ", ".join(f"{name}:in" for name in names),
    )


@pytest.mark.parametrize(
    ("objectives", "limits", "price", "supply"),
    [
        ((PRICE, SUPPLY, WIRES), Limits(), 6, 7),
        ((SUPPLY, PRICE, WIRES), Limits(), 7, 5),
        ((SUPPLY,), Limits(price=6), 6, 7),
        ((WIRES, SUPPLY), Limits(), 6, 7),
        ((PRICE,), Limits(supply=6), 7, 5),
        ((PRICE,), Limits(most=(("divider", 1),)), 7, 5),
        ((PRICE,), Limits(most=(("divider", 0),)), 8, 5),
        ((PRICE,), Limits(most=(("tap-off", 0),)), 6, 7),
        ((SUPPLY,), Limits(most=(("tap-off", 0),)), 9, 5),
    ],
)
def test_objectives_and_limits(
    objectives: tuple[Objective, ...], limits: Limits, price: int, supply: int
) -> None:
    skeleton = five_lamps()
    design = share_power(skeleton, STARTER, objectives, limits)
    assert design is not None
    assert_well_shared(design, skeleton, STARTER)
    assert (design.price(STARTER), design.supply) == (price, supply)


@pytest.mark.parametrize(
    "limits",
    [
        Limits(supply=4),
        Limits(price=5),
        Limits(supply=6, price=6),
        Limits(supply=6, most=(("tap-off", 0), ("divider", 2))),
        Limits(most=(("tap-off", 0), ("divider", 1))),
    ],
)
@pytest.mark.parametrize("first", [PRICE, SUPPLY, WIRES])
def test_what_cannot_be_shared(limits: Limits, first: Objective) -> None:
    assert share_power(five_lamps(), STARTER, (first,), limits) is None


def test_supply_of_limited_size() -> None:
    kit = Kit("shed", "", Trigger.HELD, tuple(
        KitPart("mains", PartType.SUPPLY, largest=6) if p.type is PartType.SUPPLY else p
        for p in KITS[0].parts
    ))
    design = share_power(five_lamps(kit, "lamp", "mains"), kit)
    assert design is not None and design.supply == 5


def test_changeover_needs_the_larger_side_once() -> None:
    skeleton = wiring(
        FULL,
        {"supply": "supply", "changer": "change-over relay", "day": "load", "dim": "load",
         "glow": "load"},
        "supply:out > changer:in, changer:coil",
        "changer:make > day:in",
        "changer:break > dim:in, glow:in",
        day=5, dim=1, glow=2,
    )  # fmt: skip
    design = share_power(skeleton, FULL)
    assert design is not None
    assert_well_shared(design, skeleton, FULL)
    assert least_units(skeleton, FULL) == design.supply == 6


def test_joint_gets_the_whole_need_at_both_inputs() -> None:
    skeleton = wiring(
        FULL,
        {"supply": "supply", "here": "switch", "there": "switch", "joint": "joint",
         "lamp": "load", "bell": "load"},
        "supply:out > here:in, there:in",
        "here:out > joint:in1",
        "there:out > joint:in2",
        "joint:out > lamp:in, bell:in",
        lamp=2, bell=3,
    )  # fmt: skip
    design = share_power(skeleton, FULL)
    assert design is not None
    assert_well_shared(design, skeleton, FULL)
    assert design.supply == 10


def test_joint_states_the_lesser_of_what_its_inputs_bring() -> None:
    kit = kit_of(divider(3))
    skeleton = wiring(
        kit,
        {"supply": "mains", "here": "lever", "there": "lever", "joint": "diode", "a": "lamp",
         "b": "lamp", "c": "lamp", "d": "lamp"},
        "supply:out > here:in, a:in, b:in, c:in, there:in",
        "here:out > joint:in1",
        "there:out > joint:in2",
        "joint:out > d:in",
    )  # fmt: skip
    design = share_power(skeleton, kit)
    assert design is not None
    assert_well_shared(design, skeleton, kit)
    carried = {str(wire.target): wire.units for wire in design.wires}
    assert (carried["joint:in1"], carried["joint:in2"], carried["d:in"]) == (1, 2, 1)


def test_idle_timer_still_gets_a_unit() -> None:
    skeleton = wiring(
        STARTER,
        {"supply": "supply", "timer": "pulse timer", "spare": "switch", "lamp": "load"},
        "supply:out > timer:in, timer:start, lamp:in, spare:in",
    )
    design = share_power(skeleton, STARTER)
    assert design is not None
    assert_well_shared(design, skeleton, STARTER)
    assert least_units(skeleton, STARTER) == 3


def test_names_of_splitting_parts_avoid_those_in_use() -> None:
    skeleton = wiring(
        STARTER,
        {"supply": "supply", "divider 1": "load", "b": "load", "c": "load"},
        "supply:out > divider 1:in, b:in, c:in",
    )
    design = share_power(skeleton, STARTER)
    assert design is not None
    assert [part.name for part in design.parts][-1] == "divider 2"


@pytest.mark.parametrize(
    ("feeds", "message"),
    [
        (["supply:out > lamp:in"], "nothing feeds switch:in"),
        (["supply:out > lamp:in, switch:in", "switch:out > lamp:in"], "lamp:in is fed twice"),
        (["supply:out > lamp:in", "switch:out > switch:in"], "power runs in a circle"),
        (["supply:out > lamp:out"], "no such wire"),
    ],
)
def test_broken_skeletons_are_refused(feeds: list[str], message: str) -> None:
    parts = {"supply": "supply", "switch": "switch", "lamp": "load"}
    with pytest.raises(DesignError, match=message):
        share_power(wiring(STARTER, parts, *feeds), STARTER)


# --- whole wirings against full enumeration ------------------------------------------------


@st.composite
def skeletons(draw: st.DrawFn) -> Skeleton:
    """Small random wirings of contacts, joints, change-overs, timers and loads."""
    parts = {"supply": "mains"}
    feeds: list[str] = []
    needs: dict[str, int] = {}
    outputs = ["supply:out"]
    fan: dict[str, int] = {}
    controls: list[str] = []

    def feed(target: str) -> None:
        free = [o for o in outputs if fan.get(o, 0) < 3]
        source = draw(st.sampled_from(free or outputs))
        fan[source] = fan.get(source, 0) + 1
        feeds.append(f"{source} > {target}")

    kinds = ["contactor", "two-way contactor", "timer", "diode", "lever", "lamp"]
    for number in range(draw(st.integers(1, 4))):
        kind = draw(st.sampled_from(kinds))
        name = f"{kind} {number}"
        parts[name] = kind
        if kind == "diode":
            feed(f"{name}:in1")
            feed(f"{name}:in2")
        else:
            feed(f"{name}:in")
        if kind == "two-way contactor":
            outputs += [f"{name}:make", f"{name}:break"]
        elif kind == "lamp":
            needs[name] = draw(st.integers(1, 4))
        else:
            outputs.append(f"{name}:out")
        if "contactor" in kind:
            controls.append(f"{name}:coil")
        if kind == "timer":
            controls.append(f"{name}:start")
    for control in controls:
        feed(control)
    if not fan:
        parts["lamp"], needs["lamp"] = "lamp", 1
        feed("lamp:in")
    return wiring(KITS[0], parts, *feeds, **needs)


def enumerated_best(
    skeleton: Skeleton, kit: Kit, objectives: tuple[Objective, ...], limits: Limits
) -> tuple[int, ...] | None:
    """Return the best values of the objectives over every tree for every net."""
    nets: dict[Terminal, list[Terminal]] = {}
    for source, target in skeleton.feeds:
        nets.setdefault(source, []).append(target)
    types = {part.name: part for part in skeleton.parts}
    lines = {part.name: kit.index[part.part] for part in skeleton.parts}
    options = [
        [c for tree in trees(tuple(range(len(t))), 3) for c in fitted(tree, kit)]
        for t in nets.values()
    ]

    @cache
    def least(tree: object, needs: tuple[int, ...]) -> int:
        return next(n for n in range(2000) if serves(tree, n, needs, kit))

    def parts_of(tree: object) -> list[str]:
        if isinstance(tree, int):
            return []
        assert isinstance(tree, tuple)
        return [tree[0], *(name for branch in tree[1:] for name in parts_of(branch))]

    best: tuple[int, ...] | None = None
    for choice in itertools.product(*options):
        chosen = dict(zip(nets, choice, strict=True))
        used = [name for tree in choice for name in parts_of(tree)]
        if any(used.count(name) > most for name, most in limits.most):
            continue

        def demand(terminal: Terminal, chosen: dict[Terminal, object] = chosen) -> int:
            line, part = lines[terminal.part], types[terminal.part]
            if terminal.terminal in line.shape.controls:
                return line.units
            if part.type is PartType.LOAD:
                return int(part.setting("needs") or 1)
            out = [output(Terminal(part.name, o), chosen) for o in line.shape.outputs]
            return max([part.type is PartType.PULSE, *out])

        def output(terminal: Terminal, chosen: dict[Terminal, object]) -> int:
            if terminal not in nets:
                return 0
            return least(chosen[terminal], tuple(demand(t) for t in nets[terminal]))

        supply = output(Terminal("supply", "out"), chosen)
        price = sum(kit.index[name].price for name in used)
        price += sum(line.price for line in lines.values())
        if limits.supply is not None and supply > limits.supply:
            continue
        if limits.price is not None and price > limits.price:
            continue
        wires = len(skeleton.feeds) + len(used)
        values = {PRICE: price, SUPPLY: supply, WIRES: wires}
        rank = tuple(values[goal] for goal in objectives)
        if best is None or rank < best:
            best = rank
    return best


@settings(max_examples=120, deadline=None)
@given(
    skeleton=skeletons(),
    splitting=st.sampled_from([
        (tap(), divider(3)), (tap(3), divider(3, 1)), (divider(2),), (tap(5), divider(2, 1)),
    ]),
    objectives=st.permutations([PRICE, SUPPLY, WIRES]).map(tuple),
    most=st.sampled_from([(), (("divider", 1),), (("divider", 1), ("tap-off", 1))]),
    supply=st.sampled_from([None, None, 6, 9]),
    over=st.sampled_from([None, None, 4, 7]),
)
def test_shared_as_well_as_by_full_enumeration(
    skeleton: Skeleton,
    splitting: tuple[KitPart, ...],
    objectives: tuple[Objective, ...],
    most: tuple[tuple[str, int], ...],
    supply: int | None,
    over: int | None,
) -> None:
    kit = kit_of(*splitting)
    own = sum(kit.index[part.part].price for part in skeleton.parts)
    limits = Limits(most, supply, None if over is None else own + over)
    expected = enumerated_best(skeleton, kit, objectives, limits)
    design = share_power(skeleton, kit, objectives, limits)
    if design is None:
        assert expected is None
        return
    assert_well_shared(design, skeleton, kit)
    values = {PRICE: design.price(kit), SUPPLY: design.supply, WIRES: len(design.wires)}
    assert tuple(values[goal] for goal in objectives) == expected
    assert least_units(skeleton, kit) <= design.supply
