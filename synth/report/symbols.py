"""Symbols of parts, after IEC 60617, power from left to right, drawn at rest.

Which symbol stands for what follows IEC 60617-2 (qualifiers, operation by hand), -7 (contacts,
coils, delayed contacts), -8 and -11 (lamp, heating element) and -12 (delay and pulse
qualifiers), all from memory: no copy of the standard was at hand. Splitting and joining parts of
whole power units have no standard symbol and are drawn as labelled boxes. Letters are those
of IEC 81346-2, from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from synth.design import Design, PartInUse
from synth.parts.behaviour import TIMED, PartType
from synth.report.svg import Number, Svg, shifted
from synth.ticks import format_duration

WIDTH = 112
"""Width of every part's outline, px."""
PITCH = 20
"""Least distance between terminals on one side, px."""
_MID = 58
"""The contact's middle, where the link to its coil or handle hangs, px from the left edge."""
_INK = 1.8

LETTERS: dict[str, str] = {
    "A": "load of no one purpose told",
    "B": "sensor",
    "E": "light or heat",
    "G": "source of power",
    "K": "relay or timer",
    "M": "motor or pump",
    "P": "signal or display",
    "S": "worked by hand",
    "X": "sharing or joining",
}
"""Letters of IEC 81346-2 that the drawings use, and what they mean here."""

_LETTER_OF: dict[PartType, str] = {
    PartType.SUPPLY: "G",
    PartType.SWITCH: "S",
    PartType.PUSH_BUTTON: "S",
    PartType.SENSOR: "B",
    PartType.TWILIGHT: "B",
    PartType.TAP_OFF: "X",
    PartType.DIVIDER: "X",
    PartType.JOINT: "X",
}
_LOAD_WORDS: dict[str, str] = {
    **dict.fromkeys(("lamp", "light", "lights", "lamps", "bulb"), "lamp"),
    **dict.fromkeys(("pump", "fan", "motor", "blower", "stirrer", "mixer",
                     "extractor", "belt", "conveyor", "auger", "winch", "hoist", "crane"),
                    "motor"),
    **dict.fromkeys(("heater", "heating", "heat", "warmer", "kettle", "brooder"), "heater"),
    **dict.fromkeys(("bell", "horn", "buzzer", "siren", "alarm", "pilot"), "signal"),
}
_LOAD_LETTER = {"lamp": "E", "heater": "E", "motor": "M", "signal": "P"}


def load_kind(name: str) -> str:
    """Return lamp, motor, heater or signal when a word of a load's name says so, else ``""``.

    Pictures, letters and cautions depend on it, and nothing else. The last telling word counts: a
    "pump lamp" is a lamp.
    """
    for word in reversed(name[:200].lower().replace("-", " ").replace("_", " ").split()):
        kind = _LOAD_WORDS.get(word.rstrip("0123456789"))
        if kind:
            return kind
    return ""


def letter(part: PartInUse) -> str:
    """Return the letter of IEC 81346-2 for `part`; A (no main purpose told) for a load whose name
    does not say what it is."""
    if part.type is PartType.LOAD:
        return _LOAD_LETTER.get(load_kind(part.name), "A")
    return _LETTER_OF.get(part.type, "K")


def designations_of(parts: Sequence[PartInUse]) -> list[str]:
    """Return letter and number of each part, counted in their order."""
    counts: dict[str, int] = {}
    names = []
    for part in parts:
        code = letter(part)
        counts[code] = counts.get(code, 0) + 1
        names.append(f"{code}{counts[code]}")
    return names


def designations(design: Design) -> dict[str, str]:
    """Return letter and number of each part of a design, by its name."""
    names = designations_of(design.parts)
    return {part.name: name for part, name in zip(design.parts, names, strict=True)}


def setting_lines(part: PartInUse) -> tuple[str, ...]:
    """Return the settings of `part` in words, one short line each."""
    values = dict(part.settings)

    def duration(key: str) -> str:
        value = values[key]
        return format_duration(value) if isinstance(value, int) and value >= 0 else str(value)

    lines: list[str] = []
    if "input" in values:
        lines.append(f"{values['input']}: {values.get('contact', 'make')}")
    elif "contact" in values:
        lines.append(str(values["contact"]))
    if "time" in values:
        lines.append(f"time {duration('time')}")
    if "on" in values and "off" in values:
        lines.append(f"on {duration('on')}, off {duration('off')}")
    if "first" in values:
        lines.append(f"{values['first']} first")
    if "passes" in values:
        lines.append(f"passes at {values['passes']}" if values["passes"] == "night" else
                     f"passes by {values['passes']}")
    if "wins" in values:
        lines.append(f"{values['wins']} wins")
    if "units" in values:
        lines.append(f"set to {units(values['units'])}")
    if "needs" in values:
        lines.append(f"needs {units(values['needs'])}")
    return tuple(lines)


def units(amount: object) -> str:
    """Return an amount of power units in words: ``1 unit``, ``3 units``."""
    return f"{amount} unit" if amount == 1 else f"{amount} units"


@dataclass(frozen=True)
class Pin:
    """Where a wire may end: `y` px below the top of the part's outline. Several pins of one
    terminal occur only where several wires end on it."""

    terminal: str
    y: int


@dataclass(frozen=True)
class Outline:
    """The outline of a part, `WIDTH` by `height` px, with its pins at the left and right edge."""

    height: int
    left: tuple[Pin, ...]
    right: tuple[Pin, ...]


_HAND = (PartType.SWITCH, PartType.PUSH_BUTTON, PartType.SENSOR, PartType.TWILIGHT)


def _standard_pins(kind: PartType, left: Sequence[str], right: Sequence[str]) -> (
    tuple[int, dict[str, int], dict[str, int]]
):
    """Return height and the heights of the terminals that the symbol itself shows."""
    if kind in _HAND:
        return 64, {"in": 46}, {"out": 46}
    if kind is PartType.RELAY_CHANGEOVER:
        return 92, {"in": 34, "coil": 72}, {"make": 22, "break": 46}
    if kind is PartType.BISTABLE:
        return 106, {"in": 28, "set": 62, "reset": 88}, {"out": 28}
    if kind in TIMED:
        return 86, {"in": 28, "start": 64}, {"out": 28}
    if kind in (PartType.RELAY_MAKE, PartType.RELAY_BREAK, PartType.IMPULSE):
        return 82, {"in": 28, "coil": 62, "pulse": 62}, {"out": 28}
    rows = max(len(left), len(right), 2)
    height = 20 + PITCH * rows

    def spread(terminals: Sequence[str]) -> dict[str, int]:
        free = height - PITCH * (len(terminals) - 1)
        return {terminal: free // 2 + PITCH * i for i, terminal in enumerate(terminals)}

    return height, spread(left), spread(right)


def outline(
    kind: PartType, left: Sequence[str], right: Sequence[str],
    wires_left: Sequence[str] = (), wires_right: Sequence[str] = (),
) -> Outline:
    """Return the outline of a part of type `kind` with these terminals.

    `wires_left` and `wires_right` name the terminal of each wire that ends on that side, with
    repetition. Terminals that the symbol does not know, and second wires on one terminal, get
    pins of their own at the bottom.
    """
    height, known_left, known_right = _standard_pins(kind, left, right)
    bottoms = []
    sides = []
    for terminals, known, wired in (
        (left, known_left, wires_left), (right, known_right, wires_right)
    ):
        wanted = list(dict.fromkeys([*terminals, *wired]))
        pins = [Pin(t, known[t]) for t in wanted if t in known]
        extra = [t for t in wanted if t not in known]
        extra += [t for t in wanted for _ in range(wired.count(t) - 1)]
        y = max([height - PITCH + 8] + [pin.y + PITCH for pin in pins]) if extra else 0
        pins += [Pin(t, y + PITCH * i) for i, t in enumerate(extra)]
        bottoms.append(y + PITCH * (len(extra) - 1) + 14 if extra else 0)
        sides.append(tuple(pins))
    return Outline(max(height, *bottoms), sides[0], sides[1])


class _Pen:
    """Draws with the part's upper left corner as origin."""

    def __init__(self, svg: Svg, x: int, y: int) -> None:
        self.svg, self.x, self.y = svg, x, y

    def lines(self, *points: tuple[Number, Number], dash: str = "", width: Number = _INK) -> None:
        self.svg.polyline(shifted(points, self.x, self.y), width, dash)

    def solid(self, *points: tuple[Number, Number]) -> None:
        self.svg.polyline(shifted(points, self.x, self.y), 1, fill="black", closed=True)

    def box(self, x: Number, y: Number, width: Number, height: Number, fill: str = "white") -> None:
        self.svg.rect(self.x + x, self.y + y, width, height, _INK, fill)

    def text(self, x: Number, y: Number, text: str, anchor: str = "middle", bold: bool = False) -> (
        None
    ):
        self.svg.text(self.x + x, self.y + y, text, anchor=anchor, bold=bold)

    def circle(self, x: Number, y: Number, radius: Number) -> None:
        self.svg.circle(self.x + x, self.y + y, radius, _INK)

    def arc(self, x1: Number, y1: Number, x2: Number, y2: Number, up: bool) -> None:
        self.svg.arc(self.x + x1, self.y + y1, self.x + x2, self.y + y2, 9, up, _INK)


def draw_symbol(svg: Svg, part: PartInUse, shape: Outline, x: int, y: int) -> None:
    """Draw `part` with its upper left corner at (x, y)."""
    svg.rect(x, y, WIDTH, shape.height, 1)
    pen = _Pen(svg, x, y)
    kind = part.type
    if kind in _HAND:
        _operated_contact(pen, part)
    elif kind is PartType.RELAY_CHANGEOVER:
        _changeover(pen)
        _coil(pen, 72, 39)
    elif kind is PartType.BISTABLE:
        _contact(pen, 28, broken=False)
        _bistable_coils(pen, part.setting("wins"))
    elif kind in TIMED:
        _timer(pen, kind, part.setting("first") == "pause")
    elif kind in (PartType.RELAY_MAKE, PartType.RELAY_BREAK, PartType.IMPULSE):
        _contact(pen, 28, broken=kind is PartType.RELAY_BREAK)
        _coil(pen, 62, 22)
        if kind is PartType.IMPULSE:
            # A step that stays: the position is kept after the pulse.
            pen.lines((50, 66), (57, 66), (57, 58), (66, 58), width=1.4)
    elif kind is PartType.LOAD:
        _load(pen, load_kind(part.name), shape)
    elif kind is PartType.SUPPLY:
        middle = shape.right[0].y if shape.right else shape.height // 2
        pen.lines((74, middle), (WIDTH, middle))
        pen.box(42, middle - 16, 32, 32)
        pen.text(_MID, middle + 5, "G", bold=True)
    else:
        _junction(pen, kind, shape)
    _terminals(pen, kind, shape)


def _terminals(pen: _Pen, kind: PartType, shape: Outline) -> None:
    """Draw the terminals as small circles, with names where the symbol alone leaves a doubt."""
    sides = ((shape.left, 0, 7, "start", "in"), (shape.right, WIDTH, WIDTH - 7, "end", "out"))
    for pins, edge, inside, anchor, plain in sides:
        first: dict[str, int] = {}
        for pin in pins:
            if pin.terminal in first:
                # A further wire on the same terminal: joined along the inside of the outline.
                step = 4 if edge == 0 else -4
                pen.lines((edge, pin.y), (edge + step, pin.y), (edge + step, first[pin.terminal]))
            elif pin.terminal != plain:
                pen.text(inside, pin.y - 5, pin.terminal[:12], anchor)
            first.setdefault(pin.terminal, pin.y)
            pen.circle(edge, pin.y, 2.5)


def _contact(pen: _Pen, y: int, broken: bool) -> None:
    """Draw a make contact open, or a break contact closed (IEC 60617-7, 07-02-01 and -03)."""
    pen.lines((0, y), (46, y))
    pen.lines((70, y), (WIDTH, y))
    if broken:
        pen.lines((70, y), (70, y - 13))
        pen.lines((46, y), (74, y - 12))
    else:
        pen.lines((46, y), (70, y - 13))


def _changeover(pen: _Pen) -> None:
    """Draw a change-over contact resting on its break side (07-02-04)."""
    pen.lines((0, 34), (32, 34))
    pen.lines((WIDTH, 22), (62, 22), (62, 28))
    pen.lines((WIDTH, 46), (62, 46), (62, 36))
    pen.lines((32, 34), (65, 40))


def _coil(pen: _Pen, y: int, top: int) -> None:
    """Draw the coil as a rectangle, linked to its contact (07-15-01); its return is not drawn."""
    pen.lines((_MID, top), (_MID, y - 10), dash="3 2", width=1.2)
    pen.lines((0, y), (42, y))
    pen.box(42, y - 10, 34, 20)


def _bistable_coils(pen: _Pen, wins: object) -> None:
    """Draw set and reset coils; the one that wins carries a 1, as IEC 61131-3 names S1 and R1."""
    pen.lines((_MID, 22), (_MID, 52), dash="3 2", width=1.2)
    for y, word in ((62, "S1" if wins == "set" else "S"), (88, "R1" if wins == "reset" else "R")):
        pen.lines((0, y), (42, y))
        pen.box(42, y - 10, 32, 20)
        pen.text(_MID, y + 4, word)
    pen.lines((_MID, 72), (_MID, 78), dash="3 2", width=1.2)


def _timer(pen: _Pen, kind: PartType, pause_first: bool) -> None:
    """Draw a time relay: make contact, coil, and a qualifier for how it counts time."""
    _contact(pen, 28, broken=False)
    pen.lines((_MID, 22), (_MID, 53), dash="3 2", width=1.2)
    if kind is PartType.RECYCLER:
        pen.box(28, 53, 60, 22)
        pen.text(38, 68, "G", bold=True)
        train = [(48, 70), (54, 70), (54, 58), (60, 58), (60, 70), (70, 70), (70, 58), (76, 58)]
        pen.lines(*(train if pause_first else [(px, 128 - py) for px, py in train]), width=1.4)
        return
    pen.lines((0, 64), (40, 64))
    pen.box(40, 53, 44, 22)
    if kind is PartType.ON_DELAY:
        # Slow to operate: a crossed end (07-15-08); the arc brakes the closing (07-05-01).
        pen.lines((40, 53), (51, 75), width=1.2)
        pen.lines((40, 75), (51, 53), width=1.2)
        pen.lines((51, 53), (51, 75))
        pen.arc(50, 41, 66, 41, True)
        pen.text(67, 68, "t–0")
    elif kind is PartType.OFF_DELAY:
        # Slow to release: a solid end (07-15-07); the arc brakes the opening (07-05-02).
        pen.solid((40, 53), (51, 53), (51, 75), (40, 75))
        pen.arc(50, 37, 66, 37, False)
        pen.text(67, 68, "0–t")
    elif kind is PartType.PULSE:
        # One pulse that a new edge does not lengthen: "1" and a pulse (IEC 60617-12).
        pen.text(48, 68, "1", bold=True)
        pen.lines((55, 70), (61, 70), (61, 58), (70, 58), (70, 70), (77, 70), width=1.4)
    else:
        pen.lines((47, 70), (54, 70), (54, 58), (69, 58), (69, 70), (76, 70), width=1.4)


def _operated_contact(pen: _Pen, part: PartInUse) -> None:
    """Draw a contact with what works it: hand, condition or light."""
    broken = part.setting("contact") == "break"
    if part.type is PartType.TWILIGHT:
        # At rest is in the dark: light opens the contact that passes at night.
        broken = part.setting("passes") == "night"
        pen.box(49, 7, 18, 14)
        pen.lines((51, 20), (65, 8), width=1.2)
        for shift in (0, 8):
            pen.lines((32, 4 + shift), (45, 11 + shift), width=1.2)
            pen.solid((46, 11.5 + shift), (40, 11.5 + shift), (42.5, 6.5 + shift))
        top = 21
    elif part.type is PartType.SENSOR:
        # Works when a quantity passes its set value (02-06-01).
        pen.box(48, 6, 20, 16)
        pen.text(_MID, 18, ">", bold=True)
        top = 22
    elif part.type is PartType.PUSH_BUTTON:
        # Worked by pushing (02-13-05), returns by itself.
        pen.lines((50, 13), (50, 7), (66, 7), (66, 13))
        pen.lines((_MID, 7), (_MID, 13))
        top = 13
    else:
        # Worked by hand (02-13-01), stays where it is put: a detent on the link (02-12-08).
        pen.lines((49, 7), (67, 7))
        pen.lines((_MID, 20), (65, 24), (_MID, 28), width=1.2)
        top = 7
    _contact(pen, 46, broken)
    pen.lines((_MID, top), (_MID, 40), dash="3 2", width=1.2)


def _load(pen: _Pen, kind: str, shape: Outline) -> None:
    """Draw a load: lamp, motor, heating element, signal, or a plain box."""
    ys = [pin.y for pin in shape.left] or [shape.height // 2]
    middle = (ys[0] + ys[-1]) // 2
    for y in ys:
        pen.lines((0, y), (24, y), (24, middle))
    pen.lines((24, middle), (42, middle))
    if kind in ("lamp", "motor"):
        pen.circle(_MID, middle, 16)
        if kind == "motor":
            pen.text(_MID, middle + 5, "M", bold=True)
        else:
            for way in (11.3, -11.3):
                pen.lines((_MID - 11.3, middle - way), (_MID + 11.3, middle + way))
    elif kind == "heater":
        pen.box(42, middle - 9, 44, 18)
        for px in (53, 64, 75):
            pen.lines((px, middle - 9), (px, middle + 9))
    elif kind == "signal":
        pen.svg.polyline(
            shifted([(42, middle), (58, middle - 15), (58, middle + 15)], pen.x, pen.y), _INK,
            fill="white", closed=True,
        )
        pen.lines((64, middle - 9), (64, middle + 9))
        pen.lines((70, middle - 14), (70, middle + 14))
    else:
        pen.box(42, middle - 13, 46, 26)
        pen.text(65, middle + 4, "load")


def _junction(pen: _Pen, kind: PartType, shape: Outline) -> None:
    """Draw a splitting or joining part as a box that names its terminals."""
    bar = 40 if kind is not PartType.JOINT else 62
    ys = [pin.y for pin in (*shape.left, *shape.right)] or [shape.height // 2]
    for pin in shape.left:
        pen.lines((0, pin.y), (bar, pin.y))
    for pin in shape.right:
        pen.lines((bar, pin.y), (WIDTH, pin.y))
    pen.lines((bar, min(ys)), (bar, max(ys)), width=4)
    if kind is PartType.JOINT:
        # One way only, as a diode passes current: from the inputs to the output.
        for pin in shape.left:
            pen.solid((40, pin.y - 5), (40, pin.y + 5), (49, pin.y))
            pen.lines((49, pin.y - 5), (49, pin.y + 5))
