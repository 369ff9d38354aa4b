"""The bounds within which the search looks for designs, and within which its proofs hold."""

from __future__ import annotations

from synth.parts.behaviour import TIMED, PartType
from synth.problem import Objective, Problem
from synth.search.basics import DEPTH
from synth.search.slots import joint_of_sets, lever_inputs
from synth.signals import times_of
from synth.ticks import format_duration
from synth.wording import listed

MOST_PARTS = 12
"""Most parts of each kind, and in all beyond the needed ones, that are considered by price."""


def most_of_each(problem: Problem) -> int:
    """Return the most parts of each kind, and in all beyond the needed ones, that are considered.

    By price this bounds nothing that matters, since longer lists are dearer; where another
    objective comes first, lists of parts that cost nothing of it would never end.
    """
    return MOST_PARTS if problem.objectives[0] is Objective.PRICE else 4


def _sharing(problem: Problem) -> str:
    """Return how the search shares out the power of an output, in words."""
    told = "power shared out by tap-offs and dividers, each output into branches of its own"
    none = {name for name, most in problem.limits.most if most == 0}
    if any(p.type is PartType.JOINT and p.name not in none for p in problem.kit.parts):
        # A joint may bring two lines together, so that either feeds what is behind.
        told += " that are not joined again"
    return told


def bounds_in_words(problem: Problem) -> tuple[str, ...]:
    """Return the bounds within which a proof holds."""
    most = most_of_each(problem)
    told = [
        f"parts of the kit '{problem.kit.name}', at most {most} of each and as many in all "
        "beyond one for every input and one for every timer that must run at once"
        + (", and those that are asked for" if problem.limits.least else ""),
        f"circuits that settle within {DEPTH} steps after every event",
        _sharing(problem),
    ]
    by_hand = sorted(lever_inputs(problem))
    if by_hand:
        each = " each" if len(by_hand) > 1 else ""
        named = listed(f"'{name}'" for name in by_hand)
        told.append(f"one part with one contact{each} for {named}, worked by hand")
    free = any(p.type is PartType.JOINT and p.price == 0 for p in problem.kit.parts)
    if free and joint_of_sets(problem) is None:
        told.append(
            "at most as many joints that cost nothing as there are other parts and loads, less two"
        )
    without = {name for name, most in problem.limits.most if most == 0}
    if problem.times:
        offered = ", ".join(format_duration(t) for t in problem.times)
        told.append(f"timers set to one of {offered}")
    elif any(times_of(r.signal) for r in problem.requirements):
        told.append("no timers, since none on offer can be set to a time that is asked for")
    elif any(p.type in TIMED and p.name not in without for p in problem.kit.parts):
        told.append("no timers, since no goal names a time")
    return tuple(told)
