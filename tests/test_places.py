"""Mistakes that show only when two texts are read together are told with their place, too: a design
beside its goals, goals that ask for no load."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from synth.cli import main

DESIGN = """\
parts:
  - {name: S, type: supply, settings: {units: 1}}
  - {name: cutoff, type: switch, settings: {input: master}}
  - name: dusk
    type: twilight-switch
    settings: {passes: night}
  - {name: heater, type: load}
wires:
  - {from: S:out, to: cutoff:in}
  - {from: cutoff:out, to: dusk:in}
  - {from: dusk:out, to: heater:in}
"""
GOALS = "heater at night, master cutoff"


def run(*words: str) -> Result:
    """Run the tool in this process; a traceback would be an exception of another kind."""
    ran = CliRunner().invoke(main, words)
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.exception
    return ran


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Short names of files, which no message shortens."""
    monkeypatch.chdir(tmp_path)


def test_the_design_as_it_should_be() -> None:
    Path("own.yaml").write_text(DESIGN)
    assert run("check", "own.yaml", GOALS).exit_code == 0


@pytest.mark.parametrize(
    ("right", "wrong", "goals", "place", "said", "hint"),
    [
        ("input: master", "input: mastr", GOALS, "3:52",
         "'cutoff' follows 'mastr', which is no input in the goals", "did you mean 'master'?"),
        ("heater", "haeter", GOALS, "7:12", "the load 'haeter' is in no goal",
         "did you mean 'heater'?"),
        ("type: switch", "type: push-button", GOALS, "3:57",
         "'cutoff' is a push-button, but 'master' is followed by a switch", "use a switch"),
        ("", "", "heater always, master cutoff", "5:11",
         "'dusk' follows 'night', which is no input in the goals", "remove it"),
        ("", "", "heater always", "3:52",
         "'cutoff' follows 'master', which is no input in the goals", "name no inputs"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", ["check", "why"])
def test_names_that_the_goals_do_not_have(
    command: str, right: str, wrong: str, goals: str, place: str, said: str, hint: str
) -> None:
    path = Path("own.yaml")
    path.write_text(DESIGN.replace(right, wrong) if right else DESIGN)
    ran = run(command, "own.yaml", goals)
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert ran.stderr.startswith(f"synth: own.yaml:{place}: {said}")
    assert hint in ran.stderr
    # The line is shown, and the caret stands under the word.
    line, caret = ran.stderr.splitlines()[1:3]
    assert caret.strip() == "^" and int(place.split(":")[1]) == caret.index("^") - 1
    assert line[2:] == path.read_text().splitlines()[int(place.split(":")[0]) - 1]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("goals: [master cutoff]\n", "1:9"),
        ("kit: full\ngoals:\n  - never more than 4 units\n", "3:5"),
        ("", "1:1"),
        ("# nothing yet\n", "1:1"),
    ],
)
def test_goals_that_ask_for_nothing(text: str, place: str) -> None:
    Path("goals.yaml").write_text(text)
    ran = run("plan", "goals.yaml")
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert f"goals.yaml:{place}: " in ran.stderr
    assert ("no load to be on" in ran.stderr) == ("goals:" in text)
