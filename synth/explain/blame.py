"""Which goal wants what a changed design no longer does?

A load's required signal comes of several goals together (its own, a cutoff, 'never while'). The
one to name is found by taking each away: where, without a goal, what the circuit did would have
been right, it is this goal that is broken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from synth.problem import Problem
from synth.trace import Moment


def required(problem: Problem, load: str, moments: Sequence[Moment]) -> bool | None:
    """Return whether `load` must be on right after the last of `moments` (None: no goal asks).

    The moments begin with everything off at time 0; what expires between them expires.
    """
    if all(r.load != load for r in problem.requirements):
        return None
    machine = problem.machine
    levels = {item.name: False for item in problem.inputs} | {"supply": False}
    state, loads = machine.start, dict[str, bool]()
    clocks: dict[int, Fraction] = {}
    last = moments[-1].time
    outside: dict[Fraction, list[tuple[str, bool]]] = {}
    for moment in moments:
        outside.setdefault(moment.time, []).extend(moment.inputs)
    while outside or clocks:
        now = min([*outside, *clocks.values()])
        if now > last:
            break
        levels.update(outside.pop(now, ()))
        due = tuple(slot for slot, when in clocks.items() if when == now)
        state, loads, again = machine.react(state, levels, due)
        clocks = {
            slot: now + limit if slot in again else clocks[slot]
            for slot, value in enumerate(state)
            if (limit := machine.limit(slot, value))
        }
    return loads.get(load)


def asking(goals: Sequence[int], fewer: Mapping[int, Problem], load: str) -> tuple[int, ...]:
    """Return those of `goals` without which nothing would be asked of `load`, else all of them:
    those that want it on at some time, and not merely off."""
    base = [
        goal
        for goal in goals
        if goal not in fewer or all(r.load != load for r in fewer[goal].requirements)
    ]
    return tuple(base or goals)


def at_fault(
    goals: Sequence[int],
    fewer: Mapping[int, Problem],
    load: str,
    moments: Sequence[Moment],
    got: bool,
) -> tuple[int, ...]:
    """Return those of `goals` that want what is missing: `load` is at `got` after `moments`.

    `fewer` holds, for a goal, the problem without it. Goals without which the load would be
    right are named; if there are none, those without which nothing would be asked of it; else
    all of them.
    """
    if len(goals) == 1:
        return tuple(goals)
    exact = []
    for goal in goals:
        wanted = required(fewer[goal], load, moments) if goal in fewer else None
        if wanted == got:
            exact.append(goal)
    return tuple(exact) or asking(goals, fewer, load)
