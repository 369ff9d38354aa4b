"""A run worth a picture: what the inputs do so that a reader sees each goal at work.

The run is found from the goals alone: the required signals are played beside the inputs, and a
small search looks for the next change that brings a load on or off. Everything known of the
inputs is respected. The design is not asked, so the picture shows what it does of itself.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

from synth.check.simulate import simulate
from synth.design import Design
from synth.problem import InputKind, OutsideInput, Problem
from synth.signals import (
    Cycle,
    Latch,
    Signal,
    SignalMachine,
    all_of,
    children,
    inputs_of,
    loads_of,
    times_of,
)
from synth.ticks import UNITS
from synth.trace import Moment, Trace

MOST_FLIPS = 6
"""Changes of inputs tried in a row to bring about one thing."""
MOST_BRANCHES = 60
"""Runs followed side by side while looking for one thing."""
MOST_EVENTS = 5_000
"""Events after which one wait is given up."""
MOST_TRIED = 2 * MOST_EVENTS
"""Events after which the search for one thing is given up."""
MOST_IN_ALL = 8 * MOST_EVENTS
"""Events tried after which the run stays as it is, so that a picture is always finished."""
LONGEST_PRESS = 2_000
"""How long a push-button is held where nothing else is known, at most, in ticks."""
PAUSE = 10_000
"""Time between two changes where no goal has a shorter time, in ticks."""
LONGER = 6
"""The shortest time of the goals is at most so many times the time between two changes, where
that would be longer: times so near each other are drawn to one scale."""

_ROUND = sorted(
    UNITS[unit] * number
    for unit, numbers in (
        ("ms", (1, 2, 5, 10, 20, 50, 100, 200, 500)),
        ("s", (1, 2, 5, 10, 20, 30)),
        ("min", (1, 2, 5, 10, 20, 30)),
        ("h", (1, 2, 4, 6, 12, 24)),
    )
    for number in numbers
)
"""Times that read well, in ticks."""


def showing(design: Design, problem: Problem) -> Trace:
    """Return what `design` does in the run that shows `problem` at work (see `showing_run`)."""
    return simulate(design, problem, *showing_run(problem))


def showing_run(problem: Problem) -> tuple[tuple[Moment, ...], Fraction]:
    """Return moments of the inputs and the end of the run (ticks) that show `problem` at work.

    In this order: two rounds of each cycle that runs by itself; each load brought on, and off
    again, those that need the night last; each input at least once to and fro, where it can be at
    a moment when that changes a load; switches while they cut most; a power cut while most is on.
    What the goals or what is known of the inputs rule out is left out.
    """
    story = _Story(problem)
    story.rounds(story.run.running)
    story.bring_on()
    story.bring_off(
        [i.name for i in story.free if i.kind not in (InputKind.SWITCH, InputKind.NIGHT)]
    )
    story.go_home(nights=True)
    story.work([i for i in story.free if i.kind is not InputKind.SWITCH])
    story.work([i for i in story.free if i.kind is InputKind.SWITCH])
    story.bring_off([i.name for i in story.free])
    story.cut_power()
    run = story.run
    run.wait(run.time + run.pause)
    return tuple(run.moments), Fraction(run.time)


class _Run:
    """The inputs and the required signals, up to `time` (ticks)."""

    def __init__(self, problem: Problem, levels: dict[str, bool], pause: int) -> None:
        self.problem, self.pause = problem, pause
        self.facts = {item.name: item for item in problem.inputs}
        signals = tuple((r.load, r.signal) for r in problem.requirements)
        latches = [node for node in SignalMachine(signals).nodes if isinstance(node, Latch)]
        # A latch told to set and to reset at once is legal, but no picture of a tank or a start.
        clashes = [(f"\n{i}", all_of(n.set, n.reset)) for i, n in enumerate(latches)]
        self.machine = SignalMachine((*signals, *clashes))
        self.state = self.machine.start
        self.began = dict.fromkeys(range(len(self.state)), 0)
        self.levels, self.since = dict(levels), dict.fromkeys(levels, 0)
        self.flips = dict.fromkeys(levels, 0)
        self.time = self.events = 0
        self.spent = [0]
        """Events of this run and all its copies."""
        self.moments: list[Moment] = []
        self.loads: dict[str, bool] = {}
        self.clashing = False
        self.seen: set[tuple[str, bool]] = set()
        """(load, level) seen."""
        self._react(dict(levels), ())

    def copy(self) -> _Run:
        """Return a run that goes on from here by itself."""
        other = object.__new__(_Run)
        other.__dict__.update(self.__dict__)
        other.began, other.levels = dict(self.began), dict(self.levels)
        other.since, other.flips = dict(self.since), dict(self.flips)
        other.moments, other.seen = list(self.moments), set(self.seen)
        return other

    def _react(self, changes: dict[str, bool], due: Sequence[int]) -> None:
        self.events += 1
        self.spent[0] += 1
        for name, level in changes.items():
            self.flips[name] += self.levels[name] != level
            self.levels[name], self.since[name] = level, self.time
        if changes:
            self.moments.append(Moment(Fraction(self.time), tuple(changes.items())))
        self.state, loads, anew = self.machine.react(self.state, self.levels, due)
        self.began |= dict.fromkeys(anew, self.time)
        self.clashing = any(level for name, level in loads.items() if name.startswith("\n"))
        self.loads = {name: level for name, level in loads.items() if not name.startswith("\n")}
        self.seen |= set(self.loads.items())

    def _expiries(self) -> dict[int, int]:
        limits = {s: self.machine.limit(s, state) for s, state in enumerate(self.state)}
        return {s: self.began[s] + limit for s, limit in limits.items() if limit}

    def _forced(self) -> dict[str, int]:
        """Return when each input at the latest leaves its level, where that is known."""
        most = {
            name: item.most_on if self.levels[name] else item.most_off
            for name, item in self.facts.items()
            if item.steady is None
        }
        return {name: self.since[name] + time for name, time in most.items() if time}

    def next_event(self) -> int | None:
        """Return when something next happens by itself, None when nothing does."""
        return min([*self._expiries().values(), *self._forced().values()], default=None)

    def may_change(self, name: str) -> int | None:
        """Return the first time at which input `name` may leave its level, None: never."""
        item = self.facts[name]
        if item.steady is not None:
            return None
        least = item.least_on if self.levels[name] else item.least_off
        if self.since[name] == 0 and name != "supply":
            least = 0  # That level may have begun long before the picture.
        return self.since[name] + (least or 0)

    def _allowed(self, changes: dict[str, bool]) -> bool:
        return self.problem.may_follow(self.levels, {**self.levels, **changes})

    def happen(self) -> bool:
        """Take the next event that comes by itself; False when the inputs cannot obey."""
        time = self.next_event()
        assert time is not None
        due = [slot for slot, expiry in self._expiries().items() if expiry == time]
        changes = {n: not self.levels[n] for n, at in self._forced().items() if at == time}
        for group in self.problem.never_together:
            if any(changes.get(name) for name in group):
                for name in group:
                    free = self.may_change(name)
                    if self.levels[name] and free is not None and free <= time:
                        changes[name] = False
        if not self._allowed(changes):
            return False
        self.time = time
        self._react(changes, due)
        return True

    def wait(
        self,
        until: int,
        reached: Callable[[_Run], bool] = lambda run: False,
        through: bool = False,
    ) -> bool:
        """Let things happen before `until` (`through`: and at that instant), or up to where
        `reached` holds; return whether it does.

        The time is then that of the last event, or `until` when no event made it hold.
        """
        if reached(self):
            return True
        for _ in range(MOST_EVENTS):
            time = self.next_event()
            if time is None or time > until or (time == until and not through):
                self.time = max(self.time, until)
                return False
            if self.spent[0] >= MOST_IN_ALL or not self.happen():
                return False
            if reached(self):
                return True
        return False

    def flip(self, name: str, soon: bool = False) -> bool:
        """Change input `name` as soon as that may be and can be seen; False when it cannot.

        `soon` asks for half the usual pause, to hit what runs just now.
        """
        free, level = self.may_change(name), self.levels[name]
        moved = self.flips[name]
        if free is None:
            return False
        half = round_time(self.pause // 2)
        time = max(self.time + (half if soon else self.pause), free)
        if level and self.facts[name].kind is InputKind.BUTTON:
            time = max(self.time, free, self.since[name] + press_of(self.facts[name], self.pause))
        for _ in range(8):
            self.wait(time)
            if self.flips[name] != moved:
                return True  # Its longest time was over first.
            if self.time != time or self.next_event() != time:
                break
            if self._forced().get(name) == time:
                return self.happen()
            # Not at the instant of another event: a reader could not tell cause from effect.
            time += half
        if self.time != time or not self._allowed({name: not level}):
            return False
        self._react({name: not level}, ())
        return True

    def effect(self, name: str) -> tuple[int, int]:
        """Return how many loads go off, and how many change, if input `name` changed now; none
        when that told a latch to set and to reset at once."""
        levels = {**self.levels, name: not self.levels[name]}
        after = self.machine.react(self.state, levels)[1]
        if not self.clashing and any(after[load] for load in after if load not in self.loads):
            return 0, 0
        changed = [load for load, level in self.loads.items() if after[load] != level]
        return sum(self.loads[load] for load in changed), len(changed)

    @property
    def running(self) -> list[Cycle]:
        """The cycles that run now."""
        return [
            node
            for slot, node in enumerate(self.machine.nodes)
            if isinstance(node, Cycle) and self.machine.limit(slot, self.state[slot])
        ]


class _Story:
    """The run as told so far, and what is still to be shown."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        signals = {r.load: r.signal for r in problem.requirements}
        times = set().union(*(times_of(signal) for signal in signals.values()))
        shortest = min(times, default=PAUSE)
        self.pause = round_time(min(shortest, max(PAUSE, shortest // LONGER)))
        self.free = [i for i in problem.inputs if i.steady is None and i.name != "supply"]
        self.signals = signals
        self.names = {load: self._names([load]) for load in signals}
        self.home = self._home()
        self.run = _Run(problem, self.home, self.pause)
        self.first = self.run.loads

    def _names(self, loads: Iterable[str]) -> list[str]:
        """Return the free inputs that bear on `loads`, in the order of the problem."""
        found: set[str] = set()
        names: set[str] = set()
        waiting = list(loads)
        while waiting:
            load = waiting.pop()
            if load not in found and load in self.signals:
                found.add(load)
                names |= inputs_of(self.signals[load])
                waiting += loads_of(self.signals[load])
        return [item.name for item in self.free if item.name in names]

    def _home(self) -> dict[str, bool]:
        """Return the levels at first: supply on, by day, switches as most loads are on with."""
        levels = {i.name: bool(i.steady) or i.name == "supply" for i in self.problem.inputs}
        machine = self.problem.machine

        def on(levels: dict[str, bool]) -> int:
            return sum(machine.react(machine.start, levels)[1].values())

        for item in self.free:
            closed = {**levels, item.name: True}
            if item.kind is InputKind.SWITCH and on(closed) >= on(levels):
                groups = (g for g in self.problem.never_together if item.name in g)
                if all(sum(closed[name] for name in group) <= 1 for group in groups):
                    levels = closed
        return levels

    def rounds(self, cycles: Sequence[Cycle]) -> None:
        """Wait for two rounds of `cycles`."""
        span = max((2 * (cycle.on + cycle.off) for cycle in cycles), default=0)
        self.run.wait(self.run.time + span)

    def _patience(self, signals: Iterable[Signal]) -> int:
        """Return a time after which `signals` change no more by themselves but for their rounds."""
        return sum(sum(times_of(signal)) for signal in signals)

    def find(
        self, reached: Callable[[_Run], bool], names: Sequence[str], patience: int
    ) -> _Run | None:
        """Return the run after the fewest changes of inputs `names` that bring `reached` about."""
        found, refused = self._find(reached, names, patience, calm=True)
        if found is None and refused:
            found, _ = self._find(reached, names, patience, calm=False)
        return found

    def _find(
        self, reached: Callable[[_Run], bool], names: Sequence[str], patience: int, calm: bool
    ) -> tuple[_Run | None, bool]:
        """Return the run, and whether any was refused since a latch was to set and reset."""
        front, known = [self.run], {(self.run.state, *self.run.levels.values())}
        refused, tried = False, 0
        for _ in range(MOST_FLIPS + 1):
            hits: list[_Run] = []
            after: list[_Run] = []
            for start in front:
                waited = start.copy()
                if waited.wait(waited.time + patience, reached, through=True):
                    hits.append(waited)
                    continue
                tried += waited.events - start.events
                if tried > MOST_TRIED:
                    break
                sources = [start] if waited.state == start.state else [start, waited]
                for source, name in itertools.product(sources, names):
                    run = source.copy()
                    if not run.flip(name):
                        continue
                    tried += run.events - source.events
                    if calm and run.clashing:
                        refused = True
                        continue
                    key = (run.state, *run.levels.values())
                    if key not in known:
                        known.add(key)
                        after.append(run)
            if hits:
                return min(hits, key=lambda run: run.time), refused
            front = after[:MOST_BRANCHES]
        return None, refused

    def go_home(self, nights: bool = False) -> None:
        """Take the inputs back to where they were at first, the last one moved first."""
        kept = () if nights else (InputKind.NIGHT,)
        away = [
            item.name
            for item in self.free
            if item.kind not in kept and self.run.levels[item.name] != self.home[item.name]
        ]
        for name in sorted(away, key=lambda name: -self.run.since[name]):
            if self.run.levels[name] != self.home[name]:
                self.run.flip(name)

    def bring(self, load: str, level: bool, names: Sequence[str]) -> bool:
        """Go on to where `load` is at `level`; False when it cannot be."""
        run = self.find(
            lambda run: run.loads[load] is level, names, self._patience([self.signals[load]])
        )
        if run is not None:
            self.run = run
        return run is not None

    def bring_on(self) -> None:
        """Bring each load on that has not been on, and off again; those by night last."""
        nights = {item.name for item in self.free if item.kind is InputKind.NIGHT}
        for load, names in sorted(
            self.names.items(), key=lambda entry: not nights.isdisjoint(entry[1])
        ):
            if (load, True) not in self.run.seen and self.bring(load, True, names):
                cycles = [node for node in _nodes(self.signals[load]) if isinstance(node, Cycle)]
                if cycles:
                    self.rounds(cycles)
                self.go_home()
            if self.run.loads[load] and not self.first[load]:
                self.bring(load, False, _without(names, nights))
                self.go_home()

    def bring_off(self, usable: Sequence[str]) -> None:
        """Bring each load off that has never been off, by the inputs `usable`."""
        for load, names in self.names.items():
            if (load, False) not in self.run.seen:
                self.bring(load, False, [name for name in names if name in usable])
                self.go_home(nights=True)

    def work(self, items: Sequence[OutsideInput]) -> None:
        """Move each of `items` to and fro that has not been, when that changes most loads."""
        for must in (False, True):
            for item in items:
                if self.run.flips[item.name] < 2:
                    self._work(item.name, must)

    def _work(self, name: str, must: bool) -> None:
        """Move one input to and fro; unless it `must`, only when that changes a load."""

        def acts(run: _Run) -> bool:
            return any(run.effect(name))

        self.wait_for_most(name)
        if not acts(self.run):
            loads = [load for load, names in self.names.items() if name in names]
            patience = self._patience(self.signals[load] for load in loads)
            found = self.find(acts, _without(self._names(loads), {name}), patience)
            if found is None and not must:
                return
            self.run = found or self.run
        cut = [load for load, level in self.run.loads.items() if level]
        self.run.flip(name, soon=True)
        cut = [load for load in cut if not self.run.loads[load]]
        self.run.flip(name)
        self.recover(cut)
        self.go_home(nights=True)

    def recover(self, cut: Sequence[str]) -> None:
        """Wait for a whole pulse of a load among `cut` that runs in rounds."""
        again = [
            load for load in cut
            if any(isinstance(node, Cycle) for node in _nodes(self.signals[load]))
        ]
        span = max((c.on + c.off for c in self.run.running), default=0)
        until = self.run.time + span
        # Up to that instant and no further: the picture is not to end at an odd thousandth.
        if again and self.run.wait(until, lambda run: any(run.loads[load] for load in again), True):
            self.run.wait(until, lambda run: not any(run.loads[load] for load in again), True)

    def wait_for_most(self, name: str) -> None:
        """Wait, at most one round of what runs, for when a change of `name` cuts most loads."""
        cycles = self.run.running
        best, ahead = self.run, self.run.copy()
        until = ahead.time + max((c.on + c.off for c in cycles), default=0) + 1
        while (time := ahead.next_event()) is not None and time < until and ahead.happen():
            if ahead.effect(name) > best.effect(name):
                best = ahead.copy()
        self.run = best

    def cut_power(self) -> None:
        """Let the supply fail while most is on, and return."""
        if self.run.may_change("supply") is None:
            return
        self.wait_for_most("supply")
        if not any(self.run.effect("supply")):
            patience = self._patience(self.signals.values())
            names = [item.name for item in self.free]
            self.run = self.find(lambda run: any(run.effect("supply")), names, patience) or self.run
        self.run.flip("supply", soon=True)
        self.run.flip("supply")
        self.recover(list(self.run.loads))


def press_of(item: OutsideInput, pause: int) -> int:
    """Return how long a push-button is held, in ticks: a round time that its facts allow."""
    most = min(LONGEST_PRESS, pause, item.most_on or LONGEST_PRESS)
    return max(round_time(most), item.least_on or 0)


def round_time(most: int) -> int:
    """Return the longest time that reads well and is at most `most` ticks.

    >>> round_time(45_000)
    30000
    """
    return max((time for time in _ROUND if time <= most), default=1)


def _nodes(signal: Signal) -> list[Signal]:
    return [signal, *(node for child in children(signal) for node in _nodes(child))]


def _without(names: Sequence[str], others: set[str]) -> list[str]:
    return [name for name in names if name not in others]
