"""The plain simulation of a whole design: load by load, times scaled down, every situation.

It is given one load after another (what acts on no load in common cannot matter to it), and times
scaled down by their greatest common divisor. Both are sound: outputs depend only on what is before
them, and a circuit knows no time but its own settings. Of a run in which every setting, every time
in the goals, every known time of an input and every moment is divided by the same number, the
levels are the same; so a design does what is asked if and only if the scaled one does what is asked
of it scaled. Nothing is scaled unless all of these divide.
"""

from __future__ import annotations

import dataclasses
import math
from collections import Counter
from collections.abc import Iterator

from plain_simulation import STEP, Broken, Plain, Situation

from synth.design import TIME_SETTINGS, Design, PartInUse, Terminal
from synth.parts.behaviour import CONTROLLED, SHAPES, PartType
from synth.parts.kit import Kit
from synth.problem import InputKind, OutsideInput, Problem
from synth.signals import Signal, inputs_of, loads_of, times_of


def scaled_signal(signal: Signal, by: int) -> Signal:
    """Return the signal with each time divided by `by` and in steps of the plain simulation."""

    def scaled(value: object) -> object:
        if isinstance(value, tuple):
            return tuple(scaled(piece) for piece in value)
        return scaled_signal(value, by) if isinstance(value, Signal) else value

    fields = {f.name: scaled(getattr(signal, f.name)) for f in dataclasses.fields(signal)}
    if fields.get("time"):
        fields["time"] = scaled_time(fields["time"], by)
    if "gate" in fields:
        fields |= {key: scaled_time(fields[key], by) for key in ("on", "off")}
    return type(signal)(**fields)


def scaled_time(ticks: object, by: int) -> int:
    """Four steps for each `by` ticks, so that an input can go off and on between two of them."""
    assert isinstance(ticks, int) and ticks % by == 0
    return ticks // by * 4 * STEP


KNOWN = ("least_on", "most_on", "least_off", "most_off")


def behind_each_load(design: Design, problem: Problem) -> Iterator[tuple[Design, Problem]]:
    """Yield the parts of `design` that act on one load, with what is asked of it, load by load.

    Loads that must not be on together, or of which one's goal looks at another, stay together.
    Parts that act on no load come by themselves: they still have to settle.
    """
    groups = [{r.load} for r in problem.requirements]
    ties = [{apart.first, apart.second} for apart in problem.apart]
    ties += [{r.load, *loads_of(r.signal)} for r in problem.requirements]
    for tie in ties:
        joined = set().union(*(group for group in groups if group & tie))
        groups = [group for group in groups if not group & tie] + [joined]
    source = {wire.target: wire.source.part for wire in design.wires}
    before: dict[str, set[str]] = {}
    for target, part in source.items():
        before.setdefault(target.part, set()).add(part)

    def acting_on(names: set[str]) -> set[str]:
        found, waiting = set(names), list(names)
        while waiting:
            new = before.get(waiting.pop(), set()) - found
            found |= new
            waiting += new
        return found

    circles = [(group, acting_on(group)) for group in groups]
    loose = {part.name for part in design.parts if part.type in CONTROLLED}
    for name in sorted(loose.difference(*(parts for _, parts in circles))):
        circles.append((set(), acting_on({name})))
    for group, names in circles:
        parts = tuple(part for part in design.parts if part.name in names)
        wires = tuple(wire for wire in design.wires if wire.target.part in names)
        asked = tuple(r for r in problem.requirements if r.load in group)
        inputs = {"supply", *(str(part.setting("input")) for part in parts)}
        inputs |= {"night" for part in parts if part.type is PartType.TWILIGHT}
        inputs.update(*(inputs_of(requirement.signal) for requirement in asked))
        yield (
            Design(design.kit, parts, wires),
            dataclasses.replace(
                problem,
                requirements=asked,
                inputs=tuple(item for item in problem.inputs if item.name in inputs),
                never_together=tuple(
                    tuple(name for name in together if name in inputs)
                    for together in problem.never_together
                ),
                apart=tuple(apart for apart in problem.apart if apart.first in group),
            ),
        )


def scaled_down(design: Design, problem: Problem) -> tuple[Design, Problem]:
    """Return both with all times divided by their greatest common divisor."""
    times = {v for p in design.parts for key, v in p.settings if key in TIME_SETTINGS}
    times |= {getattr(item, key) or 0 for item in problem.inputs for key in KNOWN}
    by = math.gcd(*times, *set().union(*(times_of(r.signal) for r in problem.requirements)))

    def part(old: PartInUse) -> PartInUse:
        settings = ((k, scaled_time(v, by) if k in TIME_SETTINGS else v) for k, v in old.settings)
        return dataclasses.replace(old, settings=tuple(settings))

    def known(item: OutsideInput) -> OutsideInput:
        told = {key: getattr(item, key) for key in KNOWN if getattr(item, key)}
        return dataclasses.replace(item, **{k: scaled_time(v, by) for k, v in told.items()})

    requirements = tuple(
        dataclasses.replace(r, signal=scaled_signal(r.signal, by)) for r in problem.requirements
    )
    inputs = tuple(map(known, problem.inputs))
    return (
        dataclasses.replace(design, parts=tuple(map(part, design.parts))),
        dataclasses.replace(problem, requirements=requirements, inputs=inputs),
    )


class TooMany(Exception):
    """More situations than a plain simulation can go through."""


Ages = tuple[tuple[int, bool], ...]
"""Of each input of which times are known: steps since it changed, and whether it was at this
level already before the beginning (its shortest time then does not bind)."""


def may_follow(
    facts: list[OutsideInput], ages: Ages, old: dict[str, bool], new: dict[str, bool]
) -> Ages | None:
    """Return the ages one step later at levels `new`; None when what is known forbids that."""
    after: list[tuple[int, bool]] = []
    for item, (age, before) in zip(facts, ages, strict=True):
        on = old[item.name]
        least, most = (item.least_on, item.most_on) if on else (item.least_off, item.most_off)
        age += 1
        if new[item.name] != on:
            if not before and age * STEP < (least or 0):
                return None
            after.append((0, False))
        elif most and age * STEP >= most:
            return None
        else:
            after.append((min(age, max(least or 0, most or 0) // STEP), before))
    return tuple(after)


def some_situation_fails(design: Design, problem: Problem, most: int) -> Broken | None:
    """Return something that goes wrong, in any situation that whole steps lead to, however late.

    All allowed levels of all inputs are tried at every step. None: nothing goes wrong on this
    grid. Raises TooMany when there are more than `most` situations.
    """
    plain = Plain(design, problem)
    vectors = plain.allowed()
    facts = [item for item in problem.inputs if any(getattr(item, key) for key in KNOWN)]
    waiting: list[tuple[Situation, Ages]] = []
    seen: set[object] = set()

    def reached(after: Situation | Broken | None, ages: Ages) -> Broken | None:
        if isinstance(after, Broken):
            return after
        assert after is not None
        key = (after.key(), ages)
        if key not in seen:
            if len(seen) == most:
                raise TooMany
            seen.add(key)
            waiting.append((after, ages))
        return None

    ages: Ages | None = tuple((0, item.kind is not InputKind.SUPPLY) for item in facts)
    assert ages is not None
    for levels in vectors:
        if levels["supply"]:
            broken = reached(plain.event(plain.first(), levels, False), ages)
            if broken:
                return broken
    assert waiting
    while waiting:
        now, then = waiting.pop()
        for levels in vectors:
            ages = may_follow(facts, then, now.levels, levels)
            if ages is not None:
                broken = reached(plain.event(now, levels, True), ages)
                if broken:
                    return broken
    return None


def too_little(design: Design, kit: Kit) -> str | None:
    """Return what gets fewer units than it needs, by the rules of sharing alone.

    Shares of a divider: Graham, Knuth, Patashnik, *Concrete Mathematics*, eq. (3.24). A tap-off's
    branch takes what it is set to: common practice, no source. A joint is sure of the lesser of
    what its inputs bring.
    """
    source = {wire.target: wire.source for wire in design.wires}
    parts = {part.name: part for part in design.parts}
    assert len(source) == len(set(source.values())) == len(design.wires)

    def units(output: Terminal) -> int:
        part = parts[output.part]
        if part.type is PartType.SUPPLY:
            return design.supply
        arriving = [units(source[Terminal(part.name, t)]) for t in SHAPES[part.type].power]
        if part.type is PartType.TAP_OFF:
            branch = min(arriving[0], int(part.setting("units") or 0))
            return branch if output.terminal == "branch" else arriving[0] - branch
        if part.type is PartType.DIVIDER:
            used = [t for t in kit.index[part.part].shape.outputs if Terminal(part.name, t) in outs]
            place = used.index(output.terminal) + 1
            return math.ceil((arriving[0] - place + 1) / len(used))
        return min(arriving)

    outs = set(source.values())
    for part in design.parts:
        needs = part.setting("needs") if part.type is PartType.LOAD else kit.index[part.part].units
        controls = SHAPES[part.type].controls
        for terminal in SHAPES[part.type].power if part.type is PartType.LOAD else controls:
            if units(source[Terminal(part.name, terminal)]) < int(needs or 1):
                return f"{part.name}:{terminal}"
    return None


def over_the_limits(design: Design, problem: Problem) -> str | None:
    """Return which stated limit is exceeded."""
    limits, used = problem.limits, Counter(part.part for part in design.parts)
    if limits.supply is not None and design.supply > limits.supply:
        return "supply"
    if limits.price is not None and design.price(problem.kit) > limits.price:
        return "price"
    return next((name for name, most in limits.most if used[name] > most), None)


def in_use_at_most(design: Design, kit: Kit) -> int:
    """Return the units that all loads and control inputs use together."""
    total = 0
    for part in design.parts:
        if part.type is PartType.LOAD:
            total += int(part.setting("needs") or kit.index[part.part].units)
        else:
            total += kit.index[part.part].units * len(SHAPES[part.type].controls)
    return total


BROKEN: dict[object, Broken | None] = {}
"""What was found for one load's circuit: the mutants of a design have most of them in common."""


def plainly_fails(design: Design, problem: Problem, most: int = 100_000) -> str | None:
    """Return what is wrong with `design` as far as rules and simulation of this file can see."""
    # Load by load nothing can be said of what is in use together, but that all of it is no more.
    assert problem.peak is None or in_use_at_most(design, problem.kit) <= problem.peak.units
    short = too_little(design, problem.kit) or over_the_limits(design, problem)
    if short:
        return short
    for circuit, asked in behind_each_load(design, problem):
        wires = frozenset((wire.source, wire.target) for wire in circuit.wires)
        key = (circuit.parts, wires, asked.requirements, asked.inputs, asked.kit.name)
        if key not in BROKEN:
            BROKEN[key] = some_situation_fails(*scaled_down(circuit, asked), most)
        found = BROKEN[key]
        if found:
            return f"{found.load or 'circuit'}: {found.how}"
    return None
