"""What a plan claims of the whole: with all that a claim takes, and with one thing less.

What is known is made up here, by hand; what may be said of it follows from the meaning of
`Found`'s fields.
"""

from __future__ import annotations

import dataclasses

import pytest
from test_joint_claims import PULSE, RECYCLER, SENSOR, asked, divider, kit_of, short_pulses

from synth import pipeline
from synth.parts.behaviour import PartType
from synth.parts.kit import KitPart
from synth.pipeline.planning import _tools
from synth.problem import Problem
from synth.result import Status
from synth.search.apart import take_apart
from synth.search.basics import Found, Progress
from synth.search.circuits import Circuit
from synth.search.engine import Engine
from synth.search.one_by_one import OneByOne
from synth.search.whole import _Whole

TWO = "lamp while hot; fan while wet"
FREE = KitPart("joint", PartType.JOINT, 0)
"""With joints that cost nothing, what refutes a circuit does not refute the whole."""
PLAIN = kit_of(SENSOR, divider(4))


def whole_of(problem: Problem) -> _Whole:
    tools = _tools(problem, {"check": 0.0, "share": 0.0}, 60.0, False, None)
    return _Whole(problem, tools, Progress(), 1)


def solved() -> tuple[_Whole, tuple[int, ...]]:
    """Return two circuits that are solved, with nothing left of what is known but the design; and
    its key: two sensors and a divider are five coins."""
    whole = whole_of(asked(TWO, PLAIN))
    assert whole.solve().price == 2 + 3
    whole.circuits, whole.at_least, best = [], 0, whole.best
    assert best is not None
    key = whole._key(best)
    assert key[0] == 5 and key[1] > 1
    return whole, key


def test_a_price_is_proven_from_the_bound_on() -> None:
    whole, (price, units, wires) = solved()
    for found, status, bound in (
        (Found(), Status.BEST_FOUND, None),
        (Found(floor=(price - 1, units, wires)), Status.BEST_FOUND, price - 1),
        (Found(floor=(price, units, wires)), Status.PROVEN, price),
        (Found(closed=True), Status.PROVEN, price),
    ):
        outcome = whole._outcome(found)
        assert (outcome.status, outcome.bound) == (status, bound), found


def test_what_counts_later_is_proven_only_where_no_list_may_have_less() -> None:
    whole, (price, units, wires) = solved()
    key, less, more = (price, units, wires), (price, units - 1, wires), (price + 1, 1, 1)
    for found, proven in (
        (Found(floor=key), ("price", "supply", "wires")),
        (Found(floor=(price, units, wires - 1)), ("price", "supply")),
        (Found(floor=less), ("price",)),
        (Found(closed=True), ("price",)),
        (Found(closed=True, floor=more, first=less), ("price",)),
        (Found(closed=True, floor=more, first=key), ("price", "supply", "wires")),
    ):
        assert whole._outcome(found).proven == proven, found


def test_a_design_beyond_the_largest_price_is_no_end_before_the_bound_is() -> None:
    whole, (price, units, wires) = solved()
    for limit in (price - 1, price):
        whole.limit = limit
        assert not whole._done(Found(floor=(price - 1, units, wires)))
        assert whole._done(Found(floor=(price, units, wires)))
    whole.limit = price - 1
    assert whole._outcome(Found(floor=(price - 1, 1, 1))).status is Status.UNDECIDED
    outcome = whole._outcome(Found(floor=(price, 1, 1)))
    assert outcome.status is Status.IMPOSSIBLE and outcome.design is None
    assert outcome.clash == (f"more than {price - 1} coins are needed",)


@pytest.mark.parametrize(
    ("found", "impossible"),
    [
        (Found(closed=True, exhausted=True, refuted=1), True),
        (Found(closed=True, refuted=1), False),
        # A circuit that has no design by itself, and may have one within the whole.
        (Found(exhausted=True, refuted=1), False),
        (Found(floor=(9, 1, 1), refuted=1), False),
    ],
)
def test_impossible_is_what_has_no_list_left(found: Found, impossible: bool) -> None:
    outcome = whole_of(asked(TWO, PLAIN))._nothing(found)
    assert (outcome.status is Status.IMPOSSIBLE) is impossible
    assert impossible or outcome.status is Status.UNDECIDED


@pytest.mark.parametrize(
    ("found", "whole", "impossible"),
    [
        (Found(floor=(10, 1, 1), refuted=1), True, False),
        (Found(floor=(11, 1, 1), refuted=1), True, True),
        (Found(closed=True, refuted=1), True, True),
        # What is known of one circuit: no more is to be had from it than it says itself.
        (Found(floor=(11, 1, 1), refuted=1), False, False),
        (Found(closed=True, refuted=1), False, False),
    ],
)
@pytest.mark.parametrize("free", [False, True])
def test_too_dear_is_what_is_beyond_the_limit_as_a_whole(
    found: Found, whole: bool, impossible: bool, free: bool
) -> None:
    kit = kit_of(SENSOR, divider(4), FREE) if free else PLAIN
    solver = whole_of(asked(TWO, kit, "limits: {price: 10}\n"))
    outcome = solver._nothing(found, whole)
    assert (outcome.status is Status.IMPOSSIBLE) is (impossible and not free)


def test_where_circuits_say_less_of_the_whole_only_limits_make_it_impossible() -> None:
    """With no list refuted by questions, what rules out all lists is a bound on the whole."""
    whole = whole_of(asked(TWO, kit_of(SENSOR, divider(4), FREE)))
    alone = whole_of(asked("lamp while hot", kit_of(SENSOR, divider(4), FREE)))
    refuted = Found(closed=True, exhausted=True, refuted=1)
    assert whole._nothing(refuted).status is Status.UNDECIDED
    assert alone._nothing(refuted).status is Status.IMPOSSIBLE
    assert whole._nothing(Found(closed=True, exhausted=True)).status is Status.IMPOSSIBLE
    assert whole._least(Found(floor=(9, 1, 1)), whole._ordered()) == 0
    assert alone._least(Found(floor=(9, 1, 1)), alone._ordered()) == 9


def test_what_a_circuit_costs_by_itself_bounds_a_whole_that_always_holds_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As `other` must come soon, it may not be held still: the pump says nothing of the whole."""
    monkeypatch.setattr(Circuit, "least", property(lambda circuit: 29 if circuit.timed else 1))
    kit = kit_of(SENSOR, PULSE, RECYCLER, divider(4))
    goals = "pump on 1 s of every 8 s while hot; fan while other"
    for problem, dearest in ((short_pulses(kit)[0], 1), (asked(goals, kit), 29)):
        whole = whole_of(problem)
        whole.solve()
        assert len(whole.circuits) == 2
        assert whole._dearest_circuit() == dearest


# -- one circuit ----------------------------------------------------------------------------------

KIT = kit_of(SENSOR, PULSE, RECYCLER, divider(4))
APART = "pump on 1 s of every 8 s while hot; fan while other"
RESTLESS = "known: [other lasts at most 5 s, pause of other lasts at most 5 s]\n"
"""An input that cannot be held still, so that the whole need not hold the circuit of the pump."""


def one_of(problem: Problem, limit: int | None = 10) -> tuple[OneByOne, Engine]:
    """Return the circuits of a problem, and the engine of the pump."""
    tools = _tools(problem, {"check": 0.0, "share": 0.0}, 60.0, False, None)
    each = OneByOne(problem, take_apart(problem), tools, Progress(), 1, limit)
    assert len(each.pieces) == 2
    pieces = {piece.problem.requirements[0].load: piece for piece in each.pieces}
    return each, each._engine_of(pieces["pump"])


def test_a_dear_circuit_bounds_the_whole_only_where_that_holds_it() -> None:
    """What has something in stock may have it for a circuit that costs more by itself."""
    plain, loose = asked(APART, KIT), asked(APART, KIT, RESTLESS)
    has = dataclasses.replace(plain.limits, stock=(("sensor", 1),))
    stock = dataclasses.replace(plain, limits=has)
    for problem, dearest in ((plain, 10), (loose, None), (stock, None)):
        each, engine = one_of(problem)
        assert engine.within and engine.dearest == dearest
        assert one_of(problem, None)[1].dearest is None


def test_a_circuit_without_a_design_says_so_of_the_whole_only_where_that_holds_it() -> None:
    for problem, held in ((asked(APART, KIT), True), (asked(APART, KIT, RESTLESS), False)):
        each, engine = one_of(problem)
        found = engine.found
        assert not each._rules_out(engine)
        found.closed, found.exhausted, found.floor = True, True, (9, 1, 1)
        assert each._rules_out(engine)
        told = each._no_circuit(engine)
        assert told.closed is held and (told.floor is not None) is held


def test_a_dear_design_rules_the_whole_out_only_where_none_is_cheaper() -> None:
    problem = asked(APART, KIT)
    alone = pipeline.plan(asked("pump on 1 s of every 8 s while hot", KIT))
    assert alone.price == 1 + 28
    for limit, closed, ruled_out in ((28, True, True), (29, True, False), (28, False, False)):
        each, engine = one_of(problem, limit)
        engine.found.best = one_of(problem, None)[1].run().best
        assert engine.found.best is not None
        engine.found.closed = closed
        assert each._rules_out(engine) is ruled_out, limit
