"""A test by hand that visits every mode of every circuit, does in each all a person can do, and
sees every time run out.

Circuit by circuit, from the present state the fewest steps are sought that lead to something not
yet done (a nearest-neighbour walk: short, not shortest). The whole design runs along, but what a
step does in a circuit counts only where somebody is told to look at that circuit's loads: those of
the circuit under test, and at the first step, when power comes up, all. Known times of inputs are
kept; a person moves one input at a time, never at the instant of an expiry.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from synth.check.circuit import Circuit, State, input_of
from synth.check.settle import settle
from synth.check.showing import round_time
from synth.design import Design
from synth.modes import Coverage, ModeGraph, Needs, Tour, TourStep, Way
from synth.parts.behaviour import SENSING
from synth.problem import OutsideInput, Problem
from synth.trace import Moment

PAUSE = 5_000
"""Time between two steps where nothing forces less, in ticks: to look, and to write it down."""
BRISK = 2_000
"""The same where a time that runs leaves little room, in ticks: to move an input, and to look."""
MOST_STEPS = 200
MOST_LOOKED_AT = 20_000
"""Situations looked at on the way to one thing before it is given up."""


@dataclass
class Live:
    """A circuit as it runs: where its parts stand, and when their times are up (ticks)."""

    circuit: Circuit
    time: Fraction
    state: State
    vector: int
    until: dict[int, Fraction]
    since: dict[str, Fraction | None] = field(default_factory=dict)
    """When each input last moved; None: it stands as it stood before the test."""
    rattling: tuple[str, ...] = ()
    """The parts that did not settle at the last event."""

    def copy(self) -> Live:
        return Live(
            self.circuit, self.time, self.state, self.vector, dict(self.until), dict(self.since)
        )

    def next_expiry(self) -> Fraction | None:
        return min(self.until.values(), default=None)

    def happen(self, time: Fraction, moves: Iterable[tuple[str, bool]] = ()) -> tuple[int, int]:
        """Take the one event at `time`; return (timers that were due, loads on) as masks."""
        due = sum(1 << i for i, at in self.until.items() if at == time)
        for name, level in moves:
            bit = self.circuit.bits.get(name, 0)
            self.vector = self.vector | bit if level else self.vector & ~bit
            self.since[name] = time
        settled = settle(self.circuit, self.state, self.vector, due)
        self.rattling = self.circuit.names(settled.chatter)
        self.state, self.time = settled.state, time
        for i, part in enumerate(self.circuit.parts):
            limit = part.limit(self.state[i])
            if not limit:
                self.until.pop(i, None)
            elif settled.anew >> i & 1:
                self.until[i] = time + limit
        return due, settled.loads[-1]

    def level(self, name: str) -> bool:
        return self.vector & self.circuit.bits[name] != 0


@dataclass(frozen=True)
class Move:
    """At `time`, move `name` (empty: times that are up move by themselves)."""

    time: Fraction
    name: str = ""


class Tester:
    """The whole design under test, and what has been seen of each circuit."""

    def __init__(
        self, design: Design, problem: Problem, graphs: tuple[ModeGraph, ...], most_steps: int
    ) -> None:
        self.design, self.problem, self.graphs = design, problem, graphs
        self.most_steps = most_steps
        followed = {input_of(p) for p in design.parts if p.type in SENSING}
        names = ["supply", *(i.name for i in problem.inputs if i.name != "supply")]
        names += sorted(followed - set(names))
        circuit = Circuit(design, problem.kit, tuple(names))
        self.facts: dict[str, OutsideInput] = {i.name: i for i in problem.inputs}
        self.whole = Live(
            circuit, Fraction(0), circuit.start, 0, {}, dict.fromkeys(names)
        )
        self.own = [
            Circuit(design, problem.kit, graph.inputs, frozenset(graph.parts)) for graph in graphs
        ]
        slots = {part.name: i for i, part in enumerate(circuit.parts)}
        self.slots = [tuple(slots[name] for name in graph.reacting) for graph in graphs]
        self.numbers = [
            {(m.state, tuple(level for _, level in m.levels)): m.number for m in graph.modes}
            for graph in graphs
        ]
        self.left = [dict.fromkeys(graph.by_hand) for graph in graphs]
        self.left_to_time = [dict.fromkeys(graph.by_time) for graph in graphs]
        self.visited: list[set[int]] = [set() for _ in graphs]
        self.moments: list[Moment] = []
        self.steps: list[TourStep] = []
        self.at = Fraction(0)
        """The moment of the last step."""
        self.testing = 0
        steady = [(n, True) for n, i in self.facts.items() if i.steady and n != "supply"]
        if steady:
            self.moments.append(Moment(Fraction(0), tuple(steady)))
            self.whole.happen(Fraction(0), steady)
        self.home = {name: bool(self.facts[name].steady) if name in self.facts else False
                     for name in names}
        self.home["supply"] = True
        self._see(range(len(graphs)))

    # The whole design runs

    def _mode(self, graph: int) -> int | None:
        whole = self.whole
        state = tuple(whole.state[i] for i in self.slots[graph])
        levels = tuple(whole.level(name) for name in self.graphs[graph].inputs)
        return self.numbers[graph].get((state, levels))

    def _see(self, looked: Iterable[int]) -> None:
        for g in looked:
            mode = self._mode(g)
            if mode is not None:
                self.visited[g].add(mode)

    def _run_until(self, time: Fraction) -> None:
        """Let what expires before `time` expire."""
        while (expiry := self.whole.next_expiry()) is not None and expiry < time:
            self.whole.happen(expiry)

    def _note(
        self, looked: Sequence[int], before: Sequence[int | None], due: int, moved: str
    ) -> None:
        """Note what an event has done in each circuit that is looked at: its mode `before`, what
        was due or moved."""
        self._see(looked)
        for g in looked:
            graph = self.graphs[g]
            names = zip(graph.reacting, self.slots[g], strict=True)
            up = tuple(name for name, i in names if due >> i & 1)
            start = before[g]
            if start is None:
                continue
            if moved in graph.inputs and not up:
                self.left[g].pop((start, moved), None)
            elif up and moved not in graph.inputs:
                self.left_to_time[g].pop((start, up), None)

    def take(self, move: Move) -> None:
        """Do one step of the circuit under test, with the whole design."""
        self._run_until(move.time)
        before = [self._mode(g) for g in range(len(self.graphs))]
        looked = (self.testing,) if self.steps else tuple(range(len(self.graphs)))
        loads = tuple(dict.fromkeys(name for g in looked for name in self.graphs[g].loads))
        bits = self.whole.circuit.load_bits
        on_before = self.whole.circuit.loads_on(
            self.whole.circuit.live(self.whole.state, self.whole.vector)
        )
        moves = ((move.name, not self.whole.level(move.name)),) if move.name else ()
        if moves:
            self.moments.append(Moment(move.time, moves))
        due, on = self.whole.happen(move.time, moves)
        self._note(looked, before, due, move.name)
        expired = tuple(
            part.name for i, part in enumerate(self.whole.circuit.parts)
            if due >> i & 1 and part.name in self.graphs[self.testing].parts
        )
        self.steps.append(
            TourStep(
                self.testing, move.time, move.time - self.at, moves,
                () if moves else expired,
                tuple(name for name in loads if on & bits[name]),
                tuple(name for name in loads if not on & bits[name]),
                tuple(name for name in loads if (on ^ on_before) & bits[name]),
            )
        )
        self.at = move.time

    # What may be done next

    def alone(self, graph: int) -> Live:
        """Return the circuit of one graph by itself, as it stands now."""
        circuit, whole = self.own[graph], self.whole
        vector = sum(bit for name, bit in circuit.bits.items() if whole.level(name))
        state = tuple(whole.state[i] for i in self.slots[graph])
        until = {
            k: whole.until[i] for k, i in enumerate(self.slots[graph]) if i in whole.until
        }
        return Live(circuit, whole.time, state, vector, until, dict(whole.since))

    def _earliest(self, live: Live, name: str) -> Fraction:
        """Return when input `name` may leave its level at the earliest."""
        item, since = self.facts.get(name), live.since[name]
        if item is None or since is None:
            return live.time
        least = item.least_on if live.level(name) else item.least_off
        return max(live.time, since + (least or 0))

    def latest(self, live: Live) -> Fraction | None:
        """Return when some input of this circuit has to leave its level at the latest."""
        limits = []
        for name in live.circuit.bits:
            item = self.facts.get(name)
            most = None if item is None else item.most_on if live.level(name) else item.most_off
            if most:
                limits.append((live.since[name] or Fraction(0)) + most)
        return min(limits, default=None)

    def _may_move(self, live: Live, name: str) -> bool:
        item = self.facts.get(name)
        if item is not None and item.steady is not None and (
            name != "supply" or live.level("supply")
        ):
            return False
        if live.level(name):
            return True
        levels = {n: self.whole.level(n) for n in self.home}
        levels |= {n: live.level(n) for n in live.circuit.bits}
        return self.problem.may_follow(levels, levels | {name: True})

    def moves(self, live: Live) -> list[Move]:
        """Return what may come next: each input moved, or the next time that is up."""
        latest, expiry = self.latest(live), live.next_expiry()
        bounds = [b for b in (latest, expiry) if b is not None]
        end = min(bounds, default=None)
        free = {name: self._earliest(live, name) for name in live.circuit.bits}
        found: list[Move] = []
        for name in live.circuit.bits:
            if not self._may_move(live, name):
                continue
            begin = max(live.time, free[name])
            time = max(live.time + PAUSE, free[name])
            if end is not None and end - begin < 3 * PAUSE:
                # What is left has to do for the steps that follow, too.
                gap = end - begin
                time = max(live.time + BRISK, free[name])
                if gap < 2 * BRISK:
                    time = begin + (round_time(int(gap) // 2) if gap >= 2 else gap / 2)
            # Also once every input may move again: what then comes next is free of the past.
            for at in dict.fromkeys((time, max(time, *free.values()))):
                within = end is None or at < end
                last = at == latest == free[name] and at != expiry
                if at > live.time and at >= free[name] and (within or last):
                    found.append(Move(at, name))
        if expiry is not None and (latest is None or expiry < latest):
            found.append(Move(expiry))
        return found

    def key(self, live: Live) -> object:
        """Return a value equal for situations that a search need not tell apart."""
        order = sorted(set(live.until.values()))
        ranks = tuple((i, order.index(at)) for i, at in sorted(live.until.items()))
        free = tuple(self._earliest(live, name) <= live.time for name in live.circuit.bits)
        return live.state, live.vector, ranks, free

    def search(
        self, graph: int, done: Callable[[Live, Move | None], bool]
    ) -> list[Move] | None:
        """Return the fewest steps that end where `done` (the last step is the one it is told, not
        yet taken, or None for what stands already); None: none was found."""
        start = self.alone(graph)
        queue: deque[tuple[Live, tuple[Move, ...]]] = deque([(start, ())])
        seen = {self.key(start)}
        for _ in range(MOST_LOOKED_AT):
            if not queue:
                return None
            live, path = queue.popleft()
            if done(live, None):
                return [*path]
            for move in self.moves(live):
                if done(live, move):
                    return [*path, move]
                after = live.copy()
                moved = ((move.name, not live.level(move.name)),) if move.name else ()
                after.happen(move.time, moved)
                key = self.key(after)
                if key not in seen:
                    seen.add(key)
                    queue.append((after, (*path, move)))
        return None

    def nearest(self, graph: int) -> list[Move] | None:
        """Return the fewest steps that end with something not yet done, None: none was found."""
        left, to_time = self.left[graph], self.left_to_time[graph]
        numbers = self.numbers[graph]

        def not_yet(live: Live, move: Move | None) -> bool:
            if move is None:
                return False
            levels = tuple(live.level(name) for name in live.circuit.bits)
            mode = numbers.get((live.state, levels))
            if mode is None:
                return False
            if move.name:
                return (mode, move.name) in left
            up = [i for i, at in live.until.items() if at == move.time]
            return (mode, live.circuit.names(sorted(up))) in to_time

        return self.search(graph, not_yet)

    def bring(self, graph: int, consumer: str, live: bool) -> int | None:
        """Bring a consumer to be live or dead with the supply on; return the mode then."""

        def reached(at: Live, move: Move | None) -> bool:
            if move is not None or not at.level("supply"):
                return False
            fed = at.circuit.live_terminals(at.state, at.vector)[1]
            return any(str(terminal) == consumer for terminal in fed) == live

        path = self.search(graph, reached)
        if path is None:
            return None
        for move in path:
            self.take(move)
        return self._mode(graph)

    def test(self, graph: int) -> None:
        """Do in one circuit all that is left to do, then bring its inputs back to rest."""
        self.testing = graph
        while len(self.steps) < self.most_steps and (
            self.left[graph] or self.left_to_time[graph]
        ):
            path = self.nearest(graph)
            if path is None:
                break
            for move in path:
                self.take(move)
        for name in [n for n in self.graphs[graph].inputs if n != "supply"] + ["supply"]:
            for _ in range(100):
                live = self.alone(graph)
                if live.level(name) == self.home[name] or not self._may_move(live, name):
                    break
                options = self.moves(live)
                own = [move for move in options if move.name == name]
                waits = [move for move in options if not move.name]
                if not own and not waits:
                    break
                self.take((own or waits)[0])

    def overstayed(self) -> tuple[str, ...]:
        """Return the inputs that stood longer at a level than is known of them."""
        found = []
        for name, item in self.facts.items():
            level, since = False, Fraction(0)
            changes = [(m.time, dict(m.inputs)[name]) for m in self.moments
                       if name in dict(m.inputs)]
            for time, after in [*changes, (self.at, level)]:
                most = item.most_on if level else item.most_off
                if most and time - since > most:
                    found.append(name)
                level, since = after, time
        return tuple(dict.fromkeys(found))


def tour_of(
    design: Design, problem: Problem, graphs: tuple[ModeGraph, ...], most_steps: int = MOST_STEPS
) -> Tour:
    """Return a test by hand of `design`, of about `most_steps` steps at most, and what it covers.

    `graphs` are those of `mode_graphs`. Replaying `Tour.moments` with `simulate` gives the loads
    that each step says.
    """
    tester = Tester(design, problem, graphs, most_steps)
    for graph in range(len(graphs)):
        if len(tester.steps) < most_steps:
            tester.test(graph)
    coverage = tuple(
        _coverage(
            g, graph, tester.visited[g], tuple(tester.left[g]), tuple(tester.left_to_time[g])
        )
        for g, graph in enumerate(graphs)
    )
    notes = [
        f"'{name}' stays at one level longer in this test than the goals say it ever does"
        for name in tester.overstayed()
    ]
    return Tour(tuple(tester.moments), tuple(tester.steps), coverage, most_steps, tuple(notes))


def ways_to_consumers(
    design: Design, problem: Problem, graphs: tuple[ModeGraph, ...], needs: Needs
) -> tuple[Way, ...]:
    """Return for each consumer the fewest steps that make it live, and then dead again."""
    found = []
    for consumer, g in needs.owners:
        tester = Tester(design, problem, (graphs[g],), 0)
        live = tester.bring(0, consumer, True)
        split = len(tester.steps)
        dead = tester.bring(0, consumer, False) if live is not None else None
        steps = [replace(step, circuit=g) for step in tester.steps]
        found.append(Way(consumer, g, tuple(steps[:split]), live, tuple(steps[split:]), dead))
    return tuple(found)


def _coverage(
    number: int, graph: ModeGraph, visited: set[int], left: tuple[tuple[int, str], ...],
    to_time: tuple[tuple[int, tuple[str, ...]], ...],
) -> Coverage:
    aimed = [mode.number for mode in graph.modes if mode.aimed]
    done = len(graph.by_hand) - len(left)
    return Coverage(
        number, len(aimed), sum(m in visited for m in aimed), len(graph.by_hand), done,
        len(graph.by_time), len(graph.by_time) - len(to_time),
        tuple(m for m in aimed if m not in visited), left, to_time,
        tuple(mode.number for mode in graph.modes if not mode.aimed),
    )
