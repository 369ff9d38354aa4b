"""Each change of a design judged: what breaks, for which goals, at which moment, in a sentence."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from synth.design import Design, PartInUse, Terminal
from synth.errors import Undecided
from synth.explain.blame import asking, at_fault
from synth.explain.removals import Variation, bare, consumers, pruned, variations
from synth.explain.wishes import wishes_alone
from synth.parts.behaviour import CONTROLLED, SENSING, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit
from synth.problem import Apart, Energy, Peak, Problem
from synth.reasons import Answer, Broken, Change, PartReasons, Reasons, Unkept
from synth.result import Counterexample, Defect, Fault
from synth.trace import Moment, Trace

LONGEST_CHECK = 5.0
"""Seconds that one question to the exact check may take."""

Subject = str | Apart | Peak | Energy
"""One thing that is asked: a load's goals, two loads never on together, a peak, the
energy of a day."""

_Key = tuple[Subject, tuple[PartInUse, ...], frozenset[tuple[Terminal, Terminal]]]


@dataclass(frozen=True)
class Judge:
    """What the explanation needs of other rooms, handed in by the pipeline.

    `first_failure` is the exact check of one subject (its shortest counterexample; None: holds),
    until a reading of `time.monotonic()`; `amounts` gives the units into each input; `run` plays
    a design up to an end in ticks; `when` tells the last of some moments in words. `unkept` tells
    which wishes of the limits a design does not keep, given what says which consumers get too
    little.
    """

    first_failure: Callable[[Design, Problem, Subject, float], Defect | None]
    amounts: Callable[[Design, Kit], Mapping[Terminal, int]]
    run: Callable[[Design, Problem, Sequence[Moment], Fraction], Trace]
    when: Callable[[Problem, Sequence[Moment]], str]
    unkept: Callable[[Design, Problem, Callable[[Design], list[str]]], list[str]]


def explain(
    design: Design,
    problem: Problem,
    judge: Judge,
    fewer: Mapping[int, Problem],
    *,
    only: str | None = None,
    seconds: float = 60.0,
    report: Callable[[int, int], None] = lambda done, of: None,
    stopped: Callable[[], bool] = lambda: False,
) -> Reasons:
    """Return why each part, wire and setting of `design`, which holds, is there.

    `fewer` holds, for a goal's number, the problem without it (see `at_fault`); `only` names the
    one part to look at, with its wires. After `seconds`, or when `stopped` says so, what has not
    been looked at is marked as not decided. `report` is told (changes done, changes in all).
    """
    began = time.monotonic()
    asked = _Asked(design, problem, judge, fewer, began + seconds, stopped)
    own = {wire.number for wire in design.wires if only in (wire.source.part, wire.target.part)}
    chosen = [
        change
        for change in variations(design, problem)
        if only is None or change.part == only or change.wire in own
    ]
    answers = []
    for number, change in enumerate(chosen):
        report(number, len(chosen))
        answers.append(asked.answer(change))
    parts = tuple(
        PartReasons(
            part, about(part, design, problem), tuple(a for a in answers if a.part == part.name)
        )
        for part in design.parts
        if only is None or part.name == only
    )
    by_number = {wire.number: wire for wire in design.wires}
    wires = tuple((by_number[a.wire], a) for a in answers if a.wire is not None)
    complete = all(answer.decided for answer in answers)
    wishes = tuple(words for words, _ in asked.wishes)
    return Reasons(parts, wires, complete, only is None, time.monotonic() - began, wishes)


class _Asked:
    """One design that holds, and all that was found out about changes of it."""

    def __init__(
        self,
        design: Design,
        problem: Problem,
        judge: Judge,
        fewer: Mapping[int, Problem],
        deadline: float,
        stopped: Callable[[], bool],
    ) -> None:
        self.design, self.problem, self.judge, self.fewer = design, problem, judge, fewer
        self.deadline, self.stopped = deadline, stopped
        self.subjects: list[Subject] = [r.load for r in problem.requirements]
        self.subjects += problem.apart
        if problem.peak is not None:
            self.subjects.append(problem.peak)
        if problem.energy is not None:
            self.subjects.append(problem.energy)
        self.wishes = wishes_alone(problem)
        plain = pruned(bare(design), problem.kit)
        # The design holds as it is: what a change does not reach holds still.
        self.known: dict[_Key, Defect | None] = {
            _key(plain, subject): None for subject in self.subjects
        }

    def answer(self, change: Variation) -> Answer:
        """Return what comes of one change."""
        if change.change is Change.UNITS:
            broken, decided = self._short_of_units(change), True
        else:
            found: list[tuple[Subject, Defect]] = []
            decided = True
            for subject in self.subjects:
                try:
                    defect = self._failure(change.design, subject)
                except Undecided:
                    decided = False
                    continue
                if defect is not None:
                    found.append((subject, defect))
            found.sort(key=lambda pair: _length(pair[1]))
            broken = [self._told(change, subject, defect) for subject, defect in found]
        return Answer(
            change.part,
            change.change,
            change.told,
            tuple(broken),
            decided,
            change.wire,
            change.note,
            self._unkept(change),
            change.wire is None and change.gone,
        )

    def _unkept(self, change: Variation) -> tuple[Unkept, ...]:
        """Return the wishes that the changed design does not keep; those for units only where
        units are what is changed, since no others are counted."""
        units = change.change is Change.UNITS
        return tuple(
            Unkept(words, told)
            for words, asked in self.wishes
            if units or not asked.limits.spare
            for told in self.judge.unkept(change.design, asked, self._lacking)
        )

    def _lacking(self, design: Design) -> list[str]:
        carried = self.judge.amounts(design, self.problem.kit)
        return [
            str(terminal)
            for terminal, need in needs(design, self.problem)
            if carried.get(terminal, 0) < need
        ]

    def _failure(self, changed: Design, subject: Subject) -> Defect | None:
        key = _key(changed, subject)
        if key not in self.known:
            now = time.monotonic()
            if now >= self.deadline or self.stopped():
                raise Undecided("the time ran out")
            until = min(self.deadline, now + LONGEST_CHECK)
            self.known[key] = self.judge.first_failure(changed, self.problem, subject, until)
        return self.known[key]

    # -- in words ----------------------------------------------------------------------------

    def _told(self, change: Variation, subject: Subject, defect: Defect) -> Broken:
        example, lead = defect.counterexample, change.told[:1].upper() + change.told[1:]
        load = subject if isinstance(subject, str) else ""
        goals = tuple(defect.goals)
        if not goals and load:
            # It never settles: nothing at all can be said of the load.
            goals = next(r.goals for r in self.problem.requirements if r.load == load)
        plainly = (
            defect.fault is Fault.GOAL and load and example is not None and example.got is not None
        )
        if not plainly:
            told = defect.message
            if told.startswith("goal"):
                told = told.partition(": ")[2]
            return Broken(defect.fault, load, goals, f"{lead}, {told}.", example)
        assert example is not None and example.got is not None
        goals = at_fault(goals, self.fewer, load, example.moments, example.got)
        when = self.judge.when(self.problem, example.moments)
        want = "goal {} wants" if len(goals) == 1 else "goals {} want"
        numbers = " and ".join(map(str, goals))
        sentence = (
            f"{lead}, {load} is {_on(example.got)} {when}{self._story(change, load, example)}; "
            f"{want.format(numbers)} it {_on(bool(example.expected))}."
        )
        return Broken(defect.fault, load, goals, sentence, example)

    def _story(self, change: Variation, load: str, example: Counterexample) -> str:
        """Return how often the load has run until it was off in error, and whether it stays so.

        Nothing runs on once nothing at all has changed for longer than the longest time that any
        part or input is set to: then nothing will, as long as no input changes.
        """
        if example.got:
            return ""
        last = example.moments[-1].time
        times = [
            value
            for part in change.design.parts
            for key, value in part.settings
            if part.type in TIMED and key in ("time", "on", "off") and isinstance(value, int)
        ]
        end = last + max(times, default=0) + 2
        trace = self.judge.run(change.design, self.problem, example.moments, end)
        track = next(t for t in trace.tracks if t.role == "load" and t.name == load)
        runs = track.start + sum(level for moment, level in track.changes if moment <= last)
        stays = trace.end == end and not any(
            moment > last for item in trace.tracks for moment, _ in item.changes
        )
        words = []
        if runs:
            words.append("has run once" if runs == 1 else f"has run {runs} times")
        if stays and times:
            words.append("stays off while no input changes")
        return f" (it {' and '.join(words)})" if words else ""

    # -- units -------------------------------------------------------------------------------

    def _short_of_units(self, change: Variation) -> list[Broken]:
        """Return a defect for each load that itself, or a control before it, gets too little."""
        kit = self.problem.kit
        carried = self.judge.amounts(change.design, kit)
        short = [
            (terminal, carried.get(terminal, 0), need)
            for terminal, need in needs(change.design, self.problem)
            if carried.get(terminal, 0) < need
        ]
        behind = bare(self.design)
        broken = []
        for requirement in self.problem.requirements:
            before = _upstream(behind, requirement.load)
            lacking = [item for item in short if item[0].part in before]
            if lacking:
                terminal, got, need = lacking[0]
                sentence = (
                    f"{change.told[:1].upper()}{change.told[1:]}, {terminal} gets {_some(got)}, "
                    f"but needs {need}."
                )
                goals = asking(requirement.goals, self.fewer, requirement.load)
                broken.append(Broken(Fault.UNITS, requirement.load, goals, sentence))
        return broken


def _on(level: bool) -> str:
    return "on" if level else "off"


def _some(units: int) -> str:
    return f"{units} unit" if units == 1 else f"{units} units"


def _length(defect: Defect) -> tuple[int, Fraction]:
    """Return how long a counterexample is: its moments, then its time."""
    if defect.counterexample is None or not defect.counterexample.moments:
        return 0, Fraction(0)
    moments = defect.counterexample.moments
    return len(moments), moments[-1].time


def _upstream(design: Design, *names: str) -> frozenset[str]:
    behind: dict[str, list[str]] = {}
    for wire in design.wires:
        behind.setdefault(wire.target.part, []).append(wire.source.part)
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(behind.get(name, ()))
    return frozenset(found)


def _key(design: Design, subject: Subject) -> _Key:
    """Return all that the judgement of `subject` depends on."""
    if isinstance(subject, Peak | Energy):
        names = frozenset(part.name for part in design.parts)
    elif isinstance(subject, Apart):
        names = _upstream(design, subject.first, subject.second)
    else:
        names = _upstream(design, subject)
    return (
        subject,
        tuple(part for part in design.parts if part.name in names),
        frozenset((w.source, w.target) for w in design.wires if w.target.part in names),
    )


# -- what can be said without a change -------------------------------------------------------


def needs(design: Design, problem: Problem) -> list[tuple[Terminal, int]]:
    """Return the input of each consumer (loads, controls) with the units it needs."""
    wanted = {r.load: r.needs for r in problem.requirements}
    found = []
    for part in design.parts:
        offer = problem.kit.index[part.part]
        if part.type is PartType.LOAD:
            found.append((Terminal(part.name, "in"), wanted.get(part.name, offer.units)))
        elif part.type in CONTROLLED:
            found += [(Terminal(part.name, name), offer.units) for name in offer.shape.controls]
    return found


def about(part: PartInUse, design: Design, problem: Problem) -> str:
    """Return what is said of a part without changing anything, "" where there is nothing."""
    if part.type is PartType.LOAD:
        goals = [r.goals for r in problem.requirements if r.load == part.name]
        numbers = ", ".join(str(goal) for own in goals for goal in own)
        return f"Asked for by goal{'s' if ',' in numbers else ''} {numbers}."
    splitting = {item.name for item in design.parts if item.type in SPLITTING}
    behind = sorted(t for t in consumers(design, part.name) if t.part not in splitting)
    names = ", ".join(map(str, behind))
    if part.type is PartType.SUPPLY:
        total = sum(need for _, need in needs(design, problem))
        told = f"Loads and control inputs add up to {_some(total)}; it delivers {design.supply}"
        if problem.limits.spare:
            told += f", {_some(problem.limits.spare)} of it to spare as was wished"
        over = design.supply - problem.limits.spare > total
        if over and any(item.type is PartType.DIVIDER for item in design.parts):
            told += "; dividers share equally, whatever is needed behind each output"
        return f"{told}."
    if part.type in SPLITTING:
        return f"An output feeds one wire, and here one has to feed {names}."
    if part.type in SENSING:
        return f"Follows {part.setting('input') or 'night'}."
    return ""
