"""Goals that contradict each other, and ways out: the fewest changes, each the least that does."""

from __future__ import annotations

import json
from dataclasses import replace
from io import StringIO
from itertools import combinations
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from synth import pipeline
from synth.cli import main
from synth.conflict import Conflict, Kind, Wish
from synth.errors import Contradiction, GoalError
from synth.explore.clash import clash_of
from synth.explore.ways import with_value
from synth.pipeline.asking import _posed_alone
from synth.pose import pose
from synth.problem import Problem
from synth.read.goal_file import parse_goal_file
from synth.read.kit_file import load_kit
from synth.report.conflict import (
    conflict_document,
    print_conflict,
    way_in_words,
    wish_in_words,
)
from synth.result import Outcome, Status

DOCS = Path(__file__).resolve().parents[1] / "docs"
SCHEMA = json.loads((DOCS / "clash.schema.json").read_text(encoding="utf-8"))


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def conflict(tmp_path: Path, text: str) -> tuple[Problem, Conflict]:
    path = tmp_path / "goals.yaml"
    path.write_text(text, encoding="utf-8")
    problem = pipeline.read_problem(str(path), None, None, contradictory=True)
    found = pipeline.clash(str(path), None, problem, 30.0)
    jsonschema.validate(conflict_document(found, problem), SCHEMA)
    return problem, found


# --- goals that contradict each other -------------------------------------------------------------

CONTRADICTIONS = [
    # goals, those that contradict each other, those without which the rest can be built
    ("bell always, heater at night, heater never while dark", [2, 3], [2, 3]),
    ("up always, up and down never together, down at night", [1, 2, 3], [1, 2, 3]),
    ("light always, light by day, bell at night", [1, 2], [1, 2]),
    ("heater at night, heater only by day, bell always", [1, 2], [1, 2]),
    pytest.param(
        "pump 10 s of every 60 s, pump once started at least 5 min", [1, 2], [2],
        marks=pytest.mark.slow,
    ),
    ("x always, x never by day, bell always, x never at night", [1, 2, 4], [1, 2, 4]),
]  # fmt: skip


@pytest.mark.parametrize(("goals", "clash", "ways"), CONTRADICTIONS)
def test_goals_that_contradict_each_other_clash(
    goals: str, clash: list[int], ways: list[int]
) -> None:
    """Two goals of which each is easily had: nothing is wrong with the input, they clash. By hand:
    which they are, and which of them may go."""
    problem = pipeline.read_problem(None, goals, None, contradictory=True)
    found = pipeline.clash(None, goals, problem, 30.0)
    assert (found.status, found.smallest) == (Status.IMPOSSIBLE, True)
    assert [wish.number for wish in found.clash] == clash
    assert all(str(number) in found.reasons[0] for number in clash)
    dropped = {way.dropped[0].number for way in found.ways if way.value is None}
    assert dropped == set(ways)
    for way in found.ways:
        assert len(way.dropped) == 1 and way.cheapest
    jsonschema.validate(conflict_document(found, problem), SCHEMA)


def test_a_plan_of_contradicting_goals_is_impossible() -> None:
    goals = ("--goals", "heater at night, heater never while dark")
    told = run("plan", *goals)
    assert told.exit_code == 1
    assert "Impossible" in told.stdout and "synth clash" in told.stdout
    assert "goals 1 and 2 contradict each other: 'heater' could never be on" in told.stdout
    document = json.loads(run("plan", *goals, "--format", "json").stdout)
    schema = json.loads((DOCS / "plan.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(document, schema)
    assert document["status"] == "impossible" and len(document["clash"]) == 1
    assert run("clash", *goals).exit_code == 1
    assert run("options", *goals).exit_code == 1
    # What needs a design to begin with names the goals, and says what to do.
    lesson = run("lesson", goals[1], "--out", "nowhere")
    assert lesson.exit_code == 1
    assert "goals 1 and 2" in lesson.stderr and "synth clash" in lesson.stderr


def test_words_that_exclude_each_other_name_their_goals() -> None:
    """The first goal is without fault: it is the other two that differ."""
    goals = "x 10 s of every 60 s, x only while hot, pause first; x only while cold, pulse first"
    with pytest.raises(Contradiction) as caught:
        pipeline.read_problem(None, goals, None)
    assert caught.value.goals == (2, 3)
    problem = pipeline.read_problem(None, goals, None, contradictory=True)
    assert "goals 2 and 3 contradict each other" in problem.contradictions[0]
    assert pipeline.plan(problem).status is Status.IMPOSSIBLE


def test_choices_in_phrases_of_their_own_contradict_each_other() -> None:
    goals = "x started by a and stopped by b; x stop wins; x start wins"
    problem = pipeline.read_problem(None, goals, None, contradictory=True)
    assert "goals 2 and 3 contradict each other" in problem.contradictions[0]


@pytest.mark.parametrize(
    "goals", ["lamp while hot and not hot", "pump 5 s of every 9 s, once started at least 6 s"]
)
def test_one_goal_that_excludes_itself_is_bad_input(goals: str) -> None:
    for command in ("plan", "clash"):
        assert run(command, "--goals", goals).exit_code == 2
    with pytest.raises(GoalError) as caught:
        pipeline.read_problem(None, goals, None, contradictory=True)
    assert not isinstance(caught.value, Contradiction)


def test_contradictions_within_a_longer_list_with_another_clash(tmp_path: Path) -> None:
    """Two clashes with nothing in common: one of each has to go."""
    text = """kit: starter
loads: {fan: 3}
goals: [lamp always, lamp at night, fan while hot]
limits: {supply: 2}
"""
    problem, found = conflict(tmp_path, text)
    sets = {tuple((wish.kind, wish.number) for wish in way.dropped) for way in found.ways}
    goal = Kind.GOAL
    assert sets == {
        ((goal, one), other) for one in (1, 2) for other in ((goal, 3), (Kind.SUPPLY, 2))
    }
    words = [way_in_words(way, problem) for way in found.ways]
    # By hand: the lamp always and the fan of 3 units need a supply of 4.
    assert any(
        told.startswith("without goal 2 (lamp at night) and a supply of up to 4 units (2 more): ")
        for told in words
    )


# --- bounds on one part that exclude each other ---------------------------------------------------

EXCLUDING = [
    # limits, least to most that both may be, why, in words
    ("most: {relay make: 1}, least: {relay make: 2}", 1, 2, "only 1 can be"),
    ("without: [relay make], least: {relay make: 1}", 0, 1, "none can be"),
]


@pytest.mark.parametrize(("limits", "most", "least", "why"), EXCLUDING)
def test_at_least_above_at_most_is_a_clash_of_these_two(
    limits: str, most: int, least: int, why: str, tmp_path: Path
) -> None:
    """No goal has a part in it. By hand: either bound may move to the other, and no less will do,
    since they are met just when both are the same."""
    text = "kit: starter\ngoals: [lamp at night, bell always]\nlimits: {%s}\n"
    problem, found = conflict(tmp_path, text % limits)
    assert found.smallest
    assert {(wish.kind, wish.part, wish.number) for wish in found.clash} == {
        (Kind.MOST, "relay make", most),
        (Kind.LEAST, "relay make", least),
    }
    assert found.reasons == (f"at least {least} of 'relay make' should be in use, and {why}",)
    ways = {way.dropped[0].kind: way for way in found.ways}
    assert len(ways) == len(found.ways) == 2
    assert (ways[Kind.MOST].value, ways[Kind.LEAST].value) == (least, most)
    assert all(way.least and way.cheapest and len(way.dropped) == 1 for way in found.ways)
    # What it costs is what a plan with the bound moved costs.
    for value, kind in ((least, Kind.MOST), (most, Kind.LEAST)):
        moved = f"most: {{relay make: {value}}}, least: {{relay make: {value}}}"
        (tmp_path / "moved.yaml").write_text(text % moved, encoding="utf-8")
        plan = pipeline.plan(pipeline.read_problem(str(tmp_path / "moved.yaml"), None, None))
        assert (plan.status, plan.price) == (Status.PROVEN, ways[kind].price)


def test_a_plan_with_bounds_that_exclude_each_other_says_so(tmp_path: Path) -> None:
    path = tmp_path / "goals.yaml"
    path.write_text(
        "goals: [lamp always]\nlimits: {most: {relay make: 1}, least: {relay make: 2}}\n",
        encoding="utf-8",
    )
    told = run("plan", str(path))
    assert told.exit_code == 1
    assert "at least 2 of 'relay make' should be in use, and only 1 can be" in told.stdout
    assert "synth clash" in told.stdout


# --- wording --------------------------------------------------------------------------------------


@pytest.mark.slow
def test_numbers_and_names_in_words(tmp_path: Path) -> None:
    """A kit's own names are not inflected, one is one, and none is none."""
    text = """kit: starter
goals: [lamp for 30 s after start is pressed, fan for 45 s after start is pressed]
limits: {most: {pulse timer: 1}}
"""
    problem, found = conflict(tmp_path, text)
    assert found.reasons == ("one timer cannot be set to all of 30 s, 45 s",)
    words = [way_in_words(way, problem) for way in found.ways]
    assert any(told.startswith("1 x pulse timer more, 2 in all: ") for told in words)

    text = """kit: starter
loads: {pump: 2, bell: 1}
goals: [pump on 5 s of every 60 s, bell while door is open]
limits: {supply: 5}
"""
    problem, found = conflict(tmp_path, text)
    assert "'pump' cannot be timed by one timer and no relay" in found.reasons
    # How many are needed, and for what: by hand 2 and 1 for the loads, and a unit for each start
    # of two timers and for a coil.
    (words_,) = (reason for reason in found.reasons if "at least" in reason)
    figures, uses = words_.split(": ")
    assert figures == "goals 1 and 2 need at least 6 units"
    assert set(uses.split(", ")) == {"bell 1", "pump 2", "pulse timer 2", "relay break 1"}


# --- ways out -------------------------------------------------------------------------------------

TWO_CLASHES = """title: Shed, invented
kit: starter
loads: {a: 2, b: 2, d: 1, fan: 1}
goals:
  - a at night
  - b at night
  - d always
  - fan while hot
"""


def test_two_clashes_that_have_nothing_in_common(tmp_path: Path) -> None:
    """The fan needs a sensor; a, b, d and a unit to spare are 6 units where 4 are there. By hand:
    without the fan and one of a and b it is 4; with a sensor all of it is 7."""
    limits = "limits: {supply: 4, spare: 1, most: {sensor: 0}}\n"
    problem, found = conflict(tmp_path, TWO_CLASHES + limits)
    goals = {
        tuple(wish.number for wish in way.dropped): way
        for way in found.ways
        if all(wish.kind is Kind.GOAL for wish in way.dropped)
    }
    assert set(goals) == {(1, 4), (2, 4)}
    assert all((way.price, way.supply, way.cheapest) == (7, 4, True) for way in goals.values())
    kinds = {tuple(wish.kind for wish in way.dropped): way for way in found.ways}
    both = kinds[(Kind.SUPPLY, Kind.MOST)]
    assert (both.values, both.least, both.price, both.supply) == ((7, 1), True, 15, 7)
    words = way_in_words(both, problem)
    assert words.startswith("a supply of up to 7 units (3 more) and 1 x sensor more, 1 in all: ")
    fan = kinds[(Kind.GOAL, Kind.SUPPLY)]
    assert (fan.values, fan.least) == ((None, 6), True)
    # Fewer changes come first, and among as many the cheaper.
    order = [(len(way.dropped), way.price) for way in found.ways]
    assert order == sorted(order) and order[0] == (2, 7)
    assert not found.notes
    # Each way out is one, and with a unit less it is none.
    for units, status in ((7, Status.PROVEN), (6, Status.IMPOSSIBLE)):
        (tmp_path / "again.yaml").write_text(
            f"{TWO_CLASHES}limits: {{supply: {units}, spare: 1, most: {{sensor: 1}}}}\n",
            encoding="utf-8",
        )
        again = pipeline.read_problem(str(tmp_path / "again.yaml"), None, None)
        assert pipeline.plan(again, seconds=30).status is status


EASED = [
    # goals, limits, the smallest clash (by hand), wishes that may give
    (
        ["pump while wet", "winch while button is pressed", "never more than 6 units",
         "pump and winch never together"],
        "price: 8",
        ["1", "2", "4", "price"],
        [["price"], ["1"], ["2"], ["3", "4"]],
    ),
    (
        ["pump while wet", "winch while button is pressed", "never more than 6 units",
         "winch never while wet"],
        "price: 8",
        ["1", "2", "4", "price"],
        [["price"], ["1"], ["2"], ["3", "4"]],
    ),
    # A winch that is never on contradicts itself; else the pump would ease it.
    (
        ["pump always", "winch while button is pressed", "never more than 4 units",
         "pump and winch never together, pump goes first", "light at night"],
        "price: 4",
        ["5", "price"],
        [["2", "5"], ["3", "4", "price"]],
    ),
]  # fmt: skip


@pytest.mark.parametrize(("goals", "limits", "clash", "ways"), EASED)
def test_a_goal_that_eases_others_is_no_clash_with_them(
    tmp_path: Path, goals: list[str], limits: str, clash: list[str], ways: list[list[str]]
) -> None:
    """What two goals need, where a third keeps them apart, is not what they need without it.

    All sets of wishes are planned, each from a file of its own: with whatever else of the list a
    clash is asked, it cannot be had, and each smaller set can be, with some others; what gives is
    of the fewest wishes without which all the rest can be had.
    """
    units = "loads: {pump: 4, winch: 5}\n"

    def text(numbers: set[str]) -> str:
        # What only adds to a load that has no goal is left out.
        gone = [goals[n].split()[0] for n in range(2) if str(n + 1) not in numbers]
        asked = "".join(
            f"  - {goal}\n"
            for n, goal in enumerate(goals, 1)
            if str(n) in numbers and not any(load in goal for load in gone)
        )
        limited = f"limits: {{{limits}}}\n" if "price" in numbers else ""
        loads = [load for load in ("pump: 4", "winch: 5") if load.split(":")[0] in asked]
        return f"kit: full\nloads: {{{', '.join(loads)}}}\ngoals:\n{asked}{limited}"

    everything = [*(str(n) for n in range(1, len(goals) + 1)), "price"]
    status: dict[frozenset[str], bool] = {}
    for size in range(1, len(everything) + 1):
        for trial in combinations(everything, size):
            path = tmp_path / "some.yaml"
            path.write_text(text(set(trial)), encoding="utf-8")
            try:
                problem = pipeline.read_problem(str(path), None, None)
            except GoalError:
                continue  # some goals mean nothing without others
            status[frozenset(trial)] = pipeline.plan(problem).design is not None
    clashing = {
        one: not any(may for other, may in status.items() if one <= other)
        for size in range(1, len(everything) + 1)
        for one in map(frozenset, combinations(everything, size))
    }
    path.write_text(text(set(everything)).replace("loads: {}\n", units), encoding="utf-8")
    problem, found = conflict(tmp_path, path.read_text(encoding="utf-8"))

    def names(wishes: tuple[Wish, ...]) -> list[str]:
        return [str(w.number) if w.kind is Kind.GOAL else str(w.kind) for w in wishes]

    assert (names(found.clash), found.smallest) == (clash, True)
    assert clashing[frozenset(clash)]
    assert not any(clashing[one] for one in clashing if len(one) < len(clash))
    assert all(clashing[frozenset(names(other))] for other in found.others)
    told = [names(way.dropped) for way in found.ways]
    assert sorted(told) == sorted(ways)
    whole = frozenset(everything)
    for way in map(frozenset, told):
        assert status[whole - way]
        assert not any(status.get(whole - some) for some in map(
            frozenset, (c for k in range(len(way)) for c in combinations(sorted(way), k))
        ))


NUMBER = 6
LIST = f"goals: [{', '.join(f'load{n} always' for n in range(1, NUMBER + 1))}]"


@given(st.lists(st.frozensets(st.integers(1, NUMBER), min_size=1, max_size=4), max_size=5))
@settings(max_examples=25, deadline=None)
def test_the_fewest_that_may_go_are_those_of_all_sets(clashes: list[frozenset[int]]) -> None:
    """What may go so that no clash is left is what hits every clash (Reiter, *A theory of diagnosis
    from first principles*, 1987, theorem 4.4, from memory). Clashes are made up; the fewest that
    hit all of them are looked for among all sets, and all of them are told."""
    goals = parse_goal_file(LIST, "list.yaml")
    problem = pose(goals, load_kit("starter"))
    plain = pipeline.plan(pipeline.read_problem(None, "load1 always", None))

    def planned(asked: Problem, seconds: float) -> Outcome:
        numbers = frozenset(goal.number for goal in asked.goals)
        return Outcome(Status.IMPOSSIBLE) if any(c <= numbers for c in clashes) else plain

    found = clash_of(problem, _posed_alone(goals, problem), planned, 20.0)
    hits = [
        set(trial)
        for size in range(NUMBER)  # all six gone is no way out
        for trial in combinations(range(1, NUMBER + 1), size)
        if all(clash & set(trial) for clash in clashes)
    ]
    told = [{wish.number for wish in way.dropped} for way in found.ways]
    if not clashes:
        assert found.status is not Status.IMPOSSIBLE
        return
    least = min((len(hit) for hit in hits), default=0)
    fewest = sorted(sorted(hit) for hit in hits if len(hit) == least)
    assert sorted(sorted(one) for one in told if len(one) <= least) == fewest
    assert all(one in hits for one in told)


def test_what_could_not_be_decided_is_said() -> None:
    """Three goals of which no two go together; about one pair the planner says nothing."""
    goals = parse_goal_file("goals: [a always, b always, c always, d always]", "list.yaml")
    problem = pose(goals, load_kit("starter"))
    plain = pipeline.plan(pipeline.read_problem(None, "a always", None))

    def planned(asked: Problem, seconds: float) -> Outcome:
        numbers = {goal.number for goal in asked.goals}
        if {1, 2} < numbers or {1, 3} <= numbers:
            return Outcome(Status.IMPOSSIBLE)
        return Outcome(Status.UNDECIDED) if {2, 3, 4} == numbers else plain

    found = clash_of(problem, _posed_alone(goals, problem), planned, 3.0)
    assert found.notes == ("Whether there are other ways out, of as few changes, is not decided.",)
    wishes = {way.dropped for way in found.ways}
    assert (Wish(Kind.GOAL, 1),) not in wishes and wishes


@pytest.mark.parametrize(("now", "more"), [(0, 2), (1, 2), (2, 3)])
def test_more_of_a_part_is_more_than_the_kit_has(now: int, more: int, tmp_path: Path) -> None:
    """A part of which the kit says that there is none can be given more of as well: else what does
    with a few of it would be called impossible, and more of it the least that suffices."""
    text = (Path(__file__).parents[1] / "synth/parts/kits/starter.yaml").read_text("utf-8")
    line = next(line for line in text.splitlines() if line.strip().startswith("relay make:"))
    fewer = text.replace(line, line.replace("price", f"most: {now}, price"))
    path = tmp_path / "few.yaml"
    path.write_text(fewer.replace("kit: starter", "kit: few"), encoding="utf-8")
    problem = pipeline.read_problem(None, "lamp always", str(path))
    assert problem.kit.index["relay make"].most == now
    again = with_value(problem, Wish(Kind.MOST, now, "relay make"), more)
    assert again.kit.index["relay make"].most == more


def test_why_a_way_out_names_what_is_not_in_the_clash(tmp_path: Path) -> None:
    """By hand: 'lamp' alone clashes by its words; the fan alone needs more than there is. Every way
    out has one of each, so the clash that is not the smallest shown is shown as well."""
    text = """kit: starter
loads: {fan: 3}
goals: [lamp always, lamp at night, fan while hot]
limits: {supply: 2}
"""
    problem, found = conflict(tmp_path, text)
    named = {wish for way in found.ways for wish in way.dropped}
    assert named - set(found.clash)
    (other,) = found.others
    assert not set(other) & set(found.clash) and named <= {*other, *found.clash}
    console = Console(width=100, record=True, file=StringIO())
    print_conflict(console, problem, found)
    told = console.export_text()
    assert "Another clash beside it, also proven" in told
    for wish in other:
        assert told.count(wish_in_words(wish, problem)) >= 1
    assert "In no clash that was found" not in told
    # Where the other clash is not known, that is said.
    print_conflict(console, problem, replace(found, others=()))
    assert "In no clash that was found" in console.export_text()


def test_stopped_early_nothing_is_said_of_what_cannot_be_had() -> None:
    goals = "lamp always, pump on 10 s of every 60 s, master cutoff for pump"
    problem = pipeline.read_problem(None, goals, None)
    found = pipeline.clash(None, goals, problem, 30.0, stopped=lambda: True)
    assert found.status is Status.UNDECIDED and found.stopped
    jsonschema.validate(conflict_document(found, problem), SCHEMA)
    console = Console(width=100, record=True, file=StringIO())
    print_conflict(console, problem, found)
    told = " ".join(console.export_text().split())
    assert "Stopped by Ctrl-C" in told and "Nothing is claimed" in told
    assert "could be had" not in told and "mpossible" not in told
    assert "no question that was put was answered" in told
    assert "whether they go together: goal 1: lamp always" in told
    assert "to let it go on" in told and "--time-limit" not in told
