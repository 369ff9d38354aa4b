"""The tree of one phrase made into a goal or fact; one method for each rule of the grammar."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any

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
    Released,
    Some,
    StartStop,
    State,
    Stays,
    SwitchedFrom,
    Toggles,
    While,
)
from synth.read.conditions import NIGHT, STATES, Conditions, Name, negation, of_the_night
from synth.read.doubts import RUN_OR_DELAY
from synth.read.fronted import Turned
from synth.read.suggest import quoted
from synth.ticks import format_duration, parse_duration

if TYPE_CHECKING:
    pass

_CHOICES = {choice.name: choice for choice in Choice}
DAY = 86_400_000
"""A day, in ticks."""
MOST_UNIT_HOURS = 24_000_000
"""The most unit-hours of a day that a goal may state: of a million units, all day."""
_OPPOSITE = {
    one: other
    for pair in (
        (State.ON, State.OFF),
        (State.OPEN, State.CLOSED),
        (State.PRESSED, State.RELEASED),
    )
    for one, other in (pair, pair[::-1])
}


_LOW = frozenset({"low", "lower", "empty", "bottom", "min", "minimum"})
_HIGH = frozenset({"high", "upper", "full", "top", "max", "maximum"})


def _speaks_of_night(condition: Condition) -> bool:
    """Return whether a list of conditions holds that it is night, or day."""
    return isinstance(condition, Every | Some) and any(of_the_night(c) for c in condition.of)


def _mentioned(condition: Condition) -> list[Is]:
    """Return all that a condition names."""
    if isinstance(condition, Is):
        return [condition]
    pieces = condition.of if isinstance(condition, Every | Some) else (condition.of,)
    return [named for piece in pieces for named in _mentioned(piece)]


def _names_in(condition: Condition) -> tuple[str, ...]:
    return tuple(piece.name for piece in _mentioned(condition))


def _fraction(text: str) -> Fraction:
    """Return '70', '70.5', '1/3' or '2 1/3' exactly; ZeroDivisionError where one divides by 0."""
    pieces = text.replace("/", " / ").split()
    if "/" not in pieces:
        return Fraction(pieces[0])
    above, below = Fraction(pieces[-3]), Fraction(pieces[-1])
    return (Fraction(pieces[0]) if len(pieces) == 4 else Fraction(0)) + above / below


class Builder(Conditions):
    """Makes goals and facts from the tree of one phrase; one method for each rule."""

    # what loads do

    def load_goal(self, children: list[Any]) -> Goal:
        # Words are left out; a choice is one too, but says something.
        said: list[Any] = [c for c in children if isinstance(c, Choice) or not isinstance(c, str)]
        names, *rest = said
        self.expect_no_turns(names, children)
        does: Behaviour | None = None
        additions: list[Addition] = []
        for item in rest:
            for piece in item if isinstance(item, list) else [item]:
                if isinstance(piece, Only | NeverWhile | AtLeast | Choice):
                    additions.append(piece)
                else:
                    does = piece
        if does is None and isinstance(self.phrase, Turned) and self.bare:
            # What stood in front is said of the load, whatever more is said behind it.
            does = While(self.bare[-1].condition)
            additions.remove(self.bare.pop())
        self.expect_one_condition(does, any(isinstance(a, NeverWhile) for a in additions))
        self.expect_no_delay(does)
        for addition in additions:
            if isinstance(addition, Choice) and addition.other in additions:
                raise self.fail(
                    f"'{addition.value}' and '{addition.other.value}' cannot both be asked"
                )
        unique = tuple(dict.fromkeys(additions))
        if isinstance(does, Cycles) and does.on + does.off > DAY and any(
            isinstance(a, Only) and of_the_night(a.condition) for a in unique
        ):
            raise self.fail(
                f"a round of {format_duration(does.on + does.off)} begins afresh each night",
                hint="leave 'at night' out, or say how often within one night, as in 'for 10 min "
                "every 2 h at night'",
            )
        return LoadGoal(tuple(name.text for name in names), does, unique)

    additions_goal = load_goal

    def expect_no_turns(self, names: Sequence[Name], children: list[Any]) -> None:
        """Refuse several loads that are to be on by turns: all would be on at once."""
        turns = next((c for c in children if getattr(c, "type", "") == "IN_TURNS"), None)
        if turns is not None and len(names) > 1 and turns.startswith(("altern", "take")):
            one, other = names[0].text, names[1].text
            raise self.fail(
                "by turns, each has a goal of its own",
                self.at(turns),
                f"say the times of the first, as in '{one} 30 s on, 30 s off', and "
                f"'{other} while {one} is off'",
            )

    def expect_one_condition(self, does: Behaviour | None, never: bool) -> None:
        """Refuse 'while hot and fan on while cold': two goals, or two conditions of one. That it is
        night or day may stand beside another condition, as people say it."""
        others = [a.condition for a in self.bare if not of_the_night(a.condition)]
        if does is None and never and others:
            raise self.fail(
                "a condition stands behind 'never'",
                getattr(others[-1], "place", None),
                "part goals by commas or semicolons; of one load, say 'pump while low, never while "
                "dry'",
            )
        if isinstance(does, While) and _speaks_of_night(does.condition):
            others = [a.condition for a in self.bare]
        if isinstance(does, While) and len(others) > of_the_night(does.condition):
            last = others[-1].of if isinstance(others[-1], Negation) else others[-1]
            raise self.fail(
                "two conditions stand side by side",
                getattr(last, "place", None),
                "a comma parts two goals; where both must hold, say 'while hot and cold' or "
                "'while hot, only while cold'",
            )

    def expect_no_delay(self, does: Behaviour | None) -> None:
        """Refuse 'while hot for at least 5 s': does the heat last, or the run?"""
        if isinstance(does, While) and self.for_at_least is not None:
            raise self.fail(
                "it is not clear whether the condition or the run lasts so long",
                self.for_at_least,
                "say '5 s after hot', on once that has lasted 5 s, or 'once started at least 5 s' "
                "for a shortest run",
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
        start = next(child for child in children if isinstance(child, Name))
        (*loads, stop), *again = [child for child in children if isinstance(child, tuple)]
        if not loads:
            raise self.fail(
                "it is said what starts it, but not what stops it",
                stop.place,
                "say for example 'started by start and stopped by stop'",
            )
        if again and {name.text for name in again[0]} != {name.text for name in loads}:
            raise self.fail("what is started and what is stopped differ", again[0][0].place)
        does = StartStop(Is(start.text, place=start.place), Is(stop.text, place=stop.place))
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

    def cycle_per_unit(self, children: list[Any]) -> Behaviour:
        unit = str(children[-1]).split()[-1]
        return self.period(self.times(children)[0], parse_duration(f"1 {unit}"))

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
        self.expect_one_clause()
        self.expect_begin(children)
        return ForTime(self.times(children)[0], self.conditions(children)[0])

    def expect_run_or_delay(self, children: list[Any]) -> None:
        """Refuse 'lamp 2 h at dusk': a run of that length, or a delay?"""
        token = next(c for c in children if getattr(c, "type", "") in ("AT_DUSK", "AT_DAWN"))
        if not token.startswith(("after", "since", "once")):
            raise self.fail(
                RUN_OR_DELAY,
                self.at(token),
                "say 'for 2 h from dusk' for a run, '2 h after dusk' for a delay",
            )

    def for_time_dusk(self, children: list[Any]) -> Behaviour:
        return ForTime(self.times(children)[0], self.is_night(children))

    def for_time_dawn(self, children: list[Any]) -> Behaviour:
        return ForTime(self.times(children)[0], self.is_day(children))

    def for_time_press(self, children: list[Any]) -> Behaviour:
        name = next(child for child in children if isinstance(child, Name))
        return ForTime(self.times(children)[0], Is(name.text, State.PRESSED, name.place))

    def expect_begin(self, children: list[Any]) -> None:
        """Refuse '2 h after night': after its begin, or its end?"""
        condition = self.conditions(children)[0]
        if of_the_night(condition) and id(condition) in self.night_words:
            raise self.fail(
                "it is not clear whether that is counted from its begin or its end",
                self.night_words[id(condition)][1],
                "say 'from dusk' or 'from dawn', as in 'for 2 h from dusk' or '2 h after dawn'",
            )

    def after_time(self, children: list[Any]) -> Behaviour:
        self.expect_one_clause()
        condition = self.conditions(children)[0]
        words = [getattr(child, "type", "") for child in children]
        lasted = "LASTED" in words or "ONCE" in words
        if not lasted:
            self.expect_begin(children)
        if id(condition) in self.over and not lasted:
            raise self.fail(
                RUN_OR_DELAY,
                hint="say 'for 2 min after hot ends' for a run, 'keeps running for 2 min after "
                "hot', or '2 min after not hot' for a delay",
            )
        several = isinstance(condition, Every | Some) and id(condition) not in self.grouped
        if several and "LASTED" in words and "ONCE" not in words:
            raise self.fail(
                "it is not clear what has lasted so long: the last condition, or all of them",
                hint="put all of them in brackets, as in 'once (hot and dry) has lasted 5 min'; "
                "where only one has, let a load of its own tell of it",
            )
        return AfterTime(self.times(children)[0], self.conditions(children)[0])

    def after_time_dusk(self, children: list[Any]) -> Behaviour:
        self.expect_run_or_delay(children)
        return AfterTime(self.times(children)[0], self.is_night(children))

    def after_time_dawn(self, children: list[Any]) -> Behaviour:
        self.expect_run_or_delay(children)
        return AfterTime(self.times(children)[0], self.is_day(children))

    def keeps_running(self, children: list[Any]) -> Behaviour:
        return KeepsRunning(self.times(children)[0], self.conditions(children)[0])

    def expect_one_clause(self) -> None:
        """Refuse 'for 30 s after start is pressed or while hot': does the heat start it, too?"""
        if self.also is not None:
            raise self.fail(
                "it is not clear whether this belongs to what the time is counted from",
                self.also,
                "if it does, leave its 'while' or 'at' out and say 'after (hot or damp)'; what a "
                "load does besides a time needs a load of its own",
            )

    def start_stop(self, children: list[Any]) -> Behaviour:
        start, stop = self.conditions(children)
        said = [str(child) for child in children if isinstance(child, str)]
        first, last = (
            one.endswith((" by", " with", " from")) or one in ("set", "reset")
            for one in (said[0], said[-1])
        )
        by_hand = (first, start), (last, stop)
        # 'siren starts when high and is stopped by ack' speaks of a button, too.
        sensed = [self.sensed(of) if by else _names_in(of) for by, of in by_hand]
        return StartStop(start, stop, first or last, tuple(n for names in sensed for n in names))

    def sensed(self, *conditions: Condition) -> tuple[str, ...]:
        """Return the names of which more is said than that they are on, or pressed."""
        named = [piece for condition in conditions for piece in _mentioned(condition)]
        return tuple(
            piece.name
            for piece in named
            if id(piece) not in self._bare_names and piece.state is not State.PRESSED
        )

    def stop_start(self, children: list[Any]) -> Behaviour:
        stop, start = self.conditions(children)
        said = next(str(child) for child in children if getattr(child, "type", "") == "STARTS_THEN")
        by_hand = said.endswith((" by", " with", " from"))
        return StartStop(start, stop, by_hand, self.sensed(start, stop))

    def fills(self, children: list[Any]) -> Behaviour:
        low, high = self.marks(children)
        return Fills(low, high)

    def empties_up(self, children: list[Any]) -> Behaviour:
        low, high = self.marks(children)
        return Empties(low, high)

    def empties_down(self, children: list[Any]) -> Behaviour:
        low, high = self.marks(self.conditions(children)[::-1])
        return Empties(low, high)

    def marks(self, children: list[Any]) -> list[Condition]:
        """Return the low and the high mark; refused where their names say the reverse."""
        low, high = self.conditions(children)
        names = getattr(low, "name", ""), getattr(high, "name", "")
        if names[0].split()[-1:] in (["empty"], ["dry"]):
            raise self.fail(
                f"it is not clear whether {quoted(names[0])} is on above that mark, or below it",
                getattr(low, "place", None),
                "name the mark, as in 'fills between low and high'; where it tells that there is "
                f"nothing left, say 'starts when {names[0]} and stops when {names[1]}'",
            )
        if _HIGH & {*names[0].split()} and _LOW & {*names[1].split()}:
            raise self.fail(
                f"{quoted(names[0])} is named as the low mark, and {quoted(names[1])} as the high",
                getattr(low, "place", None),
                "fill from low to high, empty from high to low; 'between' takes the low one first",
            )
        return [low, high]

    def toggles(self, children: list[Any]) -> Behaviour:
        said = next((c for c in children if getattr(c, "type", "") == "TOGGLED_BY"), None)
        buttons = [child for child in children if isinstance(child, Name)]
        pushes = ("button", "push", "press", "bell")
        if said is not None and "on and off" in said and not any(
            button.text.endswith(pushes) for button in buttons
        ):
            name = buttons[0].text
            raise self.fail(
                f"it is not clear whether {quoted(name)} is a push-button",
                buttons[0].place,
                f"say 'toggled by {name}' where each press changes over, 'while {name} is on' "
                "where it follows that",
            )
        return Toggles(tuple(Is(button.text, place=button.place) for button in buttons))

    def switched_from(self, children: list[Any]) -> Behaviour:
        names = self.names(children)
        said = str(children[0])
        if len(names) > 1 and said.endswith((" by", " with")):
            raise self.fail(
                "it is not clear how several work it",
                names[1].place,
                "say 'while a or b' where either turns it on; of switches each of which changes "
                "it over, 'switched from a and b'",
            )
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
        if str(children[0]).startswith(("at least", "for at least", "no less", "not less")):
            self.for_at_least = self.at(children[0])
        return AtLeast(self.times(children)[0])

    def choice(self, children: list[Any]) -> Addition:
        return _CHOICES[children[0].type]

    # other goals

    def cutoff(self, children: list[Any]) -> Goal:
        lever = next(child for child in children if isinstance(child, Name))
        names = next((child for child in children if isinstance(child, tuple)), ())
        cuts = any(getattr(child, "type", "") in ("CUTS", "CUT_BY") for child in children)
        return Cutoff(lever.text, tuple(name.text for name in names), cuts)

    cut_by = cutoff

    def never_together(self, children: list[Any]) -> Goal:
        names = next(child for child in children if isinstance(child, tuple))
        loads = self.several(tuple(name.text for name in names))
        first = next((child for child in children if isinstance(child, Name)), None)
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
        if not number.isdigit():
            raise self.fail(
                f"units are whole, and '{number}' is not", self.at(number), "say a whole number"
            )
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
        return self.is_on([child for child in children if isinstance(child, Name)])

    subject_state = Conditions.is_state

    def subject_off(self, children: list[Any]) -> Condition:
        name = next(child for child in children if isinstance(child, Name))
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
        return Stays(children[0].text, State.ON)

    def released(self, children: list[Any]) -> Fact:
        name = children[0]
        others = next((child for child in children[1:] if isinstance(child, tuple)), ())
        word = next(child for child in children if getattr(child, "type", "") == "STATE")
        state = STATES[str(word).split()[0]]
        if any(getattr(child, "type", "") in ("NOT", "NEVER") for child in children):
            state = _OPPOSITE[state]
        return Released(name.text, state, tuple(o.text for o in others) or ("supply",))

    def stays(self, children: list[Any]) -> Fact:
        # 'always on' is one token, so that a state of its own stands there only for the others.
        word = str(children[-1])
        return Stays(children[0].text, STATES.get(word, State.ON))


setattr(Builder, "while", Builder.while_)
