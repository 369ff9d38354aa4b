"""Drawings, pages and packs, and files written whole or not at all."""

from __future__ import annotations

import errno
import os
import tempfile
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from synth.check import power_loop, simulate
from synth.design import Design
from synth.errors import DesignError, GoalError, OutputError, Undecided
from synth.pipeline.planning import check_design
from synth.problem import Problem
from synth.result import Fault, Verdict

if TYPE_CHECKING:
    from synth.changes import Changes
    from synth.handover import BenchRun, Job, Store


def verdict_pictures(design: Design, problem: Problem, verdict: Verdict) -> dict[str, str]:
    """Return wiring.svg and, for the first counterexample or else a showing run, timing.svg."""
    from synth.check.showing import showing
    from synth.report.timing import timing_svg
    from synth.report.wiring import wiring_svg

    shown = [d.counterexample.trace for d in verdict.defects if d.counterexample]
    runs = [trace for trace in shown if trace is not None]
    pictures: dict[str, str] = {}
    if runs:
        pictures["timing.svg"] = timing_svg(runs[0], f"{problem.title}: what goes wrong")
    elif verdict.holds:
        pictures["timing.svg"] = timing_svg(showing(design, problem), problem.title)
    if not any(defect.fault is Fault.STRUCTURE for defect in verdict.defects):
        pictures["wiring.svg"] = wiring_svg(design, problem.kit, problem.title)
    return pictures


def write_folder(folder: str, files: Mapping[str, str | bytes]) -> None:
    """Write `files` (name to text or bytes) into `folder`, each whole or not at all, and none
    before there is room for all of them.

    Raises OutputError when the folder cannot be made or written.
    """
    target = Path(folder)
    written: dict[Path, str] = {}
    try:
        target.mkdir(parents=True, exist_ok=True)
        for name in files:
            if (target / name).is_dir():
                raise IsADirectoryError(errno.EISDIR, f"'{name}' is a folder there")
        try:
            for name, content in files.items():
                data = content if isinstance(content, bytes) else content.encode("utf-8")
                handle, temporary = tempfile.mkstemp(dir=target, prefix=".", suffix=".part")
                written[target / name] = temporary
                with os.fdopen(handle, "wb") as stream:
                    stream.write(data)
                os.chmod(temporary, 0o644)
            for path, temporary in written.items():
                os.replace(temporary, path)
        finally:
            for temporary in written.values():
                Path(temporary).unlink(missing_ok=True)
    except OSError as failure:
        raise OutputError(
            f"cannot write into '{folder}': {failure.strerror or failure}",
            hint="choose another folder with --out",
        ) from None


def drawings(design: Design, problem: Problem, changes: Changes | None = None) -> dict[str, str]:
    """Return wiring.svg and timing.svg of a design, by file name; what `changes` has made new or
    moved is marked in the first."""
    from synth.check.showing import showing
    from synth.report.timing import timing_svg
    from synth.report.wiring import wiring_svg

    return {
        "wiring.svg": wiring_svg(
            design,
            problem.kit,
            problem.title,
            [part.name for part in changes.added] if changes else (),
            [w.number for w in (*changes.new, *(w for _, w in changes.moved))] if changes else (),
        ),
        "timing.svg": timing_svg(showing(design, problem), problem.title),
    }


def running_page(
    design: Design,
    problem: Problem,
    seconds: float,
    why: Mapping[str, Sequence[str]] | None = None,
    verdict: Verdict | None = None,
) -> tuple[str, Verdict | None]:
    """Return the page in which `design` runs, and its verdict (None: undecided within `seconds`).

    `why`: what happens without a part, by its name. `verdict`: where it is known already. Raises
    DesignError for a design that cannot be run at all.
    """
    from synth.check import amounts
    from synth.check.circuit import input_of, option_of
    from synth.check.replay import orders_taken
    from synth.check.showing import showing_run
    from synth.report.page.data import Shown
    from synth.report.page.page import page_html

    ring = power_loop(design, problem.kit)
    if ring:
        raise DesignError(
            f"power runs in a loop through {', '.join(ring)}, so the circuit cannot be run",
            hint="mend that first; synth check tells all that is wrong",
        )
    simulate(design, problem, (), 0)
    if verdict is None:
        with suppress(Undecided):
            verdict = check_design(design, problem, seconds)
    orders = {
        number: orders_taken(design, problem, defect.counterexample)
        for number, defect in enumerate(verdict.defects if verdict else ())
        if defect.counterexample is not None
    }
    carried = amounts(design, problem.kit)
    told = tuple(
        replace(w, units=carried.get(w.target)) if w.units is None else w for w in design.wires
    )
    shown = Shown(option_of, input_of, verdict, orders, why or {}, showing_run(problem))
    return page_html(replace(design, wires=told), problem, shown), verdict


def pack(
    design: Design,
    problem: Problem,
    verdict: Verdict,
    *,
    night: int | None = None,
    store: Store | None = None,
    paper: str = "A4",
    most_steps: int = 200,
    seconds: float | None = None,
    goals: tuple[str | None, str | None] | None = None,
    reaction: int = 2_000,
) -> dict[str, str | bytes]:
    """Return the files of the hand-over pack of a design whose `verdict` holds, by their names.

    `night` is its length in ticks (None: 14 h, or as near to it as the goals allow), `most_steps`
    about how long the test sheet may get. `goals` is
    where they came from, (file, text); without it there are no test times and no reasons in the
    page. `reaction` is what test times are long for, in ticks: of the slowest part, and of whoever
    tests. Drawings are also put into one PDF where the library for it is installed. Raises
    DesignError for a design that does not hold, GoalError for a flow of what is no load, Undecided
    when `seconds` or states run out.
    """
    if not verdict.holds:
        raise DesignError("a design that does not hold is not handed over")
    from synth.handover import Store
    from synth.report.pack import pack_files

    store = store or Store()
    loads = [r.load for r in problem.requirements]
    for load, _ in store.flows:
        if load not in loads:
            raise GoalError(
                f"a flow is stated for '{load}', which is no load (loads: {', '.join(loads)})"
            )
    if night is None:
        night = _usual_night(problem)
    _refuse_other_nights(problem, night)
    job = hand_over_job(design, problem, verdict, night, most_steps, seconds)
    from synth.handover import pack_sheets, step_cases

    why: Mapping[str, Sequence[str]] = {}
    within = min(REASONS_SECONDS, seconds or REASONS_SECONDS)
    if goals is not None:
        from synth.pipeline.telling import without_parts

        bench_run, without = _bench_run(design, problem, goals, reaction, most_steps, within)
        if bench_run is not None and bench_run.tour.end >= job.facts.tour.end:
            bench_run, without = None, "with those that were found the test is no shorter"
        job = replace(job, bench=bench_run, bench_why=without)
        why = without_parts(design, problem, *goals, within)
    page, _ = running_page(design, problem, within, why, verdict)
    sheets = pack_sheets(job, store)
    return pack_files(
        sheets,
        step_cases(job),
        job.design,
        problem,
        job.facts.trace,
        job.node_of,
        paper,
        job.key,
        page,
    )


def _usual_night(problem: Problem) -> int:
    """Return the night of a budget for which none is stated, in ticks: that of a goal about
    energy where there is one, so that both speak of the same days."""
    from synth.days import usual_night

    return problem.energy.nights[0] if problem.energy else usual_night(problem.inputs)


def _refuse_other_nights(problem: Problem, night: int) -> None:
    """Raise GoalError where what is known of the night leaves no room for one of `night` ticks in
    a day of 24 h."""
    from synth.days import DAY
    from synth.problem import InputKind
    from synth.ticks import format_duration

    day = DAY - night
    for item in problem.inputs:
        if item.kind is InputKind.NIGHT:
            for what, time, least, most in (
                ("night", night, item.least_on, item.most_on),
                ("day", day, item.least_off, item.most_off),
            ):
                bound = (
                    f"at least {format_duration(least)}" if least is not None and time < least
                    else f"at most {format_duration(most)}" if most is not None and time > most
                    else ""
                )  # fmt: skip
                if bound:
                    raise GoalError(
                        f"the budget is for a {what} of {format_duration(time)}, but the goals "
                        f"know that it lasts {bound}",
                        hint="state another with --night",
                    )


REASONS_SECONDS = 60.0
"""Time for what the page tells of each part, and for test times; what is not found is left out."""


def _bench_run(
    design: Design,
    problem: Problem,
    goals: tuple[str | None, str | None],
    reaction: int,
    most_steps: int,
    seconds: float,
) -> tuple[BenchRun | None, str]:
    """Return test times with the test by hand that goes with them, None where none are proven; and
    why there are none."""
    from synth.check.modes import mode_graphs
    from synth.check.tour import tour_of
    from synth.handover import BenchRun
    from synth.pipeline.telling import bench, bench_wishes
    from synth.pose import pose
    from synth.settings_sheet import Claim

    wishes = bench_wishes(reaction, Fraction(5), None, seconds, False)
    try:
        found, _ = bench(design, problem, *goals, wishes)
        claim = found.sheet.claim
        if claim in (Claim.REAL, Claim.NO_TIMES):
            return None, "no shorter times are known that keep every goal and the order of events"
        if claim is Claim.BEST_FOUND:
            # They would hang on the time there was, and differ from run to run.
            return None, (
                "shorter times were found, but not proven to be the least within the time, and a "
                "pack holds none that the next run may find other; synth bench gives them"
            )
        asked = pose(found.goals, problem.kit)
        graphs = mode_graphs(found.design, asked, time.monotonic() + seconds)
        tour = tour_of(found.design, asked, graphs, most_steps)
        return BenchRun(found.sheet, graphs, tour), ""
    except Undecided:
        return None, f"none could be proven within {seconds:g} s; synth bench takes more time"


def store(
    unit_hours: Fraction | None,
    watts: Fraction | None,
    flows: tuple[tuple[str, Fraction], ...],
    tank: Fraction | None,
) -> Store:
    """Return what a budget is reckoned with (None: not stated)."""
    from synth.handover import Store

    return Store(unit_hours, watts, flows, tank)


def hand_over_job(
    design: Design,
    problem: Problem,
    verdict: Verdict,
    night: int,
    most_steps: int,
    seconds: float | None = None,
) -> Job:
    """Return all facts from which a hand-over pack is made (see `pack`)."""
    import hashlib
    import json

    from synth import __version__
    from synth.check import amounts
    from synth.check.day import held_days, needs_of
    from synth.check.faulty import trials_of
    from synth.check.modes import mode_graphs
    from synth.check.showing import showing
    from synth.check.tour import tour_of, ways_to_consumers
    from synth.design import design_document
    from synth.handover import Job
    from synth.modes import Facts
    from synth.report.current_paths import paths_of
    from synth.report.symbols import designations, load_kind

    carried = amounts(design, problem.kit)
    design = replace(
        design,
        wires=tuple(
            replace(w, units=carried.get(w.target)) if w.units is None else w for w in design.wires
        ),
    )
    deadline = None if seconds is None else time.monotonic() + seconds
    graphs = mode_graphs(design, problem, deadline)
    needs = needs_of(design, problem, graphs)
    facts = Facts(
        graphs,
        tour_of(design, problem, graphs, most_steps),
        ways_to_consumers(design, problem, graphs, needs),
        held_days(design, problem, graphs, needs, night),
        needs,
        showing(design, problem),
        verdict.states,
        night,
    )
    mark = hashlib.sha256(json.dumps(design_document(design)).encode()).hexdigest()[:12]
    kinds = {part.name: load_kind(part.name) for part in design.parts}
    paths = paths_of(design, problem.kit).count
    trials = trials_of(design, problem, graphs)
    return Job(
        design, problem, facts, designations(design), kinds, paths, __version__, mark,
        trials=trials, instants=verdict.instants,
    )  # fmt: skip
