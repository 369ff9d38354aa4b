"""What earlier runs have found: taken up again, each design checked anew.

A circuit that is closed is kept whole, since that does not depend on how much time there was. The
engine is left just as the search would have left it, so that later steps go the same way: `Alone`
asks it about lists, and what its runs taught is asked of the whole. What the engine and its
questions know must therefore be kept whole; the tests compare every attribute.

Of a search that time ended two things are kept. Which parts lists were refuted, so that the next
one goes on there; each was refuted by itself, however much time there was. And the best design
found, by what it does alone, whatever was on offer beside it: it is taken where a search ends with
nothing better, so that one that ends with a proof gives the same answer without it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from synth.design import TIME_SETTINGS, Skeleton
from synth.problem import Limits, Problem
from synth.search.basics import POINTS, Entry, Found, LearnedRun, Tools, Working, design_key
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


@dataclass(frozen=True)
class Unfinished:
    """Lists that a search refuted before time ended it: outright, and at a price."""

    refuted: tuple[tuple[int, ...], ...]
    dearer: tuple[tuple[tuple[int, ...], int], ...]


@dataclass(frozen=True)
class Wired:
    """The best wiring that was found of what certain loads do, what its design costs, and how
    long (ms) the search might have gone on for circuits put together in other ways."""

    skeleton: Skeleton
    key: Key
    limit: int


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
    going = Going(engine, tools, "lists", engine.problem, also[2:])
    found = engine.run()
    going.keep()
    learned = _lesson(engine, found)
    if learned is not None:
        entry.keep(learned)
    if not found.closed:
        earlier = wired_before(engine.problem, tools, found.best, engine.stands)
        if earlier is not None and not engine.hopeless(earlier[0].parts_list):
            engine.adopt(earlier[0])
    keep_wired(engine.problem, tools, found.best)
    return found


class Going:
    """What goes on where an earlier run was ended: it passes over lists that were refuted, and what
    it refutes is kept for the next one."""

    def __init__(
        self, engine: Engine, tools: Tools, what: str, problem: Problem, also: tuple[int, ...]
    ) -> None:
        """`what`, `problem` and `also` say what decides which lists are refuted."""
        self._engine = engine
        self._entry = tools.memory.entry(what, problem, also) if tools.memory is not None else None
        known = self._entry.recall(Unfinished) if self._entry is not None else None
        if self._entry is not None and known is not None:
            engine.known_before = frozenset(known.refuted)
            engine.dearer_before = frozenset(known.dearer)
            self._entry.confirm()

    def keep(self) -> None:
        """Keep what is refuted, unless the search has come to its end."""
        engine = self._engine
        if self._entry is None or engine.found.closed:
            return
        refuted = sorted(engine.known_before.union(engine.refuted))
        dearer = sorted(engine.dearer_before.union(engine.dearer))
        if refuted or dearer:
            self._entry.keep(Unfinished(tuple(refuted), tuple(dearer)))


def wired_before(
    problem: Problem,
    tools: Tools,
    best: Working | None,
    stands: Callable[[Skeleton], Working | None],
) -> tuple[Working, float] | None:
    """Return the design that an earlier run has found, if it stands here and is better than
    `best`, and the seconds of that run; see `Wired`."""
    entry = _wired(problem, tools)
    known = entry.recall(Wired) if entry is not None else None
    if entry is None or known is None:
        return None
    if best is not None and _key(best, problem) <= known.key:
        return None
    if not times_in(known.skeleton) <= {*problem.times}:
        return None  # not all of its times are on offer here
    try:
        found = stands(known.skeleton)
    except Exception as failure:  # whatever it is, the search has its own answer
        entry.drop(f"it cannot be taken up ({type(failure).__name__})")
        return None
    if found is None or (best is not None and _key(found, problem) >= _key(best, problem)):
        return None
    entry.confirm()
    return found, known.limit / 1000


def keep_wired(
    problem: Problem, tools: Tools, best: Working | None, seconds: float = 0.0
) -> None:
    """Keep the best design of a search for others to begin with, unless a better one is kept."""
    entry = _wired(problem, tools)
    if entry is None or best is None:
        return
    mine = Wired(best.skeleton, _key(best, problem), round(1000 * seconds))
    known = entry.recall(Wired)
    if known is None or (mine.key, -mine.limit) < (known.key, -known.limit):
        entry.keep(mine)


def _key(working: Working, problem: Problem) -> Key:
    return design_key(working.design, problem)


def times_in(skeleton: Skeleton) -> set[int]:
    """Return the times, in ticks, to which timers of a wiring are set."""
    said = (part.setting(key) for part in skeleton.parts for key in TIME_SETTINGS)
    return {time for time in said if isinstance(time, int)}


def _wired(problem: Problem, tools: Tools) -> Entry | None:
    """Return the entry of the best wiring of what the loads do, whatever is on offer and limited
    beside that."""
    if tools.memory is None:
        return None
    return tools.memory.entry("wiring", replace(problem, times=(), limits=Limits()), ())


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
