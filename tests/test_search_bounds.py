"""Lower bounds of the search: against brute force, and against designs that are known to hold."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from check_designs import FULL, STARTER, asked, load, part, pump_cycle, wired
from hypothesis import given, settings
from hypothesis import strategies as st
from search_tools import (
    INPUTS,
    KITS,
    a_problem,
    a_skeleton,
    concrete_run,
    scenario_of,
    sensing_only,
    some_moments,
    types_in,
)
from share_enumeration import KITS as SPLITTING_KITS
from share_enumeration import divider, fitted, price_of, tap, trees
from share_enumeration import kit_of as split_kit
from test_known_designs import list_of, the_engine

from synth import pipeline
from synth.check import check
from synth.design import Design, Skeleton, Terminal
from synth.parts.behaviour import CONTROLLED, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit, KitPart
from synth.pipeline import plan
from synth.problem import InputKind, Limits, Objective, OutsideInput, Problem
from synth.result import Status
from synth.search.alone import remembers
from synth.search.bounds import lacks_time, sharing_floor, sharing_totals, surplus, units_floor
from synth.search.engine import Engine
from synth.search.lists import PartsList
from synth.search.pending import timers_at_once
from synth.search.scenario import Point, Scenario
from synth.search.slots import supply_part
from synth.share import fan_out_price, share_power
from synth.signals import Cycle, Level, OnDelay, Pulse, all_of, negated
from synth.trace import Moment

_ZERO = Fraction(0)


def partitions(total: int, largest: int) -> Iterator[tuple[int, ...]]:
    """Yield all ways to write `total` as a sum of whole numbers of at most `largest`."""
    if total == 0:
        yield ()
    for first in range(min(total, largest), 0, -1):
        for rest in partitions(total - first, first):
            yield (first, *rest)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.none() | st.integers(0, 20), min_size=9, max_size=9), st.integers(-3, 8))
def test_sharing_floor_is_the_least_over_all_partitions(
    prices: list[int | None], extra: int
) -> None:
    def fan_out(consumers: int) -> int | None:
        return prices[consumers - 1]

    sums = []
    for pieces in partitions(max(0, extra), 9):
        price = [fan_out(piece + 1) for piece in pieces]
        if None not in price:
            sums.append(sum(p for p in price if p is not None))
    assert sharing_floor(fan_out)(extra) == min(sums, default=None)


@pytest.mark.parametrize("kit", SPLITTING_KITS)
@pytest.mark.parametrize("outlets", [0, 1, 2, 3])
def test_sharing_totals_are_the_prices_of_all_trees(kit: Kit, outlets: int) -> None:
    """Nets that add so many outlets in all cost what one net with all of them may cost: each of
    its trees comes apart into theirs, and theirs grow into one of its."""
    leaves = tuple(range(outlets + 1))
    prices = {price_of(t, kit) for tree in trees(leaves, 4) for t in fitted(tree, kit)}
    assert sharing_totals(kit)(outlets) == prices


def test_sharing_totals_leave_out_what_may_not_be_used() -> None:
    kit = split_kit(tap(2), divider(3, 3, most=0))
    assert sharing_totals(kit)(2) == {4}


def split_by(kit: Kit) -> Kit:
    """Return the full kit with the splitting parts of `kit` in place of its own."""
    own = tuple(p for p in FULL.parts if p.type not in SPLITTING)
    return dataclasses.replace(FULL, parts=own + tuple(p for p in kit.parts if p.type in SPLITTING))


def prices_asked(engine: Engine, parts_list: PartsList, most: int) -> set[int]:
    """Return the prices at which the search asks for this list again, up to `most` coins."""
    asked_at, price = set[int](), parts_list.price
    while price <= most:
        asked_at.add(price)
        price = engine._dearer_price(parts_list, price)
    return asked_at


@pytest.mark.parametrize("kit", SPLITTING_KITS)
@pytest.mark.parametrize("objective", [Objective.PRICE, Objective.SUPPLY])
def test_no_price_of_a_shared_design_is_passed_over(kit: Kit, objective: Objective) -> None:
    """Random wirings, shared out for their price or for little power: the search comes by."""
    kit, dearer, loads = split_by(kit), 0, ("lamp", "fan")
    others = tuple(o for o in Objective if o is not objective)
    problem = a_problem(kit, loads, objectives=(objective, *others))
    engine = the_engine(problem)
    for seed in range(60):
        skeleton = a_skeleton(Random(seed), kit, 4, loads)
        design = share_power(skeleton, kit, problem.objectives, problem.limits)
        if design is not None:
            parts_list = list_of(engine, skeleton)
            price = design.price(kit)
            assert price in prices_asked(engine, parts_list, price), seed
            dearer += price > parts_list.price
    assert dearer or all(p.price == 0 for p in kit.parts if p.type in SPLITTING)


def kit_parts(skeleton: Skeleton, kit: Kit) -> list[KitPart]:
    """Return the kit's lines for all parts but supply, loads and splitting parts."""
    left_out = SPLITTING | {PartType.SUPPLY, PartType.LOAD}
    return [kit.index[p.part] for p in skeleton.parts if p.type not in left_out]


def floors(seeds: range, change_over: bool) -> Counter[str]:
    """Hold random wirings, shared out as well as can be, against both bounds."""
    met: Counter[str] = Counter()
    for seed in seeds:
        random = Random(seed)
        loads = ("lamp", "fan", "pump")[: random.randrange(1, 4)]
        problem = a_problem(FULL, loads)
        skeleton = a_skeleton(random, FULL, random.randrange(1, 6), loads)
        design = share_power(skeleton, FULL, problem.objectives, problem.limits)
        if design is None or (PartType.RELAY_CHANGEOVER in types_in(skeleton)) != change_over:
            continue
        parts = kit_parts(skeleton, FULL)
        floor = sharing_floor(lambda n: fan_out_price(n, FULL, {}))(surplus(parts, len(loads)))
        assert floor is not None
        assert design.price(FULL) >= sum(p.price for p in parts) + floor, seed
        assert design.supply >= units_floor(parts, len(loads)), seed
        met["shared"] += 1
        met["price met"] += design.price(FULL) == sum(p.price for p in parts) + floor
        met["units met"] += design.supply == units_floor(parts, len(loads))
    return met


def test_no_shared_design_is_below_the_floors() -> None:
    met = floors(range(400), change_over=False)
    # The bounds are worth something: they are met often.
    assert met["shared"] > 200 and met["price met"] > 50 and met["units met"] > 50, met


def test_no_shared_design_with_change_over_relays_is_below_the_floors() -> None:
    assert floors(range(400), change_over=True)["shared"] > 20


def late() -> tuple[Problem, Skeleton]:
    """Return: lamp 1 s after hot, fan until then, at most 4 units; and the wiring that does it.

    The change-over relay hands its 2 units to one of the loads; the coil takes 1, the start 1.
    """
    supply, hot = Level("supply"), Level("hot")
    after = OnDelay(hot, 1000, supply)
    wanted = {"lamp": after, "fan": all_of(supply, negated(after))}
    first = (Objective.SUPPLY, Objective.PRICE, Objective.WIRES)
    limits = Limits(supply=4)
    problem = asked(
        wanted, kit=FULL, needs=2, times=(1000,), limits=limits, objectives=first
    )
    parts = (
        supply_part(FULL),
        part("sensor", PartType.SENSOR, input="hot", contact="make"),
        part("after", PartType.ON_DELAY, time=1000),
        part("over", PartType.RELAY_CHANGEOVER),
        load("lamp", 2),
        load("fan", 2),
    )
    feeds = {
        "sensor:in": "supply:out",
        "after:in": "supply:out",
        "over:in": "supply:out",
        "after:start": "sensor:out",
        "over:coil": "after:out",
        "lamp:in": "over:make",
        "fan:in": "over:break",
    }
    ends = ((Terminal(*s.split(":")), Terminal(*t.split(":"))) for t, s in feeds.items())
    return problem, Skeleton("full", parts, tuple(ends))


def test_change_over_relay_shares_its_units_between_two_loads() -> None:
    problem, skeleton = late()
    design = share_power(skeleton, FULL, problem.objectives, problem.limits)
    assert design is not None and design.supply == 4
    assert check(design, problem).holds


@pytest.mark.slow
def test_what_a_change_over_relay_can_do_is_not_called_impossible() -> None:
    outcome = plan(late()[0], seconds=4)
    assert outcome.status is not Status.IMPOSSIBLE
    assert (outcome.bound or 0) <= 4


@pytest.mark.parametrize(("on", "period"), [(10, 60), (1, 2), (3, 4), (30, 31), (7, 3600)])
def test_lacks_time_lets_the_loop_of_two_timers_pass(on: int, period: int) -> None:
    design = pump_cycle(on * 1000, (period - on) * 1000)
    times = (1000, on * 1000, (period - on) * 1000, period * 1000)
    wanted = {"pump": Cycle(Level("supply"), on * 1000, (period - on) * 1000)}
    problem = asked(wanted, kit=STARTER, times=tuple(sorted(set(times))))
    if not check(design, problem).holds:
        # The second pulse begins with the first one, so it lasts for the whole period.
        design = pump_cycle(on * 1000, period * 1000)
    assert check(design, problem).holds
    parts = kit_parts(Skeleton("starter", design.parts, ()), STARTER)
    assert lacks_time(parts, problem, "pump") == ""


def as_cycle(random: Random) -> tuple[Problem, Design, Skeleton] | None:
    """Return a random wiring that makes its lamp a cycle, with the goal it fulfils."""
    bare = a_problem(FULL, ("lamp",))
    skeleton = a_skeleton(random, FULL, random.randrange(2, 6), ("lamp",))
    if not types_in(skeleton) & TIMED:
        return None
    moments = (Moment(_ZERO, tuple((i.name, i.name == "supply") for i in INPUTS)),)
    done = concrete_run(skeleton, bare, moments, 20_000)
    if not done.clean(8) or done.times[-1] < 10_000:
        return None
    changes = [0]
    for time, on in zip(done.times, done.loads, strict=True):
        if on["lamp"] != (done.at(_ZERO)["lamp"] == (len(changes) % 2 == 1)):
            changes.append(int(time))
    if len(changes) < 3:
        return None
    first, second = changes[1], changes[2] - changes[1]
    begins_on = done.at(_ZERO)["lamp"]
    on, off = (first, second) if begins_on else (second, first)
    wanted = {"lamp": Cycle(Level("supply"), on, off, begins_on)}
    # The wiring may follow the other inputs too, which the goal leaves out: check says so.
    problem = asked(wanted, *INPUTS, kit=FULL, times=bare.times)
    design = share_power(skeleton, FULL, problem.objectives, problem.limits)
    if design is None or not check(design, problem, stop_at_first=True).holds:
        return None
    return problem, design, skeleton


def test_lacks_time_never_refutes_what_holds() -> None:
    held = 0
    for seed in range(2000):
        found = as_cycle(Random(seed))
        if found is not None:
            problem, _, skeleton = found
            assert lacks_time(kit_parts(skeleton, FULL), problem, "lamp") == "", seed
            held += 1
    assert held > 60


@pytest.mark.parametrize("trigger", KITS)
@pytest.mark.parametrize("halvings", [0, 1, 2])
def test_lacks_time_lets_one_timer_with_relays_pass(halvings: int, trigger: str) -> None:
    """One pulse timer that starts itself again; each impulse relay halves the pace."""
    kit = KITS[trigger]
    last = f"I{halvings}"
    parts = [
        part("T", PartType.PULSE, kit, time=1000),
        part("R", PartType.RELAY_BREAK, kit),
        *(part(f"I{i}", PartType.IMPULSE, kit) for i in range(halvings + 1)),
        load("lamp", kit=kit),
    ]
    feeds = {"T.in": "supply", "R.in": "supply", "T.start": "R.out", "R.coil": "T.out"}
    for i in range(halvings + 1):
        feeds |= {f"I{i}.in": "supply", f"I{i}.pulse": f"I{i - 1}.out" if i else "R.out"}
    feeds["lamp.in"] = f"{last}.out"
    half = 1000 * 2**halvings
    # Impulse relays keep their position without power, so the supply never fails here.
    supply = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    problem = asked(
        {"lamp": Cycle(Level("supply"), half, half)}, supply, kit=kit, times=(1000,)
    )
    design = wired(parts, feeds, kit)
    assert check(design, problem).holds
    offers = kit_parts(Skeleton(kit.name, design.parts, ()), kit)
    assert lacks_time(offers, problem, "lamp") == ""
    # One setting that fits is enough, whatever else is on offer.
    assert lacks_time(offers, dataclasses.replace(problem, times=(1000, 7000)), "lamp") == ""
    # All positions of the impulse relays are needed.
    offers.remove(kit.of_type(PartType.IMPULSE)[0])
    assert lacks_time(offers, problem, "lamp")


def test_lacks_time_refutes_what_cannot_keep_time() -> None:
    """No part with a running time; one timer and too few relays for the events of a period."""
    cycle = asked({"pump": Cycle(Level("supply"), 1000, 3000)}, kit=FULL, times=(1000,))
    relay, pulse = FULL.index["relay break"], FULL.index["pulse timer"]
    assert lacks_time([relay, relay], cycle, "pump")
    assert not lacks_time([relay, relay], cycle, "")  # no change is known to come alone
    assert lacks_time([relay, pulse], cycle, "pump")  # 4 events, 2 states
    # Break relays that operate by turns: 2 of 2, and 3 of 3. With another relay, twice as many.
    assert lacks_time([relay, relay, pulse], cycle, "pump")
    assert lacks_time([relay, relay, relay, pulse], cycle, "pump")
    # 3 s is no multiple of 2 s, however many relays there are.
    odd = asked({"pump": Cycle(Level("supply"), 2000, 3000)}, kit=FULL, times=(2000,))
    assert lacks_time([*[relay] * 6, pulse], odd, "pump")
    once = asked({"pump": Pulse(Level("supply"), 1000)}, kit=FULL, times=(1000,))
    assert lacks_time([relay], once, "pump") and not lacks_time([pulse], once, "pump")


@pytest.mark.parametrize("kind", sorted(CONTROLLED - TIMED - {PartType.RELAY_BREAK}))
def test_lacks_time_counts_each_part_with_a_position(kind: PartType) -> None:
    """4 events, and two parts that each stay in either position, or one and two break relays."""
    cycle = asked({"pump": Cycle(Level("supply"), 1000, 3000)}, kit=FULL, times=(1000,))
    relay, pulse, two_way = FULL.index["relay break"], FULL.index["pulse timer"], FULL.of_type(kind)
    assert not lacks_time([two_way[0], two_way[0], pulse], cycle, "pump")
    assert not lacks_time([two_way[0], relay, relay, pulse], cycle, "pump")
    assert lacks_time([two_way[0], relay, pulse], cycle, "pump")


def test_a_time_that_never_counts_needs_no_timer(tmp_path: Path) -> None:
    """What starts a cycle is over before the first pulse is: a sensor alone does it."""
    goals = tmp_path / "goals.yaml"
    goals.write_text(
        "goals: [lamp 10 s of every 60 s only while hot]\nknown: [hot lasts at most 5 s]\n",
        encoding="utf-8",
    )
    problem = pipeline.read_problem(str(goals), None, None)
    outcome = plan(problem)
    assert outcome.status is Status.PROVEN and outcome.design is not None
    assert outcome.design.price(problem.kit) == problem.kit.index["sensor"].price
    assert not timers_at_once(problem).count


def test_remembers_says_nothing_of_what_sensing_parts_can_do() -> None:
    """What a wiring without controlled parts really does is never said to need memory."""
    seen = 0
    for seed in range(400):
        random = Random(seed)
        problem = a_problem(FULL, ("lamp",))
        skeleton = a_skeleton(random, FULL, 3, ("lamp",))
        if not sensing_only(skeleton):
            continue
        seen += 1
        moments = some_moments(random, 20_000)
        done = concrete_run(skeleton, problem, moments, 20_000)
        scenario = scenario_of(problem, moments, 20_000, done, done.instants(20_000))
        assert remembers([scenario]) == ""
    assert seen > 20


def test_remembers_needs_equal_inputs_and_different_loads() -> None:
    def scenario(*points: tuple[bool, bool]) -> Scenario:
        named = (Point(i, (hot,), (lamp,)) for i, (hot, lamp) in enumerate(points))
        return Scenario(("hot",), ("lamp",), tuple(named))

    steady = scenario((False, False), (True, True), (False, False))
    assert remembers([steady]) == ""
    assert "lamp" in remembers([steady, scenario((True, True), (False, False), (True, False))])
    assert "lamp" in remembers([dataclasses.replace(steady, points=(
        Point(0, (True,), (False,)), Point(1, (True,), (True,)),
    ))])
