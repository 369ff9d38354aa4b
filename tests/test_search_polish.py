"""Wires moved for a lower price: one, or two where the first alone gains nothing."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest
from check_designs import STARTER, asked, load, part
from search_tools import INPUTS
from test_known_designs import the_engine
from test_search_ahead import TWO_CYCLES, wiring

from synth import pipeline
from synth.design import Design, Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.problem import Objective, Problem
from synth.result import Status, Verdict
from synth.search import one_by_one, whole
from synth.search.basics import Found, Progress, Tools
from synth.search.engine import Engine
from synth.search.polish import Wired, polished
from synth.signals import Level

LOADS = ("v", "w", "a1", "a2", "b", "d", "e1", "e2", "e3")
FED = {"A": "a1 a2", "B": "b", "D": "v d", "E": "w e1 e2 e3"}
NAMES = (*LOADS, *FED)
PROBLEM = asked({name: Level("hot") for name in LOADS}, *INPUTS, kit=STARTER, times=(1000,))
TOOLS = the_engine(PROBLEM).questions.tools
PARTS = [part(name, PartType.SENSOR, STARTER, input="hot", contact="make") for name in FED]
FEEDS = {f"{sensor}.in": "supply" for sensor in FED} | {
    f"{name}.in": f"{sensor}.out" for sensor, names in FED.items() for name in names.split()
}
HOLDS, FAILS = Verdict(True, 0), Verdict(False, 0)


def moved(**to: str) -> Skeleton:
    """Return the wiring with loads moved to other sensors."""
    feeds = FEEDS | {f"{name}.in": f"{sensor}.out" for name, sensor in to.items()}
    return wiring([*PARTS, *(load(name, kit=STARTER) for name in LOADS)], feeds)


def polish(good: list[Skeleton], aside: int, problem: Problem = PROBLEM) -> tuple[Wired, int]:
    """Return what `good[0]` comes to where just the wirings `good` stand the check, and how many
    designs were checked."""
    wanted = [{t.part: s.part for s, t in skeleton.feeds} for skeleton in good]
    checked = 0

    def check(design: Design, problem: Problem) -> Verdict:
        nonlocal checked
        checked += 1
        return HOLDS if {name: hangs_on(design, name) for name in NAMES} in wanted else FAILS

    design = TOOLS.share(good[0], problem)
    assert design is not None
    start = (good[0], design, HOLDS)
    return polished(start, problem, replace(TOOLS, check=check), Progress(), aside), checked


def hangs_on(design: Design, name: str) -> str:
    """Return the sensor, or the supply, that a part hangs on, through splitting parts or not."""
    sources = {wire.target: wire.source for wire in design.wires}
    at = sources[Terminal(name, "in")]
    while at.part not in (*FED, "supply"):
        at = sources[Terminal(at.part, "in")]
    return at.part


def price(wired: Wired) -> int:
    return wired[1].price(STARTER)


def test_one_wire_is_moved_where_that_is_enough() -> None:
    """Nets of 4 and 2 cost 5 and 2 coins, two of 3 cost 3 each (tap-off 2, divider 3)."""
    before = polish([moved()], 0)[0]
    after = polish([moved(), moved(w="A")], 0)[0]
    assert (price(before), price(after)) == (price(before), price(before) - 1)
    assert set(after[0].feeds) == set(moved(w="A").feeds)


def test_two_wires_are_moved_where_one_gains_nothing() -> None:
    """D's v on B changes nothing of the price, and only then may w go to A."""
    good = [moved(), moved(v="B"), moved(v="B", w="A")]
    (least, few), (most, many) = polish(good, 0), polish(good, 200)
    assert price(most) == price(least) - 1
    assert set(least[0].feeds) == set(good[0].feeds) and set(most[0].feeds) == set(good[2].feeds)
    assert few < many
    (none, some) = polish(good, 1)
    assert price(none) == price(least) and some <= few + 1


def test_what_bounds_prove_is_told_before_wires_are_moved(monkeypatch: pytest.MonkeyPatch) -> None:
    """So a gap that is near enough ends the plan at the first design."""
    problem = pipeline.read_problem(None, TWO_CYCLES, "full")
    told: list[tuple[str, int | None, int | None]] = []

    def moving(wired: Wired, *rest: object) -> Wired:
        told.append(("moving", None, None))
        return wired

    monkeypatch.setattr(whole, "polished", moving)
    pipeline.plan(problem, lambda *words: told.append(words), gap=20)
    stages = [stage for stage, _, _ in told]
    first = stages.index("moving") if "moving" in stages else len(stages)
    bounds = [bound for stage, _, bound in told[:first] if stage == "bounds"]
    assert len(bounds) == 1 and (bounds[0] or 0) > 20
    assert any(best is not None for _, best, _ in told[:first])


@pytest.mark.parametrize("aside", [0, 200])
def test_wirings_that_cost_the_same_are_not_gone_through_for_ever(aside: int) -> None:
    only = replace(PROBLEM, objectives=(Objective.PRICE,))
    wired, checked = polish([moved(), moved(v="B")], aside, only)
    assert price(wired) == price(polish([moved()], 0)[0]) and checked < 400


def test_what_would_cost_more_is_not_even_shared_out() -> None:
    shared = 0

    def share(skeleton: Skeleton, problem: Problem) -> Design | None:
        nonlocal shared
        shared += 1
        return TOOLS.share(skeleton, problem)

    tools = replace(TOOLS, share=share, check=lambda design, problem: FAILS)
    wired = moved(w="A")
    design = TOOLS.share(wired, PROBLEM)
    assert design is not None
    start = (wired, design, HOLDS)
    assert polished(start, PROBLEM, tools, Progress()) == start
    some, shared = shared, 0
    by_supply = replace(PROBLEM, objectives=(Objective.SUPPLY, Objective.PRICE, Objective.WIRES))
    assert polished(start, by_supply, tools, Progress()) == start
    assert 0 < some < shared


def test_wires_are_moved_where_time_runs_out_on_the_only_circuit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """And what is then left of the time goes into the circuit again."""
    asked_for: list[float] = []

    def found_by(engine: Engine, tools: Tools) -> Found:
        wasteful = engine.stands(moved())
        assert wasteful is not None
        engine.adopt(wasteful)
        while not engine.progress.over():
            time.sleep(0.01)
        asked_for.append(time.monotonic())
        engine.found.late = True
        return engine.found

    monkeypatch.setattr(one_by_one, "found_by", found_by)
    monkeypatch.setattr(whole, "found_by", found_by)
    most = 3.0
    progress = Progress(deadline=time.monotonic() + most)
    tools = replace(TOOLS, check=lambda design, problem: HOLDS)
    outcome = whole.solve_whole(PROBLEM, tools, progress)
    share = TOOLS.share(moved(), PROBLEM)
    assert share is not None and outcome.price is not None
    assert outcome.status is Status.BEST_FOUND and outcome.price < share.price(STARTER)
    assert len(asked_for) == 2
    # What is kept is kept once: of what is left the second time nothing is.
    assert asked_for[1] - asked_for[0] <= most * one_by_one.KEPT_SHARE + 0.5
    stages = dict(outcome.times)
    assert list(stages) == ["circuits", "moving wires"] and stages["moving wires"] > 0
