"""All ways to share one output, counted against published sequences, and against the best ones.

The numbers are those of the Online Encyclopedia of Integer Sequences, n = 1, 2, ...: A000669
(series-reduced trees, leaves alike), A000311 (the same, leaves told apart), A001003 (the same,
leaves alike, branches in order), A001190 (two branches at each fork, in any order), A000108 (two
branches, in order). Read in a table of stored values; the encyclopedia itself was not at hand.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from math import factorial, prod

import pytest
from check_designs import FULL, STARTER
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.parts.behaviour import PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.pipeline import options, plan, read_problem
from synth.report.choices import choices_document
from synth.share import every_tree, split_front, ways_to_share
from synth.share.price import SharingPart, sharing_parts
from synth.share.trees import MOST_TREES, TooMany, Tree, divided, partitions

A000669 = (1, 1, 2, 5, 12, 33, 90)
A000311 = (1, 1, 4, 26, 236, 2752)
A001003 = (1, 1, 3, 11, 45, 197)
A001190 = (1, 1, 1, 2, 3, 6, 11, 23)
A000108 = (1, 1, 2, 5, 14, 42)


def divider(outputs: int, price: int = 1) -> SharingPart:
    return SharingPart(f"divider {outputs}", PartType.DIVIDER, price, outputs, None, None)


TAP = SharingPart("tap-off", PartType.TAP_OFF, 1, 2, None, None)


def in_order(tree: Tree) -> int:
    """Return in how many orders the branches of a tree can be put that look different."""
    if isinstance(tree, int):
        return 1
    branches = tree[1]
    alike = prod(factorial(number) for number in Counter(branches).values())
    return factorial(len(branches)) // alike * prod(in_order(branch) for branch in branches)


def symmetries(tree: Tree) -> int:
    """Return in how many ways a tree can be put upon itself."""
    if isinstance(tree, int):
        return 1
    alike = prod(factorial(number) for number in Counter(tree[1]).values())
    return alike * prod(symmetries(branch) for branch in tree[1])


@pytest.mark.parametrize(("leaves", "number"), list(enumerate(A000669, 1)))
def test_dividers_of_any_number_of_outputs(leaves: int, number: int) -> None:
    """One divider with an output for each leaf, fewer of them connected where there are fewer."""
    trees = every_tree((1,) * leaves, (divider(max(2, leaves)),))
    assert len(trees) == len(set(trees)) == number


@pytest.mark.parametrize(("leaves", "number"), list(enumerate(A000311, 1)))
def test_the_same_with_leaves_told_apart(leaves: int, number: int) -> None:
    """Each tree stands for n! / (its symmetries) with leaves told apart; and with needs that all
    differ the trees are those themselves."""
    trees = every_tree((1,) * leaves, (divider(max(2, leaves)),))
    assert sum(factorial(leaves) // symmetries(found.tree) for found in trees) == number
    if leaves < 6:
        other = every_tree(tuple(range(1, leaves + 1)), (divider(max(2, leaves)),))
        assert len(set(other)) == number


@pytest.mark.parametrize(("leaves", "number"), list(enumerate(A001003, 1)))
def test_the_same_with_outputs_in_order(leaves: int, number: int) -> None:
    trees = every_tree((1,) * leaves, (divider(max(2, leaves)),))
    assert sum(in_order(found.tree) for found in trees) == number


@pytest.mark.parametrize(("leaves", "number"), list(enumerate(A001190, 1)))
def test_dividers_of_two_outputs(leaves: int, number: int) -> None:
    assert len(every_tree((1,) * leaves, (divider(2),))) == number


@pytest.mark.parametrize(("leaves", "number"), list(enumerate(A000108, 1)))
def test_tap_offs_whose_outputs_are_not_alike(leaves: int, number: int) -> None:
    assert len(every_tree((1,) * leaves, (TAP,))) == number


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(1, 4), min_size=1, max_size=5),
    st.integers(1, 3),
    st.integers(1, 3),
    st.sampled_from((1, 2, 99)),
)
def test_the_best_of_all_trees_are_the_front(
    needs: list[int], tap: int, share: int, largest: int
) -> None:
    """No tree beats the front of `split_front`, which finds it in another way, and each point of
    that front is a tree."""
    parts = (
        KitPart("supply", PartType.SUPPLY),
        KitPart("tap-off", PartType.TAP_OFF, price=tap, largest=largest),
        KitPart("divider", PartType.DIVIDER, price=share, outputs=3),
        KitPart("load", PartType.LOAD),
    )
    kit = Kit("tiny", "Tiny", Trigger.HELD, parts)
    costs = {(t.price, t.units) for t in every_tree(needs, sharing_parts(kit))}
    best = {
        a for a in costs if not any(b != a and b[0] <= a[0] and b[1] <= a[1] for b in costs)
    }
    assert {(s.price, s.units) for s in split_front(tuple(needs), kit)} == best


def test_bounds_leave_out_just_what_is_beyond_them() -> None:
    needs, parts = (1, 1, 2, 3), (TAP, divider(3, 2))
    every = every_tree(needs, parts)
    within = {tree for tree in every if tree.price <= 4 and tree.units <= 8}
    assert 0 < len(within) < len(every)
    assert set(every_tree(needs, parts, 4, 8)) == within


def test_what_a_divider_needs() -> None:
    """Equal share, remainder first (Graham, Knuth, Patashnik, Concrete Mathematics, eq. 3.24):
    5 over three is 2, 2, 1, and 4 is 2, 1, 1."""
    assert divided((2, 2, 1)) == 5
    assert divided((2, 1, 1)) == 4


def test_partitions_of_a_set_are_the_bell_numbers() -> None:
    """With all needs different: 1, 2, 5, 15, 52 (OEIS A000110, from memory)."""
    counts = [len(list(partitions(tuple(range(1, n + 1)), n))) for n in range(1, 6)]
    assert counts == [1, 2, 5, 15, 52]


def test_too_many_are_not_made() -> None:
    with pytest.raises(TooMany):
        every_tree(tuple(range(1, 9)), (TAP, divider(8)))
    assert MOST_TREES >= 1000


def test_ways_to_share_a_design() -> None:
    """Three lamps always on, by tap-offs of 2 coins: two of them in a row for 4 coins and 3 units,
    or a divider for three at 3 coins: just one way. Four lamps: one more splitting part, 5 coins;
    the dearer part may be before or behind, on the branch or the rest of a tap-off."""
    three = read_problem(None, "lamp always, fan always, pump always", "full")
    design = plan(three, seconds=20).design
    assert design is not None
    assert [p.part for p in design.parts if "divider" in p.part or "tap" in p.part] == ["divider"]
    assert ways_to_share(design, FULL) == 1
    four = read_problem(None, "lamp always, fan always, pump always, bell always", "full")
    design = plan(four, seconds=20).design
    assert design is not None
    # The divider behind a tap-off's rest or its branch; the tap-off behind the divider would need
    # 4 units: 2, 1, 1, which is 4 as well.
    assert (design.price(FULL), design.supply) == (5, 4)
    assert ways_to_share(design, FULL) == 3


def test_options_tell_it() -> None:
    problem = read_problem(None, "lamp always, fan always, pump always, bell always", "full")
    choices, outcome = options(problem, 30.0, designs=3)
    document = choices_document(choices, problem, outcome)
    assert [one["sharings"] for one in document["designs"]] == [3]
    assert all("sharings" not in one for one in document["front"])


def test_nothing_is_said_where_parts_are_limited() -> None:
    design = plan(read_problem(None, "lamp always, fan always", "starter"), seconds=20).design
    assert design is not None
    assert ways_to_share(design, STARTER) is not None
    few = Kit(
        "few", "Few", Trigger.HELD,
        tuple(replace(p, most=1) if "tap" in p.name else p for p in STARTER.parts),
    )  # fmt: skip
    assert ways_to_share(design, few) is None
