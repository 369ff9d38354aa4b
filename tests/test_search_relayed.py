"""Loads that follow others, by relays on what feeds these: a first design, which must stand.

Wirings are compared by what they do, against the plain simulation, never by how they look.
"""

from __future__ import annotations

import time
from dataclasses import replace
from fractions import Fraction
from itertools import product

import pytest
from plain_simulation import first_failure
from test_known_designs import the_engine

from synth import pipeline
from synth.check import simulate
from synth.design import Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.search.apart import join, only, separate
from synth.search.basics import Working
from synth.search.relayed import SENSED, following, in_steps, levers_once, relayed
from synth.search.side_by_side import side_by_side
from synth.share import share_power
from synth.signals import (
    And,
    Latch,
    Level,
    Not,
    OffDelay,
    Signal,
    SignalMachine,
    inputs_of,
    loads_of,
)
from synth.trace import Moment

SHUTTLE = (
    "drum left while pull is pressed, drum right while push is pressed, "
    "leave 2 s between drum left and drum right"
)
WINCH = "winch started by haul and stopped by halt"
LIFT = "lift started by up and stopped by down"


def read(goals: str, apart: str = "", released: str = "") -> Problem:
    """Return the problem of some goals; inputs that are never on together, or that are off as the
    supply comes on, by their names."""
    problem = pipeline.read_problem(None, goals, "full")
    inputs = tuple(
        replace(item, released_as=("supply",)) if item.name in released.split(", ") else item
        for item in problem.inputs
    )
    return replace(
        problem, inputs=inputs, never_together=(tuple(apart.split(", ")),) if apart else ()
    )


def signals(problem: Problem) -> dict[str, Signal]:
    return {r.load: r.signal for r in problem.requirements}


def alone(problem: Problem) -> Working | None:
    engine = the_engine(problem)
    engine.progress.deadline = time.monotonic() + 20
    return engine.run().best


def sensed(load: str) -> Level:
    return Level(SENSED + load)


def test_what_one_load_asks_is_an_input_of_another_that_follows_it() -> None:
    problem = read(f"{WINCH}, {LIFT}, winch and lift never together")
    assert len(separate(problem)) == 1 and len(separate(problem, by_signal=True)) == 2
    lift = only(problem, {"lift"})
    asked = following(lift, {"winch": signals(problem)["winch"]})
    assert asked is not None
    # By hand: up and down as before, but never while the winch is fed.
    latch = asked.requirements[0].signal
    assert latch == Latch(
        Level("up"), Level("down"), enable=And((Level("supply"), Not(sensed("winch"))))
    )
    assert {item.name for item in asked.inputs} == {"supply", "up", "down", SENSED + "winch"}
    # The winch goes first: it follows nothing.
    assert following(only(problem, {"winch"}), {"lift": signals(problem)["lift"]}) is None


def test_conditions_that_are_part_of_longer_ones_are_found() -> None:
    problem = read("fan while hot and damp, lamp while hot and damp and not bright")
    lamp = following(only(problem, {"lamp"}), {"fan": signals(problem)["fan"]})
    assert lamp is not None
    wanted = And((sensed("fan"), Level("supply"), Not(Level("bright"))))
    assert lamp.requirements[0].signal == wanted
    # What is sensed by one part alone is not worth a relay.
    problem = read("fan while hot, lamp while hot and damp")
    assert following(only(problem, {"lamp"}), {"fan": signals(problem)["fan"]}) is None


def test_loads_that_look_back_at_each_other_are_inputs_of_each_other() -> None:
    problem = read(SHUTTLE, apart="pull, push")
    known = signals(problem)
    assert any(loads_of(signal) for signal in known.values())
    one = following(only(problem, {"drum left"}), known)
    other = following(only(problem, {"drum right"}), known)
    assert one is not None and other is not None
    for asked, button, load in ((one, "pull", "drum right"), (other, "push", "drum left")):
        signal = asked.requirements[0].signal
        assert isinstance(signal, And) and Level(button) in signal.of
        held_off = [
            piece.of
            for piece in signal.of
            if isinstance(piece, Not) and isinstance(piece.of, OffDelay)
        ]
        assert [(delay.of, delay.time) for delay in held_off] == [(sensed(load), 2000)]
        # Pull and push are never both on, so nothing is left of which goes first.
        assert inputs_of(signal) == {"supply", button, SENSED + load}


def test_what_remembers_within_what_remembers_is_a_step() -> None:
    problem = read("winch started by haul and stopped by halt")
    (requirement,) = problem.requirements
    held = OffDelay(Level("hot"), 3000)
    latch = replace(requirement.signal, enable=And((Level("supply"), Not(held))))
    steps = in_steps(replace(problem, requirements=(replace(requirement, signal=latch),)))
    assert [step.requirements[0].signal for step in steps][0] == held
    main = steps[-1].requirements[0].signal
    assert len(steps) == 2 and isinstance(main, Latch)
    assert SENSED + steps[0].requirements[0].load in inputs_of(main)
    # A step that is there twice is one.
    twice = replace(latch, reset=held)
    assert len(in_steps(replace(problem, requirements=(replace(requirement, signal=twice),)))) == 2
    assert len(in_steps(problem)) == 1


@pytest.mark.parametrize(
    ("follower", "relays", "stand"),
    [
        ("lamp while winch is on", 0, True),  # hangs on what feeds the winch
        ("lamp while winch is off", 1, True),
        ("lamp while winch is on and bright", 0, True),  # behind a sensor there
        # As it gets bright and the winch goes on at one moment, the relay comes late.
        ("lamp while winch is off and bright", 1, False),
    ],
)
def test_what_follows_hangs_on_what_feeds_or_has_a_relay(
    follower: str, relays: int, stand: bool
) -> None:
    # (Pressed as the supply comes on, a button would have the lamp blink: relays come later.)
    problem = read(f"{WINCH}, {follower}", released="haul")
    winch, lamp = only(problem, {"winch"}), only(problem, {"lamp"})
    asked = following(lamp, signals(winch))
    assert asked is not None
    first, second = alone(winch), alone(asked)
    assert first is not None and second is not None
    joined = join([first.skeleton, second.skeleton])
    ways = list(relayed(joined, {"lamp"}, problem.kit, ()))
    for way in ways:
        assert not any(SENSED in str(part.setting("input")) for part in way.parts)
        assert {t for _, t in way.feeds} == {  # every input is fed just once
            Terminal(part.name, terminal)
            for part in way.parts
            if part.type is not PartType.SUPPLY
            for terminal in _inputs(problem, way, part.name)
        }
    added = len(ways[0].parts) - len(first.skeleton.parts)
    assert added >= relays + 1
    kinds = [part.type for part in ways[0].parts]
    own = [part.type for part in first.skeleton.parts]
    assert kinds.count(PartType.RELAY_BREAK) - own.count(PartType.RELAY_BREAK) == relays
    stands = [the_engine(problem).stands(way) for way in ways]
    assert any(stands) is stand
    for working in filter(None, stands):
        assert first_failure(working.design, problem, 12, 2) is None


def _inputs(problem: Problem, wiring: Skeleton, name: str) -> tuple[str, ...]:
    part = next(part for part in wiring.parts if part.name == name)
    if part.type is PartType.LOAD:
        return ("in",)
    shape = problem.kit.index[part.part].shape
    return (*shape.power, *shape.controls)


def test_a_lever_in_several_places_works_relays() -> None:
    """Fan while the lever is on and hot, lamp while it is off or bright: the lever has one
    contact. By hand: it works a make and a break relay."""
    problem = read("fan while lever is on and hot, lamp while lever is off and bright")
    groups = separate(problem, by_signal=True)
    found = [alone(group) for group in groups]
    joined = join([working.skeleton for working in found if working])
    levers = [part for part in joined.parts if part.setting("input") == "lever"]
    assert len(levers) == 2
    once = levers_once(joined, problem.kit)
    assert sum(part.setting("input") == "lever" for part in once.parts) == 1
    design = share_power(once, problem.kit, problem.objectives, problem.limits)
    assert design is not None
    for lever, hot, bright in product((False, True), repeat=3):
        inputs = (("supply", True), ("lever", lever), ("hot", hot), ("bright", bright))
        run = simulate(design, problem, [Moment(Fraction(0), inputs)], Fraction(1000))
        on = {t.name: t.level(Fraction(500)) for t in run.tracks if t.role == "load"}
        assert on == {"fan": lever and hot, "lamp": bright and not lever}
    # A wiring with each lever once stays as it is.
    assert levers_once(once, problem.kit) == once


def test_a_first_design_of_an_interlock_is_there_at_once() -> None:
    problem = read(f"{WINCH}, {LIFT}, winch and lift never together")
    engine = the_engine(problem)
    engine.progress.deadline = time.monotonic() + 20
    best = side_by_side(engine, separate(problem, by_signal=True), alone, alone)
    assert best is not None
    assert pipeline.check_design(best.design, problem).holds
    assert first_failure(best.design, problem, 4, 2) is None


def test_a_pause_between_two_directions_is_planned() -> None:
    """Undecided for a minute, as one circuit; of two circuits with two inputs each it is none."""
    problem = read(SHUTTLE, apart="pull, push")
    engine = the_engine(problem)
    engine.progress.deadline = time.monotonic() + 60
    best = side_by_side(engine, separate(problem, by_signal=True), lambda group: None, alone)
    assert best is not None
    assert pipeline.check_design(best.design, problem).holds
    assert first_failure(best.design, problem, 12, 2) is None
    # The hoist rests for 2 s: by the signals themselves, apart from any circuit.
    machine = SignalMachine(tuple(signals(problem).items()))
    assert machine.react(machine.start, {"supply": True, "pull": True, "push": False}, ())[1] == {
        "drum left": True,
        "drum right": False,
    }
