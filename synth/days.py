"""A *held day*: no input but the night moves on it. What may be held, and what loads use on it.

A goal about energy is asked of held days, and a budget is reckoned with them. Days are run by
events, never by steps: a `Runner` is anything that reacts to levels and to times that are up, be
it a circuit or the required signals. Energy is in unit-hours, exact.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import islice, product

from synth.problem import InputKind, OutsideInput, Problem
from synth.signals import SignalMachine, inputs_of, loads_of
from synth.ticks import format_duration
from synth.wording import listed

DAY = 86_400_000
HOUR = 3_600_000
"""In ticks."""
USUAL_NIGHT = 50_400_000
"""The night of a budget for which none is known, in ticks: 14 h, a long one."""
MOST_SETTINGS = 256
"""Settings of the held inputs of one group that are run."""
MOST_EVENTS = 400_000
"""Events of one run before it is given up; what repeats is not run again."""
EVER = Fraction(10**12)
"""Unit-hours that no design uses in a day."""
FLIP = 1_000
"""How long an input is at its other level before it is held, at least, in ticks."""

Levels = tuple[tuple[str, bool], ...]


class NoDay(Exception):  # noqa: N818 - it is an answer
    """There is no held day, or it cannot be run; the message says why, in half a sentence."""


# -- which nights ----------------------------------------------------------------------------


def usual_night(inputs: Sequence[OutsideInput]) -> int:
    """Return the night where none is stated: 14 h, or as near to it as is known, in ticks."""
    night = USUAL_NIGHT
    for item in inputs:
        if item.kind is InputKind.NIGHT:
            low = max(item.least_on or 0, DAY - item.most_off if item.most_off else 0)
            night = max(low, min(night, item.most_on or DAY, DAY - (item.least_off or 0)))
    return night


def nights_asked(inputs: Sequence[OutsideInput]) -> tuple[int, ...]:
    """Return the nights of which a goal about energy is asked, in ticks: the longest that is known
    (else the usual one), and the shortest that is known, for a day may use more than a night."""
    longest: int | None = None
    shortest: int | None = None
    for item in inputs:
        if item.kind is InputKind.NIGHT:
            if item.most_on is not None or item.least_off is not None:
                longest = max(0, min(item.most_on or DAY, DAY - (item.least_off or 0)))
            if item.least_on is not None or item.most_off is not None:
                shortest = max(
                    item.least_on or 0, DAY - item.most_off if item.most_off is not None else 0
                )
    known = (usual_night(inputs) if longest is None else longest, shortest)
    return tuple(dict.fromkeys(night for night in known if night is not None))


def _night_fits(item: OutsideInput, night: int) -> bool:
    day = DAY - night
    return (item.least_on or 0) <= night <= (item.most_on or DAY) and (
        item.least_off or 0
    ) <= day <= (item.most_off or DAY)


# -- what is held ----------------------------------------------------------------------------


def settings(problem: Problem, names: Sequence[str]) -> list[dict[str, bool]]:
    """Return the allowed levels of the inputs `names`, but for the supply and the night; buttons
    are released. What is known of times is not looked at."""
    return list(_settings(problem, names))


def _settings(problem: Problem, names: Sequence[str]) -> Iterator[dict[str, bool]]:
    kinds = {item.name: item for item in problem.inputs}
    own: list[str] = []
    choices: list[tuple[bool, ...]] = []
    for name in names:
        item = kinds.get(name)
        kind = item.kind if item else InputKind.SENSOR
        if name == "supply" or kind in (InputKind.SUPPLY, InputKind.NIGHT):
            continue
        steady = item.steady if item is not None else None
        own.append(name)
        if steady is not None:
            choices.append((steady,))
        else:
            choices.append((False,) if kind is InputKind.BUTTON else (False, True))
    for values in product(*choices):
        levels = dict(zip(own, values, strict=True))
        if _together(problem, levels):
            yield levels


def _together(problem: Problem, levels: Mapping[str, bool]) -> bool:
    """Return whether inputs may be at these levels together, on a day on which the night falls."""
    falls = {i.name for i in problem.inputs if i.kind is InputKind.NIGHT and i.steady is not False}
    return all(
        sum(levels.get(name, name in falls) for name in group) <= 1
        for group in problem.never_together
    )


def holdable(problem: Problem, names: Sequence[str]) -> list[dict[str, bool]]:
    """Return the levels at which the inputs `names` can be held for two days, as far as anything
    is known of how long they last. Raises NoDay where there are none, or too many."""
    kinds = {item.name: item for item in problem.inputs}
    supply = kinds.get("supply")
    if supply is not None and supply.most_on is not None and supply.most_on < 2 * DAY:
        raise NoDay("the supply never stays on for two days")
    for name in names:
        item = kinds.get(name)
        if item is not None and item.kind is InputKind.NIGHT:
            continue
        if item is not None and not any(
            _may_stay(item, level)
            for level in (False, True)
            if level is False or item.kind is not InputKind.BUTTON
        ):
            raise NoDay(f"'{name}' never stays as it is for two days")
    found = [
        levels
        for levels in islice(_settings(problem, names), MOST_SETTINGS + 1)
        if all(_may_stay(kinds[name], level) for name, level in levels.items() if name in kinds)
    ]
    if len(found) > MOST_SETTINGS:
        raise NoDay(f"inputs can be held in more than {MOST_SETTINGS} ways")
    if not found:
        raise NoDay("the inputs cannot all be held for two days")
    return found


def _may_stay(item: OutsideInput, level: bool) -> bool:
    if item.steady is not None:
        return item.steady is level
    most = item.most_on if level else item.most_off
    return most is None or most >= 2 * DAY


def flips(problem: Problem, levels: Mapping[str, bool]) -> Iterator[tuple[str, ...]]:
    """Yield the inputs that are at the other level as power comes up, just before they are held:
    none, each one, and all; so what a press or a passing level has set counts as well."""
    yield ()
    able = [name for name in levels if _flip(problem, name, levels[name]) is not None]
    for some in dict.fromkeys([*((name,) for name in able), tuple(able)]):
        other = {n: level != (n in some) for n, level in levels.items()}
        if some and _together(problem, other) and not _held_as_one_comes(problem, levels, some):
            yield some


def _held_as_one_comes(
    problem: Problem, levels: Mapping[str, bool], flipped: Collection[str]
) -> bool:
    """Return whether, of inputs that are flipped at first, one may be at 1 as another comes on of
    which that is known not to be so."""
    return any(
        item.name in flipped
        and not levels[item.name]
        and any(name in flipped and levels[name] for name in item.released_as)
        for item in problem.inputs
    )


def _flip(problem: Problem, name: str, level: bool) -> int | None:
    """Return how long the input `name` may be at the other level than `level`, in ticks."""
    item = next((item for item in problem.inputs if item.name == name), None)
    if item is None:
        return FLIP
    if item.steady is not None:
        return None
    least, most = (item.least_off, item.most_off) if level else (item.least_on, item.most_on)
    time = max(FLIP, least or 0)
    return time if (most is None or time <= most) and time < DAY // 2 else None


def changes(
    problem: Problem,
    names: Sequence[str],
    levels: Mapping[str, bool],
    flipped: Sequence[str],
    night: int,
) -> tuple[tuple[int, dict[str, bool]], ...]:
    """Return (time, levels of `names` from then on) over two days, the first of them to let pass
    what passes. Power comes up at dusk, with the inputs `flipped` at the other level."""
    kinds = {item.name: item for item in problem.inputs}
    back = {n: _flip(problem, n, levels[n]) or FLIP for n in flipped}
    # What is known to be released as power comes up is pressed a little later.
    begin = {
        n: FLIP if n in kinds and "supply" in kinds[n].released_as and not levels[n] else 0
        for n in flipped
    }
    dark = [n for n in names if n != "supply" and n in kinds and kinds[n].kind is InputKind.NIGHT]
    moving = any(kinds[n].steady is None for n in dark) and 0 < night < DAY
    ends = {begin[n] + back[n] for n in flipped}
    times = {0, *begin.values(), *ends, *((night, DAY, DAY + night) if moving else ())}
    found = []
    for time in sorted(times):
        now: dict[str, bool] = {}
        for name in names:
            if name == "supply" or (name in kinds and kinds[name].kind is InputKind.SUPPLY):
                now[name] = True
            elif name in dark:
                steady = kinds[name].steady
                now[name] = time % DAY < night if steady is None else steady
            else:
                level = levels.get(name, False)
                away = name in back and begin[name] <= time < begin[name] + back[name]
                now[name] = level != away
        found.append((time, now))
    return tuple(found)


# -- a day run -------------------------------------------------------------------------------


State = Hashable
Step = Callable[[State, object, int], tuple[State, int, int]]
"""(state, levels, times that are up) to (new state, times that start anew, what is on): masks."""
Limits = Callable[[State], Sequence[tuple[int, int]]]
"""The times that run in a state: (number, length in ticks)."""


def run_day(
    start: State,
    step: Step,
    limits: Limits,
    moved: Sequence[tuple[int, object]],
    running: bool = False,
) -> dict[int, int]:
    """Return for how many ticks of the second day each set of things (a mask) is on.

    `moved` are the times, the first of them 0, at which levels change, over two days. `running`:
    the times that run in `start` have just begun, else nothing runs yet. Once all stands as it
    stood before, with the same times left, what lies between is not run again until levels change.
    Raises NoDay after MOST_EVENTS.
    """
    state, until = start, dict(_due(limits(start), 0)) if running else {}
    on_for: dict[int, int] = {}
    known: dict[tuple[State, object, int], tuple[State, int, int]] = {}
    ends = sorted({*(time for time, _ in moved), DAY, 2 * DAY})
    level: object = None
    place, events, on = 0, 0, 0
    changing = dict(moved)
    for time, end in zip(ends, ends[1:], strict=False):
        # Within this stretch no input moves.
        seen: dict[tuple[State, tuple[tuple[int, int], ...]], tuple[int, int]] | None = {}
        spans: list[tuple[int, int]] = []
        first = time in changing
        level = changing.get(time, level)
        place = time
        while place < end:
            due = sum(1 << n for n, at in until.items() if at == place)
            if first or due:
                key = (state, level, due)
                if key not in known:
                    known[key] = step(state, level, due)
                state, anew, on = known[key]
                before = until
                until = {
                    n: place + limit if anew >> n & 1 or n not in before else before[n]
                    for n, limit in limits(state)
                }
                first = False
            if seen is not None:
                clocks = (state, tuple((n, at - place) for n, at in sorted(until.items())))
                if clocks in seen and seen[clocks][0] < place:
                    since, count = seen[clocks]
                    rounds = (end - place) // (place - since)
                    for mask, span in spans[count:] if time >= DAY else ():
                        on_for[mask] = on_for.get(mask, 0) + rounds * span
                    until = {n: at + rounds * (place - since) for n, at in until.items()}
                    place += rounds * (place - since)
                    seen = None
                    continue
                seen[clocks] = (place, len(spans))
            following = min([*until.values(), end])
            if time >= DAY:
                on_for[on] = on_for.get(on, 0) + following - place
            spans.append((on, following - place))
            place = following
            events += 1
            if events > MOST_EVENTS:
                raise NoDay("too many events in a day")
    return on_for


def _due(limits: Sequence[tuple[int, int]], now: int) -> Iterator[tuple[int, int]]:
    for number, limit in limits:
        yield number, now + limit


# -- what comes out --------------------------------------------------------------------------


@dataclass(frozen=True)
class DayUse:
    """A held day: the length of its night (ticks), the levels held, the inputs that were at the
    other level just before, and what uses how many unit-hours: loads, and control inputs."""

    night: int
    levels: Levels
    flipped: tuple[str, ...]
    loads: tuple[tuple[str, Fraction], ...]
    controls: tuple[tuple[str, Fraction], ...] = ()
    runs: bool = True
    """It is a run of the whole from the first rise of the supply on."""
    least: bool = False
    """Nothing is known but that so much is used."""

    @property
    def total(self) -> Fraction:
        """Unit-hours in all."""
        return sum((use for _, use in (*self.loads, *self.controls)), Fraction(0))

    @property
    def loads_total(self) -> Fraction:
        """Unit-hours of the loads alone."""
        return sum((use for _, use in self.loads), Fraction(0))


def in_words(value: Fraction, places: int = 4) -> str:
    """Return a number as a decimal where that is exact, else rounded, with the fraction.

    >>> in_words(Fraction(143, 2)), in_words(Fraction(211, 3)), in_words(Fraction(4))
    ('71.5', '70.3333 (211/3)', '4')
    """
    scaled = value * 10**places
    whole, rest = divmod(round(scaled), 10**places)
    text = f"{whole}.{rest:0{places}}".rstrip("0").rstrip(".")
    return text if scaled.denominator == 1 else f"{text} ({value.numerator}/{value.denominator})"


def unit_hours(value: Fraction) -> str:
    """Return an amount of energy in words."""
    return f"{in_words(value)} unit-hour{'' if value == 1 else 's'}"


def day_in_words(use: DayUse, problem: Problem) -> str:
    """Return which day it is: its night, and the inputs that are held on."""
    kinds = {item.name: item for item in problem.inputs}
    dark = [i for i in problem.inputs if i.kind is InputKind.NIGHT]
    told = "on a day"
    if dark and dark[0].steady is None:
        told += f" with a night of {format_duration(use.night)}" if use.night else " without night"
    on = [f"'{name}'" for name, level in use.levels if level]
    if on:
        told += f"{' and' if dark else ' with'} {listed(on)} held on"
    elif any(k.kind not in (InputKind.SUPPLY, InputKind.NIGHT) for k in kinds.values()):
        told += " and no other input on" if dark else " with no input on"
    if use.flipped:
        verbs = [
            f"'{n}' was pressed"
            if n in kinds and kinds[n].kind is InputKind.BUTTON
            else f"'{n}' was {'off' if dict(use.levels)[n] else 'on'}"
            for n in use.flipped
        ]
        told += f", after {listed(verbs)}"
    return told


def uses_in_words(uses: Sequence[tuple[str, Fraction]], most: int = 8) -> str:
    """Return the users and their unit-hours, the largest first."""
    used = sorted((u for u in uses if u[1]), key=lambda u: -u[1])
    words = [f"{name} {in_words(use)}" for name, use in used[:most]]
    if len(used) > most:
        rest = sum((use for _, use in used[most:]), Fraction(0))
        words.append(f"{len(used) - most} others {in_words(rest)}")
    return ", ".join(words)


def shares_in_words(use: DayUse) -> str:
    """Return what loads and control inputs use, each kind with its sum."""
    controls = use.total - use.loads_total
    told = [f"loads {in_words(use.loads_total)} ({uses_in_words(use.loads)})"]
    if controls:
        told.append(f"control inputs {in_words(controls)} ({uses_in_words(use.controls)})")
    return ", ".join(told)



# -- groups of things that share inputs ------------------------------------------------------


def groups_of(problem: Problem, inputs: Sequence[Sequence[str]]) -> list[list[int]]:
    """Return the places of `inputs` in groups that share an input other than the supply and the
    night, or inputs that are never on together: each group can be held at levels of its own."""
    apart = {"supply"} | {i.name for i in problem.inputs if i.kind is InputKind.NIGHT}
    groups: list[tuple[list[int], set[str]]] = []
    for place, names in enumerate(inputs):
        own = set(names) - apart
        for group in problem.never_together:
            own |= set(group) if own & set(group) else set()
        places = [place]
        for other in [g for g in groups if g[1] & own]:
            groups.remove(other)
            places, own = other[0] + places, own | other[1]
        groups.append((sorted(places), own))
    return sorted(places for places, _ in groups)


def worst_joint(
    problem: Problem,
    inputs: Sequence[Sequence[str]],
    night: int,
    used: Callable[[int, Levels, tuple[str, ...]], Mapping[str, Fraction]],
    flipping: bool = True,
) -> DayUse:
    """Return the held day on which several things use most together, its night `night` ticks long.

    `inputs` are those that each follows; `used(place, levels, flipped)` tells what one of them
    uses (user: unit-hours), with levels of its own inputs; it is asked once of each day. Those
    that share an input are held at the same levels. Loads and control inputs are not told apart:
    all are in `loads`.
    """
    for item in problem.inputs:
        if item.kind is InputKind.NIGHT and item.steady is None and not _night_fits(item, night):
            raise NoDay("no day of 24 h has such nights and days as are known")
    known = cache(used)
    levels: dict[str, bool] = {}
    flipped: list[str] = []
    uses: dict[str, Fraction] = {}
    for places in groups_of(problem, inputs):
        names = list(dict.fromkeys(name for place in places for name in inputs[place]))
        best: tuple[Fraction, dict[str, bool], tuple[str, ...], dict[str, Fraction]] | None = None
        for held in holdable(problem, names):
            for some in flips(problem, held) if flipping else ((),):
                own: dict[str, Fraction] = {}
                for place in places:
                    mine = tuple((n, held[n]) for n in inputs[place] if n in held)
                    own |= known(place, mine, tuple(n for n in some if n in dict(mine)))
                total = sum(own.values(), Fraction(0))
                if best is None or total > best[0]:
                    best = (total, held, some, own)
        assert best is not None
        levels |= best[1]
        flipped += best[2]
        uses |= best[3]
    order = {item.name: place for place, item in enumerate(problem.inputs)}
    return DayUse(
        night,
        tuple(sorted(levels.items(), key=lambda pair: order.get(pair[0], len(order)))),
        tuple(flipped),
        tuple(uses.items()),
        runs=flipping,
    )


# -- the loads alone -------------------------------------------------------------------------


def loads_alone(problem: Problem, nights: Sequence[int]) -> DayUse | None:
    """Return the held day on which the loads alone use most, as their goals ask; None where no
    such day can be run.

    Each is a run of the inputs from the very first rise of the supply on, and in it every design
    that does what is asked has the loads on just so: no design uses less on that day.
    """
    signals = {r.load: r.signal for r in problem.requirements}
    needs = {r.load: r.needs for r in problem.requirements}
    machines: list[tuple[str, SignalMachine, tuple[str, ...]]] = []
    for requirement in problem.requirements:
        wanted: dict[str, None] = {}
        waiting = [requirement.load]
        while waiting:
            load = waiting.pop()
            if load not in wanted and load in signals:
                wanted[load] = None
                waiting += sorted(loads_of(signals[load]))
        order = [r.load for r in problem.requirements if r.load in wanted]
        machine = SignalMachine(tuple((load, signals[load]) for load in order))
        named = frozenset().union(*(inputs_of(signals[load]) for load in order)) | {"supply"}
        inputs = tuple(i.name for i in problem.inputs if i.name in named)
        machines.append((requirement.load, machine, inputs))
    worst: DayUse | None = None
    for night in nights:

        def used(
            place: int, levels: Levels, flipped: tuple[str, ...], night: int = night
        ) -> Mapping[str, Fraction]:
            load, machine, inputs = machines[place]
            moved = changes(problem, inputs, dict(levels), flipped, night)
            on = run_day(
                machine.start,
                _reacting(machine, load),
                lambda state: _limits(machine, state),
                [(time, tuple(now.items())) for time, now in moved],
            )
            return {load: Fraction(on.get(1, 0) * needs[load], HOUR)}

        try:
            day = worst_joint(problem, [m[2] for m in machines], night, used)
        except NoDay:
            continue
        if worst is None or day.total > worst.total:
            worst = day
    return worst


def _reacting(machine: SignalMachine, load: str) -> Step:
    def step(state: State, levels: object, due: int) -> tuple[State, int, int]:
        assert isinstance(state, tuple) and isinstance(levels, tuple)
        slots = tuple(i for i in range(len(state)) if due >> i & 1)
        new, wanted, anew = machine.react(state, dict(levels), slots)
        return new, sum(1 << slot for slot in anew), int(wanted[load])

    return step


def _limits(machine: SignalMachine, state: State) -> list[tuple[int, int]]:
    assert isinstance(state, tuple)
    found = ((slot, machine.limit(slot, value)) for slot, value in enumerate(state))
    return [(slot, limit) for slot, limit in found if limit]


def alone_in_words(use: DayUse, problem: Problem) -> str:
    """Return what the loads alone use, each with its units and its part of the day."""
    needs = {r.load: r.needs for r in problem.requirements}
    words = []
    for load, hours in sorted(use.loads, key=lambda u: -u[1]):
        if hours:
            each = f"{needs[load]} unit{'' if needs[load] == 1 else 's'}"
            words.append(f"{load} {in_words(hours)} ({each}, {in_words(hours / needs[load])} h)")
    told = f"{day_in_words(use, problem)} the loads alone use {unit_hours(use.total)}"
    return f"{told}: {', '.join(words)}"
