"""How much of a drawing goes on one sheet of paper, and drawings that go over several.

A drawing that is too large for a sheet is not cut like wallpaper: each kind of drawing divides
itself (`timing`, `path_drawing`, `wiring_sheets`) into sheets that can be read alone, with a
heading, a number, and references to the other sheets.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

SCALE = 0.65
"""Points of paper for one px of a drawing made for a sheet. Text of 11 px is then 7.2 points, its
capitals 1.8 mm high: the smallest of the heights of lettering in ISO 3098-1 (from memory)."""
TIGHT = 1.2
"""A drawing up to this many times too large is made smaller instead of divided: text of 11 px is
then 6 points high, as small as is still pleasant to read (common practice, no source)."""


@dataclass(frozen=True)
class Room:
    """What a sheet holds, in px of a drawing; `turned`: a sheet in landscape."""

    width: int
    height: int
    turned: bool

    def holds(self, width: float, height: float) -> bool:
        """Return whether a drawing of this size stays legible on the sheet."""
        return width <= TIGHT * self.width and height <= TIGHT * self.height

    def larger(self, by: float) -> Room:
        """Return the room for a drawing that is made so many times smaller."""
        return Room(int(self.width * by), int(self.height * by), self.turned)


# Within margins of 14 mm, as a browser prints the pack, and less a heading with some lines of words
# above: 40 mm upright, 36 mm on turned paper.
_SIZES = {"A4": ((793, 998), (1172, 636)), "Letter": ((819, 920), (1094, 662))}


def rooms(paper: str) -> tuple[Room, Room]:
    """Return the room of a sheet upright and turned; `paper` is A4 or Letter."""
    upright, turned = _SIZES[paper]
    return Room(*upright, False), Room(*turned, True)


@dataclass(frozen=True)
class Leaf:
    """One sheet of a drawing as an SVG document; `turned`: for a sheet in landscape."""

    svg: str
    turned: bool


def size_of(svg: str) -> tuple[int, int]:
    """Return width and height of an SVG document of ours, px."""
    found = re.search(r'<svg [^>]*?width="(\d+)" height="(\d+)"', svg)
    assert found is not None
    return int(found[1]), int(found[2])


def undivided(svg: str, paper: str) -> Leaf | None:
    """Return a whole drawing as its only sheet, None where it would become too small. Paper is
    turned only for what is not to be had upright in full size: upright, small drawings share it."""
    width, height = size_of(svg)
    fits = [room for room in rooms(paper) if room.holds(width, height)]
    if not fits:
        return None
    best = min(fits, key=lambda room: max(width / room.width, height / room.height, 1.0))
    return Leaf(svg, best.turned)


def shared_out(lengths: Sequence[int], room: int) -> list[tuple[int, int]]:
    """Return (first, past the last) of each group of neighbours whose lengths together are at most
    `room`: as few groups as can be, and those about equally long. What is longer than `room` gets
    a group of its own.

    >>> shared_out([30, 30, 30, 30], 100)
    [(0, 2), (2, 4)]
    """
    fewest = len(_filled(lengths, room))
    limits = sorted({max(lengths, default=0), *_sums(lengths, room)})
    for limit in limits:
        groups = _filled(lengths, limit)
        if len(groups) == fewest:
            return groups
    return _filled(lengths, room)


def _sums(lengths: Sequence[int], room: int) -> Iterable[int]:
    """Return the lengths of all groups of neighbours that fit into `room`."""
    for first in range(len(lengths)):
        total = 0
        for length in lengths[first:]:
            total += length
            if total > room:
                break
            yield total


def _filled(lengths: Sequence[int], room: int) -> list[tuple[int, int]]:
    """Return the groups that come of filling each in turn."""
    groups: list[tuple[int, int]] = []
    first = used = 0
    for i, length in enumerate(lengths):
        if i > first and used + length > room:
            groups.append((first, i))
            first, used = i, 0
        used += length
    if lengths:
        groups.append((first, len(lengths)))
    return groups
