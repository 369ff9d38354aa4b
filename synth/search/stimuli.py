"""The first scenarios of a search: runs of the inputs in which poor designs go wrong early."""

from __future__ import annotations

import random
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise, product
from math import gcd

from synth.problem import OutsideInput, Problem
from synth.search.scenario import build_scenario
from synth.signals import times_of
from synth.trace import Moment

Run = tuple[tuple[Moment, ...], int]
"""Moments of a scenario, and the horizon in ticks."""

MOST_DRIFTING = 72
"""Most points of the grids of a set of runs that have all instants of several classes."""

STEADY_WALK = 64
"""Most vectors of inputs visited when no goal has a time."""


def legal(problem: Problem, wanted: Sequence[tuple[int, dict[str, bool]]], end: int) -> Run | None:
    """Return the run nearest to `wanted` (time in ticks, levels) that respects what is known of
    the inputs: times at 1 and 0, inputs that are never together, steady inputs, those released as
    others come on. None if such a run is not found."""
    facts = {item.name: item for item in problem.inputs}
    levels = {name: bool(item.steady) for name, item in facts.items()}
    since = dict.fromkeys(levels, 0)
    latest: dict[str, int] = {}
    """When an input has to change at the latest."""
    todo: list[tuple[int, dict[str, bool]]] = sorted(wanted, key=lambda entry: entry[0])
    moments: list[Moment] = []
    started = False
    while todo:
        time, change = todo.pop(0)
        if time > end or len(moments) > 200:
            break
        change = {n: v for n, v in change.items() if n in facts and facts[n].steady is None}
        while todo and todo[0][0] == time:
            change.update(
                {n: v for n, v in todo.pop(0)[1].items() if n in facts and facts[n].steady is None}
            )
        if started:
            for name in list(change):
                least = facts[name].least_on if levels[name] else facts[name].least_off
                if (
                    least is not None
                    and change[name] != levels[name]
                    and time - since[name] < least
                ):
                    todo = sorted(
                        [*todo, (since[name] + least, {name: change.pop(name)})],
                        key=lambda entry: entry[0],
                    )
        for item in problem.inputs:
            after = {**levels, **change}
            comes = {n for n in item.released_as if after.get(n) and not levels[n]}
            if not started:
                comes = {"supply"} & {*item.released_as} if after["supply"] else set()
            if after[item.name] and comes:
                forced = latest.get(item.name, time + 1) <= time
                if forced or (levels[item.name] and not _may_go_off(item, time, since)):
                    return None
                # Let go just then, and pressed right after.
                change[item.name] = False
                todo = sorted([*todo, (time + 1, {item.name: True})], key=lambda e: e[0])
        after = {**levels, **change}
        must = {n for n, v in change.items() if v != levels[n] and latest.get(n, time + 1) <= time}
        for group in problem.never_together:
            on = sorted((n for n in group if after.get(n)), key=lambda n: n not in must)
            for name in on[1:]:
                if not levels[name]:
                    change.pop(name, None)
                elif on[0] in must and _may_go_off(facts[name], time, since):
                    change[name] = False
                else:
                    return None
                after[name] = False
        if any(after[name] == levels[name] for name in must):
            return None
        change = {n: v for n, v in change.items() if v != levels[n] or not started}
        if not change and started:
            continue
        for name, value in change.items():
            if value != levels[name] or not started:
                since[name] = time
            levels[name] = value
            most = facts[name].most_on if value else facts[name].most_off
            latest.pop(name, None)
            if most is not None:
                latest[name] = time + most
                todo = sorted([*todo, (time + most, {name: not value})], key=lambda e: e[0])
        if not started:
            for name, item in facts.items():
                if name not in change and item.most_off is not None:
                    latest[name] = item.most_off
                    todo = sorted([*todo, (item.most_off, {name: True})], key=lambda e: e[0])
        started = True
        moments.append(Moment(Fraction(time), tuple(sorted(change.items()))))
    return tuple(moments), end


def _may_go_off(item: OutsideInput, time: int, since: dict[str, int]) -> bool:
    """Return whether an input that is at 1 may go to 0 now."""
    return item.steady is None and time - since[item.name] >= (item.least_on or 0)


def first_runs(problem: Problem, seed: int = 1) -> list[Run]:
    """Return the first runs for `problem`, the plainest first."""
    times = sorted(set().union(*(times_of(r.signal) for r in problem.requirements)))
    free = [item for item in problem.inputs if item.name != "supply" and item.steady is None]
    wanted = _timed_runs(free, times) if times else [_walk(free, seed)]
    runs = [legal(problem, moments, end) for moments, end in wanted]
    found: list[Run] = []
    for run in runs:
        if run is not None and run not in found:
            found.append(run)
    return found


def drifting_runs(
    problem: Problem, changes: Sequence[tuple[str, bool]]
) -> list[list[tuple[Run, list[int]]]]:
    """Return sets of runs in which loads follow clocks of their own, each run with a grid for it.

    `changes` are changes of the inputs, close together, that start as many clocks as can be, each
    in a class of its own (see `synth.search.pending`). In the first set they come right after the
    supply, and in another run the second shortest time after it and after one another (or as long
    as there is room for), so that the classes stand to each other in two ways; each run lasts until
    the loads have changed once by themselves. In the second set they come right after the supply,
    and the loads change twice. Short sets are answered sooner than one long run, though a "yes"
    says less. What takes too long is not waited for. The grids have all instants of all classes, so
    no circuit escapes before the end.
    """
    times = problem.times
    step = gcd(*times) if times else 0
    apart = step // (len(changes) + 2)
    if not changes or not apart:
        return []
    most = MOST_DRIFTING // (len(changes) + 1)
    later = min(times[min(1, len(times) - 1)], most // 4 * step)
    sets = [
        [_drifting(problem, changes, apart, wait, 1, most // 2) for wait in (0, later)],
        [_drifting(problem, changes, apart, 0, 2, most)],
    ]
    return [found for runs in sets if (found := [run for run in runs if run is not None])]


def _drifting(
    problem: Problem,
    changes: Sequence[tuple[str, bool]],
    apart: int,
    wait: int,
    turns: int,
    most: int,
) -> tuple[Run, list[int]] | None:
    """Return a run in which `changes` come `apart` and `wait` after the supply and after one
    another, and a grid, until the loads have changed `turns` times by themselves: those that do so
    within `most` steps."""
    step = gcd(*problem.times)
    first = {item.name: bool(item.steady) for item in problem.inputs} | {"supply": True}
    wanted = [
        (0, first),
        *(((apart + wait) * i, {name: level}) for i, (name, level) in enumerate(changes, 1)),
    ]
    run = legal(problem, wanted, most * step)
    if run is None:
        return None
    times: dict[str, list[int]] = {}
    points = build_scenario(problem, run[0], (), run[1], 0, 0).points
    for before, point in pairwise(points):
        for load, old, new in zip(problem.requirements, before.loads, point.loads, strict=True):
            if old != new and before.inputs == point.inputs:
                times.setdefault(load.load, []).append(point.time)
    last = [found[turns - 1] for found in times.values() if len(found) >= turns]
    if not last:
        return None
    end = max(last) + step // 2
    moments = tuple(moment for moment in run[0] if moment.time <= end)
    begun = {int(moment.time) % step: int(moment.time) for moment in reversed(moments)}
    return (moments, end), [
        time for start in begun.values() for time in range(start, end + 1, step)
    ]


def _walk(free: Sequence[OutsideInput], seed: int) -> tuple[list[tuple[int, dict[str, bool]]], int]:
    """Return a walk over the vectors of the inputs in which each is reached, by jumps too."""
    names = [item.name for item in free]
    vectors = [
        dict(zip(names, v, strict=True)) for v in product((False, True), repeat=min(len(names), 10))
    ]
    for vector in vectors:
        vector.update({n: False for n in names if n not in vector})
    rng = random.Random(seed)
    if len(vectors) > STEADY_WALK:
        vectors = [
            dict.fromkeys(names, False),
            *({n: n == one for n in names} for one in names),
            dict.fromkeys(names, True),
            *({n: n != one for n in names} for one in names),
            *rng.sample(vectors, STEADY_WALK // 2),
        ]
    else:
        vectors = vectors + list(reversed(vectors))[:: 3 if len(vectors) > 8 else 1]
    steps = [
        (1000 * i, {"supply": True, **vector} if i == 0 else vector)
        for i, vector in enumerate(vectors)
    ]
    return steps, 1000 * len(steps)


def _timed_runs(
    free: Sequence[OutsideInput], times: Sequence[int]
) -> list[tuple[list[tuple[int, dict[str, bool]]], int]]:
    short, long = times[0], times[-1]
    period = sum(times) if len(times) <= 2 else long + times[-2]
    names = [item.name for item in free]
    on = dict.fromkeys(names, True)
    off = dict.fromkeys(names, False)
    runs = [
        ([(0, {"supply": True, **on})], 2 * period + short),
        ([(0, {"supply": True, **off})], period + short),
    ]
    half, gap = short // 2, (short * 6) // 5
    middle = gap + short + (min(long, 3 * short) // 2)
    for name in (*names, "supply"):
        for others in (on, off) if len(names) > 1 and name != "supply" else (on,):
            moments = [
                (0, {"supply": True, **others, name: True}),
                (half, {name: False}),
                (gap, {name: True}),
                (middle, {name: False}),
                (middle + (short * 3) // 10, {name: True}),
            ]
            runs.append((moments, middle + period + short))
    for name in names:
        moments = [
            (0, {"supply": True, **on, name: False}),
            (half, {name: True}),
            (half + short, {name: False}),
            (half + short + long, {name: True}),
        ]
        runs.append((moments, half + short + 2 * long))
    return runs
