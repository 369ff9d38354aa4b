"""Little done to what is wired: what a person at the bench would do without planning anew.

What each way says is carried out and counted by code of `test_change`. All jobs are invented; what
the least is was worked out by hand, where a test says so.
"""

from __future__ import annotations

import json
from itertools import pairwise, product
from pathlib import Path
from random import Random
from typing import Any

import pytest
from check_designs import FULL, load, part, wired
from test_change import asked, document, really

from synth import pipeline
from synth.check import structure
from synth.design import Design, Terminal, Wire, design_document
from synth.explore import small_changes, trimmed
from synth.parts.behaviour import PartType
from synth.share import refitted

DAIRY = "stirrer on 10 s of every 60 s, lamp while dark, chiller while warm, master cutoff"


def planned(goals: str, folder: Path, name: str, kit: str = "starter") -> Path:
    outcome = pipeline.plan(pipeline.read_problem(None, goals, kit), seconds=30)
    assert outcome.design is not None
    file = folder / f"{name}.json"
    file.write_text(json.dumps(design_document(outcome.design)), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def dairy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A design file for the goals DAIRY."""
    return planned(DAIRY, tmp_path_factory.mktemp("dairy"), "dairy")


def touched(way: dict[str, Any]) -> tuple[int, int, int]:
    """Return how many wires move, are new and go."""
    return len(way["moved_wires"]), len(way["new_wires"]), len(way["gone_wires"])


def first(file: Path, goals: str, *words: str) -> dict[str, Any]:
    """Return the first way, carried out and counted."""
    found = document(file, goals, "--time-limit", "10", *words)
    old = json.loads(file.read_text(encoding="utf-8"))
    for way in found["ways"]:
        really(old, way, goals, old["kit"])
    return found["ways"][0]


@pytest.mark.parametrize(
    ("goals", "moved", "new", "gone", "out", "put_in"),
    [
        # A time is a setting.
        (DAIRY.replace("10 s", "25 s"), 0, 0, 0, 0, set()),
        # By hand: the lamp, its sensor, and the wire to each.
        (DAIRY.replace("lamp while dark, ", ""), 0, 0, 2, 2, set()),
        # By hand: the lamp hangs where its sensor did, which goes.
        (DAIRY.replace("lamp while dark", "lamp always"), 1, 0, 1, 1, set()),
        # By hand: another sensor in the wire to the lamp or to its sensor.
        (DAIRY.replace("lamp while dark", "lamp while dark and busy"), 1, 1, 0, 0, {"sensor"}),
        # The same sensor, of something else: another part of the same kind.
        (DAIRY.replace("while dark", "while not dark"), 0, 0, 0, 0, set()),
    ],
    ids=["time", "load gone", "condition gone", "condition more", "contact"],
)
def test_little_is_done(
    dairy: Path, goals: str, moved: int, new: int, gone: int, out: int, put_in: set[str]
) -> None:
    way = first(dairy, goals)
    assert touched(way) == (moved, new, gone)
    assert len(way["taken_out"]) == out
    kinds = {p["name"]: p["type"] for p in way["design"]["parts"]}
    assert {kinds[name] for name in way["new_parts"]} == put_in
    if not (moved or new or gone):
        assert way["set_anew"] and way["to_buy"] == 0


def test_a_second_condition_that_is_enough_is_put_beside(dairy: Path) -> None:
    """By hand: a sensor on a tap-off, a joint before the lamp: two wires move."""
    way = first(dairy, DAIRY.replace("lamp while dark", "lamp while dark or busy"))
    assert touched(way)[0] <= 2 and not way["taken_out"]
    kinds = sorted(p["type"] for p in way["design"]["parts"] if p["name"] in way["new_parts"])
    assert kinds == ["joint", "sensor", "tap-off"]


def test_what_is_sensed_now_is_another_sensor(dairy: Path) -> None:
    """By hand: the sensor is exchanged, with the wires to it."""
    way = first(dairy, DAIRY.replace("lamp while dark", "lamp while dusty"))
    kinds = {p["name"]: p["type"] for p in way["design"]["parts"]}
    assert [kinds[name] for name in way["new_parts"]] == ["sensor"]
    assert len(way["taken_out"]) == 1 and way["to_buy"] == 4
    assert touched(way) == (1, 1, 1)


def test_a_load_that_needs_more_is_told(dairy: Path, tmp_path: Path) -> None:
    goals = tmp_path / "more.yaml"
    text = "kit: starter\nloads: {chiller: 6}\ngoals: ['" + DAIRY + "']\n"
    goals.write_text(text, encoding="utf-8")
    way = document(dairy, str(goals))["ways"][0]
    assert touched(way) == (0, 0, 0) and way["needs_anew"] == ["chiller"]
    assert way["carry_anew"] and way["supply"] >= 6
    told = " ".join(asked(dairy, str(goals)).output.split())
    assert "- chiller needs 6 units now (was 1)" in told and "No wire is touched." in told
    assert "Wires that stay and carry other units" in told


def test_a_timer_of_another_kind_is_bought_and_wired(tmp_path: Path) -> None:
    """From off-delay to on-delay: by hand, the timer is exchanged with the wires to it."""
    file = planned("lamp while hot and for 10 s after", tmp_path, "lamp", "full")
    way = first(file, "lamp 10 s after hot")
    kinds = {p["name"]: p["type"] for p in way["design"]["parts"]}
    assert "on-delay-timer" in {kinds[name] for name in way["new_parts"]}
    assert way["taken_out"] and way["to_buy"] > 0 and sum(touched(way)) > 0


def test_what_was_changed_once_is_changed_again_as_little(dairy: Path, tmp_path: Path) -> None:
    """A load put beside what was there, and then a time: nothing is laid out anew."""
    more = f"{DAIRY}, bell for 9 s after push is pressed"
    told = asked(dairy, more, "--out", str(tmp_path / "once"))
    assert told.exit_code == 0, told.output
    again = tmp_path / "once" / "design.json"
    way = first(again, more.replace("9 s", "12 s"))
    assert touched(way) == (0, 0, 0) and len(way["set_anew"]) == 1
    # A new load and another time at once.
    way = first(dairy, more.replace("10 s", "25 s"))
    assert touched(way)[0] == 1 and way["connections_changed"] == 0


def test_a_load_that_follows_a_wired_one_is_tapped_there(tmp_path: Path) -> None:
    """By hand: a tap-off before the mixer; one wire moves, 2 coins."""
    goals = "mixer started by go and stopped by halt"
    file = planned(goals, tmp_path, "mixer", "full")
    way = first(file, f"{goals}, lamp while mixer is on")
    assert (way["connections_changed"], way["to_buy"]) == (0, 2)
    assert touched(way) == (1, 2, 0)


def test_the_text_goes_in_the_order_of_the_work(dairy: Path) -> None:
    goals = DAIRY.replace("lamp while dark", "lamp while dark and busy").replace("10 s", "25 s")
    told = asked(dairy, goals.replace("chiller while warm, ", "")).output
    steps = [
        "Goals", "step by step", "Take off first", "Parts and settings", "take out chiller",
        "put in sensor busy 1", "set anew", "Put on last", "Assumptions", "Checked",
    ]  # fmt: skip
    assert [told.index(step) for step in steps] == sorted(told.index(step) for step in steps)
    flat = " ".join(told.split())
    assert "Wired, and in no goal any more: chiller." in flat
    assert "'busy' is a sensor" in flat
    assert "25 s (was: 10 s)" in flat
    assert "in all until now, with" in flat


def test_another_design_altogether_is_asked_about(dairy: Path) -> None:
    told = " ".join(asked(dairy, "bell while rung").output.split())
    assert "None of the loads that are wired is in these goals: is it the right design?" in told


def test_a_kit_that_does_not_count_is_told(dairy: Path, tmp_path: Path) -> None:
    """What is wired is of the starter kit; a goal file that names another one is read with that."""
    for named, said in (("full", True), ("starter", False)):
        goals = tmp_path / f"{named}.yaml"
        text = DAIRY.replace("10 s", "25 s")
        goals.write_text(f"kit: {named}\ngoals: ['{text}']\n", encoding="utf-8")
        told = " ".join(asked(dairy, str(goals)).output.split())
        line = "the kit is 'starter', not 'full' as the goal file says"
        assert (line in told) is said


def test_a_way_that_is_not_there_is_told_after_those_that_are(dairy: Path) -> None:
    told = asked(dairy, DAIRY.replace("10 s", "25 s"), "--way", "9")
    assert told.exit_code == 2
    assert "Ways, the fewest changed connections first" in told.output


def test_a_clock_that_serves_nothing_goes_too() -> None:
    """A timer that only starts itself again, by way of a relay, feeds no load."""
    design = wired(
        [
            part("K", PartType.RELAY_BREAK),
            part("T", PartType.PULSE, time=5000),
            load("pump"),
            load("lamp"),
        ],
        {
            "T.in": "supply", "T.start": "K.out", "K.in": "supply", "K.coil": "T.out",
            "pump.in": "T.out", "lamp.in": "supply",
        },
    )  # fmt: skip
    left = trimmed(design, {"lamp": 1})
    assert not {"K", "T", "pump"} & {p.name for p in left.parts}
    assert {"K", "T", "pump"} <= {p.name for p in trimmed(design, {"pump": 1}).parts}


def test_tap_offs_that_are_there_stay_where_one_output_is_left() -> None:
    """Only what a change itself would put in, and needs for nothing, is left out of it."""
    design = wired(
        [
            part("probe", PartType.SENSOR, input="hot", contact="make"),
            part("T", PartType.PULSE, time=5000),
            load("bell"),
            load("lamp"),
        ],
        {
            "probe.in": "supply", "T.in": "supply", "T.start": "probe.out", "bell.in": "T.out",
            "lamp.in": "supply",
        },
    )  # fmt: skip
    there = {p.name for p in design.parts if p.type is PartType.TAP_OFF}
    assert len(there) == 2
    problem = pipeline.read_problem(None, "bell while hot, lamp always", "full")
    after = {change.step: change.design for change in small_changes(design, problem)}
    # By hand: the bell hangs on the probe, which fed the timer alone; the timer goes.
    moved = after["let bell:in be fed from probe:out"]
    assert "T" not in {p.name for p in moved.parts}
    assert {p.name for p in moved.parts if p.type is PartType.TAP_OFF} == there
    # The lamp on the probe as well takes a tap-off more.
    both = after["let lamp:in be fed from probe:out"]
    assert len({p.name for p in both.parts if p.type is PartType.TAP_OFF} - there) == 1


def a_tree(random: Random) -> Design:
    """Return random splitting parts with loads at their ends."""
    parts, wires, open_ends = [], list[Wire](), [Terminal("supply", "out")]
    for number in range(random.randint(1, 4)):
        source = open_ends.pop(random.randrange(len(open_ends)))
        kind = random.choice((PartType.TAP_OFF, PartType.DIVIDER))
        name, units = f"S{number}", {"units": random.randint(1, 9)}
        parts.append(part(name, kind, **(units if kind is PartType.TAP_OFF else {})))
        wires.append(Wire(len(wires) + 1, source, Terminal(name, "in")))
        ends = ["branch", "rest"] if kind is PartType.TAP_OFF else ["out1", "out2", "out3"]
        if kind is PartType.DIVIDER and random.random() < 0.4:
            ends = random.sample(ends, 2)
        open_ends += [Terminal(name, end) for end in ends]
    for number, source in enumerate(open_ends):
        parts.append(load(f"L{number}", random.randint(1, 4)))
        wires.append(Wire(len(wires) + 1, source, Terminal(f"L{number}", "in")))
    supply = part("supply", PartType.SUPPLY, units=1)
    return Design("full", (supply, *parts), tuple(wires))


@pytest.mark.parametrize("seed", range(60))
def test_wires_that_stay_get_the_least_units_that_do(seed: int) -> None:
    """Against all settings of the tap-offs (up to 12 units) with one unit less at the supply."""
    design = a_tree(Random(seed))
    fitted = refitted(design, FULL)
    assert structure(fitted, FULL) == ()
    assert [(w.source, w.target) for w in fitted.wires] == [
        (w.source, w.target) for w in design.wires
    ]
    taps = [p.name for p in design.parts if p.type is PartType.TAP_OFF]
    for units in product(range(1, 13), repeat=len(taps)) if len(taps) < 3 else ():
        chosen = {**dict(zip(taps, units, strict=True)), "supply": fitted.supply - 1}
        if fitted.supply == 1:
            continue
        less = Design(
            design.kit,
            tuple(
                part(p.name, p.type, units=chosen[p.name]) if p.name in chosen else p
                for p in design.parts
            ),
            design.wires,
        )
        assert structure(less, FULL)


def test_hundreds_of_contacts_in_series_are_no_matter() -> None:
    """As deep as a board may be: by hand the lamp needs its units at every contact."""
    parts = [part(f"s{n}", PartType.SENSOR, input="hot", contact="make") for n in range(1500)]
    names = ["supply", *(p.name for p in parts), "lamp"]
    wires = tuple(
        Wire(n, Terminal(a, "out"), Terminal(b, "in"))
        for n, (a, b) in enumerate(pairwise(names), 1)
    )
    supply = part("supply", PartType.SUPPLY, units=1)
    design = Design("full", (supply, *parts, load("lamp", 3)), wires)
    assert refitted(design, FULL).supply == 3
