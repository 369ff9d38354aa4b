"""Sentences of a pack that were untrue once, each held against what the circuit does. All jobs are
invented.
"""

from __future__ import annotations

import csv
import json
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner
from test_pack_words import packed

from synth import pipeline
from synth.check import simulate
from synth.cli import main
from synth.handover.budget import _held_two_ways
from synth.trace import Moment

HATCH = """\
title: Barn hatch
kit: full
goals:
  - hoist while up is pressed
  - lower while down is pressed
  - hoist and lower never together
  - hatch lamp shows that hoist is off
"""
PEN = """\
title: Lamb pen
loads: {pen heater: 2}
goals: [pen heater at night or while cold, vent while stale or while warm]
"""

@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("packs")


def section(text: str, title: str) -> str:
    return text.partition(f"## {title}\n")[2].partition("\n## ")[0]


def test_no_way_to_stop_one_load_starts_another(folder: Path) -> None:
    """Pressing 'up' stops the lowering, and starts the hoist."""
    card = (packed(folder, "hatch", HATCH) / "01-card.md").read_text("utf-8")
    stops = section(card, "How to stop it")
    assert "press 'up'" not in stops and "Only lower: release 'down'" in stops


def test_a_lamp_that_a_stop_turns_on_is_told(folder: Path) -> None:
    goals = "kit: full\ngoals: [saw while run is pressed, rest lamp shows that saw is off]\n"
    card = (packed(folder, "saw", goals) / "01-card.md").read_text("utf-8")
    assert "Only saw: release 'run' (S1); rest lamp may come on." in section(card, "How to stop it")


def test_every_way_to_start_with_the_supply_is_told(folder: Path) -> None:
    """Held against the circuit itself: each of the four comes on with just that input on."""
    cautions = (packed(folder, "pen", PEN) / "02-cautions.md").read_text("utf-8")
    starts = section(cautions, "Starts by itself")
    for load, names in (("pen heater", ("by night", "'cold' holds")),
                        ("vent", ("'stale' holds", "'warm' holds"))):
        (line,) = [line for line in starts.splitlines() if line.startswith(f"- {load}:")]
        first = line.partition(";")[0]
        assert "when the supply comes on " in first and ", or " in first
        assert all(name in first for name in names), line
    file = folder / "pen.yaml"
    problem = pipeline.read_problem(file, None, None)
    design = pipeline.read_design(str(folder / "pen-plan" / "design.json"), file, None, None)[1]
    for load, name in (("pen heater", "night"), ("pen heater", "cold"), ("vent", "warm")):
        begin = (Moment(Fraction(0), (("supply", True), (name, True))),)
        run = simulate(design, problem, begin, Fraction(1000))
        track = next(track for track in run.tracks if track.name == load)
        assert (track.changes[-1][1] if track.changes else track.start) is True


def test_each_trial_begins_from_rest(folder: Path) -> None:
    goals = (
        "kit: full\ngoals: ['mill toggled by knob, keeps its state through a power cut']\n"
        "known: [knob is released when power comes on]\n"
    )
    sheet = (packed(folder, "mill", goals) / "12-troubleshooting.md").read_text("utf-8")
    before = sheet.partition("## ")[0]
    assert "Before each trial" in before and "If it cannot be brought to rest" in before
    test = (folder / "mill" / "10-test-sheet.md").read_text("utf-8")
    assert "Before each trial" not in test and "Switch the supply on once" in test


def test_days_that_cannot_come_together_are_told_apart() -> None:
    """One circuit uses most with the door open, another with it closed."""
    days: list[Any] = [
        SimpleNamespace(levels=(("door", True), ("wet", False))),
        SimpleNamespace(levels=(("door", False),)),
        SimpleNamespace(levels=(("wet", False),)),
    ]
    assert _held_two_ways(days) == ["'door'"]
    assert _held_two_ways(days[1:]) == []


@pytest.mark.slow
def test_what_ends_by_itself_is_not_said_to_be_held(folder: Path) -> None:
    """The skimmer waits for its own time while that of the feeder goes round and round."""
    goals = (
        "kit: full\ngoals: ['feeder for 5 s every 7 min', 'skimmer 40 s on, 20 s off', "
        "'skimmer never while feeder is on']\n"
    )
    file, plan, out = folder / "skimmer.yaml", folder / "skimmer-plan", folder / "skimmer"
    file.write_text(goals)
    for words in (("plan", str(file), "--time-limit", "12", "--out", str(plan)),
                  ("pack", str(plan / "design.json"), str(file), "--out", str(out))):
        ran = CliRunner().invoke(main, words)
        assert ran.exit_code == 0, ran.output
    with (out / "12-normal.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.reader(file) if row[0].startswith("skimmer")]
    assert rows and not any("it is held so" in cell for row in rows for cell in row)


@pytest.mark.slow
def test_a_lesson_says_how_inputs_stand_as_they_do(tmp_path: Path) -> None:
    """What starts the blower still holds as the switch opens, or it would stay off after that."""
    file = tmp_path / "air.yaml"
    file.write_text(
        "kit: full\ninputs: {low: sensor, full: sensor}\n"
        "goals: ['blower starts when low and stops when full', 'drain for 4 s after each press of "
        "tap', 'main cutoff']\n"
    )
    more = ("--format", "json", "--time-limit", "15", "--out", str(tmp_path / "out"))
    ran = CliRunner().invoke(main, ["lesson", str(file), *more])
    assert ran.exit_code == 0, ran.output
    asked = [
        question
        for stage in json.loads(ran.output)["stages"]
        for question in stage["questions"]
        if "when switch 'main' opens" in question["ask"]
    ]
    assert asked
    for question in asked:
        on_again = any("the blower comes on" in line for line in question["answer"])
        assert on_again == ("'low' holds" in question["ask"]), question
