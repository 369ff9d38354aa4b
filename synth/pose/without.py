"""Afterwards, goals are gone from a list, with all that was said for their sake alone."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any

from synth.goals import (
    AfterTime,
    AtLeast,
    Cutoff,
    Cycles,
    Fact,
    ForTime,
    Gap,
    Goal,
    GoalList,
    KeepsRunning,
    LoadGoal,
    NeverTogether,
    NeverWhile,
    Only,
    Released,
)
from synth.pose.names import inputs_in

if TYPE_CHECKING:
    from synth.problem import Problem


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
        facts=tuple(left for fact in goal_list.facts if (left := _left_of(fact, gone)) is not None),
    )
    return _about(left)


def _left_of(fact: Fact, gone: Collection[str]) -> Fact | None:
    """Return what a fact says of inputs that are not gone, None where it says nothing of them."""
    if isinstance(fact, Released) and fact.name not in gone:
        others = tuple(other for other in fact.others if other not in gone)
        return replace(fact, others=others) if others else None
    return None if {*gone} & {*fact.about} else fact


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


@dataclass(frozen=True)
class Alters:
    """A goal that alters what others ask: of `loads` (none: of all), as `follows` are.

    Empty `follows`: whatever any input does, or by inputs of which something is known.
    """

    loads: frozenset[str]
    follows: frozenset[str]

    def may_ease(self, problem: Problem) -> bool:
        """Return whether `problem` might be easier to have with this goal than without it.

        Not where the goal follows nothing but inputs that the problem does not have: a design for
        both does for the problem alone with those inputs held so that the goal alters nothing.
        """
        named = {item.name for item in problem.inputs}
        if self.follows and not self.follows & named:
            return False
        return not self.loads or any(r.load in self.loads for r in problem.requirements)


def altering(goal_list: GoalList) -> dict[int, Alters]:
    """Return, by their numbers, the goals that alter what other goals ask.

    Where two loads are kept apart, what one of them does alters what is asked of the other.
    """
    known = {name for fact in goal_list.facts for name in fact.about}
    apart = [set(g.loads) for g in goal_list.goals if isinstance(g, NeverTogether | Gap)]
    found = {}
    for goal in goal_list.goals:
        named = frozenset(item.name for item, _ in inputs_in(goal))
        if isinstance(goal, LoadGoal):
            loads = set(goal.loads)
            if goal.does is not None:
                loads = {load for other in apart if loads & other for load in other - loads}
                if not loads:
                    continue
            elif not all(isinstance(piece, Only | NeverWhile) for piece in goal.additions):
                named = frozenset()
        elif isinstance(goal, Cutoff | NeverTogether | Gap):
            loads = set(goal.loads)
        else:
            continue
        found[goal.number] = Alters(frozenset(loads), frozenset() if named & known else named)
    return found


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


def times_in(goal: Goal) -> tuple[int, ...]:
    """Return the times that a goal names, in ticks, ascending."""
    return tuple(sorted({value for _, _, value in _times(goal)}))


def retimed(goal_list: GoalList, number: int, old: int, new: int) -> GoalList:
    """Return the list with a time of `old` ticks in one goal replaced by `new` ticks."""
    return replace(
        goal_list,
        goals=tuple(
            _changed(goal, old, new) if goal.number == number else goal for goal in goal_list.goals
        ),
    )


_TIMED = {Cycles: ("on", "off"), Gap: ("time",), ForTime: ("time",), AfterTime: ("time",),
          KeepsRunning: ("time",), AtLeast: ("time",)}  # fmt: skip
"""What says a time, and in which of its fields."""


def _times(said: Any) -> list[tuple[Any, str, int]]:
    found = [(said, name, getattr(said, name)) for name in _TIMED.get(type(said), ())]
    if isinstance(said, tuple):
        return [one for item in said for one in _times(item)]
    if is_dataclass(said):
        for item in fields(said):
            found += _times(getattr(said, item.name))
    return found


def _changed(said: Any, old: int, new: int) -> Any:
    if isinstance(said, tuple):
        return tuple(_changed(item, old, new) for item in said)
    if not is_dataclass(said) or isinstance(said, type):
        return said
    own = _TIMED.get(type(said), ())
    return replace(
        said,
        **{
            item.name: new
            if item.name in own and getattr(said, item.name) == old
            else _changed(getattr(said, item.name), old, new)
            for item in fields(said)
        },
    )
