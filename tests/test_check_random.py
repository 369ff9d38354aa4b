"""The checker against a plain simulation that tries input sequences half a second at a time.

Whatever the plain one finds wrong, the checker must find wrong too, in no more input changes;
and every counterexample must replay. (The other way round the plain one proves nothing: it
tries only some sequences, and misses failures that lie between its steps.)
"""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from random import Random

import pytest
from check_random import KITS, a_design, a_problem, a_signal, asked_for, built
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plain_simulation import (
    STEP,
    Broken,
    Plain,
    first_failure,
    held_as_one_comes,
    wanted_levels,
)

from synth.check import check, simulate
from synth.check.circuit import upstream
from synth.check.cones import Cone, cones
from synth.check.explore import Budget, Explorer
from synth.design import Design
from synth.errors import Undecided
from synth.problem import Apart, InputKind, OutsideInput, Problem
from synth.result import Fault, Verdict
from synth.signals import And, Level, SignalMachine
from synth.trace import Moment

QUICK = settings(
    max_examples=50, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
LONG = settings(QUICK, max_examples=500)
SEEDS = st.integers(0, 2**32)


def replays(design: Design, problem: Problem, verdict: Verdict) -> None:
    """Assert that each counterexample goes wrong in a concrete run at its last moment."""
    chatters = any(d.fault is Fault.CHATTER for d in verdict.defects)
    for defect in verdict.defects:
        shown = defect.counterexample
        if shown is None:
            assert defect.fault in (Fault.UNITS, Fault.STRUCTURE, Fault.LIMIT)
            continue
        end = shown.moments[-1].time
        run = simulate(design, problem, shown.moments, end + 1)
        times = [m.time for m in shown.moments]
        assert times == sorted(set(times)) and times[0] == 0
        assert ("supply", True) in shown.moments[0].inputs
        levels: dict[str, bool] | None = None
        for moment in shown.moments:
            now = {**(levels or {}), **dict(moment.inputs)}
            assert not held_as_one_comes(problem, levels, now), moment
            levels = now
        if defect.fault is Fault.CHATTER:
            assert any(time == end and "never settles" in text for time, text in run.marks)
        elif chatters:
            continue  # other parts end the run of the whole design before this moment
        elif defect.fault is Fault.GOAL:
            track = next(t for t in run.tracks if t.role == "load" and t.name == shown.load)
            assert wanted_levels(problem, shown.moments, end)[shown.load][-1] == (
                end,
                shown.expected,
            )
            assert track.level(end) is shown.got is not shown.expected
        elif defect.fault is Fault.BLIP:
            assert (end, f"{shown.load} blinks") in run.marks
        else:
            assert defect.fault is Fault.RACE and len(shown.orders) == 2


def agrees(design: Design, problem: Problem, steps: int, changes: int) -> None:
    verdict = check(design, problem, most_states=30_000)
    replays(design, problem, verdict)
    if any(d.fault is Fault.STRUCTURE for d in verdict.defects):
        return
    failure = first_failure(design, problem, steps, changes)
    together = [d for d in verdict.defects if d.fault in (Fault.GOAL, Fault.BLIP, Fault.CHATTER)]
    if failure is None:
        return
    assert together, failure
    broken, path = failure
    needed = len({step for step, _ in path[:-1]}) + (len(path) == 1 or path[-1][1] != path[-2][1])
    fewest = min(sum(bool(m.inputs) for m in d.counterexample.moments) for d in together)
    assert fewest <= needed, broken


def near_miss(random: Random) -> tuple[Design, Problem]:
    """Return the plain circuit of a random signal, at times spoilt, and what is asked of it."""
    kit = KITS[random.choice(("held", "instant"))]
    gate = Level("supply")
    signal = And((gate, a_signal(random, random.choice((1, 2, 2)))))
    design = built(signal, kit)
    if random.random() < 0.2:
        signal = And((gate, a_signal(random, 2)))
    if random.random() < 0.3:
        wires = list(design.wires)
        i, j = random.randrange(len(wires)), random.randrange(len(wires))
        first, second = wires[i].target, wires[j].target
        wires[i] = dataclasses.replace(wires[i], target=second)
        wires[j] = dataclasses.replace(wires[j], target=first)
        design = dataclasses.replace(design, wires=tuple(wires))
    return design, asked_for(signal, kit)


@QUICK
@given(SEEDS)
def test_circuits_built_from_their_goals(seed):
    design, problem = near_miss(Random(seed))
    agrees(design, problem, steps=8, changes=2)


@QUICK
@given(SEEDS)
def test_random_designs_and_goals(seed):
    random = Random(seed)
    kit = KITS[random.choice(("held", "instant"))]
    problem = a_problem(random, kit)
    agrees(a_design(random, kit, random.randint(1, 3), ("lamp",)), problem, steps=8, changes=2)


@pytest.mark.slow
@LONG
@given(SEEDS)
def test_circuits_built_from_their_goals_long(seed):
    design, problem = near_miss(Random(seed))
    agrees(design, problem, steps=9, changes=3)


@pytest.mark.slow
@LONG
@given(SEEDS)
def test_random_designs_and_goals_long(seed):
    random = Random(seed)
    kit = KITS[random.choice(("held", "instant"))]
    problem = a_problem(random, kit)
    agrees(a_design(random, kit, random.randint(1, 4), ("lamp",)), problem, steps=9, changes=3)


def released(random: Random, problem: Problem) -> Problem:
    """Return the problem with an input that is known to be released as others come on."""
    free = [item for item in problem.inputs if item.name != "supply"]
    button = random.choice(free)
    others = random.sample(["supply", *(i.name for i in free if i is not button)], 1)
    if random.random() < 0.5:
        others = list(dict.fromkeys(["supply", *others]))
    known = dataclasses.replace(button, released_as=tuple(others))
    inputs = tuple(known if item is button else item for item in problem.inputs)
    return dataclasses.replace(problem, inputs=inputs)


@QUICK
@given(SEEDS)
def test_inputs_released_as_others_come_on(seed):
    random = Random(seed)
    design, problem = near_miss(random)
    agrees(design, released(random, problem), steps=8, changes=2)


@pytest.mark.slow
@LONG
@given(SEEDS)
def test_inputs_released_as_others_come_on_long(seed):
    random = Random(seed)
    design, problem = near_miss(random)
    agrees(design, released(random, problem), steps=9, changes=3)


def together_agrees(random: Random, steps: int, changes: int) -> None:
    """Compare on "never on together", which random circuits neither always nor never break."""
    kit = KITS[random.choice(("held", "instant"))]
    inputs = (
        OutsideInput("supply", InputKind.SUPPLY),
        OutsideInput("night", InputKind.NIGHT),
        OutsideInput("hot", InputKind.SENSOR),
    )
    apart = (Apart("l1", "l2", 1),)
    problem = Problem("test", kit, (), (), inputs, apart=apart)
    design = a_design(random, kit, random.randint(2, 4), ("l1", "l2"))
    parts = upstream(design, ["l1", "l2"])
    cone = Cone(parts, ("supply", "night", "hot"), (), SignalMachine(()), apart)
    explorer = Explorer(design, problem, cone, Budget(None, 30_000))
    try:
        explored = explorer.explore(orders=False, facts=False, first_only=True)
    except Undecided:
        return
    if explored.findings:
        return
    rest = {p.name for p in design.parts} - parts
    failure = first_failure(design, problem, steps, changes)
    # Parts outside the cone may chatter; the checker looks at those in cones of their own.
    assert failure is None or (rest and failure[0].how == "never settles"), failure


@QUICK
@given(SEEDS)
def test_loads_never_together(seed):
    together_agrees(Random(seed), steps=8, changes=2)


@pytest.mark.slow
@LONG
@given(SEEDS)
def test_loads_never_together_long(seed):
    together_agrees(Random(seed), steps=9, changes=3)


@settings(QUICK, max_examples=100)
@given(SEEDS)
def test_simulate_runs_like_the_plain_simulation(seed):
    random = Random(seed)
    kit = KITS[random.choice(("held", "instant"))]
    problem = a_problem(random, kit)
    problem = dataclasses.replace(problem, requirements=())
    design = a_design(random, kit, random.randint(2, 5), ("lamp",))
    plain = Plain(design, problem)
    vectors = plain.allowed()
    levels = random.choice([v for v in vectors if v["supply"]])
    moments = [Moment(Fraction(0), tuple(levels.items()))]
    now = plain.event(plain.first(), levels, False)
    expected = [now]
    for step in range(1, 25):
        if isinstance(now, Broken):
            break
        assert now is not None
        if random.random() < 0.3:
            levels = random.choice(vectors)
            moments.append(Moment(Fraction(step * STEP), tuple(levels.items())))
        now = plain.event(now, levels, True)
        expected.append(now)
    run = simulate(design, problem, moments, Fraction(25 * STEP))
    lamp = next(t for t in run.tracks if t.role == "load")
    for step, situation in enumerate(expected):
        time = Fraction(step * STEP)
        if isinstance(situation, Broken):
            assert any(mark[0] == time and "never settles" in mark[1] for mark in run.marks)
        else:
            assert lamp.level(time) is ("lamp" in situation.on)


def a_class_acts_alike(seed: int) -> None:
    """Assert that input levels explored as one do the same in every state met on the way."""
    random = Random(seed)
    kit = KITS[random.choice(("held", "instant"))]
    problem = a_problem(random, kit)
    design = a_design(random, kit, random.randint(1, 4), ("lamp",))
    (cone, *_) = [c for c in cones(design, problem) if "lamp" in c.loads]
    everything = dataclasses.replace(cone, inputs=("supply", "night", "hot"))
    explorer = Explorer(design, problem, everything, Budget(None, 30_000))
    explorer.explore(orders=False, facts=False, first_only=False)
    world = explorer.world
    alike: dict[int, list[int]] = {}
    for vector in world.vectors:
        alike.setdefault(world.stands_for(vector), []).append(vector)
    for state, vector, due in list(explorer._settled):
        for other in alike[world.stands_for(vector)]:
            got, expected = (explorer.settled(state, v, due) for v in (other, vector))
            if not expected.chatter:
                assert (got.state, got.anew, got.loads) == (
                    expected.state,
                    expected.anew,
                    expected.loads,
                )
    for state, vector, due in list(explorer._reactions):
        for other in alike[world.stands_for(vector)]:
            assert explorer.reaction(state, other, due) == explorer.reaction(state, vector, due)


@settings(QUICK, max_examples=100)
@given(SEEDS)
def test_input_levels_explored_as_one_act_alike(seed):
    a_class_acts_alike(seed)
