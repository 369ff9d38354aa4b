"""Afterwards, limits speak of the kit's own parts, and the times on offer are known."""

from __future__ import annotations

from itertools import combinations

from synth.errors import GoalError, Place
from synth.goals import GoalList
from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import Kit, KitPart
from synth.pose.names import Names, close_to, inputs_in
from synth.problem import InputKind, Limits, Requirement
from synth.signals import Cycle, Signal, children, times_of
from synth.ticks import format_duration

MOST_COMBINED = 4
"""Signals with more times than this offer those alone, without their sums and differences."""

_FOLLOWED_BY: dict[InputKind, PartType] = {
    InputKind.SWITCH: PartType.SWITCH,
    InputKind.BUTTON: PartType.PUSH_BUTTON,
    InputKind.SENSOR: PartType.SENSOR,
    InputKind.NIGHT: PartType.TWILIGHT,
}


def limits(goal_list: GoalList, kit: Kit) -> Limits:
    """Return the limits, each by the kit's own name of the part; the tighter of two counts.

    A part may be named by the kit's word or by its type; a type of which the kit has several
    parts may only be ruled out, since 'most' would not say of which.
    """
    most: dict[str, int] = {}
    for limit in goal_list.part_limits:
        parts = _parts_called(limit.part, kit)
        if not parts:
            names = [part.name for part in kit.parts]
            raise GoalError(
                f"the kit '{kit.name}' has no part '{limit.part}'",
                limit.place,
                close_to(limit.part, names),
            )
        if len(parts) > 1 and limit.most:
            names = [part.name for part in parts]
            raise GoalError(
                f"'{limit.part}' are several parts of the kit '{kit.name}'",
                limit.place,
                f"name one of them: {', '.join(names)}",
            )
        for part in parts:
            if part.type in (PartType.SUPPLY, PartType.LOAD):
                raise GoalError(
                    f"'{limit.part}' cannot be limited: every circuit has one supply and its loads",
                    limit.place,
                )
            most[part.name] = min(limit.most, most.get(part.name, limit.most))
    ordered = tuple((part.name, most[part.name]) for part in kit.parts if part.name in most)
    return Limits(ordered, goal_list.largest_supply, goal_list.largest_price)


def _parts_called(word: str, kit: Kit) -> list[KitPart]:
    low = word.lower()
    own = [part for part in kit.parts if part.name.lower() == low]
    return own or [part for part in kit.parts if part.type.value == low]


def check_inputs(goal_list: GoalList, names: Names, kit: Kit) -> None:
    """Refuse an input for which the kit has no part at all that follows it."""
    for goal in goal_list.goals:
        for item, _ in inputs_in(goal):
            kind = names.inputs.get(item.name)
            needed = _FOLLOWED_BY.get(kind) if kind is not None else None
            if needed is not None and not any(part.type is needed for part in kit.parts):
                raise GoalError(
                    f"goal {goal.number} asks for '{item.name}', but the kit '{kit.name}' has no "
                    f"{needed.value}",
                    item.place,
                    "choose another kit, or declare another kind under 'inputs'",
                )


def times_on_offer(requirements: tuple[Requirement, ...], kit: Kit) -> tuple[int, ...]:
    """Return the timer settings on offer to the search, in ticks, ascending.

    For each load: the times its signal mentions, the period of each cycle, and, when the times
    are at most MOST_COMBINED, the sums and differences of any two of them; as far as some timer
    of the kit can be set to them.
    """
    offered: set[int] = set()
    for requirement in requirements:
        offered |= _combined(requirement.signal)
    return tuple(sorted(time for time in offered if _can_be_set(time, kit)))


def check_times(goal_list: GoalList, requirements: tuple[Requirement, ...], kit: Kit) -> None:
    """Refuse a time that no timer of the kit can be set to, nor make of two settable times."""
    if not any(part.times for part in kit.parts if part.type in TIMED):
        return
    for requirement in requirements:
        mentioned = times_of(requirement.signal)
        near = {time for time in _combined(requirement.signal) if _can_be_set(time, kit)}
        made = near | {a + b for a in near for b in near} | {abs(a - b) for a in near for b in near}
        for time in sorted(mentioned - made):
            raise GoalError(
                f"no timer of the kit '{kit.name}' can be set to {format_duration(time)}, which "
                f"'{requirement.load}' needs",
                _place(goal_list, requirement),
                f"its timers take {_ranges(kit)}",
            )


def _combined(signal: Signal) -> set[int]:
    times = times_of(signal)
    found = set(times) | _periods(signal)
    if len(times) <= MOST_COMBINED:
        for one, other in combinations(sorted(times), 2):
            found |= {one + other, other - one}
    return found


def _periods(signal: Signal) -> set[int]:
    own = {signal.on + signal.off} if isinstance(signal, Cycle) else set()
    return own.union(*(_periods(child) for child in children(signal)))


def _can_be_set(time: int, kit: Kit) -> bool:
    return any(
        part.times is not None and time in part.times
        for part in kit.parts
        if part.type in TIMED and part.most != 0
    )


def _ranges(kit: Kit) -> str:
    ranges = dict.fromkeys(
        part.times for part in kit.parts if part.type in TIMED and part.times is not None
    )
    return "; ".join(
        f"{format_duration(t.least)} to {format_duration(t.most)} in steps of "
        f"{format_duration(t.step)}"
        for t in ranges
    )


def _place(goal_list: GoalList, requirement: Requirement) -> Place:
    for goal in goal_list.goals:
        if goal.number in requirement.goals:
            return goal.place
    return goal_list.place
