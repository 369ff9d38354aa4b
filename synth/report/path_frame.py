"""Where current paths go: rows of paths on one drawing or on several, after one geometry for both
views. *Along* runs with the current, *across* from path to path."""

from __future__ import annotations

from collections.abc import Sequence

from synth.report.current_paths import Branch, Paths
from synth.report.svg import Number, Svg, text_width, wrap

MARGIN = 28
ELEMENT = 64
"""Length of a contact along the current, px."""
FAR = 1_000_000
INK = 1.6
Place = tuple[Number, Number]


class Frame:
    """Turns (along, across) into places of the page, and draws there.

    The paths stand in rows of at most `size` (a ladder: all in one), each row on one of the
    drawings `svgs`, below the row before it. `across` counts on from row to row, `FAR` each.
    """

    def __init__(self, ladder: bool, paths: Paths, size: int) -> None:
        self.ladder, self.paths = ladder, paths
        self.step = 72 if ladder else 112
        """Distance from path to path, px."""
        widest = max((text_width(numbers(branch)) for branch in paths.every), default=0)
        # There are no more nodes than wires; beside a node's number stands the ":A1" of a coil.
        wires = {wire.number for branch in paths.every for wire in branch.wires}
        node = text_width(f"({max([len(wires), *wires])})")
        self.lead = max(24, widest + 12, node + 14) if ladder else 24
        """From a node to the element behind it, px: room for the numbers of the wires."""
        self.row = ELEMENT + self.lead + (24 if ladder else 6)
        self.first = MARGIN + (46 if ladder else 40)
        self.begin = MARGIN + 44
        count = max(paths.count, 1)
        rows = -(-count // size)
        size = -(-count // rows)
        self.bands = tuple(
            (first, min(first + size - 1, count)) for first in range(1, count + 1, size)
        )
        """The first and the last path of each row."""
        self.size = size
        deep, lines = [0] * len(self.bands), [0] * len(self.bands)
        for leaf in paths.every:
            if not leaf.behind:
                at = (leaf.path - 1) // size
                deep[at] = max(deep[at], leaf.row)
                lines[at] = max(lines[at], len(under(self, leaf)))
        self.begins = tuple(self.begin + self.lead + self.row * row for row in deep)
        """Where the consumers begin, along, in each row of paths."""
        self.heights = tuple(
            self.step * (last - first + 1) if ladder
            else begin + 88 + 20 + 14 * below + 10 - self.begin + 44
            for begin, below, (first, last) in zip(self.begins, lines, self.bands, strict=True)
        )
        """How much height each row of paths takes, px."""
        self.tops = [0] * len(self.bands)
        """How far down its drawing each row of paths begins, px."""
        self.sheet_of = [0] * len(self.bands)
        """The number of the drawing, from 0, on which each row of paths stands."""
        self.svgs: list[Svg] = []
        self.share([len(self.bands)], 0)

    def share(self, counts: Sequence[int], down: int) -> None:
        """Put so many rows of paths on each drawing in turn, all moved down by `down` px."""
        band = 0
        for sheet, count in enumerate(counts):
            top = down
            for at in range(band, band + count):
                self.tops[at], self.sheet_of[at] = top, sheet
                top += self.heights[at]
            band += count

    def bands_on(self, sheet: int) -> list[int]:
        """Return the rows of paths on a drawing."""
        return [band for band, at in enumerate(self.sheet_of) if at == sheet]

    def bottom(self, sheet: int) -> int:
        """Return where the rows of paths on a drawing end, px down."""
        last = self.bands_on(sheet)[-1]
        top = self.tops[last] + self.heights[last]
        return top + (self.first if self.ladder else self.begin - 24)

    def width(self, sheet: int) -> int:
        """Return how wide a drawing has to be, px."""
        if not self.ladder:
            return self.first + self.size * self.step
        bands = self.bands_on(sheet)
        words = [text_width(line) for leaf in self.paths.every
                 if not leaf.behind and (leaf.path - 1) // self.size in bands
                 for line in beside(self, leaf)]
        return max(self.begins[band] for band in bands) + 88 + 12 + max(words, default=0) + MARGIN

    def across(self, path: int) -> int:
        row, place = divmod(path - 1, self.size)
        return row * FAR + self.first + place * self.step

    def along(self, row: int) -> int:
        return self.begin + self.lead + row * self.row

    def on(self, across: Number) -> Svg:
        """Return the drawing on which a path stands."""
        return self.svgs[self.sheet_of[int(across // FAR)]]

    def at(self, along: Number, across: Number) -> Place:
        row, across = divmod(across, FAR)
        top = self.tops[int(row)]
        return (along, across + top) if self.ladder else (across, along + top)

    def consumers(self, path: int) -> int:
        """Return where the consumers of a path's row begin, along."""
        return self.begins[(path - 1) // self.size]

    def end(self, path: int) -> int:
        """Return where the return rail of a path's row lies, along."""
        return self.consumers(path) + 88

    def line(self, *spots: Place, width: Number = INK, dash: str = "") -> None:
        self.on(spots[0][1]).polyline([self.at(*spot) for spot in spots], width, dash)

    def solid(self, *spots: Place) -> None:
        svg = self.on(spots[0][1])
        svg.polyline([self.at(*spot) for spot in spots], 1, fill="black", closed=True)

    def dot(self, along: Number, across: Number) -> None:
        x, y = self.at(along, across)
        self.on(across).circle(x, y, 2.6, 1, "black")

    def box(self, along: Number, across: Number, length: Number, breadth: Number) -> None:
        """Draw a box whose middle is at a place; `length` along, `breadth` across."""
        x, y = self.at(along, across)
        wide, high = (length, breadth) if self.ladder else (breadth, length)
        self.on(across).rect(x - wide / 2, y - high / 2, wide, high, INK)

    def text(
        self, along: Number, across: Number, words: str, anchor: str = "middle", bold: bool = False
    ) -> None:
        x, y = self.at(along, across)
        self.on(across).text(x, y + 4, words, anchor=anchor, bold=bold)


def numbers(branch: Branch) -> str:
    """Return the numbers of the wires that lead to an element; of many, the first and last."""
    told = [str(wire.number) for wire in branch.wires]
    return "-".join(told if len(told) <= 5 else [*told[:2], "…", *told[-2:]])


def under(frame: Frame, leaf: Branch) -> list[str]:
    """Return what stands under the number of a path: the load's name, or the contact mirror."""
    if leaf.kind == "load":
        return list(wrap(leaf.part.name, 96, most=2))
    if leaf.kind != "coil":
        return []
    contacts = frame.paths.contact_paths.get(leaf.part.name, ())
    return [f"{'b' if broken else 'm'} /{at}" for at, broken in contacts]


def beside(frame: Frame, leaf: Branch) -> tuple[str, ...]:
    """Return what stands beside a rung: the load's name, or the contact mirror."""
    return wrap(", ".join(under(frame, leaf)), 200, most=3)
