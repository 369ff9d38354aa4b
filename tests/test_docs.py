"""The page on the goal language says what is so: its phrases and its goal file are read as told."""

from __future__ import annotations

import json
import re
from pathlib import Path

import jsonschema
import pytest
import yaml

from synth.goals import LoadGoal
from synth.pipeline import read_problem
from synth.read.phrases import parse_facts, parse_phrases
from synth.signals import Signal
from synth.ticks import parse_duration

DOCS = Path(__file__).parent.parent / "docs"
PAGE = (DOCS / "goal-language.md").read_text(encoding="utf-8")

BEHIND = (
    "pump on 10 s of every 60 s while wet, ",
    "pump for 10 s after hot, ",
    "pump started by start and stopped by stop, ",
)
"""Goals of three kinds, each followed by every addition."""


def rows(heading: str) -> list[tuple[list[str], str]]:
    """Return the phrases and the meaning of each row of the table under a heading."""
    section = PAGE.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    found = re.findall(r"^\| (`.*?) \| (.*) \|$", section, re.MULTILINE)
    return [(re.findall(r"`([^`]+)`", said), meaning) for said, meaning in found]


def said(heading: str) -> list[str]:
    """Return all phrases of the table under a heading."""
    return [phrase for phrases, _ in rows(heading) for phrase in phrases]


def asked(phrase: str) -> list[tuple[str, Signal]]:
    """Return what a phrase asks of each load; *pump* does something where it is only shown."""
    others = "; pump while wet" if phrase.startswith("lamp shows") else ""
    problem = read_problem(None, phrase + others, "full")
    return [(r.load, r.signal) for r in problem.requirements]


def test_no_table_is_missed() -> None:
    headings = re.findall(r"^## (.+)\n(?:(?!^## )[\s\S])*?^\| say \|", PAGE, re.MULTILINE)
    assert headings == [
        "What a load does",
        "What may be added",
        "Goals about several loads, or all",
        "What is known of the inputs",
    ]


@pytest.mark.parametrize("phrase", said("What a load does"))
def test_what_a_load_does(phrase: str) -> None:
    (goal,) = parse_phrases(phrase)
    assert isinstance(goal, LoadGoal) and goal.does is not None
    assert asked(phrase)


def test_what_is_the_same_is_the_same() -> None:
    """Rows that say so ask for just what the row above them asks for."""
    told = rows("What a load does")
    same = [
        (above[0], phrase)
        for (above, _), (phrases, meaning) in zip(told, told[1:], strict=False)
        for phrase in phrases
        if meaning == "the same"
    ]
    assert len(same) >= 3
    for above, phrase in same:
        assert asked(above) == asked(phrase), phrase


@pytest.mark.parametrize("phrase", said("What may be added"))
def test_what_may_be_added(phrase: str) -> None:
    """Behind a goal it is one addition more, and leaves alone what the load does."""
    for before in BEHIND:
        (goal,) = parse_phrases(before + phrase)
        (plain,) = parse_phrases(before.rstrip(", "))
        assert isinstance(goal, LoadGoal) and isinstance(plain, LoadGoal)
        assert goal.does == plain.does
        assert len(goal.additions) == len(plain.additions) + 1


@pytest.mark.parametrize("phrase", said("Goals about several loads, or all"))
def test_goals_about_several_loads(phrase: str) -> None:
    assert len(parse_phrases(phrase)) == 1


@pytest.mark.parametrize("phrase", said("What is known of the inputs"))
def test_what_is_known(phrase: str) -> None:
    assert len(parse_facts(phrase)) == 1


def test_times() -> None:
    line = next(line for line in PAGE.splitlines() if line.startswith("`250 ms`"))
    assert [parse_duration(time) for time in re.findall(r"`([^`]+)`", line)[:4]] == [
        250,
        10_000,
        90_000,
        9_000_000,
    ]
    # In words they stand in a phrase.
    for words, seconds in (("half an hour", 1800), ("a minute", 60), ("3 days", 259_200)):
        assert f"`{words}`" in line
        assert asked(f"lamp {words} after hot") == asked(f"lamp {seconds} s after hot")


def test_goal_file(tmp_path: Path) -> None:
    text = PAGE.split("```yaml\n")[1].split("```")[0]
    schema = json.loads((DOCS / "goals.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(yaml.safe_load(text), schema)
    path = tmp_path / "hen-house.yaml"
    path.write_text(text, encoding="utf-8")
    problem = read_problem(str(path), None, None)
    assert problem.title == "Hen house"
    assert {r.load: r.needs for r in problem.requirements}["heater"] == 2
