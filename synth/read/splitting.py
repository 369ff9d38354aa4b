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
_THEN = re.compile(r"(?:,\s*)?\bthen\b")
"""Parts a condition that stands first from what is said of it, as a comma does."""
_ADDED = ("unless", "except", "only", "not")
"""A condition that begins so belongs to the goal before it."""
_STANDS_FIRST = ("while", "when", "whenever", "if", "at", "by", "during", "overnight", "in")
"""A condition that begins so may belong to the goal before it, or to the one behind."""
_LOOK_AHEAD = 250
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
        shown = "".join(char if char.isprintable() else " " for char in source)
        for begin, end in _pieces(source):
            between = _between_goals(source, begin, end)
            if between is not None:
                raise GoalError(
                    "it is not clear whether this condition belongs to the goal before it, or to "
                    "the one behind",
                    Place(file, line + number, offset + between + 1, " " * offset + shown),
                    "part the goals by semicolons",
                )
            stripped = source[begin:end].strip()
            if not stripped:
                continue
            at = begin + len(source[begin:end]) - len(source[begin:end].lstrip())
            # 'light always, heater at night, and fan while hot'
            joined = _JOINED.match(stripped) if begin else None
            if joined is not None:
                stripped, at = stripped[joined.end() :], at + joined.end()
            place = Place(file, line + number, offset + at + 1, " " * offset + shown)
            found.append(Phrase(stripped, place))
            if len(found) > MOST_PHRASES:
                raise GoalError(f"more than {MOST_PHRASES} phrases", place)
    return tuple(found)


def _pieces(source: str) -> Iterator[tuple[int, int]]:
    """Yield (begin, end) of each phrase in one line."""
    begin = 0
    for at, char, depth in _signs(source):
        if char == ";" or (depth == 0 and _separates(source, begin, at)):
            yield begin, at
            begin = at + 1
    yield begin, len(source)


def _signs(source: str) -> Iterator[tuple[int, str, int]]:
    """Yield (place, sign, brackets it is within) of each comma and semicolon not in quotes. A
    semicolon closes all brackets."""
    depth, quote = 0, ""
    for at, char in enumerate(source):
        if quote:
            quote = "" if char == quote else quote
        elif char == '"' or (char == "'" and not (at and source[at - 1].isalpha())):
            quote = char if source.find(char, at + 1) > 0 else ""
        elif char == "(":
            depth += 1
        elif char == ")":
            depth = max(0, depth - 1)
        elif char in ",;":
            yield at, char, depth
            depth = 0 if char == ";" else depth


def commas(text: str) -> tuple[int, ...]:
    """Return the places of the commas of a phrase that stand in no brackets, quotes or numbers."""
    return tuple(at for at, _, depth in _signs(text) if not depth and not _in_number(text, at))


def _in_number(text: str, at: int) -> bool:
    return text[at - 1 : at].isdigit() and text[at + 1 : at + 2].isdigit()


def parted(text: str) -> tuple[int, int] | None:
    """Return where a condition that a phrase begins with ends, and what is behind it begins, where
    a comma or 'then' parts the two; None where nothing does, or it begins with none.

    >>> parted("when hot, damp or dry, then fan on"), parted("fan on, light always")
    ((21, 27), None)
    """
    text = plain(text)
    if not matches("FRONT", words_of(text)):
        return None
    then = _THEN.search(re.sub(r"'[^']*'|\"[^\"]*\"", lambda found: "_" * len(found[0]), text))
    for at in commas(text):
        if then is not None and then.start() <= at:
            break
        behind = words_of(text[at + 1 :])
        last = matches("LAST", behind) and commas(text[:at])
        if not last and not matches("LISTED", behind) and not matches("SEVERAL", behind):
            return at, at + 1
    return then.span() if then is not None else None


def _between_goals(source: str, begin: int, end: int) -> int | None:
    """Return the place of a condition at the end of a phrase that the next one may begin with, as
    in 'fan always, at night, pump on 10 s of every 60 s'; None where there is none."""
    if source[end : end + 1] != ",":
        return None
    front = source[begin:end]
    ends = commas(front)
    if not ends or matches("FRONT", words_of(plain(front))):
        return None
    last = begin + ends[-1] + 1
    words = words_of(plain(source[last:end]))
    if not words or words[0].text not in _STANDS_FIRST or not matches("FRONT", words):
        return None
    return last + len(source[last:end]) - len(source[last:end].lstrip())


def in_names(text: str, begin: int, at: int) -> bool:
    """Return whether the comma at `at` stands in a list of names that begins at `begin`, as in
    'lamp, fan and pump at night'."""
    behind = words_of(plain(text[at + 1 : at + 1 + _LOOK_AHEAD]))
    if not matches("NAMES", behind):
        return False
    before = words_of(plain(text[begin:at]))
    return all(w.text == "," or w.kind == "number" or free_for_names(w) for w in before)


def _separates(source: str, begin: int, at: int) -> bool:
    if _in_number(source, at):
        return False
    if not source[begin:at].strip():
        return True
    words = words_of(plain(source[at + 1 : at + 1 + _LOOK_AHEAD]))
    if matches("LISTED", words) or (matches("LAST", words) and commas(source[begin:at])):
        return False  # 'fan while hot, damp or windy', 'fan while hot, damp, and windy'
    front, first = source[begin:at], begin
    if matches("FRONT", words_of(plain(front))):
        behind = parted(front)
        if behind is None:
            return False  # 'when hot, fan on'
        if parted(source[at + 1 :]) is not None and words[0].text not in _ADDED:
            return True  # 'when hot, fan on, when cold, heater on'
        first += behind[1]
    return not in_names(source, first, at) and not matches("CONTINUES", words)
