"""From a design that is wired to one for other goals, with little rewiring."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from synth.changes import Alteration, Way, changes_of, free_name, named_after
from synth.check.structure import structure
from synth.design import Design, PartInUse, Terminal, Wire
from synth.errors import DesignError, Undecided
from synth.parts.behaviour import SPLITTING, PartType
from synth.pipeline.as_wired import as_wired, following_what_is_wired, without_idle
from synth.pipeline.planning import _tools, check_design, holds, plan
from synth.problem import Objective, Problem
from synth.result import Fault, Outcome, Status
from synth.signals import loads_of

if TYPE_CHECKING:
    from synth.memory import Memory

ALONE_SHARE = 0.25
"""Part of the time that may go into a circuit for the new loads alone."""
PLAN_SHARE = 0.7
"""Part of the time left that may go into the cheapest design, whatever is wired already."""
SMALL_SHARE = 0.3
SMALL_SECONDS = 8.0
"""Part of the time, and seconds at most, for small changes of what is wired."""
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

    First it is seen how little will do: settings, loads and what serves them alone taken off, a
    part put in or left out. A circuit for the new loads alone is put beside that. The cheapest
    design is planned as always, and named after the old one where parts are the same; then designs
    are sought that keep all parts there are, in which ever fewer connections change. Raises
    DesignError where what is wired is no whole circuit, or has names that are taken.
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
    loads = {r.load for r in problem.requirements}
    for part in old.parts:
        if part.name in loads and part.type is not PartType.LOAD:
            raise DesignError(
                f"a {part.type.value} of what is wired is called '{part.name}', as a load is",
                hint="give it another name in the design file",
            )
    bare, had = unshared(old), {part.name for part in old.parts}
    limit = min(CHECK_SECONDS, seconds)
    if holds(old, problem, limit):
        way = _checked(old, old, problem, limit)
        if way is not None:
            held = Outcome(Status.BEST_FOUND, old, way.price, way.supply, verdict=way.verdict)
            return Alteration(old, len(bare.feeds), True, (way,), held)
    found: list[Way] = []

    def keep(new: Design) -> Way | None:
        way = _checked(old, new, problem, CHECK_SECONDS)
        if way is not None:
            found.append(way)
        return way

    there = {part.name for part in old.parts if part.type is PartType.LOAD}
    bases = [old]
    if there & loads:
        if report is not None:
            report("small changes", None, None)
        limit = min(SMALL_SECONDS, SMALL_SHARE * seconds)
        bases = as_wired(old, problem, limit, stopped) or bases
    if loads <= there:
        for base in bases:
            keep(base)
    if there & loads and not loads <= there:
        share = ALONE_SHARE * seconds
        for grafted in following_what_is_wired(
            bases, problem, lambda asked: plan(asked, report, share, seed, stopped, fast, memory)
        ):
            keep(grafted)
    beside = _new_alone(old, problem)
    if beside is not None:
        asked, behind = beside
        alone = plan(asked, report, ALONE_SHARE * seconds, seed, stopped, fast, memory)
        for base in bases if alone.design is not None else ():
            assert alone.design is not None
            still = any(part.name == behind.part for part in base.parts)
            whole = _grafted(base, alone.design, behind if still else _line(base), problem)
            if whole is not None:
                keep(whole)
    # No connection changes so; that may be had for less.
    dearest = min((way.price for way in found), default=None)
    left = max(1.0, began + seconds - time.monotonic())
    outcome = plan(problem, report, PLAN_SHARE * left, seed, stopped, fast, memory)
    # What is proven is what counts first, and counts what is in stock.
    proven = (
        outcome.status is Status.PROVEN
        and problem.objectives[0] is Objective.PRICE
        and not problem.limits.stock
    )
    fewest = len(bare.feeds) + 1
    if outcome.design is not None:
        taken = {part.name for part in old.parts}
        anew = keep(named_after(old, outcome.design, taken, old.highest))
        fewest = anew.connections if anew is not None else fewest
    end = min(began + seconds, time.monotonic() + KEEP_SECONDS)
    progress = Progress(deadline=end)
    if stopped is not None:
        progress.asked_to_stop = stopped
    tools = _tools(problem, {"check": 0.0, "share": 0.0}, end - time.monotonic(), fast, None)
    if outcome.status is not Status.IMPOSSIBLE:
        for kept in keeping(problem, bare, tools, progress, seed, fewest, dearest):
            if report is not None:
                report(f"{kept.changed} connections change", None, None)
            named = _renamed(kept.working.design, kept.same, old)
            way = keep(named)
            plainer = without_idle(named, problem, end) if way is not None else None
            if way is None or plainer is None:
                continue
            stay = {part.name for part in plainer.parts}
            if any(part.name not in had | stay for part in named.parts):
                found.remove(way)  # it would have parts bought that do nothing
            keep(plainer)
    ways = [replace(way, proven=proven and way.price == outcome.price) for way in _front(found)]
    return Alteration(old, len(bare.feeds), False, tuple(ways), outcome)


def _new_alone(old: Design, problem: Problem) -> tuple[Problem, Terminal] | None:
    """Return what is asked of the loads that are not there yet, and the output in `old` behind
    which it is asked: that of the supply, or of a switch next to it that is over all of them. None
    where there are none, or they follow others."""
    from synth.search.apart import only, without_common_switch

    there = {part.name for part in old.parts}
    new = {r.load for r in problem.requirements} - there
    follow = [loads_of(r.signal) for r in problem.requirements if r.load in new]
    if not new or any(loads - new for loads in follow):
        return None
    out, asked = _line(old), only(problem, new)
    lever, inner = without_common_switch(asked)
    for part in old.parts:
        if lever is not None and part.type is PartType.SWITCH and part.setting("input") == lever[1]:
            at = Terminal(part.name, "in")
            if part.setting("contact") == "make" and any(
                wire.source == out and wire.target == at for wire in old.wires
            ):
                return inner, Terminal(part.name, "out")
    return asked, out


def _line(design: Design) -> Terminal:
    """Return the output of the supply."""
    return Terminal(next(p.name for p in design.parts if p.type is PartType.SUPPLY), "out")


def _grafted(old: Design, alone: Design, behind: Terminal, problem: Problem) -> Design | None:
    """Return `old` with `alone` beside it, on a tap-off right behind an output at the supply:
    whatever `old` gets stays as it is. None where the kit has no tap-off for that."""
    most = dict(problem.limits.most)
    taps = [
        line
        for line in problem.kit.of_type(PartType.TAP_OFF)
        if most.get(line.name) != 0 and (line.largest is None or line.largest >= alone.supply)
    ]
    if not taps:
        return None
    tap = min(taps, key=lambda line: line.price)
    taken = {part.name for part in old.parts}
    at = free_name(f"{tap.name} 1", taken | {part.name for part in alone.parts})
    taken.add(at)
    names = {part.name: free_name(part.name, taken) for part in _beside_the_supply(alone)}
    supply = next(part for part in old.parts if part.type is PartType.SUPPLY)
    parts = [
        replace(part, settings=(("units", old.supply + alone.supply),)) if part is supply else part
        for part in old.parts
    ]
    parts.append(PartInUse(at, PartType.TAP_OFF, tap.name, (("units", alone.supply),)))
    parts += [replace(part, name=names[part.name]) for part in _beside_the_supply(alone)]
    whole = old.supply + alone.supply
    out = Terminal(supply.name, "out")
    wires = [
        replace(wire, source=Terminal(at, "rest"))
        if wire.source == behind
        else replace(wire, units=whole)
        if wire.source == out
        else wire
        for wire in old.wires
    ]
    first = old.highest + 1
    wires.append(Wire(first, behind, Terminal(at, "in"), whole))
    for number, wire in enumerate(alone.wires, first + 1):
        source = Terminal(at, "branch")
        if wire.source.part in names:
            source = Terminal(names[wire.source.part], wire.source.terminal)
        target = Terminal(names[wire.target.part], wire.target.terminal)
        wires.append(Wire(number, source, target, wire.units))
    return replace(old, parts=tuple(parts), wires=tuple(wires))


def _front(ways: list[Way]) -> tuple[Way, ...]:
    """Return the ways that no other beats at once in connections, in what is disturbed of what is
    wired, in what is to be bought, and in units."""
    front: list[Way] = []
    ordered = sorted(
        ways, key=lambda w: (w.connections, w.changes.disturbed, w.to_buy, w.price, w.supply)
    )
    for way in ordered:
        if all(
            way.to_buy < other.to_buy
            or way.changes.disturbed < other.changes.disturbed
            or way.supply < other.supply
            for other in front
        ):
            front.append(way)
    return tuple(front)


def _checked(old: Design, new: Design, problem: Problem, seconds: float) -> Way | None:
    """Return the way to `new`, which holds but for its new names; None where there was no time to
    check that."""
    try:
        verdict = check_design(new, problem, seconds)
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
    )


def _connections(old: Design, new: Design) -> int:
    """Return how many inputs of `old` are fed by other outputs in `new`, or not there any more."""
    from synth.explore import unshared

    fed = {end: source for source, end in unshared(new).feeds}
    return sum(fed.get(end) != source for source, end in unshared(old).feeds)


def _beside_the_supply(design: Design) -> list[PartInUse]:
    return [part for part in design.parts if part.type is not PartType.SUPPLY]


def _renamed(new: Design, same: Mapping[str, str], old: Design) -> Design:
    """Return `new` with the names of `old`: `same` names the old one of some of its parts, and
    splitting parts are matched by what they feed."""
    taken = {part.name for part in old.parts}
    supply = next(part.name for part in old.parts if part.type is PartType.SUPPLY)
    names = {part.name: supply for part in new.parts if part.type is PartType.SUPPLY}
    for part in _beside_the_supply(new):
        names[part.name] = same[part.name] if part.name in same else free_name(part.name, taken)

    def of(end: Terminal) -> Terminal:
        return Terminal(names[end.part], end.terminal)

    wires = tuple(replace(w, source=of(w.source), target=of(w.target)) for w in new.wires)
    parts = tuple(replace(part, name=names[part.name]) for part in new.parts)
    named = replace(new, parts=parts, wires=wires)
    taken = {part.name for part in old.parts} | {
        part.name for part in named.parts if part.type not in SPLITTING
    }
    return named_after(old, named, taken, old.highest, only_splitting=True)
