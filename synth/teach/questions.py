"""Questions to the reader, made of facts: each answer is a run, or the exact check."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction

from synth.design import Design, PartInUse, Terminal
from synth.errors import DesignError, Undecided
from synth.lesson import Question
from synth.parts.behaviour import CONTROLLED, SENSING, PartType
from synth.problem import InputKind, OutsideInput, Problem
from synth.result import Defect
from synth.teach.attempts import MOST_STATES, Subject, Trial, new_subjects, subjects_of
from synth.ticks import format_duration
from synth.trace import Moment, Trace
from synth.wording import counted, listed

INTO = 5_000
"""How long a load has been on when something happens to it, in ticks, at most half its run."""
BACK = 20_000
"""How long an input then stays, in ticks."""
MOST_TOLD = 6
"""Changes of loads that an answer tells at most."""


@dataclass(frozen=True)
class Facts:
    """What the questions need of other rooms: a change of an input in words, and all that the
    attempts need."""

    said: Callable[[Problem, str, bool], str]
    trial: Trial


def questions_of(
    number: int,
    design: Design,
    problem: Problem,
    before: Problem | None,
    goals: Sequence[int],
    facts: Facts,
    deadline: float,
) -> tuple[Question, ...]:
    """Return two questions at most about `design`, which holds, for stage `number`; `goals` are
    new since `before`."""
    found = [_what_happens(design, problem, before, goals, facts)] if goals else []
    if before is not None and goals:
        found.append(_without_goals(design, problem, before, goals, facts, deadline))
    found.append(_bridged_by_mistake(number, design, problem, goals, facts, deadline))
    found.append(_units(design, problem))
    return tuple(question for question in found if question is not None)[:2]


# -- what happens when an input changes ---------------------------------------------------------


def _what_happens(
    design: Design, problem: Problem, before: Problem | None, goals: Sequence[int], facts: Facts
) -> Question | None:
    """Ask what the loads do when an input changes and changes back while a load is on."""
    moments, end = facts.trial.showing_run(problem)
    shown = facts.trial.run(design, problem, moments, end)
    new = [s for s in new_subjects(problem, goals) if isinstance(s, str)]
    old = {item.name for item in before.inputs} if before is not None else set()
    loads = [*new, *(r.load for r in problem.requirements if r.load not in new)]
    for load in loads:
        for start, stop in _runs(shown, load):
            into = min(INTO, int(stop - start) // 2)
            at = start + into
            if into < 1 or at.denominator != 1:
                continue
            for item in _to_change(problem, before):
                if load not in new and item.name in old:
                    continue  # that was asked before
                for back in (BACK, max([0, *problem.times]) + BACK):
                    asked = _flipped(design, problem, item, load, (at, into, back), moments, facts)
                    if asked is not None:
                        return asked
            break
    return None


def _flipped(
    design: Design,
    problem: Problem,
    item: OutsideInput,
    load: str,
    when: tuple[Fraction, int, int],
    moments: Sequence[Moment],
    facts: Facts,
) -> Question | None:
    """Return the question about one input that changes at (moment, so long into the run, and back
    so long after)."""
    at, into, after = when
    levels = {other.name: other.steady is True for other in problem.inputs}
    for moment in moments:
        levels.update(moment.inputs if moment.time < at else ())
    level = levels[item.name]
    together = [group for group in problem.never_together if item.name in group]
    turned = levels | {item.name: not level}
    there_and_back = problem.may_follow(levels, turned) and problem.may_follow(turned, levels)
    if (not level and together) or not there_and_back:
        return None
    told = tuple(moment for moment in moments if moment.time < at)
    longest = max([0, *problem.times])
    end = at + after + 2 * longest + BACK
    there = Moment(at, ((item.name, not level),))
    back = Moment(at + after, ((item.name, level),))
    run = facts.trial.run(design, problem, (*told, there, back), end)
    still = facts.trial.run(design, problem, told, end)
    if run.marks or _of(load, _load_changes(run, at)) == _of(load, _load_changes(still, at)):
        return None
    changed = facts.said(problem, item.name, not level)
    again = facts.said(problem, item.name, level)
    others = [
        _stands(other, levels[other.name])
        for other in problem.inputs
        if other.name not in (item.name, "supply")
    ]
    meanwhile = f"All the while {listed(others)}." if others else "Nothing else changes."
    ask = (
        f"The {load} has been on for {format_duration(into)} when {changed}; "
        f"{format_duration(after)} later {again}. {meanwhile} What do the loads do?"
    )
    without = _load_changes(still, at)
    touched = [
        r.load
        for r in problem.requirements
        if _of(r.load, _load_changes(run, at)) != _of(r.load, without)
    ]
    changes = [change for change in _load_changes(run, at) if change[1] in touched]
    times = sorted({time for time, _, _ in changes})
    answer = []
    for time in times[:MOST_TOLD]:
        events = [
            f"{_the(names)} {word if len(names) == 1 else words}"
            for level, word, words in ((True, "comes on", "come on"), (False, "goes off", "go off"))
            for names in ([n for t, n, value in changes if t == time and value == level],)
            if names
        ]
        answer.append(f"{_when(int(time - at), after, again)}{' and '.join(events)}.")
    if len(times) > MOST_TOLD:
        answer.append("And so on.")
    rest = [r.load for r in problem.requirements if r.load not in touched]
    if rest:
        verb = "does" if len(rest) == 1 else "do"
        named = _the(rest)
        answer.append(f"{named[:1].upper()}{named[1:]} {verb} as if nothing had happened.")
    return Question(ask, tuple(answer))


def _stands(item: OutsideInput, level: bool) -> str:
    """Return the level of an input in words."""
    match item.kind:
        case InputKind.NIGHT:
            return "it is night" if level else "it is day"
        case InputKind.BUTTON:
            return f"'{item.name}' is {'pressed' if level else 'released'}"
        case InputKind.SENSOR:
            return f"'{item.name}' {'holds' if level else 'does not hold'}"
    return f"'{item.name}' is {'on' if level else 'off'}"


def _when(ago: int, back: int, again: str) -> str:
    """Return so many ticks after the first change in words; `again` is the change back, `back`
    ticks after the first."""
    if ago == 0:
        return "At once "
    if ago == back:
        return f"As soon as {again}, "
    if ago > back:
        return f"{format_duration(ago - back)} after {again}, "
    return f"After {format_duration(ago)} "


def _of(load: str, changes: list[tuple[Fraction, str, bool]]) -> list[tuple[Fraction, bool]]:
    return [(time, value) for time, name, value in changes if name == load]


def _the(names: Sequence[str]) -> str:
    return listed([f"the {name}" for name in names])


def _to_change(problem: Problem, before: Problem | None) -> list[OutsideInput]:
    """Return the inputs that may change at any moment, the new ones first; the supply, first of
    the others, only in the first stage, since it is the same question ever after."""
    old = {item.name for item in before.inputs} if before is not None else set()
    free = [
        item
        for item in problem.inputs
        if item.steady is None
        and (before is None or item.kind is not InputKind.SUPPLY)
        and {item.least_on, item.most_on, item.least_off, item.most_off} <= {None, 0}
    ]
    return sorted(
        free, key=lambda item: (item.name in old or item.kind is InputKind.SUPPLY,
                                item.kind is not InputKind.SUPPLY)
    )  # fmt: skip


def _runs(trace: Trace, load: str) -> list[tuple[Fraction, Fraction]]:
    """Return the stretches during which a load is on."""
    found: list[tuple[Fraction, Fraction]] = []
    for track in trace.tracks:
        if track.role == "load" and track.name == load:
            since = Fraction(0) if track.start else None
            for moment, value in (*track.changes, (trace.end, False)):
                if value and since is None:
                    since = moment
                elif not value and since is not None:
                    found.append((since, moment))
                    since = None
    return found


def _load_changes(trace: Trace, since: Fraction) -> list[tuple[Fraction, str, bool]]:
    return sorted(
        (moment, track.name, value)
        for track in trace.tracks
        if track.role == "load"
        for moment, value in track.changes
        if moment >= since
    )


# -- what is there for the new goals alone -------------------------------------------------------


def _without_goals(
    design: Design,
    problem: Problem,
    before: Problem,
    goals: Sequence[int],
    facts: Facts,
    deadline: float,
) -> Question | None:
    """Ask which contacts a plain wire could replace if the new goals were dropped."""
    loads = {r.load for r in before.requirements}
    # The inputs of the whole stay: the design follows them, whatever is asked.
    asked = replace(
        problem,
        requirements=before.requirements,
        apart=before.apart,
        peak=before.peak,
        energy=before.energy,
    )
    subjects: list[Subject] = [r.load for r in before.requirements]
    subjects += before.apart
    if before.peak is not None:
        subjects.append(before.peak)
    if before.energy is not None:
        subjects.append(before.energy)
    plain = facts.trial.bare(design)
    serving = _serving(plain, loads)
    needless = []
    try:
        as_it_is = _first(plain, asked, subjects, facts.trial, deadline)
        for part, bridged in _bridges(plain, problem, serving, facts.trial):
            if _first(bridged, asked, subjects, facts.trial, deadline) is None:
                needless.append(part.name)
    except Undecided:
        return None
    if not needless:
        return None
    word = "goal" if len(goals) == 1 else "goals"
    ways = _the(sorted(loads)) if len(loads) <= 3 else "the loads of the goals before"
    has_to = "have to" if as_it_is is not None else "be free to"
    ask = (
        f"Suppose {word} {listed([str(goal) for goal in goals])} were dropped. Which contact on "
        f"the way to {ways} would you then {has_to} bridge by a plain wire?"
    )
    names = listed(needless)
    it = "it" if len(needless) == 1 else "any one of them"
    answer = [
        f"{names[:1].upper()}{names[1:]}: with {it} bridged, all goals before hold in the circuit "
        "as it is now."
    ]
    if as_it_is is not None:
        answer.append(f"With nothing bridged they do not: {as_it_is.message}.")
    return Question(ask, tuple(answer))


def _bridges(
    plain: Design, problem: Problem, names: Collection[str], trial: Trial
) -> Iterator[tuple[PartInUse, Design]]:
    """Yield each part of these names that has one contact, and the design with it bridged."""
    source = {wire.target: wire.source for wire in plain.wires}
    for part in plain.parts:
        way = source.get(Terminal(part.name, "in"))
        one = part.type in CONTROLLED | SENSING and part.type is not PartType.RELAY_CHANGEOVER
        if part.name in names and one and way is not None:
            out = Terminal(part.name, "out")
            wires = tuple(replace(w, source=way) if w.source == out else w for w in plain.wires)
            yield part, trial.pruned(replace(plain, wires=wires), problem.kit)


def _first(
    design: Design, problem: Problem, subjects: Sequence[Subject], trial: Trial, deadline: float
) -> Defect | None:
    """Return the failure of the first of the subjects that fails. Raises Undecided."""
    for subject in subjects:
        defect = trial.failure(design, problem, subject, deadline, MOST_STATES)
        if defect is not None:
            return defect
    return None


# -- a wire by mistake -----------------------------------------------------------------------------


def _bridged_by_mistake(
    number: int,
    design: Design,
    problem: Problem,
    goals: Sequence[int],
    facts: Facts,
    deadline: float,
) -> Question | None:
    """Ask how one sees soonest that one contact is bridged; another one from stage to stage."""
    subjects = new_subjects(problem, goals) or subjects_of(problem)
    loads = {s for s in subjects if isinstance(s, str)}
    plain = facts.trial.bare(design)
    ways = list(_bridges(plain, problem, _serving(plain, loads), facts.trial))
    for i in range(len(ways)):
        part, bridged = ways[(number + i) % len(ways)]
        with suppress(Undecided, DesignError):
            if _first(bridged, problem, subjects, facts.trial, deadline) is None:
                continue
            wrong = [
                defect
                for subject in subjects_of(problem)
                for defect in [facts.trial.failure(bridged, problem, subject, deadline,
                                                   MOST_STATES)]
                if defect is not None
            ]  # fmt: skip
            wrong.sort(key=_length)
            ask = (
                f"By mistake a wire is laid across the contact of {part.name}, so that what is "
                "behind it always has power when what is before it has. What goes wrong? Look for "
                "the fewest things that have to happen until it shows."
            )
            return Question(ask, tuple(f"{d.message[:1].upper()}{d.message[1:]}." for d in wrong))
    return None


def _length(defect: Defect) -> tuple[int, Fraction]:
    """Return how long it takes until a defect shows: in moments, then in time."""
    moments = defect.counterexample.moments if defect.counterexample is not None else ()
    return len(moments), moments[-1].time if moments else Fraction(0)


def _serving(plain: Design, loads: set[str]) -> set[str]:
    """Return the parts that these loads depend on."""
    found, waiting = set[str](), list(loads)
    while waiting:
        name = waiting.pop()
        more = {w.source.part for w in plain.wires if w.target.part == name} - found
        found |= more
        waiting += more
    return found


# -- units ----------------------------------------------------------------------------------------


def _units(design: Design, problem: Problem) -> Question | None:
    """Ask what all consumers need together, beside what the supply delivers."""
    wanted = {r.load: r.needs for r in problem.requirements}
    loads = sum(wanted.values())
    controls = 0
    for part in design.parts:
        offer = problem.kit.index[part.part]
        if part.type in CONTROLLED:
            controls += offer.units * len(offer.shape.controls)
    total = loads + controls
    spare = problem.limits.spare
    rest = design.supply - spare - total
    ask = (
        f"The supply must deliver {counted(design.supply, 'unit')}. How many of them do the loads "
        "and the control inputs need?"
    )
    answer = [f"The loads need {loads}, the control inputs {controls}: {total} in all."]
    if spare:
        are = "is" if spare == 1 else "are"
        answer.append(f"As was wished, {counted(spare, 'unit')} of the supply {are} to spare.")
    if rest > 0:
        answer.append(
            f"What is left over, {counted(rest, 'unit')}, reaches consumers that need less than "
            "they get by the way power is shared, and is lost."
        )
    elif rest == 0:
        answer.append("Nothing is lost: every unit is used.")
    else:
        return None  # shared outputs of which only one is live at a time; a longer story
    return Question(ask, tuple(answer))
