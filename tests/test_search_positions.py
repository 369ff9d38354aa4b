"""In how many positions relays can settle: the bound against graphs, and against circuits that run.

The other half of it, with any number of joints, is in `test_search_perpetual`.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import combinations, product

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
    for seed in (high, *range(200)):
        found, most = settled_positions(seed, kinds, size)
        assert found <= most, seed
        if found == most:
            both.add(found)
    assert met <= both


def positions_come_to(kinds: tuple[PartType, ...], parent: list[int], coils: list[int]) -> int:
    """Return in how many positions relays settle at most that come from all at rest, in whatever
    order they move, while each coil is cut off from outside at any times: as many as with the same
    coils cut off in the end. Contact i hangs on contact `parent[i]`, coil i on contact
    `coils[i]`; -1 is the supply."""
    count = len(kinds)

    def wants(state: int, i: int) -> bool:
        at = coils[i]
        while at >= 0:
            if bool(state >> at & 1) is (kinds[at] is BREAK):
                return False
            at = parent[at]
        return True

    reached, todo = {0}, [0]
    while todo:
        state = todo.pop()
        for i in range(count):
            # A relay that operates may be cut off; one at rest operates where its coil is live.
            if state >> i & 1 or wants(state, i):
                other = state ^ 1 << i
                if other not in reached:
                    reached.add(other)
                    todo.append(other)
    live = {state: sum(wants(state, i) << i for i in range(count)) for state in reached}
    return max(sum(live[state] & ~cut == state for state in reached) for cut in range(1 << count))


def nets(count: int) -> Iterator[list[int]]:
    """Yield on what each of so many contacts hangs, in all ways in which power runs in no circle:
    the contact of another one, or the supply."""
    for parent in product(range(-1, count), repeat=count):
        ends = list(parent)
        for _ in range(count):
            ends = [parent[at] if at >= 0 else -1 for at in ends]
        if all(at < 0 for at in ends):
            yield list(parent)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_no_net_without_joints_comes_to_more(count: int) -> None:
    """All of them, of make and break relays."""
    assert sum(1 for _ in nets(count)) == (count + 1) ** (count - 1)  # Cayley 1889, from memory
    for breaks in range(count + 1):
        kinds = (BREAK,) * breaks + (MAKE,) * (count - breaks)
        found = {
            positions_come_to(kinds, parent, list(coils))
            for parent in nets(count)
            for coils in product(range(-1, count), repeat=count)
        }
        names = ["relay break"] * breaks + ["relay make"] * (count - breaks)
        offers = [KITS["held"].index[name] for name in names]
        assert max(found) <= positions(offers, joints=False)
        assert breaks not in (0, 1, 2) or max(found) == positions(offers, joints=False)
