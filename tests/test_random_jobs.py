"""500 random small jobs: what the search claims against full enumeration, and with two solvers.

For each job CP-SAT and a second solver (Glucose; CaDiCaL for some) must come to one answer, and
the enumeration of `random_jobs` must agree with it. A claim "cheapest" is refuted by a cheaper
design alone, so only wirings that may cost as little as claimed are enumerated; "impossible" takes
all within the limit of the price. What holds is the exact checker's word, and a plain simulation
written apart from it is run on the results at length.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import combinations
from random import Random

import pytest
from check_designs import STARTER, load, part, wired
from every_wiring import DEPTH, STEP, Offer, Run, Wirings, count_of, positions
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from plain_simulation import Broken, Plain
from random_jobs import (
    ENDS,
    OFFERED,
    PATTERNS,
    POWER_FIRST,
    PRICE_FIRST,
    SMALL,
    Holding,
    Job,
    a_job,
    a_large_job,
    candidates,
    key_of,
    least,
    next_levels,
    small,
    some_runs,
    vectors,
    wanted,
)
from search_tools import KITS, a_problem, concrete_run
from test_known_designs import (
    Case,
    exchanges,
    first_scenarios,
    learned_from,
    list_of,
    model_accepts,
    the_engine,
)
from test_search_solvers import Compared

from synth.check import check
from synth.design import Design, Skeleton
from synth.parts.behaviour import CONTROLLED, SENSING, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.pipeline import plan
from synth.pose import pose
from synth.problem import Objective, Problem
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.read.kit_file import load_kit
from synth.result import Fault, Outcome, Status
from synth.search import live, questions
from synth.search.alone import changes_alone, remembers
from synth.search.bounds import (
    essential,
    lacks_time,
    on_together,
    sharing_floor,
    sharing_totals,
    surplus,
    units_floor,
    wires_floor,
)
from synth.search.choice import open_solver
from synth.search.formula import Formula
from synth.search.pending import timers_at_once
from synth.share import fan_out_price, share_power
from synth.trace import Moment

SECONDS = 20.0
"""Time for one plan; hardly a small job needs a tenth of it."""


def jobs(
    seeds: range, objectives: tuple[Objective, ...] = PRICE_FIRST, most: int = SMALL
) -> Iterator[Job]:
    """Yield those of these jobs that have at most so many wirings."""
    for seed in seeds:
        job = a_job(seed, objectives)
        if small(job.problem, most):
            yield job


# -- the enumeration itself ----------------------------------------------------------------------


def some_offers(random: Random, kit: Kit) -> list[Offer]:
    """Return up to three parts of a kit, rarely fewer than two."""
    offers: list[Offer] = []
    for _ in range(random.choice((1, 2, 2, 3))):
        part = random.choice(
            [p for p in kit.parts if p.type not in SPLITTING | {PartType.SUPPLY, PartType.LOAD}]
        )
        names = {PartType.SENSOR: "hot", PartType.TWILIGHT: "night"}
        if part.type in SENSING and part.type not in names:
            continue
        offers.append((part, names.get(part.type, "")))
    return offers


def as_moments(run: Run) -> tuple[Moment, ...]:
    """Return the run as moments in ticks."""
    return tuple(Moment(Fraction(step * STEP), tuple(levels.items())) for step, levels in run)


def steps_agree(seed: int, trigger: str, counts: Counter[str]) -> None:
    """Compare some wirings of a random parts list with their single runs by the checker's own
    stepping, in a random run, for the loads' levels that one of them gives."""
    random = Random(seed)
    kit = KITS[trigger]
    problem = a_problem(kit, ("lamp",))
    offers = some_offers(random, kit)
    if not offers or count_of(problem, offers) > 300_000:
        return
    run = list(some_runs(problem, 1 + seed % 5, 8))[-1]
    end = run[-1][0] + 8
    wirings = Wirings(problem, offers)
    every = list(positions(wirings.alive))
    chosen = sorted(random.sample(every, min(12, len(every))))
    before = {n: [s for _, s in wirings.skeletons(n)] for n in chosen}
    pattern = random.choice([s for group in before.values() for s in group] or [None])
    if pattern is None:
        return

    def really(skeleton: Skeleton) -> list[dict[str, bool]] | None:
        done = concrete_run(skeleton, problem, as_moments(run), end * STEP)
        if not done.clean(DEPTH):
            return None
        return [done.at(Fraction(step * STEP)) for step in range(end + 1)]

    asked = really(pattern)
    if asked is None:
        counts["not clean"] += 1
        asked = wanted(problem, run)[: end + 1]
    wirings.run(run, asked)
    for number, skeletons in before.items():
        left = [s for _, s in wirings.skeletons(number)] if wirings.alive >> number & 1 else []
        right = [skeleton for skeleton in skeletons if really(skeleton) == asked]
        assert left == right, (seed, trigger, number)
        counts["kept"] += len(right)
        counts["refuted"] += len(skeletons) - len(right)
        for skeleton in right:
            counts.update({p.type.value for p in skeleton.parts})
    if len({load["lamp"] for load in asked}) > 1:
        counts["changing"] += 1


@pytest.mark.parametrize("trigger", KITS)
def test_all_wirings_at_once_do_what_single_runs_do(trigger: str) -> None:
    counts: Counter[str] = Counter()
    for seed in range(50):
        steps_agree(seed, trigger, counts)
    assert counts["kept"] > 30 and counts["refuted"] > 150 and counts["changing"] > 9, counts


@pytest.mark.slow
@pytest.mark.parametrize("trigger", KITS)
def test_all_wirings_at_once_do_what_single_runs_do_at_length(trigger: str) -> None:
    counts: Counter[str] = Counter()
    for seed in range(1000, 1800):
        steps_agree(seed, trigger, counts)
    kinds = CONTROLLED | {PartType.SENSOR, PartType.TWILIGHT, PartType.JOINT}
    assert all(counts[kind.value] > 10 for kind in kinds), counts


# -- the search against it -----------------------------------------------------------------------


def planned(job: Job, fast: bool) -> tuple[Outcome, list[tuple[int | None, int | None]]]:
    """Return the outcome and all that was reported on the way, as (price, bound)."""
    reported: list[tuple[int | None, int | None]] = []
    outcome = plan(
        job.problem,
        lambda stage, price, bound: reported.append((price, bound)),
        seconds=SECONDS,
        fast=fast,
    )
    return outcome, reported


def costs(outcome: Outcome, problem: Problem) -> tuple[int, ...]:
    """Return what the design of an outcome costs by each objective, in their order."""
    assert outcome.design is not None and outcome.price is not None and outcome.supply is not None
    values = {
        Objective.PRICE: outcome.price,
        Objective.SUPPLY: outcome.supply,
        Objective.WIRES: len(outcome.design.wires),
    }
    return tuple(values[objective] for objective in problem.objectives)


def agree(job: Job, counts: Counter[str]) -> Holding | None:
    """Assert that both solvers and the enumeration agree on a job; return the best design."""
    problem = job.problem
    both = [planned(job, fast) for fast in solvers(problem)]
    outcomes = [outcome for outcome, _ in both]
    proven = [o for o in outcomes if o.status is Status.PROVEN]
    most = problem.limits.price
    if problem.objectives == PRICE_FIRST:
        most = min((o.price for o in outcomes if o.price is not None), default=most)
    assert most is not None
    first = max((len(o.proven) for o in proven), default=1)
    best = least(problem, most, first)
    for outcome, reported in both:
        counts[outcome.status.value] += 1
        what = (job.seed, problem.objectives, outcome.status)
        if outcome.status is Status.PROVEN:
            assert best is not None, what
            number = len(outcome.proven)
            assert costs(outcome, problem)[:number] == best.key[:number], what
        elif outcome.status is Status.IMPOSSIBLE:
            assert best is None, what
        elif outcome.status is Status.BEST_FOUND:
            assert best is not None, what
            assert costs(outcome, problem)[0] >= best.key[0], what
        if best is not None:
            assert outcome.bound is None or outcome.bound <= best.key[0], what
            if problem.objectives == PRICE_FIRST:
                # Where power counts first, a plan by price goes before and reports coins.
                assert all(true_bounds(reported, best.key[0])), what
    claims = {o.status for o in outcomes if o.status in (Status.PROVEN, Status.IMPOSSIBLE)}
    assert len(claims) <= 1, job.seed
    counts["decided"] += len(claims) == 1 and all(o.status in claims for o in outcomes)
    counts["decided by two"] += len(outcomes) == 2 and all(o.status in claims for o in outcomes)
    if best is not None:
        counts["with a design"] += 1
    return best


def true_bounds(reported: Sequence[tuple[int | None, int | None]], optimum: int) -> Iterator[bool]:
    """Yield whether each bound reported on the way is one. What is reported once a design was
    found bounds the designs that are not yet ruled out, which may all be dearer than that."""
    found = False
    for price, bound in reported:
        if bound is not None:
            yield bound <= optimum or found
        found = found or price is not None


def solvers(problem: Problem) -> tuple[bool, ...]:
    """Return which solvers are asked: CP-SAT, and Glucose (`fast`) where it works, see
    `test_a_joint_that_costs_nothing_in_a_model_that_is_kept_alive`."""
    free = any(p.type is PartType.JOINT and p.price == 0 for p in problem.kit.parts)
    return (False,) if free else (False, True)


# -- what the search knows, against designs that hold --------------------------------------------


def bounds_let_through(problem: Problem, found: Holding) -> None:
    """Assert that no bound of the search is above what this design, which holds, has."""
    kit, design = problem.kit, found.design
    engine = the_engine(problem)
    parts_list = list_of(engine, found.skeleton)
    own = [kit.index[p.part] for p in found.skeleton.parts]
    parts = [p for p in own if p.type not in (PartType.SUPPLY, PartType.LOAD)]
    bought = sum(part.price for part in parts)
    priced = [p for p in parts if p.type is not PartType.JOINT or p.price]
    loads = len(problem.requirements)
    needs = sum(r.needs for r in problem.requirements)
    timers = sum(part.type in TIMED for part in parts)
    controlled = sum(part.type in CONTROLLED for part in parts)
    followed = {str(p.setting("input")) for p in found.skeleton.parts if p.setting("input")}
    assert essential(problem) <= followed
    waiting = timers_at_once(problem)
    assert waiting.count <= timers and waiting.controlled <= controlled
    assert lacks_time(parts, problem, changes_alone(engine.questions.scenarios)) == ""
    assert remembers(engine.questions.scenarios) == "" or controlled
    assert units_floor(parts, needs) <= design.supply
    assert wires_floor(parts, loads, outlets(kit)) <= len(design.wires)
    splitting = sharing_floor(lambda n: fan_out_price(n, kit))(surplus(parts, loads))
    assert splitting is not None and splitting <= design.price(kit) - bought
    turning = sum(part.type is PartType.RELAY_CHANGEOVER for part in parts)
    outlets_added = (surplus(parts, loads) + idle for idle in range(turning + 1))
    totals = frozenset().union(*map(sharing_totals(kit), outlets_added))
    assert design.price(kit) - bought in totals
    assert on_together(problem) <= design.supply
    assert engine.hopeless(parts_list) == ""
    needed = engine.needed()
    assert needed is not None
    assert all(parts_list.items.count(item) >= needed.count(item) for item in needed)
    assert len(parts_list.items) == len(priced)
    assert parts_list.price <= design.price(kit)
    assert parts_list.units <= design.supply and parts_list.wires <= len(design.wires)


def outlets(kit: Kit) -> int:
    """Return the most outputs that a splitting part of the kit has."""
    return max((len(p.shape.outputs) for p in kit.parts if p.type in SPLITTING), default=2)


def some_that_hold(job: Job, best: Holding, more: int, most: int) -> Iterator[Holding]:
    """Yield the best design and up to `most` others, at most `more` coins dearer, that hold."""
    problem = job.problem
    yield best
    assert problem.limits.price is not None and best.design is not None
    price = min(problem.limits.price, best.design.price(problem.kit) + more)
    found = [skeleton for _, skeleton in candidates(problem, price)]
    for skeleton in Random(job.seed).sample(found, min(most, len(found))):
        design = share_power(skeleton, problem.kit, problem.objectives, problem.limits)
        if design is not None and check(design, problem, stop_at_first=True).holds:
            yield Holding(skeleton, design, key_of(design, problem))


def model_lets_through(job: Job, best: Holding, spoilt: int) -> int:
    """Assert that the clauses accept this wiring in all first scenarios, and in those learned from
    up to `spoilt` wirings with two sources exchanged; return how many scenarios there were."""
    problem = job.problem
    case = Case(problem, best.skeleton, best.design.price(problem.kit), best.design.supply)
    engine = the_engine(problem)
    scenarios = list(first_scenarios(engine))
    wrong = exchanges(best.skeleton)
    for other in Random(job.seed).sample(wrong, min(spoilt, len(wrong))):
        scenario = learned_from(engine, other)
        if scenario is not None:
            scenarios.append(scenario)
    for number, scenario in enumerate(scenarios):
        assert model_accepts(case, engine, scenario), (job.seed, number)
    return len(scenarios)


# -- a plain simulation of what comes out --------------------------------------------------------


def goes_wrong(design: Design, problem: Problem, seed: int, steps: int) -> Broken | None:
    """Return what goes wrong in a random run of so many half seconds; inputs change now and then,
    one or two at a time, also at the instants at which timers expire."""
    random = Random(seed)
    plain = Plain(design, problem)
    allowed = vectors(problem)
    levels = random.choice([v for v in allowed if v["supply"]])
    now = plain.event(plain.first(), levels, False)
    since = dict.fromkeys(levels, 0)
    pace = 0.3
    for step in range(1, steps + 1):
        if isinstance(now, Broken):
            return now
        assert now is not None
        if random.random() < 0.02:
            pace = random.choice((0.05, 0.3, 0.8))
        if random.random() < pace:
            near = next_levels(problem, allowed, levels, since, step)
            calm = [v for v in near if v["supply"] or not levels["supply"] or random.random() < 0.1]
            before, levels = levels, random.choice(calm or near or [levels])
            since |= {n: step for n in levels if levels[n] != before[n]}
        now = plain.event(now, levels, True)
    return now if isinstance(now, Broken) else None


def spoilt_ones(design: Design) -> Iterator[Design]:
    """Yield the design with the sources of two loads or control inputs exchanged."""
    for one, other in combinations(design.wires, 2):
        ends = (one.target, other.target)
        # Exchanged power inputs of other parts might make a loop.
        controls = all(end.terminal not in ("in", "in1", "in2") for end in ends)
        loads = all(design.part(end.part).type is PartType.LOAD for end in ends)
        if one.source != other.source and (controls or loads):
            swap = {one: other.source, other: one.source}
            yield dataclasses.replace(
                design,
                wires=tuple(
                    dataclasses.replace(w, source=swap.get(w, w.source)) for w in design.wires
                ),
            )


def simulated(
    design: Design, problem: Problem, seed: int, steps: int, counts: Counter[str]
) -> None:
    """Assert that nothing goes wrong in a plain simulation; count spoilt ones that do go wrong."""
    assert goes_wrong(design, problem, seed, steps) is None, seed
    counts["simulated"] += 1
    for wrong in spoilt_ones(design):
        verdict = check(wrong, problem, stop_at_first=True)
        goal = {d.fault for d in verdict.defects} & {Fault.GOAL, Fault.BLIP, Fault.CHATTER}
        broken = goes_wrong(wrong, problem, seed, steps)
        # What the plain one finds wrong, the exact check must find wrong as well.
        assert broken is None or not verdict.holds, seed
        counts["spoilt"] += bool(goal)
        counts["spoilt and seen"] += bool(goal) and broken is not None


# -- all of it -----------------------------------------------------------------------------------


def everything(job: Job, counts: Counter[str], coverage: Counter[str]) -> None:
    """Compare one job, and hold what was found against bounds, clauses and simulation."""
    problem = job.problem
    counts["jobs"] += 1
    coverage.update(set(job.patterns))
    best = agree(job, counts)
    if best is None:
        return
    for found in some_that_hold(job, best, more=3, most=4):
        bounds_let_through(problem, found)
        counts["held against bounds"] += 1
    counts["scenarios"] += model_lets_through(job, best, spoilt=2)
    simulated(best.design, problem, job.seed, 300, counts)
    coverage.update({p.type.value for p in best.design.parts})


def test_search_agrees_with_enumeration_on_some_random_jobs() -> None:
    """One job of each pattern; the slow test below goes on to 500."""
    counts: Counter[str] = Counter()
    for job in jobs(range(38)):
        everything(job, counts, Counter())
    assert counts["jobs"] >= 25 and counts["with a design"] >= 10, counts
    assert counts[Status.IMPOSSIBLE.value] >= 5, counts


@pytest.mark.slow
def test_search_agrees_with_enumeration_on_500_random_jobs() -> None:
    counts: Counter[str] = Counter()
    coverage: Counter[str] = Counter()
    for job in jobs(range(38, 38 * 24)):
        everything(job, counts, coverage)
    assert counts["jobs"] >= 500 and counts["decided"] >= 490, counts
    assert counts["with a design"] >= counts["jobs"] / 2, counts
    assert counts[Status.IMPOSSIBLE.value] >= 100, counts
    assert all(coverage[pattern] >= 10 for pattern in PATTERNS), coverage
    kinds = CONTROLLED | SENSING | SPLITTING | {PartType.JOINT}
    assert all(coverage[kind.value] >= 2 for kind in kinds), coverage
    assert counts["held against bounds"] > counts["with a design"], counts
    assert counts["spoilt and seen"] > 0.8 * counts["spoilt"] > 20, counts


@pytest.mark.slow
def test_search_agrees_with_enumeration_on_jobs_of_hypothesis() -> None:
    """Kits and goals drawn by hypothesis, which looks for a small one where they disagree."""
    counts: Counter[str] = Counter()

    @settings(
        max_examples=80,
        deadline=None,
        derandomize=True,
        suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
    )
    @given(st.integers(0, len(PATTERNS) - 1), st.randoms(use_true_random=False))
    def one(pattern: int, random: Random) -> None:
        job = a_job(pattern, random=random)
        assume(small(job.problem))
        agree(job, counts)

    one()
    assert counts["decided"] >= 50 and counts["with a design"] >= 15, counts


@pytest.mark.slow
def test_search_agrees_with_enumeration_where_power_counts_first() -> None:
    """The least units of the supply; all wirings within the limit of the price are tried."""
    counts: Counter[str] = Counter()
    for job in jobs(range(2000, 2150), POWER_FIRST, most=100_000):
        best = agree(job, counts)
        if best is not None:
            bounds_let_through(job.problem, best)
    assert counts["decided"] >= 90 and counts["with a design"] >= 40, counts


@pytest.mark.slow
def test_a_third_solver_gives_the_same_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """CaDiCaL answers each question that is put to CP-SAT or Glucose on the way of a plan."""
    counts: Counter[str] = Counter()

    def opened(formula: Formula, seed: int = 1, fast: bool = False) -> Compared:
        return Compared(formula, open_solver(formula, seed, fast), counts)

    monkeypatch.setattr(live, "open_solver", opened)
    monkeypatch.setattr(questions, "open_solver", opened)
    for job in jobs(range(3000, 3114)):
        for fast in solvers(job.problem):
            plan(job.problem, seconds=SECONDS, fast=fast)
    assert counts["yes"] > 100 and counts["no"] > 200, counts


@pytest.mark.slow
def test_plans_of_large_jobs_stand_a_long_simulation() -> None:
    """Two or three goals and a bundled kit: plan, check anew, simulate 20 minutes of it."""
    counts: Counter[str] = Counter()
    for seed in range(45):
        job = a_large_job(seed)
        outcome = plan(job.problem, seconds=1.5)
        counts[outcome.status.value] += 1
        if outcome.design is None:
            continue
        assert outcome.bound is None or outcome.price is None or outcome.bound <= outcome.price
        assert check(outcome.design, job.problem).holds
        assert goes_wrong(outcome.design, job.problem, seed, 2400) is None, seed
        counts["simulated"] += 1
    assert counts["simulated"] >= 15, counts


# -- found by these tests ------------------------------------------------------------------------


def test_a_joint_that_costs_nothing_in_a_model_that_is_kept_alive() -> None:
    """Sensor 4, off-delay 7, and a tap-off 3 for what the sensor feeds: 14 coins by hand."""
    parts = (
        KitPart("sensor", PartType.SENSOR, 4, options=("make",)),
        KitPart("off-delay", PartType.OFF_DELAY, 7, times=OFFERED),
        KitPart("joint", PartType.JOINT, 0),
        KitPart("tap-off", PartType.TAP_OFF, 3, largest=9),
    )
    kit = Kit("tiny", "Tiny", Trigger.HELD, (ENDS[0], *parts, ENDS[1]))
    problem = pose(goals_from_text("fan keeps running 1 s after hot"), kit)
    assert plan(problem, seconds=SECONDS, fast=True).price == 14


NEVER_ON = """\
title: Never on
goals:
  - lamp while hot and damp
  - pump while not cold
known:
  - hot and damp never together
limits:
  price: 11
"""


@pytest.mark.parametrize("without", ["[]", "[relay make, relay break]"])
def test_a_load_that_is_never_on_may_hang_on_what_is_dead_elsewhere(without: str) -> None:
    """Two sensors for cold, one closed while cold behind the one that is open then, are dead and
    do for the lamp: 4 + 4, and 2 for the tap-off behind the first, which also feeds the pump."""
    source = f"{NEVER_ON}  without: {without}\n"
    problem = pose(parse_goal_file(source, "never on"), load_kit("starter"))
    sensors = {
        "warm": part("warm", PartType.SENSOR, STARTER, input="cold", contact="break"),
        "cold": part("cold", PartType.SENSOR, STARTER, input="cold", contact="make"),
    }
    loads = (load("lamp", kit=STARTER), load("pump", kit=STARTER))
    feeds = {
        "warm.in": "supply", "cold.in": "warm.out", "lamp.in": "cold.out", "pump.in": "warm.out",
    }  # fmt: skip
    design = wired([*sensors.values(), *loads], feeds, STARTER)
    if not check(design, problem).holds or design.price(STARTER) != 10:
        pytest.fail("the design by hand is no answer", pytrace=False)
    outcome = plan(problem, seconds=SECONDS)
    assert outcome.status is not Status.IMPOSSIBLE
    assert outcome.bound is None or outcome.bound <= 10
