"""Few pulse timers for loads that drift: how many positions of relays tell their phases apart.

Let loads of several classes go on for ever while no input changes (for *class*, *step*, and the
positions of relays see `synth.search.pending` and `synth.search.perpetual`). The inputs that start
them may change at any times in the same order, so the classes may begin any number of steps apart:
all combinations of their phases occur, with the same inputs in the end. Let the parts with a
running time be pulse timers, with known settings.

**The state.** Between two events a circuit is in a state that is given by its *timing* (which
timers run, of which class each is, and after how many instants of its class it expires) and by the
position of the relays, of which there are at most P for each timing. What follows from a state is
known. An event does not depend on how long the timers that go on will run: what it does follows
from which timers run, which of them expire, and the position of the relays.

**What can go on.** A load changes at the expiry of a timer of its class. At an instant of a class
at which one of its timers expires any timers may start, in that class, whatever they did before;
at others none does. Each class with loads always has a running timer. Timings from which there is
no way on like this, for as long as is looked at, do not occur. (A timer may also be lost at an
event; but with one more that runs there is a way on where there is one without it, since nothing
has to follow from its expiry. So losses need not be looked at.)

**All timers fast.** Different phases have different futures, so they are in different states: for
each set of phases the timings that can go on in one of them, times P, are at least as many.

**Slow timers.** Let k timers have settings of at least s steps, so that in each stretch of s steps
there are (s - k) / (k + 1) in a row in which none of them expires. Let the loads with periods of
at most H steps come around together every L, and let L + H be no more than these steps. In such a
row the other timers do all that is to be seen. At each of its first L steps the future is known,
for H steps, from the timing of the other timers, which of the slow ones run, and the position of
the relays; and from H steps of those loads their phases are known. So their phases alone are told
apart by the timings of the fast timers, times 2^k, times P.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations_with_replacement, product
from math import inf, lcm, prod
from typing import Any

from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import KitPart
from synth.search.perpetual import Perpetual, Repeating, positions

MOST_EFFORT = 4_000_000
"""Most timings that are looked at in all: about a second's work."""
MOST_PHASES = 64
"""Most combinations of phases that are told apart: a bit of a word for each."""
MOST_CHOICES = 1000
"""Most choices of settings that are gone through."""
ROUNDS = 60
"""So many steps ahead at most it is looked whether a timing can go on."""
LOOKS = 6
"""After so many steps it is counted how many timings are left."""


@dataclass(frozen=True)
class Pattern:
    """What is to be seen of a class: in steps, its period (1 where nothing is), the instants at
    which some load changes, and the period of all its loads."""

    period: int
    changes: frozenset[int]
    whole: int


def cannot_tell_phases(
    parts: Sequence[KitPart], perpetual: Perpetual, times: Collection[int], joints: bool
) -> str:
    """Return why circuits of just `parts` cannot do what goes on for ever in all phases, "" if
    that is not known. `times`: the settings on offer, in ticks. `joints`: there may be more
    joints."""
    timed = [part for part in parts if part.type in TIMED]
    if not all(part.type is PartType.PULSE and part.times for part in timed):
        return ""
    offered = tuple(t for t in times if any(part.times and t in part.times for part in timed))
    enough = positions(parts, joints)
    if positions_needed(len(timed), perpetual, offered) <= enough:
        return ""
    told = ", ".join(f"'{load}'" for load in perpetual.loads)
    some = f"{enough} position{'s' if enough > 1 else ''}"
    return (
        f"{len(timed)} pulse timers and relays with {some} in all cannot tell in which phases "
        f"{told} are"
    )


@cache
def positions_needed(timers: int, perpetual: Perpetual, times: tuple[int, ...]) -> float:
    """Return a bound below the positions of relays that are needed beside `timers` pulse timers,
    set to any of `times` (ticks), for what goes on for ever: infinite where none suffice. See the
    module's text."""
    seen = patterns(perpetual)
    if seen is None or len(perpetual.classes) < 2 or timers < len(perpetual.classes):
        return 1
    steps = sorted({time // perpetual.step for time in times})
    forced = [time // perpetual.step for time in perpetual.forced]
    choices = [
        settings
        for settings in combinations_with_replacement(steps, timers)
        if all(time in settings for time in forced)
    ]
    if len(choices) > MOST_CHOICES:
        return 1
    # Long settings, which tell most phases apart, come first: of the others, which need more, it
    # is soon known that they do.
    questions = sorted(
        {Question.of(settings, *seen) for settings in choices}, key=lambda q: (q.at_least, q.fast)
    )
    least, left = inf, MOST_EFFORT
    for question in questions:
        if question.at_least >= least:
            break
        left -= question.timings
        if left < 0:
            return max(1, question.at_least)
        least = min(least, question.needed(least))
        if least <= 1:
            return 1
    return least


def patterns(perpetual: Perpetual) -> tuple[tuple[Pattern, ...], int] | None:
    """Return what is to be seen of each class within a horizon (in steps), and the horizon: that
    with the most phases, of the periods of loads; None where phases cannot be chosen freely."""
    step, loads = perpetual.step, [load for group in perpetual.classes for load in group]
    if perpetual.others is None or any(x.on % step or x.off % step for x in loads):
        return None
    best: tuple[tuple[Pattern, ...], int] | None = None
    for horizon in sorted({load.period // step for load in loads}):
        found = [_pattern(group, step, horizon) for group in perpetual.classes]
        if prod(pattern.period for pattern in found) <= MOST_PHASES:
            best = (*found, *[Pattern(1, frozenset(), 1)] * perpetual.others), horizon
    return best


def _pattern(group: Sequence[Repeating], step: int, horizon: int) -> Pattern:
    """Return what is to be seen of the loads of one class within `horizon` steps."""
    first = min(load.first for load in group)
    near = [load for load in group if load.period <= horizon * step]
    period = lcm(1, *(load.period // step for load in near))
    changes = {
        ((load.first - first + later) // step + turn * load.period // step) % period
        for load in near
        for later in (0, load.on)
        for turn in range(period * step // load.period)
    }
    return Pattern(period, frozenset(changes), lcm(*(load.period // step for load in group)))


@dataclass(frozen=True)
class Question:
    """How many positions of relays are needed beside some timers, for what is to be seen within a
    horizon: `fast` timers of these settings (in steps, in order) and so many `slow` ones, while
    none of which expires it can be looked `ahead` so many steps."""

    fast: tuple[int, ...]
    slow: int
    ahead: int
    patterns: tuple[Pattern, ...]

    @classmethod
    def of(cls, settings: Sequence[int], patterns: tuple[Pattern, ...], horizon: int) -> Question:
        """Return the question for timers of these settings (in steps, in order)."""
        # After so many steps all that is to be seen comes around together, and is known.
        steps = lcm(*(pattern.period for pattern in patterns)) + horizon
        for slow in range(len(settings), 0, -1):
            undisturbed = (settings[-slow] - slow) // (slow + 1)
            if undisturbed >= steps:
                # To look less far is weaker, but one question for more settings.
                ahead = min(undisturbed - steps, ROUNDS) // LOOKS * LOOKS
                return cls(tuple(settings[:-slow]), slow, ahead, patterns)
        return cls(tuple(settings), 0, ROUNDS, patterns)

    @property
    def phases(self) -> int:
        """How many combinations of phases are to be seen."""
        return prod(pattern.period for pattern in self.patterns)

    @property
    def timings(self) -> int:
        """How many timings of the fast timers there are, possible or not."""
        return prod(1 + len(self.patterns) * setting for setting in self.fast)

    @property
    def each(self) -> int:
        """How many states each combination of phases to be seen needs at least."""
        return 1 if self.slow else prod(p.whole for p in self.patterns) // self.phases

    @property
    def at_least(self) -> float:
        """A bound below the positions needed that takes no effort."""
        return self.phases * self.each / (self.timings << self.slow)

    def needed(self, enough: float = inf) -> float:
        """Return a bound below the positions needed, infinite where no relays do; it is looked no
        further once it is at least `enough`."""
        # As long as loads change later while slow timers run, their classes have a fast one.
        busy = [bool(p.changes) if self.slow else p.whole > 1 for p in self.patterns]
        timings = Timings(self.fast, self.patterns, busy)
        for step in range(0, self.ahead + 1, LOOKS):
            fewest, together = timings.left()
            if not fewest:
                return inf
            needed = max(self.phases / together, 1 / fewest) * self.each / (1 << self.slow)
            if needed >= enough or step + LOOKS > self.ahead or not timings.thin_out(LOOKS):
                break
        return needed


class Timings:
    """For each timing of some timers, in which combinations of phases (of each class the step
    begun last) it can go on for as many steps as it was looked ahead: a bit for each in a word.

    A timer is idle, or runs in some class, and expires after so many instants of it: an index of
    its own axis. Classes that are busy always have a timer.
    """

    def __init__(
        self, settings: Sequence[int], patterns: Sequence[Pattern], busy: Sequence[bool]
    ) -> None:
        # Imported here: it takes a tenth of a second, and few plans come to this.
        import numpy as np

        self.np = np
        self.settings = settings
        self.periods = [pattern.period for pattern in patterns]
        phases = list(product(*(range(period) for period in self.periods)))
        self.alone = [
            np.uint64(sum(1 << i for i, p in enumerate(phases) if p[kind] not in pattern.changes))
            for kind, pattern in enumerate(patterns)
        ]
        """The phases in which no load of a class changes, for each class."""
        shape = [1 + len(patterns) * setting for setting in settings]
        place = np.arange(prod(shape)).reshape(shape)
        possible = np.ones(shape, dtype=bool)
        self.expires, self.later = [], []
        for kind in range(len(patterns)):
            runs, expires = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
            later = place
            for axis, setting in enumerate(settings):
                begin = 1 + kind * setting
                index = np.arange(shape[axis])
                runs |= self._along(axis, (index >= begin) & (index < begin + setting))
                expires |= self._along(axis, index == begin)
                index[begin : begin + setting] -= 1
                index[begin] = 0
                later = later.take(index, axis)
            self.expires.append(expires)
            self.later.append(later)
            if busy[kind]:
                possible &= runs
        everything = (1 << len(phases)) - 1
        self.alive = np.where(possible, np.uint64(everything), np.uint64(0))

    def _along(self, axis: int, line: Any) -> Any:
        shape = [1] * len(self.settings)
        shape[axis] = -1
        return line.reshape(shape)

    def left(self) -> tuple[int, int]:
        """Return how many timings are left: in the phases with the fewest, and in any at all."""
        np, one = self.np, self.np.uint64(1)
        some = self.alive[self.alive != 0]
        fewest = min(
            int(np.count_nonzero(some >> np.uint64(i) & one)) for i in range(prod(self.periods))
        )
        return fewest, len(some)

    def thin_out(self, steps: int) -> bool:
        """Look so many steps further ahead; return whether anything is changed by it."""
        before = self.alive
        for _ in range(steps):
            # A step of all classes, the last one's instant first: backwards.
            for kind in reversed(range(len(self.periods))):
                self.alive = self._before(kind)
            self.alive = self._a_step_earlier(self.alive)
        return bool((before != self.alive).any())

    def _before(self, kind: int) -> Any:
        """Return what can go on before an instant of class `kind`, where `alive` can after it:
        where a busy class has no timer, it has none after it."""
        started = self.alive
        for axis, setting in enumerate(self.settings):
            # Each timer may start now, whatever it did.
            fresh = setting + kind * setting
            started = started | started.take([fresh], axis)
        undisturbed = self.alive.take(self.later[kind]) & self.alone[kind]
        disturbed = started.take(self.later[kind])
        return self.np.where(self.expires[kind], disturbed, undisturbed)

    def _a_step_earlier(self, words: Any) -> Any:
        """Return the words with each bit moved from its phases to those a step before."""
        np = self.np
        block = prod(self.periods)
        for period in self.periods:
            # Phases are numbers of mixed radix; this class counts blocks of `inner`.
            inner = block // period
            lowest = self._blocks(inner, block)
            highest = lowest << (inner * (period - 1))
            words = (words >> np.uint64(inner)) & np.uint64(
                self._everything & ~highest
            ) | (words & np.uint64(lowest)) << np.uint64(inner * (period - 1))
            block = inner
        return words

    @property
    def _everything(self) -> int:
        return (1 << prod(self.periods)) - 1

    def _blocks(self, inner: int, block: int) -> int:
        """Return the lowest `inner` bits of each `block` bits."""
        return sum(((1 << inner) - 1) << at for at in range(0, prod(self.periods), block))
