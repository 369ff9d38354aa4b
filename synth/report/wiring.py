"""wiring.svg: the parts as symbols, the numbered wires between them, and a legend."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from synth.choices import parts_in_words
from synth.design import Design
from synth.parts.kit import Kit
from synth.report.layout import Layout, PlacedPart, RoutedWire, layout
from synth.report.svg import Svg, text_width, wrap
from synth.report.symbols import LETTERS, draw_symbol

DASH = "7 4"
"""How control wires are drawn, so that they are told apart without colour."""
FRAME = "5 3"
"""How the frame around a new part is drawn."""
NARROWEST = 760
"""Least width of the drawing, px: room for the legend."""
_TITLE = 40
_ROW = 18

CAUTION = (
    "Caution: switch off and lock off the supply, and prove it dead, before wiring. Mains "
    "voltage, electricity near water, heaters and moving parts can injure or kill: follow the "
    "local codes and leave such work to a licensed person."
)


def wiring_svg(
    design: Design,
    kit: Kit,
    title: str,
    new_parts: Collection[str] = (),
    new_wires: Collection[int] = (),
    plan: Layout | None = None,
) -> str:
    """Return the wiring plan of `design` as an SVG document.

    The parts named in `new_parts` stand in a dashed frame, wires of the numbers in `new_wires`
    are drawn thick, and the legend says that they are new. `plan`: where it is known already.

    Symbols after IEC 60617, letters after IEC 81346-2 (see `symbols`), power from left to right,
    all parts at rest. Same input, same bytes; every text is escaped.
    """
    plan = plan or layout(design, kit)
    width = max(plan.width, NARROWEST)
    heading = wrap(title, width - 48, 16, bold=True, most=3) or ("Wiring plan",)
    top = _TITLE + 20 * (len(heading) - 1)
    legend = legend_lines(plan, width)
    if new_parts or new_wires:
        legend.insert(0, ("new", "dashed frame, thick wire: new in this step"))
    svg = Svg(
        f"Wiring plan: {title}",
        f"{parts_in_words(design)}, {len(design.wires)} wires. "
        + " ".join(f"Wire {w.number} runs from {w.source} to {w.target}."
                   for w in design.wires[:200]),
    )
    for i, line in enumerate(heading):
        svg.text(24, 28 + 20 * i, line, size=16, bold=True)
    svg.open("plan", shift=((width - plan.width) // 2, top))
    draw_plan(svg, plan, new_parts, new_wires)
    svg.close()
    height = draw_legend(svg, legend, top + plan.height + 8, width)
    return svg.document(width, height)


def draw_plan(
    svg: Svg, plan: Layout, new_parts: Collection[str] = (), new_wires: Collection[int] = (),
    stubs: Mapping[str, Sequence[str]] = MappingProxyType({}),
) -> None:
    """Draw parts, wires and labels; `stubs` are the parts that stand for others elsewhere."""
    _draw_frames(svg, plan, new_parts)
    _draw_wires(svg, plan.wires, new_wires)
    _draw_parts(svg, plan, stubs)
    _draw_labels(svg, plan)


def _draw_frames(svg: Svg, plan: Layout, new_parts: Collection[str]) -> None:
    """Draw a dashed frame around each new part, told apart without colour."""
    for placed in plan.parts:
        if placed.part.name in new_parts:
            rect = placed.rect
            svg.open("new part", f"{placed.part.name} is new")
            svg.rect(rect.x - 3, rect.y - 3, rect.width + 6, rect.height + 6, 2.5, "#ececec", 4,
                     FRAME)
            svg.close()


def _draw_wires(svg: Svg, wires: Sequence[RoutedWire], new_wires: Collection[int] = ()) -> None:
    """Draw the wires, each with an arrow where it ends on an input."""
    for routed in wires:
        wire = routed.wire
        kind = "control wire" if routed.control else "power wire"
        svg.open(kind, f"{kind} {wire.number}: {wire.source} to {wire.target}")
        (x, y) = routed.points[-1]
        thick = 3.5 if wire.number in new_wires else 1.5
        svg.polyline(routed.points, thick, DASH if routed.control else "")
        svg.polyline([(x - 2, y), (x - 10, y - 4), (x - 10, y + 4)], 1, fill="black", closed=True)
        svg.close()


def _draw_parts(svg: Svg, plan: Layout, stubs: Mapping[str, Sequence[str]]) -> None:
    for placed in plan.parts:
        if placed.part.name in stubs:
            _draw_stub(svg, placed, stubs[placed.part.name])
            continue
        svg.open("part", f"{placed.part.name} ({placed.part.type.value})")
        draw_symbol(svg, placed.part, placed.outline, placed.rect.x, placed.rect.y)
        svg.close()


def _draw_stub(svg: Svg, placed: PlacedPart, words: Sequence[str]) -> None:
    """Draw what stands for the other end of a wire: a flag that points as power flows."""
    (x, y), middle = (placed.rect.x, placed.rect.y), placed.rect.height // 2
    right, bottom = placed.rect.right, placed.rect.bottom
    svg.open("stub", " ".join(words))
    svg.polyline([(x, y), (right - 12, y), (right, y + middle), (right - 12, bottom), (x, bottom)],
                 1, fill="white", closed=True)
    for i, line in enumerate(words):
        svg.text(x + 6, y + 16 + 15 * i, line)
    svg.close()


def _draw_labels(svg: Svg, plan: Layout) -> None:
    for label in plan.labels:
        size = 12 if label.kind == "name" else 11
        rect = label.rect
        if label.kind == "wire":
            number, _, units = label.text.partition(" · ")
            svg.text(rect.x, rect.bottom - 3, number, size, bold=True)
            if units:
                indent = text_width(number, bold=True) + 3
                svg.text(rect.x + indent, rect.bottom - 3, f"· {units}", size)
        elif label.kind == "wire-end":
            svg.text(rect.right, rect.bottom - 3, label.text, size, "end", bold=True)
        else:
            middle = rect.x + rect.width / 2
            svg.text(middle, rect.bottom - 3, label.text, size, "middle", label.bold)


def legend_lines(plan: Layout, width: int) -> list[tuple[str, str]]:
    """Return the legend as rows of (kind of sample, text)."""
    rows = [("power", "power wire, from output to input (arrow)")]
    if any(wire.control for wire in plan.wires):
        rows.append(("control", "control wire, ends on a coil, start, set, reset or pulse"))
    words = ["Bold number: the wire's number; a long wire carries it at both ends."]
    if any(wire.wire.units is not None for wire in plan.wires):
        words.append("3 u: the wire carries 3 power units whenever it is live.")
    words.append("Wires that cross are not joined. Return paths are not drawn.")
    words.append("All parts are drawn at rest: nothing pressed, no power, dark.")
    used = sorted({placed.designation[1] for placed in plan.parts if placed.designation})
    if used:
        words.append(
            "Letters (IEC 81346-2): "
            + ", ".join(f"{letter} {LETTERS[letter]}" for letter in used) + "."
        )
    if plan.unplaced:
        numbers = ", ".join(str(wire.number) for wire in plan.unplaced[:20])
        words.append(f"Not drawn, for want of a part at one end: wire {numbers}.")
    wide = min(width - 48, 1100)
    rows += [("", line) for line in wrap(" ".join(words), wide, most=12)]
    rows += [("caution", line) for line in wrap(CAUTION, wide, bold=True, most=6)]
    return rows


def draw_legend(svg: Svg, rows: Sequence[tuple[str, str]], y: int, width: int) -> int:
    """Draw the legend from height `y` on; return the height of the whole drawing."""
    svg.open("legend")
    svg.line(24, y, width - 24, y, 1)
    y += 20
    for kind, text in rows:
        if kind in ("power", "control"):
            svg.line(24, y - 4, 84, y - 4, 1.5, DASH if kind == "control" else "")
            svg.polyline([(84, y - 4), (76, y - 8), (76, y)], 1, fill="black", closed=True)
            svg.text(94, y, text)
        elif kind == "new":
            svg.rect(24, y - 12, 24, 14, 2, "#ececec", 4, FRAME)
            svg.line(54, y - 4, 84, y - 4, 3.5)
            svg.text(94, y, text)
        else:
            svg.text(24, y, text, bold=kind == "caution")
        y += _ROW
    svg.close()
    return y + 4
