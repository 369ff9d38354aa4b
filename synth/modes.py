"""The modes of a design and the ways between them, as plain data; and what was worked out on them.

A *mode* is a settled state: the levels of the inputs that a circuit follows, and where its parts
stand. Which modes can be reached is found by `synth.check.modes`; this file only names things.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from synth.trace import Moment, Trace


@dataclass(frozen=True)
class Mode:
    """One settled state of a circuit.

    `levels` are the inputs in the circuit's order, `on` its loads that are on, `operated` its
    relays and timers whose contact is operated, `running` (timer, its whole time in ticks) the
    times that run, `live` the outputs that carry power (``part:terminal``), `fed` the consumers
    (``part:terminal`` of loads and of control inputs) that are live.
    """

    number: int
    levels: tuple[tuple[str, bool], ...]
    on: tuple[str, ...]
    operated: tuple[str, ...]
    running: tuple[tuple[str, int], ...]
    live: frozenset[str]
    fed: tuple[str, ...]
    state: tuple[int, ...] = ()
    """Where each part with a state of its own stands (flags of `parts.behaviour`)."""
    aimed: bool = True
    """False: reached only when things happen together at one instant, which nobody can aim at."""
    stays: int | None = None
    """The longest that it lasts while no input moves, in ticks; None: no time runs in it."""

    def level(self, name: str) -> bool:
        """Return the level of input `name`, False when the circuit does not follow it."""
        return dict(self.levels).get(name, False)

    @property
    def powered(self) -> bool:
        """Whether the supply is on."""
        return self.level("supply")


@dataclass(frozen=True)
class Change:
    """One way from mode `start` to mode `end`: one input takes a level, or times expire."""

    start: int
    end: int
    input: str = ""
    level: bool = False
    expired: tuple[str, ...] = ()


@dataclass(frozen=True)
class ModeGraph:
    """All modes of one circuit and all changes between them that one event at a time makes.

    `parts` are all parts that bear on its loads. `facts` says whether what is known of the times
    of inputs was honoured; where not, some modes may be out of reach.
    """

    inputs: tuple[str, ...]
    loads: tuple[str, ...]
    parts: tuple[str, ...]
    modes: tuple[Mode, ...]
    changes: tuple[Change, ...]
    first: tuple[int, ...] = ()
    """The modes that power comes up in, with nothing set before, one for each setting of inputs."""
    reacting: tuple[str, ...] = ()
    """The parts with a state of their own, in the order of `Mode.state`."""
    facts: bool = True
    together: bool = True
    """Whether modes that only events at one instant lead to were looked for."""

    @property
    def by_hand(self) -> tuple[tuple[int, str], ...]:
        """(mode, input) of every change that a person can cause: one input is moved; while the
        supply is off, only its switching on (nothing else can do anything then)."""
        return tuple(
            (c.start, c.input)
            for c in self.changes
            if c.input and (self.modes[c.start].powered or c.input == "supply")
        )

    @property
    def by_time(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """(mode, timers) of every change that comes by itself: these times are up together."""
        return tuple((c.start, c.expired) for c in self.changes if c.expired)


@dataclass(frozen=True)
class TourStep:
    """One step of a test: after `wait` ticks, do something (or see a time expire), then look.

    `time` is the moment in ticks from the beginning. `moves` are the inputs moved (none: a time
    is up by itself, `expired` says whose; none of these either: nothing may change). `on` and
    `off` are the loads of the circuit under test (at the first step of all, when power comes up,
    those of every circuit) afterwards; `turned` those that changed just then.
    """

    circuit: int
    time: Fraction
    wait: Fraction
    moves: tuple[tuple[str, bool], ...]
    expired: tuple[str, ...]
    on: tuple[str, ...]
    off: tuple[str, ...]
    turned: tuple[str, ...]


@dataclass(frozen=True)
class Coverage:
    """What a test reaches of one circuit: visited of all, and what is left out."""

    circuit: int
    modes: int
    modes_visited: int
    by_hand: int
    by_hand_done: int
    expiries: int
    expiries_done: int
    modes_left: tuple[int, ...]
    by_hand_left: tuple[tuple[int, str], ...]
    expiries_left: tuple[tuple[int, tuple[str, ...]], ...]
    never_aimed: tuple[int, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing is left out that a person can bring about."""
        return not (self.modes_left or self.by_hand_left or self.expiries_left)


@dataclass(frozen=True)
class Tour:
    """A test of a whole design: the run of the inputs, the steps to look at, what they cover."""

    moments: tuple[Moment, ...]
    steps: tuple[TourStep, ...]
    coverage: tuple[Coverage, ...]
    most_steps: int
    notes: tuple[str, ...] = ()
    """What a reader of the test has to know besides."""

    @property
    def end(self) -> Fraction:
        """The moment of the last step, in ticks."""
        return self.steps[-1].time if self.steps else Fraction(0)


@dataclass(frozen=True)
class Way:
    """How to bring a consumer (``part:terminal``) to be live, and from there to be dead again.

    `to_live` begins with the supply off and all inputs at rest; it is empty where nothing that a
    person can aim at makes the consumer live. `live_mode` and `dead_mode` are the modes at their
    ends, None where there is none. `to_dead` keeps the supply on.
    """

    consumer: str
    circuit: int
    to_live: tuple[TourStep, ...]
    live_mode: int | None
    to_dead: tuple[TourStep, ...]
    dead_mode: int | None


@dataclass(frozen=True)
class Held:
    """A day of one circuit with every input but the night held at `levels`.

    `fed` is how long (ticks) each consumer, and each load, is on in the day; `stretches` what its
    own consumers use: (from, to, units) over one day, ticks from dusk. `runs` is when each load is
    on: (from, to).
    """

    circuit: int
    levels: tuple[tuple[str, bool], ...]
    fed: tuple[tuple[str, Fraction], ...]
    stretches: tuple[tuple[int, int, int], ...]
    runs: tuple[tuple[str, tuple[tuple[int, int], ...]], ...] = ()


@dataclass(frozen=True)
class Needs:
    """What the consumers of a design use: (consumer, units) for each, and who counts where.

    `owners` says for each consumer which circuit counts it, so that none is counted twice.
    """

    units: tuple[tuple[str, int], ...]
    owners: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Facts:
    """All that the checker found out about a design that holds, for those who hand it over."""

    graphs: tuple[ModeGraph, ...]
    tour: Tour
    ways: tuple[Way, ...]
    days: tuple[Held, ...]
    needs: Needs
    trace: Trace
    states: int
    night: int
    """The length of the night in ticks, by which `days` were run."""
