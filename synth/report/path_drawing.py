"""circuit.svg and ladder.svg: the current paths drawn from the top down, and as rungs of a ladder.

One geometry for both (`path_frame`). The circuit diagram uses symbols after IEC 60617-7 (contacts,
coils, delays), -2 (operation by hand, by a quantity) and -8, all from memory; the ladder uses the
two bars and the round coil that are common in teaching (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from synth.design import Design, PartInUse
from synth.parts.behaviour import SENSING, PartType
from synth.parts.kit import Kit
from synth.report.current_paths import Branch, paths_of
from synth.report.paper import TIGHT, Leaf, Room, rooms, shared_out, size_of, undivided
from synth.report.path_frame import ELEMENT, FAR, INK, MARGIN, Frame, beside, numbers, under
from synth.report.svg import Svg, text_width, wrap
from synth.report.symbols import designations, load_kind, setting_lines

IN_A_ROW = 8
"""Most paths beside each other in a circuit diagram."""


def circuit_svg(
    design: Design, kit: Kit, title: str, nodes: Mapping[int, int] | None = None,
    ladder: bool = False,
) -> str:
    """Return the circuit diagram of `design` as an SVG document, or its `ladder` view.

    `nodes` gives the number of the node of each wire, written where a node begins. Same input,
    same bytes; every text is escaped.
    """
    paths = paths_of(design, kit)
    frame = Frame(ladder, paths, max(paths.count, 1) if ladder else IN_A_ROW)
    return _drawn(frame, design, title, nodes or {})[0]


def circuit_sheets(
    design: Design, kit: Kit, title: str, nodes: Mapping[int, int], paper: str,
    ladder: bool = False,
) -> tuple[Leaf, ...]:
    """Return the circuit diagram or its `ladder` view on one sheet of `paper` (A4 or Letter), or
    on several, divided between current paths: each says which paths it holds, and what goes on
    elsewhere carries its node and the sheet. A single path too long for a sheet (more than about
    eight contacts in a line) is drawn smaller."""
    paths = paths_of(design, kit)
    whole = Frame(ladder, paths, max(paths.count, 1) if ladder else IN_A_ROW)
    leaf = undivided(_drawn(whole, design, title, nodes)[0], paper)
    if leaf is not None:
        return (leaf,)
    best: tuple[tuple[int, int], Room, list[str]] | None = None
    for room in rooms(paper):
        seen = set()
        for most in range(IN_A_ROW + 7, 0, -1):
            frame = Frame(ladder, paths, most)
            if frame.size in seen:
                continue
            seen.add(frame.size)
            for counts in _shares(frame, room, len(design.parts)):
                if best is not None and best[0] <= (0, len(counts)):
                    continue
                frame = Frame(ladder, paths, most)
                frame.share(counts, 18)
                pieces = _drawn(frame, design, title, nodes)
                small = sum(not room.holds(*size_of(svg)) for svg in pieces)
                if best is None or (small, len(pieces)) < best[0]:
                    best = (small, len(pieces)), room, pieces
    assert best is not None
    return tuple(Leaf(svg, best[1].turned) for svg in best[2])


def _shares(frame: Frame, room: Room, parts: int) -> list[list[int]]:
    """Return how many rows of paths to try on each sheet, fewest sheets first. How long the legend
    of a sheet becomes, shows when it is drawn: at most all parts are in it."""
    if frame.ladder:
        return [[1] * len(frame.bands)]
    found: list[list[int]] = []
    for high in (TIGHT * room.height, room.height):
        for lines in range(6, parts // 4 + 8, 4):
            left = int(high) - frame.begin - 16 * min(lines, parts // 4 + 4)
            counts = [last - first for first, last in shared_out(frame.heights, left)]
            if counts not in found:
                found.append(counts)
    return sorted(found, key=len)


def _drawn(
    frame: Frame, design: Design, title: str, nodes: Mapping[int, int]
) -> list[str]:
    """Return each drawing of a frame, as an SVG document."""
    paths, ladder = frame.paths, frame.ladder
    names = designations(design)
    word = "Ladder diagram" if ladder else "Circuit diagram"
    sheets = frame.sheet_of[-1] + 1
    tops = []
    for sheet in range(sheets):
        bands = frame.bands_on(sheet)
        first, last = frame.bands[bands[0]][0], frame.bands[bands[-1]][1]
        consumers = " ".join(
            f"Path {b.path}: {names[b.part.name]}, {b.part.name}, {b.kind}."
            for b in paths.every if b.kind in ("load", "coil") and first <= b.path <= last
        )
        width = max(frame.width(sheet), 760)
        if sheets == 1:
            frame.svgs.append(Svg(f"{word}: {title}", f"{paths.count} current paths. {consumers}"))
        else:
            what = f"{word}, sheet {sheet + 1} of {sheets}"
            count = f"Current paths {first} to {last} of {paths.count}."
            frame.svgs.append(Svg(f"{what}: {title}", f"{count} {consumers}"))
            others = [
                f"{frame.bands[on[0]][0]} to {frame.bands[on[-1]][1]}: sheet {other + 1}"
                for other in range(sheets) if other != sheet and (on := frame.bands_on(other))
            ]
            told = f"{what}: current paths {first} to {last} ({'; '.join(others)})"
            frame.svgs[sheet].text(MARGIN, 44, wrap(told, width - 2 * MARGIN, most=1)[0])
        for i, line in enumerate(wrap(title, width - 2 * MARGIN, 16, bold=True, most=1)):
            frame.svgs[sheet].text(MARGIN, 26 + 20 * i, line, size=16, bold=True)
        frame.svgs[sheet].open("plan")
        tops.append((width, {b.part.name for b in paths.every if first <= b.path <= last}))
    _rails(frame)
    _node(frame, frame.begin, paths.roots, nodes)
    for branch in paths.every:
        svg = frame.on(frame.across(branch.path))
        svg.open("element", f"{names[branch.part.name]} ({branch.part.name}), {branch.kind}")
        _branch(frame, branch, names, nodes)
        svg.close()
    _foot(frame)
    found = []
    for sheet, (width, shown) in enumerate(tops):
        svg = frame.svgs[sheet]
        svg.close()
        y = frame.bottom(sheet) + 8
        parts = [part for part in design.parts if sheets == 1 or part.name in shown]
        for line in _legend(parts, frame, names, min(width - 2 * MARGIN, 900)):
            svg.text(MARGIN, y, line)
            y += 16
        found.append(svg.document(width, y + 8))
    return found


def _rails(frame: Frame) -> None:
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


def _goes_on(frame: Frame) -> bool:
    """Return whether a node goes on from one row of paths to the next."""
    ends = [(b.behind[0].path, b.behind[-1].path) for b in frame.paths.every if b.behind]
    return any(first // FAR != last // FAR for first, last in (
        (frame.across(first), frame.across(last)) for first, last in ends
    ))


def _joined(frame: Frame, along: int, first: int, last: int, word: str) -> None:
    """Draw the line that joins paths `first` to `last`; where it goes on in another row of paths,
    its ends carry the number of the node, and of the sheet where that is another one."""
    for band, (begin, end) in enumerate(frame.bands):
        if end < first or begin > last:
            continue
        low, high = frame.across(max(first, begin)), frame.across(min(last, end))
        side = 7 if frame.ladder else -7
        if first < begin:
            low -= 38
            frame.text(along + side, low, _elsewhere(frame, band, band - 1, word), "start")
        if last > end:
            words = _elsewhere(frame, band, band + 1, word)
            frame.text(along + side, high + 28, words, "start")
            high += 28 + (0 if frame.ladder else max(20, text_width(words)))
        frame.line((along, low), (along, high))


def _elsewhere(frame: Frame, here: int, there: int, word: str) -> str:
    """Return what stands at the end of a line that goes on in another row of paths."""
    sheet = frame.sheet_of[there]
    return word if sheet == frame.sheet_of[here] else f"{word} sheet {sheet + 1}".strip()


def _node(
    frame: Frame, along: int, branches: Sequence[Branch], nodes: Mapping[int, int]
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
    frame: Frame, branch: Branch, names: Mapping[str, str], nodes: Mapping[int, int]
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
    wires = numbers(branch)
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


def _reference(frame: Frame, branch: Branch) -> str:
    """Return where the coil of a contact stands: ``/5``."""
    coils = frame.paths.coil_paths.get(branch.part.name, ())
    return "/" + ",".join(map(str, coils)) if coils else ""


def _label(frame: Frame, begin: int, across: int, name: str, more: str) -> None:
    """Write designation and reference beside an element."""
    middle = begin + ELEMENT / 2
    if frame.ladder:
        frame.text(middle, across - 22, f"{name} {more}".strip(), bold=True)
        return
    frame.text(middle - 6, across + 22, name, "start", bold=True)
    if more:
        frame.text(middle + 8, across + 22, more, "start")


def _marks(frame: Frame, begin: int, across: int, into: str, out: str) -> None:
    """Write the markings of the terminals before and behind an element."""
    for near, far, word in ((12, 22, into), (54, 42, out)):
        if not word:
            continue
        if frame.ladder:
            frame.text(begin + far, across + 9, f":{word}", "end" if near < far else "start")
        else:
            frame.text(begin + near, across + 4, f":{word}", "start")


def _contact(frame: Frame, branch: Branch, begin: int, across: int) -> None:
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


def _braked(frame: Frame, closing: bool, along: int, across: int) -> None:
    """Draw the arc that brakes a contact as a parachute does: its closing (07-05-01) or its
    opening (07-05-02). The motion from the arc towards its centre is the slow one."""
    begin, bulge = (across - 17, across - 22) if closing else (across - 21, across - 16)
    for side in (-1.5, 1.5):
        frame.line((along + side, across - 7), (along + side, bulge), width=1.1)
    ends = (*frame.at(along - 8, begin), *frame.at(along + 8, begin))
    frame.on(across).arc(*ends, 9, not closing, 1.1)


def _worked_by(branch: Branch) -> str:
    """Return in a word what works a contact, for the ladder."""
    return {
        PartType.SWITCH: "hand", PartType.PUSH_BUTTON: "push", PartType.TWILIGHT: "light",
        PartType.SENSOR: "sensor", PartType.ON_DELAY: "t-0", PartType.OFF_DELAY: "0-t",
    }.get(branch.part.type, "")


def _worked(frame: Frame, kind: PartType, along: int, across: int) -> None:
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


def _one_way(frame: Frame, begin: int, across: int) -> None:
    frame.line((begin, across), (begin + ELEMENT, across))
    frame.solid((begin + 24, across - 8), (begin + 24, across + 8), (begin + 40, across))
    frame.line((begin + 40, across - 8), (begin + 40, across + 8), width=2)


def _load(frame: Frame, branch: Branch, begin: int, across: int) -> None:
    """Draw a load and its lead to the return rail."""
    kind = load_kind(branch.part.name)
    middle = begin + ELEMENT // 2
    frame.line((begin, across), (frame.end(branch.path), across))
    x, y = frame.at(middle, across)
    if kind in ("lamp", "motor"):
        frame.on(across).circle(x, y, 15, INK)
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


def _coil(frame: Frame, branch: Branch, begin: int, across: int) -> None:
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
        frame.on(across).circle(x, y, 14, INK)
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


def _coil_marks(frame: Frame, middle: int, across: int, mark: str) -> None:
    """Write the markings of a coil in the ladder."""
    if mark:
        frame.text(middle - 17, across + 9, f":{mark}", "end")
    if mark == "A1":
        frame.text(middle + 17, across + 9, ":A2", "start")


def _foot(frame: Frame) -> None:
    """Write the numbers of the paths, the loads' names and the contact mirrors."""
    for leaf in frame.paths.every:
        if leaf.behind:
            continue
        across = frame.across(leaf.path)
        svg = frame.on(across)
        if frame.ladder:
            x, y = frame.at(frame.end(leaf.path) + 12, across + 4)
            svg.text(MARGIN - 8, y, str(leaf.path), bold=True)
            for i, line in enumerate(beside(frame, leaf)):
                svg.text(x, y + 14 * i, line)
            continue
        x, y = frame.at(frame.end(leaf.path) + 20, across)
        svg.text(x, y, str(leaf.path), anchor="middle", bold=True)
        for i, line in enumerate(under(frame, leaf), 1):
            svg.text(x, y + 14 * i, line, anchor="middle")


def _legend(
    parts: Sequence[PartInUse], frame: Frame, names: Mapping[str, str], width: int
) -> list[str]:
    """Return the legend: what the signs mean, then the name and the settings of each of `parts`."""
    said = ["At rest: no power, nothing pressed, dark. Bold number: current path. Number on a "
            "lead: wire (3-5: by splitting parts). (2): node. /4: see path 4. m make, b break. "
            ":13, :A1: marking of a terminal."]
    if any(b.terminal in ("make", "break") and b.kind == "contact" for b in frame.paths.every):
        said.append("A change-over contact is drawn as a make and a break with one common lead.")
    if _goes_on(frame):
        said.append("(2) at the end of a line: node 2, which goes on in the next row of paths"
                    + (", or on the sheet named." if frame.sheet_of[-1] else "."))
    if any(p.type is PartType.JOINT for p in parts):
        said.append("Triangle with bar: joint, one way only.")
    if frame.ladder:
        said.append("Return wires are part of the parts in this kit.")
    for part in parts:
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
