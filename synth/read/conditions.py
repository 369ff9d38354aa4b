"""The part of a phrase's tree that says names, times and conditions, made into these."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from synth.errors import GoalError, Place, SynthError
from synth.goals import Condition, Every, Is, Negation, Only, Some, State
from synth.read.splitting import Phrase
from synth.read.suggest import quoted
from synth.ticks import UNITS, parse_duration

if TYPE_CHECKING:
    from lark import Token, Tree

LONGEST_NAME = 40
"""Characters of a name at most."""
JOINER = "\u01c1"
"""A letter that no name holds: stands for the spaces within declared names while parsing."""

STATES = {
    **dict.fromkeys(("on", "present", "running", "runs", "starts", "active"), State.ON),
    **dict.fromkeys(("off", "absent", "stopped", "stops", "inactive"), State.OFF),
    **dict.fromkeys(("open", "opens", "opened"), State.OPEN),
    **dict.fromkeys(("closed", "closes", "shut"), State.CLOSED),
    **dict.fromkeys(("pressed", "pushed", "held"), State.PRESSED),
    "released": State.RELEASED,
}
_NUMBERS = {
    "a": "1", "an": "1", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5",
    "six": "6", "seven": "7", "eight": "8", "nine": "9", "ten": "10", "twelve": "12",
    "fifteen": "15", "twenty": "20", "thirty": "30", "forty": "40", "fifty": "50", "sixty": "60",
}  # fmt: skip
NIGHT = "night"
_NUMBER = re.compile(
    r"\d+|\b(?:one|two|three|four|five|six|first|second|left|right|upper|lower|front|back|rear|top"
    r"|bottom|inner|outer|north|south|east|west)\b|(?<= )[a-h]$"
)
"""What tells two things of one kind apart: 'tank 1' and 'tank 2', 'upper tank' and 'lower tank'."""


def negation(of: Condition) -> Condition:
    """Return the negation, double negations folded."""
    return of.of if isinstance(of, Negation) else Negation(of)


def every(*pieces: Condition) -> Condition:
    """Return the conjunction, flattened."""
    flat = [p for piece in pieces for p in (piece.of if isinstance(piece, Every) else (piece,))]
    unique = tuple(dict.fromkeys(flat))
    return unique[0] if len(unique) == 1 else Every(unique)


def some(*pieces: Condition) -> Condition:
    """Return the disjunction, flattened."""
    flat = [p for piece in pieces for p in (piece.of if isinstance(piece, Some) else (piece,))]
    unique = tuple(dict.fromkeys(flat))
    return unique[0] if len(unique) == 1 else Some(unique)


def of_the_night(condition: Condition) -> bool:
    """Return whether a condition is that it is night, or that it is day."""
    of = condition.of if isinstance(condition, Negation) else condition
    return isinstance(of, Is) and of.name == NIGHT


@dataclass(frozen=True)
class Name:
    text: str
    place: Place


class Conditions:
    """Makes names, times and conditions; one method for each rule."""

    def __init__(self, phrase: Phrase) -> None:
        self.phrase = phrase
        self.bare: list[Only] = []
        """Conditions behind what the load does, without 'only'."""
        self.for_at_least: Place | None = None
        """Where 'for at least' stands, and nothing says that it is the run that lasts so long."""
        self.also: Place | None = None
        """Where a condition with a 'while' of its own, or 'at night', is joined to another one."""
        # Conditions, by their identity, which lasts as long as they are held here: names without a
        # state, what is said of several at once, what has a 'while' of its own, a 'not' before it.
        self._bare_names: dict[int, Condition] = {}
        self._of_all: dict[int, Condition] = {}
        self._named_all: dict[int, Condition] = {}
        self._said_not: dict[int, Condition] = {}
        """Conditions with a 'not' in what is said of them, as in 'tank 3 is not empty'."""
        self._worded: dict[int, tuple[Condition, str, str]] = {}
        """What is said of one name in words of its own ('tank 3 is empty'): the name, the words."""
        self._clauses: dict[int, Condition] = {}
        self._lone_not: dict[int, Condition] = {}
        self.night_words: dict[int, tuple[Condition, Place]] = {}
        """Conditions said as 'night' or 'day' alone, by their identity, and where."""
        self.over: dict[int, Condition] = {}
        """Conditions said to have ended ('shower is over'), by their identity."""
        self.grouped: dict[int, Condition] = {}
        """Conditions in brackets, by their identity."""

    def build(self, tree: Tree[Token]) -> Any:
        """Return what `tree` says: a goal, fact, behaviour, condition, name or time."""
        children = [
            child if isinstance(child, str) else self.build(child) for child in tree.children
        ]
        return getattr(self, str(tree.data))(children)

    def fail(self, message: str, at: Place | None = None, hint: str = "") -> SynthError:
        return GoalError(message, at or self.phrase.place, hint)

    # names, times, conditions

    def name(self, children: list[Token]) -> Name:
        words = " ".join(str(child) for child in children)
        ends = [token.end_pos or 0 for token in children[:-1]]
        for end, token in zip(ends, children[1:], strict=True):
            if "," in self.phrase.text[end : token.start_pos or 0]:
                raise self.fail(
                    "it is not clear what this comma parts",
                    self.phrase.at(end),
                    "part goals by semicolons; in a list say 'and' or 'or' before the last",
                )
        return self.named(words.replace(JOINER, " "), children[0])

    def quoted(self, children: list[Token]) -> Name:
        text = " ".join(str(children[0])[1:-1].replace(JOINER, " ").split())
        if not text:
            raise self.fail("a name in quotes is empty", self.at(children[0]))
        if not all(char.isalnum() or char in " -_./" for char in text):
            raise self.fail(
                f"{quoted(text)} is no name",
                self.at(children[0]),
                "a name holds letters, digits, spaces and the signs - _ . /",
            )
        return self.named(text, children[0])

    def named(self, text: str, token: Token) -> Name:
        if len(text) > LONGEST_NAME:
            raise self.fail(
                f"{quoted(text)} is longer than {LONGEST_NAME} characters, the longest name",
                self.at(token),
            )
        return Name(text, self.at(token))

    def at(self, token: Token) -> Place:
        return self.phrase.at(token.start_pos or 0)

    def names(self, children: list[Any]) -> tuple[Name, ...]:
        found = tuple(child for child in children if isinstance(child, Name))
        seen: set[str] = set()
        for name in found:
            if name.text in seen:
                raise self.fail(f"{quoted(name.text)} is named twice", name.place)
            seen.add(name.text)
        return found

    def words(self, children: list[Any]) -> str:
        return " ".join(str(child) for child in children).replace(JOINER, " ")

    def duration(self, children: list[Token]) -> int:
        return self.duration_of(str(children[0]), self.at(children[0]))

    def duration_of(self, said: str, at: Place | None = None) -> int:
        """Return the time that `said` names, in ticks; raises GoalError or TimeError at `at`."""
        text = said
        first = text.split()[0]
        if first == "half":
            unit = text.split()[-1]
            text = f"0.5 {unit}"
        elif first in _NUMBERS:
            text = " ".join([_NUMBERS[first], *text.split()[1:]])
        factors = [UNITS[unit] for unit in re.findall(r"[a-z]+", text) if unit in UNITS]
        if any(a <= b for a, b in zip(factors, factors[1:], strict=False)):
            raise self.fail(
                f"{quoted(said)} is not one time",
                at,
                "write the larger unit first, as in '2 h 30 min'",
            )
        try:
            return parse_duration(text)
        except SynthError as problem:
            raise type(problem)(problem.message, at, problem.hint) from None

    def conditions(self, children: list[Any]) -> list[Condition]:
        return [child for child in children if isinstance(child, Is | Negation | Every | Some)]

    def is_on(self, children: list[Any]) -> Condition:
        bare = Is(children[0].text, place=children[0].place)
        self._bare_names[id(bare)] = bare
        return bare

    def is_state(self, children: list[Any]) -> Condition:
        word = str(children[-1]).split()[0]  # without 'down' of 'held down'
        before = self.phrase.text[: children[-1].start_pos].rstrip().lower()
        if before.endswith((" then", " and", " but", ",")):
            raise self.fail(
                f"'{word}' is not said of '{children[0].text}' here",
                self.at(children[-1]),
                "where one thing turns it on and another off, say 'starts when low and stops when "
                "high'",
            )
        found = Is(children[0].text, STATES[word], children[0].place)
        if _plural(children):
            self._of_all[id(found)] = found
        return found

    def pushed(self, children: list[Any]) -> Condition:
        return Is(children[0].text, State.PRESSED, children[0].place)

    def is_ended(self, children: list[Any]) -> Condition:
        found = Is(children[0].text, State.OFF, children[0].place)
        self.over[id(found)] = found
        return found

    def is_not_state(self, children: list[Any]) -> Condition:
        found = negation(self.is_state(children))
        self._said_not[id(found)] = found
        if _plural(children):
            self._of_all[id(found)] = found
        return found

    def is_words(self, children: list[Any]) -> Condition:
        name = children[0]
        joined = f"{name.text} {children[-1]}"
        if len(joined) > LONGEST_NAME:
            raise self.fail(
                f"{quoted(joined)} is longer than {LONGEST_NAME} characters, the longest name",
                name.place,
            )
        found = Is(joined, place=name.place)
        self._worded[id(found)] = (found, name.text, str(children[-1]))
        if _plural(children):
            self._named_all[id(found)] = found
        return found

    def is_not_words(self, children: list[Any]) -> Condition:
        found = negation(self.is_words(children))
        self._said_not[id(found)] = found
        return found

    def is_night(self, children: list[Any]) -> Condition:
        token = next((child for child in children if hasattr(child, "start_pos")), None)
        found = Is(NIGHT, place=self.at(token) if token is not None else self.phrase.place)
        if token is not None and token.type in ("NIGHT", "DAY") and token != "dark":
            self.night_words[id(found)] = (found, self.at(token))
        if token is not None and token.type in ("AT_NIGHT", "BY_DAY"):
            self._clauses[id(found)] = found
            if token.startswith("not "):
                self._lone_not[id(found)] = found
        return found

    def is_day(self, children: list[Any]) -> Condition:
        night = self.is_night(children)
        day = negation(night)
        for kept in (self._clauses, self._lone_not):
            if id(night) in kept:
                kept[id(day)] = day
        if id(night) in self.night_words:
            self.night_words[id(day)] = (day, self.night_words[id(night)][1])
        return day

    def same(self, children: list[Any]) -> Condition:
        return self.conditions(children)[0]

    wcond = ended = same

    def group(self, children: list[Any]) -> Condition:
        found = self.same(children)
        self.grouped[id(found)] = found
        return found

    def clause(self, children: list[Any]) -> Condition:
        """Return a condition with a 'while' of its own, behind 'and' or 'or'."""
        found = self.same(children)
        self._clauses[id(found)] = found
        return found

    def negation(self, children: list[Any]) -> Condition:
        of = self.conditions(children)[0]
        found = negation(of)
        if str(children[0]) != "not" and id(of) in self._bare_names:
            self._lone_not[id(found)] = found  # 'no heat or smoke', 'without heat'
        return found

    def not_when(self, children: list[Any]) -> Condition:
        """Return what 'not while hot' or 'not at night' says."""
        found = negation(self.conditions(children)[0])
        self._lone_not[id(found)] = found
        return found

    def every(self, children: list[Any]) -> Condition:
        return every(*self._listed(children))

    def some(self, children: list[Any]) -> Condition:
        *before, last = self.conditions(children)
        if id(last) in self._of_all and any(
            isinstance(piece, Every) and id(piece) not in self.grouped for piece in before
        ):
            raise self.fail(
                "it is not clear of which of these that is said",
                getattr(last, "place", None),
                "say it of each by itself, as in 'armed and (door is open or window is open)'",
            )
        if id(last) in self._bare_names and any(
            isinstance(piece, Negation) and id(piece) in self._said_not for piece in before
        ):
            raise self.fail(
                "it is not clear how far 'not' reaches",
                getattr(last, "place", None),
                "say 'while neither a nor b', or put what belongs together in brackets: 'not (a "
                "or b)'",
            )
        pieces = self._listed(children)
        bare, last = next(self._bare_of(pieces[:-1]), None), pieces[-1]
        of = last.of if isinstance(last, Negation) else last
        by_hand = isinstance(of, Is) and of.state in (State.PRESSED, State.RELEASED)
        if bare is not None and by_hand and id(last) not in self._clauses:
            raise self.fail(
                f"it is not clear whether that is said of {quoted(bare.name)} as well",
                bare.place,
                "say 'up is pressed or down is pressed'; where it is said of one alone, put that "
                "first: 'start is pressed or hot'",
            )
        return some(*pieces)

    def none(self, children: list[Any]) -> Condition:
        """Return what 'neither door nor window is closed' says: the state is that of all."""
        pieces = self.conditions(children)
        last = pieces[-1]
        if isinstance(last, Is) and id(last) not in self._bare_names:
            pieces = [self._shared(piece, last) for piece in pieces]
        return every(*(negation(piece) for piece in pieces))

    # what stands in a list of conditions

    def _listed(self, children: list[Any]) -> list[Condition]:
        """Return the pieces of a list joined by 'and' or 'or', each with its own state.

        'Door and window are closed' says it of both. Refused is what has two meanings: 'not while
        hot or damp', 'no heat or smoke'.
        """
        *before, last = self.conditions(children)
        if id(last) in self._clauses:
            self.also = getattr(last, "place", None) or self.phrase.place
        if id(before[0]) in self._lone_not and (
            id(last) in self._bare_names or id(last) in self._clauses
        ):
            raise self.fail(
                "it is not clear whether 'not' is said of the first condition alone, or of all",
                getattr(last, "place", None),
                "say 'while neither hot nor damp', 'not (hot and damp)', or 'not' before each",
            )
        if id(last) in self._named_all and any(id(b) in self._bare_names for b in before):
            raise self.fail(
                f"{quoted(getattr(last, 'name', ''))} is said of several things at once",
                getattr(last, "place", None),
                "say it of each by itself, joined by 'and' or 'or'",
            )
        if id(last) in self._of_all:
            before = [self._shared(piece, last) for piece in before]
        elif self._numbered_alike(before, last):
            of = last.of if isinstance(last, Negation) and id(last) not in self._said_not else last
            before = [self._shared(piece, of) for piece in before]
        return [*before, last]

    def _numbered_alike(self, before: list[Condition], last: Condition) -> bool:
        """Return whether what stands in a list are names alike but for their numbers, of which the
        last has a state: 'tank 1 or tank 2 is empty' says it of both."""
        of = last.of if isinstance(last, Negation) else last
        if id(last) in self._bare_names or not isinstance(of, Is):
            return False
        name = self._worded[id(of)][1] if id(of) in self._worded else of.name
        names = [piece.name for piece in self._bare_of(before)]
        kinds = {_NUMBER.sub("#", other) for other in (name, *names)}
        return bool(names) and len(kinds) == 1 and "#" in "".join(kinds)

    def _bare_of(self, pieces: Iterable[Condition]) -> Iterator[Is]:
        for piece in pieces:
            if isinstance(piece, Every | Some) and id(piece) not in self.grouped:
                yield from self._bare_of(piece.of)
            elif isinstance(piece, Is) and id(piece) in self._bare_names:
                yield piece

    def _shared(self, piece: Condition, last: Condition) -> Condition:
        """Return `piece` with the state of the last of a list, where it has none of its own."""
        if isinstance(piece, Every | Some):
            kept = tuple(self._shared(inner, last) for inner in piece.of)
            return every(*kept) if isinstance(piece, Every) else some(*kept)
        if id(piece) not in self._bare_names or not isinstance(piece, Is):
            return piece
        of = last.of if isinstance(last, Negation) else last
        state = of.state if isinstance(of, Is) else State.ON
        words = f" {self._worded[id(of)][2]}" if id(of) in self._worded else ""
        found = Is(piece.name + words, state, piece.place)
        return negation(found) if isinstance(last, Negation) else found


def _plural(children: list[Any]) -> bool:
    """Return whether a state is said of several things, as in 'door and window are closed'."""
    return any(str(child) in ("are", "aren't") for child in children if isinstance(child, str))
