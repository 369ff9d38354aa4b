"""The drawings: nothing overlaps, nothing is lost, every text is harmless, same bytes each time.

The scenario (a potting shed and a hen house) and all its numbers are invented.
"""

from __future__ import annotations

import itertools
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import SHAPES, PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.report.layout import Layout, layout
from synth.report.strips import columns_of, timing_text
from synth.report.svg import Svg, escape, text_width, visible, wrap
from synth.report.symbols import LETTERS, WIDTH, draw_symbol, letter, load_kind, outline
from synth.report.time_axis import Scale, axis_of, changes_of, exact_time
from synth.report.timing import timing_svg
from synth.report.wiring import wiring_svg
from synth.ticks import parse_duration
from synth.trace import Trace, Track

SVG = "{http://www.w3.org/2000/svg}"
KIT = Kit(
    "garden",
    "Garden kit (invented)",
    Trigger.HELD,
    tuple(
        KitPart(kind.value.replace("-", " "), kind, outputs=3 if kind is PartType.DIVIDER else 0)
        for kind in PartType
    ),
)


def part(name: str, kind: str, **values: str | int) -> PartInUse:
    return PartInUse(name, PartType(kind), kind.replace("-", " "), tuple(values.items()))


def wires(text: str) -> tuple[Wire, ...]:
    """Read ``from:terminal>to:terminal=units`` separated by blanks; "_" stands for a blank."""
    result = []
    for number, word in enumerate(text.split(), 1):
        source, _, rest = word.partition(">")
        target, _, amount = rest.partition("=")
        a, _, out = source.replace("_", " ").partition(":")
        b, _, into = target.replace("_", " ").partition(":")
        ends = Terminal(a, out or "out"), Terminal(b, into or "in")
        result.append(Wire(number, *ends, int(amount) if amount else None))
    return tuple(result)


THREE = Design(
    "garden",
    (
        part("supply", "supply", units=1),
        part("master", "switch", input="master", contact="make"),
        part("lamp", "load", needs=1),
    ),
    wires("supply>master=1 master>lamp=1"),
)
SEVEN = Design(
    "garden",
    (
        part("supply", "supply", units=3),
        part("tap-off 1", "tap-off", units=1),
        part("start button", "push-button", input="start", contact="make"),
        part("relay make 1", "relay-make"),
        part("divider 1", "divider"),
        part("vent fan", "load", needs=1),
        part("joint 1", "joint"),
    ),
    wires(
        "supply>tap-off_1=3 tap-off_1:branch>start_button=1 tap-off_1:rest>relay_make_1=2 "
        "start_button>joint_1:in1=1 relay_make_1>divider_1=2 divider_1:out1>vent_fan=1 "
        "divider_1:out2>joint_1:in2=1 joint_1>relay_make_1:coil=1"
    ),
)
TWELVE = Design(
    "garden",
    (
        part("supply", "supply", units=6),
        part("divider 1", "divider"),
        part("divider 2", "divider"),
        part("tap-off 1", "tap-off", units=2),
        part("master switch", "switch", input="master", contact="make"),
        part("pulse timer 1", "pulse-timer", time=10_000),
        part("pulse timer 2", "pulse-timer", time=50_000),
        part("relay break 1", "relay-break"),
        part("pump", "load", needs=1),
        part("twilight switch 1", "twilight-switch", passes="night"),
        part("heater", "load", needs=1),
        part("nest box light", "load", needs=1),
    ),
    wires(
        "supply>divider_1=6 divider_1:out1>master_switch=2 divider_1:out2>twilight_switch_1=2 "
        "divider_1:out3>nest_box_light=2 twilight_switch_1>heater=2 master_switch>divider_2=2 "
        "divider_2:out1>relay_break_1=1 divider_2:out2>pulse_timer_2=1 "
        "relay_break_1>pulse_timer_1=1 pulse_timer_1>tap-off_1=1 tap-off_1:branch>pump=1 "
        "tap-off_1:rest>pulse_timer_2:start=1 pulse_timer_2>relay_break_1:coil=1 "
        "divider_2:out3>pulse_timer_1:start=1"
    ),
)


def large(groups: int) -> Design:
    """A trunk of tap-offs; each feeds a contact, a timer that restarts the one before, a lamp."""
    parts = [part("supply", "supply", units=2 * groups)]
    lines = ["supply>tap-off_1"]
    for i in range(1, groups + 1):
        parts += [
            part(f"tap-off {i}", "tap-off", units=2),
            part(f"door sensor {i}", "sensor", input=f"hen house door {i}", contact="break"),
            part(f"on-delay timer {i}", "on-delay-timer", time=parse_duration("2 h 30 min")),
        ]
        lines += [f"tap-off_{i}:branch>door_sensor_{i}", f"door_sensor_{i}>on-delay_timer_{i}"]
        if i < groups:
            lines.append(f"tap-off_{i}:rest>tap-off_{i + 1}")
        lines.append(f"on-delay_timer_{i}>on-delay_timer_{(i + groups - 2) % groups + 1}:start")
    return Design("garden", tuple(parts), wires(" ".join(lines)))


TWENTY = Design(
    "garden",
    (
        *TWELVE.parts,
        part("tap-off 2", "tap-off", units=6),
        part("divider 3", "divider"),
        part("tap-off 3", "tap-off", units=1),
        part("relay changeover 1", "relay-changeover"),
        part("bistable relay 1", "bistable-relay", wins="reset"),
        part("float low", "sensor", input="tank low", contact="make"),
        part("float high", "sensor", input="tank full", contact="make"),
        part("hen house door opener", "load", needs=1),
    ),
    tuple(
        Wire(number, wire.source, wire.target, wire.units)
        for number, wire in enumerate(
            TWELVE.wires[1:]
            + wires(
                "supply>tap-off_2=10 tap-off_2:branch>divider_1=6 tap-off_2:rest>divider_3=4 "
                "divider_3:out1>tap-off_3=2 divider_3:out2>relay_changeover_1=1 "
                "divider_3:out3>float_low=1 tap-off_3:branch>float_high=1 "
                "tap-off_3:rest>relay_changeover_1:coil=1 float_low>bistable_relay_1:set=1 "
                "float_high>bistable_relay_1:reset=1 relay_changeover_1:make>bistable_relay_1=1 "
                "bistable_relay_1>hen_house_door_opener=1"
            ),
            1,
        )
    ),
)
DESIGNS = {"3": THREE, "7": SEVEN, "12": TWELVE, "20": TWENTY, "40": large(13)}


def segments(plan: Layout, index: int) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    return list(itertools.pairwise(plan.wires[index].points))


def validate(plan: Layout, design: Design) -> None:
    """Assert all that a reader relies on, from the coordinates alone."""
    assert len(plan.parts) == len(design.parts)
    assert len(plan.wires) + len(plan.unplaced) == len(design.wires)
    rects = [placed.rect for placed in plan.parts]
    for a, b in itertools.combinations([*rects, *(label.rect for label in plan.labels)], 2):
        assert not a.overlaps(b), (a, b)
    for rect in [*rects, *(label.rect for label in plan.labels)]:
        assert rect.x >= 0 and rect.y >= 0
        assert rect.right <= plan.width and rect.bottom <= plan.height
    first: dict[str, int] = {}
    for i, placed in enumerate(plan.parts):
        first.setdefault(placed.part.name, i)

    level: dict[int, list[tuple[int, int, int]]] = {}
    upright: dict[int, list[tuple[int, int, int]]] = {}
    for i, routed in enumerate(plan.wires):
        source = plan.parts[first[routed.wire.source.part]]
        target = plan.parts[first[routed.wire.target.part]]
        start, end = routed.points[0], routed.points[-1]
        outs = [source.rect.y + p.y for p in source.outline.right
                if p.terminal == routed.wire.source.terminal]
        ins = [target.rect.y + p.y for p in target.outline.left
               if p.terminal == routed.wire.target.terminal]
        assert start[0] == source.rect.right and start[1] in outs
        assert end[0] == target.rect.x and end[1] in ins
        for a, b in segments(plan, i):
            assert (a[0] == b[0]) != (a[1] == b[1]), "wires run level or upright, never nowhere"
            assert all(0 <= p[0] <= plan.width and 0 <= p[1] <= plan.height for p in (a, b))
            for rect in rects:
                assert not rect.meets_segment(a, b), (routed.wire, rect)
                if a not in (start,) and b not in (end,):
                    wider = type(rect)(rect.x - 3, rect.y - 3, rect.width + 6, rect.height + 6)
                    assert not wider.meets_segment(a, b), "no wire along the edge of a part"
            for label in plan.labels:
                assert not label.rect.meets_segment(a, b), (routed.wire, label)
            if a[1] == b[1]:
                level.setdefault(a[1], []).append((min(a[0], b[0]), max(a[0], b[0]), i))
            else:
                upright.setdefault(a[0], []).append((min(a[1], b[1]), max(a[1], b[1]), i))
    for lines in (*level.values(), *upright.values()):
        for (low, high, i), (other_low, other_high, j) in itertools.combinations(lines, 2):
            assert i == j or high < other_low or other_high < low, (i, j)


@pytest.mark.parametrize("size", DESIGNS)
def test_layout_of_hand_made_designs(size: str) -> None:
    design = DESIGNS[size]
    assert len(design.parts) == int(size)
    plan = layout(design, KIT)
    validate(plan, design)
    assert not plan.unplaced
    assert {label.text for label in plan.labels if label.kind == "wire"} == {
        f"{w.number}" if w.units is None else f"{w.number} · {w.units} u" for w in design.wires
    }


def test_validate_rejects_what_it_should() -> None:
    """The validation itself notices a wire through a part, and one wire on another."""
    plan = layout(TWELVE, KIT)
    wire = plan.wires[0]
    (x1, y1), (x2, y2) = wire.points[0], plan.wires[5].points[-1]
    middle = plan.parts[1].rect.x + 20
    through = type(wire)(wire.wire, False, ((x1, y1), (middle, y1), (middle, y2), (x2, y2)))
    for bad in (through, type(wire)(wire.wire, False, plan.wires[5].points)):
        broken = Layout(plan.width, plan.height, plan.parts, (bad, *plan.wires[1:]), plan.labels)
        with pytest.raises(AssertionError):
            validate(broken, TWELVE)


def test_power_runs_from_left_to_right() -> None:
    for design in (THREE, SEVEN, TWELVE, DESIGNS["40"]):
        for wire in layout(design, KIT).wires:
            if not wire.control:
                xs = [x for x, _ in wire.points]
                assert xs == sorted(xs)


def test_control_wires_do_not_widen_the_drawing() -> None:
    """As many columns as the longest power path has parts: supply, 13 tap-offs, contact, timer."""
    columns = {placed.rect.x for placed in layout(DESIGNS["40"], KIT).parts}
    assert len(columns) == 16


def test_straight_where_it_can_be() -> None:
    """A chain without branches is one straight line."""
    assert all(len(wire.points) == 2 for wire in layout(THREE, KIT).wires)


NAMES = st.sampled_from(
    ["pump", "nest box light", "<script>alert(1)</script>", "M" * 90, "", "π水泵"]
)


@st.composite
def designs(draw: st.DrawFn, well_formed: bool) -> Design:
    """Random designs; well-formed ones have an acyclic power side and one wire to a terminal."""
    kinds = draw(st.lists(st.sampled_from(list(PartType)), min_size=1, max_size=16))
    parts = tuple(
        PartInUse(f"{draw(NAMES)} {i}", kind, draw(NAMES), (("time", 90_000), ("needs", i)))
        for i, kind in enumerate(kinds)
    )
    outs = [(i, out) for i, p in enumerate(parts) for out in SHAPES[p.type].outputs]
    ends = []
    if well_formed:
        for i, p in enumerate(parts):
            shape = SHAPES[p.type]
            for terminal in (*shape.power, *shape.controls):
                fit = [o for o in outs if terminal in shape.controls or o[0] < i]
                if fit:
                    source = draw(st.sampled_from(fit))
                    outs.remove(source)
                    ends.append((source, (i, terminal)))
    else:
        some = st.tuples(st.integers(0, len(parts)), st.sampled_from(["in", "out", "coil", "x"]))
        ends = draw(st.lists(st.tuples(some, some), max_size=14))
    names = [p.name for p in parts] + ["nothing"]
    return Design("garden", parts, tuple(
        Wire(n, Terminal(names[a], t), Terminal(names[b], u), n % 7 or None)
        for n, ((a, t), (b, u)) in enumerate(draw(st.permutations(ends)), 1)
    ))


@settings(max_examples=60, deadline=None)
@given(designs(well_formed=True))
def test_layout_of_random_designs(design: Design) -> None:
    validate(layout(design, KIT), design)


@settings(max_examples=60, deadline=None)
@given(designs(well_formed=False))
def test_layout_of_malformed_designs(design: Design) -> None:
    """Power in circles, several wires on a terminal, parts that do not exist: still drawn."""
    plan = layout(design, KIT)
    validate(plan, design)
    ElementTree.fromstring(wiring_svg(design, KIT, "malformed").encode())
    lost = [w for w in design.wires if "nothing" in (w.source.part, w.target.part)]
    assert list(plan.unplaced) == lost


def test_no_parts_at_all() -> None:
    ElementTree.fromstring(wiring_svg(Design("garden", (), ()), KIT, "").encode())


def test_parts_of_one_name() -> None:
    """Two parts of one name are both drawn; wires go to the first."""
    twin = Design("garden", (*THREE.parts, THREE.parts[2]), THREE.wires)
    validate(layout(twin, KIT), twin)


def texts(document: str) -> list[str]:
    return [e.text or "" for e in ElementTree.fromstring(document.encode()).iter(f"{SVG}text")]


@pytest.mark.parametrize("size", DESIGNS)
def test_wiring_svg_shows_everything(size: str) -> None:
    design = DESIGNS[size]
    document = wiring_svg(design, KIT, "Potting shed (invented)")
    shown = " ".join(texts(document))
    for item in design.parts:
        for word in item.name.split():
            assert word in shown
    for wire in design.wires:
        assert re.search(rf"\b{wire.number}\b", shown)
    root = ElementTree.fromstring(document.encode())
    groups = [g.get("class") for g in root.iter(f"{SVG}g")]
    assert groups.count("part") == len(design.parts)
    dashed = [
        g for g in root.iter(f"{SVG}g")
        if g.get("class") == "control wire"
        and any(line.get("stroke-dasharray") for line in g.iter(f"{SVG}polyline"))
    ]
    controls = [w for w in design.wires if w.target.terminal not in ("in", "in1", "in2")]
    assert len(dashed) == len(controls), "control wires are told apart without colour"
    assert root.find(f"{SVG}title") is not None and root.find(f"{SVG}desc") is not None


def test_print_safe() -> None:
    """Black, white and greys only; no text under 11 px."""
    for document in (wiring_svg(TWENTY, KIT, "x"), timing_svg(NIGHT, "x")):
        for colour in re.findall(r'(?:fill|stroke)="([^"]*)"', document):
            assert colour in ("none", "white", "black", "#b0b0b0", "#e4e4e4"), colour
        sizes = [int(size) for size in re.findall(r'font-size="(\d+)"', document)]
        assert sizes and min(sizes) >= 11


def test_cautions_and_settings_are_written() -> None:
    shown = " ".join(texts(wiring_svg(TWELVE, KIT, "x")))
    assert "Caution: switch off" in shown and "local codes" in shown and "licensed" in shown
    for words in ("time 50 s", "set to 6 units", "passes at night", "master: make", "needs 1 unit"):
        assert words in shown


HOSTILE = ["<script>alert(1)</script>", '"/><g onload="x', "]]>&amp;&#0;", "a\x00b\x1b[2J\u202e",
           "\ud800", "￿", "x" * 20_000, "  \n\t ", "'"]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_harmless(name: str) -> None:
    """A load may be called anything: it stays text."""
    design = Design(
        name,
        (part("supply", "supply"), PartInUse(name, PartType.LOAD, name, (("needs", 1),)),
         PartInUse(name + "2", PartType.SENSOR, name, (("input", name), ("contact", name)))),
        (Wire(1, Terminal("supply", "out"), Terminal(name, "in"), 1),
         Wire(2, Terminal("supply", name), Terminal(name + "2", name), 1)),
    )
    validate(layout(design, KIT), design)
    trace = Trace(Fraction(10), (Track(name, name, True, ((Fraction(5), False),)),),
                  ((Fraction(5), name),))
    tags = {"svg", "title", "desc", "rect", "g", "polyline", "polygon", "circle", "path", "text"}
    for document in (wiring_svg(design, KIT, name), timing_svg(trace, name)):
        root = ElementTree.fromstring(document.encode())
        assert {e.tag.removeprefix(SVG) for e in root.iter()} <= tags
        assert not [a for e in root.iter() for a in e.attrib if a.startswith("on")]
    for plain in (False, True):
        drawn = timing_text(trace, 50, plain)
        assert all(c == "\n" or c.isprintable() for c in drawn)
        assert not plain or drawn.isascii()


@given(st.text())
def test_escaped_text_is_xml_and_reads_back(text: str) -> None:
    document = f'<a b="{escape(text)}">{escape(text)}</a>'
    element = ElementTree.fromstring(document)
    assert element.text in (visible(text), None if not visible(text) else "")
    assert element.get("b") == visible(text)


@given(st.text(), st.integers(40, 300))
def test_wrapped_lines_fit(text: str, width: int) -> None:
    lines = wrap(text, width)
    assert len(lines) <= 4 and all(text_width(line) <= width for line in lines)
    if not lines or not lines[-1].endswith("…"):
        assert "".join("".join(lines).split()) == "".join(visible(text).split())


def test_same_input_same_bytes() -> None:
    """Also in another process with another seed for hashing."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); import test_drawings as t\n"
        "sys.stdout.reconfigure(encoding='utf-8')\n"
        "print(t.wiring_svg(t.TWENTY, t.KIT, 'x') + t.timing_svg(t.NIGHT, 'x'), end='')"
    )
    here = os.path.dirname(os.path.abspath(__file__))
    root = os.path.dirname(here)
    other = subprocess.run(
        [sys.executable, "-c", code, here], capture_output=True, check=True, cwd=root,
        env={**os.environ, "PYTHONHASHSEED": "77", "PYTHONPATH": root},
    ).stdout.decode()
    assert other == wiring_svg(TWENTY, KIT, "x") + timing_svg(NIGHT, "x")


# --- symbols


@pytest.mark.parametrize(
    ("kind", "name", "code"),
    [
        ("relay-make", "", "K"), ("pulse-timer", "", "K"), ("bistable-relay", "", "K"),
        ("switch", "", "S"), ("push-button", "", "S"), ("sensor", "", "B"),
        ("twilight-switch", "", "B"), ("supply", "", "G"), ("divider", "", "X"),
        ("load", "water pump", "M"), ("load", "nest-box lamp 2", "E"), ("load", "heater", "E"),
        ("load", "horn", "P"), ("load", "thing", "A"), ("load", "brooder", "E"),
        ("load", "bottle warmer", "E"), ("load", "brooder lamp 2", "E"),
    ],
)
def test_letters(kind: str, name: str, code: str) -> None:
    """IEC 81346-2 letter designations (from memory)."""
    assert letter(part(name, kind)) == code
    assert code in LETTERS


def test_the_last_telling_word_names_the_load() -> None:
    assert load_kind("pump lamp") == "lamp"
    assert load_kind("lampshade") == ""


def drawn(item: PartInUse) -> tuple[str, ElementTree.Element]:
    svg = Svg("t", "d")
    shape = SHAPES[item.type]
    draw_symbol(
        svg, item, outline(item.type, (*shape.power, *shape.controls), shape.outputs), 0, 0
    )
    document = svg.document(WIDTH, 120)
    return document, ElementTree.fromstring(document.encode())


@pytest.mark.parametrize("kind", list(PartType))
def test_every_type_has_a_symbol_with_all_its_terminals(kind: PartType) -> None:
    shape = SHAPES[kind]
    item = part("x", kind.value)
    _, root = drawn(item)
    circles = {(c.get("cx"), c.get("cy")) for c in root.iter(f"{SVG}circle") if c.get("r") == "2.5"}
    shown = outline(kind, (*shape.power, *shape.controls), shape.outputs)
    assert {p.terminal for p in shown.left} == {*shape.power, *shape.controls}
    assert {p.terminal for p in shown.right} == {*shape.outputs}
    assert circles == {("0", str(p.y)) for p in shown.left} | {
        (str(WIDTH), str(p.y)) for p in shown.right
    }
    for pins in (shown.left, shown.right):
        assert all(b.y - a.y >= 18 for a, b in itertools.pairwise(pins))


def test_distinct_types_look_distinct() -> None:
    pictures = {drawn(part("x", kind.value))[0] for kind in PartType}
    assert len(pictures) == len(PartType)
    for kind, key, values in (
        ("switch", "contact", ("make", "break")), ("twilight-switch", "passes", ("night", "day")),
        ("recycler", "first", ("pulse", "pause")), ("bistable-relay", "wins", ("set", "reset")),
    ):
        assert len({drawn(part("x", kind, **{key: value}))[0] for value in values}) == 2


def test_a_break_contact_touches_and_a_make_contact_does_not() -> None:
    """IEC 60617-7, 07-02-01 and 07-02-03 (from memory): drawn at rest."""

    def blade_and_fixed(kind: str) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
        lines = [
            [(float(x), float(y)) for x, y in (p.split(",") for p in e.get("points", "").split())]
            for e in drawn(part("x", kind))[1].iter(f"{SVG}polyline")
        ]
        blade = next(line for line in lines if line[0][0] == 46 and line[0][1] != line[-1][1])
        return blade, next((li for li in lines if li[0][0] == li[-1][0] == 70), [])

    (x1, y1), (x2, y2) = blade_and_fixed("relay-break")[0]
    fixed = blade_and_fixed("relay-break")[1]
    at = y1 + (y2 - y1) * (70 - x1) / (x2 - x1)
    assert min(y for _, y in fixed) <= at <= max(y for _, y in fixed)
    assert blade_and_fixed("relay-make")[1] == []


def test_the_input_that_wins_is_marked() -> None:
    """IEC 61131-3:2013, Table 43: SR has S1, RS has R1 (secondary text)."""
    shown = {wins: texts(drawn(part("x", "bistable-relay", wins=wins))[0])
             for wins in ("set", "reset")}
    assert {"S1", "R"} <= set(shown["set"]) and {"S", "R1"} <= set(shown["reset"])


# --- timing


def ticks(text: str) -> Fraction:
    return Fraction(0) if text == "0" else Fraction(parse_duration(text))


def track(name: str, role: str, start: bool, *times: str) -> Track:
    return Track(name, role, start, tuple(
        (ticks(time), start ^ (i % 2 == 0)) for i, time in enumerate(times)
    ))


NIGHT = Trace(
    ticks("4 h 5 min"),
    (
        track("pump", "load", True, "10 s", "60 s", "70 s", "120 s", "130 s"),
        track("pulse timer 1", "timer", True, "10 s", "60 s", "70 s", "120 s", "130 s"),
        track("night", "input", False, "200 s", "4 h 200 s"),
        track("heater", "load", False, "200 s", "4 h 200 s"),
        track("master", "input", True, "130 s", "170 s"),
        track("relay break 1", "relay", False, "10 s", "60 s", "70 s", "120 s"),
    ),
    ((ticks("130 s"), "master off"), (ticks("200 s"), "night falls")),
)


def test_every_change_is_labelled_exactly() -> None:
    shown = texts(timing_svg(NIGHT, "Hen house (invented)"))
    for moment in {t for item in NIGHT.tracks for t, _ in item.changes} | {NIGHT.end}:
        assert exact_time(moment) in shown
        assert exact_time(moment) in timing_text(NIGHT, 200)
    for words in ("Inputs", "Loads", "Timers", "Relays", "master off", "night falls"):
        assert words in shown
    assert shown.index("Inputs") < shown.index("Loads") < shown.index("Timers")


def test_a_long_night_is_shortened_and_a_cycle_is_not() -> None:
    axis = axis_of(NIGHT)
    scales = {(s.start, s.end): s.scale for s in axis.stretches}
    assert scales[ticks("200 s"), ticks("4 h 200 s")] is Scale.SHORTENED
    cycle = [s for s in axis.stretches if s.end <= ticks("130 s")]
    assert all(s.scale is Scale.TRUE for s in cycle)
    assert {s.width * axis.unit / (s.end - s.start) for s in cycle} == {Fraction(28)}
    assert any("shortened" in text for text in texts(timing_svg(NIGHT, "x")))
    assert "shortened" in timing_text(NIGHT, 80)


def test_a_true_axis_says_so() -> None:
    trace = Trace(ticks("30 s"), (track("lamp", "load", True, "10 s", "20 s"),))
    assert axis_of(trace).notes() == ("The time axis is to scale.",)


def test_step_lines_follow_the_vectors() -> None:
    """IEC 61131-3 pulse timer, PT = 5 (secondary text): Q +0 -5 +10 -15 +20 -25."""
    times = ("5 s", "10 s", "15 s", "20 s", "25 s")
    trace = Trace(ticks("30 s"), (track("Q", "timer", True, *times),))
    root = ElementTree.fromstring(timing_svg(trace, "x").encode())
    group = next(g for g in root.iter(f"{SVG}g") if g.get("class") == "track")
    line = next(e for e in group.iter(f"{SVG}polyline") if e.get("stroke-width") == "1.8")
    points = [tuple(map(int, p.split(","))) for p in line.get("points", "").split()]
    low = max(y for _, y in points)
    steps = [x for (x, a), (_, b) in itertools.pairwise(points) if a != b]
    left = points[0][0]
    assert points[0][1] < low and points[-1][1] == low
    assert [Fraction(x - left, steps[0] - left) for x in steps] == [1, 2, 3, 4, 5]


def cycling(rounds: int) -> Trace:
    times = [f"{60 * i + d} s" for i in range(rounds) for d in (0, 10)][1:]
    return Trace(ticks(f"{60 * rounds} s"), (
        track("pump", "load", True, *times), track("light", "load", True),
    ))


def test_many_rounds_are_left_out_and_counted() -> None:
    axis = axis_of(cycling(240))
    gaps = [s for s in axis.stretches if s.scale is Scale.LEFT_OUT]
    assert [s.rounds for s in gaps] == [237]
    assert gaps[0].end - gaps[0].start == 237 * 60_000
    assert len(axis.stretches) == 7
    assert "same again 237 times" in texts(timing_svg(cycling(240), "x"))
    assert "same again 237 times" in timing_text(cycling(240), 100)
    # A mark inside is never left out.
    marked = Trace(cycling(240).end, cycling(240).tracks, ((ticks("7200 s"), "look here"),))
    assert "look here" in texts(timing_svg(marked, "x"))
    assert "look here" in timing_text(marked, 100)
    assert [s.rounds for s in axis_of(marked).stretches if s.rounds] == [117, 117]


def test_few_rounds_are_all_shown() -> None:
    assert all(s.scale is Scale.TRUE for s in axis_of(cycling(12)).stretches)


@pytest.mark.parametrize(
    ("time", "words"),
    [(Fraction(0), "0 s"), (Fraction(1500), "1 s 500 ms"), (Fraction(1, 3), "1/3 ms"),
     (Fraction(20_001, 2), "10 s + 1/2 ms"), (Fraction(-5), "-5 ms")],
)
def test_exact_times(time: Fraction, words: str) -> None:
    assert exact_time(time) == words


def test_changes_that_change_nothing_are_not_drawn() -> None:
    f = Fraction
    messy = Track("x", "load", False, (
        (f(30), True), (f(0), True), (f(10), True), (f(20), False), (f(30), False), (f(99), True),
    ))
    assert changes_of(messy, f(50)) == (True, [(f(20), False)])


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    moment = st.one_of(
        st.integers(0, 60).map(lambda s: Fraction(1000 * s)),
        st.fractions(0, 2_000_000, max_denominator=6),
        st.integers(0, 86_400_000).map(Fraction),
    )
    tracks = []
    for i in range(draw(st.integers(0, 4))):
        times = sorted(set(draw(st.lists(moment, max_size=8))))
        start = draw(st.booleans())
        role = draw(st.sampled_from(["input", "load", "timer", "relay", "signal"]))
        changes = tuple((t, start ^ (k % 2 == 0)) for k, t in enumerate(times))
        tracks.append(Track(f"{draw(NAMES)} {i}", role, start, changes))
    marks = tuple(draw(st.lists(st.tuples(moment, NAMES), max_size=4)))
    return Trace(draw(moment), tuple(tracks), marks)


@settings(max_examples=80, deadline=None)
@given(traces(), st.integers(1, 160), st.booleans())
def test_text_of_random_traces(trace: Trace, width: int, plain: bool) -> None:
    drawn_text = timing_text(trace, width, plain)
    lines = drawn_text.split("\n")
    assert all(columns_of(line) <= max(width, 40) for line in lines)
    assert not plain or drawn_text.isascii()
    assert drawn_text == timing_text(trace, width, plain)


@settings(max_examples=60, deadline=None)
@given(traces())
def test_levels_of_random_traces_can_be_read_back(trace: Trace) -> None:
    """In one wide block, the strip of every track shows its level in every stretch."""
    if not trace.tracks:
        return
    axis = axis_of(trace)
    assert [s.start for s in axis.stretches[1:]] == [s.end for s in axis.stretches[:-1]]
    strips = [line for line in timing_text(trace, 5000).split("\n") if line.startswith("  ")
              and set(line[-1:]) <= set("█▁")]
    shown = [re.sub(r"^.*?([█▁/]*)$", r"\1", line) for line in strips if line.strip()]
    wanted = []
    for role in ("input", "load", "timer", "relay", "signal"):
        for item in trace.tracks:
            if item.role == role and axis.stretches:
                levels = "".join("█" if item.level(s.start) else "▁" for s in axis.stretches)
                wanted.append(re.sub(r"(.)\1+", r"\1", levels))
    assert [re.sub(r"(.)\1+", r"\1", strip.replace("/", "")) for strip in shown] == wanted


@settings(max_examples=60, deadline=None)
@given(traces())
def test_words_in_random_timing_diagrams_do_not_overlap(trace: Trace) -> None:
    document = timing_svg(trace, "Random")
    root = ElementTree.fromstring(document.encode())
    width = int(root.get("width", "0"))
    group = next(g for g in root.iter(f"{SVG}g") if g.get("class") == "marks")
    words = [
        (int(e.get("x", "")), int(e.get("y", "")), text_width(e.text or ""))
        for e in group.iter(f"{SVG}text")
    ]
    for (x1, y1, w1), (x2, y2, w2) in itertools.combinations(words, 2):
        assert y1 != y2 or x1 + w1 <= x2 or x2 + w2 <= x1
    assert all(x >= 0 and x + w <= width for x, _, w in words)
    uprights = [
        [tuple(map(float, p.split(","))) for p in e.get("points", "").split()]
        for e in group.iter(f"{SVG}polyline")
    ]
    for (x, high), (_, low) in uprights:
        for start, base, wide in words:
            if high < base <= low:
                assert not start < x < start + wide, "no mark's line through another's words"
    axis = next(g for g in root.iter(f"{SVG}g") if g.get("class") == "axis")
    ends = sorted(int(e.get("x", "")) for e in axis.iter(f"{SVG}text"))
    assert all(b - a >= 17 for a, b in itertools.pairwise(ends)), "slanted times keep apart"
