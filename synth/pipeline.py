"""The house's corridor: the only module that joins rooms."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from synth.check import check, simulate
from synth.design import Design, Skeleton
from synth.errors import DesignError, GoalError, KitError, OutputError, Undecided
from synth.pose import pose
from synth.problem import Problem
from synth.read.design_file import named_kit, parse_design
from synth.read.goal_file import goals_from_text, load_goal_file, parse_goal_file
from synth.read.kit_file import bundled_kits, load_kit
from synth.read.yaml_source import read_text
from synth.result import Fault, Outcome, Status, Verdict
from synth.trace import Moment

if TYPE_CHECKING:
    from synth.handover import Job, Store
    from synth.bench import BenchTest, Wishes
    from synth.choices import Choices
    from synth.conflict import Conflict
    from synth.memory import Memory
    from synth.reasons import Floor, Reasons
    from synth.search import Tools

DEFAULT_KIT = "starter"
ONE_LARGE = 4
"""Units of the one large consumer of a net that is asked whether it splits without waste."""
KIT_BY_DEFAULT = "the kit is "
"""How a goal list says that it names no kit of its own."""
KNOWN = "known from earlier"
"""The stage in which what earlier runs proved is read."""


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
    began = time.monotonic()
    spent = {"check": 0.0, "share": 0.0}
    tools = _tools(problem, spent, seconds, fast, memory)

    def timed(outcome: Outcome) -> Outcome:
        recalled = {KNOWN: memory.seconds} if memory is not None and memory.known else {}
        total = time.monotonic() - began
        stages = (*outcome.times, *recalled.items(), *spent.items(), ("total", total))
        return replace(outcome, times=stages)

    also = (seed, int(fast))
    if memory is not None:
        from synth.memory import keep_plan, known_plan

        known = known_plan(memory, problem, also, tools.check, seconds)
        if known is not None:
            return timed(known)

    from synth.search import Progress, solve_whole

    progress = Progress(deadline=began + seconds, gap=gap)
    if report is not None:
        progress.show = report
    if stopped is not None:
        progress.asked_to_stop = stopped

    outcome = solve_whole(problem, tools, progress, seed)
    if memory is not None and not progress.over():
        keep_plan(memory, problem, also, outcome, seconds)
    return timed(outcome)


def _tools(
    problem: Problem, spent: dict[str, float], seconds: float, fast: bool, memory: Memory | None
) -> Tools:
    """Return what the search needs of other rooms; `spent` is told the seconds of two of them."""
    from synth.search import Tools
    from synth.share import fan_out_price, share_power, split_front

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
    )


def options(
    problem: Problem,
    seconds: float = 60.0,
    designs: int = 0,
    point: int = 1,
    seed: int = 1,
    fast: bool = False,
    memory: Memory | None = None,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
) -> tuple[Choices, Outcome]:
    """Return the front of price, power and parts, and the outcome of planning by price.

    With `designs`, up to so many really different designs for the choice number `point` (from 1)
    as well. Raises GoalError when there is no choice of that number.
    """
    from synth.explore import front_of

    def planned(asked: Problem, within: float) -> Outcome:
        return plan(asked, None, within, seed, stopped, fast, memory)

    began = time.monotonic()
    share = 0.5 if designs else 1.0
    choices, outcome = front_of(problem, planned, share * seconds, report, stopped)
    if not designs or not choices.front:
        return choices, outcome
    if point > len(choices.front):
        raise GoalError(
            f"there is no choice {point}",
            hint=f"the front has {len(choices.front)}; say --point 1 to {len(choices.front)}",
        )
    report("different designs")
    left = began + seconds - time.monotonic()
    return _different(problem, choices, point, designs, left, seed, fast, stopped), outcome


def clash(
    file: str | None,
    text: str | None,
    problem: Problem,
    seconds: float = 60.0,
    seed: int = 1,
    fast: bool = False,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
) -> Conflict:
    """Return why the goals of a file or text, posed as `problem`, cannot be had together."""
    from synth.explore import clash_of
    from synth.pose.without import only

    goal_list = load_goal_file(file) if file is not None else goals_from_text(text or "")

    def posed(kept: frozenset[int]) -> Problem | None:
        try:
            return pose(only(goal_list, kept), problem.kit)
        except GoalError:
            return None

    def planned(asked: Problem, within: float) -> Outcome:
        # Any design will do: whatever it costs, it is within 100 % of the bound.
        return plan(asked, None, within, seed, stopped, fast, None, 100.0)

    return clash_of(problem, posed, planned, seconds, report, stopped)


def _different(
    problem: Problem,
    choices: Choices,
    point: int,
    designs: int,
    seconds: float,
    seed: int,
    fast: bool,
    stopped: Callable[[], bool],
) -> Choices:
    """Return `choices` with really different designs for one of them."""
    from synth.choices import Choice, parts_counted
    from synth.explore import Different, telling
    from synth.search import Others, Progress

    chosen = choices.front[point - 1]
    progress = Progress(deadline=time.monotonic() + seconds)
    progress.asked_to_stop = stopped
    tools = _tools(problem, {"check": 0.0, "share": 0.0}, seconds, fast, None)
    others = Others(problem, chosen.price, chosen.supply, tools, progress, seed)
    seen, found = Different(), list[Choice]()
    for working in others:
        design = working.design
        if not seen.add(working.skeleton):
            continue
        differs = telling(design, found[0].design, problem.kit) if found else ""
        price, parts = design.price(problem.kit), parts_counted(design)
        found.append(
            Choice(design, price, design.supply, parts, (), working.verdict.states, differs)
        )
        if len(found) == designs:
            break
    return replace(choices, designs=tuple(found), chosen=point, all_designs=others.complete)


def open_memory() -> Memory | None:
    """Return the memory of earlier runs in the user's cache folder, None where there is none."""
    from synth.memory import open_memory

    return open_memory()


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


def goals_left_out(goal_file: str | None, text: str | None, problem: Problem) -> dict[int, Problem]:
    """Return, by its number, the problem without each goal; goals without which the rest cannot
    be asked (nothing is left for a load, a name is not known any more) are missing."""
    from synth.pose.without import without

    goal_list = load_goal_file(goal_file) if goal_file is not None else goals_from_text(text or "")
    found = {}
    for goal in goal_list.goals:
        try:
            found[goal.number] = pose(without(goal_list, goal), problem.kit)
        except GoalError:
            continue
    return found


def explain_design(
    design: Design,
    problem: Problem,
    fewer: dict[int, Problem],
    only: str | None = None,
    seconds: float = 60.0,
    report: Callable[[int, int], None] | None = None,
    stopped: Callable[[], bool] | None = None,
) -> Reasons:
    """Return why each part of a design that holds is there (`only`: one part), see
    `synth.explain`; `fewer` is what `goals_left_out` returns."""
    from synth.check import amounts, first_failure
    from synth.check.witness import when_in_words
    from synth.explain import Judge, explain

    judge = Judge(
        lambda changed, asked, of, until: first_failure(changed, asked, of, deadline=until),
        amounts,
        simulate,
        when_in_words,
    )
    return explain(
        design,
        problem,
        judge,
        fewer,
        only=only,
        seconds=seconds,
        report=report or (lambda done, of: None),
        stopped=stopped or (lambda: False),
    )


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


def bench_wishes(
    reaction: int, factor: Fraction, longest: int | None, seconds: float, apart: bool
) -> Wishes:
    """Return what is wanted of test times: `reaction` and `longest` in ticks."""
    from synth.bench import Wishes

    return Wishes(reaction, factor, longest, seconds, apart)


def bench(
    design: Design,
    problem: Problem,
    goal_file: str | None,
    text: str | None,
    wishes: Wishes,
) -> tuple[BenchTest, dict[str, str]]:
    """Return the test times of a design that holds, and the files of the bench test by name."""
    from synth.bench import Tools, bench_test, goals_page
    from synth.check.order import Events
    from synth.design import design_document
    from synth.read.retiming import retimed_phrase
    from synth.report.document import to_json
    from synth.report.settings_page import sheet_csv, sheet_page

    goal_list = load_goal_file(goal_file) if goal_file is not None else goals_from_text(text or "")

    def written(timed: Design) -> str:
        return to_json(design_document(timed))

    tools = Tools(
        order=lambda real, asked, deadline: Events(
            real, asked, deadline=deadline, apart=wishes.apart
        ),
        check=lambda timed, asked: check_design(timed, asked, max(30.0, wishes.seconds)),
        reread=lambda timed, asked: parse_design(written(timed), "bench-design.json", asked.kit),
        read_goals=lambda page: parse_goal_file(page, "bench-goals.yaml"),
        pose=lambda goals: pose(goals, problem.kit),
        rephrase=retimed_phrase,
    )
    found = bench_test(design, goal_list, problem, tools, wishes)
    files = {"bench-design.json": written(found.design)}
    word = problem.kit.name
    if word not in bundled_kits() or problem.kit != load_kit(word):
        files["kit.yaml"] = read_text(problem.kit.file, "kit file", KitError)
        word = "kit.yaml"
    files["bench-goals.yaml"] = goals_page(found.goals, word)
    files["settings.csv"] = sheet_csv(found.sheet)
    files["settings.md"] = sheet_page(found.sheet)
    return found, files


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
    """Write `files` (name to text or bytes) into `folder`, each whole or not at all.

    Raises OutputError when the folder cannot be made or written.
    """
    target = Path(folder)
    try:
        target.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            data = content if isinstance(content, bytes) else content.encode("utf-8")
            handle, temporary = tempfile.mkstemp(dir=target, prefix=".", suffix=".part")
            try:
                with os.fdopen(handle, "wb") as stream:
                    stream.write(data)
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


def running_page(
    design: Design,
    problem: Problem,
    seconds: float,
    why: Mapping[str, Sequence[str]] | None = None,
) -> tuple[str, Verdict | None]:
    """Return the page in which `design` runs, and its verdict (None: undecided within `seconds`).

    `why`: what happens without a part, by its name. Raises DesignError for a design that cannot
    be run at all.
    """
    from synth.check import amounts
    from synth.check.circuit import input_of, option_of
    from synth.check.replay import orders_taken
    from synth.report.page.data import Shown
    from synth.report.page.page import page_html

    simulate(design, problem, (), 0)
    verdict: Verdict | None = None
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
    shown = Shown(option_of, input_of, verdict, orders, why or {})
    return page_html(replace(design, wires=told), problem, shown), verdict


def pack(
    design: Design,
    problem: Problem,
    verdict: Verdict,
    *,
    night: int = 50_400_000,
    store: Store | None = None,
    paper: str = "A4",
    most_steps: int = 200,
    seconds: float | None = None,
) -> dict[str, str | bytes]:
    """Return the files of the hand-over pack of a design whose `verdict` holds, by their names.

    `night` is its length in ticks, `most_steps` about how long the test sheet may get. Drawings
    are also put into one PDF where the library for it is installed. Raises DesignError for a
    design that does not hold, GoalError for a flow of what is no load, Undecided when `seconds`
    or states run out.
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
    job = hand_over_job(design, problem, verdict, night, most_steps, seconds)
    from synth.handover import pack_sheets, step_cases

    sheets = pack_sheets(job, store)
    return pack_files(sheets, step_cases(job), job.design, problem, job.facts.trace,
                      job.node_of, paper, job.key)


def store(
    unit_hours: Fraction | None, watts: Fraction | None, flows: tuple[tuple[str, Fraction], ...],
    tank: Fraction | None,
) -> Store:
    """Return what a budget is reckoned with (None: not stated)."""
    from synth.handover import Store

    return Store(unit_hours, watts, flows, tank)


def hand_over_job(
    design: Design, problem: Problem, verdict: Verdict, night: int, most_steps: int,
    seconds: float | None = None,
) -> Job:
    """Return all facts from which a hand-over pack is made (see `pack`)."""
    import hashlib
    import json

    from synth import __version__
    from synth.check import amounts
    from synth.check.day import held_days, needs_of
    from synth.check.modes import mode_graphs
    from synth.check.showing import showing
    from synth.check.tour import tour_of, ways_to_consumers
    from synth.design import design_document
    from synth.handover import Job
    from synth.modes import Facts
    from synth.report.current_paths import designations
    from synth.report.symbols import load_kind

    carried = amounts(design, problem.kit)
    design = replace(design, wires=tuple(
        replace(w, units=carried.get(w.target)) if w.units is None else w for w in design.wires
    ))
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
    return Job(design, problem, facts, designations(design), kinds, __version__, mark)


def clash_code(conflict: Conflict) -> int:
    """Return the exit code of a clash: 0 none, 1 there is one, 3 undecided."""
    if conflict.status is Status.IMPOSSIBLE:
        return 1
    return 3 if conflict.status is Status.UNDECIDED else 0


def exit_code(outcome: Outcome) -> int:
    """Return the exit code of a plan: 0 a checked design, 1 impossible, 3 undecided."""
    codes = {
        Status.PROVEN: 0,
        Status.BEST_FOUND: 0,
        Status.IMPOSSIBLE: 1,
        Status.UNDECIDED: 3,
    }
    return codes[outcome.status]
