"""Afterwards, limits speak of the kit's own parts, and the times on offer are known."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from math import gcd

from synth.errors import GoalError, Place, Slips
from synth.goals import GoalList, PartLimit
from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import Kit, KitPart, Times
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


def limits(goal_list: GoalList, names: Names, kit: Kit, slips: Slips) -> Limits:
    """Return the limits, each by the kit's own name of the part; the tighter of two counts. What
    is wrong with one of them is kept in `slips`.

    A part may be named by the kit's word or by its type; a type of which the kit has several
    parts may only be ruled out, since 'most' would not say of which.
    """
    most: dict[str, int] = {}
    for limit in goal_list.part_limits:
        with slips.kept():
            for part in _limited(limit, kit):
                most[part.name] = min(limit.most, most.get(part.name, limit.most))
    return Limits(
        _in_order(most, kit),
        goal_list.largest_supply,
        goal_list.largest_price,
        _least(goal_list, kit, slips),
        _stock(goal_list, kit, slips),
        goal_list.spare,
        _branches(goal_list, names, slips),
        _untimed(goal_list, names, slips),
    )


def _limited(limit: PartLimit, kit: Kit) -> list[KitPart]:
    """Return the parts of which a limit speaks."""
    parts = _parts_called(limit.part, kit)
    if not parts or (len(parts) > 1 and limit.most):
        parts = [_one_part(limit.part, limit.place, kit)]
    if any(part.type in (PartType.SUPPLY, PartType.LOAD) for part in parts):
        raise GoalError(
            f"'{limit.part}' cannot be limited: every circuit has one supply and its loads",
            limit.place,
        )
    return parts


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


def _least(goal_list: GoalList, kit: Kit, slips: Slips) -> tuple[tuple[str, int], ...]:
    """Return how many of each part there are to be at least, those of 0 left out.

    More than there may be at most is no mistake in the words, but a clash of two wishes.
    """
    least: dict[str, int] = {}
    for wish in goal_list.part_wishes:
        with slips.kept():
            part = _one_part(wish.part, wish.place, kit)
            if part.type in _NOT_LISTED:
                raise GoalError(
                    f"'{wish.part}' cannot be asked for: how many there are follows from the rest",
                    wish.place,
                    "name switches, sensors, relays or timers",
                )
            if wish.least > MOST_ASKED_FOR:
                raise GoalError(
                    f"at most {MOST_ASKED_FOR} of a part may be asked for, not {wish.least}",
                    wish.place,
                )
            if wish.least:
                least[part.name] = max(wish.least, least.get(part.name, 0))
    return _in_order(least, kit)


def _stock(goal_list: GoalList, kit: Kit, slips: Slips) -> tuple[tuple[str, int], ...]:
    """Return how many of each part are in stock, those of 0 left out."""
    stock: dict[str, int] = {}
    for item in goal_list.stock:
        with slips.kept():
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


def _branches(
    goal_list: GoalList, names: Names, slips: Slips
) -> tuple[tuple[str, str], ...]:
    """Return all pairs of loads that are to be on separate branches, in the order of the loads."""
    order = list(names.loads)
    found: set[tuple[str, str]] = set()
    for wish in goal_list.branches:
        with slips.kept():
            for load in wish.loads:
                _expect_load(load, wish.place, names)
            found.update(combinations(sorted(wish.loads, key=order.index), 2))
    return tuple(sorted(found, key=lambda pair: (order.index(pair[0]), order.index(pair[1]))))


def _untimed(goal_list: GoalList, names: Names, slips: Slips) -> tuple[str, ...]:
    """Return the loads that no timer may carry power to, in their order."""
    found: set[str] = set()
    for wish in goal_list.untimed:
        with slips.kept():
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


def check_inputs(goal_list: GoalList, names: Names, kit: Kit, slips: Slips) -> None:
    """Refuse inputs for which the kit has no part at all that follows them."""
    refused: set[str] = set()
    for goal in goal_list.goals:
        for item, _ in inputs_in(goal):
            kind = names.inputs.get(item.name)
            needed = _FOLLOWED_BY.get(kind) if kind is not None else None
            if needed is None or any(part.type is needed for part in kit.parts):
                continue
            if item.name in refused:
                continue
            refused.add(item.name)
            with slips.kept():
                raise GoalError(
                    f"goal {goal.number} asks for '{item.name}', but the kit '{kit.name}' has no "
                    f"{needed.value}",
                    item.place,
                    "choose another kit, or declare another kind under 'inputs'",
                )


def times_on_offer(
    requirements: tuple[Requirement, ...], kit: Kit, allowed: Limits
) -> tuple[int, ...]:
    """Return the timer settings on offer to the search, in ticks, ascending.

    For each load: the times its signal mentions, the period of each cycle, and, when the times
    are at most MOST_COMBINED, the sums and differences of any two of them; as far as some timer
    of the kit can be set to them. A time or period to which a kind of timer cannot be set is taken
    by several of them one after the other: the settings are those of the fewest (`_in_a_row`), and
    what is left of it after a time of any load, which one timer may then keep for both. A timer
    that is asked for, and that can be set to none of these, is offered its shortest time. Timers of
    which there may be none do not count.
    """
    most = dict(allowed.most)
    ranges, usable = _ranges(kit, {}), _ranges(kit, most)
    signals = [requirement.signal for requirement in requirements]
    offered = {t for signal in signals for t in _combined(signal) if any(t in r for r in ranges)}
    named = {t for signal in signals for t in times_of(signal) | _periods(signal)}
    for times in usable:
        settable = {time for time in named if time in times}
        for beyond in named - settable:
            offered.update(_in_a_row(beyond, times))
            rests = {beyond - time for time in settable if time < beyond}
            offered.update(*(_once_or_in_a_row(rest, times) for rest in rests))
    asked_for = {name for name, _ in allowed.least}
    for times in [p.times for p in kit.parts if p.name in asked_for and p.times]:
        if not any(time in times for time in offered):
            offered.add(times.least)
    return tuple(sorted(offered))


def _once_or_in_a_row(time: int, times: Times) -> tuple[int, ...]:
    return (time,) if time in times else _in_a_row(time, times)


def _in_a_row(time: int, times: Times) -> tuple[int, ...]:
    """Return the settings of the fewest timers of one kind that, each started by the end of the
    one before, take `time` (ticks) together: all equal, or else as nearly equal as whole steps
    allow, which are two settings a step apart. Empty where no number of such timers does.

    >>> _in_a_row(50_000, Times(1_000, 30_000, 1_000))
    (25000,)
    >>> _in_a_row(51_000, Times(1_000, 30_000, 1_000))
    (25000, 26000)
    """
    common = gcd(times.least, times.step)
    if time % common:
        return ()
    # n timers take n * least and whole steps: n * least = time, modulo the step.
    again = times.step // common
    fewest = -(-time // times.most)
    fitting = time // common * pow(times.least // common, -1, again) % again
    number = fewest + (fitting - fewest) % again
    if number * times.least > time:
        return ()
    each, longer = divmod((time - number * times.least) // times.step, number)
    setting = times.least + each * times.step
    return (setting, setting + times.step) if longer else (setting,)


def times_made_up(
    requirements: tuple[Requirement, ...], kit: Kit, most: Mapping[str, int]
) -> tuple[str, ...]:
    """Return a line for each load that has to keep a time to which no timer can be set."""
    allowed = _ranges(kit, most)
    taken = "; ".join(
        f"{format_duration(t.least)} to {format_duration(t.most)} in steps of "
        f"{format_duration(t.step)}"
        for t in allowed
    )
    lines = []
    for requirement in requirements:
        beyond = sorted(
            time
            for time in times_of(requirement.signal)
            if not any(time in times for times in allowed)
        )
        if allowed and beyond:
            told = " or ".join(format_duration(time) for time in beyond)
            lines.append(
                f"the goals of '{requirement.load}' name {told}, to which no timer on offer can be "
                f"set (they take {taken}); other times would make it up"
            )
    return tuple(lines)


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


def _ranges(kit: Kit, most: Mapping[str, int]) -> list[Times]:
    """Return what the kit's timers can be set to, those left out of which there may be none."""
    found = (
        part.times
        for part in kit.parts
        if part.type in TIMED and part.times is not None
        if part.most != 0 and most.get(part.name) != 0
    )
    return list(dict.fromkeys(found))
