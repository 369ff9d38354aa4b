"""The search put to work: plans, and the exact check by itself."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from synth.check import (
    check,
    check_with_instants,
    first_failure,
    not_looked_at,
    simulate,
    structure,
)
from synth.check.replay import orders_that_end
from synth.design import Design, Skeleton
from synth.errors import DesignError, Undecided
from synth.problem import Problem
from synth.result import Defect, Outcome, Status, Verdict
from synth.trace import Moment

if TYPE_CHECKING:
    from synth.days import DayUse
    from synth.memory import Memory
    from synth.reasons import Floor
    from synth.remedy import Remedies
    from synth.search import Tools

ONE_LARGE = 4
"""Units of the one large consumer of a net that is asked whether it splits without waste."""
MEND_SHARE = 0.35
"""Part of the time that is kept for a design without the wishes, to be mended, where there are any
and the search has proven nothing."""
MEND_LEAST = 15.0
"""Seconds of it at least, but never more than half of the time."""
REMEDY_SECONDS = 5.0
REMEDY_STATES = 20_000
"""Seconds that may go into what would put a design right, and states into each change of it."""
INSTANTS_SECONDS = 2.0
"""Seconds that may go into the check once more, for what loads may do for an instant, beside three
times as many as it took before."""
CHECK_LEAST = 10.0
"""Seconds that the check of a design may take, even beyond the end."""
WITHOUT = "without the wishes"
"""The stage in which a design without the wishes for how it is built is sought and mended."""
KNOWN = "known from earlier"
"""The stage in which what earlier runs proved is read."""


def plan(
    problem: Problem,
    report: Callable[[str, int | None, int | None], None] | None = None,
    seconds: float = 60.0,
    seed: int = 1,
    stopped: Callable[[], bool] | None = None,
    fast: bool = False,
    memory: Memory | None = None,
    gap: float | None = None,
) -> Outcome:
    """Return the cheapest design for `problem`, checked, with what is proven about it.

    `report` is told (stage, best, bound) as they improve, both of the first thing to minimise.
    After `seconds`, when `stopped` says so, or when the best is proven to be within `gap` percent
    of the bound, the best so far is returned, honestly labelled. `fast`: the optional solver for
    plain clauses answers what it can, where it is installed. `memory`: what is proven is kept
    there, and what was proven before is recalled and checked again; without one nothing is.
    """
    if problem.contradictions:
        return Outcome(Status.IMPOSSIBLE, clash=problem.contradictions)
    began = time.monotonic()
    spent = {"check": 0.0, "share": 0.0}
    tools = _tools(problem, spent, seconds, fast, memory)

    def timed(outcome: Outcome) -> Outcome:
        verdict = outcome.verdict
        if outcome.design is not None and verdict is not None:
            verdict = _with_instants(outcome.design, problem, verdict)
        recalled = {KNOWN: memory.seconds} if memory is not None and memory.known else {}
        total = time.monotonic() - began
        stages = (*outcome.times, *recalled.items(), *spent.items(), ("total", total))
        return replace(outcome, times=stages, verdict=verdict)

    least: list[DayUse] = []
    if problem.energy is not None:
        tools = replace(tools, check=_watched(tools.check, problem, least))
    also = (seed, int(fast))
    if memory is not None:
        from synth.memory import keep_plan, known_plan

        known = known_plan(memory, problem, also, tools.check, seconds)
        if known is not None:
            return timed(known)

    from synth.explore import wished
    from synth.search import Progress, solve_whole

    mending = wished(problem)
    kept = min(max(MEND_SHARE * seconds, MEND_LEAST), seconds / 2) if mending else 0.0
    progress = Progress(deadline=began + seconds - kept, gap=gap)
    if report is not None:
        progress.show = report
    if stopped is not None:
        progress.asked_to_stop = stopped

    outcome = solve_whole(problem, tools, progress, seed)
    if outcome.ending is not None:
        outcome = replace(outcome, ending=replace(outcome.ending, seconds=seconds))
    if memory is not None and (progress.beyond() or not progress.over()):
        keep_plan(memory, problem, also, outcome, seconds)
    open_ones = (Status.UNDECIDED, Status.BEST_FOUND)
    enough = gap is not None and outcome.design is not None
    if mending and outcome.status in open_ones and not enough and not progress.asked_to_stop():
        left = began + seconds - time.monotonic()
        outcome = _mended(problem, outcome, tools, left, seed, stopped, fast, memory)
    if least and outcome.design is None:
        outcome = replace(outcome, least_energy=least[0])
    return timed(outcome)


def _with_instants(design: Design, problem: Problem, verdict: Verdict) -> Verdict:
    """Return `verdict` with notes on what loads may do for an instant, or that it is not known."""
    try:
        return check_design(design, problem, INSTANTS_SECONDS + 3 * verdict.seconds)
    except Undecided:
        return replace(verdict, notes=(*verdict.notes, *not_looked_at(design, problem)))


Check = Callable[[Design, Problem], Verdict | None]


def _watched(judged: Check, problem: Problem, least: list[DayUse]) -> Check:
    """Return `judged`, which also keeps in `least` the worst day of the design of the whole that
    uses least of all that fail for their energy alone."""
    loads = {r.load for r in problem.requirements}

    def check_it(design: Design, asked: Problem) -> Verdict | None:
        verdict = judged(design, asked)
        for defect in verdict.defects if verdict is not None else ():
            if defect.use is None or {r.load for r in asked.requirements} != loads:
                continue
            if not least or defect.use.total < least[0].total:
                least[:] = [defect.use]
        return verdict

    return check_it


def _mended(
    problem: Problem,
    outcome: Outcome,
    tools: Tools,
    seconds: float,
    seed: int,
    stopped: Callable[[], bool] | None,
    fast: bool,
    memory: Memory | None,
) -> Outcome:
    """Return `outcome`, in which nothing was proven in time, or a better one: a design for the
    problem without its wishes, mended until it keeps them, and checked.

    What is proven of the price without the wishes is proven with them.
    """
    from synth.explore import mended, without_wishes
    from synth.search.basics import design_key

    plain = plan(without_wishes(problem), None, seconds, seed, stopped, fast, memory)
    if plain.status is Status.IMPOSSIBLE:
        return replace(plain, times=outcome.times)
    bound = max((b for b in (outcome.bound, plain.bound) if b is not None), default=None)
    spent = sum(t for stage, t in plain.times if stage == "total")
    outcome = replace(outcome, bound=bound, times=(*outcome.times, (WITHOUT, spent)))
    for skeleton in () if plain.design is None else mended(plain.design, problem):
        design = tools.share(skeleton, problem)
        if design is None:
            continue
        verdict = tools.check(design, problem)
        if verdict is None or not verdict.holds:
            continue
        key = design_key(design, problem)
        if outcome.design is None or key < design_key(outcome.design, problem):
            stock = problem.limits.stock
            outcome = replace(
                outcome,
                status=Status.BEST_FOUND,
                design=design,
                price=design.price(problem.kit),
                supply=design.supply,
                verdict=verdict,
                to_buy=design.price(problem.kit, stock) if stock else None,
            )
        break
    if outcome.design is None or bound is None:
        return outcome
    if design_key(outcome.design, problem)[0] > bound:
        return outcome
    proven = (problem.objectives[0].value,)
    return replace(outcome, status=Status.PROVEN, proven=proven, ending=None)


def _tools(
    problem: Problem, spent: dict[str, float], seconds: float, fast: bool, memory: Memory | None
) -> Tools:
    """Return what the search needs of other rooms; `spent` is told the seconds of two of them."""
    from synth.search import Tools
    from synth.share import fan_out_price, share_power, split_front

    end = time.monotonic() + seconds

    def timed_check(design: Design, asked: Problem) -> Verdict | None:
        start = time.monotonic()
        try:
            # What is found at the last moment is worth some seconds more.
            return check(design, asked, stop_at_first=True, deadline=max(end, start + CHECK_LEAST))
        except Undecided:
            return None
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
        # Also what no track shows: a timer that starts itself again as its time is up.
        return simulate(design, asked, moments, end).instants

    def wastes(consumers: int, uneven: bool) -> bool:
        needs = (ONE_LARGE if uneven else 1, *((1,) * (consumers - 1)))
        splits = split_front(needs, problem.kit, limits)
        return bool(splits) and splits[0].units > sum(needs)

    limits = dict(problem.limits.most)
    return Tools(
        timed_share,
        timed_check,
        instants,
        lambda consumers: fan_out_price(consumers, problem.kit, limits),
        wastes,
        fast,
        memory,
        orders_that_end,
    )


def open_memory() -> Memory | None:
    """Return the memory of earlier runs in the user's cache folder, None where there is none."""
    from synth.memory import open_memory

    return open_memory()


def fast_available() -> bool:
    """Return whether the optional solver for plain clauses is installed."""
    from importlib.util import find_spec

    return find_spec("pysat") is not None


def check_design(design: Design, problem: Problem, seconds: float | None = None) -> Verdict:
    """Return the verdict of the exact check on `design`, with what loads may do for an instant."""
    deadline = None if seconds is None else time.monotonic() + seconds
    return check_with_instants(design, problem, deadline)


def remedies(
    design: Design, problem: Problem, verdict: Verdict, seconds: float = REMEDY_SECONDS
) -> Remedies:
    """Return small changes after which `design` holds, of which `verdict` says that it does not."""
    from synth.explore import remedies

    deadline = time.monotonic() + seconds

    def judge(changed: Design, loads: Sequence[str]) -> tuple[Defect, ...] | None:
        try:
            failing = [
                first_failure(
                    changed, problem, load, deadline=deadline, most_states=REMEDY_STATES
                )
                for load in loads
            ]
            known = tuple(defect for defect in failing if defect is not None)
            return known or check(
                changed, problem, deadline=deadline, most_states=REMEDY_STATES
            ).defects
        except (DesignError, Undecided):
            return None

    return remedies(
        design,
        verdict.defects,
        problem,
        lambda changed: structure(changed, problem.kit, problem),
        judge,
        lambda: time.monotonic() >= deadline,
    )


def holds(design: Design, problem: Problem, seconds: float) -> bool:
    """Return whether a design is known to hold, within so many seconds."""
    try:
        return check(design, problem, stop_at_first=True, deadline=time.monotonic() + seconds).holds
    except (DesignError, Undecided):
        return False


def least_price(problem: Problem, below: int | None, seconds: float = 3.0) -> Floor:
    """Return what bounds alone prove about the price of any circuit, see `synth.search.least`;
    the lists of parts that they leave under `below` coins are counted for `seconds` at most."""
    from synth.search import Progress
    from synth.search.least import least_price
    from synth.share import fan_out_price

    limits = dict(problem.limits.most)
    progress = Progress(deadline=time.monotonic() + seconds)
    return least_price(
        problem, lambda consumers: fan_out_price(consumers, problem.kit, limits), progress, below
    )


def exit_code(outcome: Outcome) -> int:
    """Return the exit code of a plan: 0 a checked design, 1 impossible, 3 undecided."""
    codes = {
        Status.PROVEN: 0,
        Status.BEST_FOUND: 0,
        Status.IMPOSSIBLE: 1,
        Status.UNDECIDED: 3,
    }
    return codes[outcome.status]
