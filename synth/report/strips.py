"""The timing diagram as lines of text, for a terminal of any width."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from fractions import Fraction

from synth.report.svg import visible
from synth.report.time_axis import (
    NARROWEST,
    Axis,
    Scale,
    Stretch,
    axis_of,
    changes_of,
    exact_time,
    grouped,
)
from synth.trace import Trace, Track

_LEAST_WIDTH = 40
"""Narrower terminals are written to as if they had this many columns."""
_LONGEST_NAME = 24
_PER_COLUMN = NARROWEST // 3
"""Px of the picture for one column of text."""


def columns_of(text: str) -> int:
    """Return how many columns a terminal uses for `text`."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in ("W", "F") else 1
        for c in text
    )


def _cut(text: str, width: int, ascii: bool) -> str:
    """Return `text`, harmless to a terminal, in at most `width` columns."""
    shown = visible(text[:500])
    if ascii:
        shown = shown.encode("ascii", "replace").decode()
    dots = "..." if ascii else "…"
    if columns_of(shown) > width:
        while columns_of(shown) > width - len(dots):
            shown = shown[:-1]
        shown += dots
    return shown


def _fitted(text: str, width: int, ascii: bool) -> str:
    """Return `text` cut or filled to exactly `width` columns."""
    shown = _cut(text, width, ascii)
    return shown + " " * (width - columns_of(shown))


def timing_text(trace: Trace, width: int = 80, ascii: bool = False) -> str:
    """Return `trace` as lines of at most `width` columns (40 at least), without a final newline.

    A block is a column wide while the signal is on, a line at the foot while it is off. Traces
    wider than the terminal go on in further blocks. `ascii` uses plain characters only.
    """
    width = max(width, _LEAST_WIDTH)
    if not trace.tracks:
        return "Nothing to show: no signals."
    axis = axis_of(trace)
    names = [visible(track.name[:500]) for track in trace.tracks]
    room = min(max([columns_of(name) for name in names] + [4]), _LONGEST_NAME, width // 3)
    lines: list[str] = []
    for block in _blocks(axis, width - room - 5):
        if lines:
            lines.append("")
        lines += _marks(trace, block, room + 4, width, ascii)
        for heading, tracks in grouped(trace):
            lines.append(_cut(heading, width, ascii))
            for track in tracks:
                strip = _strip(track, block, trace.end, ascii)
                lines.append(f"  {_fitted(track.name, room, ascii)}  {strip}")
        lines += _times(block, room + 4, width, ascii)
    lines.append("")
    on, off = ("#", "_") if ascii else ("█", "▁")
    lines += _folded(" ".join([f"{on} on, {off} off.", *axis.notes()]), width)
    return "\n".join(line.rstrip() for line in lines)


def _columns(stretch: Stretch) -> int:
    """Return how many columns a stretch takes."""
    return max(2, round(stretch.width / _PER_COLUMN))


def _blocks(axis: Axis, width: int) -> list[list[tuple[Stretch, int]]]:
    """Return the stretches with their columns, in rows of at most `width` columns."""
    blocks: list[list[tuple[Stretch, int]]] = [[]]
    used = 0
    for stretch in axis.stretches:
        columns = min(_columns(stretch), width)
        if used + columns > width:
            blocks.append([])
            used = 0
        blocks[-1].append((stretch, columns))
        used += columns
    return blocks


def _strip(
    track: Track, block: Sequence[tuple[Stretch, int]], end: Fraction, ascii: bool
) -> str:
    """Return the levels of one track over the stretches of one block."""
    on, off = ("#", "_") if ascii else ("█", "▁")
    first, changes = changes_of(track, end)
    pieces = []
    for stretch, columns in block:
        level = first
        for time, value in changes:
            if time > stretch.start:
                break
            level = value
        piece = (on if level else off) * columns
        if stretch.scale is Scale.LEFT_OUT and any(
            stretch.start < time < stretch.end for time, _ in changes
        ):
            piece = "." * columns
        if stretch.scale in (Scale.SHORTENED, Scale.LEFT_OUT):
            middle = (columns - 2) // 2
            piece = piece[:middle] + "//" + piece[middle + 2 :]
        pieces.append(piece)
    return "".join(pieces)


def _moments(block: Sequence[tuple[Stretch, int]]) -> list[tuple[int, Fraction]]:
    """Return the column of every moment of a block."""
    moments, column = [], 0
    for stretch, columns in block:
        moments.append((column, stretch.start))
        column += columns
    if block:
        moments.append((column, block[-1][0].end))
    return moments


def _stacked(
    wanted: Sequence[tuple[int, str]], width: int, ascii: bool, nearest: int = 0
) -> list[str]:
    """Return lines with each text at its column, stacked so that none meets another.

    Line 0 is nearest the strips. A text farther out, from line `nearest` on, has a bar at its
    column in all nearer lines. Texts begin at their column; those that would run over `width`
    or over the bar of such a one end at it, farthest out.
    """
    bar = "|" if ascii else "│"
    rows: list[list[tuple[int, int, str]]] = []

    def free(row: int, start: int, stop: int, text: str = "") -> bool:
        return row >= len(rows) or all(
            stop <= other or start >= end or (text == bar == word and start == other)
            for other, end, word in rows[row]
        )

    def place(column: int, start: int, text: str, row: int) -> None:
        stop = start + columns_of(text)
        # One blank on either side keeps texts apart. A new row always has room.
        while row < len(rows) and not (
            free(row, start - 1, stop + 1)
            and all(free(nearer, column, column + 1, bar) for nearer in range(row))
        ):
            row += 1
        while row >= len(rows):
            rows.append([])
        rows[row].append((start, stop, text))
        for nearer in range(row):
            if free(nearer, column, column + 1):
                rows[nearer].append((column, column + 1, bar))

    together: dict[int, list[str]] = {}
    for column, text in wanted:
        together.setdefault(column, []).append(text)
    limit = width
    backward: list[tuple[int, str]] = []
    for column in sorted(together, reverse=True):
        text = _cut("; ".join(together[column]), width, ascii)
        if column + columns_of(text) > limit:
            backward.append((column, text))
            limit = column - 1
        else:
            place(column, column, text, nearest)
    for column, text in reversed(backward):
        start = min(max(0, column - columns_of(text) + 1), width - columns_of(text))
        place(column, start, text, max(1, nearest))
    lines = []
    for items in rows:
        line, at = "", 0
        for start, stop, text in sorted(items):
            line += " " * (start - at) + text
            at = stop
        lines.append(line)
    return lines


def _times(block: Sequence[tuple[Stretch, int]], indent: int, width: int, ascii: bool) -> list[str]:
    """Return the time axis under a block: a tick at each moment, and its exact time."""
    tick, level = ("+", "-") if ascii else ("┴", "─")
    moments = _moments(block)
    line = [level] * (moments[-1][0] + 1 if moments else 0)
    for column, _ in moments:
        line[column] = tick
    wanted = [(indent + column, exact_time(time)) for column, time in moments]
    return [" " * indent + "".join(line), *_stacked(wanted, width, ascii)]


def _marks(
    trace: Trace, block: Sequence[tuple[Stretch, int]], indent: int, width: int, ascii: bool
) -> list[str]:
    """Return the words above a block: marks, and how many rounds are left out."""
    moments = _moments(block)
    columns = {time: column for column, time in moments[:-1]}
    if not block or block[-1][0].end == trace.end:
        columns[max(trace.end, Fraction(0))] = moments[-1][0] if moments else 0
    wanted = [(columns[time], text) for time, text in trace.marks if time in columns]
    wanted += [
        (columns[s.start], f"same again {'once' if s.rounds == 1 else f'{s.rounds} times'}")
        for s, _ in block
        if s.scale is Scale.LEFT_OUT
    ]
    texts = [(indent + column, text) for column, text in wanted if text.strip()]
    return _stacked(texts, width, ascii, nearest=1)[::-1]


def _folded(text: str, width: int) -> list[str]:
    """Return `text` in lines of at most `width` columns, broken at blanks."""
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines
