"""Wishes for how a design is built, one by one: each in words, and the problem with it alone."""

from __future__ import annotations

from dataclasses import replace

from synth.problem import Limits, Problem


def wishes_alone(problem: Problem) -> tuple[tuple[str, Problem], ...]:
    """Return each wish of the limits in words, with the problem that has no other wish.

    Their words follow "but ... is not kept".
    """
    limits = problem.limits
    found: list[tuple[str, Limits]] = [
        (f"the wish for at least {number} x {part}", Limits(least=((part, number),)))
        for part, number in limits.least
    ]
    if limits.spare:
        units = f"{limits.spare} unit{'' if limits.spare == 1 else 's'}"
        told = f"the wish for {units} of the supply to spare"
        found.append((told, Limits(spare=limits.spare)))
    found += [
        (f"the wish for {one} and {other} on separate branches", Limits(branches=((one, other),)))
        for one, other in limits.branches
    ]
    found += [
        (f"the wish that no timer carries power to {load}", Limits(untimed=(load,)))
        for load in limits.untimed
    ]
    return tuple((words, replace(problem, limits=alone)) for words, alone in found)
