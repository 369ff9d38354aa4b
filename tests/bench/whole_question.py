"""The main scenario as one question in clauses, with a price to be made least.

The search asks one parts list after the other. Here the same encoders put all lists into one
formula: places for parts that may stay empty, what each costs, and what splitting costs. It is
asked of the first runs of the inputs only, without the exact check, so its least price is a bound
from below. Two solvers get it: a SAT solver that descends, and an answer set solver.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from plain_jobs import MAIN
from second_solver import Clauses, at_most, clauses_of

from synth.pipeline import read_problem
from synth.search.basics import DEPTH, Progress, Tools
from synth.search.formula import Formula
from synth.search.lists import Catalogue
from synth.search.questions import Questions
from synth.search.slots import Wiring
from synth.search.unroll import Unrolled
from synth.share import fan_out_price

DEAREST = 60
"""Coins; far above any price that matters for the main scenario."""


@dataclass(frozen=True)
class Question:
    """Clauses over variables 1..count; the price is the sum of the weights of those that are 1."""

    clauses: Clauses
    count: int
    priced: tuple[tuple[int, int], ...]
    """(variable, coins)."""


@dataclass(frozen=True)
class Least:
    """The least price found (None: no answer), whether it is proven, and seconds in all."""

    price: int | None
    proven: bool
    seconds: float


def _none(*words: Any) -> Any:
    raise AssertionError("no part of the search but its encoders is used here")


def whole_question(goals: Path) -> Question:
    """Return the question of all parts lists of the plain model, those that fit the answer."""
    problem = read_problem(str(goals), None, None)

    def fan_out(number: int) -> int | None:
        return fan_out_price(number, problem.kit)

    tools = Tools(_none, _none, _none, fan_out)
    catalogue = Catalogue(problem, lambda extra: 0)
    questions = Questions(problem, catalogue, tools, Progress(), 1)
    counts = {offer.kind: offer.most for offer in MAIN.offers["fitting"]}
    items = [
        index
        for index, (part, _) in enumerate(catalogue.offers)
        for _ in range(counts.get(part.type.value, 0))
    ]
    slots = catalogue.slots(items, questions.loads)
    slots = tuple(slot if slot.load else replace(slot, fixed=False) for slot in slots)
    formula = Formula()
    wiring = Wiring(problem, slots, formula)
    for scenario in questions.scenarios:
        Unrolled(wiring, scenario, DEPTH)
    wiring.price_sharing(fan_out, DEAREST)
    # The last sum is that of the coins for splitting; here it is part of what is made least.
    variables, weights, _, _ = formula.sums.pop()
    priced = list(zip(variables, weights, strict=True))
    priced += [
        (used, slot.part.price)
        for used, slot in zip(wiring.used, slots, strict=True)
        if not slot.load
    ]
    clauses = clauses_of(formula)
    count = max(abs(literal) for clause in clauses for literal in clause)
    return Question(clauses, count, tuple((v, c) for v, c in priced if c))


def descend(question: Question, seconds: float) -> Least:
    """Ask for any answer, then for a cheaper one, until there is none: Glucose, kept alive."""
    from pysat.solvers import Glucose4

    began = time.perf_counter()
    best: int | None = None
    answer: bool | None = True
    with Glucose4(bootstrap_with=question.clauses) as solver:
        alarm = threading.Timer(seconds, solver.interrupt)
        alarm.start()
        fresh = question.count
        while answer and time.perf_counter() - began < seconds:
            answer = solver.solve_limited(expect_interrupt=True)
            if answer:
                held = {literal for literal in solver.get_model() if literal > 0}
                best = sum(coins for variable, coins in question.priced if variable in held)
                more: Clauses = []
                variables = [variable for variable, _ in question.priced]
                coins_each = [coins for _, coins in question.priced]
                fresh = at_most(variables, coins_each, best - 1, more, fresh)
                solver.append_formula(more, no_return=True)
        alarm.cancel()
    return Least(best, answer is False, time.perf_counter() - began)


def answer_set(question: Question, seconds: float) -> Least:
    """The same clauses as integrity constraints over free atoms, the price as what is to be made
    least: clingo, two threads, as it comes."""
    import clingo

    began = time.perf_counter()
    control = clingo.Control(["--parallel-mode=2", "--warn=none"])
    with control.backend() as backend:
        atoms = [backend.add_atom() for _ in range(question.count + 1)]
        backend.add_rule(atoms[1:], choice=True)
        for clause in question.clauses:
            # Not all of its literals may fail.
            backend.add_rule([], [-atoms[v] if v > 0 else atoms[-v] for v in clause])
        backend.add_minimize(0, [(atoms[v], coins) for v, coins in question.priced])
    best: list[int] = []
    handle = control.solve(async_=True, on_model=lambda model: _keep(best, model.cost))
    with handle:
        finished = handle.wait(seconds)
        if not finished:
            handle.cancel()
        proven = finished and handle.get().exhausted
    price = best[-1] if best else None
    return Least(price, bool(proven), time.perf_counter() - began)


def _keep(best: list[int], cost: Sequence[int]) -> None:
    best.extend(cost[:1])


SOLVERS: dict[str, Callable[[Question, float], Least]] = {
    "Glucose, descending": descend,
    "clingo": answer_set,
}
