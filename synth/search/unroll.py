"""The circuit's reaction to a scenario, in clauses: one copy of its state per settling step.

Encoders are written by hand from the meaning of the parts, not generated from
`synth.parts.behaviour`, so that an agreement test between the two means something.

At each point of the grid the circuit is evaluated `depth` times, by when it must have settled: a
bound that every claim states. A run in which a timer expires between grid points *escapes*:
nothing more is asked of it, so the grid is no bound on the designs that can be found or refuted.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from synth.parts.behaviour import CONTROLLED, EDGE_SENSITIVE, LEVERS, TIMED, PartType
from synth.parts.kit import Trigger
from synth.search.formula import Formula
from synth.search.scenario import Scenario
from synth.search.slots import Wiring

LONGEST_STRETCH = 4
"""So many points at most, of those at which the same change is waited for, are kept apart."""
MAY_WAIT = frozenset(CONTROLLED - EDGE_SENSITIVE - TIMED)
"""Parts that an order can tell to wait: what they wait for shows in their inputs, step by step."""
RELAYS = (PartType.RELAY_MAKE, PartType.RELAY_BREAK, PartType.RELAY_CHANGEOVER)


@dataclass
class Memory:
    """The state of one slot at a step, in literals; unused ones are false."""

    contact: int
    running: int
    seen: int


@dataclass
class Clock:
    """The running time of one timer slot over the grid.

    `since[i]` is the literal: the time that runs now was started at point i.
    `first` (recyclers): the phase in which it runs is the on-phase, by start point.
    """

    since: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Settled:
    """What a circuit is in after a point: its state and the clocks that run."""

    time: int
    state: dict[int, Memory]
    since: dict[int, dict[int, int]]


class Unrolled:
    """One scenario unrolled over one wiring; adds its clauses to the wiring's formula."""

    def __init__(self, wiring: Wiring, scenario: Scenario, depth: int = 6) -> None:
        self.wiring = wiring
        self.formula: Formula = wiring.formula
        self.scenario = scenario
        # Without a part that has a state of its own nothing changes from one step to the next.
        reacts = any(slot.kind in CONTROLLED for slot in wiring.slots)
        self.depth = depth if reacts else 1
        self.held = wiring.problem.kit.trigger is Trigger.HELD
        self.true = self.formula.true
        self.times = [point.time for point in scenario.points]
        self.at = {time: i for i, time in enumerate(self.times)}
        self.clocks = {i: Clock() for i, slot in enumerate(wiring.slots) if slot.kind in TIMED}
        off = -self.true
        self.state = {i: Memory(off, off, off) for i in range(len(wiring.slots))}
        self.live_in: dict[tuple[int, str], int] = {}
        self.live_out: dict[tuple[int, str], int] = {}
        self.escaped = off
        self._short: dict[tuple[int, str, int], int] = {}
        """Literals for settings of at most some time, by slot, name and how many are."""
        self.settled_loads: list[dict[int, int]] = []
        self._stretch: list[Settled] = []
        """The points, up to the present, since which the inputs and loads are as they are."""
        for index in range(len(scenario.points)):
            self._point(index)

    # -- one point of the grid ---------------------------------------------------------------

    def _point(self, index: int) -> None:
        formula, scenario = self.formula, self.scenario
        point = scenario.points[index]
        levels = dict(zip(scenario.inputs, point.inputs, strict=True))
        before = scenario.points[index - 1] if index else None
        changed = before is None or point.inputs != before.inputs
        if before is None or changed or point.loads != before.loads:
            self._stretch = []
        due = {i: self._due(i, index) for i in self.clocks}
        stray = [literal for i in self.clocks for literal in self._stray(i, index)]
        if not changed and all(literal == -self.true for literal in due.values()):
            # Nothing can happen here but the end of a required interval.
            self.escaped = formula.either([self.escaped, *stray])
            self._oblige(index, [])
            return
        started: dict[int, list[int]] = {i: [] for i in self.clocks}
        steps: list[list[int]] = []
        differs: list[int] = []
        begin, closed = self.state, list[int]()
        follows: list[tuple[int, ...]] = []
        for step in range(len(point.order) + self.depth):
            first = step == 0
            if not first or changed:
                self._evaluate(levels)
            steps.append([self.live_in[i, "in"] for i, s in self._loads()])
            waiting = self._held_back(index, step)
            self.state, differs = self._step(due if first else {}, started, waiting)
            if not changed:
                follows += [(-edge, *closed) for edge in self._edges(started)]
                closed += self._closed(begin)
        self.escaped = formula.either([self.escaped, *stray])
        if point.order:
            # Of other orders than all together it is only asked where they end, if they do so soon.
            self.escaped, steps = formula.either([self.escaped, *differs]), []
        unless = [] if self.escaped == -self.true else [self.escaped]
        for literal in differs if not point.order else ():
            formula.add(-literal, *unless)
        if before is not None and not changed:
            # Nothing goes live before a part closes by itself, see `_closed`.
            rises = any(now > old for old, now in zip(before.loads, point.loads, strict=True))
            for clause in (*follows, *([tuple(closed)] if rises else ())):
                formula.add(*clause, *unless)
        self._oblige(index, steps)
        for i in self.clocks:
            self._run(i, index, started[i])
        self._wait(index)
        self._distinct(index)

    def _held_back(self, index: int, step: int) -> frozenset[int]:
        """Return the slots of the relays that do not move in this step, excited or not."""
        order = self.scenario.points[index].order
        if step >= len(order):
            return frozenset()
        return frozenset(
            i
            for i, slot in enumerate(self.wiring.slots)
            if slot.kind in MAY_WAIT and slot.name not in order[step]
        )

    def _loads(self) -> list[tuple[int, str]]:
        return [(i, s.load) for i, s in enumerate(self.wiring.slots) if s.load]

    def _evaluate(self, levels: dict[str, bool]) -> None:
        """Find which terminals are live, from the present contacts: new literals."""
        formula, wiring, true = self.formula, self.wiring, self.true
        live_in: dict[tuple[int, str], int] = {}
        live_out: dict[tuple[int, str], int] = {}
        supply = true if levels["supply"] else -true
        if supply == -true:
            self.live_in = dict.fromkeys(wiring.feeds, -true)
            self.live_out = dict.fromkeys(wiring.outputs, -true)
            return
        for key in wiring.feeds:
            live_in[key] = formula.new()
        live_out[-1, "out"] = supply
        for i, slot in enumerate(wiring.slots):
            for output in slot.part.shape.outputs:
                if slot.kind is PartType.JOINT:
                    live_out[i, output] = formula.either([live_in[i, "in1"], live_in[i, "in2"]])
                else:
                    contact = self._contact(i, output, levels)
                    live_out[i, output] = formula.both([live_in[i, "in"], contact])
        for key, options in wiring.feeds.items():
            target = live_in[key]
            carried: list[int] = []
            for source, wire in options.items():
                power = live_out[source]
                if wiring.joint is not None:
                    formula.add(-wire, -power, target)
                    carried.append(formula.new())
                    formula.add(-carried[-1], wire)
                    formula.add(-carried[-1], power)
                elif power == true:
                    formula.add(-wire, target)
                elif power == -true:
                    formula.add(-wire, -target)
                else:
                    formula.add(-wire, -power, target)
                    formula.add(-wire, power, -target)
            if wiring.joint is not None:
                formula.add(-target, *carried)
            used = wiring.used[key[0]]
            if used != true:
                formula.add(used, -target)
            if key in wiring.unfed:
                formula.add(-wiring.unfed[key], -target)
        self.live_in, self.live_out = live_in, live_out

    def _contact(self, i: int, output: str, levels: dict[str, bool]) -> int:
        slot, choices = self.wiring.slots[i], self.wiring.choices[i]
        kind = slot.kind
        if kind in LEVERS or kind in (PartType.SENSOR, PartType.TWILIGHT):
            key, value, name = ("contact", "make", slot.input)
            if kind is PartType.TWILIGHT:
                key, value, name = ("passes", "night", "night")
            options = choices[key]
            follows = options.get(value, -self.true)
            return follows if levels[name] else -follows
        contact = self.state[i].contact
        return -contact if kind is PartType.RELAY_BREAK or output == "break" else contact

    # -- one settling step -------------------------------------------------------------------

    def _step(
        self,
        due: dict[int, int],
        started: dict[int, list[int]],
        waiting: Collection[int] = (),
    ) -> tuple[dict[int, Memory], list[int]]:
        """Return the states after all parts but those `waiting` moved, and literals for "this part
        changed, or would have"."""
        new: dict[int, Memory] = {}
        differs: list[int] = []
        edges: list[int] = []
        for i, slot in enumerate(self.wiring.slots):
            old = self.state[i]
            when = due.get(i, -self.true)
            if slot.kind in EDGE_SENSITIVE:
                edges.append(i)
                if slot.kind is not PartType.IMPULSE and self.held:
                    # Losing power is a move that is no edge; to forget a level is no move.
                    differs.append(self._both(-self.live_in[i, "in"], old.contact))
                continue
            if slot.kind in RELAYS:
                coil = self.live_in[i, "coil"]
                new[i] = Memory(coil, -self.true, -self.true)
            elif slot.kind is PartType.BISTABLE:
                new[i] = self._bistable(i, old)
            elif slot.kind is PartType.ON_DELAY:
                new[i] = self._on_delay(i, old, when, started[i])
            elif slot.kind is PartType.OFF_DELAY:
                new[i] = self._off_delay(i, old, when, started[i])
            elif slot.kind is PartType.RECYCLER:
                new[i] = self._recycler(i, old, when, started[i])
            else:
                new[i] = old
                continue
            differs.append(self._differ(old.contact, new[i].contact))
            if slot.kind in TIMED:
                differs.append(self._differ(old.running, new[i].running))
            if i in waiting:
                new[i] = old
        if not edges:
            return new, [d for d in differs if d != -self.true]
        others = [w for w in due.values() if w != -self.true]
        quiet = self.true
        if self.held:
            quiet = -self._either(*differs, *others)
        for i in edges:
            old, when = self.state[i], due.get(i, -self.true)
            sees = self._either(quiet, when)
            new[i] = self._edge(i, old, when, sees, started.get(i, []))
            differs.append(self._differ(old.contact, new[i].contact))
            # `seen` may change without a visible move; it matters for when the circuit is at rest
            # only together with an edge, which shows as a change of the contact.
        for i in started:
            # A time that starts anew without a change of contact is a change all the same.
            differs += started[i][-1:]
        return new, [d for d in differs if d != -self.true]

    def _edge(self, i: int, old: Memory, due: int, sees: int, started: list[int]) -> Memory:
        kind = self.wiring.slots[i].kind
        if kind is PartType.IMPULSE:
            level = self.live_in[i, "pulse"]
            rise = self._both(sees, level, -old.seen)
            contact = self._differ(old.contact, rise)
            return Memory(contact, -self.true, self._pick(sees, level, old.seen))
        power, control = self.live_in[i, "in"], self.live_in[i, "start"]
        level = self._both(power, control)
        rise = self._both(sees, level, -old.seen)
        if kind is PartType.PULSE:
            start = self._both(rise, self._either(-old.contact, due))
        else:
            start = rise
        started.append(start)
        contact = self._both(power, self._either(start, self._both(old.contact, -due)))
        seen = self._both(power, self._pick(sees, control, old.seen))
        return Memory(contact, contact, seen)

    def _bistable(self, i: int, old: Memory) -> Memory:
        set_, reset = self.live_in[i, "set"], self.live_in[i, "reset"]
        wins = self.wiring.choices[i]["wins"].get("set", -self.true)
        on = self._either(
            self._both(set_, -reset), self._both(set_, wins), self._both(old.contact, -reset)
        )
        return Memory(on, -self.true, -self.true)

    def _on_delay(self, i: int, old: Memory, due: int, started: list[int]) -> Memory:
        level = self._both(self.live_in[i, "in"], self.live_in[i, "start"])
        contact = self._both(level, self._either(old.contact, due))
        started.append(self._both(level, -old.contact, -old.running))
        return Memory(contact, self._both(level, -contact), -self.true)

    def _off_delay(self, i: int, old: Memory, due: int, started: list[int]) -> Memory:
        power, level = self.live_in[i, "in"], self.live_in[i, "start"]
        contact = self._both(power, self._either(level, self._both(old.contact, -due)))
        running = self._both(contact, -level)
        started.append(self._both(running, -old.running))
        return Memory(contact, running, -self.true)

    def _recycler(self, i: int, old: Memory, due: int, started: list[int]) -> Memory:
        power = self.live_in[i, "in"]
        first = self.wiring.choices[i]["first"].get("pulse", -self.true)
        begin = self._both(power, -old.running)
        started.append(self._either(begin, self._both(power, due)))
        flipped = self._differ(old.contact, due) if due != -self.true else old.contact
        contact = self._both(power, self._pick(old.running, flipped, first))
        return Memory(contact, power, -self.true)

    # -- clocks ------------------------------------------------------------------------------

    def _settings(self, i: int) -> list[tuple[str, dict[str | int, int]]]:
        choices = self.wiring.choices[i]
        if self.wiring.slots[i].kind is PartType.RECYCLER:
            return [("on", choices["on"]), ("off", choices["off"])]
        return [("time", choices["time"])]

    def _phase(self, i: int, key: str) -> int:
        """Return the literal: the running time is the one of setting `key`."""
        contact = self.state[i].contact
        return {"on": contact, "off": -contact}.get(key, self.true)

    def _due(self, i: int, index: int) -> int:
        """Return the literal: the time of slot `i` is up at point `index`."""
        time, fine = self.times[index], self.scenario.fine
        reasons: list[int] = []
        for start, running in self.clocks[i].since.items():
            for key, options in self._settings(i):
                for ticks, chosen in options.items():
                    if self.times[start] + int(ticks) * fine == time:
                        reasons.append(self._both(running, chosen, self._phase(i, key)))
        return self._either(*reasons)

    def _stray(self, i: int, index: int) -> list[int]:
        """Return literals: the time of slot `i` was up between the previous point and this."""
        if index == 0:
            return []
        low, high, fine = self.times[index - 1], self.times[index], self.scenario.fine
        found: list[int] = []
        for start, running in self.clocks[i].since.items():
            for key, options in self._settings(i):
                for ticks, chosen in options.items():
                    if low < self.times[start] + int(ticks) * fine < high:
                        found.append(self._both(running, chosen, self._phase(i, key)))
        return [literal for literal in found if literal != -self.true]

    def _run(self, i: int, index: int, started: list[int]) -> None:
        """Bring the clock of slot `i` up to date after point `index` has settled."""
        running = self.state[i].running
        anew = self._either(*started)
        longest = max(int(t) for _, o in self._settings(i) for t in o) * self.scenario.fine
        since: dict[int, int] = {}
        for start, literal in self.clocks[i].since.items():
            if self.times[index] - self.times[start] < longest:
                kept = self._both(literal, running, -anew)
                if kept != -self.true:
                    since[start] = kept
        begun = self._both(running, anew)
        if begun != -self.true:
            since[index] = begun
        self.clocks[i].since = since

    # -- what is asked -----------------------------------------------------------------------

    def _oblige(self, index: int, steps: list[list[int]]) -> None:
        """Ask of the loads what the goals want here, unless the run has escaped.

        `steps` holds the loads' literals after each evaluation.
        """
        formula, scenario = self.formula, self.scenario
        point = scenario.points[index]
        wanted = dict(zip(scenario.loads, point.loads, strict=True))
        if self.escaped == self.true:
            return
        unless = [] if self.escaped == -self.true else [self.escaped]
        for position, (i, load) in enumerate(self._loads()):
            now = self.live_in[i, "in"]
            value = wanted[load]
            formula.add(now if value else -now, *unless)
            if not steps:
                continue
            line = [step[position] for step in steps]
            place = scenario.loads.index(load)
            before = index > 0 and scenario.points[index - 1].loads[place]
            if before == value:
                for literal in line[:-1]:
                    formula.add(literal if value else -literal, *unless)
            else:
                for a, b in pairwise(line):
                    formula.add(*((-a, b) if value else (a, -b)), *unless)
        self._pairs(steps, unless)

    def _wait(self, index: int) -> None:
        """Ask for a timer that expires in time, for each class of instants at which loads change
        later, and for a part that can close where some load goes on later."""
        point, step, fine = self.scenario.points[index], self.scenario.step, self.scenario.fine
        unless = [] if self.escaped == -self.true else [self.escaped]
        for later in point.waits:
            in_time = [
                self._both(literal, self._phase(i, key), self._at_most_time(i, key, left))
                for i, clock in self.clocks.items()
                for start, literal in clock.since.items()
                if (later - self.times[start]) % step == 0
                for left in [(later - self.times[start]) // fine]
                for key, _ in self._settings(i)
            ]
            self.formula.add(*in_time, *unless)
        if point.rises:
            self.formula.add(*self._can_close(), *unless)

    def _at_most_time(self, i: int, key: str, most: int) -> int:
        """Return the literal: setting `key` of slot `i` is at most `most` ticks, where that is
        asked."""
        if not self.scenario.in_time:
            return self.true
        options = dict(self._settings(i))[key]
        fitting = [chosen for ticks, chosen in options.items() if int(ticks) <= most]
        if len(fitting) == len(options):
            return self.true
        known = (i, key, len(fitting))
        if known not in self._short:
            self._short[known] = self._either(*fitting)
        return self._short[known]

    def _can_close(self) -> list[int]:
        """Return literals: this part may close a contact though nothing goes live before."""
        found: list[int] = []
        for i, slot in enumerate(self.wiring.slots):
            if slot.kind in (PartType.RELAY_BREAK, PartType.RELAY_CHANGEOVER):
                found.append(self.state[i].contact)
            elif slot.kind is PartType.BISTABLE:
                wins = self.wiring.choices[i]["wins"].get("set", -self.true)
                set_, reset = self.live_in[i, "set"], self.live_in[i, "reset"]
                found.append(self._both(set_, reset, -wins))
            elif slot.kind in (PartType.ON_DELAY, PartType.RECYCLER):
                found.append(self.state[i].running)
        return found

    def _closed(self, begin: Mapping[int, Memory]) -> list[int]:
        """Return literals: this part has closed a contact though nothing went live before.

        While no input changes, power reaches nothing anew before such a part closes. Proof, step by
        step: until then all that is closed was so when the instant began, so all that is live was
        live. What closes otherwise does it because its coil or start has become live.
        """
        found: list[int] = []
        for i, slot in enumerate(self.wiring.slots):
            was, now = begin[i].contact, self.state[i].contact
            if slot.kind in (PartType.RELAY_BREAK, PartType.RELAY_CHANGEOVER):
                found.append(self._both(was, -now))
            elif slot.kind in (PartType.BISTABLE, PartType.ON_DELAY, PartType.RECYCLER):
                found.append(self._both(-was, now))
        return found

    def _edges(self, started: Mapping[int, Sequence[int]]) -> list[int]:
        """Return literals: in the last step this pulse timer saw its start go live, and started."""
        pulses = [i for i in started if self.wiring.slots[i].kind is PartType.PULSE]
        return [started[i][-1] for i in pulses if started[i][-1] != -self.true]

    def _distinct(self, index: int) -> None:
        """Ask for another state than at the points before, while the same change is waited for.

        In two equal states, with the same inputs and the same times left, the same would follow
        after the same time; the change that is to come is nearer now.
        """
        now = Settled(
            self.times[index], dict(self.state), {i: c.since for i, c in self.clocks.items()}
        )
        if self.scenario.points[index].waits:
            for before in self._stretch:
                self._differs(before, now)
        if len(self._stretch) < LONGEST_STRETCH:
            self._stretch.append(now)

    def _differs(self, before: Settled, now: Settled) -> None:
        """Ask that some contact, level seen or time left is another than before."""
        formula, other = self.formula, list[int]()
        passed = now.time - before.time
        for i, memory in now.state.items():
            old = before.state[i]
            for a, b in ((old.contact, memory.contact), (old.seen, memory.seen)):
                if a != b:
                    differs = formula.new()
                    formula.add(-differs, a, b)
                    formula.add(-differs, -a, -b)
                    other.append(differs)
            if i not in self.clocks or (old.running, memory.running) == (-self.true, -self.true):
                continue
            left = formula.new()
            formula.add(-left, old.running, memory.running)
            for start, literal in before.since[i].items():
                later = self.at.get(self.times[start] + passed)
                if later in now.since[i]:
                    formula.add(-left, -literal, -now.since[i][later])
            other.append(left)
        unless = [] if self.escaped == -self.true else [self.escaped]
        formula.add(*other, *unless)

    def _pairs(self, steps: list[list[int]], unless: list[int]) -> None:
        where = {load: p for p, (_, load) in enumerate(self._loads())}
        for pair in self.wiring.problem.apart:
            if pair.first in where and pair.second in where:
                for step in steps:
                    a, b = step[where[pair.first]], step[where[pair.second]]
                    self.formula.add(-a, -b, *unless)
        peak = self.wiring.problem.peak
        if peak is not None and steps and self.escaped == -self.true:
            literals, weights = [], []
            for (i, terminal), literal in self.live_in.items():
                slot = self.wiring.slots[i]
                if slot.load or terminal in slot.part.shape.controls:
                    literals.append(literal)
                    weights.append(slot.needs if slot.load else slot.part.units)
            self._at_most(literals, weights, peak.units)

    def _at_most(self, literals: list[int], weights: list[int], most: int) -> None:
        variables = []
        for literal in literals:
            if literal < 0:
                variable = self.formula.new()
                self.formula.same(variable, literal)
                literal = variable
            variables.append(literal)
        self.formula.bound(variables, weights, 0, most)

    # -- gates with constants folded ---------------------------------------------------------

    def _either(self, *literals: int) -> int:
        return self.formula.either(literals)

    def _both(self, *literals: int) -> int:
        return self.formula.both(literals)

    def _pick(self, when: int, then: int, other: int) -> int:
        """Return a literal equal to `then` if `when` else `other`."""
        if when == self.true or then == other:
            return then
        if when == -self.true:
            return other
        out = self.formula.new()
        self.formula.same(out, then, -when)
        self.formula.same(out, other, when)
        return out

    def _differ(self, a: int, b: int) -> int:
        """Return a literal equal to a xor b."""
        true = self.true
        if a == b:
            return -true
        if a == -b:
            return true
        for x, y in ((a, b), (b, a)):
            if x == true:
                return -y
            if x == -true:
                return y
        out = self.formula.new()
        self.formula.add(-out, a, b)
        self.formula.add(-out, -a, -b)
        self.formula.add(out, -a, b)
        self.formula.add(out, a, -b)
        return out
