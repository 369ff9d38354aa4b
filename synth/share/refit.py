"""Units for wires that stay: splitting parts where they are, set to what their consumers need."""

from __future__ import annotations

from dataclasses import replace

from synth.design import Design, Terminal
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit


def refitted(design: Design, kit: Kit) -> Design:
    """Return the design with its tap-offs and its supply set to the least that each input gets what
    it needs by; no wire is said to carry anything.

    From the loads and control inputs back to the supply: contacts hand on what they get, so an
    input needs what the neediest of its outputs does; an input of a joint may be the only one that
    is live. Of n units over m outputs the i-th of a divider gets ceil((n - i + 1) / m) (see
    `synth.parts.sharing`), which is k at least from n = m (k - 1) + i on. Power must not run in a
    loop. An output that feeds nothing needs nothing.
    """
    ends = {wire.source: wire.target for wire in design.wires}
    parts = {part.name: part for part in design.parts}
    needs: dict[Terminal, int] = {}

    def of_output(source: Terminal) -> int:
        target = ends.get(source)
        return 0 if target is None else needs[target]

    def own_need(end: Terminal) -> int | None:
        """Return what an input needs by itself, None where that is what its outputs hand on."""
        part = parts[end.part]
        offer = kit.index[part.part]
        if part.type is PartType.LOAD:
            own = part.setting("needs")
            return own if isinstance(own, int) else offer.units
        return offer.units if end.terminal in offer.shape.controls else None

    def handed_on(end: Terminal) -> int:
        part = parts[end.part]
        terminals = [Terminal(part.name, name) for name in kit.index[part.part].shape.outputs]
        outputs = [of_output(terminal) for terminal in terminals]
        if part.type is PartType.TAP_OFF:
            return sum(outputs)
        if part.type is PartType.DIVIDER:
            used = [n for n, terminal in zip(outputs, terminals, strict=True) if terminal in ends]
            return max((len(used) * (n - 1) + i for i, n in enumerate(used, 1) if n), default=0)
        return max(outputs, default=0)

    # Without recursion: a board may have hundreds of contacts in series.
    waiting = list(ends.values())
    while waiting:
        end = waiting[-1]
        own = own_need(end)
        outputs = kit.index[parts[end.part].part].shape.outputs if own is None else ()
        behind = [ends[t] for name in outputs if (t := Terminal(end.part, name)) in ends]
        left = [other for other in behind if other not in needs]
        if end not in needs and left:
            waiting += left
            continue
        needs.setdefault(end, handed_on(end) if own is None else own)
        waiting.pop()

    def set_for(name: str) -> int | None:
        part = parts[name]
        if part.type is PartType.SUPPLY:
            return of_output(Terminal(name, "out"))
        if part.type is PartType.TAP_OFF:
            return of_output(Terminal(name, "branch"))
        return None

    units = {name: set_for(name) for name in parts}
    return replace(
        design,
        parts=tuple(
            part
            if (wanted := units[part.name]) is None
            else replace(
                part, settings=tuple({**dict(part.settings), "units": max(1, wanted)}.items())
            )
            for part in design.parts
        ),
        wires=tuple(replace(wire, units=None) for wire in design.wires),
    )
