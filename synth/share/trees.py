"""All different ways to share one output, one by one: for counting, not for the best (`split`).

Consumers of equal needs are alike, and so are a divider's outputs, so that each way comes once:
what is exchanged by renaming consumers or by turning a divider's branches is the same tree. A
tap-off's branch and rest are not alike. With one divider of enough outputs and n consumers of one
need these are the series-reduced rooted trees with n leaves.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations_with_replacement, product
from typing import NamedTuple, TypeAlias

from synth.design import Design, PartInUse, Terminal, kit_part
from synth.parts.behaviour import CONTROLLED, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit
from synth.share.price import SharingPart, sharing_parts

MOST_CONSUMERS = 8
"""Nets of more consumers are not counted."""
MOST_TREES = 20_000
"""Most trees that are made for one net; beyond it nothing is said."""

Needs: TypeAlias = tuple[int, ...]
"""Needs in whole units, ascending."""


class Branching(NamedTuple):
    """A way to share: price in coins, least units, and its tree: the need of a consumer, or
    (number of the part, branches), a divider's branches in a fixed order."""

    price: int
    units: int
    tree: Tree


Tree: TypeAlias = "int | tuple[int, tuple[Tree, ...]]"


class TooMany(Exception):
    """More trees than `MOST_TREES`."""


def every_tree(
    needs: Sequence[int],
    parts: Sequence[SharingPart],
    price: int | None = None,
    units: int | None = None,
) -> tuple[Branching, ...]:
    """Return all different trees of `parts` with consumers of these needs as leaves, none of them
    dearer than `price` or in need of more than `units`, where these are given.

    No count of parts is kept to. Needs are 1 unit or more. Raises TooMany.
    """
    return _Trees(parts, price, units).of(tuple(sorted(needs)))


class _Trees:
    def __init__(self, parts: Sequence[SharingPart], price: int | None, units: int | None) -> None:
        self.parts = parts
        self.price = price
        self.units = units
        self.widest = max((part.outputs for part in parts), default=1)
        self.known: dict[Needs, tuple[Branching, ...]] = {}
        self.made = 0

    def of(self, needs: Needs) -> tuple[Branching, ...]:
        """Return all trees over these needs."""
        if len(needs) == 1:
            return (Branching(0, needs[0], needs[0]),)
        if needs not in self.known:
            self.known[needs] = tuple(self._forks(needs))
        return self.known[needs]

    def _forks(self, needs: Needs) -> Iterator[Branching]:
        for pieces in partitions(needs, min(self.widest, len(needs))):
            if len(pieces) < 2:
                continue
            for branches in self._mixes(pieces):
                for number, part in enumerate(self.parts):
                    for found in self._with(number, part, branches):
                        self.made += 1
                        if self.made > MOST_TREES:
                            raise TooMany
                        yield found

    def _mixes(self, pieces: tuple[Needs, ...]) -> Iterator[tuple[Branching, ...]]:
        """Yield every choice of a tree for each piece, pieces that are equal being alike."""
        choices = [
            tuple(combinations_with_replacement(self.of(piece), number))
            for piece, number in Counter(pieces).items()
        ]
        for chosen in product(*choices):
            yield tuple(branch for group in chosen for branch in group)

    def _with(
        self, number: int, part: SharingPart, branches: tuple[Branching, ...]
    ) -> Iterator[Branching]:
        """Yield the fork or forks of one part with these branches, within the bounds."""
        if len(branches) > part.outputs:
            return
        price = part.price + sum(branch.price for branch in branches)
        if self.price is not None and price > self.price:
            return
        orders = [branches]
        if part.type is PartType.TAP_OFF and branches[0] != branches[1]:
            orders.append(branches[::-1])
        for order in orders:
            if part.type is PartType.TAP_OFF:
                if part.largest is not None and order[0].units > part.largest:
                    continue
                units = order[0].units + order[1].units
            else:
                units = divided([branch.units for branch in order])
            if self.units is None or units <= self.units:
                yield Branching(price, units, (number, tuple(branch.tree for branch in order)))


def divided(needs: Sequence[int]) -> int:
    """Return the least units with which a divider meets these needs on its outputs, the largest
    need on the first output: see `split`."""
    most = max(needs)
    return len(needs) * (most - 1) + list(needs).count(most)


def partitions(needs: Needs, most: int) -> Iterator[tuple[Needs, ...]]:
    """Yield every way to part a multiset into at most `most` multisets, each way once.

    >>> list(partitions((1, 1, 2), 2))
    [((1, 1, 2),), ((1, 2), (1,)), ((2,), (1, 1))]
    """

    def rest(left: Needs, most: int, at_most: Needs | None) -> Iterator[tuple[Needs, ...]]:
        if not left:
            yield ()
            return
        if not most:
            return
        for piece, others in _pieces(left):
            # Pieces come in falling order, so that each way comes once.
            if at_most is None or piece <= at_most:
                for further in rest(others, most - 1, piece):
                    yield (piece, *further)

    yield from sorted(rest(needs, most, None), key=lambda pieces: (len(pieces), pieces))


def _pieces(needs: Needs) -> Iterator[tuple[Needs, Needs]]:
    """Yield every non-empty part of a multiset, with what is left."""
    values = sorted(Counter(needs).items())
    for counts in product(*(range(count + 1) for _, count in values)):
        pairs = [(value, n, count) for (value, count), n in zip(values, counts, strict=True)]
        if any(counts):
            yield (
                tuple(value for value, n, _ in pairs for _ in range(n)),
                tuple(value for value, n, count in pairs for _ in range(count - n)),
            )


def ways_to_share(design: Design, kit: Kit) -> int | None:
    """Return in how many ways each output of `design` can be shared at the same price and with the
    same units as it is, multiplied over its outputs (1: in no other way).

    What one output might save to the good of another is not looked at. None where splitting parts
    are limited in number, an output feeds more than `MOST_CONSUMERS`, or the trees are too many.
    """
    parts = sharing_parts(kit)
    if any(part.most is not None for part in parts):
        return None
    total = 1
    for own in _Nets(design, kit, parts).all():
        if len(own.needs) == 1:
            continue
        if len(own.needs) > MOST_CONSUMERS or min(own.needs) < 1:
            return None
        try:
            trees = every_tree(own.needs, parts, own.price, own.units)
        except TooMany:
            return None
        same = sum((tree.price, tree.units) == (own.price, own.units) for tree in trees)
        if not same:
            return None  # set to more than is needed somewhere
        total *= same
    return total


class _Net(NamedTuple):
    """An output: the needs of all that it feeds, and price and least units of how it is split."""

    needs: Needs
    price: int
    units: int


class _Nets:
    """The outputs of a design, each with what hangs on it through splitting parts."""

    def __init__(self, design: Design, kit: Kit, parts: Sequence[SharingPart]) -> None:
        self.design = design
        self.kit = kit
        self.prices = {part.name: part.price for part in parts}
        self.by_name = {part.name: part for part in design.parts}
        self.fed = {wire.source: wire.target for wire in design.wires}
        self.needed: dict[str, int] = {}

    def all(self) -> list[_Net]:
        return [
            self.behind(self.fed[output])
            for part in self.design.parts
            if part.type not in SPLITTING
            for output in self._outputs(part)
        ]

    def _outputs(self, part: PartInUse) -> list[Terminal]:
        """Return the outputs of a part that feed something, in order."""
        ends = (Terminal(part.name, o) for o in kit_part(part, self.kit).shape.outputs)
        return [end for end in ends if end in self.fed]

    def behind(self, target: Terminal) -> _Net:
        """Return what hangs on a wire that ends on `target`."""
        part = self.by_name[target.part]
        if part.type not in SPLITTING:
            need = self._need(part, target.terminal)
            return _Net((need,), 0, need)
        inner = [self.behind(self.fed[output]) for output in self._outputs(part)]
        units = [net.units for net in inner]
        if part.type is PartType.TAP_OFF:
            setting = part.setting("units")
            branch = setting if isinstance(setting, int) else 0
            rest = sum(net.units for net in inner[1:])
            total = max(branch, units[0]) + rest
        else:
            total = divided(units)
        needs = tuple(sorted(need for net in inner for need in net.needs))
        return _Net(needs, self.prices[part.part] + sum(net.price for net in inner), total)

    def _need(self, part: PartInUse, terminal: str) -> int:
        """Return the units that a consumer needs at one of its inputs."""
        line = kit_part(part, self.kit)
        if part.type in CONTROLLED and terminal in line.shape.controls:
            return line.units
        if part.name not in self.needed:
            own = int(part.type in TIMED)
            if part.type is PartType.LOAD:
                stated = part.setting("needs")
                own = stated if isinstance(stated, int) else line.units
            nets = [self.behind(self.fed[output]).units for output in self._outputs(part)]
            self.needed[part.name] = max([own, *nets])
        return self.needed[part.name]
