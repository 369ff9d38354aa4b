"""In how many positions relays can settle: the bound against graphs, and against circuits that run.

The other half of it, with any number of joints, is in `test_search_perpetual`.
"""

from __future__ import annotations

import random
from itertools import combinations

import networkx
import pytest
from search_tools import KITS, a_problem, a_skeleton, circuit_of

from synth.check.settle import settle
from synth.parts.behaviour import PartType
from synth.search.perpetual import most_independent, positions

SENSING = (PartType.SENSOR, PartType.SWITCH, PartType.PUSH_BUTTON)
MAKE, BREAK, JOINT = PartType.RELAY_MAKE, PartType.RELAY_BREAK, PartType.JOINT


def independent_sets(count: int, lines: list[tuple[int, int]]) -> int:
    """Count the maximal independent sets of a graph."""
    graph = networkx.Graph(lines)
    graph.add_nodes_from(range(count))
    return sum(1 for _ in networkx.find_cliques(networkx.complement(graph)))


@pytest.mark.parametrize("count", range(1, 6))
def test_no_graph_has_more_independent_sets(count: int) -> None:
    """All graphs of so many vertices."""
    pairs = list(combinations(range(count), 2))
    most = max(
        independent_sets(count, [pair for i, pair in enumerate(pairs) if mask >> i & 1])
        for mask in range(1 << len(pairs))
    )
    assert most == most_independent(count)


@pytest.mark.parametrize("sizes", [[3, 3], [3, 2, 2], [3, 3, 2], [3, 3, 3]])
def test_some_graphs_have_as_many_independent_sets(sizes: list[int]) -> None:
    """Complete graphs side by side, which have most (Moon and Moser 1965, from memory)."""
    lines = [
        (sum(sizes[:k]) + i, sum(sizes[:k]) + j)
        for k, size in enumerate(sizes)
        for i, j in combinations(range(size), 2)
    ]
    assert independent_sets(sum(sizes), lines) == most_independent(sum(sizes))


def settled_positions(seed: int, kinds: tuple[PartType, ...], size: int) -> tuple[int, int]:
    """Return to how many settled positions a random circuit comes at most while its inputs have
    the same levels, these changing at random; and the bound on them."""
    rng, kit = random.Random(seed), KITS["held"]
    skeleton = a_skeleton(rng, kit, size, ("lamp",), (*kinds, *kinds, *kinds, *SENSING))
    circuit = circuit_of(skeleton, a_problem(kit, ("lamp",)))
    supply, found = circuit.bits["supply"], dict[int, set[tuple[int, ...]]]()
    for _ in range(4):
        state, vector = circuit.start, supply
        for _ in range(50):
            after = settle(circuit, state, vector, 0)
            if after.chatter:
                break
            state = after.state
            found.setdefault(vector, set()).add(state)
            vector ^= rng.choice(list(circuit.bits.values())) if vector & supply else supply
    offers = [kit.index[item.part] for item in skeleton.parts if item.part in kit.index]
    return max(map(len, found.values()), default=0), positions(offers, joints=False)


@pytest.mark.parametrize(
    ("kinds", "size", "met", "high"),
    [
        ((MAKE,), 6, {1}, 0),
        ((BREAK,), 6, {1, 2}, 1189),
        ((MAKE, BREAK), 7, {1, 2}, 734),
        ((MAKE, JOINT), 6, {1, 2}, 25),
        ((MAKE, BREAK, JOINT), 6, {1, 2}, 44),
        ((MAKE, BREAK, PartType.BISTABLE, JOINT), 6, {1, 2, 4}, 1670),
    ],
)
def test_no_circuit_comes_to_more_positions(
    kinds: tuple[PartType, ...], size: int, met: set[int], high: int
) -> None:
    """Where all joints are told. The bound is met, where it is small: it cannot be lower. The
    circuit of `high`, of thousands, comes to most."""
    both = set()
    for seed in (high, *range(300)):
        found, most = settled_positions(seed, kinds, size)
        assert found <= most, seed
        if found == most:
            both.add(found)
    assert met <= both
