"""All mistakes of a text are told at once, each with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from synth.cli import MOST_TOLD, main
from synth.errors import GoalError, KitError, SynthError
from synth.pose import pose
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.read.kit_file import load_kit, parse_kit


def told(error: SynthError) -> list[tuple[int, str]]:
    """Return line and message of each mistake, the first first."""
    assert error.place is not None
    found = [(error.place.line, error.message)]
    for other in error.others:
        assert other.place is not None and not other.others
        found.append((other.place.line, other.message))
    return found


def mistakes(text: str) -> list[tuple[int, str]]:
    with pytest.raises(GoalError) as caught:
        parse_goal_file(text, "goals.yaml")
    return told(caught.value)


def test_each_phrase_and_limit_is_judged() -> None:
    found = mistakes(
        "minimise: weight\n"
        "goals:\n"
        "  - pump on 10 s of evry 60 s\n"
        "  - lamp always\n"
        "  - fan on 70 s of every 60 s\n"
        "known:\n"
        "  - 12\n"
        "limits:\n"
        "  supply: none\n"
    )
    assert [line for line, _ in found] == [1, 3, 5, 7, 9]
    assert "'evry'" in found[1][1] and "no pause" in found[2][1]


def test_several_phrases_in_one_text_have_their_own_places() -> None:
    with pytest.raises(GoalError) as caught:
        parse_goal_file("goals:\n  - lamp alwys, fan at nigt, pump always\n", "goals.yaml")
    first, *others = (caught.value, *caught.value.others)
    places = [slip.place for slip in (first, *others)]
    assert all(place is not None and place.file == "goals.yaml" for place in places)
    assert [(p.line, p.column) for p in places if p] == sorted(
        (p.line, p.column) for p in places if p
    )
    assert len(places) == 2 and "alwys" in first.message and "nigt" in others[0].message


def test_phrases_are_judged_once_their_names_are_known() -> None:
    """A name that is not declared for a mistake in its line would be a mistake in each phrase."""
    text = "loads:\n  lamp on the shelf: none\ninputs:\n  door: gate\ngoals:\n  - nonsense here\n"
    assert [line for line, _ in mistakes(text)] == [2, 4]


def test_unknown_keys_are_all_told() -> None:
    assert [line for line, _ in mistakes("gols: 1\nlimts: 2\ngoals: [lamp always]\n")] == [1, 2]


def test_one_mistake_stands_alone() -> None:
    assert len(mistakes("goals:\n  - lamp alwys\n  - pump always\n")) == 1


def test_phrases_of_the_command_line() -> None:
    with pytest.raises(GoalError) as caught:
        goals_from_text("lamp alwys, pump always, fan at nigt")
    assert len(told(caught.value)) == 2


def test_lines_of_a_kit() -> None:
    with pytest.raises(KitError) as caught:
        parse_kit(
            "kit: shed\n"
            "parts:\n"
            "  supply: {type: supply}\n"
            "  float: {type: sensr, price: 4, contact: [make]}\n"
            "  timer: {type: pulse-timer, price: -8, time: {least: 1 s, most: 1 h, step: 1 s}}\n"
            "  lamp: {type: load}\n",
            "kit.yaml",
        )
    assert [line for line, _ in told(caught.value)] == [4, 5]


def test_a_goal_file_that_is_all_wrong_is_told_in_part(tmp_path: Path) -> None:
    file = tmp_path / "goals.yaml"
    wrong = MOST_TOLD + 3
    file.write_text("goals:\n" + "".join(f"  - load {n} alwys\n" for n in range(wrong)))
    result = CliRunner().invoke(main, ["plan", str(file)])
    assert result.exit_code == 2 and not result.stdout
    lines = [line for line in result.stderr.splitlines() if line.startswith("synth: ")]
    assert len(lines) == MOST_TOLD + 1
    assert lines[-1] == "synth: and 3 mistakes more"
    assert "Traceback" not in result.output


MANY = """\
loads: {pump: 1, lamp: 1, heater: 2}
inputs: {hot: sensor, master: switch}
goals:
  - pmup on while hto
  - lamp at night
  - master cutoff for lmap
  - fan toggled by pump
known: [cold lasts at most 2 s, supply always off]
limits: {most: {relay mak: 2}, least: {tmier: 1}, branches: [lamp, fna]}
stock: {divider: 3, relai: 2}
"""


def test_names_and_limits_are_judged_each() -> None:
    """What a name stands for is known only after all is read; still each is told of, once."""
    kit = load_kit("full")
    with pytest.raises(GoalError) as caught:
        pose(parse_goal_file(MANY, "goals.yaml"), kit)
    found = told(caught.value)
    assert [line for line, _ in found] == [1, 4, 4, 6, 7, 8, 8, 9, 9, 9, 10, 10]
    for word, (_, message) in zip(
        ("'heater'", "'pmup'", "'hto'", "'lmap'", "'pump' is a load", "'cold'", "without any",
         "'relay mak'", "'tmier'", "'fna'", "'divider' cannot", "'relai'"),
        found, strict=True,
    ):  # fmt: skip
        assert word in message
    assert "'pmup'" not in "".join(message for _, message in found[2:])


def test_a_misspelt_input_is_told_of_once() -> None:
    text = "inputs: {damp: sensor}\ngoals: [x while dapm, y while dapm and dampp]"
    with pytest.raises(GoalError) as caught:
        pose(parse_goal_file(text, "goals.yaml"), load_kit("full"))
    assert told(caught.value) == [(2, "'dapm' is not known"), (2, "'dampp' is not known")]


def test_lines_of_a_block_have_places() -> None:
    text = """\
goals: |

  pump at night
  lamp alwyas
    fan whlie hot
known: |2-
   hot lasts at mots 2 s
"""
    with pytest.raises(GoalError) as caught:
        parse_goal_file(text, "goals.yaml")
    places = [caught.value.place, *(other.place for other in caught.value.others)]
    assert [(p.line, p.column, p.text.strip()) for p in places if p is not None] == [
        (4, 8, "lamp alwyas"), (5, 9, "fan whlie hot"), (7, 17, "hot lasts at mots 2 s")
    ]  # fmt: skip
    good = parse_goal_file("goals: |\n  pump at night,\n  lamp always\n", "goals.yaml")
    assert [(g.number, g.phrase, g.place.line) for g in good.goals] == [
        (1, "pump at night", 2), (2, "lamp always", 3)
    ]  # fmt: skip
