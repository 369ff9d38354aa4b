"""Kits for the tests of power sharing, and all the trees that could share power there are.

Enumerated by the rules of sharing alone, with nothing from the room under test.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cache

from synth.parts.behaviour import PartType
from synth.parts.kit import Kit, KitPart, Times, Trigger
from synth.parts.sharing import equal_share, tap_off


def kit_of(*splitting: KitPart, price: int = 1) -> Kit:
    """Return a kit with these splitting parts and some contacts at `price` each."""
    return Kit(
        "shed",
        "Invented kit for tests",
        Trigger.HELD,
        (
            KitPart("mains", PartType.SUPPLY),
            KitPart("lever", PartType.SWITCH, price),
            KitPart("contactor", PartType.RELAY_MAKE, price),
            KitPart("two-way contactor", PartType.RELAY_CHANGEOVER, price),
            KitPart("timer", PartType.PULSE, price, times=Times(1000, 1_000_000, 1000)),
            KitPart("diode", PartType.JOINT, price),
            KitPart("lamp", PartType.LOAD),
            *splitting,
        ),
    )


def tap(price: int = 2, largest: int | None = None, most: int | None = None) -> KitPart:
    return KitPart("tap-off", PartType.TAP_OFF, price, most, largest=largest)


def divider(
    outputs: int, price: int = 3, most: int | None = None, name: str = "divider"
) -> KitPart:
    return KitPart(name, PartType.DIVIDER, price, most, outputs=outputs)


KITS = (
    kit_of(tap(), divider(3)),
    kit_of(divider(2, 2)),
    kit_of(divider(4, 3)),
    kit_of(tap(1), divider(2, 3)),
    kit_of(tap(4), divider(2, 3, name="small"), divider(3, 4, name="large")),
    kit_of(tap(0), divider(3, 0)),
    kit_of(tap(1, largest=2), divider(3, 5)),
)


# --- full enumeration, by the rules of sharing alone ---------------------------------------


@cache
def trees(leaves: tuple[int, ...], fork: int) -> tuple[object, ...]:
    """Return all trees over these leaves whose forks have 2 to `fork` branches, unordered."""
    if len(leaves) == 1:
        return (leaves[0],)
    found: list[object] = []
    for blocks in partitions(leaves):
        if 2 <= len(blocks) <= fork:
            found.extend(itertools.product(*(trees(block, fork) for block in blocks)))
    return tuple(found)


def partitions(items: tuple[int, ...]) -> Iterator[tuple[tuple[int, ...], ...]]:
    """Yield the partitions of `items` into non-empty blocks."""
    if not items:
        yield ()
        return
    head, tail = items[0], items[1:]
    for size in range(len(tail) + 1):
        for others in itertools.combinations(tail, size):
            rest = tuple(i for i in tail if i not in others)
            for blocks in partitions(rest):
                yield ((head, *others), *blocks)


def fitted(tree: object, kit: Kit) -> Iterator[object]:
    """Yield the tree with every fork given one of the kit's splitting parts."""
    if isinstance(tree, int):
        yield tree
        return
    assert isinstance(tree, tuple)
    for part in kit.parts:
        wide = 2 if part.type is PartType.TAP_OFF else part.outputs
        if part.type in (PartType.TAP_OFF, PartType.DIVIDER) and len(tree) <= wide:
            for branches in itertools.product(*(list(fitted(b, kit)) for b in tree)):
                yield (part.name, *branches)


def serves(tree: object, units: int, needs: tuple[int, ...], kit: Kit) -> bool:
    """Return whether `units` at the top of a fitted tree can be enough for all its leaves,
    trying every setting of a tap-off and every order of a divider's branches."""

    @cache
    def ask(node: object, amount: int) -> bool:
        if isinstance(node, int):
            return amount >= needs[node]
        assert isinstance(node, tuple)
        part, branches = kit.index[node[0]], node[1:]
        if part.type is PartType.TAP_OFF:
            most = max(1, amount) if part.largest is None else min(part.largest, max(1, amount))
            shares: set[tuple[int, ...]] = {
                tap_off(amount, setting) for setting in range(1, most + 1)
            }
        else:
            shares = {equal_share(amount, len(branches))}
        return any(
            all(ask(branch, share) for branch, share in zip(order, given_, strict=True))
            for given_ in shares
            for order in itertools.permutations(branches)
        )

    return ask(tree, units)


def price_of(tree: object, kit: Kit) -> int:
    if isinstance(tree, int):
        return 0
    assert isinstance(tree, tuple)
    return kit.index[tree[0]].price + sum(price_of(branch, kit) for branch in tree[1:])
