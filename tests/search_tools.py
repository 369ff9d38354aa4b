"""Tools for the tests of the search: random wirings, their concrete runs, and the clause model.

The concrete run is the checker's (the defining semantics, stepped through), the clause model is
the search's; they have no encoder in common.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from random import Random

from check_designs import FULL, asked, part

from synth.check.circuit import Circuit
from synth.check.simulate import Override, run
from synth.design import Design, PartInUse, Skeleton, Terminal, Wire
from synth.parts.behaviour import SENSING, SHAPES, PartType
from synth.parts.kit import Kit, Trigger
from synth.problem import InputKind, OutsideInput, Problem
from synth.search.formula import Formula
from synth.search.scenario import Scenario, build_scenario
from synth.search.slots import Slot, Wiring, supply_part
from synth.search.solver import CpSat
from synth.search.unroll import MAY_WAIT, Unrolled
from synth.signals import Level
from synth.trace import Moment, Order

INSTANT = dataclasses.replace(FULL, trigger=Trigger.INSTANT)
KITS = {"held": FULL, "instant": INSTANT}
TIMES = (1000, 2000, 3000)
INPUTS = (
    OutsideInput("supply", InputKind.SUPPLY),
    OutsideInput("night", InputKind.NIGHT),
    OutsideInput("hot", InputKind.SENSOR),
    OutsideInput("lever", InputKind.SWITCH),
    OutsideInput("bell", InputKind.BUTTON),
)
KINDS = (
    *(2 * (PartType.RELAY_MAKE, PartType.RELAY_BREAK, PartType.RELAY_CHANGEOVER)),
    *(2 * (PartType.BISTABLE, PartType.IMPULSE, PartType.PULSE, PartType.RETRIGGERABLE)),
    *(2 * (PartType.ON_DELAY, PartType.OFF_DELAY, PartType.RECYCLER)),
    *(2 * (PartType.SENSOR, PartType.TWILIGHT)),
    *(2 * (PartType.SWITCH, PartType.PUSH_BUTTON, PartType.JOINT)),
)


def a_problem(kit: Kit, loads: Sequence[str], **more: object) -> Problem:
    """Return a problem over all of INPUTS; what it asks is replaced in the scenarios."""
    wanted = {name: Level("supply") for name in loads}
    return asked(wanted, *INPUTS, kit=kit, times=TIMES, **more)


def a_part(
    random: Random, name: str, kit: Kit, kinds: Sequence[PartType] = KINDS
) -> PartInUse:
    """Return a random part, one of these types, with random settings."""
    kind = random.choice(kinds)
    inputs = {PartType.SENSOR: "hot", PartType.SWITCH: "lever", PartType.PUSH_BUTTON: "bell"}
    match kind:
        case PartType.SENSOR | PartType.SWITCH | PartType.PUSH_BUTTON:
            contact = random.choice(("make", "break"))
            return part(name, kind, kit, input=inputs[kind], contact=contact)
        case PartType.TWILIGHT:
            return part(name, kind, kit, passes=random.choice(("night", "day")))
        case PartType.BISTABLE:
            return part(name, kind, kit, wins=random.choice(("set", "reset")))
        case PartType.RECYCLER:
            first = random.choice(("pulse", "pause"))
            on, off = random.choice(TIMES), random.choice(TIMES)
            return part(name, kind, kit, first=first, on=on, off=off)
        case PartType.PULSE | PartType.RETRIGGERABLE | PartType.ON_DELAY | PartType.OFF_DELAY:
            return part(name, kind, kit, time=random.choice(TIMES))
    return part(name, kind, kit)


def a_skeleton(
    random: Random,
    kit: Kit,
    most: int,
    loads: Sequence[str],
    kinds: Sequence[PartType] = KINDS,
) -> Skeleton:
    """Return a random wiring in the order of its power flow, without parts that feed nothing.

    Joints join two different outputs other than the supply's, the earlier one first: the form in
    which the model keeps them.
    """
    parts: list[PartInUse] = []
    outputs: list[Terminal] = [Terminal("supply", "out")]
    feeds: list[tuple[Terminal, Terminal]] = []
    for number in range(most):
        item = a_part(random, f"P{number}", kit, kinds)
        if item.type is PartType.JOINT:
            if len(outputs) < 3:
                continue
            for source, inlet in zip(
                sorted(random.sample(range(1, len(outputs)), 2)), ("in1", "in2"), strict=True
            ):
                feeds.append((outputs[source], Terminal(item.name, inlet)))
        else:
            # Leaning on the supply keeps wirings from being dead most of the time.
            source = random.choice((outputs[0], random.choice(outputs)))
            feeds.append((source, Terminal(item.name, "in")))
        parts.append(item)
        outputs += [Terminal(item.name, output) for output in SHAPES[item.type].outputs]
    for item in parts:
        for control in SHAPES[item.type].controls:
            feeds.append((random.choice(outputs), Terminal(item.name, control)))
    for name in loads:
        feeds.append((random.choice(outputs[1:] or outputs), Terminal(name, "in")))
    while True:
        feeding = {source.part for source, _ in feeds}
        kept = [item for item in parts if item.name in feeding]
        if len(kept) == len(parts):
            break
        gone = {item.name for item in parts} - {item.name for item in kept}
        feeds = [(s, t) for s, t in feeds if t.part not in gone]
        parts = kept
    consumers = [part(name, PartType.LOAD, kit, needs=1) for name in loads]
    return Skeleton(kit.name, (supply_part(kit), *parts, *consumers), tuple(feeds))


def slots_of(skeleton: Skeleton, kit: Kit) -> tuple[Slot, ...]:
    """Return the slots that exactly the parts of `skeleton` fill."""
    found: list[Slot] = []
    for item in skeleton.parts:
        offer = kit.index[item.part]
        if item.type is PartType.LOAD:
            needs = int(item.setting("needs") or 1)
            found.append(Slot(item.name, offer, load=item.name, needs=needs))
        elif item.type is not PartType.SUPPLY:
            follows = "night" if item.type is PartType.TWILIGHT else item.setting("input") or ""
            found.append(Slot(item.name, offer, str(follows), fixed=True))
    return tuple(found)


def some_moments(random: Random, horizon: int) -> tuple[Moment, ...]:
    """Return changes of the inputs on [0, horizon): on whole seconds, where they meet expiries,
    and between; sometimes between ticks."""
    names = [item.name for item in INPUTS]
    levels = {name: random.random() < 0.6 for name in names}
    levels["supply"] = random.random() < 0.9
    moments = [Moment(Fraction(0), tuple(levels.items()))]
    times = {
        Fraction(random.randrange(1, horizon // 500)) * 500
        + random.choice((0, 0, 0, 250, Fraction(1, 3)))
        for _ in range(random.randrange(2, 7))
    }
    for time in sorted(times):
        changed = random.sample(names[1:], random.choice((1, 1, 1, 2)))
        if random.random() < 0.15:
            changed.append("supply")
        if not levels["supply"] and random.random() < 0.7:
            changed.append("supply")
        changes = {name: not levels[name] for name in changed}
        levels.update(changes)
        moments.append(Moment(time, tuple(changes.items())))
    return tuple(moments)


@dataclass
class Concrete:
    """What a wiring really does in a run: the loads after each event and during settling."""

    times: list[Fraction] = field(default_factory=list)
    loads: list[dict[str, bool]] = field(default_factory=list)
    steps: list[int] = field(default_factory=list)
    units: list[int] = field(default_factory=list)
    during: list[set[str]] = field(default_factory=list)
    """The loads that are on together, at each evaluation of the run."""
    marks: tuple[tuple[Fraction, str], ...] = ()

    def at(self, time: Fraction) -> dict[str, bool]:
        """Return the loads' levels from the last settled event up to `time` on."""
        past = [on for when, on in zip(self.times, self.loads, strict=True) if when <= time]
        return past[-1] if past else {}

    def instants(self, end: int) -> list[Fraction]:
        """Return all instants up to `end` at which anything happened, if it only never settled."""
        return sorted(t for t in {*self.times, *(time for time, _ in self.marks)} if t <= end)

    def clean(self, depth: int) -> bool:
        """Return whether it always settled within `depth` evaluations and no load blinked."""
        return not self.marks and max(self.steps) <= depth


def unsplit(skeleton: Skeleton) -> Design:
    """Return the wiring as a design in which outputs feed several wires: enough for a run."""
    wires = (Wire(i, s, t) for i, (s, t) in enumerate(skeleton.feeds, 1))
    return Design(skeleton.kit, skeleton.parts, tuple(wires))


def concrete_run(
    skeleton: Skeleton,
    problem: Problem,
    moments: Sequence[Moment],
    horizon: int,
    override: Override | None = None,
) -> Concrete:
    """Return what the checker's own stepping says of this wiring up to and with `horizon`."""
    circuit = circuit_of(skeleton, problem)
    found = Concrete()
    look, evaluations = circuit.look, 0

    def names(mask: int) -> set[str]:
        return {load for load, bit in circuit.load_bits.items() if mask & bit}

    def counting(state: tuple[int, ...], vector: int, due: int) -> object:
        nonlocal evaluations, last
        evaluations, last = evaluations + 1, vector
        answer = look(state, vector, due)
        found.during.append(names(answer[0]))
        return answer

    def watch(time: Fraction, on: int, state: tuple[int, ...]) -> None:
        nonlocal evaluations
        found.times.append(time)
        found.loads.append({load: load in names(on) for load in circuit.loads})
        found.steps.append(evaluations)
        found.units.append(circuit.units_in_use(state, last))
        evaluations = 0

    last = 0
    circuit.look = counting  # type: ignore[method-assign, assignment]
    end = Fraction(horizon) + Fraction(1, 100)
    found.marks = run(circuit, moments, end, override, watch).marks
    return found


def circuit_of(skeleton: Skeleton, problem: Problem) -> Circuit:
    """Return a wiring ready to be stepped through by the checker."""
    return Circuit(unsplit(skeleton), problem.kit, tuple(i.name for i in problem.inputs))


def ordered_run(
    skeleton: Skeleton,
    problem: Problem,
    moments: Sequence[Moment],
    horizon: int,
    moment: Fraction,
    order: Order,
) -> Concrete | None:
    """Return the concrete run in which the parts move in this order after the event at `moment`,
    see `in_order`. None where they do not settle then, or a time is up at that very moment."""
    circuit = circuit_of(skeleton, problem)
    before, after = circuit.start, None

    def keep(time: Fraction, on: int, state: tuple[int, ...]) -> None:
        nonlocal before, after
        if time < moment:
            before = state
        elif time == moment:
            after = state

    run(circuit, moments, Fraction(horizon), watch=keep)
    vector = 0
    for change in moments:
        for name, level in change.inputs if change.time <= moment else ():
            vector = vector | circuit.bits[name] if level else vector & ~circuit.bits[name]
    together = in_order(circuit, before, vector, ())
    taken = in_order(circuit, before, vector, order)
    if after is None or together is None or together[0] != after or taken is None:
        return None
    found = concrete_run(skeleton, problem, moments, horizon, {moment: taken})
    # How many steps it took, and what blinked, is not asked of another order.
    found.steps = [0 if t == moment else n for t, n in zip(found.times, found.steps, strict=True)]
    found.marks = tuple(mark for mark in found.marks if mark[0] != moment)
    return found


def in_order(
    circuit: Circuit, state: tuple[int, ...], vector: int, order: Order, most: int = 6
) -> tuple[tuple[int, ...], int] | None:
    """Return the state in which the parts settle after an event, and the timers whose time starts
    anew; None when they do not within `most` steps after the last of `order`.

    In each step of `order` relays that it does not name stay as they are; then all move.
    """
    anew = 0
    for step in range(len(order) + most):
        _, rows = circuit.look(state, vector, 0)
        excited = [i for i, row in enumerate(rows) if row[3]]
        if not excited and step >= len(order):
            after = tuple(row[1] for row in rows)
            running = sum(1 << i for i, part in enumerate(circuit.parts) if part.limit(after[i]))
            return after, anew & running
        moves = [row[0] if row[3] else row[1] for row in rows]
        for i in excited:
            part = circuit.parts[i]
            if step < len(order) and part.kind in MAY_WAIT and part.name not in order[step]:
                continue
            moves[i] = rows[i][1]
            anew |= rows[i][2] << i
        state = tuple(moves)
    return None


def scenario_of(
    problem: Problem, moments: Sequence[Moment], horizon: int, done: Concrete,
    also: Iterable[Fraction], times: Iterable[int] = (),
    orders: Sequence[tuple[Fraction, Order]] = (),
) -> Scenario:
    """Return the scenario of these moments in which the loads are asked to do what `done` did."""
    scenario = build_scenario(
        problem, moments, times, horizon, 60, depth=1, also=also, orders=orders
    )
    points = tuple(
        dataclasses.replace(
            point,
            loads=tuple(
                done.at(Fraction(point.time, scenario.fine)).get(n, False) for n in scenario.loads
            ),
        )
        for point in scenario.points
    )
    return dataclasses.replace(scenario, points=points)


def accepts(skeleton: Skeleton, problem: Problem, scenario: Scenario, depth: int) -> bool:
    """Return whether the clause model allows exactly this wiring in this scenario."""
    formula = Formula()
    wiring = Wiring(problem, slots_of(skeleton, problem.kit), formula)
    chosen = wiring.assignment(skeleton)
    assert chosen is not None
    Unrolled(wiring, scenario, depth)
    fixed = [v if value else -v for v, value in chosen.items()]
    answer = CpSat(formula).ask(60.0, fixed)
    assert answer.satisfiable is not None
    if answer.satisfiable:
        decoded = wiring.decode(answer.values)
        assert set(decoded.feeds) == set(skeleton.feeds)
        assert {settled(p) for p in decoded.parts} == {settled(p) for p in skeleton.parts}
    return answer.satisfiable


def settled(item: PartInUse) -> tuple[object, ...]:
    """Return a part in use as plain data, its settings in order of their names."""
    return (item.name, item.type, item.part, tuple(sorted(item.settings)))


def flipped(scenario: Scenario, index: int, load: int) -> Scenario:
    """Return the scenario with one load asked to do the opposite at one point."""
    point = scenario.points[index]
    loads = tuple(on != (i == load) for i, on in enumerate(point.loads))
    points = list(scenario.points)
    points[index] = dataclasses.replace(point, loads=loads)
    return dataclasses.replace(scenario, points=tuple(points))


def types_in(skeleton: Skeleton) -> set[PartType]:
    """Return the types of part in a wiring, the supply and loads apart."""
    return {p.type for p in skeleton.parts} - {PartType.SUPPLY, PartType.LOAD}


def sensing_only(skeleton: Skeleton) -> bool:
    """Return whether a wiring has no part with a state of its own."""
    return types_in(skeleton) <= SENSING | {PartType.JOINT}
