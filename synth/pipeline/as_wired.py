"""How little may be done to what is wired for it to do what is asked now."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from synth.changes import changes_of, free_name
from synth.check import amounts, check, first_failure, structure
from synth.design import Design, Skeleton, Wire
from synth.errors import DesignError, Undecided
from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.result import Defect, Fault, Outcome

MOST_STATES = 20_000
"""States that may go into the check of each small change."""
MOST_BASES = 3
"""So many ways are enough where new loads are to be put beside each."""


def as_wired(
    old: Design,
    problem: Problem,
    seconds: float,
    stopped: Callable[[], bool] | None = None,
) -> list[Design]:
    """Return designs with little done to `old` that hold for all that is asked of the loads in it:
    loads that are not wanted any more taken off, others with the units that they need now, some
    settings or a part or two changed; the least first, none where that is not enough.

    The splitting parts stay where they are; where there is too little, they are set anew.
    """
    from synth.explore import remedies, small_changes, trimmed
    from synth.search.apart import only

    deadline = time.monotonic() + seconds
    needs = {r.load: r.needs for r in problem.requirements}
    there = {part.name for part in old.parts if part.type is PartType.LOAD} & needs.keys()
    asked = problem if there == needs.keys() else only(problem, there)
    kit = problem.kit

    def fit(design: Design) -> Design:
        return fitted(trimmed(design, {load: needs[load] for load in there}), asked)

    def judge(changed: Design, loads: Sequence[str]) -> tuple[Defect, ...] | None:
        try:
            failing = (
                first_failure(changed, asked, load, deadline=deadline, most_states=MOST_STATES)
                for load in loads
            )
            known = next((defect for defect in failing if defect is not None), None)
            if known is not None:
                return (known,)
            return check(changed, asked, deadline=deadline, most_states=MOST_STATES).defects
        except (DesignError, Undecided):
            return None

    def over() -> bool:
        return time.monotonic() >= deadline or (stopped is not None and stopped())

    base = fit(old)
    try:
        verdict = check(base, asked, deadline=deadline)
    except Undecided:
        return []
    if verdict.holds:
        return [base]
    found = remedies(
        base,
        verdict.defects,
        asked,
        lambda changed: structure(changed, kit, asked),
        judge,
        over,
        small_changes,
        fit,
    ).found
    ways = [remedy.design for remedy in found if remedy.design is not None]
    ways.sort(key=lambda new: (new.price(kit), changes_of(old, new, kit).disturbed, new.supply))
    return ways[:MOST_BASES]


def following_what_is_wired(
    bases: Sequence[Design], problem: Problem, plan: Callable[[Problem], Outcome]
) -> Iterator[Design]:
    """Yield designs in which loads that are not there yet follow those that are in `bases` (the
    same loads in each): by taps on what feeds these, and relays; none where they follow none.
    `plan` gives their circuits."""
    from synth.search.apart import only
    from synth.search.relayed import following

    there = {part.name for part in bases[0].parts if part.type is PartType.LOAD}
    new = {r.load for r in problem.requirements} - there
    asked = following(
        only(problem, new), {r.load: r.signal for r in problem.requirements if r.load in there}
    )
    if asked is None or not problem.kit.offers(PartType.TAP_OFF):
        return
    alone = plan(asked).design
    for base in bases if alone is not None else ():
        assert alone is not None
        yield from _tapped_and_relayed(base, alone, problem, new)


def _tapped_and_relayed(
    base: Design, alone: Design, problem: Problem, new: set[str]
) -> Iterator[Design]:
    """Yield `base` with the parts of `alone`, in which parts sense loads that are in `base`."""
    from synth.explore import tapped, unshared
    from synth.search.relayed import relayed

    supply = next(part for part in base.parts if part.type is PartType.SUPPLY)
    if supply.name != "supply":
        return
    tap = problem.kit.of_type(PartType.TAP_OFF)[0]
    bare, beside = unshared(base), unshared(alone)
    there = {part.name for part in base.parts}
    taken = set(there)
    names = {
        part.name: part.name if part.type is PartType.SUPPLY else free_name(part.name, taken)
        for part in beside.parts
    }
    added = (replace(p, name=names[p.name]) for p in beside.parts if names[p.name] != "supply")
    feeds = (
        (replace(source, part=names[source.part]), replace(target, part=names[target.part]))
        for source, target in beside.feeds
    )
    joined = Skeleton(bare.kit, (*bare.parts, *added), (*bare.feeds, *feeds))
    for wiring in relayed(joined, new, problem.kit, ()):
        if not {*bare.feeds} <= {*wiring.feeds}:
            continue  # what is wired would be wired anew
        parts = tuple(part for part in wiring.parts if part.name not in there)
        design = replace(base, parts=(*base.parts, *parts))
        for source, target in wiring.feeds:
            if target.part not in there:
                number = design.highest + 1
                design = tapped(design, source, Wire(number, source, target), tap)
        yield fitted(design, problem)


def fitted(design: Design, problem: Problem) -> Design:
    """Return the design with what its wires carry; its tap-offs and supply are set anew where some
    input gets too little."""
    from synth.share import refitted

    design = replace(design, wires=tuple(replace(wire, units=None) for wire in design.wires))
    wrong = structure(design, problem.kit, problem)
    if any(defect.fault is Fault.STRUCTURE for defect in wrong):
        return design
    if any(defect.fault is Fault.UNITS for defect in wrong):
        design = refitted(design, problem.kit)
    carried = amounts(design, problem.kit)
    return replace(
        design, wires=tuple(replace(wire, units=carried.get(wire.target)) for wire in design.wires)
    )


def without_idle(design: Design, problem: Problem, deadline: float) -> Design | None:
    """Return the design without the parts that may be left out, as far as time allows; None where
    each is of some use."""
    from synth.explore import left_out

    loads = {r.load: r.needs for r in problem.requirements}
    best: Design | None = None
    again = True
    while again:
        again = False
        for part in (best or design).parts:
            plainer = left_out(best or design, part, loads)
            if plainer is None or time.monotonic() >= deadline:
                continue
            plainer = fitted(plainer, problem)
            try:
                verdict = check(plainer, problem, stop_at_first=True, deadline=deadline)
            except (DesignError, Undecided):
                continue
            if verdict.holds:
                best, again = plainer, True
                break
    return best
