"""The order of events: can two designs that differ in their times alone be told apart by it?

Both are walked through side by side, from the first rise of the supply. At each step the events
that can come next are compared: which clocks expire together, which inputs change, in which
order the parts then move. What an event leads to is settled by the states of the parts and not by
the times, and each zone holds just the clock values that its own run of events can lead to, so
runs are equal as long as these sets are. Where all sets are equal, each design can go through
every run of events of the other, and no more: the order of events is the same.

The circuits of loads that share an input, relay or timer are walked together; where that takes too
many states, together as far as so many events from the first rise of the supply, and each by itself
to the end. Circuits that share nothing but the supply are walked apart, as in the check; nothing is
said of how the events of one lie between those of the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from synth.check.circuit import Circuit
from synth.check.cones import cones, shared, whole
from synth.check.explore import Budget, Discrete, Event, Explorer, Node
from synth.check.verdict import most_units
from synth.check.zones import Zone
from synth.design import Design
from synth.errors import Undecided
from synth.problem import Problem
from synth.settings_sheet import Together

TO_THE_END = 400
"""States up to which circuits that share something are walked together to the end."""
TOGETHER_EVENTS = 12
"""How many events deep they are walked together else: the longer the runs that are to keep their
order, the finer must be the times, until only those in proportion to the real ones are left."""
MOST_TOGETHER = 4_000
"""States up to which they are walked so deep."""
AHEAD = 2_000
"""Events that are followed at most beyond a difference, while nothing but time passes."""


@dataclass(frozen=True)
class Bound:
    """In a run, `later` comes `time` ticks after `first` (`exact`), or sooner than that.

    Events are numbered from 0, the first rise of the supply; each comes after the one before it
    by more than nothing. `time` is that of the first design.
    """

    first: int
    later: int
    time: int
    exact: bool


@dataclass(frozen=True)
class Difference:
    """A run of events that only one of two designs can go through (`in_first`: the first).

    The run can be gone through just if its events can be placed in time within `bounds`.
    `beyond` are the bounds of a longer run that begins with it, which the first can go through;
    empty unless `in_first`.
    """

    in_first: bool
    bounds: tuple[Bound, ...]
    beyond: tuple[Bound, ...] = ()


@dataclass(slots=True)
class _Pair:
    """Two states that the same run of events leads to."""

    first: Node
    second: Node
    parent: _Pair | None
    event: Event
    events: int


class Events:
    """All events of a design that holds, in every order in which they can come.

    `like`: honour what is known of when inputs change where that one does; else it is honoured for
    those circuits alone whose goals need it. `apart`: leave runs out of account in which an input
    changes at the very instant at which a time of the circuit is up. `together` says of circuits
    that share something how far they are walked as one. Raises Undecided when `deadline` (a reading
    of `time.monotonic()`) or `most_states` do not suffice.
    """

    def __init__(
        self,
        design: Design,
        problem: Problem,
        *,
        deadline: float | None = None,
        most_states: int = 500_000,
        like: Events | None = None,
        apart: bool = False,
    ) -> None:
        budget = Budget(deadline, most_states)
        self.apart: bool = apart if like is None else like.apart
        self.most_states = most_states
        alone = cones(design, problem)
        to_walk = list(alone)
        if problem.peak is not None:
            most, _ = most_units(design, problem, budget)
            if most is None or most > problem.peak.units:
                to_walk.append(whole(design, problem))
        self.explorers: list[Explorer] = []
        self.facts: list[bool] = []
        self._following: list[dict[_Key, _After]] = []
        self._starts: list[_After | None] = []
        for at, cone in enumerate(to_walk):
            explorer = Explorer(design, problem, cone, budget)
            if like is not None:
                facts = like.facts[at]
            else:
                facts = explorer.world.knows and bool(
                    explorer.explore(True, facts=False, first_only=True).findings
                )
            self._take(explorer, facts)
        self.depths: list[int | None] = [None] * len(to_walk)
        """How many events from the first rise of the supply each is walked; None: to the end."""
        self.together: tuple[Together, ...] = ()
        for cone, members in shared(design, problem, alone):
            at = len(self.explorers)
            # Alone, each keeps its goals without them or not; together they do just if all do.
            facts = any(self.facts[member] for member in members)
            self._take(Explorer(design, problem, cone, budget), facts)
            self.depths.append(self._depth(at) if like is None else like.depths[at])
            if len(cone.loads) > 1:
                self.together += (Together(cone.loads, self.depths[at]),)

    def _take(self, explorer: Explorer, facts: bool) -> None:
        explorer.world.honour(facts)
        self.explorers.append(explorer)
        self.facts.append(facts)
        self._following.append({})
        self._starts.append(None)

    def _depth(self, at: int) -> int | None:
        """Return how many events deep a circuit of several loads is walked, None: to the end."""
        seen: set[_Key] = set()
        layer = list(filter(None, self._next(at, None).values()))
        depth = 1
        while layer:
            following: list[Node] = []
            for node in layer:
                if node.key not in seen:
                    seen.add(node.key)
                    many = len(seen) > (MOST_TOGETHER if depth < TOGETHER_EVENTS else TO_THE_END)
                    if many:
                        return min(depth, TOGETHER_EVENTS)
                    following += filter(None, self._next(at, node).values())
            layer = following
            depth += 1
        return None

    def retimed(self, times: Mapping[int, int]) -> Events:
        """Return the events of the same design, where each time of `times` is another (ticks)."""
        other = object.__new__(Events)
        other.most_states = self.most_states
        other.apart = self.apart
        other.facts = self.facts
        other.depths, other.together = self.depths, self.together
        other.explorers = [_Retimed(explorer, times) for explorer in self.explorers]
        other._following = [{} for _ in self.explorers]
        other._starts = [None for _ in self.explorers]
        return other

    def differences_with(self, times: Mapping[int, int]) -> tuple[Difference, ...]:
        """Return `differences` from the same design with other times (ticks to ticks)."""
        return self.differences(self.retimed(times))

    def differences_from(self, design: Design, problem: Problem) -> tuple[Difference, ...]:
        """Return `differences` from a design and goals of their own, built anew from nothing."""
        deadline = self.explorers[0].budget.deadline if self.explorers else None
        other = Events(design, problem, deadline=deadline, most_states=self.most_states, like=self)
        return self.differences(other)

    def differences(self, other: Events) -> tuple[Difference, ...]:
        """Return the first differences that a walk through both meets; none: the order is the same.

        Both must have the same parts, wires and goals, but for the times.
        """
        for at, (one, two) in enumerate(zip(self.explorers, other.explorers, strict=True)):
            if not _same_circuit(one.circuit, two.circuit):
                raise Undecided("two designs that differ in more than their times")
            one.budget.states = self.most_states
            found = self._walk(at, other)
            if found:
                return found
        return ()

    def _next(self, at: int, node: Node | None) -> _After:
        explorer = self.explorers[at]
        if node is None:
            known = self._starts[at]
            if known is None:
                known = self._starts[at] = self._by_event(explorer, None)
            return known
        known = self._following[at].get(node.key)
        if known is None:
            explorer.budget.spend()
            known = self._following[at][node.key] = self._by_event(explorer, node)
        return known

    def _by_event(self, explorer: Explorer, node: Node | None) -> _After:
        failing: list[Event] = []
        after = explorer.following(node, True, failing.append)
        found: _After = dict.fromkeys(failing)
        for each in after:
            assert each.event is not None
            each.parent = None
            found[each.event] = each
        if not self.apart or node is None:
            return found
        # The world's own clocks say when an input may change, so they may be up just then.
        return {
            event: each
            for event, each in found.items()
            if event.vector == node.key[0][1]
            or not any(clock < explorer.env_base for clock in event.due)
        }

    def _walk(self, at: int, other: Events) -> tuple[Difference, ...]:
        explorer = self.explorers[at]
        most = self.depths[at]
        seen: set[tuple[_Key, _Key]] = set()
        waiting: list[_Pair] = []

        def compare(above: _Pair | None) -> tuple[Difference, ...]:
            one = self._next(at, above.first if above is not None else None)
            two = other._next(at, above.second if above is not None else None)
            if one.keys() != two.keys():
                return tuple(
                    [self._difference(at, above, event, one.get(event)) for event in one
                     if event not in two]
                    + [self._difference(at, above, event, None) for event in two
                       if event not in one]
                )  # fmt: skip
            for event, first in one.items():
                second = two[event]
                if first is None or second is None or first.key[0] != second.key[0]:
                    raise Undecided("the same event leads to different states")
                key = (first.key, second.key)
                if key not in seen:
                    seen.add(key)
                    events = 1 if above is None else above.events + 1
                    if most is None or events < most:
                        waiting.append(_Pair(first, second, above, event, events))
            return ()

        found = compare(None)
        place = 0
        while not found and place < len(waiting):
            explorer.budget.look()
            found = compare(waiting[place])
            place += 1
        return found

    def _difference(
        self, at: int, above: _Pair | None, event: Event, reached: Node | None
    ) -> Difference:
        """Return the difference that `event` makes after `above`; `reached`: where it leads to in
        the first design, None when only the second can go there."""
        steps: list[tuple[Event, Discrete | None]] = []
        pair = above
        while pair is not None:
            steps.append((pair.event, pair.first.key[0]))
            pair = pair.parent
        steps.reverse()
        run = _Run(self.explorers[at])
        for done, discrete in steps:
            run.add(done, discrete)
        run.add(event, reached.key[0] if reached is not None else None)
        bounds = tuple(run.bounds)
        if reached is None:
            return Difference(False, bounds)
        begun = {clock for clock, _ in run.running()}
        node = reached
        most = self.depths[at]
        for _ in range(AHEAD if most is None else most - run.events):
            if not begun:
                break
            later = [(e, n) for e, n in self._next(at, node).items()
                     if n is not None and e.due and e.vector == node.key[0][1]]  # fmt: skip
            if not later:
                break
            event, node = later[0]
            begun = run.add(event, node.key[0], begun)
        return Difference(True, bounds, tuple(run.bounds))


_Key = tuple[Discrete, tuple[tuple[int, ...], ...], Zone]
_After = dict[Event, Node | None]
"""What each event that can come next leads to; None: there a goal fails."""


class _Run:
    """One run of events as it grows, with the bounds that its clocks put on it."""

    def __init__(self, explorer: Explorer) -> None:
        self.explorer = explorer
        self.born: dict[int, int] = {}
        self.bounds: list[Bound] = []
        self.events = 0
        self.now: Discrete | None = None

    def running(self) -> list[tuple[int, int]]:
        """Return (clock, its time in ticks) for each clock that runs."""
        return self.explorer.clocks(self.now) if self.now is not None else []

    def add(
        self, event: Event, after: Discrete | None, watched: set[int] | None = None
    ) -> set[int]:
        """Let `event` happen, which leads to `after`; return which of `watched` go on running."""
        for clock, time in self.running():
            due = clock in event.due
            self.bounds.append(Bound(self.born[clock], self.events, time, due))
        if after is not None:
            fresh = self.explorer.started(self.now, event)
            before = self.born
            self.now = after
            self.born = {
                clock: self.events if fresh >> clock & 1 else before[clock]
                for clock, _ in self.running()
            }
        self.events += 1
        return {c for c in watched or () if self.born.get(c, self.events) < self.events - 1}


class _Retimed(Explorer):
    """Explores the same circuit with other times; all that times do not bear on is shared."""

    def __init__(self, explorer: Explorer, times: Mapping[int, int]) -> None:
        self.__dict__.update(explorer.__dict__)
        self._times = times
        self._sources = {}  # holds deadlines

    def clocks(self, discrete: Discrete) -> list[tuple[int, int]]:
        """Return (number, deadline in ticks) of every clock that runs, by number."""
        times = self._times
        return [(clock, times.get(time, time)) for clock, time in super().clocks(discrete)]


def _same_circuit(one: Circuit, two: Circuit) -> bool:
    return one.inputs == two.inputs and [p.name for p in one.parts] == [p.name for p in two.parts]
