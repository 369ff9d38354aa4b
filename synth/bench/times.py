"""Every time of a design and its goals: where it stands, and the same with other times."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any

from synth.design import TIME_SETTINGS, Design
from synth.goals import (
    AfterTime,
    AtLeast,
    Cycles,
    Fact,
    ForTime,
    Gap,
    Goal,
    GoalList,
    KeepsRunning,
    Lasts,
    LoadGoal,
)
from synth.parts.behaviour import TIMED
from synth.parts.kit import Kit, Times
from synth.problem import OutsideInput, Problem
from synth.settings_sheet import OnePass, Place, TimeUse
from synth.signals import And, Or, Signal

Map = Callable[[int], int]
"""Real time to test time, in ticks."""


def retimed_design(design: Design, to: Map) -> Design:
    """Return `design` with every timer set to another time."""
    parts = tuple(
        replace(
            part,
            settings=tuple(
                (key, to(value) if key in TIME_SETTINGS and isinstance(value, int) else value)
                for key, value in part.settings
            ),
        )
        if part.type in TIMED
        else part
        for part in design.parts
    )
    return replace(design, parts=parts)


def retimed_goal(goal: Goal, to: Map) -> Goal:
    """Return `goal` with other times; number, phrase and place stay."""
    if isinstance(goal, Gap):
        return replace(goal, time=to(goal.time))
    if not isinstance(goal, LoadGoal):
        return goal
    does = goal.does
    match does:
        case Cycles(on, off):
            does = Cycles(to(on), to(off))
        case ForTime() | AfterTime() | KeepsRunning():
            does = replace(does, time=to(does.time))
        case _:
            pass
    additions = tuple(AtLeast(to(a.time)) if isinstance(a, AtLeast) else a for a in goal.additions)
    return replace(goal, does=does, additions=additions)


def retimed_fact(fact: Fact, to: Map) -> Fact:
    """Return `fact` with other times; number, phrase and place stay."""
    if not isinstance(fact, Lasts):
        return fact
    least = to(fact.least) if fact.least is not None else None
    most = to(fact.most) if fact.most is not None else None
    return replace(fact, least=least, most=most)


def retimed_problem(problem: Problem, to: Map) -> Problem:
    """Return `problem` with other times in its required signals and known facts.

    The phrases of the goals and the times on offer to the search stay as they are.
    """

    def of_input(item: OutsideInput) -> OutsideInput:
        def known(time: int | None) -> int | None:
            return to(time) if time is not None else None

        return replace(
            item,
            least_on=known(item.least_on),
            most_on=known(item.most_on),
            least_off=known(item.least_off),
            most_off=known(item.most_off),
        )

    return replace(
        problem,
        requirements=tuple(replace(r, signal=_retimed(r.signal, to)) for r in problem.requirements),
        inputs=tuple(of_input(item) for item in problem.inputs),
    )


def _retimed(value: Any, to: Map) -> Any:
    """Return a signal with other times; a time of nothing stays nothing."""
    if isinstance(value, tuple):
        return tuple(_retimed(item, to) for item in value)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    changed = {
        field.name: (to(old) if old else old)
        if field.name in ("time", "on", "off")
        else _retimed(old, to)
        for field in fields(value)
        for old in (getattr(value, field.name),)
    }
    return type(value)(**changed)


def in_one_order(signal: Signal) -> Any:
    """Return `signal` with the operands of each conjunction and disjunction in one fixed order.

    Signals that differ in that order alone mean the same; they then become equal.
    """

    def ordered(value: Any) -> Any:
        if isinstance(value, tuple):
            return tuple(ordered(item) for item in value)
        if not is_dataclass(value) or isinstance(value, type):
            return value
        changed = {field.name: ordered(getattr(value, field.name)) for field in fields(value)}
        if isinstance(value, And | Or):
            changed["of"] = tuple(sorted(changed["of"], key=repr))
        return type(value)(**changed)

    return ordered(signal)


def uses_of(design: Design, goal_list: GoalList) -> dict[int, list[TimeUse]]:
    """Return each time, ascending, with all places where it stands; parts first, then goals."""
    found: dict[int, list[TimeUse]] = {}

    def noted(place: Place, of: str, what: str) -> Map:
        def note(time: int) -> int:
            use = TimeUse(place, of, what)
            if use not in found.setdefault(time, []):
                found[time].append(use)
            return time

        return note

    for part in design.parts:
        if part.type in TIMED:
            for key, value in part.settings:
                if key in TIME_SETTINGS and isinstance(value, int):
                    noted(Place.PART, part.name, key)(value)
    for goal in goal_list.goals:
        retimed_goal(goal, noted(Place.GOAL, str(goal.number), goal.phrase))
    for fact in goal_list.facts:
        retimed_fact(fact, noted(Place.KNOWN, str(fact.number), fact.phrase))
    return dict(sorted(found.items()))


def ranges_of(design: Design, kit: Kit) -> dict[int, list[Times]]:
    """Return for each time the ranges of the timers that are set to it."""
    found: dict[int, list[Times]] = {}
    for part in design.parts:
        offer = kit.index.get(part.part)
        if part.type not in TIMED or offer is None or offer.times is None:
            continue
        for key, value in part.settings:
            if key in TIME_SETTINGS and isinstance(value, int):
                found.setdefault(value, []).append(offer.times)
    return found


def passes_of(goal_list: GoalList, to: Map) -> tuple[OnePass, ...]:
    """Return how long it takes to see each goal with a time at work once, and each input whose
    shortest times are known go round once; a cycle is seen twice."""

    def same(time: int) -> int:
        return time

    def length(goal: Goal, through: Map) -> tuple[str, int]:
        if isinstance(goal, Gap):
            return "the gap once", through(goal.time)
        if not isinstance(goal, LoadGoal):
            return "", 0
        at_least = sum(through(a.time) for a in goal.additions if isinstance(a, AtLeast))
        match goal.does:
            case Cycles(on, off):
                return "two cycles", 2 * (through(on) + through(off))
            case ForTime(time, _):
                return "one run", max(through(time), at_least)
            case AfterTime(time, _):
                return "the delay once", through(time) + at_least
            case KeepsRunning(time, _):
                return "the run after it once", through(time) + at_least
            case _:
                return "the shortest run once", at_least

    found = []
    for goal in goal_list.goals:
        what, real = length(goal, same)
        if real:
            found.append(OnePass(f"goal {goal.number}: {what}", real, length(goal, to)[1]))
    for fact in goal_list.facts:
        if isinstance(fact, Lasts) and fact.least is not None:
            what = f"known {fact.number}: once at its shortest"
            found.append(OnePass(what, fact.least, to(fact.least)))
    return tuple(found)
