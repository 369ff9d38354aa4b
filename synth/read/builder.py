"""The tree of one phrase made into a goal or fact; one method for each rule of the grammar."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from synth.errors import GoalError, Place, SynthError
from synth.goals import (
    Addition,
    AfterTime,
    Always,
    AtLeast,
    AtMostUnitHours,
    AtMostUnits,
    Behaviour,
    Choice,
    Condition,
    Cutoff,
    Cycles,
    Empties,
    Every,
    Fact,
    Fills,
    ForTime,
    Gap,
    Goal,
    InputsApart,
    Is,
    KeepsRunning,
    Lasts,
    LoadGoal,
    Negation,
    NeverTogether,
    NeverWhile,
    Only,
    Some,
    StartStop,
    State,
    Stays,
    SwitchedFrom,
    Toggles,
    While,
)
from synth.read.splitting import Phrase
from synth.read.suggest import quoted
from synth.ticks import UNITS, format_duration, parse_duration

if TYPE_CHECKING:
    from lark import Token, Tree

LONGEST_NAME = 40
"""Characters of a name at most."""
JOINER = "\u01c1"
"""A letter that no name holds: stands for the spaces within declared names while parsing."""

_STATES = {
    **dict.fromkeys(("on", "present", "running", "runs", "starts", "active"), State.ON),
    **dict.fromkeys(("off", "absent", "stopped", "stops", "inactive"), State.OFF),
    **dict.fromkeys(("open", "opens", "opened"), State.OPEN),
    **dict.fromkeys(("closed", "closes"), State.CLOSED),
    **dict.fromkeys(("pressed", "pushed", "held"), State.PRESSED),
    "released": State.RELEASED,
}
_CHOICES = {choice.name: choice for choice in Choice}
_NUMBERS = {
    "a": "1", "an": "1", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5",
    "six": "6", "seven": "7", "eight": "8", "nine": "9", "ten": "10", "twelve": "12",
    "fifteen": "15", "twenty": "20", "thirty": "30", "forty": "40", "fifty": "50", "sixty": "60",
}  # fmt: skip
MOST_UNIT_HOURS = 24_000_000
"""The most unit-hours of a day that a goal may state: of a million units, all day."""
NIGHT = "night"
_SUPPLY = ("supply", "power", "power supply", "mains")
"""What the supply may be called where it never fails."""


def _fraction(text: str) -> Fraction:
    """Return '70', '70.5', '1/3' or '2 1/3' exactly; ZeroDivisionError where one divides by 0."""
    pieces = text.replace("/", " / ").split()
    if "/" not in pieces:
        return Fraction(pieces[0])
    above, below = Fraction(pieces[-3]), Fraction(pieces[-1])
    return (Fraction(pieces[0]) if len(pieces) == 4 else Fraction(0)) + above / below


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


def _of_the_night(condition: Condition) -> bool:
    """Return whether a condition is that it is night, or that it is day."""
    of = condition.of if isinstance(condition, Negation) else condition
    return isinstance(of, Is) and of.name == NIGHT


@dataclass(frozen=True)
class _Name:
    text: str
    place: Place


class Builder:
    """Makes goals and facts from the tree of one phrase; one method for each rule."""

    def __init__(self, phrase: Phrase) -> None:
        self.phrase = phrase
        self.bare: list[Only] = []
        """Conditions behind what the load does, without 'only'."""

    def build(self, tree: Tree[Token]) -> Any:
        """Return what `tree` says: a goal, fact, behaviour, condition, name or time."""
        children = [
            child if isinstance(child, str) else self.build(child) for child in tree.children
        ]
        return getattr(self, str(tree.data))(children)

    def fail(self, message: str, at: Place | None = None, hint: str = "") -> SynthError:
        return GoalError(message, at or self.phrase.place, hint)

    # names, times, conditions

    def name(self, children: list[Token]) -> _Name:
        words = " ".join(str(child) for child in children)
        return self.named(words.replace(JOINER, " "), children[0])

    def quoted(self, children: list[Token]) -> _Name:
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

    def named(self, text: str, token: Token) -> _Name:
        if len(text) > LONGEST_NAME:
            raise self.fail(
                f"{quoted(text)} is longer than {LONGEST_NAME} characters, the longest name",
                self.at(token),
            )
        return _Name(text, self.at(token))

    def at(self, token: Token) -> Place:
        return self.phrase.at(token.start_pos or 0)

    def names(self, children: list[Any]) -> tuple[_Name, ...]:
        found = tuple(child for child in children if isinstance(child, _Name))
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
        return Is(children[0].text, place=children[0].place)

    def is_state(self, children: list[Any]) -> Condition:
        state = str(children[-1]).split()[0]  # without 'down' of 'held down'
        return Is(children[0].text, _STATES[state], children[0].place)

    def is_not_state(self, children: list[Any]) -> Condition:
        return negation(self.is_state(children))

    def is_words(self, children: list[Any]) -> Condition:
        name = children[0]
        joined = f"{name.text} {children[-1]}"
        if len(joined) > LONGEST_NAME:
            raise self.fail(
                f"{quoted(joined)} is longer than {LONGEST_NAME} characters, the longest name",
                name.place,
            )
        return Is(joined, place=name.place)

    def is_not_words(self, children: list[Any]) -> Condition:
        return negation(self.is_words(children))

    def is_night(self, children: list[Any]) -> Condition:
        token = next((child for child in children if hasattr(child, "start_pos")), None)
        return Is(NIGHT, place=self.at(token) if token is not None else self.phrase.place)

    def is_day(self, children: list[Any]) -> Condition:
        return negation(self.is_night(children))

    def same(self, children: list[Any]) -> Condition:
        return self.conditions(children)[0]

    wcond = group = ended = same

    def negation(self, children: list[Any]) -> Condition:
        return negation(self.conditions(children)[0])

    def every(self, children: list[Any]) -> Condition:
        return every(*self.conditions(children))

    def none(self, children: list[Any]) -> Condition:
        return every(*(negation(piece) for piece in self.conditions(children)))

    def some(self, children: list[Any]) -> Condition:
        return some(*self.conditions(children))

    # what loads do

    def load_goal(self, children: list[Any]) -> Goal:
        # Words are left out; a choice is one too, but says something.
        said: list[Any] = [c for c in children if isinstance(c, Choice) or not isinstance(c, str)]
        names, *rest = said
        does: Behaviour | None = None
        additions: list[Addition] = []
        for item in rest:
            for piece in item if isinstance(item, list) else [item]:
                if isinstance(piece, Only | NeverWhile | AtLeast | Choice):
                    additions.append(piece)
                else:
                    does = piece
        self.expect_one_condition(does)
        for addition in additions:
            if isinstance(addition, Choice) and addition.other in additions:
                raise self.fail(
                    f"'{addition.value}' and '{addition.other.value}' cannot both be asked"
                )
        unique = tuple(dict.fromkeys(additions))
        return LoadGoal(tuple(name.text for name in names), does, unique)

    additions_goal = load_goal

    def expect_one_condition(self, does: Behaviour | None) -> None:
        """Refuse 'while hot and fan on while cold': two goals, or two conditions of one. That it is
        night or day may stand beside another condition, as people say it."""
        others = [a.condition for a in self.bare if not _of_the_night(a.condition)]
        if isinstance(does, While) and len(others) > _of_the_night(does.condition):
            last = others[-1].of if isinstance(others[-1], Negation) else others[-1]
            raise self.fail(
                "two conditions stand side by side",
                getattr(last, "place", None),
                "a comma parts two goals; where both must hold, say 'while hot and cold' or "
                "'while hot, only while cold'",
            )

    def press_gives(self, children: list[Any]) -> Goal:
        names = next(child for child in children if isinstance(child, tuple))
        more = next((child for child in children if isinstance(child, list)), [])
        return self.load_goal([names, self.for_time_press(children), more])

    def toggles_goal(self, children: list[Any]) -> Goal:
        names = next(child for child in children if isinstance(child, tuple))
        more = next((child for child in children if isinstance(child, list)), [])
        return self.load_goal([names, self.toggles(children), more])

    def starts_goal(self, children: list[Any]) -> Goal:
        """Return the goal of 'START starts LOADS and STOP stops them': STOP is parsed as a load."""
        start = next(child for child in children if isinstance(child, _Name))
        (*loads, stop), *again = [child for child in children if isinstance(child, tuple)]
        if not loads:
            raise self.fail(
                "it is said what starts it, but not what stops it",
                stop.place,
                "say for example 'started by start and stopped by stop'",
            )
        if again and {name.text for name in again[0]} != {name.text for name in loads}:
            raise self.fail("what is started and what is stopped differ", again[0][0].place)
        does = StartStop(*(Is(name.text, place=name.place) for name in (start, stop)))
        more = next((child for child in children if isinstance(child, list)), [])
        return self.load_goal([tuple(loads), does, more])

    def every_goal(self, children: list[Any]) -> Goal:
        names = next(child for child in children if isinstance(child, tuple))
        more = next((child for child in children if isinstance(child, list)), [])
        return self.load_goal([names, self.cycle_every_first(children), more])

    def additions(self, children: list[Any]) -> list[Any]:
        return children

    def always(self, children: list[Any]) -> Behaviour:
        return Always()

    def while_(self, children: list[Any]) -> Behaviour:
        return While(self.conditions(children)[0])

    shows = while_

    def times(self, children: list[Any]) -> list[int]:
        """Return the times among `children`, a bare unit ('every minute') being one of it."""
        return [
            parse_duration(f"1 {child}") if getattr(child, "type", "") == "UNIT_WORD" else child
            for child in children
            if isinstance(child, int) or getattr(child, "type", "") == "UNIT_WORD"
        ]

    def period(self, on: int, period: int) -> Behaviour:
        if on >= period:
            raise self.fail(
                f"{format_duration(on)} of every {format_duration(period)} leaves no pause",
                hint="the time on must be shorter than the period; or say 'always'",
            )
        return Cycles(on, period - on)

    def cycle_every(self, children: list[Any]) -> Behaviour:
        on, period = self.times(children)
        return self.period(on, period)

    cycle_for_every = cycle_every

    def cycle_every_first(self, children: list[Any]) -> Behaviour:
        period, on = self.times(children)
        return self.period(on, period)

    def cycle_on_off(self, children: list[Any]) -> Behaviour:
        on, off = self.times(children)
        return Cycles(on, off)

    cycle_on_off_words = cycle_on_off

    def cycle_off_on(self, children: list[Any]) -> list[Any]:
        off, on = self.times(children)
        return [Cycles(on, off), Choice.PAUSE_FIRST]

    cycle_off_on_words = cycle_off_on

    def cycle(self, children: list[Any]) -> Any:
        return children[0]

    def for_time(self, children: list[Any]) -> Behaviour:
        return ForTime(self.times(children)[0], self.conditions(children)[0])

    def for_time_dusk(self, children: list[Any]) -> Behaviour:
        return ForTime(self.times(children)[0], self.is_night(children))

    def for_time_dawn(self, children: list[Any]) -> Behaviour:
        return ForTime(self.times(children)[0], self.is_day(children))

    def for_time_press(self, children: list[Any]) -> Behaviour:
        name = next(child for child in children if isinstance(child, _Name))
        return ForTime(self.times(children)[0], Is(name.text, State.PRESSED, name.place))

    def after_time(self, children: list[Any]) -> Behaviour:
        return AfterTime(self.times(children)[0], self.conditions(children)[0])

    def after_time_dusk(self, children: list[Any]) -> Behaviour:
        return AfterTime(self.times(children)[0], self.is_night(children))

    def after_time_dawn(self, children: list[Any]) -> Behaviour:
        return AfterTime(self.times(children)[0], self.is_day(children))

    def keeps_running(self, children: list[Any]) -> Behaviour:
        return KeepsRunning(self.times(children)[0], self.conditions(children)[0])

    def start_stop(self, children: list[Any]) -> Behaviour:
        start, stop = self.conditions(children)
        return StartStop(start, stop)

    def fills(self, children: list[Any]) -> Behaviour:
        low, high = self.conditions(children)
        return Fills(low, high)

    def empties_up(self, children: list[Any]) -> Behaviour:
        low, high = self.conditions(children)
        return Empties(low, high)

    def empties_down(self, children: list[Any]) -> Behaviour:
        high, low = self.conditions(children)
        return Empties(low, high)

    def toggles(self, children: list[Any]) -> Behaviour:
        name = next(child for child in children if isinstance(child, _Name))
        return Toggles(Is(name.text, place=name.place))

    def switched_from(self, children: list[Any]) -> Behaviour:
        names = self.names(children)
        return SwitchedFrom(tuple(Is(name.text, place=name.place) for name in names))

    # additions

    def only(self, children: list[Any]) -> Addition:
        return Only(self.conditions(children)[0])

    def only_plain(self, children: list[Any]) -> Addition:
        addition = Only(self.conditions(children)[0])
        self.bare.append(addition)
        return addition

    def unless(self, children: list[Any]) -> Addition:
        return Only(negation(self.conditions(children)[0]))

    def never_while(self, children: list[Any]) -> Addition:
        return NeverWhile(self.conditions(children)[0])

    def at_least(self, children: list[Any]) -> Addition:
        return AtLeast(self.times(children)[0])

    def choice(self, children: list[Any]) -> Addition:
        return _CHOICES[children[0].type]

    # other goals

    def cutoff(self, children: list[Any]) -> Goal:
        lever = next(child for child in children if isinstance(child, _Name))
        names = next((child for child in children if isinstance(child, tuple)), ())
        return Cutoff(lever.text, tuple(name.text for name in names))

    cut_by = cutoff

    def never_together(self, children: list[Any]) -> Goal:
        names = next(child for child in children if isinstance(child, tuple))
        loads = self.several(tuple(name.text for name in names))
        first = next((child for child in children if isinstance(child, _Name)), None)
        if first is not None and first.text not in loads:
            raise self.fail(f"{quoted(first.text)} is not one of those named", first.place)
        if first is not None:
            loads = (first.text, *(load for load in loads if load != first.text))
        return NeverTogether(loads, first.text if first else "")

    def several(self, names: tuple[str, ...]) -> tuple[str, ...]:
        if len(names) < 2:
            raise self.fail(
                f"only {quoted(names[0])} is named; at least two are needed",
                hint="join them with 'and'",
            )
        return names

    def gap(self, children: list[Any]) -> Goal:
        names = next(child for child in children if isinstance(child, tuple))
        return Gap(self.times(children)[0], self.several(tuple(name.text for name in names)))

    def at_most_units(self, children: list[Any]) -> Goal:
        number = next(child for child in children if child.type == "NUMBER")
        if int(number) < 1:
            raise self.fail("at least 1 unit is needed for anything to be on", self.at(number))
        return AtMostUnits(int(number))

    def at_most_unit_hours(self, children: list[Any]) -> Goal:
        number = next(child for child in children if child.type in ("NUMBER", "FRACTION"))
        try:
            value = _fraction(str(number))
        except ZeroDivisionError:
            raise self.fail(f"'{number}' divides by nothing", self.at(number)) from None
        if value <= 0:
            raise self.fail(
                "more than 0 unit-hours are needed for anything to be on", self.at(number)
            )
        if value > MOST_UNIT_HOURS:
            raise self.fail(
                f"at most {MOST_UNIT_HOURS} unit-hours a day can be said", self.at(number)
            )
        return AtMostUnitHours(value)

    # facts

    def subject_on(self, children: list[Any]) -> Condition:
        return self.is_on([child for child in children if isinstance(child, _Name)])

    subject_state = is_state

    def subject_off(self, children: list[Any]) -> Condition:
        name = next(child for child in children if isinstance(child, _Name))
        return Is(name.text, State.OFF, name.place)

    def subject_night(self, children: list[Any]) -> Condition:
        return Is(NIGHT)

    def subject_day(self, children: list[Any]) -> Condition:
        return Is(NIGHT, State.OFF)

    def lasts(self, children: list[Any]) -> Fact:
        subject, time = children[0], self.times(children)[0]
        at_least = any(getattr(child, "type", "") == "AT_LEAST" for child in children)
        least, most = (time, None) if at_least else (None, time)
        return Lasts(subject.name, subject.state, least, most)

    def lasts_between(self, children: list[Any]) -> Fact:
        subject = children[0]
        least, most = self.times(children)
        if least > most:
            raise self.fail("the shorter time must come first")
        return Lasts(subject.name, subject.state, least, most)

    def inputs_apart(self, children: list[Any]) -> Fact:
        names = next(child for child in children if isinstance(child, tuple))
        return InputsApart(self.several(tuple(name.text for name in names)))

    def never_fails(self, children: list[Any]) -> Fact:
        name = children[0].text
        return Stays("supply" if name in _SUPPLY else name, State.ON)

    def stays(self, children: list[Any]) -> Fact:
        # 'always on' is one token, so that a state of its own stands there only for the others.
        word = str(children[-1])
        return Stays(children[0].text, _STATES.get(word, State.ON))


setattr(Builder, "while", Builder.while_)
