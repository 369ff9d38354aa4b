"""Wishes for how a design is built: read, kept by search, judged by checker, named by clash.

The prices of the tiny kit are compared with the enumeration of all wirings (`every_wiring`), which
knows nothing of the search; whether a wiring keeps a wish is told there by the checker, and by the
hand-made designs here. All goals, prices and kits are invented.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from random import Random

import jsonschema
import pytest
from check_designs import FULL, part, wired
from click.testing import CliRunner
from random_jobs import candidates, least, small
from search_tools import slots_of

from synth import pipeline
from synth.check import check, structure
from synth.check.wishes import carrying
from synth.cli import main
from synth.conflict import Kind
from synth.design import Design, Skeleton, Terminal
from synth.errors import GoalError
from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import Kit, KitPart, Times, Trigger, to_buy
from synth.pose import pose
from synth.problem import Limits, Problem
from synth.read.goal_file import parse_goal_file
from synth.read.yaml_source import load
from synth.report.document import plan_document
from synth.result import Fault, Outcome, Status
from synth.search.choice import open_solver
from synth.search.formula import Formula
from synth.search.slots import Wiring, joint_of_sets
from synth.share import share_power

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"
SECONDS = Times(500, 60_000, 500)
KIT = Kit(
    "tiny",
    "Tiny",
    Trigger.HELD,
    (
        KitPart("supply", PartType.SUPPLY),
        KitPart("switch", PartType.SWITCH, price=2, most=1, options=("make",)),
        KitPart("sensor", PartType.SENSOR, price=5, most=2, options=("make",)),
        KitPart("relay make", PartType.RELAY_MAKE, price=4, most=2),
        KitPart("relay break", PartType.RELAY_BREAK, price=3, most=1),
        KitPart("change-over", PartType.RELAY_CHANGEOVER, price=8, most=1),
        KitPart("on-delay", PartType.ON_DELAY, price=6, most=1, times=SECONDS),
        KitPart("tap-off", PartType.TAP_OFF, price=1, largest=99),
        KitPart("load", PartType.LOAD),
    ),
)


def problem_of(goals: str, limits: str = "", stock: str = "", kit: Kit = KIT) -> Problem:
    text = "title: Yard\ngoals:\n" + "".join(f"  - {goal}\n" for goal in goals.split("; "))
    text += f"limits: {{{limits}}}\nstock: {{{stock}}}\n"
    return pose(parse_goal_file(text, "yard.yaml"), kit)


def planned(problem: Problem) -> Outcome:
    return pipeline.plan(problem, seconds=60)


# --- against the enumeration of all wirings -------------------------------------------------------

CASES = [
    # goals, limits, price by hand (None: whatever the enumeration says)
    ("lamp while wet", "", 5),
    ("lamp while wet; fan while wet", "", 6),
    # Two sensors on a tap-off, or a sensor, a relay and two tap-offs.
    ("lamp while wet; fan while wet", "branches: [lamp, fan]", 11),
    # One sensor has to do: it works a relay, on whose contact hangs the other load.
    ("lamp while wet; fan while wet", "branches: [lamp, fan], most: {sensor: 1}", 11),
    ("lamp while wet; fan always", "branches: [lamp, fan]", 6),
    ("lamp always; fan always", "branches: [lamp, fan]", 1),
    ("lamp while wet; fan while hot", "branches: [lamp, fan]", 11),
    ("lamp always; fan always; master cutoff", "branches: [lamp, fan]", None),
    ("lamp 1 s after wet", "", 12),
    ("lamp 1 s after wet", "untimed: all", None),
    ("lamp 1 s after wet; fan while wet", "untimed: [fan]", None),
    ("lamp while wet", "least: {relay make: 1}", None),
    ("lamp while wet", "least: {sensor: 2}", None),
    ("lamp while wet; fan while hot", "least: {relay make: 1}", None),
    ("lamp 1 s after wet", "least: {relay break: 1}", None),
    ("lamp while wet", "least: {on-delay: 1}", None),
    ("lamp while wet; fan always", "spare: 2, supply: 4", 6),
    ("lamp while wet; fan always", "spare: 2, supply: 3", None),
    ("lamp while not wet", "spare: 3", 14),
    ("lamp always; fan always; master cutoff", "least: {relay make: 2}", None),
]  # fmt: skip


def test_loads_behind_free_joints() -> None:
    """With joints and tap-offs that cost nothing an input hangs on a set of outputs (see
    `joint_of_sets`). By hand: two sensors joined for the lamp, and a relay that they work for the
    fan, 5 + 5 + 4; without the wish the joint feeds both, 10."""
    parts = tuple(
        dataclasses.replace(p, price=0, largest=None) if p.type is PartType.TAP_OFF else p
        for p in KIT.parts
    )
    kit = dataclasses.replace(KIT, parts=(*parts, KitPart("joint", PartType.JOINT)))
    goals = "lamp while wet or hot; fan while wet or hot"
    problem = problem_of(goals, "branches: [lamp, fan]", "", kit)
    assert joint_of_sets(problem) is not None
    outcome = planned(problem)
    assert (outcome.status, outcome.price) == (Status.PROVEN, 14)
    assert outcome.design is not None and kept(outcome.design, problem)
    assert planned(problem_of(goals, "", "", kit)).price == 10


def bounded(problem: Problem, price: int) -> Problem:
    return dataclasses.replace(problem, limits=dataclasses.replace(problem.limits, price=price))


@pytest.mark.parametrize(
    ("goals", "limits", "price"),
    # With a timer that nothing asks for there are many wirings.
    [pytest.param(*c, marks=pytest.mark.slow) if "{on-delay" in c[1] else c for c in CASES],
)
def test_the_least_price_is_that_of_all_wirings(
    goals: str, limits: str, price: int | None
) -> None:
    problem = bounded(problem_of(goals, limits), 20)
    outcome = planned(problem)
    # What costs more than the plan's design is of no interest.
    most = 20 if outcome.price is None else outcome.price
    asked = bounded(problem, most)
    assert small(asked)
    best = least(asked, most)
    if best is None:
        assert outcome.status is Status.IMPOSSIBLE
        assert price is None
        return
    assert (outcome.status, outcome.price) == (Status.PROVEN, best.key[0])
    assert price in (None, best.key[0])
    assert outcome.design is not None
    assert kept(outcome.design, problem)


def kept(design: Design, problem: Problem) -> bool:
    """Return whether a design keeps the wishes, read off its wires in another way than the
    checker does: forwards, from each part to the loads that its power reaches."""
    after: dict[str, set[str]] = {}
    for wire in design.wires:
        kind = problem.kit.index[design.part(wire.target.part).part]
        if wire.target.terminal in kind.shape.power:
            after.setdefault(wire.source.part, set()).add(wire.target.part)

    def reached(name: str) -> set[str]:
        found = set(after.get(name, ()))
        return found.union(*(reached(other) for other in found))

    limits = problem.limits
    for item in design.parts:
        loads = reached(item.name)
        if item.type in (PartType.SUPPLY, PartType.TAP_OFF, PartType.DIVIDER):
            continue
        if any({one, other} <= loads for one, other in limits.branches):
            return False
        if item.type in TIMED and loads & set(limits.untimed):
            return False
    names = [item.part for item in design.parts]
    return all(names.count(name) >= number for name, number in limits.least)


def test_the_cases_tell_something_apart() -> None:
    """With and without its wish a case differs in price, supply or that there is a design."""
    changed = 0
    for goals, limits, _ in CASES:
        if limits:
            plain, wished = planned(problem_of(goals)), planned(problem_of(goals, limits))
            changed += (plain.price, plain.supply) != (wished.price, wished.supply)
    assert changed >= 12


STOCKED = [
    # goals, stock, whole price and what is to be bought by hand
    # A break contact alone would blink at power-up, so a make contact a step later is before it:
    # sensor 5, relays 3 and 4; six inputs on four outputs, so two tap-offs.
    ("lamp while not wet", "", (14, 14)),
    # A change-over is dearer than a break contact by 5, but it is there already; it has two
    # outputs, so one tap-off will do: 5 + 4 + 8 + 1.
    ("lamp while not wet", "change-over: 1", (18, 10)),
    ("lamp while not wet", "relay make: 2", (14, 10)),
    ("lamp while wet; fan while not wet", "change-over: 1", None),
    ("lamp while wet; fan while hot", "sensor: 1", (11, 6)),
    ("lamp while wet; fan while hot", "sensor: 2", (11, 1)),
    ("lamp while wet; fan while not hot", "change-over: 1, sensor: 1", None),
    ("lamp 1 s after wet; fan while not wet", "on-delay: 1, relay break: 1", None),
]


@pytest.mark.parametrize(("goals", "stock", "prices"), STOCKED)
def test_what_is_in_stock_costs_nothing(
    goals: str, stock: str, prices: tuple[int, int] | None
) -> None:
    problem = problem_of(goals, "", stock)
    outcome = planned(problem)
    assert outcome.status is Status.PROVEN and outcome.design is not None
    paid = outcome.design.price(KIT, problem.limits.stock)
    assert outcome.to_buy == (paid if stock else None)
    assert outcome.price == outcome.design.price(KIT)
    assert prices in (None, (outcome.price, paid))
    # Whatever has to be bought for less than that costs, with all the stock, no more than this.
    worth = sum(KIT.index[name].price * number for name, number in problem.limits.stock)
    limit = paid + worth
    listed = bounded(dataclasses.replace(problem, limits=Limits()), limit)
    assert small(listed)
    best = None
    for _, skeleton in candidates(listed, limit):
        design = share_power(skeleton, KIT, listed.objectives, listed.limits)
        if design is None:
            continue
        price = design.price(KIT, problem.limits.stock)
        if (best is None or price < best) and check(design, listed, stop_at_first=True).holds:
            best = price
    assert best == paid


def test_a_largest_price_counts_what_is_bought() -> None:
    """By hand, as above: a change-over for 8 in stock, sensor, make contact and tap-off for 10."""
    assert planned(problem_of("lamp while not wet", "price: 10", "change-over: 1")).to_buy == 10
    tight = planned(problem_of("lamp while not wet", "price: 9", "change-over: 1"))
    assert tight.status is Status.IMPOSSIBLE


def test_what_parts_cost() -> None:
    relay = KIT.index["relay make"]
    assert to_buy([relay] * 3) == 12
    assert to_buy([relay] * 3, [("relay make", 2), ("sensor", 1)]) == 4
    assert to_buy([relay], [("relay make", 2)]) == 0


# --- the checker ----------------------------------------------------------------------------------

def full_problem(limits: Limits) -> Problem:
    goals = "goals: [lamp while wet, fan while wet]"
    return dataclasses.replace(pose(parse_goal_file(goals, "yard.yaml"), FULL), limits=limits)


def one_branch() -> Design:
    return wired(
        [part("wet 1", PartType.SENSOR, input="wet", contact="make"),
         part("lamp", PartType.LOAD), part("fan", PartType.LOAD)],
        {"wet 1.in": "supply", "lamp.in": "wet 1.out", "fan.in": "wet 1.out"},
    )  # fmt: skip


def two_branches() -> Design:
    return wired(
        [part("wet 1", PartType.SENSOR, input="wet", contact="make"),
         part("relay 1", PartType.RELAY_MAKE),
         part("lamp", PartType.LOAD), part("fan", PartType.LOAD)],
        {"wet 1.in": "supply", "relay 1.in": "supply", "relay 1.coil": "wet 1.out",
         "lamp.in": "wet 1.out", "fan.in": "relay 1.out"},
    )  # fmt: skip


def behind_a_timer() -> Design:
    """An off-delay and a switched relay behind it: not what is asked, only how it is built."""
    return wired(
        [part("wet 1", PartType.SENSOR, input="wet", contact="make"),
         part("delay 1", PartType.OFF_DELAY, time=1000),
         part("relay 1", PartType.RELAY_MAKE),
         part("lamp", PartType.LOAD), part("fan", PartType.LOAD)],
        {"wet 1.in": "supply", "delay 1.in": "supply", "delay 1.start": "wet 1.out",
         "relay 1.in": "supply", "relay 1.coil": "delay 1.out",
         "lamp.in": "delay 1.out", "fan.in": "relay 1.out"},
    )  # fmt: skip


RELAY = FULL.of_type(PartType.RELAY_MAKE)[0].name
PAIR = (("lamp", "fan"),)
BREAKS = [
    (one_branch, Limits(branches=PAIR), "wet 1 carries power to both"),
    (one_branch, Limits(least=((RELAY, 1),)), f"uses none of '{RELAY}'; at least 1 is"),
    (two_branches, Limits(least=((RELAY, 2),)), f"uses 1 of '{RELAY}'; at least 2 are"),
    (one_branch, Limits(spare=1), "less than 1 to spare"),
    (behind_a_timer, Limits(untimed=("lamp", "fan")), "carry power to 'lamp', but delay 1 does"),
]
KEEPS = [
    (two_branches, Limits(branches=PAIR, least=((RELAY, 1),), untimed=("lamp", "fan"))),
    (one_branch, Limits(untimed=("lamp", "fan"), spare=0)),
    # The timer works the coil of a relay; its contact does not carry power to the fan.
    (behind_a_timer, Limits(untimed=("fan",))),
]


@pytest.mark.parametrize(("design", "limits", "sentence"), BREAKS)
def test_a_design_that_breaks_a_wish_is_rejected(design, limits, sentence) -> None:  # type: ignore[no-untyped-def]
    defects = structure(design(), FULL, full_problem(limits))
    assert [d.fault for d in defects] == [Fault.LIMIT]
    assert sentence in defects[0].message
    assert not check(design(), full_problem(limits), stop_at_first=True).holds
    assert not structure(design(), FULL, full_problem(Limits()))


@pytest.mark.parametrize(("design", "limits"), KEEPS)
def test_a_design_that_keeps_it_is_not(design, limits) -> None:  # type: ignore[no-untyped-def]
    assert not structure(design(), FULL, full_problem(limits))


def test_a_part_that_feeds_nothing_is_not_in_use() -> None:
    idle = wired(
        [part("wet 1", PartType.SENSOR, input="wet", contact="make"),
         part("relay 1", PartType.RELAY_MAKE),
         part("lamp", PartType.LOAD), part("fan", PartType.LOAD)],
        {"wet 1.in": "supply", "relay 1.in": "supply", "relay 1.coil": "wet 1.out",
         "lamp.in": "wet 1.out", "fan.in": "wet 1.out"},
    )  # fmt: skip
    assert check(idle, full_problem(Limits())).holds
    verdict = check(idle, full_problem(Limits(least=((RELAY, 1),))))
    assert [d.fault for d in verdict.defects] == [Fault.LIMIT]


def test_units_to_spare_are_told_to_the_unit() -> None:
    """One supply unit more than lamp and fan need, by hand: 2 are needed, 3 leave 1 to spare."""
    design = one_branch()
    parts = tuple(
        dataclasses.replace(p, settings=(("units", 3),)) if p.type is PartType.SUPPLY else p
        for p in design.parts
    )
    wires = tuple(dataclasses.replace(wire, units=None) for wire in design.wires)
    more = dataclasses.replace(design, parts=parts, wires=wires)
    assert not structure(more, FULL, full_problem(Limits(spare=1)))
    assert structure(more, FULL, full_problem(Limits(spare=2)))


def test_power_does_not_come_through_a_coil() -> None:
    names = {p.name for p in carrying(two_branches(), FULL, "fan")}
    assert "relay 1" in names and "wet 1" not in names


def test_the_model_rules_out_what_the_checker_rejects() -> None:
    """The search's model by itself, with the wiring fixed, and nothing asked of what loads do."""
    for make, limits, _ in BREAKS:
        if limits.branches or limits.untimed:
            assert wirable(make(), Limits()) and not wirable(make(), limits)
    for make, limits in KEEPS:
        assert wirable(make(), limits)


def wirable(design: Design, limits: Limits) -> bool:
    """Return whether the model has the wiring of a design (its tap-offs taken out)."""
    fed = {wire.target: wire.source for wire in design.wires}

    def behind(source: Terminal) -> Terminal:
        if design.part(source.part).type is not PartType.TAP_OFF:
            return source
        return behind(fed[Terminal(source.part, "in")])

    bare = [p for p in design.parts if p.type is not PartType.TAP_OFF]
    feeds = tuple((behind(s), t) for t, s in fed.items() if t.part in {p.name for p in bare})
    skeleton = Skeleton(FULL.name, tuple(bare), feeds)
    times = tuple({int(p.setting("time") or 1000) for p in bare if p.type in TIMED})
    problem = dataclasses.replace(full_problem(limits), times=times)
    wiring = Wiring(problem, slots_of(skeleton, FULL), Formula())
    values = wiring.assignment(skeleton)
    assert values is not None
    fixed = [v if value else -v for v, value in values.items() if v <= wiring.formula.count]
    return bool(open_solver(wiring.formula, 1, False).ask(10.0, fixed).satisfiable)


# --- reading --------------------------------------------------------------------------------------

WRONG = [
    ("limits: {least: {rely make: 1}}", "has no part 'rely make'"),
    ("limits: {least: {tap-off: 1}}", "cannot be asked for"),
    ("limits: {least: {relay make: 13}}", "at most 12 of a part"),
    ("limits: {least: {relay make: many}}", "whole number"),
    ("limits: {least: 3}", "map of 'name: value'"),
    ("limits: {spare: -1}", "from 0 to"),
    ("limits: {branches: 3}", "lists of loads"),
    ("limits: {branches: [lamp]}", "two loads or more"),
    ("limits: {branches: [[lamp, lamp]]}", "named twice"),
    ("limits: {branches: [[lamp, fan], 3]}", "list of loads is expected"),
    ("limits: {branches: [lamp, fam]}", "no load 'fam'"),
    ("limits: {untimed: [lamp, pump]}", "no load 'pump'"),
    ("limits: {untimed: 3}", "list of loads, or 'all'"),
    ("limits: {untimed: [3]}", "name of a load is expected"),
    ("stock: {load: 2}", "cannot be counted as stock"),
    ("stock: {divider: 2}", "cannot be counted as stock"),
    ("stock: [relay make]", "map of 'name: value'"),
]


@pytest.mark.parametrize(("more", "sentence"), WRONG)
def test_what_cannot_be_read_is_told_at_its_place(more: str, sentence: str) -> None:
    with pytest.raises(GoalError) as told:
        pose(parse_goal_file(f"goals: [lamp always, fan while wet]\n{more}\n", "a.yaml"), FULL)
    assert sentence in told.value.message
    place = told.value.place
    assert place is not None and (place.file, place.line) == ("a.yaml", 2)


def test_all_forms() -> None:
    text = """goals: [Lamp always, fan while wet, pump at night]
limits: {least: {relay make: 1, sensor: 0}, spare: 2, branches: [[fan, lamp], [pump, lamp]],
  untimed: all}
stock: {Relay Make: 2, sensor: 0}
"""
    limits = pose(parse_goal_file(text, "a.yaml"), FULL).limits
    assert limits == Limits(
        least=(("relay make", 1),),
        stock=(("relay make", 2),),
        spare=2,
        branches=(("lamp", "fan"), ("lamp", "pump")),
        untimed=("lamp", "fan", "pump"),
    )
    schema = json.loads((DOCS / "goals.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(plain(text), schema)
    for wrong in ("branches: [lamp]", "untimed: 3", "spare: -1", "least: {relay make: 13}"):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(plain(f"goals: [lamp always]\nlimits: {{{wrong}}}\n"), schema)


def plain(text: str) -> object:
    import yaml

    load(text, "a.yaml", GoalError)
    return yaml.safe_load(text)


# --- what is told ---------------------------------------------------------------------------------

def test_the_plan_says_how_wishes_were_taken(tmp_path: Path) -> None:
    path = tmp_path / "yard.yaml"
    path.write_text(
        "goals: [lamp while wet, fan while wet]\nkit: full\n"
        "limits: {branches: [lamp, fan], spare: 2, untimed: [fan], least: {sensor: 1}}\n"
        "stock: {sensor: 1}\n",
        encoding="utf-8",
    )
    told = CliRunner().invoke(main, ["plan", str(path), "--no-cache"])
    assert told.exit_code == 0, told.output
    text = " ".join(told.stdout.split())
    for words in (
        "In stock: 1 x sensor. To be bought:",
        "'lamp' and 'fan' are on separate branches",
        "no timer carries power to 'fan'",
        "the supply delivers 2 units more",
        "at least 1 of 'sensor' is in use",
        "the cheapest design is the one for which least has to be bought",
    ):
        assert words in text
    document = json.loads(
        CliRunner().invoke(main, ["plan", str(path), "--no-cache", "--format", "json"]).stdout
    )
    schema = json.loads((DOCS / "plan.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(document, schema)
    assert document["bound"] == document["to_buy"] < document["price"]


def test_without_stock_nothing_is_told_of_it() -> None:
    problem = problem_of("lamp while wet")
    assert "to_buy" not in plan_document(planned(problem), problem)


# --- clash ----------------------------------------------------------------------------------------

BASE = "kit: full\ngoals: [lamp always, fan always, master cutoff]\n"
CLASHES = [
    (f"{BASE}limits: {{price: 6, branches: [lamp, fan]}}\n", Kind.BRANCHES),
    (f"{BASE}limits: {{supply: 2, spare: 1}}\n", Kind.SPARE),
    (f"{BASE}limits: {{price: 5, least: {{relay make: 2}}}}\n", Kind.LEAST),
    (
        "kit: full\ngoals: [lamp for 5 s after wet]\nlimits: {untimed: all, price: 14}\n",
        Kind.UNTIMED,
    ),
]


@pytest.mark.parametrize(("text", "kind"), CLASHES)
def test_clash_names_the_wish(tmp_path: Path, text: str, kind: Kind) -> None:
    path = tmp_path / "yard.yaml"
    path.write_text(text, encoding="utf-8")
    problem = pipeline.read_problem(str(path), None, None)
    found = pipeline.clash(str(path), None, problem, 60.0)
    assert found.status is Status.IMPOSSIBLE
    assert kind in {wish.kind for wish in found.clash}
    # Without the wish the rest can be had: a checked design shows it.
    assert any({wish.kind for wish in way.dropped} == {kind} for way in found.ways)


# --- many at random -------------------------------------------------------------------------------

GOALS = (
    "{x} while wet", "{x} always", "{x} while hot", "{x} while wet and hot", "{x} 1 s after wet",
    "{x} while not wet", "{x} while wet or hot",
)  # fmt: skip
WISHES = (
    "branches: [lamp, fan]", "untimed: all", "untimed: [fan]", "spare: 1", "least: {sensor: 2}",
    "least: {relay make: 1}", "least: {relay break: 1, relay make: 1}", "least: {on-delay: 1}",
    "least: {change-over: 1}", "supply: 4",
)  # fmt: skip
HIGHEST = 22


def a_wish_job(seed: int) -> Problem:
    random = Random(seed)
    goals = "; ".join(g.format(x=x) for g, x in zip(random.sample(GOALS, 2), ("lamp", "fan"),
                                                     strict=True))  # fmt: skip
    if random.random() < 0.3:
        goals += "; master cutoff"
    chosen = random.sample(WISHES, random.choice((1, 1, 2)))
    keys = [wish.split(":")[0] for wish in chosen]
    wishes = ", ".join(chosen if len(set(keys)) == len(keys) else chosen[:1])
    stock = random.choice(("", "", "relay make: 1", "change-over: 1, sensor: 1"))
    return problem_of(goals, wishes, stock)


def all_bought(problem: Problem) -> Problem:
    """Return the job up to `HIGHEST` coins of whole price, as if nothing were in stock."""
    limits = dataclasses.replace(problem.limits, stock=())
    return bounded(dataclasses.replace(problem, limits=limits), HIGHEST)


def least_to_buy(problem: Problem) -> int | None:
    """Return the least that has to be bought, up to `HIGHEST` coins of whole price."""
    best, plain = None, all_bought(problem)
    for _, skeleton in candidates(plain, HIGHEST):
        design = share_power(skeleton, KIT, plain.objectives, plain.limits)
        if design is None:
            continue
        price = design.price(KIT, problem.limits.stock)
        if (best is None or price < best) and check(design, plain, stop_at_first=True).holds:
            best = price
    return best


def compare(seed: int) -> bool | None:
    """Compare a random job with the enumeration; return whether a proven price was compared, None
    when there are too many wirings to look at."""
    problem = a_wish_job(seed)
    if not small(all_bought(problem)):
        return None
    expected = least_to_buy(problem)
    worth = sum(KIT.index[name].price * number for name, number in problem.limits.stock)
    outcome = planned(problem)
    paid = outcome.price if outcome.to_buy is None else outcome.to_buy
    if expected is None:
        # There may be designs beyond the price that was looked at.
        assert outcome.status is Status.IMPOSSIBLE or (paid or outcome.bound or 0) > HIGHEST - worth
        return False
    assert outcome.design is not None and paid is not None
    compared = outcome.status is Status.PROVEN and expected <= HIGHEST - worth
    if compared:
        assert paid == expected
    assert outcome.bound is None or outcome.bound <= expected
    assert kept(outcome.design, problem)
    return compared


@pytest.mark.slow
@pytest.mark.parametrize("start", range(0, 80, 20))
def test_random_wishes_agree_with_all_wirings(start: int) -> None:
    found = [compare(seed) for seed in range(start, start + 20)]
    assert found.count(True) > 4
