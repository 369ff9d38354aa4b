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

MOST_ASKED_FOR = 12
"""Most of one part that 'least' may ask for, which keeps the lists within what is searched."""
_NOT_LISTED = (
    PartType.SUPPLY,
    PartType.LOAD,
    PartType.TAP_OFF,
    PartType.DIVIDER,
    PartType.JOINT,
)
"""Types of part that neither can be asked for nor be in stock: a wiring needs so many of them."""

_FOLLOWED_BY: dict[InputKind, PartType] = {
    InputKind.SWITCH: PartType.SWITCH,
    InputKind.BUTTON: PartType.PUSH_BUTTON,
    InputKind.SENSOR: PartType.SENSOR,
    InputKind.NIGHT: PartType.TWILIGHT,
}


def limits(goal_list: GoalList, names: Names, kit: Kit) -> Limits:
    """Return the limits, each by the kit's own name of the part; the tighter of two counts.

    A part may be named by the kit's word or by its type; a type of which the kit has several
    parts may only be ruled out, since 'most' would not say of which.
    """
    most: dict[str, int] = {}
    for limit in goal_list.part_limits:
        parts = _parts_called(limit.part, kit)
        if not parts or (len(parts) > 1 and limit.most):
            parts = [_one_part(limit.part, limit.place, kit)]
        for part in parts:
            if part.type in (PartType.SUPPLY, PartType.LOAD):
                raise GoalError(
                    f"'{limit.part}' cannot be limited: every circuit has one supply and its loads",
                    limit.place,
                )
            most[part.name] = min(limit.most, most.get(part.name, limit.most))
    return Limits(
        _in_order(most, kit),
        goal_list.largest_supply,
        goal_list.largest_price,
        _least(goal_list, kit, most),
        _stock(goal_list, kit),
        goal_list.spare,
        _branches(goal_list, names),
        _untimed(goal_list, names),
    )


def _in_order(numbers: dict[str, int], kit: Kit) -> tuple[tuple[str, int], ...]:
    return tuple((part.name, numbers[part.name]) for part in kit.parts if part.name in numbers)


def _one_part(word: str, place: Place, kit: Kit) -> KitPart:
    """Return the one part of the kit that `word` names; GoalError when there are none or more."""
    parts = _parts_called(word, kit)
    if not parts:
        names = [part.name for part in kit.parts]
        raise GoalError(
            f"the kit '{kit.name}' has no part '{word}'", place, close_to(word, names)
        )
    if len(parts) > 1:
        names = [part.name for part in parts]
        raise GoalError(
            f"'{word}' are several parts of the kit '{kit.name}'",
            place,
            f"name one of them: {', '.join(names)}",
        )
    return parts[0]


def _least(goal_list: GoalList, kit: Kit, most: dict[str, int]) -> tuple[tuple[str, int], ...]:
    """Return how many of each part there are to be at least, those of 0 left out."""
    least: dict[str, int] = {}
    for wish in goal_list.part_wishes:
        part = _one_part(wish.part, wish.place, kit)
        if part.type in _NOT_LISTED:
            raise GoalError(
                f"'{wish.part}' cannot be asked for: how many there are follows from the rest",
                wish.place,
                "name switches, sensors, relays or timers",
            )
        if wish.least > most.get(part.name, wish.least):
            raise GoalError(
                f"at least {wish.least} of '{wish.part}' are asked for, and at most "
                f"{most[part.name]} allowed",
                wish.place,
            )
        if wish.least > MOST_ASKED_FOR:
            raise GoalError(
                f"at most {MOST_ASKED_FOR} of a part may be asked for, not {wish.least}", wish.place
            )
        if wish.least:
            least[part.name] = max(wish.least, least.get(part.name, 0))
    return _in_order(least, kit)


def _stock(goal_list: GoalList, kit: Kit) -> tuple[tuple[str, int], ...]:
    """Return how many of each part are in stock, those of 0 left out."""
    stock: dict[str, int] = {}
    for item in goal_list.stock:
        part = _one_part(item.part, item.place, kit)
        if part.type in _NOT_LISTED:
            raise GoalError(
                f"'{item.part}' cannot be counted as stock: only switches, sensors, relays and "
                "timers can",
                item.place,
            )
        if item.number:
            stock[part.name] = stock.get(part.name, 0) + item.number
    return _in_order(stock, kit)


def _branches(goal_list: GoalList, names: Names) -> tuple[tuple[str, str], ...]:
    """Return all pairs of loads that are to be on separate branches, in the order of the loads."""
    order = list(names.loads)
    found: set[tuple[str, str]] = set()
    for wish in goal_list.branches:
        for load in wish.loads:
            _expect_load(load, wish.place, names)
        found.update(combinations(sorted(wish.loads, key=order.index), 2))
    return tuple(sorted(found, key=lambda pair: (order.index(pair[0]), order.index(pair[1]))))


def _untimed(goal_list: GoalList, names: Names) -> tuple[str, ...]:
    """Return the loads that no timer may carry power to, in their order."""
    found: set[str] = set()
    for wish in goal_list.untimed:
        if wish.load:
            _expect_load(wish.load, wish.place, names)
        found.update([wish.load] if wish.load else names.loads)
    return tuple(load for load in names.loads if load in found)


def _expect_load(load: str, place: Place, names: Names) -> None:
    if load not in names.loads:
        raise GoalError(
            f"there is no load '{load}' in the goals", place, close_to(load, list(names.loads))
        )


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
