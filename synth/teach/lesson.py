"""A lesson from first to last: stage by stage, what is tried, what fails, what holds."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace

from synth.design import Design
from synth.errors import SynthError, Undecided
from synth.goals import GoalList
from synth.lesson import Attempt, Lesson, Stage
from synth.parts.behaviour import SENSING, PartType
from synth.problem import Problem
from synth.result import Outcome, Verdict
from synth.settings_sheet import SettingsSheet
from synth.teach.attempts import Failed, Subject, first_attempt, new_subjects
from synth.teach.matching import changes_of, named_after
from synth.teach.questions import Facts, questions_of
from synth.teach.stages import Posed, stages_of
from synth.trace import Trace

LEAST_SECONDS = 2.0
"""What a stage gets to plan at least, so that easy ones come about after a hard one."""
TEST_REACTION = 200
"""Reaction of the slowest part that test times allow for, in ticks (0.2 s: common practice, no
source; look your parts up)."""
TEST_SECONDS = 10.0
"""Seconds in which test times are sought for one stage."""
FOR_ATTEMPTS = 15.0
"""Seconds after which the search for an attempt ends, so that no stage takes for ever; usually
it ends long before, after a number of attempts (see `attempts`)."""


@dataclass(frozen=True)
class Tools:
    """What a lesson needs of other rooms.

    `posed` and `planned` ask for some goals alone, and plan within seconds; `bench` finds test
    times for a design that holds (None: there are none to tell).
    """

    posed: Posed
    planned: Callable[[Problem, float], Outcome]
    bench: Callable[[Design, frozenset[int], Problem], SettingsSheet | None]
    facts: Facts


def lesson_of(
    goal_list: GoalList,
    problem: Problem,
    tools: Tools,
    seconds: float,
    report: Callable[[str], None],
    stopped: Callable[[], bool],
) -> Lesson:
    """Return the lesson for `goal_list`, posed as `problem`, planned within about `seconds`.

    Each stage may use an even share of the time that is left. A stage for which no circuit is
    found ends the lesson if it is impossible; else its goals are taken up in the next one.
    """
    began = time.monotonic()
    stages = stages_of(goal_list, tools.posed)
    made: list[Stage] = []
    notes: list[str] = []
    owed: tuple[int, ...] = ()
    end: Outcome | None = None
    taken: set[str] = set()
    highest = 0
    for at, (new, asked) in enumerate(stages):
        if len(asked.goals) == len(problem.goals):
            asked = problem
        goals = (*owed, *new)
        report(f"stage {at + 1} of {len(stages)}")
        left = began + seconds - time.monotonic()
        end = tools.planned(asked, max(LEAST_SECONDS, left / (len(stages) - at)))
        if end.design is None:
            numbers = ", ".join(map(str, goals))
            if end.clash or at == len(stages) - 1 or stopped():
                notes.append(f"no circuit was found for all goals up to {numbers}")
                break
            notes.append(f"no circuit was found in time with {numbers}; taken up in the next stage")
            owed = goals
            continue
        before = made[-1] if made else None
        old = before.design if before else _nothing(end.design)
        design = named_after(old, end.design, taken, highest)
        if before is not None and _as_good(before.design, design, asked, tools, seconds):
            design = before.design
        taken |= {part.name for part in design.parts}
        highest = max([highest, *(wire.number for wire in design.wires)])
        deadline = time.monotonic() + FOR_ATTEMPTS
        verdict = tools.facts.trial.check(design, asked, deadline + seconds)
        if not verdict.holds:
            raise Undecided("a circuit with other names for its parts does not hold any more")
        made.append(_stage(len(made) + 1, goals, asked, end, design, verdict, before, tools))
        owed = ()
    if end is None:
        raise Undecided("no goal can be asked by itself")
    return Lesson(problem.title, problem.goals, tuple(made), end, tuple(notes))


def _as_good(old: Design, new: Design, asked: Problem, tools: Tools, seconds: float) -> bool:
    """Return whether `old` holds for what is asked, and is as cheap as `new` in every respect."""
    costs = [(d.price(asked.kit), d.supply, len(d.wires)) for d in (old, new)]
    if costs[0] != costs[1]:
        return False
    with suppress(Undecided):
        return tools.facts.trial.check(old, asked, time.monotonic() + seconds).holds
    return False


def _stage(
    number: int,
    goals: tuple[int, ...],
    asked: Problem,
    outcome: Outcome,
    design: Design,
    verdict: Verdict,
    before: Stage | None,
    tools: Tools,
) -> Stage:
    old = before.design if before else _nothing(design)
    facts = tools.facts
    changes = changes_of(old, design, asked.kit)
    if before is None:
        # The supply and the loads are there to begin with, but have to be told as well.
        changes = replace(changes, added=design.parts, set_anew=(), price=(0, changes.price[1]))
    subjects: list[Subject] = new_subjects(asked, goals)
    had = before.problem if before else None
    deadline = time.monotonic() + FOR_ATTEMPTS
    failed: Failed | None = None
    tried = 0
    if design != old:
        failed, tried = first_attempt(old, design, asked, had, subjects, facts.trial, deadline)
    attempt = _attempt(failed, design, asked, old, tools) if failed is not None else None
    moments, end = facts.trial.showing_run(asked)
    sheet = None
    with suppress(SynthError):
        numbers = frozenset(goal.number for goal in asked.goals)
        sheet = tools.bench(design, numbers, asked)
    return Stage(
        number,
        tuple(goal for goal in asked.goals if goal.number in goals),
        asked,
        outcome,
        design,
        verdict,
        changes,
        changes_of(facts.trial.bare(old), facts.trial.bare(design), asked.kit),
        attempt,
        tried,
        facts.trial.run(design, asked, moments, end),
        sheet,
        questions_of(number, design, asked, had, goals, facts, deadline + FOR_ATTEMPTS),
    )


def _attempt(failed: Failed, design: Design, asked: Problem, old: Design, tools: Tools) -> Attempt:
    """Return the attempt with its parts named as in `design`, and its run beside that of it."""
    highest = max((wire.number for wire in design.wires), default=0)
    taken = {part.name for part in (*design.parts, *old.parts)}
    own = named_after(design, failed.design, taken, highest, only_splitting=True)
    moments = failed.example.moments
    last = moments[-1].time
    run = failed.example.trace
    assert run is not None
    own_run, mended = run, tools.facts.trial.run(design, asked, moments, run.end)
    load, got = failed.example.load, failed.example.got
    if load and got is not None:
        word = f"here {load} is {_on(got)}, must be {_on(not got)}"
    else:
        word = "here it goes wrong"
    marks = (*(m for m in run.marks if m[1] != failed.defect.message), (last, word))
    own_run = _narrowed(replace(run, marks=marks), failed.design, load)
    return Attempt(
        failed.told,
        failed.nearly,
        own,
        failed.defect,
        failed.example,
        changes_of(tools.facts.trial.bare(own), tools.facts.trial.bare(design), asked.kit),
        own_run,
        _narrowed(mended, design, load),
    )


def _narrowed(trace: Trace, design: Design, load: str) -> Trace:
    """Return the trace with the tracks that `load` depends on, all of them where it is ""."""
    if not load:
        return trace
    found, waiting = {load}, [load]
    while waiting:
        name = waiting.pop()
        more = {w.source.part for w in design.wires if w.target.part == name} - found
        found |= more
        waiting += more
    inputs = {"supply"} | {
        str(part.setting("input") or "night")
        for part in design.parts
        if part.name in found and part.type in SENSING
    }
    kept = tuple(t for t in trace.tracks if t.name in (inputs if t.role == "input" else found))
    return replace(trace, tracks=kept)


def _nothing(design: Design) -> Design:
    """Return the supply alone: what there is before the first stage."""
    supply = tuple(part for part in design.parts if part.type is PartType.SUPPLY)
    return replace(design, parts=supply, wires=())


def _on(level: bool) -> str:
    return "on" if level else "off"
