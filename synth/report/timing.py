"""timing.svg: inputs, loads, timers and relays over time, as step lines."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace
from fractions import Fraction

from synth.report.paper import TIGHT, Leaf, Room, rooms, shared_out, undivided
from synth.report.svg import Svg, text_width, wrap
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

_MARGIN = 24
_ROW = 34
"""Height of one track, px."""
_CLOSE = 28
"""Height of one track on a sheet of paper, px."""
_HIGH = 18
"""Height of the step from off to on, px."""
_NAMES = 170
"""Widest name, px."""
WIDEST = 1800
"""What is wider than so many px goes into strips, one below the other: a screen shows one whole."""
LEAST_WIDE = 360
"""No run is drawn narrower than so many px."""
_MARK = 360
"""Longest words of a mark, px; what is longer stands in full below the title."""
_FAINT = "#b0b0b0"


def timing_svg(trace: Trace, title: str) -> str:
    """Return the timing diagram of `trace` as an SVG document.

    A line is high while the signal is on. The time of every change is written exactly; where
    the axis is not to scale, the drawing says so. Same input, same bytes; every text is escaped.
    """
    axis = _wide_enough(axis_of(trace))
    strips = [_Strip(trace, axis.stretches, grouped(trace), _ROW)]
    if strips[0].width > WIDEST:
        strips = _in_time(trace, axis, grouped(trace), WIDEST)
    return _document(strips, trace, axis, title, "")


def timing_sheets(trace: Trace, title: str, paper: str) -> tuple[Leaf, ...]:
    """Return the timing diagram on one sheet of `paper` (A4 or Letter), or on several, in strips:
    each with the names of its rows, a time axis of its own, and the moment at which it takes
    over."""
    axis, groups = _wide_enough(axis_of(trace)), grouped(trace)
    leaf = undivided(timing_svg(trace, title), paper)
    if leaf is not None:
        return (leaf,)
    # Smaller writing is worth it only where it saves sheets.
    ways = [room.larger(by) for by in (1.0, TIGHT) for room in reversed(rooms(paper))]
    divided = [(room, _divided(trace, axis, groups, room)) for room in ways]
    room, sheets = min(divided, key=lambda way: len(way[1]))
    return tuple(
        Leaf(_document(strips, trace, axis, title,
                       f"Timing diagram, sheet {i} of {len(sheets)}: {_told(strips, trace)}"),
             room.turned)
        for i, strips in enumerate(sheets, 1)
    )


def _wide_enough(axis: Axis) -> Axis:
    """Return the axis, wider where a run of a moment or two would be but a sliver."""
    total = sum(stretch.width for stretch in axis.stretches)
    if not total or total >= LEAST_WIDE:
        return axis
    wider = tuple(
        replace(stretch, width=round(stretch.width * LEAST_WIDE / total))
        for stretch in axis.stretches
    )
    return replace(axis, stretches=wider)


def _told(strips: Sequence[_Strip], trace: Trace) -> str:
    """Return in words which times and rows stand on a sheet."""
    times = [time for strip in strips for time in strip.places]
    names = [track.name for _, tracks in strips[0].groups for track in tracks]
    order = [track.name for _, tracks in grouped(trace) for track in tracks]
    told = f"from {exact_time(min(times))} to {exact_time(max(times))}"
    if len(names) == len(order):
        return told
    first = order.index(names[0]) + 1
    return f"{told}, rows {first} to {first + len(names) - 1} of {len(order)}"


Groups = Sequence[tuple[str, Sequence[Track]]]


def _divided(trace: Trace, axis: Axis, groups: Groups, room: Room) -> list[list[_Strip]]:
    """Return the strips on each sheet: all times of the first rows, then of the next."""
    rows = [(heading, track) for heading, tracks in groups for track in tracks]
    lengths = [_CLOSE + (22 if i and rows[i - 1][0] != heading else 0)
               for i, (heading, _) in enumerate(rows)]
    high = room.height - _around(trace, axis, room.width)
    # What stands above and below the rows of a strip takes room; how much, shows when it is there.
    least = _Strip(trace, axis.stretches[:1], [], _CLOSE).height + 22
    # On paper too small for a single row, a row stands alone, and larger than the sheet.
    for spare in range(least, max(high, least + 1), 16):
        bands = []
        for first, last in shared_out(lengths, high - spare) or [(0, 0)]:
            own: dict[str, list[Track]] = {}
            for heading, track in rows[first:last]:
                own.setdefault(heading, []).append(track)
            bands.append(_in_time(trace, axis, list(own.items()), room.width))
        if all(strip.height <= high for strips in bands for strip in strips):
            break
    return [
        strips[begin:end] for strips in bands
        for begin, end in shared_out([strip.height for strip in strips], high)
    ]


def _in_time(trace: Trace, axis: Axis, groups: Groups, width: int) -> list[_Strip]:
    """Return some rows in strips, one after the other in time, at most `width` px wide."""
    widths = [stretch.width for stretch in axis.stretches]
    wide = width - 2 * _MARGIN
    while True:
        strips = [
            _Strip(trace, axis.stretches[first:last], groups, _CLOSE)
            for first, last in shared_out(widths, wide) or [(0, 0)]
        ]
        # Words at the right edge take room too.
        if wide <= max(widths, default=0) or all(strip.width <= width for strip in strips):
            return strips
        wide -= 2 * NARROWEST


def _notes(axis: Axis, width: int) -> tuple[str, ...]:
    words = ["A line is high while the signal is on, low while it is off.", *axis.notes()]
    return wrap(" ".join(words), min(width - 2 * _MARGIN, 1100), most=6)


def _in_full(trace: Trace, width: int) -> list[str]:
    """Return the lines that say in full what the marks have no room for."""
    return [
        line
        for text in dict.fromkeys(text for _, text in trace.marks if text_width(text) > _MARK)
        for line in wrap(text, min(width - 2 * _MARGIN, 1100), most=4)
    ]


def _around(trace: Trace, axis: Axis, width: int) -> int:
    """Return the height of what stands around the strips of a sheet: heading, notes; px."""
    lines = len(_notes(axis, width)) + len(_in_full(trace, width))
    return 28 + 20 + 18 + 16 * lines + 4


def _document(
    strips: Sequence[_Strip], trace: Trace, axis: Axis, title: str, told: str
) -> str:
    """Return strips, one below the other, as an SVG document; `told` stands below the title."""
    width = max(640, text_width(told) + 2 * _MARGIN, *(strip.width for strip in strips))
    heads = wrap(title, width - 2 * _MARGIN, 16, bold=True, most=3) or ("Timing diagram",)
    names = {track.name for strip in strips for _, tracks in strip.groups for track in tracks}
    times = [time for strip in strips for time in strip.places]
    svg = Svg(f"{told or 'Timing diagram'}: {title}",
              _description(trace, min(times), max(times), names))
    for i, line in enumerate(heads):
        svg.text(_MARGIN, 28 + 20 * i, line, size=16, bold=True)
    y = 28 + 20 * len(heads)
    for line in _in_full(trace, width):
        svg.text(_MARGIN, y - 2, line)
        y += 16
    if told:
        svg.text(_MARGIN, y - 2, told)
        y += 18
    for strip in strips:
        strip.draw(svg, y)
        y += strip.height
    for line in _notes(axis, width):
        svg.text(_MARGIN, y, line)
        y += 16
    return svg.document(width, y + 4)


class _Strip:
    """The rows of `groups`, each `row` px high, over some neighbouring stretches of the axis."""

    def __init__(
        self, trace: Trace, stretches: Sequence[Stretch], groups: Groups, row: int
    ) -> None:
        self.stretches, self.groups, self.end, self.row = stretches, groups, trace.end, row
        # The same in all strips: as wide as the widest name of the whole diagram.
        self.left = _MARGIN + 16 + max(
            [60] + [text_width(line) for track in trace.tracks
                    for line in wrap(track.name, _NAMES, most=2)]
        )
        begin = stretches[0].start if stretches else Fraction(0)
        self.places = {begin: self.left}
        """The x of each moment, px."""
        x = self.left
        for stretch in stretches:
            x += stretch.width
            self.places[stretch.end] = x
        # How far the words of the axis reach down, and to the right.
        slant = math.ceil(max(text_width(exact_time(time)) for time in self.places) * 0.71)
        self.marks, mark_rows = _mark_rows(trace, stretches, self.places)
        self.width = max(x + _MARGIN + slant + 8,
                         *[x + text_width(text) + _MARGIN for x, _, _, text in self.marks], 0)
        self.top = 16 * mark_rows + 8
        self.rows = sum(22 + row * len(tracks) for _, tracks in groups) + 10
        self.height = self.top + self.rows + 34 + slant

    def draw(self, svg: Svg, y: int) -> None:
        """Draw the strip from height `y` on."""
        y += self.top
        bottom = y + self.rows
        _draw_grid(svg, self.places, self.marks, y, bottom)
        for heading, tracks in self.groups:
            svg.text(_MARGIN, y + 15, heading, size=12, bold=True)
            y += 22
            for track in tracks:
                _draw_track(svg, track, self, y)
                y += self.row
        _draw_axis(svg, self.stretches, self.places, bottom)


def _description(trace: Trace, begin: Fraction, end: Fraction, names: Collection[str]) -> str:
    """Return the trace in words, for those who cannot see the picture (cut when very long)."""
    sentences = []
    for track in [track for track in trace.tracks if track.name in names][:60]:
        first, changes = changes_of(track, trace.end)
        level = _level(first, changes, begin)
        changes = [change for change in changes if begin < change[0] <= end]
        told = [f"{'on' if level else 'off'} at {exact_time(time)}" for time, level in changes[:20]]
        more = ["and so on"] if len(changes) > 20 else []
        start = "on" if level else "off"
        sentences.append(
            f"{track.name}: {', '.join([f'{start} at {exact_time(begin)}', *told, *more])}."
        )
    return " ".join(sentences)


def _level(first: bool, changes: Sequence[tuple[Fraction, bool]], time: Fraction) -> bool:
    """Return the level from `time` on."""
    level = first
    for moment, value in changes:
        if moment > time:
            break
        level = value
    return level


def _mark_rows(
    trace: Trace, stretches: Sequence[Stretch], places: dict[Fraction, int]
) -> tuple[list[tuple[int, int, int | None, str]], int]:
    """Return the marks as (x of text, row, x of its line, text), and the number of rows.

    Row 0 is lowest. Words for rounds left out stand among the marks, without a line.
    """
    wanted: list[tuple[int, int | None, str]] = []
    # What comes at the moment at which the next sheet takes over is told there.
    over = {list(places)[-1]} if list(places)[-1] < trace.end else set()
    for time, text in trace.marks:
        if time in places and time not in over:
            spot = places[time]
            wanted.append((spot + 4, spot, " ".join(wrap(text, _MARK, most=1))))
    for stretch in stretches:
        if stretch.scale is Scale.LEFT_OUT:
            times = "once" if stretch.rounds == 1 else f"{stretch.rounds} times"
            wanted.append((places[stretch.start] + 4, None, f"same again {times}"))
    wanted.sort(key=lambda mark: (mark[0], mark[2]))
    # From the right, so that no text stands on the line of a mark to its right.
    placed: list[tuple[int, int, int | None, str]] = []
    starts: list[int] = []
    for x, line, text in reversed(wanted):
        row = 0
        while row < len(starts) and starts[row] < x + text_width(text) + 8:
            row += 1
        # Rows below are crossed by this mark's line, so nothing may come to stand there.
        starts[: row + 1] = [x - 4] * (row + 1)
        placed.append((x, row, line, text))
    return placed[::-1], len(starts)


def _draw_grid(
    svg: Svg, places: dict[Fraction, int], marks: Sequence[tuple[int, int, int | None, str]],
    top: int, bottom: int,
) -> None:
    """Draw a faint line at every moment, and the marks with their lines and words."""
    svg.open("grid")
    for x in places.values():
        svg.line(x, top, x, bottom, 0.75, stroke=_FAINT)
    svg.close()
    svg.open("marks")
    for x, row, line, text in marks:
        y = top - 8 - 16 * row
        if line is not None:
            svg.line(line, y - 10, line, bottom, 1, "2 3")
        svg.text(x, y, text)
    svg.close()


def _draw_track(svg: Svg, track: Track, strip: _Strip, y: int) -> None:
    """Draw the name and the step line of one track, whose row begins at height `y`."""
    svg.open("track", f"{track.name} ({track.role})")
    stretches, places, left = strip.stretches, strip.places, strip.left
    low = y + strip.row - 8
    high = low - _HIGH
    lines = wrap(track.name, _NAMES, most=2)
    for i, line in enumerate(lines):
        svg.text(left - 12, low - 5 + 13 * i - 6 * (len(lines) - 1), line, anchor="end")
    first, changes = changes_of(track, strip.end)
    # A change at the very moment at which this strip takes over is drawn at its beginning.
    begin = next(iter(places))
    level = _level(first, [change for change in changes if change[0] < begin], begin)
    moments = dict(changes)
    points = [(left, high if level else low)]
    for stretch in stretches:
        level = moments.get(stretch.start, level)
        x1, x2 = places[stretch.start], places[stretch.end]
        if level:
            svg.rect(x1, high, x2 - x1, _HIGH, 0, "#e4e4e4")
        points += [(x1, high if level else low), (x2, high if level else low)]
        within = [value for time, value in changes if stretch.start < time < stretch.end]
        if stretch.scale is Scale.LEFT_OUT and within:
            svg.polyline(points, 1.8)
            svg.rect(x1, high, x2 - x1, _HIGH, 1, "white", dash="3 3")
            level = within[-1]
            points = [(x2, high if level else low)]
    svg.polyline(points, 1.8)
    for stretch in stretches:
        if stretch.scale in (Scale.SHORTENED, Scale.LEFT_OUT):
            middle = (places[stretch.start] + places[stretch.end]) // 2
            _break_mark(svg, middle, high - 3, low + 3)
    svg.close()


def _break_mark(svg: Svg, x: int, high: int, low: int) -> None:
    """Draw a break: two slanted strokes with a white gap between."""
    svg.polyline(
        [(x - 6, low), (x, high), (x + 6, high), (x, low)], 0, fill="white", closed=True,
        stroke="none",
    )
    svg.line(x - 6, low, x, high, 1.2)
    svg.line(x, low, x + 6, high, 1.2)


def _draw_axis(
    svg: Svg, stretches: Sequence[Stretch], places: dict[Fraction, int], y: int
) -> None:
    """Draw the time axis with the exact time of every moment."""
    svg.open("axis")
    xs = list(places.values())
    svg.line(xs[0], y, xs[-1], y, 1.2)
    for time, x in places.items():
        svg.line(x, y, x, y + 6, 1.2)
        svg.text(x - 3, y + 17, exact_time(time), turn=45)
    for stretch in stretches:
        if stretch.scale in (Scale.SHORTENED, Scale.LEFT_OUT):
            _break_mark(svg, (places[stretch.start] + places[stretch.end]) // 2, y - 6, y + 6)
    svg.close()
