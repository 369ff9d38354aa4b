"""Problems taken apart into circuits, and circuits put together on one supply.

Loads that depend on no common input are circuits of their own; what lies behind a switch that cuts
off all of it is solved without that switch. All of this only turns one problem or wiring into
another: that the result does what is asked is for the exact check to say.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.parts.kit import KitPart
from synth.problem import InputKind, Problem, Requirement
from synth.search.bounds import essential
from synth.signals import (
    OFF,
    And,
    Const,
    Cycle,
    Level,
    Not,
    OffDelay,
    OnDelay,
    Or,
    Pulse,
    Signal,
    all_of,
    any_of,
    changed,
    inputs_of,
    loads_of,
    negated,
)


def separate(problem: Problem, by_signal: bool = False) -> list[Problem]:
    """Return the circuits of `problem` that share no input but the supply, in a stable order;
    with `by_signal` those whose loads share no signal, though they may share inputs or never be on
    together. Else loads that are never on together are of one circuit.

    Loads of two circuits that are to be on separate branches may stay in two: circuits that are
    put together share nothing but the supply, and what is left out of a part of the problem can
    only make it easier, so that a bound on it stays one.
    """
    groups: list[tuple[set[str], list[Requirement]]] = []
    for requirement in problem.requirements:
        inputs = () if by_signal else inputs_of(requirement.signal) - {"supply"}
        tokens = {f"in {name}" for name in inputs}
        tokens |= {f"load {n}" for n in loads_of(requirement.signal)} | {f"load {requirement.load}"}
        for pair in () if by_signal else problem.apart:
            if requirement.load in (pair.first, pair.second):
                tokens |= {f"load {pair.first}", f"load {pair.second}"}
        if by_signal or len(tokens) == 1:
            # What depends on the supply alone: equal wishes belong together.
            tokens.add(f"signal {requirement.signal}")
        same = [group for group in groups if group[0] & tokens]
        merged = (set(tokens), [requirement])
        for group in same:
            merged[0].update(group[0])
            merged[1].extend(group[1])
            groups.remove(group)
        groups.append(merged)
    order = {r.load: i for i, r in enumerate(problem.requirements)}
    pieces: list[Problem] = []
    for _, requirements in groups:
        requirements.sort(key=lambda r: order[r.load])
        loads = {r.load for r in requirements}
        whole = len(groups) == 1
        pieces.append(problem if whole else only(problem, loads))
    pieces.sort(key=lambda piece: order[piece.requirements[0].load])
    return pieces


def only(problem: Problem, loads: Collection[str]) -> Problem:
    """Return what `problem` asks of `loads` alone, with the inputs that matter to them: those of
    their signals, and those that keep one of these at 0, now and then or for good."""
    requirements = tuple(r for r in problem.requirements if r.load in loads)
    named = frozenset().union(*(inputs_of(r.signal) for r in requirements)) | {"supply"}
    comes_on = {
        item.name
        for item in problem.inputs
        if item.steady or (item.steady is None and item.most_off is not None)
    }
    groups = (comes_on & {*group} for group in problem.coupled if named & {*group})
    named = named.union(*groups)
    return replace(
        problem,
        requirements=requirements,
        inputs=tuple(item for item in problem.inputs if item.name in named),
        never_together=tuple(
            group
            for names in problem.never_together
            if len(group := tuple(n for n in names if n in named)) > 1
        ),
        apart=tuple(p for p in problem.apart if p.first in loads and p.second in loads),
        peak=None,
        energy=None,
        limits=replace(problem.limits.of_a_part().about(loads), supply=None),
    )


Lever = tuple[KitPart, str]
"""A switch of the kit and the outside input that works it."""


@dataclass(frozen=True)
class Piece:
    """A circuit of its own, and the switches in front of it, the one next to the supply first."""

    problem: Problem
    path: tuple[Lever, ...]


def take_apart(problem: Problem, path: tuple[Lever, ...] = ()) -> list[Piece]:
    """Return the circuits of `problem`: separated by inputs, each behind its common switches."""
    pieces: list[Piece] = []
    for piece in separate(problem):
        lever, inner = without_common_switch(piece)
        if lever is None:
            pieces.append(Piece(piece, path))
        else:
            pieces += take_apart(inner, (*path, lever))
    return pieces


def put_together(pieces: Sequence[tuple[tuple[Lever, ...], Skeleton]], depth: int = 0) -> Skeleton:
    """Return the circuits on one supply, each behind the switches of its path."""
    direct = [skeleton for path, skeleton in pieces if len(path) == depth]
    levers = dict.fromkeys(path[depth] for path, _ in pieces if len(path) > depth)
    for lever in levers:
        inside = [p for p in pieces if len(p[0]) > depth and p[0][depth] == lever]
        direct.append(behind_switch(put_together(inside, depth + 1), *lever))
    return join(direct)


def without_common_switch(problem: Problem) -> tuple[Lever | None, Problem]:
    """Return the switch that cuts off every load, and the problem behind it.

    Behind it the supply stands for "supply and lever". A design for that, put behind the switch,
    is one for the whole, and the least one: with the lever left on, any design of the whole is a
    design for the problem behind it plus at least that one switch. (None, problem) when no lever
    covers everything, and when two of the loads are to be on separate branches, which they are
    not behind one switch. (Whether the design put behind a switch does it is checked all the
    same.)
    """
    loads = {r.load for r in problem.requirements}
    if problem.limits.about(loads).branches:
        return None, problem
    limits = dict(problem.limits.most)
    switches = [
        part
        for part in problem.kit.of_type(PartType.SWITCH)
        if part.most != 0 and limits.get(part.name) != 0 and "make" in part.options
    ]
    for item in problem.inputs if switches else ():
        bounded = item.least_on or item.least_off or item.most_on or item.most_off
        if item.kind is not InputKind.SWITCH or item.steady is not None or bounded:
            continue
        if any(item.name in group for group in problem.never_together):
            continue
        # Behind it the supply returns when the lever is thrown, too.
        if any(
            "supply" in other.released_as and item.name not in other.released_as
            for other in problem.inputs
        ):
            continue
        if any(item.name not in inputs_of(r.signal) for r in problem.requirements):
            continue
        if any(without(r.signal, item.name) != OFF for r in problem.requirements):
            continue
        if item.name not in essential(problem):
            continue
        signals = [behind(r.signal, item.name) for r in problem.requirements]
        if any(item.name in inputs_of(signal) for signal in signals):
            continue
        inner = replace(
            problem,
            requirements=tuple(
                replace(r, signal=s) for r, s in zip(problem.requirements, signals, strict=True)
            ),
            inputs=tuple(other for other in problem.inputs if other.name != item.name),
            limits=problem.limits.of_a_part(),
        )
        return (switches[0], item.name), inner
    return None, problem


def without(signal: Signal, lever: str) -> Signal:
    """Return what is left of `signal` while the input `lever` is 0 for good."""

    def inside(s: Signal) -> Signal:
        return without(s, lever)

    match signal:
        case Level(name):
            return OFF if name == lever else signal
        case And(of):
            return all_of(*(inside(piece) for piece in of))
        case Or(of):
            return any_of(*(inside(piece) for piece in of))
        case Not(of):
            return negated(inside(of))
        case Const():
            return signal
    if inside(signal.enable) == OFF:
        return OFF
    match signal:
        case Pulse(start=wish) | OnDelay(of=wish) | OffDelay(of=wish) | Cycle(gate=wish):
            finishing = isinstance(signal, Cycle) and signal.finish
            return OFF if inside(wish) == OFF and not finishing else signal
    return signal


def behind(signal: Signal, lever: str) -> Signal:
    """Return `signal` with "supply and lever" replaced by the supply alone."""

    def inside(s: Signal) -> Signal:
        return behind(s, lever)

    if isinstance(signal, And) and Level("supply") in signal.of:
        signal = And(tuple(piece for piece in signal.of if piece != Level(lever)))
    return changed(signal, inside)


def join(skeletons: list[Skeleton]) -> Skeleton:
    """Return all circuits on one supply; parts are numbered anew where names clash."""
    parts: list[PartInUse] = [skeletons[0].parts[0]]
    feeds: list[tuple[Terminal, Terminal]] = []
    taken = {"supply"}
    for skeleton in skeletons:
        names = {"supply": "supply"}
        for part in skeleton.parts:
            if part.type is PartType.SUPPLY:
                continue
            name, number = part.name, 1
            while name in taken:
                number += 1
                name = f"{part.name.rsplit(' ', 1)[0]} {number}"
            taken.add(name)
            names[part.name] = name
            parts.append(replace(part, name=name))
        feeds += [
            (Terminal(names[s.part], s.terminal), Terminal(names[t.part], t.terminal))
            for s, t in skeleton.feeds
        ]
    return Skeleton(skeletons[0].kit, tuple(parts), tuple(feeds))


def behind_switch(skeleton: Skeleton, switch: KitPart, lever: str) -> Skeleton:
    """Return `skeleton` with everything on the supply moved behind a switch worked by `lever`."""
    name = f"{switch.name} {lever} 1"
    supply, out = Terminal("supply", "out"), Terminal(name, "out")
    settings: tuple[tuple[str, str | int], ...] = (("contact", "make"), ("input", lever))
    part = PartInUse(name, PartType.SWITCH, switch.name, settings)
    feeds = [(out if source == supply else source, target) for source, target in skeleton.feeds]
    return Skeleton(
        skeleton.kit,
        (skeleton.parts[0], part, *skeleton.parts[1:]),
        ((supply, Terminal(name, "in")), *feeds),
    )


def may_be_held(problem: Problem, names: Collection[str]) -> bool:
    """Return whether the inputs `names` may all stay as they are for good, whatever the others do.

    Each may stay at 0, or else, where it may not, at 1 (see `Alone` for what this is good for).
    """
    on: set[str] = set()
    for item in problem.inputs:
        if item.name not in names:
            continue
        if item.steady is True or (item.most_off is not None and item.steady is None):
            if (item.most_on is not None and item.steady is None) or item.released_as:
                return False
            on.add(item.name)
    return not any(set(group) & on for group in problem.never_together)


def may_be_open(problem: Problem, names: Collection[str]) -> bool:
    """Return whether the inputs `names` may be held so that one sensing part for each is open.

    A make contact is open at 0, a break contact at 1. (Sensing parts that offer one contact only
    are not told apart, which only means a "no" more often.)
    """
    together = {name for group in problem.never_together for name in group}
    buttons = problem.kit.of_type(PartType.PUSH_BUTTON)
    if any("break" in part.options for part in buttons):
        # To be open one of these would have to be pressed, and not every button may be.
        together |= {item.name for item in problem.inputs if item.released_as}
    return all(
        item.steady is None
        and item.most_on is None
        and item.most_off is None
        and item.name not in together
        for item in problem.inputs
        if item.name in names
    )
