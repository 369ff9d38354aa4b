"""Least one-way contacts of the functions of three variables: proven for every class.

`test_search_least` has the classes that take one to five contacts. Here are the rest of the 22:
three that take six contacts, three that take seven or eight, and the two constant ones. A load
that is always on takes no contact. One that is never on is no question for contacts: here every
load has a wire, and a network that is open for good has none.

Each proof is compared with an enumeration that shares nothing with the tool, and with circuits of
just as many contacts: folded contact trees, one contact for each branch of a decision diagram,
after Shannon, *A Symbolic Analysis of Relay and Switching Circuits* (1937; from memory). Power runs
through them one way, so a joint never feeds back. Outside values: the least plain contact networks,
bridges allowed (exhaustive table, computed: 1:6 2:24 3:64 4:30 5:80 6:32 7:16 8:2,
contacts:functions), and the least series-parallel ones (the same, in `test_search_least`). One-way
contacts differ from plain ones in nothing but the eight majorities, which take four for five.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from itertools import permutations, product

import pytest
from check_designs import asked, load, part, wired
from test_search_least import (
    ALWAYS,
    NAMES,
    SERIES_PARALLEL,
    classes,
    contacts_kit,
    joints,
    one_way_least,
    planned,
    signal_of,
)

from synth.check import check
from synth.design import Design, PartInUse
from synth.parts.behaviour import PartType
from synth.pipeline import plan
from synth.problem import InputKind, OutsideInput
from synth.result import Status
from synth.signals import Level, all_of, any_of, negated

ANY_NETWORK = {1: 6, 2: 24, 3: 64, 4: 30, 5: 80, 6: 32, 7: 16, 8: 2}
MAJORITY = 0x17
"""At most one of three, the majority with its inputs negated: in one-way contacts ab + (a + b)c,
where a's contact feeds both branches."""
OF_SIX = (0x18, 0x1E, 0x7E)
BEYOND = {0x16: 7, 0x69: 8, 0x6B: 7}
"""Exactly one of three: 7 in plain networks too (Red'kin 2020). Parity: 8 (Cardot 1952, from
memory). The third is `by_hand`."""


def cofactor(table: int, variable: int, level: int) -> int:
    """Return the function with one variable held at `level`."""
    result = 0
    for m in range(8):
        held = m & ~(1 << variable) | level << variable
        result |= (table >> held & 1) << m
    return result


Branch = tuple[int, int, int, int]
"""From function, variable, level, to function."""


def branches(table: int, order: tuple[int, ...]) -> list[Branch]:
    """Return the branches of the decision diagram that lead anywhere, one contact each."""
    found: dict[Branch, None] = {}
    level = {table}
    for variable in order:
        following: set[int] = set()
        for function in sorted(level):
            low, high = cofactor(function, variable, 0), cofactor(function, variable, 1)
            if low == high:
                following.add(function)
                continue
            for value, after in ((0, low), (1, high)):
                if after:
                    found[function, variable, value, after] = None
                    following.add(after)
        level = following
    return list(found)


def folded_tree(table: int) -> tuple[int, Design]:
    """Return the fewest contacts of a folded tree, over the orders of variables, and the design."""
    kit = contacts_kit()
    best = min((branches(table, order) for order in permutations(range(3))), key=len)
    parts: list[PartInUse] = [load("lamp", kit=kit)]
    feeds: dict[str, str] = {}
    arriving: dict[int, str] = {table: "supply"}
    for number, (before, variable, level, after) in enumerate(best):
        contact = "make" if level else "break"
        name = f"contact {number}"
        parts.append(part(name, PartType.SENSOR, kit, input=NAMES[variable], contact=contact))
        feeds[f"{name}.in"] = str(before)
        output = f"{name}.out"
        if after in arriving:
            parts.append(part(f"joint {number}", PartType.JOINT, kit))
            feeds[f"joint {number}.in1"] = arriving[after]
            feeds[f"joint {number}.in2"] = output
            output = f"joint {number}.out"
        arriving[after] = output
    for terminal, value in feeds.items():
        if value.isdigit():
            feeds[terminal] = arriving[int(value)]
    feeds["lamp.in"] = arriving[ALWAYS]
    return len(best), wired(parts, feeds, kit)


def by_hand() -> Design:
    """Return seven contacts for class 0x6B: not c (a or not b), a not b, not a b c."""
    kit = contacts_kit()
    damp, hot, dusty = NAMES

    def contact(name: str, follows: str, kind: str) -> PartInUse:
        return part(name, PartType.SENSOR, kit, input=follows, contact=kind)

    parts = [
        contact("a", damp, "make"),
        contact("not b", hot, "break"),
        contact("not c", dusty, "break"),
        contact("a not b", hot, "break"),
        contact("not a", damp, "break"),
        contact("b", hot, "make"),
        contact("c", dusty, "make"),
        *(part(f"J{i}", PartType.JOINT, kit) for i in range(3)),
        load("lamp", kit=kit),
    ]
    feeds = {"a.in": "supply", "not b.in": "supply", "not a.in": "supply"}
    feeds |= {"J0.in1": "a.out", "J0.in2": "not b.out", "not c.in": "J0.out"}
    feeds |= {"a not b.in": "a.out", "b.in": "not a.out", "c.in": "b.out"}
    feeds |= {"J1.in1": "not c.out", "J1.in2": "a not b.out"}
    feeds |= {"J2.in1": "J1.out", "J2.in2": "c.out", "lamp.in": "J2.out"}
    return wired(parts, feeds, kit)


def symmetries() -> list[list[int]]:
    """Return where each renaming and negating of the three inputs takes each function."""
    moves = []
    for order, mask in product(permutations(range(3)), range(8)):
        to = [sum((m >> order[i] & 1) << i for i in range(3)) ^ mask for m in range(8)]
        moves.append([sum((table >> m & 1) << to[m] for m in range(8)) for table in range(256)])
    return moves


@cache
def least_by_enumeration(most: int) -> dict[int, int]:
    """Return the least one-way contacts, up to `most`, of every function that so many can make.

    As `one_way_least`, but of the sets of outputs that a renaming or negating of inputs turns
    into each other only one is kept: what follows from the others is the same, renamed.
    """
    moves = symmetries()
    literals = []
    for i in range(3):
        on = sum(1 << m for m in range(8) if m >> i & 1)
        literals += [on, ALWAYS & ~on]
    best: dict[int, int] = {}
    level = {frozenset[int]()}
    for count in range(1, most + 1):
        grown: set[frozenset[int]] = set()
        for outputs in level:
            before = joints(outputs)
            for source, literal in product(before | {ALWAYS}, literals):
                new = source & literal
                if not new or new in outputs:
                    continue
                for one in before | {0}:
                    if one | new not in best:
                        best |= {m[one | new]: count for m in moves if m[one | new] not in best}
                if count < most:
                    grown.add(outputs | {new})
        level = {frozenset(min(sorted(m[o] for o in outputs) for m in moves)) for outputs in grown}
    best.pop(ALWAYS, None)
    return best


def test_the_classes_are_all_told_of() -> None:
    known = one_way_least(5)
    rest = {table for table in classes() if table not in known} - {0, ALWAYS}
    assert rest == {*OF_SIX, *BEYOND}


@pytest.mark.parametrize("table", sorted(set(classes()) - {0, ALWAYS}), ids=hex)
def test_folded_tree_holds_and_takes_no_less_than_the_least(table: int) -> None:
    contacts, design = folded_tree(table)
    problem = asked({"lamp": signal_of(table)}, kit=contacts_kit())
    assert check(design, problem).holds
    assert design.price(problem.kit) == contacts
    assert contacts >= {**one_way_least(5), **dict.fromkeys(OF_SIX, 6), **BEYOND}[table]
    if table in (0x16, 0x69):
        assert contacts == BEYOND[table]


def test_circuit_by_hand_holds() -> None:
    problem = asked({"lamp": signal_of(0x6B)}, kit=contacts_kit())
    design = by_hand()
    assert check(design, problem).holds
    assert design.price(problem.kit) == BEYOND[0x6B]


def test_the_two_enumerations_agree() -> None:
    assert least_by_enumeration(5) == one_way_least(5)


@pytest.mark.slow
def test_enumeration_meets_the_table() -> None:
    """All functions that are not constant, against the row of plain networks."""
    known = least_by_enumeration(8)
    assert Counter(known.values()) == {**ANY_NETWORK, 4: 30 + 8, 5: 80 - 8}
    assert {table: known[table] for table in OF_SIX} == dict.fromkeys(OF_SIX, 6)
    assert {table: known[table] for table in BEYOND} == BEYOND


@pytest.mark.slow
@pytest.mark.parametrize("table", [*OF_SIX, *BEYOND], ids=hex)
def test_more_than_five_are_proven(table: int) -> None:
    assert planned(table) == (Status.PROVEN, BEYOND.get(table, 6))


def test_shannons_reduction_takes_six_contacts() -> None:
    """W + W'(X+Y) + (X+Z)(S+W'+Z)(Z'+Y+S'V), 13 contacts, reduces to W+X+Y+ZS'V, 6 contacts:
    Shannon, *A Symbolic Analysis of Relay and Switching Circuits* (1937), pp. 14-16. Six inputs
    matter, so no network has fewer."""
    names = ("W", "X", "Y", "Z", "S", "V")
    w, x, y, z, s, v = (Level(name) for name in names)
    thirteen = any_of(
        w,
        all_of(negated(w), any_of(x, y)),
        all_of(
            any_of(x, z),
            any_of(s, negated(w), z),
            any_of(negated(z), y, all_of(negated(s), v)),
        ),
    )
    inputs = [OutsideInput(name, InputKind.SENSOR) for name in names]
    problem = asked({"lamp": all_of(Level("supply"), thirteen)}, *inputs, kit=contacts_kit())
    outcome = plan(problem, seconds=100)
    assert (outcome.status, outcome.price) == (Status.PROVEN, 6)
    assert outcome.design is not None and outcome.verdict is not None and outcome.verdict.holds
    follows = Counter(
        (part.setting("input"), part.setting("contact"))
        for part in outcome.design.parts
        if part.type is PartType.SENSOR
    )
    made = {(name, "make"): 1 for name in names if name != "S"}
    assert follows == {**made, ("S", "break"): 1}


def test_always_on_takes_no_contact() -> None:
    assert planned(ALWAYS) == (Status.PROVEN, 0)


def test_up_to_three_contacts_are_proven() -> None:
    known = one_way_least(3)
    few = [table for table in classes() if table in known]
    assert len(few) > 5
    assert [planned(table) for table in few] == [(Status.PROVEN, known[table]) for table in few]


@pytest.mark.slow
def test_what_is_proven_meets_the_tables() -> None:
    """All 254 functions that are not constant by the proof for their class: those of plain
    networks but for the majorities, and never more than in series and parallel."""
    moves = symmetries()
    proven: Counter[int] = Counter()
    for table in set(classes()) - {0, ALWAYS}:
        status, contacts = planned(table)
        assert status is Status.PROVEN and contacts is not None
        proven[contacts] += len({move[table] for move in moves})
    assert proven.total() == sum(ANY_NETWORK.values()) == sum(SERIES_PARALLEL.values()) == 254
    majorities = len({move[MAJORITY] for move in moves})
    assert planned(MAJORITY) == (Status.PROVEN, 4) and majorities == 8
    assert proven + Counter({5: 8}) - Counter({4: 8}) == ANY_NETWORK
    for most in SERIES_PARALLEL:
        within = sum(count for contacts, count in proven.items() if contacts <= most)
        assert within >= sum(n for contacts, n in SERIES_PARALLEL.items() if contacts <= most)
