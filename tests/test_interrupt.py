"""Ctrl-C at any moment ends in an honest label, never in code 1: nothing was proven."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

from synth import pipeline
from synth.cli import _Watch, main
from synth.problem import Problem

ROOT = Path(__file__).parent.parent
PLAN_SCHEMA = json.loads((ROOT / "docs" / "plan.schema.json").read_text(encoding="utf-8"))


def run(*words: str) -> Result:
    """Run the tool in this process; a traceback would be an exception of another kind."""
    ran = CliRunner().invoke(main, words)
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.exception
    return ran


def test_before_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    read = pipeline.read_problem

    def interrupted(*given: str | None, **more: bool) -> Problem:
        os.kill(os.getpid(), signal.SIGINT)
        return read(*given, **more)

    monkeypatch.setattr(pipeline, "read_problem", interrupted)
    # A job that takes far longer than this test may.
    ran = run("plan", str(ROOT / "goals" / "workbench.yaml"), "--format", "json")
    document = json.loads(ran.stdout)
    jsonschema.validate(document, PLAN_SCHEMA)
    assert (ran.exit_code, document["status"]) == (3, "undecided")
    assert document["design"] is None and document["proven"] == []


def test_with_a_design_in_hand(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    # The cheapest circuit is known soon, and that none takes less power only much later.
    goals = tmp_path / "goals.yaml"
    goals.write_text(
        "kit: starter\nminimise: power\ngoals: [pump on 10 s of every 60 s, light always, "
        "heater at night, master cutoff for pump]\n"
    )

    def heard(watch: _Watch, stage: str, best: int | None, bound: int | None) -> None:
        if best is not None and not watch.interrupted:
            os.kill(os.getpid(), signal.SIGINT)

    monkeypatch.setattr(_Watch, "report", heard)
    ran = run("plan", str(goals), "--format", "json")
    document = json.loads(ran.stdout)
    jsonschema.validate(document, PLAN_SCHEMA)
    assert (ran.exit_code, document["status"]) == (0, "best-found")
    assert document["check"]["verdict"] == "holds"
    assert document["bound"] is None or document["bound"] <= document["supply"]
    assert "supply" not in document["proven"]


@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be sent Ctrl-C")
@pytest.mark.parametrize("pause", [0.0, 0.1, 0.3, 0.6])
def test_pressed_twice_in_haste(pause: float, tmp_path: Path) -> None:
    """The second one neither takes the plan away nor changes the code, whatever it comes upon."""
    ran = subprocess.Popen(
        [sys.executable, "-c", "from synth.start import main; main()", "plan", "--kit", "starter",
         "--goals", "pump on 10 s of every 60 s, fan on 5 s of every 20 s, master cutoff for pump",
         "--format", "json", "--out", str(tmp_path / "plan")],
        env={**os.environ, "PYTHONPATH": str(ROOT), "SYNTH_CACHE": ""},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )  # fmt: skip
    time.sleep(4.0)
    ran.send_signal(signal.SIGINT)
    time.sleep(pause)
    ran.send_signal(signal.SIGINT)
    out, told = ran.communicate(timeout=60)
    document = json.loads(out)
    jsonschema.validate(document, PLAN_SCHEMA)
    assert told == ""
    designed = document["design"] is not None
    assert (ran.returncode, document["status"]) == (
        (0, "best-found") if designed else (3, "undecided")
    )
    assert (tmp_path / "plan" / "design.json").exists() is designed


@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot send itself Ctrl-C")
def test_pressed_again_later(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever insists is heard: at once, and nothing is claimed."""

    def stuck(*given: object, **more: object) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        monkeypatch.setattr("synth.cli.AGAIN", 0.0)
        os.kill(os.getpid(), signal.SIGINT)
        raise AssertionError("the second one was not heard")

    monkeypatch.setattr(pipeline, "plan", stuck)
    ran = run("plan", "--goals", "light always")
    assert (ran.exit_code, ran.stdout) == (3, "")
    assert ran.stderr == "synth: stopped by Ctrl-C; nothing is claimed\n"


@pytest.mark.parametrize("command", ["plan", "check"])
def test_outside_the_search(command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*given: str | None, **more: bool) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(pipeline, "read_problem", gone)
    monkeypatch.setattr(pipeline, "read_design", gone)
    words = ["plan", "any.yaml"] if command == "plan" else ["check", "any.json", "any.yaml"]
    ran = run(*words)
    assert ran.exit_code == 3
    assert ran.stdout == ""
    assert ran.stderr == "synth: stopped by Ctrl-C; nothing is claimed\n"


BEGUN = """
import os, signal, sys
from importlib import import_module

class Interrupting:
    def find_spec(self, name, path=None, target=None):
        if name == {name!r}:
            sys.meta_path.remove(self)
            os.kill(os.getpid(), signal.SIGINT)

module, function = {entry!r}.split(":")
sys.meta_path.insert(0, Interrupting())
getattr(import_module(module), function)()
"""
"""Begins as the installed command does; Ctrl-C comes as a module begins to be read."""


def interrupted_at(name: str, *words: str, ignored: bool = False) -> tuple[int, str, str]:
    """Return code, output and messages of the command when Ctrl-C comes as `name` is read."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    text = BEGUN.format(name=name, entry=project["scripts"]["synth"])
    if ignored:
        text = "import signal\nsignal.signal(signal.SIGINT, signal.SIG_IGN)\n" + text
    ran = subprocess.run(
        [sys.executable, "-c", text, *words],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    return ran.returncode, ran.stdout, ran.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot send itself Ctrl-C")
@pytest.mark.parametrize("name", ["click", "synth.cli", "synth.errors", "synth.pipeline"])
def test_while_the_program_is_read(name: str) -> None:
    told = (3, "", "synth: stopped by Ctrl-C; nothing is claimed\n")
    assert interrupted_at(name, "plan", "--goals", "light always") == told


@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot send itself Ctrl-C")
def test_where_it_is_not_to_be_heard() -> None:
    """Shells start commands in the background of a script with the signal ignored (POSIX.1-2017,
    Shell Command Language, 2.11)."""
    code, out, told = interrupted_at("click", "kit", ignored=True)
    assert (code, told) == (0, "") and "twilight switch" in out
