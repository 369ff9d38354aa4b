"""Circuits of one price that merge at different prices: which of them are put on one supply."""

from __future__ import annotations

import time
from itertools import product
from typing import Any

import pytest

from synth.design import Skeleton
from synth.pipeline import check_design, plan, read_problem
from synth.search.basics import Progress
from synth.search.mixing import best_mix

TWO = "pump on 10 s of every 60 s, master cutoff for pump, mister on 15 s of every 15 min"


@pytest.mark.slow
def test_two_cycles_merge_at_the_lower_price() -> None:
    """Each takes 25 coins; with four inputs of theirs on the supply both take 54, with three 53.

    By hand: 42 for the parts, nets of 3, 3, 3 and 2 inputs 3 + 3 + 3 + 2 coins; with a net of 4
    in place of one of 3, and one of 2 for one of 3, 5 + 3 + 2 + 2.
    """
    problem = read_problem(None, TWO, "starter")
    outcome = plan(problem, seconds=8)
    assert outcome.price == 53
    assert outcome.design is not None and check_design(outcome.design, problem).holds
    assert outcome.bound is not None and outcome.bound >= 43


def test_one_is_changed_at_a_time_until_nothing_is_better() -> None:
    """Against all choices, where the key is a sum: then changing one at a time finds the best."""
    prices = [[5, 3, 4], [2, 2], [9, 1, 1, 0]]
    kinds: Any = [
        [type("W", (), {"skeleton": (place, number)}) for number in range(len(options))]
        for place, options in enumerate(prices)
    ]

    def put(skeletons: Any) -> tuple[int, ...] | None:
        return (sum(prices[place][number] for place, number in skeletons),)

    seen = list(best_mix(kinds, put, Progress()))
    keys = [sum(prices[p][n] for p, n in enumerate(choice)) for choice in seen]
    assert keys == sorted(keys, reverse=True)
    assert keys[-1] == min(map(sum, product(*prices)))


def test_what_cannot_be_shared_is_passed_over() -> None:
    kinds: Any = [[type("W", (), {"skeleton": n}) for n in range(3)]]

    def put(skeletons: list[Skeleton]) -> tuple[int, ...] | None:
        return {0: None, 1: (7,), 2: None}[skeletons[0]]  # type: ignore[index]

    assert list(best_mix(kinds, put, Progress())) == [(1,)]


@pytest.mark.slow
def test_a_day_by_the_minute_is_too_long_for_a_model_not_for_a_plan() -> None:
    """A counterexample that takes a day has thousands of instants: no model is made of it. By hand:
    four timers and a relay on one clock, as for 10 s of every 60 s beside 5 s of every 20 s."""
    goals = "mister on 10 s of every 1 day, pump on 10 s of every 60 s"
    began = time.monotonic()
    outcome = plan(read_problem(None, goals, "starter"), seconds=10)
    assert time.monotonic() - began < 20
    assert outcome.design is not None and outcome.price == 45
    assert outcome.verdict is not None and outcome.verdict.holds
