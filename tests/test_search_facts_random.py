"""Random small jobs with facts about their inputs: bounds against all wirings, and plain runs.

Inputs that never come together, that never change, that last at least or at most so long are all
drawn. Each job's wirings within its price are enumerated (`random_jobs`); those that pass the exact
check must not be ruled out by any bound of the search.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator
from random import Random

import pytest
from check_designs import asked
from every_wiring import Run
from plain_simulation import held_as_one_comes
from random_jobs import (
    ENDS,
    NAMES,
    OFFERED,
    Holding,
    candidates,
    key_of,
    small,
    vectors,
    wanted,
)
from test_random_jobs import bounds_let_through

from synth.check import check
from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.problem import InputKind, Limits, OutsideInput, Problem
from synth.search.bounds import essential, never_seen_on, on_together
from synth.search.pending import timers_at_once
from synth.share import share_power
from synth.signals import (
    Cycle,
    Latch,
    Level,
    OffDelay,
    OnDelay,
    Pulse,
    Signal,
    Toggle,
    all_of,
    any_of,
    negated,
)

S, A, B = Level("supply"), Level("a"), Level("b")
GATES = (A, negated(A), B, all_of(A, B), any_of(A, B), all_of(A, negated(B)))
OTHERS = (
    PartType.RELAY_MAKE,
    PartType.RELAY_BREAK,
    PartType.RELAY_CHANGEOVER,
    PartType.BISTABLE,
    PartType.IMPULSE,
)
MOST_WIRINGS = 40_000
MOST_HELD = 6
"""So many designs of a job, picked at random, are held against the bounds."""
LATE = 100
"""A step by which everything has happened that a bound looks at in a run without changes."""


def a_signal(random: Random) -> Signal:
    gate = random.choice(GATES)
    on, off = random.choice(((1000, 1000), (1000, 2000), (2000, 1000)))
    wish: Signal = random.choice(
        (
            gate,
            OnDelay(gate, 2000),
            OffDelay(gate, 1000),
            Pulse(gate, 1000),
            Cycle(gate, on, off),
            Cycle(S, on, off),
            Toggle(gate),
            Latch(A, B),
        )
    )
    return all_of(S, wish) if wish in GATES else dataclasses.replace(wish, enable=S)


def an_input(random: Random, name: str) -> OutsideInput:
    """Return an input, mostly with something known of it."""
    item = OutsideInput(name, InputKind.SENSOR)
    if random.random() < 0.15:
        return dataclasses.replace(item, steady=random.choice((True, False)))
    for key in random.sample(("least_on", "most_on", "least_off", "most_off"), 2):
        if random.random() < 0.5:
            item = dataclasses.replace(item, **{key: random.choice((1000, 2000, 3000))})
    contrary = ((item.least_on, item.most_on), (item.least_off, item.most_off))
    if any(least and most and least > most for least, most in contrary):
        return an_input(random, name)
    return item


def released(random: Random, item: OutsideInput) -> OutsideInput:
    """Return an input, now and then known to be at 0 as the supply or another one comes on."""
    if item.name == "supply" or item.steady is not None or random.random() < 0.5:
        return item
    other = "b" if item.name == "a" else "a"
    others = random.choice((("supply",), (other,), ("supply", other)))
    return dataclasses.replace(item, released_as=others)


def a_kit(random: Random, timers: bool) -> Kit:
    kinds = [PartType.SENSOR, *random.sample(OTHERS, 1)]
    if timers:
        kinds.append(random.choice(sorted(TIMED)))
    parts = []
    for kind in kinds:
        name, options = NAMES[kind]
        price, most = (2, 2) if kind is PartType.SENSOR else (random.choice((3, 4)), 1)
        times = OFFERED if kind in TIMED else None
        parts.append(KitPart(name, kind, price, most, 1, options, times))
    tap = KitPart("tap-off", PartType.TAP_OFF, random.choice((0, 1, 2)), largest=99)
    divider = KitPart("divider", PartType.DIVIDER, random.choice((0, 1)), outputs=3)
    splitting = random.choice(([tap], [divider], [tap, divider]))
    trigger = random.choice((Trigger.HELD, Trigger.INSTANT))
    return Kit("random", "Random", trigger, (ENDS[0], *parts, *splitting, ENDS[1]))


def a_problem(seed: int) -> Problem:
    random = Random(seed)
    loads = ("lamp", "fan")[: random.choice((1, 2))]
    wishes = {load: a_signal(random) for load in loads}
    inputs = [an_input(random, name) for name in "ab"]
    if random.random() < 0.5:
        inputs.append(OutsideInput("supply", InputKind.SUPPLY, steady=True))
    groups = (("a", "b"),) if random.random() < 0.5 else ()
    # Drawn apart, so that all else is as it was before this could be known.
    inputs = [released(Random(f"{seed} {x.name}"), x) for x in inputs]
    timers = any(isinstance(s, OnDelay | OffDelay | Pulse | Cycle) for s in wishes.values())
    return asked(
        wishes,
        *inputs,
        kit=a_kit(random, timers or random.random() < 0.3),
        needs=random.choice((1, 1, 2)),
        times=(1000, 2000),
        never_together=groups,
        limits=Limits(price=random.choice((8, 10))),
    )


def held_runs(problem: Problem) -> Iterator[Run]:
    """Yield runs in which all inputs stay as they are from power-up on, or change just once, soon:
    at power-up they may have been as they are for long."""
    allowed = [v for v in vectors(problem) if v["supply"]]
    for first in allowed:
        if held_as_one_comes(problem, None, first):
            continue
        yield [(0, first), (LATE, first)]
        for second in allowed:
            if first != second and not held_as_one_comes(problem, first, second):
                yield [(0, first), (1, second), (1 + LATE, second)]


def possible(problem: Problem) -> bool:
    """Return whether all that is known of the inputs can be true for good."""
    often = {x.name for x in problem.inputs if x.steady or (x.steady is None and x.most_off)}
    apart = (*problem.never_together, *((x.name, y) for x in problem.inputs for y in x.released_as))
    return all(len(often & {*group}) < 2 for group in apart)


def held_against(problem: Problem, seed: int, counts: Counter[str]) -> None:
    """Assert that no bound rules out what holds, nor counts what plain runs do not show."""
    seen_on, together = set[str](), 0
    needs = {r.load: r.needs for r in problem.requirements}
    for run in held_runs(problem):
        for levels in wanted(problem, run):
            on = {load for load, level in levels.items() if level}
            seen_on |= on
            together = max(together, sum(needs[load] for load in on))
    assert on_together(problem) <= together, seed
    assert never_seen_on(problem) or seen_on == set(needs), seed
    counts["never on"] += seen_on != set(needs)
    assert problem.limits.price is not None
    found = [skeleton for _, skeleton in candidates(problem, problem.limits.price)]
    Random(seed).shuffle(found)
    held = 0
    for skeleton in found[: 10 * MOST_HELD]:
        design = share_power(skeleton, problem.kit, problem.objectives, problem.limits)
        if design is None or not check(design, problem, stop_at_first=True).holds:
            continue
        bounds_let_through(problem, Holding(skeleton, design, key_of(design, problem)))
        followed = {item.setting("input") for item in skeleton.parts} - {None}
        named = {item.name for item in problem.inputs} - {"supply"}
        counts["follows less"] += followed < named
        held += 1
        if held == MOST_HELD:
            break
    counts["held"] += held
    counts["with a design"] += held > 0
    counts["essential"] += len(essential(problem))
    counts["timers"] += timers_at_once(problem).count


def through(seeds: range) -> Counter[str]:
    counts: Counter[str] = Counter()
    for seed in seeds:
        problem = a_problem(seed)
        if possible(problem) and small(problem, MOST_WIRINGS):
            counts["jobs"] += 1
            held_against(problem, seed, counts)
    return counts


def test_no_bound_rules_out_what_holds_with_facts_about_inputs() -> None:
    counts = through(range(40))
    assert counts["with a design"] > 2 and counts["follows less"] > 5, counts
    assert counts["essential"] > 8 and counts["timers"] > 3 and counts["never on"] > 1, counts


@pytest.mark.slow
def test_no_bound_rules_out_what_holds_with_facts_about_inputs_at_length() -> None:
    counts = through(range(500))
    assert counts["with a design"] > 60 and counts["follows less"] > 220, counts
    assert counts["essential"] > 160 and counts["timers"] > 90 and counts["never on"] > 45, counts
