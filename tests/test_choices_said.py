"""Choices said in a goal of their own: they mean what they mean in the goal that they are about.

What each of them means is tested in `test_pose.py`; here the same words are said in other places,
and what comes of it must be the same problem. Nothing is lost: a choice that means nothing for what
a load does is refused at its place, and two that exclude each other name their goals.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from synth import pipeline
from synth.errors import Contradiction, GoalError
from synth.explore.clash import clash_of
from synth.goals import Choice
from synth.pipeline.asking import _posed_alone
from synth.pose import pose
from synth.problem import Problem
from synth.read.goal_file import goals_from_text
from synth.read.kit_file import load_kit
from synth.result import Outcome, Status

GRAMMAR = Path(pipeline.__file__).resolve().parents[1] / "read" / "grammar" / "goals.lark"

START_STOP = "x started by a and stopped by b"
CYCLE = "x 10 s of every 60 s"
GATED = "x 10 s of every 60 s, only while hot"
RUN = "x for 30 s after start is pressed"
TOGGLED = "x toggled by a"
FILLS = "x fills between low and high"
EMPTIES = "x empties between low and high"

SAID = [
    (START_STOP, Choice.STOP_WINS, ("stop wins", "reset wins")),
    (START_STOP, Choice.START_WINS, ("start wins", "set wins")),
    (START_STOP, Choice.KEEP, ("keeps its state through a power cut", "remembers its position")),
    (START_STOP, Choice.FORGET, ("starts afresh after a power cut", "begins afresh")),
    (CYCLE, Choice.PULSE_FIRST, ("pulse first", "starting with the pulse", "begins with a run")),
    (CYCLE, Choice.PAUSE_FIRST, ("pause first", "starting with the pause", "starts with a rest")),
    (GATED, Choice.CUT, ("cut at once", "cuts the pulse at once")),
    (GATED, Choice.FINISH, ("finish the pulse", "finishes each run")),
    (RUN, Choice.IGNORE, ("pressing again is ignored", "ignores new presses",
                          "a new press changes nothing")),
    (RUN, Choice.EXTEND, ("pressing again extends", "extended by each press",
                          "another press extends the time")),
    (TOGGLED, Choice.KEEP, ("keeps its state",)),
    (TOGGLED, Choice.FORGET, ("starts afresh",)),
    (FILLS, Choice.KEEP, ("keeps its state",)),
    (FILLS, Choice.FORGET, ("starts afresh",)),
    (EMPTIES, Choice.KEEP, ("holds its state over power cuts",)),
    (EMPTIES, Choice.FORGET, ("starts afresh",)),
]  # fmt: skip
EACH = [(goal, choice, words) for goal, choice, many in SAID for words in many]
OTHER = {(goal, choice): many[0] for goal, choice, many in SAID}


def posed(goals: str) -> Problem:
    return pipeline.read_problem(None, goals, None)


def asked(problem: Problem) -> tuple[object, ...]:
    """What a problem asks, but for the numbers and words of its goals."""
    wanted = tuple((r.load, r.needs, r.signal) for r in problem.requirements)
    return wanted, problem.inputs, problem.never_together, problem.limits, problem.times


def left_open(problem: Problem) -> list[str]:
    """The assumptions, without the numbers of goals."""
    return sorted(re.sub(r"\bgoal \d+", "goal", line) for line in problem.assumptions)


def test_every_choice_of_the_grammar_is_tried() -> None:
    (rule,) = [t for t in GRAMMAR.read_text("utf-8").split("\n\n") if "\nchoice: " in t]
    names = rule.split("\nchoice: ")[1].replace("|", " ").split()
    assert sorted(names) == sorted(choice.name for choice in Choice)
    assert {choice for _, choice, _ in SAID} == set(Choice)


@pytest.mark.parametrize(("goal", "choice", "words"), EACH)
def test_a_choice_alone_is_the_choice_within(goal: str, choice: Choice, words: str) -> None:
    within = posed(f"{goal}, {words}")
    for apart in (f"{goal}; x {words}", f"{goal}; x, {words}", f"x {words}; {goal}"):
        problem = posed(apart)
        assert asked(problem) == asked(within)
        assert left_open(problem) == left_open(within)
        assert len(problem.goals) == 2
        # Whoever breaks it is told of both goals.
        assert problem.requirements[0].goals == (1, 2)
    # It is no matter of course: the other choice asks something else.
    assert asked(posed(f"{goal}; x {OTHER[goal, choice.other]}")) != asked(within)


@pytest.mark.parametrize(("goal", "choice", "words"), EACH)
def test_two_that_exclude_each_other_name_their_goals(
    goal: str, choice: Choice, words: str
) -> None:
    other = OTHER[goal, choice.other]
    for goals, numbers in (
        (f"{goal}; x {words}; x {other}", (2, 3)),
        (f"{goal}, {words}; x {other}", (1, 2)),
    ):
        with pytest.raises(Contradiction) as caught:
            posed(goals)
        assert caught.value.goals == numbers
        assert choice.value in caught.value.message and choice.other.value in caught.value.message
        problem = pipeline.read_problem(None, goals, None, contradictory=True)
        assert pipeline.plan(problem).status is Status.IMPOSSIBLE
    # In one goal it is a slip, and so it is in one without anything else.
    for goals in (f"{goal}, {words}, {other}", f"{goal}; x {words}, {other}"):
        with pytest.raises(GoalError) as slip:
            posed(goals)
        assert not isinstance(slip.value, Contradiction)


@pytest.mark.parametrize(
    "choice", [c for c in Choice if c not in (Choice.FORGET, Choice.CUT)], ids=lambda c: c.name
)
def test_a_choice_that_means_nothing_is_refused_where_it_stands(choice: Choice) -> None:
    """What is on always has no pulse, no start and nothing to remember."""
    words = next(many[0] for _, said, many in SAID if said is choice)
    with pytest.raises(GoalError) as caught:
        posed(f"x always; x {words}")
    error = caught.value
    assert f"'{choice.value}'" in error.message and "'x'" in error.message
    assert error.place.column == len("x always; ") + 1
    assert "belongs to" in error.hint


def test_a_choice_for_one_of_two_loads() -> None:
    """The other one keeps the default, and the assumptions say of which it is one."""
    problem = posed("a and b started by go and stopped by halt; b start wins")
    own = "started by go and stopped by halt"
    each = posed(f"a {own}; b {own}, set wins")
    assert asked(problem) == asked(each)
    told = [line for line in problem.assumptions if "stop wins while both are pressed" in line]
    assert len(told) == 1 and "'a'" in told[0] and "'b'" not in told[0]


def test_a_choice_for_nothing() -> None:
    with pytest.raises(GoalError, match="no goal says when 'x' is on"):
        posed("x stop wins")


# --- which of two loads goes first ----------------------------------------------------------------

UP_DOWN = "up while hot; down while cold"


def test_which_goes_first_in_another_goal_about_the_same_loads() -> None:
    within = posed(f"{UP_DOWN}; up and down never together, down goes first")
    for more in (
        "up and down never together; up and down never together, down goes first",
        "up and down never together, down goes first; up and down never together",
    ):
        problem = posed(f"{UP_DOWN}; {more}")
        assert asked(problem) == asked(within)
        assert left_open(problem) == left_open(within)
    # A gap leaves it open who goes first when both are asked at once.
    gap = "leave 2 s between up and down"
    first = "up and down never together, down goes first"
    one, other = posed(f"{UP_DOWN}; {gap}; {first}"), posed(f"{UP_DOWN}; {first}; {gap}")
    assert asked(one) == asked(other) != asked(posed(f"{UP_DOWN}; {gap}"))
    assert any("both at once: 'down' goes first" in line for line in one.assumptions)


def test_which_goes_first_cannot_be_both() -> None:
    goals = (
        f"{UP_DOWN}; up and down never together, up goes first; "
        "up and down never together, down goes first"
    )
    with pytest.raises(Contradiction) as caught:
        posed(goals)
    assert caught.value.goals == (3, 4)


@pytest.mark.parametrize("words", ["down goes first", "down has priority", "up, down is first"])
def test_which_goes_first_alone_is_refused_with_where_to_say_it(words: str) -> None:
    with pytest.raises(GoalError) as caught:
        posed(f"{UP_DOWN}; up and down never together; {words}")
    assert "goes first" in caught.value.message and "never together" in caught.value.hint


# --- clashes --------------------------------------------------------------------------------------


@pytest.mark.slow
def test_choices_that_exclude_each_other_clash_by_what_they_are_about() -> None:
    """By hand: without the cycle they mean nothing, and there is nothing to build; one of the two
    choices may go."""
    goals = "pump 10 s of every 60 s; pump pause first; pump pulse first"
    problem = pipeline.read_problem(None, goals, None, contradictory=True)
    found = pipeline.clash(None, goals, problem, 30.0)
    assert found.status is Status.IMPOSSIBLE and found.smallest
    assert [wish.number for wish in found.clash] == [1, 2, 3]
    assert "goals 2 and 3 contradict each other" in found.reasons[0]
    assert [[wish.number for wish in way.dropped] for way in found.ways] == [[2], [3]]


LOADS = "fan always; bell always; lamp always"
CUT = "pump finish the pulse; pump 10 s of every 60 s; pump only while hot"
MEMBERS = st.frozensets(st.integers(1, 6), min_size=1, max_size=3)


@given(
    st.lists(MEMBERS, min_size=1, max_size=4),
    st.permutations([*CUT.split("; "), *LOADS.split("; ")]),
)
@example(
    [frozenset({1, 3}), frozenset({1, 2, 3}), frozenset({2, 4})],
    [*reversed(CUT.split("; ")[1:]), CUT.split("; ")[0], *LOADS.split("; ")],
)
@settings(max_examples=25, deadline=None)
def test_a_choice_without_what_it_is_about_hides_no_clash(
    clashes: list[frozenset[int]], order: list[str]
) -> None:
    """'finish the pulse' means nothing once no condition interrupts, and neither means anything
    without the cycle; what else is asked clashes all the same. Clashes are made up, each with what
    its members are about; the smallest of them is the smallest of all sets."""
    goals = goals_from_text("; ".join(order))
    finish, cycle, only = (order.index(phrase) + 1 for phrase in CUT.split("; "))
    made_up = [
        clash
        | ({cycle} if only in clash else set())
        | ({cycle, only} if finish in clash else set())
        for clash in clashes
    ]
    problem = pose(goals, load_kit("starter"))
    plain = pipeline.plan(posed("bell always"))

    def planned(asked: Problem, seconds: float) -> Outcome:
        numbers = {goal.number for goal in asked.goals}
        return Outcome(Status.IMPOSSIBLE) if any(c <= numbers for c in made_up) else plain

    found = clash_of(problem, _posed_alone(goals, problem), planned, 20.0)
    assert found.smallest
    assert len(found.clash) == min(len(c) for c in made_up)
    assert frozenset(wish.number for wish in found.clash) in made_up
