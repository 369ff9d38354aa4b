"""Fronts and smallest clashes of the main scenario, beside the plain alternative.

Run with `pytest --tb=line tests/bench/bench_choices.py`, some minutes; not part of the tests. The
tool is a whole process, cold, without what earlier runs proved. The plain alternative is what one
would do with `synth plan` alone: every point of the front, and every set of goals and limits by
size until one has no design, each solved from scratch by the same search, in one process that is
already started. Limits are in seconds on two cores of a machine that does nothing else.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from jobs import SHED, goal_file
from processes import ROOT, run

from synth import pipeline
from synth.choices import parts_counted
from synth.conflict import Wish
from synth.explore import weighed
from synth.explore.clash import _Clash
from synth.pipeline.asking import _posed_alone
from synth.problem import Problem
from synth.read.goal_file import load_goal_file
from synth.result import Status

PLAIN_SECONDS = 60.0
"""Seconds that the plain alternative gets for one row."""
EACH = 30.0
"""Seconds for each of its questions."""
SEVEN = goal_file(
    "Seven loads",
    [*(f"{load} while hot" for load in ("lamp", "fan", "bell", "horn", "siren")),
     "buzzer always", "light always"],
)  # fmt: skip
FRONTS = [
    pytest.param("", "starter", 10.0, id="main scenario"),
    pytest.param("", "full", 10.0, id="main scenario, full kit"),
    pytest.param(SEVEN, "full", 10.0, id="seven loads, three points"),
]
CLASHES = [
    pytest.param("limits: {supply: 5}", 30.0, id="a unit less"),
    pytest.param("limits: {price: 34}", 30.0, id="a coin less"),
    pytest.param("limits: {most: {pulse timer: 0}}", 30.0, id="no pulse timer"),
    pytest.param("limits: {without: [divider], price: 36}", 30.0, id="no divider, a coin less"),
]
Values = tuple[int, int, int]
Say = Callable[[str], None]


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str], request: pytest.FixtureRequest) -> Say:
    """Print a line of figures past pytest's capture."""

    def line(text: str) -> None:
        with capsys.disabled():
            print(f"\n  {request.node.name}: {text}")

    return line


def beside(ours: float, plain: float, done: bool, asked: int) -> str:
    more = "" if done else "more than "
    return (
        f"{ours:.2f} s; plain {more}{plain:.1f} s for {asked} questions, "
        f"{more}{plain / ours:.1f} times ours"
    )


# --- the front ------------------------------------------------------------------------------------


def not_beaten(found: set[Values]) -> set[Values]:
    return {
        one for one in found
        if not any(o != one and all(a <= b for a, b in zip(o, one, strict=True)) for o in found)
    }  # fmt: skip


def plain_points(problem: Problem) -> Iterator[Values | None]:
    """Give the cheapest design, and that of the fewest parts, for each supply there may be; None
    where there is none. What lies in a hollow between them it cannot tell."""
    needs = sum(requirement.needs for requirement in problem.requirements)
    dear = 1000 * max(part.price for part in problem.kit.parts)
    kits = (problem.kit, weighed(problem.kit, 1, dear))
    first = pipeline.plan(problem, seconds=EACH)
    assert first.supply is not None
    for units in range(first.supply, needs - 1, -1):
        for kit in kits:
            limits = replace(problem.limits, supply=units)
            outcome = pipeline.plan(replace(problem, kit=kit, limits=limits), seconds=EACH)
            design = outcome.design
            yield design and (design.price(problem.kit), design.supply, parts_counted(design))


@pytest.mark.parametrize(("text", "kit", "limit"), FRONTS)
def test_front(text: str, kit: str, limit: float, tmp_path: Path, say: Say) -> None:
    goals = tmp_path / "goals.yaml"
    goals.write_text(text or (ROOT / SHED).read_text(encoding="utf-8"), encoding="utf-8")
    ran = run("options", str(goals), "--kit", kit, "--no-cache", "--format", "json")
    document = json.loads(ran.output)
    assert document["complete"]
    front = {(one["price"], one["supply"], one["parts"]) for one in document["front"]}
    problem = pipeline.read_problem(str(goals), None, kit)
    began, asked, done = time.monotonic(), 0, True
    found: set[Values] = set()
    for values in plain_points(problem):
        asked += 1
        if values is not None:
            found.add(values)
        if time.monotonic() - began > PLAIN_SECONDS:
            done = False
            break
    say(f"{len(front)} points, " + beside(ran.seconds, time.monotonic() - began, done, asked))
    if done:
        # None of the plain answers is better than all of ours.
        assert not_beaten(found | front) == front
    assert ran.seconds <= limit


# --- the smallest clash ---------------------------------------------------------------------------


@pytest.mark.parametrize(("more", "limit"), CLASHES)
def test_smallest_clash(more: str, limit: float, tmp_path: Path, say: Say) -> None:
    goals = tmp_path / "goals.yaml"
    goals.write_text(f"{(ROOT / SHED).read_text(encoding='utf-8')}{more}\n", encoding="utf-8")
    ran = run("clash", str(goals), "--format", "json")
    document: dict[str, Any] = json.loads(ran.output)
    assert document["status"] == "impossible" and document["smallest"]
    problem = pipeline.read_problem(str(goals), None, None)
    posed = _posed_alone(load_goal_file(str(goals)), problem)
    began, asked = time.monotonic(), 0
    asking = _Clash(problem, posed, lambda p, s: pipeline.plan(p, seconds=EACH), EACH,
                    lambda stage: None, lambda: False)  # fmt: skip
    clash: tuple[Wish, ...] | None = None
    for size in range(1, len(asking.wishes) + 1):
        for trial in combinations(asking.wishes, size):
            asked += 1
            if asking.ask(frozenset(trial)).status is Status.IMPOSSIBLE:
                clash = trial
                break
            if time.monotonic() - began > PLAIN_SECONDS:
                break
        if clash is not None or time.monotonic() - began > PLAIN_SECONDS:
            break
    done = clash is not None
    # Ways out as far as dropping goes: each of the clash left out, the rest planned.
    everything = frozenset(asking.wishes)
    for wish in clash or ():
        rest = asking.problem_of(everything - {wish})
        if rest is not None:
            asked += 1
            pipeline.plan(rest, seconds=EACH)
    say(
        f"a clash of {len(document['clash'])} and {len(document['ways'])} ways out, "
        + beside(ran.seconds, time.monotonic() - began, done, asked)
        + ", whose ways out are without the least change of a limit"
    )
    assert clash is None or len(clash) == len(document["clash"])
    assert ran.seconds <= limit
