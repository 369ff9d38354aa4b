"""Goals, designs and kits read, and goals posed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from synth.design import Design
from synth.errors import DesignError, GoalError
from synth.pose import pose
from synth.problem import Problem
from synth.read.design_file import design_of, named_kit, opened
from synth.read.goal_file import goals_from_text, load_goal_file
from synth.read.kit_file import bundled_kits, load_kit
from synth.read.yaml_source import Node, read_text

if TYPE_CHECKING:
    from synth.goals import GoalList

DEFAULT_KIT = "starter"
KIT_BY_DEFAULT = "the kit is "
"""How a goal list says that it names no kit of its own."""


def read_problem(
    file: str | None, text: str | None, kit: str | None, contradictory: bool = False
) -> Problem:
    """Return the problem that a goal file or a list of phrases asks.

    `kit` (a bundled name or a file) wins over the kit that the goal file names. Raises GoalError
    or KitError. `contradictory`: goals that contradict each other are told by the problem, to be
    planned as what cannot be had.
    """
    if (file is None) == (text is None):
        both = "both a goal file and --goals are given; " if file is not None else ""
        raise GoalError(
            f"{both}say the goals either in a goal file or with --goals",
            hint='for example: synth plan --goals "pump on 10 s of every 60 s, light always"',
        )
    if text is not None and _is_file(text):
        raise GoalError(
            f"'{text}' is a file, and --goals takes the goals themselves",
            hint=f"leave out --goals: synth plan {text}",
        )
    goal_list = load_goal_file(file) if file is not None else goals_from_text(text or "")
    return _posed(goal_list, kit, contradictory)


def _is_file(text: str) -> bool:
    try:
        return Path(text).is_file()
    except (OSError, ValueError):  # longer than a name may be, or with signs that none has
        return False


def _posed(goal_list: GoalList, kit: str | None, contradictory: bool = False) -> Problem:
    """Return the problem that a goal list asks; see `read_problem`."""
    if kit is not None:
        told = tuple(line for line in goal_list.defaults if not line.startswith(KIT_BY_DEFAULT))
        stated = told == goal_list.defaults
        if stated and Path(goal_list.kit).resolve() != Path(kit).resolve():
            told = (f"{KIT_BY_DEFAULT}'{kit}', not '{goal_list.kit}' as the goal file says", *told)
        goal_list = replace(goal_list, kit=kit, defaults=told)
    chosen = load_kit(kit or goal_list.kit or DEFAULT_KIT)
    problem = pose(goal_list, chosen, contradictory)
    if not problem.requirements and not problem.contradictions:
        raise GoalError(
            "the goals ask for no load to be on at any time",
            goal_list.goals[0].place if goal_list.goals else goal_list.place,
            hint="say what a load is to do, for example: light always",
        )
    return problem


def _posed_alone(goals: GoalList, problem: Problem) -> Callable[[frozenset[int]], Problem | None]:
    """Return what poses the goals of some numbers alone, None where they cannot be."""
    from synth.pose.without import only

    inputs = {item.name for item in problem.inputs}

    def posed(numbers: frozenset[int]) -> Problem | None:
        try:
            alone = pose(only(goals, numbers), problem.kit, bool(problem.contradictions))
        except GoalError:
            return None
        # Of a load whose goals are gone, those that follow it would make an input.
        return alone if all(item.name in inputs for item in alone.inputs) else None

    return posed


def _retimed(
    goals: GoalList, problem: Problem
) -> Callable[[int], Iterator[tuple[int, int, Problem]]]:
    """Return what gives, for the goal of a number, each of its times in turn replaced by a time
    of another goal, the nearest first: (old, new, problem), times in ticks."""
    from synth.pose.without import retimed, times_in

    def other_times(number: int) -> Iterator[tuple[int, int, Problem]]:
        own = [t for goal in goals.goals if goal.number == number for t in times_in(goal)]
        others = {t for goal in goals.goals if goal.number != number for t in times_in(goal)}
        pairs = [(old, new) for old in own for new in sorted(others - {old})]
        for old, new in sorted(pairs, key=lambda pair: abs(pair[1] - pair[0])):
            try:
                yield old, new, pose(retimed(goals, number, old, new), problem.kit)
            except GoalError:
                continue

    return other_times


def read_design(
    design_file: str,
    goal_file: str | None,
    text: str | None,
    kit: str | None,
    for_these: bool = True,
) -> tuple[Problem, Design]:
    """Return the problem and the design of a file, with `kit`, else the bundled kit that the design
    names, else the one that the goal file names. `for_these`: the design is one for these goals,
    and has no other inputs and loads. Raises DesignError, GoalError or KitError."""
    source = opened(read_text(design_file, "design file", DesignError), design_file)
    problem = read_problem(goal_file, text, kit or _kit_named(source))
    return problem, design_of(source, problem.kit, problem if for_these else None)


def _kit_named(source: Node) -> str | None:
    """Return the bundled kit that a design names, if it does."""
    named = named_kit(source)
    return named if named in bundled_kits() else None


def goals_left_out(goal_file: str | None, text: str | None, problem: Problem) -> dict[int, Problem]:
    """Return, by its number, the problem without each goal; goals without which the rest cannot
    be asked (nothing is left for a load, a name is not known any more) are missing."""
    from synth.pose.without import without

    goal_list = load_goal_file(goal_file) if goal_file is not None else goals_from_text(text or "")
    found = {}
    for goal in goal_list.goals:
        try:
            found[goal.number] = pose(without(goal_list, goal), problem.kit)
        except GoalError:
            continue
    return found
