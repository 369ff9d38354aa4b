"""What to say where time ran out: what was tried, what is known so far, and what may help."""

from __future__ import annotations

from synth.days import day_in_words, in_words, shares_in_words, unit_hours
from synth.problem import Objective, Problem
from synth.result import Outcome

STAGES = {
    "limits": "ruling all parts lists out by the limits",
    "by price": "a first design by price",
    "less power": "circuits of less power",
    "circuits": "each circuit by itself",
    "less energy": "circuits that use less energy in a day",
    "joint circuits": "the harder circuits together",
    "whole": "the whole as one",
    "without the wishes": "a design without the wishes for how it is built, to be mended",
}
"""The stages of a search, by the names under which their seconds are kept."""
_UNITS = {Objective.PRICE: "coins", Objective.SUPPLY: "units", Objective.WIRES: "wires"}
FEW_GOALS = 3
"""So many goals are not too many to be asked at once."""


def tried(outcome: Outcome) -> list[str]:
    """Return each stage of the search with its seconds, the last one cut short."""
    stages = [(STAGES[name], s) for name, s in outcome.times if name in STAGES]
    told = [f"{words}: {seconds:.1f} s" for words, seconds in stages]
    if told:
        told[-1] += ", and not done"
    return told


def known(outcome: Outcome, problem: Problem) -> list[str]:
    """Return in sentences what the search had proven when it ended."""
    told = ["nothing about all goals together: neither a design nor a bound"]
    if outcome.bound is not None:
        unit = _UNITS[problem.objectives[0] if problem.objectives else Objective.PRICE]
        told = [f"no design within the bounds below takes less than {outcome.bound} {unit}"]
    use, energy = outcome.least_energy, problem.energy
    if use is not None and energy is not None:
        told.append(
            f"goal {energy.goal} allows {unit_hours(energy.unit_hours)} a day, and the least that "
            f"was met of a design for all other goals is {in_words(use.total)}: "
            f"{day_in_words(use, problem)}, {shares_in_words(use)}"
        )
    return told


def what_may_help(problem: Problem, time_up: bool = True) -> list[str]:
    """Return what a user can change so that the same question is decided sooner; more time only
    where it was the time that ended the search."""
    helps = ["more time: --time-limit SECONDS"] if time_up else []
    helps.append("the optional second solver: --fast, after pip install '.[fast]'")
    wishes = wishes_in_force(problem)
    if wishes:
        helps.append(
            f"fewer limits: try it without {', '.join(wishes)}, then put them back one by one"
        )
    if problem.limits.stock:
        helps.append("without 'stock', which makes the order of prices harder to prove")
    if len(problem.goals) > FEW_GOALS:
        helps.append(
            "fewer goals at once: what is proven of some is kept and used when more are added"
        )
    free = [item.name for item in problem.inputs if item.steady is None and item.name != "supply"]
    if free:
        helps.append(
            f"what is known of {', '.join(free)}: under 'known', how long each lasts at least, or "
            "that some are never on together"
        )
    timed = any(p.times is not None and p.type.value == "recycler" for p in problem.kit.parts)
    if problem.times and not timed:
        helps.append("a kit with more kinds of timers, such as --kit full: fewer parts will do")
    return helps


def wishes_in_force(problem: Problem) -> list[str]:
    """Return the keys of the limits of a problem, as a goal file names them."""
    limits = problem.limits
    without = [name for name, most in limits.most if most == 0]
    return [
        f"'{key}'"
        for key, there in (
            ("most", any(most for _, most in limits.most)),
            ("without", bool(without)),
            ("supply", limits.supply is not None),
            ("price", limits.price is not None),
            ("least", bool(limits.least)),
            ("spare", bool(limits.spare)),
            ("branches", bool(limits.branches)),
            ("untimed", bool(limits.untimed)),
        )
        if there
    ]
