"""Little done to what is wired: parts that serve nothing taken out, one put in or left out.

Whoever changes a board by hand does not plan it anew: a lamp that is not wanted any more is taken
off, a timer is set anew, a sensor put in before a motor. All splitting parts stay where they are.
This only turns one design into another; that it does what is asked is for the exact check to say.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from synth.changes import free_name
from synth.design import Design, PartInUse, Terminal, Wire
from synth.explore.remedies import FOLLOWED, Change, other_parts, settings
from synth.parts.behaviour import LEVERS, SENSING, SPLITTING, PartType
from synth.parts.kit import KitPart
from synth.problem import Problem

KEPT = (PartType.SUPPLY, PartType.LOAD)
"""Parts that are there for their own sake."""


def trimmed(design: Design, loads: Mapping[str, int]) -> Design:
    """Return the design with just these loads, which need so many units, and no part that serves
    none of them, by power or control; a tap-off or divider with one output left stays."""
    parts = [
        replace(part, settings=(("needs", loads[part.name]),)) if part.name in loads else part
        for part in design.parts
        if part.type is not PartType.LOAD or part.name in loads
    ]
    serving = {part.name for part in parts if part.type in KEPT}
    before: dict[str, list[str]] = {}
    for wire in design.wires:
        before.setdefault(wire.target.part, []).append(wire.source.part)
    waiting = [*serving]
    while waiting:
        for name in before.get(waiting.pop(), ()):
            if name not in serving:
                serving.add(name)
                waiting.append(name)
    return replace(
        design,
        parts=tuple(part for part in parts if part.name in serving),
        wires=tuple(w for w in design.wires if {w.source.part, w.target.part} <= serving),
    )


def left_out(design: Design, part: PartInUse, loads: Mapping[str, int]) -> Design | None:
    """Return the design with what a part fed where the part was fed, and all that served it alone
    gone; None where it feeds nothing, or several inputs."""
    return _instead(design, part, "in", loads)


def _instead(
    design: Design, part: PartInUse, terminal: str, loads: Mapping[str, int]
) -> Design | None:
    """Return the design with what a part fed on what feeds one of its inputs."""
    fed_by = [w for w in design.wires if w.target == Terminal(part.name, terminal)]
    fed = [w for w in design.wires if w.source.part == part.name]
    if len(fed_by) != 1 or len(fed) != 1 or part.type in (*KEPT, *SPLITTING):
        return None
    if fed_by[0].source.part == part.name:
        return None
    wires = [
        replace(wire, source=fed_by[0].source) if wire is fed[0] else wire
        for wire in design.wires
        if wire.target.part != part.name
    ]
    parts = tuple(other for other in design.parts if other is not part)
    return trimmed(replace(design, parts=parts, wires=tuple(wires)), loads)


def small_changes(design: Design, problem: Problem) -> Iterator[Change]:
    """Yield what may be done to a design, the least first: one setting, one part of another kind,
    one part left out, another input sensed, one sensing part put in, one input fed elsewhere."""
    loads = {r.load: r.needs for r in problem.requirements}
    yield from settings(design, problem, inputs=False)
    taken = {part.name for part in design.parts}
    for change in other_parts(design, problem):
        # Another part is another one by its name, too: it is bought, and wires come off and go on.
        before = {part.name: part for part in design.parts}
        (other,) = (part for part in change.design.parts if part != before[part.name])
        named = replace(other, name=free_name(f"{other.part} 1", set(taken)))
        yield Change(
            f"put {named.name} in place of {other.name}",
            _in_place(design, before[other.name], named),
            change.bears_on | {named.name},
        )
    for part in design.parts:
        line = problem.kit.index.get(part.part)
        for terminal in ("in", *(line.shape.controls if line is not None else ())):
            without = _instead(design, part, terminal, loads)
            if without is not None:
                bears = {w.target.part for w in design.wires if w.source.part == part.name}
                yield Change(f"take out {part.name}", without, frozenset(bears | {part.name}))
    yield from _others_sensed(design, problem)
    yield from _put_in(design, problem)
    yield from _fed_elsewhere(design, problem, loads)


def _others_sensed(design: Design, problem: Problem) -> Iterator[Change]:
    """Yield each design with a part that follows another input in the place of a sensing part: who
    wants something else sensed takes another sensor."""
    taken = {part.name for part in design.parts}
    levers = {str(part.setting("input")) for part in design.parts if part.type in LEVERS}
    for part in design.parts:
        if part.type not in SENSING:
            continue
        now = (part.type, part.setting("input"))
        bears = {w.target.part for w in design.wires if w.source.part == part.name} | {part.name}
        for line, follows, own in _sensing(problem):
            if (line.type, dict(own).get("input")) == now or follows in levers:
                continue
            name = free_name(f"{line.name} {follows} 1", set(taken))
            other = PartInUse(name, line.type, line.name, own)
            yield Change(
                f"put {name} in place of {part.name}",
                _in_place(design, part, other),
                frozenset(bears | {name}),
            )


def _in_place(design: Design, part: PartInUse, other: PartInUse) -> Design:
    """Return the design with another part in the place of one, and new wires to it."""

    def there(end: Terminal) -> Terminal:
        return replace(end, part=other.name) if end.part == part.name else end

    number = design.highest
    wires = []
    for wire in design.wires:
        moved = replace(wire, source=there(wire.source), target=there(wire.target))
        if moved.target != wire.target:
            number += 1
            moved = replace(moved, number=number)
        wires.append(moved)
    parts = tuple(other if p is part else p for p in design.parts)
    return replace(design, parts=parts, wires=tuple(wires))


def _put_in(design: Design, problem: Problem) -> Iterator[Change]:
    """Yield each design with one sensing part more, in a wire, or beside what feeds an input."""
    joints = problem.kit.of_type(PartType.JOINT)
    taps = problem.kit.of_type(PartType.TAP_OFF)
    named = {str(part.setting("input")) for part in design.parts if part.type in LEVERS}
    taken = {part.name for part in design.parts}
    for line, follows, own in _sensing(problem):
        if line.type in LEVERS and follows in named:
            continue  # a lever has one contact
        name = free_name(f"{line.name} {follows} 1", set(taken))
        part = PartInUse(name, line.type, line.name, own)
        for wire in design.wires:
            bears = frozenset({wire.target.part})
            yield Change(f"put {name} in wire {wire.number}", _in_wire(design, wire, part), bears)
        for wire in design.wires if joints and taps else ():
            bears = frozenset({wire.target.part})
            for source in _on_the_way(design, wire):
                beside = _beside(design, wire, part, source, joints[0], taps[0])
                yield Change(f"put {name} beside wire {wire.number}", beside, bears)


def _on_the_way(design: Design, wire: Wire) -> Iterator[Terminal]:
    """Yield the outputs, from the supply's on, by way of which a wire gets its power; its own and
    those of splitting parts apart."""
    kinds = {part.name: part.type for part in design.parts}
    by_input = {w.target: w.source for w in design.wires}
    way: list[Terminal] = []
    source = wire.source
    while kinds[source.part] is not PartType.SUPPLY:
        before = by_input.get(Terminal(source.part, "in"))
        if before is None or before in way:
            break
        if kinds[before.part] not in SPLITTING:
            way.append(before)
        source = before
    yield from reversed(way)


def _fed_elsewhere(
    design: Design, problem: Problem, loads: Mapping[str, int]
) -> Iterator[Change]:
    """Yield each design with one input on another output, by a tap-off where that feeds another
    input still."""
    taps = problem.kit.of_type(PartType.TAP_OFF)
    kinds = {part.name: part.type for part in design.parts}
    outputs = [w.source for w in design.wires if kinds[w.source.part] not in SPLITTING]
    for wire in design.wires if taps else ():
        if kinds[wire.target.part] in SPLITTING:
            continue
        for output in outputs:
            if output in (wire.source, Terminal(wire.target.part, "out")):
                continue
            step = f"let {wire.target} be fed from {output}"
            moved = tapped(_without_wire(design, wire), output, wire, taps[0])
            changed = trimmed(moved, loads)
            yield Change(step, _plain(changed, design), frozenset({wire.target.part}))


def _without_wire(design: Design, wire: Wire) -> Design:
    return replace(design, wires=tuple(other for other in design.wires if other is not wire))


def tapped(design: Design, source: Terminal, wire: Wire, tap: KitPart) -> Design:
    """Return the design with a wire from an output, by a tap-off where that feeds one already."""
    there = next((w for w in design.wires if w.source == source), None)
    if there is None:
        return replace(design, wires=(*design.wires, replace(wire, source=source)))
    at = free_name(f"{tap.name} 1", {part.name for part in design.parts})
    wires = [
        replace(w, source=Terminal(at, "rest")) if w is there else w for w in design.wires
    ]
    highest = design.highest
    number = max(highest, wire.number) + 1
    if wire.number > highest:  # the wire is new: its number comes after that of the tap-off
        number, wire = wire.number, replace(wire, number=wire.number + 1)
    wires.append(Wire(number, source, Terminal(at, "in")))
    wires.append(replace(wire, source=Terminal(at, "branch")))
    part = PartInUse(at, PartType.TAP_OFF, tap.name, (("units", 1),))
    return replace(design, parts=(*design.parts, part), wires=tuple(wires))


def _plain(design: Design, before: Design) -> Design:
    """Return the design without tap-offs that were not there before and have one output left."""
    there = {part.name for part in before.parts}
    for part in design.parts:
        fed = [w for w in design.wires if w.source.part == part.name]
        if part.type is PartType.TAP_OFF and part.name not in there and len(fed) == 1:
            source = next(w.source for w in design.wires if w.target.part == part.name)
            wires = tuple(
                replace(w, source=source) if w is fed[0] else w
                for w in design.wires
                if w.target.part != part.name
            )
            parts = tuple(other for other in design.parts if other is not part)
            return _plain(replace(design, parts=parts, wires=wires), before)
    return design


def _sensing(
    problem: Problem,
) -> Iterator[tuple[KitPart, str, tuple[tuple[str, str | int], ...]]]:
    """Yield each sensing part of the kit with each input that it may follow, and its settings."""
    for line in problem.kit.parts:
        if line.type not in SENSING or line.most == 0:
            continue
        for item in problem.inputs:
            if FOLLOWED[line.type] is not item.kind:
                continue
            for option in line.options:
                if line.type is PartType.TWILIGHT:
                    yield line, item.name, (("passes", option),)
                else:
                    yield line, item.name, (("contact", option), ("input", item.name))


def _in_wire(design: Design, wire: Wire, part: PartInUse) -> Design:
    number = design.highest + 1
    wires = [
        replace(other, source=Terminal(part.name, "out")) if other is wire else other
        for other in design.wires
    ]
    wires.append(Wire(number, wire.source, Terminal(part.name, "in")))
    return replace(design, parts=(*design.parts, part), wires=tuple(wires))


def _beside(
    design: Design, wire: Wire, part: PartInUse, source: Terminal, joint: KitPart, tap: KitPart
) -> Design:
    """Return the design with a part on a tap-off behind an output, and a joint of it and what feeds
    an input before that."""
    both = free_name(f"{joint.name} 1", {other.name for other in design.parts} | {part.name})
    one, other_end = (Terminal(both, name) for name in joint.shape.power)
    number = max(design.highest, wire.number)
    wires = [
        replace(w, source=Terminal(both, "out")) if w is wire else w for w in design.wires
    ]
    wires += [
        Wire(number + 1, wire.source, one),
        Wire(number + 2, Terminal(part.name, "out"), other_end),
    ]
    parts = (*design.parts, part, PartInUse(both, PartType.JOINT, joint.name))
    joined = replace(design, parts=parts, wires=tuple(wires))
    return tapped(joined, source, Wire(number + 3, source, Terminal(part.name, "in")), tap)
