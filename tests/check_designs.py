"""Builds small designs and problems for the tests of the checker, from wirings in a few words.

`wired` takes parts and feeds ("timer.start": "relay.out") and adds the tap-offs that a fan-out
needs, each set to just what its branch uses, so that every consumer gets enough.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import CONTROLLED, PartType
from synth.parts.kit import Kit
from synth.problem import Goal, InputKind, OutsideInput, Problem, Requirement
from synth.read.kit_file import load_kit
from synth.signals import Signal, inputs_of

FULL = load_kit("full")
STARTER = load_kit("starter")


def part(name: str, kind: PartType, kit: Kit = FULL, **settings: str | int) -> PartInUse:
    """Return a part in use of the kit's first part of that type."""
    return PartInUse(name, kind, kit.of_type(kind)[0].name, tuple(settings.items()))


def wired(parts: Sequence[PartInUse], feeds: Mapping[str, str], kit: Kit = FULL) -> Design:
    """Return the design in which each "part.terminal" of `feeds` is fed from its value."""
    by_name = {p.name: p for p in parts}
    targets: dict[Terminal, list[Terminal]] = {}
    for target, source in feeds.items():
        targets.setdefault(_terminal(source), []).append(_terminal(target))
    extra: list[PartInUse] = []
    wires: list[Wire] = []
    known: dict[str, int] = {}

    def demand_of_part(name: str) -> int:
        if name not in known:
            item = by_name[name]
            outputs = kit.index[item.part].shape.outputs
            amounts = [demand_of_net(Terminal(name, o)) for o in outputs]
            known[name] = max([*amounts, 1])
        return known[name]

    def demand(target: Terminal) -> int:
        item = by_name[target.part]
        if item.type is PartType.LOAD:
            needs = item.setting("needs")
            return needs if isinstance(needs, int) else 1
        offer = kit.index[item.part]
        if item.type in CONTROLLED and target.terminal in offer.shape.controls:
            return offer.units
        return demand_of_part(target.part)

    def demand_of_net(source: Terminal) -> int:
        return sum(demand(target) for target in targets.get(source, ()))

    def lay(source: Terminal, ends: list[Terminal]) -> None:
        while len(ends) > 1:
            name = f"tap {len(extra) + 1}"
            extra.append(part(name, PartType.TAP_OFF, kit, units=demand(ends[0])))
            wires.append(Wire(len(wires) + 1, source, Terminal(name, "in")))
            wires.append(Wire(len(wires) + 1, Terminal(name, "branch"), ends[0]))
            source, ends = Terminal(name, "rest"), ends[1:]
        wires.append(Wire(len(wires) + 1, source, ends[0]))

    units = demand_of_net(Terminal("supply", "out"))
    supply = part("supply", PartType.SUPPLY, kit, units=max(units, 1))
    for source, ends in targets.items():
        lay(source, ends)
    return Design(kit.name, (supply, *parts, *extra), tuple(wires))


def _terminal(text: str) -> Terminal:
    if text == "supply":
        return Terminal("supply", "out")
    name, _, terminal = text.rpartition(".")
    return Terminal(name, terminal)


def asked(
    wanted: Mapping[str, Signal],
    *inputs: OutsideInput,
    kit: Kit = FULL,
    needs: int = 1,
    **more: object,
) -> Problem:
    """Return the problem of these required signals; inputs not described are sensors or night."""
    named = {item.name: item for item in inputs}
    mentioned: dict[str, None] = {"supply": None, **dict.fromkeys(named)}
    for signal in wanted.values():
        mentioned.update(dict.fromkeys(sorted(inputs_of(signal))))
    kinds = {"supply": InputKind.SUPPLY, "night": InputKind.NIGHT, "master": InputKind.SWITCH}
    everything = tuple(
        named.get(name, OutsideInput(name, kinds.get(name, InputKind.SENSOR))) for name in mentioned
    )
    return Problem(
        title="test",
        kit=kit,
        goals=tuple(Goal(i + 1, load) for i, load in enumerate(wanted)),
        requirements=tuple(
            Requirement(load, needs, signal, (i + 1,))
            for i, (load, signal) in enumerate(wanted.items())
        ),
        inputs=everything,
        **more,  # type: ignore[arg-type]
    )


def load(name: str, needs: int = 1, kit: Kit = FULL) -> PartInUse:
    """Return a load."""
    return part(name, PartType.LOAD, kit, needs=needs)


def pump_cycle(on: int, period: int, kit: Kit = STARTER) -> Design:
    """Return the loop of two pulse timers and a break relay: pump on `on` of every `period`."""
    return wired(
        [
            part("R", PartType.RELAY_BREAK, kit),
            part("A", PartType.PULSE, kit, time=on),
            part("B", PartType.PULSE, kit, time=period),
            load("pump", kit=kit),
        ],
        {
            "R.in": "supply",
            "A.in": "supply",
            "B.in": "supply",
            "A.start": "R.out",
            "pump.in": "A.out",
            "B.start": "A.out",
            "R.coil": "B.out",
        },
        kit,
    )
