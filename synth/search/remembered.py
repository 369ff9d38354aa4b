"""A circuit that an earlier run has closed: what its engine knew, taken up again and checked.

Only what is closed is kept, since that does not depend on how much time there was. The engine is
left just as the search would have left it, so that later steps go the same way: `Alone` asks it
about lists, and what its runs taught is asked of the whole. What the engine and its questions know
must therefore be kept whole; the tests compare every attribute.
"""

from __future__ import annotations

from dataclasses import dataclass

from synth.design import Skeleton
from synth.search.basics import POINTS, Found, LearnedRun, Tools, Working, design_key
from synth.search.engine import Engine
from synth.search.lists import Key
from synth.search.questions import Questions
from synth.search.scenario import Scenario, build_scenario


@dataclass(frozen=True)
class Lesson:
    """What an engine knew at its end, as frozen data; see `Found`, `Engine`, `Questions`.

    `key` is what the best design costs. `order` are the places in `runs` of the scenarios learned,
    in the order in which they were last of use.
    """

    skeleton: Skeleton
    items: tuple[int, ...]
    key: Key
    floor: Key | None
    first: Key | None
    exhausted: bool
    doubt: bool
    refuted: int
    asked: int
    reasons: tuple[str, ...]
    feasible_lists: tuple[tuple[int, ...], ...]
    refuted_lists: tuple[tuple[int, ...], ...]
    runs: tuple[LearnedRun, ...]
    order: tuple[int, ...]
    excluded: tuple[Skeleton, ...]


def found_by(engine: Engine, tools: Tools) -> Found:
    """Return what `engine` finds, with nothing known from elsewhere; from memory where an earlier
    run has closed the same question and its design stands."""
    if tools.memory is None:
        return engine.run()
    questions = engine.questions
    also = (questions.seed, int(questions.fast), int(engine.within), engine.catalogue.most)
    entry = tools.memory.entry("circuit", engine.problem, also)
    lesson = entry.recall(Lesson)
    if lesson is not None:
        try:
            found = _taken_up(engine, lesson, tools)
        except Exception as failure:  # whatever it is, the search is there to answer
            entry.drop(f"it cannot be taken up ({type(failure).__name__})")
        else:
            if found is not None:
                entry.confirm()
                return found
            entry.drop("its design does not hold")
    found = engine.run()
    learned = _lesson(engine, found)
    if learned is not None:
        entry.keep(learned)
    return found


def _lesson(engine: Engine, found: Found) -> Lesson | None:
    """Return all that is worth keeping, None where the question was not closed or has no design,
    or something learned cannot be made again."""
    best, questions = found.best, engine.questions
    if best is None or not found.closed:
        return None
    if engine.dearest is not None and design_key(best.design, engine.problem)[0] > engine.dearest:
        # Closed within the largest price: what lies between it and the best was not looked at.
        return None
    again = [_scenario_of(run, questions) for run in questions.runs]
    if len(again) != len(questions.learned):
        return None
    order: list[int] = []
    for scenario in questions.learned:
        places = (i for i, made in enumerate(again) if i not in order and made == scenario)
        place = next(places, None)
        if place is None:
            return None
        order.append(place)
    return Lesson(
        skeleton=best.skeleton,
        items=best.parts_list.items,
        key=design_key(best.design, engine.problem),
        floor=found.floor,
        first=found.first,
        exhausted=found.exhausted,
        doubt=found.doubt,
        refuted=found.refuted,
        asked=found.asked,
        reasons=tuple(found.reasons),
        feasible_lists=tuple(engine.feasible),
        refuted_lists=tuple(engine.refuted),
        runs=tuple(questions.runs),
        order=tuple(order),
        excluded=tuple(questions.excluded),
    )


def _taken_up(engine: Engine, lesson: Lesson, tools: Tools) -> Found | None:
    """Return what was found, the design shared out and checked anew, with the engine as it was
    then; None, with nothing touched, where the design does not stand at its price."""
    problem, catalogue, questions = engine.problem, engine.catalogue, engine.questions
    design = tools.share(lesson.skeleton, problem)
    if design is None or design_key(design, problem) != lesson.key:
        return None
    if catalogue.items_of(lesson.skeleton) != lesson.items:
        return None
    measured = catalogue.measure(lesson.items)
    verdict = tools.check(design, problem)
    if measured is None or verdict is None or not verdict.holds:
        return None
    if not all(0 <= i < len(catalogue.offers) for i in _indices(lesson)):
        return None
    again = [_scenario_of(run, questions) for run in lesson.runs]
    if sorted(lesson.order) != list(range(len(again))):
        return None
    engine.feasible = list(lesson.feasible_lists)
    engine.refuted = list(lesson.refuted_lists)
    questions.runs = list(lesson.runs)
    questions.learned = [again[place] for place in lesson.order]
    questions.excluded = list(lesson.excluded)
    bound = lesson.floor[0] if lesson.floor else None
    engine.progress.report("known circuit", lesson.key[0], bound)
    engine.found = Found(
        best=Working(lesson.skeleton, design, verdict, measured),
        floor=lesson.floor,
        first=lesson.first,
        closed=True,
        exhausted=lesson.exhausted,
        doubt=lesson.doubt,
        refuted=lesson.refuted,
        asked=lesson.asked,
        reasons=list(lesson.reasons),
        loads=engine.found.loads,
    )
    return engine.found


def _scenario_of(run: LearnedRun, questions: Questions) -> Scenario:
    """Return the scenario of a run that refuted a wiring, as `Questions` makes it at the time.

    That it is the same one is compared before a lesson is kept.
    """
    problem = questions.problem
    return build_scenario(
        problem,
        run.moments,
        problem.times,
        run.last,
        POINTS,
        also=run.instants,
        orders=run.orders,
    )


def _indices(lesson: Lesson) -> set[int]:
    return {i for items in (*lesson.feasible_lists, *lesson.refuted_lists) for i in items}
