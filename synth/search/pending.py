"""How many timers must run at once: a bound that adds up over loads that wait at the same time.

Let all settings on offer be multiples of g. Call the class of an instant its time modulo g. Then:

1. While no input changes, everything that happens is the expiry of a timer, and a timer expires a
   multiple of g after its start: expiry and start have the same class.
2. Let T be the last instant at which an input changes, and let some load have to change at t > T.
   A timer expires at t. Either it was running after T, or it was started after T, at the expiry
   of another timer of the same class; going back, some timer of the class of t runs after T.
3. So right after T at least as many timers run as there are classes of later changes of loads.

While these timers run, other inputs may change in quick succession, so that nothing expires; the
timers stay as they are, and so do their contacts. A load without a time of its own that remembers
is on at one such moment and off at another, with the same inputs at both: some further contact
must have changed in between. With n such loads, independent of each other, 2^n combinations occur
with the same inputs, and a controlled part has two positions: n further parts are needed.

The inputs may change at any moment, so their changes can be put into as many classes as one likes:
what waits for a time counted from its own input waits in a class of its own. The bound is proven
for each concrete run; the run is looked for greedily, and a poor run only weakens the bound.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product
from math import gcd

from synth.problem import OutsideInput, Problem
from synth.search.perpetual import Perpetual, Repeating, forced_settings
from synth.signals import (
    MEMORY,
    Cycle,
    Signal,
    SignalMachine,
    all_of,
    inputs_of,
    loads_of,
    times_of,
)

EVENTS = 40
"""Most expiries that are followed after the last change of an input, for each load."""
MOST_INPUTS = 5
"""Most inputs of a load that is asked whether it remembers."""

Change = tuple[int, bool]
"""An input, by its number, and its new level."""


@dataclass(frozen=True)
class Waiting:
    """A run after whose last moment `count` timers must be running, for the sake of `loads`; each
    load of `remembering` needs a controlled part beside them. `run`: its changes of the inputs,
    all within one step of the grid, the supply being on from the start."""

    count: int
    loads: tuple[str, ...] = ()
    remembering: tuple[str, ...] = ()
    perpetual: Perpetual = Perpetual()
    run: tuple[tuple[str, bool], ...] = ()

    @property
    def controlled(self) -> int:
        """How many controlled parts, timers included, every design has."""
        return self.count + len(self.remembering)


def timers_at_once(problem: Problem) -> Waiting:
    """Return how many timers every design for `problem` must have running at one moment."""
    step = gcd(*problem.times) if problem.times else 0
    timed = [r for r in problem.requirements if times_of(r.signal)]
    named = frozenset().union(*(inputs_of(r.signal) for r in timed)) - {"supply"}
    # A time that depends on another load may depend on the inputs of that load.
    memory = () if any(loads_of(r.signal) for r in timed) else _remembering(problem, named)
    if not timed or not step:
        return Waiting(0, (), memory)
    seeker = _Seeker(problem, step)
    best, run = Waiting(0, (), memory), list[Change]()
    while True:
        better: tuple[Waiting, list[Change]] | None = None
        for tail in seeker.tails():
            trial = [*run, *tail]
            found = seeker.measure(trial)
            if found is not None and found.count > (better[0] if better else best).count:
                better = (found, trial)
        if better is None:
            changes = tuple((seeker.inputs[number].name, level) for number, level in run)
            return replace(best, perpetual=seeker.perpetual(run), run=changes)
        best, run = replace(better[0], remembering=memory), better[1]


def _remembering(problem: Problem, taken: Collection[str]) -> tuple[str, ...]:
    """Return loads without a time that remember, no two of which follow a common input, nor one
    of `taken`."""
    free = {
        item.name
        for item in problem.inputs
        if item.steady is None
        and not (item.least_on or item.least_off or item.most_on or item.most_off)
    }
    free -= {name for group in problem.coupled for name in group} | set(taken)
    found: list[str] = []
    for requirement in problem.requirements:
        signal = requirement.signal
        names = inputs_of(signal) - {"supply"}
        if not names or not names <= free or len(names) > MOST_INPUTS:
            continue
        if times_of(signal) or loads_of(signal) or not _remembers(signal, sorted(names)):
            continue
        found.append(requirement.load)
        free -= names
    return tuple(found)


def _remembers(signal: Signal, names: Sequence[str]) -> bool:
    """Return whether `signal` can be 0 and 1 with the same inputs, again and again, the supply
    being on (so that with several such loads all combinations come about in one run)."""
    machine = SignalMachine((("", signal),))
    vectors = [
        {"supply": True, **dict(zip(names, levels, strict=True))}
        for levels in product((False, True), repeat=len(names))
    ]

    def after(at: tuple[int, tuple[int, ...]]) -> dict[tuple[int, tuple[int, ...]], bool]:
        """Return all settled (vector, state) that follow, each with the level of the load."""
        found: dict[tuple[int, tuple[int, ...]], bool] = {}
        todo = [at]
        while todo:
            number, state = todo.pop()
            for other in range(len(vectors)):
                new, loads, _ = machine.react(state, vectors[other])
                if other != number and (other, new) not in found:
                    found[other, new] = loads[""]
                    todo.append((other, new))
        return found

    start = after((-1, machine.start))
    for (number, state), level in start.items():
        later = after((number, state))
        if any(
            n == number and other != level and (number, state) in after((n, s))
            for (n, s), other in later.items()
        ):
            return True
    return False


class _Seeker:
    """Follows short runs of the inputs; all their changes come within one step of the grid."""

    def __init__(self, problem: Problem, step: int) -> None:
        self.problem = problem
        self.step = step
        together = any(loads_of(r.signal) for r in problem.requirements)
        groups = [problem.requirements] if together else [(r,) for r in problem.requirements]
        self.machines = [
            SignalMachine(tuple((r.load, r.signal) for r in group))
            for group in groups
            if any(times_of(r.signal) for r in group)
        ]
        named = frozenset().union(
            *(inputs_of(signal) for m in self.machines for _, signal in m.signals)
        )
        self.inputs: list[OutsideInput] = [
            item for item in problem.inputs if item.name in named and item.name != "supply"
        ]

    def tails(self) -> list[list[Change]]:
        """Return short sequences of changes to append to a run: a level, or a level and back."""
        free = [i for i, item in enumerate(self.inputs) if item.steady is None]
        one = [[(i, level)] for i in free for level in (True, False)]
        two = [[(i, level), (i, not level)] for i in free for level in (True, False)]
        pair = [
            [(i, True), (j, level)] for i in free for j in free for level in (True, False) if i != j
        ]
        return [[], *one, *two, *pair]

    def measure(self, run: Sequence[Change]) -> Waiting | None:
        """Return what waits after `run`, None when the run is not possible."""
        moments = self._moments(run)
        if moments is None:
            return None
        classes: dict[int, str] = {}
        for machine in self.machines:
            for time, load, _ in self._changes(machine, moments, self._end(run)):
                classes.setdefault(time % self.step, load)
        return Waiting(len(classes), tuple(sorted(set(classes.values()))))

    def perpetual(self, run: Sequence[Change]) -> Perpetual:
        """Return what goes on for ever after `run`, if all inputs may stay as they are."""
        moments, end = self._moments(run), self._end(run)
        if moments is None:  # there are no instants within a step
            return Perpetual()
        classes: dict[int, list[Repeating]] = {}
        waits: set[int] = set()
        closing = ""
        for machine in self.machines:
            rises: dict[str, int] = {}
            for time, load, value in self._changes(machine, moments, end):
                # A class begins with the change of an input at that very instant, within a step.
                waits.add(time - time % self.step)
                if value:
                    rises.setdefault(load, time)
                    closing = closing or load
            for load, signal in machine.signals:
                if end is None and load in rises and _for_ever(signal, moments[-1]):
                    assert isinstance(signal, Cycle)
                    again = Repeating(load, signal.on, signal.off, rises[load])
                    classes.setdefault(again.first % self.step, []).append(again)
        return Perpetual(
            tuple(tuple(group) for group in classes.values()),
            self.step,
            closing,
            forced_settings(waits, self.problem.times),
            len(moments) - len(classes) if self._may_wait() else None,
        )

    def _may_wait(self) -> bool:
        """Return whether all inputs may stay as they are for as long as one likes."""
        items = [item for item in self.problem.inputs if item.steady is None]
        return all(item.most_on is None and item.most_off is None for item in items)

    def _moments(self, run: Sequence[Change]) -> list[dict[str, bool]] | None:
        """Return the levels at the instants 0, 1, 2, … of `run`, None when it is not possible."""
        if len(run) + 1 >= self.step:
            return None
        levels = {item.name: bool(item.steady) for item in self.problem.inputs} | {"supply": True}
        moments = [dict(levels)]
        since = dict.fromkeys(levels, 0)
        for time, (number, level) in enumerate(run, 1):
            item = self.inputs[number]
            least = (item.least_on if levels[item.name] else item.least_off) or 0
            if levels[item.name] == level or time - since[item.name] < least:
                return None
            levels[item.name] = level
            since[item.name] = time
            moments.append(dict(levels))
        for before, after in pairwise([None, *moments]):
            assert after is not None
            if not self.problem.may_follow(before, after):
                return None
        return moments

    def _end(self, run: Sequence[Change]) -> int | None:
        """Return when some input has to change at the latest, None if all may stay as they are."""
        levels = {item.name: bool(item.steady) for item in self.problem.inputs} | {"supply": True}
        since = dict.fromkeys(levels, 0)
        for time, (number, level) in enumerate(run, 1):
            levels[self.inputs[number].name] = level
            since[self.inputs[number].name] = time
        ends = [
            since[item.name] + most
            for item in self.problem.inputs
            if item.steady is None
            and (most := item.most_on if levels[item.name] else item.most_off) is not None
        ]
        return min(ends, default=None)

    def _changes(
        self, machine: SignalMachine, moments: Sequence[dict[str, bool]], end: int | None
    ) -> Iterator[tuple[int, str, bool]]:
        """Yield (time, load, level) at the changes of loads after the last moment, before `end`."""
        state, clocks = machine.start, dict[int, int]()
        loads: dict[str, bool] = {}
        now = events = 0
        while True:
            due: tuple[int, ...] = ()
            if now < len(moments):
                time = now
            elif clocks and events < EVENTS:
                time = min(clocks.values())
                events += 1
                if end is not None and time >= end:
                    return
            else:
                return
            due = tuple(slot for slot, when in clocks.items() if when == time)
            before = loads
            vector = moments[min(time, len(moments) - 1)]
            state, loads, again = machine.react(state, vector, due)
            clocks = machine.clocks(state, clocks, again, time)
            if now < len(moments):
                now += 1
                continue
            for load, value in loads.items():
                if before.get(load) != value:
                    yield time, load, value


def _for_ever(signal: Signal, levels: dict[str, bool]) -> bool:
    """Return whether `signal` is a cycle that these levels keep going."""
    if not isinstance(signal, Cycle):
        return False
    opening = SignalMachine((("", all_of(signal.gate, signal.enable)),))
    if any(isinstance(node, MEMORY) for node in opening.order):
        return False
    return opening.react((), levels)[1][""]
