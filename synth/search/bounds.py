"""Lower bounds: what any design must have, each a small function with the reason it holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import product
from math import gcd, inf

from synth.parts.behaviour import CONTROLLED, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit, KitPart
from synth.problem import Problem
from synth.search.perpetual import positions
from synth.signals import (
    MEMORY,
    ON,
    Cycle,
    Signal,
    SignalMachine,
    all_of,
    children,
    inputs_of,
    loads_of,
)

FanOut = Callable[[int], int | None]
"""Least price of splitting one output over so many inputs (None: cannot be done)."""

MOST_FREE = 6
"""Most inputs of which all combinations are looked at for what is on at one moment."""
MOST_STARTS = 16
"""Up to so many levels of the inputs, all runs of two steps are looked at as well."""


def sharing_floor(fan_out: FanOut) -> Callable[[int], int | None]:
    """Return a function: the least price of splitting when `extra` inputs more than outputs are
    to be fed.

    Proof: every output in use feeds at least one input, so the surplus of inputs over outputs is
    the sum of (fan-out - 1) over all nets, and the price of each net is at least `fan_out`. The
    least sum over all ways to spread the surplus is found by dynamic programming.
    """

    @cache
    def floor(extra: int) -> int | None:
        if extra <= 0:
            return 0
        best: int | None = None
        for on_one in range(1, extra + 1):
            here, rest = fan_out(on_one + 1), floor(extra - on_one)
            if here is not None and rest is not None and (best is None or here + rest < best):
                best = here + rest
        return best

    return floor


def sharing_totals(kit: Kit) -> Callable[[int], frozenset[int]]:
    """Return a function: all that splitting may cost when it adds so many outlets in all.

    A splitting part with m outputs adds between 1 and m - 1 outlets. Whatever a list costs, its
    price is that of its parts and one of these sums, so no price between two of them need be asked.
    """
    steps = {
        (step, part.price)
        for part in kit.parts
        if part.type in SPLITTING and part.most != 0
        for step in range(1, len(part.shape.outputs))
    }

    @cache
    def totals(outlets: int) -> frozenset[int]:
        if outlets <= 0:
            return frozenset({0})
        return frozenset(
            price + before
            for step, price in steps
            if step <= outlets
            for before in totals(outlets - step)
        )

    return totals


def surplus(parts: Sequence[KitPart], loads: int) -> int:
    """Return by how many the inputs of `parts` and `loads` outnumber the outputs (supply's too).

    A change-over or other part with several outputs counts with all of them, which only lowers
    the bound.
    """
    total = loads - 1
    for part in parts:
        shape = part.shape
        total += len(shape.power) + len(shape.controls) - len(shape.outputs)
    return total


def units_floor(parts: Sequence[KitPart], load_needs: int) -> int:
    """Return the least units that the supply must deliver.

    Proof: an output hands on at most what reaches it and nothing is made, so the supply delivers
    at least the sum of what the consumers (loads, control inputs) need. A joint gets the full
    demand of its output from both sides, at least one unit more than it hands on. A change-over
    feeds one of its two branches at a time and so needs the greater of two demands, at least half
    their sum: with m of them no demand counts with less than 1/2^m.
    """
    total = load_needs
    for part in parts:
        total += part.units * len(part.shape.controls)
        total += part.type is PartType.JOINT
    branching = 1 << sum(part.type is PartType.RELAY_CHANGEOVER for part in parts)
    return -(-total // branching)


def on_together(problem: Problem) -> int:
    """Return units that loads on at one moment need, the most of all runs looked at.

    Proof: what is on is delivered to, whatever relay chooses between branches. Runs from power-up,
    with or without a change of inputs, which then stay as they are, for a while; a poor choice only
    weakens the bound.
    """
    needs = {r.load: r.needs for r in problem.requirements}
    vectors = _allowed(problem, [x.name for x in problem.inputs if x.name != "supply"])
    few = len(vectors) <= MOST_STARTS
    most = 0
    for start, vector in product([None, *vectors], vectors):
        moved = sum(start[name] != vector[name] for name in vector) if start is not None else 1
        if not (few or moved == 1) or not _may_run(problem, start, vector):
            continue
        for _, wanted in _run(problem.machine, start, vector, _held_for(problem, vector))[0]:
            on = sum(needs[load] for load, level in zip(needs, wanted, strict=True) if level)
            most = max(most, on)
    return most


def never_seen_on(problem: Problem) -> bool:
    """Return whether some load is on in none of the runs looked at.

    Such a load, if it is never on at all, may hang on any output that is dead for good, so that a
    whole can be cheaper than its circuits one by one.
    """
    for requirement in problem.requirements:
        alone = not loads_of(requirement.signal)
        machine = SignalMachine((("", requirement.signal),)) if alone else problem.machine
        place = 0 if alone else [r.load for r in problem.requirements].index(requirement.load)
        named = inputs_of(requirement.signal) if alone else {x.name for x in problem.inputs}
        vectors = _allowed(problem, sorted(named - {"supply"}))
        starts = [None, *(vectors if len(vectors) <= MOST_STARTS else ())]
        if not any(
            wanted[place]
            for start in starts
            for vector in vectors
            if _may_run(problem, start, vector)
            for _, wanted in _run(machine, start, vector, _held_for(problem, vector))[0]
        ):
            return True
    return False


def _allowed(problem: Problem, names: Sequence[str]) -> list[dict[str, bool]]:
    """Return levels of these inputs that may occur together, with the supply on."""
    facts = {item.name: item for item in problem.inputs}
    free = [n for n in names if facts[n].steady is None]
    fixed = {n: bool(facts[n].steady) for n in names if facts[n].steady is not None}
    found = []
    for levels in product((True, False), repeat=min(len(free), MOST_FREE)):
        vector = {**dict.fromkeys(free, False), **dict(zip(free, levels, strict=False)), **fixed}
        if _may_be(problem, vector):
            found.append({"supply": True, **vector})
    return found


def _may_be(problem: Problem, vector: dict[str, bool]) -> bool:
    """Return whether inputs may have these levels together, all others being at 0 if they can."""
    levels = {item.name: item.steady is True for item in problem.inputs} | vector
    return all(sum(levels.get(n, False) for n in g) <= 1 for g in problem.never_together)


def _may_run(problem: Problem, prefix: dict[str, bool] | None, vector: dict[str, bool]) -> bool:
    """Return whether the supply may come on with the levels `prefix`, if any, then `vector`, as far
    as one input bears on when another changes (for steady inputs, which may not be named here, see
    `_may_be`)."""
    if prefix is None:
        return problem.may_follow(None, vector)
    return problem.may_follow(None, prefix) and problem.may_follow(prefix, vector)


def _held_for(problem: Problem, vector: dict[str, bool]) -> int | None:
    """Return for how long, in ticks from power-up, inputs may certainly have these levels, the
    others being at 0 if they can; None: for good.

    An input that does not matter here, but may be at 0 for so long only, has to be at 1 before
    long: that ends what is never together with it.
    """
    on = {name for name, level in vector.items() if level}
    ends = []
    for item in problem.inputs:
        if item.steady is None and item.name in vector:
            ends.append(item.most_on if vector[item.name] else item.most_off)
        elif item.steady is None and any(
            item.name in group and on & set(group) for group in problem.never_together
        ):
            ends.append(item.most_off)
    return min((end for end in ends if end is not None), default=None)


def wires_floor(parts: Sequence[KitPart], loads: int, outlets: int) -> int:
    """Return the least number of wires, if no splitting part has more than `outlets` outputs.

    Proof: every input has one wire. A splitting part adds one input, and at most `outlets` - 1
    outputs more than it takes up; the surplus of inputs over outputs is made up by them.
    """
    inputs = loads + sum(len(p.shape.power) + len(p.shape.controls) for p in parts)
    extra = max(0, surplus(parts, loads))
    return inputs + -(-extra // max(1, outlets - 1))


def cycles_in(signal: Signal) -> Iterator[Cycle]:
    """Yield the cycles that `signal` is made of."""
    if isinstance(signal, Cycle):
        yield signal
    for child in children(signal):
        yield from cycles_in(child)


def lacks_time(
    parts: Sequence[KitPart], problem: Problem, alone: str, joints: bool = True
) -> str:
    """Return why `parts` cannot keep the times that are asked for, "" if nothing is known.
    `joints`: there may be more joints than are among them.

    1. A load that has to change at an instant at which no input changes (`alone` names one, if one
       is known) needs a part with a running time: with fixed inputs nothing else ever happens.
    2. Let there be one such part, set to T, and let the inputs stay fixed. Then every event is
       its expiry, so all events are T apart, and what follows an event depends only on the
       positions of the relays after it: the timer has just started anew, and the level it last
       saw at its start is a function of these positions. A load that is a cycle of on-time a and
       off-time b, alone, changes at events only, so T divides a and b; within one period its
       (a + b)/T events all have different futures, so the relays have at least as many positions
       (see `positions`).
    """
    timed = [part for part in parts if part.type in TIMED]
    if not timed:
        return f"'{alone}' needs a part with a running time" if alone else ""
    if len(timed) > 1 or timed[0].type is PartType.RECYCLER or timed[0].times is None:
        return ""
    relays, enough = sum(part.type in CONTROLLED for part in parts) - 1, positions(parts, joints)
    for requirement in problem.requirements:
        cycle = requirement.signal
        if not isinstance(cycle, Cycle) or _never_left_alone(problem, cycle):
            continue
        common = gcd(cycle.on, cycle.off)
        fits = (
            common % t == 0 and (cycle.on + cycle.off) // t <= enough
            for t in problem.times
            if t in timed[0].times
        )
        if not any(fits):
            more = f"{relays or 'no'} relay{'' if relays < 2 else 's'}"
            return f"'{requirement.load}' cannot be timed by one timer and {more}"
    return ""


def _never_left_alone(problem: Problem, cycle: Cycle) -> bool:
    """Return whether it is not certain that the gate of `cycle` can be open for ever with all
    inputs fixed: then the argument above is not made."""
    names = sorted(inputs_of(cycle.gate))
    if cycle.enable != ON:
        names = sorted({*names, *inputs_of(cycle.enable)})
    steady = [item for item in problem.inputs if item.name in names]
    # An input of another load that cannot stay as it is would be an event besides.
    if any(
        x.steady is None and (x.most_on is not None or x.most_off is not None)
        for x in problem.inputs
    ):
        return True
    opening = all_of(cycle.gate, cycle.enable)
    if any(isinstance(node, MEMORY) for node in SignalMachine((("", opening),)).order):
        return True
    machine = SignalMachine((("", opening),))
    for levels in product((True, False), repeat=len(names)):
        vector = dict(zip(names, levels, strict=True))
        together = not _may_be(problem, vector)
        fixed = any(x.steady is not None and x.steady != vector[x.name] for x in steady)
        if not together and not fixed and machine.react((), vector)[1][""]:
            return False
    return True


def essential(problem: Problem) -> frozenset[str]:
    """Return outside inputs, the supply apart, that some load provably depends on.

    Proof: two runs that agree in all other inputs, both allowed, and in which a load is wanted
    differently at some settled instant. Without a part that follows the input the circuit could
    not tell the two apart. Runs of one and of two steps from power-up are tried, so an input may
    be missed, which only weakens the bound; none is named in error.
    """
    found: set[str] = set()
    for requirement in problem.requirements:
        names = sorted(inputs_of(requirement.signal) - {"supply"})
        if not loads_of(requirement.signal):
            found |= _told_apart(problem, requirement.signal, names)
        else:
            # What such a load must do depends on other loads: run them all, ask of this one.
            signals = tuple((r.load, r.signal) for r in problem.requirements)
            every = sorted(set().union(*(inputs_of(s) for _, s in signals)) - {"supply"})
            found |= _differences(problem, SignalMachine(signals), every)
    return frozenset(found)


def _told_apart(problem: Problem, signal: Signal, names: list[str]) -> set[str]:
    return _differences(problem, SignalMachine((("", signal),)), names)


def _differences(problem: Problem, machine: SignalMachine, names: list[str]) -> set[str]:
    facts = {item.name: item for item in problem.inputs}
    free = [n for n in names if facts[n].steady is None]
    fixed = {n: bool(facts[n].steady) for n in names if facts[n].steady is not None}
    vectors = [
        {"supply": True, **fixed, **dict(zip(free, levels, strict=True))}
        for levels in product((True, False), repeat=min(len(free), 8))
    ]
    if len(free) > 8:
        for vector in vectors:
            vector.update(dict.fromkeys(free[8:], False))
    allowed = [v for v in vectors if _may_be(problem, v)]
    hasty = {n for n in free if facts[n].least_on or facts[n].least_off}
    found: set[str] = set()

    def compare(prefix: dict[str, bool] | None, one: dict[str, bool]) -> None:
        for name in free:
            other = {**one, name: not one[name]}
            if name in found or not one[name] or other not in allowed:
                continue
            if not all(_may_run(problem, prefix, vector) for vector in (one, other)):
                continue
            if prefix is not None and name in hasty:
                continue
            ends = [_held_for(problem, v) for v in (one, other, prefix) if v is not None]
            end = min((e for e in ends if e is not None), default=None)
            if _differ(_run(machine, prefix, one, end), _run(machine, prefix, other, end)):
                found.add(name)

    for vector in allowed:
        compare(None, vector)
    if found < set(free) and len(free) <= 5:
        for prefix in allowed:
            for vector in allowed:
                if not any(prefix[n] != vector[n] for n in hasty):
                    compare(prefix, vector)
    return found


Followed = tuple[list[tuple[int, tuple[bool, ...]]], float]
"""(Time in ticks, wanted loads) at the changes of a run, and until when it was followed."""


def _differ(one: Followed, other: Followed) -> bool:
    """Return whether loads are wanted differently in two runs, as far as both were followed: one
    with more events, some of which change no load, is not followed for as long."""
    last = min(one[1], other[1])
    return [x for x in one[0] if x[0] <= last] != [x for x in other[0] if x[0] <= last]


def _run(
    machine: SignalMachine,
    prefix: dict[str, bool] | None,
    vector: dict[str, bool],
    end: int | None,
) -> Followed:
    """Return what is wanted in a run that ends in fixed inputs.

    What comes at `end` or later does not count, since some input may not stay as it is so long.
    """
    state, now = machine.start, 0
    clocks: dict[int, int] = {}
    seen: list[tuple[int, tuple[bool, ...]]] = []
    steps = [(0, prefix), (1, vector)] if prefix is not None else [(0, vector)]
    levels = vector
    for _ in range(24):
        due: tuple[int, ...] = ()
        if steps:
            now, chosen = steps.pop(0)
            assert chosen is not None
            levels = chosen
        elif clocks and (end is None or min(clocks.values()) < end):
            now = min(clocks.values())
        else:
            return seen, inf
        due = tuple(slot for slot, when in clocks.items() if when <= now)
        state, loads, again = machine.react(state, levels, due)
        clocks = machine.clocks(state, clocks, again, now)
        wanted = tuple(loads.values())
        if not seen or seen[-1][1] != wanted:
            seen.append((now, wanted))
    return seen, now
