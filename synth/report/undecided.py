"""What to say where time ran out: what was tried, what is known so far, and what may help."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from synth.days import day_in_words, in_words, shares_in_words, unit_hours
from synth.problem import InputKind, Objective, OutsideInput, Problem
from synth.result import Ending, LeftOpen, OpenFor, Outcome, Why
from synth.signals import SignalMachine, Toggle, inputs_of
from synth.wording import listed

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


_OPEN = {
    OpenFor.TOO_LARGE: "whether it can be wired is too large a question to be put to the solver",
    OpenFor.UNCHECKED: "a wiring of it was found, and the exact check of that did not come to an "
    "end, so nothing is claimed of it",
    OpenFor.DEARER: "no wiring that stands was found at its least price, and none was ruled out",
    OpenFor.WIRINGS: "it has more wirings than are gone through one by one",
}
MORE_TIME = 10
"""So many times the time that was not enough is advised: less seldom changes anything."""
LONGEST = 86_400
"""The most seconds that --time-limit takes."""


def why_ended(ending: Ending, problem: Problem) -> list[str]:
    """Return in sentences why a search ended before all was proven."""
    sought = _sought(ending.loads, problem)
    told = []
    match ending.why:
        case Why.TIME:
            told.append(
                f"the time ran out ({ending.seconds:g} s for all of the search) while "
                f"{sought} was sought"
            )
        case Why.STOPPED:
            told.append(f"it was stopped (Ctrl-C) while {sought} was sought")
        case Why.UNORDERED:
            told.append(
                "all parts lists were asked; but what was refuted of single circuits does not "
                "refute the whole, where they may share parts, so nothing is claimed"
            )
        case Why.LEFT_OPEN:
            unchecked = any(one.why is OpenFor.UNCHECKED for one in ending.left_open)
            told.append(
                "not for want of time"
                + ("" if unchecked else ", so more of it does not help")
                + ": all that could be asked was asked, and a question was left open"
            )
    kinds: dict[OpenFor, list[LeftOpen]] = {}
    for one in ending.left_open:
        kinds.setdefault(one.why, []).append(one)
    for why, ones in kinds.items():
        more = f" (so with {len(ones) - 1} more)" if len(ones) > 1 else ""
        told.append(
            f"left open for {listed(ones[0].loads)}: the parts list {_parts(ones[0].parts)}"
            f"{more}, since {_OPEN[why]}"
        )
    return told


def _sought(loads: Sequence[str], problem: Problem) -> str:
    """Return what was sought, with the loads and the numbers of their goals."""
    if not loads or len(loads) == len(problem.requirements):
        return "a circuit for all goals"
    return f"a circuit for {listed(loads)} ({_goals_of(loads, problem)})"


def _goals_of(loads: Sequence[str], problem: Problem) -> str:
    numbers = sorted({n for r in problem.requirements if r.load in loads for n in r.goals})
    return f"goal{'s' if len(numbers) > 1 else ''} {listed(numbers)}"



def _parts(names: Sequence[str]) -> str:
    counts = Counter(names)
    told = ", ".join(name if n == 1 else f"{n} x {name}" for name, n in counts.items())
    return told or "of no part at all"


def _more_time(seconds: float) -> int:
    """Return what to give to --time-limit where so many seconds were not enough, in whole minutes;
    the search itself says nothing about how long it would take."""
    return min(LONGEST, 60 * math.ceil(MORE_TIME * seconds / 60))


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
    solved = outcome.ending.solved if outcome.ending is not None else ()
    if solved:
        told.append(
            f"for {listed(solved)} ({_goals_of(solved, problem)}) there is a circuit: without the "
            "rest they can be planned"
        )
    use, energy = outcome.least_energy, problem.energy
    if use is not None and energy is not None:
        told.append(
            f"goal {energy.goal} allows {unit_hours(energy.unit_hours)} a day, and the least that "
            f"was met of a design for all other goals is {in_words(use.total)}: "
            f"{day_in_words(use, problem)}, {shares_in_words(use)}"
        )
    return told


def what_may_help(
    problem: Problem, time_up: bool = True, ending: Ending | None = None
) -> list[str]:
    """Return what a user can change so that the same question is decided sooner, what helps most
    first; more time only where it was the time that ended the search. `ending`: how it ended, where
    that is known."""
    helps = _about_toggles(problem)
    left_open = ending.left_open if ending is not None else ()
    large = any(one.why is OpenFor.TOO_LARGE for one in left_open)
    if ending is not None and ending.why is Why.STOPPED:
        helps.append(f"to let it go on: it had {ending.seconds:g} s")
    elif ending is not None and ending.why is Why.TIME:
        helps.append(f"more time, such as --time-limit {_more_time(ending.seconds)}")
    elif ending is not None and any(one.why is OpenFor.UNCHECKED for one in left_open):
        helps.append(f"more time for the check: --time-limit {_more_time(ending.seconds)}")
    elif ending is None and time_up:
        helps.append("more time: --time-limit SECONDS")
    if ending is None or not ending.fast:
        larger = ", which also takes questions twice as large" if large else ""
        helps.append(
            f"the optional second solver: --fast, after pip install '.[fast]'{larger}"
        )
    if ending is not None and 0 < len(ending.loads) < len(problem.requirements):
        helps.append(
            f"to plan {_goals_of(ending.loads, problem)} alone, where the search stood: what is "
            "proven of that is kept and used for the whole"
        )
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
    cuts = any(item.name == "supply" and item.steady is None for item in problem.inputs)
    if cuts and problem.machine.nodes:
        helps.append(
            "'supply never fails' under 'known', where a power cut may leave things wrong: to "
            "start afresh after each takes parts"
        )
    timed = any(p.times is not None and p.type.value == "recycler" for p in problem.kit.parts)
    if problem.times and not timed:
        helps.append("a kit with more kinds of timers, such as --kit full: fewer parts will do")
    return helps


def _about_toggles(problem: Problem) -> list[str]:
    """Say of loads that a button toggles what makes them dear: with the button held as power comes
    back to it, an impulse relay that was on lets its load blink before it changes over; to prevent
    that takes many parts, and so does to forget.
    """
    helps = []
    told: set[Toggle] = set()
    # What toggles one load may be part of what another one follows: the plainest is the one.
    for requirement in sorted(problem.requirements, key=lambda r: len(repr(r.signal))):
        for node in SignalMachine(((requirement.load, requirement.signal),)).nodes:
            if not isinstance(node, Toggle) or node in told:
                continue
            told.add(node)
            button = next((i for i in _buttons(problem) if i.name in inputs_of(node.of)), None)
            if button is None:
                continue
            own = inputs_of(requirement.signal)
            back = ["supply", *(i.name for i in problem.inputs if i.kind is InputKind.SWITCH)]
            comes = [n for n in back if n in own and n not in button.released_as]
            names = " or ".join("power" if n == "supply" else n for n in comes)
            known = f"'{button.name} is released when {names} comes on' under 'known'"
            keeps = f"'keeps its state' for '{requirement.load}'"
            if comes and inputs_of(node.enable):
                helps.append(
                    f"both together: {known}, where nobody holds it then, and {keeps}; to stand "
                    "the one and to start afresh takes many parts each"
                )
            elif comes:
                helps.append(
                    f"{known}, where nobody holds it then: that '{requirement.load}' stands it "
                    "takes many parts"
                )
            elif inputs_of(node.enable):
                helps.append(
                    f"{keeps}: to start afresh takes parts beside the one that toggles"
                )
    return helps


def _buttons(problem: Problem) -> list[OutsideInput]:
    return [item for item in problem.inputs if item.kind is InputKind.BUTTON]


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
