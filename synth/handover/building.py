"""The build steps: numbered, one thing a line, with a check after every block."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from synth.design import Wire
from synth.handover.hazards import lamps_alone
from synth.handover.job import Job
from synth.handover.kept import before_the_first_step, remanent
from synth.handover.lists import sharing_note
from synth.handover.words import duration, say_loads, say_way
from synth.modes import TourStep, Way
from synth.parts.behaviour import LEVERS, SENSING, SHAPES, TIMED, PartType
from synth.sheet import Block, Heading, Sheet, Table, Words
from synth.wording import counted, listed

COLUMNS = ("step", "do", "done")
LONGEST_CHECK = 15 * 60_000
"""Ticks that the check of a block may take: whoever builds stands beside it."""


def blocks_of(job: Job) -> tuple[tuple[int, tuple[str, ...], tuple[Wire, ...]], ...]:
    """Return (circuit, parts to mount, wires to lay) for each block, each part and wire once.

    Within a block power wires come first, each after what feeds it, then control wires.
    """
    mounted: set[str] = set()
    laid: set[int] = set()
    found = []
    for g, graph in enumerate(job.facts.graphs):
        inside = set(graph.parts)
        own = [w for w in job.design.wires if w.target.part in inside and w.number not in laid]
        control = [
            w for w in own if w.target.terminal in SHAPES[job.parts[w.target.part].type].controls
        ]
        power = [w for w in own if w not in control]
        order: list[Wire] = []
        fed = {p.name for p in job.design.parts if p.type is PartType.SUPPLY} | mounted
        while power:
            # A wire can be laid once what is before it has its own wires; there is always one.
            ready = [w for w in power if w.source.part in fed] or power[:1]
            order += ready
            fed |= {w.target.part for w in ready}
            power = [w for w in power if w not in ready]
        wires = (*order, *control)
        parts = dict.fromkeys(
            name for w in wires for name in (w.source.part, w.target.part) if name not in mounted
        )
        mounted |= set(parts)
        laid |= {w.number for w in wires}
        if wires:
            found.append((g, tuple(parts), wires))
    left = tuple(w for w in job.design.wires if w.number not in laid)
    if left:
        parts = dict.fromkeys(
            name for w in left for name in (w.source.part, w.target.part) if name not in mounted
        )
        found.append((-1, tuple(parts), left))
    return tuple(found)


def build_sheet(job: Job) -> Sheet:
    """Return the build steps."""
    blocks: list[Block] = [
        Words("Supply off, locked off and tested dead before every block and every change; switch "
              "on for the check alone."
              + ("" if lamps_alone(job) else " No loads that heat, move or pump until the last "
                 "check: use lamps or test loads of the same need."), strong=True),
        Words("Pull each wire gently once it is in. Mark it at both ends with its number. Strike "
              "it off here, not from memory."),
    ]
    note = sharing_note(job)
    if note:
        if any(part.type is PartType.DIVIDER for part in job.design.parts):
            note += (" While only some outputs of a divider are connected, those get more than the "
                     "wire list says; that is no fault before the last block.")
        blocks.append(Words(note))
    if before_the_first_step(job):
        blocks.append(Words(f"{listed(job.label(name) for name in remanent(job))}: each check "
                            "counts from its position of rest. If a load is ON as the supply comes "
                            "on, bring it there first (item 14), supply off, and begin the check."))
    number = 0
    data: list[tuple[str, str, str]] = []
    for block, (circuit, parts, wires) in enumerate(blocks_of(job), 1):
        loads = job.facts.graphs[circuit].loads if circuit >= 0 else ()
        title = f"Block {block}: {listed(loads) or 'what no load needs'}"
        lines: list[str] = [_mount(job, name) for name in parts]
        lines += [
            f"wire {w.number}: {job.spot(w.source)} ({w.source}) to {job.spot(w.target)} "
            f"({w.target})" for w in wires
        ]
        lines.append("look it over: no bare ends, no bridge, nothing left in the box; meter "
                     "between supply and return: no short")
        for way in (w for w in job.facts.ways if w.circuit == circuit):
            # Loads that go on and off together are seen in one check.
            check = _check(job, way)
            lines += check if any(line not in lines for line in check) else []
        lines.append("supply off, locked off, tested dead")
        rows = []
        for line in lines:
            number += 1
            rows.append((str(number), line, "[ ]"))
        data += rows
        blocks += [Heading(title), Table(COLUMNS, tuple(rows))]
    blocks += [
        Heading("At the end"),
        Words(("Covers closed." if lamps_alone(job) else
               "Put the real loads on, guards and covers closed.")
              + " Do the whole test sheet (item 10). Put the card (item 1) at the panel."),
        Table(COLUMNS, tuple(data), "build-steps.csv", 0),
    ]
    return Sheet(13, "build-steps", "Build steps", tuple(blocks))


def _mount(job: Job, name: str) -> str:
    """Return how to mount and set one part."""
    part = job.parts[name]
    settings = []
    for key, value in part.settings:
        if key in ("time", "on", "off") and isinstance(value, int):
            settings.append(f"{key} {duration(value)}")
        elif key == "units":
            settings.append(f"set to {counted(int(value), 'unit')}")
        elif key == "needs":
            settings.append(f"needs {counted(int(value), 'unit')}")
        elif key == "input":
            settings.append(f"{'worked by' if part.type in LEVERS else 'senses'} {value}")
        else:
            settings.append(f"{key} {value}")
    where = ""
    if part.type in SENSING and part.type not in LEVERS:
        where = "; where it senses what it should and no load disturbs it"
    elif part.type in TIMED:
        where = "; where its setting can be read"
    return f"mount {job.label(name)}: " + (", ".join(settings) or "nothing to set") + where


def _check(job: Job, way: Way) -> list[str]:
    """Return the check of one load at the end of a block; nothing for a control input."""
    part = way.consumer.rpartition(":")[0]
    if job.parts[part].type is not PartType.LOAD:
        return []
    if way.live_mode is None:
        return [f"CHECK {part}: nothing that a person can aim at brings it on; see the step chart"]
    last, takes = way.to_live[-1], _takes(way.to_live)
    if takes > LONGEST_CHECK:
        return [f"{part}: to bring it on takes {duration(takes)}; that is left to the test sheet "
                "(item 10)"]
    lines = [f"CHECK (supply off, inputs at rest) {say_way(job, way.to_live)}; expect "
             f"{say_loads(last.on, last.off)}"]
    takes = _takes(way.to_dead)
    if takes > LONGEST_CHECK:
        lines.append(f"{part}: to see it go off takes {duration(takes)}; that is left to the test "
                     "sheet (item 10)")
    elif way.to_dead:
        end = way.to_dead[-1]
        lines.append(f"CHECK go on: {say_way(job, way.to_dead)}; expect "
                     f"{say_loads(end.on, end.off)}")
    return lines


def _takes(steps: Sequence[TourStep]) -> Fraction:
    """Return how long these steps take, in ticks."""
    return sum((step.wait for step in steps), Fraction(0))
