"""The command line as a user meets it: what it prints, writes, and which code it ends with.

Every bad input ends in code 2 with one clear message, without a traceback, and nothing written.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import click
import jsonschema
import pytest
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from synth import __version__
from synth.cli import main

ROOT = Path(__file__).parent.parent
SHED = str(ROOT / "goals" / "potting-shed.yaml")
PLAN_SCHEMA = json.loads((ROOT / "docs" / "plan.schema.json").read_text(encoding="utf-8"))


def run(*words: str) -> Result:
    """Run the tool in this process; a traceback would be an exception of another kind."""
    ran = CliRunner().invoke(main, words)
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.exception
    assert "Traceback" not in ran.output
    return ran


def run_apart(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the tool in a process of its own, in `folder`."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": "random"}
    return subprocess.run(
        [sys.executable, "-m", "synth.cli", *words],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
    )


def without_times(text: str) -> str:
    return re.sub(r"\d+\.\d+ s", "_ s", text)


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The potting shed, planned once into a folder."""
    folder = tmp_path_factory.mktemp("shed") / "deep" / "plan"
    return folder, run("plan", SHED, "--out", str(folder), "--format", "json")


class TestPlan:
    def test_text(self) -> None:
        ran = run("plan", "--goals", "light always, heater at night")
        assert ran.exit_code == 0
        assert "Proven cheapest" in ran.stdout
        # The parts by hand: a tap-off and one twilight switch, at the kit's prices 2 and 5.
        assert "Price 7 coins. The supply must deliver 2 units." in ran.stdout
        for heading in ("Goals", "Parts", "Wires", "Assumptions", "Checked", "Cautions"):
            assert re.search(rf"^{heading}", ran.stdout, re.MULTILINE), heading

    def test_json_follows_its_schema(self, shed: tuple[Path, Result]) -> None:
        _, ran = shed
        assert ran.exit_code == 0
        document = json.loads(ran.stdout)
        jsonschema.validate(document, PLAN_SCHEMA)
        assert document["synth"] == __version__
        assert document["status"] == "proven-cheapest"
        assert document["check"]["verdict"] == "holds"
        assert [goal["phrase"] for goal in document["goals"]] == [
            "pump on 10 s of every 60 s",
            "light always",
            "heater at night",
            "master cutoff for pump",
        ]

    def test_impossible_json_follows_its_schema(self, files: Path) -> None:
        ran = run("plan", str(files / "small supply.yaml"), "--format", "json")
        assert ran.exit_code == 1
        document = json.loads(ran.stdout)
        jsonschema.validate(document, PLAN_SCHEMA)
        assert (document["status"], document["design"]) == ("impossible", None)
        assert document["clash"]

    def test_out_writes_whole_files(self, shed: tuple[Path, Result]) -> None:
        folder, ran = shed
        names = sorted(path.name for path in folder.iterdir())
        assert names == ["design.json", "timing.svg", "wiring.svg"]
        design = json.loads((folder / "design.json").read_text(encoding="utf-8"))
        assert design == json.loads(ran.stdout)["design"]
        for name in ("timing.svg", "wiring.svg"):
            root = ElementTree.parse(folder / name).getroot()
            assert root.tag == "{http://www.w3.org/2000/svg}svg"

    def test_second_run_has_the_same_bytes(self, shed: tuple[Path, Result], tmp_path: Path) -> None:
        folder, first = shed
        again = run_apart("plan", SHED, "--out", "again", "--format", "json", folder=tmp_path)
        assert again.returncode == 0 and again.stderr == ""
        for path in folder.iterdir():
            assert path.read_bytes() == (tmp_path / "again" / path.name).read_bytes()
        one, two = json.loads(first.stdout), json.loads(again.stdout)
        for document in (one, two):
            del document["times"]
        assert one == two

    def test_out_over_an_older_folder(self, tmp_path: Path) -> None:
        (tmp_path / "design.json").write_text("old")
        (tmp_path / "mine.txt").write_text("mine")
        assert run("plan", "--goals", "light always", "--out", str(tmp_path)).exit_code == 0
        assert json.loads((tmp_path / "design.json").read_text())["kit"] == "starter"
        assert (tmp_path / "mine.txt").read_text() == "mine"
        assert not [p for p in tmp_path.iterdir() if p.name.endswith(".part")]

    def test_out_that_is_a_file(self, tmp_path: Path) -> None:
        (tmp_path / "taken").write_text("mine")
        ran = run("plan", "--goals", "light always", "--out", str(tmp_path / "taken"))
        assert ran.exit_code == 2
        assert "cannot write into" in ran.stderr
        assert (tmp_path / "taken").read_text() == "mine"

    def test_planned_design_checks_in_every_form(self, shed: tuple[Path, Result]) -> None:
        folder, ran = shed
        assert run("check", str(folder / "design.json"), SHED).exit_code == 0
        (folder.parent / "plan.json").write_text(ran.stdout, encoding="utf-8")
        assert run("check", str(folder.parent / "plan.json"), SHED).exit_code == 0

    def test_kit_by_option_wins_over_the_file(self) -> None:
        ran = run("plan", SHED, "--kit", "full", "--format", "json")
        document = json.loads(ran.stdout)
        assert (ran.exit_code, document["design"]["kit"]) == (0, "full")

    def test_the_kit_that_the_design_names_wins_over_the_file(self, tmp_path: Path) -> None:
        goals = tmp_path / "goals.yaml"
        goals.write_text("kit: starter\ngoals: [lamp at night]\n", encoding="utf-8")
        planned = run("plan", str(goals), "--kit", "full", "--format", "json")
        design = tmp_path / "design.json"
        design.write_text(planned.stdout, encoding="utf-8")
        ran = run("check", str(design), str(goals))
        assert ran.exit_code == 0, ran.output

    def test_kit_by_option_is_the_kit_that_is_told(self) -> None:
        ran = run("plan", "--goals", "light always", "--kit", "full")
        assert "the kit is 'starter'" not in ran.stdout


CYCLES = ("--goals", "pump on 10 s of every 60 s, fan on 5 s of every 20 s", "--kit", "full")


@pytest.fixture(scope="module")
def cycles() -> Result:
    """Two cycles that share a clock, planned to the proof."""
    ran = run("plan", *CYCLES, "--no-cache", "--format", "json")
    assert json.loads(ran.stdout)["status"] == "proven-cheapest"
    return ran


class TestGap:
    """Two cycles at their proven price are what an early end is held against."""

    def test_wide_gap_ends_early_and_says_so(self, cycles: Result) -> None:
        least = json.loads(cycles.stdout)["price"]
        ran = run("plan", *CYCLES, "--gap", "90", "--no-cache", "--format", "json")
        document = json.loads(ran.stdout)
        jsonschema.validate(document, PLAN_SCHEMA)
        assert (ran.exit_code, document["status"]) == (0, "best-found")
        assert document["check"]["verdict"] == "holds"
        # Stopped before the proof, so the bound has not met the price; it is still a true bound.
        assert 0 < document["bound"] < document["price"]
        assert document["bound"] <= least <= document["price"]
        assert 100 * (document["price"] - document["bound"]) <= 90 * document["price"]

    def test_the_gap_is_told(self) -> None:
        ran = run("plan", *CYCLES, "--gap", "90", "--no-cache")
        assert ran.exit_code == 0
        assert re.match(r"Best found, gap [\d.]+ %: checked, not proven", ran.stdout.split("\n")[2])

    def test_no_gap_at_all_is_a_proof(self, shed: tuple[Path, Result]) -> None:
        ran = run("plan", SHED, "--gap", "0", "--no-cache", "--format", "json")
        document = json.loads(ran.stdout)
        assert (ran.exit_code, document["status"]) == (0, "proven-cheapest")
        assert document["price"] == json.loads(shed[1].stdout)["price"]

    def test_narrow_gap_is_kept(self) -> None:
        ran = run("plan", SHED, "--gap", "5", "--no-cache", "--format", "json")
        document = json.loads(ran.stdout)
        assert ran.exit_code == 0
        assert 100 * (document["price"] - document["bound"]) <= 5 * document["price"]

    @pytest.mark.parametrize("gap", ["-1", "101", "nan", "wide"])
    def test_what_is_no_gap(self, gap: str) -> None:
        ran = run("plan", "--goals", "light always", "--gap", gap)
        assert (ran.exit_code, ran.stdout) == (2, "")
        assert "--gap" in ran.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_progress_shows_the_best_and_the_bound(cycles: Result) -> None:
    """On a terminal both numbers are shown as they improve, and they speak of the whole: the
    price of one of its circuits is neither. The proven price lies between them all the time."""
    import pty

    least = json.loads(cycles.stdout)["price"]
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "synth.cli", "plan", *CYCLES, "--no-cache"],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=theirs,
    )
    os.close(theirs)
    shown = b""
    try:
        while more := os.read(ours, 65536):
            shown += more
    except OSError:  # how Linux says that the other end was closed
        pass
    os.close(ours)
    assert process.wait(60) == 0
    lines = shown.decode().split("\r")
    best = [int(n) for line in lines for n in re.findall(r"best so far (\d+)", line)]
    bound = [int(n) for line in lines for n in re.findall(r"bound (\d+)", line)]
    assert best == sorted(best, reverse=True) and min(best) == least
    assert bound == sorted(bound) and len(set(bound)) > 2 and max(bound) == least
    assert lines[-1] == "" and lines[-2].strip() == ""


class TestImpossibleAndUndecided:
    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (["small supply.yaml"], "the loads alone need 4 units"),
            (["--goals", "pump on 10 s of every 60 s", "--kit", "no timer.kit"], "no timer"),
            (["no money.yaml"], "Impossible"),
            (["no twilight.yaml"], "Impossible"),
        ],
    )
    def test_impossible(self, words: list[str], said: str, files: Path) -> None:
        ran = run("plan", *placed(words, files), "--out", str(files / "out"))
        assert ran.exit_code == 1
        assert "Impossible: proven" in ran.stdout and said in ran.stdout
        assert "Price" not in ran.stdout
        assert not (files / "out").exists()

    def test_undecided(self, tmp_path: Path) -> None:
        yard = str(ROOT / "goals" / "whole-yard.yaml")
        out = tmp_path / "out"
        ran = run("plan", yard, "--time-limit", "0.1", "--out", str(out))
        assert ran.exit_code == 3
        assert "Undecided" in ran.stdout and "Impossible" not in ran.stdout
        assert not out.exists()


class TestCheck:
    def test_holds(self, files: Path) -> None:
        ran = run("check", str(files / "good.design"), "light always")
        assert ran.exit_code == 0 and "holds" in ran.stdout.lower()

    def test_holds_with_pictures(self, files: Path) -> None:
        out = files / "out"
        ran = run("check", str(files / "good.design"), "light always", "--out", str(out))
        assert ran.exit_code == 0
        assert sorted(p.name for p in out.iterdir()) == ["timing.svg", "wiring.svg"]

    def test_fails_with_the_moment(self, files: Path) -> None:
        out = files / "out"
        ran = run("check", str(files / "good.design"), "light at night", "--out", str(out))
        assert ran.exit_code == 1
        words = " ".join(ran.stdout.split())
        assert "light is on when the supply comes on; it must be off" in words
        assert "timing.svg" in {p.name for p in out.iterdir()}

    def test_json(self, files: Path) -> None:
        ran = run("check", str(files / "good.design"), "light by day", "--format", "json")
        document = json.loads(ran.stdout)
        assert ran.exit_code == 1
        assert document["verdict"] == "fails"
        assert [defect["fault"] for defect in document["defects"]] == ["goal"]

    def test_timer_between_the_steps_of_the_kit_fails(self, files: Path) -> None:
        ran = run("check", str(files / "fine time.design"), "light always")
        assert ran.exit_code == 1
        assert "in steps of 1 s" in " ".join(ran.stdout.split())


class TestKit:
    def test_shows_every_part(self) -> None:
        ran = run("kit")
        assert ran.exit_code == 0
        for name in ("pulse timer", "relay break", "twilight switch", "tap-off"):
            assert name in ran.stdout
        assert "recycler" not in ran.stdout and "recycler" in run("kit", "full").stdout

    @pytest.mark.parametrize("form", ["json", "yaml"])
    def test_json_and_yaml_are_a_kit_again(self, form: str, tmp_path: Path) -> None:
        copy = tmp_path / f"copy.{form}"
        copy.write_text(run("kit", "full", "--format", form).stdout, encoding="utf-8")
        ran = run("kit", "--check", str(copy))
        assert ran.exit_code == 0 and "a usable kit, 'full'" in ran.stdout

    def test_check_of_a_kit_as_json(self, files: Path) -> None:
        file = str(files / "no timer.kit")
        ran = run("kit", "--check", file, "--format", "json")
        assert json.loads(ran.stdout) == {"file": file, "kit": "bare", "parts": 4}

    def test_check_says_what_it_wrote(self, shed: tuple[Path, Result], tmp_path: Path) -> None:
        folder, _ = shed
        out = tmp_path / "look"
        ran = run("check", str(folder / "design.json"), SHED, "--out", str(out))
        assert f"Written to {out}: timing.svg, wiring.svg" in " ".join(ran.stdout.split())
        assert {file.name for file in out.iterdir()} == {"timing.svg", "wiring.svg"}

    def test_check_draws_nothing_of_what_is_not_whole(self, tmp_path: Path) -> None:
        out = tmp_path / "look"
        loop = "tests/must_reject/timer_fed_through_its_own_contact.yaml"
        ran = run("check", loop, "bell for 30 s after bell push is pressed", "--out", str(out))
        assert ran.exit_code == 1 and "Nothing is drawn" in ran.stdout and not out.exists()

    def test_a_file_that_is_not_there_is_not_taken_for_another(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        for name in ("islet.yaml", "salt.yaml"):
            (tmp_path / name).write_text("goals: [lamp always]\n", encoding="utf-8")
        assert "did you mean" not in run("plan", "nofile.yaml").output
        assert "did you mean 'salt.yaml'?" in run("plan", "slat.yaml").output

    def test_check_of_a_kit_of_ones_own(self, files: Path) -> None:
        ran = run("kit", "--check", str(files / "no timer.kit"))
        assert ran.exit_code == 0 and "a usable kit, 'bare', 4 parts" in ran.stdout


class TestHelp:
    @pytest.mark.parametrize("command", ["plan", "check", "kit"])
    def test_examples_and_exit_codes(self, command: str) -> None:
        ran = run(command, "--help")
        assert ran.exit_code == 0
        assert "Examples:" in ran.stdout and f"  synth {command}" in ran.stdout
        if command != "kit":
            assert "Exit codes:" in ran.stdout

    def test_first_help_shows_what_to_type(self) -> None:
        ran = run("--help")
        assert ran.exit_code == 0
        assert "synth plan goals/potting-shed.yaml" in ran.stdout
        assert run("-h").stdout == ran.stdout

    def test_version(self) -> None:
        assert __version__ in run("--version").stdout

    def test_as_a_module(self) -> None:
        command = [sys.executable, "-m", "synth", "--version"]
        ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
        assert __version__ in ran.stdout


# Bad inputs

FILES = {
    "good.yaml": "goals: [light always]\n",
    "good.design": "parts:\n  - {name: S, type: supply, settings: {units: 1}}\n"
    "  - {name: light, type: load}\nwires: [{from: S:out, to: light:in}]\n",
    "fine time.design": "parts: [{name: A, type: pulse-timer, settings: {time: 1.5 s}}]\n"
    "wires: []\n",
    "small supply.yaml": "loads: {light: 2, heater: 2}\ngoals: [light always, heater always]\n"
    "limits: {supply: 3}\n",
    "no money.yaml": "goals: [heater at night]\nlimits: {price: 4}\n",
    "no twilight.yaml": "goals: [heater at night]\nlimits: {without: [twilight switch]}\n",
    "no timer.kit": "kit: bare\ntrigger: held\nparts:\n  supply: {type: supply}\n"
    "  relay break: {type: relay-break, price: 4}\n"
    "  tap-off: {type: tap-off, price: 2, units: {most: 999}}\n  load: {type: load}\n",
    "empty.yaml": "",
    "cut short.yaml": "goals: [light always\n",
    "list.yaml": "- light always\n",
    "no goals.yaml": "loads: {light: 1}\n",
    "empty goals.yaml": "goals: []\n",
    "misspelt key.yaml": "gaols: [light always]\n",
    "twice.yaml": "goals: [light always]\ngoals: [light always]\n",
    "tab.yaml": "goals:\n\t- light always\n",
    "tag.yaml": "goals: !!python/object:os.system [x]\n",
    "nul.yaml": "goals: \0\n",
    "minus.yaml": "loads: {light: -1}\ngoals: [light always]\n",
    "kit.yaml": "kit: nowhere\ngoals: [light always]\n",
    "limit.yaml": "limits: {supply: many}\ngoals: [light always]\n",
    "limit part.yaml": "limits: {most: {rely make: 2}}\ngoals: [light always]\n",
    "wish.yaml": "minimise: beauty\ngoals: [light always]\n",
    "fact.yaml": "known: [night lasts about a while]\ngoals: [light always]\n",
    "input.yaml": "inputs: {cold: thermometer}\ngoals: [heater while cold]\n",
    "deep.yaml": "[" * 5000 + "\n",
    "list.kit": "- x\n",
    "price.kit": "kit: mine\ntrigger: held\nparts:\n  supply: {type: supply}\n"
    "  relay: {type: relay-make, price: -4}\n  load: {type: load}\n",
    "type.kit": "kit: mine\ntrigger: held\nparts:\n  supply: {type: supply}\n"
    "  relay: {type: relais, price: 4}\n  load: {type: load}\n",
    "no supply.kit": "kit: mine\ntrigger: held\nparts:\n  load: {type: load}\n",
    "trigger.kit": "kit: mine\ntrigger: maybe\nparts:\n  supply: {type: supply}\n"
    "  load: {type: load}\n",
    "terminal.design": "parts: [{name: S, type: supply}, {name: light, type: load}]\n"
    "wires: [{from: S:out, to: light:inn}]\n",
    "part.design": "parts: [{name: S, type: supply}, {name: light, type: load}]\n"
    "wires: [{from: T:out, to: light:in}]\n",
    "backward.design": "parts: [{name: S, type: supply}, {name: light, type: load}]\n"
    "wires: [{from: light:in, to: S:out}]\n",
    "type.design": "parts: [{name: S, type: suply}]\nwires: []\n",
    "same name.design": "parts: [{name: S, type: supply}, {name: S, type: load}]\nwires: []\n",
    "unit.design": "parts: [{name: A, type: pulse-timer, settings: {time: 10 parsecs}}]\n"
    "wires: []\n",
    "no time.design": "parts: [{name: A, type: pulse-timer}]\nwires: []\n",
    "setting.design": "parts: [{name: S, type: supply, settings: {colour: red}}]\nwires: []\n",
    "kit.design": "kit: elsewhere\nparts: [{name: S, type: supply}]\nwires: []\n",
    "none.design": "status: impossible\ndesign: null\n",
    "text.design": "hello\n",
}
"""Files by name; words of a command that name one are its path."""

BAD = [
    # plan: what is asked
    ("plan", [], "either in a goal file or with --goals"),
    ("plan", ["good.yaml", "--goals", "light always"], "either in a goal file or with --goals"),
    ("plan", ["good.yaml", "extra"], "unexpected extra argument"),
    ("plan", ["nowhere.yaml"], "there is no goal file 'nowhere.yaml'"),
    ("plan", ["god.yaml"], "did you mean 'good.yaml'?"),
    ("plan", ["no/where.yaml"], "there is no goal file 'no/where.yaml'"),
    ("plan", ["light always"], "goals in words stand behind --goals"),
    ("plan", ["folder"], "is a folder; a goal file is expected"),
    ("plan", ["--goals", ""], "there are no goals"),
    ("plan", ["--goals", " , ,"], "there are no goals"),
    ("plan", ["--goals", "light alwasy"], "did you mean 'always'?"),
    ("plan", ["--goals", "always"], "a phrase begins with the name of a load"),
    ("plan", ["--goals", "lamp on on on"], "it is not said when it is on"),
    ("plan", ["--goals", "light \x1b[31m always"], "cannot stand in a phrase"),
    ("plan", ["--goals", "x" * 5000], "a phrase of more than 500 characters"),
    # plan: times
    ("plan", ["--goals", "pump on 10 parsecs of every 60 s"], "'parsecs' is not known here"),
    ("plan", ["--goals", "pump on 10 of every 60 s"], "'10' has no unit of time"),
    ("plan", ["--goals", "pump on 60 s of every 10 s"], "leaves no pause"),
    ("plan", ["--goals", "pump on 0 s of every 60 s"], "not longer than nothing"),
    ("plan", ["--goals", "pump on -10 s of every 60 s"], "a time is never negative"),
    ("plan", ["--goals", "never more than -6 units"], "a number is never negative"),
    ("plan", ["--goals", "at most -7 unit-hours a day, lamp always"], "a number is never negative"),
    ("plan", ["--goals", "leave -2 s between up and down"], "a time is never negative"),
    ("plan", ["--goals", "lamp while -cold"], "or 'not cold', if it is not to hold"),
    ("plan", ["--goals", "lamp from 8:00 to 10:00"], "'8:00' is a time of the day"),
    ("plan", ["--goals", "lamp from 8 am to 10 am"], "'8 am' is a time of the day"),
    ("plan", ["--goals", "heater needs 2 units"], "how many units a load needs is no goal"),
    ("plan", ["--goals", "heater at night, heater needs 2"], "loads: {heater: 2}"),
    # plan: slips of the hand
    ("plan", ["--goals", "lamp at nite"], "did you mean 'night'?"),
    ("plan", ["--goals", "lamp at nite and while cold"], "did you mean 'night'?"),
    ("plan", ["--goals", "pump only at nite, pump always"], "did you mean 'night'?"),
    ("plan", ["--goals", "lamp while nite"], "did you mean 'night'?"),
    ("plan", ["--goals", "lamp while hot or nite"], "did you mean 'night'?"),
    ("plan", ["--goals", "lamp by dya"], "did you mean 'day'?"),
    ("plan", ["--goals", "lamp for 30 s after start is presed"], "did you mean 'start pressed'?"),
    ("plan", ["--goals", "lamp while door is closd"], "did you mean 'door closed'?"),
    ("plan", ["--goals", "pump on 0.0001 s of every 60 s"], "finer than 1 ms"),
    ("plan", ["--goals", "pump on 1e9 s of every 60 s"], "'e9' is not a unit of time"),
    # plan: options
    ("plan", ["--goals", "light always", "--kit", "startr"], "did you mean 'starter'?"),
    ("plan", ["--goals", "light always", "--kit", "nowhere.yaml"], "there is no kit file"),
    ("plan", ["--goals", "light always", "--kit", "folder"], "is a folder; a kit file is expected"),
    ("plan", ["--goals", "light always", "--kit", "good.yaml"], "a kit has no 'goals'"),
    ("plan", ["--goals", "light always", "--format", "xml"], "'xml' is not one of"),
    ("plan", ["--goals", "light always", "--time-limit", "0"], "0 is not from 0.1 to 86400"),
    ("plan", ["--goals", "light always", "--time-limit", "soon"], "'soon' is no number"),
    ("plan", ["--goals", "light always", "--seed", "-1"], "-1 is not from 0 to"),
    ("plan", ["--goals", "light always", "--seed", "1.5"], "'1.5' is no whole number"),
    ("plan", ["--goals", "light always", "--gap", "200"], "200 is not from 0 to 100"),
    ("plan", ["--gaols", "light always"], "--goals"),
    # plan: files
    ("plan", ["empty.yaml"], "the text is empty"),
    ("plan", ["cut short.yaml"], "a ',' or ']' is expected"),
    ("plan", ["list.yaml"], "a goal file begins with 'goals:'"),
    ("plan", ["no goals.yaml"], "there are no goals"),
    ("plan", ["empty goals.yaml"], "there are no goals"),
    ("plan", ["misspelt key.yaml"], "did you mean 'goals'?"),
    ("plan", ["twice.yaml"], "'goals' stands twice"),
    ("plan", ["tab.yaml"], "indent with spaces"),
    ("plan", ["tag.yaml"], "tags are not used here"),
    ("plan", ["nul.yaml"], "it is no text file"),
    ("plan", ["minus.yaml"], "not -1"),
    ("plan", ["kit.yaml"], "there is no kit 'nowhere'"),
    ("plan", ["limit.yaml"], "the largest supply is a whole number"),
    ("plan", ["limit part.yaml"], "did you mean 'relay make'?"),
    ("plan", ["wish.yaml"], "'beauty' cannot be minimised"),
    ("plan", ["fact.yaml"], "how long does it last?"),
    ("plan", ["input.yaml"], "not 'thermometer'"),
    ("plan", ["deep.yaml"], "deep"),
    # kit
    ("kit", ["nowhere"], "there is no kit 'nowhere'"),
    ("kit", ["good.yaml"], "a kit has no 'goals'"),
    ("kit", ["--format", "xml"], "'xml' is not one of"),
    ("kit", ["--check", "nowhere.yaml"], "there is no kit file"),
    ("kit", ["--check", "list.kit"], "but a list came"),
    ("kit", ["--check", "price.kit"], "the number '-4' came"),
    ("kit", ["--check", "type.kit"], "the type cannot be 'relais'"),
    ("kit", ["--check", "no supply.kit"], "the kit has no supply"),
    ("kit", ["--check", "trigger.kit"], "'trigger' cannot be 'maybe'"),
    # check
    ("check", ["good.design"], "Missing argument 'GOALS'"),
    ("check", ["nowhere.design", "light always"], "there is no design file"),
    ("check", ["folder", "light always"], "is a folder; a design file is expected"),
    ("check", ["good.design", "light alwasy"], "did you mean 'always'?"),
    ("check", ["good.design", "nowhere.yaml"], "there is no goal file"),
    ("check", ["good.design", "light always", "--kit", "nope"], "there is no kit 'nope'"),
    ("check", ["good.yaml", "good.yaml"], "a design has no 'goals'"),
    ("check", ["terminal.design", "light always"], "the load 'light' has no terminal 'inn'"),
    ("check", ["part.design", "light always"], "there is no part 'T'"),
    ("check", ["backward.design", "light always"], "a wire begins at an output"),
    ("check", ["type.design", "light always"], "did you mean 'supply'?"),
    ("check", ["same name.design", "light always"], "two parts are called 'S'"),
    ("check", ["unit.design", "light always"], "'parsecs' is not a unit of time"),
    ("check", ["no time.design", "light always"], "needs the setting 'time'"),
    ("check", ["setting.design", "light always"], "a supply has no setting 'colour'"),
    ("check", ["kit.design", "light always"], "the kit 'elsewhere'"),
    ("check", ["none.design", "light always"], "this plan holds no design"),
    ("check", ["text.design", "light always"], "'hello' came"),
]


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """All `FILES` in a folder of their own, which is the present one."""
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "folder").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def placed(words: list[str], folder: Path) -> list[str]:
    return [str(folder / word) if word in FILES else word for word in words]


@pytest.mark.parametrize(("command", "words", "said"), BAD, ids=lambda value: str(value)[:50])
def test_bad_input(command: str, words: list[str], said: str, files: Path) -> None:
    out = [] if command == "kit" else ["--out", str(files / "out")]
    ran = run(command, *words, *out)
    assert ran.exit_code == 2
    assert said in ran.stderr
    assert ran.stdout == ""
    assert not (files / "out").exists()
    assert sorted(p.name for p in files.iterdir()) == sorted([*FILES, "folder"])
    # One message: a head, at most the line with its caret, and a hint (or click's usage lines).
    assert len(ran.stderr.splitlines()) <= 4
    assert "\x1b" not in ran.stderr


def test_bad_input_in_a_process_of_its_own(files: Path) -> None:
    ran = run_apart("plan", "--goals", "light alwasy", folder=files)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr == (
        "synth: goals:1:7: 'alwasy' is not known here\n"
        "  light alwasy\n        ^\n  did you mean 'always'?\n"
    )


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    (tmp_path / "bytes.yaml").write_bytes(b"goals: [light \xff\xfe always]\n")
    ran = run("plan", str(tmp_path / "bytes.yaml"))
    assert ran.exit_code == 2 and ran.stderr.count("synth: ") == 1


def test_unknown_command() -> None:
    ran = run("pln")
    assert ran.exit_code == 2 and "No such command 'pln'" in ran.stderr


@pytest.mark.parametrize("goals", ["master cutoff", "never more than 4 units"])
def test_goals_without_a_load(goals: str) -> None:
    ran = run("plan", "--goals", goals)
    assert ran.exit_code == 2 and ran.stderr.startswith("synth: ")


def test_time_limit_that_is_no_number() -> None:
    refused = run("plan", "--goals", "light always", "--time-limit", "nan")
    assert refused.exit_code == 2 and "'nan' is no number" in refused.output


def test_reader_that_goes_away(tmp_path: Path) -> None:
    words = [sys.executable, "-m", "synth.cli", "kit", "full"]
    reading, writing = os.pipe()
    os.close(reading)
    try:
        ran = subprocess.run(
            words,
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"},
            stdout=writing,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
        )
    finally:
        os.close(writing)
    assert "Traceback" not in ran.stderr
    assert ran.returncode == 0


WORDS = st.sampled_from(
    re.findall(
        r"\S+",
        "light pump heater on off always at night by day 10 s 60 of every while cold master cutoff"
        " for , not and or only 2 h from dusk ( ) ' \" never together : - 0 1e9",
    )
)


def refused_or_posed(text: str) -> None:
    """Read the goals as `plan` does, short of the search: a verdict or one message."""
    from synth.errors import SynthError
    from synth.pipeline import read_problem

    try:
        problem = read_problem(None, text, None)
    except SynthError as error:
        assert error.exit_code == 2
        assert error.message and "Traceback" not in str(error)
    else:
        assert problem.goals and [i for i in problem.inputs if i.name == "supply"]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.text(max_size=60))
def test_any_text_is_refused_or_understood(text: str) -> None:
    refused_or_posed(text)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(WORDS, max_size=14).map(" ".join))
def test_any_order_of_known_words_is_refused_or_understood(text: str) -> None:
    refused_or_posed(text)


@settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.text(max_size=40))
def test_any_text_at_the_command_line(text: str) -> None:
    ran = run("plan", f"--goals={text}", "--time-limit", "0.5")
    assert ran.exit_code in (0, 1, 2, 3)
    if ran.exit_code == 2:
        assert ran.stderr.startswith("synth: ") or "Error: " in ran.stderr
        assert click.unstyle(ran.stderr) == ran.stderr


def test_fast_says_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """The optional solver may find another wiring, but proves the same price."""
    told = []
    for words in ((), ("--fast",)):
        ran = run("plan", "--goals", "pump on 10 s of every 60 s", "--format", "json", *words)
        document = json.loads(ran.stdout)
        told.append((ran.exit_code, document["status"], document["price"], document["bound"]))
    assert told[0] == told[1] and told[0][:2] == (0, "proven-cheapest")
    monkeypatch.setattr("synth.pipeline.fast_available", lambda: False)
    ran = run("plan", "--goals", "light always", "--fast")
    assert ran.exit_code == 2
    assert "pip install '.[fast]'" in ran.stderr


def test_a_file_given_as_words_is_told(tmp_path: Path) -> None:
    file = tmp_path / "mine.yaml"
    file.write_text("goals: [lamp always]\n", encoding="utf-8")
    result = CliRunner().invoke(main, ["plan", "--goals", str(file)])
    assert result.exit_code == 2
    assert "is a file" in result.output and f"synth plan {file}" in result.output
