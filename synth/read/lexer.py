"""Phrases cut into tokens, each of one or more words; the tokens are data (grammar/tokens.txt).

Where several tokens fit, those that the parser can use there count; of these the one with the
most words, of these the first in the file. So 'on' opens what a load does ('pump on while …')
but is a state behind a condition ('… while pump on'), without any rule knowing of the other.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from synth.ticks import UNITS

_WORD = re.compile(
    r"""(?P<quoted>'[^'\n]*'|"[^"\n]*")
      | (?P<number>\d{1,12}(?:\.\d{1,9})?)(?![\d.])
      | (?P<word>[^\W\d](?:[-']?\w)*)
      | (?P<any>\S)""",
    re.VERBOSE,
)
_NOTATION = re.compile(
    r"""\s*(?:"([^"]+)"|([|\[\]()*+#]|>\(|!\()|\{(\w+)\}|([^\s|\[\]()*+#{}"]+))"""
)
_PLAIN = str.maketrans(
    {"\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"', "\u00a0": " ", "\t": " "}
)
NOT_FOR_THE_PARSER = ("CONTINUES", "LISTED", "LAST", "SEVERAL", "NAMES", "FRONT")
"""Tokens that only tell whether a comma parts two phrases, or a condition and its goal."""
SKIPPED = ("COMMA", "JOIN")
"""Tokens that the parser never sees."""


@dataclass(frozen=True)
class Word:
    """One word of a phrase: its kind (word, number, quoted, any), text, and where it stands."""

    kind: str
    text: str
    begin: int
    end: int


@dataclass(frozen=True)
class Piece:
    """A token: its type, and the words `begin` to `end` (not included) that make it."""

    type: str
    begin: int
    end: int


Words = tuple[Word, ...]
Match = Callable[[Words, int], Iterator[int]]
"""Yields every place behind a match that begins at a place."""


def data_words(name: str) -> tuple[str, ...]:
    """Return the words in a list of words under grammar/."""
    text = (files("synth.read") / "grammar" / name).read_text(encoding="utf-8")
    lines = (line for line in text.splitlines() if not line.startswith("#"))
    return tuple(dict.fromkeys(word for line in lines for word in line.split()))


@cache
def reserved_words() -> tuple[str, ...]:
    """Return the words of the language that cannot stand unquoted in a name."""
    return data_words("words.txt")


@cache
def _reserved() -> frozenset[str]:
    return frozenset(reserved_words())


def free_for_names(word: Word) -> bool:
    """Return whether a word can be (part of) a name without quotes."""
    return word.kind == "word" and word.text not in _reserved()


def plain(text: str) -> str:
    """Return `text` in lower case with plain quotes and spaces; every character stays in place."""
    text = text.translate(_PLAIN)
    return "".join(low if len(low := char.lower()) == 1 else char for char in text)


def words_of(text: str) -> Words:
    """Return the words of `text` (lower case), those that carry no meaning left out."""
    drop = frozenset(data_words("drop.txt"))
    found = [
        Word(match.lastgroup or "any", match[0], match.start(), match.end())
        for match in _WORD.finditer(text)
    ]
    kept: list[Word] = []
    for at, word in enumerate(found):
        if word.kind == "word" and word.text in drop:
            continue
        following = found[at + 1] if at + 1 < len(found) else None
        if (
            word.text in ("a", "an")
            and following is not None
            and _is_article(following)
            and not (kept and _within_a_name(kept[-1], word, following))
        ):
            continue
        kept.append(word)
    return tuple(kept)


def _is_article(following: Word) -> bool:
    """Return whether 'a' before this word is an article; else it may be a name or a number."""
    if following.kind == "quoted":
        return True
    return free_for_names(following) and following.text not in UNITS


def _within_a_name(before: Word, article: Word, following: Word) -> bool:
    """Return whether 'a' between these is a part of a name ('tank a low'), and 'an' likely 'and'
    with a letter missing."""
    if not free_for_names(before) or following.kind != "word":
        return False
    return article.text == "a" or following.text[0] not in "aeiouhx"


# ---- the notation of tokens.txt -------------------------------------------------------------


_LITERALS: set[str] = set()


def _literal(text: str) -> Match:
    if text.isalpha():
        _LITERALS.add(text)

    def match(words: Words, at: int) -> Iterator[int]:
        if at < len(words) and words[at].text == text and words[at].kind != "quoted":
            yield at + 1

    return match


def _kind(kind: str) -> Match:
    def match(words: Words, at: int) -> Iterator[int]:
        if at >= len(words):
            return
        word = words[at]
        if kind == "word":
            fits = free_for_names(word)
        elif kind == "unit":
            fits = word.kind == "word" and word.text in UNITS
        else:
            fits = kind in ("any", word.kind)
        if fits:
            yield at + 1

    return match


def _sequence(parts: list[Match]) -> Match:
    if len(parts) == 1:
        return parts[0]

    def match(words: Words, at: int) -> Iterator[int]:
        ends = [at]
        for part in parts:
            ends = list(dict.fromkeys(end for place in ends for end in part(words, place)))
        yield from ends

    return match


def _choice(options: list[Match]) -> Match:
    if len(options) == 1:
        return options[0]

    def match(words: Words, at: int) -> Iterator[int]:
        for option in options:
            yield from option(words, at)

    return match


def _repeated(part: Match, least: int) -> Match:
    def match(words: Words, at: int) -> Iterator[int]:
        if least == 0:
            yield at
        reached, ends = {at}, [at]
        while ends:
            ends = [end for place in ends for end in part(words, place) if end not in reached]
            reached.update(ends)
            yield from ends

    return match


def _look(part: Match, wanted: bool) -> Match:
    def match(words: Words, at: int) -> Iterator[int]:
        if (next(part(words, at), None) is not None) == wanted:
            yield at

    return match


def _optional(part: Match) -> Match:
    def match(words: Words, at: int) -> Iterator[int]:
        yield from part(words, at)
        yield at

    return match


class _Notation:
    """Reads one line of tokens.txt; `first` holds the words a match can begin with ('' any)."""

    def __init__(self, text: str) -> None:
        self.signs: list[tuple[str, str]] = []
        at = 0
        while at < len(text.rstrip()):
            found = _NOTATION.match(text, at)
            if found is None:
                raise ValueError(f"tokens.txt: {text[at:]!r} cannot be read")
            for kind, value in zip(("word", "sign", "kind", "word"), found.groups(), strict=True):
                if value is not None:
                    self.signs.append((kind, value))
            at = found.end()
        self.at = 0

    def choice(self) -> tuple[Match, frozenset[str], bool]:
        """Return (match, first words, may be empty) of alternatives."""
        options, first, empty = [], frozenset[str](), False
        while True:
            match, words, nothing = self.sequence()
            options.append(match)
            first, empty = first | words, empty or nothing
            if self.at >= len(self.signs) or self.signs[self.at] != ("sign", "|"):
                return _choice(options), first, empty
            self.at += 1

    def sequence(self) -> tuple[Match, frozenset[str], bool]:
        parts: list[Match] = []
        first, empty = frozenset[str](), True
        while self.at < len(self.signs) and self.signs[self.at] not in (
            ("sign", "|"),
            ("sign", ")"),
            ("sign", "]"),
        ):
            match, words, nothing = self.item()
            parts.append(match)
            if empty:
                first |= words
            empty = empty and nothing
        return _sequence(parts), first, empty

    def item(self) -> tuple[Match, frozenset[str], bool]:
        match, first, empty = self.single()
        if self.at < len(self.signs) and self.signs[self.at] in (("sign", "*"), ("sign", "+")):
            star = self.signs[self.at][1] == "*"
            self.at += 1
            return _repeated(match, 0 if star else 1), first, star or empty
        return match, first, empty

    def single(self) -> tuple[Match, frozenset[str], bool]:
        kind, value = self.signs[self.at]
        self.at += 1
        if kind == "word":
            return _literal(value), frozenset({value}), False
        if kind == "kind" or value == "#":
            return _kind("number" if value == "#" else value), frozenset({""}), False
        match, first, empty = self.choice()
        self.at += 1
        if value == "[":
            return _optional(match), first, True
        if value in (">(", "!("):
            return _look(match, value == ">("), frozenset(), True
        return match, first, empty


@dataclass(frozen=True)
class _Token:
    type: str
    rank: int
    match: Match


@cache
def _tokens() -> dict[str, tuple[_Token, ...]]:
    """Return the tokens that can begin with a word, by that word; under '' those for any."""
    text = (files("synth.read") / "grammar" / "tokens.txt").read_text(encoding="utf-8")
    table: dict[str, list[_Token]] = {"": []}
    anywhere: list[_Token] = []
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    for rank, line in enumerate(lines):
        name, _, pattern = line.partition(":")
        match, first, _ = _Notation(pattern).choice()
        token = _Token(name.strip(), rank, match)
        for word in sorted(first):
            table.setdefault(word, []).append(token)
        if "" in first:
            anywhere.append(token)
    return {
        word: tuple(sorted({t.rank: t for t in (*found, *anywhere)}.values(), key=lambda t: t.rank))
        for word, found in table.items()
    }


@cache
def token_words() -> tuple[str, ...]:
    """Return every word that stands in some token, in alphabetical order."""
    _tokens()
    return tuple(sorted(_LITERALS))


def matches(type_: str, words: Words) -> bool:
    """Return whether `words` begin with the token `type_`."""
    table = _tokens()
    tokens = table.get(words[0].text, table[""]) if words else ()
    return any(
        token.type == type_ and next(token.match(words, 0), None) is not None for token in tokens
    )


def time_ends(words: Words, at: int) -> tuple[int, ...]:
    """Return every place behind a time that begins at word `at`, a bare unit being one too."""
    return tuple(
        end
        for token in _tokens().get(words[at].text, _tokens()[""])
        if token.type in ("DURATION", "DURATION_AND", "UNIT_WORD")
        for end in token.match(words, at)
    )


def fitting(words: Words, at: int, usable: Collection[str] | None) -> Piece:
    """Return the token at word `at`: the longest of the usable ones, else the longest of all."""
    table = _tokens()
    best: Piece | None = None
    for token in table.get(words[at].text, table[""]):
        if token.type in NOT_FOR_THE_PARSER:
            continue
        if usable is not None and token.type not in usable and token.type not in SKIPPED:
            continue
        end = max(token.match(words, at), default=at)
        if end > at and (best is None or end > best.end):
            best = Piece(token.type, at, end)
    if best is None:
        return fitting(words, at, None)
    return best
