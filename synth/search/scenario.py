"""Scenarios: concrete runs of the outside inputs, and what each load must do in them.

A scenario only ever makes the search's problem easier, so what is refuted on scenarios is refuted.
Its *grid* is the set of instants at which something is allowed to happen. A circuit in which a
timer expires off the grid *escapes*: from there on nothing is asked of it (the exact check will).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from synth.problem import Problem
from synth.trace import Moment


@dataclass(frozen=True)
class Point:
    """One instant of the grid: its time in ticks (counted finely, see `Scenario.fine`), the
    levels of all inputs from then on, and the level that each load must settle at."""

    time: int
    inputs: tuple[bool, ...]
    loads: tuple[bool, ...]


@dataclass(frozen=True)
class Scenario:
    """A run over a grid of points; `fine` is how many grid units one tick has (times of a
    counterexample may lie between ticks)."""

    inputs: tuple[str, ...]
    loads: tuple[str, ...]
    points: tuple[Point, ...]
    fine: int = 1


def build_scenario(
    problem: Problem,
    moments: Sequence[Moment],
    times: Iterable[int],
    horizon: int,
    most_points: int = 40,
    depth: int = 3,
    also: Iterable[int | Fraction] = (),
    cut: int | None = None,
) -> Scenario:
    """Return the scenario in which the inputs change at `moments`, over a grid up to `horizon`.

    The grid holds every moment, every instant at which a required signal's own clock expires,
    the instants `also` (ticks), and what can be reached from these by adding up to `depth` of
    the settings in `times` (ticks). When that is more than `most_points`, fewer sums are taken.
    With `cut` the run ends after so many points at most: a shorter run only asks less.
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
    for time in sorted(grid)[:cut]:
        levels.update(changes.get(time, {}))
        due = tuple(slot for slot, when in clocks.items() if when == time)
        state, loads, again = machine.react(state, levels, due)
        clocks = machine.clocks(state, clocks, again, time, fine)
        points.append(Point(time, tuple(levels[n] for n in names), tuple(loads.values())))
    return Scenario(names, tuple(r.load for r in problem.requirements), tuple(points), fine)


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
        if len(times) > 2000:
            break
    return times
