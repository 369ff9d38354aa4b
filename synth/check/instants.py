"""What loads may do for an instant where the parts of a circuit do not all move at once.

The check judges loads at rest, in whatever order parts move, and for every instant while all that
are excited move together ("What a circuit means"). Real parts are not equally quick: between two
states of rest one of them may have moved and another not yet. Here every such moment is looked at,
for a design that holds. What is found is no defect; who wires the circuit should know of it.
(Hazards of contact networks: D. A. Huffman, "The design and use of hazard-free switching networks",
1957, from memory.)
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from synth.check.circuit import Circuit, State
from synth.check.explore import Event, Explorer
from synth.check.settle import one_by_one
from synth.check.verdict import check
from synth.check.witness import event_times, moments_of, when_in_words
from synth.design import Design
from synth.parts.behaviour import CONTROLLED
from synth.problem import Problem
from synth.result import Instant, Verdict
from synth.wording import listed

MOST_MOMENTS = 5000
"""So many moments of one event are looked at at most."""


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
    they never should. Where there are too many orders of moving, it is said that not all were
    looked at."""
    instants = _Instants(problem)
    verdict = check(design, problem, deadline=deadline, watch=instants.look)
    if not verdict.holds or not any(part.type in CONTROLLED for part in design.parts):
        return verdict
    found = (*instants.meeting.values(), *instants.blinks.values())
    return replace(verdict, notes=(*verdict.notes, *instants.in_words()), instants=found)


class _Instants:
    """What loads do at the moments between two states of rest, cone by cone."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.blinks: dict[str, Instant] = {}
        self.meeting: dict[tuple[str, str], Instant] = {}
        self.unsure: set[str] = set()
        """Loads of which not all moments were looked at."""

    def look(self, explorer: Explorer) -> None:
        """Look at every event of an explored cone at which several parts move."""
        bits = explorer.circuit.load_bits
        for (state, vector, due), (node, event) in explorer.met.items():
            moments = None
            if not explorer.budget.used_up():
                moments = _Moments.of(explorer.circuit, state, vector, due)
            if moments is None:
                self.unsure.update(explorer.cone.loads)
                self.unsure.update(n for a in explorer.cone.apart for n in (a.first, a.second))
                continue
            before = 0 if node is None else node.on
            for load in explorer.cone.loads:
                if load not in self.blinks:
                    order = moments.blink(bits[load], before)
                    if order is not None:
                        comes_on = not moments.after & bits[load]
                        path = explorer.path_to(node, event)
                        self.blinks[load] = self._told(explorer, path, order, load, "", comes_on)
            for both, pair in explorer.apart:
                names = (pair.first, pair.second)
                if names not in self.meeting:
                    order = moments.meeting(both)
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
        for pair in self.problem.apart:
            both = f"{pair.first} and {pair.second}"
            known = self.meeting.get((pair.first, pair.second))
            if known is not None:
                yield known.in_words()
            elif self.unsure & {pair.first, pair.second}:
                yield (
                    f"{both} are never on together at rest, nor for an instant while all parts "
                    "move at once; other orders of moving were too many to look for an instant in "
                    "all of them"
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
                "there are too many orders in which parts may move to tell of "
                f"{listed(missing)} what happens for an instant"
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
    def of(cls, circuit: Circuit, state: State, vector: int, due: int) -> _Moments | None:
        """Return the moments of an event, None where there are too many."""
        first = (state, due)
        found = cls(first, {}, {}, 0)
        waiting = [first]
        while waiting:
            moment = waiting.pop()
            if moment in found.on:
                continue
            if len(found.on) >= MOST_MOMENTS:
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
