"""A design without the wishes, mended until it keeps them: always checked, never claimed unproven.

Whether a wiring keeps a wish is read off its wires here in another way than in the house (`kept`),
and by the exact check. All goals and prices are invented.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import pytest
from test_wishes import kept, problem_of

from synth import pipeline
from synth.explore import mended, without_wishes
from synth.explore.mended import unshared
from synth.pipeline import planning
from synth.problem import Problem
from synth.read.design_file import parse_design
from synth.read.kit_file import load_kit
from synth.result import Outcome, Status
from synth.share import share_power

STARTER = load_kit("starter")
FULL = load_kit("full")
SHED = "pump on 10 s of every 60 s; light always; heater at night; master cutoff for pump"
CASES = [
    (SHED, "untimed: all"),
    (SHED, "branches: [pump, light]"),
    (SHED, "branches: [[pump, light], [pump, heater], [light, heater]]"),
    (SHED, "least: {relay make: 2}"),
    (SHED, "spare: 3"),
    (SHED, "untimed: [pump], spare: 2, least: {relay make: 2}, branches: [heater, light]"),
    ("lamp while wet; fan while wet", "branches: [lamp, fan]"),
    ("lamp while wet; fan while wet; bell while wet", "branches: [[lamp, fan, bell]]"),
    ("lamp 5 s after wet; fan 5 s after wet", "untimed: all, branches: [lamp, fan]"),
    ("lamp while wet or hot; fan while wet and hot", "branches: [lamp, fan], spare: 1"),
]


@pytest.mark.parametrize(("goals", "limits"), CASES)
def test_mended_designs_hold_and_keep_the_wishes(goals: str, limits: str) -> None:
    problem = problem_of(goals, limits, "", FULL)
    plain = pipeline.plan(without_wishes(problem), seconds=20)
    assert plain.design is not None and plain.price is not None
    skeleton = next(iter(mended(plain.design, problem)))
    design = share_power(skeleton, FULL, problem.objectives, problem.limits)
    assert design is not None
    assert pipeline.check_design(design, problem).holds
    assert kept(design, problem)
    assert design.price(FULL) >= plain.price


def test_taken_apart_and_shared_again_a_design_is_as_cheap() -> None:
    text = (Path(__file__).parent / "designs" / "potting-shed.json").read_text(encoding="utf-8")
    design = parse_design(text, "potting-shed.json", STARTER)
    again = share_power(unshared(design), STARTER)
    assert again is not None
    assert (again.price(STARTER), again.supply) == (design.price(STARTER), design.supply)


def test_what_cannot_be_mended_gives_nothing() -> None:
    """No make contact in the kit, or a part that no load can be put behind."""
    kit = dataclasses.replace(
        FULL, parts=tuple(part for part in FULL.parts if part.name != "relay make")
    )
    goals = "lamp while wet; fan while wet"
    for limits, on_offer in (("branches: [lamp, fan]", kit), ("least: {on-delay timer: 1}", FULL)):
        problem = problem_of(goals, limits, "", on_offer)
        plain = pipeline.plan(without_wishes(problem), seconds=20)
        assert plain.design is not None
        assert list(mended(plain.design, problem)) == []


def only_without(monkeypatch: pytest.MonkeyPatch, outcome: Callable[[], Outcome]) -> None:
    """Let the search answer problems without wishes alone; for others it gives `outcome`."""
    import synth.search

    real = synth.search.solve_whole

    def solve(problem: Problem, tools: object, progress: object, seed: int) -> Outcome:
        if problem != without_wishes(problem):
            return outcome()
        return real(problem, tools, progress, seed)  # type: ignore[arg-type]

    monkeypatch.setattr(synth.search, "solve_whole", solve)


def test_a_plan_out_of_time_is_mended(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = problem_of(SHED, "untimed: all, spare: 2", "", FULL)
    proven = pipeline.plan(problem, seconds=40)
    assert proven.status is Status.PROVEN and proven.price is not None
    only_without(monkeypatch, lambda: Outcome(Status.UNDECIDED, times=(("whole", 1.0),)))
    outcome = pipeline.plan(problem, seconds=20)
    assert outcome.design is not None and outcome.price is not None
    assert kept(outcome.design, problem)
    assert pipeline.check_design(outcome.design, problem).holds
    # Nothing more is claimed than is proven: the price without the wishes bounds it from below.
    assert outcome.bound is not None and outcome.bound <= proven.price <= outcome.price
    assert outcome.status is Status.BEST_FOUND
    assert planning.WITHOUT in dict(outcome.times)


def test_wishes_that_cost_nothing_are_proven_by_the_plan_without(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = problem_of(SHED, "spare: 2", "", FULL)
    plain = pipeline.plan(without_wishes(problem), seconds=20)
    only_without(monkeypatch, lambda: Outcome(Status.UNDECIDED))
    outcome = pipeline.plan(problem, seconds=20)
    assert (outcome.status, outcome.price) == (Status.PROVEN, plain.price)
    assert outcome.proven == ("price",)
    assert plain.supply is not None and outcome.supply == plain.supply + 2


def test_a_better_design_of_the_search_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = problem_of("lamp while wet; fan while wet", "branches: [lamp, fan]", "", FULL)
    best = pipeline.plan(problem, seconds=20)
    only_without(monkeypatch, lambda: dataclasses.replace(best, status=Status.BEST_FOUND))
    again = pipeline.plan(problem, seconds=20)
    assert again.price == best.price


def test_impossible_without_the_wishes_is_impossible(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = problem_of("lamp always; fan always", "spare: 1, supply: 1", "", FULL)
    only_without(monkeypatch, lambda: Outcome(Status.UNDECIDED))
    assert pipeline.plan(problem, seconds=10).status is Status.IMPOSSIBLE
