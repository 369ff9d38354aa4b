"""Afterwards, each outside input carries what is known of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from synth.errors import GoalError, Slips
from synth.goals import Fact, GoalList, InputsApart, Lasts, Released, Stays
from synth.pose.lower import is_one
from synth.pose.names import NIGHT, SUPPLY, Names, close_to
from synth.problem import InputKind, OutsideInput
from synth.ticks import format_duration

SUPPLY_WORDS = ("power", "power supply", "mains")
"""What the supply may be called in a fact, where no input is called so."""


def of_the_supply(goal_list: GoalList, names: Names) -> GoalList:
    """Return the list with facts that speak of the supply by its own name."""

    def plain(name: str) -> str:
        return SUPPLY if name in SUPPLY_WORDS and name not in names.inputs else name

    facts: list[Fact] = []
    for fact in goal_list.facts:
        match fact:
            case InputsApart():
                fact = replace(fact, names=tuple(map(plain, fact.names)))
            case Released():
                others = tuple(map(plain, fact.others))
                fact = replace(fact, name=plain(fact.name), others=others)
            case Stays() | Lasts():
                fact = replace(fact, name=plain(fact.name))
        facts.append(fact)
    return replace(goal_list, facts=tuple(facts))


def known_inputs(goal_list: GoalList, names: Names, slips: Slips) -> tuple[OutsideInput, ...]:
    """Return the inputs, the supply first, then the night, with all that is known of them.

    A fact about no input, and facts that contradict each other, are kept in `slips`.
    """
    found = {
        name: OutsideInput(name, names.inputs[name])
        for name in dict.fromkeys((SUPPLY, NIGHT, *names.inputs))
        if name in names.inputs
    }
    for fact in goal_list.facts:
        with slips.kept():
            for name in fact.about:
                if name not in found:
                    what = (
                        "is a load" if name in names.loads else "is no input that a goal asks for"
                    )
                    raise GoalError(f"'{name}' {what}", fact.place, close_to(name, list(found)))
            if isinstance(fact, Stays):
                found[fact.name] = _steady(found[fact.name], fact)
            elif isinstance(fact, Lasts):
                found[fact.name] = _bounded(found[fact.name], fact)
            elif isinstance(fact, Released):
                found[fact.name] = _released(found[fact.name], fact, names)
    return tuple(found.values())


def never_together(
    goal_list: GoalList, inputs: Sequence[OutsideInput], slips: Slips
) -> tuple[tuple[str, ...], ...]:
    """Return the groups of `inputs` of which at most one is ever at 1."""
    groups: list[tuple[str, ...]] = []
    for fact in goal_list.facts:
        if not isinstance(fact, InputsApart):
            continue
        if SUPPLY in fact.names:
            with slips.kept():
                raise GoalError("nothing can happen together with no supply", fact.place)
        if fact.names not in groups:
            groups.append(fact.names)
        always = [item.name for item in inputs if item.steady and item.name in fact.names]
        if len(always) > 1:
            with slips.kept():
                told = " and ".join(f"'{name}'" for name in always)
                raise GoalError(f"{told} are always on, so they are together", fact.place)
    return tuple(groups)


def _steady(item: OutsideInput, fact: Stays) -> OutsideInput:
    level = is_one(fact.state, item.kind)
    if item.name == SUPPLY and not level:
        raise GoalError("without any supply nothing is ever on", fact.place)
    if item.steady is not None and item.steady is not level:
        raise _contradiction(fact, item)
    if level and item.released_as:
        raise _never_released(fact, item)
    return replace(item, steady=level)


def _bounded(item: OutsideInput, fact: Lasts) -> OutsideInput:
    on = is_one(fact.state, item.kind)
    old_least, old_most = (item.least_on, item.most_on) if on else (item.least_off, item.most_off)
    least = max((t for t in (old_least, fact.least) if t is not None), default=None)
    most = min((t for t in (old_most, fact.most) if t is not None), default=None)
    if least is not None and most is not None and least > most:
        raise GoalError(
            f"'{item.name}' cannot last at least {format_duration(least)} and at most "
            f"{format_duration(most)}",
            fact.place,
        )
    if on:
        return replace(item, least_on=least, most_on=most)
    return replace(item, least_off=least, most_off=most)


def _released(item: OutsideInput, fact: Released, names: Names) -> OutsideInput:
    if item.kind is not InputKind.BUTTON:
        raise GoalError(
            f"'{item.name}' is not a push-button, which alone is let go",
            fact.place,
            "say for example 'start is released when power returns'",
        )
    if is_one(fact.state, item.kind):
        raise GoalError(
            f"that '{item.name}' is held just then cannot be relied on",
            fact.place,
            f"only that it is not: '{item.name} is released when …'",
        )
    if item.steady:
        raise _never_released(fact, item)
    for other in fact.others:
        if names.inputs[other] not in (InputKind.SUPPLY, InputKind.SWITCH):
            raise GoalError(
                f"'{other}' is neither the supply nor a switch",
                fact.place,
                "that a button is released can be known of the moment at which power returns, or a "
                "switch is thrown",
            )
    return replace(item, released_as=tuple(dict.fromkeys((*item.released_as, *fact.others))))


def _never_released(fact: Fact, item: OutsideInput) -> GoalError:
    return GoalError(f"'{item.name}' is said to be always pressed and to be released", fact.place)


def _contradiction(fact: Fact, item: OutsideInput) -> GoalError:
    return GoalError(f"'{item.name}' is said to be always on and always off", fact.place)
