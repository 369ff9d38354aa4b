"""Lower bounds: what any design must have, each a small function with the reason it holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import product
from math import gcd

from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import KitPart
from synth.problem import Problem
from synth.signals import (
    MEMORY,
    ON,
    Cycle,
    Signal,
    SignalMachine,
    all_of,
    children,
    inputs_of,
    times_of,
)

FanOut = Callable[[int], int | None]
"""Least price of splitting one output over so many inputs (None: cannot be done)."""

POSITIONS = frozenset(
    {
        PartType.RELAY_MAKE,
        PartType.RELAY_BREAK,
        PartType.RELAY_CHANGEOVER,
        PartType.BISTABLE,
        PartType.IMPULSE,
    }
)
"""Parts whose position is a state of its own, apart from any running time."""


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
    demand of its output from both sides, at least one unit more than it hands on.
    """
    total = load_needs
    for part in parts:
        total += part.units * len(part.shape.controls)
        total += part.type is PartType.JOINT
    return total


def cycles_in(signal: Signal) -> Iterator[Cycle]:
    """Yield the cycles that `signal` is made of."""
    if isinstance(signal, Cycle):
        yield signal
    for child in children(signal):
        yield from cycles_in(child)


def lacks_time(parts: Sequence[KitPart], problem: Problem) -> str:
    """Return why `parts` cannot keep the times that are asked for, "" if nothing is known.

    1. A load that has to change at an instant at which no input changes needs a part with a
       running time: with fixed inputs nothing else ever happens.
    2. Let there be one such part, set to T, and let the inputs stay fixed. Then every event is
       its expiry, so all events are T apart, and what follows an event depends only on the
       positions of the relays after it: the timer has just started anew, and the level it last
       saw at its start is a function of these positions. A load that is a cycle of on-time a and
       off-time b, alone, changes at events only, so T divides a and b; within one period its
       (a + b)/T events all have different futures, so there are at least as many states:
       2^(number of relays) >= (a + b)/T.
    """
    timed = [part for part in parts if part.type in TIMED]
    if not timed:
        asked = [r for r in problem.requirements if times_of(r.signal)]
        return f"'{asked[0].load}' needs a part with a running time" if asked else ""
    if len(timed) > 1 or timed[0].type is PartType.RECYCLER or timed[0].times is None:
        return ""
    relays = sum(part.type in POSITIONS for part in parts)
    for requirement in problem.requirements:
        cycle = requirement.signal
        if not isinstance(cycle, Cycle) or _never_left_alone(problem, cycle):
            continue
        common = gcd(cycle.on, cycle.off)
        fits = (
            common % t == 0 and (cycle.on + cycle.off) // t <= 2**relays
            for t in problem.times
            if t in timed[0].times
        )
        if not any(fits):
            return f"'{requirement.load}' cannot be timed by one timer and {relays} relays"
    return ""


def _never_left_alone(problem: Problem, cycle: Cycle) -> bool:
    """Return whether it is not certain that the gate of `cycle` can be open for ever with all
    inputs fixed: then the argument above is not made."""
    names = sorted(inputs_of(cycle.gate))
    if cycle.enable != ON:
        names = sorted({*names, *inputs_of(cycle.enable)})
    steady = [item for item in problem.inputs if item.name in names]
    if any(x.most_on is not None or x.most_off is not None for x in steady):
        return True
    opening = all_of(cycle.gate, cycle.enable)
    if any(isinstance(node, MEMORY) for node in SignalMachine((("", opening),)).order):
        return True
    machine = SignalMachine((("", opening),))
    for levels in product((True, False), repeat=len(names)):
        vector = dict(zip(names, levels, strict=True))
        together = any(
            sum(vector.get(n, False) for n in group) > 1 for group in problem.never_together
        )
        fixed = any(x.steady is not None and x.steady != vector[x.name] for x in steady)
        if not together and not fixed and machine.react((), vector)[1][""]:
            return False
    return True
