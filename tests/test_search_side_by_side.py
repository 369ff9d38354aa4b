"""Loads that share an input, one signal after the other, where the whole takes too long.

What is made so is a first design and no claim; it must stand the check like any other, and what
was found out about the signals by themselves must not rule out a design of all of them.
"""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from plain_simulation import STEP, first_failure
from test_known_designs import the_engine

from synth import pipeline
from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.result import Status
from synth.search import one_by_one
from synth.search.apart import Piece, join, separate, take_apart
from synth.search.basics import Progress, Working
from synth.search.circuits import Circuit
from synth.search.one_by_one import OneByOne, make_known
from synth.search.questions import Questions
from synth.search.side_by_side import side_by_side, with_common_sensing

TOGETHER = "mister on 10 s of every 60 s, mister only by day, lamp from dusk for 3 h"
LEVER = "pump for 10 s after start is pressed, lamp while start or night"
"""Two circuits in which one push-button, which has one contact, would be in two places."""


def read(goals: str, kit: str = "starter") -> Problem:
    return pipeline.read_problem(None, goals, kit)


@cache
def alone(problem: Problem) -> Working | None:
    return the_engine(problem).run().best


def two_by_two(problem: Problem) -> Working | None:
    engine = the_engine(problem)
    engine.progress.deadline = time.monotonic() + 120
    return side_by_side(engine, separate(problem, by_signal=True), alone)


def stands(working: Working | None, problem: Problem) -> int:
    """Return the price of a design, after it was checked once more."""
    assert working is not None
    assert pipeline.check_design(working.design, problem).holds
    return working.design.price(problem.kit)


@pytest.mark.slow
def test_two_signals_share_a_sensing_part() -> None:
    """By day and from dusk: two circuits, with a twilight switch too many where each has its own
    on the supply; a tap-off or two are added at most."""
    problem = read(TOGETHER)
    assert len(separate(problem)) == 1 and len(separate(problem, by_signal=True)) == 2
    apart = [alone(group) for group in separate(problem, by_signal=True)]
    both = two_by_two(problem)
    assert both is not None
    sum_of_prices = sum(a.design.price(problem.kit) for a in apart if a)
    assert stands(both, problem) <= sum_of_prices + 4
    assert first_failure(both.design, problem, 130_000 // STEP, 1) is None


def test_a_lever_in_two_places_is_wired_anew() -> None:
    problem = read(LEVER)
    groups = separate(problem, by_signal=True)
    assert len(groups) == 2
    found = [alone(group) for group in groups]
    joined = with_common_sensing(join([w.skeleton for w in found if w]))
    levers = Counter(part.part for part in joined.parts)["push button"]
    both = two_by_two(problem)
    stands(both, problem)
    assert both is not None
    assert Counter(part.part for part in both.design.parts)["push button"] == 1 <= levers


@pytest.mark.slow
def test_what_has_no_design_by_itself_is_added_to_what_stands() -> None:
    problem = read(TOGETHER)
    groups = separate(problem, by_signal=True)
    engine = the_engine(problem)
    engine.progress.deadline = time.monotonic() + 120
    lamp = next(g for g in groups if g.requirements[0].load == "lamp")
    both = side_by_side(engine, groups, lambda group: alone(group) if group is lamp else None)
    price = stands(both, problem)
    assert price <= 47
    # Without a design for the first there is nothing to add to.
    assert side_by_side(engine, groups, lambda group: None) is None


def test_what_takes_long_is_put_off_until_the_others_are_there() -> None:
    """The first group has no design in its share of the time, and may take the rest."""
    problem = read("lamp while hot, fan while not hot, bell while hot and cold", "full")
    groups = separate(problem, by_signal=True)
    assert len(groups) == 3
    engine = the_engine(problem)
    engine.progress.deadline = time.monotonic() + 120
    asked: list[str] = []

    def solve(group: Problem) -> Working | None:
        asked.append(group.requirements[0].load)
        return alone(group) if asked.count(asked[-1]) > 1 or len(set(asked)) > 1 else None

    both = side_by_side(engine, groups, solve)
    assert stands(both, problem) > 0
    late = asked[0]
    assert asked.count(late) == 2 and asked[-1] == late
    assert len(asked) == 4


def test_a_circuit_without_a_design_is_asked_by_signal_once_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """There is more time for it when all others are there; what comes of it is taken."""
    problem = read("fan while hot, lamp while hot and cold", "full")
    asked: list[int] = []

    def late(*words: Any) -> Working | None:
        asked.append(len(words[1]))
        return two_by_two(problem) if len(asked) > 1 else None

    monkeypatch.setattr(one_by_one, "side_by_side", late)
    monkeypatch.setattr(one_by_one, "found_by", lambda engine, tools: engine.found)
    engine = the_engine(problem)
    progress = Progress(deadline=time.monotonic() + 120)
    tools = engine.questions.tools
    each = OneByOne(problem, [Piece(problem, ())], tools, progress, 1)
    assert each.solve() is None
    assert asked == [2, 2] and each.circuits[0].found.best is not None


def test_loads_that_exclude_each_other_are_one_circuit_of_several_signals() -> None:
    problem = read("fan while hot, warmer while cold and hot, lamp while hot or cold, "
                   "warmer and fan never together", "full")  # fmt: skip
    assert len(separate(problem)) == 1
    groups = separate(problem, by_signal=True)
    assert sorted(r.load for group in groups for r in group.requirements) == [
        "fan", "lamp", "warmer"
    ]  # fmt: skip
    # Put together they are judged as what they are.
    both = two_by_two(problem)
    assert both is not None and stands(both, problem) > 0


def test_sensing_parts_that_are_alike_are_one() -> None:
    """Two sensors of one input on the supply become one; those with another contact, on another
    output, or of another input stay."""

    def sensor(name: str, contact: str, follows: str) -> PartInUse:
        settings = (("contact", contact), ("input", follows))
        return PartInUse(name, PartType.SENSOR, "sensor", settings)

    supply, lamp = Terminal("supply", "out"), "lamp"
    parts = (
        PartInUse("supply", PartType.SUPPLY, "supply"),
        sensor("a", "make", "hot"),
        sensor("b", "make", "hot"),
        sensor("c", "break", "hot"),
        sensor("d", "make", "wet"),
        sensor("e", "make", "wet"),
        sensor("f", "make", "wet"),
        *(PartInUse(f"{lamp} {i}", PartType.LOAD, "load", (("needs", 1),)) for i in range(6)),
    )
    feeds = [(supply, Terminal(name, "in")) for name in "abc"]
    # Once `a` and `b` are one, `d` and `e` are on the same output too.
    feeds += [(Terminal(s, "out"), Terminal(t, "in")) for s, t in ("ad", "be", "cf")]
    feeds += [
        (Terminal(name, "out"), Terminal(f"{lamp} {i}", "in")) for i, name in enumerate("abcdef")
    ]
    found = with_common_sensing(Skeleton("starter", parts, tuple(feeds)))
    assert [p.name for p in found.parts if p.type is PartType.SENSOR] == ["a", "c", "d", "f"]
    fed = {t.part: s.part for s, t in found.feeds}
    assert [fed[f"{lamp} {i}"] for i in range(6)] == ["a", "a", "c", "d", "d", "f"]
    assert len(found.feeds) == len(feeds) - 2


@pytest.mark.parametrize("goals", [LEVER, pytest.param(TOGETHER, marks=pytest.mark.slow)])
def test_what_is_known_of_the_signals_leaves_the_cheapest(
    goals: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked with all that its signals taught, a circuit has the same cheapest price, and of no
    more lists it is asked whether they work. (Which wiring of one comes first is chance: a dearer
    one takes a question more.)"""
    problem = read(goals)
    asked: list[Questions] = []
    working = Questions.working

    def noted(self: Questions, *words: Any, **more: Any) -> Any:
        if len(words) == 1:  # at any price
            asked.append(self)
        return working(self, *words, **more)

    monkeypatch.setattr(Questions, "working", noted)
    cold = the_engine(problem)
    proven = cold.run()
    assert proven.best is not None and proven.closed
    warm = the_engine(problem)
    tools = warm.questions.tools
    circuits: list[Circuit] = []
    for group in separate(problem, by_signal=True):
        each = OneByOne(group, take_apart(group), tools, Progress(), 1, within=True)
        assert each.solve() is None
        assert all(circuit.engine.within for circuit in each.circuits)
        circuits += each.circuits
    make_known(warm, circuits)
    assert len(warm.alone) == 2
    again = warm.run()
    assert again.best is not None and again.closed
    assert again.best.design.price(problem.kit) == proven.best.design.price(problem.kit)
    of_cold, of_warm = asked.count(cold.questions), asked.count(warm.questions)
    assert 0 < of_warm <= of_cold


@pytest.mark.slow
def test_a_circuit_that_takes_long_is_asked_signal_by_signal(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With no time at all for the whole as one, the plan is a checked design with a bound; with
    what the signals taught the circuit comes to a proof."""
    problem = read("mister on 15 s of every 20 min, mister only by day, lamp from dusk for 3 h")
    monkeypatch.setattr(one_by_one, "FIRST_SHARE", 0.002)
    found: list[Working | None] = []

    def noted(*words: Any) -> Working | None:
        found.append(side_by_side(*words))
        return found[-1]

    monkeypatch.setattr(one_by_one, "side_by_side", noted)
    outcome = pipeline.plan(problem, seconds=120, stopped=lambda: bool(found))
    assert len(found) == 1 and found[0] is not None
    assert outcome.status is Status.BEST_FOUND
    assert outcome.price is not None and outcome.bound is not None and outcome.design is not None
    assert pipeline.check_design(outcome.design, problem).holds
    assert 30 <= outcome.bound < outcome.price <= 47
    assert pipeline.check_design(outcome.design, replace(problem, title="again")).holds
    proven = pipeline.plan(problem, seconds=120)
    assert len(found) == 2 and proven.status is Status.PROVEN
    assert outcome.bound <= (proven.price or 0) <= outcome.price
