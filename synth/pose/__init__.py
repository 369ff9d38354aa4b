"""Goals to a problem: each rewrite named by what holds afterwards.

Rooms, in the order in which goals walk through them: `doubts` (names that are hardly meant as
such) and `names` (loads and inputs told apart), `contradiction` (goals that exclude each other),
`lower` (one signal for each load), `canonical` (equal wishes are equal signals), `facts` (what is
known of the inputs), `settings` (limits, and the times on offer), `assumptions`; `without` (the
list less one goal, to be asked anew).
"""

from __future__ import annotations

from collections.abc import Sequence

from synth.days import nights_asked
from synth.errors import Contradiction, GoalError, Slips
from synth.goals import AtMostUnitHours, AtMostUnits, GoalList, NeverTogether
from synth.parts.kit import Kit
from synth.pose.assumptions import about_energy, assumptions
from synth.pose.contradiction import contradiction, met, smallest
from synth.pose.facts import known_inputs, never_together, of_the_supply
from synth.pose.lower import Lowering, Plan, plans
from synth.pose.names import resolve
from synth.pose.settings import check_inputs, limits, times_made_up, times_on_offer
from synth.pose.without import only
from synth.problem import Apart, Energy, Goal, OutsideInput, Peak, Problem, Requirement

__all__ = ["pose"]


def pose(goal_list: GoalList, kit: Kit, contradictory: bool = False) -> Problem:
    """Return the problem that `goal_list` asks, to be solved with the parts of `kit`.

    Raises GoalError, at its place, for goals that contradict each other in so many words, for
    names that cannot be resolved, and for an input that no part of the kit follows. Whether the
    rest can be done, as with a time that no timer can be set to, is for the search to say.
    `contradictory`: goals that contradict each other, though each can be had, are told by the
    problem (`contradictions`) instead.
    """
    against: list[Contradiction] | None = [] if contradictory else None
    slips = Slips()
    names = resolve(goal_list, slips)
    goal_list = of_the_supply(goal_list, names)
    check_inputs(goal_list, names, kit, slips)
    found_limits = limits(goal_list, names, kit, slips)
    inputs = known_inputs(goal_list, names, slips)
    apart = never_together(goal_list, inputs, slips)
    slips.tell()
    found = plans(goal_list, names, against)
    lowering = Lowering(names, found)
    signals = lowering.all()
    if lowering.never:
        met(_never_on(goal_list, lowering.never[0], found), against)
    requirements = tuple(
        Requirement(load, names.loads[load], signal, tuple(sorted(found[load].goals)))
        for load, signal in signals.items()
        if load not in lowering.never
    )
    allowed = dict(found_limits.most)
    energy = _energy(goal_list, inputs)
    return Problem(
        title=goal_list.title,
        kit=kit,
        goals=tuple(Goal(goal.number, goal.phrase, goal.place) for goal in goal_list.goals),
        requirements=requirements,
        inputs=inputs,
        never_together=apart,
        apart=_apart(goal_list),
        peak=_peak(goal_list),
        energy=energy,
        limits=found_limits,
        objectives=goal_list.minimise,
        assumptions=(
            *assumptions(goal_list, names, found, found_limits),
            *about_energy(energy, inputs),
            *times_made_up(requirements, kit, allowed),
        ),
        times=times_on_offer(requirements, kit, found_limits),
        contradictions=tuple(error.told for error in against or ()),
    )


def _never_on(goal_list: GoalList, load: str, found: dict[str, Plan]) -> GoalError:
    """Return what is wrong with goals of which it follows that a load is never on."""

    def still(numbers: Sequence[int]) -> bool:
        fewer = only(goal_list, numbers)
        try:
            names = resolve(fewer)
            lowering = Lowering(names, plans(fewer, names, []))
            lowering.all()
        except GoalError:
            return False
        return load in lowering.never

    goal = found[load].goal
    assert goal is not None
    numbers = smallest([goal.number for goal in goal_list.goals], still)
    message, hint = f"'{load}' could never be on", "its conditions exclude each other"
    return contradiction(numbers, message, goal.place, hint)


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


def _energy(goal_list: GoalList, inputs: Sequence[OutsideInput]) -> Energy | None:
    """Return the least of what goals allow for a day."""
    asked = [goal for goal in goal_list.goals if isinstance(goal, AtMostUnitHours)]
    least = min(asked, key=lambda goal: goal.unit_hours, default=None)
    if least is None:
        return None
    others = tuple(goal.number for goal in asked if goal is not least)
    return Energy(least.unit_hours, least.number, nights_asked(inputs), others)
