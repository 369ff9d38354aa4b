"""Remarks on designs that hold: loads that are never on, one input sensed by several parts."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from synth.cli import main


def plan(goals: str, *more: str):
    ran = CliRunner().invoke(main, ["plan", "--goals", goals, "--kit", "full", *more])
    assert ran.exit_code == 0, ran.output
    return ran.stdout


NEVER = [
    "lamp 5 s after hot, lamp never while hot",  # off before the time is up
    "pump started by start and stopped by start",  # stop wins
]


@pytest.mark.parametrize("goals", NEVER)
def test_a_load_that_is_never_on_is_told_first(goals: str) -> None:
    load_name = goals.split()[0]
    text = plan(goals)
    head = text[: text.index("\nGoals\n")]
    assert f"Mind: '{load_name}' is never on, as the goals have it." in head
    notes = json.loads(plan(goals, "--format", "json"))["check"]["notes"]
    assert f"'{load_name}' is never on, whatever the inputs do" in notes[0]


def test_what_is_on_at_some_time_is_not_told_of() -> None:
    text = plan("lamp 5 s after hot, fan 4 s after cold, bell for 2 s after go is pressed")
    assert "never on" not in text


def test_a_load_that_what_is_known_keeps_off_is_told(tmp_path: Path) -> None:
    file = tmp_path / "goals.yaml"
    file.write_text(
        "kit: full\ngoals: [lamp while hot and cold]\nknown: [hot and cold never together]\n",
        encoding="utf-8",
    )
    ran = CliRunner().invoke(main, ["plan", str(file)])
    assert "Mind: 'lamp' is never on" in ran.stdout
    file.write_text(file.read_text("utf-8").partition("known")[0], encoding="utf-8")
    assert "never on" not in CliRunner().invoke(main, ["plan", str(file)]).stdout


@pytest.mark.parametrize(
    ("goals", "told"),
    [
        ("lamp while hot, fan while not hot", "2 parts sense 'hot' (sensor hot 1 and"),
        ("lamp at night, fan by day", "2 parts sense 'night' (twilight switch night 1 and"),
        ("lamp while hot, fan while hot and cold", ""),
        ("lamp while lever is on, fan while lever is off", ""),
    ],
)
def test_parts_that_sense_the_same_change_over_at_one_moment(goals: str, told: str) -> None:
    text = plan(goals)
    if told:
        assert f"- {told}" in " ".join(text.split())
        assert "taken to change over at the same moment" in " ".join(text.split())
    else:
        assert "parts sense" not in text
