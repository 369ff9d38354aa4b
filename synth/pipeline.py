"""The house's corridor: the only module that joins rooms."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from synth.check import check, simulate
from synth.design import Design, Skeleton
from synth.errors import DesignError, GoalError, OutputError
from synth.pose import pose
from synth.problem import Problem
from synth.read.design_file import named_kit, parse_design
from synth.read.goal_file import goals_from_text, load_goal_file
from synth.read.kit_file import bundled_kits, load_kit
from synth.read.yaml_source import read_text
from synth.result import Fault, Outcome, Status, Verdict
from synth.trace import Moment

DEFAULT_KIT = "starter"
KIT_BY_DEFAULT = "the kit is "
"""How a goal list says that it names no kit of its own."""


def read_problem(file: str | None, text: str | None, kit: str | None) -> Problem:
    """Return the problem that a goal file or a list of phrases asks.

    `kit` (a bundled name or a file) wins over the kit that the goal file names. Raises GoalError
    or KitError.
    """
    if (file is None) == (text is None):
        both = "both a goal file and --goals are given; " if file is not None else ""
        raise GoalError(
            f"{both}say the goals either in a goal file or with --goals",
            hint='for example: synth plan --goals "pump on 10 s of every 60 s, light always"',
        )
    goal_list = load_goal_file(file) if file is not None else goals_from_text(text or "")
    if kit is not None:
        told = tuple(line for line in goal_list.defaults if not line.startswith(KIT_BY_DEFAULT))
        goal_list = replace(goal_list, kit=kit, defaults=told)
    chosen = load_kit(kit or goal_list.kit or DEFAULT_KIT)
    problem = pose(goal_list, chosen)
    if not problem.requirements:
        raise GoalError(
            "the goals ask for no load to be on at any time",
            hint="say what a load is to do, for example: light always",
        )
    return problem


def plan(
    problem: Problem,
    report: Callable[[str, int | None, int | None], None] | None = None,
    seconds: float = 60.0,
    seed: int = 1,
    stopped: Callable[[], bool] | None = None,
    fast: bool = False,
) -> Outcome:
    """Return the cheapest design for `problem`, checked, with what is proven about it.

    `report` is told (stage, price, bound) as they improve; after `seconds`, or when `stopped`
    says so, the best so far is returned, honestly labelled. `fast`: the optional solver for plain
    clauses answers what it can, where it is installed.
    """
    from synth.search import Progress, Tools, solve_whole
    from synth.share import fan_out_price, share_power

    began = time.monotonic()
    progress = Progress(deadline=began + seconds)
    if report is not None:
        progress.report = report
    if stopped is not None:
        progress.asked_to_stop = stopped
    spent = {"check": 0.0, "share": 0.0}

    def timed_check(design: Design, asked: Problem) -> Verdict:
        start = time.monotonic()
        try:
            return check(design, asked, stop_at_first=True, deadline=start + max(30.0, seconds))
        finally:
            spent["check"] += time.monotonic() - start

    def timed_share(skeleton: Skeleton, asked: Problem) -> Design | None:
        start = time.monotonic()
        try:
            return share_power(skeleton, asked.kit, asked.objectives, asked.limits)
        finally:
            spent["share"] += time.monotonic() - start

    def instants(
        design: Design, asked: Problem, moments: Sequence[Moment], end: Fraction
    ) -> Sequence[Fraction]:
        run = simulate(design, asked, moments, end)
        return sorted({moment for track in run.tracks for moment, _ in track.changes})

    limits = dict(problem.limits.most)
    tools = Tools(
        timed_share,
        timed_check,
        instants,
        lambda consumers: fan_out_price(consumers, problem.kit, limits),
        fast,
    )
    outcome = solve_whole(problem, tools, progress, seed)
    total = time.monotonic() - began
    times = (*outcome.times, *spent.items(), ("total", total))
    return replace(outcome, times=times)


def fast_available() -> bool:
    """Return whether the optional solver for plain clauses is installed."""
    from importlib.util import find_spec

    return find_spec("pysat") is not None


def check_design(design: Design, problem: Problem, seconds: float | None = None) -> Verdict:
    """Return the verdict of the exact check on `design`."""
    deadline = None if seconds is None else time.monotonic() + seconds
    return check(design, problem, deadline=deadline)


def read_design(
    design_file: str, goal_file: str | None, text: str | None, kit: str | None
) -> tuple[Problem, Design]:
    """Return the problem and the design of a file, with the kit that the design names unless
    `kit` or the goal file names another. Raises DesignError, GoalError or KitError."""
    source = read_text(design_file, "design file", DesignError)
    problem = read_problem(goal_file, text, kit or _kit_named(source, design_file, goal_file))
    return problem, parse_design(source, design_file, problem.kit)


def _kit_named(source: str, design_file: str, goal_file: str | None) -> str | None:
    if goal_file is not None and not any(
        line.startswith(KIT_BY_DEFAULT) for line in load_goal_file(goal_file).defaults
    ):
        return None
    named = named_kit(source, design_file)
    return named if named in bundled_kits() else None


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


def write_folder(folder: str, files: dict[str, str]) -> None:
    """Write `files` (name to text) into `folder`, each whole or not at all.

    Raises OutputError when the folder cannot be made or written.
    """
    target = Path(folder)
    try:
        target.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            handle, temporary = tempfile.mkstemp(dir=target, prefix=".", suffix=".part")
            try:
                with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
                    stream.write(text)
                os.chmod(temporary, 0o644)
                os.replace(temporary, target / name)
            except BaseException:
                Path(temporary).unlink(missing_ok=True)
                raise
    except OSError as failure:
        raise OutputError(
            f"cannot write into '{folder}': {failure.strerror or failure}",
            hint="choose another folder with --out",
        ) from None


def drawings(design: Design, problem: Problem) -> dict[str, str]:
    """Return wiring.svg and timing.svg of a design, by file name."""
    from synth.check.showing import showing
    from synth.report.timing import timing_svg
    from synth.report.wiring import wiring_svg

    return {
        "wiring.svg": wiring_svg(design, problem.kit, problem.title),
        "timing.svg": timing_svg(showing(design, problem), problem.title),
    }


def exit_code(outcome: Outcome) -> int:
    """Return the exit code of a plan: 0 a checked design, 1 impossible, 3 undecided."""
    codes = {
        Status.PROVEN: 0,
        Status.BEST_FOUND: 0,
        Status.IMPOSSIBLE: 1,
        Status.UNDECIDED: 3,
    }
    return codes[outcome.status]
