"""The optional solver for plain clauses: Glucose, by way of python-sat (the extra `fast`).

Measured several times faster than CP-SAT on the questions of this search, mostly because clauses
are handed over faster. It answers the same questions about the same formula; tests compare.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from typing import Any

from synth.search.formula import Formula
from synth.search.solver import Answer


class ClauseSolver:
    """Glucose on one formula without weighted sums; see `solver.Solver`."""

    def __init__(self, formula: Formula) -> None:
        from pysat.solvers import Glucose4

        self._formula = formula
        self._solver: Any = Glucose4()
        self._done = [0, 0]
        """How many clauses and groups have been handed over."""

    def __del__(self) -> None:
        solver = getattr(self, "_solver", None)
        if solver is not None:
            solver.delete()

    def _hand_over(self) -> None:
        formula = self._formula
        assert not formula.sums
        clauses, groups = self._done
        self._solver.append_formula(formula.clauses[clauses:], no_return=True)
        for group in formula.exactly_one[groups:]:
            self._solver.add_clause(group)
            for place, one in enumerate(group):
                for other in group[place + 1 :]:
                    self._solver.add_clause((-one, -other))
        self._done = [len(formula.clauses), len(formula.exactly_one)]

    def ask(
        self,
        seconds: float,
        assumed: Sequence[int] = (),
        stopped: Callable[[], bool] = lambda: False,
    ) -> Answer:
        """See `solver.Solver.ask`."""
        self._hand_over()
        solver = self._solver
        answers: list[bool | None] = []
        failures: list[BaseException] = []

        def work() -> None:
            try:
                answers.append(
                    solver.solve_limited(assumptions=list(assumed), expect_interrupt=True)
                )
            except BaseException as failure:  # handed on to the caller below
                failures.append(failure)

        # In a thread of its own, so that Ctrl-C and the end of the time are heard meanwhile.
        thread = threading.Thread(target=work, daemon=True)
        deadline = time.monotonic() + seconds
        thread.start()
        thread.join(min(0.1, max(0.0, seconds)))
        while thread.is_alive():
            if stopped() or time.monotonic() >= deadline:
                solver.interrupt()
            thread.join(0.05)
        solver.clear_interrupt()
        if failures:
            raise failures[0]
        conflicts = int(solver.accum_stats()["conflicts"])
        if answers[0] is None:
            return Answer(None, conflicts=conflicts)
        if not answers[0]:
            return Answer(False, conflicts=conflicts)
        values = [False] * (self._formula.count + 1)
        for literal in solver.get_model():
            if 0 < literal <= self._formula.count:
                values[literal] = True
        return Answer(True, tuple(values), conflicts)
