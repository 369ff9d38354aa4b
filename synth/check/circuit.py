"""A design made ready to be stepped through: nets, contacts and reacting parts as plain numbers.

`Circuit` holds a whole design or the part of it that matters for some loads. Splitting parts
vanish (their outputs are live together), each output becomes one *net*, and the nets stand in
an order in which each follows from those before it. Input levels are the bits of one integer.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from synth.design import Design, PartInUse, Terminal
from synth.errors import DesignError
from synth.parts.behaviour import (
    CONTACT,
    CONTROLLED,
    EDGE_SENSITIVE,
    RUNNING,
    SEEN,
    SENSING,
    SHAPES,
    SPLITTING,
    PartType,
    move,
    notice,
)
from synth.parts.kit import Kit, KitPart, Trigger

State = tuple[int, ...]
"""One small integer for each controlled part of a circuit, in its order."""

DEAD, SUPPLY = 0, 1
"""The nets that every circuit has: one that is never live, and the supply's output."""

BY_INPUT, BY_PART, EITHER = 0, 1, 2
"""How a net gets its level: a contact that follows an input, a part's contact, a joint."""


def option_of(part: PartInUse, offer: KitPart, key: str) -> str:
    """Return the setting `key` of a part: its own, else the kit's only choice, else empty."""
    own = part.setting(key)
    if isinstance(own, str):
        return own
    return offer.options[0] if len(offer.options) == 1 else ""


def input_of(part: PartInUse) -> str:
    """Return the name of the outside input that a sensing part follows, empty when not set."""
    if part.type is PartType.TWILIGHT:
        own = part.setting("input")
        return own if isinstance(own, str) else "night"
    own = part.setting("input")
    return own if isinstance(own, str) else ""


Row = tuple[int, int, bool, bool]
"""What a part does in one step: noticed state, moved state, its time starts anew, it is excited."""


@dataclass
class Reacting:
    """One controlled part: its nets, settings, and a table of its steps as they occur."""

    name: str
    kind: PartType
    power: int
    controls: tuple[int, ...]
    on: int
    off: int
    wins_set: bool
    pulse_first: bool
    units: int
    table: dict[int, tuple[bool, Row, Row]] = field(default_factory=dict, repr=False)

    def step(
        self, state: int, power: bool, first: bool, second: bool, due: bool
    ) -> tuple[bool, Row, Row]:
        """Return (moves without an edge, step while edges are hidden, step while they are seen)."""
        key = state << 4 | power << 3 | first << 2 | second << 1 | due
        known = self.table.get(key)
        if known is None:
            known = self._work_out(state, power, first, second, due)
            self.table[key] = known
        return known

    def _work_out(
        self, state: int, power: bool, first: bool, second: bool, due: bool
    ) -> tuple[bool, Row, Row]:
        controls = (first, second)[: len(self.controls)]
        rows = []
        for edges in (False, True):
            noticed = notice(self.kind, state, power, first, due, edges)
            moved, anew = move(
                self.kind, noticed, power, controls, due, self.wins_set, self.pulse_first
            )
            excited = anew or (moved ^ noticed) & ~SEEN != 0
            rows.append((noticed, moved, anew, excited))
        if self.kind is PartType.IMPULSE:
            plain = False
        elif self.kind in EDGE_SENSITIVE:
            plain = not power and state & ~SEEN != 0
        else:
            plain = rows[0][3]
        return plain, rows[0], rows[1]

    def limit(self, state: int) -> int:
        """Return the time in ticks that runs in `state`, 0 when none does."""
        if not state & RUNNING:
            return 0
        if self.kind is PartType.RECYCLER and not state & CONTACT:
            return self.off
        return self.on


class Circuit:
    """A design, or the parts of it named in `keep`, ready to be stepped through.

    `inputs` gives the bit of each outside input in a *vector*; the supply must be among them.
    Inputs of parts without a wire are dead. Raises DesignError for a loop through power inputs,
    an input that is not in `inputs`, or a part that the kit does not have.
    """

    def __init__(
        self,
        design: Design,
        kit: Kit,
        inputs: tuple[str, ...],
        keep: Collection[str] | None = None,
    ) -> None:
        self.inputs = inputs
        self.bits = {name: 1 << i for i, name in enumerate(inputs)}
        self.held = kit.trigger is Trigger.HELD
        self._supply = self.bits["supply"]
        self._design, self._kit = design, kit
        self._in_use = {p.name: p for p in design.parts if keep is None or p.name in keep}
        self._source = {w.target: w.source for w in design.wires}
        self._ops: list[tuple[int, int, int, bool]] = []
        self._nets: dict[Terminal, int] = {}
        self._open: set[Terminal] = set()
        self._slot: dict[str, int] = {}
        for part in self._in_use.values():
            if part.type in CONTROLLED:
                self._slot[part.name] = len(self._slot)
        reacting: list[Reacting] = []
        for part in self._in_use.values():
            if part.type in CONTROLLED:
                reacting.append(self._reacting(part))
        self.parts: tuple[Reacting, ...] = tuple(reacting)
        loads = [p for p in self._in_use.values() if p.type is PartType.LOAD]
        self.loads = tuple(p.name for p in loads)
        self.load_bits = {name: 1 << i for i, name in enumerate(self.loads)}
        self._load_nets = tuple(self._net_into(Terminal(p.name, "in")) for p in loads)
        self._load_needs = tuple(_whole(p, "needs", 1) for p in loads)
        self.start: State = (0,) * len(self.parts)
        self._terms: dict[tuple[int, int, bool, int], int] = {}
        self._watched = [*self._load_nets]
        for item in self.parts:
            self._watched += [item.power, *item.controls]
        self._supports()

    def _offer(self, part: PartInUse) -> KitPart:
        offer = self._kit.index.get(part.part)
        if offer is None or offer.type is not part.type:
            raise DesignError(f"the kit '{self._kit.name}' has no {part.type} called '{part.part}'")
        return offer

    def _reacting(self, part: PartInUse) -> Reacting:
        offer = self._offer(part)
        on = _whole(part, "on" if part.type is PartType.RECYCLER else "time", 1)
        return Reacting(
            name=part.name,
            kind=part.type,
            power=self._net_into(Terminal(part.name, "in")),
            controls=tuple(self._net_into(Terminal(part.name, c)) for c in offer.shape.controls),
            on=on,
            off=_whole(part, "off", 1),
            wins_set=option_of(part, offer, "wins") == "set",
            pulse_first=option_of(part, offer, "first") != "pause",
            units=offer.units,
        )

    def _net_into(self, target: Terminal) -> int:
        """Return the net of the wire that ends on `target`."""
        # An explicit stack, so that a long chain of parts cannot exhaust Python's own.
        source = self._source.get(target)
        if source is None:
            return DEAD
        stack = [source]
        while stack:
            output = stack[-1]
            if output in self._nets:
                stack.pop()
                continue
            part = self._in_use.get(output.part)
            if part is None or part.type is PartType.SUPPLY:
                self._nets[output] = DEAD if part is None else SUPPLY
                stack.pop()
                continue
            behind = [
                self._source.get(Terminal(part.name, power))
                for power in self._offer(part).shape.power
            ]
            waiting = [s for s in behind if s is not None and s not in self._nets]
            if waiting:
                if output in self._open:
                    raise DesignError(f"power runs in a loop through {output.part}")
                self._open.add(output)
                stack.extend(waiting)
                continue
            self._nets[output] = self._new_net(
                part, output, [DEAD if s is None else self._nets[s] for s in behind]
            )
            self._open.discard(output)
            stack.pop()
        return self._nets[source]

    def _new_net(self, part: PartInUse, output: Terminal, behind: list[int]) -> int:
        if part.type in SPLITTING:
            return behind[0]
        if part.type is PartType.JOINT:
            op = (behind[0], EITHER, behind[1], False)
        elif part.type in SENSING:
            name = input_of(part)
            if name not in self.bits:
                raise DesignError(f"'{part.name}' follows '{name}', which is no input")
            key, inverse = (
                ("passes", "day") if part.type is PartType.TWILIGHT else ("contact", "break")
            )
            inverted = option_of(part, self._offer(part), key) == inverse
            op = (behind[0], BY_INPUT, self.bits[name], inverted)
        else:
            inverted = part.type is PartType.RELAY_BREAK or output.terminal == "break"
            op = (behind[0], BY_PART, self._slot[part.name], inverted)
        self._ops.append(op)
        return len(self._ops) + SUPPLY

    def _supports(self) -> None:
        """Find which parts' contacts each part's power and controls hang on (as bit masks)."""
        support = [0, 0]
        for behind, how, reference, _ in self._ops:
            mask = support[behind]
            if how == BY_PART:
                mask |= 1 << reference
            elif how == EITHER:
                mask |= support[reference]
            support.append(mask)
        count = len(self.parts)
        self.reach_power = [0] * count
        """For each part, the parts whose power its contact can change."""
        self.reach_control = [0] * count
        """For each part, the parts whose control inputs its contact can change."""
        for j, part in enumerate(self.parts):
            controls = 0
            for net in part.controls:
                controls |= support[net]
            for i in range(count):
                if support[part.power] >> i & 1:
                    self.reach_power[i] |= 1 << j
                if controls >> i & 1:
                    self.reach_control[i] |= 1 << j

    def live(self, state: State, vector: int) -> list[bool]:
        """Return which nets are live, with these contacts and input levels."""
        nets = [False, vector & self._supply != 0]
        for behind, how, reference, inverted in self._ops:
            if how == EITHER:
                nets.append(nets[behind] or nets[reference])
            elif not nets[behind]:
                nets.append(False)
            elif how == BY_INPUT:
                nets.append((vector & reference != 0) != inverted)
            else:
                nets.append((state[reference] & CONTACT != 0) != inverted)
        return nets

    def signature(self, vector: int) -> tuple[int, ...]:
        """Return what the circuit becomes at these input levels: equal only if it acts alike.

        Nets turn into 0 (dead), 1 (live) or the number of a term over the parts' contacts.
        """
        nets = [0, 1 if vector & self._supply else 0]
        for behind, how, reference, inverted in self._ops:
            net = nets[behind]
            if how == EITHER:
                other = nets[reference]
                if net == other or other == 0 or net == 1:
                    nets.append(net)
                elif net == 0 or other == 1:
                    nets.append(other)
                else:
                    nets.append(self._term(min(net, other), max(net, other), False, EITHER))
            elif how == BY_INPUT:
                nets.append(net if (vector & reference != 0) != inverted else 0)
            else:
                nets.append(self._term(net, reference, inverted, BY_PART) if net else 0)
        return tuple([nets[i] for i in self._watched])

    def _term(self, first: int, second: int, inverted: bool, how: int) -> int:
        return self._terms.setdefault((first, second, inverted, how), len(self._terms) + 2)

    def loads_on(self, nets: list[bool]) -> int:
        """Return the loads that are on, as a mask."""
        mask = 0
        for i, net in enumerate(self._load_nets):
            if nets[net]:
                mask |= 1 << i
        return mask

    def look(self, state: State, vector: int, due: int) -> tuple[int, list[Row]]:
        """Return (loads on as a mask, what each part does) in one settling step."""
        nets = self.live(state, vector)
        rows: list[tuple[bool, Row, Row]] = []
        busy = False
        for i, part in enumerate(self.parts):
            controls = part.controls
            known = part.step(
                state[i],
                nets[part.power],
                bool(controls) and nets[controls[0]],
                len(controls) > 1 and nets[controls[1]],
                due >> i & 1 != 0,
            )
            busy = busy or known[0]
            rows.append(known)
        if not self.held:
            return self.loads_on(nets), [row[2] for row in rows]
        if busy:
            return self.loads_on(nets), [row[1] for row in rows]
        if due:
            # Edges show to the one part that is due, if it is the only one.
            return self.loads_on(nets), [
                row[2] if due & ~(1 << i) == 0 else row[1] for i, row in enumerate(rows)
            ]
        return self.loads_on(nets), [row[2] for row in rows]

    def units_in_use(self, state: State, vector: int) -> int:
        """Return the units that all live loads and control inputs use."""
        nets = self.live(state, vector)
        total = sum(
            n for n, net in zip(self._load_needs, self._load_nets, strict=True) if nets[net]
        )
        for part in self.parts:
            total += part.units * sum(nets[net] for net in part.controls)
        return total

    def live_terminals(
        self, state: State, vector: int
    ) -> tuple[frozenset[Terminal], tuple[Terminal, ...]]:
        """Return the outputs that are live, and the consumers (loads, control inputs) that are."""
        nets = self.live(state, vector)
        fed = [
            Terminal(name, "in")
            for name, net in zip(self.loads, self._load_nets, strict=True)
            if nets[net]
        ]
        for part in self.parts:
            names = SHAPES[part.kind].controls
            fed += [
                Terminal(part.name, name)
                for name, net in zip(names, part.controls, strict=True)
                if nets[net]
            ]
        return frozenset(t for t, net in self._nets.items() if nets[net]), tuple(fed)

    def names(self, slots: Iterable[int]) -> tuple[str, ...]:
        """Return the names of the parts in these slots."""
        return tuple(self.parts[i].name for i in slots)


def _whole(part: PartInUse, key: str, otherwise: int) -> int:
    value = part.setting(key)
    return value if isinstance(value, int) else otherwise


def upstream(design: Design, names: Iterable[str]) -> frozenset[str]:
    """Return the cone of influence of some parts: they and all that feeds or controls them."""
    behind: dict[str, list[str]] = {}
    for wire in design.wires:
        behind.setdefault(wire.target.part, []).append(wire.source.part)
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(behind.get(name, ()))
    return frozenset(found)
