"""The search's least circuits against values from outside, and against full enumeration.

Outside values: least series-parallel contact networks for the functions of three variables
(exhaustive table, computed: 1:6 2:24 3:64 4:30 5:80 6:32 8:16 10:2, contacts:functions).

Our contacts pass power one way and an output may feed several branches, so a circuit here is a
contact network with a valve in every branch. Every series-parallel network is one (power runs
through it one way), so the series-parallel row is an upper bound. It is no lower bound, and nor
is the row of bridge networks: the majority of three takes 5 plain contacts and 4 one-way ones,
ab + (a + b)c, where a's contact feeds both branches without power running back. So the exact
values are found here by a search of its own that shares nothing with the tool.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from itertools import permutations, product

import pytest
from check_designs import asked

from synth.parts.behaviour import PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.pipeline import plan
from synth.problem import InputKind, OutsideInput, Problem
from synth.result import Status
from synth.signals import Level, Signal, all_of, any_of, negated

NAMES = ("damp", "hot", "dusty")
ALWAYS = 255
SERIES_PARALLEL = {1: 6, 2: 24, 3: 64, 4: 30, 5: 80, 6: 32, 8: 16, 10: 2}


def contacts_kit(sensing: PartType = PartType.SENSOR) -> Kit:
    """Return a kit in which only contacts cost something: one coin each."""
    return Kit(
        "contacts",
        "Contacts only",
        Trigger.HELD,
        (
            KitPart("supply", PartType.SUPPLY),
            KitPart("contact", sensing, price=1, options=("make", "break")),
            KitPart("tap-off", PartType.TAP_OFF),
            KitPart("joint", PartType.JOINT),
            KitPart("load", PartType.LOAD),
        ),
    )


def essential(table: int) -> tuple[int, ...]:
    """Return the variables that the function (bit m: its value at vector m) depends on."""
    return tuple(
        i
        for i in range(3)
        if any((table >> m & 1) != (table >> (m ^ 1 << i) & 1) for m in range(8))
    )


def signal_of(table: int) -> Signal:
    """Return the function as a sum of products over the variables it depends on."""
    kept = essential(table)
    terms: dict[Signal, None] = {}
    for m in range(8):
        if table >> m & 1:
            levels = [(Level(NAMES[i]), m >> i & 1) for i in kept]
            terms[all_of(*(v if on else negated(v) for v, on in levels))] = None
    return all_of(Level("supply"), any_of(*terms))


@cache
def one_way_least(most: int) -> dict[int, int]:
    """Return the least one-way contacts, up to `most`, of every function that so many can make.

    Each contact is fed by any joint of outputs before it (the supply is one of them) and follows
    one variable; the load is fed by any joint of outputs. All sets of outputs are gone through.
    """
    literals: list[int] = []
    for i in range(3):
        on = sum(1 << m for m in range(8) if m >> i & 1)
        literals += [on, ALWAYS & ~on]
    best: dict[int, int] = {}
    level: set[frozenset[int]] = {frozenset()}
    for count in range(1, most + 1):
        level = {
            outputs | {source & literal}
            for outputs in level
            for source in joints(outputs) | {ALWAYS}
            for literal in literals
            if source & literal and source & literal not in outputs
        }
        for outputs in level:
            for table in joints(outputs):
                best.setdefault(table, count)
    best.pop(ALWAYS, None)
    return best


def joints(outputs: frozenset[int]) -> set[int]:
    """Return all that joints of one or more of `outputs` give."""
    found = {0}
    for output in outputs:
        found |= {one | output for one in found}
    return found - {0}


def classes() -> list[int]:
    """Return one function of each class under renaming and negating of the three inputs."""
    seen: set[int] = set()
    first: list[int] = []
    for table in range(256):
        if table in seen:
            continue
        first.append(table)
        for order, mask in product(permutations(range(3)), range(8)):
            moved = 0
            for m in range(8):
                to = sum((m >> order[i] & 1) << i for i in range(3)) ^ mask
                moved |= (table >> m & 1) << to
            seen.add(moved)
    return first


@cache
def planned(table: int) -> tuple[Status, int | None]:
    """Return what the search claims of a function, and the contacts of the design it found."""
    problem = asked({"lamp": signal_of(table)}, kit=contacts_kit())
    outcome = plan(problem, seconds=100)
    return outcome.status, outcome.price


def of_cost(least: int, most: int) -> list[int]:
    known = one_way_least(most)
    return [t for t in classes() if least <= known.get(t, 0) <= most]


def test_there_are_22_classes() -> None:
    """Known number of classes of three-input functions: 22 (from memory)."""
    assert len(classes()) == 22


def test_one_way_values_meet_the_table() -> None:
    """One-way contacts never need more than the series-parallel row; here only the eight
    majorities (4 for 5) need fewer, up to 6 contacts."""
    counted = Counter(one_way_least(5).values())
    assert counted == {1: 6, 2: 24, 3: 64, 4: 30 + 8, 5: 80 - 8}
    running, table = 0, 0
    for count in range(1, 6):
        running, table = running + counted[count], table + SERIES_PARALLEL[count]
        assert running >= table
    assert one_way_least(5)[0xE8] == 4  # majority of three: ab + (a + b)c


@pytest.mark.parametrize("table", of_cost(1, 5), ids=hex)
def test_proven_least_contacts(table: int) -> None:
    assert planned(table) == (Status.PROVEN, one_way_least(5)[table])


def test_input_that_makes_no_difference_costs_nothing() -> None:
    """The words name an input that does not matter: hot and dusty, or hot and not dusty."""
    hot, dusty = Level("hot"), Level("dusty")
    wanted = any_of(all_of(hot, dusty), all_of(hot, negated(dusty)))
    problem = asked({"lamp": all_of(Level("supply"), wanted)}, kit=contacts_kit())
    outcome = plan(problem, seconds=20)
    assert (outcome.status, outcome.price) == (Status.PROVEN, 1)


def from_two_places(sensing: PartType, kind: InputKind) -> Problem:
    one, two = Level("stairs"), Level("door")
    wanted = any_of(all_of(one, negated(two)), all_of(two, negated(one)))
    inputs = (OutsideInput("stairs", kind), OutsideInput("door", kind))
    return asked({"lamp": all_of(Level("supply"), wanted)}, *inputs, kit=contacts_kit(sensing))


def test_light_from_two_places_takes_four_contacts() -> None:
    """2 change-over contacts are 4 contacts: 4(n - 1), n = 2 (from memory). Sensors stand for
    the switches, since a condition may be sensed by as many contacts as one likes."""
    outcome = plan(from_two_places(PartType.SENSOR, InputKind.SENSOR), seconds=30)
    assert (outcome.status, outcome.price) == (Status.PROVEN, 4)


def test_light_from_two_levers_with_one_contact_each_is_impossible() -> None:
    """A lever is one part with one contact, and this kit has no relay to add to it."""
    outcome = plan(from_two_places(PartType.SWITCH, InputKind.SWITCH), seconds=30)
    assert outcome.status is Status.IMPOSSIBLE
