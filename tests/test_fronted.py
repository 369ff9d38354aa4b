"""Conditions that stand before their goal, lists with a comma before the last, times with 'and'."""

from __future__ import annotations

import pytest

from synth.errors import GoalError, SynthError
from synth.goals import (
    AfterTime,
    Cycles,
    Every,
    ForTime,
    Goal,
    Is,
    LoadGoal,
    NeverTogether,
    Released,
    State,
    While,
)
from synth.read.phrases import parse_facts, parse_phrases

S, MIN, H = 1000, 60_000, 3_600_000


def plainly(goal: Goal) -> object:
    return {k: v for k, v in vars(goal).items() if k not in ("number", "phrase", "place")}


@pytest.mark.parametrize(
    ("fronted", "behind"),
    [
        ("when hot, fan on", "fan on when hot"),
        ("if hot then fan on", "fan while hot"),
        ("if it is hot, then the fan runs", "fan while hot"),
        ("when hot, turn on the fan", "fan while hot"),
        ("when hot, damp or windy, fan on", "fan while hot or damp or windy"),
        ("when hot, damp, or windy, fan on", "fan while hot or damp or windy"),
        ("if (hot and dry) or damp then fan on", "fan while (hot and dry) or damp"),
        ("while 'hot, then' is on, fan on", ""),
        ("while 'hot then dry' is on, fan on", "fan while 'hot then dry' is on"),
        ("when hot, fan on, unless dry", "fan while hot, unless dry"),
        ("at night, lamp on", "lamp at night"),
        ("when mixer, fan and pump are on, lamp on", "lamp while mixer and fan and pump are on"),
        ("when mixer, fan, and pump are on, lamp on", "lamp while mixer and fan and pump are on"),
        ("1 h and 30 min after hot, fan on", "fan 90 min after hot"),
        ("overnight, heater and lamp on", "heater and lamp at night"),
        ("if hot then fan at night", "fan at night, only while hot"),
        ("only at night, heater while cold", ""),
        ("only at night, heater 5 s of every 60 s", "heater 5 s of every 60 s only at night"),
        ("unless wet, sprinkler 5 s of every 60 s", "sprinkler 5 s of every 60 s unless wet"),
        ("while master is on, pump 5 s on, 9 s off", "pump 5 s on, 9 s off while master is on"),
        ("at dusk, lamp on for 2 h", "lamp from dusk for 2 h"),
        ("when start is pressed, pump for 10 s", "pump for 10 s after start is pressed"),
        ("after start is pressed, pump for 9 s, pressing again extends",
         "pump for 9 s after start is pressed, pressing again extends"),
        ("5 s after hot, fan on", "fan 5 s after hot"),
        ("if the door is open for 5 min then the alarm sounds",
         "alarm once door is open for 5 min"),
        ("when hot, fan on, once started at least 5 s", "fan while hot, once started at least 5 s"),
        ("every 60 s, pump for 10 s", "pump 10 s of every 60 s"),
        ("fan stays on for 30 s after start is pressed", "fan for 30 s after start is pressed"),
        ("pump on for 2 h and 30 min every day", "pump on for 150 min every day"),
        ("pump 1 d and 2 h on, 1 min and 5 s off", "pump 26 h on, 65 s off"),
        ("heater, lamp, and fan never together", "heater and lamp and fan never together"),
        ("fan while hot, dry, and windy", "fan while hot and dry and windy"),
    ],
)  # fmt: skip
def test_means_the_same(fronted: str, behind: str) -> None:
    if not behind:
        with pytest.raises(GoalError):
            parse_phrases(fronted)
        return
    (one,), (other,) = parse_phrases(fronted), parse_phrases(behind)
    assert plainly(one) == plainly(other)
    assert one.phrase == fronted


def test_by_hand() -> None:
    """What some of them mean, without the other form."""
    fan, lamp, pump, alarm, many = parse_phrases(
        "when hot, fan on, at night, lamp on, when start is pressed, pump for 10 s; "
        "if door is open for 5 min then alarm; when hot, damp, and windy, a, b, and c on"
    )
    assert (fan.loads, fan.does) == (("fan",), While(Is("hot")))  # type: ignore[attr-defined]
    assert plainly(lamp) == plainly(LoadGoal(("lamp",), While(Is("night")), ()))
    assert plainly(pump) == plainly(
        LoadGoal(("pump",), ForTime(10 * S, Is("start", State.PRESSED)), ())
    )
    assert plainly(alarm) == plainly(
        LoadGoal(("alarm",), AfterTime(5 * MIN, Is("door", State.OPEN)), ())
    )
    all_of = Every((Is("hot"), Is("damp"), Is("windy")))
    assert plainly(many) == plainly(LoadGoal(("a", "b", "c"), While(all_of), ()))


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("once a minute, pump for 10 s, lamp always", 2),
        ("lamp always, heater at night, and fan while hot", 3),
        ("lamp always, fan, and pump at night", 2),
        ("fan while hot, lamp, and pump at night", 2),
        ("when hot, fan on, when cold, heater on, lamp always", 3),
        ("when hot, fan on, unless dry, pump 10 s of every 60 s", 2),
        ("pump 10 s on, 50 s off, only while hot, lamp always", 2),
        ("motor started by a and stopped by b, never while hot, and fan stop wins", 2),
        ("each press of push gives bell 5 s, lamp always", 2),
        ("when hot, fan on; when cold, heater on", 2),
    ],
)
def test_where_phrases_part(text: str, count: int) -> None:
    assert len(parse_phrases(text)) == count


@pytest.mark.parametrize(
    ("text", "message", "column"),
    [
        # Two goals, of which one names its load behind: no guess is made.
        ("if hot fan on, lamp always", "one goal or two", 1),
        ("when hot fan, lamp at night", "one goal or two", 1),
        ("when hot fan on, pump 10 s of every 60 s", "one goal or two", 1),
        ("when hot, lamp at night", "one goal or two", 1),
        ("at night the heater, lamp by day", "condition stands before the load", 1),
        ("if cold heater on", "condition stands before the load", 1),
        ("when hot,", "condition stands before the load", 1),
        ("when hot, then", "condition stands before the load", 1),
        # Places are those of what was written.
        ("if hot then fan always until dry", "when it stops", 24),
        ("when hot, fan for 5 s every 3 s", "leaves no pause", 1),
        ("if hot then fan on else lamp on", "'else' is not expected", 20),
        ("fan while (hot, dry)", "all of these must hold, or one", 11),
        ("heater while cold, and fan", "not said what the load does", 27),
        ("lamp always, heater at night, and fan", "not said what the load does", 38),
        ("pump on for 30 min and 2 h every day", "", 0),
    ],
)  # fmt: skip
def test_refused(text: str, message: str, column: int) -> None:
    with pytest.raises(SynthError) as caught:
        parse_phrases(text)
    if message:
        assert message in caught.value.message
        assert caught.value.place is not None and caught.value.place.column == column


def test_between_two_times_stays_two() -> None:
    (fact,) = parse_facts("a press of start lasts between 4 h and 16 h")
    assert (fact.least, fact.most) == (4 * H, 16 * H)  # type: ignore[attr-defined]


def test_facts_too() -> None:
    (fact,) = parse_facts("when power returns, start is released")
    assert plainly(fact) == plainly(Released("start", State.RELEASED, ("power",)))  # type: ignore[arg-type]


def test_unless_stays_with_the_goal_before_it() -> None:
    fan, pump = parse_phrases("when hot, fan on, unless dry, pump 10 s of every 60 s")
    (same,) = parse_phrases("fan while hot, unless dry")
    assert plainly(fan) == plainly(same)
    assert plainly(pump) == plainly(LoadGoal(("pump",), Cycles(10 * S, 50 * S), ()))


def test_of_a_list_with_a_comma_before_its_last() -> None:
    (goal,) = parse_phrases("heater, lamp, fan, and pump 1 never together, heater goes first")
    assert plainly(goal) == plainly(NeverTogether(("heater", "lamp", "fan", "pump 1"), "heater"))


def test_times_of_a_fronted_period() -> None:
    (goal,) = parse_phrases("every day, pump for 1 h and 30 min")
    assert goal.does == Cycles(90 * MIN, 22 * H + 30 * MIN)  # type: ignore[attr-defined]
