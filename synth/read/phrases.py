"""The goal language: phrases in plain words to typed goals, and facts about inputs.

The language itself is data, in `grammar/`: its rules, the tokens they are made of, and the words
that names cannot hold. A text is cut into phrases (`splitting`), each phrase into tokens
(`lexer`), these are parsed, and the tree is made into the nouns of `synth.goals` (`builder`).
Nothing is resolved here: whether a name is a load or an input, and what kind of input, is asked
by `synth.pose`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from synth.errors import GoalError, Slips, SynthError
from synth.goals import Fact, Goal
from synth.read.builder import Builder
from synth.read.conditions import JOINER
from synth.read.doubts import expect_one_meaning
from synth.read.fronted import Turned, expect_one_goal, expect_run_or_delay, turned
from synth.read.lexer import SKIPPED, fitting, plain, words_of
from synth.read.splitting import Phrase, split_phrases

if TYPE_CHECKING:
    from lark import Lark, Token, Tree
    from lark.lexer import LexerState

LONGEST_PHRASE = 500
"""Characters of one phrase at most."""
DEEPEST = 20
"""Brackets within each other at most."""


@cache
def _parser(start: str) -> Lark:
    # Imported here: lark costs 35 ms, and not every command reads goals.
    from lark import Lark, Token
    from lark.lexer import Lexer

    class PhraseLexer(Lexer):
        """Hands the tokens of `synth.read.lexer` to the parser, asking it what it can use."""

        # The library's word for a lexer that is told the parser's state.
        __future_interface__ = 1

        def __init__(self, conf: Any) -> None:
            self.conf = conf

        def lex(self, lexer_state: LexerState, parser_state: Any) -> Iterator[Token]:
            text = lexer_state.text
            # Some releases of the library hand over a slice that holds the text.
            words, at = words_of(text if isinstance(text, str) else text.text), 0
            while at < len(words):
                usable = parser_state.parse_conf.parse_table.states[parser_state.position]
                piece = fitting(words, at, usable)
                at = piece.end
                if piece.type not in SKIPPED:
                    inside = words[piece.begin : piece.end]
                    begin = inside[0].begin
                    yield Token(
                        piece.type,
                        " ".join(word.text for word in inside),
                        start_pos=begin,
                        line=1,
                        column=begin + 1,
                        end_pos=inside[-1].end,
                    )

    grammar = (files("synth.read") / "grammar" / "goals.lark").read_text(encoding="utf-8")
    declared = " ".join(dict.fromkeys(re.findall(r"\b[A-Z][A-Z_]+\b", grammar)))
    return Lark(
        f"{grammar}\n%declare {declared}\n",
        parser="lalr",
        lexer=PhraseLexer,
        start=start,
    )


def _prepared(text: str, names: Iterable[str]) -> str:
    """Return `text` in lower case, declared names of several words held together; same length."""
    text = plain(text)
    for name in sorted(names, key=len, reverse=True):
        if " " in name:
            text = re.sub(
                rf"(?<![\w-]){re.escape(name)}(?![\w-])",
                lambda match: match[0].replace(" ", JOINER),
                text,
            )
    return text


def parse_phrases(
    text: str, file: str = "goals", line: int = 1, column: int = 1, names: Iterable[str] = ()
) -> tuple[Goal, ...]:
    """Return the goals that `text` says, numbered from 1.

    `line` and `column` say where the text begins in `file`; `names` are declared names, which
    may then stand unquoted even when they hold several words or words of the language.
    Raises GoalError (or TimeError for a time) at the first phrase that cannot be understood, with
    all others.

    >>> [goal.phrase for goal in parse_phrases("pump 10 s on, 50 s off, light always")]
    ['pump 10 s on, 50 s off', 'light always']
    """
    known = tuple(names)
    goals: list[Goal] = []
    slips = Slips()
    for number, phrase in enumerate(split_phrases(text, file, line, column), start=1):
        with slips.kept():
            goal = _parsed(phrase, "goal", known)
            assert isinstance(goal, Goal)
            said = " ".join(phrase.text.split())
            goals.append(replace(goal, number=number, phrase=said, place=phrase.place))
    slips.tell()
    return tuple(goals)


def parse_facts(
    text: str, file: str = "facts", line: int = 1, column: int = 1, names: Iterable[str] = ()
) -> tuple[Fact, ...]:
    """Return what `text` says is known of the inputs, numbered from 1; as `parse_phrases`."""
    known = tuple(names)
    facts: list[Fact] = []
    slips = Slips()
    for number, phrase in enumerate(split_phrases(text, file, line, column), start=1):
        with slips.kept():
            fact = _parsed(phrase, "fact", known)
            assert isinstance(fact, Fact)
            said = " ".join(phrase.text.split())
            facts.append(replace(fact, number=number, phrase=said, place=phrase.place))
    slips.tell()
    return tuple(facts)


def _parsed(phrase: Phrase, start: str, names: tuple[str, ...]) -> Goal | Fact:
    from lark.exceptions import UnexpectedInput

    if len(phrase.text) > LONGEST_PHRASE:
        raise GoalError(
            f"a phrase of more than {LONGEST_PHRASE} characters",
            replace(phrase.place, text=""),
            "say it in several goals",
        )
    depth = 0
    text = plain(phrase.text)
    for at, char in enumerate(text):
        depth += (char == "(") - (char == ")")
        if depth > DEEPEST:
            raise GoalError(
                f"more than {DEEPEST} brackets within each other", phrase.at(at)
            )
    text = _prepared(phrase.text, names)
    try:
        tree: Tree[Token] = _parser(start).parse(text)
    except UnexpectedInput as problem:
        behind = turned(phrase) if not isinstance(phrase, Turned) else ()
        if behind and _is_condition(_prepared(behind[0].condition, names), start):
            return _parsed_behind(behind, start, names)
        from synth.read.mistakes import explained, mistake_at
        from synth.read.wordings import expect_read

        expect_one_meaning(phrase, text, start, names)
        if mistake_at(problem, start, _parser(start)) is None:
            expect_read(phrase, text, start, names)
        raise explained(problem, text, phrase, start, _parser(start)) from None
    expect_one_meaning(phrase, text, start, names)
    made = Builder(phrase).build(tree)
    assert isinstance(made, Goal | Fact)
    return made


def _parsed_behind(behind: tuple[Turned, ...], start: str, names: tuple[str, ...]) -> Goal | Fact:
    """Return what the first of these says that says something: as `_parsed`."""
    from lark.exceptions import UnexpectedInput

    failed: list[SynthError] = []
    for phrase in behind:
        try:
            made = _parsed(phrase, start, names)
        except SynthError as problem:
            failed.append(problem)
            continue
        with suppress(UnexpectedInput):
            alone = _parser(start).parse(_prepared(phrase.goal, names))
            expect_one_goal(phrase, Builder(phrase).build(alone))
        expect_run_or_delay(phrase, made)
        return made
    raise failed[0]


def _is_condition(text: str, start: str) -> bool:
    """Return whether what stands in front of a phrase is a condition, or what a time counts from,
    and no more than that."""
    from lark.exceptions import UnexpectedInput

    for said in ("'x' {}", "'x' for 1 s {}") if start == "goal" else ("'x' is released {}",):
        with suppress(UnexpectedInput):
            _parser(start).parse(said.format(text))
            return True
    return False
