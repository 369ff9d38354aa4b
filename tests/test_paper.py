"""Drawings on sheets of paper: legible, nothing cut, nothing lost, each sheet readable alone.

All is read back from the SVG of each sheet, or from the PDF. ISO 216 gives A4 as 210 by 297 mm, US
Letter is 8.5 by 11 in; a point is 1/72 in. The scenario is invented.
"""

from __future__ import annotations

import itertools
import math
import re
import zlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from random import Random
from unittest import mock
from xml.etree import ElementTree

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from test_current_paths import read, trees, validate
from test_drawings import DESIGNS, KIT, NIGHT, SVG, designs, drawn, part, traces
from test_drawings import validate as validate_layout
from test_modes import kept

from synth.check.showing import showing
from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import PartType
from synth.report import paper
from synth.report.current_paths import paths_of
from synth.report.layout import layout
from synth.report.paper import SCALE, TIGHT, Leaf, rooms, shared_out, size_of
from synth.report.path_drawing import circuit_sheets
from synth.report.pdf import latin, pdf_of
from synth.report.svg import text_width, visible
from synth.report.symbols import designations
from synth.report.time_axis import exact_time
from synth.report.timing import WIDEST, timing_sheets, timing_svg
from synth.report.wiring_sheets import _Cutter, wiring_sheets
from synth.ticks import parse_duration
from synth.trace import Trace, Track

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN = 14.0
"""Margin of the printed page, mm."""
LEGIBLE = 5.9
"""Points of the smallest writing (common practice, no source: not below 6, less rounding)."""
TINY = {"tiny": ((660, 560), (760, 420)), "slip": ((540, 300), (560, 280))}
"""Papers so small that most drawings have to be divided."""
LARGE = ["whole-yard", "hen-house", "glasshouse", "workbench"]


def root_of(leaf: Leaf) -> ElementTree.Element:
    return ElementTree.fromstring(leaf.svg.encode())


def smallest(leaf: Leaf, name: str) -> float:
    """Points of the smallest writing of a sheet, printed into the room of the paper."""
    wide, high = PAPERS[name]
    if leaf.turned:
        wide, high = high, wide
    width, height = size_of(leaf.svg)
    scale = min((wide - 2 * MARGIN) / 25.4 * 72 / width, (high - 2 * MARGIN) / 25.4 * 72 / height)
    return 11 * min(scale, 0.75)


def assert_nothing_cut(leaf: Leaf) -> None:
    """Every word, also a slanted one, lies within the drawing."""
    width, height = size_of(leaf.svg)

    def walk(element: ElementTree.Element, x0: float, y0: float) -> None:
        for child in element:
            if child.tag == f"{SVG}g":
                move = re.findall(r"-?[\d.]+", child.get("transform", "translate(0 0)"))
                walk(child, x0 + float(move[0]), y0 + float(move[1]))
            elif child.tag == f"{SVG}text":
                size = int(child.get("font-size", "11"))
                wide = text_width(child.text or "", size, child.get("font-weight") == "bold")
                x, y = x0 + float(child.get("x", "0")), y0 + float(child.get("y", "0"))
                x -= {"middle": wide / 2, "end": wide}.get(child.get("text-anchor", ""), 0)
                slant = 0.71 if child.get("transform", "").startswith("rotate(45") else 0
                assert x >= -0.5 and y >= 0.75 * size - 0.5, child.text
                assert x + (slant or 1) * wide <= width + 0.5, child.text
                assert y + slant * wide <= height + 0.5, child.text

    walk(root_of(leaf), 0, 0)


class TestRooms:
    @pytest.mark.parametrize("name", PAPERS)
    def test_fit_the_paper(self, name: str) -> None:
        wide, high = PAPERS[name]
        for room in rooms(name):
            width, height = (high, wide) if room.turned else (wide, high)
            assert room.width * SCALE / 72 * 25.4 <= width - 2 * MARGIN
            assert room.height * SCALE / 72 * 25.4 <= height - 2 * MARGIN
        # ISO 3098-1: lettering of 1.8 mm is the smallest (from memory); capitals of the fonts
        # used are 0.72 em high.
        assert 11 * SCALE * 0.72 / 72 * 25.4 >= 1.8
        assert 11 * SCALE / TIGHT >= LEGIBLE

    @given(st.lists(st.integers(1, 50), max_size=12), st.integers(20, 90))
    def test_sharing_out(self, lengths: list[int], room: int) -> None:
        """Beside all ways of dividing a list, tried one by one."""
        groups = shared_out(lengths, room)
        assert [i for a, b in groups for i in range(a, b)] == list(range(len(lengths)))
        if not lengths:
            return
        sums = [sum(lengths[a:b]) for a, b in groups]
        assert all(s <= room or b - a == 1 for s, (a, b) in zip(sums, groups, strict=True))
        fewest = None
        for count in range(len(lengths)):
            found = []
            for cuts in itertools.combinations(range(1, len(lengths)), count):
                ends = list(itertools.pairwise([0, *cuts, len(lengths)]))
                own = [sum(lengths[a:b]) for a, b in ends]
                if all(s <= room or b - a == 1 for s, (a, b) in zip(own, ends, strict=True)):
                    found.append(max(own))
            if found:
                fewest = count + 1, min(found)
                break
        assert fewest == (len(groups), max(sums))


# ---- timing ---------------------------------------------------------------------------------


def strips_of(leaf: Leaf) -> list[dict[str, list[tuple[str, str, bool]]]]:
    """Return for each strip of a sheet what is drawn of each track: (from, to, on)."""
    strips: list[dict[str, list[tuple[str, str, bool]]]] = []
    tracks: list[ElementTree.Element] = []
    for group in root_of(leaf).iter(f"{SVG}g"):
        if group.get("class") == "track":
            tracks.append(group)
        elif group.get("class") == "axis":
            ticks = [(int(e.get("x", "0")) + 3, e.text or "") for e in group.iter(f"{SVG}text")]
            found: dict[str, list[tuple[str, str, bool]]] = {}
            for track in tracks:
                name = (track.findtext(f"{SVG}title") or "").rpartition(" (")[0]
                grey = {
                    (int(e.get("x", "0")), int(e.get("width", "0")))
                    for e in track.iter(f"{SVG}rect") if e.get("fill") == "#e4e4e4"
                }
                found[name] = [
                    (t1, t2, (x1, x2 - x1) in grey)
                    for (x1, t1), (x2, t2) in itertools.pairwise(ticks)
                ]
                said = [e.text for e in track.iter(f"{SVG}text")]
                assert said and said[0] and name.startswith(said[0].rstrip("…")), "a named row"
            strips.append(found)
            tracks = []
    return strips


@cache
def shown(name: str) -> Trace:
    problem, design = kept(name)
    return showing(design, problem)


@pytest.mark.parametrize("form", PAPERS)
@pytest.mark.parametrize("name", LARGE)
def test_timing_in_strips(name: str, form: str) -> None:
    """The levels drawn, put together over all sheets, are those of the run, once each; every strip
    has the names of its rows and a time axis of its own."""
    trace = shown(name)
    leaves = timing_sheets(trace, name, form)
    assert name != "whole-yard" or len(leaves) > 3
    told: dict[str, list[tuple[str, str, bool]]] = {}
    for leaf in leaves:
        assert smallest(leaf, form) >= LEGIBLE
        assert_nothing_cut(leaf)
        for strip in strips_of(leaf):
            for row, own in strip.items():
                assert own
                told.setdefault(row, []).extend(own)
    assert set(told) == {track.name for track in trace.tracks}
    for track in trace.tracks:
        spans = told[track.name]
        assert all(a[1] == b[0] for a, b in itertools.pairwise(spans))
        times = [parse_duration(t) if t != "0 s" else 0 for t, _, _ in spans]
        assert times[0] == 0 and parse_duration(spans[-1][1]) == trace.end
        for time, (_, _, level) in zip(times, spans, strict=True):
            assert level == track.level(Fraction(time)), (track.name, time)


NO_ROOM = Trace(
    Fraction(2000), tuple(Track(f"pump {i}", "input", False, ()) for i in range(3)),
    ((Fraction(0), "pump"), (Fraction(5143, 3), "pump")),
)
"""Words beside the axis that leave no room for a row on the tiny paper."""


@settings(max_examples=60, deadline=None)
@given(traces())
@example(NO_ROOM)
@pytest.mark.slow
def test_random_timing_on_tiny_paper(trace: Trace) -> None:
    with mock.patch.dict(paper._SIZES, TINY):
        leaves = timing_sheets(trace, "Random", "slip")
    spans: Counter[str] = Counter()
    for leaf in leaves:
        assert_nothing_cut(leaf)
        for strip in strips_of(leaf):
            for track, own in strip.items():
                spans[track] += len(own)
    assert len(set(spans.values())) <= 1, "all rows over all of the time"
    assert len(spans) == len({visible(f"{t.name} ({t.role})") for t in trace.tracks})


def test_numbers_of_sheets_are_told() -> None:
    many = Trace(NIGHT.end, tuple(
        Track(f"{track.name} {i}", track.role, track.start, track.changes)
        for i in range(8) for track in NIGHT.tracks
    ), NIGHT.marks)
    leaves = timing_sheets(many, "Hen house", "A4")
    assert len(leaves) > 1
    for number, leaf in enumerate(leaves, 1):
        said = [e.text or "" for e in root_of(leaf).iter(f"{SVG}text")]
        assert said[0] == "Hen house"
        assert f"sheet {number} of {len(leaves)}: from 0 s" in said[1] and "rows" in said[1]


# ---- current paths --------------------------------------------------------------------------


def nodes_of(design: Design) -> dict[int, int]:
    return {wire.number: number for number, wire in enumerate(design.wires, 1)}


def check_paths(design: Design, leaves: Sequence[Leaf], count: int, elements: int) -> None:
    """Every path is on one sheet, every element drawn once, and what goes on elsewhere is named at
    both ends."""
    numbers: Counter[str] = Counter()
    drawn_elements = 0
    ends: Counter[tuple[str, int, int]] = Counter()
    for here, leaf in enumerate(leaves, 1):
        validate(leaf.svg)
        root = root_of(leaf)
        bold = [e.text or "" for e in root.iter(f"{SVG}text") if e.get("font-weight") == "bold"]
        numbers.update(t for t in bold if t.isdigit())
        drawn_elements += sum(g.get("class") == "element" for g in root.iter(f"{SVG}g"))
        for word in read(leaf.svg).words:
            if match := re.fullmatch(r"(\(\d+\)) sheet (\d+)", word.what):
                ends[match[1], here, int(match[2])] += 1
    assert numbers == Counter({str(n): 1 for n in range(1, count + 1)})
    assert drawn_elements == elements
    for (node, here, there), times in ends.items():
        assert abs(here - there) == 1 and ends[node, there, here] == times


@pytest.mark.parametrize("form", PAPERS)
@pytest.mark.parametrize("ladder", [False, True])
@pytest.mark.parametrize("name", [*LARGE, "40"])
def test_paths_on_sheets(name: str, ladder: bool, form: str) -> None:
    if name == "40":
        design, kit = DESIGNS["40"], KIT
    else:
        problem, design = kept(name)
        kit = problem.kit
    leaves = circuit_sheets(design, kit, "Yard", nodes_of(design), form, ladder)
    assert name != "whole-yard" or len(leaves) > 1
    paths = paths_of(design, kit)
    check_paths(design, leaves, paths.count, len(paths.every))
    for number, leaf in enumerate(leaves, 1):
        assert smallest(leaf, form) >= LEGIBLE
        if len(leaves) > 1:
            told = [e.text or "" for e in root_of(leaf).iter(f"{SVG}text")][0]
            (first, last, others) = re.findall(
                r"current paths (\d+) to (\d+) \((.*)\)", told
            )[0]
            assert f"sheet {number} of {len(leaves)}" in told
            # The index of all sheets is on each: together they name every path.
            spans = [(int(first), int(last))] + [
                (int(a), int(b)) for a, b in re.findall(r"(\d+) to (\d+): sheet", others)
            ]
            assert sorted(n for a, b in spans for n in range(a, b + 1)) == list(
                range(1, paths.count + 1)
            )


@st.composite
def groves(draw: st.DrawFn) -> Design:
    """Some random circuits behind one switch and a chain of dividers."""
    master = PartInUse("master", PartType.SWITCH, "switch", (("input", "m"), ("contact", "make")))
    parts = [PartInUse("supply", PartType.SUPPLY, "supply", (("units", 40),)), master]
    ends = [(Terminal("supply", "out"), Terminal("master", "in"))]
    source = Terminal("master", "out")
    for number in range(draw(st.integers(4, 7))):
        divider = f"divider {number}"
        parts.append(PartInUse(divider, PartType.DIVIDER, "divider"))
        ends.append((source, Terminal(divider, "in")))
        source = Terminal(divider, "out3")
        parts.append(PartInUse(f"pilot {number}", PartType.LOAD, "load", (("needs", 1),)))
        ends.append((Terminal(divider, "out1"), Terminal(f"pilot {number}", "in")))
        tree = draw(trees())
        parts += [replace(p, name=f"{p.name} {number}") for p in tree.parts[1:]]
        for wire in tree.wires:
            begin = Terminal(f"{wire.source.part} {number}", wire.source.terminal)
            if wire.source.part == "supply":
                begin = Terminal(divider, "out2")
            ends.append((begin, Terminal(f"{wire.target.part} {number}", wire.target.terminal)))
    wires = tuple(Wire(n, a, b, 1) for n, (a, b) in enumerate(ends, 1))
    return Design("garden", tuple(parts), wires)


@settings(max_examples=12, deadline=None)
@given(groves(), st.booleans())
@pytest.mark.slow
def test_random_paths_on_tiny_paper(design: Design, ladder: bool) -> None:
    with mock.patch.dict(paper._SIZES, TINY):
        leaves = circuit_sheets(design, KIT, "Hen house", nodes_of(design), "tiny", ladder)
    paths = paths_of(design, KIT)
    check_paths(design, leaves, paths.count, len(paths.every))


# ---- layout ---------------------------------------------------------------------------------


def check_layout(design: Design, leaves: Sequence[Leaf]) -> None:
    """Every part is on one sheet. A wire within a sheet is drawn once; one between two sheets is
    drawn on both, and the flag on each names the other."""
    names = [p.name for p in design.parts]
    parts: Counter[str] = Counter()
    sheet_of: dict[str, int] = {}
    flags: list[tuple[int, str, str, int]] = []
    wires: Counter[int] = Counter()
    for here, leaf in enumerate(leaves, 1):
        assert_nothing_cut(leaf)
        for group in root_of(leaf).iter(f"{SVG}g"):
            title = group.findtext(f"{SVG}title") or ""
            kind = group.get("class") or ""
            if kind == "part":
                parts[title] += 1
                sheet_of[title.rpartition(" (")[0]] = here
            elif kind == "stub":
                for text in group.iter(f"{SVG}text"):
                    assert text_width(text.text or "") <= 112 - 6 - 12, "words stay in the flag"
                mark, word, there = re.findall(r"(.*) (to|from) sheet (\d+)$", title)[0]
                flags.append((here, mark, word, int(there)))
            elif kind in ("power wire", "control wire"):
                wires[int(re.findall(r"wire (\d+):", title)[0])] += 1
    assert parts == Counter(visible(f"{p.name} ({p.type.value})") for p in design.parts)
    if len(leaves) == 1:
        assert not flags
        return
    told = dict(zip(names, designations(design).values(), strict=True))
    expected: Counter[tuple[int, str, str, int]] = Counter()
    for wire in design.wires:
        a, b = (sheet_of[visible(end.part)] for end in (wire.source, wire.target))
        assert wires[wire.number] == (1 if a == b else 2), wire
        if a != b:
            for here, end, word, there in ((a, wire.target, "to", b), (b, wire.source, "from", a)):
                mark = f"-{told[end.part]}:{end.terminal}"
                expected[here, mark, word, there] += 1
    assert Counter(flags) == expected


@pytest.mark.parametrize("form", PAPERS)
@pytest.mark.parametrize("name", [*LARGE, "20", pytest.param("40", marks=pytest.mark.slow)])
def test_layout_on_sheets(name: str, form: str) -> None:
    if name.isdigit():
        design, kit = DESIGNS[name], KIT
    else:
        problem, design = kept(name)
        kit = problem.kit
    leaves = wiring_sheets(design, kit, "Yard", form)
    assert name not in ("40", "whole-yard") or len(leaves) > 1
    check_layout(design, leaves)
    # The first sheet explains all signs and letters that any sheet has.
    said = " ".join(e.text or "" for e in root_of(leaves[0]).iter(f"{SVG}text"))
    if len(leaves) > 1:
        assert "A flag stands for the other end" in said and "control wire" in said
        letters = {d[0] for d in designations(design).values()}
        assert all(re.search(rf"[:,] {letter} [a-z]", said) for letter in letters)
    assert all("Caution: switch off" in leaf.svg for leaf in leaves)
    assert all(smallest(leaf, form) >= LEGIBLE for leaf in leaves)
    assert leaves == wiring_sheets(design, kit, "Yard", form)


@settings(max_examples=25, deadline=None)
@given(designs(well_formed=True))
def test_random_layouts_on_tiny_paper(design: Design) -> None:
    with mock.patch.dict(paper._SIZES, TINY):
        check_layout(design, wiring_sheets(design, KIT, "Hen house", "tiny"))


@settings(max_examples=25, deadline=None)
@given(designs(well_formed=True), st.data())
def test_pieces_of_random_designs_are_sound(design: Design, data: st.DataObject) -> None:
    """What holds of whole layouts holds of pieces with flags: no wire through a part or a word."""
    names = [p.name for p in design.parts]
    some = data.draw(st.lists(st.sampled_from(names), min_size=1, unique=True))
    plan, flags = _Cutter(design, KIT, "x", "A4", layout(design, KIT), names[0])._piece(some, {})
    assert set(flags) | set(some) == {placed.part.name for placed in plan.parts}
    piece = Design("x", tuple(placed.part for placed in plan.parts),
                   tuple(Wire(w.wire.number, w.wire.source, w.wire.target) for w in plan.wires))
    validate_layout(plan, piece)


# ---- PDF ------------------------------------------------------------------------------------


def pages_of(content: bytes) -> list[tuple[list[str], list[float]]]:
    """Return the words and the sizes of writing (points) of each page, by a reader of just what
    a PDF content stream holds (ISO 32000-1, 7.3.4.2 literal strings, 9.3 text state)."""
    pages = []
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", content, re.S):
        try:
            text = zlib.decompress(stream).decode("latin-1")
        except zlib.error:
            continue
        words = re.findall(r"\(((?:[^()\\]|\\.)*)\) Tj", text)
        sizes = [float(size) for size in re.findall(r"/F\d+ ([\d.]+) Tf", text)]
        if words:
            pages.append(([re.sub(r"\\(.)", r"\1", word) for word in words], sizes))
    return pages


@pytest.mark.parametrize("form", PAPERS)
def test_every_page_of_the_pdf(form: str) -> None:
    """One page for each sheet, with its title and its number; no writing too small, and no word of
    ours that the fonts cannot write."""
    pytest.importorskip("fpdf")
    problem, design = kept("whole-yard")
    kit = problem.kit
    drawings = {
        "Circuit diagram": circuit_sheets(design, kit, "Yard", nodes_of(design), form),
        "Ladder diagram": circuit_sheets(design, kit, "Yard", nodes_of(design), form, True),
        "Layout": wiring_sheets(design, kit, "Yard", form),
        "Timing diagram": timing_sheets(shown("whole-yard"), "Yard", form),
    }
    content = pdf_of(drawings, form, "Pack: Yard")
    pages = pages_of(content)
    leaves = [leaf for own in drawings.values() for leaf in own]
    assert len(pages) == len(leaves) == len(re.findall(rb"/Type /Page\b", content))
    wanted = [f"Pack: Yard. {name}, sheet {i} of {len(own)}."
              for name, own in drawings.items() for i in range(1, len(own) + 1)]
    for (words, sizes), leaf, foot in zip(pages, leaves, wanted, strict=True):
        assert words[-1] == foot
        assert min(sizes) >= LEGIBLE
        assert sorted(words[:-1]) == sorted(
            latin(e.text or "") for e in root_of(leaf).iter(f"{SVG}text")
        )
        assert not any("?" in word for word in words)
    assert any("t-0" in words for words, _ in pages), "the sign of an on-delay"


@pytest.mark.parametrize("kind", PartType)
def test_signs_of_ours_can_be_written(kind: PartType) -> None:
    _, root = drawn(part("x", kind.value))
    for element in root.iter(f"{SVG}text"):
        assert "?" not in latin(element.text or ""), element.text


def test_nearest_letters() -> None:
    """Letters with accents lose them (Unicode, NFKD), what has no nearest becomes a mark."""
    assert latin("Škopek – “ß” → 水") == 'Skopek - "ß" -> ?'
    assert latin("\u0065\u0301\u0065") == "ee"
    assert not math.isnan(smallest(Leaf('<svg x="" width="9" height="9">', False), "A4"))


def test_a_long_run_goes_into_strips() -> None:
    """A hundred changes at odd times, wider than any screen in one row: every time stands on it,
    and no row is wider than a screen."""
    random = Random(1)
    times = sorted(random.sample(range(1000, 90_000_000), 100))
    tracks = tuple(
        Track(name, "load", False, tuple((Fraction(t), i % 2 == 0) for i, t in enumerate(own)))
        for name, own in (("pump", times[::2]), ("fan", times[1::2]))
    )
    text = timing_svg(Trace(Fraction(times[-1] + 5000), tracks), "Long")
    root = ElementTree.fromstring(text)
    assert int(root.get("width", "0")) <= WIDEST
    told = [element.text for element in root.iter() if element.tag.endswith("text")]
    assert told.count("pump") > 2 and {exact_time(Fraction(t)) for t in times} <= {*told}
