"""All that a pack is made from, and what follows from the wires alone: nodes, chains, purposes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from synth.design import Design, PartInUse, Terminal, Wire
from synth.modes import Facts, Mode, ModeGraph, Tour
from synth.parts.behaviour import CONTROLLED, SENSING, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit, KitPart
from synth.problem import InputKind, Problem
from synth.result import Instant
from synth.settings_sheet import Place, SettingsSheet
from synth.suspects import Trials


@dataclass(frozen=True)
class BenchRun:
    """The same design with test times: its settings sheet, its modes, and the test by hand."""

    sheet: SettingsSheet
    graphs: tuple[ModeGraph, ...]
    tour: Tour

    def test_time(self, part: str, setting: str) -> int | None:
        """Return the test time of a timer's setting in ticks, None where it has none."""
        for time in self.sheet.times:
            for use in time.uses:
                if (use.place, use.of, use.what) == (Place.PART, part, setting):
                    return time.test
        return None


@dataclass(frozen=True)
class Job:
    """A design that holds, the problem it solves, and what the checker found out about it.

    `designations` gives each part's letter and number after IEC 81346-2, without its prefix;
    `kinds` what each load is (lamp, motor, heater, signal, or empty); `paths` how many current
    paths, or rungs, the drawings have.
    """

    design: Design
    problem: Problem
    facts: Facts
    designations: Mapping[str, str]
    kinds: Mapping[str, str]
    paths: int
    version: str
    key: str
    """A mark by which two copies of the same design are told to be the same."""
    bench: BenchRun | None = None
    """None: no test times were proven with which the test would be shorter."""
    bench_why: str = ""
    """Why there are no test times, "" where they were not looked for."""
    trials: Trials = Trials()
    """The runs by which a fault shows."""
    instants: tuple[Instant, ...] = ()
    """What loads may do for an instant, where one part is quicker than another."""

    @property
    def bench_test(self) -> BenchRun | None:
        """The test with test values, None where it saves less than a third of the time."""
        if self.bench is None or 3 * self.bench.tour.end > 2 * self.facts.tour.end:
            return None
        return self.bench

    @property
    def kit(self) -> Kit:
        """The kit of the problem."""
        return self.problem.kit

    @cached_property
    def parts(self) -> dict[str, PartInUse]:
        """The parts by name."""
        return {part.name: part for part in self.design.parts}

    @cached_property
    def wire_into(self) -> dict[Terminal, Wire]:
        """The wire on each input."""
        return {wire.target: wire for wire in self.design.wires}

    @cached_property
    def wire_from(self) -> dict[Terminal, Wire]:
        """The wire on each output."""
        return {wire.source: wire for wire in self.design.wires}

    def offer(self, name: str) -> KitPart:
        """Return the kit's line for a part of the design."""
        return self.kit.index[self.parts[name].part]

    def kind(self, name: str) -> InputKind:
        """Return what an outside input is; a sensor where nothing else is said."""
        for item in self.problem.inputs:
            if item.name == name:
                return item.kind
        return InputKind.SUPPLY if name == "supply" else InputKind.SENSOR

    def devices(self, name: str) -> tuple[str, ...]:
        """Return the designations of all parts that follow an outside input: at each of them it
        has to be brought about."""
        return tuple(
            self.designations[part.name]
            for part in self.design.parts
            if part.type in SENSING
            and (
                part.setting("input") == name
                or (part.type is PartType.TWILIGHT and self.kind(name) is InputKind.NIGHT)
            )
        )

    def label(self, name: str) -> str:
        """Return a part's designation and name: ``K1 (relay break 1)``."""
        return f"{self.designations[name]} ({name})"

    def spot(self, terminal: Terminal | str) -> str:
        """Return a terminal by designation: ``K1:out``."""
        part, _, end = str(terminal).rpartition(":")
        return f"{self.designations[part]}:{end}"

    # Nodes: all that is joined by wires and splitting parts is electrically one

    @cached_property
    def node_of(self) -> dict[int, int]:
        """The number of the node of each wire (by its number); nodes count from 1."""
        numbers: dict[Terminal, int] = {}
        return {
            wire.number: numbers.setdefault(self.origin(wire.source), len(numbers) + 1)
            for wire in self.design.wires
        }

    def origin(self, output: Terminal) -> Terminal:
        """Return the output that `output` is one with: the one before all splitting parts."""
        while self.parts[output.part].type in SPLITTING:
            wire = self.wire_into.get(Terminal(output.part, "in"))
            if wire is None:
                break
            output = wire.source
        return output

    @cached_property
    def opened(self) -> frozenset[str]:
        """The sensors of things that open and close, as the goals speak of them: on while open."""
        told = "the sensor '{0}' is on while '{0}' is open"
        names = (item.name for item in self.problem.inputs)
        return frozenset(n for n in names if told.format(n) in self.problem.assumptions)

    # What serves what

    @cached_property
    def serves(self) -> dict[str, tuple[str, ...]]:
        """The loads that each part bears on, in the order of the design."""
        behind: dict[str, list[str]] = {}
        for wire in self.design.wires:
            behind.setdefault(wire.target.part, []).append(wire.source.part)
        found: dict[str, list[str]] = {part.name: [] for part in self.design.parts}
        for part in self.design.parts:
            if part.type is PartType.LOAD:
                seen: set[str] = set()
                waiting = [part.name]
                while waiting:
                    name = waiting.pop()
                    if name not in seen:
                        seen.add(name)
                        waiting += behind.get(name, [])
                for name in seen:
                    found[name].append(part.name)
        return {name: tuple(loads) for name, loads in found.items()}

    @cached_property
    def goals_of(self) -> dict[str, tuple[int, ...]]:
        """The numbers of the goals that each part helps to keep."""
        by_load = {r.load: r.goals for r in self.problem.requirements}
        return {
            name: tuple(sorted({g for load in loads for g in by_load.get(load, ())}))
            for name, loads in self.serves.items()
        }

    def chain(self, target: Terminal, live: frozenset[str] = frozenset()) -> list[Wire]:
        """Return the wires by which power comes to `target`, from the supply on.

        At a joint the input that is among `live` sources counts, else the first.
        """
        wires: list[Wire] = []
        wire = self.wire_into.get(target)
        while wire is not None:
            wires.append(wire)
            part = wire.source.part
            ends = [Terminal(part, name) for name in self.offer(part).shape.power]
            candidates = [self.wire_into[end] for end in ends if end in self.wire_into]
            lit = [w for w in candidates if str(w.source) in live]
            wire = (lit or candidates or [None])[0]  # type: ignore[list-item]
        return wires[::-1]

    # Modes

    def graph_of(self, load: str) -> tuple[int, ModeGraph]:
        """Return the circuit in which a load is, with its number."""
        for g, graph in enumerate(self.facts.graphs):
            if load in graph.loads:
                return g, graph
        raise KeyError(load)

    def run(self, graph: ModeGraph, mode: int, load: str) -> int | None:
        """Return the longest that a load stays as it is in a mode while no input moves, in ticks;
        None: until one moves, or for ever."""
        return self._runs(graph, load)[mode]

    def longest_run(self, load: str, on: bool) -> int | None:
        """Return the longest of the runs of a load that come to an end by themselves, None where
        there is none."""
        _, graph = self.graph_of(load)
        runs = self._runs(graph, load)
        ends = [
            time
            for mode, time in zip(graph.modes, runs, strict=True)
            if time is not None and mode.powered and (load in mode.on) == on
        ]
        return max(ends, default=None)

    def _runs(self, graph: ModeGraph, load: str) -> tuple[int | None, ...]:
        """Return the run of each mode: the longest way of times that are up within it."""
        key = (graph.loads, load)
        if key not in self._known_runs:
            after: dict[int, list[int]] = {}
            for change in graph.changes:
                if change.expired:
                    after.setdefault(change.start, []).append(change.end)
            known: dict[int, int | None] = {}
            for mode in graph.modes:
                self._run_from(graph, load, mode.number, after, known)
            self._known_runs[key] = tuple(known[mode.number] for mode in graph.modes)
        return self._known_runs[key]

    @cached_property
    def _known_runs(self) -> dict[tuple[tuple[str, ...], str], tuple[int | None, ...]]:
        return {}

    def _run_from(
        self,
        graph: ModeGraph,
        load: str,
        start: int,
        after: Mapping[int, Sequence[int]],
        known: dict[int, int | None],
    ) -> None:
        """Note the run from one mode, and those of all that it leads to by itself."""
        way = [start]
        while way:
            number = way[-1]
            if number in known:
                way.pop()
                continue
            mode = graph.modes[number]
            same = [
                end
                for end in after.get(number, ())
                if (load in graph.modes[end].on) == (load in mode.on)
            ]
            open_ = [end for end in same if end not in known]
            if any(end in way for end in open_):
                # Round and round: it never ends by itself.
                known[number] = None
            elif open_:
                way.append(open_[0])
            else:
                further = [known[end] for end in same]
                if mode.stays is None or None in further:
                    known[number] = None
                else:
                    known[number] = mode.stays + max((t for t in further if t), default=0)

    def mode_units(self, circuit: int, mode: Mode) -> int:
        """Return the units that the consumers counted in a circuit use in one of its modes."""
        units, owners = self._counted
        return sum(units[name] for name in mode.fed if owners[name] == circuit)

    @cached_property
    def _counted(self) -> tuple[dict[str, int], dict[str, int]]:
        return dict(self.facts.needs.units), dict(self.facts.needs.owners)

    @cached_property
    def sharing(self) -> tuple[str, ...]:
        """The designations of the parts that share power."""
        return tuple(self.designations[p.name] for p in self.design.parts if p.type in SPLITTING)

    @cached_property
    def timed(self) -> bool:
        """Whether there is any time to set."""
        return any(part.type in TIMED for part in self.design.parts)

    @cached_property
    def controlled(self) -> tuple[PartInUse, ...]:
        """The relays and timers."""
        return tuple(p for p in self.design.parts if p.type in CONTROLLED)

    def cut_by(self) -> dict[tuple[str, bool], tuple[str, ...]]:
        """Return for (input, level) the loads that are off in every mode in which it has it, but
        are on in some other: what that lever, button or sensor stops for certain."""
        found: dict[tuple[str, bool], tuple[str, ...]] = {}
        for item in self.problem.inputs:
            if item.kind is InputKind.SUPPLY:
                continue
            for level in (False, True):
                stopped = []
                for graph in self.facts.graphs:
                    if item.name not in graph.inputs:
                        continue
                    powered = [m for m in graph.modes if m.powered]
                    held = [m for m in powered if m.level(item.name) == level]
                    for load in graph.loads:
                        ever = any(load in m.on for m in powered)
                        if held and ever and not any(load in m.on for m in held):
                            stopped.append(load)
                if stopped:
                    found[item.name, level] = tuple(dict.fromkeys(stopped))
        return found
