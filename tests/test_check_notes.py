"""Remarks on designs that hold: loads that are never on, one input sensed by several parts."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from synth import pipeline
from synth.check.notes import handed_over_in_words
from synth.check.verdict import units_of_all
from synth.cli import main
from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import PartType


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


HANDED = """\
{"kit": "full", "parts": [
 {"name": "supply", "type": "supply", "settings": {"units": 4}},
 {"name": "go", "type": "push-button", "part": "push button",
  "settings": {"input": "go", "contact": "make"}},
 {"name": "t", "type": "tap-off", "part": "tap-off", "settings": {"units": 1}},
 {"name": "k", "type": "relay-changeover", "part": "change-over relay"},
 {"name": "j", "type": "joint", "part": "joint"},
 {"name": "lamp", "type": "load", "part": "load", "settings": {"needs": 1}}],
 "wires": [
 {"from": "supply:out", "to": "t:in"}, {"from": "t:branch", "to": "go:in"},
 {"from": "go:out", "to": "k:coil"}, {"from": "t:rest", "to": "k:in"},
 {"from": "k:make", "to": "j:in1"}, {"from": "k:break", "to": "j:in2"},
 {"from": "j:out", "to": "lamp:in"}]}
"""


def test_what_hangs_on_both_contacts_of_a_change_over_is_told() -> None:
    """The lamp is always on, but for the moment in which the contact moves."""
    assert handed_over_in_words(_read(HANDED)) == (
        "lamp:in hangs on both contacts of 'k', which is taken to change over in no time; where a "
        "moment without power matters, as for a coil that holds itself, take one that makes "
        "before it breaks",
    )
    # On one of them alone there is nothing to tell.
    only = HANDED.replace('{"from": "k:break", "to": "j:in2"}', '{"from": "t:rest", "to": "j:in2"}')
    assert handed_over_in_words(_read(only)) == ()


def _read(text: str) -> Design:
    data = json.loads(text)
    parts = tuple(
        PartInUse(p["name"], PartType(p["type"]), p.get("part", p["type"]),
                  tuple(p.get("settings", {}).items()))
        for p in data["parts"]
    )  # fmt: skip
    wires = tuple(
        Wire(number, Terminal(*wire["from"].split(":")), Terminal(*wire["to"].split(":")))
        for number, wire in enumerate(data["wires"], 1)
    )
    return Design("full", parts, wires)


def test_a_peak_that_all_together_do_not_reach_is_kept_at_once(tmp_path: Path) -> None:
    """Four loads of one unit behind a sensor each, and no control input: 4 units at most."""
    loads = "".join(f"lamp{n} while hot{n}, " for n in range(1, 5))
    for units, status in ((4, "proven-cheapest"), (3, "impossible")):
        file = tmp_path / f"{units}.yaml"
        file.write_text(
            f"kit: full\ngoals: ['{loads[:-2]}', never more than {units} units]\n",
            encoding="utf-8",
        )
        ran = CliRunner().invoke(main, ["plan", str(file), "--format", "json"])
        assert json.loads(ran.stdout)["status"] == status


def test_units_of_all_are_those_of_loads_and_control_inputs() -> None:
    # By hand: a lamp of one unit and one coil, which takes a unit as well.
    design = _read(HANDED)
    problem = pipeline.read_problem(None, "lamp always", "full")
    assert units_of_all(design, problem) == 2


def test_a_peak_of_one_less_than_all_together_is_broken() -> None:
    """Two lamps behind a sensor each: both may be on, which is two units and no less."""
    problem = pipeline.read_problem(None, "lamp while hot, fan while cold", "full")
    design = pipeline.plan(problem).design
    assert design is not None and units_of_all(design, problem) == 2
    for units in (2, 1):
        asked = pipeline.read_problem(
            None, f"lamp while hot, fan while cold, never more than {units} units", "full"
        )
        assert pipeline.check_design(design, asked).holds is (units == 2)
