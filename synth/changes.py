"""From one design to another: equal parts get equal names, and what changed between the two.

Two parts can be the same one when they are the same line of the kit; contacts that follow an
input must follow the same one, loads keep their names. Of the ways to match them one is sought
that keeps many wires, then many settings: matched from the supply on, then improved by single
changes and exchanges. That more wires could stay with another matching is not ruled out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from synth.design import Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import SENSING, SPLITTING, PartType
from synth.parts.kit import Kit
from synth.result import Outcome, Verdict

_WIRE = 4
"""What a wire that stays counts for, where a setting that stays counts for one."""


@dataclass(frozen=True)
class Changes:
    """What it takes to turn one design into another in which equal parts have equal names.

    `set_anew` holds (part before, part after), `needs` the same for loads that need more or less.
    A wire that `moved` still ends on the same input, but begins at another output: (before, after);
    `carry` holds the same for wires that stay and carry other units. Prices in coins, supplies in
    units.
    """

    added: tuple[PartInUse, ...]
    taken_out: tuple[PartInUse, ...]
    set_anew: tuple[tuple[PartInUse, PartInUse], ...]
    stay: tuple[Wire, ...]
    moved: tuple[tuple[Wire, Wire], ...]
    new: tuple[Wire, ...]
    gone: tuple[Wire, ...]
    price: tuple[int, int]
    supply: tuple[int, int]
    needs: tuple[tuple[PartInUse, PartInUse], ...] = ()
    carry: tuple[tuple[Wire, Wire], ...] = ()

    @property
    def disturbed(self) -> int:
        """How many wires that are there are taken off or moved, and parts taken out."""
        return len(self.moved) + len(self.gone) + len(self.taken_out)


@dataclass(frozen=True)
class Way:
    """A design that holds for what is asked now, and what it takes to turn the old one into it.

    Its parts have the names of the old ones where they are the same. `connections` counts what fed
    an input of the old one and does not any more, splitting parts left aside; `to_buy` the price
    (coins) of the parts that are new, less what is in stock. `proven`: no design costs less, within
    the bounds of the search.
    """

    design: Design
    changes: Changes
    connections: int
    to_buy: int
    price: int
    supply: int
    verdict: Verdict
    proven: bool = False


@dataclass(frozen=True)
class Alteration:
    """Ways to turn `old` into a design for what is asked, those with the fewest changed connections
    first, each cheaper to come by than those before, or with less that is disturbed, or fewer
    units; `outcome` is that of planning anew.

    `holds`: the old design does all of it as it is. `connections` counts those of the old one.
    """

    old: Design
    connections: int
    holds: bool
    ways: tuple[Way, ...]
    outcome: Outcome


def matched(old: Design, new: Design, only_splitting: bool = False) -> dict[str, str]:
    """Return the name in `old` of each part of `new` that can be the same.

    `only_splitting`: all but the splitting parts have equal names already.
    """
    pairs: dict[str, str] = {}
    had = {(w.source, w.target) for w in old.wires}
    by_name = {part.name: part for part in old.parts}
    fits = {
        part.name: [
            other.name
            for other in old.parts
            if _same(part, other)
            and (not only_splitting or part.type in SPLITTING or part.name == other.name)
        ]
        for part in new.parts
    }
    settings = {part.name: dict(part.settings) for part in new.parts}

    def worth(tried: Mapping[str, str]) -> int:
        kept = 0
        for wire in new.wires:
            a, b = tried.get(wire.source.part), tried.get(wire.target.part)
            if a is not None and b is not None:
                ends = (Terminal(a, wire.source.terminal), Terminal(b, wire.target.terminal))
                kept += ends in had
        same = sum(settings[name] == dict(by_name[to].settings) for name, to in tried.items())
        return _WIRE * kept + same

    for part in new.parts:
        free = [name for name in fits[part.name] if name not in pairs.values()]
        if free:
            pairs[part.name] = max(free, key=lambda name: worth({**pairs, part.name: name}))
    best, improved = worth(pairs), True
    while improved:
        improved = False
        for name, options in fits.items():
            for option in options:
                holder = next((n for n, to in pairs.items() if to == option), None)
                if holder == name:
                    continue
                tried = dict(pairs)
                if holder is not None:
                    del tried[holder]
                    if name in pairs and pairs[name] in fits[holder]:
                        tried[holder] = pairs[name]
                tried[name] = option
                if worth(tried) > best:
                    pairs, best, improved = tried, worth(tried), True
    return pairs


def _same(new: PartInUse, old: PartInUse) -> bool:
    if new.type is not old.type or new.part != old.part:
        return False
    if new.type is PartType.LOAD:
        return new.name == old.name
    return new.type not in SENSING or new.setting("input") == old.setting("input")


def free_name(name: str, taken: set[str]) -> str:
    """Return `name`, with another number at its end where it is among those `taken`; it is then."""
    stem, number = re.sub(r" \d+$", "", name), 1
    while name in taken:
        name, number = f"{stem} {number}", number + 1
    taken.add(name)
    return name


def named_after(
    old: Design, new: Design, taken: set[str], highest: int, only_splitting: bool = False
) -> Design:
    """Return `new` with the names and wire numbers of `old` where parts and wires are the same.

    Other parts get names that are not in `taken`, other wires numbers above `highest`. A wire
    that ends on the same input as before keeps its number, also where it begins elsewhere.
    Parts that are the same come first, in the order of the old ones.
    `only_splitting`: all but the splitting parts keep the names they have.
    """
    pairs = matched(old, new, only_splitting)
    used = set(taken) | set(pairs.values())
    names = {}
    for part in new.parts:
        name = pairs.get(part.name)
        if name is None and only_splitting and part.type not in SPLITTING:
            name = part.name
        names[part.name] = free_name(part.name, used) if name is None else name
    numbers = {wire.target: wire.number for wire in old.wires}
    wires = []
    for wire in new.wires:
        target = Terminal(names[wire.target.part], wire.target.terminal)
        if target not in numbers:
            highest += 1
            numbers[target] = highest
        source = Terminal(names[wire.source.part], wire.source.terminal)
        wires.append(replace(wire, number=numbers[target], source=source, target=target))
    # In the order of the old ones: designations are counted in it.
    order = {part.name: place for place, part in enumerate(old.parts)}
    parts = sorted(
        (replace(part, name=names[part.name]) for part in new.parts),
        key=lambda part: order.get(part.name, len(order)),
    )
    return replace(new, parts=tuple(parts), wires=tuple(wires))


def changes_of(old: Design, new: Design, kit: Kit) -> Changes:
    """Return what it takes to turn `old` into `new`, whose equal parts have equal names; one of
    the same name that is another line of the kit is another part."""
    kinds = {(part.name, part.part) for part in new.parts}
    before = {part.name: part for part in old.parts if (part.name, part.part) in kinds}
    ended = {wire.target: wire for wire in old.wires}
    ends = {wire.target for wire in new.wires}
    stay, moved, added = list[Wire](), list[tuple[Wire, Wire]](), list[Wire]()
    carry: list[tuple[Wire, Wire]] = []
    for wire in new.wires:
        was = ended.get(wire.target)
        if was is None:
            added.append(wire)
        elif was.source == wire.source:
            stay.append(wire)
            if None not in (was.units, wire.units) and was.units != wire.units:
                carry.append((was, wire))
        else:
            moved.append((was, wire))
    return Changes(
        tuple(part for part in new.parts if part.name not in before),
        tuple(part for part in old.parts if part.name not in before),
        tuple(
            (before[part.name], part)
            for part in new.parts
            if part.name in before
            and part.type is not PartType.LOAD
            and dict(before[part.name].settings) != dict(part.settings)
        ),
        tuple(stay),
        tuple(moved),
        tuple(added),
        tuple(wire for wire in old.wires if wire.target not in ends),
        (old.price(kit), new.price(kit)),
        (old.supply, new.supply),
        tuple(
            (before[part.name], part)
            for part in new.parts
            if part.type is PartType.LOAD
            and part.name in before
            and before[part.name].setting("needs") != part.setting("needs")
        ),
        tuple(carry),
    )
