"""What has to be explored together: each load with all that influences it, and nothing else.

A load's *cone* is every part upstream of it, through power and through controls, with the inputs
those parts and the load's required signal follow. Parts outside cannot change what it does, so
each cone is explored by itself: the cost is a sum and not a product. Where edges must be held, a
part that looks for edges waits for *all* other parts; leaving some out merely makes it wait
fewer steps, which changes no settled state. Parts that must be judged together (two loads
never on together, a peak) are explored in a cone of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

from synth.check.circuit import input_of, upstream
from synth.design import Design
from synth.parts.behaviour import CONTROLLED, SENSING, PartType
from synth.problem import Apart, Problem, Requirement
from synth.signals import SignalMachine, inputs_of, loads_of


@dataclass(frozen=True)
class Cone:
    """One thing to explore: parts kept, inputs that matter, and what is judged there."""

    parts: frozenset[str]
    inputs: tuple[str, ...]
    loads: tuple[str, ...]
    """Loads whose goals, and blinking, are judged."""
    machine: SignalMachine
    apart: tuple[Apart, ...] = ()
    peak: bool = False


def cones(design: Design, problem: Problem) -> tuple[Cone, ...]:
    """Return the cones that together cover the design, smallest first; a peak has its own."""
    by_load = {r.load: r for r in problem.requirements}
    kinds = {p.name: p.type for p in design.parts}
    found: list[Cone] = []
    covered: set[str] = set()
    # A required signal without a memory can be judged beside any other at no cost in states.
    for load in [r.load for r in problem.requirements if r.load in kinds]:
        cone = cone_of_load(design, problem, load)
        covered |= cone.parts
        found.append(cone)
    for part in design.parts:
        if part.type in CONTROLLED and part.name not in covered:
            parts = upstream(design, [part.name])
            found.append(_cone(design, problem, parts, (), ()))
    found.extend(cone_of_pair(design, problem, apart) for apart in problem.apart)
    merged: list[Cone] = []
    for cone in sorted(found, key=lambda c: (-_weight(design, c), not c.loads)):
        for i, other in enumerate(merged):
            if _fits(design, cone, other):
                merged[i] = _joined(other, cone, problem, by_load)
                break
        else:
            merged.append(cone)
    return tuple(sorted(merged, key=lambda c: _weight(design, c)))


def cone_of_load(design: Design, problem: Problem, load: str) -> Cone:
    """Return the cone of one load of `problem`, in which its goals are judged."""
    by_load = {r.load: r for r in problem.requirements}
    needed = _requirements(by_load, problem, (load,))
    return _cone(design, problem, upstream(design, (load,)), (load,), needed)


def cone_of_pair(design: Design, problem: Problem, apart: Apart) -> Cone:
    """Return the cone of two loads that must never be on together."""
    names = {part.name for part in design.parts}
    pair = [name for name in (apart.first, apart.second) if name in names]
    return _cone(design, problem, upstream(design, pair), (), (), apart=(apart,))


def whole(design: Design, problem: Problem) -> Cone:
    """Return the whole design as one cone in which the units in use are judged."""
    return _cone(design, problem, frozenset(p.name for p in design.parts), (), (), peak=True)


def shared(
    design: Design, problem: Problem, apart: tuple[Cone, ...]
) -> tuple[tuple[Cone, tuple[int, ...]], ...]:
    """Return a cone for each group of cones that share an input, relay or timer, with their places
    in `apart`. The supply, and parts that only split its power, are shared by all: they count not.
    """
    follows = {p.name: input_of(p) for p in design.parts if p.type in SENSING}
    groups: list[tuple[list[int], set[str]]] = []
    for place, cone in enumerate(apart):
        bears = {f"input {name}" for name in cone.inputs if name != "supply"}
        bears |= {f"input {follows[name]}" for name in cone.parts if name in follows}
        bears |= _controlled(design, cone)
        places = [place]
        for group in [g for g in groups if g[1] & bears]:
            groups.remove(group)
            places, bears = group[0] + places, group[1] | bears
        groups.append((places, bears))
    by_load = {r.load: r for r in problem.requirements}
    found = []
    for places, _ in sorted(groups, key=lambda group: min(group[0])):
        if len(places) > 1:
            members = [apart[place] for place in places]
            loads = tuple(
                r.load for r in problem.requirements if any(r.load in m.loads for m in members)
            )
            parts = frozenset[str]().union(*(m.parts for m in members))
            pairs = tuple(dict.fromkeys(pair for m in members for pair in m.apart))
            needed = _requirements(by_load, problem, loads)
            found.append(
                (_cone(design, problem, parts, loads, needed, pairs), tuple(sorted(places)))
            )
    return tuple(found)


def consumers_apart(design: Design, problem: Problem) -> tuple[Cone, ...]:
    """Return the consumers (loads and controlled parts) in groups that share nothing but supply.

    The most units that each group ever uses add up to a bound on what all use at one moment.
    """
    groups: list[tuple[set[str], set[str]]] = []
    follows = {p.name: input_of(p) for p in design.parts if p.type in SENSING}
    reacting = {p.name for p in design.parts if p.type in CONTROLLED}
    for part in design.parts:
        if part.type is not PartType.LOAD and part.type not in CONTROLLED:
            continue
        parts = set(upstream(design, [part.name]))
        shared = {name for name in parts if name in reacting}
        shared |= {f"input {follows[name]}" for name in parts if name in follows}
        for group in [g for g in groups if g[1] & shared]:
            groups.remove(group)
            parts |= group[0]
            shared |= group[1]
        groups.append((parts, shared))
    return tuple(_cone(design, problem, frozenset(parts), (), (), peak=True) for parts, _ in groups)


def _weight(design: Design, cone: Cone) -> int:
    return len(_controlled(design, cone)) + len(cone.machine.nodes) + len(cone.inputs)


def _controlled(design: Design, cone: Cone) -> frozenset[str]:
    return frozenset(p.name for p in design.parts if p.type in CONTROLLED and p.name in cone.parts)


def _fits(design: Design, cone: Cone, other: Cone) -> bool:
    """Return whether `cone` can be judged within `other` without adding anything to its states."""
    return (
        _controlled(design, cone) <= _controlled(design, other)
        and set(cone.inputs) <= set(other.inputs)
        and set(cone.machine.nodes) <= set(other.machine.nodes)
    )


def _joined(other: Cone, cone: Cone, problem: Problem, by_load: dict[str, Requirement]) -> Cone:
    loads = tuple(r.load for r in problem.requirements if r.load in {*other.loads, *cone.loads})
    needed = _requirements(by_load, problem, loads)
    return Cone(
        other.parts | cone.parts,
        other.inputs,
        loads,
        SignalMachine(tuple((r.load, r.signal) for r in needed)),
        other.apart + cone.apart,
        other.peak or cone.peak,
    )


def _requirements(
    by_load: dict[str, Requirement], problem: Problem, loads: tuple[str, ...]
) -> tuple[Requirement, ...]:
    """Return the requirements of `loads` and of the loads that their signals look back at."""
    needed: set[str] = set()
    waiting = list(loads)
    while waiting:
        load = waiting.pop()
        if load not in needed and load in by_load:
            needed.add(load)
            waiting.extend(sorted(loads_of(by_load[load].signal)))
    return tuple(r for r in problem.requirements if r.load in needed)


def _cone(
    design: Design,
    problem: Problem,
    parts: frozenset[str],
    loads: tuple[str, ...],
    needed: tuple[Requirement, ...],
    apart: tuple[Apart, ...] = (),
    peak: bool = False,
) -> Cone:
    names = {"supply"}
    names.update(input_of(p) for p in design.parts if p.type in SENSING and p.name in parts)
    for requirement in needed:
        names |= inputs_of(requirement.signal)
    # An input that excludes another can force it only through what is known of its times.
    timed = {i.name for i in problem.inputs if _known(i)}
    growing = True
    while growing:
        growing = False
        for group in problem.coupled:
            more = {n for n in group if n in timed} - names
            if more and names & set(group):
                names |= more
                growing = True
    order = ["supply", *(i.name for i in problem.inputs if i.name != "supply")]
    inputs = tuple(name for name in order if name in names)
    machine = SignalMachine(tuple((r.load, r.signal) for r in needed))
    return Cone(parts, inputs, loads, machine, apart, peak)


def _known(item: object) -> bool:
    return any(
        getattr(item, key) is not None
        for key in ("least_on", "most_on", "least_off", "most_off", "steady")
    )
