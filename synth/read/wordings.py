"""What people say that the language does not read, and what to say instead.

Sought in a phrase that does not parse, before it is told where the parser stopped: that is seldom
where the trouble lies when the wording is another one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from synth.read.doubts import RUN_OR_DELAY, Doubt, refuse_any
from synth.read.splitting import Phrase

_UNIT = r"(?:s|sec|seconds?|min|minutes?|h|hours?|d|days?|weeks?)"
_ONES = "one|two|three|four|five|six|seven|eight|nine"


def _wording(sign: str, message: str, hint: str, start: str = "goal") -> Doubt:
    return Doubt(re.compile(sign), message, hint, start)


WORDINGS: tuple[Doubt, ...] = (
    _wording(
        r"^(?!.*\b(?:starts?|started|on)\b).*\bstops? (?:when|whenever|if|by)\b",
        "what stops it stands with what starts it",
        "say for example 'pump starts when low and stops when high', in one goal",
    ),
    _wording(
        r"(?<![\w.])\.\d", "a number begins with a figure", "say for example '0.5 s'", ""
    ),
    _wording(
        r"\b(?:never|no|not) (?:more than|over) \d+ (?!units?\b|unit-)[^\W\d]\w*",
        "how many loads may run at once is not read",
        "say for each two that must not, as in 'heater and pump never together'; or limit what "
        "they use, as in 'never more than 6 units'",
    ),
    _wording(
        r"\bunits?\b.* (?:at night|by day|while|when|whenever|if)\b",
        "a limit of units holds at any time",
        "say for example 'never more than 6 units'",
    ),
    _wording(
        r"\b(?:until|till)\b",
        "when it stops is said in another way",
        "say for example 'motor started by start and stopped by stop' or 'pump never while dry'",
    ),
    _wording(
        r"\bany\b",
        "'any' says not of which",
        "name them, as in 'while door 1 or door 2 is open'",
    ),
    _wording(
        r"\bneither\b(?!.*\bnor\b)",
        "'neither' says not of which two",
        "name them, as in 'while neither a nor b is on'",
    ),
    _wording(
        r"\bnever without\b",
        "'{0}' is not read",
        "say for example 'only while filter is on'",
    ),
    _wording(
        rf"\boff \d+ ?{_UNIT} after\b",
        "'off' alone says nothing to build",
        "a run-on is said as 'keeps running for 2 min after hot'",
    ),
    _wording(
        rf"\boff (?:for )?\d+ ?{_UNIT} (?:every|each|per|of|in)\b",
        "it is said how long it is off in each round, but not how long it is on",
        "say for example '55 min on, 5 min off'",
    ),
    _wording(
        r"\boff (?:at night|by day|overnight)\b",
        "'off' alone says nothing to build",
        "say when it is on, or hold it off with 'never at night'",
    ),
    _wording(
        rf"\b(?:open|closed|shut|on|off|pressed) (?:for )?\d+ ?{_UNIT}$",
        "a time that something has lasted is said in another way",
        "say for example 'alarm once door has been open for 20 s'",
    ),
    _wording(
        r"\b[^\W\d]\w* \d+(?:,| and| or) \d+\b(?! ?units?\b)",
        "'{0}' leaves a name out",
        "say each in full, as in 'lamp 1 and lamp 2 at night'",
    ),
    _wording(
        r"\b(?:about|around|roughly|approximately|approx|circa) \d",
        "a time is exact",
        "leave out what stands before it, as in '5 min after hot'",
    ),
    _wording(
        rf"\bevery (?:other|second|third|fourth|fifth|sixth) {_UNIT}\b",
        "how often is said by the length of one round",
        "say for example 'every 2 min' or 'every 3 d'",
    ),
    _wording(
        r"\b(?:a )?quarter (?:of an |of a )?hour\b", "'{0}' is not read", "say '15 min'"
    ),
    _wording(
        rf"\b(?:\d+|an?|{_ONES})(?: {_UNIT})? and (?:a )?half\b",
        "'{0}' is not read",
        "say for example '2.5 min' or '1.5 h'",
    ),
    _wording(
        r"\b\d+(?:\.\d+)? ?k?hz\b",
        "how often is said by times",
        "say for example '0.5 s on, 0.5 s off'",
    ),
    _wording(
        r"\b24/7\b|\b(?:a?round) the clock\b", "'{0}' is not read", "say 'always'"
    ),
    _wording(
        r"\ball day\b",
        "'{0}' may mean by day, or day and night",
        "say 'by day', or 'always'",
    ),
    _wording(
        rf"\b\d+:\d\d ?{_UNIT}\b", "'{0}' is not read as a time", "say for example '1 h 30 min'"
    ),
    _wording(
        r"\b(?:latched|triggered|activated|controlled|driven|governed|tripped|commanded)"
        r" (?:by|from)\b",
        "it is not clear how it depends on that",
        "say 'while hall switch is on' where it follows it, 'started by start and stopped by stop' "
        "where it stays on, 'for 30 s after start is pressed' for a run",
    ),
    _wording(r"\bnever (?:goes |is |be )?off\b", "'{0}' is not read", "say 'always'"),
    _wording(
        r"\bpress(?:es|ing)?\b.*\bagain\b.*\boff\b|\b(?:button|push)\b.* on and off\b"
        r"|\b(?:toggles?|changes) (?:on|at|with) (?:each|every) press",
        "a load that each press changes over is said in another way",
        "say for example 'lamp toggled by button'",
    ),
    _wording(
        r"\b(?:button|switch|push|key)\b(?: starts| turns on| switches on)",
        "it is said what starts it, but not what stops it",
        "say for example 'motor started by start and stopped by stop'; where it runs only as long "
        "as that is pressed, 'motor while start is pressed'",
    ),
    _wording(
        r"\bstop(?:s|ped)? (?:by|when|if)\b.*\bor (?:by|when|if)\b",
        "what stops it is one condition",
        "say for example 'stopped by (stop or guard open)'",
    ),
    _wording(
        r"\boff (?:when|whenever|while|if|once|as soon as)\b",
        "'off' alone says nothing to build",
        "say when it is on; to hold it off, 'never while hot'; where one thing turns it on and "
        "another off, 'starts when low and stops when high'",
    ),
    _wording(
        r"\b(?:never|not|no)\b.* (?:longer|more) than \d",
        "a longest run is not read",
        "say how long it runs, as in 'for 5 min after start is pressed' or '5 min on, 20 min off'",
    ),
    _wording(
        r"\b(?:longer|more) than \d",
        "a time that something has lasted is said in another way",
        "say for example 'alarm once door has been open for 20 s'",
    ),
    _wording(
        r"\b(?:each|every) (?:night|day|evening|morning|dusk|dawn)\b",
        "'{0}' does not say when it begins",
        "say for example 'for 10 min from dusk' or 'for 10 min from dawn'",
    ),
    _wording(
        r"\b(?:at )?(?:dusk|sunset|dawn|sunrise) and (?:at )?(?:dusk|sunset|dawn|sunrise)\b",
        "one goal counts from one moment",
        "say 'for 5 s from dusk' of one load, 'for 5 s from dawn' of another",
    ),
    _wording(
        rf"\b\d+ ?{_UNIT} (?:when|whenever|if|once)\b",
        RUN_OR_DELAY,
        "say 'for 40 s after hot' for a run, '40 s after hot' for a delay",
    ),
    _wording(
        r"\b(?:at most|only|just|no more than) one of\b|\bone at a time\b",
        "'{0}' is not read",
        "say 'heater and pump never together'",
    ),
    _wording(
        r"\b(?:everything|all(?: loads)?) (?:except|but|besides|apart from)\b",
        "'{0}' is not read",
        "name the loads, as in 'master cutoff for pump and lamp'",
    ),
    _wording(
        r"\bonly (?:runs?|works?|operates?|goes|comes|on)\b",
        "'only' stands before the condition",
        "say for example 'saw only while guard is closed' or 'saw while guard is closed'",
    ),
    _wording(
        rf"\band (?:for )?\d+ ?{_UNIT} (?:afterwards?|longer|more|after$)\b",
        "'{0}' is not read",
        "say for example 'while motion and for 2 min after'",
    ),
    _wording(
        r"\b[^\W\d]\w*/[^\W\d]\w*",
        "'{0}' is not read",
        "join two loads or conditions with 'and' or 'or'",
    ),
    _wording(
        r"^[-*\u2022] ?(?=\w)", "'{0}' does not stand before a goal", "leave it out"
    ),
    _wording(
        r"\bnever (?:held|pressed|on|open|closed)\b.*\b(?:longer|more) than\b",
        "how long something lasts at most is said in another way",
        "say for example 'a press of start lasts at most 2 s'",
        "fact",
    ),
)


def expect_read(phrase: Phrase, text: str, start: str, names: Iterable[str]) -> None:
    """Raise GoalError where a phrase that does not parse is worded as one of these; see
    `expect_one_meaning`."""
    refuse_any(WORDINGS, phrase, text, start, names)
