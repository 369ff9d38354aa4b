"""Designs with one thing wrong: the exact check rejects each that does not do its job.

A checked design is spoilt in one place: a wire moved to another output, two wires swapped, a
setting changed, a part swapped for another type with the same terminals. What the check lets pass
must also pass a plain simulation written apart from it, which tries all input sequences at whole
steps as far as it can see. What the check rejects must show a moment that the concrete run
reproduces.

`designs/` keeps a planned design for each file of goals, so that these tests do not wait for the
search. For those the plain simulation goes through every situation there is on its grid, see
`plain_whole`.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from random import Random

import pytest
from plain_simulation import STEP, first_failure, wanted_levels
from plain_whole import TooMany, plainly_fails
from spoiling import changed_settings, mutants, rewired, swapped_parts

from synth.check import check, simulate
from synth.design import Design
from synth.pipeline import plan, read_design, read_problem
from synth.problem import Problem
from synth.result import Fault, Status, Verdict
from synth.signals import times_of

ROOT = Path(__file__).parent.parent
FOLDER = Path(__file__).parent / "designs"
KEPT = sorted(path.stem for path in FOLDER.glob("*.json"))

# The times are the files' own, shortened so that the plain simulation reaches the second turn.
SHORT = {
    "potting shed": "pump on 1 s of every 3 s, light always, heater at night, "
    "master cutoff for pump",
    "hen house": "lamp from dusk for 2 s, heater at night and while cold",
    "fan": "fan while damp or not cold",
    "bell": "bell for 2 s after bell push is pressed, light by day",
    "vent": "vent motor 2 s after hot",
}
KITS = {"vent": "full"}
PLANNED: dict[str, tuple[Design, Problem]] = {}


def planned(name: str) -> tuple[Design, Problem]:
    """Return the design planned for one of SHORT (planned once), or kept for a file of goals."""
    if name not in PLANNED:
        if name in SHORT:
            problem = read_problem(None, SHORT[name], KITS.get(name))
            outcome = plan(problem, seconds=30.0)
            assert outcome.status in (Status.PROVEN, Status.BEST_FOUND)
            assert outcome.design is not None and outcome.verdict is not None
            assert outcome.verdict.holds
            PLANNED[name] = outcome.design, problem
        else:
            files = str(FOLDER / f"{name}.json"), str(ROOT / "goals" / f"{name}.yaml")
            problem, design = read_design(*files, None, None)
            PLANNED[name] = design, problem
    return PLANNED[name]


def shows_why(design: Design, problem: Problem, verdict: Verdict) -> None:
    """Assert that every rejected design's goal defects go wrong in a concrete run."""
    assert verdict.defects
    chatters = any(defect.fault is Fault.CHATTER for defect in verdict.defects)
    for defect in verdict.defects:
        shown = defect.counterexample
        if defect.fault is not Fault.GOAL or shown is None or chatters:
            assert defect.message
            continue
        end = shown.moments[-1].time
        run = simulate(design, problem, shown.moments, end + 1)
        if any("never settles" in told for _, told in run.marks):
            # Another circuit of the design chatters, which ends the run; the load's own does not.
            continue
        track = next(t for t in run.tracks if t.role == "load" and t.name == shown.load)
        wanted = wanted_levels(problem, shown.moments, end)[shown.load][-1]
        assert wanted == (end, shown.expected)
        assert track.level(end) is shown.got is not shown.expected


def survivors(
    design: Design,
    problem: Problem,
    spoilt: Iterable[tuple[str, Design]],
    all_defects: bool,
    never: frozenset[Fault] = frozenset(),
) -> tuple[int, list[tuple[str, Design]]]:
    """Return how many mutants the check rejects, and those it lets pass.

    Of those rejected, all defects or only the first must show: to look for the last one in a
    large design with times far apart can take minutes. None has a defect of a kind in `never`.
    """
    rejected, passed = 0, []
    for told, mutant in spoilt:
        verdict = check(mutant, problem, stop_at_first=not all_defects)
        assert not {defect.fault for defect in verdict.defects} & never, told
        if verdict.holds:
            passed.append((told, mutant))
        else:
            rejected += 1
            shows_why(mutant, problem, verdict)
    return rejected, passed


def steps_needed(problem: Problem) -> int:
    """Return the steps of the plain simulation that see every time run out twice."""
    times = sorted(set().union(*(times_of(r.signal) for r in problem.requirements)))
    return 2 * sum(times) // STEP + 2 if times else 4


def test_plain_simulation_sees_a_spoilt_design() -> None:
    """The reference itself has teeth: it finds the failure of a timer one second too long."""
    design, problem = planned("potting shed")
    told, mutant = next(
        (told, mutant)
        for told, mutant in changed_settings(design, problem)
        if ": time 3000 -> 4000" in told
    )
    assert first_failure(mutant, problem, steps_needed(problem), 0) is not None, told
    assert first_failure(design, problem, steps_needed(problem), 1) is None


@pytest.mark.parametrize("name", SHORT)
def test_what_passes_passes_the_plain_simulation_too(name: str) -> None:
    design, problem = planned(name)
    everything = mutants(design, problem)
    sample = Random(1).sample(everything, min(60, len(everything)))
    rejected, passed = survivors(design, problem, sample, True)
    for told, mutant in passed:
        assert first_failure(mutant, problem, steps_needed(problem), 1) is None, told
    assert rejected >= 0.9 * len(sample), [told for told, _ in passed]


@pytest.mark.parametrize("name", SHORT)
def test_rewired_circuits_fail_in_what_they_do(name: str) -> None:
    design, problem = planned(name)
    everything = list(rewired(design, problem.kit))
    fail_in_what_they_do(design, problem, Random(1).sample(everything, min(30, len(everything))), 1)


def fail_in_what_they_do(
    design: Design, problem: Problem, everything: list[tuple[str, Design]], changes: int
) -> None:
    """Assert that the check rejects most rewired circuits, none for how it is built, and that the
    plain simulation finds nothing wrong with the rest in so many later changes."""
    of_build = frozenset({Fault.UNITS, Fault.STRUCTURE})
    rejected, passed = survivors(design, problem, everything, True, of_build)
    for told, mutant in passed:
        assert first_failure(mutant, problem, steps_needed(problem), changes) is None, told
    assert rejected >= 0.8 * len(everything), [told for told, _ in passed]


@pytest.mark.slow
@pytest.mark.parametrize("name", SHORT)
def test_all_mutants(name: str) -> None:
    design, problem = planned(name)
    everything = mutants(design, problem)
    rejected, passed = survivors(design, problem, everything, True)
    assert rejected >= 0.9 * len(everything), [told for told, _ in passed]
    for told, mutant in passed:
        assert first_failure(mutant, problem, steps_needed(problem), 2) is None, told
    fail_in_what_they_do(design, problem, list(rewired(design, problem.kit)), 2)


# The files of goals, at the times they state


def test_a_design_is_kept_for_each_file_of_goals() -> None:
    files = {path.stem for path in (ROOT / "goals").glob("*.yaml")}
    assert set(KEPT) == files


@pytest.mark.parametrize("name", KEPT)
def test_kept_design_holds(name: str) -> None:
    design, problem = planned(name)
    assert check(design, problem).holds
    assert plainly_fails(design, problem) is None


def confirm(name: str, everything: list[tuple[str, Design]], least: float) -> None:
    """Assert that the check rejects the share `least` of the mutants, each with a reason that
    shows in a run, and that the plain simulation finds nothing wrong with the rest."""
    design, problem = planned(name)
    rejected, passed = survivors(design, problem, everything, False)
    for told, mutant in passed:
        assert plainly_fails(mutant, problem) is None, told
    assert rejected >= least * len(everything), [told for told, _ in passed]


def agree(name: str, sample: list[tuple[str, Design]]) -> None:
    """Assert that the plain simulation, too, finds something wrong with what the check rejects
    for what it does. Not with races: in the plain simulation all parts move together."""
    design, problem = planned(name)
    judged, too_many = 0, 0
    for told, mutant in sample:
        defects = check(mutant, problem, stop_at_first=True).defects
        if defects and defects[0].fault in (Fault.GOAL, Fault.BLIP, Fault.CHATTER):
            try:
                assert plainly_fails(mutant, problem, most=2000) is not None, told
                judged += 1
            except TooMany:  # a time of hours with a second more
                too_many += 1
    assert judged > 3 * too_many


@pytest.mark.parametrize("name", KEPT)
def test_some_mutants_of_kept_designs(name: str) -> None:
    design, problem = planned(name)
    everything, others = mutants(design, problem), list(rewired(design, problem.kit))
    confirm(name, Random(1).sample(everything, 25), 0.9)
    confirm(name, Random(1).sample(others, min(12, len(others))), 0.8)


@pytest.mark.slow
@pytest.mark.parametrize("name", KEPT)
def test_all_mutants_of_kept_designs(name: str) -> None:
    design, problem = planned(name)
    confirm(name, mutants(design, problem), 0.9)
    confirm(name, list(rewired(design, problem.kit)), 0.9)


def behaving(name: str) -> list[tuple[str, Design]]:
    """Return the mutants that are mostly well formed, in an order by chance but always the same."""
    design, problem = planned(name)
    mixed = [
        *changed_settings(design, problem),
        *swapped_parts(design, problem.kit),
        *rewired(design, problem.kit),
    ]
    Random(2).shuffle(mixed)
    return mixed


@pytest.mark.parametrize("name", KEPT)
def test_plain_simulation_rejects_what_the_check_rejects(name: str) -> None:
    agree(name, behaving(name)[:4])


@pytest.mark.slow
@pytest.mark.parametrize("name", KEPT)
def test_plain_simulation_rejects_more_that_the_check_rejects(name: str) -> None:
    agree(name, behaving(name)[4:30])
