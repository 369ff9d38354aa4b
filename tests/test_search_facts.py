"""What is known of the inputs, in the runs that the search begins with and in its bounds.

An input that is soon on again ends what is never together with it, whether or not a load of its
own says so. All names and prices are invented.
"""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from random import Random

import pytest
from check_designs import FULL, load, part, wired

from synth import pipeline
from synth.check import check
from synth.parts.behaviour import PartType
from synth.pose import pose
from synth.problem import Problem
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.search.bounds import essential, never_seen_on
from synth.search.stimuli import Run, first_runs

LASTING = """\
title: Lasting
goals:
  - lamp 6 s after hot
  - fan while other
known:
  - {group} never together
  - pause of other lasts at most {pause} s
"""


def lasting(group: str, pause: int) -> Problem:
    return pose(parse_goal_file(LASTING.format(group=group, pause=pause), "lasting"), FULL)


@pytest.mark.parametrize("group", ["hot and other", "other and hot"])
def test_a_pause_that_ends_soon_keeps_a_load_off(group: str) -> None:
    """`other` is off for less than 5 s at a time, so `hot` never lasts 6 s: the lamp may hang on
    two contacts that are never closed together, and an on-delay for it is of no use."""
    problem = lasting(group, 5)
    sensors = [
        part("other", PartType.SENSOR, FULL, input="other", contact="make"),
        part("hot", PartType.SENSOR, FULL, input="hot", contact="make"),
    ]
    feeds = {
        "other.in": "supply", "hot.in": "other.out", "lamp.in": "hot.out", "fan.in": "other.out",
    }  # fmt: skip
    design = wired([*sensors, load("lamp", kit=FULL), load("fan", kit=FULL)], feeds, FULL)
    assert check(design, problem).holds
    price = design.price(FULL)
    outcome = pipeline.plan(problem, seconds=20)
    assert outcome.price is not None and outcome.price <= price
    assert outcome.bound is None or outcome.bound <= price


def test_what_a_longer_pause_leaves_to_be_proven() -> None:
    """With 7 s there is time for the lamp to come on, and what it depends on is known."""
    assert essential(lasting("hot and other", 7)) == {"hot", "other"}
    assert essential(lasting("hot and other", 6)) == {"other"}
    assert never_seen_on(lasting("hot and other", 6))
    assert not never_seen_on(lasting("hot and other", 7))
    outcome = pipeline.plan(lasting("hot and other", 7), seconds=20)
    assert outcome.bound == outcome.price and outcome.proven


def test_an_input_that_is_always_on_shuts_out_its_group() -> None:
    problem = lasting("hot and other", 7)
    inputs = tuple(
        dataclasses.replace(item, most_off=None, steady=True) if item.name == "other" else item
        for item in problem.inputs
    )
    problem = dataclasses.replace(problem, inputs=inputs)
    assert "hot" not in essential(problem)
    assert never_seen_on(problem)


# -- the first runs ------------------------------------------------------------------------------


def breaks(run: Run, problem: Problem) -> str:
    """Return what a run does that is known not to happen, "" if nothing."""
    moments, end = run
    facts = {item.name: item for item in problem.inputs}
    levels = {name: item.steady is True for name, item in facts.items()}
    since = dict.fromkeys(levels, Fraction(0))
    began = dict.fromkeys(levels, False)

    def too_long(time: Fraction) -> str:
        for name, item in facts.items():
            most = item.most_on if levels[name] else item.most_off
            if item.steady is None and most is not None and time - since[name] > most:
                return f"'{name}' stays as it is for more than {most} until {time}"
        return ""

    for number, moment in enumerate(moments):
        if number and (why := too_long(moment.time)):
            return why
        for name, level in moment.inputs:
            if levels[name] == level:
                continue
            item = facts[name]
            least = item.least_on if levels[name] else item.least_off
            if number and began[name] and moment.time - since[name] < (least or 0):
                return f"'{name}' changes after less than {least} at {moment.time}"
            if item.steady is not None:
                return f"'{name}' changes at {moment.time}"
            levels[name], since[name], began[name] = level, moment.time, True
        if any(sum(levels[name] for name in group) > 1 for group in problem.never_together):
            return f"two of a group at {moment.time}"
    return too_long(Fraction(end))


def with_facts(problem: Problem, random: Random) -> Problem:
    """Return the problem with random facts about its inputs that do not contradict each other."""
    inputs, free = [], []
    for item in problem.inputs:
        if item.name == "supply":
            inputs.append(item)
            continue
        free.append(item.name)
        for level in ("on", "off"):
            shortest = random.choice((None, None, 500, 2000))
            longest = random.choice((None, None, None, 3000, 5000))
            facts = {f"least_{level}": shortest, f"most_{level}": longest}
            item = dataclasses.replace(item, **facts)
        inputs.append(item)
    random.shuffle(free)
    groups = (tuple(free[: random.choice((2, 2, 3))]),) if len(free) > 1 else ()
    return dataclasses.replace(problem, inputs=tuple(inputs), never_together=groups)


def test_the_first_runs_are_runs_that_may_happen() -> None:
    goals = (
        "lamp 2 s after hot, fan while damp, pump while cold",
        "lamp while hot and not damp, fan by day, pump toggled by button",
        "lamp on 1 s of every 3 s while hot, fan while damp",
    )
    seen = 0
    for seed in range(150):
        problem = pose(goals_from_text(goals[seed % len(goals)]), FULL)
        problem = with_facts(problem, Random(seed))
        for run in first_runs(problem):
            assert breaks(run, problem) == "", (seed, run)
            seen += 1
    assert seen > 500
