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
_INK = 1.6
Place = tuple[Number, Number]


class _Frame:
    """Turns (along, across) into places of the page, and draws there."""

    def __init__(self, svg: Svg, ladder: bool, paths: Paths) -> None:
        self.svg, self.ladder, self.paths = svg, ladder, paths
        self.step = 72 if ladder else 112
        """Distance from path to path, px."""
        widest = max((text_width(_numbers(branch)) for branch in paths.every), default=0)
        self.lead = max(24, widest + 12) if ladder else 24
        """From a node to the element behind it, px: room for the numbers of the wires."""
        self.row = ELEMENT + self.lead + (24 if ladder else 6)
        self.first = MARGIN + (46 if ladder else 40)
        self.begin = MARGIN + 44
        self.consumers = self.begin + self.lead + self.row * max(paths.rows - 1, 0)
        """Where the consumers begin, along."""
        self.end = self.consumers + 88

    def across(self, path: int) -> int:
        return self.first + (path - 1) * self.step

    def along(self, row: int) -> int:
        return self.begin + self.lead + row * self.row

    def at(self, along: Number, across: Number) -> Place:
        return (along, across) if self.ladder else (across, along)

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
    """Return the numbers of the wires that lead to an element."""
    return "-".join(str(wire.number) for wire in branch.wires)


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
    edge = frame.across(max(paths.count, 1)) + frame.step
    span = frame.end + MARGIN + (210 if ladder else 0)
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
    y = (frame.across(paths.count) + frame.step if ladder else bottom) + 8
    for line in _legend(design, paths, names, min(width - 2 * MARGIN, 900), ladder):
        svg.text(MARGIN, y, line)
        y += 16
    return svg.document(width, int(y) + 8)


def _rails(frame: _Frame) -> None:
    low = frame.first - 22
    high = frame.across(max(frame.paths.count, 1)) + 34
    frame.line((frame.begin, low), (frame.begin, high), width=2.4)
    frame.line((frame.end, low), (frame.end, high), width=2.4)
    if frame.ladder:
        frame.text(frame.begin, low - 10, "L+")
        frame.text(frame.end, low - 10, "return")
    else:
        frame.text(frame.begin, low - 4, "L+", "end")
        frame.text(frame.end, low - 4, "return", "end")


def _node(
    frame: _Frame, along: int, branches: Sequence[Branch], nodes: Mapping[int, int]
) -> None:
    """Draw what joins the branches that leave one node, with dots and the node's number."""
    if not branches:
        return
    first, last = branches[0].path, branches[-1].path
    if last > first and along != frame.begin:
        frame.line((along, frame.across(first)), (along, frame.across(last)))
    for branch in branches:
        inner = along != frame.begin and (
            branch is not branches[0] and branch.path != last or
            (branch is branches[0] and last > first)
        )
        if inner or along == frame.begin:
            frame.dot(along, frame.across(branch.path))
    wires = next((branch.wires for branch in branches if branch.wires), ())
    if wires and wires[0].number in nodes:
        word = f"({nodes[wires[0].number]})"
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
    begin = frame.consumers if consumer else frame.along(branch.row)
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
    if branch.part.type in SENSING:
        _worked(frame, branch.part.type, begin + 32, across)


def _worked_by(branch: Branch) -> str:
    """Return in a word what works a contact, for the ladder."""
    return {
        PartType.SWITCH: "hand", PartType.PUSH_BUTTON: "push", PartType.TWILIGHT: "light",
        PartType.SENSOR: "sensor",
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
    frame.line((begin, across), (frame.end, across))
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
    frame.line((begin, across), (frame.end, across))
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


def _foot(frame: _Frame, names: Mapping[str, str]) -> int:
    """Write the numbers of the paths, the loads' names and the contact mirrors; return the y
    below all of it (of the circuit diagram)."""
    bottom = frame.end + 20
    leaves = {b.path: b for b in frame.paths.every if not b.behind}
    for path, branch in leaves.items():
        across = frame.across(path)
        lines: list[tuple[str, bool]] = [(str(path), True)]
        if branch.kind == "load":
            lines += [(line, False) for line in wrap(branch.part.name, 96, most=2)]
        elif branch.kind == "coil":
            contacts = frame.paths.contact_paths.get(branch.part.name, ())
            lines += [(f"{'b' if broken else 'm'} /{at}", False) for at, broken in contacts]
        if frame.ladder:
            frame.svg.text(MARGIN - 8, across + 4, str(path), bold=True)
            words = ", ".join(line for line, _ in lines[1:])
            for i, line in enumerate(wrap(words, 200, most=3)):
                frame.svg.text(frame.end + 12, across + 4 + 14 * i, line)
            continue
        for i, (line, bold) in enumerate(lines):
            frame.svg.text(across, frame.end + 20 + 14 * i, line, anchor="middle", bold=bold)
        bottom = max(bottom, frame.end + 20 + 14 * len(lines))
    return int(bottom)


def _legend(
    design: Design, paths: Paths, names: Mapping[str, str], width: int, ladder: bool
) -> list[str]:
    """Return the legend: what the signs mean, then each part's name and settings."""
    said = ["At rest: no power, nothing pressed, dark. Bold number: current path. Number on a "
            "lead: wire (3-5: by splitting parts). (2): node. /4: see path 4. m make, b break."]
    if any(b.terminal in ("make", "break") and b.kind == "contact" for b in paths.every):
        said.append("A change-over contact is drawn as a make and a break with one common lead.")
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
