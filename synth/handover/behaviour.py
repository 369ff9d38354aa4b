"""What causes what: the table of inputs against loads, the modes with their ways, the timing."""

from __future__ import annotations

from synth.handover.job import Job
from synth.handover.words import duration, say_level
from synth.modes import ModeGraph
from synth.sheet import Block, Heading, Picture, Sheet, Table, Words
from synth.wording import listed

SHOWN = 40
"""Rows of a long table that the page itself shows; the CSV has all."""
ON, OFF, EITHER = "ON", "off", "ON or off"


def timing_chart(job: Job) -> Sheet:
    """Return the timing chart: cold start, two rounds, each input, a power cut."""
    trace = job.facts.trace
    moved: dict[str, int] = {}
    for track in trace.tracks:
        if track.role == "input":
            moved[track.name] = len(track.changes)
    never = [name for name, n in moved.items() if not n]
    blocks: list[Block] = [
        Words("From cold: the supply comes on at 0 s. "
              + ("Two rounds of each cycle that runs by itself, each" if job.timed else "Each")
              + " input moved to and fro where that changes a load"
              + ("" if "supply" in never else ", and a power cut while most is on")
              + ". The times are the exact ones of the check; parts at hand may be "
              "later by their own reaction."),
    ]
    if never:
        blocks.append(Words(
            f"Not moved in this run: {listed(never)}; see the test sheet and the step chart."
        ))
    blocks.append(Words(
        "The same run as data: 08-timing.vcd (IEEE 1364, 1 ms) for any wave viewer, "
        "08-timing.wave.json (WaveJSON; one brick for each stretch between two changes, the first "
        "row says from when) for a page."
    ))
    blocks.append(Picture("timing.svg", f"timing diagram over {duration(trace.end)}"))
    return Sheet(8, "timing", "Timing chart", tuple(blocks), ("timing.vcd", "timing.wave.json"))


def effect(graph: ModeGraph, levels: tuple[tuple[str, bool], ...], load: str) -> str:
    """Return what a load does in all modes that have these levels: ON, off, or either."""
    seen = {load in mode.on for mode in graph.modes if mode.levels == levels}
    return EITHER if len(seen) == 2 else ON if seen == {True} else OFF


def causes(graph: ModeGraph) -> tuple[tuple[tuple[str, bool], ...], ...]:
    """Return each setting of the inputs that is reached with the supply on, fewest at 1 first."""
    return tuple(dict.fromkeys(mode.levels for mode in graph.modes if mode.powered))


def cause_and_effect(job: Job) -> Sheet:
    """Return the cause-and-effect tables and the step charts, one of each for each circuit."""
    blocks: list[Block] = [
        Words("Every reachable settled state, from the exact check."
              + (" Loads that share no relay or timer stand in tables of their own: what is not "
                 "named in a table does not matter there." if len(job.facts.graphs) > 1 else "")
              + " With the supply off every load is off."),
    ]
    if any(effect(graph, levels, load) == EITHER for graph in job.facts.graphs
           for levels in causes(graph) for load in graph.loads):
        blocks.append(Words(f"'{EITHER}': the inputs alone do not say; a time that runs or what "
                            "came before decides. The step chart below the table tells which."))
    for g, graph in enumerate(job.facts.graphs, 1):
        blocks.append(Heading(f"Circuit {g}: {listed(graph.loads) or 'no load'}"))
        inputs = [name for name in graph.inputs if name != "supply"]
        rows = tuple(
            (*(say_level(job, name, dict(levels)[name]) for name in inputs),
             *(effect(graph, levels, load) for load in graph.loads))
            for levels in causes(graph)
        )
        file = f"cause-and-effect-{g}.csv"
        columns = (*(f"input: {n}" for n in inputs), *(f"load: {n}" for n in graph.loads))
        blocks.append(Table(columns, rows, file, SHOWN))
        if any(mode.running for mode in graph.modes) or any(EITHER in row for row in rows):
            file = f"steps-{g}.csv"
            blocks += [Words(f"Step chart of circuit {g}: each mode, and what each event leads "
                             "to."), _steps(job, graph, file)]
        if not graph.facts:
            blocks.append(Words("What is known of the times of inputs was left aside here: some of "
                                "these modes may be out of reach."))
        if not graph.together:
            blocks.append(Words("Modes that only several things at one instant lead to were not "
                                "looked for here."))
    return Sheet(9, "cause-and-effect", "Cause and effect", tuple(blocks))


def _steps(job: Job, graph: ModeGraph, file: str) -> Table:
    """Return one row for each mode with the supply on: what is so, and where each event leads."""
    powered = [mode for mode in graph.modes if mode.powered]
    ways: dict[int, list[str]] = {mode.number: [] for mode in graph.modes}
    for change in graph.changes:
        if change.expired:
            names = listed(job.designations[name] for name in change.expired)
            ways[change.start].append(f"time of {names} up: {change.end}")
        elif change.input != "supply":
            word = say_level(job, change.input, change.level)
            ways[change.start].append(f"{word}: {change.end}")
    rows = []
    for mode in powered:
        rows.append((
            str(mode.number),
            ", ".join(say_level(job, n, level) for n, level in mode.levels if n != "supply")
            or "any",
            listed(mode.on) or "none",
            listed(job.designations[name] for name in mode.operated) or "none",
            listed(f"{job.designations[name]} {duration(t)}" for name, t in mode.running)
            or "none",
            "; ".join(ways[mode.number]) or "nothing but a power cut",
        ))
    return Table(("mode", "inputs", "loads on", "operated", "times that run", "next"),
                 tuple(rows), file, SHOWN)
