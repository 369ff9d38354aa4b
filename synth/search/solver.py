"""Exact solvers behind the model of clauses; CP-SAT is the one that is always there.

A solver is kept alive between questions about one growing formula: what was handed over stays,
and only what is new is added. CP-SAT's model is handed over as a protocol buffer, which spares the
import and the running time of its modelling layer (0.3 s of start-up).
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from synth.search.formula import Formula


@dataclass(frozen=True)
class Answer:
    """What the solver said: `values` by variable (index 0 unused) when satisfiable; `satisfiable`
    None when it ran out of time. `effort` is what it took, where that is counted."""

    satisfiable: bool | None
    values: tuple[bool, ...] = ()
    effort: float = 0.0


class Solver(Protocol):
    """Answers questions about one formula, which may grow between them."""

    def ask(
        self,
        seconds: float,
        assumed: Sequence[int] = (),
        stopped: Callable[[], bool] = lambda: False,
        effort: float | None = None,
    ) -> Answer:
        """Return an assignment in which the literals `assumed` hold, if there is one.

        `stopped` is asked every now and then; when it says so the question is given up. So it is
        after `effort`, which counts steps of work, about as many units as seconds at first, and
        so gives the same answer on a slow machine as on a fast one.
        """
        ...


class CpSat:
    """CP-SAT on one formula; see `Solver`."""

    def __init__(self, formula: Formula, seed: int = 1) -> None:
        from ortools.sat.python import cp_model_helper as helper

        self._helper = helper
        self._formula = formula
        self._seed = seed
        self._model = helper.CpModelProto()
        self._done = [0, 0, 0, 0]
        """How many variables, clauses, groups and sums have been handed over."""

    def _hand_over(self) -> None:
        formula, model = self._formula, self._model
        variables, constraints = model.variables, model.constraints
        names, clauses, groups, sums = self._done
        either = self._helper.IntegerVariableProto()
        either.domain.extend((0, 1))
        variables.extend([either] * (formula.count - names))
        # Clauses of two literals go by what they have in common: fewer constraints to make.
        then: dict[int, list[int]] = {}
        for clause in formula.clauses[clauses:]:
            if len(clause) != 2:
                constraints.add().bool_or.literals.extend([v - 1 if v > 0 else v for v in clause])
                continue
            one, other = clause
            if one in then:
                then[one].append(other)
            else:
                then.setdefault(other, []).append(one)
        for literal, others in then.items():
            implied = constraints.add()
            implied.enforcement_literal.append(-literal if literal > 0 else -literal - 1)
            implied.bool_and.literals.extend([v - 1 if v > 0 else v for v in others])
        for group in formula.exactly_one[groups:]:
            constraints.add().exactly_one.literals.extend([v - 1 if v > 0 else v for v in group])
        for members, weights, least, most in formula.sums[sums:]:
            linear = constraints.add().linear
            linear.vars.extend([v - 1 for v in members])
            linear.coeffs.extend(weights)
            linear.domain.extend([least, most])
        self._done = [
            formula.count,
            len(formula.clauses),
            len(formula.exactly_one),
            len(formula.sums),
        ]

    def ask(
        self,
        seconds: float,
        assumed: Sequence[int] = (),
        stopped: Callable[[], bool] = lambda: False,
        effort: float | None = None,
    ) -> Answer:
        """See `Solver.ask`. Raises AssertionError on a status that this code does not know."""
        helper = self._helper
        self._hand_over()
        variables = self._model.variables
        for literal in assumed:
            self._bound(variables[abs(literal) - 1], literal > 0, literal > 0)
        parameters = helper.SatParameters()
        parameters.num_workers = 1
        parameters.max_time_in_seconds = max(0.01, seconds)
        if effort is not None:
            parameters.max_deterministic_time = max(0.0, effort)
        parameters.random_seed = self._seed
        for setting, tuned in TUNING.items():
            setattr(parameters, setting, tuned)
        wrapper = helper.SolveWrapper()
        wrapper.set_parameters(parameters)
        response = watched(lambda: wrapper.solve(self._model), wrapper.stop_search, stopped)
        for literal in assumed:
            self._bound(variables[abs(literal) - 1], False, True)
        status, known = response.status, helper.CpSolverStatus
        if status in (known.OPTIMAL, known.FEASIBLE):
            values = (False, *(bool(v) for v in response.solution))
            return Answer(True, values, response.deterministic_time)
        if status == known.INFEASIBLE:
            return Answer(False, (), response.deterministic_time)
        if status == known.UNKNOWN:
            return Answer(None, (), response.deterministic_time)
        raise AssertionError(f"the solver answered {status}, which this code does not know")

    @staticmethod
    def _bound(variable: Any, least: bool, most: bool) -> None:
        variable.domain.clear()
        variable.domain.extend((int(least), int(most)))


TUNING: dict[str, object] = {
    # Presolve, symmetry and linear relaxation cost more than they save on models of clauses that
    # are answered in some tens of milliseconds (measured: a factor of two to four).
    "cp_model_presolve": False,
    "linearization_level": 0,
    "symmetry_level": 0,
    "cp_model_probing_level": 0,
    "inprocessing_probing_dtime": 0.0,
    "inprocessing_minimization_dtime": 0.0,
    "inprocessing_dtime_ratio": 0.0,
    "catch_sigint_signal": False,
}


T = TypeVar("T")


def watched(work: Callable[[], T], halt: Callable[[], None], stopped: Callable[[], bool]) -> T:
    """Return what `work` returns, or raise what it raises; `halt` it when `stopped` says so.

    It runs in a thread of its own, so that Ctrl-C is heard while a solver works.
    """
    answers: list[T] = []
    failures: list[BaseException] = []

    def run() -> None:
        try:
            answers.append(work())
        except BaseException as failure:  # handed on to the caller below
            failures.append(failure)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    while thread.is_alive():
        thread.join(0.1)
        if stopped():
            halt()
    if failures:
        raise failures[0]
    return answers[0]
