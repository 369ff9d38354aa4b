"""Where every part, wire and label of a design goes: a layered drawing, power left to right.

The passes, after the layered method of Sugiyama, Tagawa and Toda (1981):

1. `columns_of`: each part gets a column, by its longest path from the supply;
2. `_Chains`: a wire across several columns is cut at *lanes*, one in each column on its way; a
   wire back to an earlier column turns round and runs back along lanes;
3. `_order`: parts and lanes of a column are ordered by barycentre, then by swapping neighbours,
   so that few wires cross;
4. `_heights`: they get heights that keep wires straight where possible;
5. `_route`: between two columns lies a *channel*; there each wire gets a vertical track.

Two wires never lie on one another: within a channel no two wires enter at the same height, and
vertical pieces that would meet lie on different tracks. No wire meets a part: lanes and parts of a
column are stacked, and outside columns there are no parts.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from synth.design import Design, PartInUse, Wire
from synth.parts.behaviour import SHAPES, PartType, Shape
from synth.parts.kit import Kit
from synth.report.layers import (
    TRACK,
    End,
    Frame,
    Node,
    Piece,
    assign_tracks,
    columns_of,
    order_columns,
    settle_heights,
)
from synth.report.svg import Point, text_width, wrap
from synth.report.symbols import WIDTH, Outline, Pin, designations_of, outline, setting_lines

LINE = 14
"""Height of a line of text, px."""
GAP = 16
"""Distance between parts in a column, px."""
MARGIN = 24
"""White border of the drawing, px."""
LABEL_WIDTH = 150
"""Widest line of a part's label, px."""
_OVERHANG = (LABEL_WIDTH - WIDTH) // 2 + 4


@dataclass(frozen=True)
class Rect:
    """An upright rectangle: upper left corner and size, px."""

    x: int
    y: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """The x of its right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> int:
        """The y of its lower edge."""
        return self.y + self.height

    def overlaps(self, other: Rect) -> bool:
        """Return whether the two share more than an edge."""
        return (
            self.x < other.right and other.x < self.right
            and self.y < other.bottom and other.y < self.bottom
        )

    def meets_segment(self, a: Point, b: Point) -> bool:
        """Return whether the upright or level segment a–b reaches inside (edges do not count)."""
        return (
            min(a[0], b[0]) < self.right and max(a[0], b[0]) > self.x
            and min(a[1], b[1]) < self.bottom and max(a[1], b[1]) > self.y
        )


@dataclass(frozen=True)
class Label:
    """One line of text in its rectangle; `kind` is name, type, setting, wire or wire-end."""

    text: str
    rect: Rect
    kind: str
    bold: bool = False


@dataclass(frozen=True)
class Elsewhere:
    """What a drawing of some of the parts has to be told of the rest of the design.

    `designations` of all parts by name. `control`: the numbers of the wires that end on a coil or
    the like, also where that end is on another sheet. `stubs`: the parts that only stand for the
    other end of such a wire, with the words on each.
    """

    designations: Mapping[str, str]
    control: frozenset[int]
    stubs: Mapping[str, tuple[str, ...]]


STUB = 40
"""Height of what stands for the other end of a wire, px."""


@dataclass(frozen=True)
class PlacedPart:
    """A part, the rectangle of its outline, and its letter and number after IEC 81346-2."""

    part: PartInUse
    rect: Rect
    outline: Outline
    designation: str


@dataclass(frozen=True)
class RoutedWire:
    """A wire with its corners, from output to input; only level and upright pieces."""

    wire: Wire
    control: bool
    points: tuple[Point, ...]


@dataclass(frozen=True)
class Layout:
    """The whole drawing, without legend; `unplaced` are wires on parts that do not exist."""

    width: int
    height: int
    parts: tuple[PlacedPart, ...]
    wires: tuple[RoutedWire, ...]
    labels: tuple[Label, ...]
    unplaced: tuple[Wire, ...] = ()


def shape_of(part: PartInUse, kit: Kit) -> Shape:
    """Return the terminals of `part`; those of its type when the kit does not know it."""
    known = kit.index.get(part.part)
    return known.shape if known and known.type is part.type else SHAPES[part.type]


def layout(design: Design, kit: Kit, elsewhere: Elsewhere | None = None) -> Layout:
    """Return where everything goes. Any list of parts and wires gets a layout, also one that is
    not a well-formed design; the same design always gets the same one. `elsewhere` is told where
    `design` is but a piece of one."""
    if not design.parts:
        return Layout(2 * MARGIN, 2 * MARGIN, (), (), (), design.wires)
    place = {part.name: i for i, part in reversed(list(enumerate(design.parts)))}
    wires = [w for w in design.wires if w.source.part in place and w.target.part in place]
    unplaced = tuple(w for w in design.wires if w not in wires)
    shapes = [shape_of(part, kit) for part in design.parts]
    ends = [(place[w.source.part], place[w.target.part]) for w in wires]
    control = [w.target.terminal in shapes[ends[i][1]].controls for i, w in enumerate(wires)]
    outlines = _outlines(design, shapes, wires, ends)
    names = [f"-{name}" for name in designations_of(design.parts)]
    tops = [_top_lines(part, name) for part, name in zip(design.parts, names, strict=True)]
    bottoms = [_bottom_lines(part) for part in design.parts]
    if elsewhere is not None:
        control = [wire.number in elsewhere.control for wire in wires]
        names = [elsewhere.designations.get(part.name, "") for part in design.parts]
        for i, part in enumerate(design.parts):
            if part.name in elsewhere.stubs:
                pins = [tuple(Pin(pin.terminal, STUB // 2) for pin in side)
                        for side in (outlines[i].left, outlines[i].right)]
                outlines[i] = Outline(STUB, *pins)
                tops[i], bottoms[i] = [], []
            else:
                tops[i] = _top_lines(part, names[i])
    columns = columns_of(len(design.parts), ends, control)
    frame = _frame(columns, outlines, tops, bottoms)
    _add_pieces(frame, wires, ends, outlines)
    order_columns(frame)
    settle_heights(frame, MARGIN)
    return _route(frame, design, outlines, names, tops, bottoms, wires, control, unplaced)


def _top_lines(part: PartInUse, designation: str) -> list[tuple[str, str, bool]]:
    """Return the label above a part: (text, kind, bold)."""
    lines = [(text, "name", True) for text in wrap(part.name, LABEL_WIDTH, 12, bold=True)]
    said = part.name.lower().replace("-", " ")
    named = part.type is PartType.LOAD or any(
        word.lower().replace("-", " ") in said for word in (part.part, part.type.value) if word
    )
    kinds = " ".join(filter(None, (designation, "" if named else part.part or part.type.value)))
    lines += [(text, "type", False) for text in wrap(kinds, LABEL_WIDTH, most=2)]
    return lines


def _bottom_lines(part: PartInUse) -> list[tuple[str, str, bool]]:
    """Return the label below a part: its settings."""
    return [
        (text, "setting", False)
        for line in setting_lines(part)
        for text in wrap(line, LABEL_WIDTH, most=3)
    ]


def _outlines(
    design: Design, shapes: Sequence[Shape], wires: Sequence[Wire], ends: Sequence[tuple[int, int]]
) -> list[Outline]:
    """Return the outline of each part, with a pin for each of its wires."""
    came: dict[int, list[str]] = defaultdict(list)
    left: dict[int, list[str]] = defaultdict(list)
    for wire, (source, target) in zip(wires, ends, strict=True):
        left[source].append(wire.source.terminal)
        came[target].append(wire.target.terminal)
    return [
        outline(part.type, (*shape.power, *shape.controls), shape.outputs, came[i], left[i])
        for i, (part, shape) in enumerate(zip(design.parts, shapes, strict=True))
    ]


def _frame(
    columns: Sequence[int], outlines: Sequence[Outline],
    tops: Sequence[Sequence[object]], bottoms: Sequence[Sequence[object]],
) -> Frame:
    """Return the columns with the parts in them, in the order of the design."""
    nodes = [
        Node(
            column, i,
            LINE * len(top) + 6, shape.height, LINE * len(bottom) + (6 if bottom else 0) + GAP,
        )
        for i, (column, shape, top, bottom) in enumerate(
            zip(columns, outlines, tops, bottoms, strict=True)
        )
    ]
    used = sorted(set(columns))
    rank = {column: i for i, column in enumerate(used)}
    rows: list[list[int]] = [[] for _ in used]
    for i, node in enumerate(nodes):
        node.column = rank[node.column]
        rows[node.column].append(i)
    return Frame(nodes, rows, [[] for _ in range(len(used) + 1)])


def _add_pieces(
    frame: Frame, wires: Sequence[Wire], ends: Sequence[tuple[int, int]],
    outlines: Sequence[Outline],
) -> None:
    """Cut every wire into pieces, one for each channel on its way, joined at lanes."""
    taken: dict[tuple[int, str, bool], int] = defaultdict(int)

    def pin(part: int, terminal: str, right: bool) -> int:
        sides = outlines[part].right if right else outlines[part].left
        own = [p.y for p in sides if p.terminal == terminal]
        taken[part, terminal, right] += 1
        return own[taken[part, terminal, right] - 1]

    def lane(column: int) -> int:
        frame.nodes.append(Node(column))
        frame.columns[column].append(len(frame.nodes) - 1)
        return len(frame.nodes) - 1

    for number, (wire, (source, target)) in enumerate(zip(wires, ends, strict=True)):
        at = End(source, pin(source, wire.source.terminal, True), True)
        goal = End(target, pin(target, wire.target.terminal, False), False)
        here, there = frame.nodes[source].column, frame.nodes[target].column
        run: list[tuple[int, Piece]] = []
        forward = here < there
        # Lanes: in the columns between on the way forward; back, also in its own two columns.
        for column in range(here + 1, there) if forward else range(here, there - 1, -1):
            node = lane(column)
            channel = column if forward else column + 1
            run.append((channel, Piece(number, at, End(node, 0, not forward))))
            at = End(node, 0, forward)
        run.append((there, Piece(number, at, goal)))
        for channel, piece in run:
            frame.channels[channel].append(piece)
        frame.runs.append(run)
    frame.index()


def wire_words(wire: Wire) -> str:
    """Return what stands beside a wire at its start: number and units."""
    return f"{wire.number}" if wire.units is None else f"{wire.number} · {wire.units} u"


def _route(
    frame: Frame, design: Design, outlines: Sequence[Outline], designations: Sequence[str],
    tops: Sequence[Sequence[tuple[str, str, bool]]],
    bottoms: Sequence[Sequence[tuple[str, str, bool]]],
    wires: Sequence[Wire], control: Sequence[bool], unplaced: tuple[Wire, ...],
) -> Layout:
    """Turn heights and tracks into corners, and place all labels."""
    nodes = frame.nodes
    x = MARGIN
    column_x: list[int] = []
    first_track: list[int] = []
    for channel, pieces in enumerate(frame.channels):
        bent = assign_tracks(frame, pieces)
        tracks = 1 + max((piece.track for piece in bent), default=-1)
        starts = [
            text_width(wire_words(wires[p.wire]), bold=True) + 12
            for p in pieces if nodes[p.start.node].index >= 0
        ]
        stops = [
            text_width(str(wires[p.wire].number), bold=True) + 22
            for p in pieces if nodes[p.end.node].index >= 0
        ]
        outer = channel in (0, len(frame.channels) - 1)
        least = _OVERHANG if not outer or pieces else _OVERHANG - 4
        x += max([least, *starts]) + (TRACK if tracks else 0)
        first_track.append(x)
        x += TRACK * max(0, tracks - 1) + (TRACK if tracks else 0) + max([least, *stops])
        if channel < len(frame.columns):
            column_x.append(x)
            x += WIDTH

    def corner(end: End) -> Point:
        node = nodes[end.node]
        return (
            column_x[node.column] + (WIDTH if end.left else 0), node.y + end.offset
        )

    paths: list[list[Point]] = []
    for run in frame.runs:
        path: list[Point] = []
        for channel, piece in run:
            a, b = corner(piece.start), corner(piece.end)
            middle = first_track[channel] + TRACK * piece.track
            path += [a, b] if a[1] == b[1] else [a, (middle, a[1]), (middle, b[1]), b]
        paths.append(path)
    routed = tuple(
        RoutedWire(wire, control[i], tuple(_straightened(paths[i]))) for i, wire in enumerate(wires)
    )

    placed = []
    labels: list[Label] = []
    for i, part in enumerate(design.parts):
        node = nodes[i]
        rect = Rect(column_x[node.column], node.y, WIDTH, node.height)
        placed.append(PlacedPart(part, rect, outlines[i], designations[i]))
        for lines, top in ((tops[i], rect.y - 4 - LINE * len(tops[i])),
                           (bottoms[i], rect.bottom + 4)):
            for k, (text, kind, bold) in enumerate(lines):
                wide = text_width(text, 12 if bold else 11, bold)
                spot = Rect(rect.x + (WIDTH - wide) // 2, top + LINE * k, wide, LINE)
                labels.append(Label(text, spot, kind, bold))
    for wire in routed:
        (sx, sy), (tx, ty) = wire.points[0], wire.points[-1]
        words, number_only = wire_words(wire.wire), str(wire.wire.number)
        labels.append(
            Label(words, Rect(sx + 6, sy - LINE - 1, text_width(words, bold=True), LINE), "wire")
        )
        wide = text_width(number_only, bold=True)
        if tx - sx > 200 or abs(ty - sy) > 60 or tx < sx:
            spot = Rect(tx - 12 - wide, ty - LINE - 1, wide, LINE)
            labels.append(Label(number_only, spot, "wire-end"))
    bottom = max(node.y + node.height + node.below for node in nodes)
    return Layout(x + MARGIN, bottom - GAP + MARGIN, tuple(placed), routed, tuple(labels), unplaced)


def _straightened(points: Sequence[Point]) -> list[Point]:
    """Return the corners without repeats and without points on a straight run."""
    kept: list[Point] = []
    for point in points:
        if kept and kept[-1] == point:
            continue
        while len(kept) >= 2 and (
            kept[-2][0] == kept[-1][0] == point[0] or kept[-2][1] == kept[-1][1] == point[1]
        ):
            kept.pop()
        kept.append(point)
    return kept
