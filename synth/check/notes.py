"""Remarks on a design that holds: what is no defect, and still worth a look."""

from __future__ import annotations

from synth.design import Design, handed_over, sensed_alike
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
    return tuple(
        f"{counted(len(names), 'part')} sense '{name}' ({listed(names)}): they are taken to change "
        "over at the same moment; where that cannot be so, take one part and relays after it"
        for name, names in sensed_alike(design).items()
    )


def handed_over_in_words(design: Design) -> tuple[str, ...]:
    """Say what hangs on both contacts of a change-over relay, and may so be dead for a moment.

    The check moves a relay in no time ("What a circuit means"); the contact of a real one that
    opens does so before the other one closes (common practice, no source).
    """
    return tuple(
        f"{listed(both)} {'hangs' if len(both) == 1 else 'hang'} on both contacts of "
        f"'{name}', which is taken to change over in no time; where a moment without power "
        "matters, as for a coil that holds itself, take one that makes before it breaks"
        for name, both in handed_over(design).items()
    )
