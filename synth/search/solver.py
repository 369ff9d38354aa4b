"""Exact solvers behind the model of clauses; CP-SAT is the one that is always there.

A solver is kept alive between questions about one growing formula: what was written down stays,
and only what is new is added. CP-SAT gets its model as bytes (see `encoded`), by the C interface of
OR-Tools, which its bindings for other languages use: ten thousand clauses take some milliseconds,
where they took forty by way of its Python classes, about as long as an answer. Where that interface
cannot be reached, the same bytes go through those classes: the same answers, later.
"""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Protocol, TypeVar

from synth.search.encoded import Encoder, parameters, read_answer
from synth.search.formula import Formula

T = TypeVar("T")

UNKNOWN, FEASIBLE, INFEASIBLE, OPTIMAL = 0, 2, 3, 4
"""What CP-SAT says of a model: numbers of `CpSolverStatus` in `cp_model.proto`."""


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
        self._seed = seed
        self._encoder = Encoder(formula)
        self._interface = interface()

    def ask(
        self,
        seconds: float,
        assumed: Sequence[int] = (),
        stopped: Callable[[], bool] = lambda: False,
        effort: float | None = None,
    ) -> Answer:
        """See `Solver.ask`. Raises AssertionError on a status that this code does not know."""
        settings = {
            **TUNING,
            "random_seed": self._seed,
            "max_time_in_seconds": max(0.01, float(seconds)),
        }
        if effort is not None:
            settings["max_deterministic_time"] = max(0.0, float(effort))
        model = self._encoder.model(assumed)
        status, values, taken = self._interface.solve(model, settings, stopped)
        if status in (OPTIMAL, FEASIBLE):
            return Answer(True, (False, *values), taken)
        if status == INFEASIBLE:
            return Answer(False, (), taken)
        if status == UNKNOWN:
            return Answer(None, (), taken)
        raise AssertionError(f"the solver answered {status}, which this code does not know")


TUNING: dict[str, int | float] = {
    # One worker: the same question gets the same answer.
    "num_workers": 1,
    # Presolve, symmetry and linear relaxation cost more than they save on models of clauses that
    # are answered in some tens of milliseconds (measured: a factor of two to four).
    "cp_model_presolve": False,
    "linearization_level": 0,
    "symmetry_level": 0,
    "cp_model_probing_level": 0,
    "inprocessing_probing_dtime": 0.0,
    "inprocessing_minimization_dtime": 0.0,
    "inprocessing_dtime_ratio": 0.0,
    # Measured: questions that take seconds take a fifth less.
    "variable_activity_decay": 0.95,
    "catch_sigint_signal": False,
}

FIELDS = {
    "num_workers": 206,
    "random_seed": 31,
    "max_time_in_seconds": 36,
    "max_deterministic_time": 67,
    "cp_model_presolve": 86,
    "linearization_level": 90,
    "symmetry_level": 183,
    "cp_model_probing_level": 110,
    "inprocessing_probing_dtime": 274,
    "inprocessing_minimization_dtime": 275,
    "inprocessing_dtime_ratio": 273,
    "variable_activity_decay": 15,
    "catch_sigint_signal": 135,
}
"""Field numbers of settings, in `sat_parameters.proto`."""


class Interface(Protocol):
    """A way to the solver."""

    def solve(
        self, model: bytes, settings: Mapping[str, int | float], stopped: Callable[[], bool]
    ) -> tuple[int, tuple[bool, ...], float]:
        """Return the status, the values of all variables and the effort (see `Solver.ask`)."""
        ...


LARGE = 100_000
"""Bytes of a model beyond which memory is given back to the system after an answer."""


class Direct:
    """The C interface, `cp_solver_c.h` of OR-Tools."""

    def __init__(self, path: Path) -> None:
        """Raises OSError or AttributeError where there is no such interface."""
        library = ctypes.CDLL(str(path))
        self._new, self._destroy = library.SolveCpNewEnv, library.SolveCpDestroyEnv
        self._solve, self._stop = library.SolveCpInterruptible, library.SolveCpStopSearch
        self._new.argtypes, self._new.restype = [], ctypes.c_void_p
        data: list[Any] = [ctypes.c_char_p, ctypes.c_int]
        answer: list[Any] = [ctypes.POINTER(ctypes.c_void_p), ctypes.POINTER(ctypes.c_int)]
        self._solve.argtypes = [ctypes.c_void_p, *data, *data, *answer]
        for one in (self._destroy, self._stop):
            one.argtypes = [ctypes.c_void_p]
        for one in (self._solve, self._destroy, self._stop):
            one.restype = None
        # What the interface hands back is given free by whoever called it.
        memory = ctypes.CDLL(None)
        self._free = memory.free
        self._free.argtypes, self._free.restype = [ctypes.c_void_p], None
        # Only the GNU library has this.
        self._trim: Any = getattr(memory, "malloc_trim", None)
        if self._trim is not None:
            self._trim.argtypes, self._trim.restype = [ctypes.c_size_t], ctypes.c_int

    def solve(
        self, model: bytes, settings: Mapping[str, int | float], stopped: Callable[[], bool]
    ) -> tuple[int, tuple[bool, ...], float]:
        """See `Interface`."""
        chosen = parameters({FIELDS[name]: value for name, value in settings.items()})
        session = self._new()

        def work() -> bytes:
            answer, size = ctypes.c_void_p(), ctypes.c_int()
            self._solve(session, model, len(model), chosen, len(chosen), answer, size)
            data = ctypes.string_at(answer, size.value)
            self._free(answer)
            return data

        # Where Ctrl-C comes between, the solver may still be at work in this session: it is kept.
        data = watched(work, lambda: self._stop(session), stopped)
        self._destroy(session)
        if self._trim is not None and len(model) > LARGE:
            # Each question has a thread of its own, and what that gave free is not used by the
            # next: without this a long search took half as much memory again.
            self._trim(0)
        return read_answer(data)


class Classes:
    """The solver's own Python classes."""

    def __init__(self) -> None:
        from ortools.sat import cp_model_pb2
        from ortools.sat.python import cp_model_helper

        self._messages: Any = cp_model_pb2
        self._helper: Any = cp_model_helper

    def solve(
        self, model: bytes, settings: Mapping[str, int | float], stopped: Callable[[], bool]
    ) -> tuple[int, tuple[bool, ...], float]:
        """See `Interface`."""
        read = self._helper.CpModelProto()
        read.parse_text_format(str(self._messages.CpModelProto.FromString(model)))
        chosen = self._helper.SatParameters()
        for name, value in settings.items():
            setattr(chosen, name, value)
        wrapper = self._helper.SolveWrapper()
        wrapper.set_parameters(chosen)
        response = watched(lambda: wrapper.solve(read), wrapper.stop_search, stopped)
        values = tuple(bool(value) for value in response.solution)
        return int(response.status), values, response.deterministic_time


@cache
def interface() -> Interface:
    """Return the fastest way to the solver that there is."""
    package = find_spec("ortools")
    for folder in package.submodule_search_locations or () if package else ():
        for pattern in (".libs/libortools.so*", ".dylibs/libortools*.dylib"):
            for path in sorted(Path(folder).glob(pattern)):
                try:
                    return Direct(path)
                except (OSError, AttributeError):
                    continue
    return Classes()


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
