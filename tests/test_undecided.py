"""Where not all is proven, the plan says why the search ended, and what may help."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from test_search_ahead import TWO_CYCLES

from synth import pipeline
from synth.cli import _Watch, main
from synth.pipeline.planning import _tools
from synth.report.undecided import known, what_may_help, why_ended
from synth.result import Ending, LeftOpen, OpenFor, Status, Why
from synth.search import questions, whole
from synth.search.basics import Found, Progress
from synth.search.circuits import Circuit
from synth.search.one_by_one import OneByOne
from synth.search.within import bounds_in_words

ROOT = Path(__file__).parent.parent
SHED = str(ROOT / "goals" / "potting-shed.yaml")
YARD = str(ROOT / "goals" / "whole-yard.yaml")
SCHEMA = json.loads((ROOT / "docs" / "plan.schema.json").read_text(encoding="utf-8"))


def told(*words: str) -> str:
    """Return what a plan that ends undecided says, on one line."""
    ran = CliRunner().invoke(main, ["plan", *words])
    assert ran.exit_code == 3, ran.output
    return " ".join(ran.stdout.split())


def test_time_that_ran_out() -> None:
    said = told(YARD, "--time-limit", "0.1")
    assert "Why it ended - the time ran out (0.1 s for all of the search) while a circuit" in said
    assert "more time, such as --time-limit 60" in said and "left open" not in said


def test_a_question_that_is_too_large(monkeypatch: pytest.MonkeyPatch) -> None:
    """Models of at most 3000 clauses do not hold two timers: each such list stays open."""
    monkeypatch.setattr(questions, "LARGEST", 3_000)
    said = told(SHED)
    assert "not for want of time, so more of it does not help" in said
    assert "left open for pump: the parts list relay break, 2 x pulse timer" in said
    assert "too large a question" in said and "--time-limit" not in said
    assert "--fast" in said and "questions twice as large" in said
    assert "to plan goals 1 and 4 alone" in said
    ran = CliRunner().invoke(main, ["plan", SHED, "--format", "json"])
    document = json.loads(ran.stdout)
    jsonschema.validate(document, SCHEMA)
    assert document["ending"]["why"] == "left-open"
    assert any("left open for pump" in line for line in document["ending"]["said"])


def test_stopped_by_the_user(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_Watch, "stopped", lambda watch: True)
    said = told(SHED, "--time-limit", "40")
    assert "it was stopped (Ctrl-C)" in said and "time ran out" not in said
    assert "to let it go on: it had 40 s" in said


def test_best_found_says_why_no_more_is_proven(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first design found ends it: nothing but that is to be said, and nothing with a gap."""
    problem = pipeline.read_problem(None, TWO_CYCLES, "full")
    stop: list[bool] = []

    def report(stage: str, best: int | None, bound: int | None) -> None:
        if best is not None:
            stop.append(True)

    outcome = pipeline.plan(problem, report, stopped=lambda: bool(stop))
    assert outcome.status is Status.BEST_FOUND and outcome.ending is not None
    assert outcome.ending.why is Why.STOPPED and outcome.ending.seconds == 60.0
    near = pipeline.plan(problem, gap=100.0)
    assert near.status is Status.BEST_FOUND and near.ending is None
    proven = pipeline.plan(pipeline.read_problem(SHED, None, None))
    assert proven.status is Status.PROVEN and proven.ending is None


def test_words_of_each_reason() -> None:
    problem = pipeline.read_problem(SHED, None, None)
    one = LeftOpen(OpenFor.UNCHECKED, ("pump", "light"), ("relay make", "relay make"))
    ending = Ending(Why.LEFT_OPEN, ("pump", "light"), (one,), seconds=30.0)
    said = why_ended(ending, problem)
    assert said[0].startswith("not for want of time: ")
    assert "left open for pump and light: the parts list 2 x relay make, since a wiring" in said[1]
    # A check that did not come to an end may do so with more time.
    assert "more time for the check: --time-limit 300" in what_may_help(problem, ending=ending)
    dearer = replace(ending, left_open=(replace(one, why=OpenFor.DEARER),), fast=True)
    helps = what_may_help(problem, ending=dearer)
    assert not any("--time-limit" in line or "--fast" in line for line in helps)
    unordered = why_ended(Ending(Why.UNORDERED), problem)
    assert len(unordered) == 1 and "does not refute the whole" in unordered[0]
    late = Ending(Why.TIME, ("pump", "light", "heater"), seconds=86_400.0)
    assert "a circuit for all goals" in why_ended(late, problem)[0]
    # No more is advised than may be given.
    assert "more time, such as --time-limit 86400" in what_may_help(problem, ending=late)


@pytest.mark.parametrize(
    ("name", "limit"), [("water-butt", ""), ("potting-shed", "limits: {supply: 9}\n")]
)
def test_a_plan_proves_no_less_than_bounds_alone(name: str, limit: str, tmp_path: Path) -> None:
    """What `synth why --bound` says of the price of any circuit, a plan that ends before it has a
    design says as well: single circuits that it came to may prove less."""
    path, reached = tmp_path / "goals.yaml", list[str]()
    goals = (ROOT / "goals" / f"{name}.yaml").read_text(encoding="utf-8")
    path.write_text(goals + limit, encoding="utf-8")
    problem = pipeline.read_problem(str(path), None, None)
    floor = pipeline.least_price(problem, None).price
    outcome = pipeline.plan(
        problem,
        lambda stage, best, bound: reached.append(stage),
        seconds=5.0,
        stopped=lambda: "bounds" in reached,
    )
    assert outcome.status is Status.UNDECIDED
    assert floor is not None and outcome.bound == floor


def test_a_design_at_the_bound_is_the_cheapest() -> None:
    """The shed costs what bounds alone prove, 35 coins; with a bound of 34 it is only the best
    found."""
    problem = pipeline.read_problem(SHED, None, None)
    tools = _tools(problem, {"check": 0.0, "share": 0.0}, 60.0, False, None)
    solver = whole._Whole(problem, tools, Progress(), 1)
    assert solver.solve().price == 35
    solver.circuits = []
    told = {}
    for least in (34, 35, 36):
        solver.at_least = least
        outcome = solver._outcome(Found())
        told[least] = (outcome.status, outcome.bound, outcome.proven)
    assert told[34] == (Status.BEST_FOUND, 34, ())
    assert told[35] == told[36] == (Status.PROVEN, 35, ("price",))


@pytest.mark.parametrize(
    ("without", "told"),
    [("", True), ("limits: {without: [joint]}\n", False)],
)
def test_bounds_speak_of_joining_only_where_there_are_joints(
    without: str, told: bool, tmp_path: Path
) -> None:
    path = tmp_path / "goals.yaml"
    path.write_text(f"goals: [lamp always]\n{without}", encoding="utf-8")
    bounds = bounds_in_words(pipeline.read_problem(str(path), None, None))
    shared = [line for line in bounds if "power shared out by tap-offs and dividers" in line]
    assert len(shared) == 1 and ("not joined again" in shared[0]) is told
    assert not any("without joints" in line for line in bounds)


def test_circuits_that_were_found_are_told_where_another_is_not() -> None:
    """In the starter kit no circuit for the lamp is found in seconds; the heater takes a switch."""
    goals = "lamp toggled by button, heater at night"
    problem = pipeline.read_problem(None, goals, "starter")
    outcome = pipeline.plan(problem, seconds=2.0)
    assert outcome.status is Status.UNDECIDED and outcome.ending is not None
    assert outcome.ending.loads == ("lamp",) and outcome.ending.solved == ("heater",)
    said = " ".join(known(outcome, problem))
    assert "for heater (goal 2) there is a circuit" in said


def test_what_was_put_off_has_its_turn_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two circuits that had no design in their share: the second gets one, so the first has what
    time is left, instead of none."""
    problem = pipeline.read_problem(None, "lamp while hot and dry, heater at night", "starter")
    tools = _tools(problem, {"check": 0.0, "share": 0.0}, 60.0, False, None)
    solver = whole._Whole(problem, tools, Progress(), 1)
    each = OneByOne(problem, solver.pieces, tools, solver.progress, 1)
    turns: list[int] = []
    solve = OneByOne._solve

    def again(self: OneByOne, circuit: Circuit, share: float) -> None:
        turns.append(self.circuits.index(circuit))
        if len(turns) > 1:
            solve(self, circuit)

    monkeypatch.setattr(OneByOne, "_solve", lambda self, circuit: None)
    monkeypatch.setattr(OneByOne, "_solve_again", again)
    assert each.solve() is None
    assert turns == [0, 1, 0] and all(c.found.best is not None for c in each.circuits)


def test_of_a_toggled_load_it_is_told_what_makes_it_dear() -> None:
    """A button held as power comes back to it, and to start afresh."""
    goals = "lamp toggled by button{}, pump while low, {}"

    def helps(more: str, keeps: str = "") -> list[str]:
        problem = pipeline.read_problem(None, goals.format(keeps, more), "full")
        return [line for line in what_may_help(problem) if "'lamp'" in line]

    # Neither alone may do, so they are one line.
    (both,) = helps("master cutoff")
    assert both.startswith("both together: 'button is released when power or master comes on'")
    assert "and 'keeps its state' for 'lamp'" in both
    (released,) = helps("master cutoff for pump", ", keeps its state")
    assert released.startswith("'button is released when power comes on'")


@pytest.mark.parametrize(
    ("goals", "limits", "told"),
    [
        ("lamp while hot", "", "no timers, since no goal names a time"),
        ("lamp while hot", "least: {pulse timer: 1}", "timers set to one of 1 s"),
        ("lamp for 5 s after hot", "", "timers set to one of 5 s"),
        ("lamp for 1.5 s after hot", "", "no timers, since none on offer can be set to a time"),
        ("lamp while hot", "without: [pulse timer]", None),
    ],
)
def test_bounds_speak_of_the_settings_of_timers(
    goals: str, limits: str, told: str | None, tmp_path: Path
) -> None:
    path = tmp_path / "goals.yaml"
    path.write_text(f"kit: starter\ngoals: [{goals}]\nlimits: {{{limits}}}\n", encoding="utf-8")
    lines = bounds_in_words(pipeline.read_problem(str(path), None, None))
    timers = [line for line in lines if "no timers" in line or "timers set" in line]
    assert len(timers) == (told is not None)
    assert told is None or timers[0].startswith(told)


def test_a_supply_that_never_fails_is_named_where_it_helps(tmp_path: Path) -> None:
    """A lamp toggled by an impulse relay alone keeps its position through a power cut: to start
    afresh takes more than a short search finds. What is advised is done, and proven."""
    hint = "'supply never fails' under 'known'"
    goals = "kit: full\ngoals: [lamp toggled by button]\n"
    file = tmp_path / "toggle.yaml"
    file.write_text(goals, encoding="utf-8")
    assert hint in told(str(file), "--time-limit", "0.5")
    problem = pipeline.read_problem(None, "lamp while hot", "full")
    assert not any(hint in line for line in what_may_help(problem))
    file.write_text(goals + "known: [supply never fails]\n", encoding="utf-8")
    problem = pipeline.read_problem(str(file), None, None)
    assert not any(hint in line for line in what_may_help(problem))
    outcome = pipeline.plan(problem)
    # An impulse relay for 7 coins, a push button and a tap-off for 2 each.
    assert outcome.status is Status.PROVEN and outcome.price == 11


def test_what_makes_toggled_loads_dear_is_told_first_and_once() -> None:
    """The heater follows the fan: it is the fan's button that is held as power returns."""
    goals = (
        "fan toggled by button, fan keeps its state, heater while cold, "
        "heater never while fan is on"
    )
    problem = pipeline.read_problem(None, goals, "full")
    helps = what_may_help(problem)
    assert helps[0] == (
        "'button is released when power comes on' under 'known', where nobody holds it then: that "
        "'fan' stands it takes many parts"
    )
    assert sum("is released when" in one for one in helps) == 1
