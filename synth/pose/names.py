"""Afterwards, every name is known to be a load or an input, and each input's kind is known.

What a goal file declares counts first. Else a name is a load when a goal says what it does, and
an input when a goal asks for its state; its kind follows from the words around it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches

from synth.errors import GoalError, Place, Slips
from synth.goals import (
    AfterTime,
    Behaviour,
    Condition,
    Cutoff,
    DeclaredInput,
    Empties,
    Every,
    Fills,
    ForTime,
    Gap,
    Goal,
    GoalList,
    Is,
    KeepsRunning,
    LoadGoal,
    Negation,
    NeverTogether,
    NeverWhile,
    Only,
    Some,
    StartStop,
    State,
    SwitchedFrom,
    Toggles,
    While,
)
from synth.pose.doubts import (
    expect_a_lever,
    expect_begin_or_end,
    in_quotes,
    kind_told,
    refuse_orders,
    refuse_small_words,
    refuse_states_of_loads,
)
from synth.problem import InputKind

SUPPLY = "supply"
NIGHT = "night"
_EASILY_MISSPELT = (NIGHT, SUPPLY, "always", "daylight", "dark")
_SPELT_AS_SPOKEN = {"nite": NIGHT, "nites": NIGHT, "nitetime": NIGHT, "daylite": "daylight"}
_STATES = ("pressed", "pushed", "released", "open", "opened", "closed", "reached")
"""Words behind a name, often after 'is', that misspelt would be taken for a part of it."""
_JOINING = (
    "while", "when", "whenever", "unless", "never", "only", "always", "after", "every",
    "and", "not", "for", "until", "except", "without", "before",
)  # fmt: skip
"""Words before a name, behind or between two, that misspelt would be taken for a part of it."""


@dataclass
class Names:
    """Loads (name to need) and inputs (name to kind), each in order of mention; and where each
    was met first. `guessed` holds the inputs whose kind no file declared: name to goal number."""

    loads: dict[str, int] = field(default_factory=dict)
    inputs: dict[str, InputKind] = field(default_factory=dict)
    guessed: dict[str, int] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    """Where each guessed input was met first."""
    unsaid: list[str] = field(default_factory=list)
    """Loads whose need no file declared."""
    meant: set[str] = field(default_factory=set)
    """What was told of as meant by some misspelt name."""


def close_to(word: str, choices: list[str]) -> str:
    """Return a hint naming the nearest of `choices`, else what there is to choose from."""
    near = get_close_matches(word, choices, n=1, cutoff=0.6)
    if near:
        return f"did you mean '{near[0]}'?"
    return f"known: {', '.join(choices)}" if choices else ""


def mentions(condition: Condition) -> Iterator[Is]:
    """Yield every named state in `condition`, in the order of the text."""
    match condition:
        case Is():
            yield condition
        case Negation():
            yield from mentions(condition.of)
        case Every() | Some():
            for piece in condition.of:
                yield from mentions(piece)


def asked_of(does: Behaviour | None) -> Iterator[tuple[Is, InputKind | None]]:
    """Yield every named state in a behaviour, with the kind of input its place suggests."""
    button, switch, sensor = InputKind.BUTTON, InputKind.SWITCH, InputKind.SENSOR
    match does:
        case While(condition) | KeepsRunning(_, condition) | AfterTime(_, condition):
            yield from ((item, None) for item in mentions(condition))
        case ForTime(_, trigger):
            yield from ((item, None) for item in mentions(trigger))
        case StartStop(start, stop, by_hand, sensed):
            for part in (start, stop):
                for item in mentions(part):
                    yield item, button if by_hand and item.name not in sensed else None
        case Fills(low, high) | Empties(low, high):
            for part in (low, high):
                yield from ((item, sensor) for item in mentions(part))
        case Toggles(buttons):
            yield from ((item, button) for item in buttons)
        case SwitchedFrom(switches):
            yield from ((item, switch) for item in switches)


def inputs_in(goal: Goal) -> Iterator[tuple[Is, InputKind | None]]:
    """Yield every state that `goal` names, with the kind of input its place suggests."""
    if isinstance(goal, Cutoff):
        yield Is(goal.lever, place=goal.place), InputKind.SWITCH
    if isinstance(goal, LoadGoal):
        yield from asked_of(goal.does)
        for addition in goal.additions:
            if isinstance(addition, Only | NeverWhile):
                yield from ((item, None) for item in mentions(addition.condition))


def resolve(goal_list: GoalList, slips: Slips | None = None) -> Names:
    """Return all names, resolved. A GoalError, at its place, for each that cannot be is kept in
    `slips`; without these, they are raised."""
    names = Names()
    kept = slips or Slips()
    declared = {item.name: item for item in goal_list.inputs}
    for load in goal_list.loads:
        names.loads[load.name] = load.needs
        with kept.kept():
            if load.name in declared:
                told = f"'{load.name}' is declared both as a load and as an input"
                raise GoalError(told, load.place)
            _refuse_reserved(load.name, load.place)
    _find_loads(goal_list, names, declared, kept)
    names.inputs[SUPPLY] = InputKind.SUPPLY
    _find_inputs(goal_list, names, kept)
    for name, item in declared.items():
        if name not in {*names.inputs, *names.loads, *names.meant}:
            with kept.kept():
                raise _not_asked_for(item, names)
    if slips is None:
        kept.tell()
    return names


def _not_asked_for(item: DeclaredInput, names: Names) -> GoalError:
    near = get_close_matches(item.name, list(names.guessed), n=1)
    if near:
        return GoalError(
            f"'{near[0]}' is not among the inputs",
            names.places[near[0]],
            f"did you mean '{item.name}'?",
        )
    return GoalError(
        f"the input '{item.name}' is declared, but no goal asks for it",
        item.place,
        "leave it out, or use it in a goal",
    )


def _refuse_reserved(name: str, place: Place) -> None:
    if name in (SUPPLY, NIGHT):
        raise GoalError(f"'{name}' cannot be the name of a load; it is an input of its own", place)


def _find_loads(
    goal_list: GoalList, names: Names, declared: Mapping[str, object], slips: Slips
) -> None:
    spoken: set[str] = set()
    said = list(names.loads)
    for goal in goal_list.goals:
        if not isinstance(goal, LoadGoal):
            continue
        for load in goal.loads:
            spoken.add(load)
            with slips.kept():
                if load in names.loads:
                    continue
                _refuse_reserved(load, goal.place)
                if load in declared:
                    names.meant.add(load)
                    raise GoalError(
                        f"'{load}' is declared as an input, so goal {goal.number} cannot say when "
                        "it is on",
                        goal.place,
                    )
                meant = _joined_otherwise(load) + _near_alike(load, names.loads)
                if in_quotes(load, goal.phrase):
                    meant = []
                else:
                    refuse_orders(load, goal.place)
                # Whatever is wrong with it is told once.
                names.loads[load] = 1
                near = get_close_matches(load, said, n=1)
                if near and near[0] not in _subjects(goal_list):
                    spoken.add(near[0])
                    raise GoalError(
                        f"'{load}' is not among the loads", goal.place, f"did you mean '{near[0]}'?"
                    )
                _refuse_meant(load, goal.place, "loads", meant)
                names.unsaid.append(load)
    for item in goal_list.loads:
        if item.name not in spoken:
            with slips.kept():
                raise GoalError(
                    f"no goal says when the load '{item.name}' is on",
                    item.place,
                    f"add a goal such as '{item.name} always', or leave the load out",
                )
    for goal in goal_list.goals:
        if isinstance(goal, Cutoff | NeverTogether | Gap):
            for load in goal.loads:
                if load not in names.loads:
                    with slips.kept():
                        raise _no_load(load, goal, names, load in declared)


def _no_load(
    load: str, goal: Cutoff | NeverTogether | Gap, names: Names, an_input: bool
) -> GoalError:
    what = "is an input, not a load" if an_input else "is not among the loads"
    hint = close_to(load, list(names.loads))
    if isinstance(goal, NeverTogether) and not any(name in names.loads for name in goal.loads):
        hint = (
            f"say when each is on in a goal of its own, as in '{load} always'; what is known of "
            "inputs belongs under 'known' in a goal file"
        )
    return GoalError(f"'{load}' {what}", goal.place, hint)


def _subjects(goal_list: GoalList) -> set[str]:
    return {
        load for goal in goal_list.goals if isinstance(goal, LoadGoal) for load in goal.loads
    }


def _find_inputs(goal_list: GoalList, names: Names, slips: Slips) -> None:
    declared = {item.name: item.kind for item in goal_list.inputs}
    for cutoff in goal_list.goals:
        if isinstance(cutoff, Cutoff):
            with slips.kept():
                expect_a_lever(cutoff, declared.get(cutoff.lever))
    strong: dict[str, tuple[InputKind, int]] = {}
    for goal in goal_list.goals:
        for item, hint in inputs_in(goal):
            with slips.kept():
                _find_input(item, hint, goal, names, declared, strong)
    for name in names.guessed:
        if name in strong:
            names.inputs[name] = strong[name][0]
        elif (told := kind_told(name)) is not None:
            names.inputs[name] = told


def _find_input(
    item: Is,
    hint: InputKind | None,
    goal: Goal,
    names: Names,
    declared: Mapping[str, InputKind],
    strong: dict[str, tuple[InputKind, int]],
) -> None:
    """Take note of an input that a goal names; `hint` is the kind that its place suggests,
    `strong` the kinds that were suggested so far, and where."""
    name, number = item.name, goal.number
    if name in names.loads:
        expect_begin_or_end(item, goal)
        if hint is not None:
            raise GoalError(f"'{name}' is a load; goal {number} needs an input there", item.place)
        return
    if name in (NIGHT, SUPPLY):
        if hint is not None:
            raise GoalError(f"goal {number} needs {a_kind(hint)} there, not the {name}", item.place)
        if name == NIGHT:
            names.inputs.setdefault(NIGHT, InputKind.NIGHT)
        return
    if name not in names.inputs:
        names.inputs[name] = declared.get(name, InputKind.SENSOR)
        if name not in declared:
            names.guessed[name] = number
            names.places[name] = item.place
            if not in_quotes(name, goal.phrase):
                refuse_small_words(name, item.place)
                refuse_states_of_loads(name, names.loads, item.place)
                meant = _meant(item, names, list(declared))
                names.meant.update(meant)
                _refuse_meant(name, item.place, "inputs", meant)
    if name in declared:
        return
    if hint is None and item.state in (State.PRESSED, State.RELEASED):
        hint = InputKind.BUTTON
    if hint is None:
        return
    before, first = strong.setdefault(name, (hint, number))
    if before is not hint:
        raise GoalError(
            f"'{name}' is {a_kind(before)} in goal {first} and {a_kind(hint)} in goal {number}",
            item.place,
            "declare it under 'inputs', or use two names",
        )


def a_kind(kind: InputKind) -> str:
    """Return the kind with its article."""
    return "the supply" if kind is InputKind.SUPPLY else f"a {kind.value}"


def _meant(item: Is, names: Names, declared: list[str]) -> list[str]:
    """Return what an undeclared input may mean whose name is a known word with one slip of the
    hand."""
    *before, last = item.name.split(" ")
    meant = [_SPELT_AS_SPOKEN[item.name]] if item.name in _SPELT_AS_SPOKEN else []
    meant += [
        " ".join((*before, s))
        for s in _STATES
        if before and (_one_slip(last, s) or _wrong_key(last, s))
    ]
    meant += _joined_otherwise(item.name)
    known = (*_EASILY_MISSPELT, *names.loads, *declared)
    meant += [
        word
        for word in known
        if _one_slip(item.name, word)
        or (word in _EASILY_MISSPELT and _wrong_key(item.name, word))
    ]
    return meant + _near_alike(item.name, (name for name in names.guessed if name != item.name))


def _refuse_meant(name: str, place: Place, section: str, meant: list[str]) -> None:
    """Refuse an undeclared name that is likely to be a slip, if there is anything `meant` by it."""
    if meant:
        raise GoalError(
            f"'{name}' is not known",
            place,
            f"did you mean '{meant[0]}'? If not, declare '{name}' under '{section}', or put it "
            "into quotes",
        )


def _joined_otherwise(name: str) -> list[str]:
    """Return what a name of several words is with one of them put right that joins others."""
    words = name.split(" ")
    return [
        " ".join((*words[:at], right, *words[at + 1 :]))
        for at, word in enumerate(words)
        if len(words) > 1
        for right in _JOINING
        if _one_slip(word, right)
        or _swapped(word, right)
        or _doubled(word, right)
        or _wrong_key(word, right)
        or (word in ("an", "nd", "ad") and right == "and" and 0 < at < len(words) - 1)
    ]


def _one_slip(word: str, other: str) -> bool:
    """Return whether `word` is `other` with two letters swapped, one too many or one missing."""
    if len(other) < 4 or abs(len(word) - len(other)) > 1:
        return False
    if len(word) == len(other):
        return _swapped(word, other)
    longer, shorter = (word, other) if len(word) > len(other) else (other, word)
    if longer[-1].isdigit() or longer[0] != shorter[0]:
        # 'float2' beside 'float', and 'stop' beside 'top', are names of their own.
        return False
    return any(longer[:i] + longer[i + 1 :] == shorter for i in range(len(longer)))


def _near_alike(name: str, others: Iterable[str]) -> list[str]:
    """Return those of `others` that `name` is with one slip of the hand."""
    return [other for other in others if _one_slip(name, other) or _swapped(name, other)]


def _doubled(word: str, other: str) -> bool:
    """Return whether `word` is `other` with a letter twice that should be there once."""
    return any(word == other[: at + 1] + other[at:] for at in range(len(other)))


_ROWS = ("qwertyuiop", "asdfghjkl", "zxcvbnm")
_BESIDE = {
    key: {other for r, c in ((0, -1), (0, 1), (-1, 0), (-1, 1), (1, -1), (1, 0))
          if 0 <= row + r < 3 and 0 <= at + c < len(_ROWS[row + r])
          for other in _ROWS[row + r][at + c]}
    for row, keys in enumerate(_ROWS) for at, key in enumerate(keys)
}  # fmt: skip
"""For each letter those on the keys around it."""
_WORDS = frozenset({"hot", "whole", "fir", "nor", "tor", "bot", "foe", "jot", "mot"})
"""Words of their own that are a wrong key away from another."""


def _wrong_key(word: str, other: str) -> bool:
    """Return whether `word` is `other` with one key pressed beside the right one."""
    if len(word) != len(other) or word in _WORDS:
        return False
    wrong = [(a, b) for a, b in zip(word, other, strict=True) if a != b]
    return len(wrong) == 1 and wrong[0][0] in _BESIDE.get(wrong[0][1], ())


def _swapped(word: str, other: str) -> bool:
    """Return whether `word` is `other` with two letters swapped that stand side by side."""
    return word != other and any(
        word == other[:at] + other[at + 1] + other[at] + other[at + 2 :]
        for at in range(len(other) - 1)
        if not other[at : at + 2].isdigit()  # numbers are names of their own
    )
