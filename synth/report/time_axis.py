"""A time axis that stays readable: a cycle of seconds beside a night of hours.

The axis is cut at every moment at which anything changes. Most stretches between are drawn to one
scale; longer ones are *shortened* and marked with a break, shorter ones *widened*, and where the
same changes come round many times the middle rounds are *left out*, which is said in words.
Shared by the picture (`timing`) and the terminal (`strips`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from synth.ticks import format_duration
from synth.trace import Trace, Track

NARROWEST = 28
"""Width of the narrowest stretch, px: room for one slanted line of text."""
LONGEST = 6
"""A stretch more than this many times as long as the narrowest is shortened."""
SHORTENED = 3 * NARROWEST
"""Width of a shortened stretch, px."""
_MANY = 40
"""Repeats are left out only from traces with more stretches than this."""
_LONGEST_ROUND = 32
"""Repeats of more stretches than this are not looked for."""
HEADINGS = {"input": "Inputs", "load": "Loads", "timer": "Timers", "relay": "Relays"}
"""The roles of tracks in the order in which they are shown, and the heading over each."""


class Scale(Enum):
    """How a stretch is drawn."""

    TRUE = "to scale"
    SHORTENED = "shortened"
    WIDENED = "widened"
    LEFT_OUT = "left out"


@dataclass(frozen=True)
class Stretch:
    """The time from `start` to `end` (ticks), during which nothing changes, `width` px wide.

    With `rounds` it stands for that many rounds of the changes just before it, left out.
    """

    start: Fraction
    end: Fraction
    scale: Scale
    width: int
    rounds: int = 0


@dataclass(frozen=True)
class Axis:
    """All stretches in order; `unit` is the time in ticks drawn as wide as `NARROWEST`."""

    stretches: tuple[Stretch, ...]
    unit: Fraction

    def notes(self) -> tuple[str, ...]:
        """Return in words how true to scale the axis is."""
        scales = {stretch.scale for stretch in self.stretches}
        notes = []
        if Scale.SHORTENED in scales:
            notes.append("Stretches marked // are shortened.")
        if Scale.WIDENED in scales:
            notes.append(f"Stretches of less than {exact_time(self.unit)} are widened.")
        if Scale.LEFT_OUT in scales:
            notes.append("At \"same again\", rounds like the one before are left out.")
        if not notes:
            return ("The time axis is to scale.",)
        return (*notes, "All else is to scale; the times written are exact.")


def exact_time(time: Fraction) -> str:
    """Return a time in ticks exactly, in words; fractions of a tick as a vulgar fraction of 1 ms.

    >>> exact_time(Fraction(10_000)), exact_time(Fraction(21, 2))
    ('10 s', '10 ms + 1/2 ms')
    """
    if time < 0:
        return f"-{exact_time(-time)}"
    whole, rest = divmod(time, 1)
    words = format_duration(int(whole)) if whole or not rest else ""
    if not rest:
        return words
    fraction = f"{rest.numerator}/{rest.denominator} ms"
    return f"{words} + {fraction}" if words else fraction


def changes_of(track: Track, end: Fraction) -> tuple[bool, list[tuple[Fraction, bool]]]:
    """Return the level at 0 and the true changes inside (0, end), in order."""
    level = track.start
    changes: list[tuple[Fraction, bool]] = []
    first = level
    for time, value in sorted(track.changes, key=lambda change: change[0]):
        if time <= 0:
            first = level = value
        elif time < end:
            if changes and changes[-1][0] == time:
                changes.pop()
                level = changes[-1][1] if changes else first
            if value != level:
                changes.append((time, value))
            level = value
    return first, changes


def grouped(trace: Trace) -> list[tuple[str, list[Track]]]:
    """Return (heading, tracks) by role: inputs, loads, timers, relays, then all others."""
    roles = dict.fromkeys([*HEADINGS, *(track.role for track in trace.tracks)])
    groups = [
        (HEADINGS.get(role) or role.capitalize() or "Others",
         [track for track in trace.tracks if track.role == role])
        for role in roles
    ]
    return [(heading, tracks) for heading, tracks in groups if tracks]


def axis_of(trace: Trace) -> Axis:
    """Return the time axis on which `trace` is best read."""
    end = max(trace.end, Fraction(0))
    histories = [changes_of(track, end) for track in trace.tracks]
    moments = {Fraction(0), end}
    moments.update(time for _, changes in histories for time, _ in changes)
    moments.update(time for time, _ in trace.marks if 0 <= time <= end)
    times = sorted(moments)
    pieces = _without_repeats(times, _states(times, histories), {t for t, _ in trace.marks})
    unit = _unit([b - a for a, b, rounds in pieces if not rounds])
    return Axis(tuple(_stretch(a, b, rounds, unit) for a, b, rounds in pieces), unit)


def _states(
    times: Sequence[Fraction], histories: Sequence[tuple[bool, list[tuple[Fraction, bool]]]]
) -> list[int]:
    """Return a number for all levels together, from each of `times` on."""
    flips: dict[Fraction, int] = {}
    state = 0
    for i, (first, changes) in enumerate(histories):
        state |= first << i
        for time, _ in changes:
            flips[time] = flips.get(time, 0) ^ (1 << i)
    states = []
    for time in times:
        state ^= flips.get(time, 0)
        states.append(state)
    return states


def _without_repeats(
    times: Sequence[Fraction], states: Sequence[int], marked: set[Fraction]
) -> list[tuple[Fraction, Fraction, int]]:
    """Return the stretches (from, to, rounds left out) with long repetition shortened to its
    first two rounds and its last one."""
    spans = [(states[i], times[i + 1] - times[i]) for i in range(len(times) - 1)]
    plain = [(times[i], times[i + 1], 0) for i in range(len(spans))]
    if len(spans) <= _MANY:
        return plain
    pieces: list[tuple[Fraction, Fraction, int]] = []
    at = 0
    while at < len(spans):
        size, rounds = _repeat(spans, times, at, marked)
        if rounds < 5:
            pieces.append(plain[at])
            at += 1
            continue
        pieces += plain[at : at + 2 * size]
        resume = at + (rounds - 1) * size
        pieces.append((times[at + 2 * size], times[resume], rounds - 3))
        pieces += plain[resume : resume + size]
        at = resume + size
    return pieces


def _repeat(
    spans: Sequence[tuple[int, Fraction]], times: Sequence[Fraction], at: int,
    marked: set[Fraction],
) -> tuple[int, int]:
    """Return the size of the shortest round that repeats from `at`, and how often it comes."""
    for size in range(2, _LONGEST_ROUND + 1):
        stop = at + size
        while (
            stop < len(spans) and spans[stop] == spans[stop - size] and times[stop] not in marked
        ):
            stop += 1
        rounds = (stop - at) // size
        if rounds >= 5:
            return size, rounds
    return 0, 0


def _unit(lengths: Sequence[Fraction]) -> Fraction:
    """Return the length that, drawn narrowest, lets most stretches be drawn to scale."""
    if not lengths:
        return Fraction(1)
    counts: dict[Fraction, int] = {}
    for length in lengths:
        counts[length] = counts.get(length, 0) + 1

    def kept(unit: Fraction) -> int:
        return sum(n for length, n in counts.items() if unit <= length <= LONGEST * unit)

    return max(sorted(counts, reverse=True), key=lambda unit: (kept(unit), -unit))


def _stretch(start: Fraction, end: Fraction, rounds: int, unit: Fraction) -> Stretch:
    """Return one stretch with its width."""
    if rounds:
        return Stretch(start, end, Scale.LEFT_OUT, SHORTENED, rounds)
    length = end - start
    if length > LONGEST * unit:
        return Stretch(start, end, Scale.SHORTENED, SHORTENED)
    if length < unit:
        return Stretch(start, end, Scale.WIDENED, NARROWEST)
    return Stretch(start, end, Scale.TRUE, round(length * NARROWEST / unit))
