"""What there is to choose from: designs that trade price, power and number of parts."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from synth.design import Design
from synth.parts.behaviour import PartType
from synth.wording import counted


class Measure(StrEnum):
    """What a design is compared by; less is better."""

    PRICE = "price"
    SUPPLY = "supply"
    PARTS = "parts"


@dataclass(frozen=True)
class Choice:
    """One checked design, what it takes (coins, whole units, parts but for supply and loads), and
    what is proven of it.

    `proven`: no design has less of one of them without more of another. `least` names the measures
    of which no design at all has less. `differs` tells in a line how it differs from the first.
    """

    design: Design
    price: int
    supply: int
    parts: int
    least: tuple[Measure, ...] = ()
    proven: bool = False
    states: int = 0
    differs: str = ""
    sharings: int | None = None
    """In how many ways its outputs can be shared at the same price and units; None: not counted."""

    @property
    def values(self) -> tuple[int, int, int]:
        """Price, supply and parts."""
        return (self.price, self.supply, self.parts)

    def beats(self, other: Choice) -> bool:
        """Return whether this is no worse in all measures and better in one."""
        pairs = tuple(zip(self.values, other.values, strict=True))
        return all(a <= b for a, b in pairs) and any(a < b for a, b in pairs)


@dataclass(frozen=True)
class Choices:
    """A front of choices, the cheapest first; none of them beats another.

    `complete`: there is no design beside these on the front. `notes` say in sentences what is
    proven, and what is not.
    """

    front: tuple[Choice, ...]
    complete: bool
    notes: tuple[str, ...]
    designs: tuple[Choice, ...] = ()
    """Really different designs for one choice of the front, where they were asked for."""
    chosen: int = 0
    """The number, from 1, of that choice; 0 where none was asked for."""
    all_designs: bool = False
    """Whether `designs` are all there are."""
    stopped: bool = False
    """Whether there are as many `designs` as were asked for, and more were not looked for."""
    in_time: bool = True
    """Whether, where `designs` are not all, it was the time that ended the search for them."""
    time_up: bool = True
    """Whether it was the time that ended the search for the front."""


def parts_counted(design: Design) -> int:
    """Return the number of parts, splitting parts too, but for the supply and the loads: the one
    way in which parts are counted wherever a number of them is told."""
    return sum(part.type not in (PartType.SUPPLY, PartType.LOAD) for part in design.parts)


def parts_in_words(design: Design) -> str:
    """Return the number of parts, and of which.

    >>> parts_in_words(Design("any", (), ()))
    '0 parts beside the supply and the loads'
    """
    return f"{counted(parts_counted(design), 'part')} beside the supply and the loads"
