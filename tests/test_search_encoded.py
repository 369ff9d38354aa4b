"""Models and answers as bytes, read and written by the classes that OR-Tools makes from its files.

These classes, `cp_model_pb2` and `sat_parameters_pb2`, come with the solver; the package itself
does without them (they take as long to load as a small question to answer).
"""

from __future__ import annotations

import random
import time
from itertools import combinations
from pathlib import Path

import pytest
from ortools.sat import cp_model_pb2 as messages
from ortools.sat import sat_parameters_pb2

from synth.search import encoded, solver
from synth.search.encoded import Encoder
from synth.search.formula import Formula
from synth.search.solver import FIELDS, TUNING, Classes, CpSat, Direct


def a_formula(rng: random.Random, count: int) -> Formula:
    formula = Formula()
    formula.news(count)
    grow(rng, formula)
    return formula


def grow(rng: random.Random, formula: Formula) -> None:
    """Add clauses, a group and a sum at random."""

    def literals(most: int) -> list[int]:
        chosen = rng.sample(range(1, formula.count + 1), rng.randint(2, most))
        return [rng.choice((1, -1)) * variable for variable in chosen]

    for _ in range(2 * formula.count):
        formula.add(*literals(5))
    formula.add(*literals(formula.count))
    formula.choose(literals(5))
    members = [abs(literal) for literal in literals(5)]
    formula.bound(members, [rng.randint(-300, 300) for _ in members], rng.randint(-900, 0), 900)


def number(literal: int) -> int:
    """Return a literal as OR-Tools counts: variables from 0, the opposite of i as -i - 1."""
    return literal - 1 if literal > 0 else literal


@pytest.mark.parametrize("seed", range(5))
def test_a_model_reads_as_it_was_meant(seed: int) -> None:
    """With hundreds of variables: numbers and lengths of one byte and of more. It grows, too."""
    rng = random.Random(seed)
    formula = a_formula(rng, rng.choice((3, 100, 700)) + 5)
    encoder = Encoder(formula)
    encoder.model(())
    formula.new()
    grow(rng, formula)
    read = messages.CpModelProto.FromString(encoder.model([2, -formula.count]))
    domains = [tuple(variable.domain) for variable in read.variables]
    assert domains == [(0, 1), (1, 1), *[(0, 1)] * (formula.count - 3), (0, 0)]
    assert [tuple(c.bool_or.literals) for c in read.constraints if c.HasField("bool_or")] == [
        tuple(map(number, clause)) for clause in formula.clauses
    ]
    groups = [c.exactly_one.literals for c in read.constraints if c.HasField("exactly_one")]
    assert [tuple(g) for g in groups] == [tuple(map(number, g)) for g in formula.exactly_one]
    linear = [c.linear for c in read.constraints if c.HasField("linear")]
    assert [(tuple(x.vars), tuple(x.coeffs), *x.domain) for x in linear] == [
        (tuple(map(number, members)), *rest) for members, *rest in formula.sums
    ]
    assert len(read.constraints) == len(formula.clauses) + len(groups) + len(linear)


def test_settings_read_as_they_were_meant() -> None:
    settings = {**TUNING, "random_seed": 12345, "max_time_in_seconds": 0.01}
    data = encoded.parameters({FIELDS[name]: value for name, value in settings.items()})
    read = sat_parameters_pb2.SatParameters.FromString(data)
    assert {field.name: value for field, value in read.ListFields()} == settings
    known = sat_parameters_pb2.SatParameters.DESCRIPTOR.fields_by_name
    assert {name: known[name].number for name in FIELDS} == FIELDS


def test_statuses_are_numbered_as_the_solver_does() -> None:
    ours = (solver.UNKNOWN, solver.FEASIBLE, solver.INFEASIBLE, solver.OPTIMAL)
    theirs = (messages.UNKNOWN, messages.FEASIBLE, messages.INFEASIBLE, messages.OPTIMAL)
    assert ours == theirs


def test_an_answer_is_read_whatever_else_it_says() -> None:
    values = [i % 3 % 2 for i in range(300)]
    response = messages.CpSolverResponse(
        status=messages.OPTIMAL,
        solution=values,
        deterministic_time=0.25,
        wall_time=7.5,
        num_conflicts=10**12,
        solution_info="some words",
        sufficient_assumptions_for_infeasibility=[70000, -2],
    )
    data = response.SerializeToString()
    assert encoded.read_answer(data) == (messages.OPTIMAL, tuple(map(bool, values)), 0.25)
    nothing = messages.CpSolverResponse(status=messages.INFEASIBLE).SerializeToString()
    assert encoded.read_answer(nothing) == (messages.INFEASIBLE, (), 0.0)
    for cut in (1, 5, len(data) - 3):
        with pytest.raises(ValueError, match="cut short"):
            encoded.read_answer(data[:cut])


def test_both_ways_to_the_solver_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Status, values and effort. Where OR-Tools has no library of its own the classes are used."""
    formulas = [a_formula(random.Random(seed), 10 + 8 * seed) for seed in range(8)]
    assert isinstance(solver.interface(), Direct)
    direct = [CpSat(formula).ask(60, [3]) for formula in formulas]
    monkeypatch.setattr(solver, "find_spec", lambda name: None)
    solver.interface.cache_clear()
    assert isinstance(solver.interface(), Classes)
    assert [CpSat(formula).ask(60, [3]) for formula in formulas] == direct
    solver.interface.cache_clear()
    assert {answer.satisfiable for answer in direct} == {True, False}


def test_a_library_without_the_interface_is_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / ".libs").mkdir()
    (tmp_path / ".libs" / "libortools.so.9").write_bytes(b"no library")
    spec = type("Spec", (), {"submodule_search_locations": [str(tmp_path)]})
    monkeypatch.setattr(solver, "find_spec", lambda name: spec)
    solver.interface.cache_clear()
    assert isinstance(solver.interface(), Classes)
    solver.interface.cache_clear()


def pigeons(count: int) -> Formula:
    """One more pigeon than holes: hard for a solver of clauses (Haken 1985)."""
    formula = Formula()
    sits = [formula.news(count - 1) for _ in range(count)]
    for pigeon in sits:
        formula.add(*pigeon)
    for hole in range(count - 1):
        for one, other in combinations(sits, 2):
            formula.add(-one[hole], -other[hole])
    return formula


@pytest.mark.parametrize("way", ["Direct", "Classes"])
def test_a_question_can_be_stopped(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    if way == "Classes":
        monkeypatch.setattr(solver, "interface", Classes)
    began = time.monotonic()
    stop_at = began + 0.5
    answer = CpSat(pigeons(14)).ask(60, (), lambda: time.monotonic() > stop_at)
    assert answer.satisfiable is None and time.monotonic() - began < 20
    assert CpSat(pigeons(14)).ask(0.2).satisfiable is None
    assert CpSat(pigeons(5)).ask(60).satisfiable is False
