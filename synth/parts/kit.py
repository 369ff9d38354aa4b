"""A kit: the parts on offer, their prices, settings and limits, and how power is shared.

Nouns only; `synth.read.kit_file` reads and validates a kit from YAML.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from synth.parts.behaviour import SHAPES, PartType, Shape, divider_outputs


class Trigger(StrEnum):
    """How short an edge an edge-sensitive part sees."""

    INSTANT = "instant"
    """One settling step is enough."""
    HELD = "held"
    """The level must last until nothing else moves: the real case (minimum trigger time)."""


@dataclass(frozen=True)
class Times:
    """The times that a timer can be set to: `least` to `most` in steps of `step`, all in ticks."""

    least: int
    most: int
    step: int

    def __contains__(self, ticks: object) -> bool:
        return (
            isinstance(ticks, int)
            and self.least <= ticks <= self.most
            and (ticks - self.least) % self.step == 0
        )


@dataclass(frozen=True)
class KitPart:
    """One line of a kit: a part on offer.

    `name` is the kit's own word, `type` its behaviour, `price` in whole coins, `most` how many
    there are (None: as many as wanted), `units` what each control input (or a load) uses at
    least, `options` which values its setting may take (contact: make, break; passes: night, day;
    wins: set, reset; first: pulse, pause), `times` the range of a timer, `outputs` the number of
    a divider's outputs, `largest` the largest units setting of a tap-off or supply.
    """

    name: str
    type: PartType
    price: int = 0
    most: int | None = None
    units: int = 1
    options: tuple[str, ...] = ()
    times: Times | None = None
    outputs: int = 0
    largest: int | None = None
    about: str = ""

    @cached_property
    def shape(self) -> Shape:
        """The terminals of this part."""
        shape = SHAPES[self.type]
        if self.type is PartType.DIVIDER:
            return Shape(shape.power, shape.controls, divider_outputs(self.outputs))
        return shape


@dataclass(frozen=True)
class Kit:
    """A whole kit of *pushed* power, in which each output feeds one wire."""

    name: str
    title: str
    trigger: Trigger
    parts: tuple[KitPart, ...]
    about: str = ""
    file: str = ""
    index: dict[str, KitPart] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "index", {part.name: part for part in self.parts})

    def of_type(self, kind: PartType) -> tuple[KitPart, ...]:
        """Return the parts of type `kind`, cheapest first, then in the kit's order."""
        return tuple(sorted((p for p in self.parts if p.type is kind), key=lambda p: p.price))

    def offers(self, kind: PartType) -> bool:
        """Return whether any part of type `kind` is on offer."""
        return any(part.type is kind and part.most != 0 for part in self.parts)


def to_buy(parts: Iterable[KitPart], stock: Iterable[tuple[str, int]] = ()) -> int:
    """Return what `parts` cost in coins when so many of each kit name in `stock` are there
    already. One part more never makes it less."""
    parts, left = tuple(parts), dict(stock)
    price = sum(part.price for part in parts)
    if left:
        used = Counter(part.name for part in parts)
        prices = {part.name: part.price for part in parts}
        price -= sum(min(used[name], left.get(name, 0)) * prices[name] for name in used)
    return price
