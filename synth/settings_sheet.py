"""The settings sheet of a bench test: each time as it is and as it is tested, and what is proven.

All times are in ticks.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Place(StrEnum):
    """What a time belongs to."""

    PART = "part"
    GOAL = "goal"
    KNOWN = "known"
    """What is known of an input: on the bench, whoever moves the inputs keeps to it."""


@dataclass(frozen=True)
class TimeUse:
    """One place where a time stands: `of` is the part's name or the number of the goal or fact,
    `what` the part's setting or the phrase."""

    place: Place
    of: str
    what: str


@dataclass(frozen=True)
class TestTime:
    """One time: its symbol, its real and its test value, and all places where it stands."""

    __test__ = False  # the test runner collects classes by their names

    symbol: str
    real: int
    test: int
    uses: tuple[TimeUse, ...]


class Claim(StrEnum):
    """What is proven of the test times; that they keep every goal and the order is, always."""

    SMALLEST = "smallest"
    """No longest test time is smaller; with that longest one, no sum of all is."""
    BEST_FOUND = "best-found"
    """Smaller ones may exist."""
    PROPORTIONAL = "proportional"
    """All times divided by one number; smaller ones may exist."""
    REAL = "real"
    """No shorter times were found: the real ones are used."""
    NO_TIMES = "no-times"
    """There is no time in the design or its goals."""


@dataclass(frozen=True)
class OnePass:
    """How long it takes to see one thing at work: with the real times, with the test times."""

    what: str
    real: int
    test: int


@dataclass(frozen=True)
class Together:
    """Loads whose circuits share an input, relay or timer: the order of the events of one among
    those of the others is kept, for so many `events` from when power comes up (None: for ever)."""

    loads: tuple[str, ...]
    events: int | None


@dataclass(frozen=True)
class SettingsSheet:
    """All times of a design and its goals, ascending, and what is proven of their test values.

    `unit`: every test time is a multiple of it, so any two sums of them are equal or at least
    that far apart. `forced_by`: the orders, in words, because of which the longest test time
    cannot be smaller (empty when that is not proven). `apart`: the order is claimed only of runs
    in which no input changes at the very instant at which a time is up. `states` were explored to
    check the goals. `together`: between which loads the order is kept too; it is always kept
    within all that bears on one load. `ranks_kept`: a longer real time has a longer test time;
    where not, `longest_in_ranks` is what the longest test time would be with that (None: not
    known). `out_of_reach`: it is proven that no test times up to the wanted length keep the order.
    """

    title: str
    reaction: int
    factor: str
    unit: int
    times: tuple[TestTime, ...]
    claim: Claim
    forced_by: tuple[str, ...] = ()
    passes: tuple[OnePass, ...] = ()
    longest_wanted: int | None = None
    states: int = 0
    notes: tuple[str, ...] = ()
    apart: bool = False
    together: tuple[Together, ...] = ()
    ranks_kept: bool = True
    longest_in_ranks: int | None = None
    out_of_reach: bool = False
    left_out: tuple[str, ...] = ()
    """Goals that are no part of a test with these times, each with the reason, in sentences."""

    @property
    def every_goal(self) -> str:
        """'every goal', or which of them are meant."""
        return "every goal but those left out" if self.left_out else "every goal"

    @property
    def longest(self) -> int:
        """The longest test time, 0 when there is none."""
        return max((time.test for time in self.times), default=0)

    @property
    def proven(self) -> bool:
        """Whether it is proven that the longest test time cannot be smaller."""
        return self.claim is Claim.SMALLEST

    @property
    def too_long(self) -> bool:
        """Whether the longest test time is longer than was wanted."""
        return self.longest_wanted is not None and self.longest > self.longest_wanted


def order_said(sheet: SettingsSheet) -> tuple[str, ...]:
    """Return which order of events is proven to be kept, and which is not, in sentences."""
    if sheet.claim is Claim.PROPORTIONAL:
        return (
            "Proven: the same events can follow each other in the same order, with real times and "
            "with test times; what coincides still does, since all times are in proportion.",
        )
    lines = [
        "Proven: within the circuit of each load (all that bears on it) the same events can follow "
        "each other in the same order, with real times and with test times; what coincides still "
        "does."
    ]
    for each in sheet.together:
        names = f"{', '.join(each.loads[:-1])} and {each.loads[-1]}"
        if each.events is None:
            lines.append(
                f"Proven also between the circuits of {names}, which share an input, relay or "
                "timer."
            )
        else:
            lines.append(
                f"The circuits of {names} share an input, relay or timer: between them the order "
                f"is proven for the first {each.events} events after power comes up, and not "
                "beyond."
            )
    lines.append(
        "Of circuits that share nothing but the supply, the order of one among the other's events "
        "is not kept."
    )
    return tuple(lines)
