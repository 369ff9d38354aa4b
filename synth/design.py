"""A design: parts in use with their settings, and the wires between their terminals.

Nouns and their file form only. Whether a design is well formed for its kit is asked by
`synth.check.structure`, whether it does what is wanted by the rest of `synth.check`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from synth.parts.behaviour import LEVERS, SENSING, PartType
from synth.parts.kit import Kit, KitPart, to_buy
from synth.ticks import format_duration


@dataclass(frozen=True)
class PartInUse:
    """One part of a design.

    `name` is unique in the design, `part` the kit's name of it. `settings` holds what applies to
    its type: `time` (ticks), `on`, `off` (ticks), `first` (pulse, pause), `input` (name of an
    outside input), `contact` (make, break), `passes` (night, day), `wins` (set, reset), `units`
    (whole units), `needs` (whole units; loads).
    """

    name: str
    type: PartType
    part: str
    settings: tuple[tuple[str, str | int], ...] = ()

    def setting(self, key: str) -> str | int | None:
        """Return the setting `key`, None when it is not set."""
        return dict(self.settings).get(key)


@dataclass(frozen=True, order=True)
class Terminal:
    """One terminal: the name of its part and of the terminal, written ``part:terminal``."""

    part: str
    terminal: str

    def __str__(self) -> str:
        return f"{self.part}:{self.terminal}"


@dataclass(frozen=True)
class Wire:
    """A wire from an output to an input; `units` is the amount it carries whenever it is live
    (None: not stated)."""

    number: int
    source: Terminal
    target: Terminal
    units: int | None = None


@dataclass(frozen=True)
class Design:
    """Parts and wires, in the order in which they are built."""

    kit: str
    parts: tuple[PartInUse, ...]
    wires: tuple[Wire, ...]

    def part(self, name: str) -> PartInUse:
        """Return the part called `name`; KeyError if there is none."""
        for part in self.parts:
            if part.name == name:
                return part
        raise KeyError(name)

    @property
    def highest(self) -> int:
        """The highest number of a wire, 0 without one: new wires are counted on from it."""
        return max((wire.number for wire in self.wires), default=0)

    def price(self, kit: Kit, stock: Iterable[tuple[str, int]] = ()) -> int:
        """Return the sum of the prices of all parts, in coins, less those in `stock` (number by
        kit name)."""
        return to_buy((kit_part(part, kit) for part in self.parts), stock)

    @property
    def supply(self) -> int:
        """The units that the supply must deliver (0 when no supply states any)."""
        for part in self.parts:
            if part.type is PartType.SUPPLY:
                units = part.setting("units")
                return units if isinstance(units, int) else 0
        return 0


def sensed_alike(design: Design) -> dict[str, tuple[str, ...]]:
    """Return the inputs that several parts sense, levers apart, with the names of these parts."""
    sensing: dict[str, list[str]] = {}
    for part in design.parts:
        if part.type in SENSING and part.type not in LEVERS:
            own = part.setting("input")
            sensing.setdefault(str(own) if own else "night", []).append(part.name)
    return {name: tuple(parts) for name, parts in sensing.items() if len(parts) > 1}


def handed_over(design: Design) -> dict[str, tuple[str, ...]]:
    """Return the change-over relays that hand power over from one contact to the other, each with
    the loads and control inputs (``part:terminal``) that hang on both of its contacts."""
    into: dict[str, list[Wire]] = {}
    for wire in design.wires:
        into.setdefault(wire.source.part, []).append(wire)
    kinds = {part.name: part.type for part in design.parts}

    def fed(relay: str, contact: str) -> set[str]:
        found: set[str] = set()
        waiting = [w.target for w in into.get(relay, ()) if w.source.terminal == contact]
        seen: set[str] = set()
        while waiting:
            target = waiting.pop()
            if kinds[target.part] is PartType.LOAD or not target.terminal.startswith("in"):
                found.add(str(target))
            elif target.part not in seen:
                seen.add(target.part)
                waiting += [wire.target for wire in into.get(target.part, ())]
        return found

    relays = [p.name for p in design.parts if p.type is PartType.RELAY_CHANGEOVER]
    both = {name: tuple(sorted(fed(name, "make") & fed(name, "break"))) for name in relays}
    return {name: ends for name, ends in both.items() if ends}


def kit_part(part: PartInUse, kit: Kit) -> KitPart:
    """Return the kit's line for a part in use; KeyError when the kit has none of that name."""
    return kit.index[part.part]


TIME_SETTINGS = ("time", "on", "off")


def settings_document(settings: Mapping[str, str | int]) -> dict[str, Any]:
    """Return settings as they stand in files: times in words, the rest as it is."""
    return {
        key: format_duration(value) if key in TIME_SETTINGS and isinstance(value, int) else value
        for key, value in settings.items()
    }


def design_document(design: Design) -> dict[str, Any]:
    """Return the design as plain data, the form of design.json and of ``--format json``."""
    return {
        "kit": design.kit,
        "parts": [
            {
                "name": part.name,
                "type": part.type.value,
                "part": part.part,
                "settings": settings_document(dict(part.settings)),
            }
            for part in design.parts
        ],
        "wires": [
            {
                "number": wire.number,
                "from": str(wire.source),
                "to": str(wire.target),
                "units": wire.units,
            }
            for wire in design.wires
        ],
    }


@dataclass(frozen=True)
class Skeleton:
    """A wiring before power is shared: one output may feed any number of inputs.

    `parts` has no splitting parts (tap-off, divider). `feeds` has one (output, input) pair for
    each power and control input of every part. The power side is acyclic.
    """

    kit: str
    parts: tuple[PartInUse, ...]
    feeds: tuple[tuple[Terminal, Terminal], ...]
