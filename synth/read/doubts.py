"""Phrases that parse, and that two people would take for two things: asked about, not guessed."""

from __future__ import annotations

import re
from typing import NamedTuple

from synth.errors import GoalError
from synth.read.splitting import Phrase

_TIME = r"(?:\d|an? (?:second|minute|hour|day)|one |two |half )"


class Doubt(NamedTuple):
    """What to look for in a phrase (lower case, its names in quotes left out), and what to say."""

    sign: re.Pattern[str]
    message: str
    hint: str


DOUBTS: tuple[Doubt, ...] = (
    Doubt(
        re.compile(r"\b(?:not|unless|no|never) (?:when |while )?(?:both|either)\b"),
        "it is not clear how far 'not' reaches",
        "say 'while neither a nor b', or put what belongs together in brackets: 'not (a and b)'",
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


def expect_one_meaning(phrase: Phrase, text: str) -> None:
    """Raise GoalError where a phrase (`text`: in lower case, of the same length) has two."""
    bare = re.sub(r"'[^']*'|\"[^\"]*\"", lambda quoted: " " * len(quoted[0]), text)
    for doubt in DOUBTS:
        found = doubt.sign.search(bare)
        if found is not None:
            raise GoalError(doubt.message, phrase.at(found.start()), doubt.hint)
