"""Times longer than every timer of a kit: timers one after the other make them up."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from synth.cli import main

SHORT = """\
kit: short
trigger: held
parts:
  supply: {type: supply}
  sensor: {type: sensor, price: 4, contact: [make, break]}
  relay break: {type: relay-break, price: 4}
  on-delay timer: {type: on-delay-timer, price: 8, time: {least: 1 s, most: 30 s, step: 1 s}}
  pulse timer: {type: pulse-timer, price: 8, time: {least: 1 s, most: 30 s, step: 1 s}}
  tap-off: {type: tap-off, price: 2, units: {most: 999}}
  divider: {type: divider, price: 3, outputs: 3}
  load: {type: load}
"""
CHAIN = """\
parts:
  - {name: supply, type: supply, settings: {units: 3}}
  - {name: heat, type: sensor, settings: {input: hot}}
  - {name: first, type: on-delay-timer, settings: {time: 25 s}}
  - {name: second, type: on-delay-timer, settings: {time: 25 s}}
  - {name: split, type: divider}
  - {name: lamp, type: load}
wires:
  - {from: supply:out, to: split:in}
  - {from: split:out1, to: heat:in}
  - {from: split:out2, to: first:start}
  - {from: split:out3, to: second:in}
  - {from: heat:out, to: first:in}
  - {from: first:out, to: second:start}
  - {from: second:out, to: lamp:in}
"""
GOALS = "lamp once hot has lasted 50 s"


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with the kit and the chain of two timers."""
    monkeypatch.chdir(tmp_path)
    Path("short.yaml").write_text(SHORT)
    Path("chain.yaml").write_text(CHAIN)


def run(*words: str) -> Result:
    """Run the tool in this process, with the kit of short times."""
    ran = CliRunner().invoke(main, [*words, "--kit", "short.yaml"])
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.exception
    return ran


def test_the_chain_holds() -> None:
    ran = run("check", "chain.yaml", GOALS)
    assert ran.exit_code == 0, ran.output
    assert "Holds." in ran.stdout and "price 23 coins" in ran.stdout


def test_a_chain_that_is_too_short_does_not() -> None:
    Path("chain.yaml").write_text(CHAIN.replace("25 s", "24 s", 1))
    ran = run("check", "chain.yaml", GOALS)
    assert ran.exit_code == 1 and "lamp is on" in " ".join(ran.stdout.split())


def test_the_search_finds_one_as_cheap() -> None:
    ran = run("plan", "--goals", GOALS, "--format", "json")
    document = json.loads(ran.stdout)
    assert (ran.exit_code, document["check"]["verdict"]) == (0, "holds")
    assert document["price"] <= 23  # the chain above, of two timers, a sensor and a divider
    times = [part["settings"].get("time") for part in document["design"]["parts"]]
    assert [time for time in times if time] == ["25 s", "25 s"]
    assert any("name 50 s, to which no timer" in line for line in document["assumptions"])


def test_a_cycle_longer_than_any_timer_of_the_bundled_kit() -> None:
    """Its timers take up to 7 days. By hand: a recycler of 4 days on, 4 days off (12 coins) starts
    a pulse of 10 s (8 coins), with a tap-off (2 coins)."""
    goals = "pump on 10 s of every 8 d"
    ran = CliRunner().invoke(main, ["plan", "--goals", goals, "--kit", "full", "--format", "json"])
    document = json.loads(ran.stdout)
    assert (ran.exit_code, document["check"]["verdict"]) == (0, "holds")
    assert document["price"] <= 22


def test_a_time_that_settings_cannot_make_up_is_judged_and_not_refused() -> None:
    """Timers in whole seconds alone keep no half of one."""
    goals = GOALS.replace("50 s", "2.5 s")
    assert run("check", "chain.yaml", goals).exit_code == 1
    assert run("plan", "--goals", goals, "--time-limit", "5").exit_code in (1, 3)
