"""What two people would take for two things, or for nothing: asked about, not guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from synth.errors import GoalError
from synth.read.splitting import Phrase

_TIME = r"(?:\d|an? (?:second|minute|hour|day)|one |two |half )"


class Doubt(NamedTuple):
    """What to look for in a phrase (lower case, its names in quotes left out), and what to say;
    `{0}` in the message is what was found. `start`: in goals or facts alone; "" in both."""

    sign: re.Pattern[str]
    message: str
    hint: str
    start: str = ""


RUN_OR_DELAY = "it is not clear whether it runs for that time, or comes on so much later"
"""Of a time without 'for' that something else follows."""

DOUBTS: tuple[Doubt, ...] = (
    Doubt(
        re.compile(
            r"\b(?:even|especially|mainly|mostly|usually|normally|preferably|sometimes|briefly"
            r"|occasionally|possibly|ideally|despite|regardless|although|instead|respectively"
            r"|intermittently|alternately|sequentially|vice versa)\b"
        ),
        "'{0}' says nothing that can be built",
        "leave it out; what must hold is said with 'while …', 'unless …' or 'never while …'",
    ),
    Doubt(
        re.compile(
            r"\b(?:(?:twenty|thirty|forty|fifty|sixty)[- ]"
            r"(?:one|two|three|four|five|six|seven|eight|nine)"
            r"|eleven|(?:thir|four|six|seven|eigh|nine)teen|(?:seven|eigh|nine)ty|hundred)\b"
        ),
        "the number '{0}' is not read",
        "write it in figures, as in '25 s'",
    ),
    Doubt(
        re.compile(
            r"\b(?:twice|thrice|(?:two|three|four|five|six) times) (?:a|an|each|every|per|daily)\b"
        ),
        "how often is said by the length of one round",
        "say for example 'for 10 min every 12 h'",
    ),
    Doubt(
        re.compile(
            r"\b(?:during|in|on|at|after|before|every|each|a|from|since|except at) (?:the )?"
            r"(?:fortnight|month|year|weekend|weekday|noon|midday|midnight|morning|afternoon"
            r"|evening|(?:mon|tues|wednes|thurs|fri|satur|sun)day)s?\b"
            r"|\b(?:during|in|on|after) (?:the )?weeks?\b"
        ),
        "'{0}' is of the calendar or the clock, which no part follows",
        "say for example 'at night', 'from dusk for 2 h' or 'for 1 h every 7 d'; a timetable of "
        "its own is an input: 'while timetable is on'",
    ),
    Doubt(
        re.compile(
            r"\bonce (?:a|an|per) (?!(?:second|sec|minute|min|hour|day|week)\b)\w+"
            r"(?= for\b|[,;]|$)"
        ),
        "'{0}' does not say how long one round takes",
        "say for example 'for 10 s every 8 h'",
    ),
    Doubt(
        re.compile(r"\bonce (?:daily|weekly|hourly|nightly|monthly|yearly)\b"),
        "how often is said by the length of one round",
        "say for example 'for 20 min every 24 h'",
    ),
    Doubt(
        re.compile(r"\bnot just\b"),
        "'{0}' leaves open when else",
        "say 'always', or all that it is on for, as in 'at night or while hot'",
    ),
    Doubt(
        re.compile(r"\bexactly (?:one|two|three|\d+)\b"),
        "'{0}' is not read",
        "say for example '(a and not b) or (b and not a)'",
    ),
    Doubt(
        re.compile(r"\bbut not\b[^,;()]*\b(?:and|or) (?:not|no|never)\b"),
        "it is not clear what the second 'not' takes back",
        "say 'unless at night or damp' where either holds it off",
        "goal",
    ),
    Doubt(
        re.compile(
            r"\b(?:never|except|unless|not (?:run|be|work|operate|come|start))\b[^,;()]*"
            r"\band (?:when|whenever|while|if|as long as|at night|by day|during)\b"
        ),
        "it is not clear whether either of the two holds it off, or only both at once",
        "say 'never at night or when dry' where either does, 'never while (a and b)' where both "
        "must hold",
        "goal",
    ),
    Doubt(
        re.compile(
            r"\b(?:while|whilst|when|whenever|if|after|following)\b[^,;()]*\b(?:and|or) (?:the )?"
            r"(?!(?:not|no|at|by|while|when|whenever|if|it|for|only|never|on|off|keeps|then)\b)"
            r"[^,;() ]+(?: (?!is\b|are\b)[^,;() ]+)? "
            r"(?:at night|by day|overnight|after dark"
            r"|(?:only|never) (?:at|by|while|when|if|during))\b"
        ),
        "it is not clear whether this is one goal or two",
        "part two goals by a comma; of one load say the night first, as in 'at night while hot and "
        "damp'",
        "goal",
    ),
    Doubt(
        re.compile(
            r"\b(?:while|whilst|when|whenever|if|unless|and|or|once|after)\b[^,;()]*"
            r"\b(?:does not|doesn't|do not|don't|did not|didn't)\b"
        ),
        "'{0}' is not read in a condition",
        "say 'while pump is off', 'while not hot', or 'never while …' to hold a load off",
        "goal",
    ),
    Doubt(
        re.compile(
            r"\b(?:starts|started|comes on|goes on|turns on|switches on) (?:when|whenever|if)\b"
            r"(?!.*\b(?:stops?|stopped|off|while)\b)[^,;]*\b(?:pressed|pushed)\b"
        ),
        "it is said what starts it, but not what stops it",
        "say 'started by start and stopped by stop'; where it runs only as long as that is "
        "pressed, 'motor while start is pressed'",
        "goal",
    ),
    Doubt(
        re.compile(r"^start\b(?!.*\b(?:starts|stops)\b).*\bstop (?:it|them)\b"),
        "what starts it and what stops it are said of the load",
        "say for example 'pump starts when low and stops when high'",
        "goal",
    ),
    Doubt(
        re.compile(r"\b(?:has|have) been (?:pressed|pushed)\b(?! for\b)"),
        "it is not clear whether that is forgotten as the button is let go",
        "say 'is pressed' for as long as it is held; what lasts is said as 'siren starts when high "
        "and stops when ack is pressed'",
        "goal",
    ),
    Doubt(
        re.compile(r"\b(?:xor|differs?|disagrees?|equals?|unlike|matches)\b"),
        "'{0}' is not read",
        "say '(a and not b) or (b and not a)'; of two switches that change a load over, 'lamp "
        "switched from a and b'",
    ),
    Doubt(
        re.compile(r"\balone\b"), "'{0}' is not read", "say what must not hold, as in 'a and not b'"
    ),
    Doubt(
        re.compile(r"\bsame (?:button|push|switch|key|lever)\b"),
        "one button that starts and stops is said in another way",
        "say 'pump toggled by button'",
    ),
    Doubt(
        re.compile(r"\bafter (?:the )?last\b"),
        "'{0}' is not read",
        "say 'keeps running 5 min after motion'",
    ),
    Doubt(
        re.compile(
            r"^(?!.*\b(?:keeps|stays|goes on|runs on)\b)"
            r".*\bafter\b[^,;]*\bis (?:over|gone|finished)\b"
        ),
        "it is not clear whether this is an input of its own, or the end of one",
        "say 'for 2 min after shower ends', or 'keeps running for 2 min after shower'",
    ),
    Doubt(
        re.compile(r"\beither\b(?![^,;]*\bor\b)"),
        "'either' says not of which two",
        "name them, as in 'while a or b'",
    ),
    Doubt(
        re.compile(r"\bboth\b(?![^,;]*\band\b)"),
        "'both' says not of which two",
        "name them, as in 'pump 1 and pump 2'",
    ),
    Doubt(
        re.compile(r"\b(?:not|unless|no|never) (?:when |while )?(?:both|either)\b"),
        "it is not clear how far 'not' reaches",
        "say 'while neither a nor b', or put what belongs together in brackets: 'not (a and b)'",
    ),
    Doubt(
        re.compile(
            r"\b(?:it(?: is|'s) not (?:\w+ )+|(?:while|when|whenever|if) not (?:the )?\w+ )"
            r"or (?!not\b|it\b|while\b|when\b|whenever\b|if\b|at\b|by\b)"
        ),
        "it is not clear how far 'not' reaches",
        "say 'while neither a nor b', or 'while b or not a', or put what belongs together in "
        "brackets: 'not (a and b)'",
    ),
    Doubt(
        re.compile(r"\b(?:and|or) either\b|\beither\b[^,;]*\bor\b[^,;]*\band\b"),
        "it is not clear what belongs together",
        "put it in brackets, as in 'while a and (b or c)'",
    ),
    Doubt(
        re.compile(r"\((?:(?!\b(?:and|or)\b)[^(),])*,(?:(?!\b(?:and|or)\b)[^()])*\)"),
        "it is not clear whether all of these must hold, or one of them",
        "say 'and' or 'or' in place of the comma",
    ),
    Doubt(
        re.compile(r"\balso (?:while|when|whenever|if|at|by|after|during|once)\b"),
        "it is not clear whether 'also' means 'and' or 'or'",
        "say 'at night or while hot' where one of them is enough, 'at night and while hot' where "
        "both must hold",
    ),
    Doubt(
        re.compile(r"\bnever\b[^,;]*\b(?:unless|except)\b"),
        "it is not clear what 'unless' takes back",
        "say 'never while dark and not damp', or put 'unless' behind the goal itself",
    ),
    Doubt(
        re.compile(rf"\b(?:stays|goes on|runs on|remains on) {_TIME}[^,;]*\bafter\b"),
        "it is not clear whether it goes on for so long after that, or comes on so much later",
        "say 'keeps running for 2 min after hot', or '2 min after hot' for a delay",
    ),
    Doubt(
        re.compile(rf"\b(?:runs|works|operates) {_TIME}[^,;]*\bafter\b[^,;]*\b(?:stops|ends)\b"),
        "it is not clear whether it runs for so long, or from so much later on",
        "say 'for 2 min after …' for a run of that length, or 'comes on 2 min after …'",
    ),
)


def expect_one_meaning(phrase: Phrase, text: str, start: str, names: Iterable[str]) -> None:
    """Raise GoalError where a phrase (`text`: in lower case, of the same length) has two; `start`:
    goal or fact. What is in quotes, or declared as one of `names`, is never doubted."""
    refuse_any(DOUBTS, phrase, text, start, names)


def refuse_any(
    doubts: Iterable[Doubt], phrase: Phrase, text: str, start: str, names: Iterable[str]
) -> None:
    """Raise GoalError for the first of `doubts` that a phrase gives; see `expect_one_meaning`."""
    declared = "|".join(rf"\b{re.escape(name)}\b" for name in names if name.strip())
    bare = re.sub(
        r"'[^']*'|\"[^\"]*\"" + (f"|{declared}" if declared else ""),
        lambda quoted: " " * len(quoted[0]),
        text,
    )
    for doubt in doubts:
        found = doubt.sign.search(bare) if doubt.start in ("", start) else None
        if found is not None:
            message = doubt.message.format(found[0].strip())
            raise GoalError(message, phrase.at(found.start()), doubt.hint)
