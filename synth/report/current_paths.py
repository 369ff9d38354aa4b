"""The circuit as current paths: from the supply through contacts down to each consumer.

Each consumer (a load, a coil) gets a path of its own, numbered from 1; contacts stand in the path
of the first consumer behind them, and the others branch off below. Splitting parts vanish: they
share an amount, but do not switch. A joint is a one-way element; its second input ends in a
reference to the path in which the joint goes on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import SHAPES, SPLITTING, PartType
from synth.parts.kit import Kit
from synth.parts.markings import closed_at_rest, marking
from synth.report.layout import shape_of


@dataclass
class Branch:
    """A way on from a node: an element in it, and what branches off behind the element.

    `kind` is contact, one-way, load, coil, reference (to the joint `part`), or end (nothing
    behind). `terminal` is the output of a contact, the input of a consumer. `wires` lead to it.
    """

    kind: str
    part: PartInUse
    terminal: str
    wires: tuple[Wire, ...]
    behind: list[Branch] = field(default_factory=list)
    row: int = 0
    path: int = 0
    """The number of its path, from 1."""

    @property
    def last(self) -> int:
        """The largest number of a path behind it."""
        return max((branch.last for branch in self.behind), default=self.path)

    @property
    def broken(self) -> bool:
        """Whether the contact is closed at rest (twilight: in the dark)."""
        return closed_at_rest(self.part.type, self.terminal, *self._settings)

    def mark(self, terminal: str) -> str:
        """Return what a trade part carries at a terminal of this element's part."""
        return marking(self.part.type, terminal, *self._settings)

    @property
    def _settings(self) -> tuple[str, str]:
        part = self.part
        return str(part.setting("contact") or ""), str(part.setting("passes") or "")


@dataclass(frozen=True)
class Paths:
    """The whole drawing: what branches off the supply, all elements, and the deepest row."""

    roots: tuple[Branch, ...]
    every: tuple[Branch, ...]
    rows: int
    count: int
    coil_paths: Mapping[str, tuple[int, ...]]
    """The paths in which the coils of each part stand."""
    contact_paths: Mapping[str, tuple[tuple[int, bool], ...]]
    """The contacts of each part: (path, it is a break contact)."""
    joint_paths: Mapping[str, int]
    """The path in which each joint goes on."""


def paths_of(design: Design, kit: Kit) -> Paths:
    """Return the current paths of a well-formed design."""
    parts = {part.name: part for part in design.parts}
    wires = {wire.source: wire for wire in design.wires}
    done: set[str] = set()

    def behind(output: Terminal, led: tuple[Wire, ...] = ()) -> list[Branch]:
        wire = wires.get(output)
        if wire is None:
            return []
        led = (*led, wire)
        part, end = parts[wire.target.part], wire.target.terminal
        if part.type in SPLITTING:
            found = []
            for name in shape_of(part, kit).outputs:
                found += behind(Terminal(part.name, name), led)
            return found
        if part.type is PartType.LOAD:
            return [Branch("load", part, end, led)]
        if end in SHAPES[part.type].controls:
            return [Branch("coil", part, end, led)]
        if part.type is PartType.JOINT:
            if part.name in done:
                return [Branch("reference", part, end, led)]
            done.add(part.name)
            return [Branch("one-way", part, end, led, behind(Terminal(part.name, "out")))]
        found = []
        if part.type is PartType.RECYCLER:
            found.append(Branch("coil", part, end, led))
        for name in shape_of(part, kit).outputs:
            further = behind(Terminal(part.name, name))
            if further or name == "out":
                found.append(Branch("contact", part, name, led, further))
        return found

    roots: list[Branch] = []
    for part in design.parts:
        if part.type is PartType.SUPPLY:
            roots += behind(Terminal(part.name, "out"))
    every: list[Branch] = []
    coils: dict[str, list[int]] = {}
    contacts: dict[str, list[tuple[int, bool]]] = {}
    joints: dict[str, int] = {}
    count = rows = 0

    def place(branch: Branch, row: int) -> None:
        nonlocal count, rows
        every.append(branch)
        branch.row = row
        rows = max(rows, row + 1)
        if branch.kind in ("contact", "one-way") and not branch.behind:
            branch.behind.append(Branch("end", branch.part, branch.terminal, ()))
        if branch.behind:
            for other in branch.behind:
                place(other, row + 1)
            branch.path = branch.behind[0].path
        else:
            count += 1
            branch.path = count
        if branch.kind == "coil":
            coils.setdefault(branch.part.name, []).append(branch.path)
        elif branch.kind == "contact":
            contacts.setdefault(branch.part.name, []).append((branch.path, branch.broken))
        elif branch.kind == "one-way":
            joints[branch.part.name] = branch.path

    for root in roots:
        place(root, 0)
    return Paths(
        tuple(roots), tuple(every), rows, count,
        {name: tuple(found) for name, found in coils.items()},
        {name: tuple(sorted(found)) for name, found in contacts.items()},
        joints,
    )
