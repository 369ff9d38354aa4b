"""Exact times: whole numbers of milliseconds, never floats.

A *tick* is 1 ms. Durations are read from text such as ``10 s``, ``1.5 min``, ``2 h 30 min``,
``250 ms`` or ISO 8601 ``PT1H30M``; what a tick cannot hold exactly is refused.
"""

from __future__ import annotations

import re
from fractions import Fraction

from synth.errors import TimeError

TICKS_PER_SECOND = 1000
LONGEST = 366 * 24 * 3600 * TICKS_PER_SECOND
"""The longest duration accepted: a leap year, in ticks."""

UNITS: dict[str, int] = {
    name: factor
    for names, factor in (
        (("ms", "millisecond", "milliseconds"), 1),
        (("s", "sec", "secs", "second", "seconds"), 1000),
        (("min", "mins", "minute", "minutes"), 60_000),
        (("h", "hr", "hrs", "hour", "hours"), 3_600_000),
        (("d", "day", "days"), 86_400_000),
        (("week", "weeks"), 604_800_000),
    )
    for name in names
}
"""Words for units of time, and their length in ticks."""

_PIECE = re.compile(r"\s*(\d+(?:\.\d+)?)\s*([A-Za-z]+)\s*(?:and\b)?")
_ISO = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:\.\d+)?)S)?)?", re.I)


def to_ticks(amount: str, unit: str) -> int:
    """Return `amount` of `unit` in ticks.

    Raises TimeError for an unknown unit, a value below one tick that is not exact,
    a zero, or one longer than LONGEST.

    >>> to_ticks("1.5", "min")
    90000
    """
    factor = UNITS.get(unit.lower())
    if factor is None:
        raise TimeError(f"'{unit}' is not a unit of time; use ms, s, min, h, d or week")
    value = Fraction(amount) * factor
    return _checked(value, f"{amount} {unit}")


def _checked(value: Fraction, text: str) -> int:
    if value.denominator != 1:
        raise TimeError(f"'{text}' is finer than 1 ms, the smallest time that is held exactly")
    if value <= 0:
        raise TimeError(f"'{text}' is not longer than nothing; a time must be at least 1 ms")
    if value > LONGEST:
        raise TimeError(f"'{text}' is longer than 366 days, the longest time accepted")
    return int(value)


def parse_duration(text: str | int | float) -> int:
    """Return the duration written in `text`, in ticks.

    Raises TimeError when it is not a duration, or cannot be held exactly.

    >>> parse_duration("2 h 30 min")
    9000000
    >>> parse_duration("PT10S")
    10000
    """
    if not isinstance(text, str):
        raise TimeError(f"'{text}' has no unit; write for example '{text} s'")
    if len(text) > 100:
        raise TimeError("a time of more than 100 characters cannot be read")
    iso = _ISO.fullmatch(text.strip())
    if iso and any(iso.groups()):
        total = Fraction(0)
        for amount, factor in zip(iso.groups(), (86_400_000, 3_600_000, 60_000, 1000), strict=True):
            total += Fraction(amount or 0) * factor
        return _checked(total, text.strip())
    total, at = Fraction(0), 0
    while at < len(text):
        piece = _PIECE.match(text, at)
        if not piece:
            raise TimeError(
                f"'{text.strip()}' is not a time; write for example '10 s', '5 min' or '2 h'"
            )
        factor_of = UNITS.get(piece[2].lower())
        if factor_of is None:
            raise TimeError(f"'{piece[2]}' is not a unit of time; use ms, s, min, h, d or week")
        total += Fraction(piece[1]) * factor_of
        at = piece.end()
    return _checked(total, text.strip())


def format_duration(ticks: int) -> str:
    """Return `ticks` in words that `parse_duration` reads back to the same value.

    >>> format_duration(10_000), format_duration(5_400_000), format_duration(0)
    ('10 s', '1 h 30 min', '0 s')
    """
    if ticks == 0:
        return "0 s"
    days, rest = divmod(ticks, 86_400_000)
    hours, rest = divmod(rest, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    if ticks < 120_000 and ticks % 1000 == 0 and (ticks < 60_000 or ticks % 60_000):
        return f"{ticks // 1000} s"
    if ticks == 60_000:
        return "60 s"
    seconds, ms = divmod(rest, 1000)
    pieces = [(days, "d"), (hours, "h"), (minutes, "min"), (seconds, "s"), (ms, "ms")]
    return " ".join(f"{n} {unit}" for n, unit in pieces if n)
