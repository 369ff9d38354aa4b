"""A lesson from first to last: stage by stage, what is tried, what fails, what holds."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from synth.changes import changes_of, named_after
from synth.design import Design
from synth.errors import SynthError, Undecided
from synth.goals import GoalList
from synth.lesson import Attempt, Lesson, Simply, Stage
from synth.parts.behaviour import SENSING, PartType
from synth.problem import Problem
from synth.result import Outcome, Status, Verdict
from synth.settings_sheet import SettingsSheet
from synth.teach.adding import as_wired, beside, by_adding, straight, with_contacts
from synth.teach.attempts import Failed, Subject, first_attempt, new_subjects
from synth.teach.questions import Facts, questions_of
from synth.teach.stages import Posed, asked_in_full, stages_of
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
    times for a design that holds (None: there are none to tell). `wishes` takes the wishes for how
    it is built out of a problem one by one, each in words with the problem that has it alone;
    `unkept` tells how a design does not keep those of a problem.
    """

    posed: Posed
    planned: Callable[[Problem, float], Outcome]
    bench: Callable[[Design, frozenset[int], Problem], SettingsSheet | None]
    facts: Facts
    wishes: Callable[[Problem], Sequence[tuple[str, Problem]]] = lambda problem: ()
    unkept: Callable[[Design, Problem], Sequence[str]] = lambda design, problem: ()


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
    found ends the lesson if it is impossible; else one is made by adding to the circuit before,
    where that holds, or its goals are taken up at the end. Wishes for how it is built are kept by
    no stage but the last, which is about them alone.
    """
    teacher = _Teacher(goal_list, problem, tools, time.monotonic() + seconds, stopped)
    order = [new for new, _ in stages_of(goal_list, tools.posed)]
    wishes = tools.wishes(problem)
    for at, new in enumerate(order):
        report(f"stage {at + 1} of {len(order)}")
        if not teacher.stage(new, len(order) - at + bool(teacher.owed) + bool(wishes)):
            break
    else:
        if teacher.owed and not stopped():
            report("goals put off")
            teacher.stage((), 1 + bool(wishes), last=True)
        if wishes and not teacher.owed and not stopped():
            report("wishes")
            teacher.stage((), 1, wishes)
    if teacher.end is None:
        raise Undecided("no goal can be asked by itself")
    made = tuple(teacher.made)
    return Lesson(problem.title, problem.goals, made, teacher.end, tuple(teacher.notes))


class _Teacher:
    """The stages made so far, and the goals still owed."""

    def __init__(
        self,
        goal_list: GoalList,
        problem: Problem,
        tools: Tools,
        deadline: float,
        stopped: Callable[[], bool],
    ) -> None:
        self.goal_list, self.problem, self.tools = goal_list, problem, tools
        self.deadline, self.stopped = deadline, stopped
        self.made: list[Stage] = []
        self.notes: list[str] = []
        self.owed: tuple[int, ...] = ()
        self.end: Outcome | None = None
        self.had: frozenset[int] = frozenset()
        self.taken: set[str] = set()
        self.highest = 0

    def stage(
        self,
        new: tuple[int, ...],
        shares: int,
        wishes: Sequence[tuple[str, Problem]] = (),
        last: bool = False,
    ) -> bool:
        """Add the stage with these new goals, within one of so many equal shares of the time left,
        if a circuit is found; return whether the lesson goes on.

        With `wishes` the stage is about these; with `last` about all goals that are owed.
        """
        goals = tuple(sorted(self.owed)) if last else new
        asked = self.problem if wishes else self._asked(self.had | set(goals))
        if asked is None and self.owed:
            # It needs what was put off.
            goals = tuple(sorted((*self.owed, *new)))
            asked = self._asked(self.had | set(goals))
        if asked is None:
            self.owed = goals
            return True
        end, by_adding = self._found(goals, asked, shares)
        self.end = end
        numbers = ", ".join(map(str, goals))
        if end.design is None:
            if wishes or last or end.clash or self.stopped():
                *most, final = map(str, sorted(self.had | set(goals)))
                what = f"goals {', '.join(most)} and {final}" if most else f"goal {final}"
                if end.status is Status.IMPOSSIBLE:
                    also = " and built as is wished" if wishes else ""
                    told = f"{what} cannot be had {'together ' if most else ''}within the limits"
                    self.notes.append(f"{told}{also}, proven")
                else:
                    also = ", built as is wished" if wishes else ""
                    self.notes.append(f"no circuit was found in time for {what}{also}")
                return False
            which = "goal" if len(goals) == 1 else "goals"
            self.notes.append(
                f"no circuit was found with {which} {numbers} in a share of the time; put off to "
                "the end"
            )
            self.owed = tuple(sorted({*self.owed, *goals}))
            return True
        stage = replace(self._made(goals, asked, end, end.design), by_adding=by_adding)
        if wishes:
            before = self.made[-1] if self.made else None
            stage = replace(stage, wishes=_wished(wishes, before, self.tools))
        self.made.append(stage)
        self.had |= set(goals)
        self.owed = tuple(number for number in self.owed if number not in self.had)
        return True

    def _asked(self, numbers: frozenset[int]) -> Problem | None:
        """Return the problem of these goals, without wishes; None where they cannot be asked."""
        if len(numbers) == len(self.problem.goals):
            return _plainly(self.problem)
        asked = asked_in_full(self.goal_list, self.tools.posed, numbers)
        return _plainly(asked) if asked is not None else None

    def _found(self, goals: tuple[int, ...], asked: Problem, shares: int) -> tuple[Outcome, bool]:
        """Return what the search finds, else a circuit made by adding to the one before, and
        whether it is one."""

        def share() -> float:
            return max(LEAST_SECONDS, (self.deadline - time.monotonic()) / shares)

        end = self.tools.planned(asked, share())
        if end.design is None and not end.clash and self.made and goals and not self.stopped():
            old = self.made[-1].design
            end = _added_to(old, self.goal_list, goals, asked, end, self.tools, share())
            return end, end.design is not None
        return end, False

    def _made(self, goals: tuple[int, ...], asked: Problem, end: Outcome, found: Design) -> Stage:
        before = self.made[-1] if self.made else None
        old = before.design if before else _nothing(found)
        design = named_after(old, found, self.taken, self.highest)
        within = max(LEAST_SECONDS, self.deadline - time.monotonic()) + FOR_ATTEMPTS
        if before is not None and _as_good(before.design, design, asked, self.tools, within):
            design = before.design
        elif before is not None:
            # No wire moves without a reason: learners would look for one.
            until = time.monotonic() + within
            same = as_wired(old, design, asked, self.tools.facts.trial, until)
            if same is not None:
                design = named_after(old, same, self.taken, self.highest, only_splitting=True)
        self.taken |= {part.name for part in design.parts}
        self.highest = max([self.highest, *(wire.number for wire in design.wires)])
        verdict = self.tools.facts.trial.check(design, asked, time.monotonic() + within)
        if not verdict.holds:
            raise Undecided("a circuit with other names for its parts does not hold any more")
        number = len(self.made) + 1
        return _stage(number, goals, asked, end, design, verdict, before, self.tools)


def _plainly(problem: Problem) -> Problem:
    """Return the problem without wishes for how it is built."""
    limits = replace(problem.limits, least=(), spare=0, branches=(), untimed=())
    return replace(problem, limits=limits)


def _wished(
    wishes: Sequence[tuple[str, Problem]], before: Stage | None, tools: Tools
) -> tuple[tuple[str, str], ...]:
    """Return each wish in words, and how the circuit before fails to keep it, "" if it does not."""
    return tuple(
        (words, "; ".join(tools.unkept(before.design, alone)) if before is not None else "")
        for words, alone in wishes
    )


def _added_to(
    old: Design,
    goal_list: GoalList,
    goals: tuple[int, ...],
    asked: Problem,
    end: Outcome,
    tools: Tools,
    seconds: float,
) -> Outcome:
    """Return `end` with a circuit that holds, made from `old` by adding to it alone; as it is
    where there is none; the goals alone are planned within so many seconds."""
    trial, deadline = tools.facts.trial, time.monotonic() + seconds + FOR_ATTEMPTS
    design: Design | None = None
    # A goal that only limits others asks for no load by itself.
    alone = asked_in_full(goal_list, tools.posed, frozenset(goals))
    if alone is not None:
        apart = tools.planned(_plainly(alone), seconds)
        if apart.design is not None:
            design = beside(old, apart.design, asked, trial, deadline)
    if design is None:
        design = with_contacts(old, asked, trial, deadline)
    if design is None:
        return end
    stock = asked.limits.stock
    return replace(
        end,
        status=Status.BEST_FOUND,
        design=design,
        price=design.price(asked.kit),
        supply=design.supply,
        proven=(),
        verdict=trial.check(design, asked, deadline),
        to_buy=design.price(asked.kit, stock) if stock else None,
    )


def _added(
    old: Design, new: Design, asked: Problem, subjects: Sequence[Subject], tools: Tools
) -> list[tuple[str, Design]]:
    """Return circuits that hold and are `old` with the new simply added, each in words."""
    deadline = time.monotonic() + FOR_ATTEMPTS
    return by_adding(old, new, asked, subjects, tools.facts.trial, deadline)


def _simply(new: Design, asked: Problem, ways: Sequence[tuple[str, Design]]) -> Simply | None:
    """Return the cheapest circuit that is made by adding alone, where it costs more than `new`."""
    stock = asked.limits.stock
    costs = [((d.price(asked.kit, stock), d.supply), told, d) for told, d in ways]
    if not costs:
        return None
    cost, told, design = min(costs, key=lambda way: way[0])
    if cost <= (new.price(asked.kit, stock), new.supply):
        return None
    return Simply(told, design.price(asked.kit), design.supply)


def _as_good(old: Design, new: Design, asked: Problem, tools: Tools, seconds: float) -> bool:
    """Return whether `old` holds for what is asked, and is as cheap as `new` in every respect."""
    stock = asked.limits.stock
    costs = [(d.price(asked.kit, stock), d.supply, len(d.wires)) for d in (old, new)]
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
    simply: Simply | None = None
    at_once = ""
    if design != old and goals:
        ways = _added(old, design, asked, subjects, tools) if had is not None else []
        at_once = straight(facts.trial.bare(old), ways)
        if not at_once:
            failed, tried = first_attempt(old, design, asked, had, subjects, facts.trial, deadline)
        simply = _simply(design, asked, ways)
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
        simply,
        at_once=at_once,
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
        failed.natural,
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
