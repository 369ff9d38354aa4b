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

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations_with_replacement, product
from math import inf, lcm, prod

from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import KitPart
from synth.search.perpetual import Perpetual, Repeating, positions

MOST_EFFORT = 1_000_000
"""Most timings, times phases, that are looked at in all: about half a second's work."""
MOST_PHASES = 100
"""Most combinations of phases that are looked at one by one."""
MOST_SETTINGS = 150
"""Most choices of settings that are gone through."""
ROUNDS = 60
"""So many steps ahead at most it is looked whether a timing can go on."""

Timing = tuple[tuple[int, int], ...]
"""For each timer its class and after how many instants of it it expires; IDLE."""
IDLE = (-1, 0)
Phases = tuple[int, ...]


@dataclass(frozen=True)
class Pattern:
    """What is to be seen of a class: in steps, its period (1 where nothing is), the instants at
    which some load changes, and the period of all its loads."""

    period: int
    changes: frozenset[int]
    whole: int


def cannot_tell_phases(
    parts: Sequence[KitPart], perpetual: Perpetual, times: Collection[int]
) -> str:
    """Return why circuits of just `parts` cannot do what goes on for ever in all phases, "" if
    that is not known. `times`: the settings on offer, in ticks."""
    timed = [part for part in parts if part.type in TIMED]
    if not all(part.type is PartType.PULSE and part.times for part in timed):
        return ""
    offered = tuple(t for t in times if any(part.times and t in part.times for part in timed))
    enough = positions(parts)
    if not too_few_positions(enough, len(timed), perpetual, offered):
        return ""
    told = ", ".join(f"'{load}'" for load in perpetual.loads)
    some = f"{enough} position{'s' if enough > 1 else ''}"
    return (
        f"{len(timed)} pulse timers and relays with {some} in all cannot tell in which phases "
        f"{told} are"
    )


@cache
def too_few_positions(
    enough: int, timers: int, perpetual: Perpetual, times: tuple[int, ...]
) -> bool:
    """Return whether `timers` pulse timers, set to any of `times` (ticks), cannot do what goes on
    for ever beside relays with at most `enough` positions; see the module's text."""
    seen = patterns(perpetual)
    if seen is None or len(perpetual.classes) < 2 or timers < len(perpetual.classes):
        return False
    steps = sorted({time // perpetual.step for time in times})
    forced = [time // perpetual.step for time in perpetual.forced]
    # Long settings, which tell most phases apart, come first: they show soonest that some do.
    choices = [
        settings[::-1]
        for settings in combinations_with_replacement(steps[::-1], timers)
        if all(time in settings for time in forced)
    ]
    if len(choices) > MOST_SETTINGS:
        return False
    left = MOST_EFFORT
    for settings in choices:
        question = Question(settings, *seen)
        if question.at_least > enough:
            continue
        left -= question.effort
        if left < 0 or question.needed() <= enough:
            return False
    return True


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
    """How many positions of relays are needed beside timers of these settings (in steps, in
    order), for what is to be seen within a horizon."""

    settings: tuple[int, ...]
    patterns: tuple[Pattern, ...]
    horizon: int

    @property
    def around(self) -> int:
        """After how many steps all that is to be seen comes around together."""
        return lcm(*(pattern.period for pattern in self.patterns))

    @property
    def phases(self) -> int:
        """How many combinations of phases are to be seen."""
        return prod(pattern.period for pattern in self.patterns)

    @property
    def slow(self) -> int:
        """How many timers are slow: in so many steps in a row as it takes, none expires."""
        steps = self.around + self.horizon
        ways = range(len(self.settings), 0, -1)
        return next((k for k in ways if self.undisturbed(k) >= steps), 0)

    def undisturbed(self, slow: int) -> int:
        """Return in how many steps in a row at least none of the slowest timers expires."""
        return (self.settings[-slow] - slow) // (slow + 1)

    @property
    def timings(self) -> int:
        """How many timings of the fast timers there are, possible or not."""
        fast = self.settings[: len(self.settings) - self.slow]
        return prod(1 + len(self.patterns) * setting for setting in fast)

    @property
    def each(self) -> int:
        """How many states each combination of phases to be seen needs at least."""
        return 1 if self.slow else prod(p.whole for p in self.patterns) // self.phases

    @property
    def at_least(self) -> float:
        """A bound below the positions needed that takes no effort."""
        return self.phases * self.each / (self.timings << self.slow)

    @property
    def effort(self) -> int:
        """About what it takes to say more."""
        return self.timings * self.phases

    def needed(self) -> float:
        """Return a bound below the positions needed, infinite where no relays do."""
        return _needed(self)


@cache
def _needed(question: Question) -> float:
    slow, patterns = question.slow, question.patterns
    fast = question.settings[: len(question.settings) - slow]
    if slow:
        # As long as loads change later in such a row, their classes have a timer that is fast.
        ahead = question.undisturbed(slow) - question.around - question.horizon
        busy = frozenset(i for i, pattern in enumerate(patterns) if pattern.changes)
    else:
        ahead, busy = ROUNDS, frozenset(i for i, p in enumerate(patterns) if p.whole > 1)
    living = _living(fast, patterns, busy, min(ahead, ROUNDS))
    if not all(living.values()):
        return inf
    together = frozenset[Timing]().union(*living.values())
    fewest = min(len(timings) for timings in living.values())
    needed = max(question.phases / len(together), 1 / fewest) * question.each
    return needed / (1 << slow)


def _living(
    settings: Sequence[int], patterns: Sequence[Pattern], busy: frozenset[int], rounds: int
) -> Mapping[Phases, set[Timing]]:
    """Return, for each combination of phases (of each class the step begun last), the timings
    that can go on for `rounds` steps. Classes that are `busy` always have a timer."""
    kinds = range(len(patterns))
    options = [[IDLE, *product(kinds, range(1, setting + 1))] for setting in settings]
    timings = [
        timing
        for timing in product(*options)
        if busy <= {kind for kind, _ in timing}
    ]
    after = [
        {timing: _after(timing, kind, settings, busy) for timing in timings}
        for kind in kinds
    ]
    living = {
        phases: set(timings) for phases in product(*(range(p.period) for p in patterns))
    }
    fresh = set(living)
    for _ in range(rounds):
        stale, fresh, now = fresh, set[Phases](), dict(living)
        for phases in living:
            then = tuple(
                (phase + 1) % pattern.period
                for phase, pattern in zip(phases, patterns, strict=True)
            )
            if then not in stale:
                continue
            # A step of all classes, the last one's instant first: backwards.
            left = living[then]
            for kind in reversed(kinds):
                change = then[kind] in patterns[kind].changes
                left = {
                    timing
                    for timing, (expired, ways) in after[kind].items()
                    if (expired or not change) and not left.isdisjoint(ways)
                }
            if len(left) < len(living[phases]):
                now[phases] = left
                fresh.add(phases)
        living = now
        if not fresh:
            break
    return living


def _after(
    timing: Timing, kind: int, settings: Sequence[int], busy: frozenset[int]
) -> tuple[bool, list[Timing]]:
    """Return whether a timer of class `kind` expires at the next instant of this class, and the
    timings that may follow it."""
    left = [
        (owner, rest) if owner != kind else (owner, rest - 1) if rest > 1 else IDLE
        for owner, rest in timing
    ]
    if (kind, 1) not in timing:
        return False, [tuple(left)]
    return True, list(_started(left, kind, settings, busy))


def _started(
    left: Sequence[tuple[int, int]], kind: int, settings: Sequence[int], busy: frozenset[int]
) -> Iterator[Timing]:
    """Yield the timings in which some timers have just started in class `kind`, and all classes
    that are busy have one."""
    fresh = [((kind, setting), old) for setting, old in zip(settings, left, strict=True)]
    for timing in product(*fresh):
        if busy <= {owner for owner, _ in timing}:
            yield timing
