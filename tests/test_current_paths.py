"""The circuit diagram and the ladder: no words over words, none over lines, no line through a part.

All is read from the SVG alone, with an upper estimate of how wide words are, for designs of three,
seven, twelve, twenty and forty parts, for all kept designs, and for random wirings. The scenario is
invented.
"""

from __future__ import annotations

import itertools
import re
import time
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_drawings import DESIGNS, KIT, NAMES
from test_modes import KEPT, kept

from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import SHAPES, PartType
from synth.parts.kit import Kit
from synth.report.current_paths import paths_of
from synth.report.path_drawing import circuit_svg
from synth.report.svg import text_width
from synth.report.symbols import designations

SVG = "{http://www.w3.org/2000/svg}"
Spot = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """A rectangle of the page; `group` is the element that it belongs to, -1 none."""

    left: float
    top: float
    right: float
    bottom: float
    group: int
    what: str

    def overlaps(self, other: Box) -> bool:
        return (
            self.left < other.right and other.left < self.right
            and self.top < other.bottom and other.top < self.bottom
        )  # fmt: skip

    def holds(self, other: Box) -> bool:
        return (
            self.left <= other.left and other.right <= self.right
            and self.top <= other.top and other.bottom <= self.bottom
        )  # fmt: skip

    def meets(self, a: Spot, b: Spot) -> bool:
        """Whether a straight line passes through the inside (Liang and Barsky 1984)."""
        low, high = 0.0, 1.0
        for delta, start, least, most in (
            (b[0] - a[0], a[0], self.left, self.right),
            (b[1] - a[1], a[1], self.top, self.bottom),
        ):
            if delta == 0:
                if not least < start < most:
                    return False
                continue
            ends = sorted(((least - start) / delta, (most - start) / delta))
            low, high = max(low, ends[0]), min(high, ends[1])
        return low < high


@dataclass(frozen=True)
class Drawing:
    words: tuple[Box, ...]
    lines: tuple[tuple[Spot, Spot, int], ...]
    bodies: tuple[Box, ...]
    """Boxes and circles of loads and coils, and those of what works a contact."""
    width: float
    height: float


def read(text: str) -> Drawing:
    """Read a drawing; words get the room of their letters, not of their whole line."""
    root = ElementTree.fromstring(text)
    words: list[Box] = []
    lines: list[tuple[Spot, Spot, int]] = []
    bodies: list[Box] = []
    groups = itertools.count()

    def walk(element: ElementTree.Element, group: int) -> None:
        for child in element:
            tag = child.tag.removeprefix(SVG)
            if tag == "g":
                assert child.get("transform") is None
                walk(child, next(groups) if child.get("class") == "element" else group)
            elif tag == "text":
                size = int(child.get("font-size", "11"))
                said = child.text or ""
                wide = text_width(said, size, child.get("font-weight") == "bold")
                x, y = float(child.get("x", "0")), float(child.get("y", "0"))
                x -= {"middle": wide / 2, "end": wide}.get(child.get("text-anchor", ""), 0)
                words.append(Box(x, y - 0.75 * size, x + wide, y + 0.15 * size, group, said))
            elif tag == "path":
                # An arc is short: its chord stands for it.
                ends = [float(n) for n in re.findall(r"-?[\d.]+", child.get("d", ""))]
                lines.append(((ends[0], ends[1]), (ends[-2], ends[-1]), group))
            elif tag in ("polyline", "polygon"):
                spots = [
                    (float(x), float(y))
                    for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", child.get("points", ""))
                ]
                if tag == "polygon":
                    spots.append(spots[0])
                lines.extend((a, b, group) for a, b in itertools.pairwise(spots))
            elif tag == "rect" and child.get("stroke") == "black":
                x, y = float(child.get("x", "0")), float(child.get("y", "0"))
                wide, high = float(child.get("width", "0")), float(child.get("height", "0"))
                bodies.append(Box(x, y, x + wide, y + high, group, "box"))
            elif tag == "circle" and float(child.get("r", "0")) > 5:
                x, y = float(child.get("cx", "0")), float(child.get("cy", "0"))
                r = float(child.get("r", "0"))
                bodies.append(Box(x - r, y - r, x + r, y + r, group, "circle"))

    walk(root, -1)
    return Drawing(
        tuple(words),
        tuple(lines),
        tuple(bodies),
        float(root.get("width", "0")),
        float(root.get("height", "0")),
    )


def validate(text: str) -> None:
    """Assert all that a reader of the drawing relies on."""
    drawing = read(text)
    for box in (*drawing.words, *drawing.bodies):
        assert box.left >= 0 and box.top >= 0, box
        assert box.right <= drawing.width and box.bottom <= drawing.height, box
    for a, b in itertools.combinations(drawing.words, 2):
        assert not a.overlaps(b), (a, b)
    for a, b in itertools.combinations(drawing.bodies, 2):
        assert not a.overlaps(b), (a, b)
    for word in drawing.words:
        inside = [body for body in drawing.bodies if body.overlaps(word)]
        # Words stand in the body of their own element, or in none.
        assert all(body.group == word.group for body in inside), (word, inside)
        if inside:
            continue
        for a, b, _ in drawing.lines:
            assert not word.meets(a, b), (word, a, b)
    for body in drawing.bodies:
        inner = Box(body.left + 1, body.top + 1, body.right - 1, body.bottom - 1, 0, "")
        for a, b, group in drawing.lines:
            # Its own leads end at it (they are drawn first and the body over them).
            assert group == body.group or not inner.meets(a, b), (body, a, b)


def both(design: Design, kit: Kit) -> tuple[str, str]:
    nodes = {wire.number: number for number, wire in enumerate(design.wires, 1)}
    plain, ladder = (
        circuit_svg(design, kit, "Hen house", nodes, ladder=way) for way in (False, True)
    )
    return plain, ladder


@pytest.mark.parametrize("size", DESIGNS)
def test_hand_made_designs(size: str) -> None:
    for text in both(DESIGNS[size], KIT):
        validate(text)


@pytest.mark.parametrize("name", KEPT)
def test_kept_designs(name: str) -> None:
    problem, design = kept(name)
    for text in both(design, problem.kit):
        validate(text)


@st.composite
def trees(draw: st.DrawFn) -> Design:
    """Random circuits in which power reaches everything: each part hangs on an output that is free,
    controls too, and what is left open gets a load; up to about fifty parts."""
    parts = [PartInUse("supply", PartType.SUPPLY, "supply", (("units", 9),))]
    free = [Terminal("supply", "out")]
    ends: list[tuple[Terminal, Terminal]] = []
    kinds = [kind for kind in PartType if kind not in (PartType.SUPPLY, PartType.LOAD)]
    for number in range(draw(st.integers(1, 24))):
        kind = draw(st.sampled_from(kinds))
        shape = SHAPES[kind]
        inputs = (*shape.power, *shape.controls)
        if len(free) < len(inputs):
            continue
        settings_ = {
            PartType.TAP_OFF: (("units", 2),),
            PartType.BISTABLE: (("wins", "set"),),
            PartType.TWILIGHT: (("passes", draw(st.sampled_from(["night", "day"]))),),
        }.get(kind, (("contact", draw(st.sampled_from(["make", "break"]))),))
        part = PartInUse(f"part {number}", kind, kind.value.replace("-", " "), settings_)
        for terminal in inputs:
            source = free.pop(draw(st.integers(0, len(free) - 1)))
            ends.append((source, Terminal(part.name, terminal)))
        parts.append(part)
        outputs = KIT.index[part.part].shape.outputs
        free += [Terminal(part.name, out) for out in outputs]
    for number, source in enumerate(free):
        if draw(st.booleans()):
            load = PartInUse(f"{draw(NAMES)} {number}", PartType.LOAD, "load", (("needs", 1),))
            parts.append(load)
            ends.append((source, Terminal(load.name, "in")))
    return Design(
        "garden",
        tuple(parts),
        tuple(Wire(number, a, b, 1) for number, (a, b) in enumerate(ends, 1)),
    )


@settings(max_examples=40, deadline=None)
@given(trees())
def test_random_designs(design: Design) -> None:
    for text in both(design, KIT):
        validate(text)


def test_a_drawing_that_is_spoilt_is_seen() -> None:
    """The reader above finds words over words, and a line through a part."""
    text, _ = both(DESIGNS["12"], KIT)
    validate(text)
    word = next(w for w in read(text).words if w.what == "-S1")
    twice = f'<text x="{word.left + 3}" y="{word.bottom}" font-size="11">x</text></svg>'
    with pytest.raises(AssertionError):
        validate(text.replace("</svg>", twice))
    body = read(text).bodies[0]
    middle = (body.top + body.bottom) / 2 + 4
    line = f'<polyline points="0,{middle} 700,{middle}"/></svg>'
    with pytest.raises(AssertionError):
        validate(text.replace("</svg>", line))


def test_rows_of_paths() -> None:
    """Twenty paths behind one switch: rows of at most eight, the node goes on from row to row."""
    parts = [
        PartInUse("supply", PartType.SUPPLY, "supply", (("units", 40),)),
        PartInUse("master", PartType.SWITCH, "switch", (("input", "m"), ("contact", "make"))),
    ]
    ends = [(Terminal("supply", "out"), Terminal("master", "in"))]
    source = Terminal("master", "out")
    for number in range(10):
        parts.append(PartInUse(f"d{number}", PartType.DIVIDER, "divider", ()))
        ends.append((source, Terminal(f"d{number}", "in")))
        for out in ("out1", "out2"):
            load = f"lamp {number} {out}"
            parts.append(PartInUse(load, PartType.LOAD, "load", (("needs", 1),)))
            ends.append((Terminal(f"d{number}", out), Terminal(load, "in")))
        source = Terminal(f"d{number}", "out3")
    wires = tuple(Wire(n, a, b, 1) for n, (a, b) in enumerate(ends, 1))
    design = Design("garden", tuple(parts), wires)
    nodes = {wire.number: 1 if wire.number == 1 else 2 for wire in wires}
    text = circuit_svg(design, KIT, "Hen house", nodes)
    validate(text)
    drawing = read(text)
    numbers = {w.what: w for w in drawing.words if re.fullmatch(r"\d+", w.what)}
    rows = sorted({numbers[str(n)].top for n in range(1, 21)})
    assert len(rows) == 3 and drawing.width <= 1100
    assert all(sum(numbers[str(n)].top == row for n in range(1, 21)) <= 8 for row in rows)
    # Where it leaves the first row, both ends in the middle one, where it enters the last; and
    # once where it begins.
    assert [w.what for w in drawing.words].count("(2)") == 5


def test_markings_and_delays() -> None:
    """Terminals as on trade parts, from memory of EN 50005: a change-over is 11-12-14, a break
    contact 11-12, a make contact 13-14, a coil A1/A2; timers ..7-..8."""
    text, ladder = both(DESIGNS["20"], KIT)
    paths = paths_of(DESIGNS["20"], KIT)
    names = designations(DESIGNS["20"])
    for drawn in (text, ladder):
        groups = [
            (g.findtext(f"{SVG}title") or "", [t.text for t in g.findall(f"{SVG}text")])
            for g in ElementTree.fromstring(drawn).iter(f"{SVG}g")
            if g.get("class") == "element"
        ]
        for part, ends in (
            ("relay changeover 1", {":11", ":14"}),
            ("relay break 1", {":11", ":12"}),
            ("master switch", {":13", ":14"}),
            ("pulse timer 1", {":17", ":18"}),
        ):
            (words,) = [w for t, w in groups if f"({part}), contact" in t]
            assert ends <= set(words), (part, words)
        (coil,) = [w for t, w in groups if "(relay break 1), coil" in t]
        assert {":A1", ":A2"} <= set(coil)
    assert paths.count == 10 and names["relay break 1"] == "K3"
    braked = [
        DESIGNS["40"]
        if kind is PartType.ON_DELAY
        else Design(
            "garden",
            tuple(
                PartInUse(
                    p.name,
                    kind if p.type is PartType.ON_DELAY else p.type,
                    kind.value.replace("-", " ") if p.type is PartType.ON_DELAY else p.part,
                    p.settings,
                )
                for p in DESIGNS["40"].parts
            ),
            DESIGNS["40"].wires,
        )
        for kind in (PartType.ON_DELAY, PartType.OFF_DELAY, PartType.PULSE)
    ]
    slow, late, plain = (re.findall(r"<path d=\"([^\"]+)", both(d, KIT)[0]) for d in braked)
    assert len(slow) == len(late) == 13 and plain == []
    # The arcs bulge to opposite sides.
    assert {arc.split()[8] for arc in slow} == {"0"} and {arc.split()[8] for arc in late} == {"1"}


def test_fast_at_forty_parts() -> None:
    begin = time.perf_counter()
    both(DESIGNS["40"], KIT)
    assert time.perf_counter() - begin < 1.0
