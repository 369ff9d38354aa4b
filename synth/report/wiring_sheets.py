"""The wiring plan on sheets of paper: the parts of some loads on each, laid out anew.

Parts are never cut. What leads to a part on another sheet ends in a flag that names the terminal
and the sheet; there a flag leads on. Wires keep their numbers, parts their letters and numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit
from synth.report.layout import Elsewhere, Layout, layout, shape_of
from synth.report.paper import Leaf, Room, rooms, undivided
from synth.report.svg import Svg, wrap
from synth.report.symbols import designations
from synth.report.wiring import CAUTION, draw_legend, draw_plan, legend_lines, wiring_svg

_MARGIN = 24
_ROW = 18
_FLAG = 92
"""Widest words in a flag, px."""
_FLAGS = "A flag stands for the other end of its wire: the terminal there, and the sheet."


def wiring_sheets(design: Design, kit: Kit, title: str, paper: str) -> tuple[Leaf, ...]:
    """Return the wiring plan on one sheet of `paper` (A4 or Letter), or on several where it would
    become too small. Same input, same bytes; every text is escaped."""
    plan = layout(design, kit)
    leaf = undivided(wiring_svg(design, kit, title, plan=plan), paper)
    if leaf is not None:
        return (leaf,)
    place = {placed.part.name: (placed.rect.x, placed.rect.y) for placed in plan.parts}
    blocks = [sorted(block, key=place.__getitem__) for block in blocks_of(design)]
    cutter = _Cutter(design, kit, title, paper, plan, blocks[0][0])
    groups = [piece for block in blocks for piece in _pieces(block, cutter.room_of)]
    return cutter.leaves(_joined(groups, cutter.room_of))


def blocks_of(design: Design) -> list[tuple[str, ...]]:
    """Return the names of all parts, grouped by the first load that each serves, in the order of
    the design; last what serves none."""
    into: dict[str, list[str]] = {}
    for wire in design.wires:
        into.setdefault(wire.target.part, []).append(wire.source.part)
    known = {part.name for part in design.parts}
    done: set[str] = set()
    blocks = []
    for load in [part.name for part in design.parts if part.type is PartType.LOAD]:
        block: list[str] = []
        ahead = [load]
        while ahead:
            name = ahead.pop()
            if name in done or name not in known:
                continue
            done.add(name)
            block.append(name)
            ahead += into.get(name, ())
        blocks.append(tuple(block))
    rest = tuple(part.name for part in design.parts if part.name not in done)
    return [block for block in (*blocks, rest) if block]


def _pieces(
    names: Sequence[str], room_of: Callable[[Sequence[str]], Room | None]
) -> list[tuple[str, ...]]:
    """Return neighbours in pieces, each as large as fits on a sheet; single parts always do."""
    pieces = []
    left = tuple(names)
    while left:
        # Mostly all of it fits; else small pieces are laid out sooner than large ones.
        count = len(left)
        if room_of(left) is None:
            count = 1
            while count + 1 < len(left) and room_of(left[: count + 1]) is not None:
                count += 1
        pieces.append(left[:count])
        left = left[count:]
    return pieces


def _joined(
    groups: Sequence[tuple[str, ...]], room_of: Callable[[Sequence[str]], Room | None]
) -> list[tuple[str, ...]]:
    """Return the groups with those put on one sheet that fit on one, neighbours first."""
    found: list[tuple[str, ...]] = []
    for group in groups:
        for i in range(len(found) - 1, -1, -1):
            if room_of((*found[i], *group)) is not None:
                found[i] = (*found[i], *group)
                break
        else:
            found.append(group)
    return found


def _form(plan: Layout, title: str, told: str, whole: Layout | None) -> (
    tuple[int, int, list[tuple[str, str]]]
):
    """Return the width of a drawing, where its plan begins, and its legend: on the first sheet
    that of the `whole` plan."""
    width = max(plan.width, 760)
    heads = wrap(title, width - 2 * _MARGIN, 16, bold=True, most=3) or ("Wiring plan",)
    top = 40 + 20 * (len(heads) - 1) + (16 if told else 0)
    if whole is not None:
        legend = legend_lines(whole, width)
        signs = sum(kind in ("power", "control") for kind, _ in legend)
        return width, top, [*legend[:signs], ("", _FLAGS), *legend[signs:]]
    wide = min(width - 2 * _MARGIN, 1100)
    return width, top, [("caution", line) for line in wrap(CAUTION, wide, bold=True, most=6)]


@dataclass(frozen=True)
class _Cutter:
    """Draws groups of the parts of a design on sheets of their own."""

    design: Design
    kit: Kit
    title: str
    paper: str
    whole: Layout
    first: str
    """A part of the first sheet, which has the legend."""

    def _piece(
        self, names: Sequence[str], sheets: Mapping[str, int]
    ) -> tuple[Layout, Mapping[str, tuple[str, ...]]]:
        """Return the plan of some parts, with flags for all others; `sheets`: where those are."""
        own = set(names)
        parts = {part.name: part for part in self.design.parts}
        named = {name: f"-{told}" for name, told in designations(self.design).items()}
        control = frozenset(
            wire.number for wire in self.design.wires
            if (end := parts.get(wire.target.part)) is not None
            and wire.target.terminal in shape_of(end, self.kit).controls
        )
        shown = [part for part in self.design.parts if part.name in own]
        wires = []
        stubs: dict[str, tuple[str, ...]] = {}
        for wire in self.design.wires:
            here = wire.source.part in own, wire.target.part in own
            if not any(here) or wire.source.part not in parts or wire.target.part not in parts:
                continue
            source, target = wire.source, wire.target
            if not all(here):
                other = target if here[0] else source
                mark = named[other.part]
                said = wrap(f"{mark}:{other.terminal}", _FLAG, most=1)[0]
                word = "to" if here[0] else "from"
                words = said, f"{word} sheet {sheets.get(other.part, 0) + 1}"
                name = " ".join(words)
                while name in parts or name in stubs:
                    name += "'"
                stubs[name] = words
                kind = PartType.LOAD if here[0] else PartType.SUPPLY
                shown.append(PartInUse(name, kind, ""))
                source = source if here[0] else Terminal(name, "out")
                target = Terminal(name, "in") if here[0] else target
            wires.append(Wire(wire.number, source, target, wire.units))
        piece = Design(self.design.kit, tuple(shown), tuple(wires))
        return layout(piece, self.kit, Elsewhere(named, control, stubs)), stubs

    def _form(self, plan: Layout, names: Sequence[str], told: str) -> (
        tuple[int, int, list[tuple[str, str]]]
    ):
        return _form(plan, self.title, told, self.whole if self.first in names else None)

    def room_of(self, names: Sequence[str]) -> Room | None:
        """Return the sheet on which these parts stay legible, None where none is large enough."""
        plan, _ = self._piece(names, {})
        width, top, legend = self._form(plan, names, "x")
        height = top + plan.height + 8 + 20 + _ROW * len(legend) + 4
        fits = [room for room in rooms(self.paper) if room.holds(width, height)]
        return min(
            fits, key=lambda r: max(width / r.width, height / r.height), default=None
        )

    def leaves(self, groups: Sequence[Sequence[str]]) -> tuple[Leaf, ...]:
        """Return the sheets."""
        sheets = {name: i for i, names in enumerate(groups) for name in names}
        found = []
        for i, names in enumerate(groups):
            plan, stubs = self._piece(names, sheets)
            told = f"Layout, sheet {i + 1} of {len(groups)}: {self._loads(names)}"
            width, top, legend = self._form(plan, names, told)
            svg = Svg(f"{told}: {self.title}", f"{len(names)} parts.")
            for k, line in enumerate(
                wrap(self.title, width - 2 * _MARGIN, 16, bold=True, most=3) or ("Wiring plan",)
            ):
                svg.text(_MARGIN, 28 + 20 * k, line, size=16, bold=True)
            svg.text(_MARGIN, top - 10, wrap(told, width - 2 * _MARGIN, most=1)[0])
            svg.open("plan", shift=((width - plan.width) // 2, top))
            draw_plan(svg, plan, stubs=stubs)
            svg.close()
            height = draw_legend(svg, legend, top + plan.height + 8, width)
            room = self.room_of(names)
            found.append(Leaf(svg.document(width, height), room is None or room.turned))
        return tuple(found)

    def _loads(self, names: Sequence[str]) -> str:
        """Return which loads the parts of a sheet are for, in words."""
        loads = [name for name in names if self.design.part(name).type is PartType.LOAD]
        return f"the parts for {', '.join(loads)}" if loads else "more parts"

