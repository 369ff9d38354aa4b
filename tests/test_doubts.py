"""What two people would take for two things is asked about; what is said of several is of each."""

from __future__ import annotations

import pytest

from synth.errors import GoalError
from synth.pose import pose
from synth.problem import InputKind, Problem
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.read.kit_file import load_kit
from synth.signals import And, Level, Not, Or, Signal, inputs_of

FULL = load_kit("full")
SUPPLY = Level("supply")


def posed(text: str) -> Problem:
    return pose(goals_from_text(text), FULL)


def signal(text: str) -> Signal:
    """Return what the first load is asked to do, without the supply."""
    found = posed(text).requirements[0].signal
    assert isinstance(found, And) and SUPPLY in found.of
    rest = tuple(piece for piece in found.of if piece != SUPPLY)
    return rest[0] if len(rest) == 1 else And(rest)


def off(*names: str) -> tuple[Signal, ...]:
    return tuple(Not(Level(name)) for name in names)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("lamp while s1 and s2 are off", And(off("s1", "s2"))),
        ("lamp while both s1 and s2 are off", And(off("s1", "s2"))),
        ("lamp when door and window are closed", And(off("door", "window"))),
        ("lamp when door or window are closed", Or(off("door", "window"))),
        ("lamp when door and window aren't open", And(off("door", "window"))),
        ("lamp while a and b and c are not pressed", And(off("a", "b", "c"))),
        ("lamp while door and window are open", And((Level("door"), Level("window")))),
        ("lamp while neither door nor window is open", And(off("door", "window"))),
        ("lamp while neither door nor window is closed", And((Level("door"), Level("window")))),
        ("lamp while neither hot nor damp", And(off("hot", "damp"))),
        # With 'is' the first is a condition of its own.
        ("lamp while hot and door is closed", And((Level("hot"), *off("door")))),
        ("lamp while not hot and damp", And((*off("hot"), Level("damp")))),
        ("fan while hot and not at night", And((Level("hot"), *off("night")))),
        ("fan while hot, not at night", And((Level("hot"), *off("night")))),
        ("fan while hot, but not by day", And((Level("hot"), Level("night")))),
        ("fan always, unless hot or damp", And(off("hot", "damp"))),
    ],
)
def test_a_state_is_that_of_all_of_which_it_is_said(text: str, wanted: Signal) -> None:
    found = signal(text)
    if isinstance(found, And) and isinstance(wanted, And):
        assert set(found.of) == set(wanted.of)
    else:
        assert found == wanted


@pytest.mark.parametrize(
    ("text", "loads"),
    [
        ("lamp, fan and pump at night", ["lamp", "fan", "pump"]),
        ("lamp, fan and pump at night, bell while hot", ["lamp", "fan", "pump", "bell"]),
        ("pump while hot, lamp and fan at night", ["pump", "lamp", "fan"]),
        ("path light, fan and pump while hot, damp or dry", ["path light", "fan", "pump"]),
    ],
)
def test_loads_may_be_listed_with_commas(text: str, loads: list[str]) -> None:
    assert [r.load for r in posed(text).requirements] == loads


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("fan while hot, damp or windy", "fan while hot or damp or windy"),
        ("fan while hot, damp and windy", "fan while hot and damp and windy"),
        ("fan while hot, damp or windy, lamp at night", "fan while hot or damp or windy"),
        ("lamp switched from a, b and c", "lamp switched from a and b and c"),
        ("pump 10 sec every min", "pump 10 s of every 60 s"),
        ("pump 5 min an hour", "pump 5 min of every hour"),
        ("pump for 10 min a day", "pump 10 min of every 24 h"),
        ("pump runs 10 s a minute, only while wet", "pump 10 s of every 60 s, only while wet"),
        ("pump 10 s on and 50 s off", "pump 10 s of every 60 s"),
        ("lamp at night time", "lamp at night"), ("lamp all night", "lamp at night"),
        ("lamp when it gets dark", "lamp at night"),
        ("lamp for 2 h after it gets dark", "lamp from dusk for 2 h"),
        ("lamp for 2 h after it gets light", "lamp from dawn for 2 h"),
        ("pump switched on by go and switched off by halt",
         "pump started by go and stopped by halt"),
        ("fan and pump always, master cutoff for fan, pump and lamp, lamp always",
         "fan and pump always, master cutoff"),
    ],
)  # fmt: skip
def test_conditions_may_be_listed_with_commas(text: str, same: str) -> None:
    assert posed(text).requirements[0].signal == posed(same).requirements[0].signal


ASKED = [
    # phrase, part of the message, part of the hint
    ("fan always, not while hot or damp", "not clear whether 'not'", "neither hot nor damp"),
    ("fan not while hot and damp", "not clear whether 'not'", "'not (hot and damp)'"),
    ("fan always, not at night or while hot", "not clear whether 'not'", "neither"),
    ("fan while no heat or smoke", "not clear whether 'not'", "neither"),
    ("fan while without heat and smoke", "not clear whether 'not'", "neither"),
    ("lamp while not both s1 and s2", "how far 'not' reaches", "brackets"),
    ("lamp always, unless either s1 or s2", "how far 'not' reaches", "brackets"),
    ("lamp while a and either b or c", "what belongs together", "(b or c)"),
    ("fan while it is not raining or windy", "how far 'not' reaches", "neither a nor b"),
    ("fan while tank is not full or dry", "how far 'not' reaches", "brackets"),
    ("fan while not hot or damp", "how far 'not' reaches", "neither a nor b"),
    ("alarm when armed and door or window are open", "of which of these", "each by itself"),
    ("pump while low, inhibit while dry", "'inhibit' names no load", "never while dry"),
    ("pump while low, reset while dry", "'reset' names no load", "never while dry"),
    ("pump isolated at night", "does not say that it is off", "never while"),
    ("pump pauses 5 min every hour", "does not say that it is off", "never while"),
    ("cut the pump while dry, pump while low", "'cut' would be taken", "never while dry"),
    ("fan always but not at night and not while damp", "the second 'not'", "at night or damp"),
    ("pump never at night and when dry", "either of the two holds it off", "at night or when dry"),
    ("pump always except at night and when dry", "either of the two", "never while (a and b)"),
    ("float switch stops pump, pump while low", "while on, or while off", "never while float"),
    ("mains failure stops pump, pump while low", "while on, or while off", "never while mains"),
    ("main door stops fan, fan while hot", "while on, or while off", "never while main door"),
    ("fan while hot and pump at night", "one goal or two", "comma"),
    ("fan while hot and damp at night", "one goal or two", "at night while hot and"),
    ("fan while hot and pump never while dry", "one goal or two", "comma"),
    ("pump for 30 s after start is pressed and lamp at night", "one goal or two", "comma"),
    ("alarm if pump does not run, pump while low", "not read in a condition", "pump is off"),
    ("lamp while others are off", "'others' stands for no input", "the input itself"),
    ("lamp on when either switch is on", "'either' says not of which two", "while a or b"),
    ("lamp not just at night", "leaves open when else", "always"),
    ("belt once daily for 20 min", "length of one round", "every 24 h"),
    ("a and b on when low and hot respectively", "'respectively' says nothing", "leave it"),
    ("motor starts when start is pressed", "not what stops it", "motor while start is pressed"),
    ("lamp for ninety s after bell", "the number 'ninety'", "in figures"),
    ("pump fills between empty and full", "above that mark, or below", "stops when full"),
    ("pump empties from full to empty", "above that mark, or below", "starts when empty"),
    ("siren operated by smoke or heat", "how several work it", "while a or b"),
    ("heater turned on and off by thermostat", "is a push-button", "while thermostat is on"),
    ("a from dusk for 9 min, b for 9 min after a", "comes on or goes off", "after a stops"),
    ("pump for 10 min every 3 days at night", "begins afresh each night", "every 2 h at night"),
    ("pump while low untill full", "'low untill full' is not known", "low until full"),
    ("lamp while exactly one door is open", "'exactly one'", "(a and not b) or"),
    ("lamp while either a or b and c", "what belongs together", "brackets"),
    ("lamp while door and window are ajar", "said of several things at once", "each by itself"),
    ("lamp for 2 min after door opens or at night", "what the time is counted from", "of its own"),
    ("lamp for 30 s after go is pressed or while hot", "the time is counted from", "'after (hot"),
    ("fan 5 s after hot or while damp", "what the time is counted from", "of its own"),
    ("bell when door is open for at least 5 min", "the condition or the run", "'5 s after hot'"),
    ("fan while hot at least 5 min", "the condition or the run lasts", "'once started"),
    ("fan stays 2 min after hot", "goes on for so long", "'keeps running for 2 min"),
    ("fan runs on 2 min after hot", "goes on for so long", "a delay"),
    ("fan runs 2 min after the pump stops, pump while low", "runs for so long", "'for 2 min after"),
    ("lamp at night and heater at night", "side by side", "a comma parts two goals"),
    ("pump fills between high and low", "named as the low mark", "from low to high"),
    ("never more than 1.5 units, lamp always", "units are whole", "whole number"),
    ("heater cannot run while hot", "'cannot' would be taken for a part", "never while"),
    ("don't run pump while dry", "'don't' would be taken", "never while"),
    ("stop the pump while dry", "'stop' would be taken", "never while"),
    ("disable heater at night", "'disable' would be taken", "never while"),
    ("start the pump when low", "'start' would be taken", "as in 'pump while low'"),
    ("bell remains while hot", "'remains' would be taken", "as in 'pump while low'"),
    ("saw while pedal, locked while guard", "'locked' does not say that it is off", "saw never"),
    ("if guard then saw locked", "'locked' does not say that it is off", "declare 'saw locked'"),
    ("pump while low, pump stands still while dry", "'still' does not say", "never while"),
    ("fan while hot, disabled at night", "'disabled' does not say", "never while"),
    ("doorbell silent at night", "'silent' does not say", "never while"),
    ("pump rests at night", "'rests' does not say", "never while"),
    ("all lamps at night", "'all' would be taken", "declare 'all lamps'"),
    ("pump while low, dry stops it", "'it' is not among the loads", "known: pump"),
    ("rain stops fan, fan always", "stops it while on, or", "fan never while rain"),
    ("stop button stops pump, pump always", "stops it while on, or", "never while stop button"),
    ("heater while no longer hot", "'longer' stands for no input", "while not full"),
    ("heater while it isn't hot", "'it' stands for no input", "the input itself"),
    ("lamp while nothing is on", "'nothing' stands for no input", ""),
    ("fan when hot amd damp", "'hot amd damp' is not known", "'hot and damp'"),
    ("lamp always, never while door is opem", "'door opem' is not known", "'door open'"),
    ("lamp when nit hot", "'nit hot' is not known", "'not hot'"),
    ("lamp while dakr", "'dakr' is not known", "'dark'"),
    ("fan at night, also while hot", "'also' means 'and' or 'or'", "at night or while hot"),
    ("fan while hot, never at night unless damp", "what 'unless' takes back", "never while dark"),
    ("run the vent fan when hot", "'run' would be taken for a part", "as in 'pump while low'"),
    ("sound the horn while hot", "'sound' would be taken for a part", "as in 'pump while low'"),
    ("all at night", "'all' names no load", "say which"),
    ("nothing runs unless main is on", "'nothing' is no load", "'master cutoff'"),
    ("fan 10 s after hot ends", "comes on so much later", "'keeps running for 2 min"),
    ("fan 10 s after the hot shower falls", "'falls' would be taken for a part", "2 min after"),
    ("stirrer always, stirrer not while lid is open", "both say when", "'never while' where it"),
]  # fmt: skip


PLACED = [
    # phrase, part of the message, column, part of the hint
    ("pump on while hot and fan on while cold", "side by side", 36, "a comma parts two goals"),
    ("pump starts when low and tops when high", "side by side", 36, "a comma parts two goals"),
    ("lamp while hot, while not cold", "side by side", 27, "'while hot, only while cold'"),
    ("lamp at night while hot while cold", "side by side", 31, "only while"),
    ("fan while level < 20", "character '<'", 17, "'while level below 20'"),
    ("lamp & fan at night", "character '&'", 6, "'and'"),
    ("lamp for 5 m after go is pressed", "'m' is not a unit", 12, "'min'"),
    ("lamp for 500 msec after go is pressed", "'msec' is not a unit", 14, "'ms'"),
    ("3 lamps at night", "'lamps' is not a unit", 3, "units of time"),
    ("fan in the light", "'light' is not expected", 12, "expected"),
]


@pytest.mark.parametrize(("text", "message", "column", "hint"), PLACED)
def test_the_place_is_told(text: str, message: str, column: int, hint: str) -> None:
    with pytest.raises(GoalError) as caught:
        posed(text)
    assert message in caught.value.message and hint in caught.value.hint
    assert caught.value.place is not None and caught.value.place.column == column


@pytest.mark.parametrize(("text", "message", "hint"), ASKED)
def test_what_has_two_meanings_is_asked_about(text: str, message: str, hint: str) -> None:
    with pytest.raises(GoalError) as caught:
        posed(text)
    assert message in caught.value.message
    assert hint in caught.value.hint
    assert caught.value.place is not None


@pytest.mark.parametrize(
    "text",
    [
        "'stop pump' while low", "lamp while 'no longer hot'", "\"all lamps\" at night",
        "fan while hot, once started at least 5 min", "fan while hot, runs at least 5 min",
        "fan while tank a low and tank b low", "lamp while hot or damp",
        "master stops everything, pump always", "pump always, main switch cuts pump",
        "lamp while 'both on' and hot", "fan keeps running for 2 min after hot",
        "lamp while hot at night", "lamp for 2 min after night falls", "lamp 1 h after day breaks",
        "run the pump for 10 s every minute", "fan keeps running for 2 min after hot ends",
        "pump 10 s of every 60 s while wet, while hot",
    ],
)  # fmt: skip
def test_what_is_clear_is_taken(text: str) -> None:
    assert posed(text).requirements


def test_names_that_are_declared_are_names() -> None:
    text = (
        "loads: {stop lamp: 1, bell remains: 1, saw locked: 1}\n"
        "inputs: {no longer hot: sensor, rain: switch}\n"
        "goals: [stop lamp while no longer hot, bell remains always, rain stops bell remains,\n"
        "  saw locked at night, \"'pump idle' always\"]"
    )
    problem = pose(parse_goal_file(text, "x"), FULL)
    loads = [r.load for r in problem.requirements]
    assert loads == ["stop lamp", "bell remains", "saw locked", "pump idle"]


@pytest.mark.parametrize("kind", ["sensor", "push-button"])
def test_a_cutoff_is_a_switch(kind: str) -> None:
    text = f"inputs: {{rain: {kind}}}\ngoals: [pump always, rain cutoff]"
    with pytest.raises(GoalError) as caught:
        pose(parse_goal_file(text, "x"), FULL)
    assert f"'rain' is declared as a {kind}" in caught.value.message
    assert caught.value.hint == "say 'pump never while rain'"


def test_starts_when_speaks_of_sensors_started_by_of_buttons() -> None:
    problem = posed("pump starts when tank is empty and stops when tank is full")
    kinds = {item.name: item.kind for item in problem.inputs if item.name != "supply"}
    assert kinds == {"tank empty": InputKind.SENSOR, "tank full": InputKind.SENSOR}
    problem = posed("pump started by go and stopped by halt")
    kinds = {item.name: item.kind for item in problem.inputs if item.name != "supply"}
    assert kinds == {"go": InputKind.BUTTON, "halt": InputKind.BUTTON}
    problem = posed("pump starts when go is pressed and stops when tank is full")
    assert problem.input("go").kind is InputKind.BUTTON
    assert posed("fan starts when dark and stops when cold").requirements


def test_what_stops_it_besides_a_button_may_be_sensed() -> None:
    problem = posed("hose pump started by green and stopped by red or when butt is empty")
    kinds = {item.name: item.kind for item in problem.inputs}
    assert kinds["green"] is kinds["red"] is InputKind.BUTTON
    assert kinds["butt empty"] is InputKind.SENSOR
    siren = posed("siren started when high float and stopped by ack").inputs
    assert {i.name: i.kind for i in siren if i.name != "supply"} == {
        "high float": InputKind.SENSOR, "ack": InputKind.BUTTON,
    }  # fmt: skip
    with pytest.raises(GoalError, match="forgotten as the button is let go"):
        posed("siren while high float unless ack has been pressed")
    named = posed("lamp while switch 1 and float switch 2 and button 3").inputs
    assert {item.name: item.kind for item in named if item.name != "supply"} == {
        "switch 1": InputKind.SWITCH,
        "float switch 2": InputKind.SENSOR,
        "button 3": InputKind.BUTTON,
    }


def test_not_stands_before_a_word_of_a_name_too() -> None:
    """'not' without 'is', as before a state."""
    said = [posed(f"pump while {x}") for x in ("tank not empty", "tank is not empty")]
    assert said[0].requirements == said[1].requirements
    assert inputs_of(said[0].requirements[0].signal) == {"supply", "tank empty"}
