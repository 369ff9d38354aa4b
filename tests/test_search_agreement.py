"""The clause model of the search against the defining semantics, run by run.

With a grid that holds all instants of a run, the model must accept a wiring exactly when its
concrete run gives the wanted loads at every point of the grid, no load blinks while settling and
the circuit settles within the bound. With a coarser grid a run may escape, and then only one
direction is left: what really does it is never refused.
"""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest
from search_tools import (
    KINDS,
    KITS,
    a_problem,
    a_skeleton,
    accepts,
    concrete_run,
    flipped,
    scenario_of,
    some_moments,
    types_in,
)

from synth.parts.behaviour import TIMED
from synth.problem import Apart, Peak

HORIZON = 7000
DEPTH = 6
LOADS = ("lamp", "fan")


def agree(seed: int, trigger: str, counts: Counter[str]) -> None:
    """Compare one random wiring in one random run; see the module's text."""
    random = Random(seed)
    kit = KITS[trigger]
    loads = LOADS[: random.choice((1, 1, 2))]
    problem = a_problem(kit, loads)
    skeleton = a_skeleton(random, kit, random.randrange(1, 6), loads)
    moments = some_moments(random, HORIZON)
    done = concrete_run(skeleton, problem, moments, HORIZON)
    also = done.instants(HORIZON)
    extra = problem.times if random.random() < 0.2 else ()
    whole = scenario_of(problem, moments, HORIZON, done, also, extra)
    clean = done.clean(DEPTH)
    assert accepts(skeleton, problem, whole, DEPTH) == clean, (seed, trigger)
    counts["clean" if clean else "not clean"] += 1
    if clean:
        counts.update(kind.value for kind in types_in(skeleton))
        if len({point.loads for point in whole.points}) > 1:
            counts["changing"] += 1
        wrong = flipped(whole, random.randrange(len(whole.points)), random.randrange(len(loads)))
        assert not accepts(skeleton, problem, wrong, DEPTH), (seed, trigger)
    elif not any("never settles" in text for _, text in done.marks):
        counts["blink"] += 1
    else:
        counts["chatter"] += 1


@pytest.mark.parametrize("trigger", KITS)
def test_model_accepts_exactly_what_the_semantics_do(trigger: str) -> None:
    counts: Counter[str] = Counter()
    for seed in range(100):
        agree(seed, trigger, counts)
    assert all(counts[kind.value] for kind in KINDS), counts
    assert counts["blink"] > 1 and counts["chatter"] > 1 and counts["changing"] > 15, counts


@pytest.mark.slow
@pytest.mark.parametrize("trigger", KITS)
def test_model_accepts_exactly_what_the_semantics_do_at_length(trigger: str) -> None:
    counts: Counter[str] = Counter()
    for seed in range(1000, 1900):
        agree(seed, trigger, counts)
    assert all(counts[kind.value] > 20 for kind in KINDS), counts


@pytest.mark.parametrize("trigger", KITS)
def test_coarser_grid_never_refuses_a_good_run(trigger: str) -> None:
    escaped = 0
    for seed in range(5000, 5150):
        random = Random(seed)
        kit = KITS[trigger]
        problem = a_problem(kit, LOADS[:1])
        skeleton = a_skeleton(random, kit, random.randrange(2, 6), LOADS[:1])
        moments = some_moments(random, HORIZON)
        done = concrete_run(skeleton, problem, moments, HORIZON)
        if not done.clean(DEPTH) or not types_in(skeleton) & TIMED:
            continue
        also = [t for t in done.instants(HORIZON) if random.random() < 0.4]
        coarse = scenario_of(problem, moments, HORIZON, done, also)
        escaped += len(coarse.points) < len(done.instants(HORIZON))
        assert accepts(skeleton, problem, coarse, DEPTH), (seed, trigger)
    assert escaped > 7


@pytest.mark.parametrize("trigger", KITS)
def test_apart_holds_in_every_settling_step(trigger: str) -> None:
    counts: Counter[bool] = Counter()
    for seed in range(7000, 7060):
        random = Random(seed)
        kit = KITS[trigger]
        problem = a_problem(kit, LOADS, apart=(Apart("lamp", "fan", 1),))
        skeleton = a_skeleton(random, kit, random.randrange(2, 5), LOADS)
        moments = some_moments(random, HORIZON)
        done = concrete_run(skeleton, problem, moments, HORIZON)
        also = done.instants(HORIZON)
        scenario = scenario_of(problem, moments, HORIZON, done, also)
        fine = done.clean(DEPTH) and not any(len(on) == 2 for on in done.during)
        counts[fine] += 1
        assert accepts(skeleton, problem, scenario, DEPTH) == fine, (seed, trigger)
    assert min(counts[True], counts[False]) > 5


@pytest.mark.parametrize("trigger", KITS)
def test_peak_counts_loads_and_controls_once_settled(trigger: str) -> None:
    """Exact without timers; with timers a run might escape, and only good runs are claimed."""
    counts: Counter[bool] = Counter()
    for seed in range(9000, 9060):
        random = Random(seed)
        kit = KITS[trigger]
        bare = a_problem(kit, LOADS)
        skeleton = a_skeleton(random, kit, random.randrange(2, 5), LOADS)
        moments = some_moments(random, HORIZON)
        done = concrete_run(skeleton, bare, moments, HORIZON)
        most = max(done.units, default=0)
        if not done.clean(DEPTH) or most < 1:
            continue
        also = done.instants(HORIZON)
        for units in (most, most - 1):
            problem = a_problem(kit, LOADS, peak=Peak(units, 1))
            scenario = scenario_of(problem, moments, HORIZON, done, also)
            if units < most and types_in(skeleton) & TIMED:
                continue
            counts[units == most] += 1
            assert accepts(skeleton, problem, scenario, DEPTH) == (units == most), (seed, units)
    assert min(counts[True], counts[False]) > 5
