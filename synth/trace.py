"""What happened over time: named levels that change at exact moments."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class Moment:
    """An event: at `time` (ticks, exact, may lie between ticks) these inputs take these levels.

    An empty `inputs` is a moment at which only a timer expired.
    """

    time: Fraction
    inputs: tuple[tuple[str, bool], ...] = ()


Order = tuple[tuple[str, ...], ...]
"""Names of the parts that move after an event, step by step, while the others wait."""


@dataclass(frozen=True)
class Track:
    """One named signal: its level at 0 and the moments of its changes, in order.

    `role` is one of input, load, timer, relay; `changes` holds (time in ticks, new level).
    """

    name: str
    role: str
    start: bool
    changes: tuple[tuple[Fraction, bool], ...]

    def level(self, time: Fraction) -> bool:
        """Return the level that holds on the half-open interval beginning at or before `time`."""
        level = self.start
        for moment, value in self.changes:
            if moment > time:
                break
            level = value
        return level


@dataclass(frozen=True)
class Trace:
    """Several tracks over [0, end) in ticks, with marks worth a word (time, text); `instants` are
    those at which an input changes or a time is up, whether or not a track shows it."""

    end: Fraction
    tracks: tuple[Track, ...]
    marks: tuple[tuple[Fraction, str], ...] = ()
    instants: tuple[Fraction, ...] = ()
