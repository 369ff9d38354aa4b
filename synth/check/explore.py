"""Every reachable state of one cone in dense time, the shortest way to each defect first.

The parts and the required signals run side by side. A node of the search is a settled state with
the zone of all clock values that any wait from it can lead to; an event is a set of clocks that
expire together, with or without changes of inputs, or inputs that change strictly before any
expiry. Inputs take every allowed set of levels at any moment. Clocks that started at the same
instant share one variable of the zone.
"""

from __future__ import annotations

import heapq
import time as clock
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import combinations

from synth.check.circuit import Circuit, State
from synth.check.cones import Cone
from synth.check.settle import Other, Settled, every_order, settle
from synth.check.world import World
from synth.check.zones import ZERO, Zone, chosen, expiries, waited
from synth.design import Design
from synth.errors import Undecided
from synth.problem import Problem
from synth.result import Fault


@dataclass(frozen=True, slots=True)
class Event:
    """One event on a path: clocks that expire (their numbers), input levels from then on, and
    the order in which the parts move when it is not all together."""

    due: tuple[int, ...]
    vector: int
    order: Other | None = None


@dataclass(frozen=True)
class Finding:
    """A defect with the path of events that leads to it."""

    fault: Fault
    path: tuple[Event, ...]
    load: str = ""
    expected: bool | None = None
    got: bool | None = None
    slots: tuple[int, ...] = ()
    """The parts that chatter."""
    partner: str = ""
    """The other load, of two that must never be on together."""
    units: int = 0
    """The units in use, where they are too many."""
    goals: tuple[int, ...] = ()


@dataclass
class Explored:
    """What an exploration found: findings (none: all explored and all well), states counted, and
    the loads that are on in some of them, as bits of the circuit."""

    states: int = 0
    ever_on: int = 0
    findings: list[Finding] = field(default_factory=list)


@dataclass
class Budget:
    """How long and how far an exploration may go; shared by all cones of a check."""

    deadline: float | None
    states: int

    def spend(self) -> None:
        """Count one state; raises Undecided when time or states are used up."""
        self.states -= 1
        if self.states < 0:
            raise Undecided("too many states to explore; nothing can be said about the design")
        self.look()

    def used_up(self) -> bool:
        """Return whether nothing is left to spend."""
        late = self.deadline is not None and clock.monotonic() > self.deadline
        return late or self.states <= 0

    def look(self) -> None:
        """Raises Undecided when the time is up."""
        if self.deadline is not None and clock.monotonic() > self.deadline:
            raise Undecided("the time ran out before every state was explored")


_Members = tuple[tuple[int, ...], ...]
"""For each variable of a zone the clocks that share it."""

Discrete = tuple[State, int, tuple[int, ...], int]
"""Parts, input levels, required signals, environment clocks that run."""

_Key = tuple[Discrete, _Members, Zone]


@dataclass(slots=True)
class Node:
    """A settled state with all clock values that a wait can lead to, and how it was reached."""

    key: _Key
    on: int
    parent: Node | None
    event: Event | None


_Sharing = tuple[tuple[int, ...], tuple[int, ...], _Members, tuple[tuple[int, int], ...]]
"""Of each variable the old one that it is (0: it starts now), the deadline and the clocks; and
where in a zone it shows that two of the old ones are equal."""

Push = Callable[[Node, tuple[int, int]], None]
Report = Callable[[list[Finding], tuple[int, int]], None]


class Explorer:
    """Explores one cone of a design.

    Clock numbers: the circuit's parts first, then the slots of the signal machine, then for each
    input of which times are known one for the least and one for the most time of its level.
    """

    def __init__(self, design: Design, problem: Problem, cone: Cone, budget: Budget) -> None:
        self.cone, self.problem, self.budget = cone, problem, budget
        self.circuit = Circuit(design, problem.kit, cone.inputs, cone.parts)
        self.machine = cone.machine
        self.signal_base = len(self.circuit.parts)
        self.env_base = self.signal_base + len(self.machine.nodes)
        self.supply = self.circuit.bits["supply"]
        bits = self.circuit.load_bits
        self.judged = sum(bits[name] for name in cone.loads)
        self.apart = [
            (bits[a.first] | bits[a.second], a)
            for a in cone.apart
            if a.first in bits and a.second in bits and a.first != a.second
        ]
        self.world = World(problem, cone, self.circuit, self.env_base)
        self._levels: dict[int, dict[str, bool]] = {}
        self._settled: dict[tuple[State, int, int], Settled] = {}
        self._others: dict[tuple[State, int, int], tuple[Other, ...]] = {}
        self._reactions: dict[
            tuple[tuple[int, ...], int, int], tuple[tuple[int, ...], int, int]
        ] = {}
        self._expiries: dict[tuple[Zone, tuple[int, ...]], tuple[tuple[int, Zone], ...]] = {}
        self._sources: dict[tuple[Discrete, _Members, int], _Sharing] = {}
        self._waits: dict[tuple[Zone, tuple[int, ...], tuple[int, ...]], Zone] = {}
        self._circuit_clocks: dict[State, tuple[tuple[int, int], ...]] = {}
        self._signal_clocks: dict[tuple[int, ...], tuple[tuple[int, int], ...]] = {}
        self._units: dict[tuple[State, int], int] = {}
        self.met: dict[tuple[State, int, int], tuple[Node | None, Event]] = {}
        """If it is to `remember` them: what came before each event at which several parts move."""
        self._remembers = False
        self.measuring = False
        """Only find the most units in use, judge nothing by them."""
        self.most_units = 0

    # What parts and required signals do, each worked out once

    def settled(self, state: State, vector: int, due: int) -> Settled:
        """Return `settle` of the circuit, remembered."""
        key = (state, vector, due)
        known = self._settled.get(key)
        if known is None:
            known = self._settled[key] = settle(self.circuit, state, vector, due)
        return known

    def others(self, state: State, vector: int, due: int) -> tuple[Other, ...]:
        """Return the settled states that only some other order leads to."""
        key = (state, vector, due)
        known = self._others.get(key)
        if known is None:
            together = self.settled(state, vector, due)
            known = ()
            if together.several:
                known = tuple(
                    other
                    for other in every_order(self.circuit, state, vector, due)
                    if other.chatter or (other.state, other.anew) != (together.state, together.anew)
                )
            self._others[key] = known
        return known

    def reaction(
        self, state: tuple[int, ...], vector: int, due: int
    ) -> tuple[tuple[int, ...], int, int]:
        """Return (signals' state, loads wanted on, signal clocks that start now), remembered."""
        key = (state, vector, due)
        known = self._reactions.get(key)
        if known is None:
            levels = self._levels.get(vector)
            if levels is None:
                levels = {n: vector & bit != 0 for n, bit in self.circuit.bits.items()}
                self._levels[vector] = levels
            slots = tuple(i for i in range(len(state)) if due >> i & 1)
            new, wanted, anew = self.machine.react(state, levels, slots)
            bits = self.circuit.load_bits
            mask = sum(bits[name] for name, on in wanted.items() if on and name in bits)
            known = (new, mask, sum(1 << slot for slot in anew))
            self._reactions[key] = known
        return known

    def clocks(self, discrete: Discrete) -> list[tuple[int, int]]:
        """Return (number, deadline in ticks) of every clock that runs, by number."""
        state, vector, signals, env = discrete
        own = self._circuit_clocks.get(state)
        if own is None:
            limits = [(i, part.limit(state[i])) for i, part in enumerate(self.circuit.parts)]
            own = self._circuit_clocks[state] = tuple(pair for pair in limits if pair[1])
        wanted = self._signal_clocks.get(signals)
        if wanted is None:
            limits = [
                (self.signal_base + i, self.machine.limit(i, value))
                for i, value in enumerate(signals)
            ]
            wanted = self._signal_clocks[signals] = tuple(pair for pair in limits if pair[1])
        result = [*own, *wanted]
        number = self.env_base
        while env:
            if env & 1:
                result.append((number, self.world.time_known(number, vector)))
            env >>= 1
            number += 1
        return result

    # The search

    def remember(self) -> None:
        """From now on keep how each event came about at which several parts move at once."""
        self._remembers = True

    def explore(self, orders: bool, facts: bool, first_only: bool) -> Explored:
        """Explore all reachable states; `orders`: also those that only other orders lead to;
        `facts`: honour what is known of when inputs change (else they may change at will)."""
        self.world.honour(facts)
        return self._search(orders, first_only)

    def several_outcomes(self) -> list[tuple[State, int, int]]:
        """Return the events met so far whose outcome depends on the order of moving."""
        result = []
        for key, settled in list(self._settled.items()):
            if settled.several and not settled.chatter and self.others(*key):
                result.append(key)
                self.budget.look()
        return result

    def _search(self, orders: bool, first_only: bool) -> Explored:
        explored = Explored()
        self.met = {}
        if not orders and self._steady_and_well(explored):
            return explored
        heap: list[tuple[int, int, int, Node | Finding]] = []
        best: dict[_Key, tuple[int, int]] = {}
        done: set[_Key] = set()
        found: set[tuple[Fault, str]] = set()
        count = further = 0

        def push(node: Node, cost: tuple[int, int]) -> None:
            nonlocal count
            known = best.get(node.key)
            if known is None or cost < known:
                best[node.key] = cost
                count += 1
                heapq.heappush(heap, (*cost, count, node))

        def report(findings: list[Finding], cost: tuple[int, int]) -> None:
            nonlocal count
            for finding in findings:
                if (finding.fault, finding.load) not in found:
                    count += 1
                    heapq.heappush(heap, (*cost, count, finding))

        self._begin(orders, push, report)
        while heap:
            moments, events, _, item = heapq.heappop(heap)
            if isinstance(item, Finding):
                if (item.fault, item.load) not in found:
                    found.add((item.fault, item.load))
                    explored.findings.append(item)
                    if first_only or self._all_named(explored.findings):
                        return explored
                continue
            if item.key in done:
                continue
            if explored.findings:
                # It fails already; what else is wrong is worth looking for, but not for ever.
                further += 1
                if further > 200 + explored.states or self.budget.used_up():
                    return explored
            done.add(item.key)
            self.budget.spend()
            explored.states += 1
            explored.ever_on |= item.on
            self._follow(item, moments, events, orders, push, report)
        return explored

    def _begin(self, orders: bool, push: Push, report: Report) -> None:
        """Let the supply rise, with every set of levels of the other inputs."""
        begun = False
        for vector in self.world.nearest(0):
            if vector & self.supply:
                environment = self.world.environment(0, None, vector, ())
                if environment is None:
                    continue
                begun = True
                self._react(
                    None, (), 0, vector, ZERO_ZONE, environment, orders, push, report, (1, 1)
                )
        if not begun:
            raise Undecided("by what is known of the inputs, power can never come on")

    def following(
        self, node: Node | None, orders: bool, failing: Callable[[Event], None] | None = None
    ) -> list[Node]:
        """Return what each event that can come next leads to, each with its event.

        `node` None: before the supply rises for the first time. `orders`: also what only other
        orders of moving lead to. Known times of inputs count as `world.honour` last said. Where a
        goal fails, what comes after is not followed: `failing` is told, without it Undecided.
        """
        found: list[Node] = []

        def push(after: Node, cost: tuple[int, int]) -> None:
            found.append(after)

        def report(findings: list[Finding], cost: tuple[int, int]) -> None:
            if failing is None:
                raise Undecided("a goal fails here, so what would come next is not asked")
            last = findings[0].path[-1]
            failing(Event(last.due, self.world.stands_for(last.vector), last.order))

        if node is None:
            self._begin(orders, push, report)
        else:
            self._follow(node, 0, 0, orders, push, report)
        return found

    def started(self, before: Discrete | None, event: Event) -> int:
        """Return the clocks that start anew at `event` after the state `before` (a mask)."""
        state, old, signals, env = before or (self.circuit.start, None, self.machine.start, 0)
        inner = sum(1 << c for c in event.due if c < self.env_base)
        parts, slots = inner & ((1 << self.signal_base) - 1), inner >> self.signal_base
        if before is not None and not inner and event.vector == old:
            return 0
        moved = event.order or self.settled(state, event.vector, parts)
        fresh = moved.anew | self.reaction(signals, event.vector, slots)[2] << self.signal_base
        if before is None or self.world.heeds:
            environment = self.world.environment(env, old, event.vector, event.due)
            assert environment is not None
            fresh |= environment[1] << self.env_base
        return fresh

    def _all_named(self, findings: list[Finding]) -> bool:
        """Return whether everything that this cone judges has been found to fail."""
        loads = {finding.load for finding in findings}
        return (
            loads.issuperset(self.cone.loads)
            and loads.issuperset(apart.first for _, apart in self.apart)
            and (not self.cone.peak or any(f.fault is Fault.PEAK for f in findings))
        )

    def _steady_and_well(self, explored: Explored) -> bool:
        """Return True when nothing has a memory and every set of levels is judged well."""
        if self.circuit.parts or self.machine.nodes or self.cone.peak or self.apart:
            return False
        for vector in self.world.vectors:
            if not vector & 255:
                self.budget.look()
            on = self.circuit.loads_on(self.circuit.live((), vector))
            if (on ^ self.reaction((), vector, 0)[1]) & self.judged:
                return False
            explored.ever_on |= on
        explored.states = len(self.world.vectors)
        return True

    def _follow(
        self, node: Node, moments: int, events: int, orders: bool, push: Push, report: Report
    ) -> None:
        discrete, members, zone = node.key
        _, old, _, env = discrete
        deadline = dict(self.clocks(discrete))
        deadlines = tuple([min(deadline[c] for c in shared) for shared in members])
        key = (zone, deadlines)
        ways = self._expiries.get(key)
        if ways is None:
            ways = self._expiries[key] = expiries(zone, deadlines)
        for mask, at in ways:
            due: tuple[int, ...] = ()
            for v, shared in enumerate(members):
                if mask >> v & 1:
                    due += tuple([c for c in shared if deadline[c] == deadlines[v]])
            inner = 0
            for c in due:
                if c < self.env_base:
                    inner |= 1 << c
            for vector in self.world.nearest(old):
                if vector == old and not due:
                    continue
                environment: tuple[int, int] | None = (0, 0)
                if self.world.heeds:
                    environment = self.world.environment(env, old, vector, due)
                    if environment is None:
                        continue
                cost = (
                    moments + (vector != old),
                    events + (vector != old or inner != 0),
                )
                self._react(node, due, inner, vector, at, environment, orders, push, report, cost)

    def _react(
        self,
        node: Node | None,
        due: tuple[int, ...],
        inner: int,
        vector: int,
        at: Zone,
        environment: tuple[int, int] | None,
        orders: bool,
        push: Push,
        report: Report,
        cost: tuple[int, int],
    ) -> None:
        assert environment is not None
        if node is None:
            state, signals, on = self.circuit.start, self.machine.start, 0
            members: _Members = ()
        else:
            (state, _, signals, _), members, _ = node.key
            on = node.on
        if node is not None and not inner and vector == node.key[0][1]:
            # Only the world's own clocks expired: neither parts nor signals notice.
            discrete = (state, vector, signals, environment[0])
            new_members, zone = self._zone(discrete, members, at, 0)
            push(Node((discrete, new_members, zone), on, node, Event(due, vector)), cost)
            return
        parts_due = inner & ((1 << self.signal_base) - 1)
        settled = self.settled(state, vector, parts_due)
        if self._remembers and settled.at_once:
            self.met.setdefault((state, vector, parts_due), (node, Event(due, vector)))
        new_signals, wanted, signals_anew = self.reaction(
            signals, vector, inner >> self.signal_base
        )
        branches: list[tuple[State, int, tuple[int, ...], tuple[int, ...], Other | None]] = [
            (settled.state, settled.anew, settled.loads, settled.chatter, None)
        ]
        if orders:
            branches += [
                (each.state, each.anew, (each.loads,), each.chatter, each)
                for each in self.others(state, vector, parts_due)
            ]
        for new_state, anew, loads, chatter, other in branches:
            new_on = loads[-1]
            bad = chatter or (new_on ^ wanted) & self.judged
            if not bad and (len(loads) > 1 or self.apart or self.cone.peak):
                bad = self._suspicious(on, loads, new_state, vector, other)
            event = Event(due, vector, other)
            if bad:
                found = self._findings(node, event, on, loads, wanted, new_state, chatter)
                # A branch ends only where something wrong can be named.
                if found:
                    report(found, cost)
                    continue
            discrete = (new_state, vector, new_signals, environment[0])
            fresh = anew | signals_anew << self.signal_base | environment[1] << self.env_base
            new_members, zone = self._zone(discrete, members, at, fresh)
            push(Node((discrete, new_members, zone), new_on, node, event), cost)

    def _zone(
        self, discrete: Discrete, members: _Members, at: Zone, fresh: int
    ) -> tuple[_Members, Zone]:
        """Return the clocks that share each variable, and the zone after any wait."""
        asked = (discrete, members, fresh)
        known = self._sources.get(asked)
        if known is None:
            known = self._sources[asked] = self._shared(discrete, members, fresh)
        sources, deadlines, groups, pairs = known
        for one, other in pairs:
            if at[one] == ZERO == at[other]:
                sources, deadlines, groups, _ = self._shared(discrete, members, fresh, at)
                break
        key = (at, sources, deadlines)
        zone = self._waits.get(key)
        if zone is None:
            zone = self._waits[key] = waited(chosen(at, len(members), sources), deadlines)
        return groups, zone

    def _shared(
        self, discrete: Discrete, members: _Members, fresh: int, at: Zone | None = None
    ) -> _Sharing:
        """Return how the clocks that run share variables: those that start now, those that did,
        and those that are equal in the zone `at`."""
        source = {c: v + 1 for v, shared in enumerate(members) for c in shared}
        size = len(members) + 1
        groups: dict[int, list[int]] = {}
        least: dict[int, int] = {}
        for c, deadline in self.clocks(discrete):
            origin = 0 if fresh >> c & 1 else source[c]
            if origin and at is not None and origin not in groups:
                for other in groups:
                    if other and at[origin * size + other] == ZERO == at[other * size + origin]:
                        origin = other
                        break
            groups.setdefault(origin, []).append(c)
            least[origin] = min(least.get(origin, deadline), deadline)
        pairs = [(a * size + b, b * size + a) for a, b in combinations(filter(None, groups), 2)]
        together = tuple([tuple(shared) for shared in groups.values()])
        return tuple(groups), tuple(least.values()), together, tuple(pairs)

    # Judging one event

    def units(self, state: State, vector: int) -> int:
        """Return the units in use in a settled state, remembered."""
        key = (state, vector)
        if key not in self._units:
            self._units[key] = self.circuit.units_in_use(state, vector)
        return self._units[key]

    def _blinking(self, on: int, loads: tuple[int, ...]) -> int:
        once = twice = 0
        for mask in loads:
            changed = on ^ mask
            twice |= once & changed
            once |= changed
            on = mask
        return twice & self.judged

    def _suspicious(
        self, on: int, loads: tuple[int, ...], state: State, vector: int, other: Other | None
    ) -> bool:
        if other is None and len(loads) > 1 and self._blinking(on, loads):
            return True
        for pair, _ in self.apart:
            if any(mask & pair == pair for mask in loads):
                return True
        peak = self.problem.peak
        if not self.cone.peak or peak is None:
            return False
        used = self.units(state, vector)
        self.most_units = max(self.most_units, used)
        return used > peak.units and not self.measuring

    def path_to(self, node: Node | None, event: Event) -> tuple[Event, ...]:
        """Return all events from the start to `event`, which comes after `node`."""
        path = [event]
        above = node
        while above is not None:
            assert above.event is not None
            path.append(above.event)
            above = above.parent
        return self._as_found(tuple(reversed(path)))

    def _as_found(self, path: tuple[Event, ...]) -> tuple[Event, ...]:
        """Return the path with input levels that act alike, but change as few inputs as can be."""
        result: list[Event] = []
        before = 0
        for event in path:
            vector = before
            if event.vector != self.world.stands_for(before) or not result:
                vector = self.world.closest(event.vector, before)
            before = vector
            result.append(Event(event.due, vector, event.order))
        return tuple(result)

    def _findings(
        self,
        node: Node | None,
        event: Event,
        on: int,
        loads: tuple[int, ...],
        wanted: int,
        state: State,
        chatter: tuple[int, ...],
    ) -> list[Finding]:
        events = self.path_to(node, event)
        if chatter:
            goals: tuple[int, ...] = ()
            return [Finding(Fault.CHATTER, events, slots=chatter, goals=goals)]
        result: list[Finding] = []
        goals_of = {r.load: r.goals for r in self.problem.requirements}
        new_on = loads[-1]
        for name in self.cone.loads:
            bit = self.circuit.load_bits[name]
            if (new_on ^ wanted) & bit:
                result.append(
                    Finding(
                        Fault.GOAL,
                        events,
                        load=name,
                        expected=wanted & bit != 0,
                        got=new_on & bit != 0,
                        goals=goals_of[name],
                    )
                )
        for pair, apart in self.apart:
            if any(mask & pair == pair for mask in loads):
                result.append(
                    Finding(
                        Fault.TOGETHER,
                        events,
                        load=apart.first,
                        partner=apart.second,
                        expected=False,
                        got=True,
                        goals=(apart.goal,),
                    )
                )
        if event.order is None:
            blinking = self._blinking(on, loads)
            for name in self.cone.loads:
                if blinking & self.circuit.load_bits[name]:
                    bit = self.circuit.load_bits[name]
                    result.append(
                        Finding(
                            Fault.BLIP,
                            events,
                            load=name,
                            expected=wanted & bit != 0,
                            got=wanted & bit == 0,
                            goals=goals_of[name],
                        )
                    )
        peak = self.problem.peak
        if self.cone.peak and peak is not None:
            used = self.units(state, event.vector)
            if used > peak.units:
                result.append(Finding(Fault.PEAK, events, units=used, goals=(peak.goal,)))
        return result


ZERO_ZONE: Zone = (ZERO,)
"""The only zone over no clocks."""
