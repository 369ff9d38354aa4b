"""What is claimed of several circuits together, each time by a job in which more would be false.

The bound on the whole comes from its circuits: each is solved by itself, those that need more than
sensing parts are asked together, with the least that the rest can cost. In every job here the whole
costs less than the circuits say at first sight, by a design that is wired by hand and passes the
exact check; what is proven must not be above it. All names, prices and jobs are invented.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import pytest
from random_jobs import ENDS, OFFERED, Holding, key_of
from test_known_designs import the_engine
from test_sharing_jobs import ruled_out

from synth import pipeline
from synth.check import check
from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.pose import pose
from synth.problem import Problem
from synth.read.goal_file import parse_goal_file
from synth.read.kit_file import load_kit
from synth.result import Status
from synth.search.apart import take_apart
from synth.share import share_power
from synth.signals import OFF, Latch, Level, all_of

P = PartType
SENSOR = KitPart("sensor", P.SENSOR, 1, options=("make",))
DEAR = KitPart("dear sensor", P.SENSOR, 5, options=("make",))
ON_DELAY = KitPart("on-delay", P.ON_DELAY, 4, times=OFFERED)
PULSE = KitPart("pulse timer", P.PULSE, 8, times=OFFERED)
RECYCLER = KitPart("recycler", P.RECYCLER, 28, options=("pulse", "pause"), times=OFFERED)
TAP = KitPart("tap-off", P.TAP_OFF, 3, largest=99)


def kit_of(*parts: KitPart) -> Kit:
    return Kit("yard", "Yard", Trigger.HELD, (ENDS[0], *parts, ENDS[1]))


def divider(outputs: int, price: int = 3) -> KitPart:
    return KitPart("divider", P.DIVIDER, price, outputs=outputs)


def asked(goals: str, kit: Kit, more: str = "") -> Problem:
    text = "title: Yard\ngoals:\n" + "".join(f"  - {goal}\n" for goal in goals.split("; "))
    return pose(parse_goal_file(text + more, "yard"), kit)


Part = tuple[str, dict[str, str | int]]


def by_hand(problem: Problem, parts: Mapping[str, Part], feeds: Mapping[str, str]) -> Design:
    """Return the design of `both_by_hand`."""
    return both_by_hand(problem, parts, feeds)[0]


def both_by_hand(
    problem: Problem, parts: Mapping[str, Part], feeds: Mapping[str, str]
) -> tuple[Design, Skeleton]:
    """Return the design of these parts, name -> (kit name, settings), wired so: input -> output,
    and its wiring; it must stand the exact check."""
    kit, made = problem.kit, [PartInUse("supply", P.SUPPLY, "supply")]
    for name, (offer, settings) in parts.items():
        made.append(PartInUse(name, kit.index[offer].type, offer, tuple(settings.items())))
    for r in problem.requirements:
        made.append(PartInUse(r.load, P.LOAD, "load", (("needs", r.needs),)))

    def end(text: str) -> Terminal:
        name, _, terminal = text.partition(".")
        return Terminal(name, terminal or "out")

    wires = tuple((end(source), end(target)) for target, source in feeds.items())
    skeleton = Skeleton(kit.name, tuple(made), wires)
    design = share_power(skeleton, kit, problem.objectives, problem.limits)
    assert design is not None and check(design, problem).holds
    return design, skeleton


def following(name: str, offer: str = "sensor", contact: str = "make") -> Part:
    return offer, {"input": name, "contact": contact}


def claims_no_more(problem: Problem, design: Design, seconds: float = 30) -> None:
    """Assert that the plan is proven, and no dearer than this design."""
    outcome = pipeline.plan(problem, seconds=seconds)
    price = design.price(problem.kit, problem.limits.stock)
    assert outcome.status is Status.PROVEN and outcome.design is not None
    assert check(outcome.design, problem).holds
    assert outcome.design.price(problem.kit, problem.limits.stock) == outcome.bound == price


# -- what the rest costs -----------------------------------------------------------------------


def test_the_rest_has_the_cheapest_sensors() -> None:
    """Alone the on-delay's circuit has one sensor on a divider; beside the bell the supply's net is
    large, and a second sensor spares the sensor's: 3 sensors, 4, and one divider of 4."""
    problem = asked(
        "lamp 1 s after hot; fan while hot; bell while damp",
        kit_of(SENSOR, DEAR, ON_DELAY, TAP, divider(4, 4)),
    )
    parts = {
        "one": following("hot"), "two": following("hot"), "damp": following("damp"),
        "delay": ("on-delay", {"time": 1000}),
    }  # fmt: skip
    feeds = {
        "one.in": "supply", "two.in": "supply", "damp.in": "supply", "delay.in": "supply",
        "delay.start": "one", "lamp.in": "delay", "fan.in": "two", "bell.in": "damp",
    }  # fmt: skip
    design = by_hand(problem, parts, feeds)
    assert design.price(problem.kit) == 3 + 4 + 4
    claims_no_more(problem, design)


@pytest.mark.slow
@pytest.mark.parametrize("fast", [False, True])
def test_nets_of_the_rest_that_the_bound_does_not_pay_for(fast: bool) -> None:
    """One divider has nine outlets, so that two nets of the rest cost more than what the price
    leaves for all of them together: then the rest is to be wired otherwise, and no question is put
    of a negative sum. By hand: a sensor for each load, 5 + 4 + 3."""
    problem = asked(
        "lamp 1 s after hot; fan while damp; pump while damp; bell while cold; siren while cold",
        kit_of(SENSOR, DEAR, ON_DELAY, divider(9)),
    )
    loads = {"fan": "damp", "pump": "damp", "bell": "cold", "siren": "cold"}
    parts = {f"S {load}": following(name) for load, name in loads.items()}
    parts |= {"S lamp": following("hot"), "delay": ("on-delay", {"time": 1000})}
    feeds = {f"{name}.in": "supply" for name in parts}
    feeds |= {f"{load}.in": f"S {load}" for load in loads}
    design = by_hand(problem, parts, feeds | {"delay.start": "S lamp", "lamp.in": "delay"})
    assert design.price(problem.kit) == 5 + 4 + 3
    outcome = pipeline.plan(problem, seconds=30, fast=fast)
    assert (outcome.status, outcome.price, outcome.bound) == (Status.PROVEN, 12, 12)


# -- inputs that cannot be held ------------------------------------------------------------------

SHORT = "known: [hot and other never together, pause of other lasts at most 5 s]\n"
"""`hot` never lasts 5 s, but nobody sees that who does not look at `other`."""


def short_pulses(kit: Kit, more: str = "") -> tuple[Problem, Design]:
    """A pulse of 1 s is all that there ever is of the pump's cycle: a pulse timer does for it."""
    problem = asked("pump on 1 s of every 8 s while hot; fan while other", kit, SHORT + more)
    pulse: Part = ("pulse timer", {"time": 1000})
    parts = {"hot": following("hot"), "other": following("other"), "pulse": pulse}
    feeds = {
        "hot.in": "supply", "other.in": "supply", "fan.in": "other",
        "pulse.in": "hot", "pulse.start": "supply", "pump.in": "pulse",
    }  # fmt: skip
    return problem, by_hand(problem, parts, feeds)


@pytest.mark.parametrize("limit", [None, 20])
def test_a_circuit_that_is_easier_within_the_whole(limit: int | None) -> None:
    """By itself the pump needs a recycler at 28; also where the largest price is below that."""
    kit = kit_of(SENSOR, PULSE, RECYCLER, divider(4))
    problem, design = short_pulses(kit, f"limits: {{price: {limit}}}\n" if limit else "")
    assert design.price(kit) == 2 + 8 + 3
    claims_no_more(problem, design)


@pytest.mark.parametrize("limit", [None, 20])
def test_a_circuit_that_can_only_be_had_within_the_whole(limit: int | None) -> None:
    """Without a recycler there is nothing for the pump by itself: that says nothing of the whole,
    and what it would cost there is no bound."""
    kit = kit_of(SENSOR, PULSE, divider(4))
    problem, design = short_pulses(kit, f"limits: {{price: {limit}}}\n" if limit else "")
    outcome = pipeline.plan(problem, seconds=10)
    assert outcome.status is not Status.IMPOSSIBLE
    assert outcome.bound is None or outcome.bound <= design.price(kit)


def test_more_time_does_not_lower_the_bound() -> None:
    """A circuit that is stopped as it begins takes nothing from what is proven of another: three
    sensors at 4, two joints at 2, and a divider 3 for the sensors are 19 coins by hand."""
    kit, reached = load_kit("full"), list[str]()
    goals = "fan while cold or damp or windy"
    alone = pipeline.plan(asked(goals, kit))
    assert alone.status is Status.PROVEN and alone.price == 19
    outcome = pipeline.plan(
        asked(f"{goals}; lamp on 10 s of every 60 s while hot", kit),
        lambda stage, price, bound: reached.append(stage),
        stopped=lambda: "circuit 2 of 2" in reached,
    )
    assert outcome.status is Status.UNDECIDED and outcome.bound == 19


def test_a_lever_that_is_not_on_for_long() -> None:
    """A pause of 6 s is never over while the lever is on: behind it a pulse timer does, which the
    circuit without its lever could not do with."""
    kit = kit_of(KitPart("switch", P.SWITCH, 2, options=("make",)), PULSE, RECYCLER, TAP)
    goals = "pump on 2 s of every 8 s; master cutoff"
    problem = asked(goals, kit, "known: [master lasts at most 5 s]\n")
    parts: dict[str, Part] = {
        "master": ("switch", {"input": "master", "contact": "make"}),
        "pulse": ("pulse timer", {"time": 2000}),
    }
    feeds = {
        "master.in": "supply", "pulse.in": "master", "pulse.start": "master", "pump.in": "pulse",
    }  # fmt: skip
    design = by_hand(problem, parts, feeds)
    assert design.price(kit) == 2 + 8 + 3
    claims_no_more(problem, design)
    # Without that fact the switch is put in front, and the recycler is what it takes.
    assert take_apart(asked(goals, kit))[0].path and not take_apart(problem)[0].path


# -- what is in stock ----------------------------------------------------------------------------


def test_what_is_in_stock_is_not_paid_by_a_circuit() -> None:
    """Each circuit by itself costs 5 coins or more, the whole just its tap-off."""
    kit = kit_of(dataclasses.replace(SENSOR, price=5), TAP)
    more = "stock: {sensor: 2}\n"
    feeds = {"one.in": "supply", "two.in": "supply", "lamp.in": "one", "bell.in": "two"}
    parts = {"one": following("hot"), "two": following("damp")}
    problem = asked("lamp while hot; bell while damp", kit, more + "limits: {price: 3}\n")
    design = by_hand(problem, parts, feeds)
    assert design.price(kit, problem.limits.stock) == 3
    claims_no_more(problem, design)
    # What is known of the first circuit when time is up is no bound on what is to be bought.
    outcome = pipeline.plan(asked("lamp while hot; bell while damp", kit, more), seconds=0)
    assert outcome.design is None and outcome.status is Status.UNDECIDED
    assert outcome.bound is None or outcome.bound <= 3


# -- prices between two others -------------------------------------------------------------------


SPLITS = (
    dataclasses.replace(TAP, price=2),
    KitPart("divider", P.DIVIDER, 11, outputs=3),
)
"""One branch more costs 2 or 11, two of them 4, by the cheapest."""


def test_a_price_with_a_branch_that_stays_idle() -> None:
    """A change-over is counted with both its branches. The fan on one of them, and nothing on the
    other: one more branch of an output, so 4 coins for two, which one alone never comes to."""
    sensor = dataclasses.replace(SENSOR, most=1)
    kit = kit_of(sensor, KitPart("change-over", P.RELAY_CHANGEOVER, 8), *SPLITS)
    more = "limits: {branches: [lamp, fan]}\n"
    problem = asked("lamp while wet; fan while wet", kit, more)
    parts: dict[str, Part] = {"wet": following("wet"), "relay": ("change-over", {})}
    feeds = {
        "wet.in": "supply", "relay.in": "supply", "lamp.in": "wet", "relay.coil": "wet",
        "fan.in": "relay.make",
    }  # fmt: skip
    design, skeleton = both_by_hand(problem, parts, feeds)
    assert design.price(kit) == 1 + 8 + 4
    assert ruled_out(the_engine(problem), Holding(skeleton, design, key_of(design, problem))) == ""


def test_a_price_with_a_joint_that_costs_nothing() -> None:
    """It is not in any list, and its output feeds one more load than the list can say."""
    kit = kit_of(SENSOR, KitPart("joint", P.JOINT, 0), *SPLITS)
    problem = asked("lamp and fan while wet or hot", kit)
    parts: dict[str, Part] = {
        "wet": following("wet"), "hot": following("hot"), "joint": ("joint", {}),
    }  # fmt: skip
    feeds = {
        "wet.in": "supply", "hot.in": "supply", "joint.in1": "wet", "joint.in2": "hot",
        "lamp.in": "joint", "fan.in": "joint",
    }  # fmt: skip
    design, skeleton = both_by_hand(problem, parts, feeds)
    assert design.price(kit) == 2 + 4
    assert ruled_out(the_engine(problem), Holding(skeleton, design, key_of(design, problem))) == ""


# -- what is dead in the whole -------------------------------------------------------------------


def latched(other: str, bistable: int, *more: KitPart) -> Problem:
    """A lamp that stays on from the first press, beside a fan: nothing ever resets it."""
    kit = kit_of(
        KitPart("push-button", P.PUSH_BUTTON, 1, options=("make",)),
        KitPart("sensor", P.SENSOR, 1, options=("make", "break")),
        KitPart("bistable relay", P.BISTABLE, bistable, options=("reset",)),
        *more,
    )
    known = "known: [supply never fails]\ninputs: {go: push-button}\n"
    problem = asked(f"lamp while go; {other}", kit, known)
    lamp, fan = problem.requirements
    stays = all_of(Level("supply"), Latch(Level("go"), OFF))
    lamp = dataclasses.replace(lamp, signal=stays)
    return dataclasses.replace(problem, requirements=(lamp, fan))


LATCH: dict[str, Part] = {
    "go": following("go", "push-button"), "hot": following("hot"),
    "cold": following("hot", contact="break"), "relay": ("bistable relay", {"wins": "reset"}),
}  # fmt: skip
DEAD = {
    "go.in": "supply", "hot.in": "supply", "relay.in": "supply", "cold.in": "hot",
    "relay.set": "go", "relay.reset": "cold", "lamp.in": "relay",
}  # fmt: skip
"""The reset hangs on two contacts of which one is always open."""


def test_a_reset_that_hangs_on_what_is_dead_elsewhere() -> None:
    """By itself the relay needs another one for a reset that is never live; in the whole a second
    sensor behind the fan's does. And a list of the same price as the first one that works in the
    whole must not be ruled out: this is that list."""
    tap = KitPart("tap-off", P.TAP_OFF, 1, largest=99)
    problem = latched("fan while hot", 4, KitPart("relay make", P.RELAY_MAKE, 9), tap)
    design = by_hand(problem, LATCH, DEAD | {"fan.in": "hot"})
    assert design.price(problem.kit) == 1 + 2 + 4 + 3
    claims_no_more(problem, design)


@pytest.mark.parametrize(
    ("bistable", "split"),
    [(4, KitPart("tap-off", P.TAP_OFF, 1, largest=99)), (3, divider(9))],
    ids=["taps", "one divider"],
)
def test_sensors_for_an_input_that_no_load_depends_on(bistable: int, split: KitPart) -> None:
    """Both sensors for `hot` are parts besides: what is counted of the rest has none to hang the
    reset on, so from their price on the rest must be expected to have one. With one divider that
    is between two prices that splitting may come to, and the next is that of two relays."""
    problem = latched("fan while hot or not hot", bistable, split)
    design = by_hand(problem, LATCH, DEAD | {"fan.in": "supply"})
    assert design.price(problem.kit) == 1 + 2 + bistable + 3
    claims_no_more(problem, design)


# -- behind a switch -----------------------------------------------------------------------------


def test_a_break_contact_of_the_switch_may_do_more_than_cut() -> None:
    """A lamp that stays on from the first press until the master goes off. Behind a make contact
    its relay needs a reset that is never live, which is to be had for no price; the break contact
    of the master resets it, and no contact of the master is on the way of the lamp's power."""
    kit = kit_of(
        KitPart("switch", P.SWITCH, 2, options=("make", "break")),
        KitPart("push-button", P.PUSH_BUTTON, 1, options=("make",)),
        KitPart("bistable relay", P.BISTABLE, 4, options=("reset",)),
        KitPart("tap-off", P.TAP_OFF, 1, largest=99),
    )
    known = "known: [supply never fails]\ninputs: {go: push-button}\n"
    problem = asked("lamp while go; master cutoff", kit, known)
    (lamp,) = problem.requirements
    on = all_of(Level("supply"), Level("master"))
    signal = all_of(on, Latch(Level("go"), OFF, False, on))
    problem = dataclasses.replace(problem, requirements=(dataclasses.replace(lamp, signal=signal),))
    assert [len(piece.path) for piece in take_apart(problem)] == [1]
    design = by_hand(
        problem,
        {
            "master": following("master", "switch", "break"),
            "go": following("go", "push-button"),
            "relay": ("bistable relay", {"wins": "reset"}),
        },
        {
            "master.in": "supply", "go.in": "supply", "relay.in": "supply",
            "relay.set": "go", "relay.reset": "master", "lamp.in": "relay",
        },
    )  # fmt: skip
    claims_no_more(problem, design)


def test_a_load_that_is_never_on_takes_no_bound_from_the_others() -> None:
    """Windy and damp are never together, so the fan is never on and may hang on anything dead: what
    was refuted of its own circuit proves nothing. The heater takes what it takes by itself, but
    perhaps for how power is split."""
    goals = "heater started by go and stopped by halt"
    alone = pipeline.plan(pipeline.read_problem(None, goals, "full"))
    assert alone.status is Status.PROVEN
    both = parse_goal_file(
        f"kit: full\ngoals: [{goals}, fan while windy and damp]\n"
        "known: [windy and damp never together]\n",
        "goals",
    )
    outcome = pipeline.plan(pose(both, load_kit("full")))
    assert outcome.bound is not None and outcome.price is not None and alone.design is not None
    prices = {line.name: line.price for line in load_kit("full").parts}
    parts = sum(prices[p.part] for p in alone.design.parts if p.type not in (P.TAP_OFF, P.DIVIDER))
    assert 0 < parts <= outcome.bound <= outcome.price
