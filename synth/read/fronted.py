"""A condition that stands before its goal ('when hot, fan on'), put behind it ('fan on when hot').

The grammar has one order: what a load does, then when. What is said in the other order is turned
before it is parsed, where a comma or 'then' parts the two. The place of what was turned is told as
it was written.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from synth.errors import GoalError, Place
from synth.goals import AfterTime, Always, Fact, Goal, LoadGoal, While
from synth.read.doubts import RUN_OR_DELAY
from synth.read.lexer import plain, time_ends, words_of
from synth.read.splitting import Phrase, commas, in_names, parted

_LASTED = re.compile(r"(?:if|when|whenever)\b(?=.*\bfor (?:at least )?[\w.]+ ?[a-z]+$)", re.S)
"""The first word of 'if the door is open for 5 min', said of what has lasted so long."""
_TWO_GOALS = re.compile(
    r"(?:if|when|whenever|while|as long as|once)(?!.*\b(?:is|are|and|or|not)\b)(?: +\S+){2,}"
    r" +(?:on|running|runs)",
    re.S,
)
"""'if hot fan on' may be a goal that names its load last."""


@dataclass(frozen=True)
class Turned(Phrase):
    """A phrase whose text was put into another order."""

    condition: str = ""
    """What stood in front, as it stands behind."""
    goal: str = ""
    """What it was said of, where only a comma parted the two."""
    pieces: tuple[tuple[int, int], ...] = ()
    """(place in `text`, place as it was written) where each piece begins."""

    def at(self, begin: int) -> Place:
        """Return the place, as it was written, of character `begin` (from 0) of the text."""
        now, written = next((p for p in reversed(self.pieces) if p[0] <= begin), (0, 0))
        return replace(self.place, column=self.place.column + written + begin - now)


def turned(phrase: Phrase) -> tuple[Turned, ...]:
    """Return the phrase with the condition that it begins with behind what the load does: before
    each comma that may be the end of that, and at the very end; nothing where it does not begin
    with a condition, or nothing parts the two.

    >>> [t.text for t in turned(Phrase("when hot, fan on, once started at least 5 s", Place()))]
    ['fan on when hot, once started at least 5 s', 'fan on, once started at least 5 s when hot']
    """
    text = phrase.text
    found = parted(text)
    if found is None:
        return ()
    end, begin = found
    begin += len(text[begin:]) - len(text[begin:].lstrip())
    condition = text[:end].rstrip()
    if text[end] == "," and _TWO_GOALS.fullmatch(plain(condition)):
        raise _two_goals(phrase)
    lasted = _LASTED.match(plain(condition))
    first, word = (lasted.end(), "once") if lasted else (0, "")
    made: list[Turned] = []
    ends = [at for at in commas(text) if at > begin and not in_names(text, begin, at)]
    for stop in (*ends, len(text)):
        goal, rest = text[begin:stop].rstrip(), text[stop:]
        before = f"{goal} {word}"
        behind = before + condition[first:]
        pieces = ((0, begin), (len(goal), 0), (len(before), first), (len(behind), stop))
        alone = goal if text[end] == "," else ""
        made.append(Turned(behind + rest, phrase.place, behind[len(goal) + 1 :], alone, pieces))
    return tuple(made) if text[begin:] else ()


def expect_one_goal(phrase: Phrase, behind: Goal | Fact) -> None:
    """Refuse 'at night, lamp while hot': `behind` is what is said behind the comma by itself."""
    if isinstance(behind, LoadGoal) and isinstance(behind.does, While | Always):
        raise _two_goals(phrase)


def expect_run_or_delay(phrase: Turned, made: Goal | Fact) -> None:
    """Refuse 'after hot, fan 10 s': a run of that length, or a delay? (`made`: what it says.)"""
    delay = isinstance(made, LoadGoal) and isinstance(made.does, AfterTime)
    words = words_of(plain(phrase.condition))
    timed = any(end > at + 1 for at in range(len(words)) for end in time_ends(words, at))
    if delay and not timed:
        raise GoalError(
            RUN_OR_DELAY,
            phrase.place,
            "say 'fan for 10 s after hot' for a run, 'fan 10 s after hot' for a delay",
        )


def _two_goals(phrase: Phrase) -> GoalError:
    return GoalError(
        "it is not clear whether this is one goal or two",
        phrase.place,
        "name the load first, as in 'fan while hot', or say all that must hold behind one 'while', "
        "as in 'fan while hot and damp'",
    )
