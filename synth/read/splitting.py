"""A text of several phrases cut into phrases, each with its place."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from synth.errors import GoalError, Place
from synth.read.lexer import free_for_names, matches, plain, words_of

MOST_PHRASES = 200
"""Phrases in one text at most."""
LONGEST_TEXT = 20_000
"""Characters in one text at most."""


@dataclass(frozen=True)
class Phrase:
    """One phrase: its text, and the place of its first character."""

    text: str
    place: Place

    def at(self, begin: int) -> Place:
        """Return the place of character `begin` (from 0) of the phrase."""
        return replace(self.place, column=self.place.column + begin)


_JOINED = re.compile(r"and\s+(?=\S)", re.IGNORECASE)
"""What may stand between a comma or semicolon and the last phrase of a list."""
_LOOK_AHEAD = 120
"""Characters behind a comma that decide whether a phrase goes on."""


def split_phrases(text: str, file: str, line: int = 1, column: int = 1) -> tuple[Phrase, ...]:
    """Return the phrases of `text`, which begins at `line` and `column` of `file`.

    Semicolons and line breaks always separate, commas only where what follows is a phrase of
    its own: not in ``10 s on, 50 s off``, not before ``only at night``, not in brackets.
    """
    if len(text) > LONGEST_TEXT:
        raise GoalError(f"more than {LONGEST_TEXT} characters of phrases", Place(file, line))
    found: list[Phrase] = []
    for number, source in enumerate(re.split(r"\r\n|[\n\r]", text)):
        offset = column - 1 if number == 0 else 0
        for begin, end in _pieces(source):
            stripped = source[begin:end].strip()
            if not stripped:
                continue
            at = begin + len(source[begin:end]) - len(source[begin:end].lstrip())
            # 'light always, heater at night, and fan while hot'
            joined = _JOINED.match(stripped) if begin else None
            if joined is not None:
                stripped, at = stripped[joined.end() :], at + joined.end()
            shown = "".join(char if char.isprintable() else " " for char in source)
            place = Place(file, line + number, offset + at + 1, " " * offset + shown)
            found.append(Phrase(stripped, place))
            if len(found) > MOST_PHRASES:
                raise GoalError(f"more than {MOST_PHRASES} phrases", place)
    return tuple(found)


def _pieces(source: str) -> Iterator[tuple[int, int]]:
    """Yield (begin, end) of each phrase in one line."""
    depth, quote, begin = 0, "", 0
    for at, char in enumerate(source):
        if quote:
            quote = "" if char == quote else quote
        elif char == '"' or (char == "'" and not (at and source[at - 1].isalpha())):
            quote = char if source.find(char, at + 1) > 0 else ""
        elif char == "(":
            depth += 1
        elif char == ")":
            depth = max(0, depth - 1)
        elif char == ";" or (char == "," and depth == 0 and _separates(source, begin, at)):
            yield begin, at
            begin, depth = at + 1, 0
    yield begin, len(source)


def _separates(source: str, begin: int, at: int) -> bool:
    if source[at - 1 : at].isdigit() and source[at + 1 : at + 2].isdigit():
        return False
    if not source[begin:at].strip():
        return True
    words = words_of(plain(source[at + 1 : at + 1 + _LOOK_AHEAD]))
    if matches("LISTED", words):
        return False  # 'fan while hot, damp or windy'
    before = words_of(plain(source[begin:at]))
    if all(map(free_for_names, before)) and matches("NAMES", words):
        return False  # 'lamp, fan and pump at night'
    return not matches("CONTINUES", words)
