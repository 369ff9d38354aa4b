"""Cycles that begin at one moment share a clock; what is found so is checked like anything else.

The designs that are counted here by hand are those of whoever winds one clock from another: the
shorter timer starts itself again through a relay that closes when it expires, the longer one is
started by the same relay, and sees the start only once its own time is up.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from plain_simulation import STEP, first_failure
from test_known_designs import the_engine

from synth import pipeline
from synth.problem import Problem
from synth.search import merging
from synth.search.apart import put_together
from synth.search.basics import Progress, Working
from synth.search.circuits import Circuit, wirings_of
from synth.search.merging import in_small, merged, shares_a_clock
from synth.search.questions import Questions, without_loads
from synth.search.whole import _Whole
from synth.signals import Cycle

SIXTY_AND_TWENTY = "pump on 10 s of every 60 s, fan on 5 s of every 20 s"
QUARTER_AND_TWENTY = "mister on 15 s of every 15 min, fan on 5 s of every 20 s"


def read(goals: str, kit: str | None = None) -> Problem:
    return pipeline.read_problem(None, goals, kit)


def apart(problem: Problem) -> tuple[_Whole, list[Circuit]]:
    """Return the search of a problem after its circuits were solved one by one, and these."""
    search = _Whole(problem, the_engine(problem).questions.tools, Progress(), 1)
    assert search._apart() is None
    return search, search.circuits


@pytest.mark.slow
@pytest.mark.parametrize("goals", [SIXTY_AND_TWENTY, QUARTER_AND_TWENTY])
def test_two_cycles_with_one_clock(goals: str) -> None:
    problem = read(goals)
    search, circuits = apart(problem)
    (both,) = merged(circuits, problem, Progress())
    working = search._try(put_together(wirings_of([both])))
    assert working is not None
    price = working.design.price(problem.kit)
    relays = sum(part.part == "relay break" for part in working.design.parts)
    timers = sum(part.part == "pulse timer" for part in working.design.parts)
    # By hand: one relay (4) and four pulse timers (32) have ten inputs, the loads two; there are
    # six outputs with the supply's, so six outlets more are needed: three dividers (9).
    assert (relays, timers, price) == (1, 4, 45)
    assert price < sum(c.found.best.design.price(problem.kit) for c in circuits if c.found.best)
    assert pipeline.check_design(working.design, problem).holds
    if goals == SIXTY_AND_TWENTY:
        assert first_failure(working.design, problem, 130_000 // STEP, 0) is None
        for timer in (part for part in working.design.parts if part.part == "pulse timer"):
            late = replace(timer, settings=(("time", 70_000),))
            parts = tuple(late if part == timer else part for part in working.design.parts)
            spoilt = replace(working.design, parts=parts)
            assert first_failure(spoilt, problem, 130_000 // STEP, 0) is not None


@pytest.mark.slow
def test_a_third_cycle_hangs_on_the_same_clock() -> None:
    """By hand: two timers more than for two cycles, with four inputs and a load more, and two
    outputs more, cost 16 and three outlets (4 or 5); one coin more may be left."""
    problem = read(f"pump on 10 s of every 60 s, {QUARTER_AND_TWENTY}")
    search, circuits = apart(problem)
    (all_three,) = merged(circuits, problem, Progress())
    working = search._try(put_together(wirings_of([all_three])))
    assert working is not None and working.verdict.holds
    assert sum(part.part == "relay break" for part in working.design.parts) == 1
    assert working.design.price(problem.kit) <= 45 + 16 + 5 + 1


def test_what_is_given_is_kept() -> None:
    """The second cycle is hung on the first one's wiring, of which nothing is changed."""
    problem = read(SIXTY_AND_TWENTY)
    _, circuits = apart(problem)
    engine = the_engine(problem)
    first = circuits[1].found.best
    assert first is not None
    catalogue = engine.catalogue
    items = [i for c in circuits if c.found.best for i in catalogue.items_of(c.found.best.skeleton)]
    items.remove(next(i for i in items if catalogue.offers[i][0].name == "relay break"))
    parts_list = catalogue.measure(tuple(sorted(items)))
    assert parts_list is not None
    working = engine.questions.working(parts_list, given=first.skeleton)
    assert isinstance(working, Working)
    own = without_loads(first.skeleton)
    assert set(own.feeds) <= set(working.skeleton.feeds)
    assert {(p.name, p.settings) for p in own.parts if p.name != "supply"} <= {
        (p.name, p.settings) for p in working.skeleton.parts
    }


@pytest.mark.slow
def test_the_whole_search_finds_it() -> None:
    problem = read(SIXTY_AND_TWENTY)
    outcome = pipeline.plan(problem, seconds=60, gap=30)
    assert outcome.design is not None and outcome.verdict is not None and outcome.verdict.holds
    assert outcome.design.price(problem.kit) == 45


def test_what_drifts_shares_no_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """A cutoff may start one of the cycles at any moment: not even one question is put."""
    problem = read("pump on 10 s of every 60 s, master cutoff for pump, fan on 5 s of every 20 s")
    _, circuits = apart(problem)
    _, together = apart(read(SIXTY_AND_TWENTY))
    one, other = together
    assert shares_a_clock(the_engine(read(SIXTY_AND_TWENTY)), one.engine, other.engine)
    one, other = circuits
    assert not shares_a_clock(the_engine(problem), one.engine, other.engine)

    def asked(*given: object, **more: object) -> Working:
        raise AssertionError("asked")

    monkeypatch.setattr(Questions, "working", asked)
    assert merged(circuits, problem, Progress()) == circuits


def test_in_small() -> None:
    small = in_small(read(QUARTER_AND_TWENTY))
    assert small is not None
    problem, meant = small
    cycles = [r.signal for r in problem.requirements]
    assert [isinstance(c, Cycle) and (c.on, c.off) for c in cycles] == [
        (15_000, 45_000),
        (5_000, 15_000),
    ]
    assert meant == {45_000: 885_000, 60_000: 900_000}
    assert problem.times == (5_000, 15_000, 20_000, 45_000, 60_000)


@pytest.mark.parametrize(
    "goals",
    [
        SIXTY_AND_TWENTY,  # small as it is
        "mister on 15 s of every 15 min, fan on 5 s of every 21 s",  # no multiple
        "mister on 15 s of every 15 min, fan at night",
        "mister on 15 s of every 15 min",
        "mister on 15 s of every 15 min, fan on 5 s of every 20 s, pump at night",
    ],
)
def test_not_in_small(goals: str) -> None:
    assert in_small(read(goals)) is None


def test_times_in_small_stay_apart() -> None:
    """60 s off would be the time that the shorter one is off as well: one round more is taken."""
    small = in_small(read("mister on 20 s of every 30 min, fan on 10 s of every 40 s"))
    assert small is not None
    problem, meant = small
    kept = {10_000, 30_000, 40_000, 20_000}
    assert not kept & set(meant) and set(problem.times) == kept | set(meant)


@pytest.mark.slow
def test_what_does_not_stand_at_full_size_is_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = read(QUARTER_AND_TWENTY)
    _, circuits = apart(problem)

    def wrong(asked: Problem) -> tuple[Problem, dict[int, int]] | None:
        small = in_small(asked)
        assert small is not None
        # A little less would do: it is started again by the shorter one.
        return small[0], {time: 2 * meant for time, meant in small[1].items()}

    monkeypatch.setattr(merging, "in_small", wrong)
    assert merged(circuits, problem, Progress()) == circuits
