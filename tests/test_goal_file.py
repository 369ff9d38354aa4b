"""Goal files: the examples, every key, the schema, and every mistake with its message."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from synth.errors import GoalError, SynthError
from synth.goals import (
    AtLeast,
    AtMostUnits,
    Choice,
    Cutoff,
    Cycles,
    DeclaredInput,
    DeclaredLoad,
    Gap,
    LoadGoal,
    NeverTogether,
    Only,
    PartLimit,
)
from synth.pose import pose
from synth.problem import InputKind, Objective
from synth.read.goal_file import goals_from_text, load_goal_file, parse_goal_file
from synth.read.kit_file import load_kit

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "goals").glob("*.yaml"))
SCHEMA = json.loads((ROOT / "docs" / "goals.schema.json").read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)

FULL = """\
# An invented hen house.
title: Hen  house
kit: full
loads:
  lamp: 2
  Nest Heater: {needs: 3}
inputs:
  cold: sensor
  bell push: {kind: push button}
goals:
  - lamp at night
  - nest heater while cold
  - "bell for 3 s after bell push is pressed, fan always"
known:
  - night lasts at least 4 h
limits:
  most: {relay make: 2}
  without: [joint, divider]
  supply: 12
  price: 80
minimise: [power, wires]
"""


class TestExamples:
    @pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
    def test_poses_and_fits_the_schema(self, path: Path) -> None:
        goals = load_goal_file(path)
        problem = pose(goals, load_kit(goals.kit))
        assert {r.load for r in problem.requirements} == {load.name for load in goals.loads}
        assert problem.assumptions
        VALIDATOR.validate(yaml.safe_load(path.read_text(encoding="utf-8")))
        assert "invented" in path.read_text(encoding="utf-8").lower()

    def test_enough_of_them(self) -> None:
        sizes = [len(load_goal_file(path).goals) for path in EXAMPLES]
        assert len(sizes) >= 7
        assert (min(sizes), max(sizes)) == (3, 12)

    def test_the_largest_has_one_cycle(self) -> None:
        goals = load_goal_file(ROOT / "goals" / "whole-yard.yaml").goals
        assert sum(isinstance(getattr(goal, "does", None), Cycles) for goal in goals) == 1

    def test_together_they_cover_every_pattern(self) -> None:
        seen: set[object] = set()
        for path in EXAMPLES:
            for goal in load_goal_file(path).goals:
                seen.add(type(goal))
                if isinstance(goal, LoadGoal):
                    seen.add(type(goal.does))
                    seen |= {a if isinstance(a, Choice) else type(a) for a in goal.additions}
        behaviours = {kind.__name__ for kind in seen if isinstance(kind, type)}
        assert behaviours >= {
            "Always", "While", "Cycles", "ForTime", "AfterTime", "KeepsRunning", "StartStop",
            "Fills", "Empties", "Toggles", "SwitchedFrom", "Only", "NeverWhile", "AtLeast",
        }  # fmt: skip
        assert {Cutoff, NeverTogether, Gap, AtMostUnits, Only, AtLeast} <= seen
        assert {Choice.PAUSE_FIRST, Choice.FINISH, Choice.EXTEND, Choice.KEEP} <= seen


class TestReading:
    def test_every_key(self) -> None:
        goals = parse_goal_file(FULL, "hen.yaml")
        assert goals.title == "Hen house"
        assert goals.kit == "full"
        assert goals.loads == (DeclaredLoad("lamp", 2), DeclaredLoad("nest heater", 3))
        assert goals.inputs == (
            DeclaredInput("cold", InputKind.SENSOR),
            DeclaredInput("bell push", InputKind.BUTTON),
        )
        assert [(g.number, g.phrase, str(g.place)) for g in goals.goals] == [
            (1, "lamp at night", "hen.yaml:11:5"),
            (2, "nest heater while cold", "hen.yaml:12:5"),
            (3, "bell for 3 s after bell push is pressed", "hen.yaml:13:6"),
            (4, "fan always", "hen.yaml:13:47"),
        ]
        assert goals.part_limits == (
            PartLimit("relay make", 2),
            PartLimit("joint", 0),
            PartLimit("divider", 0),
        )
        assert (goals.largest_supply, goals.largest_price) == (12, 80)
        assert goals.minimise == (Objective.SUPPLY, Objective.WIRES, Objective.PRICE)
        assert goals.defaults == ()
        VALIDATOR.validate(yaml.safe_load(FULL))

    def test_only_goals_are_needed(self) -> None:
        goals = parse_goal_file("goals: light always", "some-shed.yaml")
        assert (goals.title, goals.kit) == ("some shed", "starter")
        assert goals.minimise == (Objective.PRICE, Objective.SUPPLY, Objective.WIRES)
        assert any("starter" in line for line in goals.defaults)

    def test_power_alone(self) -> None:
        goals = parse_goal_file("goals: light always\nminimise: power", "x")
        assert goals.minimise == (Objective.SUPPLY, Objective.PRICE, Objective.WIRES)

    def test_own_kit_beside_the_file(self, tmp_path: Path) -> None:
        (tmp_path / "my-kit.yaml").write_text("kit: mine", encoding="utf-8")
        path = tmp_path / "shed.yaml"
        path.write_text("kit: my-kit.yaml\ngoals: [light always]", encoding="utf-8")
        assert load_goal_file(path).kit == str(tmp_path / "my-kit.yaml")

    def test_command_line(self) -> None:
        goals = goals_from_text("light always, heater at night")
        assert len(goals.goals) == 2 and len(goals.defaults) == 2
        assert goals_from_text("light always", kit="full").kit == "full"
        for empty in ("", " ,; \n"):
            with pytest.raises(GoalError, match="no goals"):
                goals_from_text(empty)

    def test_a_block_of_phrases(self) -> None:
        goals = parse_goal_file("goals: |\n  light always\n  heater at night\n", "x")
        assert [goal.number for goal in goals.goals] == [1, 2]


# text, line, column, part of the message, part of the hint
MISTAKES = [
    ("- light always", 1, 1, "begins with 'goals:'", ""),
    ("light always", 1, 1, "map of 'name: value'", ""),
    ("title: x", 1, 1, "there are no goals", "add 'goals:'"),
    ("gaols: [light always]", 1, 1, "'gaols' is not known", "'goals'"),
    ("goals: []", 1, 8, "there are no goals", ""),
    ("goals:", 1, None, "list of phrases", ""),
    ("goals: 3", 1, 8, "list of phrases", ""),
    ("goals:\n  - light always\n  - 7", 3, 5, "one phrase, not the number '7'", ""),
    ("goals:\n  - lamp: always", 2, 5, "one phrase", "quotes"),
    ("goals:\n  - [light always]", 2, 5, "one phrase", ""),
    ("goals:\n  - light alwyas", 2, 11, "'alwyas'", "'always'"),
    ('goals:\n  - "light alwyas"', 2, 12, "'alwyas'", "'always'"),
    ("goals:\n  - light always, pump 10 s", 2, 28, "a time alone", "10 s of every 60 s"),
    ("goals:\n  - pump 0 s of every 3 s", 2, 10, "at least 1 ms", ""),
    ("goals: light always\nkit: startre", 2, 6, "no kit 'startre'", "'starter'"),
    ("goals: light always\nkit: [starter]", 2, 6, "a name or a file", "starter"),
    ("goals: light always\ntitle: [a]", 2, 8, "one line of text", ""),
    ("goals: light always\nloads: [light]", 2, 8, "map of 'name: value'", ""),
    ("goals: light always\nloads: {light: two}", 2, 16, "whole number", ""),
    ("goals: light always\nloads: {light: 0}", 2, 16, "from 1 to", ""),
    ("goals: light always\nloads: {light: 1.5}", 2, 16, "whole number", ""),
    ("goals: light always\nloads: {light: {need: 1}}", 2, 17, "'need' is not known", "'needs'"),
    ("goals: light always\nloads: {light: {}}", 2, 16, "what does 'light' need", ""),
    ("goals: light always\nloads: {li$ght: 1}", 2, 9, "is no name", "letters"),
    ("goals: light always\nloads: {light: 1, LIGHT: 1}", 2, 19, "stands twice", ""),
    ("goals: light always\ninputs: {hot: thermometer}", 2, 15, "a switch, a push-button", ""),
    ("goals: light always\ninputs: {hot: senser}", 2, 15, "a switch, a push-button", "'sensor'"),
    ("goals: light always\ninputs: {night: sensor}", 2, 10, "without being declared", ""),
    ("goals: light always\ninputs: {hot: {}}", 2, 15, "what is 'hot'", "push-button"),
    ("goals: light always\nknown: {night: 4 h}", 2, 8, "list of phrases", ""),
    ("goals: light always\nknown: [night lasts long]", 2, 21, "how long does it last", ""),
    ("goals: light always\nlimits: 3", 2, 9, "map of 'name: value'", ""),
    ("goals: light always\nlimits: {suply: 3}", 2, 10, "'suply' is not known", "'supply'"),
    ("goals: light always\nlimits: {supply: 0}", 2, 18, "from 1 to", ""),
    ("goals: light always\nlimits: {supply: much}", 2, 18, "whole number", ""),
    ("goals: light always\nlimits: {price: -1}", 2, 17, "from 0 to", ""),
    ("goals: light always\nlimits: {most: {joint: x}}", 2, 24, "whole number", ""),
    ("goals: light always\nlimits: {without: [3]}", 2, 20, "name of a part", ""),
    ("goals: light always\nminimise: prise", 2, 11, "'prise' cannot be minimised", "'price'"),
    ("goals: light always\nminimise: [power, supply]", 2, 19, "named twice", ""),
    ("goals: light always\nminimise: []", 2, 11, "what is to be minimised", ""),
    ("goals: &a light always", 1, 8, "anchor", ""),
    ("goals: [light always", 1, None, "expected", ""),
]


class TestMistakes:
    @pytest.mark.parametrize(("text", "line", "column", "message", "hint"), MISTAKES)
    def test_message(
        self, text: str, line: int, column: int | None, message: str, hint: str
    ) -> None:
        with pytest.raises(SynthError) as caught:
            parse_goal_file(text, "shed.yaml")
        assert message in caught.value.message
        assert hint in caught.value.hint
        place = caught.value.place
        assert place is not None
        assert (place.file, place.line) == ("shed.yaml", line)
        assert column is None or place.column == column

    def test_missing_file(self, tmp_path: Path) -> None:
        with pytest.raises(GoalError, match="there is no goal file"):
            load_goal_file(tmp_path / "nothing.yaml")

    def test_a_folded_phrase_is_placed_at_its_beginning(self) -> None:
        with pytest.raises(GoalError) as caught:
            parse_goal_file("goals:\n  - light\n    alwyas", "x")
        assert caught.value.place is not None
        assert (caught.value.place.line, caught.value.place.column) == (2, 5)


class TestSchema:
    @pytest.mark.parametrize(
        "document",
        [
            {},
            {"goals": 3},
            {"goals": ["light always"], "gaols": []},
            {"goals": ["light always"], "loads": {"light": 0}},
            {"goals": ["light always"], "loads": {"light": {"need": 1}}},
            {"goals": ["light always"], "inputs": {"hot": "thermometer"}},
            {"goals": ["light always"], "inputs": {"night": "sensor"}},
            {"goals": ["light always"], "limits": {"supply": 0}},
            {"goals": ["light always"], "minimise": ["prise"]},
        ],
    )
    def test_refuses(self, document: dict[str, Any]) -> None:
        assert not VALIDATOR.is_valid(document)
        with pytest.raises(SynthError):
            parse_goal_file(json.dumps(document), "x")

    def test_is_a_schema(self) -> None:
        Draft202012Validator.check_schema(SCHEMA)


class TestHostile:
    @settings(max_examples=80, deadline=2000)
    @given(st.text(max_size=200))
    def test_any_text(self, text: str) -> None:
        for candidate in (text, f"goals:\n  - {text}", f"goals: [light always]\n{text}"):
            try:
                goals = parse_goal_file(candidate, "x")
                pose(goals, load_kit("full"))
            except SynthError as problem:
                assert str(problem)

    @settings(max_examples=80, deadline=2000)
    @given(st.integers(0, len(FULL) - 1), st.characters(), st.integers(0, 6))
    def test_mutated_file(self, at: int, char: str, gone: int) -> None:
        text = FULL[:at] + char + FULL[at + gone :]
        try:
            goals = parse_goal_file(text, "x")
            pose(goals, load_kit("full"))
        except SynthError as problem:
            assert str(problem)


@pytest.mark.parametrize(
    ("goals", "told"),
    [
        ("[pump 10 s on, 50 s off, lamp always]", True),  # cut at its comma
        ("['pump 10 s on', lamp always]", False),  # in quotes: what is wrong is something else
        ("[pump at nigth, lamp always]", False),  # a slip
        ("[pump 10 s on]", False),  # there is nothing behind it
    ],
)
def test_a_phrase_cut_by_a_comma_in_brackets_is_told_to_be_so(goals: str, told: bool) -> None:
    with pytest.raises(GoalError) as caught:
        parse_goal_file(f"goals: {goals}", "x")
    assert ("in [ ] a comma ends a phrase" in caught.value.hint) is told
