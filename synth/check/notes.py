"""Remarks on a design that holds: what is no defect, and still worth a look."""

from __future__ import annotations

from synth.design import Design, sensed_alike
from synth.parts.behaviour import PartType
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


def handed_over(design: Design) -> tuple[str, ...]:
    """Say what hangs on both contacts of a change-over relay, and may so be dead for a moment.

    The check moves a relay in no time ("What a circuit means"); the contact of a real one that
    opens does so before the other one closes (common practice, no source).
    """
    into: dict[str, list[tuple[str, str]]] = {}
    for wire in design.wires:
        into.setdefault(wire.source.part, []).append((wire.source.terminal, str(wire.target)))
    kinds = {part.name: part.type for part in design.parts}

    def fed(part: str, output: str | None) -> set[str]:
        """Return the loads and control inputs that power from there comes to through joints,
        sensing parts and splitting ones: what is dead while it is."""
        found: set[str] = set()
        waiting = [(part, output)]
        seen = set(waiting)
        while waiting:
            name, end = waiting.pop()
            for terminal, target in into.get(name, ()):
                if end is not None and terminal != end:
                    continue
                behind, _, entry = target.partition(":")
                if kinds[behind] is PartType.LOAD or entry not in ("in", "in1", "in2"):
                    found.add(target)
                elif (behind, None) not in seen:
                    seen.add((behind, None))
                    waiting.append((behind, None))
        return found

    notes = []
    for part in design.parts:
        if part.type is PartType.RELAY_CHANGEOVER:
            both = sorted(fed(part.name, "make") & fed(part.name, "break"))
            if both:
                notes.append(
                    f"{listed(both)} {'hangs' if len(both) == 1 else 'hang'} on both contacts of "
                    f"'{part.name}', which is taken to change over in no time; where a moment "
                    "without power matters, as for a coil that holds itself, take one that makes "
                    "before it breaks"
                )
    return tuple(notes)
