"""Splitting one output: against full enumeration, published rules and common practice."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from share_enumeration import KITS, divider, fitted, kit_of, price_of, serves, trees

from synth.errors import Undecided
from synth.parts.kit import Kit
from synth.parts.sharing import equal_share, tap_off
from synth.read.kit_file import load_kit
from synth.share import Fork, Leaf, Tree, fan_out_price, split_front

STARTER = load_kit("starter")


def enumerated_front(needs: tuple[int, ...], kit: Kit, most_units: int) -> list[tuple[int, int]]:
    """Return the front of (price, units) of all trees there are, units up to `most_units`."""
    best: dict[int, int] = {}
    for tree in trees(tuple(range(len(needs))), len(needs)):
        for candidate in fitted(tree, kit):
            price = price_of(candidate, kit)
            limit = best.get(price, most_units + 1)
            while limit > 0 and serves(candidate, limit - 1, needs, kit):
                limit -= 1
            if limit <= most_units:
                best[price] = limit
    front: list[tuple[int, int]] = []
    for price, units in sorted(best.items()):
        if not front or units < front[-1][1]:
            front.append((price, units))
    return front


def deliver(tree: Tree, units: int) -> dict[int, int]:
    """Return what each consumer of a split gets, by the rules of sharing."""
    if isinstance(tree, Leaf):
        return {tree.consumer: units}
    if tree.setting is not None:
        shares: tuple[int, ...] = tap_off(units, tree.setting)
    else:
        shares = equal_share(units, len(tree.branches))
    got: dict[int, int] = {}
    for branch, share in zip(tree.branches, shares, strict=True):
        got.update(deliver(branch, share))
    return got


def forks(tree: Tree) -> list[Fork]:
    if isinstance(tree, Leaf):
        return []
    return [tree, *(fork for branch in tree.branches for fork in forks(branch))]


def test_enumeration_is_complete() -> None:
    # Sharing trees with loads told apart, any fan-out of two or more: OEIS A000311, n = 1..5;
    # two-way forks only: the double factorials, OEIS A001147, n = 1..5.
    assert [len(trees(tuple(range(n)), n)) for n in range(1, 6)] == [1, 1, 4, 26, 236]
    assert [len(trees(tuple(range(n)), 2)) for n in range(1, 6)] == [1, 1, 3, 15, 105]
    # Like loads: OEIS A000669 and, two-way, A001190.
    def alike(tree: object) -> object:
        return tuple(sorted(map(alike, tree), key=repr)) if isinstance(tree, tuple) else 0

    any_fork = [len({alike(t) for t in trees(tuple(range(n)), n)}) for n in range(1, 6)]
    two_way = [len({alike(t) for t in trees(tuple(range(n)), 2)}) for n in range(1, 6)]
    assert any_fork == [1, 1, 2, 5, 12]
    assert two_way == [1, 1, 1, 2, 3]


def test_equal_share_rules() -> None:
    # Graham, Knuth, Patashnik, Concrete Mathematics, eq. 3.24.
    for units in range(40):
        for outputs in range(1, 8):
            shares = equal_share(units, outputs)
            by_book = [-(-(units - i + 1) // outputs) for i in range(1, outputs + 1)]
            assert list(shares) == by_book
            assert sum(shares) == units
    # Common practice, no source: four, five and six units over three outputs.
    assert [equal_share(n, 3) for n in (4, 5, 6)] == [(2, 1, 1), (2, 2, 1), (2, 2, 2)]


@settings(max_examples=80, deadline=None)
@given(
    needs=st.lists(st.integers(1, 4), min_size=1, max_size=4).map(tuple),
    kit=st.sampled_from(KITS),
)
def test_front_is_that_of_full_enumeration(needs: tuple[int, ...], kit: Kit) -> None:
    front = split_front(needs, kit)
    limit = max([split.units for split in front], default=60)
    assert [(s.price, s.units) for s in front] == enumerated_front(needs, kit, limit)


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(
    needs=st.lists(st.integers(1, 6), min_size=5, max_size=5).map(tuple),
    kit=st.sampled_from(KITS),
)
def test_front_of_five_is_that_of_full_enumeration(needs: tuple[int, ...], kit: Kit) -> None:
    front = split_front(needs, kit)
    limit = max([split.units for split in front], default=60)
    assert [(s.price, s.units) for s in front] == enumerated_front(needs, kit, limit)


@pytest.mark.slow
@pytest.mark.parametrize("kit", KITS)
@pytest.mark.parametrize("needs", [(1, 1, 1, 1, 1), (3, 1, 1, 2, 1)])
def test_front_of_five(needs: tuple[int, ...], kit: Kit) -> None:
    front = split_front(needs, kit)
    limit = max([split.units for split in front], default=60)
    assert [(s.price, s.units) for s in front] == enumerated_front(needs, kit, limit)


@settings(max_examples=150, deadline=None)
@given(
    needs=st.lists(st.integers(0, 9), min_size=1, max_size=8).map(tuple),
    kit=st.sampled_from(KITS),
)
def test_every_split_serves_and_wastes_no_more_than_it_says(
    needs: tuple[int, ...], kit: Kit
) -> None:
    for split in split_front(needs, kit):
        got = deliver(split.tree, split.units)
        assert sorted(got) == list(range(len(needs)))
        assert all(got[i] >= need for i, need in enumerate(needs))
        assert sum(got.values()) == split.units
        used = forks(split.tree)
        assert split.price == sum(kit.index[fork.part].price for fork in used)
        assert split.parts == len(used)
        if split.units:
            less = deliver(split.tree, split.units - 1)
            assert any(less[i] < need for i, need in enumerate(needs))


def test_values_measured_before() -> None:
    # Computed before by another program: one unit each, three-way divider 3, tap-off 2.
    measured = {
        4: [(5, 4)], 5: [(6, 7), (7, 5)], 6: [(8, 6)], 7: [(9, 8), (10, 7)], 8: [(11, 8)],
        9: [(12, 9)], 10: [(14, 10)], 11: [(15, 19), (16, 11)], 12: [(17, 12)],
    }  # fmt: skip
    for count, front in measured.items():
        assert [(s.price, s.units) for s in split_front((1,) * count, STARTER)] == front


def test_fan_out_price() -> None:
    # The closed form for these prices: 1.5 (f - 1), and 0.5 more when f is even.
    for f in range(1, 41):
        assert fan_out_price(f, STARTER) == (3 * (f - 1) + (f % 2 == 0)) // 2
    assert fan_out_price(0, STARTER) == 0
    assert fan_out_price(5, STARTER, {"divider": 1}) == 3 + 2 * 2
    assert fan_out_price(5, STARTER, {"divider": 1, "tap-off": 1}) is None
    assert fan_out_price(4, STARTER, {"divider": 1, "tap-off": 1}) == 5
    assert fan_out_price(6, STARTER, {"tap-off": 0}) == 9
    assert fan_out_price(2, kit_of()) is None
    assert fan_out_price(1, kit_of()) == 0
    assert fan_out_price(7, kit_of(divider(4, 3))) == 6
    assert fan_out_price(7, kit_of(divider(4, 3, most=1), divider(2, 2, name="small"))) == 9
    assert fan_out_price(8, kit_of(divider(4, 3, most=2))) is None


@settings(max_examples=60, deadline=None)
@given(
    needs=st.lists(st.integers(1, 5), min_size=1, max_size=7).map(tuple),
    kit=st.sampled_from(KITS[:6]),
)
def test_price_does_not_depend_on_needs(needs: tuple[int, ...], kit: Kit) -> None:
    front = split_front(needs, kit)
    assert front[0].price == fan_out_price(len(needs), kit)


@settings(max_examples=30, deadline=None)
@given(
    needs=st.lists(st.integers(1, 4), min_size=2, max_size=4).map(tuple),
    most=st.fixed_dictionaries({"tap-off": st.integers(0, 2), "divider": st.integers(0, 2)}),
)
def test_limited_parts(needs: tuple[int, ...], most: dict[str, int]) -> None:
    kit = KITS[0]

    def used(tree: object, name: str) -> int:
        if isinstance(tree, int):
            return 0
        assert isinstance(tree, tuple)
        return int(tree[0] == name) + sum(used(branch, name) for branch in tree[1:])

    best: dict[int, int] = {}
    for tree in trees(tuple(range(len(needs))), 3):
        for candidate in fitted(tree, kit):
            if all(used(candidate, name) <= count for name, count in most.items()):
                price = price_of(candidate, kit)
                units = next(n for n in range(400) if serves(candidate, n, needs, kit))
                best[price] = min(units, best.get(price, units))
    expected: list[tuple[int, int]] = []
    for price, units in sorted(best.items()):
        if not expected or units < expected[-1][1]:
            expected.append((price, units))
    assert [(s.price, s.units) for s in split_front(needs, kit, most)] == expected


def test_fast_enough() -> None:
    started = time.perf_counter()
    front = split_front((1, 3, 2, 1, 4, 2, 1, 1, 3, 2, 5, 1), STARTER)
    assert front[0].price == 17
    assert time.perf_counter() - started < 0.5  # 20 ms when measured on an idle machine
    started = time.perf_counter()
    assert [(s.price, s.units) for s in split_front((1,) * 40, STARTER)] == [(59, 47), (60, 40)]
    assert time.perf_counter() - started < 0.5  # 5 ms when measured on an idle machine


def test_too_many_different_needs_are_refused() -> None:
    with pytest.raises(Undecided, match="30 consumers of 30 different needs"):
        split_front(tuple(range(1, 31)), STARTER)
