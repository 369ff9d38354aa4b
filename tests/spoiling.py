"""Ways to spoil a design in one place: wires, settings, types of parts, whole rewirings."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator

from check_designs import wired

from synth.design import TIME_SETTINGS, Design, PartInUse, Terminal
from synth.parts.behaviour import SHAPES, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit
from synth.problem import Problem


def with_part(design: Design, part: PartInUse) -> Design:
    parts = tuple(part if old.name == part.name else old for old in design.parts)
    return dataclasses.replace(design, parts=parts)


def moved_wires(design: Design) -> Iterator[tuple[str, Design]]:
    """Each wire's beginning exchanged with another's; each wire moved to an unused output.

    Exchanging keeps one wire at each output, so that the mutant gets past the question whether
    it is well formed. Amounts stated at wires are left out: they are those of the old design.
    """
    wires = [dataclasses.replace(wire, units=None) for wire in design.wires]
    for first, second in itertools.combinations(range(len(wires)), 2):
        changed = list(wires)
        changed[first] = dataclasses.replace(wires[first], source=wires[second].source)
        changed[second] = dataclasses.replace(wires[second], source=wires[first].source)
        told = f"{wires[first].source} <-> {wires[second].source}"
        yield told, dataclasses.replace(design, wires=tuple(changed))
    outputs = [wire.source for wire in wires]
    for number, source in itertools.product(range(len(wires)), outputs):
        if source != wires[number].source:
            changed = list(wires)
            changed[number] = dataclasses.replace(wires[number], source=source)
            told = f"{wires[number].target} from {source}"
            yield told, dataclasses.replace(design, wires=tuple(changed))


def changed_settings(design: Design, problem: Problem) -> Iterator[tuple[str, Design]]:
    """Each time a second longer, a second shorter, doubled, and set to each other time in use;
    each choice the other way; each sensor, switch and button at each other input of its kind;
    each number of units one more and one less."""
    bare = dataclasses.replace(
        design, wires=tuple(dataclasses.replace(wire, units=None) for wire in design.wires)
    )
    other = {"make": "break", "break": "make", "night": "day", "day": "night"}
    other |= {"set": "reset", "reset": "set", "pulse": "pause", "pause": "pulse"}
    times = {v for p in design.parts for key, v in p.settings if key in TIME_SETTINGS}
    in_use = sorted(time for time in times if isinstance(time, int))
    kinds = {item.name: item.kind for item in problem.inputs}
    for part in design.parts:
        for key, value in part.settings:
            values: list[str | int] = []
            if key in TIME_SETTINGS and isinstance(value, int):
                new_times = dict.fromkeys((value + 1000, value - 1000, 2 * value, *in_use))
                values = [time for time in new_times if time > 0 and time != value]
            elif key == "units" and isinstance(value, int):
                values = [value + 1, value - 1]
            elif key == "input":
                values = [
                    n for n, kind in kinds.items() if n != value and kind is kinds[str(value)]
                ]
            elif value in other:
                values = [other[str(value)]]
            for new in values:
                settings = tuple((k, new if k == key else v) for k, v in part.settings)
                yield (
                    f"{part.name}: {key} {value} -> {new}",
                    with_part(bare, dataclasses.replace(part, settings=settings)),
                )


def swapped_parts(design: Design, kit: Kit) -> Iterator[tuple[str, Design]]:
    """Each part swapped for each other type of the kit that has the same terminals."""
    for part in design.parts:
        for offer in kit.parts:
            if offer.type is part.type or SHAPES[offer.type] != SHAPES[part.type]:
                continue
            if offer.type in (PartType.SWITCH, PartType.PUSH_BUTTON, PartType.SENSOR):
                continue  # they follow inputs of another kind
            if offer.type in TIMED and part.setting("time") is None:
                settings: tuple[tuple[str, str | int], ...] = (("time", 1000),)
            elif offer.type is PartType.TWILIGHT:
                settings = (("passes", "night"),)
            else:
                settings = part.settings
            if offer.type is PartType.RECYCLER:
                settings = (("on", 1000), ("off", 1000), ("first", "pulse"))
            new = PartInUse(part.name, offer.type, offer.name, settings)
            yield f"{part.name}: {part.type} -> {offer.type}", with_part(design, new)


def rewired(design: Design, kit: Kit) -> Iterator[tuple[str, Design]]:
    """Each consumer fed from each other contact, with power shared anew so that all get enough.

    These are well formed and short of nothing: only what they do can be wrong with them. Those
    with a ring of power wires cannot be shared out and are left away.
    """
    source = {wire.target: wire.source for wire in design.wires}
    kinds = {part.name: part.type for part in design.parts}
    parts = [p for p in design.parts if p.type not in SPLITTING and p.type is not PartType.SUPPLY]

    def behind(output: Terminal) -> Terminal:
        while kinds[output.part] in SPLITTING:
            output = source[Terminal(output.part, "in")]
        return output

    feeds = {t: behind(s) for t, s in source.items() if kinds[t.part] not in SPLITTING}
    outputs = list(dict.fromkeys(feeds.values()))

    power = {p.name: kit.index[p.part].shape.power for p in parts}

    def ring(fed: dict[Terminal, Terminal], start: str, at: str) -> bool:
        ways = [fed[Terminal(at, terminal)].part for terminal in power.get(at, ())]
        return any(way == start or ring(fed, start, way) for way in ways)

    for target, output in itertools.product(feeds, outputs):
        if output != feeds[target] and output.part != target.part:
            fed = {**feeds, target: output}
            is_power = target.terminal in power[target.part]
            if not (is_power and ring(fed, target.part, target.part)):
                words = {f"{t.part}.{t.terminal}": f"{o.part}.{o.terminal}" for t, o in fed.items()}
                yield f"{target} behind {output}", wired(parts, words, kit)


def mutants(design: Design, problem: Problem) -> list[tuple[str, Design]]:
    return [
        *moved_wires(design),
        *changed_settings(design, problem),
        *swapped_parts(design, problem.kit),
    ]
