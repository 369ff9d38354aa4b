"""Why, test times, lessons."""

from __future__ import annotations

import time
from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING

from synth.check import check, simulate
from synth.design import Design
from synth.errors import KitError
from synth.pipeline.asking import _posed_alone, goals_left_out
from synth.pipeline.planning import check_design, plan
from synth.pose import pose
from synth.problem import Objective, Problem
from synth.read.design_file import parse_design
from synth.read.goal_file import goals_from_text, load_goal_file, parse_goal_file
from synth.read.kit_file import bundled_kits, load_kit
from synth.read.yaml_source import read_text

if TYPE_CHECKING:
    from synth.bench import BenchTest, Wishes
    from synth.bench import Tools as BenchTools
    from synth.lesson import Lesson
    from synth.memory import Memory
    from synth.reasons import Reasons, SolvedAlone


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
    from synth.check.wishes import wishes
    from synth.check.witness import when_in_words
    from synth.explain import Judge, explain

    judge = Judge(
        lambda changed, asked, of, until: first_failure(changed, asked, of, deadline=until),
        amounts,
        simulate,
        when_in_words,
        wishes,
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


def solved_alone(
    problem: Problem,
    seconds: float,
    memory: Memory | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> tuple[SolvedAlone, ...]:
    """Return what some loads of a problem cost by themselves, where that was proven in time:
    circuits that share no input, else each load with those it follows."""
    from synth.explain.alone import groups, parts_in_words
    from synth.reasons import SolvedAlone
    from synth.search.apart import only, separate

    pieces = separate(problem) if problem.objectives[0] is Objective.PRICE else []
    if len(pieces) == 1:
        pieces = [only(problem, loads) for loads in groups(problem)]
    began = time.monotonic()
    found = []
    for at, piece in enumerate(pieces):
        within = (began + seconds - time.monotonic()) / (len(pieces) - at)
        if stopped() or within < 0.1:
            break
        outcome = plan(piece, None, within, stopped=stopped, memory=memory)
        if outcome.design is None or outcome.price is None or "price" not in outcome.proven:
            continue
        numbers = sorted({goal for r in piece.requirements for goal in r.goals})
        loads = tuple(r.load for r in piece.requirements)
        parts = parts_in_words(outcome.design, problem.kit)
        found.append(SolvedAlone(loads, tuple(numbers), outcome.price, parts))
    return tuple(found)


def without_parts(
    design: Design, problem: Problem, file: str | None, text: str | None, seconds: float
) -> dict[str, tuple[str, ...]]:
    """Return, by the name of each part of a design that holds, what happens without it or with it
    bridged, in sentences."""
    from synth.reasons import Change

    fewer = goals_left_out(file, text, problem)
    reasons = explain_design(design, problem, fewer, seconds=seconds)
    return {
        each.part.name: tuple(
            answer.sentence
            for answer in each.answers
            if answer.change in (Change.LEFT_OUT, Change.BRIDGED) and answer.decided
        )
        for each in reasons.parts
    }


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
    from synth.bench import bench_test, goals_page
    from synth.design import design_document
    from synth.report.document import to_json
    from synth.report.settings_page import sheet_csv, sheet_page

    goal_list = load_goal_file(goal_file) if goal_file is not None else goals_from_text(text or "")
    found = bench_test(design, goal_list, problem, _bench_tools(problem, wishes), wishes)
    files = {"bench-design.json": to_json(design_document(found.design))}
    word = problem.kit.name
    if word not in bundled_kits() or problem.kit != load_kit(word):
        files["kit.yaml"] = read_text(problem.kit.file, "kit file", KitError)
        word = "kit.yaml"
    files["bench-goals.yaml"] = goals_page(found.goals, word)
    files["settings.csv"] = sheet_csv(found.sheet)
    files["settings.md"] = sheet_page(found.sheet)
    return found, files


def _bench_tools(problem: Problem, wishes: Wishes) -> BenchTools:
    """Return what a bench test needs of other rooms."""
    from synth.bench import Tools
    from synth.check.order import Events
    from synth.design import design_document
    from synth.read.retiming import retimed_phrase
    from synth.report.document import to_json

    def written(timed: Design) -> str:
        return to_json(design_document(timed))

    return Tools(
        order=lambda real, asked, deadline: Events(
            real, asked, deadline=deadline, apart=wishes.apart
        ),
        check=lambda timed, asked: check_design(timed, asked, max(30.0, wishes.seconds)),
        reread=lambda timed, asked: parse_design(written(timed), "bench-design.json", asked.kit),
        read_goals=lambda page: parse_goal_file(page, "bench-goals.yaml"),
        pose=lambda goals: pose(goals, problem.kit),
        rephrase=retimed_phrase,
    )


def lesson(
    file: str | None,
    text: str | None,
    problem: Problem,
    seconds: float = 60.0,
    seed: int = 1,
    fast: bool = False,
    memory: Memory | None = None,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
) -> Lesson:
    """Return the lesson that builds up a circuit for the goals of a file or text, posed as
    `problem`, goal by goal; planning may take about `seconds` in all."""
    from synth.bench import bench_test
    from synth.check import amounts, first_failure
    from synth.check.showing import showing_run
    from synth.check.wishes import wishes as unkept
    from synth.check.witness import change_in_words
    from synth.explain.blame import required
    from synth.explain.reasons import needs
    from synth.explain.removals import bare, pruned
    from synth.explain.wishes import wishes_alone
    from synth.pose.without import only
    from synth.share import share_power
    from synth.teach import TEST_REACTION, TEST_SECONDS, Facts, Tools, Trial, lesson_of

    goal_list = load_goal_file(file) if file is not None else goals_from_text(text or "")
    wishes = bench_wishes(TEST_REACTION, Fraction(5), None, TEST_SECONDS, False)
    trial = Trial(
        lambda d, asked, of, until, n: first_failure(d, asked, of, deadline=until, most_states=n),
        lambda skeleton, asked: share_power(skeleton, asked.kit, asked.objectives, asked.limits),
        lambda design, asked, until: check(design, asked, deadline=until),
        bare, pruned, simulate, required, showing_run,
    )  # fmt: skip

    def lacking(design: Design, asked: Problem) -> list[str]:
        carried = amounts(design, asked.kit)
        return [str(end) for end, need in needs(design, asked) if carried.get(end, 0) < need]

    tools = Tools(
        _posed_alone(goal_list, problem),
        lambda asked, within: plan(asked, None, within, seed, stopped, fast, memory),
        lambda design, numbers, asked: (
            bench_test(
                design, only(goal_list, numbers), asked, _bench_tools(asked, wishes), wishes
            ).sheet
        ),
        Facts(change_in_words, trial),
        wishes_alone,
        lambda design, asked: unkept(design, asked, lambda other: lacking(other, asked)),
    )
    return lesson_of(goal_list, problem, tools, seconds, report, stopped)
