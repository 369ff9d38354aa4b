"""CP-SAT behind the model of clauses: the only module that knows ortools.

The model is handed over as a protocol buffer, which spares the import and the running time of
the modelling layer (0.3 s of start-up).
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from synth.search.formula import Formula


@dataclass(frozen=True)
class Answer:
    """What the solver said: `values` by variable (index 0 unused) when satisfiable; `satisfiable`
    None when it ran out of time."""

    satisfiable: bool | None
    values: tuple[bool, ...] = ()
    objective: int | None = None
    bound: int | None = None
    conflicts: int = 0


def solve(
    formula: Formula,
    seconds: float,
    minimise: Sequence[tuple[int, int]] = (),
    workers: int = 1,
    seed: int = 1,
    fixed: Sequence[int] = (),
    stopped: Callable[[], bool] = lambda: False,
) -> Answer:
    """Ask CP-SAT for an assignment, the one that minimises the weighted sum if one is given.

    `fixed` are literals assumed for this question. `stopped` is asked every now and then; when it
    says so the question is given up. Raises AssertionError on a status that it does not know.
    """
    from ortools.sat.python import cp_model_helper as helper

    model = helper.CpModelProto()
    variables = model.variables
    domains = [(0, 1)] * (formula.count + 1)
    for literal in fixed:
        domains[abs(literal)] = (1, 1) if literal > 0 else (0, 0)
    for index in range(1, formula.count + 1):
        variables.add().domain.extend(domains[index])
    constraints = model.constraints
    for clause in formula.clauses:
        constraints.add().bool_or.literals.extend([v - 1 if v > 0 else v for v in clause])
    for group in formula.exactly_one:
        constraints.add().exactly_one.literals.extend([v - 1 if v > 0 else v for v in group])
    for names, weights, least, most in formula.sums:
        linear = constraints.add().linear
        linear.vars.extend([v - 1 for v in names])
        linear.coeffs.extend(weights)
        linear.domain.extend([least, most])
    if minimise:
        model.objective.vars.extend([v - 1 for v, _ in minimise])
        model.objective.coeffs.extend([w for _, w in minimise])
    for variable, value in formula.hints.items():
        model.solution_hint.vars.append(variable - 1)
        model.solution_hint.values.append(int(value))
    parameters = helper.SatParameters()
    parameters.num_workers = workers
    parameters.max_time_in_seconds = max(0.01, seconds)
    parameters.random_seed = seed
    for setting, tuned in TUNING.items():
        setattr(parameters, setting, tuned)
    wrapper = helper.SolveWrapper()
    wrapper.set_parameters(parameters)
    response = _watched(wrapper, model, stopped)
    status = response.status
    known = helper.CpSolverStatus
    conflicts = response.num_conflicts
    if status in (known.OPTIMAL, known.FEASIBLE):
        values = (False, *(bool(v) for v in response.solution))
        if not minimise:
            return Answer(True, values, conflicts=conflicts)
        objective = round(response.objective_value)
        bound = round(response.best_objective_bound)
        return Answer(True, values, objective, bound, conflicts)
    if status == known.INFEASIBLE:
        return Answer(False, conflicts=conflicts)
    if status == known.UNKNOWN:
        return Answer(None, conflicts=conflicts)
    raise AssertionError(f"the solver answered {status}, which this code does not know")


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


def _watched(wrapper: Any, model: Any, stopped: Callable[[], bool]) -> Any:
    """Solve in a thread of its own, so that Ctrl-C is heard while the solver works."""
    answers: list[Any] = []
    failures: list[BaseException] = []

    def work() -> None:
        try:
            answers.append(wrapper.solve(model))
        except BaseException as failure:  # handed on to the caller below
            failures.append(failure)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    while thread.is_alive():
        thread.join(0.1)
        if stopped():
            wrapper.stop_search()
    if failures:
        raise failures[0]
    return answers[0]
