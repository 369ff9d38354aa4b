"""Bounds of the search where something is known of the inputs: against designs that hold.

Each design here passes the exact check and does without something that a bound would ask for if
it left out of account what is known: that an input does not last, that two never come together,
that one never changes.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from check_designs import FULL, asked, load, part, wired

from synth import pipeline
from synth.check import check
from synth.design import Design, PartInUse
from synth.parts.behaviour import PartType
from synth.parts.kit import KitPart
from synth.problem import InputKind, OutsideInput, Peak, Problem
from synth.search.apart import separate
from synth.search.bounds import essential, lacks_time, never_seen_on, on_together
from synth.signals import (
    Cycle,
    Level,
    OnDelay,
    Pulse,
    Signal,
    all_of,
    any_of,
    negated,
)

S, A, B = (Level(name) for name in ("supply", "a", "b"))
SENSORS = {name: OutsideInput(name, InputKind.SENSOR) for name in "abc"}
SUPPLY = OutsideInput("supply", InputKind.SUPPLY)
PULSE = part("pulse", PartType.PULSE, time=2000)


def known(
    wanted: Mapping[str, Signal],
    *facts: OutsideInput,
    apart: tuple[str, ...] = (),
    times: tuple[int, ...] = (1000, 2000),
    needs: int = 1,
    **more: Any,
) -> Problem:
    """Return what these loads ask, with facts about inputs and a group never together."""
    groups = (apart,) if apart else ()
    return asked(wanted, *facts, times=times, needs=needs, never_together=groups, **more)


def lasting(name: str, **facts: Any) -> OutsideInput:
    """Return an input of which something is known."""
    item = SUPPLY if name == "supply" else SENSORS[name]
    return dataclasses.replace(item, **facts)


def sensor(name: str, follows: str, contact: str = "make") -> PartInUse:
    return part(name, PartType.SENSOR, input=follows, contact=contact)


def circuit(problem: Problem, parts: list[PartInUse], feeds: dict[str, str]) -> Design:
    """Return the design with the loads of `problem`, which must hold."""
    loads = [load(r.load, r.needs) for r in problem.requirements]
    design = wired([*parts, *loads], feeds)
    verdict = check(design, problem)
    assert verdict.holds, verdict.defects[0].message
    return design


def bought(design: Design) -> list[KitPart]:
    """Return the kit parts of a design, the supply, loads and what splits power apart."""
    free = (PartType.SUPPLY, PartType.LOAD, PartType.TAP_OFF, PartType.DIVIDER)
    return [FULL.index[item.part] for item in design.parts if item.type not in free]


# -- what some load depends on --------------------------------------------------------------------

LATE = {"lamp": OnDelay(A, 10_000, S), "fan": all_of(S, B)}
NEVER_ON = [sensor("B", "b"), sensor("not B", "b", "break")]
"""With these in a row, the lamp is never on."""
IN_A_ROW = {"B.in": "supply", "fan.in": "B.out", "not B.in": "B.out", "lamp.in": "not B.out"}


@pytest.mark.parametrize(
    "problem",
    [
        known(LATE, lasting("a", most_on=5000)),
        # The other one comes on every 5 s at the latest, and cuts this one short.
        known(LATE, lasting("b", most_off=5000), apart=("a", "b")),
        known(LATE, lasting("supply", most_on=5000)),
        known(LATE, lasting("a", steady=False)),
        known(LATE, lasting("b", steady=True), apart=("a", "b")),
        known({**LATE, "lamp": all_of(S, A, B)}, apart=("a", "b")),
        # Off now and then, it never is off for long.
        known({**LATE, "lamp": OnDelay(negated(A), 10_000, S)}, lasting("a", most_off=5000)),
        # It may last for just as long as the lamp waits, and then it is too late.
        known({**LATE, "lamp": OnDelay(A, 9000, S)}, lasting("a", most_on=9000)),
    ],
)
def test_no_load_depends_on_what_cannot_make_a_difference(problem: Problem) -> None:
    circuit(problem, NEVER_ON, IN_A_ROW)
    assert "a" not in essential(problem)
    assert never_seen_on(problem)


def test_what_makes_a_difference_soon_enough_is_depended_on() -> None:
    """The same, with inputs that may last for longer than the lamp waits."""
    for facts in ([lasting("a", most_on=11_000)], [lasting("b", most_off=11_000)]):
        problem = known(LATE, *facts, apart=("a", "b"))
        assert essential(problem) == {"a", "b"}
        assert not never_seen_on(problem)
    assert "a" in essential(known(LATE, lasting("b", most_on=5000), apart=("a", "b")))


def test_a_clock_that_nothing_shows_is_not_depended_on() -> None:
    """A run with more events is not followed for as long, which is no difference of the load."""
    idle = all_of(Cycle(all_of(S, A), 1000, 1000), negated(S))
    problem = known({"lamp": any_of(Cycle(S, 10_000, 10_000), idle)})
    recycler = part("R", PartType.RECYCLER, on=10_000, off=10_000, first="pulse")
    circuit(problem, [recycler], {"R.in": "supply", "lamp.in": "R.out"})
    assert essential(problem) == frozenset()


# -- what is on at one moment --------------------------------------------------------------------


def test_loads_that_are_never_on_together_share_their_units() -> None:
    """A change-over hands its 2 units to the lamp or the fan: 3 with that of its coil."""
    wanted = {"lamp": all_of(S, A), "fan": all_of(S, B)}
    problem = known(wanted, apart=("a", "b"), needs=2, peak=Peak(3, 1))
    parts = [sensor("A", "a"), sensor("B", "b"), part("over", PartType.RELAY_CHANGEOVER)]
    feeds = {"B.in": "supply", "over.coil": "B.out", "over.in": "supply", "A.in": "over.break"}
    design = circuit(problem, parts, {**feeds, "lamp.in": "A.out", "fan.in": "over.make"})
    assert design.supply == 3
    assert on_together(problem) == 2
    assert on_together(dataclasses.replace(problem, never_together=())) == 4


@pytest.mark.parametrize(
    ("facts", "units"),
    [
        ((), 2),
        ((lasting("a", most_on=5000),), 1),
        ((lasting("a", steady=False),), 1),
        ((lasting("b", most_off=5000),), 2),
        ((lasting("b", steady=True),), 2),
    ],
)
def test_what_is_never_on_is_not_counted(facts: tuple[OutsideInput, ...], units: int) -> None:
    assert on_together(known(LATE, *facts)) == units
    assert on_together(known(LATE, *facts, apart=("a", "b"))) == 1


# -- one timer alone ------------------------------------------------------------------------------

CYCLE = Cycle(all_of(S, A), 2000, 4000)
CUT = {"A.in": "supply", "pulse.in": "A.out", "pulse.start": "A.out", "lamp.in": "pulse.out"}
"""A pulse, cut short when a goes off: the first one of a cycle."""
BESIDE = {
    "A.in": "supply",
    "D.in": "supply",
    "D.start": "A.out",
    "fan.in": "D.out",
    "B.in": "A.out",
    "lamp.in": "B.out",
}
"""The fan 1 s after a; the lamp while a and b."""
DELAYED = {"fan": OnDelay(A, 1000, S)}
LONG = lasting("a", least_off=3000)
"""One pulse is over before the next one can begin."""
TWO_SENSORS = [sensor("A", "a"), sensor("B", "b"), part("D", PartType.ON_DELAY, time=1000)]


@pytest.mark.parametrize(
    ("problem", "parts", "feeds"),
    [
        (known({"lamp": CYCLE}, lasting("a", most_on=5000)), [sensor("A", "a"), PULSE], CUT),
        # What cuts it short is an input of nothing else, or of another load.
        (
            known({"lamp": CYCLE}, lasting("b", most_off=5000), apart=("a", "b")),
            [sensor("A", "a"), PULSE],
            CUT,
        ),
        (
            known({"lamp": Cycle(all_of(S, negated(A)), 2000, 4000)}, lasting("a", most_off=5000)),
            [sensor("A", "a", "break"), PULSE],
            CUT,
        ),
        (
            known({"lamp": Cycle(all_of(S, A, B), 2000, 4000), **DELAYED}, apart=("a", "b")),
            TWO_SENSORS,
            BESIDE,
        ),
        (
            known({"lamp": Cycle(all_of(S, B), 2000, 4000), **DELAYED}, lasting("b", steady=False)),
            TWO_SENSORS,
            BESIDE,
        ),
        (
            known(
                {"lamp": Cycle(all_of(S, B), 2000, 4000), **DELAYED},
                lasting("c", steady=True),
                apart=("b", "c"),
            ),
            TWO_SENSORS,
            BESIDE,
        ),
        # The gate is open for no longer than the first pulse.
        (
            known({"lamp": Cycle(Pulse(A, 2000, enable=S), 2000, 4000)}, LONG),
            [sensor("A", "a"), PULSE],
            {**CUT, "pulse.in": "supply"},
        ),
        (
            known({"lamp": Cycle(S, 2000, 4000, enable=Pulse(A, 2000, enable=S))}, LONG),
            [sensor("A", "a"), PULSE],
            {**CUT, "pulse.in": "supply"},
        ),
    ],
)
def test_one_timer_does_for_a_cycle_that_is_never_left_alone(
    problem: Problem, parts: list[PartInUse], feeds: dict[str, str]
) -> None:
    design = circuit(problem, parts, feeds)
    assert lacks_time(bought(design), problem, "") == ""
    # With a gate that may stay open the same parts do not do.
    left_alone = dataclasses.replace(
        problem,
        requirements=tuple(
            dataclasses.replace(r, signal=CYCLE) if r.load == "lamp" else r
            for r in problem.requirements
        ),
        inputs=(SUPPLY, *(SENSORS[item.name] for item in problem.inputs if item.name in SENSORS)),
        never_together=(),
    )
    assert lacks_time(bought(design), left_alone, "")


# -- circuits of a whole --------------------------------------------------------------------------


def read(tmp_path: Path, text: str) -> Problem:
    path = tmp_path / "goals.yaml"
    path.write_text(text, encoding="utf-8")
    return pipeline.read_problem(str(path), None, None)


def test_a_circuit_keeps_what_is_known_of_an_input_of_another_one(tmp_path: Path) -> None:
    """The blind is never down while the sun is said to shine, which it does for good: the lamp
    needs no part that follows the blind, though the sun is an input of the fan alone."""
    problem = read(
        tmp_path,
        "kit: full\ninputs: {blind: sensor, sun: sensor, hot: sensor, dry: sensor}\n"
        "goals: [lamp while hot and not blind, fan for 10 s after sun and dry]\n"
        "known: [blind and sun never together, sun is always on]\n",
    )
    lamp = next(p for p in separate(problem) if p.requirements[0].load == "lamp")
    assert essential(lamp) == {"hot"} and essential(problem) == {"hot", "dry"}
    pulse = part("pulse", PartType.PULSE, time=10_000)
    feeds = {"hot.in": "supply", "lamp.in": "hot.out", "dry.in": "supply", "pulse.in": "supply"}
    design = circuit(
        problem,
        [sensor("hot", "hot"), sensor("dry", "dry"), pulse],
        {**feeds, "pulse.start": "dry.out", "fan.in": "pulse.out"},
    )
    outcome = pipeline.plan(problem, seconds=20)
    assert outcome.proven and outcome.price == outcome.bound
    assert outcome.price is not None and outcome.price <= design.price(FULL)


@pytest.mark.parametrize(
    "facts", ["damp lasts at most 5 s", "damp and b never together, pauses of b last at most 5 s"]
)
def test_a_load_that_waits_in_vain_may_hang_in_another_circuit(facts: str, tmp_path: Path) -> None:
    """Asked alone the lamp needs parts of its own to stay off. Two sensors for the fan's input do
    for both, so nothing dearer is said to be the cheapest."""
    problem = read(
        tmp_path,
        "kit: full\ninputs: {damp: sensor, b: sensor}\n"
        f"goals: [lamp 10 s after damp, fan while b]\nknown: [{facts}]\n",
    )
    design = circuit(problem, NEVER_ON, IN_A_ROW)
    outcome = pipeline.plan(problem, seconds=20)
    assert outcome.bound is None or outcome.bound <= design.price(FULL)
