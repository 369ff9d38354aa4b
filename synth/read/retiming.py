"""A phrase with other times in it, and every other word as the user wrote it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from itertools import product
from typing import Any

from synth.errors import GoalError, Place, SynthError
from synth.goals import Cycles, Fact, Goal, LoadGoal
from synth.read.builder import Builder
from synth.read.lexer import Words, plain, time_ends, words_of
from synth.read.phrases import parse_facts, parse_phrases
from synth.read.splitting import Phrase
from synth.ticks import format_duration

MOST_WAYS = 5_000
"""Ways to put other times into one phrase that are tried at most."""


def retimed_phrase(
    said: Goal | Fact, wanted: Goal | Fact, times: Mapping[int, int], names: Iterable[str] = ()
) -> str:
    """Return the phrase of `said` with the times of `wanted` in it, so that it says just that.

    `times` gives for each time of `said` (ticks) that of `wanted`; the period of a cycle, which
    may stand in the phrase too, follows from them. What comes out was read back and is equal to
    `wanted`. Raises GoalError when the phrase cannot be made to say it.

    >>> from synth.read.phrases import parse_phrases
    >>> said, = parse_phrases("pump on 10 s of every minute")
    >>> wanted, = parse_phrases("pump on 1 s of every 3 s")
    >>> retimed_phrase(said, wanted, {10_000: 1_000, 50_000: 2_000})
    'pump on 1 s of every 3 s'
    """
    if said == wanted:
        return said.phrase
    known = tuple(names)
    reads: Any = parse_phrases if isinstance(said, Goal) else parse_facts
    phrase = said.phrase
    spans = list(_spans(phrase))
    choices = []
    for begin, end, ticks in spans:
        options = [times[ticks]] if ticks in times else []
        period = _period(said)
        if period == ticks:
            options.append(_period(wanted))
        as_it_is = phrase[begin:end]
        choices.append(dict.fromkeys([*(format_duration(t) for t in options), as_it_is]))
    for tried, way in enumerate(product(*choices)):
        if tried > MOST_WAYS:
            break
        text, at = "", 0
        for (begin, end, _), piece in zip(spans, way, strict=True):
            text += phrase[at:begin] + piece
            at = end
        text += phrase[at:]
        try:
            found = reads(text, names=known)
        except SynthError:
            continue
        if len(found) == 1 and found[0] == wanted:
            return text
    raise GoalError(
        f"'{phrase}' cannot be said with other times",
        said.place,
        "say its times as in '10 s' or '2 h 30 min'",
    )


def _period(goal: Goal | Fact) -> int:
    """Return the period of a cycle, 0 for all else."""
    if isinstance(goal, LoadGoal) and isinstance(goal.does, Cycles):
        return goal.does.on + goal.does.off
    return 0


def _spans(phrase: str) -> Iterator[tuple[int, int, int]]:
    """Yield (begin, end, ticks) of all that reads as a time in `phrase`, in order."""
    words: Words = words_of(plain(phrase))
    builder = Builder(Phrase(phrase, Place()))
    at = 0
    while at < len(words):
        end = max(time_ends(words, at), default=at)
        if end == at:
            at += 1
            continue
        text = " ".join(word.text for word in words[at:end])
        if end == at + 1 and words[at].kind == "word":
            text = f"1 {text}"
        with suppress(SynthError):
            yield words[at].begin, words[end - 1].end, builder.duration_of(text)
        at = end
