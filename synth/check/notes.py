"""Remarks on a design that holds: what is no defect, and still worth a look."""

from __future__ import annotations

from synth.check.circuit import input_of
from synth.design import Design
from synth.parts.behaviour import LEVERS, SENSING
from synth.problem import Requirement
from synth.wording import counted, listed


def never_on_in_words(requirement: Requirement) -> str:
    """Say that a load is on in no state that can be reached, as its goals ask."""
    numbers = listed(requirement.goals)
    goals = f"goal {numbers} asks" if len(requirement.goals) == 1 else f"goals {numbers} ask"
    return (
        f"'{requirement.load}' is never on, whatever the inputs do: {goals} for just that; see "
        "whether this is meant"
    )


def sensed_as_one(design: Design) -> tuple[str, ...]:
    """Say of which inputs several parts sense the same, and what is taken for granted there.

    The check changes an input for all that sense it at one moment, as "What a circuit means" has
    it: a condition of the world, sensed by as many parts as one likes.
    """
    sensing: dict[str, list[str]] = {}
    for part in design.parts:
        if part.type in SENSING and part.type not in LEVERS:
            sensing.setdefault(input_of(part), []).append(part.name)
    return tuple(
        f"{counted(len(names), 'part')} sense '{name}' ({listed(names)}): they are taken to change "
        "over at the same moment; where that cannot be so, take one part and relays after it"
        for name, names in sensing.items()
        if len(names) > 1
    )
