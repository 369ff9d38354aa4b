"""All mistakes of a text are told at once, each with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from synth.cli import MOST_TOLD, main
from synth.errors import GoalError, KitError, SynthError
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.read.kit_file import parse_kit


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
