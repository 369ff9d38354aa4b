"""What may be at fault in a circuit, and the trials by which it shows, as plain data.

A *suspect* is one single fault. A *trial* is a short run from the supply off, with what is to be
seen after each step while nothing is at fault; a *failure* is what is seen first that is wrong,
with all suspects that show just so.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from synth.modes import TourStep


class Defect(StrEnum):
    """How something is at fault."""

    WIRE = "wire"
    """A wire, or a terminal at its ends, is broken."""
    OPEN = "open"
    """The contact or path to an output, or from an input of a joint, never passes power on."""
    CLOSED = "closed"
    """The contact behind an output always passes power on."""
    DEAF = "deaf"
    """A part does not act on one of its control inputs, or its load does not act at all."""


@dataclass(frozen=True, order=True)
class Suspect:
    """One single fault: of a wire (`wire`, its number), or of a part at one of its terminals."""

    defect: Defect
    part: str = ""
    terminal: str = ""
    wire: int = 0


@dataclass(frozen=True)
class Readings:
    """The terminals (``part:terminal``) that are live while something is wrong, and `before` it:
    just before the step, or at the beginning of the wait. While parts rattle, those are among them
    that are live now and then."""

    then: frozenset[str]
    before: frozenset[str]


@dataclass(frozen=True)
class Failure:
    """The first wrong thing that is seen in a trial: just after step `step` (counted from 0), or
    (`later`) in the wait after it.

    `wrong` are the loads that are wrong, each with whether it is on; `rattling` parts that never
    settle. `right` are the readings while nothing is at fault; `suspects` all that show just so,
    each with its readings. `stays` is how long that lasts at least while nothing is moved, in
    ticks; None: for good.
    """

    step: int
    later: bool
    wrong: tuple[tuple[str, bool], ...]
    rattling: tuple[str, ...]
    right: Readings
    suspects: tuple[tuple[Suspect, Readings], ...]
    stays: Fraction | None


@dataclass(frozen=True)
class Trial:
    """A run of one circuit from the supply off and all inputs at rest, and how it can fail."""

    circuit: int
    steps: tuple[TourStep, ...]
    failures: tuple[Failure, ...]


@dataclass(frozen=True)
class Trials:
    """All trials of a design, circuit by circuit; `unseen` (circuit, suspect) are those for which
    no trial was found: no load shows them, as far as was looked."""

    trials: tuple[Trial, ...] = ()
    unseen: tuple[tuple[int, Suspect], ...] = ()
