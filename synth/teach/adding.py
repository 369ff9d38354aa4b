"""Circuits that hold and come of the one before by adding alone: what is there stays as it is.

They show what that would cost, and stand in where the search finds none in time.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace

from synth.changes import free_name
from synth.design import Design, PartInUse, Skeleton, Terminal, Wire
from synth.errors import DesignError, Undecided
from synth.parts.behaviour import LEVERS, SENSING, PartType
from synth.parts.kit import KitPart
from synth.problem import InputKind, Problem
from synth.teach.attempts import MOST_STATES, Subject, Trial, added, subjects_of, whole

MOST_BUILT = 6
"""Circuits for which power is shared, the nearest to the one before first."""
_FOLLOWS = {
    InputKind.SWITCH: PartType.SWITCH,
    InputKind.BUTTON: PartType.PUSH_BUTTON,
    InputKind.SENSOR: PartType.SENSOR,
    InputKind.NIGHT: PartType.TWILIGHT,
}


def by_adding(
    old: Design,
    new: Design,
    problem: Problem,
    subjects: Sequence[Subject],
    trial: Trial,
    deadline: float,
) -> list[tuple[str, Design]]:
    """Return (in words, design that holds) for ways to add the loads and contacts of `new` to
    `old`, until a reading of `time.monotonic()`."""
    before = trial.bare(old)
    found = list[tuple[str, Design]]()
    for told, plain in added(before, trial.bare(new), problem.kit, subjects):
        if time.monotonic() >= deadline or len(found) >= MOST_BUILT:
            break
        built = _built(trial.pruned(plain, problem.kit), problem, trial, deadline)
        if built is not None:
            found.append((told, built))
    return found


def straight(before: Design, ways: Sequence[tuple[str, Design]]) -> str:
    """Return how new loads were added to `before`, bare, where they are hung on the supply itself
    and no contact is new: what comes to mind first. "" where none of the ways is that one."""
    supplies = {part.name for part in before.parts if part.type is PartType.SUPPLY}
    ends = [f" straight on {supply}:out" for supply in sorted(supplies)]
    return next((told for told, _ in ways if told.endswith(tuple(ends))), "")


def beside(
    old: Design, alone: Design, problem: Problem, trial: Trial, deadline: float
) -> Design | None:
    """Return `old` and `alone` side by side on one supply, if that holds."""
    one, other = trial.bare(old), trial.bare(alone)
    taken = {part.name for part in one.parts}
    names = {}
    for part in other.parts:
        if part.type is PartType.LOAD and part.name in taken:
            return None  # both have it
        if part.type is not PartType.SUPPLY:
            names[part.name] = free_name(part.name, taken)
    supply = next(part.name for part in one.parts if part.type is PartType.SUPPLY)
    for part in other.parts:
        if part.type is PartType.SUPPLY:
            names[part.name] = supply

    def named(end: Terminal) -> Terminal:
        return Terminal(names[end.part], end.terminal)

    more = [replace(p, name=names[p.name]) for p in other.parts if p.type is not PartType.SUPPLY]
    wires = [Wire(1000 + w.number, named(w.source), named(w.target)) for w in other.wires]
    plain = replace(one, parts=(*one.parts, *more), wires=(*one.wires, *wires))
    return _built(plain, problem, trial, deadline)


def as_wired(
    old: Design, new: Design, problem: Problem, trial: Trial, deadline: float
) -> Design | None:
    """Return `new` with every input that `old` has fed as it is there, splitting parts left aside,
    where that holds and costs no more; None where not, or nothing would change by it. Parts that
    are the same have the same names in both."""
    before, after = trial.bare(old), trial.bare(new)
    there = {part.name for part in after.parts}
    fed = {w.target: w.source for w in before.wires if w.source.part in there}
    wires = tuple(replace(w, source=fed.get(w.target, w.source)) for w in after.wires)
    if wires == after.wires:
        return None
    built = _built(replace(after, wires=wires), problem, trial, deadline)
    stock = problem.limits.stock

    def cost(design: Design) -> tuple[int, int, int]:
        return design.price(problem.kit, stock), design.supply, len(design.wires)

    return built if built is not None and cost(built) <= cost(new) else None


def with_contacts(old: Design, problem: Problem, trial: Trial, deadline: float) -> Design | None:
    """Return the cheapest of the circuits in which new loads, or one contact of an input that
    nothing in `old` follows yet, are added to `old`; None if none of them holds."""
    found = list[Design]()
    for loads, contact in _new_parts(old, problem):
        new = replace(old, parts=(*old.parts, *loads, *contact))
        ways = by_adding(old, new, problem, subjects_of(problem), trial, deadline)
        found += [design for _, design in ways]
    return min(
        found, key=lambda d: (d.price(problem.kit, problem.limits.stock), d.supply), default=None
    )


def _new_parts(old: Design, problem: Problem) -> Iterator[tuple[list[PartInUse], list[PartInUse]]]:
    known = {part.name for part in old.parts}
    line = problem.kit.of_type(PartType.LOAD)[0]
    loads = [
        PartInUse(r.load, PartType.LOAD, line.name, (("needs", r.needs),))
        for r in problem.requirements
        if r.load not in known
    ]
    followed = {p.setting("input") or "night" for p in old.parts if p.type in SENSING}
    levers = {p.setting("input") for p in old.parts if p.type in LEVERS}
    for item in problem.inputs:
        kind = _FOLLOWS.get(item.kind)
        offers = problem.kit.of_type(kind) if kind is not None else ()
        # To be put before a load that is there, a contact may follow what is followed already.
        if item.name in levers or (item.name in followed and loads):
            continue
        for offer in offers:
            for option in offer.options or ("",):
                yield loads, [_contact(offer, item.name, option, known)]
    if loads:
        yield loads, []


def _contact(offer: KitPart, of: str, option: str, known: set[str]) -> PartInUse:
    stem = f"{offer.name} {of}"
    number = next(n for n in range(1, len(known) + 2) if f"{stem} {n}" not in known)
    settings: list[tuple[str, str | int]] = []
    if offer.type is PartType.TWILIGHT:
        settings = [("passes", option)]
    else:
        settings = [("input", of), *([("contact", option)] if option else [])]
    return PartInUse(f"{stem} {number}", offer.type, offer.name, tuple(settings))


def _built(plain: Design, problem: Problem, trial: Trial, deadline: float) -> Design | None:
    """Return the circuit with its power shared if it is whole and holds, within the limits."""
    if not whole(plain, problem.kit):
        return None
    with suppress(DesignError, Undecided):
        for subject in subjects_of(problem):
            failed = trial.failure(plain, problem, subject, deadline, MOST_STATES)
            if failed is not None:
                return None
        wires = tuple((wire.source, wire.target) for wire in plain.wires)
        design = trial.share(Skeleton(plain.kit, plain.parts, wires), problem)
        if design is not None and trial.check(design, problem, deadline).holds:
            return design
    return None
