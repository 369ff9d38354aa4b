"""Which solver answers a question."""

from __future__ import annotations

from synth.search.formula import Formula
from synth.search.solver import CpSat, Solver


def open_solver(formula: Formula, seed: int = 1, fast: bool = False) -> Solver:
    """Return a solver for `formula`: CP-SAT, or with `fast` the optional one for plain clauses.

    Weighted sums go to CP-SAT in any case.
    """
    if fast and not formula.sums:
        from synth.search.clauses_only import ClauseSolver

        return ClauseSolver(formula)
    return CpSat(formula, seed)
