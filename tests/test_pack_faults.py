"""The troubleshooting table is followed in circuits into which faults were put.

Outside the code under test stands the slow plain simulation of `plain_simulation`, which follows
wires by recursion; faults are put into it here, one at a time: each wire broken, each contact stuck
open and stuck closed, each relay and timer dead, each load dead. What a user would see is read off
that simulation step by step of the trials, and so is every reading of the meter; all else is taken
from the words of the sheet. The scenarios are invented.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from check_designs import FULL, part, wired
from plain_simulation import STEP, Broken, Plain, Situation
from test_modes import KEPT, kept

from synth import pipeline
from synth.design import Design, Terminal
from synth.handover.faults import fault_sheet
from synth.handover.job import Job
from synth.modes import TourStep
from synth.parts.behaviour import CONTROLLED, LEVERS, SENSING, PartType
from synth.pose import pose
from synth.problem import Problem
from synth.read.goal_file import parse_goal_file
from synth.sheet import Table
from synth.wording import listed

LARGE = ("glasshouse", "hen-house", "seed-trays", "whole-yard")
NIGHT = 50_400_000
S, MIN = 1_000, 60_000


@dataclass(frozen=True)
class Put:
    """A fault put into a circuit: how (`wire`, `open`, `closed`, `dead`), and where."""

    how: str
    part: str = ""
    terminal: str = ""
    wire: int = 0


class Faulty(Plain):
    """The plain simulation of a design with one fault in it; goals are not judged."""

    def __init__(self, design: Design, problem: Problem, put: Put) -> None:
        super().__init__(design, replace(problem, requirements=(), apart=()))
        self.put = put
        self.numbers = {(w.target.part, w.target.terminal): w.number for w in design.wires}
        self.metering = False

    def output_live(
        self, output: Terminal, states: dict[str, int], levels: dict[str, bool]
    ) -> bool:
        put = self.put
        if (put.part, put.terminal) == (output.part, output.terminal):
            if put.how == "open":
                return False
            if put.how == "closed":
                return self.input_live(output.part, "in", states, levels)
        return super().output_live(output, states, levels)

    def input_live(
        self, part: str, terminal: str, states: dict[str, int], levels: dict[str, bool]
    ) -> bool:
        put = self.put
        if put.how == "wire" and self.numbers.get((part, terminal)) == put.wire:
            return False
        dead = put.how == "dead" and put.part == part and terminal != "in"
        if dead and not self.metering:
            return False  # it does not act on what is there, though a meter shows it
        return super().input_live(part, terminal, states, levels)

    def reading(self, place: Terminal, now: Situation) -> bool:
        """Return whether a meter at a terminal, at an end of a wire, shows live."""
        self.metering = True
        try:
            if (place.part, place.terminal) in self.numbers:
                return self.input_live(place.part, place.terminal, now.states, now.levels)
            return self.output_live(place, now.states, now.levels)
        finally:
            self.metering = False

    def seen(self, now: Situation) -> frozenset[str]:
        """Return the loads that are seen to be on."""
        return now.on - {self.put.part} if self.put.how == "dead" else now.on


class Bench:
    """A circuit on the bench, from the supply off and every input at rest."""

    def __init__(self, plain: Faulty) -> None:
        self.plain, self.clock = plain, 0
        self.now = plain.first()
        steady = {i.name: True for i in plain.problem.inputs if i.steady and i.name != "supply"}
        self.now.levels.update(steady)
        self.rattles = False
        self.round: list[Situation] = []
        """All that a rattling circuit goes through again and again."""

    def _round(self, levels: dict[str, bool]) -> list[Situation]:
        states, met = self.now.states, []
        for at in range(1_000):
            states = self.plain.step(states, levels, set())[0]
            if at >= 500 and states not in met:
                met.append(states)
        return [replace(self.now, states=each, levels=levels) for each in met]

    def rattling(self) -> set[str]:
        """Return the parts that never come to rest."""
        first = self.round[0].states
        return {name for each in self.round for name, s in each.states.items() if s != first[name]}

    def reading(self, end: Terminal) -> bool:
        """Return whether a meter shows live, if only now and then."""
        return any(self.plain.reading(end, each) for each in self.round or [self.now])

    def _after(self, steps: int, levels: dict[str, bool]) -> None:
        left = {name: n - (steps - 1) for name, n in self.now.left.items()}
        after = self.plain.event(replace(self.now, left=left), levels, True)
        assert after is not None
        self.clock += steps
        if isinstance(after, Broken):
            assert after.how == "never settles"
            self.rattles = True
            self.round = self._round(levels)
        else:
            self.now = after

    def until(self, time: Fraction) -> None:
        """Let all happen that comes by itself before `time` (ticks)."""
        assert time % STEP == 0
        while not self.rattles and self.now.left:
            following = min(self.now.left.values())
            if self.clock + following >= time // STEP:
                break
            self._after(following, self.now.levels)

    def do(self, time: Fraction, moves: Iterable[tuple[str, bool]]) -> None:
        """Move inputs at `time`, at which times may be up too."""
        self.until(time)
        if not self.rattles:
            self._after(int(time // STEP) - self.clock, {**self.now.levels, **dict(moves)})


def faults(design: Design) -> list[Put]:
    """Return every single fault that the table speaks of."""
    found = [Put("wire", wire=w.number) for w in design.wires]
    for p in design.parts:
        outputs = [w.source.terminal for w in design.wires if w.source.part == p.name]
        contact = p.type in SENSING or p.type in CONTROLLED
        if contact:
            found += [Put(how, p.name, end) for how in ("open", "closed") for end in outputs]
        if p.type is PartType.SUPPLY:
            found.append(Put("open", p.name, "out"))
        if p.type in CONTROLLED - {PartType.RECYCLER} or p.type is PartType.LOAD:
            found.append(Put("dead", p.name))
    return found


def named(job: Job, put: Put) -> str:
    """Return what an answer must say of a fault, as a pattern."""
    if put.how == "wire":
        return rf"\bwire {put.wire}, or a terminal at its ends"
    label = re.escape(job.label(put.part))
    kind = job.parts[put.part].type
    if kind is PartType.SUPPLY:
        return "the supply: "
    if put.how == "dead":
        return f"{label} (itself|does not act|does not (open|close))"
    which = f"{put.terminal} " if kind is PartType.RELAY_CHANGEOVER else ""
    does = "close" if put.how == "open" else "open"
    if which and put.how == "open":
        which = f"({which})?"
    return f"the {which}contact of {label} does not {does}"


@dataclass
class Printed:
    """The sheet as it is printed."""

    job: Job
    trials: dict[str, list[tuple[str, ...]]]
    checks: dict[str, dict[str, tuple[str, ...]]]
    unseen: tuple[str, ...]


def printed(job: Job) -> Printed:
    sheet = fault_sheet(job)
    tables = {block.file: block for block in sheet.blocks if isinstance(block, Table)}
    trials: dict[str, list[tuple[str, ...]]] = {}
    for row in tables["trials.csv"].rows:
        trials.setdefault(row[0], []).append(row[1:])
    checks: dict[str, dict[str, tuple[str, ...]]] = {}
    for row in tables["checks.csv"].rows:
        checks.setdefault(row[0], {})[row[2]] = row[3:]
    points: Sequence[Any] = sheet.blocks
    unseen = next(
        (
            points[at + 2].items
            for at, block in enumerate(points)
            if getattr(block, "text", "") == "Faults for which no trial was found"
        ),
        (),
    )
    return Printed(job, trials, checks, tuple(unseen))


def looks(steps: Sequence[TourStep], plain: Faulty, loads: Sequence[str]) -> (
    tuple[int, bool, str, Bench, Situation] | None
):
    """Do the steps of a trial until a load is wrong; return (step, whether just before the next
    one, what is seen, the bench then, all as it was before)."""
    bench = Bench(plain)
    right: frozenset[str] = frozenset()

    def wrong() -> str:
        if bench.rattles:
            return "rattle"
        seen = plain.seen(bench.now)
        return listed(
            f"{n} {'ON' if n in seen else 'off'}" for n in loads if (n in seen) != (n in right)
        )

    for number, step in enumerate(steps):
        before = bench.now
        bench.until(step.time)
        if number and (what := wrong()):
            return number - 1, True, what, bench, before
        before = bench.now
        bench.do(step.time, step.moves)
        right = frozenset(step.on)
        if what := wrong():
            return number, False, what, bench, before
    return None


def answer_of(page: Printed, put: Put) -> tuple[str, int] | None:
    """Follow the sheet in a circuit with a fault; return (what it says is at fault, measurements),
    None when no step of any trial is wrong."""
    job = page.job
    plain = Faulty(job.design, job.problem, put)
    for name, trial in zip(page.trials, job.trials.trials, strict=True):
        found = looks(trial.steps, plain, job.facts.graphs[trial.circuit].loads)
        if found is None:
            continue
        step, later, what, bench, before = found
        if what == "rattle" and not bench.rattling() & set(job.facts.graphs[trial.circuit].parts):
            continue  # that leads to the trials of its own circuit
        cells = page.trials[name][step][3].split("; ")
        lead = "before the next step " if later else ""
        (table,) = [
            cell.rpartition(": ")[2]
            for cell in cells
            if cell.startswith(f"{lead}{what}: ") or (what == "rattle" and " rattle" in cell)
        ]
        checks = page.checks[table]
        if "" in checks:
            return checks[""][2], 0
        said, measured = "check 1", 0
        while match := re.fullmatch(r"check (\d+)", said):
            at, right, if_live, if_dead = checks[match[1]]
            ((place, wire),) = re.findall(r"\(([^()]*:\w+)\), wire (\d+)", at)
            end = Terminal(*place.rsplit(":", 1))
            assert any(w.number == int(wire) and end in (w.source, w.target)
                       for w in job.design.wires)  # fmt: skip
            earlier = at.startswith("begin the trial again")
            live = plain.reading(end, before) if earlier else bench.reading(end)
            said = if_live if live else if_dead
            assert right == "dead" or right.startswith("live")
            measured += 1
        return said, measured
    return None


def job_of(design: Design, problem: Problem) -> Job:
    verdict = pipeline.check_design(design, problem)
    assert verdict.holds, verdict.defects
    return pipeline.hand_over_job(design, problem, verdict, NIGHT, 1_000)


@cache
def kept_job(name: str) -> Job:
    problem, design = kept(name)
    return job_of(design, problem)


def follow_all(job: Job) -> None:
    """Put each fault into the circuit; assert that the sheet ends at it, or at a few that hold it,
    or names it as one that nothing shows: then no step of the whole test sheet shows it either."""
    page = printed(job)
    hidden = 0
    for put in faults(job.design):
        found = answer_of(page, put)
        if found is None:
            hidden += 1
            assert any(re.search(named(job, put), told) for told in page.unseen), put
            plain = Faulty(job.design, job.problem, put)
            bench = Bench(plain)
            moves = {m.time: m.inputs for m in job.facts.tour.moments if m.time}
            steps = {s.time: s for s in job.facts.tour.steps}
            for time in sorted({*moves, *steps}):
                bench.do(Fraction(time), moves.get(time, ()))
                assert not bench.rattles
                if time in steps:
                    seen = plain.seen(bench.now)
                    assert set(steps[time].on) <= seen and not seen & set(steps[time].off), put
            continue
        said, measured = found
        assert re.search(named(job, put), said), (put, said)
        # No more than a few are left, after about as many measurements as halving takes.
        assert said.count("; or ") <= 3, (put, said)
        assert measured <= 8, (put, measured)
    assert hidden <= len(faults(job.design)) / 20


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.slow) if n in LARGE else n for n in KEPT]
)
def test_every_single_fault_is_found_in_kept_designs(name: str) -> None:
    follow_all(kept_job(name))


def filling_pump() -> Job:
    """A pump that fills a tank between two levels: a relay holds itself through a joint. It never
    runs while the well is empty, and a cutoff stops it."""
    design = wired(
        [
            part("yard", PartType.SWITCH, input="yard", contact="make"),
            part("well", PartType.SENSOR, input="well empty", contact="break"),
            part("high", PartType.SENSOR, input="high", contact="break"),
            part("low", PartType.SENSOR, input="low", contact="break"),
            part("both", PartType.JOINT),
            part("hold", PartType.RELAY_MAKE),
            part("pump", PartType.LOAD, needs=3),
        ],
        {"yard.in": "supply", "well.in": "yard.out", "high.in": "well.out", "low.in": "high.out",
         "hold.in": "high.out", "both.in1": "low.out", "both.in2": "hold.out",
         "hold.coil": "both.out", "pump.in": "hold.out"},
    )  # fmt: skip
    goals = parse_goal_file(
        "kit: full\nloads: {pump: 3}\ninputs: {low: sensor, high: sensor, well empty: sensor}\n"
        "goals: [pump fills between low and high, pump never while well empty, yard cutoff]\n",
        "goals.yaml",
    )
    return job_of(design, pose(goals, FULL))


def timers() -> Job:
    """One of each timer, as a yard may use them: a horn, a gate lamp, a vent that waits."""
    sensors = {"gate": "gate", "hot": "hot"}
    design = wired(
        [
            part("bell", PartType.PUSH_BUTTON, input="bell", contact="make"),
            *(part(n, PartType.SENSOR, input=i, contact="make") for n, i in sensors.items()),
            part("again", PartType.RETRIGGERABLE, time=45 * S),
            part("after", PartType.OFF_DELAY, time=10 * MIN),
            part("wait", PartType.ON_DELAY, time=20 * MIN),
            *(part(n, PartType.LOAD, needs=1) for n in ("horn", "gate lamp", "vent")),
        ],
        {"bell.in": "supply", "gate.in": "supply", "hot.in": "supply", "again.in": "supply",
         "after.in": "supply", "wait.in": "supply", "again.start": "bell.out",
         "after.start": "gate.out", "wait.start": "hot.out", "horn.in": "again.out",
         "gate lamp.in": "after.out", "vent.in": "wait.out"},
    )  # fmt: skip
    goals = parse_goal_file(
        "kit: full\ninputs: {hot: sensor, gate: sensor}\n"
        "goals: ['horn for 45 s after each press of bell, pressing again extends',"
        " vent 20 min after hot, gate lamp while gate is open and for 10 min after]\n",
        "goals.yaml",
    )
    return job_of(design, pose(goals, FULL))


@pytest.mark.parametrize("made", [filling_pump, timers])
def test_every_single_fault_is_found(made: Any) -> None:
    follow_all(made())


def test_contacts_that_never_open_are_answers_each() -> None:
    """Also those that only keep a load off in some other state than the one first met."""
    page = printed(filling_pump())
    said = " ".join(cell for rows in page.checks.values() for row in rows.values() for cell in row)
    for name in ("yard", "well", "high", "low", "hold"):
        assert f"the contact of {page.job.label(name)} does not open" in said


def test_the_path_by_which_a_relay_holds_itself() -> None:
    """Filling ends where 'low' is reached, not at 'high': a symptom of its own, whose table knows
    the wire to the joint."""
    job = filling_pump()
    (symptoms,) = [
        block for block in fault_sheet(job).blocks
        if isinstance(block, Table) and block.file == "symptoms.csv"
    ]
    ((_, when, _, table),) = [r for r in symptoms.rows if r[0] == "pump goes off too early"]
    assert "'low'" in when
    (wire,) = [w.number for w in job.design.wires if str(w.target) == "both:in2"]
    rows = printed(job).checks[table]
    assert any(f"wire {wire}, or" in cell for row in rows.values() for cell in row)


def test_once_and_never_again() -> None:
    """Of a cycle of timers that start each other: it has checks, and ends at single faults."""
    job = kept_job("potting-shed")
    (symptoms,) = [
        block for block in fault_sheet(job).blocks
        if isinstance(block, Table) and block.file == "symptoms.csv"
    ]
    tables = [r[3] for r in symptoms.rows if r[0] == "pump runs once and then not again"]
    assert tables and len(printed(job).checks[tables[0]]) > 1


def test_no_contact_is_left_out() -> None:
    """Of the faults put in: each output of a part with a contact is stuck open and stuck closed."""
    for name in KEPT:
        _, design = kept(name)
        put = faults(design)
        contacts = [
            w.source for w in design.wires
            if any(p.name == w.source.part and (p.type in SENSING or p.type in CONTROLLED)
                   for p in design.parts)
        ]  # fmt: skip
        assert sum(p.how == "closed" for p in put) == len(contacts)
        assert LEVERS < SENSING and sum(p.how == "wire" for p in put) == len(design.wires)
