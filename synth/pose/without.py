"""Afterwards, goals are gone from a list, with all that was said for their sake alone."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from synth.goals import Cutoff, Gap, Goal, GoalList, InputsApart, LoadGoal, NeverTogether
from synth.pose.names import inputs_in


def without(goal_list: GoalList, goal: Goal) -> GoalList:
    """Return the list without `goal`, and without what is declared or known only of its inputs.

    The inputs that no other goal names are not declared any more, and facts about them are left
    out, so that the rest can be asked by itself.
    """
    rest = tuple(other for other in goal_list.goals if other is not goal)
    named = {item.name for other in rest for item, _ in inputs_in(other)}
    gone = {item.name for item, _ in inputs_in(goal)} - named
    left = replace(
        goal_list,
        goals=rest,
        inputs=tuple(item for item in goal_list.inputs if item.name not in gone),
        facts=tuple(
            fact
            for fact in goal_list.facts
            if not gone & set(fact.names if isinstance(fact, InputsApart) else (fact.name,))
        ),
    )
    return _about(left)


def only(goal_list: GoalList, numbers: Collection[int]) -> GoalList:
    """Return the list with the goals of these numbers alone, to be asked by itself.

    Loads of which no goal says any more when they are on are gone, and with them what only limits
    them. A goal that follows such a load cannot be asked; that is for `pose` to say.
    """
    rest = goal_list
    for goal in goal_list.goals:
        if goal.number not in numbers:
            rest = without(rest, goal)
    driven = _driven(rest)
    kept: list[Goal] = []
    for goal in rest.goals:
        if isinstance(goal, LoadGoal | Cutoff | NeverTogether | Gap) and goal.loads:
            loads = tuple(load for load in goal.loads if load in driven)
            least = 2 if isinstance(goal, NeverTogether | Gap) else 1
            if len(loads) < least:
                rest = without(rest, goal)
                continue
            if isinstance(goal, NeverTogether) and goal.first not in loads:
                goal = replace(goal, first="")
            goal = replace(goal, loads=loads)
        kept.append(goal)
    loads_left = tuple(load for load in rest.loads if load.name in driven)
    return _about(replace(rest, goals=tuple(kept), loads=loads_left))


def _about(goal_list: GoalList) -> GoalList:
    """Return the list without what it says of the branches of loads that no goal drives."""
    driven = _driven(goal_list)
    branches = []
    for wish in goal_list.branches:
        loads = tuple(load for load in wish.loads if load in driven)
        if len(loads) > 1:
            branches.append(replace(wish, loads=loads))
    return replace(
        goal_list,
        branches=tuple(branches),
        untimed=tuple(w for w in goal_list.untimed if not w.load or w.load in driven),
    )


def _driven(goal_list: GoalList) -> set[str]:
    """Return the loads of which some goal says when they are on."""
    return {
        load
        for goal in goal_list.goals
        if isinstance(goal, LoadGoal) and goal.does is not None
        for load in goal.loads
    }
