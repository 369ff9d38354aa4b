"""The troubleshooting table: which trial shows a fault, where to measure first, what follows.

Every single fault of a wire or part was put into the circuit and run beside the sound one. A trial
is a short run from the supply off; the first step at which a load is wrong names a table. All
faults that show just there are told apart in it by measuring: each reading halves those that are
left, until one is left, or some that no reading at that moment can tell apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from synth.design import Terminal
from synth.handover.hazards import lamps_alone
from synth.handover.job import Job
from synth.handover.kept import before_the_first_step
from synth.handover.words import duration, say_levels, say_move, say_seen, say_step
from synth.modes import TourStep
from synth.parts.behaviour import SENSING, SPLITTING, PartType
from synth.sheet import Block, Heading, Points, Sheet, Table, Words
from synth.suspects import Defect, Failure, Readings, Suspect, Trial
from synth.wording import listed

LIVE, DEAD = "live", "dead"
COLUMNS = ("check", "measure at", "right reading", "if live", "if dead")
_Candidates = Sequence[tuple[Suspect, Readings]]


@dataclass(frozen=True)
class Check:
    """One measurement: a number within its table, where, and what follows from each reading."""

    name: str
    at: str
    right: str
    if_live: str
    if_dead: str


@dataclass(frozen=True)
class Finding:
    """One table: its name, the trial and the failure that it is for, and its checks.

    Trials that begin alike share tables: `numbers` are those that can lead here. `only` says what
    is at fault where no measuring is needed or helps, and is empty else.
    """

    name: str
    numbers: tuple[int, ...]
    trial: Trial
    failure: Failure
    checks: tuple[Check, ...]
    only: str


def findings(job: Job) -> tuple[Finding, ...]:
    """Return the tables of all trials, in order."""
    found: dict[object, Finding] = {}
    for number, trial in enumerate(job.trials.trials, 1):
        for failure in trial.failures:
            same = (trial.circuit, trial.steps[: failure.step + 1 + failure.later], failure)
            if same in found:
                earlier = found[same]
                found[same] = replace(earlier, numbers=(*earlier.numbers, number))
                continue
            checks, only = checks_of(job, failure, failure.step + 1 + failure.later)
            name = f"F{len(found) + 1}"
            found[same] = Finding(name, (number,), trial, failure, checks, only)
    return tuple(found.values())


def fault_sheet(job: Job) -> Sheet:
    """Return the troubleshooting table."""
    found = findings(job)
    blocks: list[Block] = [
        Words("Measuring live circuits is for those who are trained for it. Use a meter rated for "
              "the supply; one hand, no rings, nothing that can start by itself within reach. To "
              "change a part or a wire: supply off, locked off, tested dead."
              + ("" if lamps_alone(job) else " Loads start in these trials: lamps in place of what "
                 "heats, pumps or moves, or guards on and nobody in reach."), strong=True),
        Words("First look for what only looks like a fault (first table). Then do the trials of "
              "the circuit, those first that the table of symptoms names, each from supply off and "
              "all inputs at rest. The first step at which a load is wrong names a table F; stop "
              "there and measure in its order: each reading halves what is left. Units are only "
              "told where power is live."),
        Words("Each table finds any one broken wire, contact that does not close or does not "
              "open, and part that does not act: these were all put into the circuit and run, "
              "except those named at the end. It knows nothing of two faults at once, of bridges "
              "between wires, or of wrong times (compare those with the settings sheet first). "
              "Change what is found, and do the trial again."),
        *map(Words, before_the_first_step(job, "trial")),
        Heading("Looks like a fault but is not"),
        Table(("what is seen", "while", "why", "how long"), _normal(job), "normal.csv"),
        Heading("Symptoms"),
        Table(("symptom", "when", "trials", "tables"), _symptoms(job, found), "symptoms.csv"),
    ]
    rows: list[tuple[str, ...]] = []
    for number, trial in enumerate(job.trials.trials, 1):
        lines = _steps(job, trial, [each for each in found if number in each.numbers])
        rows += [(f"T{number}", *line) for line in lines]
        loads = listed(job.facts.graphs[trial.circuit].loads) or "no load"
        blocks += [
            Heading(f"T{number}: trial of circuit {trial.circuit + 1}, {loads}"),
            Table(("step", "do", "must be seen", "if not"), tuple(lines)),
        ]
    data: list[tuple[str, ...]] = []
    for each in found:
        what = _seen(job, each.failure)
        step = each.trial.steps[each.failure.step]
        blocks += [
            Heading(f"{each.name}: {what}, {_event(job, step, each.failure.later)}"),
            Words(f"{_moment(each)} {_lasts(each.failure)}"),
        ]
        if each.only:
            blocks.append(Words(f"At fault: {each.only}."))
            data.append((each.name, what, "", "", "", each.only, each.only))
        else:
            blocks.append(Table(COLUMNS, tuple(_cells(check) for check in each.checks)))
            data += [(each.name, what, *_cells(check)) for check in each.checks]
    blocks += [
        Heading("No step is wrong"),
        Words("Then it comes and goes: look for loose or pinched wires and worn contacts, with the "
              "supply off and locked off, and do the trials again. What only a long run brings, "
              "and what other loads do meanwhile, no trial shows: do the test sheet (item 10)."),
        *_unseen(job),
        Heading("Nothing works at all"),
        Points((
            "Measure at the supply's output: dead means supply, its switch or its fuse.",
            "Live there and dead at the far end of wire "
            f"{job.design.wires[0].number if job.design.wires else 1}: that wire.",
            "A fuse that blows again: find the short with the supply off, one block of the build "
            "steps at a time.",
        )),
        Table(("trial", "step", "do", "must be seen", "if not"), tuple(rows), "trials.csv", 0),
        Table(("table", "symptom", *COLUMNS), tuple(data), "checks.csv", 0),
    ]
    return Sheet(12, "troubleshooting", "Troubleshooting", tuple(blocks))


def _cells(check: Check) -> tuple[str, ...]:
    return check.name, check.at, check.right, check.if_live, check.if_dead


# What is seen


def _seen(job: Job, failure: Failure) -> str:
    """Return what is wrong to see, in words."""
    loads = listed(f"{load} {'ON' if on else 'off'}" for load, on in failure.wrong)
    if failure.rattling:
        names = [job.label(name) for name in failure.rattling]
        rattle = f"{listed(names)} rattle{'s' if len(names) == 1 else ''} without end"
        return f"{rattle}, {loads}" if loads else rattle
    return loads


def _steps(job: Job, trial: Trial, own: Sequence[Finding]) -> list[tuple[str, ...]]:
    """Return the rows of a trial."""
    lines: list[tuple[str, ...]] = []
    for number, step in enumerate(trial.steps):
        told = [
            f"{'before the next step ' if each.failure.later else ''}"
            f"{_seen(job, each.failure)}: {each.name}"
            for each in own
            if each.failure.step == number
        ]
        lines.append((str(number + 1), say_step(job, step), say_seen(step), "; ".join(told)))
    return lines


def _moment(each: Finding) -> str:
    """Return when to measure."""
    step = each.failure.step + 1
    trials = f"trial{'s' if len(each.numbers) > 1 else ''} {_trials(each)}"
    if each.failure.later:
        return f"Seen in {trials}, just before step {step + 1}: measure then."
    return f"Seen in {trials}, just after step {step}: measure then."


def _trials(each: Finding) -> str:
    return listed(f"T{number}" for number in each.numbers)


def _lasts(failure: Failure) -> str:
    if failure.rattling:
        return "A reading that comes and goes counts as live. Do not leave it rattling for long."
    if failure.stays is None:
        return "It stays so until something is moved."
    return f"It may last no longer than {duration(failure.stays)}; then begin the trial again."


def symptom(trial: Trial, failure: Failure, load: str, on: bool) -> str:
    """Return how a wrong load strikes somebody who only looks on."""
    step = trial.steps[failure.step]
    due = load in step.turned and not failure.later
    if on:
        return f"{load} does not go off" if due else f"{load} comes on though it must not"
    if not due:
        return f"{load} goes off too early"
    if any(load in earlier.on for earlier in trial.steps[: failure.step]):
        return f"{load} runs once and then not again"
    return f"{load} stays off"


def _event(job: Job, step: TourStep, later: bool) -> str:
    """Return at which event of a trial something is wrong."""
    if later or not (step.moves or step.expired):
        return "while nothing is moved"
    if step.moves:
        return f"when you {listed(say_move(job, name, level) for name, level in step.moves)}"
    return f"when the time of {listed(job.designations[n] for n in step.expired)} is up"


def _symptoms(job: Job, found: Sequence[Finding]) -> tuple[tuple[str, ...], ...]:
    """Return what may be seen of each load, with the trials and tables that it may lead to."""
    rows: dict[tuple[int, str, str], list[Finding]] = {}
    order = {part.name: place for place, part in enumerate(job.design.parts)}
    for each in found:
        event = _event(job, each.trial.steps[each.failure.step], each.failure.later)
        if each.failure.rattling:
            rows.setdefault((len(order), _seen(job, each.failure), event), []).append(each)
            continue
        for load, on in each.failure.wrong:
            what = symptom(each.trial, each.failure, load, on)
            rows.setdefault((order[load], what, event), []).append(each)
    return tuple(
        (
            what, event,
            ", ".join(f"T{n}" for n in sorted({n for e in rows[place, what, event]
                                               for n in e.numbers})),
            ", ".join(each.name for each in rows[place, what, event]),
        )
        for place, what, event in sorted(rows)
    )  # fmt: skip


def _unseen(job: Job) -> list[Block]:
    told = dict.fromkeys(verdict(job, (suspect,)) for _, suspect in job.trials.unseen)
    if not told:
        return []
    return [
        Heading("Faults for which no trial was found"),
        Words("No load shows them in a trial, as far as was looked: something else in the circuit "
              "does the same, or they show for an instant only, while parts move. Some may be what "
              "keeps a load off in a case that no trial comes to. Look at these when it is "
              "serviced:"),
        Points(tuple(told)),
    ]


# Measuring


def checks_of(job: Job, failure: Failure, before: int) -> tuple[tuple[Check, ...], str]:
    """Return the checks that tell the suspects of a failure apart, by halves; or none, and what is
    at fault where readings do not tell them apart.

    Where readings do not, those of the moment before may, when all still looked well: `before` is
    the number of the step (counted from 1) or wait that they are taken ahead of.
    """
    checks: list[Check] = []
    wires = {end: wire for wire in job.design.wires for end in (wire.source, wire.target)}

    def best(left: _Candidates, earlier: bool) -> tuple[int, Terminal] | None:
        """Return the place at which the readings of one moment come nearest to halving."""
        found: tuple[int, Terminal] | None = None
        for end in wires:
            live = sum(str(end) in _at(readings, earlier) for _, readings in left)
            fewer = min(live, len(left) - live)
            if fewer and (found is None or fewer > found[0]):
                found = (fewer, end)
        return found

    def split(left: _Candidates) -> str:
        """Return what to do when these suspects are left."""
        earlier = False
        found = best(left, earlier)
        if found is None:
            earlier = True
            found = best(left, earlier)
        if found is None:
            return verdict(job, [suspect for suspect, _ in left])
        end = found[1]
        wire = wires[end]
        units = "" if wire.units is None else f", {wire.units} u"
        where = f"{job.spot(end)} ({end}), wire {wire.number}"
        if earlier:
            again = f"just before step {before}" if not failure.later else (
                f"just after step {before - 1}"
            )
            where = f"begin the trial again, and {again}: {where}"
        number = len(checks)
        checks.append(Check("", "", "", "", ""))
        checks[number] = Check(
            str(number + 1), where,
            f"{LIVE}{units}" if str(end) in _at(failure.right, earlier) else DEAD,
            split([each for each in left if str(end) in _at(each[1], earlier)]),
            split([each for each in left if str(end) not in _at(each[1], earlier)]),
        )  # fmt: skip
        return f"check {number + 1}"

    said = split(failure.suspects)
    return tuple(checks), "" if checks else said


def _at(readings: Readings, earlier: bool) -> frozenset[str]:
    return readings.before if earlier else readings.then


def verdict(job: Job, suspects: Sequence[Suspect]) -> str:
    """Return in words what is at fault, when one of these suspects is."""
    return "; or ".join(dict.fromkeys(_said(job, suspect) for suspect in suspects))


def _said(job: Job, suspect: Suspect) -> str:
    if suspect.defect is Defect.WIRE:
        return f"wire {suspect.wire}, or a terminal at its ends"
    part = job.parts[suspect.part]
    name = job.label(part.name)
    if part.type is PartType.SUPPLY:
        return "the supply: off, its fuse blown, or itself at fault"
    if part.type is PartType.LOAD:
        return f"the part {name} itself, or its return wire"
    if suspect.defect is Defect.DEAF:
        return f"{name} does not act on its {suspect.terminal}: change it"
    if part.type in SPLITTING or part.type is PartType.JOINT:
        way = "from" if part.type is PartType.JOINT else "to"
        return f"{name} does not pass power on {way} {suspect.terminal}: change it"
    which = f"{suspect.terminal} " if part.type is PartType.RELAY_CHANGEOVER else ""
    does = "open" if suspect.defect is Defect.CLOSED else "close"
    told = f"the {which}contact of {name} does not {does}"
    if part.type in SENSING:
        return f"{told}: check what works it, its setting, then it"
    return f"{told}: change it"


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
                names = listed(job.label(name) for name, _ in bearing)
                if bearing and time is not None:
                    rows[seen, say_levels(job, levels), f"waits for the time of {names}",
                         f"at most {duration(time)}"] = None
                elif bearing:
                    rows[seen, say_levels(job, levels),
                         f"what came before decides, and the running time of {names}",
                         "until that is up, or an input that changes it is moved (step chart)"
                         ] = None
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
