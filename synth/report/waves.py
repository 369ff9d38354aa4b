"""A trace as data for other programs: VCD (IEEE 1364) and WaveJSON; and test results to fill in."""

from __future__ import annotations

import json
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from synth.errors import OutputError
from synth.report.svg import escape, visible
from synth.report.time_axis import changes_of, exact_time, grouped
from synth.trace import Trace


def vcd(trace: Trace) -> str:
    """Return `trace` as a value change dump, 1 ms a step, without a date.

    Raises OutputError where something changes between two milliseconds, which it cannot hold.
    """
    lines = [
        "$comment levels of inputs, loads, timers and relays; made by synth $end",
        "$timescale 1 ms $end",
        "$scope module circuit $end",
    ]
    marks: list[tuple[str, bool, dict[Fraction, bool]]] = []
    used: set[str] = set()
    for track in trace.tracks:
        mark = _mark(len(marks))
        name = base = _reference(f"{track.role}_{track.name}")
        number = 2
        while name in used:
            name, number = f"{base}_{number}", number + 1
        used.add(name)
        first, changes = changes_of(track, trace.end)
        marks.append((mark, first, dict(changes)))
        lines.append(f"$var wire 1 {mark} {name} $end")
    lines += ["$upscope $end", "$enddefinitions $end", "#0", "$dumpvars"]
    lines += [f"{int(first)}{mark}" for mark, first, _ in marks]
    lines.append("$end")
    times = sorted({time for _, _, changes in marks for time in changes})
    for time in times:
        if time.denominator != 1:
            raise OutputError(f"a change at {exact_time(time)} does not fit a dump of whole ms")
        lines.append(f"#{time}")
        lines += [f"{int(changes[time])}{mark}" for mark, _, changes in marks if time in changes]
    lines.append(f"#{int(trace.end)}")
    return "\n".join([*lines, ""])


def _mark(number: int) -> str:
    """Return the short mark of a signal: printable characters without blanks."""
    digits = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 94)
        digits += chr(33 + rest)
    return digits


def _reference(name: str) -> str:
    """Return a name that a dump can hold: ASCII letters, digits and underscores."""
    return "".join(
        c if c.isascii() and c.isalnum() else "_" if c.isascii() else f"_x{ord(c):x}_"
        for c in visible(name)
    )


def wave_json(trace: Trace, title: str) -> str:
    """Return `trace` as WaveJSON: one brick for each stretch between changes, not to scale. The
    first row tells in each brick the exact time at which it begins; as data of bricks, since
    readers differ in what else they take for the ticks of a head."""
    times = sorted({
        Fraction(0), *(t for track in trace.tracks for t, _ in changes_of(track, trace.end)[1])
    })
    told = [exact_time(time) for time in times]
    signal: list[Any] = [{"name": "from", "wave": "=" * len(times), "data": told}, {}]
    for heading, tracks in grouped(trace):
        rows: list[Any] = [heading]
        for track in tracks:
            first, changes = changes_of(track, trace.end)
            moments = {Fraction(0): first, **dict(changes)}
            wave = "".join(str(int(moments[t])) if t in moments else "." for t in times)
            rows.append({"name": visible(track.name), "wave": wave})
        signal.append(rows)
    # A brick has room for about five characters.
    wide = -(-max(map(len, told)) // 5)
    document = {
        "signal": signal, "head": {"text": visible(title)}, "config": {"hscale": wide}
    }
    return json.dumps(document, indent=1, ensure_ascii=True) + "\n"


Cases = Sequence[tuple[str, str, str]]
"""(number, what to do, what to expect) of each step of a test."""


def junit(cases: Cases, title: str) -> str:
    """Return a JUnit XML report in which every step is still to be done (skipped)."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        "<testsuites>",
        f'  <testsuite name="{escape(title)}" tests="{len(cases)}" failures="0" errors="0"'
        f' skipped="{len(cases)}">',
    ]
    for number, do, expect in cases:
        lines += [
            f'    <testcase classname="hand-over test" name="{escape(f"step {number}: {do}")}">',
            '      <skipped message="not done yet"/>',
            f"      <system-out>{escape(f'expect: {expect}')}</system-out>",
            "    </testcase>",
        ]
    return "\n".join([*lines, "  </testsuite>", "</testsuites>", ""])


def tap(cases: Cases) -> str:
    """Return a TAP report in which every step is still to be done."""
    lines = ["TAP version 14", f"1..{len(cases)}"]
    for number, do, expect in cases:
        words = visible(f"{do}; expect: {expect}").replace("\\", "\\\\").replace("#", "\\#")
        lines.append(f"not ok {number} - {words} # TODO not done yet")
    return "\n".join([*lines, ""])
