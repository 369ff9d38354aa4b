"""What loads may do for an instant where the parts of a circuit do not all move at once.

The check judges loads at rest, in whatever order parts move, and for every instant while all that
are excited move together ("What a circuit means"). Real parts are not equally quick: between two
states of rest one of them may have moved and another not yet. Here every such moment is looked at,
for a design that holds. What is found is no defect; who wires the circuit should know of it.
(Hazards of contact networks: D. A. Huffman, "The design and use of hazard-free switching networks",
1957, from memory.)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from synth.check.circuit import Circuit, State
from synth.check.cones import cones
from synth.check.explore import Budget, Event, Explorer
from synth.check.settle import one_by_one
from synth.check.verdict import explore_cone
from synth.check.witness import event_times, moments_of, when_in_words
from synth.design import Design
from synth.errors import Undecided
from synth.parts.behaviour import CONTROLLED
from synth.problem import Problem
from synth.wording import listed

MOST_MOMENTS = 5000
"""So many moments of one event are looked at at most."""


@dataclass(frozen=True)
class _Instant:
    """Something that is so for an instant: these parts (slots) have moved, those have not yet."""

    quick: tuple[int, ...]
    slow: tuple[int, ...]


def instants_in_words(
    design: Design, problem: Problem, deadline: float | None = None, most_states: int = 500_000
) -> tuple[str, ...]:
    """Return, in sentences, what loads of a design that holds may do for an instant: come on or go
    off while they should not, or be on together where they never should.

    `deadline` is a reading of `time.monotonic()`. Where it passes, or there are too many orders or
    states, it is said that not all was looked at.
    """
    if not any(part.type in CONTROLLED for part in design.parts):
        return ()
    budget = Budget(deadline, most_states)
    blinks: dict[str, str] = {}
    meeting: dict[tuple[str, str], str] = {}
    unsure: set[str] = set()
    for cone in cones(design, problem):
        names = {*cone.loads, *(name for a in cone.apart for name in (a.first, a.second))}
        try:
            look = _Look(Explorer(design, problem, cone, budget), problem)
            look.at_all()
        except Undecided:
            unsure |= names
            continue
        unsure |= names if look.cut_short else set()
        blinks |= look.blinks
        meeting |= look.meeting
    told = []
    for pair in problem.apart:
        both = f"{pair.first} and {pair.second}"
        known = meeting.get((pair.first, pair.second))
        if known is not None:
            told.append(
                f"{both} may be on together for an instant {known}: what must not even then needs "
                "an interlock of its own"
            )
        elif unsure & {pair.first, pair.second}:
            told.append(
                f"{both} are never on together at rest, nor for an instant while all parts move at "
                "once; other orders of moving were too many to look for an instant in all of them"
            )
        else:
            told.append(
                f"{both} are never on together, not for an instant, whichever part moves first"
            )
    loads = [r.load for r in problem.requirements]
    told += [f"{load} {blinks[load]}" for load in loads if load in blinks]
    if set(loads) & unsure - set(blinks):
        missing = [load for load in loads if load in unsure and load not in blinks]
        told.append(
            f"there are too many orders in which parts may move to tell of {listed(missing)} what "
            "happens for an instant"
        )
    return tuple(told)


class _Look:
    """Looks at all moments between two states of rest of one cone."""

    def __init__(self, explorer: Explorer, problem: Problem) -> None:
        self.explorer, self.problem = explorer, problem
        self.blinks: dict[str, str] = {}
        self.meeting: dict[tuple[str, str], str] = {}
        self.cut_short = False

    def at_all(self) -> None:
        """Look at every event at which several parts move; raises Undecided like a check."""
        explorer = self.explorer
        explorer.remember()
        explore_cone(explorer, True)
        bits = explorer.circuit.load_bits
        for (state, vector, due), (node, event) in explorer.met.items():
            explorer.budget.look()
            path = explorer.path_to(node, event)
            moments = _Moments.of(explorer.circuit, state, vector, due)
            if moments is None:
                self.cut_short = True
                continue
            before = 0 if node is None else node.on
            for load in explorer.cone.loads:
                if load not in self.blinks:
                    instant = moments.blink(bits[load], before)
                    if instant is not None:
                        verb = "go off" if moments.after & bits[load] else "come on"
                        told = self._told(path, instant)
                        self.blinks[load] = f"may {verb} for an instant {told}"
            for both, pair in explorer.apart:
                names = (pair.first, pair.second)
                if names not in self.meeting:
                    instant = moments.meeting(both)
                    if instant is not None:
                        self.meeting[names] = self._told(path, instant)

    def _told(self, path: Sequence[Event], instant: _Instant) -> str:
        circuit = self.explorer.circuit
        times = event_times(self.explorer, path)
        when = when_in_words(self.problem, moments_of(circuit, path, times))
        quick, slow = circuit.names(instant.quick), circuit.names(instant.slow)
        are = "is" if len(quick) == 1 else "are"
        return f"{when}, where {listed(quick)} {are} quicker than {listed(slow)}"


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

    def meeting(self, both: int) -> _Instant | None:
        """Return when all loads of a mask first are on together, None if never."""
        return self.first_with(lambda on: on & both == both)

    def blink(self, bit: int, before: int) -> _Instant | None:
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
    ) -> _Instant | None:
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
                    return _Instant(only or tuple(sorted(quick)), slow)
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
