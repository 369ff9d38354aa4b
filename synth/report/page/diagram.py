"""The wiring as SVG for the page: each part, wire and amount in a group that the page can change.

Everything is drawn at rest, as on paper; for each contact the other position is drawn as well and
hidden until its part works. Classes: `wire`, `part`, `worked` (a contact's other position), `left`
(time left), `says` (what the part does now), `bar` (how much of the time has run).
"""

from __future__ import annotations

from synth.choices import parts_in_words
from synth.design import Design, PartInUse
from synth.parts.behaviour import CONTROLLED, SENSING, TIMED, PartType
from synth.report.layout import Layout, PlacedPart
from synth.report.svg import FONT, Number, Point, Svg, escape, number, text_width
from synth.report.symbols import WIDTH, draw_symbol
from synth.report.wiring import DASH

_EDGE = 12
"""Border around what is drawn, px."""
_INK = 1.8
_ERASE = 5
"""Width of the white line that covers a contact's blade, px."""
_BAR = 100
"""Width of a timer's bar when all of its time has run, px; the page's scripts know it too."""


class _Inline(Svg):
    """A drawing that stands inside a page."""

    def begin(self, kind: str, **attributes: str) -> None:
        """Begin a group of class `kind` with more attributes; `_` in their names stands for -."""
        more = "".join(f' {key.replace("_", "-")}="{escape(v)}"' for key, v in attributes.items())
        self._add(f'<g class="{escape(kind)}"{more}>')
        self._depth += 1

    def words(self, kind: str, x: Number, y: Number, text: str = "", anchor: str = "start") -> None:
        """Write a text of class `kind` that the page may change."""
        self._add(
            f'<text class="{escape(kind)}" x="{number(x)}" y="{number(y)}" font-size="11"'
            f' text-anchor="{anchor}">{escape(text)}</text>'
        )

    def bar(self, x: Number, y: Number) -> None:
        """Draw the bar that shows how much of a time has run, at nothing."""
        self._add(f'<rect class="bar" x="{number(x)}" y="{number(y)}" width="0" height="4"/>')

    def inline(self, box: tuple[int, int, int, int], label: str) -> str:
        """Return the drawing for a page: what lies in `box` (x, y, width, height)."""
        x, y, width, height = box
        return "\n".join(
            [
                f'<svg id="drawing" xmlns="http://www.w3.org/2000/svg" width="{width}"'
                f' height="{height}" viewBox="{x} {y} {width} {height}" role="group"'
                f' aria-label="{escape(label)}" font-family="{escape(FONT)}">',
                *self._lines,
                "</svg>",
            ]
        )


def diagram_svg(design: Design, plan: Layout) -> str:
    """Return the wiring of `design`, placed by `plan`, as SVG to stand inside the page."""
    svg = _Inline("", "")
    at = {wire: i for i, wire in enumerate(design.wires)}
    for routed in plan.wires:
        kind = "wire control" if routed.control else "wire power"
        svg.begin(kind, data_wire=str(at[routed.wire]))
        (x, y) = routed.points[-1]
        svg.polyline(routed.points, 1.5, DASH if routed.control else "")
        svg.polyline([(x - 2, y), (x - 10, y - 4), (x - 10, y + 4)], 1, fill="black", closed=True)
        svg.close()
    for i, placed in enumerate(plan.parts):
        svg.begin(
            "part", data_part=str(i), tabindex="0", role="button", aria_label=placed.part.name
        )
        draw_symbol(svg, placed.part, placed.outline, placed.rect.x, placed.rect.y)
        _moving(svg, placed)
        svg.close()
    for label in plan.labels:
        size = 12 if label.kind == "name" else 11
        rect = label.rect
        if label.kind == "wire":
            words, _, amount = label.text.partition(" · ")
            svg.text(rect.x, rect.bottom - 3, words, size, bold=True)
            wire = next(w for w in plan.wires if _starts(w.points[0], rect.x, rect.bottom))
            if amount:
                svg.begin("amount", data_wire=str(at[wire.wire]))
                svg.words("units", rect.x + text_width(words, bold=True) + 3, rect.bottom - 3)
                svg.close()
        elif label.kind == "wire-end":
            svg.text(rect.right, rect.bottom - 3, label.text, size, "end", bold=True)
        else:
            middle = rect.x + rect.width / 2
            svg.text(middle, rect.bottom - 3, label.text, size, "middle", label.bold)
    return svg.inline(_box(plan), f"Circuit diagram, {parts_in_words(design)}")


def _starts(point: Point, x: int, bottom: int) -> bool:
    """Return whether the label at (x, bottom) is the one that stands where a wire starts."""
    return point == (x - 6, bottom + 1)


def _box(plan: Layout) -> tuple[int, int, int, int]:
    """Return what has to be seen: x, y, width and height, px."""
    rects = [placed.rect for placed in plan.parts] + [label.rect for label in plan.labels]
    xs = [x for r in rects for x in (r.x, r.right)]
    ys = [y for r in rects for y in (r.y, r.bottom)]
    for routed in plan.wires:
        xs += [x for x, _ in routed.points]
        ys += [y for _, y in routed.points]
    if not xs:
        return 0, 0, plan.width, plan.height
    left, top = min(xs) - _EDGE, min(ys) - _EDGE
    return left, top, max(xs) + _EDGE - left, max(ys) + _EDGE - top


def _moving(svg: _Inline, placed: PlacedPart) -> None:
    """Draw what the page changes: the contact's other position, words, and a timer's bar."""
    part, rect = placed.part, placed.rect
    x, y = rect.x, rect.y
    if part.type in SENSING or part.type in CONTROLLED:
        svg.begin("worked")
        if part.type is PartType.RELAY_CHANGEOVER:
            _line(svg, (x + 33, y + 34), (x + 67, y + 41), erase=True)
            svg.line(x + 62, y + 46, x + 62, y + 36, _INK)
            _line(svg, (x + 32, y + 34), (x + 65, y + 28))
        else:
            level = y + (46 if part.type in SENSING else 28)
            if rests_closed(part):
                _line(svg, (x + 46, level), (x + 76, level - 13), erase=True)
                svg.line(x + 70, level, x + 70, level - 13, _INK)
                _line(svg, (x + 46, level), (x + 65, level - 18))
            else:
                _line(svg, (x + 46, level), (x + 72, level - 14), erase=True)
                _line(svg, (x + 46, level), (x + 70, level))
        svg.close()
    if part.type in TIMED:
        svg.words("left", x + 5, y + 14)
        svg.bar(x + 6, y + rect.height - 8)
    elif part.type in CONTROLLED:
        svg.words("says", x + 5, y + 14)
    elif part.type is PartType.LOAD:
        svg.words("says", x + WIDTH - 5, y + 14, anchor="end")


def rests_closed(part: PartInUse) -> bool:
    """Return whether the contact of `part` is drawn closed: at rest, and in the dark."""
    if part.type is PartType.TWILIGHT:
        return part.setting("passes") == "night"
    return part.type is PartType.RELAY_BREAK or part.setting("contact") == "break"


def _line(svg: _Inline, a: Point, b: Point, erase: bool = False) -> None:
    svg.line(*a, *b, _ERASE if erase else 2.4, stroke="white" if erase else "black")
