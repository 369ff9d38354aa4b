"""The changes of a design that show what each part, wire and setting is for.

Changes are made to the *bare* design: without its splitting parts, each input fed by the output
behind them (their outputs are live together, so this changes nothing but units). What is left out
is expressed by absence: an input without a wire is dead. Outputs that can never be live are taken
away with it, and so are parts that no load depends on any more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from synth.design import TIME_SETTINGS, Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import SPLITTING, TIMED, PartType
from synth.parts.kit import Kit, KitPart
from synth.problem import Problem
from synth.reasons import Change
from synth.ticks import format_duration


@dataclass(frozen=True)
class Variation:
    """One change: `told` in words, and what comes of it.

    `design` is bare and pruned, but whole, with its splitting parts, for Change.UNITS.
    """

    part: str
    change: Change
    told: str
    design: Design
    wire: int | None = None
    note: str = ""
    """What has to be said beside, should all goals hold."""

    @property
    def gone(self) -> bool:
        """Whether the changed design does not have the part at all."""
        return all(part.name != self.part for part in self.design.parts)


def variations(design: Design, problem: Problem) -> Iterator[Variation]:
    """Yield the changes of each part but the loads, in the order of the design, then of wires."""
    kit = problem.kit
    plain = bare(design)
    for part in design.parts:
        if part.type is PartType.LOAD:
            continue
        offer = kit.index[part.part]
        yield _left_out(plain, part.name, consumers(design, part.name), kit)
        if part.type in (PartType.SUPPLY, PartType.TAP_OFF):
            yield from _units(design, part, offer)
        elif part.type is PartType.JOINT:
            yield from _one_side(plain, part, kit)
        elif part.type not in SPLITTING:
            yield from _bridged(plain, part, kit)
            yield from _direct(plain, part, kit)
            yield from _shared(plain, part, kit)
            yield from _set_otherwise(plain, part, offer, problem)
    for wire in design.wires:
        behind = {wire.target} | consumers(design, wire.target.part, only_splitting=True)
        told = f"without wire {wire.number}"
        changed = _left_out(plain, "", behind, kit)
        yield replace(changed, change=Change.WIRE, told=told, wire=wire.number)


def _left_out(plain: Design, name: str, dead: set[Terminal], kit: Kit) -> Variation:
    """Return the design without what feeds the inputs `dead`; its note names the inputs that
    would be left open at parts that are still needed."""
    changed = pruned(_without(plain, dead), kit)
    still = {part.name for part in changed.parts}
    open_ones = {w.target for w in plain.wires} - {w.target for w in changed.wires}
    names = " and ".join(str(t) for t in sorted(open_ones) if t.part in still)
    note = f", but no input may be left open, as {names} would be" if names else ""
    return Variation(name, Change.LEFT_OUT, f"without {name}", changed, note=note)


def bare(design: Design) -> Design:
    """Return the design without splitting parts: each input is fed by the output behind them."""
    splitting = {part.name for part in design.parts if part.type in SPLITTING}
    source = {wire.target: wire.source for wire in design.wires}

    def origin(output: Terminal) -> Terminal:
        while output.part in splitting:
            output = source[Terminal(output.part, "in")]
        return output

    return Design(
        design.kit,
        tuple(part for part in design.parts if part.name not in splitting),
        tuple(
            Wire(wire.number, origin(wire.source), wire.target)
            for wire in design.wires
            if wire.target.part not in splitting
        ),
    )


def consumers(design: Design, name: str, only_splitting: bool = False) -> set[Terminal]:
    """Return the inputs that the part `name` feeds, looked at through splitting parts.

    `only_splitting`: none unless the part itself only splits power.
    """
    splitting = {part.name for part in design.parts if part.type in SPLITTING}
    if only_splitting and name not in splitting:
        return set()
    found: set[Terminal] = set()
    waiting = [name]
    while waiting:
        at = waiting.pop()
        for wire in design.wires:
            if wire.source.part == at:
                found.add(wire.target)
                if wire.target.part in splitting:
                    waiting.append(wire.target.part)
    return found


def _without(plain: Design, dead: set[Terminal]) -> Design:
    return replace(plain, wires=tuple(w for w in plain.wires if w.target not in dead))


def pruned(design: Design, kit: Kit) -> Design:
    """Return a bare design without wires that are never live, and without parts that no load
    depends on.

    A wire is never live when its output has no way back to the supply through power inputs.
    """
    power = {
        part.name: {Terminal(part.name, name) for name in kit.index[part.part].shape.power}
        for part in design.parts
    }
    alive = {part.name for part in design.parts if part.type is PartType.SUPPLY}
    growing = True
    while growing:
        more = {
            wire.target.part
            for wire in design.wires
            if wire.source.part in alive and wire.target in power[wire.target.part]
        }
        growing = not more <= alive
        alive |= more
    wires = [wire for wire in design.wires if wire.source.part in alive]
    kept = {part.name for part in design.parts if part.type in (PartType.LOAD, PartType.SUPPLY)}
    waiting = list(kept)
    while waiting:
        at = waiting.pop()
        for wire in wires:
            if wire.target.part == at and wire.source.part not in kept:
                kept.add(wire.source.part)
                waiting.append(wire.source.part)
    return Design(
        design.kit,
        tuple(part for part in design.parts if part.name in kept),
        tuple(wire for wire in wires if wire.target.part in kept),
    )


def _bridged(plain: Design, part: PartInUse, kit: Kit) -> Iterator[Variation]:
    """Bridge each contact in use: what hangs on it hangs on the part's power input instead."""
    outputs = kit.index[part.part].shape.outputs
    feeding = [w.source for w in plain.wires if w.target == Terminal(part.name, "in")]
    for output in outputs:
        contact = Terminal(part.name, output)
        if not feeding or all(wire.source != contact for wire in plain.wires):
            continue
        wires = [
            replace(wire, source=feeding[0]) if wire.source == contact else wire
            for wire in plain.wires
        ]
        which = part.name if len(outputs) == 1 else f"the {output} contact of {part.name}"
        changed = Variation(
            part.name,
            Change.BRIDGED,
            f"with {which} bridged",
            pruned(replace(plain, wires=tuple(wires)), kit),
        )
        more = f", but what feeds {part.name} feeds one more wire"
        yield changed if changed.gone else replace(changed, note=more)


def _one_side(plain: Design, part: PartInUse, kit: Kit) -> Iterator[Variation]:
    """Put a plain wire from either side of a joint in its place."""
    for way in [w.source for w in plain.wires if w.target.part == part.name]:
        wires = [replace(w, source=way) if w.source.part == part.name else w for w in plain.wires]
        rewired = replace(plain, wires=tuple(wires))
        if not _loops(rewired, way.part, kit):
            told = f"with a plain wire from {way} in place of {part.name}"
            yield Variation(part.name, Change.BRIDGED, told, pruned(rewired, kit))


DIRECT = frozenset({PartType.RELAY_MAKE, PartType.RELAY_CHANGEOVER, *TIMED})
"""Parts whose first contact closes because their control is live."""


def _direct(plain: Design, part: PartInUse, kit: Kit) -> Iterator[Variation]:
    """Let what works a relay or timer feed straight what its contact fed; not where that would
    close a loop of power, nor where it is the same as to bridge it."""
    shape = kit.index[part.part].shape
    if part.type not in DIRECT or not shape.controls:
        return
    contact = Terminal(part.name, shape.outputs[0])
    source = {wire.target: wire.source for wire in plain.wires}
    way = source.get(Terminal(part.name, shape.controls[0]))
    used = sorted(wire.target for wire in plain.wires if wire.source == contact)
    if way is None or not used or way == source.get(Terminal(part.name, "in")):
        return
    wires = [replace(w, source=way) if w.source == contact else w for w in plain.wires]
    rewired = replace(plain, wires=tuple(wires))
    if _loops(rewired, way.part, kit):
        return
    changed = Variation(
        part.name,
        Change.DIRECT,
        f"with {way} wired straight to {' and '.join(map(str, used))}, past {part.name}",
        pruned(rewired, kit),
    )
    yield changed if changed.gone else replace(changed, note=f", but {way} feeds one more wire")


def _shared(plain: Design, part: PartInUse, kit: Kit) -> Iterator[Variation]:
    """Let the first equal part, set and worked alike, feed what this one fed."""
    controls = kit.index[part.part].shape.controls
    source = {wire.target: wire.source for wire in plain.wires}

    def worked(name: str) -> list[Terminal | None]:
        return [source.get(Terminal(name, control)) for control in controls]

    for other in plain.parts:
        alike = other.part == part.part and other.settings == part.settings
        if other.name == part.name or not alike or worked(other.name) != worked(part.name):
            continue
        wires = [
            replace(w, source=Terminal(other.name, w.source.terminal))
            if w.source.part == part.name
            else w
            for w in plain.wires
        ]
        rewired = replace(plain, wires=tuple(wires))
        if not _loops(rewired, other.name, kit):
            yield Variation(
                part.name,
                Change.SHARED,
                f"with {other.name} in place of {part.name} too",
                pruned(rewired, kit),
                note=f", but {other.name} feeds more wires",
            )
        return


def _loops(design: Design, name: str, kit: Kit) -> bool:
    """Return whether power that leaves the part `name` comes back to it through power inputs."""
    power = {
        Terminal(part.name, terminal)
        for part in design.parts
        for terminal in kit.index[part.part].shape.power
    }
    seen: set[str] = set()
    waiting = {name}
    while waiting:
        after = {w.target.part for w in design.wires if w.source.part in waiting
                 and w.target in power}  # fmt: skip
        waiting = after - seen
        seen |= after
    return name in seen


def _set_otherwise(
    plain: Design, part: PartInUse, offer: KitPart, problem: Problem
) -> Iterator[Variation]:
    for key, value in part.settings:
        for other in _others(key, value, offer, problem):
            settings = tuple((k, other if k == key else v) for k, v in part.settings)
            changed = tuple(
                replace(item, settings=settings) if item.name == part.name else item
                for item in plain.parts
            )
            shown = format_duration(other) if isinstance(other, int) else other
            told = {
                "time": f"set to {shown}",
                "on": f"on for {shown}",
                "off": f"off for {shown}",
                "contact": f"as a {shown} contact",
                "passes": f"passing {shown}",
                "wins": f"made so that {shown} wins",
                "first": f"beginning with the {shown}",
            }[key]
            yield Variation(
                part.name,
                Change.SETTING,
                f"with {part.name} {told}",
                pruned(replace(plain, parts=changed), problem.kit),
            )


def _others(key: str, value: str | int, offer: KitPart, problem: Problem) -> tuple[str | int, ...]:
    """Return the values to try for one setting: the next shorter and longer time that the part
    takes, the other choices that the kit offers."""
    if key in TIME_SETTINGS and isinstance(value, int):
        if offer.times is not None:
            step = offer.times.step
            return tuple(t for t in (value - step, value + step) if t in offer.times)
        shorter = [t for t in problem.times if t < value]
        longer = [t for t in problem.times if t > value]
        return (*shorter[-1:], *longer[:1])
    if key in ("contact", "passes", "wins", "first"):
        return tuple(option for option in offer.options if option != value)
    return ()


def _units(design: Design, part: PartInUse, offer: KitPart) -> Iterator[Variation]:
    """One unit less at the supply, one less and one more at a tap-off's branch."""
    units = part.setting("units")
    assert isinstance(units, int)
    loose = replace(design, wires=tuple(replace(wire, units=None) for wire in design.wires))
    for step in (-1,) if part.type is PartType.SUPPLY else (-1, 1):
        if units + step < 1 or (offer.largest is not None and units + step > offer.largest):
            continue  # no such setting
        settings = tuple((k, units + step if k == "units" else v) for k, v in part.settings)
        changed = tuple(
            replace(item, settings=settings) if item.name == part.name else item
            for item in loose.parts
        )
        amount = f"{units + step} unit{'' if units + step == 1 else 's'}"
        yield Variation(
            part.name, Change.UNITS, f"with {part.name} set to {amount}",
            replace(loose, parts=changed),
        )  # fmt: skip
