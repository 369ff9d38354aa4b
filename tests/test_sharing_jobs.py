"""Random jobs of several circuits that share something: what the search claims, beside all wirings.

For each job all wirings are gone through that cost no more than what the plan found (`least`), and
what the plan says of the price must be true of it. Further, no step on the way may have ruled out a
parts list, or a price of one, that a design has which holds; that shows a step that is too strong
also where another one finds the cheapest design first.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator
from random import Random

import pytest
from random_jobs import Holding, Job, candidates, key_of, least, small
from sharing_jobs import CIRCUITS, a_sharing_job

from synth.check import check
from synth.pipeline import plan
from synth.problem import Problem
from synth.result import Outcome, Status
from synth.search import together, whole
from synth.search.basics import Found
from synth.search.engine import Engine
from synth.search.lists import Key
from synth.share import share_power

SECONDS = 10.0
FEW = 200_000
"""A job with more wirings up to the price that was found is left out."""


class Kept(Engine):
    """An engine that is kept, to be asked again."""

    all_of_them: list[Engine]

    def run(self, upper: Key | None = None, known: tuple[int, ...] | None = None) -> Found:
        self.all_of_them.append(self)
        return super().run(upper, known)


@pytest.fixture
def engines(monkeypatch: pytest.MonkeyPatch) -> list[Engine]:
    """Return the engines that ask about several circuits in plans to come, as they are made."""
    kept: list[Engine] = []
    monkeypatch.setattr(Kept, "all_of_them", kept, raising=False)
    monkeypatch.setattr(whole, "Engine", Kept)
    monkeypatch.setattr(together, "Engine", Kept)
    return kept


def with_price(problem: Problem, price: int | None) -> Problem:
    return dataclasses.replace(problem, limits=dataclasses.replace(problem.limits, price=price))


def paid(outcome: Outcome) -> int | None:
    """Return what is to be paid for the design that was found."""
    return outcome.price if outcome.to_buy is None else outcome.to_buy


def is_true(outcome: Outcome, best: int | None) -> bool:
    """Return whether what an outcome says of the price is true, if `best` is the least one."""
    if best is None:
        return outcome.design is None and outcome.status is not Status.PROVEN
    if outcome.status is Status.IMPOSSIBLE or (outcome.bound or 0) > best:
        return False
    return outcome.status is not Status.PROVEN or paid(outcome) == best


def compared(job: Job, counts: Counter[str], seconds: float = SECONDS) -> None:
    """Assert that what the plan of a job says is true, unless it has too many wirings."""
    problem = job.problem
    outcome = plan(problem, seconds=seconds)
    price = paid(outcome) if outcome.design is not None else problem.limits.price
    assert price is not None
    asked = with_price(problem, price)
    if outcome.design is not None:
        assert check(outcome.design, problem).holds, job.seed
    if not small(asked, FEW):
        return
    best = least(asked, price)
    assert is_true(outcome, best.key[0] if best else None), (job.seed, outcome.status, best)
    counts.update((outcome.status.value, "compared", *set(job.patterns)))


def some_designs(problem: Problem, price: int, most: int, seed: int) -> Iterator[Holding]:
    """Yield up to so many designs of at most `price` coins that hold, drawn from all of them.

    Those with a joint beside the supply are left out, as the search leaves them out: it adds
    nothing, being always live.
    """
    found = [
        skeleton
        for _, skeleton in candidates(with_price(problem, price), price)
        if not any(
            target.terminal in ("in1", "in2") and source.part == "supply"
            for source, target in skeleton.feeds
        )
    ]
    left = most
    for skeleton in Random(seed).sample(found, len(found)):
        design = share_power(skeleton, problem.kit, problem.objectives, problem.limits)
        if design is not None and check(design, problem, stop_at_first=True).holds:
            yield Holding(skeleton, design, key_of(design, problem))
            left -= 1
        if not left:
            return


def ruled_out(engine: Engine, found: Holding) -> str:
    """Return how an engine rules out a design of the whole, which holds; "" if it does not.

    The engine asks about parts lists of some circuits; the design has just one such list.
    """
    price = found.key[0]
    parts_list = engine.catalogue.measure(engine.catalogue.items_of(found.skeleton))
    if parts_list is None:
        return "its power cannot be split"
    if parts_list.price > price:
        return f"its parts cost {parts_list.price}"
    if engine.hopeless(parts_list):
        return engine.hopeless(parts_list)
    if parts_list.items in engine.refuted:
        return "its list was refuted on the way"
    for number, circuit in enumerate(engine.alone):
        if circuit.possible(engine.catalogue, parts_list.items) is False:
            return f"its list will not do for circuit {number} alone"
    if engine._works(parts_list, Found()) is False:
        return "its list does not work"
    key = (price, *parts_list.key(engine.problem.objectives)[1:])
    if engine._dearer(parts_list, key, Found()) is False:
        return f"its list does not work for {price}"
    reached = parts_list.price
    while reached < price:
        reached = engine._dearer_price(parts_list, reached)
    return f"it is next asked at {reached}" if reached > price else ""


def let_through(
    job: Job,
    engines: list[Engine],
    counts: Counter[str],
    most: int = 8,
    seconds: float = SECONDS,
    few: int = FEW,
) -> None:
    """Assert that no step of the plan of a job rules out designs that hold, some of them dearer
    than the cheapest."""
    problem = with_price(job.problem, None)
    engines.clear()
    outcome = plan(problem, seconds=seconds)
    least_paid = paid(outcome)
    if least_paid is None or not engines:
        return
    prices = (least_paid + more for more in (4, 2, 1, 0))
    price = next((p for p in prices if small(with_price(problem, p), few)), None)
    if price is None:
        return
    for found in some_designs(problem, price, most, job.seed):
        assert outcome.bound is None or outcome.bound <= found.key[0], job.seed
        for engine in engines:
            assert ruled_out(engine, found) == "", (job.seed, engine.larger is not None)
            counts["of some circuits" if engine.larger else "of all circuits"] += 1


# -- all of it -----------------------------------------------------------------------------------

SOME = (1, 3, 7, 10, 12, 15, 16, 18, 22, 29, 31, 42, 52)
"""Jobs that take little time, in most of which some step that is too strong is seen at once."""


def test_what_is_said_of_some_jobs_is_true() -> None:
    counts: Counter[str] = Counter()
    for seed in SOME:
        compared(a_sharing_job(seed), counts, seconds=2)
    assert counts["compared"] >= 8 and counts[Status.PROVEN.value] >= 5, counts


def test_no_step_rules_out_what_holds(engines: list[Engine]) -> None:
    counts: Counter[str] = Counter()
    for seed in SOME:
        let_through(a_sharing_job(seed), engines, counts, most=4, seconds=2, few=FEW // 10)
    assert counts["of some circuits"] >= 8 and counts["of all circuits"] >= 8, counts


@pytest.mark.slow
def test_what_is_said_of_many_jobs_is_true() -> None:
    """Each kind of circuit, and each kind of thing that may be shared or known, several times."""
    counts: Counter[str] = Counter()
    for seed in range(1000, 1120):
        compared(a_sharing_job(seed), counts, seconds=1)
    assert counts["compared"] >= 40 and counts[Status.PROVEN.value] >= 25, counts
    kinds = (*CIRCUITS, "switch over some", "stock", "lasts", "never changes", "never together")
    assert sum(counts[kind] > 1 for kind in kinds) >= len(kinds) - 4, counts


@pytest.mark.slow
def test_no_step_rules_out_what_holds_in_many_jobs(engines: list[Engine]) -> None:
    counts: Counter[str] = Counter()
    for seed in range(2000, 2060):
        let_through(a_sharing_job(seed), engines, counts, seconds=1)
    assert counts["of some circuits"] >= 50 and counts["of all circuits"] >= 50, counts
