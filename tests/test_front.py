"""The front of price, power and parts is whole: compared with all designs there are.

Once with designs made up at random and a planner that looks at each of them, in place of the
search; once with all wirings of a tiny kit, enumerated without the search.
"""

from __future__ import annotations

import dataclasses
import time
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_jobs import candidates, small
from test_wishes import KIT, bounded, problem_of

from synth import pipeline
from synth.check import check
from synth.choices import Choice, Choices, Measure, parts_counted
from synth.design import Design, PartInUse
from synth.explore import front_of
from synth.parts.behaviour import PartType
from synth.problem import Limits, Problem
from synth.report.undecided import what_may_help
from synth.result import Outcome, Status, Verdict
from synth.share import share_power

KINDS = ("switch", "sensor", "relay make", "relay break", "tap-off")
LABELS = tuple(KIT.index[name].type for name in KINDS)
Values = tuple[int, int, int]


def made_up(numbers: tuple[int, ...], units: int) -> Design:
    """Return a design of so many parts of each of `KINDS`, without wires."""
    parts = [PartInUse("supply", PartType.SUPPLY, "supply", (("units", units),))]
    for name, kind, number in zip(KINDS, LABELS, numbers, strict=True):
        parts += [PartInUse(f"{name} {n}", kind, name) for n in range(number)]
    return Design("tiny", tuple(parts), ())


class Looking:
    """A planner that looks at each of some designs; some questions it leaves without an answer."""

    def __init__(self, designs: list[Design], prices: list[int], gaps: frozenset[int]) -> None:
        self.designs = designs
        self.prices = dict(zip(KINDS, prices, strict=True))
        self.gaps = gaps
        self.asked = 0

    def __call__(self, problem: Problem, seconds: float) -> Outcome:
        self.asked += 1
        if self.asked in self.gaps:
            return Outcome(Status.UNDECIDED)
        within = [d for d in self.designs if self.fits(d, problem.limits, problem)]
        if not within:
            return Outcome(Status.IMPOSSIBLE)
        best = min(within, key=lambda d: (d.price(problem.kit, problem.limits.stock), d.supply))
        price = best.price(problem.kit, problem.limits.stock)
        return Outcome(Status.PROVEN, best, price, best.supply, price, verdict=Verdict(True, 1))

    @staticmethod
    def fits(design: Design, limits: Limits, problem: Problem) -> bool:
        used = Counter(part.part for part in design.parts)
        return (
            all(used[name] <= most for name, most in limits.most)
            and (limits.supply is None or design.supply <= limits.supply)
            and (limits.price is None or design.price(problem.kit, limits.stock) <= limits.price)
        )


def values(design: Design, problem: Problem) -> Values:
    price = design.price(problem.kit, problem.limits.stock)
    return (price, design.supply, parts_counted(design))


def not_beaten(found: set[Values]) -> set[Values]:
    return {
        one for one in found
        if not any(o != one and all(a <= b for a, b in zip(o, one, strict=True)) for o in found)
    }  # fmt: skip


def asked_of(
    designs: list[Design], prices: list[int], gaps: frozenset[int], limits: Limits
) -> tuple[Problem, Choices, set[Values]]:
    kit = dataclasses.replace(
        KIT,
        parts=tuple(
            dataclasses.replace(p, price=prices[KINDS.index(p.name)]) if p.name in KINDS else p
            for p in KIT.parts
        ),
    )
    problem = dataclasses.replace(problem_of("lamp always", "", "", kit), limits=limits)
    choices, _ = front_of(problem, Looking(designs, prices, gaps), 60.0)
    allowed = [d for d in designs if Looking.fits(d, limits, problem)]
    return problem, choices, not_beaten({values(d, problem) for d in allowed})


NUMBERS = st.lists(
    st.tuples(*(st.integers(0, 3) for _ in KINDS), st.integers(1, 6)), min_size=1, max_size=14
)
PRICES = st.lists(st.integers(0, 9), min_size=len(KINDS), max_size=len(KINDS))
LIMITS = st.sampled_from(
    (Limits(), Limits(price=25), Limits(supply=4), Limits(stock=(("sensor", 2),)),
     Limits(price=20, stock=(("relay make", 1), ("sensor", 1))), Limits(most=(("sensor", 2),)))
)  # fmt: skip


@given(NUMBERS, PRICES, LIMITS)
@settings(max_examples=100, deadline=None)
def test_the_front_is_that_of_all_designs(
    numbers: list[tuple[int, ...]], prices: list[int], limits: Limits
) -> None:
    designs = [made_up(each[:-1], each[-1]) for each in numbers]
    _, choices, expected = asked_of(designs, prices, frozenset(), limits)
    found = {choice.values for choice in choices.front}
    if choices.complete or not choices.front:
        assert found == expected
    else:
        assert any("Not decided" in note for note in choices.notes)
    for choice in choices.front:
        assert not choice.proven or choice.values in expected
        for place, measure in enumerate((Measure.PRICE, Measure.SUPPLY, Measure.PARTS)):
            if measure in choice.least:
                assert choice.values[place] == min(each[place] for each in expected)


@given(NUMBERS, PRICES, LIMITS, st.frozensets(st.integers(2, 12), max_size=4))
@settings(max_examples=100, deadline=None)
def test_questions_without_an_answer_leave_nothing_claimed(
    numbers: list[tuple[int, ...]], prices: list[int], limits: Limits, gaps: frozenset[int]
) -> None:
    designs = [made_up(each[:-1], each[-1]) for each in numbers]
    _, choices, expected = asked_of(designs, prices, gaps, limits)
    found = {choice.values for choice in choices.front}
    assert not choices.complete or found == expected
    for choice in choices.front:
        assert not choice.proven or choice.values in expected
        for place, measure in enumerate((Measure.PRICE, Measure.SUPPLY, Measure.PARTS)):
            if measure in choice.least:
                assert choice.values[place] == min(each[place] for each in expected)


def test_a_price_that_so_many_parts_cannot_pass_is_not_told() -> None:
    """Where the dearest part costs 9 coins, that three parts cost 27 at most says nothing."""
    designs = [made_up((0, 0, 4, 0, 0), 5), made_up((3, 0, 0, 0, 1), 7)]
    _, choices, _ = asked_of(designs, [1, 1, 9, 9, 1], frozenset(range(2, 40)), Limits())
    open_ = [note for note in choices.notes if note.startswith("Not decided")]
    assert any("parts." in note for note in open_)
    assert not any("coin" in note and "part" in note for note in open_)


def test_a_design_in_a_hollow_is_found() -> None:
    """By hand: 20 coins for 2 parts, none for 8 parts, and 12 for 5, above the line between them
    (10 for 5 parts would be on it)."""
    designs = [
        made_up((2, 0, 0, 0, 0), 3), made_up((0, 8, 0, 0, 0), 3), made_up((1, 0, 2, 2, 0), 3),
    ]  # fmt: skip
    _, choices, _ = asked_of(designs, [10, 0, 1, 0, 9], frozenset(), Limits())
    assert {c.values for c in choices.front} == {(20, 3, 2), (0, 3, 8), (12, 3, 5)}
    assert choices.complete and all(choice.proven for choice in choices.front)


JOBS = [
    "lamp while wet; fan while hot",
    "lamp while wet and hot; fan while wet",
    "lamp while not wet; fan while not wet",
    pytest.param("lamp while wet; fan while wet; bell while wet", marks=pytest.mark.slow),
    "lamp 1 s after wet; fan while wet",
]
HIGHEST = 20


@pytest.mark.parametrize("goals", JOBS)
def test_the_front_is_that_of_all_wirings(goals: str) -> None:
    """Tap-offs alone split power here: so many for so many inputs, whatever the tree, and without
    waste, so that each wiring has one price, one supply and one number of parts."""
    problem = bounded(problem_of(goals), HIGHEST)
    assert small(problem)
    found = set()
    for _, skeleton in candidates(problem, HIGHEST):
        design = share_power(skeleton, KIT, problem.objectives, problem.limits)
        new = design is not None and values(design, problem) not in found
        if design is not None and new and check(design, problem, stop_at_first=True).holds:
            found.add(values(design, problem))
    choices, _ = pipeline.options(problem, 60.0)
    assert choices.complete
    assert {choice.values for choice in choices.front} == not_beaten(found)
    assert all(choice.proven and isinstance(choice, Choice) for choice in choices.front)


class Slow(Looking):
    """A planner to which it is too hard whether a unit less will do, as long as there is time."""

    def __init__(self, designs: list[Design], gives_up: bool) -> None:
        super().__init__(designs, [1] * len(KINDS), frozenset())
        self.gives_up = gives_up
        self.spent: list[float] = []

    def __call__(self, problem: Problem, seconds: float) -> Outcome:
        if problem.limits.supply is None:
            return super().__call__(problem, seconds)
        if not self.gives_up:
            time.sleep(seconds)
        self.spent.append(seconds)
        return Outcome(Status.UNDECIDED)


def test_the_time_is_used_where_more_time_is_advised() -> None:
    """One question is left open. It gets the rest of the time, and more than it had before."""
    problem = problem_of("lamp always", "", "")
    planner, began = Slow([made_up((1, 0, 0, 0, 0), 3)], False), time.monotonic()
    choices, _ = front_of(problem, planner, 1.0)
    assert not choices.complete and choices.time_up
    assert time.monotonic() - began >= 0.99
    assert len(planner.spent) > 1 and planner.spent[-1] > 3 * planner.spent[0]
    assert any("--time-limit" in line for line in what_may_help(problem, choices.time_up))


def test_more_time_is_not_advised_where_the_time_was_not_used() -> None:
    problem = problem_of("lamp always", "", "")
    choices, _ = front_of(problem, Slow([made_up((1, 0, 0, 0, 0), 3)], True), 30.0)
    assert not choices.complete and not choices.time_up
    assert not any("--time-limit" in line for line in what_may_help(problem, choices.time_up))
