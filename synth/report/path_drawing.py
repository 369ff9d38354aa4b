"""circuit.svg and ladder.svg: the current paths drawn from the top down, and as rungs of a ladder.

One geometry for both: *along* runs with the current, *across* from path to path. The circuit
diagram uses symbols after IEC 60617-7 (contacts, coils, delays), -2 (operation by hand, by a
quantity) and -8, all from memory; the ladder uses the two bars and the round coil that are common
in teaching (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from synth.design import Design
from synth.parts.behaviour import SENSING, PartType
from synth.parts.kit import Kit
from synth.report.current_paths import Branch, Paths, designations, paths_of
from synth.report.svg import Number, Svg, text_width, wrap
from synth.report.symbols import load_kind, setting_lines

MARGIN = 28
ELEMENT = 64
"""Length of a contact along the current, px."""
IN_A_ROW = 8
"""Most paths beside each other in a circuit diagram."""
FAR = 1_000_000
_INK = 1.6
Place = tuple[Number, Number]


class _Frame:
    """Turns (along, across) into places of the page, and draws there.

    The paths of a circuit diagram stand in rows of at most `IN_A_ROW`, one row below the other, so
    that the words stay legible on paper. `across` counts on from row to row, `FAR` each.
    """

    def __init__(self, svg: Svg, ladder: bool, paths: Paths) -> None:
        self.svg, self.ladder, self.paths = svg, ladder, paths
        self.step = 72 if ladder else 112
        """Distance from path to path, px."""
        widest = max((text_width(_numbers(branch)) for branch in paths.every), default=0)
        node = text_width(f"({len(paths.every)})")
        self.lead = max(24, widest + 12, node + 4) if ladder else 24
        """From a node to the element behind it, px: room for the numbers of the wires."""
        self.row = ELEMENT + self.lead + (24 if ladder else 6)
        self.first = MARGIN + (46 if ladder else 40)
        self.begin = MARGIN + 44
        count = max(paths.count, 1)
        rows = 1 if ladder else -(-count // IN_A_ROW)
        size = -(-count // rows)
        self.bands = tuple(
            (first, min(first + size - 1, count)) for first in range(1, count + 1, size)
        )
        """The first and the last path of each row."""
        self.size = size
        deep, under = [0] * rows, [0] * rows
        for leaf in paths.every:
            if not leaf.behind:
                at = (leaf.path - 1) // size
                deep[at] = max(deep[at], leaf.row)
                under[at] = max(under[at], len(_under(self, leaf)))
        self.begins = tuple(self.begin + self.lead + self.row * row for row in deep)
        """Where the consumers begin, along, in each row of paths."""
        self.tops = [0]
        """How far down each row of paths begins, and below them all, px."""
        for begin, lines in zip(self.begins, under, strict=True):
            self.tops.append(self.tops[-1] + begin + 88 + 20 + 14 * lines + 10 - self.begin + 44)

    def across(self, path: int) -> int:
        row, place = divmod(path - 1, self.size)
        return row * FAR + self.first + place * self.step

    def along(self, row: int) -> int:
        return self.begin + self.lead + row * self.row

    def at(self, along: Number, across: Number) -> Place:
        row, across = divmod(across, FAR)
        return (along, across) if self.ladder else (across, along + self.tops[int(row)])

    def consumers(self, path: int) -> int:
        """Return where the consumers of a path's row begin, along."""
        return self.begins[(path - 1) // self.size]

    def end(self, path: int) -> int:
        """Return where the return rail of a path's row lies, along."""
        return self.consumers(path) + 88

    def line(self, *spots: Place, width: Number = _INK, dash: str = "") -> None:
        self.svg.polyline([self.at(*spot) for spot in spots], width, dash)

    def solid(self, *spots: Place) -> None:
        self.svg.polyline([self.at(*spot) for spot in spots], 1, fill="black", closed=True)

    def dot(self, along: Number, across: Number) -> None:
        x, y = self.at(along, across)
        self.svg.circle(x, y, 2.6, 1, "black")

    def box(self, along: Number, across: Number, length: Number, breadth: Number) -> None:
        """Draw a box whose middle is at a place; `length` along, `breadth` across."""
        x, y = self.at(along, across)
        wide, high = (length, breadth) if self.ladder else (breadth, length)
        self.svg.rect(x - wide / 2, y - high / 2, wide, high, _INK)

    def text(
        self, along: Number, across: Number, words: str, anchor: str = "middle", bold: bool = False
    ) -> None:
        x, y = self.at(along, across)
        self.svg.text(x, y + 4, words, anchor=anchor, bold=bold)


def _numbers(branch: Branch) -> str:
    """Return the numbers of the wires that lead to an element; of many, the first and last."""
    numbers = [str(wire.number) for wire in branch.wires]
    return "-".join(numbers if len(numbers) <= 5 else [*numbers[:2], "…", *numbers[-2:]])


def circuit_svg(
    design: Design, kit: Kit, title: str, nodes: Mapping[int, int] | None = None,
    ladder: bool = False,
) -> str:
    """Return the circuit diagram of `design` as an SVG document, or its `ladder` view.

    `nodes` gives the number of the node of each wire, written where a node begins. Same input,
    same bytes; every text is escaped.
    """
    paths = paths_of(design, kit)
    names = designations(design)
    word = "Ladder diagram" if ladder else "Circuit diagram"
    svg = Svg(
        f"{word}: {title}",
        f"{paths.count} current paths. " + " ".join(
            f"Path {b.path}: {names[b.part.name]}, {b.part.name}, {b.kind}."
            for b in paths.every if b.kind in ("load", "coil")
        ),
    )
    frame = _Frame(svg, ladder, paths)
    edge = frame.first + frame.size * frame.step
    span = frame.end(1) + MARGIN + (210 if ladder else 0)
    width = max(span if ladder else edge, 760)
    for i, line in enumerate(wrap(title, width - 2 * MARGIN, 16, bold=True, most=1)):
        svg.text(MARGIN, 26 + 20 * i, line, size=16, bold=True)
    svg.open("plan")
    _rails(frame)
    _node(frame, frame.begin, paths.roots, nodes or {})
    for branch in paths.every:
        svg.open("element", f"{names[branch.part.name]} ({branch.part.name}), {branch.kind}")
        _branch(frame, branch, names, nodes or {})
        svg.close()
    bottom = _foot(frame, names)
    svg.close()
    y = (frame.across(max(paths.count, 1)) + frame.step if ladder else bottom) + 8
    for line in _legend(design, paths, names, min(width - 2 * MARGIN, 900), ladder,
                        _goes_on(frame)):
        svg.text(MARGIN, y, line)
        y += 16
    return svg.document(width, int(y) + 8)


def _rails(frame: _Frame) -> None:
    for first, last in frame.bands:
        low, high = frame.across(first) - 22, frame.across(last) + 34
        frame.line((frame.begin, low), (frame.begin, high), width=2.4)
        end = frame.end(first)
        frame.line((end, low), (end, high), width=2.4)
        if frame.ladder:
            frame.text(frame.begin, low - 10, "L+")
            frame.text(end, low - 10, "return")
        else:
            frame.text(frame.begin - 10, low - 4, "L+", "end")
            frame.text(end, low - 4, "return", "end")


def _goes_on(frame: _Frame) -> bool:
    """Return whether a node goes on from one row of paths to the next."""
    ends = [(b.behind[0].path, b.behind[-1].path) for b in frame.paths.every if b.behind]
    return any(first // FAR != last // FAR for first, last in (
        (frame.across(first), frame.across(last)) for first, last in ends
    ))


def _joined(frame: _Frame, along: int, first: int, last: int, word: str) -> None:
    """Draw the line that joins paths `first` to `last`; where it goes on in another row of paths,
    its ends carry the number of the node."""
    for begin, end in frame.bands:
        if end < first or begin > last:
            continue
        low, high = frame.across(max(first, begin)), frame.across(min(last, end))
        if first < begin:
            low -= 38
            frame.text(along - 7, low, word, "start")
        if last > end:
            frame.text(along - 7, high + 28, word, "start")
            high += 28 + max(20, text_width(word))
        frame.line((along, low), (along, high))


def _node(
    frame: _Frame, along: int, branches: Sequence[Branch], nodes: Mapping[int, int]
) -> None:
    """Draw what joins the branches that leave one node, with dots and the node's number."""
    if not branches:
        return
    first, last = branches[0].path, branches[-1].path
    wires = next((branch.wires for branch in branches if branch.wires), ())
    word = f"({nodes[wires[0].number]})" if wires and wires[0].number in nodes else ""
    if last > first and along != frame.begin:
        _joined(frame, along, first, last, word)
    for branch in branches:
        inner = along != frame.begin and (
            branch is not branches[0] and branch.path != last or
            (branch is branches[0] and last > first)
        )
        if inner or along == frame.begin:
            frame.dot(along, frame.across(branch.path))
    if word:
        if frame.ladder:
            frame.text(along + 6, frame.across(first) + 11, word, "start")
        else:
            frame.text(along + 9, frame.across(first) - 5, word, "end")


def _branch(
    frame: _Frame, branch: Branch, names: Mapping[str, str], nodes: Mapping[int, int]
) -> None:
    """Draw one element with its lead from the node before it."""
    across = frame.across(branch.path)
    start = frame.begin if branch.row == 0 else frame.along(branch.row) - frame.lead
    if branch.kind == "end":
        frame.line((start, across), (start + 14, across))
        frame.line((start + 14, across - 5), (start + 14, across + 5))
        return
    consumer = branch.kind in ("load", "coil", "reference")
    begin = frame.consumers(branch.path) if consumer else frame.along(branch.row)
    frame.line((start, across), (begin, across))
    wires = _numbers(branch)
    if frame.ladder:
        frame.text(start + 6, across - 8, wires, "start")
    else:
        frame.text(start + 14, across + 5, wires, "start")
    name = f"-{names[branch.part.name]}"
    if branch.kind == "contact":
        _contact(frame, branch, begin, across)
        _label(frame, begin, across, name, _reference(frame, branch))
    elif branch.kind == "one-way":
        _one_way(frame, begin, across)
        _label(frame, begin, across, name, "")
    elif branch.kind == "reference":
        _one_way(frame, begin, across)
        frame.line((begin + ELEMENT, across), (begin + ELEMENT + 6, across))
        target = frame.paths.joint_paths.get(branch.part.name, 0)
        _label(frame, begin, across, name, f"to /{target}")
        frame.solid((begin + ELEMENT + 14, across), (begin + ELEMENT + 5, across - 5),
                    (begin + ELEMENT + 5, across + 5))
    elif branch.kind == "load":
        _load(frame, branch, begin, across)
        _label(frame, begin, across, name, "")
    else:
        _coil(frame, branch, begin, across)
        _label(frame, begin, across, name, branch.terminal if branch.terminal != "coil" else "")
    if not consumer:
        further = frame.along(branch.row + 1) - frame.lead
        frame.line((begin + ELEMENT, across), (further, across))
        if branch.kind == "contact":
            _marks(frame, begin, across, branch.mark("in"), branch.mark(branch.terminal))
        if branch.behind and branch.behind[0].kind != "end":
            _node(frame, further, branch.behind, nodes)


def _reference(frame: _Frame, branch: Branch) -> str:
    """Return where the coil of a contact stands: ``/5``."""
    coils = frame.paths.coil_paths.get(branch.part.name, ())
    return "/" + ",".join(map(str, coils)) if coils else ""


def _label(frame: _Frame, begin: int, across: int, name: str, more: str) -> None:
    """Write designation and reference beside an element."""
    middle = begin + ELEMENT / 2
    if frame.ladder:
        frame.text(middle, across - 22, f"{name} {more}".strip(), bold=True)
        return
    frame.text(middle - 6, across + 22, name, "start", bold=True)
    if more:
        frame.text(middle + 8, across + 22, more, "start")


def _marks(frame: _Frame, begin: int, across: int, into: str, out: str) -> None:
    """Write the markings of the terminals before and behind an element."""
    for near, far, word in ((12, 22, into), (54, 42, out)):
        if not word:
            continue
        if frame.ladder:
            frame.text(begin + far, across + 9, f":{word}", "end" if near < far else "start")
        else:
            frame.text(begin + near, across + 4, f":{word}", "start")


def _contact(frame: _Frame, branch: Branch, begin: int, across: int) -> None:
    """Draw a contact at rest, and what works it."""
    if frame.ladder:
        frame.line((begin, across), (begin + 27, across))
        frame.line((begin + 37, across), (begin + ELEMENT, across))
        for bar in (27, 37):
            frame.line((begin + bar, across - 10), (begin + bar, across + 10), width=2)
        if branch.broken:
            frame.line((begin + 24, across + 11), (begin + 40, across - 11))
        sign = _worked_by(branch)
        if sign:
            frame.text(begin + 32, across + 20, sign)
        return
    frame.line((begin, across), (begin + 20, across))
    frame.line((begin + 44, across), (begin + ELEMENT, across))
    if branch.broken:
        frame.line((begin + 44, across), (begin + 44, across - 13))
        frame.line((begin + 20, across), (begin + 48, across - 12))
    else:
        frame.line((begin + 20, across), (begin + 44, across - 13))
    if branch.part.type in (PartType.ON_DELAY, PartType.OFF_DELAY):
        _braked(frame, branch.part.type is PartType.ON_DELAY, begin + 32, across)
    if branch.part.type in SENSING:
        _worked(frame, branch.part.type, begin + 32, across)


def _braked(frame: _Frame, closing: bool, along: int, across: int) -> None:
    """Draw the arc that brakes a contact as a parachute does: its closing (07-05-01) or its
    opening (07-05-02). The motion from the arc towards its centre is the slow one."""
    begin, bulge = (across - 17, across - 22) if closing else (across - 21, across - 16)
    for side in (-1.5, 1.5):
        frame.line((along + side, across - 7), (along + side, bulge), width=1.1)
    frame.svg.arc(*frame.at(along - 8, begin), *frame.at(along + 8, begin), 9, not closing, 1.1)


def _worked_by(branch: Branch) -> str:
    """Return in a word what works a contact, for the ladder."""
    return {
        PartType.SWITCH: "hand", PartType.PUSH_BUTTON: "push", PartType.TWILIGHT: "light",
        PartType.SENSOR: "sensor", PartType.ON_DELAY: "t-0", PartType.OFF_DELAY: "0-t",
    }.get(branch.part.type, "")


def _worked(frame: _Frame, kind: PartType, along: int, across: int) -> None:
    """Draw the link to what works a contact: hand, push, quantity, light."""
    far = across - 30
    frame.line((along, across - 7), (along, far), width=1.1, dash="3 2")
    if kind is PartType.SWITCH:
        frame.line((along - 8, far), (along + 8, far))
    elif kind is PartType.PUSH_BUTTON:
        frame.line((along - 8, far + 5), (along - 8, far), (along + 8, far), (along + 8, far + 5))
    elif kind is PartType.SENSOR:
        frame.box(along, far - 8, 16, 16)
        frame.text(along, far - 8, ">", bold=True)
    else:
        frame.box(along, far - 7, 16, 14)
        frame.line((along - 7, far - 1), (along + 7, far - 13), width=1.1)
        for shift in (0, 7):
            frame.line((along - 18 + shift, far - 22), (along - 10 + shift, far - 14), width=1.1)
            frame.solid((along - 9 + shift, far - 13), (along - 14 + shift, far - 14),
                        (along - 10 + shift, far - 18))


def _one_way(frame: _Frame, begin: int, across: int) -> None:
    frame.line((begin, across), (begin + ELEMENT, across))
    frame.solid((begin + 24, across - 8), (begin + 24, across + 8), (begin + 40, across))
    frame.line((begin + 40, across - 8), (begin + 40, across + 8), width=2)


def _load(frame: _Frame, branch: Branch, begin: int, across: int) -> None:
    """Draw a load and its lead to the return rail."""
    kind = load_kind(branch.part.name)
    middle = begin + ELEMENT // 2
    frame.line((begin, across), (frame.end(branch.path), across))
    x, y = frame.at(middle, across)
    if kind in ("lamp", "motor"):
        frame.svg.circle(x, y, 15, _INK)
        if kind == "motor":
            frame.text(middle, across, "M", bold=True)
        else:
            for way in (10.6, -10.6):
                frame.line((middle - 10.6, across - way), (middle + 10.6, across + way))
    elif kind == "heater":
        frame.box(middle, across, 42, 18)
        for shift in (-10, 0, 10):
            frame.line((middle + shift, across - 9), (middle + shift, across + 9))
    elif kind == "signal":
        frame.box(middle, across, 22, 30)
        frame.text(middle, across, "P", bold=True)
    else:
        frame.box(middle, across, *((34, 26) if frame.ladder else (28, 34)))


def _coil(frame: _Frame, branch: Branch, begin: int, across: int) -> None:
    """Draw a coil: a box with its qualifier (IEC), or a round one (ladder)."""
    middle = begin + ELEMENT // 2
    kind = branch.part.type
    frame.line((begin, across), (frame.end(branch.path), across))
    mark = branch.mark(branch.terminal) if branch.terminal != "in" else ""
    if frame.ladder:
        # The coil is wider than a contact, and its words stand above it already.
        _coil_marks(frame, middle, across, mark[:2])
    else:
        _marks(frame, begin, across, mark, "A2" if mark.startswith("A1") else "")
    word = {
        PartType.ON_DELAY: "t-0", PartType.OFF_DELAY: "0-t", PartType.PULSE: "1t",
        PartType.RETRIGGERABLE: "t", PartType.RECYCLER: "G", PartType.IMPULSE: "+1",
    }.get(kind, "")
    if kind is PartType.BISTABLE:
        wins = branch.part.setting("wins") == branch.terminal
        word = branch.terminal[0].upper() + ("1" if wins else "")
    if frame.ladder:
        x, y = frame.at(middle, across)
        frame.svg.circle(x, y, 14, _INK)
        frame.text(middle, across, word)
        return
    frame.box(middle, across, 22, 36)
    if kind in (PartType.ON_DELAY, PartType.OFF_DELAY):
        # The end that marks the delay: crossed, slow to operate (07-15-08); solid, slow to
        # release (07-15-07).
        low, high = across - 18, across - 8
        if kind is PartType.OFF_DELAY:
            frame.solid((middle - 11, low), (middle + 11, low), (middle + 11, high),
                        (middle - 11, high))
        else:
            frame.line((middle - 11, high), (middle + 11, high))
            frame.line((middle - 11, low), (middle + 11, high), width=1.1)
            frame.line((middle + 11, low), (middle - 11, high), width=1.1)
        frame.text(middle, across + 5, word)
    else:
        frame.text(middle, across, word)


def _coil_marks(frame: _Frame, middle: int, across: int, mark: str) -> None:
    """Write the markings of a coil in the ladder."""
    if mark:
        frame.text(middle - 17, across + 9, f":{mark}", "end")
    if mark == "A1":
        frame.text(middle + 17, across + 9, ":A2", "start")


def _under(frame: _Frame, leaf: Branch) -> list[str]:
    """Return what stands under the number of a path: the load's name, or the contact mirror."""
    if leaf.kind == "load":
        return list(wrap(leaf.part.name, 96, most=2))
    if leaf.kind != "coil":
        return []
    contacts = frame.paths.contact_paths.get(leaf.part.name, ())
    return [f"{'b' if broken else 'm'} /{at}" for at, broken in contacts]


def _foot(frame: _Frame, names: Mapping[str, str]) -> int:
    """Write the numbers of the paths, the loads' names and the contact mirrors; return the y
    below all of it (of the circuit diagram)."""
    for leaf in frame.paths.every:
        if leaf.behind:
            continue
        across = frame.across(leaf.path)
        lines = _under(frame, leaf)
        if frame.ladder:
            frame.svg.text(MARGIN - 8, across + 4, str(leaf.path), bold=True)
            for i, line in enumerate(wrap(", ".join(lines), 200, most=3)):
                frame.svg.text(frame.end(1) + 12, across + 4 + 14 * i, line)
            continue
        x, y = frame.at(frame.end(leaf.path) + 20, across)
        frame.svg.text(x, y, str(leaf.path), anchor="middle", bold=True)
        for i, line in enumerate(lines, 1):
            frame.svg.text(x, y + 14 * i, line, anchor="middle")
    return int(frame.begin + frame.tops[-1] - 24)


def _legend(
    design: Design, paths: Paths, names: Mapping[str, str], width: int, ladder: bool, rows: bool
) -> list[str]:
    """Return the legend: what the signs mean, then each part's name and settings."""
    said = ["At rest: no power, nothing pressed, dark. Bold number: current path. Number on a "
            "lead: wire (3-5: by splitting parts). (2): node. /4: see path 4. m make, b break. "
            ":13, :A1: marking of a terminal."]
    if any(b.terminal in ("make", "break") and b.kind == "contact" for b in paths.every):
        said.append("A change-over contact is drawn as a make and a break with one common lead.")
    if rows:
        said.append("(2) at the end of a line: node 2, which goes on in the next row of paths.")
    if any(p.type is PartType.JOINT for p in design.parts):
        said.append("Triangle with bar: joint, one way only.")
    if ladder:
        said.append("Return wires are part of the parts in this kit.")
    for part in design.parts:
        settings = "; ".join(setting_lines(part))
        said.append(f"-{names[part.name]} {part.name}" + (f": {settings}." if settings else "."))
    lines: list[str] = []
    row = ""
    for words in said:
        for piece in wrap(words, width, most=6):
            trial = f"{row}   {piece}" if row else piece
            if text_width(trial) <= width:
                row = trial
            else:
                lines.append(row)
                row = piece
    return [*lines, row] if row else lines
