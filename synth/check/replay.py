"""In which order the parts move in a counterexample's run, found again from what the run shows.

A race is shown by a run in which, at some moment, parts move one after the other in an order of
their own. Who plays such a run has to know that order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from synth.check.circuit import Circuit, State, input_of, upstream
from synth.check.settle import every_order, settle
from synth.design import Design
from synth.errors import Undecided
from synth.parts.behaviour import CONTACT, SENSING
from synth.problem import Problem
from synth.result import Counterexample
from synth.trace import Track

Order = tuple[tuple[tuple[str, ...], ...], tuple[str, ...]]
"""Names of the parts that move, step by step, and of those that then change for ever (or none)."""


def orders_taken(
    design: Design, problem: Problem, example: Counterexample
) -> Mapping[Fraction, Order]:
    """Return the moments (ticks) of `example` at which the parts do not all move together, and how.

    Empty when they always do, or when no order leads to what the run shows.
    """
    trace = example.trace
    if trace is None or not example.orders:
        return {}
    names = {"supply": None, **dict.fromkeys(item.name for item in problem.inputs)}
    names.update(dict.fromkeys(input_of(p) for p in design.parts if p.type in SENSING))
    names.pop("", None)
    shown = [track for track in trace.tracks if track.role != "input"]
    kept = upstream(design, [track.name for track in shown])
    circuit = Circuit(design, problem.kit, tuple(names), kept)
    start = _Point(circuit.start, 0, {}, Fraction(-1))
    try:
        for never in (False, True):
            orders = _Replay(circuit, example, shown, never).follow(start)
            if orders:
                return orders
    except Undecided:
        pass
    return {}


def orders_that_end(
    design: Design, problem: Problem, example: Counterexample
) -> Mapping[Fraction, tuple[tuple[str, ...], ...]]:
    """Return the orders of `orders_taken` without what is for ever: empty where parts then change
    for ever."""
    taken = orders_taken(design, problem, example)
    if any(endless for _, endless in taken.values()):
        return {}
    return {moment: steps for moment, (steps, _) in taken.items()}


@dataclass(frozen=True)
class _Point:
    """A settled instant: state, input levels, when each time ends, and the moment itself."""

    state: State
    vector: int
    until: Mapping[int, Fraction]
    time: Fraction


class _Replay:
    """Follows a run from event to event, all together where that agrees with what is shown.

    `never`: at its last moment the parts never settle, in an order that the run does not show.
    """

    def __init__(
        self, circuit: Circuit, example: Counterexample, shown: list[Track], never: bool
    ) -> None:
        self.circuit, self.shown, self.never = circuit, shown, never
        self.outside = {moment.time: moment.inputs for moment in example.moments}
        self.last = example.moments[-1].time
        self.slot = {part.name: i for i, part in enumerate(circuit.parts)}

    def follow(self, point: _Point) -> dict[Fraction, Order] | None:
        """Return the orders from `point` on, None when what is shown cannot come about."""
        times = [t for t in (*self.outside, *point.until.values()) if t > point.time]
        if not times or min(times) > self.last:
            return {}
        time = min(times)
        vector = point.vector
        for name, level in self.outside.get(time, ()):
            bit = self.circuit.bits[name]
            vector = vector | bit if level else vector & ~bit
        due = sum(1 << i for i, at in point.until.items() if at == time)
        together = settle(self.circuit, point.state, vector, due)
        ways: list[tuple[State, int, Order | None]] = []
        if not together.chatter:
            ways.append((together.state, together.anew, None))
        if together.several or together.chatter:
            for other in every_order(self.circuit, point.state, vector, due):
                steps = tuple(self.circuit.names(step) for step in other.order)
                if not other.chatter:
                    ways.append((other.state, other.anew, (steps, ())))
                elif self.never and time == self.last:
                    return {time: (steps, self.circuit.names(other.chatter))}
        for state, anew, order in ways:
            if not self._as_shown(state, vector, time):
                continue
            rest = self.follow(_Point(state, vector, self._until(point, state, anew, time), time))
            if rest is not None:
                return {time: order, **rest} if order else rest
        return None

    def _until(self, point: _Point, state: State, anew: int, time: Fraction) -> dict[int, Fraction]:
        return {
            i: time + limit if anew >> i & 1 else point.until[i]
            for i, part in enumerate(self.circuit.parts)
            if (limit := part.limit(state[i]))
        }

    def _as_shown(self, state: State, vector: int, time: Fraction) -> bool:
        on = self.circuit.loads_on(self.circuit.live(state, vector))
        for track in self.shown:
            if track.role == "load":
                level = on & self.circuit.load_bits[track.name] != 0
            else:
                level = state[self.slot[track.name]] & CONTACT != 0
            if level != track.level(time):
                return False
        return True
