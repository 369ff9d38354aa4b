"""Is this a well-formed design of its kit, within its limits, and does each consumer get enough?

`structure` names everything that is wrong before any behaviour is looked at; `amounts` works
out the units on every wire.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from synth.check.circuit import input_of, option_of
from synth.check.wishes import wishes
from synth.design import Design, PartInUse, Terminal
from synth.parts.behaviour import CONTROLLED, LEVERS, SENSING, TIMED, PartType
from synth.parts.kit import Kit, KitPart
from synth.parts.sharing import equal_share, tap_off
from synth.problem import InputKind, Problem
from synth.result import Defect, Fault
from synth.ticks import format_duration

_OPTIONS: dict[PartType, str] = {
    PartType.SWITCH: "contact",
    PartType.PUSH_BUTTON: "contact",
    PartType.SENSOR: "contact",
    PartType.TWILIGHT: "passes",
    PartType.BISTABLE: "wins",
    PartType.RECYCLER: "first",
}
_FOLLOWS = {
    InputKind.SWITCH: PartType.SWITCH,
    InputKind.BUTTON: PartType.PUSH_BUTTON,
    InputKind.SENSOR: PartType.SENSOR,
    InputKind.NIGHT: PartType.TWILIGHT,
}
LARGEST_UNITS = 1_000_000
"""No supply, tap-off or load is set to more units than this."""


def structure(design: Design, kit: Kit, problem: Problem | None = None) -> tuple[Defect, ...]:
    """Return everything that is wrong with the build of a design, in a stable order.

    With a problem, its inputs, loads and limits are held against the design too. Faults:
    STRUCTURE for what makes it no circuit, LIMIT for what the kit or the user does not allow,
    UNITS for consumers that get too little.
    """
    sentences = [
        *_parts(design, kit),
        *_wires(design, kit),
        *_loop(design, kit),
        *_levers(design),
    ]
    if problem is not None:
        sentences += _asked(design, problem)
    defects = [Defect(Fault.STRUCTURE, sentence) for sentence in dict.fromkeys(sentences)]
    defects += [Defect(Fault.LIMIT, sentence) for sentence in _limits(design, kit, problem)]
    if not sentences:
        if problem is not None:
            unmet = wishes(design, problem, lambda other: _units(other, kit, problem))
            defects += [Defect(Fault.LIMIT, sentence) for sentence in unmet]
        defects += [Defect(Fault.UNITS, sentence) for sentence in _units(design, kit, problem)]
    return tuple(defects)


def _offer(part: PartInUse, kit: Kit) -> KitPart | None:
    offer = kit.index.get(part.part)
    return offer if offer is not None and offer.type is part.type else None


def _parts(design: Design, kit: Kit) -> list[str]:
    """Check each part: known to the kit, named once, set within what the kit offers."""
    wrong: list[str] = []
    for name, count in Counter(part.name for part in design.parts).items():
        if count > 1:
            wrong.append(f"{count} parts are called '{name}'; each needs a name of its own")
    for part in design.parts:
        offer = kit.index.get(part.part)
        if offer is None:
            wrong.append(
                f"'{part.name}' is a '{part.part}', which the kit '{kit.name}' does not have"
            )
        elif offer.type is not part.type:
            wrong.append(
                f"'{part.name}' is called a {part.type}, "
                f"but the kit's '{part.part}' is a {offer.type}"
            )
        else:
            wrong += _settings(part, offer)
    supplies = sum(part.type is PartType.SUPPLY for part in design.parts)
    if supplies != 1:
        wrong.append(f"a design has exactly one supply; this one has {supplies or 'none'}")
    return wrong


def _settings(part: PartInUse, offer: KitPart) -> list[str]:
    wrong: list[str] = []
    known: set[str] = set()
    key = _OPTIONS.get(part.type)
    if key:
        known.add(key)
        choice = option_of(part, offer, key)
        if part.setting(key) is None and not choice and len(offer.options) > 1:
            wrong.append(f"'{part.name}' needs the setting '{key}': {' or '.join(offer.options)}")
        elif part.setting(key) is not None and choice not in offer.options:
            wrong.append(
                f"'{part.name}' has {key} '{part.setting(key)}'; "
                f"the kit offers {' or '.join(offer.options) or 'no choice'}"
            )
    if part.type in SENSING:
        known.add("input")
        if not input_of(part):
            wrong.append(f"'{part.name}' needs the setting 'input': the name of what it follows")
    if part.type in TIMED:
        for name in ("on", "off") if part.type is PartType.RECYCLER else ("time",):
            known.add(name)
            ticks = part.setting(name)
            if not isinstance(ticks, int) or isinstance(ticks, bool) or ticks < 1:
                wrong.append(f"'{part.name}' needs the setting '{name}': a time such as '10 s'")
            elif offer.times is not None and ticks not in offer.times:
                wrong.append(
                    f"'{part.name}' has {name} {format_duration(ticks)}; "
                    f"'{part.part}' can be set from "
                    f"{format_duration(offer.times.least)} to {format_duration(offer.times.most)} "
                    f"in steps of {format_duration(offer.times.step)}"
                )
    for name, needed in (
        ("units", part.type in (PartType.TAP_OFF, PartType.SUPPLY)),
        ("needs", part.type is PartType.LOAD),
    ):
        if not needed:
            continue
        known.add(name)
        units = part.setting(name)
        if units is None and part.type is PartType.LOAD:
            continue
        most = min(offer.largest or LARGEST_UNITS, LARGEST_UNITS)
        if not isinstance(units, int) or isinstance(units, bool) or not 1 <= units <= most:
            wrong.append(
                f"'{part.name}' needs the setting '{name}': "
                f"a whole number of units from 1 to {most}"
            )
    wrong.extend(
        f"'{part.name}' has a setting '{name}', which a {part.type} does not have"
        for name, _ in part.settings
        if name not in known
    )
    return wrong


def _wires(design: Design, kit: Kit) -> list[str]:
    """Check each wire: from an output to an input, one on each, numbered once."""
    wrong: list[str] = []
    kinds: dict[Terminal, str] = {}
    for part in design.parts:
        offer = _offer(part, kit)
        if offer is None:
            continue
        shape = offer.shape
        kinds.update({Terminal(part.name, name): "output" for name in shape.outputs})
        inputs = (*shape.power, *shape.controls)
        kinds.update({Terminal(part.name, name): "input" for name in inputs})
    names = {part.name for part in design.parts}
    for wire in design.wires:
        for end, wanted in ((wire.source, "output"), (wire.target, "input")):
            if end.part not in names:
                wrong.append(
                    f"wire {wire.number} names '{end.part}', which is no part of the design"
                )
            elif end not in kinds:
                has = sorted(t.terminal for t in kinds if t.part == end.part)
                if has:
                    wrong.append(
                        f"wire {wire.number} names {end}; '{end.part}' has only {', '.join(has)}"
                    )
            elif kinds[end] != wanted:
                place = "starts" if wanted == "output" else "ends"
                wrong.append(f"wire {wire.number} {place} at {end}, which is an {kinds[end]}")
    for number, count in Counter(wire.number for wire in design.wires).items():
        if count > 1:
            wrong.append(f"{count} wires have the number {number}")
    sources = Counter(wire.source for wire in design.wires)
    targets = Counter(wire.target for wire in design.wires)
    for terminal, kind in kinds.items():
        if kind == "output" and sources[terminal] > 1:
            wrong.append(
                f"{terminal} feeds {sources[terminal]} wires; an output feeds one "
                f"(use a tap-off or a divider)"
            )
        if kind == "input" and targets[terminal] > 1:
            wrong.append(f"{targets[terminal]} wires end on {terminal}; use a joint")
        if kind == "input" and not targets[terminal]:
            wrong.append(f"input left open: {terminal} has no wire")
    return wrong


def _power_order(design: Design, kit: Kit) -> tuple[list[PartInUse], list[str]]:
    """Return the parts, each after those that feed it power, and the names in a loop."""
    feeds: dict[str, list[str]] = {}
    waiting: dict[str, int] = {part.name: 0 for part in design.parts}
    power: set[Terminal] = set()
    for part in design.parts:
        offer = _offer(part, kit)
        if offer is not None:
            power.update(Terminal(part.name, name) for name in offer.shape.power)
    for wire in design.wires:
        if wire.target in power and wire.source.part in waiting:
            feeds.setdefault(wire.source.part, []).append(wire.target.part)
            waiting[wire.target.part] += 1
    by_name = {part.name: part for part in design.parts}
    ready = [part.name for part in design.parts if not waiting[part.name]]
    order = []
    for name in ready:
        order.append(by_name[name])
        for target in feeds.get(name, ()):
            waiting[target] -= 1
            if not waiting[target]:
                ready.append(target)
    placed = set(ready)
    # What is merely fed by a loop is not part of it: strip such ends.
    left = [part.name for part in design.parts if part.name not in placed]
    stripped = True
    while stripped:
        keep = [n for n in left if any(t in left for t in feeds.get(n, ()))]
        stripped = len(keep) < len(left)
        left = keep
    # From any of these there is a way on, so from the first one a ring is met.
    way = left[:1]
    while way and (after := next(t for t in feeds[way[-1]] if t in left)) not in way:
        way.append(after)
    return order, way[way.index(after) :] if way else []


def power_loop(design: Design, kit: Kit) -> tuple[str, ...]:
    """Return the parts that power runs through in a ring, each fed by the one before, the first by
    the last; nothing where there is none. A circuit with one cannot be run."""
    return tuple(_power_order(design, kit)[1])


def _loop(design: Design, kit: Kit) -> list[str]:
    ring = power_loop(design, kit)
    if not ring:
        return []
    back = f" and back to {ring[0]}" if len(ring) > 1 else ""
    return [f"power runs in a loop through {', '.join(ring)}{back}; only controls may loop"]


def _levers(design: Design) -> list[str]:
    wrong = []
    by_input: dict[str, list[str]] = {}
    for part in design.parts:
        if part.type in LEVERS and input_of(part):
            by_input.setdefault(input_of(part), []).append(part.name)
    for name, parts in by_input.items():
        if len(parts) > 1:
            wrong.append(
                f"{' and '.join(parts)} both follow '{name}', which is one lever with one contact"
            )
    return wrong


def _asked(design: Design, problem: Problem) -> list[str]:
    """Check the design against the inputs and loads that the problem names."""
    wrong: list[str] = []
    kinds = {item.name: item.kind for item in problem.inputs}
    for part in design.parts:
        if part.type not in SENSING or not input_of(part):
            continue
        name = input_of(part)
        kind = kinds.get(name)
        if kind is None:
            inputs = ", ".join(n for n in kinds if n != "supply") or "none"
            wrong.append(
                f"'{part.name}' follows '{name}', which is no input here (inputs: {inputs})"
            )
        elif _FOLLOWS.get(kind) is not part.type:
            fitting = _FOLLOWS.get(kind)
            wrong.append(
                f"'{part.name}' is a {part.type}, but '{name}' is "
                + (f"followed by a {fitting}" if fitting else "the supply itself")
            )
    wanted = [r.load for r in problem.requirements]
    loads = [part.name for part in design.parts if part.type is PartType.LOAD]
    wrong.extend(f"the load '{name}' is missing" for name in wanted if name not in loads)
    wrong.extend(
        f"the load '{name}' is in no goal (loads: {', '.join(wanted) or 'none'})"
        for name in loads
        if name not in wanted
    )
    needs = {r.load: r.needs for r in problem.requirements}
    for part in design.parts:
        stated = part.setting("needs") if part.type is PartType.LOAD else None
        if stated is not None and part.name in needs and stated != needs[part.name]:
            wrong.append(
                f"'{part.name}' is said to need {stated}, but it needs {_some(needs[part.name])}"
            )
    return wrong


def _limits(design: Design, kit: Kit, problem: Problem | None) -> list[str]:
    wrong: list[str] = []
    used = Counter(part.part for part in design.parts)
    bounds = [(offer.name, offer.most, "the kit has") for offer in kit.parts]
    if problem is not None:
        bounds += [(name, most, "the limits allow") for name, most in problem.limits.most]
    for name, most, who in bounds:
        if most is not None and used[name] > most:
            wrong.append(f"the design uses {used[name]} of '{name}'; {who} {most or 'none'}")
    if problem is None:
        return wrong
    if problem.limits.supply is not None and design.supply > problem.limits.supply:
        wrong.append(
            f"the supply is set to {_some(design.supply)}; "
            f"at most {problem.limits.supply} are allowed"
        )
    if problem.limits.price is not None and all(_offer(p, kit) for p in design.parts):
        price = design.price(kit, problem.limits.stock)
        if price > problem.limits.price:
            what = "what is not in stock" if problem.limits.stock else "the design"
            wrong.append(f"{what} costs {price}; at most {problem.limits.price} is allowed")
    return wrong


def amounts(design: Design, kit: Kit) -> dict[Terminal, int]:
    """Return the least units on the wire into each input, whenever that wire is live.

    Keys are the inputs on which a wire ends. Amounts are constants of the wiring; where a joint
    mixes sources, the least over its live sources is taken, a sound lower bound because every
    rule of sharing hands on more when it gets more. Parts in a loop of power are left out.
    """
    order, _ = _power_order(design, kit)
    target = {wire.source: wire.target for wire in design.wires}
    result: dict[Terminal, int] = {}
    for part in order:
        offer = _offer(part, kit)
        if offer is None:
            continue
        fed = [
            result[Terminal(part.name, name)]
            for name in offer.shape.power
            if Terminal(part.name, name) in result
        ]
        units = design_units(part) if part.type is PartType.SUPPLY else min(fed, default=0)
        outputs = [Terminal(part.name, name) for name in offer.shape.outputs]
        shares: Iterable[int]
        if part.type is PartType.TAP_OFF:
            shares = tap_off(units, design_units(part))
        elif part.type is PartType.DIVIDER:
            outputs = [terminal for terminal in outputs if terminal in target]
            shares = equal_share(units, len(outputs)) if outputs else ()
        else:
            shares = (units,) * len(outputs)
        for terminal, share in zip(outputs, shares, strict=True):
            if terminal in target:
                result[target[terminal]] = share
    return result


def design_units(part: PartInUse) -> int:
    """Return the `units` setting of a part, 0 when it has none."""
    units = part.setting("units")
    return units if isinstance(units, int) else 0


def _some(units: int) -> str:
    return f"{units} unit" if units == 1 else f"{units} units"


def _units(design: Design, kit: Kit, problem: Problem | None) -> list[str]:
    """Check that every consumer gets its need, and that stated units are right."""
    wrong: list[str] = []
    carried = amounts(design, kit)
    needs = {r.load: r.needs for r in problem.requirements} if problem is not None else {}
    total = 0
    short = False
    for part in design.parts:
        offer = kit.index[part.part]
        if part.type is PartType.LOAD:
            stated = part.setting("needs")
            own = stated if isinstance(stated, int) else offer.units
            wanted = {"in": needs.get(part.name, own)}
        elif part.type in CONTROLLED:
            wanted = dict.fromkeys(offer.shape.controls, offer.units)
        else:
            continue
        for name, need in wanted.items():
            got = carried.get(Terminal(part.name, name), 0)
            total += need
            if got < need:
                short = True
                wrong.append(f"{Terminal(part.name, name)} gets {_some(got)}, but needs {need}")
    if short and design.supply < total:
        wrong.append(
            f"the supply may be set too small: {_some(design.supply)} for consumers that use "
            f"{total} when all are live"
        )
    for wire in design.wires:
        if wire.units is not None and wire.target in carried:
            really = carried[wire.target]
            if wire.units != really:
                wrong.append(
                    f"wire {wire.number} is said to carry {_some(wire.units)}; it carries {really}"
                )
    return wrong
