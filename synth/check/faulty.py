"""Single faults of a design, and the shortest trials in which a load shows them.

A fault is put into the wiring: a wire is left out, a contact is bridged or cut, a control input is
disconnected. The circuit with it runs beside the sound one through the same steps, until what the
loads show differs. Of parts that would have to move in some order, all move together; a fault
whose outcome hangs on that order may show otherwise on the bench.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from synth.check.circuit import Circuit, State, input_of, option_of
from synth.check.tour import PAUSE, Live, Move, Tester
from synth.design import Design, PartInUse, Terminal, Wire
from synth.modes import ModeGraph, TourStep
from synth.parts.behaviour import CONTROLLED, SENSING, SHAPES, SPLITTING, PartType, closed
from synth.problem import Problem
from synth.suspects import Defect, Failure, Readings, Suspect, Trial, Trials

_Seen = tuple[int, bool, tuple[tuple[str, bool], ...], tuple[str, ...]]
"""What is wrong first: step, whether in the wait after it, wrong loads, rattling parts."""
Pair = tuple[Live, Live]
"""The sound circuit and the one with a fault, at one moment."""
MOST_PAIRS = 3_000
"""Situations of the sound and the faulty circuit looked at before a suspect is left unseen."""


def suspects_of(design: Design, graph: ModeGraph) -> tuple[Suspect, ...]:
    """Return every single fault of the parts and wires of one circuit, in order of the design."""
    parts = set(graph.parts)
    wires = [w for w in design.wires if w.target.part in parts and w.source.part in parts]
    found = [Suspect(Defect.WIRE, wire=wire.number) for wire in wires]
    for part in design.parts:
        if part.name not in parts:
            continue
        outputs = [w.source.terminal for w in wires if w.source.part == part.name]
        inputs = [w.target.terminal for w in wires if w.target.part == part.name]
        if part.type is PartType.LOAD:
            found.append(Suspect(Defect.DEAF, part.name, "in"))
        elif part.type is PartType.JOINT:
            found += [Suspect(Defect.OPEN, part.name, end) for end in inputs]
        else:
            ends = dict.fromkeys(outputs)
            found += [Suspect(Defect.OPEN, part.name, end) for end in ends]
            if part.type in SENSING or part.type in CONTROLLED:
                found += [Suspect(Defect.CLOSED, part.name, end) for end in ends]
            controls = [end for end in SHAPES[part.type].controls if end in inputs]
            found += [Suspect(Defect.DEAF, part.name, end) for end in controls]
    return tuple(found)


def with_fault(design: Design, suspect: Suspect | None) -> Design:
    """Return the design whose wires let it act as `design` does with this fault."""
    if suspect is None:
        return design
    end = Terminal(suspect.part, suspect.terminal)
    into = {wire.target: wire for wire in design.wires}

    def kept(wire: Wire) -> Wire | None:
        if suspect.defect is Defect.WIRE:
            return None if wire.number == suspect.wire else wire
        if suspect.defect is Defect.CLOSED and wire.source == end:
            behind = into.get(Terminal(suspect.part, "in"))
            return None if behind is None else replace(wire, source=behind.source)
        if suspect.defect is Defect.CLOSED:
            return wire
        return None if end in (wire.source, wire.target) else wire

    if suspect.defect is Defect.DEAF and end.terminal == "in":
        return design
    return replace(design, wires=tuple(w for wire in design.wires if (w := kept(wire))))


class _Meter:
    """Tells which terminals of one circuit are live, with a fault in it or without."""

    def __init__(self, design: Design, problem: Problem, graph: ModeGraph) -> None:
        self.problem = problem
        self.parts: dict[str, PartInUse] = {p.name: p for p in design.parts}
        self.wires = [w for w in design.wires if w.target.part in set(graph.parts)]
        self.into = {wire.target: wire for wire in self.wires}
        self.places = tuple(dict.fromkeys(t for w in self.wires for t in (w.source, w.target)))

    def live(self, at: Live, suspect: Suspect | None) -> frozenset[str]:
        """Return the live terminals (``part:terminal``), ends of wires each; while parts rattle,
        those too that are live now and then."""
        if not at.rattling:
            return self._live(at, at.state, suspect)
        found, met, state = frozenset[str](), set[State](), at.state
        while state not in met:
            met.add(state)
            found |= self._live(at, state, suspect)
            state = tuple(row[1] for row in at.circuit.look(state, at.vector, 0)[1])
        return found

    def _live(self, at: Live, state: State, suspect: Suspect | None) -> frozenset[str]:
        states = {p.name: s for p, s in zip(at.circuit.parts, state, strict=True)}
        known: dict[Terminal, bool] = {}
        bad = suspect or Suspect(Defect.WIRE)

        def behind(part: str, end: str) -> bool:
            """Return whether a part gets power at its input `end`, as far as it acts on it."""
            cut = bad.defect is Defect.OPEN and (bad.part, bad.terminal) == (part, end)
            return not cut and level(Terminal(part, end))

        def level(place: Terminal) -> bool:
            if place not in known:
                known[place] = False
                known[place] = _into(place) if place in self.into else out(place)
            return known[place]

        def _into(place: Terminal) -> bool:
            wire = self.into[place]
            return wire.number != bad.wire and level(wire.source)

        def out(place: Terminal) -> bool:
            part = self.parts.get(place.part)
            if part is None or place.terminal in SHAPES[part.type].power:
                return False
            here = (bad.part, bad.terminal) == (place.part, place.terminal)
            if here and bad.defect is Defect.OPEN:
                return False
            if part.type is PartType.SUPPLY:
                return at.level("supply")
            if part.type is PartType.JOINT:
                return any(behind(part.name, end) for end in SHAPES[part.type].power)
            if not behind(part.name, "in"):
                return False
            if part.type in SPLITTING or (here and bad.defect is Defect.CLOSED):
                return True
            if part.type in SENSING:
                offer = self.problem.kit.index[part.part]
                twilight = part.type is PartType.TWILIGHT
                inverse = option_of(part, offer, "passes" if twilight else "contact")
                return at.level(input_of(part)) != (inverse == ("day" if twilight else "break"))
            return closed(part.type, place.terminal, states[part.name])

        return frozenset(str(place) for place in self.places if level(place))


@dataclass
class _Faulty:
    """One suspect with the circuit that has it."""

    suspect: Suspect
    circuit: Circuit

    def on(self, at: Live) -> frozenset[str]:
        """Return the loads that are seen to be on."""
        seen = _on(at)
        return seen - {self.suspect.part} if self.suspect.defect is Defect.DEAF else seen


def _on(at: Live) -> frozenset[str]:
    mask = at.circuit.loads_on(at.circuit.live(at.state, at.vector))
    return frozenset(name for name, bit in at.circuit.load_bits.items() if mask & bit)


def _run_until(live: Live, time: Fraction) -> None:
    """Let what expires before `time` expire, as long as it settles."""
    while (expiry := live.next_expiry()) is not None and expiry < time and not live.rattling:
        live.happen(expiry)


def _take(live: Live, move: Move) -> None:
    """Do one step with a circuit that stands just before it."""
    live.happen(move.time, ((move.name, not live.level(move.name)),) if move.name else ())


class _Seeker:
    """The trials of one circuit."""

    def __init__(self, design: Design, problem: Problem, graph: ModeGraph, number: int) -> None:
        self.graph, self.number = graph, number
        self.tester = Tester(design, problem, (graph,), 0)
        self.start = self.tester.alone(0)
        self.meter = _Meter(design, problem, graph)
        keep = frozenset(graph.parts)
        self.faulty = [
            _Faulty(s, Circuit(with_fault(design, s), problem.kit, graph.inputs, keep))
            for s in suspects_of(design, graph)
        ]

    def rest(self, faulty: _Faulty) -> Live:
        """Return the circuit with a fault, supply off, beside the sound one."""
        sound = self.start
        return Live(faulty.circuit, sound.time, sound.state, sound.vector, {}, {})

    def first_failure(
        self, path: Sequence[Move], faulty: _Faulty
    ) -> tuple[int, bool, Pair, Pair] | None:
        """Return (step, whether in the wait after it, the sound circuit and the faulty one then,
        and before that)."""
        sound, bad = self.start.copy(), self.rest(faulty)
        for number, move in enumerate(path):
            before = (sound.copy(), bad.copy())
            _run_until(bad, move.time)
            if number and (bad.rattling or faulty.on(bad) != _on(sound)):
                return number - 1, True, (sound, bad), before
            before = (sound.copy(), bad.copy())
            _take(sound, move)
            _take(bad, move)
            if bad.rattling or faulty.on(bad) != _on(sound):
                return number, False, (sound, bad), before
        return None

    def waits(self, sound: Live, bad: Live) -> list[Move]:
        """Return a wait until just after the faulty circuit moves by itself, where there is one."""
        expiry = bad.next_expiry()
        bounds = [b for b in (self.tester.latest(sound), sound.next_expiry()) if b is not None]
        end = min(bounds, default=None)
        if expiry is None:
            return []
        time = expiry + PAUSE
        if end is not None and time >= end:
            time = expiry
        return [Move(time)] if end is None or time < end else []

    def search(self, faulty: _Faulty, staying: bool) -> tuple[Move, ...] | None:
        """Return the fewest steps after which the loads show a fault; None: none were found.
        `staying`: it is to show as a load that stays on."""
        start = (self.start.copy(), self.rest(faulty))
        queue: deque[tuple[Live, Live, tuple[Move, ...]]] = deque([(*start, ())])
        seen = {self.key(*start)}
        for _ in range(MOST_PAIRS):
            if not queue:
                return None
            sound, bad, path = queue.popleft()
            for move in (*self.tester.moves(sound), *self.waits(sound, bad)):
                one, two = sound.copy(), bad.copy()
                _run_until(two, move.time)
                _take(one, move)
                _take(two, move)
                if two.rattling or faulty.on(two) != _on(one):
                    if not staying or (faulty.on(two) - _on(one)) & _on(sound):
                        return (*path, move)
                    continue
                key = self.key(one, two)
                if key not in seen:
                    seen.add(key)
                    queue.append((one, two, (*path, move)))
        return None

    def key(self, sound: Live, bad: Live) -> object:
        """Return a value equal for situations that a search need not tell apart."""
        order = sorted({*sound.until.values(), *bad.until.values()})
        ranks = tuple(
            tuple((i, order.index(at)) for i, at in sorted(live.until.items()))
            for live in (sound, bad)
        )
        return self.tester.key(sound), bad.state, ranks

    def trials(self) -> tuple[list[Trial], list[Suspect]]:
        """Return trials that together show all that can be shown, and what none shows."""
        paths: list[tuple[Move, ...]] = []
        unseen: list[_Faulty] = []
        for faulty in self.faulty:
            if not any(self.first_failure(path, faulty) for path in paths):
                # That a load does not go off is what strikes most of a contact that never opens.
                stuck = faulty.suspect.defect is Defect.CLOSED
                path = (self.search(faulty, True) if stuck else None) or self.search(faulty, False)
                if path is None:
                    unseen.append(faulty)
                else:
                    paths.append(path)
        shown = [
            frozenset(k for k, f in enumerate(self.faulty) if self.first_failure(path, f))
            for path in paths
        ]
        # Those are dropped that show nothing which the others do not show, the shortest first.
        kept = dict(enumerate(shown))
        for number in sorted(kept, key=lambda n: (len(paths[n]), n)):
            others = frozenset[int]().union(*(s for n, s in kept.items() if n != number))
            if shown[number] <= others:
                del kept[number]
        made = [self.trial(paths[number]) for number in sorted(kept, key=lambda n: len(paths[n]))]
        return made, [faulty.suspect for faulty in unseen]

    def trial(self, path: tuple[Move, ...]) -> Trial:
        """Return a run with all ways in which it can fail."""
        sound, at, steps = self.start.copy(), self.start.time, []
        for move in path:
            before = _on(sound)
            level = not sound.level(move.name) if move.name else False
            due = [i for i, time in sound.until.items() if time == move.time]
            _take(sound, move)
            on = _on(sound)
            steps.append(
                TourStep(
                    self.number, move.time, move.time - at,
                    ((move.name, level),) if move.name else (),
                    () if move.name else sound.circuit.names(sorted(due)),
                    tuple(n for n in self.graph.loads if n in on),
                    tuple(n for n in self.graph.loads if n not in on),
                    tuple(n for n in self.graph.loads if n in on ^ before),
                )
            )  # fmt: skip
            at = move.time
        failures: dict[_Seen, list[tuple[Suspect, Readings, Fraction | None]]] = {}
        right: dict[_Seen, Readings] = {}
        for faulty in self.faulty:
            failed = self.first_failure(path, faulty)
            if failed is None:
                continue
            step, later, (good, bad), (good_before, bad_before) = failed
            seen, on = faulty.on(bad), _on(good)
            wrong = tuple((n, n in seen) for n in self.graph.loads if n in seen ^ on)
            key: _Seen = (step, later, wrong, tuple(sorted(bad.rattling)))
            right[key] = Readings(self.meter.live(good, None), self.meter.live(good_before, None))
            expiry = bad.next_expiry()
            failures.setdefault(key, []).append(
                (
                    faulty.suspect,
                    Readings(
                        self.meter.live(bad, faulty.suspect),
                        self.meter.live(bad_before, faulty.suspect),
                    ),
                    None if expiry is None else expiry - bad.time,
                )
            )
        return Trial(
            self.number,
            tuple(steps),
            tuple(
                Failure(
                    step, later, wrong, rattling, right[step, later, wrong, rattling],
                    tuple((suspect, live) for suspect, live, _ in found),
                    min((left for *_, left in found if left is not None), default=None),
                )
                for (step, later, wrong, rattling), found in sorted(failures.items())
            ),
        )  # fmt: skip


def trials_of(design: Design, problem: Problem, graphs: tuple[ModeGraph, ...]) -> Trials:
    """Return the trials of each circuit of a design that holds, fewest steps first."""
    trials: list[Trial] = []
    unseen: list[tuple[int, Suspect]] = []
    for number, graph in enumerate(graphs):
        made, left = _Seeker(design, problem, graph, number).trials()
        trials += made
        unseen += [(number, suspect) for suspect in left]
    return Trials(tuple(trials), tuple(unseen))
