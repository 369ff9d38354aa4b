"""Scenarios: concrete runs of the outside inputs, and what each load must do in them.

A scenario only ever makes the search's problem easier, so what is refuted on scenarios is refuted.
Its *grid* is the set of instants at which something is allowed to happen. A circuit in which a
timer expires off the grid *escapes*: from there on nothing is asked of it (the exact check will).

**What is still to come.** The inputs might stay as they are from any point p on (as long as what is
known of them allows it): a circuit does not know what a run brings. Let a load then have to change
at f > p.

1. All that happens until f is the expiry of timers and what follows one, so a timer expires at f;
   it ran at p, or was started after p at the expiry of another one; and so on. So at p some timer
   runs that expires at f or before, a multiple of the step before it, the step being what divides
   all settings on offer. The next instant f of each class (f modulo the step) is kept with a
   point.
2. Let the inputs and the loads have been as they are since an earlier point o. Were the circuit at
   o in the same state as at p, with the same times left, the load would have changed at f - p + o,
   which is before f. So the states differ. (No load changes between o and p: the instants at which
   one does are all on the grid.)
3. Let a load have to go on. Take the first step after p, those of settling included, at which
   anything dead goes live. A contact closed just before; for most parts this takes a control input
   that goes live, which would have been earlier. What is left (`CLOSING` in `perpetual.py`): a
   relay whose coil went dead; a bistable relay where reset wins, whose reset went dead while its
   set was live; an on-delay or a recycler whose time was up. What is live before that step was so
   at p, so at p the coil is live, or set and reset are, or the time runs.

So a short run tells of what would otherwise only show in a long one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import gcd, lcm

from synth.problem import Problem
from synth.trace import Moment, Order

MOST_OWN = 2000
"""Most expiries of the clocks of required signals in one run, which ends there."""
EVENTS = 40
"""Most expiries that are followed beyond a point."""


@dataclass(frozen=True)
class Point:
    """One instant of the grid: its time in ticks (counted finely, see `Scenario.fine`), the
    levels of all inputs from then on, and the level that each load must settle at. `waits` are
    later instants, the next of each class, at which some load changes if no input does; `rises`
    says whether some load then goes on at one. `order`: after this event only the relays named
    move in the first step, then in the second, and so on, before all move together; any order is
    one that a design must stand."""

    time: int
    inputs: tuple[bool, ...]
    loads: tuple[bool, ...]
    waits: tuple[int, ...] = ()
    rises: bool = False
    order: Order = ()


@dataclass(frozen=True)
class Scenario:
    """A run over a grid of points; `fine` is how many grid units one tick has (times of a
    counterexample may lie between ticks), `step` divides all settings on offer (grid units).
    `in_time`: timers waited for are asked to expire in time, which pays where clocks drift only."""

    inputs: tuple[str, ...]
    loads: tuple[str, ...]
    points: tuple[Point, ...]
    fine: int = 1
    step: int = 1
    in_time: bool = False


def build_scenario(
    problem: Problem,
    moments: Sequence[Moment],
    times: Iterable[int],
    horizon: int,
    most_points: int = 40,
    depth: int = 3,
    also: Iterable[int | Fraction] = (),
    cut: int | None = None,
    orders: Sequence[tuple[Fraction, Order]] = (),
) -> Scenario:
    """Return the scenario in which the inputs change at `moments`, over a grid up to `horizon`.

    The grid holds every moment, every instant at which a required signal's own clock expires,
    the instants `also` (ticks), and what can be reached from these by adding up to `depth` of
    the settings in `times` (ticks). When that is more than `most_points`, fewer sums are taken.
    `orders` says in which order parts move after some events (ticks). With `cut` the run ends
    after so many points at most: a shorter run only asks less.
    """
    also = tuple(also)
    fine = lcm(*(moment.time.denominator for moment in moments))
    fine = lcm(fine, *(Fraction(instant).denominator for instant in also))
    changes = {int(m.time * fine): dict(m.inputs) for m in moments}
    end = horizon * fine
    steps = sorted(t * fine for t in times)
    machine = problem.machine
    base = set(changes) | {int(a * fine) for a in also}
    must = _own_times(problem, changes, fine, end)
    base |= must
    if len(must) > MOST_OWN:
        end = max(must)  # what comes later is not known
    grid = {t for t in base if t <= end}
    front = set(grid)
    for _ in range(depth):
        front = {a + b for a in front for b in steps if a + b <= end} - grid
        if len(grid) + len(front) > most_points:
            room = most_points - len(grid)
            grid |= set(sorted(front)[: max(0, room)])
            break
        grid |= front
    names = tuple(item.name for item in problem.inputs)
    levels = dict.fromkeys(names, False)
    for item in problem.inputs:
        if item.steady is not None:
            levels[item.name] = item.steady
    state = machine.start
    clocks: dict[int, int] = {}
    points: list[Point] = []
    ahead = _Ahead(problem, fine)
    for time in sorted(grid)[:cut]:
        before = dict(levels)
        levels.update(changes.get(time, {}))
        if levels != before or not points:
            ahead.inputs_change(time, levels)
        due = tuple(slot for slot, when in clocks.items() if when == time)
        state, loads, again = machine.react(state, levels, due)
        clocks = machine.clocks(state, clocks, again, time, fine)
        points.append(Point(time, tuple(levels[n] for n in names), tuple(loads.values())))
        ahead.settled(time, state, clocks, loads)
    coming = ahead.coming()
    taken = {int(time * fine): order for time, order in orders}
    return Scenario(
        names,
        tuple(r.load for r in problem.requirements),
        tuple(
            replace(point, waits=waits, rises=rises, order=taken.get(point.time, ()))
            for point, (waits, rises) in zip(points, coming, strict=True)
        ),
        fine,
        ahead.step,
    )


class _Ahead:
    """Finds what a run waits for at each of its points; see the module's text."""

    def __init__(self, problem: Problem, fine: int) -> None:
        self.problem = problem
        self.fine = fine
        self.step = gcd(*problem.times) * fine
        self._since: dict[str, tuple[bool, int]] = {}
        self._points: list[tuple[int, bool, dict[str, bool]]] = []
        """Of each point: its time, whether an input changes, and the loads."""
        self._later: list[tuple[dict[int, int], bool]] = []
        """What comes after the last point before each change of the inputs: class -> instant of
        the first change, and whether some load goes on."""
        self._last: tuple[dict[str, bool], tuple[int, ...], dict[int, int]] | None = None
        self._fresh = True

    def inputs_change(self, time: int, levels: dict[str, bool]) -> None:
        """Say that the inputs have these levels from `time` on."""
        self._finish()
        for name, level in levels.items():
            if name not in self._since or self._since[name][0] != level:
                self._since[name] = (level, time)
        self._fresh = True

    def settled(
        self, time: int, state: tuple[int, ...], clocks: dict[int, int], loads: dict[str, bool]
    ) -> None:
        """Say what the goals ask at a point: the state and clocks of the required signals."""
        self._points.append((time, self._fresh, loads))
        self._last = (loads, state, clocks)
        self._fresh = False

    def coming(self) -> list[tuple[tuple[int, ...], bool]]:
        """Return for each point the next instant of each class at which some load changes, and
        whether some load goes on, if no input changes."""
        if not self.step:
            return [((), False)] * len(self._points)
        self._finish()
        found: list[tuple[tuple[int, ...], bool]] = []
        later, rises, runs = dict[int, int](), False, len(self._later)
        after: tuple[int, bool, dict[str, bool]] | None = None
        for point in reversed(self._points):
            if after is None or after[1]:
                runs -= 1
                later, rises = dict(self._later[runs][0]), self._later[runs][1]
            elif after[2] != point[2]:
                later[after[0] % self.step] = after[0]
                rises = rises or _some_on(point[2], after[2])
            found.append((tuple(later.values()), rises))
            after = point
        return found[::-1]

    def _finish(self) -> None:
        """Follow the required signals from the last point on, as if no input changed then."""
        if self._last is None or not self.step:
            return
        loads, state, clocks = self._last
        machine, found, rises = self.problem.machine, dict[int, int](), False
        levels = {name: level for name, (level, _) in self._since.items()}
        classes = {due % self.step for due in clocks.values()}
        end = self._end()
        for _ in range(EVENTS):
            if not clocks or (len(found) == len(classes) and rises):
                break
            time = min(clocks.values())
            if end is not None and time >= end:
                break
            due = tuple(slot for slot, when in clocks.items() if when == time)
            before = loads
            state, loads, again = machine.react(state, levels, due)
            clocks = machine.clocks(state, clocks, again, time, self.fine)
            if loads != before:
                found.setdefault(time % self.step, time)
                rises = rises or _some_on(before, loads)
        self._later.append((found, rises))
        self._last = None

    def _end(self) -> int | None:
        """Return when some input has to change at the latest, None if all may stay."""
        ends: list[int] = []
        for item in self.problem.inputs:
            level, since = self._since[item.name]
            most = item.most_on if level else item.most_off
            if item.steady is None and most is not None:
                ends.append(since + most * self.fine)
        return min(ends, default=None)


def _some_on(before: dict[str, bool], after: dict[str, bool]) -> bool:
    """Return whether some load goes on."""
    return any(level and not before[load] for load, level in after.items())


def _own_times(
    problem: Problem, changes: dict[int, dict[str, bool]], fine: int, end: int
) -> set[int]:
    """Return the instants up to `end` at which a clock of a required signal expires."""
    machine = problem.machine
    levels = {item.name: bool(item.steady) for item in problem.inputs}
    state, clocks = machine.start, dict[int, int]()
    times: set[int] = set()
    pending = sorted(changes)
    while pending or clocks:
        time = min([*pending[:1], *clocks.values()])
        if time > end:
            break
        times.add(time)
        if pending and pending[0] == time:
            levels.update(changes[pending.pop(0)])
        due = tuple(slot for slot, when in clocks.items() if when == time)
        state, _, again = machine.react(state, levels, due)
        clocks = machine.clocks(state, clocks, again, time, fine)
        if len(times) > MOST_OWN:
            break
    return times
