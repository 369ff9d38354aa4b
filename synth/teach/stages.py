"""Which goals come together, so that each stage can be asked by itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from synth.goals import AtMostUnitHours, AtMostUnits, Goal, GoalList, LoadGoal
from synth.problem import Problem

Posed = Callable[[frozenset[int]], Problem | None]
"""The problem of the goals of these numbers alone; None where they cannot be asked alone."""


def stages_of(goal_list: GoalList, posed: Posed) -> list[tuple[tuple[int, ...], Problem]]:
    """Return (new goals, problem with all goals so far) stage by stage, in the order of the list.

    A goal that cannot be asked yet (it limits or follows loads of which nothing was said before)
    waits for the first goals after which it can be asked, or comes together with one of them.
    Goals that can never be asked are left out; where the whole list can be posed there are none.
    """
    found: list[tuple[tuple[int, ...], Problem]] = []
    had: frozenset[int] = frozenset()
    waiting = [goal.number for goal in goal_list.goals]
    while waiting:
        stage = None
        for at, number in enumerate(waiting):
            # Alone, else with one that waits before it: two loads that follow each other.
            for new in ((number,), *((other, number) for other in waiting[:at])):
                problem = asked_in_full(goal_list, posed, had | set(new))
                if problem is not None:
                    stage = (new, problem)
                    break
            if stage is not None:
                break
        if stage is None:
            break
        found.append(stage)
        had |= set(stage[0])
        waiting = [number for number in waiting if number not in had]
    return found


def asked_in_full(goal_list: GoalList, posed: Posed, numbers: frozenset[int]) -> Problem | None:
    """Return the problem of these goals, None unless it asks them in full."""
    goals = [goal for goal in goal_list.goals if goal.number in numbers]
    driven = _driven(goals)
    for goal in goals:
        if not isinstance(goal, AtMostUnits | AtMostUnitHours) and not set(goal.loads) <= driven:
            return None
    problem = posed(numbers)
    if problem is None or not problem.requirements:
        return None
    # A load of which nothing is said yet would be taken for an input.
    if {item.name for item in problem.inputs} & _driven(goal_list.goals):
        return None
    return problem if {goal.number for goal in problem.goals} == numbers else None


def _driven(goals: Sequence[Goal]) -> set[str]:
    """Return the loads of which these goals say when they are on."""
    return {
        load
        for goal in goals
        if isinstance(goal, LoadGoal) and goal.does is not None
        for load in goal.loads
    }
