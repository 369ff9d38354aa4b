"""Inputs that hang on sets of outputs: joints and tap-offs that cost nothing need no places.

`joint_of_sets` claims that a wiring is known up to its joints from the outputs that feed each
input, in what it does, what it costs and which units it needs. The first is compared with the
checker's own stepping, the last with the exact sharing of power, which knows nothing of sets; the
claims of the search with full enumeration, and with those of a model that holds each joint.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from itertools import product
from random import Random

import pytest
from check_designs import asked
from search_tools import (
    KITS,
    a_problem,
    a_skeleton,
    concrete_run,
    flipped,
    scenario_of,
    slots_of,
    some_moments,
    types_in,
)
from test_search_enumeration import MORE, SENSOR

from synth.check import check
from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.pipeline import plan
from synth.problem import Limits, Objective, Problem
from synth.result import Status
from synth.search import lists, slots, within
from synth.search.formula import Formula
from synth.search.lists import Catalogue
from synth.search.slots import Wiring, joint_of_sets
from synth.search.solver import CpSat
from synth.search.unroll import Unrolled
from synth.share import share_power
from synth.signals import Latch, Level, OnDelay, Signal, all_of, any_of, negated

HORIZON = 7000
DEPTH = 6
LOADS = ("lamp", "fan")
S, HOT, DAMP, COLD = Level("supply"), Level("hot"), Level("damp"), Level("cold")


def free(kit: Kit, **changes: object) -> Kit:
    """Return the kit with joints and tap-offs that cost nothing and have no limit; `changes` are
    made to the tap-off."""

    def freed(part: KitPart) -> KitPart:
        if part.type is PartType.JOINT:
            return dataclasses.replace(part, price=0)
        if part.type is PartType.TAP_OFF:
            return dataclasses.replace(part, price=0, largest=None, **changes)  # type: ignore[arg-type]
        return part

    return dataclasses.replace(kit, parts=tuple(map(freed, kit.parts)))


FREE = {trigger: free(kit) for trigger, kit in KITS.items()}


# -- what a wiring does --------------------------------------------------------------------------


def with_more_joints(random: Random, skeleton: Skeleton, kit: Kit) -> Skeleton:
    """Return the wiring with some inputs fed through one more joint, also from behind them where
    they are controls; what joints bring together twice or with the supply comes along."""
    outputs = [s for s, _ in skeleton.feeds if s.part != "supply"]
    rank = {part.name: i for i, part in enumerate(skeleton.parts)}
    parts, feeds = list(skeleton.parts), list(skeleton.feeds)
    for place, (source, target) in enumerate(skeleton.feeds):
        shape = kit.index[skeleton.parts[rank[target.part]].part].shape
        power = target.terminal in shape.power
        others = [o for o in outputs if not power or rank[o.part] < rank[target.part]]
        if not others or random.random() < 0.5:
            continue
        name = f"more {place}"
        parts.append(PartInUse(name, PartType.JOINT, kit.of_type(PartType.JOINT)[0].name))
        feeds[place] = (Terminal(name, "out"), target)
        feeds.append((source, Terminal(name, "in1")))
        feeds.append((random.choice(others), Terminal(name, "in2")))
    return Skeleton(skeleton.kit, tuple(parts), tuple(feeds))


def agree(seed: int, trigger: str, counts: Counter[str]) -> None:
    """Compare one random wiring with joints in one random run, as `test_search_agreement` does."""
    random = Random(seed)
    kit = FREE[trigger]
    problem = a_problem(kit, LOADS)
    skeleton = a_skeleton(random, kit, random.randrange(2, 6), LOADS)
    skeleton = with_more_joints(random, skeleton, kit)
    moments = some_moments(random, HORIZON)
    done = concrete_run(skeleton, problem, moments, HORIZON)
    scenario = scenario_of(problem, moments, HORIZON, done, done.instants(HORIZON))
    clean = done.clean(DEPTH)
    counts["clean" if clean else "not clean"] += 1
    kept = tuple(s for s in slots_of(skeleton, kit) if s.kind is not PartType.JOINT)
    for want, told in ((clean, scenario), (False, flipped(scenario, 0, 0))):
        wiring = Wiring(problem, kept, Formula())
        assert wiring.joint is not None
        chosen = wiring.assignment(skeleton)
        assert chosen is not None
        Unrolled(wiring, told, DEPTH)
        fixed = [v if value else -v for v, value in chosen.items()]
        answer = CpSat(wiring.formula).ask(60.0, fixed)
        assert answer.satisfiable is (want and clean), (seed, trigger)
        if answer.satisfiable:
            decoded = wiring.decode(answer.values)
            assert wiring.assignment(decoded) == chosen
            again = concrete_run(decoded, problem, moments, HORIZON)
            assert (again.loads, again.steps) == (done.loads, done.steps)
            counts["joined"] += PartType.JOINT in types_in(decoded)
            counts["other joints"] += len(decoded.parts) != len(skeleton.parts)
            wiring.exclude(skeleton)
            assert CpSat(wiring.formula).ask(60.0, fixed).satisfiable is False


@pytest.mark.parametrize("trigger", FREE)
def test_sets_accept_exactly_what_the_semantics_do(trigger: str) -> None:
    counts: Counter[str] = Counter()
    for seed in range(26):
        agree(seed, trigger, counts)
    assert counts["clean"] > 9 and counts["not clean"] > 2, counts
    assert counts["joined"] > 4 and counts["other joints"] > 2, counts


@pytest.mark.slow
@pytest.mark.parametrize("trigger", FREE)
def test_sets_accept_exactly_what_the_semantics_do_at_length(trigger: str) -> None:
    counts: Counter[str] = Counter()
    for seed in range(1000, 1200):
        agree(seed, trigger, counts)
    assert counts["clean"] > 66 and counts["joined"] > 33, counts


# -- what it needs -------------------------------------------------------------------------------


def test_no_wiring_of_the_same_sets_needs_less() -> None:
    """Whatever the joints of a random wiring: sharing out the decoded one takes no more units."""
    less = 0
    for seed in range(120):
        random = Random(seed)
        kit = FREE["held"]
        problem = a_problem(kit, LOADS)
        skeleton = a_skeleton(random, kit, random.randrange(2, 6), LOADS)
        skeleton = with_more_joints(random, skeleton, kit)
        kept = tuple(s for s in slots_of(skeleton, kit) if s.kind is not PartType.JOINT)
        wiring = Wiring(problem, kept, Formula())
        chosen = wiring.assignment(skeleton)
        assert chosen is not None
        fixed = [v if value else -v for v, value in chosen.items()]
        answer = CpSat(wiring.formula).ask(60.0, fixed)
        if not answer.satisfiable:  # a joint with the supply had made the rest of a part idle
            continue
        units = [
            design.supply
            for one in (skeleton, wiring.decode(answer.values))
            if (design := share_power(one, kit, (Objective.SUPPLY,))) is not None
        ]
        assert len(units) == 2 and units[1] <= units[0]
        less += units[1] < units[0]
    assert less > 6


def test_where_joints_keep_their_places() -> None:
    """Not where joints or tap-offs cost something or run short, nor where wires count first."""
    kit = FREE["held"]
    plain = a_problem(kit, LOADS)
    assert joint_of_sets(plain) is not None
    assert joint_of_sets(a_problem(KITS["held"], LOADS)) is None
    assert joint_of_sets(dataclasses.replace(plain, objectives=(Objective.WIRES,))) is None
    for name in ("joint", "tap-off"):
        assert joint_of_sets(dataclasses.replace(plain, limits=Limits(most=((name, 3),)))) is None
    for change, exact in (({"price": 1}, False), ({"most": 9}, False), ({"largest": 9}, False)):
        parts = tuple(
            dataclasses.replace(part, **change) if part.type is PartType.TAP_OFF else part
            for part in kit.parts
        )
        other = dataclasses.replace(kit, parts=parts)
        assert (joint_of_sets(a_problem(other, LOADS)) is not None) is exact


@pytest.mark.parametrize(("largest", "exact"), [(17, False), (18, True), (19, True), (20, True)])
def test_a_tap_off_for_half_of_all_there_is_will_do(largest: int, exact: bool) -> None:
    change = {PartType.SUPPLY: 36, PartType.TAP_OFF: largest}
    parts = tuple(
        dataclasses.replace(part, largest=change.get(part.type, part.largest))
        for part in FREE["held"].parts
    )
    kit = dataclasses.replace(FREE["held"], parts=parts)
    assert (joint_of_sets(a_problem(kit, LOADS)) is not None) is exact


# -- what the search claims ----------------------------------------------------------------------


def tiny(more: tuple[KitPart, ...] = ()) -> Kit:
    """Return a kit in which joints and tap-offs are free and every part costs about the same."""
    return Kit(
        "tiny",
        "Tiny",
        Trigger.HELD,
        (
            KitPart("supply", PartType.SUPPLY),
            SENSOR,
            *more,
            KitPart("tap-off", PartType.TAP_OFF),
            KitPart("joint", PartType.JOINT),
            KitPart("load", PartType.LOAD),
        ),
    )


GOALS: dict[str, dict[str, Signal]] = {
    "either": {"lamp": all_of(S, any_of(HOT, DAMP))},
    "three at two": {
        "lamp": all_of(S, any_of(HOT, DAMP)),
        "fan": all_of(S, any_of(DAMP, COLD)),
        "pump": all_of(S, any_of(HOT, COLD)),
    },
    "not both": {"lamp": all_of(S, negated(all_of(HOT, DAMP)))},
    "both, and one": {
        "lamp": all_of(S, any_of(HOT, DAMP)),
        "fan": all_of(S, any_of(HOT, DAMP)),
        "pump": all_of(S, HOT),
    },
    "one of two": {
        "lamp": all_of(S, any_of(all_of(HOT, negated(DAMP)), all_of(DAMP, negated(HOT)))),
    },
    "held": {"lamp": Latch(HOT, DAMP, enable=S)},
    "after either": {"lamp": OnDelay(any_of(HOT, DAMP), 1000, S)},
    "either or cold beside it": {
        "lamp": all_of(S, any_of(HOT, DAMP)),
        "fan": all_of(S, any_of(HOT, DAMP, COLD)),
    },
}


def least_units(problem: Problem, sensors: int) -> int | None:
    """Return the least units of all wirings of exactly so many contacts that hold, by enumeration:
    each contact and each load fed from any set of contacts before, or the supply."""
    kit, joint = problem.kit, PartType.JOINT
    names = [item.name for item in problem.inputs if item.name != "supply"]
    best: int | None = None
    for follows in product(product(names, ("make", "break")), repeat=sensors):
        if not set(names) <= {name for name, _ in follows}:
            continue
        contacts = [
            PartInUse(f"P{i}", PartType.SENSOR, "sensor", (("input", n), ("contact", c)))
            for i, (n, c) in enumerate(follows)
        ]
        loads = [
            PartInUse(r.load, PartType.LOAD, "load", (("needs", 1),)) for r in problem.requirements
        ]
        before = [range(2**i) for i in range(sensors)] + [range(2**sensors)] * len(loads)
        for chosen in product(*before):
            parts = [slots.supply_part(kit), *contacts, *loads]
            feeds = []
            for number, (target, members) in enumerate(
                zip((*contacts, *loads), chosen, strict=True)
            ):
                sources = [Terminal(f"P{i}", "out") for i in range(sensors) if members >> i & 1]
                output = sources[0] if sources else Terminal("supply", "out")
                for place, other in enumerate(sources[1:]):
                    name = f"J{number} {place}"
                    parts.append(PartInUse(name, joint, "joint"))
                    feeds += [(output, Terminal(name, "in1")), (other, Terminal(name, "in2"))]
                    output = Terminal(name, "out")
                feeds.append((output, Terminal(target.name, "in")))
            if len({s.part for s, _ in feeds} & {c.name for c in contacts}) < sensors:
                continue
            skeleton = Skeleton(kit.name, tuple(parts), tuple(feeds))
            design = share_power(skeleton, kit, (Objective.SUPPLY,))
            assert design is not None
            if best is not None and design.supply >= best:
                continue
            if check(design, problem, stop_at_first=True).holds:
                best = design.supply
    return best


@pytest.mark.parametrize(
    "goal", ["either", "not both", pytest.param("both, and one", marks=pytest.mark.slow)]
)
def test_least_units_of_the_cheapest_are_those_of_full_enumeration(goal: str) -> None:
    """Both inputs matter, so two contacts are the least; three are above the limit. With a supply
    of the fewest units of any two that hold there is a design, with one unit less there is none."""
    problem = asked(GOALS[goal], kit=tiny())
    fewest = least_units(problem, 2)
    assert fewest is not None and fewest > len(problem.requirements)
    for units, status in ((fewest, Status.PROVEN), (fewest - 1, Status.IMPOSSIBLE)):
        limits = Limits(price=29, supply=units)
        outcome = plan(dataclasses.replace(problem, limits=limits), seconds=20)
        assert outcome.status is status


CASES = [
    *((goal, ()) for goal in ("either", "three at two", "not both", "one of two")),
    ("held", MORE["relays"][:1]),
    ("after either", MORE["timers"][2:3]),
    ("either or cold beside it", ()),
]


@pytest.mark.parametrize(("goal", "more"), CASES)
def test_claims_are_those_of_a_model_that_holds_each_joint(
    goal: str, more: tuple[KitPart, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = asked(GOALS[goal], kit=tiny(more), times=(1000,))
    sets = plan(problem, seconds=30)
    assert sets.status is Status.PROVEN
    assert not any("joints that cost nothing" in bound for bound in sets.bounds)
    for room in (slots, lists, within):
        monkeypatch.setattr(room, "joint_of_sets", lambda problem: None)
    held = plan(problem, seconds=30)
    assert held.price == sets.price
    assert held.bound is None or held.bound <= (sets.bound or 0)
    assert any("joints that cost nothing" in bound for bound in held.bounds)


def test_circuits_apart_are_proven_with_joints_that_cost_nothing() -> None:
    """Two circuits of two contacts each. Where each joint has its place nothing is claimed of
    them together, since either may use more joints beside the other than alone."""
    wanted = {
        "lamp": all_of(S, any_of(HOT, DAMP)),
        "fan": all_of(S, any_of(COLD, Level("dusty"))),
    }
    outcome = plan(asked(wanted, kit=tiny()), seconds=30)
    assert (outcome.status, outcome.price) == (Status.PROVEN, 40)
    assert outcome.design is not None
    assert sum(part.type is PartType.JOINT for part in outcome.design.parts) == 2


def test_a_latch_beside_a_lamp_is_as_cheap_as_alone() -> None:
    """With a bistable relay in the kit the reset of which may hang on what is dead elsewhere: the
    latch holds itself by a relay and a joint, and nothing of the fan's contact is of use to it."""
    more = (*MORE["relays"][:1], *MORE["memories"][:1])
    latch = {"lamp": Latch(HOT, DAMP, enable=S)}
    prices = []
    for wanted in (latch, {"fan": all_of(S, COLD)}, {**latch, "fan": all_of(S, COLD)}):
        outcome = plan(asked(wanted, kit=tiny(more)), seconds=60)
        assert outcome.status is Status.PROVEN and outcome.price is not None
        prices.append(outcome.price)
    assert prices == [31, 10, 41]


@pytest.mark.parametrize(("most", "status"), [(1, Status.IMPOSSIBLE), (2, Status.PROVEN)])
def test_joints_that_run_short_are_counted(most: int, status: Status) -> None:
    """One of three in parallel takes two joints: with one there are two ways from the supply at
    most, and a way is open when any of its contacts is."""
    wanted = {"lamp": all_of(S, any_of(HOT, DAMP, COLD))}
    limits = Limits(most=(("joint", most),), price=50)
    outcome = plan(asked(wanted, kit=tiny(), limits=limits), seconds=30)
    assert outcome.status is status


def test_a_list_names_no_joints() -> None:
    kit = tiny((KitPart("dear joint", PartType.JOINT, price=3),))
    catalogue = Catalogue(asked(GOALS["either"], kit=kit), lambda extra: 0)
    assert catalogue.free == ()
    assert all(part.type is not PartType.JOINT for part, _ in catalogue.offers)
    placed = catalogue.slots((0, 0), ["lamp"])
    assert all(slot.kind is not PartType.JOINT for slot in placed)
