"""Parts that keep their position without power: where each stands is not known beforehand.

A test, a trial and a check of a block count from the position of rest. These are the ways there.
"""

from __future__ import annotations

from collections import deque

from synth.handover.job import Job
from synth.handover.words import duration, say_move
from synth.modes import Change, Mode, ModeGraph
from synth.parts.behaviour import REMANENT
from synth.wording import listed


def at_rest(job: Job, mode: Mode) -> bool:
    """Return whether the supply is on in a mode, and no other input that may move."""
    steady = {item.name: item.steady for item in job.problem.inputs}
    return mode.powered and not any(
        level and steady.get(name) is None for name, level in mode.levels if name != "supply"
    )


def first_at_rest(job: Job) -> list[tuple[ModeGraph, Mode]]:
    """Return for each circuit the mode that power comes up in with all inputs at rest, and every
    part that keeps its position at rest too."""
    found = []
    for graph in job.facts.graphs:
        first = [number for number in graph.first if at_rest(job, graph.modes[number])]
        if first:
            found.append((graph, graph.modes[first[0]]))
    return found


def remanent(job: Job) -> list[str]:
    """Return the parts that keep their position without power."""
    return [part.name for part in job.design.parts if part.type in REMANENT]


def kept_loads(job: Job) -> list[str]:
    """Return the loads that parts bear on which keep their position without power."""
    found = {load for name in remanent(job) for load in job.serves[name]}
    return [r.load for r in job.problem.requirements if r.load in found]


def ways_to_rest(job: Job) -> tuple[str, ...]:
    """Return how to bring what keeps its position to rest, a sentence for each state in which the
    circuit may be found when the supply comes on with all inputs at rest; to be gone through in
    order."""
    lines: list[str] = []
    keeping = {*remanent(job)}
    for graph, rest in first_at_rest(job):
        # What is moved for one circuit must not move another out of its place.
        shared = {
            name
            for other in job.facts.graphs
            if other is not graph and keeping & {*other.parts}
            for name in other.inputs
        }
        ways: dict[str, set[str]] = {}
        found = _found_at_rest(job, graph, rest)
        # Where more shows, first: what is at rest then does not show any more.
        for mode in sorted(found, key=lambda m: -len({*m.on} ^ {*rest.on})):
            way = _way(job, graph, mode, rest, shared)
            does = "; ".join(_said(job, graph, change) for change in way or ())
            ways.setdefault(_shows(job, mode, rest), set()).add(does)
        for asks, ends in ways.items():
            does = ends.pop() if len(ends) == 1 else ""
            lines.append(f"{asks}: {does or 'bring it back by its inputs (step chart, item 9)'}.")
    return tuple(dict.fromkeys(lines))


def _shows(job: Job, mode: Mode, rest: Mode) -> str:
    """Return how a mode is told from the one at rest, as the beginning of a sentence."""
    on = [load for load in mode.on if load not in rest.on]
    off = [load for load in rest.on if load not in mode.on]
    seen = " and ".join(
        f"{listed(loads)} {'is' if len(loads) == 1 else 'are'} {state}"
        for loads, state in ((on, "ON"), (off, "off"))
        if loads
    )
    if seen:
        return f"If {seen}"
    standing = [
        job.designations[name]
        for name in remanent(job)
        if (name in mode.operated) != (name in rest.operated)
    ]
    return f"If {listed(standing)} stands otherwise (only its own contact shows it)"


def _found_at_rest(job: Job, graph: ModeGraph, rest: Mode) -> list[Mode]:
    """Return the modes other than `rest` in which a circuit may be found as the supply comes on
    with all inputs at rest."""
    returns = [c for c in graph.changes if c.input == "supply" and c.level]
    found = {change.end for change in returns}
    if not returns:
        # The goals say that the supply never fails, so no run was followed in which it returns;
        # before the first time that it comes on, a part may stand as any run leaves it.
        kept = {*remanent(job)}
        standing = kept & {*rest.operated}
        found = {
            mode.number
            for mode in graph.modes
            if not mode.running and kept & {*mode.operated} != standing
        }
    return [m for m in graph.modes if m.number in found - {rest.number} and at_rest(job, m)]


def before_the_first_step(job: Job, each: str = "") -> tuple[str, ...]:
    """Return what to do before any test or check where parts keep their position, or before `each`
    trial, since the one before may have left them elsewhere; nothing where none does, or none can
    be found elsewhere than at rest."""
    ways = ways_to_rest(job)
    if not ways:
        return ()
    names = listed(job.label(name) for name in remanent(job))
    again = (
        f"Before each {each}, for the one before may have left it elsewhere: switch the supply on, "
        "every input at rest."
        if each
        else "Switch the supply on once, every input at rest."
    )
    return (
        f"{names}: new, moved or after a cut, such a part stands as it was left, and every step "
        f"here counts from its position of rest. {again} "
        f"{' '.join(ways)} Then switch the supply off and begin. If it cannot be brought to rest "
        "so, the fault lies on that way: measure there first, from the input to what it works on "
        f"{names}, and do not change a part for its contact alone.",
    )


def _way(
    job: Job, graph: ModeGraph, start: Mode, rest: Mode, shared: set[str]
) -> list[Change] | None:
    """Return the shortest way with the supply on, by what a person can aim at, to where all that
    keeps its position stands as in `rest`, without moving inputs that are `shared`."""
    kept = {*remanent(job)}
    came: dict[int, Change | None] = {start.number: None}
    waiting = deque([start.number])
    while waiting:
        here = waiting.popleft()
        mode = graph.modes[here]
        if at_rest(job, mode) and kept & {*mode.operated} == kept & {*rest.operated}:
            break
        for change in graph.changes:
            end = graph.modes[change.end]
            if change.start != here or change.end in came or change.input in shared:
                continue
            if end.powered and end.aimed:
                came[change.end] = change
                waiting.append(change.end)
    else:
        return None
    way: list[Change] = []
    last = came[here]
    while last is not None:
        way.insert(0, last)
        last = came[last.start]
    return way


def _said(job: Job, graph: ModeGraph, change: Change) -> str:
    if change.input:
        return say_move(job, change.input, change.level)
    stays = graph.modes[change.start].stays
    return f"wait {duration(stays)}" if stays else "wait until its time is up"
