"""What loads may do for an instant where the parts of a circuit do not all move at once.

The check judges loads at rest, in whatever order parts move, and for every instant while all that
are excited move together ("What a circuit means"). Real parts are not equally quick: between two
states of rest one of them may have moved and another not yet. Here every such moment is looked at,
for a design that holds. What is found is no defect; who wires the circuit should know of it.
(Hazards of contact networks: D. A. Huffman, "The design and use of hazard-free switching networks",
1957, from memory.)
"""

from __future__ import annotations

import time as clock
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from synth.check.circuit import Circuit, State
from synth.check.explore import Budget, Event, Explorer, Node
from synth.check.settle import one_by_one
from synth.check.verdict import check
from synth.check.witness import event_times, moments_of, when_in_words
from synth.design import Design, sensed_alike
from synth.errors import Undecided
from synth.parts.behaviour import CONTROLLED
from synth.problem import Problem
from synth.result import Instant, Verdict
from synth.wording import listed

MOST_MOMENTS = 5000
"""So many moments of one event are looked at at most."""
LOOK_SECONDS = 2.0
"""Seconds that may go into it, once a design is known to hold."""
FURTHER = 100
"""So many states for each event at which several parts move may be explored once more."""


@dataclass(frozen=True)
class _Order:
    """How something comes to be so for an instant: these parts (slots) have moved, those not."""

    quick: tuple[int, ...]
    slow: tuple[int, ...]


def check_with_instants(
    design: Design, problem: Problem, deadline: float | None = None
) -> Verdict:
    """Return the verdict of the check, see `check`; of a design that holds with notes on what its
    loads may do for an instant: come on or go off while they should not, or be on together where
    they never should. `LOOK_SECONDS` may go into that, beyond the deadline; where not all was
    looked at, it is said."""
    instants = _Instants(design, problem)
    verdict = check(design, problem, deadline=deadline, watch=instants.take)
    if not verdict.holds:
        return verdict
    instants.look(clock.monotonic() + LOOK_SECONDS)
    found = (*instants.meeting.values(), *instants.blinks.values())
    return replace(verdict, notes=(*verdict.notes, *instants.in_words()), instants=found)


def not_looked_at(design: Design, problem: Problem) -> tuple[str, ...]:
    """Return what is to be said of a design that holds where no instant was looked at."""
    instants = _Instants(design, problem)
    instants.unsure.update(r.load for r in problem.requirements)
    return tuple(instants.in_words())


class _Instants:
    """What loads do at the moments between two states of rest, cone by cone."""

    def __init__(self, design: Design, problem: Problem) -> None:
        self.problem = problem
        self.moving = any(part.type in CONTROLLED for part in design.parts)
        self.alike = sensed_alike(design)
        self.explored: list[tuple[Explorer, bool]] = []
        self.blinks: dict[str, Instant] = {}
        self.meeting: dict[tuple[str, str], Instant] = {}
        self.unsure: set[str] = set()
        """Loads of which not all moments were looked at."""
        self.sensed: dict[tuple[str, str], list[str]] = {}
        """Inputs that several parts sense on which it depends whether two loads meet."""

    def take(self, explorer: Explorer, orders: bool) -> None:
        """Keep a cone that was explored, and whether other orders lead elsewhere."""
        if explorer.cone.loads or explorer.apart:
            self.explored.append((explorer, orders))

    def look(self, deadline: float) -> None:
        """Look at every event of the cones at which several parts move."""
        for explorer, orders in self.explored:
            met = explorer.met
            if met and explorer.world.knows:
                # What held for inputs that may change at will was not asked with what is known.
                explorer.budget = Budget(deadline, len(explorer.met) * FURTHER + MOST_MOMENTS)
                try:
                    explorer.explore(orders, facts=True, first_only=True)
                    met = explorer.met
                except Undecided:
                    pass
            names = {n for _, pair in explorer.apart for n in (pair.first, pair.second)}
            for _, pair in explorer.apart:
                self.sensed[pair.first, pair.second] = [
                    name
                    for name, parts in self.alike.items()
                    if len(explorer.cone.parts & {*parts}) > 1
                ]
            for (state, vector, due), (node, event) in met.items():
                moments = _Moments.of(explorer.circuit, state, vector, due, deadline)
                if moments is None:
                    self.unsure.update((*explorer.cone.loads, *names))
                    break
                self._judge(explorer, moments, node, event)

    def _judge(
        self, explorer: Explorer, moments: _Moments, node: Node | None, event: Event
    ) -> None:
        """Keep what loads do wrong at these moments, the first time that each does."""
        bits = explorer.circuit.load_bits
        before = 0 if node is None else node.on
        for load in explorer.cone.loads:
            order = moments.blink(bits[load], before) if load not in self.blinks else None
            if order is not None:
                comes_on = not moments.after & bits[load]
                path = explorer.path_to(node, event)
                self.blinks[load] = self._told(explorer, path, order, load, "", comes_on)
        for both, pair in explorer.apart:
            names = (pair.first, pair.second)
            order = moments.meeting(both) if names not in self.meeting else None
            if order is not None:
                path = explorer.path_to(node, event)
                self.meeting[names] = self._told(explorer, path, order, *names, True)

    def _told(
        self,
        explorer: Explorer,
        path: Sequence[Event],
        order: _Order,
        load: str,
        partner: str,
        on: bool,
    ) -> Instant:
        circuit = explorer.circuit
        times = event_times(explorer, path)
        when = when_in_words(self.problem, moments_of(circuit, path, times))
        return Instant(
            load, partner, on, when, circuit.names(order.quick), circuit.names(order.slow)
        )

    def in_words(self) -> Iterator[str]:
        """Yield it all, what must never be on together first."""
        if not self.moving:
            return
        for pair in self.problem.apart:
            both = f"{pair.first} and {pair.second}"
            known = self.meeting.get((pair.first, pair.second))
            alike = listed(f"'{n}'" for n in self.sensed.get((pair.first, pair.second), ()))
            if known is not None:
                yield known.in_words()
            elif self.unsure & {pair.first, pair.second}:
                yield (
                    f"{both} are never on together at rest, nor for an instant while all parts "
                    "move at once; not all other orders of moving were looked at for an instant, "
                    "so what must not even then needs an interlock of its own"
                )
            elif alike:
                yield (
                    f"{both} are never on together, not for an instant, whichever part moves "
                    f"first, as long as those that sense {alike} change over at the same moment"
                )
            else:
                yield (
                    f"{both} are never on together, not for an instant, whichever part moves first"
                )
        loads = [r.load for r in self.problem.requirements]
        yield from (self.blinks[load].in_words() for load in loads if load in self.blinks)
        missing = [load for load in loads if load in self.unsure and load not in self.blinks]
        if missing:
            yield (
                f"what {listed(missing)} may do for an instant, where one part is quicker than "
                "another, was not all looked at: there are too many orders of moving"
            )


_Moment = tuple[State, int]
"""Where the parts stand, and which timers have not yet acted on their expiry."""


@dataclass
class _Moments:
    """All moments of one event, from its first on: the loads that are on in each, what can follow
    by which parts moving, and the loads that are on in the end."""

    first: _Moment
    on: dict[_Moment, int]
    next: dict[_Moment, list[tuple[_Moment, tuple[int, ...]]]]
    after: int

    @classmethod
    def of(
        cls, circuit: Circuit, state: State, vector: int, due: int, deadline: float
    ) -> _Moments | None:
        """Return the moments of an event, None where there are too many, or time is up."""
        first = (state, due)
        found = cls(first, {}, {}, 0)
        waiting = [first]
        while waiting:
            moment = waiting.pop()
            if moment in found.on:
                continue
            if len(found.on) >= MOST_MOMENTS or clock.monotonic() > deadline:
                return None
            found.on[moment], steps = one_by_one(circuit, moment[0], vector, moment[1])
            if steps is None:
                return None
            ways = [((after, left), moved) for moved, after, left in steps]
            found.next[moment] = ways
            waiting += [after for after, _ in ways]
            if not steps:
                found.after = found.on[moment]
        return found

    def meeting(self, both: int) -> _Order | None:
        """Return when all loads of a mask first are on together, None if never."""
        return self.first_with(lambda on: on & both == both)

    def blink(self, bit: int, before: int) -> _Order | None:
        """Return when a load first is what it was not before and will not be, or is again what it
        was, None if never."""
        if (before ^ self.after) & bit:
            # It changes, as it must: the wrong is to change back.
            return self.first_with(
                lambda on: not (on ^ before) & bit, lambda on: not (on ^ self.after) & bit
            )
        return self.first_with(lambda on: bool((on ^ self.after) & bit))

    def first_with(
        self, wrong: Callable[[int], bool], behind: Callable[[int], bool] = lambda on: True
    ) -> _Order | None:
        """Return how the first moment comes about of which the loads that are on are `wrong`, one
        right behind a moment in which they are as `behind` says; None if there is none."""
        came: dict[_Moment, tuple[_Moment, tuple[int, ...]] | None] = {self.first: None}
        waiting = [self.first]
        for moment in waiting:
            for after, moved in self.next[moment]:
                if wrong(self.on[after]) and behind(self.on[moment]):
                    quick = dict.fromkeys(moved)
                    step = came[moment]
                    while step is not None:
                        quick.update(dict.fromkeys(step[1]))
                        step = came[step[0]]
                    slow = self._ending(after, wrong)
                    only = tuple(i for i in sorted(quick) if i not in slow)
                    return _Order(only or tuple(sorted(quick)), slow)
                if after not in came:
                    came[after] = (moment, moved)
                    waiting.append(after)
        return None

    def _ending(self, start: _Moment, wrong: Callable[[int], bool]) -> tuple[int, ...]:
        """Return the parts that move last on a shortest way to where nothing is wrong."""
        waiting, known = [start], {start}
        for moment in waiting:
            for after, moved in self.next[moment]:
                if not wrong(self.on[after]):
                    return tuple(sorted(moved))
                if after not in known:
                    known.add(after)
                    waiting.append(after)
        return ()
