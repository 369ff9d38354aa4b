"""What to say of a phrase that does not parse: each message beside the malformed phrases that
earn it.

A mistake is recognised by where the parser stood and what it met there: the malformed phrases in
the table are parsed too, and the message whose phrase fails at the same point fits. Before that a
misspelling is sought: a word that, put right, makes the whole phrase parse.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from synth.errors import GoalError, Place
from synth.read.conditions import JOINER
from synth.read.lexer import Word, free_for_names, reserved_words, token_words, words_of
from synth.read.suggest import quoted
from synth.ticks import UNITS

if TYPE_CHECKING:
    from lark import Lark
    from lark.exceptions import UnexpectedInput

    from synth.read.splitting import Phrase


@dataclass(frozen=True)
class Mistake:
    """A message, what to do, and malformed phrases that earn it (`start`: goal or fact)."""

    message: str
    hint: str
    phrases: tuple[str, ...]
    start: str = "goal"


MISTAKES: tuple[Mistake, ...] = (
    Mistake(
        "it is not said what 'for …' follows",
        "say after what, as in 'for 30 s after start is pressed', or how often, as in "
        "'for 10 s every minute'",
        ("lamp for 30 s", "lamp on for 30 s", "pump runs for 2 min only at night"),
    ),
    Mistake(
        "a time alone does not say when",
        "say for example '10 s of every 60 s', '10 s on, 50 s off' or '5 s after hot'",
        ("pump 10 s", "pump on 10 s", "pump on 10 s only at night"),
    ),
    Mistake(
        "it is said how long it is on, but not how long it is off",
        "say for example '10 s on, 50 s off' or '10 s of every 60 s'",
        ("pump 10 s on", "pump on 10 s on"),
    ),
    Mistake(
        "it is said how long it is off, but not how long it is on",
        "say for example '50 s off, 10 s on'",
        ("pump off 50 s", "pump off for 50 s"),
    ),
    Mistake(
        "'off' alone says nothing to build",
        "say when it is on; to hold it off, say for example 'never while hot'",
        ("pump off", "pump is off", "pump off while hot", "heater off by day", "turn off lamp"),
    ),
    Mistake(
        "it is not said what the load does",
        "say for example 'always', 'at night', 'while hot', '10 s of every 60 s'",
        ("pump", "grow lamp", "pump and fan"),
    ),
    Mistake(
        "it is not said when it is on",
        "say for example 'always', 'at night', 'while hot', '10 s of every 60 s'",
        ("pump on", "pump runs", "pump and fan are on", "keep pump on", "keep pump running"),
    ),
    Mistake(
        "how often? A time is expected after 'every'",
        "say for example '10 s of every 60 s' or '10 s every minute'",
        ("pump 10 s of every", "pump 10 s every", "pump for 10 s every"),
    ),
    Mistake(
        "it is said how often, but not for how long each time",
        "say for example '10 s of every 60 s' or '1 s on, 1 s off'",
        ("pump every 60 s", "lamp blinks every 2 s", "pump every minute", "every minute pump on"),
    ),
    Mistake(
        "how long on, and how long off?",
        "say for example '1 s on, 1 s off while hot', or without that word if it stays on",
        (
            "lamp blinks",
            "lamp blinks on",
            "lamp blinks while hot",
            "lamp blinks at night",
            "lamp blinks by day",
            "lamp blinks when hot",
            "lamp blinks always",
            "lamp blinks after hot",
            "lamp blinks not at night",
            "lamp blinks only at night",
            "lamp blinks unless hot",
            "lamp blinks if hot",
            "lamp blinks once hot",
        ),
    ),
    Mistake(
        "a load is on or off",
        "say for example 'on while hot'; a valve that opens when it is live is on while open",
        ("valve opens", "valve and pump opens"),
    ),
    Mistake(
        "'never with' does not say which of them waits",
        "say 'heater never while fan is on', or 'heater and fan never together'",
        ("heater never with fan", "heater always never with fan"),
    ),
    Mistake(
        "a goal begins with the load that it is about",
        "say for example 'pump never at night' or 'pump always, unless hot'",
        ("no pump at night", "not the pump at night", "never pump at night", "unless hot the pump"),
    ),
    Mistake(
        "what switches off everything is said of its switch",
        "say for example 'master cutoff'",
        (
            "everything off",
            "everything on while master is on",
            "everything always",
            "everything at night",
            "everything only at night",
            "everything while hot",
            "everything",
            "everything unless hot",
            "everything never at night",
            "everything stops",
            "master off turns everything off",
            "master off cuts everything",
            "master off switches off pump",
            "master for everything",
        ),
    ),
    Mistake(
        "a condition is expected",
        "say for example 'while hot', 'while door is open', 'only at night'",
        (
            "fan while",
            "fan while hot and",
            "fan while not",
            "pump always only",
            "pump always unless",
            "lamp shows",
            "fan while ()",
            "fan for 10 s after",
            "fan 10 s after",
        ),
    ),
    Mistake(
        "a bracket is not closed",
        "close it with ')'",
        ("fan while (hot", "fan while (hot and (wet or dry)", "fan while (door is open"),
    ),
    Mistake(
        "a bracket is closed that was never opened",
        "remove it, or open it with '('",
        ("fan while hot)", "pump always)", "fan while door open)", "fan at night)"),
    ),
    Mistake(
        "it is said what starts it, but not what stops it",
        "say for example 'started by start and stopped by stop'",
        ("pump started by start", "pump started by start only at night"),
    ),
    Mistake(
        "'started by' what?",
        "say for example 'started by start and stopped by stop'",
        ("pump started by", "pump started by stopped by stop"),
    ),
    Mistake(
        "'stopped by' what?",
        "say for example 'started by start and stopped by stop'",
        ("pump started by start stopped by", "pump started by start and stopped by"),
    ),
    Mistake(
        "two marks are needed, the low and the high one",
        "say for example 'fills between low and high' or 'fills from low to high'",
        (
            "pump fills between low",
            "pump fills",
            "pump fills from low",
            "pump fills low and high",
            "pump empties between low",
            "pump empties",
            "pump empties from high",
            "pump fills between",
            "pump fills between low and",
        ),
    ),
    Mistake(
        "which button?",
        "say for example 'toggled by bell'",
        ("lamp toggled by", "lamp is toggled by"),
    ),
    Mistake(
        "which switches?",
        "say for example 'switched from front and back'",
        ("lamp switched from", "lamp switched from front and", "lamp switched from two places"),
    ),
    Mistake(
        "together with what?",
        "say for example 'up and down never together'",
        ("up and never together", "never up and together"),
    ),
    Mistake(
        "which of several loads goes first is said with them",
        "say for example 'up and down never together, down goes first'",
        ("down goes first", "down is first", "up and down goes first", "down has priority"),
    ),
    Mistake(
        "between what?",
        "say for example 'leave 2 s between up and down'",
        ("leave 2 s between", "leave 2 s"),
    ),
    Mistake(
        "how long a gap?",
        "say for example 'leave 2 s between up and down'",
        ("leave between up and down", "leave a gap of between up and down"),
    ),
    Mistake(
        "at least how long?",
        "say for example 'once started at least 5 min'",
        ("fan runs at least", "fan while hot, once started at least"),
    ),
    Mistake(
        "how many units at most?",
        "say for example 'never more than 6 units' or 'at most 70 unit-hours a day'",
        ("never more than", "never more than units", "at most", "never more than 6"),
    ),
    Mistake(
        "in how long? Energy is limited for a day",
        "say for example 'at most 70 unit-hours a day'",
        tuple(
            f"{most} {number} unit-hours{end}"
            for most in ("at most", "never more than")
            for number in ("70", "1/3")
            for end in ("", " an hour", " in 2 h", " per hour", " every week", " at night", " week")
        ),
    ),
    Mistake(
        "how many unit-hours at most?",
        "say for example 'at most 70 unit-hours a day'",
        ("at most unit-hours a day", "never more than unit-hours a day"),
    ),
    Mistake(
        "never while what?",
        "say for example 'never while dry' or 'never at night'",
        ("pump never", "pump always never"),
    ),
    Mistake(
        "a cutoff for which loads?",
        "name them, as in 'master cutoff for pump and fan', or leave out 'for'",
        ("master cutoff for", "cutoff master for"),
    ),
    Mistake(
        "a name is expected after 'and'",
        "say for example 'pump and fan at night'",
        ("pump and", "master cutoff for pump and", "leave 2 s between up and"),
    ),
    Mistake(
        "which switch is the cutoff?",
        "say for example 'master cutoff' or 'cutoff master for pump'",
        ("cutoff", "cutoff for pump"),
    ),
    Mistake(
        "what does the switch cut off?",
        "say for example 'master cuts off everything'",
        ("master cuts off", "master stops"),
    ),
    Mistake(
        "for how long after dusk?",
        "say for example 'from dusk for 2 h' or 'at night'",
        ("lamp from dusk", "lamp at dusk", "lamp from dawn"),
    ),
    Mistake(
        "for how long after a press?",
        "say for example 'for 30 s after each press of start'",
        ("lamp after each press of start", "lamp on each press of start"),
    ),
    Mistake(
        "what follows 'after' needs a time before it",
        "say 'for 30 s after …' for a run of that length, or '30 s after …' for a delay",
        ("lamp after start is pressed", "lamp on after hot", "lamp once hot"),
    ),
    Mistake(
        "a delay after each press is not clear",
        "say 'for 30 s after each press of start' for a run of that length",
        ("lamp 30 s after each press of start", "lamp 30 s after pressing start"),
    ),
    Mistake(
        "'for' a time behind a condition is not clear",
        "say 'once hot has lasted 5 s' for a delay, 'while hot and for 5 s after' for a run-on, or "
        "'for 5 s after hot' for a run of that length",
        ("fan while hot for 5 s", "fan when hot for 5 s", "fan at night for 2 h"),
    ),
    Mistake(
        "the condition stands before the load",
        "name the load first, as in 'heater at night'",
        ("at night the heater", "while hot the fan", "if cold heater on", "overnight heater"),
    ),
    Mistake(
        "when it stops is said in another way",
        "say for example 'started by start and stopped by stop', 'while hot' or 'never while dry'",
        (
            "pump until dry",
            "pump on until dry",
            "pump always until dry",
            "pump while hot until dry",
            "pump for 10 s after hot until dry",
            "pump started by start until dry",
        ),
    ),
    Mistake(
        "another goal cannot begin with 'and' here",
        "put a comma before it, as in 'light always, heater at night'",
        (
            "light always and heater at night",
            "pump 10 s of every 60 s and light always",
            "pump 10 s on 50 s off and light always",
            "lamp from dusk for 2 h and fan while hot",
            "pump fills between low and high and light always",
        ),
    ),
    Mistake(
        "day and night are no loads",
        "name the load first, as in 'lamp at night'",
        ("night always", "day always", "dark at night"),
    ),
    Mistake(
        "a phrase begins with the name of a load",
        "say for example 'pump always', 'master cutoff' or 'never more than 6 units'",
        ("always", "is always", "only at night", "10 s of every 60 s", "and", "on", "("),
    ),
    Mistake(
        "it is not said what is known",
        "say for example 'start lasts at most 2 s' or 'supply never fails'",
        ("start", "night", "door open", "up and down"),
        "fact",
    ),
    Mistake(
        "how long does it last?",
        "say for example 'lasts at most 2 s' or 'lasts at least 4 h'",
        ("start lasts", "night lasts at least", "night lasts 4 h", "night lasts long"),
        "fact",
    ),
    Mistake(
        "two times are needed",
        "say for example 'lasts between 4 h and 16 h'",
        ("night lasts between 4 h", "night lasts between 4 h and", "night lasts between"),
        "fact",
    ),
    Mistake(
        "together with what?",
        "say for example 'up and down never together'",
        ("up and", "up and never together"),
        "fact",
    ),
    Mistake(
        "a fact is about one input, unless they are never together",
        "say it of each in a fact of its own, as in 'start is released when power returns, stop is "
        "released when power returns'",
        ("up and down are released", "up and down last at most 2 s", "up and down never fail"),
        "fact",
    ),
    Mistake(
        "when is that so?",
        "say for example 'start is released when power returns' or 'door is always closed'",
        (
            "start is released",
            "start is not pressed",
            "start is released when",
            "start is released while power is off",
        ),
        "fact",
    ),
)

_EXPECTED: tuple[tuple[str, str], ...] = (
    ("WORD", "a name"),
    ("DURATION", "a time such as '10 s'"),
    ("NUMBER", "a whole number"),
    ("UNITS", "'units'"),
    ("UNIT_HOURS", "'unit-hours'"),
    ("A_DAY", "'a day'"),
    ("VERB", "'on'"),
    ("ALWAYS", "'always'"),
    ("WHILE", "'while'"),
    ("AT_NIGHT", "'at night'"),
    ("EVERY", "'of every'"),
    ("FOR", "'for'"),
    ("AFTER", "'after'"),
    ("BETWEEN", "'between'"),
    ("FROM", "'from'"),
    ("TO", "'to'"),
    ("STATE", "'on', 'off', 'open', 'closed' or 'pressed'"),
    ("IS", "'is'"),
    ("AND", "'and'"),
    ("OR", "'or'"),
    ("RPAR", "')'"),
    ("ON", "'on'"),
    ("OFF", "'off'"),
    ("ONLY", "'only while …'"),
    ("UNLESS", "'unless …'"),
    ("LASTS", "'lasts'"),
    ("AT_LEAST", "'at least'"),
    ("AT_MOST", "'at most'"),
    ("NEVER_TOGETHER", "'never together'"),
    ("STOPPED_BY", "'stopped by'"),
    ("LASTED", "'has lasted'"),
    ("$END", "the end"),
)
_MOST_SHOWN = 6
_CLOCK = re.compile(
    r"\b(?:(?:[01]?\d|2[0-3])(?::[0-5]\d(?:\s*[ap]m)?|\s*[ap]m|\s*o'clock)|midnight|noon)(?!\w)",
    re.IGNORECASE,
)


def explained(
    problem: UnexpectedInput, text: str, phrase: Phrase, start: str, parser: Lark
) -> GoalError:
    """Return the one message for a phrase that does not parse.

    `text` is the phrase as the parser saw it, in which words stand where they do in `phrase`.
    """
    token: Any = getattr(problem, "token", None)
    kind = getattr(token, "type", "$END")
    words = words_of(text)
    at_end = kind == "$END"
    begin = len(phrase.text) if at_end else int(token.start_pos)
    place = phrase.at(begin)
    if kind == "STRANGE" and not any(w.begin == begin and w.kind == "word" for w in words):
        return _strange(phrase, begin, place)
    clock = _CLOCK.search(phrase.text)
    if clock is not None:
        return GoalError(
            f"{quoted(clock[0])} is a time of the day, and there is no clock",
            phrase.at(clock.start()),
            "say for example 'at night', 'by day' or 'from dusk for 2 h'",
        )
    slip = _misspelling(text, words, parser, begin)
    if slip is not None:
        wrong, right = slip
        return GoalError(
            f"{_shown(wrong.text)} is not known here",
            phrase.at(wrong.begin),
            f"did you mean '{right}'?",
        )
    usable = _usable(problem)
    number = next((word for word in words if word.begin == begin and word.kind == "number"), None)
    if number is not None and "DURATION" in usable:
        return _without_unit(number, words, phrase)
    mistake = mistake_at(problem, start, parser)
    if mistake is not None:
        return GoalError(mistake.message, place, mistake.hint)
    found = "the phrase ends too early" if at_end else f"{_shown(str(token))} is not expected here"
    return GoalError(found, place, _expected(usable, words, begin))


def mistake_at(problem: UnexpectedInput, start: str, parser: Lark) -> Mistake | None:
    """Return the mistake whose phrases fail where this one does, and at the same token."""
    for mistake in MISTAKES:
        if mistake.start == start and _point(problem) in _points(mistake, parser):
            return mistake
    return None


def _shown(text: str) -> str:
    return quoted(text.replace(JOINER, " "))


def _strange(phrase: Phrase, begin: int, place: Place) -> GoalError:
    char = phrase.text[begin]
    if char in "'\"\u2018\u2019\u201c\u201d":
        return GoalError("a quote is not closed", place, "close it, or remove it")
    if char.isdigit():
        return GoalError(
            "this number cannot be read", place, "write for example '10 s' or '1.5 min'"
        )
    if char == "-":
        return GoalError("'-' cannot stand here", place, _instead_of_minus(phrase.text[begin:]))
    hint = "leave it out: a name holds letters, digits, spaces and the signs - _ . /"
    if char in "<>=\u2264\u2265%\u00b0":
        hint = (
            "say in words what the sensor tells, as in 'while too hot' or 'while level below 20'; "
            "the value is set on the sensor"
        )
    elif char in "&+":
        hint = "say 'and'"
    elif char in "_./":
        hint = "leave it out: it may stand within a name, between letters or digits"
    return GoalError(f"the character {quoted(char)} cannot stand in a phrase", place, hint)


def _instead_of_minus(text: str) -> str:
    """Return a hint for a text that begins with a '-' where none can stand."""
    number = re.match(r"-\s*[0-9.]+\s*([^\W\d_]*)", text)
    if number is not None:
        return f"a {'time' if number[1] in UNITS else 'number'} is never negative"
    word = re.match(r"-\s*([^\W\d_]+)", text)
    return f"leave it out; or 'not {word[1]}', if it is not to hold" if word else "leave it out"


def _usable(problem: UnexpectedInput) -> Collection[str]:
    state: Any = getattr(problem, "state", None)
    if state is None:
        return ()
    return tuple(state.parse_conf.parse_table.states[state.position])


def _point(problem: UnexpectedInput) -> tuple[Any, str]:
    """Return where the parser stood, and what it met there."""
    state: Any = getattr(problem, "state", None)
    token: Any = getattr(problem, "token", None)
    return (state.position if state is not None else None, getattr(token, "type", "$END"))


def _points(mistake: Mistake, parser: Lark) -> set[tuple[Any, str]]:
    from lark.exceptions import UnexpectedInput

    points = set()
    for phrase in mistake.phrases:
        try:
            parser.parse(phrase)
        except UnexpectedInput as problem:
            points.add(_point(problem))
    return points


def _without_unit(number: Word, words: tuple[Word, ...], phrase: Phrase) -> GoalError:
    """Return the message for a number where a time is expected."""
    following = next((word for word in words if word.begin >= number.end), None)
    if following is not None and following.text == "," and following.begin == number.end:
        return GoalError(
            f"'{number.text}' has no unit of time",
            phrase.at(number.begin),
            "a decimal point is written '.', as in '1.5 min'",
        )
    before = next((word for word in reversed(words) if word.end <= number.begin), None)
    counted = following is not None and following.text in ("unit", "units")
    if counted or (before is not None and before.text in ("needs", "need")):
        return GoalError(
            "how many units a load needs is no goal",
            phrase.at(number.begin),
            "say it in the goal file, beside 'goals': for example 'loads: {heater: 2}'",
        )
    glued = following is not None and following.begin == number.end
    if following is not None and following.text in ("time", "times", "x"):
        return GoalError(
            "how often is said by how long one round takes",
            phrase.at(number.begin),
            "say for example '10 min of every 8 h'",
        )
    if following is not None and following.kind == "word" and (glued or free_for_names(following)):
        alike = [unit for unit in UNITS if unit[0] == following.text[0]]
        near = get_close_matches(following.text, alike, n=1, cutoff=0.6)
        near = ["min"] if following.text == "m" else near
        return GoalError(
            f"{quoted(following.text)} is not a unit of time",
            phrase.at(following.begin),
            f"did you mean '{near[0]}'?" if near else "units of time: ms, s, min, h, d, week",
        )
    return GoalError(
        f"'{number.text}' has no unit of time",
        phrase.at(number.begin),
        f"write for example '{number.text} s', '{number.text} min' or '{number.text} h'",
    )


_NO_SLIPS = frozenset({
    "light", "lights", "lamp", "lamps", "fan", "fans", "pump", "pumps", "hot", "cold", "wet", "dry",
    "midnight", "noon", "percent", "msec", "degrees", "degree", "eleven", "thirteen", "falls",
})  # fmt: skip
"""Words of their own, near as they may be to one of the language that makes a phrase parse."""


def _misspelling(
    text: str, words: tuple[Word, ...], parser: Lark, begin: int
) -> tuple[Word, str] | None:
    """Return (word, what it should be) when putting one word right makes the phrase parse."""
    from lark.exceptions import UnexpectedInput

    known = list(dict.fromkeys((*reserved_words(), *token_words(), *UNITS)))
    # The nearest to the place of the error first: that is most likely the culprit.
    suspects = sorted(
        (
            word
            for word in words
            if word.kind == "word" and len(word.text) > 2 and word.text not in _NO_SLIPS
        ),
        key=lambda word: (abs(word.begin - begin), word.begin),
    )[:8]
    for word in suspects:
        if not free_for_names(word) or word.text in known:
            continue
        for right in get_close_matches(word.text, known, n=8, cutoff=0.66):
            try:
                parser.parse(text[: word.begin] + right + text[word.end :])
            except UnexpectedInput:
                continue
            return word, right
    return None


def _expected(usable: Collection[str], words: tuple[Word, ...], begin: int) -> str:
    """Return a hint: what could stand at this place, and which words need quotes."""
    word = next((word for word in words if word.begin == begin), None)
    options = [text for kind, text in _EXPECTED if kind in usable]
    hint = f"expected: {', '.join(options[:_MOST_SHOWN])}" if options else ""
    if word is not None and word.text in reserved_words() and "WORD" in usable:
        quote = f"'{word.text}' is a word of the goal language; put it into quotes to use it as "
        return quote + "(part of) a name"
    return hint
