"""From a design that is wired to one for other goals, with little rewiring."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from synth.changes import Alteration, Way, changes_of, named_after
from synth.check import check
from synth.check.structure import structure
from synth.design import Design, Terminal
from synth.errors import DesignError, Undecided
from synth.parts.behaviour import SPLITTING, PartType
from synth.pipeline.planning import _tools, holds, plan
from synth.problem import Objective, Problem
from synth.result import Fault, Outcome, Status

if TYPE_CHECKING:
    from synth.memory import Memory

PLAN_SHARE = 0.6
"""Part of the time that may go into the cheapest design, whatever is wired already."""
KEEP_SECONDS = 10.0
"""Seconds at most for designs that keep what is wired: the dearer they are, the less they are of
use."""
CHECK_SECONDS = 60.0
"""Seconds in which the old design is checked against what is asked now."""


def change(
    old: Design,
    problem: Problem,
    seconds: float = 60.0,
    seed: int = 1,
    fast: bool = False,
    memory: Memory | None = None,
    report: Callable[[str, int | None, int | None], None] | None = None,
    stopped: Callable[[], bool] | None = None,
) -> Alteration:
    """Return ways to turn `old` into a design for `problem`, each checked against all its goals.

    The cheapest design is planned as always, and named after the old one where parts are the same;
    then designs are sought that keep all parts there are, in which ever fewer connections change.
    """
    from synth.explore import unshared
    from synth.search import Progress
    from synth.search.keeping import keeping

    began = time.monotonic()
    broken = [d for d in structure(old, problem.kit) if d.fault is Fault.STRUCTURE]
    if broken:
        raise DesignError(
            f"what is wired is no whole circuit: {broken[0].message}",
            hint="synth check tells all that is wrong with it",
        )
    bare = unshared(old)
    limit = min(CHECK_SECONDS, seconds)
    if holds(old, problem, limit):
        way = _checked(old, old, problem, False, limit)
        if way is not None:
            held = Outcome(Status.BEST_FOUND, old, way.price, way.supply, verdict=way.verdict)
            return Alteration(old, len(bare.feeds), True, (way,), held)
    outcome = plan(problem, report, PLAN_SHARE * seconds, seed, stopped, fast, memory)
    found: list[Way] = []

    def keep(new: Design, proven: bool) -> None:
        way = _checked(old, new, problem, proven, CHECK_SECONDS)
        if way is not None:
            found.append(way)

    # What is proven is what counts first, and counts what is in stock.
    proven = (
        outcome.status is Status.PROVEN
        and problem.objectives[0] is Objective.PRICE
        and not problem.limits.stock
    )
    if outcome.design is not None:
        taken = {part.name for part in old.parts}
        keep(named_after(old, outcome.design, taken, _highest(old)), proven)
    fewest = min((way.connections for way in found), default=len(bare.feeds) + 1)
    end = min(began + seconds, time.monotonic() + KEEP_SECONDS)
    progress = Progress(deadline=end)
    if stopped is not None:
        progress.asked_to_stop = stopped
    tools = _tools(problem, {"check": 0.0, "share": 0.0}, end - time.monotonic(), fast, None)
    if outcome.status is not Status.IMPOSSIBLE:
        for kept in keeping(problem, bare, tools, progress, seed, fewest):
            if report is not None:
                report(f"{kept.changed} connections change", None, None)
            named = _renamed(kept.working.design, kept.same, old)
            keep(named, proven and named.price(problem.kit) == outcome.price)
    return Alteration(old, len(bare.feeds), False, _front(found), outcome)


def _front(ways: list[Way]) -> tuple[Way, ...]:
    """Return the ways that no other beats in connections and in what is to be bought at once."""
    front: list[Way] = []
    for way in sorted(ways, key=lambda w: (w.connections, w.to_buy, w.price, w.supply)):
        if not front or way.to_buy < front[-1].to_buy:
            front.append(way)
    return tuple(front)


def _checked(
    old: Design, new: Design, problem: Problem, proven: bool, seconds: float
) -> Way | None:
    """Return the way to `new`, which holds but for its new names; None where there was no time to
    check that."""
    try:
        verdict = check(new, problem, deadline=time.monotonic() + seconds)
    except Undecided:
        return None
    if not verdict.holds:
        return None
    changes = changes_of(old, new, problem.kit)
    prices = {line.name: line.price for line in problem.kit.parts}
    new_ones = Counter(part.part for part in changes.added)
    there = dict(problem.limits.stock)
    return Way(
        new,
        changes,
        _connections(old, new),
        sum(prices[name] * max(0, n - there.get(name, 0)) for name, n in new_ones.items()),
        new.price(problem.kit),
        new.supply,
        verdict,
        proven,
    )


def _connections(old: Design, new: Design) -> int:
    """Return how many inputs of `old` are fed by other outputs in `new`, or not there any more."""
    from synth.explore import unshared

    fed = {end: source for source, end in unshared(new).feeds}
    return sum(fed.get(end) != source for source, end in unshared(old).feeds)


def _highest(old: Design) -> int:
    return max((wire.number for wire in old.wires), default=0)


def _renamed(new: Design, same: Mapping[str, str], old: Design) -> Design:
    """Return `new` with the names of `old`: `same` names the old one of some of its parts, and
    splitting parts are matched by what they feed."""
    taken = {part.name for part in old.parts}
    supply = next(part.name for part in old.parts if part.type is PartType.SUPPLY)
    names: dict[str, str] = {"supply": supply}
    counts: Counter[str] = Counter()
    for part in new.parts:
        if part.name in same or part.name in names:
            names.setdefault(part.name, same.get(part.name, part.name))
            continue
        name, stem = part.name, part.name.rstrip("0123456789").rstrip()
        while name in taken:
            counts[stem] += 1
            name = f"{stem} {counts[stem]}"
        taken.add(name)
        names[part.name] = name

    def of(end: Terminal) -> Terminal:
        return Terminal(names[end.part], end.terminal)

    wires = tuple(replace(w, source=of(w.source), target=of(w.target)) for w in new.wires)
    parts = tuple(replace(part, name=names[part.name]) for part in new.parts)
    named = replace(new, parts=parts, wires=wires)
    taken = {part.name for part in old.parts} | {
        part.name for part in named.parts if part.type not in SPLITTING
    }
    return named_after(old, named, taken, _highest(old), only_splitting=True)
