"""The troubleshooting table: where to measure first, what to read, what follows.

Half-splitting: along the way of power from the supply to what is dead, the middle is measured; the
fault lies behind it or before it, and that half is split again. The readings are those of a mode
that the check says can be reached, and the way into that mode is told.
"""

from __future__ import annotations

from dataclasses import dataclass

from synth.design import Terminal, Wire
from synth.handover.job import Job
from synth.handover.words import duration, listed, say_levels, say_way
from synth.modes import ModeGraph, Way
from synth.parts.behaviour import CONTROLLED, SENSING, SHAPES, SPLITTING, TIMED, PartType
from synth.sheet import Block, Heading, Points, Sheet, Table, Words

LIVE, DEAD = "live", "dead"
COLUMNS = ("check", "measure at", "right reading", "if live", "if dead")


@dataclass(frozen=True)
class Check:
    """One measurement: a number within its table, where, and what follows from each reading."""

    name: str
    at: str
    right: str
    if_live: str
    if_dead: str


def fault_sheet(job: Job) -> Sheet:
    """Return the troubleshooting table."""
    blocks: list[Block] = [
        Words("Measuring live circuits is for those who are trained for it. Use a meter rated for "
              "the supply; one hand, no rings, nothing that can start by itself within reach. To "
              "change a part or a wire: supply off, locked off, tested dead.", strong=True),
        Words("First look for what only looks like a fault (first table). Then find the symptom, "
              "bring the circuit into the state that is told, and measure in the order of the "
              "table: each reading halves what is left. Units are only told where power is live."),
        Heading("Looks like a fault but is not"),
        Table(("what is seen", "while", "why", "how long"), _normal(job), "normal.csv"),
    ]
    index: list[tuple[str, ...]] = []
    body: list[Block] = []
    data: list[tuple[str, ...]] = []
    targets = {way.consumer: f"F{i}" for i, way in enumerate(job.facts.ways, 1)}
    for way in job.facts.ways:
        name = targets[way.consumer]
        part = way.consumer.rpartition(":")[0]
        is_load = job.parts[part].type is PartType.LOAD
        what = part if is_load else f"{job.spot(way.consumer)} of {part}"
        symptom = f"{what} stays off" if is_load else f"{what} stays dead"
        index.append((symptom, name))
        body += [Heading(f"{name}: {symptom}")]
        if way.live_mode is None:
            body.append(Words(
                f"{job.spot(way.consumer)} is live at most for the instant in which the circuit "
                "settles: no meter shows it. Watch whether the part answers instead: after the "
                "event before it, its contact must close. If everything before it is right and it "
                "never does, change the part, then the wires into it."
            ))
        else:
            graph = job.facts.graphs[way.circuit]
            checks = dead_checks(job, way, graph, targets)
            body.append(Words(f"State to measure in (reached from supply off, inputs at rest): "
                              f"{say_way(job, way.to_live)}. {_hurry(graph, way.live_mode)}"))
            body.append(_table(checks))
            data += [(name, symptom, *_cells(check)) for check in checks]
        if way.dead_mode is not None:
            symptom = f"{what} stays on" if is_load else f"{what} stays live"
            index.append((symptom, f"{name}b"))
            stuck = live_checks(job, way, job.facts.graphs[way.circuit], targets)
            body.append(Heading(f"{name}b: {symptom}"))
            body.append(Words(f"State to measure in: as in {name}, then "
                              f"{say_way(job, way.to_dead)}. "
                              f"{_hurry(job.facts.graphs[way.circuit], way.dead_mode)}"))
            body.append(_table(stuck))
            data += [(f"{name}b", symptom, *_cells(check)) for check in stuck]
    blocks += [Heading("Symptoms"), Table(("symptom", "table"), (*index, *_once(job, targets)),
                                          "symptoms.csv"), *body]
    blocks += [
        Heading("Nothing works at all"),
        Points((
            "Measure at the supply's output: dead means supply, its switch or its fuse.",
            "Live there and dead at the far end of wire "
            f"{job.design.wires[0].number if job.design.wires else 1}: that wire.",
            "A fuse that blows again: find the short with the supply off, one block of the build "
            "steps at a time.",
        )),
        Table(("table", "symptom", *COLUMNS), tuple(data), "checks.csv", 0),
    ]
    return Sheet(12, "troubleshooting", "Troubleshooting", tuple(blocks))


def _cells(check: Check) -> tuple[str, ...]:
    return check.name, check.at, check.right, check.if_live, check.if_dead


def _table(checks: tuple[Check, ...]) -> Table:
    return Table(COLUMNS, tuple(_cells(check) for check in checks))


def _hurry(graph: ModeGraph, mode: int) -> str:
    """Return how long a state stays by itself."""
    running = graph.modes[mode].running
    if not running:
        return "It stays so until something is moved."
    return f"It stays so at most {duration(min(time for _, time in running))}; then begin again."


def dead_checks(
    job: Job, way: Way, graph: ModeGraph, targets: dict[str, str]
) -> tuple[Check, ...]:
    """Return the checks that find why a consumer is dead that must be live, by half-splitting."""
    assert way.live_mode is not None
    live = graph.modes[way.live_mode].live
    part, _, end = way.consumer.rpartition(":")
    wires = job.chain(Terminal(part, end), live)
    # The places to measure, from the supply on: both ends of every wire.
    places: list[Terminal] = []
    for wire in wires:
        places += [wire.source, wire.target]
    checks: list[Check] = []

    def split(low: int, high: int) -> str:
        """Return what to do when place `low` is live (-1: nothing known) and `high` is dead."""
        if high - low == 1:
            return _verdict(job, wires, low, targets)
        middle = (low + high) // 2
        number = len(checks)
        checks.append(Check("", "", "", "", ""))
        name = str(number + 1)
        units = wires[middle // 2].units
        right = LIVE if units is None else f"{LIVE}, {units} u"
        checks[number] = Check(
            name, _where(job, places[middle], wires[middle // 2]), right,
            split(middle, high), split(low, middle),
        )
        return f"check {name}"

    split(-1, len(places) - 1)
    if not checks:
        checks.append(Check("1", _where(job, places[-1], wires[-1]), LIVE, "the consumer itself",
                            _verdict(job, wires, -1, targets)))
    last = str(len(checks) + 1)
    checks.append(Check(
        last, _where(job, places[-1], wires[-1]), f"{LIVE} (if all else is right)",
        f"the part {job.label(part)} itself, or its return wire",
        f"go back to check 1: a reading was wrong, or the fault comes and goes at wire "
        f"{wires[-1].number}",
    ))
    return tuple(checks)


def _where(job: Job, place: Terminal, wire: Wire) -> str:
    return f"{job.spot(place)} ({place}), wire {wire.number}"


def _verdict(job: Job, wires: list[Wire], low: int, targets: dict[str, str]) -> str:
    """Return what is at fault between place `low` and the next."""
    if low < 0:
        return "the supply: off, its fuse blown, or itself at fault"
    wire = wires[low // 2]
    if low % 2 == 0:
        return f"wire {wire.number}, or a terminal at its ends"
    part = job.parts[wire.target.part]
    name = job.label(part.name)
    if part.type in SENSING:
        return f"the contact of {name} does not close: check what works it, its setting, then it"
    if part.type in SPLITTING or part.type is PartType.JOINT:
        return f"{name} does not pass power on: change it"
    controls = [f"{part.name}:{c}" for c in SHAPES[part.type].controls]
    further = listed((targets[c] for c in controls if c in targets), "or")
    moved = "table" if len(controls) == 1 else "tables"
    told = f"; first see {moved} {further} for what works it" if further else ""
    when = " (its time, see settings sheet)" if part.type in TIMED else ""
    return f"the contact of {name} does not close{when}{told}"


def live_checks(
    job: Job, way: Way, graph: ModeGraph, targets: dict[str, str]
) -> tuple[Check, ...]:
    """Return the checks that find why a consumer is live that must be dead: each contact that has
    to hold it off, then the wires behind."""
    assert way.dead_mode is not None
    live = graph.modes[way.dead_mode].live
    part, _, end = way.consumer.rpartition(":")
    holding: dict[Terminal, None] = {}
    waiting = [Terminal(part, end)]
    while waiting:
        wire = job.wire_into.get(waiting.pop())
        if wire is None or str(wire.source) in live:
            continue
        own = job.parts[wire.source.part]
        if own.type is PartType.SUPPLY:
            continue
        powers = [Terminal(own.name, name) for name in SHAPES[own.type].power]
        sources = [job.wire_into[p].source for p in powers if p in job.wire_into]
        if own.type not in SPLITTING and any(str(s) in live for s in sources):
            holding[wire.source] = None
        else:
            waiting += powers
    checks = []
    for number, place in enumerate(holding, 1):
        own = job.parts[place.part]
        wire = job.wire_from[place]
        controls = [f"{own.name}:{c}" for c in SHAPES[own.type].controls]
        further = [f"{targets[c]} or {targets[c]}b" for c in controls if c in targets]
        told = f": see {listed(further, 'or')} for what works it, then change it" if further else (
            ": stuck, bridged, or wrongly set; change it"
        )
        after = f"check {number + 1}"
        checks.append(Check(str(number), _where(job, place, wire), DEAD,
                            f"the contact of {job.label(own.name)} does not open{told}", after))
    wire = job.wire_into[Terminal(part, end)]
    checks.append(Check(
        str(len(checks) + 1), _where(job, wire.target, wire), DEAD,
        "a bridge or a wire in the wrong place feeds it behind the contacts above: compare with "
        "the wire list", "no fault now: it comes and goes; look for loose or pinched wires",
    ))
    return tuple(checks)


def _normal(job: Job) -> tuple[tuple[str, ...], ...]:
    """Return what looks like a fault but is not: loads that wait, or still run, on purpose."""
    rows: dict[tuple[str, ...], None] = {}
    for graph in job.facts.graphs:
        powered = [mode for mode in graph.modes if mode.powered]
        for load in graph.loads:
            for mode in powered:
                alike = [m for m in powered if m.levels == mode.levels]
                on = load in mode.on
                if all((load in m.on) == on for m in alike):
                    continue
                levels = [(n, level) for n, level in mode.levels if n != "supply"]
                seen = f"{load} is {'on' if on else 'off'}"
                bearing = [
                    (name, time) for name, time in mode.running if load in job.serves[name]
                ]
                time = job.run(graph, mode.number, load)
                if bearing and time is not None:
                    names = listed(job.label(name) for name, _ in bearing)
                    rows[seen, say_levels(job, levels), f"waits for the time of {names}",
                         f"at most {duration(time)}"] = None
                else:
                    rows[seen, say_levels(job, levels),
                         "what came before decides: it is held so",
                         "until an input that changes it is moved (step chart)"] = None
    for (name, level), loads in job.cut_by().items():
        rows[f"{listed(loads)} off", say_levels(job, [(name, level)]),
             "the goals want it so", "as long as this lasts"] = None
    if not rows:
        return (("nothing", "always", "every load follows its inputs at once", "always"),)
    return tuple(rows)


def _once(job: Job, targets: dict[str, str]) -> tuple[tuple[str, str], ...]:
    """Return the symptom 'runs once and stops' for loads with timers that re-arm one another."""
    rows = []
    for way in job.facts.ways:
        part = way.consumer.rpartition(":")[0]
        if job.parts[part].type is not PartType.LOAD:
            continue
        timers = [
            p.name for p in job.design.parts
            if p.type in TIMED and part in job.serves[p.name] and _behind_itself(job, p.name)
        ]
        if timers:
            tables = [
                targets[f"{name}:{c}"] for name in timers
                for c in SHAPES[job.parts[name].type].controls if f"{name}:{c}" in targets
            ]
            rows.append((f"{part} runs once and then never again", listed(tables, "then")))
    return tuple(rows)


def _behind_itself(job: Job, name: str) -> bool:
    """Return whether a part's own contact bears on what works it."""
    seen: set[str] = set()
    waiting = [wire.source.part for wire in job.design.wires if wire.target.part == name]
    while waiting:
        other = waiting.pop()
        if other == name:
            return True
        if other not in seen:
            seen.add(other)
            waiting += [w.source.part for w in job.design.wires if w.target.part == other]
    return False


def observable(job: Job) -> tuple[str, ...]:
    """Return the parts whose state no load shows by itself: worth a lamp or a test point."""
    return tuple(p.name for p in job.design.parts if p.type in CONTROLLED)
