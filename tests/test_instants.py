"""What loads may do for an instant, where the parts of a circuit are not equally quick."""

from __future__ import annotations

import itertools
import json
import time
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from check_designs import asked, load, part, wired
from click.testing import CliRunner
from plain_simulation import Plain

from synth import pipeline
from synth.check import check, check_with_instants, instants, not_looked_at
from synth.cli import main
from synth.design import Design, PartInUse
from synth.parts.behaviour import PartType
from synth.problem import Apart, InputKind, OutsideInput, Problem
from synth.signals import And, Level, Not

HOT, POWER = Level("hot"), Level("supply")


def two_relays() -> tuple[Design, Problem]:
    """Return a fan while hot and a heater while not, each behind a relay with a probe of its own:
    as it gets hot one of them operates and the other releases."""
    design = wired(
        [
            part("probe", PartType.SENSOR, input="hot", contact="make"),
            part("other", PartType.SENSOR, input="hot", contact="break"),
            part("A", PartType.RELAY_MAKE),
            part("B", PartType.RELAY_MAKE),
            load("fan"),
            load("heater"),
        ],
        {
            "probe.in": "supply",
            "other.in": "supply",
            "A.in": "supply",
            "A.coil": "probe.out",
            "fan.in": "A.out",
            "B.in": "supply",
            "B.coil": "other.out",
            "heater.in": "B.out",
        },
    )
    return design, asked({"fan": And((POWER, HOT)), "heater": And((POWER, Not(HOT)))})


def instants_in_words(design: Design, problem: Problem) -> tuple[str, ...]:
    """Return what is told of a design that holds besides what the check itself remarks."""
    plain, verdict = check(design, problem), check_with_instants(design, problem)
    assert plain.holds and verdict.holds and verdict.notes[: len(plain.notes)] == plain.notes
    return verdict.notes[len(plain.notes) :]


def with_pair(problem: Problem) -> Problem:
    """Return the problem with fan and heater never on together."""
    return replace(problem, apart=(Apart("fan", "heater", 3),))


def test_two_relays_of_one_input_may_meet() -> None:
    """By hand: as it gets hot A operates and B releases. Where A is quicker, both loads are on;
    moving together they never are."""
    design, problem = two_relays()
    problem = with_pair(problem)
    assert check(design, problem).holds
    assert instants_in_words(design, problem) == (
        "fan and heater may be on together for an instant when 'hot' comes on, where A is quicker "
        "than B: what must not even then needs an interlock of its own",
    )


def test_one_change_over_keeps_apart() -> None:
    """One contact, on one side or on the other, moves alone. (Never hot as the supply comes on:
    then the heater would blink till the relay has moved.)"""
    design = wired(
        [
            part("probe", PartType.SENSOR, input="hot", contact="make"),
            part("A", PartType.RELAY_CHANGEOVER),
            load("fan"),
            load("heater"),
        ],
        {
            "probe.in": "supply",
            "A.in": "supply",
            "A.coil": "probe.out",
            "fan.in": "A.make",
            "heater.in": "A.break",
        },
    )
    _, problem = two_relays()
    inputs = tuple(
        replace(item, released_as=("supply",)) if item.name == "hot" else item
        for item in problem.inputs
    )
    problem = replace(problem, inputs=inputs)
    assert instants_in_words(design, with_pair(problem)) == (
        "fan and heater are never on together, not for an instant, whichever part moves first",
    )
    # Nothing is said of loads that nobody asked to be apart.
    assert instants_in_words(design, problem) == ()


def of_one_coil_line(*more: PartInUse, **feeds: str) -> Design:
    """Return a lamp and two relays, A with a make and B with a break contact, both with their coils
    on one probe; with more parts, fed as `feeds` says ("B_in": "A.out")."""
    relays = [part("A", PartType.RELAY_MAKE), part("B", PartType.RELAY_BREAK)]
    common = {"probe.in": "supply", "A.in": "supply", "A.coil": "probe.out", "B.coil": "probe.out"}
    own = {end.replace("_", "."): source for end, source in feeds.items()}
    probe = part("probe", PartType.SENSOR, input="hot", contact="make")
    return wired([probe, *relays, *more, load("lamp")], {**common, **own})


def test_a_load_that_comes_on_for_an_instant() -> None:
    """By hand: lamp behind the make contact of A and the break contact of B, both with their coils
    on the probe. Moving together it stays off; with A quicker than B it comes on."""
    design = of_one_coil_line(B_in="A.out", lamp_in="B.out")
    problem = asked({"lamp": And((HOT, Not(HOT)))})
    # The supply may come on while it is hot: nearer to the start than a change of the probe.
    assert instants_in_words(design, problem) == (
        "lamp may come on for an instant when the supply comes on with hot on, where A is quicker "
        "than B",
    )


def test_a_load_that_changes_and_changes_back() -> None:
    """By hand: the lamp hangs on a joint of A's make contact and of B's break contact. As it gets
    hot, moving together, it stays on all the while; with B quicker than A it goes off."""
    joint = part("J", PartType.JOINT)
    design = of_one_coil_line(joint, B_in="supply", J_in1="A.out", J_in2="B.out", lamp_in="J.out")
    problem = asked({"lamp": POWER}, OutsideInput("hot", InputKind.SENSOR))
    assert instants_in_words(design, problem) == (
        "lamp may go off for an instant when the supply comes on with hot on, where B is quicker "
        "than A",
    )


JOBS = (
    "red while a and not b, green while b and not a, red and green never together",
    "winch started by haul and stopped by halt, horn while winch is on, siren while winch is off",
    "winch while haul is on, lift started by up and stopped by down, winch and lift never together",
    "raise while up and not down, lower while down and not up, raise and lower never together",
    "fan while hot or damp, heater while not hot, fan and heater never together",
    "pump started by go and stopped by full, lamp while pump is off, bell while pump is on and hot",
    "gate started by pull and stopped by end, lamp while gate is on or bright",
)


def _steps(plain: Plain, states: dict[str, int], levels: dict[str, bool]) -> dict[str, int]:
    """Return the parts that are about to move, each with what it moves to."""
    nexts, _, _ = plain.step(states, levels, set())
    return {name: after for name, after in nexts.items() if after != states[name]}


def seen_in_random_orders(
    design: Design, problem: Problem, random: Random, events: int
) -> tuple[set[str], set[tuple[str, str]]]:
    """Return the loads seen to change more than once at an event, and the pairs seen on together,
    in a random run in which parts move in random orders."""
    plain = Plain(design, problem)
    levels = dict.fromkeys(plain.names, False)
    states, on = dict(plain.first().states), frozenset[str]()
    blinking, meeting = set[str](), set[tuple[str, str]]()
    for _ in range(events):
        levels = {
            name: level if random.random() < 0.5 else random.random() < 0.7
            for name, level in levels.items()
        }
        shown = [on, plain.on(states, levels)]
        for _ in range(60):
            moving = _steps(plain, states, levels)
            if not moving:
                break
            some = [name for name in moving if random.random() < 0.5] or [*moving][:1]
            states = {**states, **{name: moving[name] for name in some}}
            shown.append(plain.on(states, levels))
        on = shown[-1]
        for name in {r.load for r in problem.requirements}:
            if sum((name in a) != (name in b) for a, b in itertools.pairwise(shown)) > 1:
                blinking.add(name)
        for pair in problem.apart:
            if any(pair.first in s and pair.second in s for s in shown):
                meeting.add((pair.first, pair.second))
    return blinking, meeting


@pytest.mark.parametrize("goals", JOBS)
def test_what_random_orders_show_is_told_and_nothing_else(goals: str) -> None:
    """Against plain steps of random parts (see `plain_simulation`): what is seen is told. What is
    told is seen, too, in so many events of circuits this small."""
    problem = pipeline.read_problem(None, goals, "full")
    design = pipeline.plan(problem).design
    assert design is not None
    blinking, meeting = seen_in_random_orders(design, problem, Random(goals), 1500)
    told = instants_in_words(design, problem)
    assert {t.split(" may ")[0] for t in told if " for an instant when" in t} == (
        blinking | {" and ".join(pair) for pair in meeting}
    )


def test_plans_and_checks_say_it(tmp_path: Path) -> None:
    goals = (
        "winch while haul is on, lift started by up and stopped by down, "
        "winch and lift never together"
    )
    ran = CliRunner().invoke(
        main, ["plan", "--goals", goals, "--kit", "full", "--out", str(tmp_path / "out")]
    )
    said = (
        "winch and lift are never on together, not for an instant, whichever part moves first, as "
        "long as those that sense 'haul' change over at the same moment"
    )
    assert said in " ".join(ran.stdout.split()) and ran.stdout.count("not for an instant") == 1
    file = tmp_path / "goals.yaml"
    file.write_text(f"kit: full\ngoals: ['{goals}']\n", encoding="utf-8")
    checked = CliRunner().invoke(
        main, ["check", str(tmp_path / "out" / "design.json"), str(file), "--format", "json"]
    )
    assert json.loads(checked.stdout)["notes"].count(said) == 1


def test_where_not_all_was_looked_at_nothing_is_promised(monkeypatch: pytest.MonkeyPatch) -> None:
    design, problem = two_relays()
    pair = with_pair(problem)
    for name, value in (("MOST_MOMENTS", 1), ("LOOK_SECONDS", -1.0)):
        with monkeypatch.context() as patch:
            patch.setattr(instants, name, value)
            told = instants_in_words(design, pair)
        assert told == not_looked_at(design, pair)
        assert told[0].startswith("fan and heater are never on together at rest, nor for an")
        assert told[1].startswith("what fan and heater may do for an instant")


def test_what_is_known_counts_there_too() -> None:
    """A lamp that may come on for an instant, with a probe that is never on as the supply comes on:
    it does as it gets hot later. And a timer that never comes to its end lets nothing follow."""
    problem = asked({"lamp": And((HOT, Not(HOT)))})

    def known(**facts: object) -> Problem:
        inputs = (replace(i, **facts) if i.name == "hot" else i for i in problem.inputs)
        return replace(problem, inputs=tuple(inputs))

    design = of_one_coil_line(B_in="A.out", lamp_in="B.out")
    told = instants_in_words(design, known(released_as=("supply",)))
    assert told == (
        "lamp may come on for an instant when 'hot' comes on, where A is quicker than B",
    )
    late = of_one_coil_line(
        part("T", PartType.ON_DELAY, time=5000), T_in="supply", T_start="probe.out",
        A_coil="T.out", B_coil="T.out", B_in="A.out", lamp_in="B.out",
    )  # fmt: skip
    assert len(instants_in_words(late, problem)) == 1
    assert instants_in_words(late, known(most_on=3000)) == ()


def test_parts_that_sense_the_same_are_what_it_rests_on() -> None:
    """Two sensors keep the loads apart, beside a relay of something else: by hand they meet where
    one sensor is later than the other, which the check takes for one moment."""
    design = wired(
        [
            part("m", PartType.SENSOR, input="hot", contact="make"),
            part("b", PartType.SENSOR, input="hot", contact="break"),
            part("K", PartType.RELAY_MAKE),
            load("fan"),
            load("heater"),
            load("lamp"),
        ],
        {
            "m.in": "supply", "fan.in": "m.out", "b.in": "supply", "heater.in": "b.out",
            "K.in": "supply", "K.coil": "supply", "lamp.in": "K.out",
        },
    )  # fmt: skip
    problem = with_pair(
        asked({"fan": And((POWER, HOT)), "heater": And((POWER, Not(HOT))), "lamp": POWER})
    )
    assert instants_in_words(design, problem) == (
        "fan and heater are never on together, not for an instant, whichever part moves first, as "
        "long as those that sense 'hot' change over at the same moment",
    )


def test_a_check_that_comes_to_its_end_is_not_cut_short() -> None:
    """Many relays of one coil line: too many orders for all moments, none for the check."""
    relays = [f"R{n}" for n in range(11)]
    parts = [part(name, PartType.RELAY_MAKE) for name in relays]
    feeds = {f"{name}.in": "supply" for name in relays}
    feeds |= {f"{name}.coil": "probe.out" for name in relays}
    source = f"{relays[0]}.out"
    for n, name in enumerate(relays[1:]):
        parts.append(part(f"J{n}", PartType.JOINT))
        feeds |= {f"J{n}.in1": source, f"J{n}.in2": f"{name}.out"}
        source = f"J{n}.out"
    probe = part("probe", PartType.SENSOR, input="hot", contact="make")
    design = wired(
        [probe, *parts, load("lamp")], {**feeds, "probe.in": "supply", "lamp.in": source}
    )
    problem = asked({"lamp": And((POWER, HOT))})
    verdict = check_with_instants(design, problem, time.monotonic() + 1.0)
    assert verdict.holds and not verdict.instants


def test_a_pack_tells_of_what_moves_or_heats(tmp_path: Path) -> None:
    """A pump off while a winch is on, by the winch's change-over relay: at the return of power with
    the button held the make relay before it may be the quicker one. Of a lamp nothing is said."""
    for load_name in ("pump", "lamp"):
        goals = f"winch started by haul and stopped by halt, {load_name} while winch is off"
        out, pack = tmp_path / load_name, tmp_path / f"{load_name} pack"
        words = ["--goals", goals, "--kit", "full", "--time-limit", "20", "--out", str(out)]
        assert CliRunner().invoke(main, ["plan", *words]).exit_code == 0
        file = tmp_path / f"{load_name}.yaml"
        file.write_text(f"kit: full\ngoals: ['{goals}']\n", encoding="utf-8")
        ran = CliRunner().invoke(
            main, ["pack", str(out / "design.json"), str(file), "--out", str(pack)]
        )
        assert ran.exit_code == 0, ran.output
        text = (pack / "02-cautions.md").read_text(encoding="utf-8")
        assert ("## For an instant" in text) is (load_name == "pump")
        if load_name == "pump":
            told = text.partition("## For an instant")[2]
            assert "Pump may come on for an instant when the supply comes on" in told
            assert "K1 (" in told and "quicker than" in told
