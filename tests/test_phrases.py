"""The goal language: every pattern in its variants, and every mistake with its message."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.errors import GoalError, SynthError, TimeError
from synth.goals import (
    AfterTime,
    Always,
    AtLeast,
    AtMostUnits,
    Choice,
    Cutoff,
    Cycles,
    Empties,
    Every,
    Fact,
    Fills,
    ForTime,
    Gap,
    Goal,
    InputsApart,
    Is,
    KeepsRunning,
    Lasts,
    LoadGoal,
    Negation,
    NeverTogether,
    NeverWhile,
    Only,
    Some,
    StartStop,
    State,
    Stays,
    SwitchedFrom,
    Toggles,
    While,
)
from synth.read.lexer import data_words, reserved_words, token_words
from synth.read.mistakes import MISTAKES, Mistake
from synth.read.phrases import parse_facts, parse_phrases
from synth.read.splitting import split_phrases

S, MIN, H = 1000, 60_000, 3_600_000
NIGHT = Is("night")
DAY = Negation(NIGHT)
HOT, COLD, DRY = Is("hot"), Is("cold"), Is("dry")
PUMP = ("pump",)
MINUTE = Cycles(10 * S, 50 * S)


def load(does: object, *additions: object, loads: tuple[str, ...] = PUMP) -> LoadGoal:
    return LoadGoal(loads, does, tuple(additions))  # type: ignore[arg-type]


GOALS: list[tuple[Goal, list[str]]] = [
    (
        load(Always()),
        [
            "pump always",
            "the pump is always on",
            "Pump on all the time",
            "pump runs day and night",
            "pump stays on permanently",
        ],
    ),
    (
        load(MINUTE),
        [
            "pump 10 s of every 60 s",
            "pump on 10 s of every 60 s",
            "pump runs 10 seconds in every minute",
            "pump for 10 s every minute",
            "pump on 10 s once a minute",
            "every minute pump for 10 s",
            "every 60 s pump on for 10 s",
            "every minute the pump runs for 10 s",
            "run the pump for 10 s every minute",
            "pump cycles 10 s on, 50 s off",
            "pump blinks 10 s of every minute",
            "pump on once a minute for 10 s",
            "pump on 10 s once every 60 s",
            "pump alternates 10 s on, 50 s off",
            "pump 10s every 1 min",
            "pump every minute for 10 s",
            "pump on for 10 s each minute",
            "pump 10 s per minute",
            "pump 10 s out of every 60 s",
            "pump 10 s of 60 s",
            "pump 10 s on, 50 s off",
            "pump 10 s on and 50 s off",
            "pump 10 s on 50 s off",
            "pump on 10 s, off 50 s",
            "pump on for 10 s, off for 50 s",
            "pump on for 10 s and off for 50 s",
            "pump on for 10 s, then off for 50 s",
            "pump is on for ten seconds and off for fifty seconds",
        ],
    ),
    (
        load(MINUTE, Choice.PAUSE_FIRST),
        [
            "pump 10 s of every 60 s, starting with the pause",
            "pump 10 s of every 60 s pause first",
            "pump 10 s on, 50 s off, beginning with a pause",
            "pump 50 s off, 10 s on",
            "pump off 50 s, on 10 s",
            "pump off for 50 s and on for 10 s",
        ],
    ),
    (
        load(MINUTE, Only(HOT)),
        [
            "pump 10 s of every 60 s only while hot",
            "pump 10 s of every 60 s while hot",
            "pump 10 s of every 60 s, only when hot",
            "pump 10 s of every 60 s if it is hot",
            "pump 10 s on, 50 s off, but only if hot",
            "pump 10 s of every 60 s as long as hot",
            "pump 10 s of every 60 s unless not hot",
        ],
    ),
    (
        load(MINUTE, Only(HOT), Choice.FINISH),
        [
            "pump 10 s of every 60 s only while hot, finish the pulse",
            "pump 10 s of every 60 s while hot and finish the pulse",
            "pump 10 s of every 60 s while hot, finishing the running pulse",
        ],
    ),
    (
        load(MINUTE, Only(NIGHT)),
        [
            "pump 10 s of every 60 s only at night",
            "pump 10 s of every 60 s at night",
            "pump 10 s of every 60 s, only while it is dark",
            "pump 10 s of every 60 s unless it is day",
        ],
    ),
    (
        load(While(NIGHT)),
        [
            "pump at night",
            "pump on at night",
            "pump runs during the night",
            "pump overnight",
            "pump when it is night",
            "pump while it's dark",
            "pump after dark",
            "pump from dusk to dawn",
        ],
    ),
    (
        load(While(DAY)),
        ["pump by day", "pump during the day", "pump from dawn to dusk", "pump while not night"],
    ),
    (
        load(While(Every((NIGHT, COLD)))),
        [
            "pump at night and cold",
            "pump at night and while cold",
            "pump at night and when it is cold",
            "pump while it is night and cold",
        ],
    ),
    (
        load(While(Some((HOT, Every((Negation(COLD), DRY)))))),
        [
            "pump while hot or not cold and dry",
            "pump when hot or (not cold and dry)",
            "pump if hot or (not (cold) and (dry))",
            "pump while hot, or while not cold and dry",
        ],
    ),
    (
        load(While(Is("door", State.OPEN))),
        ["pump while door open", "pump when the door is open", "pump on if the door opens"],
    ),
    (
        load(While(Is("soil dry"))),
        ["pump while soil dry", "pump while the soil is dry", "pump if soil gets dry"],
    ),
    (
        load(While(Negation(Is("soil dry")))),
        ["pump while the soil is not dry", "pump when the soil isn't dry", "pump if not soil dry"],
    ),
    (
        load(ForTime(2 * H, NIGHT)),
        [
            "pump from dusk for 2 h",
            "pump for 2 h from dusk",
            "pump on for 2 hours after sunset",
            "pump at nightfall for two hours",
        ],
    ),
    (
        load(ForTime(30 * S, Is("start", State.PRESSED))),
        [
            "pump for 30 s after start is pressed",
            "pump on for 30 s after start pressed",
            "pump runs for 30 s when start is pressed",
            "pump for 30 s after each press of start",
            "pump for half a minute on each press of start",
            "pump for 30 s every time start is pressed",
            "pump after each press of start for 30 s",
            "pump for 30 s after pressing start",
            "a press of start gives pump for 30 s",
            "pressing start gives pump 30 s",
        ],
    ),
    (
        load(ForTime(30 * S, Is("start", State.PRESSED)), Choice.EXTEND),
        [
            "pump for 30 s after start is pressed, press again extends",
            "pump for 30 s after each press of start, extends",
            "each press of start gives pump for 30 s, pressing again extends",
            "pump for 30 s after start is pressed, pressing again extends it",
            "pump for 30 s after start is pressed and a new press extends it",
        ],
    ),
    (
        load(AfterTime(5 * S, HOT)),
        [
            "pump 5 s after hot",
            "pump on 5 s after hot",
            "pump starts 5 s after hot",
            "pump once hot has lasted 5 s",
            "pump on when hot has lasted for 5 s",
            "pump once hot for 5 s",
        ],
    ),
    (
        load(KeepsRunning(2 * MIN, HOT)),
        [
            "pump while hot and for 2 min after",
            "pump while hot, and for 2 minutes afterwards",
            "pump while hot, keeps running 2 min after",
            "pump keeps running 2 min after hot",
            "pump keeps running for 2 min after hot ends",
            "pump while hot plus 2 min",
        ],
    ),
    (
        load(StartStop(Is("start"), Is("stop"))),
        [
            "start starts the pump and stop stops it",
            "start starts pump and stop stops pump",
            "start switches on the pump and stop switches it off",
            "pressing start starts the pump and stop cuts it",
            "pump started by start and stopped by stop",
            "pump started by start, stopped by stop",
            "pump is started by start and is stopped by stop".replace("is stopped", "stopped"),
            "pump starts with start and stops with stop",
            "pump switched on by start, switched off by stop",
        ],
    ),
    (
        load(StartStop(Is("start", State.PRESSED), Is("stop", State.PRESSED))),
        [
            "pump starts when start is pressed and stops when stop is pressed",
            "pump is started when start is pressed, stopped if stop is pressed",
        ],
    ),
    # What begins like that, but with nothing that stops it, lasts as long as its condition.
    (load(While(DRY)), ["pump starts when dry", "pump while dry"]),
    (
        load(While(Every((Negation(HOT), Negation(DRY))))),
        ["pump while neither hot nor dry", "pump while not hot and not dry"],
    ),
    (
        load(StartStop(Is("start"), Is("stop")), Choice.KEEP),
        [
            "pump started by start and stopped by stop, keeps its state through a power cut",
            "pump started by start, stopped by stop, and remembers its state over power cuts",
        ],
    ),
    (
        load(Fills(Is("low"), Is("high"))),
        ["pump fills between low and high", "pump fills from low to high"],
    ),
    (
        load(Empties(Is("low"), Is("high"))),
        ["pump empties between low and high", "pump empties from high to low"],
    ),
    (
        load(Toggles((Is("bell"),))),
        [
            "pump toggled by bell",
            "pump is toggled by bell",
            "pump switched on and off by bell",
            "bell toggles pump",
            "pressing the bell toggles the pump",
            "each press of bell toggles pump",
        ],
    ),
    (
        load(SwitchedFrom((Is("a"), Is("b")))),
        [
            "pump switched from a and b",
            "pump is switched from a or b",
            "pump switched from two places: a and b",
        ],
    ),
    (
        load(While(Is("fan", State.ON))),
        ["pump shows fan on", "pump shows that fan is running", "pump while fan runs"],
    ),
    (
        load(While(Is("fan", State.OFF))),
        ["pump shows that the fan is off", "pump on while fan is off", "pump shows fan off"],
    ),
    (
        load(None, NeverWhile(DRY)),
        ["pump never while dry", "pump never runs while dry", "pump never when it is dry"],
    ),
    (
        load(While(HOT), AtLeast(5 * MIN)),
        [
            "pump while hot, once started at least 5 min",
            "pump while hot, once started for at least 5 min",
            "pump while hot and runs at least 5 min",
            "pump while hot, once on, at least 5 min at a time",
        ],
    ),
    (load(None, AtLeast(5 * MIN)), ["pump runs at least 5 min", "pump at least 5 min at a time"]),
    (load(None, Only(NIGHT)), ["pump only at night", "the pump runs only at night"]),
    (
        load(While(NIGHT), loads=("pump", "grow lamp")),
        ["pump and grow lamp at night", "the pump and 'grow lamp' are on at night"],
    ),
    (
        Cutoff("master"),
        [
            "master turns everything off",
            "master switches all off",
            "master cutoff",
            "cutoff master",
            "master cut-off",
            "master cutoff for everything",
            "master stops everything",
            "master cuts everything",
            "master cutoff for all",
            "everything is cut off by master",
        ],
    ),
    (
        Cutoff("master", ("pump", "fan")),
        [
            "master turns the pump and the fan off",
            "pump and fan are cut by master",
            "master cutoff for pump and fan",
            "cutoff master for pump and fan",
            "master cuts off pump and fan",
            "pump and fan are cut off by master",
        ],
    ),
    (
        NeverTogether(("a", "b")),
        [
            "a and b never together",
            "a and b are never on together",
            "never a and b together",
            "a and b never at the same time",
        ],
    ),
    (
        NeverTogether(("b", "a"), "b"),
        ["a and b never together, b goes first", "a and b never together, b has priority"],
    ),
    (
        Gap(2 * S, ("a", "b")),
        [
            "leave 2 s between a and b",
            "leave a gap of 2 s between a and b",
            "at least 2 s between a and b",
            "a and b at least 2 s apart",
            "wait 2 s between a and b",
        ],
    ),
    (
        AtMostUnits(6),
        ["never more than 6 units", "at most 6 units at once", "never use more than 6 power units"],
    ),
]

FACTS: list[tuple[Fact, list[str]]] = [
    (
        Lasts("start", State.ON, None, 2 * S),
        [
            "start lasts at most 2 s",
            "a press of start lasts at most 2 s",
            "start is held for at most 2 s",
            "start lasts no longer than 2 s",
        ],
    ),
    (Lasts("night", State.ON, 4 * H, None), ["night lasts at least 4 h", "the night lasts at least "
                                             "240 min"]),
    (Lasts("night", State.OFF, 4 * H, 16 * H), ["day lasts between 4 h and 16 h"]),
    (Lasts("start", State.OFF, 1 * S, None), ["pauses of start last at least 1 s"]),
    (
        InputsApart(("up", "down")),
        ["up and down never together", "never up and down together"],
    ),
    (Stays("supply", State.ON), ["supply never fails"]),
    (Stays("power", State.ON), ["the power never fails"]),
    (Stays("door", State.CLOSED), ["door is always closed", "door always closed"]),
]  # fmt: skip


class TestVariants:
    @pytest.mark.parametrize(
        ("goal", "phrase"), [(goal, phrase) for goal, phrases in GOALS for phrase in phrases]
    )
    def test_goal(self, goal: Goal, phrase: str) -> None:
        assert parse_phrases(phrase) == (goal,)

    @pytest.mark.parametrize(
        ("fact", "phrase"), [(fact, phrase) for fact, phrases in FACTS for phrase in phrases]
    )
    def test_fact(self, fact: Fact, phrase: str) -> None:
        assert parse_facts(phrase) == (fact,)

    def test_patterns_differ(self) -> None:
        for at, (goal, _) in enumerate(GOALS):
            assert all(goal != other for other, _ in GOALS[at + 1 :])

    @pytest.mark.parametrize("text", [p for _, phrases in GOALS for p in phrases])
    def test_case_spaces_and_full_quotes_do_not_matter(self, text: str) -> None:
        changed = "  " + text.upper().replace(" ", "   ").replace("'", "\u2019")
        assert parse_phrases(changed) == parse_phrases(text)


class TestSplitting:
    @pytest.mark.parametrize(
        ("text", "pieces"),
        [
            (
                "pump on 10 s of every 60 s, light always, heater at night, "
                "master cutoff for pump",
                4,
            ),
            ("pump 10 s on, 50 s off, light always", 2),
            ("pump 10 s of every 60 s, only at night, light always", 2),
            ("fan while hot, once started at least 5 min; x always", 2),
            ("at least 2 s between a and b, leave 2 s between c and d", 2),
            ("a and b never together, b goes first, fan always", 2),
            ("fan while (hot, or dry), light always", 2),
            ("pump at night\n\n light always\r\nfan by day", 3),
            ("'a, b' always, fan by day", 2),
            (" , ; \n", 0),
            ("pump at night,", 1),
            ("light always, heater at night, and fan while hot", 3),
            ("light always; and fan while hot", 2),
            ("fan while hot, and for 2 min after", 1),
        ],
    )
    def test_count(self, text: str, pieces: int) -> None:
        assert len(split_phrases(text, "goals")) == pieces

    def test_and_before_the_last_is_left_out(self) -> None:
        goals = parse_phrases("light always, and  fan while hot")
        assert [(g.phrase, str(g.place)) for g in goals] == [
            ("light always", "goals:1:1"),
            ("fan while hot", "goals:1:20"),
        ]

    def test_places(self) -> None:
        goals = parse_phrases("pump at night,  fan by day\nlight always", "here", 7, 5)
        assert [(g.number, g.phrase, str(g.place)) for g in goals] == [
            (1, "pump at night", "here:7:5"),
            (2, "fan by day", "here:7:21"),
            (3, "light always", "here:8:1"),
        ]


class TestNames:
    def test_declared_names_may_hold_words_of_the_language(self) -> None:
        goals = parse_phrases("night lamp while soil on top", names=("night lamp", "soil on top"))
        assert goals == (LoadGoal(("night lamp",), While(Is("soil on top"))),)

    def test_a_letter_can_be_a_name(self) -> None:
        assert parse_phrases("a while b") == (LoadGoal(("a",), While(Is("b"))),)
        assert parse_phrases("a pump always") == (load(Always()),)

    @pytest.mark.parametrize(
        ("text", "loads"),
        [
            ("pump 1 always", ("pump 1",)),
            ("pump 1 and pump 2 on 10 s of every 60 s", ("pump 1", "pump 2")),
            ("pump 2 for 10 s after hot", ("pump 2",)),
            ("pump 10 secs of every 60 s", ("pump",)),
            ("pump 2 min on, 3 min off", ("pump",)),
        ],
    )
    def test_a_number_may_end_a_name_but_not_a_time(
        self, text: str, loads: tuple[str, ...]
    ) -> None:
        (goal,) = parse_phrases(text)
        assert isinstance(goal, LoadGoal) and goal.loads == loads

    def test_numbered_inputs(self) -> None:
        assert parse_phrases("pump while float 1 is on and not float 2") == (
            load(While(Every((Is("float 1"), Negation(Is("float 2")))))),
        )

    @pytest.mark.parametrize(
        "text",
        [
            "turn the pump on while hot",
            "turn on the pump while hot",
            "switch the pump on while hot",
            "put pump on while hot",
            "keep the pump running while hot",
            "keep pump on while hot",
        ],
    )
    def test_what_orders_a_load_is_no_part_of_its_name(self, text: str) -> None:
        assert parse_phrases(text) == (load(While(HOT)),)

    @pytest.mark.parametrize("name", ["run lamp", "switch box", "keep lamp"])
    def test_names_that_begin_like_an_order(self, name: str) -> None:
        assert parse_phrases(f"{name} while hot") == (LoadGoal((name,), While(HOT)),)

    @pytest.mark.parametrize("state", ["pressed", "held", "held down", "pushed", "pressed down"])
    def test_a_button_is_held(self, state: str) -> None:
        assert parse_phrases(f"pump while bell is {state}") == (
            load(While(Is("bell", State.PRESSED))),
        )

    def test_started_and_stopped_are_the_same_loads(self) -> None:
        with pytest.raises(GoalError, match="differ"):
            parse_phrases("start starts pump and stop stops fan")

    def test_other_alphabets(self) -> None:
        assert parse_phrases("gr\u00f6\u00dfe always")[0] == LoadGoal(
            ("gr\u00f6\u00dfe",), Always()
        )

    def test_words_lists_agree(self) -> None:
        """Every reserved word is used by some token or left out; a word cannot be both."""
        known = set(token_words()) | set(data_words("drop.txt"))
        plain = {word for word in reserved_words() if word.isalpha()}
        assert plain <= known


def mistakes() -> list[tuple[Mistake, str]]:
    return [(mistake, phrase) for mistake in MISTAKES for phrase in mistake.phrases]


OTHERS = [
    ("pump 3 times a day for 10 min", "how often is said by how long one round takes", 6, "8 h"),
    # phrase, part of the message, column, part of the hint
    ("light alwyas", "'alwyas'", 7, "'always'"),
    ("pump on 10 s of evry 60 s", "'evry'", 17, "'every'"),
    ("heater att night", "'att'", 8, "'at'"),
    ("pump strated by start and stopped by stop", "'strated'", 6, "'started'"),
    ("fan wihle hot", "'wihle'", 5, "'while'"),
    ("master cutof for pump", "'cutof'", 8, "'cutoff'"),
    ("a and b nevr together", "'nevr'", 9, "'never'"),
    ("pump on 10 of every 60 s", "no unit of time", 9, "'10 s'"),
    ("pump 10 sceonds of every 60 s", "'sceonds'", 9, "second"),
    ("pump 1,5 min of every 1 h", "no unit of time", 6, "1.5"),
    ("pump 60 s of every 10 s", "leaves no pause", 1, "shorter"),
    ("pump 0 s of every 10 s", "at least 1 ms", 6, ""),
    ("pump 0.0001 s of every 10 s", "finer than 1 ms", 6, ""),
    ("pump 400 days of every 500 days", "366 days", 6, ""),
    ("pump -10 s of every 60 s", "cannot stand", 6, "negative"),
    ("pump 10 s 2 h of every 5 h", "is not one time", 6, "larger unit first"),
    ("fan while 'hot", "quote", 11, "close it"),
    ("fan while ''", "empty", 11, ""),
    ("fan while 'a$b'", "is no name", 11, "letters"),
    ("pump = always", "character '='", 6, "in words what the sensor tells"),
    ("a and a never together", "named twice", 7, ""),
    ("a never together", "only 'a'", 1, "'and'"),
    ("never more than 0 units", "at least 1 unit", 17, ""),
    ("pump at night, cut at once, finish the pulse", "cannot both", 1, ""),
    ("a and b never together, c goes first", "not one of those", 25, ""),
    (f"fan while {'x' * 41}", "longer than 40", 11, ""),
    ("fan while " + "(" * 21 + "hot" + ")" * 21, "more than 20 brackets", 31, ""),
    ("fan while " + "hot and " * 80 + "hot", "more than 500 characters", 1, "several goals"),
    ("fan while lamp on then", "not expected", 19, ""),
    # No name swallows a word that means something to whoever wrote it.
    ("fan while hot xor dry", "'xor' is not read", 15, "and not b"),
    ("fan while neither hot", "'neither' says not of which two", 11, "neither a nor b"),
    ("fan while hot nor dry", "'nor' is not expected", 15, ""),
]


class TestMistakes:
    @pytest.mark.parametrize(("mistake", "phrase"), mistakes())
    def test_earns_its_message(self, mistake: Mistake, phrase: str) -> None:
        parse = parse_phrases if mistake.start == "goal" else parse_facts
        with pytest.raises(GoalError) as caught:
            parse(phrase)
        assert caught.value.message == mistake.message
        assert caught.value.hint == mistake.hint
        assert caught.value.place is not None
        assert 1 <= caught.value.place.column <= len(phrase) + 1

    def test_the_table_is_long_enough(self) -> None:
        assert len(mistakes()) + len(OTHERS) >= 40

    @pytest.mark.parametrize(("phrase", "message", "column", "hint"), OTHERS)
    def test_others(self, phrase: str, message: str, column: int, hint: str) -> None:
        with pytest.raises(SynthError) as caught:
            parse_phrases(phrase)
        assert message in caught.value.message
        assert hint in caught.value.hint
        assert caught.value.place is not None
        assert (caught.value.place.line, caught.value.place.column) == (1, column)

    def test_the_caret_points_at_the_word(self) -> None:
        with pytest.raises(GoalError) as caught:
            parse_phrases("pump at night, light alwyas")
        lines = str(caught.value).splitlines()
        assert lines[1][lines[2].index("^") :] == "alwyas"

    def test_too_many_phrases(self) -> None:
        with pytest.raises(GoalError, match="more than 200"):
            parse_phrases("a always;" * 201)

    def test_control_characters_are_not_shown(self) -> None:
        with pytest.raises(GoalError) as caught:
            parse_phrases("pump \x1b[2J always")
        assert "\x1b" not in str(caught.value)

    def test_a_time_keeps_its_kind_of_error(self) -> None:
        with pytest.raises(TimeError):
            parse_phrases("pump 0 s of every 10 s")


PHRASES = [phrase for _, phrases in GOALS for phrase in phrases]


def quiet(text: str) -> None:
    """Parse; only a SynthError may leave."""
    for parse in (parse_phrases, parse_facts):
        try:
            parse(text)
        except SynthError as problem:
            assert str(problem)


class TestHostile:
    @settings(max_examples=60, deadline=2000)
    @given(st.text(max_size=600))
    def test_any_text(self, text: str) -> None:
        quiet(text)

    @settings(max_examples=40, deadline=2000)
    @given(st.data())
    def test_mutated_phrases(self, data: st.DataObject) -> None:
        text = data.draw(st.sampled_from(PHRASES))
        words = re.findall(r"\s+|[^\s]+", text)
        for _ in range(data.draw(st.integers(1, 3))):
            at = data.draw(st.integers(0, len(words) - 1))
            change = data.draw(st.sampled_from(("drop", "double", "swap", "letter", "other")))
            if change == "drop":
                words[at] = ""
            elif change == "double":
                words[at] *= 2
            elif change == "swap":
                words[at], words[-1] = words[-1], words[at]
            elif change == "letter":
                words[at] = words[at][:-1] + data.draw(st.characters())
            else:
                words[at] = data.draw(st.sampled_from(reserved_words()))
        quiet("".join(words))

    @settings(max_examples=30, deadline=2000)
    @given(st.lists(st.sampled_from((*token_words(), "10", "s", "(", ")", ",", "'")), max_size=60))
    def test_heaps_of_words(self, words: list[str]) -> None:
        quiet(" ".join(words))

    @pytest.mark.parametrize(
        "text",
        [
            "(" * 400,
            "not " * 120 + "x",
            "x while " + "not " * 115 + "hot",
            "," * 10_000,
            "'" * 499,
            "a and " * 80 + "b always",
            "on " * 160,
            "never be " * 55,
            "1 s " * 120,
        ],
    )
    def test_long_heaps_end_soon(self, text: str) -> None:
        quiet(text)
