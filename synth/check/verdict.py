"""The exact check: build, then every reachable state of every cone, then every order of moving."""

from __future__ import annotations

import time as clock
from collections.abc import Callable

from synth.check.cones import cone_of_load, cone_of_pair, cones, consumers_apart, whole
from synth.check.energy import kept_in_words, too_much, worst_day
from synth.check.explore import Budget, Explored, Explorer
from synth.check.notes import (
    handed_over_in_words,
    never_on_in_words,
    sensed_as_one,
)
from synth.check.structure import structure
from synth.check.witness import defect
from synth.days import DayUse
from synth.design import Design
from synth.errors import Undecided
from synth.parts.behaviour import PartType
from synth.problem import Apart, Energy, Peak, Problem, Requirement
from synth.result import Defect, Fault, Verdict


def check(
    design: Design,
    problem: Problem,
    *,
    deadline: float | None = None,
    stop_at_first: bool = False,
    most_states: int = 500_000,
    watch: Callable[[Explorer, bool], None] | None = None,
) -> Verdict:
    """Return whether `design` fulfils `problem`, for every input sequence at any moments.

    `deadline` is a reading of `time.monotonic()` after which the check gives up, `most_states`
    the most states it explores. With `stop_at_first` it returns at the first defect; otherwise
    it goes on to find what else is wrong, for each load its shortest way to go wrong. `watch` is
    given each cone that was explored and is well, with all events at which several parts move,
    and whether other orders of moving lead elsewhere.
    Raises Undecided when time or states run out; it never claims to hold what it did not explore.
    """
    began = clock.monotonic()
    defects = list(structure(design, problem.kit, problem))
    states = 0
    notes: list[str] = []
    day: DayUse | None = None
    never_on: tuple[Requirement, ...] = ()

    def verdict() -> Verdict:
        seconds = clock.monotonic() - began
        never = tuple(requirement.load for requirement in never_on)
        return Verdict(not defects, states, tuple(defects), tuple(notes), seconds, day, never)

    if any(d.fault is Fault.STRUCTURE for d in defects) or (defects and stop_at_first):
        return verdict()
    budget = Budget(deadline, most_states)
    racy: list[str] = []
    dark = {requirement.load for requirement in problem.requirements}
    undecided: Undecided | None = None
    to_explore = list(cones(design, problem))
    if problem.peak is not None:
        most: int | None = None
        if (at_most := units_of_all(design, problem)) <= problem.peak.units:
            most = at_most
        else:
            try:
                # What is spent on this bound is not missing where it decides nothing.
                most, counted = most_units(design, problem, Budget(deadline, most_states // 10))
                states += counted
            except Undecided:
                pass  # the whole is explored instead, and is what decides
        if most is None or most > problem.peak.units:
            to_explore.append(whole(design, problem))
    for cone in to_explore:
        try:
            explorer = Explorer(design, problem, cone, budget)
            if watch is not None:
                explorer.remember()
            explored, together = explore_cone(explorer, stop_at_first)
            if watch is not None and not explored.findings:
                watch(explorer, together is not None)
        except Undecided as reason:
            # Another cone may still show that the design fails; that would be an answer.
            undecided = undecided or reason
            continue
        states += explored.states
        bits = explorer.circuit.load_bits
        dark.difference_update(x for x in cone.loads if explored.ever_on & bits[x])
        if together is not None:
            racy.extend(name for name in together if name not in racy)
        for finding in explored.findings:
            found = defect(explorer, design, problem, finding)
            if not _repeats(found, defects):
                defects.append(found)
            if stop_at_first:
                return verdict()
    if undecided is not None and not defects:
        raise undecided
    if not defects:
        never_on = tuple(r for r in problem.requirements if r.load in dark)
        notes.extend(never_on_in_words(r) for r in never_on)
        notes.extend((*sensed_as_one(design), *handed_over_in_words(design)))
    if racy and not defects:
        notes.append(
            f"the order in which {', '.join(racy)} move can matter for how they come to rest, "
            f"but every goal holds in every order"
        )
    if problem.energy is not None and not defects:
        # Days are those of a design that does all else.
        day = worst_day(design, problem, problem.energy, deadline)
        defects.extend(too_much(day, problem, problem.energy))
        if not defects:
            notes.append(kept_in_words(day, problem, problem.energy))
    return verdict()


def first_failure(
    design: Design,
    problem: Problem,
    of: str | Apart | Peak | Energy,
    *,
    deadline: float | None = None,
    most_states: int = 500_000,
) -> Defect | None:
    """Return the shortest way in which one thing asked of `design` fails, None if it holds.

    `of` is a load that some goal names, two loads never on together, the most units in use, or the
    energy of a day.
    Only what the circuit does is judged, not how it is built: an input without a wire is dead,
    an output may feed several wires, and units are not counted but for a peak; so one can ask
    what is left of a design when something in it is left out. Parts that `of` does not depend on
    are not looked at, also where they never settle.
    Raises Undecided when time or states run out; DesignError for a loop through power inputs.
    """
    if isinstance(of, Energy):
        return next(iter(too_much(worst_day(design, problem, of, deadline), problem, of)), None)
    budget = Budget(deadline, most_states)
    if isinstance(of, Peak):
        if units_of_all(design, problem) <= of.units:
            return None
        try:
            most, _ = most_units(design, problem, Budget(deadline, most_states // 10))
        except Undecided:
            most = None  # the whole is explored instead, and is what decides
        if most is not None and most <= of.units:
            return None
        cone = whole(design, problem)
    elif isinstance(of, Apart):
        cone = cone_of_pair(design, problem, of)
    else:
        cone = cone_of_load(design, problem, of)
    explorer = Explorer(design, problem, cone, budget)
    explored, _ = explore_cone(explorer, True)
    if not explored.findings:
        return None
    return defect(explorer, design, problem, explored.findings[0])


def units_of_all(design: Design, problem: Problem) -> int:
    """Return the units that all loads and control inputs use together: never more are in use."""
    total = 0
    for part in design.parts:
        if part.type is PartType.LOAD:
            needs = part.setting("needs")
            total += needs if isinstance(needs, int) else 1
        else:
            line = problem.kit.index[part.part]
            total += line.units * len(line.shape.controls)
    return total


def most_units(design: Design, problem: Problem, budget: Budget) -> tuple[int | None, int]:
    """Return a bound on the units ever in use at one moment (None: not found), and states."""
    total = states = 0
    for cone in consumers_apart(design, problem):
        explorer = Explorer(design, problem, cone, budget)
        explorer.measuring = True
        explored, _ = explore_cone(explorer, True)
        states += explored.states
        if explored.findings:
            return None, states
        total += explorer.most_units
    return total, states


def explore_cone(explorer: Explorer, first_only: bool) -> tuple[Explored, tuple[str, ...] | None]:
    """Explore a cone all together, then in every order; tell also whose order matters."""
    explored = _with_facts_if_needed(explorer, False, first_only)
    if explored.findings:
        return explored, None
    racy = explorer.several_outcomes()
    if not racy:
        return explored, None
    in_any_order = _with_facts_if_needed(explorer, True, first_only)
    slots: dict[int, None] = {}
    for state, vector, due in racy:
        together = explorer.settled(state, vector, due)
        for other in explorer.others(state, vector, due):
            for i, (a, b) in enumerate(zip(together.state, other.state, strict=True)):
                if a != b:
                    slots[i] = None
    return in_any_order, explorer.circuit.names(sorted(slots))


def _with_facts_if_needed(explorer: Explorer, orders: bool, first_only: bool) -> Explored:
    """Explore with inputs that may change at will; only if that fails, honour what is
    known of when they change.

    Inputs that may do more can only break more, so what holds for them holds.
    """
    explored = explorer.explore(orders, facts=False, first_only=first_only)
    if explored.findings and explorer.world.knows:
        return explorer.explore(orders, facts=True, first_only=first_only)
    return explored


def _repeats(found: Defect, defects: list[Defect]) -> bool:
    return any(found.fault is d.fault and found.message == d.message for d in defects)
