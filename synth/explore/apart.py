"""What tells wirings of the same parts apart: a short line that is true of one and of no other.

A load's *path* is what its power comes through, from the supply on; a part on it may be told with
what works its coil or start, and so on inwards. The shortest line is looked for by which a wiring
differs from all others: the path of one load, then of two, with more and more of what works the
parts; then which ends hang on one and the same contact.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.explore.mended import unshared
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit
from synth.ticks import format_duration

DEEPEST = 3
"""So far inwards it is told what works the parts on a path."""
SETTINGS = ("passes", "contact", "first", "wins")
"""Settings that are told by their own words."""


def told_apart(designs: Sequence[Design], kit: Kit) -> list[str]:
    """Return a line for each design that tells how it is wired, unlike the first and, where it can
    be said so, unlike any other; for the first, and where nothing is found, an empty one."""
    wirings = [_Wiring(unshared(design), kit) for design in designs]
    lines = [""] * len(designs)
    for depth in range(DEEPEST + 1):
        told = [wiring.statements(depth) for wiring in wirings]
        for number in range(1, len(designs)):
            if not lines[number]:
                lines[number] = _own(told, number)
    for number in range(1, len(designs)):
        if not lines[number]:
            # Not the only one of its kind, but unlike the first.
            own, first = wirings[number].statements(DEEPEST), wirings[0].statements(DEEPEST)
            lines[number] = next((own[k] for k in own if own[k] != first.get(k)), "")
    return lines


def _own(told: Sequence[dict[str, str]], number: int) -> str:
    """Return the shortest of the statements about one wiring, or of two of them together, that is
    made of no other; "" if there is none."""
    own = told[number]
    others = [other for n, other in enumerate(told) if n != number]
    for size in (1, 2):
        found = [
            "; ".join(own[key] for key in keys)
            for keys in combinations(own, size)
            if all(any(other.get(key) != own[key] for key in keys) for other in others)
        ]
        if found:
            return min(found, key=len)
    return ""


class _Wiring:
    """A wiring, and what can be said of it."""

    def __init__(self, wiring: Skeleton, kit: Kit) -> None:
        self.kit = kit
        self.parts = {part.name: part for part in wiring.parts}
        self.source = {end: source for source, end in wiring.feeds}

    def statements(self, depth: int) -> dict[str, str]:
        """Return what feeds each load, by its name, and which ends hang on one contact."""
        loads = [part.name for part in self.parts.values() if part.type is PartType.LOAD]
        told = {load: f"{load} {self._fed(Terminal(load, 'in'), depth)}" for load in loads}
        shared = self._shared()
        return told | ({"\0shared": shared} if depth == DEEPEST and shared else {})

    def _fed(self, end: Terminal, depth: int) -> str:
        path = self._path(end, depth, frozenset())
        return f"behind {', then '.join(path)}" if path else "straight from the supply"

    def _path(self, end: Terminal, depth: int, within: frozenset[str]) -> list[str]:
        """Return the parts that power comes through to `end`, from the supply on."""
        source = self.source.get(end)
        if source is None or self.parts[source.part].type is PartType.SUPPLY:
            return []
        part = self.parts[source.part]
        if part.name in within:
            return ["a loop"]
        inner = within | {part.name}
        shape = self.kit.index[part.part].shape
        if part.type is PartType.JOINT:
            ways = sorted(
                " and ".join(self._path(Terminal(part.name, t), depth, within)) or "the supply"
                for t in shape.power
            )
            return [f"({' or '.join(ways)})"]
        own = _named(part, source.terminal, len(shape.outputs) > 1)
        if depth and shape.controls:
            works = [
                f"{terminal} " + (" and ".join(path) if path else "straight from the supply")
                for terminal in shape.controls
                for path in [self._path(Terminal(part.name, terminal), depth - 1, inner)]
            ]
            own += f" ({'; '.join(works)})"
        ends = [Terminal(part.name, terminal) for terminal in shape.power]
        before = [way for end in ends for way in self._path(end, depth, inner)]
        return [*before, own]

    def _shared(self) -> str:
        """Return which ends hang on one contact, sorted by words."""
        ends: dict[Terminal, list[str]] = {}
        for end, source in self.source.items():
            part = self.parts[end.part]
            if self.parts[source.part].type is not PartType.SUPPLY:
                own = part.name if part.type is PartType.LOAD else f"{part.part} {end.terminal}"
                ends.setdefault(source, []).append(own)
        told = sorted(
            f"{' and '.join(sorted(names))} on one {self.parts[source.part].part}"
            for source, names in ends.items()
            if len(names) > 1
        )
        return ", ".join(told) or "no two ends on one contact"


def _named(part: PartInUse, terminal: str, several: bool) -> str:
    """Return a part with its settings and, where it has several outputs, the one that is meant."""
    words = [str(value) for key, value in part.settings if key in SETTINGS or key == "input"]
    words += [
        format_duration(value)
        for key, value in part.settings
        if key in ("time", "on", "off") and isinstance(value, int)
    ]
    return " ".join([part.part, *words, *([terminal] if several else [])])
