"""The modes of a design: every settled state that can be reached, and what leads where.

One graph for each cone, as the check explores it, but with the inputs' own levels in place of
classes that act alike: a reader who moves a lever wants to find that very lever. Events come one
at a time, one input moved or the times that are up together, for that is what a person can do;
modes that only several things at one instant lead to are found too, and marked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from synth.check.circuit import Circuit, State, input_of
from synth.check.cones import Cone, cones
from synth.check.explore import ZERO_ZONE, Budget, Explorer
from synth.check.zones import Zone, expiries
from synth.design import Design
from synth.errors import Undecided
from synth.modes import Change, Mode, ModeGraph
from synth.parts.behaviour import CONTACT, CONTROLLED, SENSING, PartType
from synth.problem import Problem
from synth.signals import SignalMachine

MOST_ZONES = 60_000
"""Zones explored for one graph; with known times of inputs more than a third of them is given up
for a graph that leaves those times aside."""
FEW_INPUTS = 6
"""Up to so many inputs, also modes that only several at one instant lead to are looked for."""

_Place = tuple[State, int]
"""Where the parts stand, and the levels of the inputs."""


@dataclass
class _Found:
    """What a walk met: places in order, and where each event leads."""

    places: dict[_Place, None] = field(default_factory=dict)
    first: dict[_Place, None] = field(default_factory=dict)
    """Those that power comes up in."""
    moved: dict[tuple[_Place, int], _Place] = field(default_factory=dict)
    """(place, levels afterwards): one input was moved."""
    expired: dict[tuple[_Place, int], _Place] = field(default_factory=dict)
    """(place, mask of the parts whose time is up)."""
    stays: dict[_Place, int] = field(default_factory=dict)
    """The longest that each place lasts until some time is up by itself, in ticks."""


def mode_graphs(
    design: Design, problem: Problem, deadline: float | None = None
) -> tuple[ModeGraph, ...]:
    """Return the modes of each circuit of `design`, the smallest circuit first.

    The design must hold; one that chatters raises Undecided, as do too many states, or a reading
    of `time.monotonic()` beyond `deadline`.
    """
    graphs = []
    for cone in cones(design, problem):
        loads = [p.name for p in design.parts if p.type is PartType.LOAD and p.name in cone.parts]
        if loads or any(p.type in CONTROLLED for p in design.parts if p.name in cone.parts):
            graphs.append(graph_of(design, problem, cone, tuple(loads), deadline))
    return tuple(graphs)


def graph_of(
    design: Design, problem: Problem, cone: Cone, loads: tuple[str, ...], deadline: float | None
) -> ModeGraph:
    """Return the modes of one circuit, of which `loads` are the loads; see `mode_graphs`."""
    followed = {input_of(p) for p in design.parts if p.type in SENSING and p.name in cone.parts}
    names = [item.name for item in problem.inputs if item.name in followed]
    # Others bear on what may happen only where something is known of their times.
    timed = {i.name for i in problem.inputs if i.steady is not None or _times_known(i)}
    names += [n for n in cone.inputs if n not in names and n in timed and n != "supply"]
    inputs = ("supply", *(n for n in names if n != "supply"))
    bare = replace(
        cone, inputs=inputs, loads=(), machine=SignalMachine(()), apart=(), peak=False
    )
    facts = True
    try:
        walk = _Walk(design, problem, bare, Budget(deadline, MOST_ZONES // 3), facts)
        alone = walk.walk(single=True)
    except Undecided:
        facts = False
        walk = _Walk(design, problem, bare, Budget(deadline, MOST_ZONES), facts)
        alone = walk.walk(single=True)
    together = len(inputs) <= FEW_INPUTS
    more: Iterable[_Place] = ()
    if together:
        try:
            walk.explorer.budget.states = MOST_ZONES
            all_ = walk.walk(single=False)
            more = [p for p in all_.places if p not in alone.places]
            for place, time in all_.stays.items():
                alone.stays[place] = max(alone.stays.get(place, 0), time)
        except Undecided:
            together = False
    return _as_graph(walk, alone, list(more), inputs, loads, facts, together)


def _times_known(item: object) -> bool:
    return any(getattr(item, k) for k in ("least_on", "most_on", "least_off", "most_off"))


class _Walk:
    """Walks through all states of one circuit, without any goals beside it."""

    def __init__(
        self, design: Design, problem: Problem, cone: Cone, budget: Budget, facts: bool
    ) -> None:
        self.explorer = Explorer(design, problem, cone, budget)
        self.explorer.world.honour(facts)
        self.facts = facts
        self.circuit: Circuit = self.explorer.circuit
        self.design = design

    def walk(self, single: bool) -> _Found:
        """Return all places; with `single`, those that one event at a time leads to."""
        explorer, world = self.explorer, self.explorer.world
        found = _Found()
        supply = explorer.supply
        waiting: list[tuple[tuple[State, int, int], tuple[tuple[int, ...], ...], Zone]] = []
        seen: set[object] = set()

        def arrive(
            state: State, vector: int, env: int, fresh: int,
            members: tuple[tuple[int, ...], ...], at: Zone,
        ) -> None:
            found.places.setdefault((state, vector))
            # The same sharing of clocks among variables that the check itself uses.
            new, zone = explorer._zone((state, vector, (), env), members, at, fresh)
            key = (state, vector, env, new, zone)
            if key not in seen:
                seen.add(key)
                waiting.append(((state, vector, env), new, zone))

        def settled(state: State, vector: int, due: int) -> tuple[State, int]:
            result = explorer.settled(state, vector, due)
            if result.chatter:
                raise Undecided("the design never settles; its modes cannot be told")
            return result.state, result.anew

        for vector in world.vectors:
            off = vector & ~supply
            if vector & supply:
                environment = world.environment(0, None, vector, ())
                if environment is None:
                    continue
                state, anew = settled(self.circuit.start, vector, 0)
                fresh = anew | environment[1] << explorer.env_base
                if off in world.vectors:
                    place = (self.circuit.start, off)
                    found.places.setdefault(place)
                    found.moved[place, vector] = (state, vector)
                found.first.setdefault((state, vector))
                arrive(state, vector, environment[0], fresh, (), ZERO_ZONE)
        while waiting:
            (state, old, env), members, zone = waiting.pop()
            explorer.budget.spend()
            deadline = dict(explorer.clocks((state, old, (), env)))
            deadlines = tuple(min(deadline[c] for c in shared) for shared in members)
            left = [
                deadlines[v] + (zone[v + 1] >> 1)
                for v, shared in enumerate(members) if shared[0] < explorer.env_base
            ]
            if left:
                # Row 0 of a zone has the bounds on 0 - x: the least that each clock shows here.
                found.stays[state, old] = max(found.stays.get((state, old), 0), min(left))
            for mask, at in expiries(zone, deadlines):
                due = tuple(
                    c
                    for v, shared in enumerate(members)
                    if mask >> v & 1
                    for c in shared
                    if deadline[c] == deadlines[v]
                )
                inner = sum(1 << c for c in due if c < explorer.env_base)
                for vector in world.vectors:
                    changed = vector ^ old
                    if (not changed and not due) or (
                        single and changed and (inner or changed.bit_count() > 1)
                    ):
                        continue
                    environment = world.environment(env, old, vector, due)
                    if environment is None:
                        continue
                    after, anew = state, 0
                    if inner or changed:
                        after, anew = settled(state, vector, inner)
                        if changed and not inner and changed.bit_count() == 1:
                            found.moved[(state, old), vector] = (after, vector)
                        elif not changed:
                            found.expired[(state, old), inner] = (after, vector)
                    fresh = anew | environment[1] << explorer.env_base
                    arrive(after, vector, environment[0], fresh, members, at)
        return found


def _as_graph(
    walk: _Walk, alone: _Found, more: Sequence[_Place], inputs: tuple[str, ...],
    loads: tuple[str, ...], facts: bool, together: bool,
) -> ModeGraph:
    """Number the places: the powered ones first, fewest inputs at 1 first, then as met."""
    circuit, supply = walk.circuit, walk.explorer.supply

    def rank(place: _Place) -> tuple[bool, int, int, State]:
        state, vector = place
        return not vector & supply, vector.bit_count(), vector, state

    order = [*sorted(alone.places, key=rank), *sorted(more, key=rank)]
    numbers = {place: i for i, place in enumerate(order)}
    modes = tuple(
        replace(
            mode_of(circuit, state, vector, i, i < len(alone.places)),
            stays=alone.stays.get((state, vector)),
        )
        for i, (state, vector) in enumerate(order)
    )
    changes = [
        Change(numbers[place], numbers[end], name, vector & bit != 0)
        for (place, vector), end in alone.moved.items()
        for name, bit in circuit.bits.items()
        if (vector ^ place[1]) & bit
    ]
    changes += [
        Change(
            numbers[place], numbers[end],
            expired=tuple(p.name for i, p in enumerate(circuit.parts) if due >> i & 1),
        )
        for (place, due), end in alone.expired.items()
    ]
    place_of = {name: i for i, name in enumerate(inputs)}
    changes.sort(key=lambda c: (c.start, not c.expired, c.expired, place_of.get(c.input, 0)))
    parts = tuple(p.name for p in walk.design.parts if p.name in walk.explorer.cone.parts)
    reacting = tuple(p.name for p in circuit.parts)
    first = tuple(numbers[place] for place in alone.first)
    return ModeGraph(inputs, loads, parts, modes, tuple(changes), first, reacting, facts, together)


def mode_of(circuit: Circuit, state: State, vector: int, number: int, aimed: bool) -> Mode:
    """Return one settled state in words and names."""
    live, fed = circuit.live_terminals(state, vector)
    on = circuit.loads_on(circuit.live(state, vector))
    return Mode(
        number,
        tuple((name, vector & bit != 0) for name, bit in circuit.bits.items()),
        tuple(name for name, bit in circuit.load_bits.items() if on & bit),
        tuple(p.name for i, p in enumerate(circuit.parts) if state[i] & CONTACT),
        tuple(
            (p.name, p.limit(state[i])) for i, p in enumerate(circuit.parts) if p.limit(state[i])
        ),
        frozenset(str(t) for t in live),
        tuple(str(t) for t in fed),
        state,
        aimed,
    )
