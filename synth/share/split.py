"""The cheapest ways to split one output over several needs: exact, by dynamic programming.

A split is a tree of tap-offs and dividers with the consumers as leaves. All rules of sharing are
monotone, so each subtree has a least amount that serves it, found from the leaves upwards:

- a tap-off set to what its branch needs, before a rest that needs r, needs branch + r;
- a divider with m connected outputs, of which j have the largest need d, needs m(d - 1) + j.
  This is the least n with ceil((n - i + 1)/m) >= need of output i for i = 1..m (Graham, Knuth,
  Patashnik, *Concrete Mathematics*, eq. 3.24), needs in descending order so that the remainder
  lands where it is needed. Smaller needs beside the largest one change nothing.

The tables run over the sub-multisets of the needs, each with its front of (cost, least units).
Joints are not used for splitting: they are parts of the wiring itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple, TypeAlias

from synth.errors import Undecided
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit
from synth.share.price import SharingPart, sharing_parts

SCALE = 1 << 40
"""Price and number of parts are added up as one whole number, major * SCALE + minor."""
FIELD = 32
"""Bits for each counted resource in a usage number."""
MOST_PAIRS = 20_000_000
"""The most ways to cut a multiset of needs in two, over all its parts, that is worked through."""
_TIES = 10
_TIE_MASK = (1 << _TIES) - 1


@dataclass(frozen=True)
class Leaf:
    """A consumer: the index of its need in the list that was asked for."""

    consumer: int


@dataclass(frozen=True)
class Fork:
    """A splitting part and what its outputs feed, in the order of its outputs.

    `part` is the kit's name; for a tap-off `setting` is its units and the branches are (branch,
    rest); for a divider `setting` is None.
    """

    part: str
    type: PartType
    setting: int | None
    branches: tuple[Tree, ...]


Tree: TypeAlias = Leaf | Fork


@dataclass(frozen=True)
class Split:
    """One way to split: price in coins, units needed at the source, number of parts, the tree."""

    price: int
    units: int
    parts: int
    tree: Tree


class Point(NamedTuple):
    """A point of a front: cost (see SCALE), least units, use of counted resources, its tree.

    The tree is a need (leaf) or (index of the part, setting, branches).
    """

    cost: int
    units: int
    usage: int
    tree: object


class _Part(NamedTuple):
    """A partial divider: cost, key (largest need and how often), usage, children."""

    cost: int
    key: int
    usage: int
    children: tuple[tuple[int, object], ...]


@dataclass(frozen=True)
class Accounts:
    """What a splitting part counts for.

    `parts` are the splitting parts on offer. `wires_first` makes the number of parts the major
    part of the cost, else the price. `caps` are the resources to be counted one by one: a kit
    name, or "" for the price in coins, with the most that may be used.
    """

    parts: tuple[SharingPart, ...]
    wires_first: bool = False
    caps: tuple[tuple[str, int], ...] = ()

    def cost(self, part: SharingPart) -> int:
        """Return the cost number of one such part."""
        return SCALE + part.price if self.wires_first else part.price * SCALE + 1

    def usage(self, part: SharingPart) -> int:
        """Return the usage number of one such part."""
        amounts = (part.price if name == "" else int(name == part.name) for name, _ in self.caps)
        return sum(amount << (FIELD * i) for i, amount in enumerate(amounts))

    def within(self, usage: int) -> bool:
        """Return whether no counted resource is used beyond its cap."""
        return all(
            (usage >> (FIELD * i)) & ((1 << FIELD) - 1) <= cap
            for i, (_, cap) in enumerate(self.caps)
        )

    def price_and_parts(self, cost: int) -> tuple[int, int]:
        """Return (price, number of parts) of a cost number."""
        major, minor = divmod(cost, SCALE)
        return (minor, major) if self.wires_first else (major, minor)

    def fields(self, usage: int) -> tuple[int, ...]:
        """Return the use of each counted resource."""
        return tuple((usage >> (FIELD * i)) & ((1 << FIELD) - 1) for i in range(len(self.caps)))


def pareto(points: list[Point], accounts: Accounts) -> list[Point]:
    """Return the points that no other is at least as good as in every respect, by cost."""
    kept: list[Point] = []
    if not accounts.caps:
        least: int | None = None
        for point in sorted(points, key=lambda p: (p.cost, p.units)):
            if least is None or point.units < least:
                kept.append(point)
                least = point.units
        return kept
    for point in sorted(points, key=lambda p: (p.cost, p.units, p.usage)):
        used = accounts.fields(point.usage)
        if not any(
            other.units <= point.units
            and all(a <= b for a, b in zip(accounts.fields(other.usage), used, strict=True))
            for other in kept
        ):
            kept.append(point)
    return kept


@lru_cache(maxsize=64)
def _least_costs(
    accounts: Accounts, consumers: int
) -> tuple[tuple[int | None, ...], ...]:
    """Return the table [k][n]: least cost of k trees with n leaves together, needs unlimited.

    Row 0 is unused; row k goes up to the largest number of outputs on offer.
    """
    width = max([part.outputs for part in accounts.parts], default=1)
    table: list[list[int | None]] = [
        [None] * (consumers + 1) for _ in range(max(width, 1) + 1)
    ]
    for n in range(1, consumers + 1):
        for k in range(2, width + 1):
            sums = [
                a + b
                for t in range(1, n)
                if (a := table[1][t]) is not None and (b := table[k - 1][n - t]) is not None
            ]
            table[k][n] = min(sums, default=None)
        forks = [
            inner + accounts.cost(part)
            for part in accounts.parts
            for k in range(2, part.outputs + 1)
            if (inner := table[k][n]) is not None
        ]
        table[1][n] = 0 if n == 1 else min(forks, default=None)
    return tuple(tuple(row) for row in table)


def least_cost(accounts: Accounts, consumers: int) -> int | None:
    """Return the least cost number of a tree with `consumers` leaves, whatever their needs."""
    if consumers <= 1:
        return 0
    # Round up so that neighbouring fan-outs share one table.
    return _least_costs(accounts, -(-consumers // 16) * 16)[1][consumers]


@lru_cache(maxsize=20_000)
def front(
    accounts: Accounts,
    needs: tuple[int, ...],
    slack: int | None = None,
    waste: int | None = None,
) -> tuple[Point, ...]:
    """Return the front of (cost, units) for `needs` (descending), ascending cost.

    Only points are kept whose cost exceeds the least one by at most `slack` and whose units
    exceed the sum of the needs by at most `waste` (None: any). Both hold for every subtree of a
    split for which they hold as a whole: cost adds up, and what a tree wastes is the sum of what
    its leaves waste. So nothing within the two bounds is lost.

    Raises Undecided when so many different needs hang on one net that the tables would not fit.
    """
    pairs = math.prod(n * (n + 1) // 2 for n in (needs.count(v) + 1 for v in set(needs)))
    if pairs > MOST_PAIRS:
        raise Undecided(
            f"{len(needs)} consumers of {len(set(needs))} different needs on one output are more "
            "than can be split exactly; give more of them the same need"
        )
    return tuple(_Table(accounts, needs, slack, waste).fill())


class _Table:
    """The tables over all sub-multisets of some needs; a sub-multiset is a mixed-radix number."""

    def __init__(
        self, accounts: Accounts, needs: tuple[int, ...], slack: int | None, waste: int | None
    ) -> None:
        self.accounts = accounts
        self.slack = slack
        self.waste = waste
        self.values = sorted(set(needs))
        self.counts = [needs.count(value) for value in self.values]
        self.radix: list[int] = []
        states = 1
        for count in self.counts:
            self.radix.append(states)
            states *= count + 1
        self.size = [0] * states
        self.sum = [0] * states
        for state in range(1, states):
            for radix, count, value in zip(self.radix, self.counts, self.values, strict=True):
                number = state // radix % (count + 1)
                self.size[state] += number
                self.sum[state] += number * value
        self.costs = [accounts.cost(part) for part in accounts.parts]
        self.usages = [accounts.usage(part) for part in accounts.parts]
        self.taps = [
            i for i, part in enumerate(accounts.parts) if part.type is PartType.TAP_OFF
        ]
        self.dividers = [
            i for i, part in enumerate(accounts.parts) if part.type is PartType.DIVIDER
        ]
        self.width = max([accounts.parts[i].outputs for i in self.dividers], default=1)
        self.least = _least_costs(accounts, -(-max(len(needs), 1) // 16) * 16)
        # The most that k trees may cost together, by k and number of consumers.
        self.dearest: list[list[float]] = [
            [
                -1 if cost is None else math.inf if slack is None else cost + slack
                for cost in row
            ]
            for row in self.least
        ]
        self.shapes = [self._shapes(size) for size in range(len(needs) + 1)]
        self.fronts: list[list[Point]] = [[] for _ in range(states)]
        # partial[k][state]: k children of one divider that together feed `state`.
        self.partial: list[list[list[_Part]]] = [
            [[] for _ in range(states)] for _ in range(self.width + 1)
        ]

    def fill(self) -> list[Point]:
        """Fill the tables from the single consumers upwards; return the front of all needs."""
        last = len(self.fronts) - 1
        for state in range(1, last + 1):
            if self.size[state] == 1:
                need = self.sum[state]
                points = [Point(0, need, 0, need)]
            else:
                points = self._forks(state)
            self.fronts[state] = points
            if self.width > 1:
                self.partial[1][state] = [
                    _Part(p.cost, (p.units << _TIES) | 1, p.usage, ((p.units, p.tree),))
                    for p in points
                ]
        return self.fronts[last]

    def _inside(self, state: int) -> list[int]:
        """Return all sub-multisets of `state`, the empty one and itself included."""
        found = [0]
        for radix, count in zip(self.radix, self.counts, strict=True):
            number = state // radix % (count + 1)
            if number:
                found = [s + k * radix for k in range(number + 1) for s in found]
        return found

    def _shapes(self, size: int) -> list[list[int]]:
        """Return for every size of a first child the numbers of children, it included, that
        `size` consumers can have without being too dear (1 stands for a tap-off)."""
        shapes: list[list[int]] = [[] for _ in range(size + 1)]
        tap = min((self.costs[i] for i in self.taps), default=None)
        for fed in range(1, size):
            lead = self.least[1][fed]
            for k in range(1, min(self.width, size) + 1):
                others = self.least[max(k - 1, 1)][size - fed]
                extra = 0 if k > 1 else tap
                if lead is None or others is None or extra is None:
                    continue
                if lead + others + extra <= self.dearest[k][size]:
                    shapes[fed].append(k)
        return shapes

    def _forks(self, state: int) -> list[Point]:
        """Return the front of `state` (two consumers or more)."""
        size = self.size[state]
        widest = min(self.width, size)
        taps: dict[tuple[int, int], tuple[int, int, Point, Point]] = {}
        parts: list[dict[tuple[int, int], _Part]] = [{} for _ in range(widest + 1)]
        shapes = self.shapes[size]
        # The child with the largest number stands first, which leaves out most repetitions.
        for first in self._inside(state):
            if not self.fronts[first] or first == state:
                continue
            for k in shapes[self.size[first]]:
                if max(k, 2) * first < state:
                    continue
                if k == 1:
                    self._add_taps(taps, state, first)
                elif self.partial[k - 1][state - first]:
                    self._add_children(parts[k], k, first, state)
        points = [
            Point(cost, units, usage, self._tapped(tap, a, b))
            for (units, usage), (cost, tap, a, b) in taps.items()
        ]
        for k in range(2, widest + 1):
            kept = self._kept(parts[k])
            if k < self.width:
                self.partial[k][state] = kept
            for part in kept:
                largest, ties = part.key >> _TIES, part.key & _TIE_MASK
                units = max(0, k * (largest - 1) + ties)
                for i in self.dividers:
                    if k <= self.accounts.parts[i].outputs:
                        children = sorted(part.children, key=lambda child: -child[0])
                        tree = (i, None, tuple(child[1] for child in children))
                        usage = part.usage + self.usages[i]
                        points.append(Point(part.cost + self.costs[i], units, usage, tree))
        return pareto([p for p in points if self._fits(p, state)], self.accounts)

    def _fits(self, point: Point, state: int) -> bool:
        return not (
            (self.waste is not None and point.units - self.sum[state] > self.waste)
            or point.cost > self.dearest[1][self.size[state]]
            or (self.accounts.caps and not self.accounts.within(point.usage))
        )

    def _add_taps(
        self,
        best: dict[tuple[int, int], tuple[int, int, Point, Point]],
        state: int,
        first: int,
    ) -> None:
        """Enter every tap-off with `first` on one side and the rest of `state` on the other."""
        dearest = self.dearest[1][self.size[state]]
        base = self.sum[state]
        rest = self.fronts[state - first]
        for tap in self.taps:
            largest = self.accounts.parts[tap].largest
            for a in self.fronts[first]:
                for b in rest:
                    cost = a.cost + b.cost + self.costs[tap]
                    if cost > dearest:
                        break
                    low, high = (a, b) if a.units <= b.units else (b, a)
                    if low.units == 0 and (largest is None or high.units <= largest):
                        low, high = high, low
                    setting = max(1, low.units)
                    if largest is not None and setting > largest:
                        continue
                    units = setting + high.units if low.units or high.units else 0
                    if self.waste is not None and units - base > self.waste:
                        continue
                    key = (units, a.usage + b.usage + self.usages[tap])
                    if key not in best or cost < best[key][0]:
                        best[key] = (cost, tap, low, high)

    @staticmethod
    def _tapped(tap: int, low: Point, high: Point) -> object:
        return (tap, max(1, low.units), (low.tree, high.tree))

    def _add_children(
        self, best: dict[tuple[int, int], _Part], k: int, first: int, state: int
    ) -> None:
        """Enter every way to feed `first` by one of k children and the rest by the others."""
        dearest = self.dearest[k][self.size[state]]
        rest = self.partial[k - 1][state - first]
        for a in self.partial[1][first]:
            for b in rest:
                cost = a.cost + b.cost
                if cost > dearest:
                    break
                key = b.key + 1 if a.key >> _TIES == b.key >> _TIES else max(a.key, b.key)
                place = (key, a.usage + b.usage)
                if place not in best or cost < best[place].cost:
                    best[place] = _Part(cost, key, place[1], a.children + b.children)

    def _kept(self, found: dict[tuple[int, int], _Part]) -> list[_Part]:
        """Return the partial dividers worth keeping, by cost."""
        points = [Point(p.cost, p.key, p.usage, p) for p in found.values()]
        if self.accounts.caps:
            points = [p for p in points if self.accounts.within(p.usage)]
        kept = pareto(points, self.accounts)
        return [p.tree for p in kept if isinstance(p.tree, _Part)]


def grown(tree: object, needs: tuple[int, ...], accounts: Accounts) -> Tree:
    """Return a front's tree with its leaves told apart: each need to its consumers in order."""
    waiting: dict[int, list[int]] = {}
    for index in reversed(range(len(needs))):
        waiting.setdefault(needs[index], []).append(index)

    def grow(node: object) -> Tree:
        if isinstance(node, int):
            return Leaf(waiting[node].pop())
        assert isinstance(node, tuple)
        part = accounts.parts[node[0]]
        return Fork(part.name, part.type, node[1], tuple(grow(child) for child in node[2]))

    return grow(tree)


def split_front(
    needs: tuple[int, ...], kit: Kit, most: Mapping[str, int] | None = None
) -> tuple[Split, ...]:
    """Return the ways to feed `needs` (whole units) from one output that are worth a choice.

    The Pareto front of (price in coins, units needed at the source), ascending price; among
    equals the fewest parts. Empty when the kit cannot split so far; `most` limits parts by kit
    name beside the kit's own limits. Exact: no tree of tap-offs and dividers is better than
    every split returned.
    """
    if not needs:
        return ()
    parts = sharing_parts(kit, most)
    caps = tuple((part.name, part.most) for part in parts if part.most is not None)
    ordered = tuple(sorted(needs, reverse=True))
    accounts = Accounts(parts)
    points = list(front(accounts, ordered))
    if caps:
        accounts = Accounts(parts, caps=caps)
        points = list(front(accounts, ordered))
    found: list[Split] = []
    for point in points:
        if found and point.units >= found[-1].units:
            continue
        price, count = accounts.price_and_parts(point.cost)
        split = Split(price, point.units, count, grown(point.tree, needs, accounts))
        if found and found[-1].price == price:
            found.pop()
        found.append(split)
    return tuple(found)
