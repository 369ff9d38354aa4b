"""What a design uses on a held day: the worst day of all, exact, circuits joint.

Two kinds of day are run. *From power up*: power comes up at dusk with the inputs held, or after
one or all of them were at their other level for a moment; that is a run of the whole design, so
what it uses is used. *From any mode* (`day`): a circuit stands anywhere that it can ever be, its
running times just begun. Circuits that share inputs are held at the same levels. Where their worst
days might not come together, the circuits that share anything are run as one.
"""

from __future__ import annotations

import time as clock
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from synth.check.circuit import Circuit, input_of, upstream
from synth.check.cones import Cone, cones, shared
from synth.check.day import needs_of
from synth.check.modes import graph_of, mode_graphs
from synth.check.settle import settle
from synth.days import (
    HOUR,
    DayUse,
    Levels,
    NoDay,
    State,
    changes,
    day_in_words,
    in_words,
    run_day,
    shares_in_words,
    unit_hours,
    worst_joint,
)
from synth.design import Design
from synth.errors import Undecided
from synth.modes import ModeGraph
from synth.parts.behaviour import CONTROLLED, SENSING, PartType
from synth.problem import Energy, Problem
from synth.result import Defect, Fault


def too_much(use: DayUse, problem: Problem, energy: Energy) -> tuple[Defect, ...]:
    """Return the defect of a design of which this is the worst day, none if it is within bounds."""
    if use.total <= energy.unit_hours:
        return ()
    message = energy_in_words(use, problem, energy)
    return (Defect(Fault.ENERGY, message, (energy.goal,), use=use),)


def energy_in_words(use: DayUse, problem: Problem, energy: Energy) -> str:
    """Return in a sentence what is used on a day, by loads and by control inputs, and the limit."""
    return (
        f"goal {energy.goal}: {day_in_words(use, problem)} the consumers use "
        f"{unit_hours(use.total)}; at most {in_words(energy.unit_hours)} may be: "
        f"{shares_in_words(use)}"
    )


def kept_in_words(use: DayUse, problem: Problem, energy: Energy) -> str:
    """Return in a sentence that no day uses more, and what the worst days come to."""
    return (
        f"goal {energy.goal}: no held day uses more than {unit_hours(use.total)} of "
        f"{in_words(energy.unit_hours)}; {day_in_words(use, problem)}: {shares_in_words(use)}"
    )


def worst_day(
    design: Design, problem: Problem, energy: Energy, deadline: float | None = None
) -> DayUse:
    """Return a day on which more is used than `energy` allows, else one that no day uses more than.

    That one adds up the worst days of circuits, which may not come together. The design does all
    else that is asked. Raises Undecided, with what could not be run, where it is not known.
    """
    try:
        return _Days(design, problem, energy, deadline).worst()
    except NoDay as reason:
        raise Undecided(f"goal {energy.goal}: no day can be reckoned, since {reason}") from None


@dataclass
class _Own:
    """One circuit: the inputs that it follows, and the consumers that are counted with it."""

    circuit: Circuit
    inputs: tuple[str, ...]
    consumers: tuple[str, ...]
    starts: Mapping[tuple[bool, ...], Sequence[State]] | None = None
    """Where the parts may stand, by the levels of `inputs`; None: only as power comes up."""
    modes: frozenset[tuple[State, tuple[bool, ...]]] = frozenset()
    steps: dict[tuple[State, object, int], tuple[State, int, int]] = field(default_factory=dict)
    """What it does, as far as that was worked out."""


class _Days:
    """The held days of one design."""

    def __init__(
        self, design: Design, problem: Problem, energy: Energy, deadline: float | None
    ) -> None:
        self.design, self.problem, self.energy = design, problem, energy
        self.deadline = deadline
        self.units = dict(needs_of(design, problem, ()).units)
        self.loads = {p.name for p in design.parts if p.type is PartType.LOAD}

    def worst(self) -> DayUse:
        """Return the day that decides; see `worst_day`."""
        seen = self._most(self._from_power_up(), True)
        limit = self.energy.unit_hours
        if seen.total > limit:
            return seen
        graphs = mode_graphs(self.design, self.problem, self.deadline)
        most = self._most(self._from_modes(graphs), False)
        if most.total <= limit:
            return most if most.total > seen.total else seen
        together = shared(self.design, self.problem, cones(self.design, self.problem))
        if not together:
            return self._sure(most, graphs)
        # What circuits use at most need not be used on one day: those that share are run as one.
        alone = [g for g in graphs if not any(set(g.parts) <= c.parts for c, _ in together)]
        joined = [self._joined(cone) for cone, _ in together]
        return self._sure(self._most(self._from_modes([*joined, *alone]), False), graphs)

    def _sure(self, use: DayUse, graphs: Sequence[ModeGraph]) -> DayUse:
        """Return `use`; raises NoDay where it is too much, but some circuit may never be there."""
        if use.total > self.energy.unit_hours and not all(graph.facts for graph in graphs):
            raise NoDay("it is not known which states can be reached with what is known of inputs")
        return use

    def _joined(self, cone: Cone) -> ModeGraph:
        loads = tuple(name for name in self.loads if name in cone.parts)
        return graph_of(self.design, self.problem, cone, loads, self.deadline)

    def _from_power_up(self) -> list[_Own]:
        found: list[_Own] = []
        counted: set[str] = set()
        groups = [cone.parts for cone in cones(self.design, self.problem)]
        for part in self.design.parts:
            # Also what no goal asks for uses its units.
            users = part.type is PartType.LOAD or part.type in CONTROLLED
            if users and not any(part.name in parts for parts in groups):
                groups.append(upstream(self.design, [part.name]))
        for parts in groups:
            own = tuple(n for n in self.units if n.rpartition(":")[0] in parts and n not in counted)
            counted.update(own)
            if own:
                follows = {
                    input_of(p) for p in self.design.parts if p.type in SENSING and p.name in parts
                }
                inputs = (
                    "supply",
                    *(i.name for i in self.problem.inputs if i.name in follows - {"supply"}),
                )
                inputs += tuple(sorted(follows - set(inputs)))
                circuit = Circuit(self.design, self.problem.kit, inputs, parts)
                found.append(_Own(circuit, inputs, own))
        return found

    def _from_modes(self, graphs: Sequence[ModeGraph]) -> list[_Own]:
        found: list[_Own] = []
        counted: set[str] = set()
        for graph in graphs:
            if not graph.together:
                raise NoDay("not every state that can be reached is known, there are too many")
            own = tuple(
                n for n in self.units if n.rpartition(":")[0] in graph.parts and n not in counted
            )
            counted.update(own)
            circuit = Circuit(self.design, self.problem.kit, graph.inputs, frozenset(graph.parts))
            starts: dict[tuple[bool, ...], dict[State, None]] = {}
            modes = set()
            for mode in graph.modes:
                levels = tuple(level for _, level in mode.levels)
                starts.setdefault(levels, {})[mode.state] = None
                modes.add((mode.state, levels))
            begins: dict[tuple[bool, ...], Sequence[State]] = {
                levels: tuple(states) for levels, states in starts.items()
            }
            found.append(_Own(circuit, graph.inputs, own, begins, frozenset(modes)))
        left = [n for n in self.units if n not in counted]
        if left:
            found += [o for o in self._from_power_up() if set(o.consumers) & set(left)]
        return found

    def _most(self, circuits: Sequence[_Own], flipping: bool) -> DayUse:
        """Return the worst joint day of all nights asked."""
        worst: DayUse | None = None
        for night in self.energy.nights:

            def used(
                place: int, levels: Levels, flipped: tuple[str, ...], night: int = night
            ) -> Mapping[str, Fraction]:
                return self._used(circuits[place], dict(levels), flipped, night)

            day = worst_joint(self.problem, [c.inputs for c in circuits], night, used, flipping)
            if worst is None or day.total > worst.total:
                worst = day
        assert worst is not None
        return replace(
            worst,
            loads=tuple(
                (n.rpartition(":")[0], use)
                for n, use in worst.loads
                if n.rpartition(":")[0] in self.loads
            ),
            controls=tuple(
                (n.replace(":", " "), use)
                for n, use in worst.loads
                if n.rpartition(":")[0] not in self.loads
            ),
        )

    def _used(
        self, own: _Own, levels: Mapping[str, bool], flipped: Sequence[str], night: int
    ) -> Mapping[str, Fraction]:
        """Return the unit-hours of each consumer counted with a circuit on its worst day."""
        circuit = own.circuit
        moved = [
            (time, sum(circuit.bits[name] for name, on in now.items() if on))
            for time, now in changes(self.problem, own.inputs, levels, flipped, night)
        ]
        if self.deadline is not None and clock.monotonic() > self.deadline:
            raise Undecided("the time ran out before every day was run")
        place_of = {name: i for i, name in enumerate(own.consumers)}
        bits = circuit.bits
        met: set[tuple[State, tuple[bool, ...]]] = set()

        def step(state: State, vector: object, due: int) -> tuple[State, int, int]:
            assert isinstance(state, tuple) and isinstance(vector, int)
            key = (state, vector, due)
            if key not in own.steps:
                settled = settle(circuit, state, vector, due)
                if settled.chatter:
                    raise Undecided("the design never settles; no day of it can be run")
                fed = circuit.live_terminals(settled.state, vector)[1]
                on = sum(1 << place_of[n] for n in map(str, fed) if n in place_of)
                own.steps[key] = settled.state, settled.anew, on
            done = own.steps[key]
            met.add((done[0], tuple(vector & bits[n] != 0 for n in own.inputs)))
            return done

        def limits(state: State) -> list[tuple[int, int]]:
            assert isinstance(state, tuple)
            found = ((i, part.limit(state[i])) for i, part in enumerate(circuit.parts))
            return [(i, limit) for i, limit in found if limit]

        starts: Sequence[State] = (circuit.start,)
        if own.starts is not None:
            first = moved[0][1]
            starts = own.starts.get(tuple(first & bits[n] != 0 for n in own.inputs), ())
        best: dict[str, Fraction] = dict.fromkeys(own.consumers, Fraction(0))
        for start in starts:
            on_for = run_day(start, step, limits, moved, own.starts is not None)
            if own.modes and not met <= own.modes:
                raise NoDay("a day left what is known to be reached")
            day = {
                name: Fraction(
                    self.units[name] * sum(t for mask, t in on_for.items() if mask >> i & 1), HOUR
                )
                for name, i in place_of.items()
            }
            if sum(day.values()) > sum(best.values()):
                best = day
        return best
