"""A design for the goals alone, mended until it is built as was wished.

Where a search with wishes found nothing in its time, one without them may have: its design is
changed as a person would change it. A load that must not hang on a timer's contact, or on a branch
with another load, is fed by a make contact of its own, whose coil takes the place of the load. The
same goes for relays that are asked for. Units to spare are for those who share out power. What
comes out is a wiring to be shared out and checked; nothing is claimed of it here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.parts.behaviour import SPLITTING, TIMED, PartType
from synth.parts.kit import Kit
from synth.problem import Limits, Problem


def wished(problem: Problem) -> bool:
    """Return whether a problem has wishes for how a design is built."""
    limits = problem.limits
    return bool(limits.least or limits.spare or limits.branches or limits.untimed)


def without_wishes(problem: Problem) -> Problem:
    """Return the problem without its wishes for how a design is built; whatever solves the
    problem solves this one, so that a bound on this one holds there too."""
    limits = replace(problem.limits, least=(), spare=0, branches=(), untimed=())
    return replace(problem, limits=limits)


def mended(design: Design, problem: Problem) -> Iterator[Skeleton]:
    """Give wirings made from `design` that keep the wishes of `problem`, if there are any; the
    one with the fewest changes first."""
    kit, limits = problem.kit, problem.limits
    relays = kit.of_type(PartType.RELAY_MAKE)
    plain = unshared(design)
    loads = [part.name for part in plain.parts if part.type is PartType.LOAD]
    own = [load for load in loads if load in limits.untimed and _timed(plain, kit, load)]
    for one, other in limits.branches:
        if one not in own and other not in own and _shared(plain, kit, one, other):
            own.append(other)
    if own and not relays:
        return
    wiring = plain
    for load in own:
        wiring = behind_a_relay(wiring, load, relays[0].name)
    used = Counter(part.part for part in wiring.parts)
    wanted = [name for name, number in limits.least for _ in range(number - used[name])]
    if any(kit.index[name].type is not PartType.RELAY_MAKE for name in wanted):
        return
    # Which loads get the relays asked for does not matter; some may mind a step of delay.
    for first in range(len(loads) if wanted else 1):
        trial = wiring
        for number, name in enumerate(wanted):
            trial = behind_a_relay(trial, loads[(first + number) % len(loads)], name)
        if keeps(trial, kit, limits):
            yield trial


def unshared(design: Design) -> Skeleton:
    """Return the wiring of a design before its power was shared."""
    kinds = {part.name: part.type for part in design.parts}
    fed = {wire.target: wire.source for wire in design.wires}

    def behind(source: Terminal) -> Terminal:
        while kinds[source.part] in SPLITTING:
            source = fed[Terminal(source.part, "in")]
        return source

    parts = tuple(
        PartInUse(part.name, part.type, part.part) if part.type is PartType.SUPPLY else part
        for part in design.parts
        if part.type not in SPLITTING
    )
    feeds = tuple(
        (behind(source), target)
        for target, source in fed.items()
        if kinds[target.part] not in SPLITTING
    )
    return Skeleton(design.kit, parts, feeds)


def behind_a_relay(wiring: Skeleton, load: str, relay: str) -> Skeleton:
    """Return the wiring with a load fed by a make contact of its own: the coil takes its place."""
    numbers = {part.name for part in wiring.parts}
    name = next(n for i in range(1, len(numbers) + 2) if (n := f"{relay} {i}") not in numbers)
    supply = next(part.name for part in wiring.parts if part.type is PartType.SUPPLY)
    target = Terminal(load, "in")
    feeds = tuple(
        (source, Terminal(name, "coil") if end == target else end) for source, end in wiring.feeds
    )
    at = next(i for i, part in enumerate(wiring.parts) if part.name == load)
    parts = (
        *wiring.parts[:at], PartInUse(name, PartType.RELAY_MAKE, relay), *wiring.parts[at:],
    )  # fmt: skip
    more = (
        (Terminal(supply, "out"), Terminal(name, "in")),
        (Terminal(name, "out"), target),
    )
    return Skeleton(wiring.kit, parts, (*feeds, *more))


def keeps(wiring: Skeleton, kit: Kit, limits: Limits) -> bool:
    """Return whether a wiring keeps the wishes, as far as wires tell; the check has the word."""
    used = Counter(part.part for part in wiring.parts)
    return (
        not any(_timed(wiring, kit, load) for load in limits.untimed)
        and not any(_shared(wiring, kit, one, other) for one, other in limits.branches)
        and all(used[name] >= number for name, number in limits.least)
    )


def _behind(wiring: Skeleton, kit: Kit, load: str) -> dict[str, PartType]:
    """Return the parts through which power comes to a load."""
    parts = {part.name: part for part in wiring.parts}
    found: dict[str, PartType] = {}
    todo = [load]
    for name in todo:
        power = kit.index[parts[name].part].shape.power
        for source, end in wiring.feeds:
            if end.part == name and end.terminal in power and source.part not in found:
                found[source.part] = parts[source.part].type
                todo.append(source.part)
    return found


def _timed(wiring: Skeleton, kit: Kit, load: str) -> bool:
    return any(kind in TIMED for kind in _behind(wiring, kit, load).values())


def _shared(wiring: Skeleton, kit: Kit, one: str, other: str) -> bool:
    behind = _behind(wiring, kit, other)
    return any(
        name in behind for name, kind in _behind(wiring, kit, one).items()
        if kind is not PartType.SUPPLY
    )  # fmt: skip
