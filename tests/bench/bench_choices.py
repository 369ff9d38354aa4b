"""Fronts and smallest clashes of the main scenario, beside the plain alternative.

Run with `pytest --tb=line tests/bench/bench_choices.py`, some minutes; not part of the tests. Both
are whole processes, cold, without what earlier runs proved. The plain alternative
(`plain_choices.py`) is what one would do with `synth plan` alone, each question from scratch; for a
clash it does the same work and has to find the same ways out. A front it does not prove: what lies
in a hollow between its points it cannot tell. Limits are in seconds on two cores of a machine that
does nothing else; on a shared one the seconds of the processor tell more than those of the clock.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jobs import SHED, goal_file
from processes import ROOT, Ran, run

PLAIN_SECONDS = 60.0
"""Seconds that the plain alternative gets for one row."""
PLAIN = (sys.executable, str(Path(__file__).with_name("plain_choices.py")))
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


def beside(ours: Ran, plain: Ran, told: dict[str, Any]) -> str:
    more = "" if told["done"] else "more than "
    unanswered = f", {len(told['open'])} of them without an answer" if told["open"] else ""
    return (
        f"{ours.seconds:.2f} s (processor {ours.processor:.2f}); plain {more}{plain.seconds:.2f} s "
        f"(processor {plain.processor:.2f}) for {told['asked']} questions{unanswered}, "
        f"{more}{plain.seconds / ours.seconds:.1f} times ours by the clock, "
        f"{more}{plain.processor / ours.processor:.1f} times by the processor"
    )


def plainly(what: str, goals: Path, kit: str) -> tuple[Ran, dict[str, Any]]:
    """Return the run of the plain alternative, and what it found."""
    ran = run(what, str(goals), kit, str(PLAIN_SECONDS), command=PLAIN)
    told: dict[str, Any] = json.loads(ran.output)
    return ran, told


# --- the front ------------------------------------------------------------------------------------


def not_beaten(found: set[Values]) -> set[Values]:
    return {
        one for one in found
        if not any(o != one and all(a <= b for a, b in zip(o, one, strict=True)) for o in found)
    }  # fmt: skip


@pytest.mark.parametrize(("text", "kit", "limit"), FRONTS)
def test_front(text: str, kit: str, limit: float, tmp_path: Path, say: Say) -> None:
    goals = tmp_path / "goals.yaml"
    goals.write_text(text or (ROOT / SHED).read_text(encoding="utf-8"), encoding="utf-8")
    ran = run("options", str(goals), "--kit", kit, "--no-cache", "--format", "json")
    document = json.loads(ran.output)
    assert document["complete"]
    front = {(one["price"], one["supply"], one["parts"]) for one in document["front"]}
    plain, told = plainly("front", goals, kit)
    say(f"{len(front)} points, {beside(ran, plain, told)}")
    if told["done"]:
        # None of the plain answers is better than all of ours.
        assert not_beaten({tuple(one) for one in told["points"]} | front) == front
    assert ran.seconds <= limit


# --- the smallest clash ---------------------------------------------------------------------------


@pytest.mark.parametrize(("more", "limit"), CLASHES)
def test_smallest_clash(more: str, limit: float, tmp_path: Path, say: Say) -> None:
    goals = tmp_path / "goals.yaml"
    goals.write_text(f"{(ROOT / SHED).read_text(encoding='utf-8')}{more}\n", encoding="utf-8")
    ran = run("clash", str(goals), "--no-cache", "--format", "json")
    document: dict[str, Any] = json.loads(ran.output)
    assert document["status"] == "impossible" and document["smallest"]
    plain, told = plainly("clash", goals, "")
    say(
        f"a clash of {len(document['clash'])} and {len(document['ways'])} ways out, "
        + beside(ran, plain, told)
    )
    if told["done"]:
        assert told["clash"] == len(document["clash"])
        # The same ways, at the same prices, each proven to be the least.
        ours = [
            {
                "dropped": [[w["kind"], w["number"], w["part"]] for w in way["dropped"]],
                **{key: way[key] for key in ("value", "price", "cheapest")},
            }
            for way in document["ways"]
        ]
        assert sorted(ours, key=str) == sorted(told["ways"], key=str)
    assert ran.seconds <= limit
