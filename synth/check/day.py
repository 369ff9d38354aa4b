"""A day of each circuit with its inputs held, all but the night: how long each consumer is on.

Each run begins in one of the modes that can be reached, a day before, at dusk, with all running
times just begun; so what runs out only once is over when the day that is measured begins, at the
next dusk, and what is latched stays so. Everything is exact: events, not steps.
"""

from __future__ import annotations

from fractions import Fraction

from synth.check.circuit import Circuit, State
from synth.check.settle import settle
from synth.days import DAY, settings
from synth.design import Design
from synth.errors import Undecided
from synth.modes import Held, ModeGraph, Needs
from synth.parts.behaviour import CONTROLLED, PartType
from synth.problem import InputKind, Problem

MOST_SETTINGS = 64
"""Settings of the held inputs that are run for one circuit; one with more is left out."""
MOST_EVENTS = 400_000
"""Events in the two days of all runs of one circuit before they are given up."""


def needs_of(design: Design, problem: Problem, graphs: tuple[ModeGraph, ...]) -> Needs:
    """Return the units of each consumer (``part:terminal``), and the circuit that counts it."""
    wanted = {r.load: r.needs for r in problem.requirements}
    units: dict[str, int] = {}
    for part in design.parts:
        offer = problem.kit.index[part.part]
        if part.type is PartType.LOAD:
            stated = part.setting("needs")
            own = stated if isinstance(stated, int) else offer.units
            units[f"{part.name}:in"] = wanted.get(part.name, own)
        elif part.type in CONTROLLED:
            units |= {f"{part.name}:{name}": offer.units for name in offer.shape.controls}
    owners: dict[str, int] = {}
    for g, graph in enumerate(graphs):
        for name in units:
            if name.rpartition(":")[0] in graph.parts:
                owners.setdefault(name, g)
    return Needs(tuple(units.items()), tuple(owners.items()))


def held_days(
    design: Design, problem: Problem, graphs: tuple[ModeGraph, ...], needs: Needs, night: int
) -> tuple[Held, ...]:
    """Return a day of every circuit for each setting of its inputs, nights `night` ticks long.

    Circuits with more than MOST_SETTINGS settings, or too many events, are left out. Buttons are
    held released.
    """
    days: list[Held] = []
    for g, graph in enumerate(graphs):
        circuit = Circuit(design, problem.kit, graph.inputs, frozenset(graph.parts))
        held = settings(problem, graph.inputs)
        if len(held) > MOST_SETTINGS:
            continue
        try:
            left = MOST_EVENTS
            found = []
            for levels in held:
                edges = _edges(circuit, levels, problem, night)
                for start in _starts(circuit, graph, edges[0][1]):
                    day, events = _day(circuit, g, graph, levels, start, edges, needs, left)
                    left -= events
                    found.append(day)
        except Undecided:
            continue
        days += dict.fromkeys(found)
    return tuple(days)


def _edges(
    circuit: Circuit, levels: dict[str, bool], problem: Problem, night: int
) -> tuple[tuple[int, int], ...]:
    """Return (time, levels of all inputs as a vector) of dusk and dawn over two days."""
    nights = {i.name for i in problem.inputs if i.kind is InputKind.NIGHT}
    vector = circuit.bits["supply"]
    for name, level in levels.items():
        vector |= circuit.bits[name] if level else 0
    dark = sum(bit for name, bit in circuit.bits.items() if name in nights)
    if not 0 < night < DAY or not dark:
        return ((0, vector | dark if night else vector),)
    return tuple((day + at, vector | d) for day in (0, DAY) for at, d in ((0, dark), (night, 0)))


def _starts(circuit: Circuit, graph: ModeGraph, vector: int) -> list[State]:
    """Return where the parts may stand while the inputs are at `vector`."""
    levels = tuple(vector & circuit.bits[name] != 0 for name in graph.inputs)
    found = [m.state for m in graph.modes if tuple(level for _, level in m.levels) == levels]
    return list(dict.fromkeys(found))


def _day(
    circuit: Circuit, number: int, graph: ModeGraph, levels: dict[str, bool], start: State,
    edges: tuple[tuple[int, int], ...], needs: Needs, most: int,
) -> tuple[Held, int]:
    """Return the day and how many events it took; raises Undecided after `most`."""
    known: dict[tuple[State, int, int], tuple[State, int]] = {}
    fed_in: dict[tuple[State, int], tuple[tuple[str, ...], int]] = {}
    owners, units = dict(needs.owners), dict(needs.units)
    state = start
    until = {i: part.limit(start[i]) for i, part in enumerate(circuit.parts)}
    until = {i: limit for i, limit in until.items() if limit}
    on_time: dict[str, int] = {}
    stretches: list[tuple[int, int, int]] = []
    runs: dict[str, list[tuple[int, int]]] = {name: [] for name in graph.loads}
    time, place = 0, 0
    for events in range(most):  # noqa: B007 - it is returned
        due = sum(1 << i for i, at in until.items() if at == time)
        if place < len(edges) and edges[place][0] == time:
            now = edges[place][1]
            place += 1
        key = (state, now, due)
        if key not in known:
            settled = settle(circuit, state, now, due)
            known[key] = (settled.state, settled.anew)
        state, anew = known[key]
        for i, part in enumerate(circuit.parts):
            limit = part.limit(state[i])
            if not limit:
                until.pop(i, None)
            elif anew >> i & 1:
                until[i] = time + limit
        coming = [*until.values(), 2 * DAY]
        if place < len(edges):
            coming.append(edges[place][0])
        end = min(coming)
        if end > DAY:
            if (state, now) not in fed_in:
                fed = tuple(str(t) for t in circuit.live_terminals(state, now)[1])
                fed_in[state, now] = fed, sum(units[n] for n in fed if owners[n] == number)
            fed, used = fed_in[state, now]
            begin = max(time, DAY)
            for name in fed:
                on_time[name] = on_time.get(name, 0) + end - begin
            for name in graph.loads:
                if f"{name}:in" in fed:
                    own = runs[name]
                    first = own.pop()[0] if own and own[-1][1] == begin - DAY else begin - DAY
                    own.append((first, end - DAY))
            if stretches and stretches[-1][2] == used:
                stretches[-1] = (stretches[-1][0], end - DAY, used)
            else:
                stretches.append((begin - DAY, end - DAY, used))
        time = end
        if time >= 2 * DAY:
            break
    else:
        raise Undecided("too many events in a day")
    held = Held(
        number, tuple(levels.items()),
        tuple((name, Fraction(on)) for name, on in sorted(on_time.items())), tuple(stretches),
        tuple((name, tuple(own)) for name, own in runs.items()),
    )
    return held, events
