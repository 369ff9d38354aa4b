"""Bounds on what goes on for ever: against counts, against all wirings, and on known designs."""

from __future__ import annotations

import random
from collections.abc import Sequence
from fractions import Fraction
from itertools import combinations_with_replacement, product
from pathlib import Path

import pytest
from check_designs import FULL, asked, load, part, wired
from every_wiring import Wirings, count_of
from random_jobs import wanted
from test_known_designs import Case, first_scenarios, model_accepts, the_engine, wiring_of

from synth import pipeline
from synth.check import check
from synth.design import PartInUse
from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import KitPart
from synth.problem import InputKind, OutsideInput, Problem
from synth.read.design_file import parse_design
from synth.result import Status
from synth.search.pending import timers_at_once
from synth.search.perpetual import CLOSING, cannot_go_on, forced_settings, positions
from synth.search.scenario import build_scenario
from synth.signals import Cycle, Level, OnDelay, Signal, all_of
from synth.ticks import parse_duration
from synth.trace import Moment

ROOT = Path(__file__).resolve().parents[1]
TWO = "pump on 1 s of every 3 s, master cutoff for pump, fan on 1 s of every 4 s"
"""Two cycles; the one behind the cutoff starts when its switch is closed: two classes."""


def read(goals: str, kit: str = "full") -> Problem:
    return pipeline.read_problem(None, goals, kit)


def parts_of(problem: Problem, names: Sequence[str]) -> list[KitPart]:
    return [problem.kit.index[name] for name in names]


def why_not(problem: Problem, *names: str, joints: bool = False) -> str:
    waiting = timers_at_once(problem)
    return cannot_go_on(parts_of(problem, names), waiting.perpetual, problem.times, joints)


# -- what goes on, and with what settings ---------------------------------------------------------


def test_what_goes_on_for_ever() -> None:
    found = timers_at_once(read("pump on 10 s of every 60 s, fan 15 s of every 900 s")).perpetual
    assert [[(x.load, x.on, x.off) for x in group] for group in found.classes] == [
        [("pump", 10_000, 50_000), ("fan", 15_000, 885_000)]
    ]
    two = timers_at_once(read(TWO)).perpetual
    assert sorted(group[0].load for group in two.classes) == ["fan", "pump"]
    assert two.closing


@pytest.mark.parametrize(
    "goals", ["light always", "fan 5 s after hot", "bell for 30 s after each press of bell push"]
)
def test_nothing_goes_on_for_ever(goals: str) -> None:
    assert timers_at_once(read(goals)).perpetual.classes == ()


def test_a_press_that_ends_does_not_leave_a_cycle_alone(tmp_path: Path) -> None:
    """The push button opens again within 2 s, so its cycle is cut off, whatever is waited for."""
    path = tmp_path / "goals.yaml"
    path.write_text(
        "title: t\nkit: full\ninputs: {push: button}\n"
        "goals: ['horn on 10 s of every 60 s only while push is pressed']\n"
        "known: ['a press of push lasts at most 2 s']\n",
        encoding="utf-8",
    )
    assert timers_at_once(pipeline.read_problem(str(path), None, None)).perpetual.classes == ()


@pytest.mark.parametrize("seed", range(40))
def test_forced_settings_against_sums_one_by_one(seed: int) -> None:
    rng = random.Random(seed)
    times = sorted(rng.sample(range(1, 15), rng.randint(1, 5)))
    waits = rng.sample(range(1, 40), rng.randint(1, 3))

    def can(settings: Sequence[int]) -> bool:
        sums = {0}
        for _ in range(40):
            sums |= {a + b for a in sums for b in settings if a + b <= 40}
        return all(wait in sums for wait in waits)

    expected = tuple(t for t in times if not can([x for x in times if x != t]))
    assert forced_settings(waits, times) == expected


def test_no_setting_is_forced_where_there_are_too_many_sums_to_look_at() -> None:
    """Two million steps are a sum of steps of 2 alone, and of steps of 1."""
    assert forced_settings([2_000_002], [1, 2]) == ()


# -- positions of relays --------------------------------------------------------------------------


@pytest.mark.parametrize("breaks", [1, 2, 3])
@pytest.mark.parametrize("other", ["", "relay make", "change-over relay"])
def test_no_net_of_relays_has_more_settled_positions(breaks: int, other: str) -> None:
    """Coils that hang on ways through contacts, at random: settled positions, counted.

    A change-over relay is asked for its make contact alone: with that it has as many positions as
    a make relay.
    """
    makes = int(bool(other))
    count, rng, most = breaks + makes, random.Random(breaks * 7 + makes), 0
    # For each coil, ways that each lead through some of the contacts. First: a break relay
    # operates while no other does, a make relay holds itself.
    own = [
        [[i < breaks and i != j if j < breaks else i == j for i in range(count)]]
        for j in range(count)
    ]
    nets = [own] + [
        [
            [[rng.random() < 0.4 for _ in range(count)] for _ in range(rng.randint(0, 3))]
            for _ in range(count)
        ]
        for _ in range(4000)
    ]
    for coils in nets:
        settled = 0
        for operated in product((False, True), repeat=count):
            closed = [on != (i < breaks) for i, on in enumerate(operated)]
            settled += all(
                any(all(closed[i] for i in range(count) if way[i]) for way in ways) == on
                for ways, on in zip(coils, operated, strict=True)
            )
        most = max(most, settled)
    kit = read("light always").kit
    names = ["relay break"] * breaks + [other] * makes
    bound = positions([kit.index[name] for name in names])
    assert most <= bound
    assert most == bound, "the bound is met, so it cannot be lower"


# -- against all wirings --------------------------------------------------------------------------


NEVER = [
    # Nothing closes while nothing else happens.
    ("fan on 1 s of every 3 s", ("pulse timer", "pulse timer", "relay make")),
    ("fan on 1 s of every 3 s", ("pulse timer", "off-delay timer", "impulse relay")),
    ("fan 1 s after hot", ("sensor", "pulse timer", "relay make")),
    # A timer for each cycle, and too few relays to count with.
    ("fan on 1 s of every 6 s", ("pulse timer", "relay break", "relay break")),
    (TWO, ("switch", "pulse timer", "pulse timer", "relay break")),
    (TWO, ("switch", "pulse timer", "on-delay timer", "relay break")),
]
LONGER = [
    (TWO, ("switch", "pulse timer", "pulse timer", "bistable relay")),
    (TWO, ("switch", "pulse timer", "pulse timer", "relay break", "joint")),
    (TWO, ("switch", "pulse timer", "pulse timer", "relay break", "relay break")),
]


@pytest.mark.parametrize(("goals", "names"), NEVER)
def test_no_wiring_does_what_is_ruled_out(goals: str, names: tuple[str, ...]) -> None:
    nothing_does(goals, names)


@pytest.mark.slow
@pytest.mark.parametrize(("goals", "names"), LONGER)
def test_no_wiring_does_what_is_ruled_out_at_length(goals: str, names: tuple[str, ...]) -> None:
    nothing_does(goals, names, "starter")


def nothing_does(goals: str, names: tuple[str, ...], kit: str = "full") -> None:
    """Assert that these parts are ruled out, and that in fact none of all their wirings holds."""
    problem = read(goals, kit)
    assert why_not(problem, *names)
    assert doing(problem, names) == 0


def doing(problem: Problem, names: Sequence[str]) -> int:
    """Return how many wirings of these parts stand a long run in which the switch closes late."""
    free = [x.name for x in problem.inputs if x.name != "supply"]
    offers = [
        (problem.kit.index[name], free[0] if name in ("switch", "sensor") else "") for name in names
    ]
    wirings = Wirings(problem, offers)
    assert wirings.count == count_of(problem, offers) < 100_000_000
    start = {"supply": True, **dict.fromkeys(free, False)}
    runs = [[(0, start), (1, {**start, **dict.fromkeys(free, True)}), (60, start)]]
    for run in runs:
        wirings.run(run, wanted(problem, run))
    alive = wirings.alive
    for outputs in wirings.does.values():
        some = 0
        for mask in outputs:
            some |= mask
        alive &= some
    return alive.bit_count()


def test_one_more_part_is_enough() -> None:
    """The run does not reject all: with two timers and a break relay a cycle can be had."""
    problem = read("fan on 1 s of every 3 s")
    names = ("pulse timer", "pulse timer", "relay break")
    assert why_not(problem, *names) == ""
    assert doing(problem, names) > 0


# -- as few timers as classes, one that closes ----------------------------------------------------


@pytest.mark.parametrize(
    ("goals", "relays", "enough"),
    [
        # One timer of 1 s counts six: three two-way relays tell eight apart, two do not.
        ("fan on 1 s of every 6 s", ("relay make", "relay make", "relay break"), False),
        ("fan on 1 s of every 6 s", ("bistable relay",) * 3, True),
        # Both pulse timers run as before after 30 s at the latest, and all repeats after 900 s.
        (
            "pump on 10 s of every 60 s, fan 15 s of every 900 s, master cutoff for pump",
            ("bistable relay",) * 4,
            False,
        ),
        (
            "pump on 10 s of every 60 s, fan 15 s of every 900 s, master cutoff for pump",
            ("bistable relay",) * 5,
            True,
        ),
    ],
)
def test_relays_that_count(goals: str, relays: tuple[str, ...], enough: bool) -> None:
    problem = read(goals)
    timers = ("pulse timer",) * len(timers_at_once(problem).perpetual.classes)
    assert (why_not(problem, *timers, *relays) == "") is enough


def test_make_relays_that_count_hold_themselves_through_joints() -> None:
    """Without joints they remember nothing: in the list, or beside it."""
    problem = read("fan on 1 s of every 6 s")
    parts = ["pulse timer", *(["relay make"] * 3), "relay break"]
    assert why_not(problem, *parts)
    assert why_not(problem, *parts, "joint", "joint")
    assert why_not(problem, *parts, "joint", "joint", "joint") == ""
    assert why_not(problem, *parts, joints=True) == ""


def test_recyclers_know_two_phases() -> None:
    """With a recycler for the pump and a pulse timer of 5 s for the rest 15 starts of the pump
    have different futures, of which the recycler tells two apart; the other way round 45 starts
    of the stirrer."""
    goals = (
        "pump on 10 s of every 60 s, fan 15 s of every 900 s, master cutoff for pump, "
        "stirrer on 5 s of every 20 s"
    )
    problem = read(goals)
    assert why_not(problem, "recycler", "pulse timer", "bistable relay", "bistable relay")
    assert why_not(problem, "recycler", "pulse timer", *(["bistable relay"] * 3)) == ""
    # Whichever comes first in the list.
    assert why_not(problem, "pulse timer", "recycler", "bistable relay", "bistable relay")
    assert why_not(problem, "pulse timer", "recycler", *(["bistable relay"] * 3)) == ""
    # Two recyclers: 45 starts of the stirrer, two phases of each, 50 s in steps of 5 s.
    assert why_not(problem, "recycler", "recycler")
    assert why_not(problem, "recycler", "recycler", "bistable relay") == ""


def test_a_recycler_has_two_settings() -> None:
    """2 s on and 3 s off, each a setting that is needed (no sum of the other makes it): one
    recycler has both of them, a pulse timer, which restarts nothing, has one."""
    problem = asked({"lamp": Cycle(SUPPLY, 2000, 3000)}, times=(2000, 3000))
    assert timers_at_once(problem).perpetual.forced == (2000, 3000)
    assert "one timer cannot be set" in why_not(problem, "pulse timer", "relay break")
    outcome = pipeline.plan(problem, seconds=10)
    assert outcome.status is Status.PROVEN and outcome.design is not None
    assert check(outcome.design, problem).holds
    assert outcome.price == FULL.index["recycler"].price


@pytest.mark.parametrize("closing", ["relay break", "bistable relay"])
def test_one_part_that_closes(closing: str) -> None:
    three, four = ("pulse timer",) * 3, ("pulse timer",) * 4
    problem = read(TWO)
    assert "cannot start timers again" in why_not(problem, closing, *three)
    assert "cannot start timers again" in why_not(problem, closing, *three, "joint")
    assert "cannot start timers again" in why_not(problem, closing, *four)
    # The proof is for three timers, or no joints: none in the list, nor any that cost nothing.
    assert why_not(problem, closing, *four, "joint") == ""
    assert why_not(problem, closing, *four, joints=True) == ""
    # Other parts that keep a state: not within the proof.
    assert why_not(problem, closing, *three, "relay make") == ""
    assert why_not(problem, closing, "pulse timer", "pulse timer", "off-delay timer") == ""
    # Nor other parts that close: one contact of a change-over closes as the other opens.
    for other in ("change-over relay", "on-delay timer", "recycler"):
        assert why_not(problem, other, *three) == ""
        assert why_not(problem, closing, other, *three) == ""
    # One cycle alone is had so.
    assert why_not(read("fan on 1 s of every 3 s"), closing, *three) == ""


# -- designs that hold ----------------------------------------------------------------------------

SUPPLY, HOT = Level("supply"), Level("hot")
SUPPLY_ON = (Moment(Fraction(0), (("supply", True),)),)
TWO_TIMERS = {
    "A.in": "supply",
    "B.in": "supply",
    "lamp.in": "A.out",
    "B.start": "A.out",
}
CLOSES: dict[PartType, tuple[Signal, list[PartInUse], dict[str, str]]] = {
    PartType.RELAY_BREAK: (
        Cycle(SUPPLY, 1000, 2000),
        [part("R", PartType.RELAY_BREAK)],
        {**TWO_TIMERS, "R.in": "supply", "R.coil": "B.out", "A.start": "R.out"},
    ),
    PartType.RELAY_CHANGEOVER: (
        Cycle(SUPPLY, 1000, 2000),
        [part("R", PartType.RELAY_CHANGEOVER)],
        {**TWO_TIMERS, "R.in": "supply", "R.coil": "B.out", "A.start": "R.break"},
    ),
    PartType.BISTABLE: (
        Cycle(SUPPLY, 1000, 2000),
        [part("R", PartType.BISTABLE, wins="reset")],
        {
            **TWO_TIMERS,
            "R.in": "supply",
            "R.set": "supply",
            "R.reset": "B.out",
            "A.start": "R.out",
        },
    ),
    PartType.ON_DELAY: (
        OnDelay(HOT, 1000, SUPPLY),
        [
            part("D", PartType.ON_DELAY, time=1000),
            part("hot", PartType.SENSOR, input="hot", contact="make"),
        ],
        {"hot.in": "supply", "D.in": "supply", "D.start": "hot.out", "lamp.in": "D.out"},
    ),
    PartType.RECYCLER: (
        Cycle(SUPPLY, 1000, 2000),
        [part("C", PartType.RECYCLER, on=1000, off=2000, first="pulse")],
        {"C.in": "supply", "lamp.in": "C.out"},
    ),
}
"""For each part of CLOSING a design in which nothing else closes while no input changes."""


def test_each_part_that_may_close_has_its_design() -> None:
    assert set(CLOSES) == CLOSING


@pytest.mark.parametrize("kind", CLOSES)
def test_what_may_close_does_so_in_a_design(kind: PartType) -> None:
    """Neither the bound nor the model, at any point of its first runs, says that it cannot."""
    signal, parts, feeds = CLOSES[kind]
    if "A.in" in feeds:
        timers = [part(n, PartType.PULSE, time=t) for n, t in (("A", 1000), ("B", 3000))]
        parts = [*parts, *timers]
    design = wired([*parts, load("lamp")], feeds)
    assert [p.type for p in parts if p.type in CLOSES] == [kind]
    # A bistable relay keeps its position without power: with no power cut there is no race.
    steady = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    problem = asked({"lamp": signal}, steady, times=(1000, 2000, 3000))
    assert check(design, problem).holds
    perpetual = timers_at_once(problem).perpetual
    assert perpetual.closing == "lamp"
    kinds = [FULL.index[item.part] for item in parts]
    assert cannot_go_on(kinds, perpetual, problem.times, False) == ""
    engine = the_engine(problem)
    scenarios = first_scenarios(engine)
    assert any(point.rises for scenario in scenarios for point in scenario.points)
    case = Case(problem, wiring_of(design), design.price(FULL), design.supply)
    for number, scenario in enumerate(scenarios):
        assert model_accepts(case, engine, scenario), number
    # Without it nothing closes.
    others = [part for part in kinds if part.type is not kind]
    assert "nothing can make 'lamp' go on" in cannot_go_on(others, perpetual, (1000,), False)


@pytest.mark.parametrize("halvings", [1, 2, 3])
def test_as_few_relays_as_can_count(halvings: int) -> None:
    """One timer of 1 s that starts itself again; each impulse relay halves the pace, so that all
    their positions are needed to tell apart what follows: as many as the bound asks for."""
    parts = [
        part("T", PartType.PULSE, time=1000),
        part("R", PartType.RELAY_BREAK),
        *(part(f"I{i}", PartType.IMPULSE) for i in range(halvings)),
    ]
    feeds = {"T.in": "supply", "R.in": "supply", "T.start": "R.out", "R.coil": "T.out"}
    for i in range(halvings):
        feeds |= {f"I{i}.in": "supply", f"I{i}.pulse": f"I{i - 1}.out" if i else "R.out"}
    feeds["lamp.in"] = f"I{halvings - 1}.out"
    half = 1000 * 2 ** (halvings - 1)
    steady = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    problem = asked({"lamp": Cycle(SUPPLY, half, half)}, steady, times=(1000,))
    design = wired([*parts, load("lamp")], feeds)
    assert check(design, problem).holds
    kinds = [FULL.index[item.part] for item in parts]
    perpetual = timers_at_once(problem).perpetual
    assert cannot_go_on(kinds, perpetual, problem.times, False) == ""
    assert cannot_go_on(kinds[:-1], perpetual, problem.times, False)
    # Of points in a row the relays differ alone, and after a period nothing does.
    scenario = build_scenario(problem, SUPPLY_ON, problem.times, 5 * half)
    case = Case(problem, wiring_of(design), design.price(FULL), design.supply)
    assert model_accepts(case, the_engine(problem), scenario)


@pytest.mark.parametrize("first", ["pulse", "pause"])
def test_a_recycler_needs_no_relay(first: str) -> None:
    """Its two phases are all the states there are: with any other wish for one it is refuted."""
    recycler = part("C", PartType.RECYCLER, on=1000, off=2000, first=first)
    design = wired([recycler, load("lamp")], {"C.in": "supply", "lamp.in": "C.out"})
    wish = Cycle(SUPPLY, 1000, 2000, pulse_first=first == "pulse")
    problem = asked({"lamp": wish}, times=(1000, 2000))
    assert check(design, problem).holds
    scenario = build_scenario(problem, SUPPLY_ON, problem.times, 9000)
    case = Case(problem, wiring_of(design), design.price(FULL), design.supply)
    assert model_accepts(case, the_engine(problem), scenario)
    perpetual = timers_at_once(problem).perpetual
    assert cannot_go_on([FULL.index["recycler"]], perpetual, problem.times, False) == ""


def test_two_recyclers_need_no_relay() -> None:
    """Each goes its own way, begun by an input of its own."""
    wishes = {
        "lamp": Cycle(all_of(SUPPLY, HOT), 1000, 2000),
        "fan": Cycle(all_of(SUPPLY, Level("damp")), 1000, 3000),
    }
    problem = asked(wishes, times=(1000, 2000, 3000))
    parts = [
        part("hot", PartType.SENSOR, input="hot", contact="make"),
        part("damp", PartType.SENSOR, input="damp", contact="make"),
        part("C", PartType.RECYCLER, on=1000, off=2000, first="pulse"),
        part("D", PartType.RECYCLER, on=1000, off=3000, first="pulse"),
    ]
    feeds = {"hot.in": "supply", "damp.in": "supply", "C.in": "hot.out", "D.in": "damp.out"}
    loads = [load("lamp"), load("fan")]
    design = wired([*parts, *loads], {**feeds, "lamp.in": "C.out", "fan.in": "D.out"})
    assert check(design, problem).holds
    perpetual = timers_at_once(problem).perpetual
    assert len(perpetual.classes) == 2
    kinds = [FULL.index[item.part] for item in parts]
    assert cannot_go_on(kinds, perpetual, problem.times, False) == ""


@pytest.mark.parametrize("path", sorted((ROOT / "tests" / "designs").glob("*.json")))
def test_no_design_that_holds_is_ruled_out(path: Path) -> None:
    problem = pipeline.read_problem(str(ROOT / "goals" / f"{path.stem}.yaml"), None, None)
    design = parse_design(path.read_text(encoding="utf-8"), str(path), problem.kit)
    kinds = [problem.kit.index[part.part] for part in design.parts]
    waiting = timers_at_once(problem)
    assert cannot_go_on(kinds, waiting.perpetual, problem.times, False) == ""
    settings = {
        parse_duration(str(value)) if isinstance(value, str) else int(value)
        for part in design.parts
        if part.type in TIMED
        for key, value in part.settings
        if key in ("time", "on", "off")
    }
    assert set(waiting.perpetual.forced) <= settings


def test_all_lists_below_the_least_of_a_cycle_are_ruled_out_in_truth() -> None:
    """Every list of up to three controlled parts that is ruled out has no wiring that works."""
    problem = read("fan on 1 s of every 3 s", "starter")
    names = ["pulse timer", "relay make", "relay break"]
    ruled_out = 0
    for count in (1, 2, 3):
        for chosen in combinations_with_replacement(names, count):
            if why_not(problem, *chosen):
                ruled_out += 1
                assert doing(problem, chosen) == 0, chosen
    assert ruled_out > 8
