"""What came out: verdicts, counterexamples, and the outcome of a search with its bounds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum

from synth.days import DayUse
from synth.design import Design
from synth.trace import Moment, Trace
from synth.wording import listed


class Status(StrEnum):
    """What a result may claim; nothing else may be said."""

    PROVEN = "proven-cheapest"
    BEST_FOUND = "best-found"
    IMPOSSIBLE = "impossible"
    UNDECIDED = "undecided"


class Fault(StrEnum):
    """The kinds of defect that a check can find."""

    GOAL = "goal"
    """A load is on or off when its goal says otherwise."""
    BLIP = "blip"
    """A load blinks for one settling step."""
    TOGETHER = "together"
    """Two loads that must never be on together are, if only for a step."""
    PEAK = "peak"
    """More units in use at one moment than allowed."""
    ENERGY = "energy"
    """More energy used on a held day than allowed."""
    CHATTER = "chatter"
    """The circuit never settles."""
    RACE = "race"
    """The result depends on which part moves first."""
    UNITS = "units"
    """A consumer gets too few units, or the supply is set too small."""
    STRUCTURE = "structure"
    """Not a well-formed design: an input left open, a wire on two inputs, and so on."""
    LIMIT = "limit"
    """Outside the stated limits: too many of a part or too few, too dear, too large a supply or
    too little of it to spare, loads on one branch or behind a timer that must not be."""


@dataclass(frozen=True)
class Counterexample:
    """The shortest input sequence that breaks something.

    `moments` are the events in order, the last of them the one after which it goes wrong.
    `expected` and `got` are the load's levels there. For a race, `orders` are two orders in
    which the parts may move and what each leads to. `trace` shows the run.
    """

    moments: tuple[Moment, ...]
    load: str = ""
    expected: bool | None = None
    got: bool | None = None
    orders: tuple[str, ...] = ()
    trace: Trace | None = field(default=None, compare=False)


@dataclass(frozen=True)
class Defect:
    """One thing that is wrong with a design, in a sentence, with the goals it breaks."""

    fault: Fault
    message: str
    goals: tuple[int, ...] = ()
    counterexample: Counterexample | None = None
    use: DayUse | None = None
    """The day on which too much energy is used."""


@dataclass(frozen=True)
class Instant:
    """What a load of a design that holds may do for an instant, between two states of rest, where
    some parts (`quick`, by name) move before others (`slow`): come on (`on`) or go off while it
    should not, or be on together with its `partner` where they never should ("": none). `when`
    says in words at which event."""

    load: str
    partner: str
    on: bool
    when: str
    quick: tuple[str, ...]
    slow: tuple[str, ...]

    def in_words(self, label: Callable[[str], str] = str) -> str:
        """Return it as a sentence without a full stop; `label` gives what a part is called."""
        quick, slow = listed(map(label, self.quick)), listed(map(label, self.slow))
        order = f"{self.when}, where {quick} {'is' if len(self.quick) == 1 else 'are'} quicker "
        order += f"than {slow}"
        if self.partner:
            return (
                f"{self.load} and {self.partner} may be on together for an instant {order}: what "
                "must not even then needs an interlock of its own"
            )
        return f"{self.load} may {'come on' if self.on else 'go off'} for an instant {order}"


@dataclass(frozen=True)
class Verdict:
    """The answer of the exact check.

    `holds` is claimed only after every reachable state was explored in dense time; `states`
    counts them (zones). `notes` are remarks that are no defects.
    """

    holds: bool
    states: int
    defects: tuple[Defect, ...] = ()
    notes: tuple[str, ...] = ()
    seconds: float = 0.0
    day: DayUse | None = None
    """Where a goal is about energy and all others are kept: a day on which too much is used, else
    the one that uses most (no day uses more than its total)."""
    never_on: tuple[str, ...] = ()
    """Of a design that holds: the loads that are on in no state that can be reached."""
    instants: tuple[Instant, ...] = ()
    """Of a design that holds, if they were looked for; `notes` has them in words."""


class Why(StrEnum):
    """Why a search ended before all was proven."""

    TIME = "time"
    STOPPED = "stopped"
    """The user stopped it."""
    LEFT_OPEN = "left-open"
    """A question had to be left open, though there was time; all others were answered."""
    UNORDERED = "unordered"
    """All was asked, but what was refuted circuit by circuit proves nothing of the whole."""


class OpenFor(StrEnum):
    """Why a question about a parts list was left open though there was time."""

    TOO_LARGE = "too-large"
    """Its model would be too large."""
    UNCHECKED = "unchecked"
    """A wiring was found, and the exact check did not come to an end."""
    DEARER = "dearer"
    """At this price none was found that stands; at a higher one there may be."""
    WIRINGS = "wirings"
    """It has more wirings than are gone through one by one."""


@dataclass(frozen=True)
class LeftOpen:
    """A question that was left open though there was time: whether these parts (names of the kit)
    can be wired for these loads."""

    why: OpenFor
    loads: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Ending:
    """Why a search ended before all was proven, for a user who wants to know what would help.

    `loads` are those of the circuit that was sought when it ended; `solved` those of circuits for
    which a design was found, where the whole has none. `seconds` is the time that it might have
    taken in all, `fast` whether the optional solver was there.
    """

    why: Why
    loads: tuple[str, ...] = ()
    left_open: tuple[LeftOpen, ...] = ()
    solved: tuple[str, ...] = ()
    seconds: float = 0.0
    fast: bool = False


@dataclass(frozen=True)
class Outcome:
    """The answer of a search: the best checked design, and what was proven about it.

    `bound` is a proven lower bound on the first objective (None: nothing proven). `proven` names
    the objectives, in order, that are proven. `bounds` states in words within which bounds a
    proof holds. `clash` says why nothing fits, when impossible.
    """

    status: Status
    design: Design | None = None
    price: int | None = None
    supply: int | None = None
    bound: int | None = None
    proven: tuple[str, ...] = ()
    verdict: Verdict | None = None
    bounds: tuple[str, ...] = ()
    clash: tuple[str, ...] = ()
    times: tuple[tuple[str, float], ...] = ()
    """Seconds spent in each stage, by name."""
    least_energy: DayUse | None = None
    """Where a goal is about energy and no design was found: the worst day of the design, of those
    met that do all else, that uses least; None when none was met."""
    to_buy: int | None = None
    """Where parts are in stock: what is left of `price` to be paid, which is what counts."""
    ending: Ending | None = None
    """Why not all was proven; None where that was not asked, or all was."""
