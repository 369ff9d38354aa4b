"""Goals to a problem: each rewrite named by what holds afterwards.

Rooms, in the order in which goals walk through them: `names` (loads and inputs told apart),
`lower` (one signal for each load), `canonical` (equal wishes are equal signals), `facts` (what
is known of the inputs), `settings` (limits, and the times on offer), `assumptions`; `without`
(the list less one goal, to be asked anew).
"""

from __future__ import annotations

from synth.goals import AtMostUnits, GoalList, NeverTogether
from synth.parts.kit import Kit
from synth.pose.assumptions import assumptions
from synth.pose.facts import known_inputs, never_together
from synth.pose.lower import Lowering, plans
from synth.pose.names import resolve
from synth.pose.settings import check_inputs, check_times, limits, times_on_offer
from synth.problem import Apart, Goal, Peak, Problem, Requirement

__all__ = ["pose"]


def pose(goal_list: GoalList, kit: Kit) -> Problem:
    """Return the problem that `goal_list` asks, to be solved with the parts of `kit`.

    Raises GoalError, at its place, for goals that contradict each other in so many words, for
    names that cannot be resolved, and for what the kit can obviously not do (no part that
    follows an input, a time that no timer can be set to). Whether the rest can be done is for
    the search to say.
    """
    names = resolve(goal_list)
    check_inputs(goal_list, names, kit)
    found = plans(goal_list, names)
    signals = Lowering(names, found).all()
    requirements = tuple(
        Requirement(load, names.loads[load], signal, tuple(sorted(found[load].goals)))
        for load, signal in signals.items()
    )
    check_times(goal_list, requirements, kit)
    found_limits = limits(goal_list, names, kit)
    return Problem(
        title=goal_list.title,
        kit=kit,
        goals=tuple(Goal(goal.number, goal.phrase, goal.place) for goal in goal_list.goals),
        requirements=requirements,
        inputs=known_inputs(goal_list, names),
        never_together=never_together(goal_list, names),
        apart=_apart(goal_list),
        peak=_peak(goal_list),
        limits=found_limits,
        objectives=goal_list.minimise,
        assumptions=assumptions(goal_list, names, found, found_limits),
        times=times_on_offer(requirements, kit),
    )


def _apart(goal_list: GoalList) -> tuple[Apart, ...]:
    return tuple(
        Apart(first, second, goal.number)
        for goal in goal_list.goals
        if isinstance(goal, NeverTogether)
        for at, first in enumerate(goal.loads)
        for second in goal.loads[at + 1 :]
    )


def _peak(goal_list: GoalList) -> Peak | None:
    peaks = [
        Peak(goal.units, goal.number) for goal in goal_list.goals if isinstance(goal, AtMostUnits)
    ]
    return min(peaks, key=lambda peak: peak.units, default=None)
