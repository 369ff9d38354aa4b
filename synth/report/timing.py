"""timing.svg: inputs, loads, timers and relays over time, as step lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from synth.report.svg import Svg, text_width, wrap
from synth.report.time_axis import Axis, Scale, axis_of, changes_of, exact_time, grouped
from synth.trace import Trace, Track

_MARGIN = 24
_ROW = 34
"""Height of one track, px."""
_HIGH = 18
"""Height of the step from off to on, px."""
_NAMES = 170
"""Widest name, px."""
_FAINT = "#b0b0b0"


def timing_svg(trace: Trace, title: str) -> str:
    """Return the timing diagram of `trace` as an SVG document.

    A line is high while the signal is on. The time of every change is written exactly; where
    the axis is not to scale, the drawing says so. Same input, same bytes; every text is escaped.
    """
    axis = axis_of(trace)
    groups = grouped(trace)
    names = [track.name for track in trace.tracks]
    left = _MARGIN + 16 + max(
        [60] + [text_width(line) for name in names for line in wrap(name, _NAMES, most=2)]
    )
    places = {Fraction(0): left}
    x = left
    for stretch in axis.stretches:
        x += stretch.width
        places[stretch.end] = x
    right = x
    label_room = max(text_width(exact_time(time)) for time in places)
    marks, top_rows = _mark_rows(trace, axis, places, left, right)
    width = max(right + _MARGIN + math.ceil(label_room * 0.71) + 8, 640,
                *[x + text_width(text) + _MARGIN for x, _, _, text in marks])
    heads = wrap(title, width - 2 * _MARGIN, 16, bold=True, most=3) or ("Timing diagram",)
    top = 28 + 20 * len(heads) + 16 * top_rows + 8

    svg = Svg(f"Timing diagram: {title}", _description(trace))
    for i, line in enumerate(heads):
        svg.text(_MARGIN, 28 + 20 * i, line, size=16, bold=True)
    bottom = top + sum(22 + _ROW * len(tracks) for _, tracks in groups) + 10
    _draw_grid(svg, places, marks, top, bottom)
    y = top
    for heading, tracks in groups:
        svg.text(_MARGIN, y + 15, heading, size=12, bold=True)
        y += 22
        for track in tracks:
            _draw_track(svg, track, axis, places, left, y, trace.end)
            y += _ROW
    _draw_axis(svg, axis, places, bottom)
    y = bottom + 34 + math.ceil(label_room * 0.71)
    words = ["A line is high while the signal is on, low while it is off.", *axis.notes()]
    for line in wrap(" ".join(words), min(width - 2 * _MARGIN, 1100), most=6):
        svg.text(_MARGIN, y, line)
        y += 16
    return svg.document(width, y + 4)


def _description(trace: Trace) -> str:
    """Return the trace in words, for those who cannot see the picture (cut when very long)."""
    sentences = []
    for track in trace.tracks[:60]:
        first, changes = changes_of(track, trace.end)
        told = [f"{'on' if level else 'off'} at {exact_time(time)}" for time, level in changes[:20]]
        more = ["and so on"] if len(changes) > 20 else []
        start = "on" if first else "off"
        sentences.append(f"{track.name}: {', '.join([f'{start} at 0 s', *told, *more])}.")
    return " ".join(sentences)


def _mark_rows(
    trace: Trace, axis: Axis, places: dict[Fraction, int], left: int, right: int
) -> tuple[list[tuple[int, int, int | None, str]], int]:
    """Return the marks as (x of text, row, x of its line, text), and the number of rows.

    Row 0 is lowest. Words for rounds left out stand among the marks, without a line.
    """
    wanted: list[tuple[int, int | None, str]] = []
    for time, text in trace.marks:
        if time in places:
            spot = places[time]
            wanted.append((spot + 4, spot, " ".join(wrap(text, 360, most=1))))
    for stretch in axis.stretches:
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


def _draw_track(
    svg: Svg, track: Track, axis: Axis, places: dict[Fraction, int], left: int, y: int,
    end: Fraction,
) -> None:
    """Draw the name and the step line of one track, whose row begins at height `y`."""
    svg.open("track", f"{track.name} ({track.role})")
    low, high = y + 26, y + 26 - _HIGH
    lines = wrap(track.name, _NAMES, most=2)
    for i, line in enumerate(lines):
        svg.text(left - 12, y + 21 + 13 * i - 6 * (len(lines) - 1), line, anchor="end")
    level, changes = changes_of(track, end)
    moments = dict(changes)
    points = [(left, high if level else low)]
    for stretch in axis.stretches:
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
    for stretch in axis.stretches:
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


def _draw_axis(svg: Svg, axis: Axis, places: dict[Fraction, int], y: int) -> None:
    """Draw the time axis with the exact time of every moment."""
    svg.open("axis")
    xs = list(places.values())
    svg.line(xs[0], y, xs[-1], y, 1.2)
    for time, x in places.items():
        svg.line(x, y, x, y + 6, 1.2)
        svg.text(x - 3, y + 17, exact_time(time), turn=45)
    for stretch in axis.stretches:
        if stretch.scale in (Scale.SHORTENED, Scale.LEFT_OUT):
            _break_mark(svg, (places[stretch.start] + places[stretch.end]) // 2, y - 6, y + 6)
    svg.close()
