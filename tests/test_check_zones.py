"""Zones against the shortest paths of networkx: a set of difference bounds is closed by those.

Source: Bengtsson and Yi, "Timed Automata: Semantics, Algorithms and Tools" (2004), section 4: a
zone is a weighted graph, closed when each bound is a shortest path, and empty when some circle is
negative. From memory.
"""

from __future__ import annotations

import random
from fractions import Fraction
from itertools import product

import networkx as nx
import pytest

from synth.check.zones import ZERO, Zone, chosen, expiries, plus, tightened, waited

STRICT = Fraction(1, 1000)
"""What "<" is taken to leave off a whole number of ticks; no path here has so many of them."""


def shortest(zone: Zone, size: int) -> Zone | None:
    """Return the zone closed, None if it is empty."""
    graph = nx.DiGraph()
    for i, j in product(range(size), repeat=2):
        bound = zone[i * size + j]
        graph.add_edge(i, j, weight=(bound >> 1) - (0 if bound & 1 else STRICT))
    if nx.negative_edge_cycle(graph):
        return None
    found = dict(nx.all_pairs_bellman_ford_path_length(graph))
    closed = []
    for i, j in product(range(size), repeat=2):
        least = min(found[i][j], 0) if i == j else found[i][j]
        ticks = -(-least // 1)
        closed.append(int(ticks) << 1 | (least == ticks))
    return tuple(closed)


def within(zone: Zone, size: int, bounds: dict[tuple[int, int], int]) -> Zone | None:
    """Return the zone within some more bounds, closed the slow way."""
    entries = list(zone)
    for (i, j), bound in bounds.items():
        entries[i * size + j] = min(entries[i * size + j], bound)
    return shortest(tuple(entries), size)


def after_a_wait(zone: Zone, deadlines: tuple[int, ...]) -> Zone | None:
    """Return `waited` by its meaning: clocks keep their distances and are beyond where they were
    by more than nothing, and none is beyond its deadline."""
    size = len(deadlines) + 1
    entries = list(zone)
    for clock in range(1, size):
        entries[clock * size] = max(deadlines) << 1 | 1
        entries[clock] &= ~1
    return within(tuple(entries), size, {(i, 0): d << 1 | 1 for i, d in enumerate(deadlines, 1)})


def walk(draw: random.Random, steps: int):
    """Yield (zone, deadlines) as they come about: clocks start, wait, expire and start again."""
    zone: Zone = (ZERO,)
    ages: tuple[int, ...] = ()  # of each clock, its deadline
    for _ in range(steps):
        kept = [n for n in range(len(ages)) if draw.random() < 0.8]
        fresh = draw.randint(0 if kept else 1, max(1, 4 - len(kept)))
        deadlines = tuple(ages[n] for n in kept) + tuple(draw.randint(1, 9) for _ in range(fresh))
        began = chosen(zone, len(ages), tuple(n + 1 for n in kept) + (0,) * fresh)
        zone = waited(began, deadlines)
        assert zone == after_a_wait(began, deadlines)
        yield zone, deadlines
        due, zone = draw.choice(expiries(zone, deadlines))
        left = [n for n in range(len(deadlines)) if not due >> n & 1]
        zone = chosen(zone, len(deadlines), tuple(n + 1 for n in left))
        ages = tuple(deadlines[n] for n in left)


@pytest.mark.parametrize("seed", range(12))
def test_zones_are_closed_by_shortest_paths(seed: int) -> None:
    """What a wait leads to, which clocks may expire then, and any one bound more."""
    draw = random.Random(seed)
    empty = several = closer = 0
    for zone, deadlines in walk(draw, 25):
        size = len(deadlines) + 1
        found = dict(expiries(zone, deadlines))
        for mask in range(1 << len(deadlines)):
            bounds = {}
            for n, deadline in enumerate(deadlines, 1):
                if mask >> (n - 1) & 1:
                    bounds[0, n] = -deadline << 1 | 1
                else:
                    bounds[n, 0] = deadline << 1
            assert found.get(mask) == within(zone, size, bounds)
        several += len(found) > 1
        # Deadlines that some values of a zone are beyond already do not come about; they may.
        sooner = tuple(draw.randint(1, d) for d in deadlines)
        wanted = after_a_wait(zone, sooner)
        if wanted is not None:
            assert waited(zone, sooner) == wanted
            closer += wanted != after_a_wait(zone, deadlines)
        i, j = draw.sample(range(size), 2)
        bound = draw.randint(-20, 20)
        less = tightened(zone, size - 1, i, j, bound)
        assert less == within(zone, size, {(i, j): bound})
        empty += less is None
    assert empty and several and closer


def test_a_sum_is_strict_when_either_bound_is() -> None:
    """By its meaning: "< c" and "<= c" as pairs."""
    for a, b in product(range(-6, 7), repeat=2):
        total, strict = (a >> 1) + (b >> 1), not (a & 1 and b & 1)
        assert plus(a, b) == 2 * total + (not strict)
