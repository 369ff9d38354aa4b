"""Loads that share an input, one signal after the other: a first design of a large circuit.

A circuit is asked for as one, for all of its loads. Where that takes too long, each signal is
asked for by itself, and what was found is put on one supply, with one sensing part where several
follow the same input. Where a lever would have to be in two places, the next signal's parts are
asked for a wiring beside what is there. This proves nothing; it gives a design to begin with.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import LEVERS, SENSING
from synth.problem import Problem
from synth.search.apart import join, only
from synth.search.basics import Working
from synth.search.engine import Engine
from synth.search.lists import Catalogue
from synth.search.merging import EFFORT, engine_for, fewer_parts
from synth.search.relayed import following, in_steps, levers_once, relayed
from synth.signals import loads_of, times_of

ALL_SHARE = 0.8
"""Part of the time left that may go into the signals one by one."""
ALONE_SHARE = 0.4
"""Part of the time of one of them that may go into a design for it by itself."""
AGAIN_SHARE = 0.8
"""The same, once all others have one."""
FOLLOWING_SHARE = 0.5
FOLLOWING_SECONDS = 2.0
"""Part of the time of one of them, and seconds at most, that may go into it, or a step of it, with
others as inputs."""
FEWER_SHARE = 0.3
FEWER_SECONDS = 3.0
"""Part of the time left, and seconds at most, that may go into fewer parts for all of them."""


def side_by_side(
    engine: Engine,
    groups: Sequence[Problem],
    solve: Callable[[Problem], Working | None],
    solve_other: Callable[[Problem], Working | None] = lambda problem: None,
) -> Working | None:
    """Return a design of the engine's problem made of designs of `groups` of its loads, which
    `solve` gives; None where they do not come to one. What is easy comes first; what takes more
    than its share of the time is put off until all others are there, and may take the rest.

    `solve_other` gives designs of problems that are not part of the engine's: of loads that follow
    others, with these for inputs (see `relayed`)."""
    progress = engine.progress
    best: Working | None = None
    wirings: list[Skeleton] = []
    loads: set[str] = set()
    waiting, put_off = sorted(groups, key=_hardness), list[Problem]()
    first = True
    with progress.sharing(ALL_SHARE):
        while waiting:
            group = waiting.pop(0)
            wanted = loads | {r.load for r in group.requirements}
            whole = len(wanted) == len(engine.problem.requirements)
            both = engine if whole else engine_for(only(engine.problem, wanted), engine)
            with progress.sharing(1 / (len(waiting) + len(put_off) + 1)):
                alone: Working | None = None
                found = _following(both, best, group, solve_other) if best else None
                if found is None:
                    with progress.sharing((ALONE_SHARE if first else AGAIN_SHARE) if best else 1):
                        alone = _each_other(engine, group, solve_other)
                        if alone is None and len(groups) > 1:
                            alone = solve(group)
                    found = _beside(both, best, alone) if best else alone
            if found is not None:
                best, loads = found, wanted
                wirings += [alone.skeleton] if alone else []
            elif not first:
                return None
            else:
                put_off.append(group)
            if not waiting and first:
                waiting, put_off, first = put_off, [], False
    if best is not None:
        with progress.sharing(FEWER_SHARE, FEWER_SECONDS):
            for fewer in fewer_parts(engine, best.parts_list.items, wirings):
                best = fewer
    return best


def _following(
    both: Engine,
    there: Working,
    group: Problem,
    solve: Callable[[Problem], Working | None],
) -> Working | None:
    """Return a design in which some loads follow those that are there by relays on what feeds
    these, None where they follow none, or none is found that stands."""
    problem = both.problem
    new = {r.load for r in group.requirements}
    signals = {r.load: r.signal for r in problem.requirements if r.load not in new}
    asked = following(group, signals)
    if asked is None:
        return None
    found = _wirings(both, asked, solve)
    return _with_relays(both, [there.skeleton, *found], new) if found else None


def _wirings(
    engine: Engine, asked: Problem, solve: Callable[[Problem], Working | None]
) -> list[Skeleton]:
    """Return a wiring for loads that follow others, or one for each step of what is asked of them;
    empty where none is found."""
    with engine.progress.sharing(FOLLOWING_SHARE, FOLLOWING_SECONDS):
        found = solve(asked)
    if found is not None:
        return [found.skeleton]
    wirings: list[Skeleton] = []
    steps = in_steps(asked) if len(asked.requirements) == 1 else []
    for step in steps if len(steps) > 1 else ():
        with engine.progress.sharing(FOLLOWING_SHARE, FOLLOWING_SECONDS):
            found = solve(step)
        if found is None:
            return []
        wirings.append(found.skeleton)
    return wirings


def _each_other(
    engine: Engine, group: Problem, solve: Callable[[Problem], Working | None]
) -> Working | None:
    """Return a design for loads that look back at each other, or at themselves: each by itself with
    what feeds the others for inputs, None where they do not, or none is found that stands."""
    if not follows_itself(group):
        return None
    signals = {r.load: r.signal for r in group.requirements}
    found: list[Skeleton] = []
    for requirement in group.requirements:
        one = only(group, {requirement.load})
        asked = following(one, signals) or one
        if follows_itself(asked):
            return None
        wirings = _wirings(engine, asked, solve)
        if not wirings:
            return None
        found += wirings
    return _with_relays(engine_for(group, engine), found, signals)


def follows_itself(problem: Problem) -> bool:
    """Return whether a load of a problem looks back at some load."""
    return any(loads_of(r.signal) for r in problem.requirements)


def _with_relays(
    engine: Engine, wirings: Sequence[Skeleton], new: Collection[str]
) -> Working | None:
    """Return a design of wirings on one supply in which parts for the loads `new` follow others,
    None where no such one stands."""
    problem = engine.problem
    apart = {(pair.first, pair.second) for pair in problem.apart}
    joined = with_common_sensing(join([*wirings]))
    for skeleton in relayed(joined, new, problem.kit, apart):
        working = engine.stands(levers_once(skeleton, problem.kit))
        if working is not None:
            return working
    return None


def _hardness(group: Problem) -> tuple[int, int]:
    """Return how hard some loads may be to find a design for: their times, and their inputs."""
    times = set[int]().union(*(times_of(r.signal) for r in group.requirements))
    return len(times), len(group.inputs)


def _beside(both: Engine, there: Working, new: Working | None) -> Working | None:
    """Return a design for the loads of a design that is there and some others, for which there
    may be one by itself; None where none is found."""
    catalogue, questions = both.catalogue, both.questions
    if new is not None:
        skeleton = with_common_sensing(join([there.skeleton, new.skeleton]))
        working = both.stands(skeleton)
        if working is not None:
            return working
        parts_list = catalogue.measure(_levers_once(catalogue, catalogue.items_of(skeleton)))
        for given in (there.skeleton, new.skeleton) if parts_list is not None else ():
            assert parts_list is not None
            answer = questions.working(parts_list, effort=EFFORT, given=given)
            if isinstance(answer, Working):
                return answer
    return _grown(both, there)


def _grown(both: Engine, there: Working) -> Working | None:
    """Return a design that holds the one that is there, with the fewest coins more that are found;
    None where there is no time for it."""
    catalogue = both.catalogue
    needed = Counter(catalogue.items_of(there.skeleton)) | Counter(both.needed() or ())
    for parts_list in catalogue.in_order(
        sorted(needed.elements()), both.problem.objectives, both.waiting.count
    ):
        if both.progress.over():
            return None
        if both.hopeless(parts_list):
            continue
        answer = both.questions.working(parts_list, effort=EFFORT, given=there.skeleton)
        if isinstance(answer, Working):
            return answer
    return None


def with_common_sensing(skeleton: Skeleton) -> Skeleton:
    """Return a wiring in which sensing parts that are alike in all, and on the same output, are
    one: their outputs are live together."""
    feeds = dict.fromkeys(skeleton.feeds)
    parts = {part.name: part for part in skeleton.parts}
    again = True
    while again:
        again = False
        kept: dict[object, str] = {}
        on = {target: source for source, target in feeds}
        for part in list(parts.values()):
            if part.type not in SENSING:
                continue
            alike = (replace(part, name=""), on.get(Terminal(part.name, "in")))
            name = kept.setdefault(alike, part.name)
            if name != part.name:
                again = True
                del parts[part.name]
                feeds = _in_its_place(feeds, part, name)
    return Skeleton(skeleton.kit, tuple(parts.values()), tuple(feeds))


def _in_its_place(
    feeds: dict[tuple[Terminal, Terminal], None], part: PartInUse, name: str
) -> dict[tuple[Terminal, Terminal], None]:
    """Return these feeds with what `part` feeds on the part called `name`."""
    return {
        (replace(source, part=name) if source.part == part.name else source, target): None
        for source, target in feeds
        if target.part != part.name
    }


def _levers_once(catalogue: Catalogue, items: Sequence[int]) -> tuple[int, ...]:
    """Return these items with one part for each lever."""
    kept: list[int] = []
    levers: set[str] = set()
    for item in items:
        part, follows = catalogue.offers[item]
        if part.type not in LEVERS or follows not in levers:
            kept.append(item)
        if part.type in LEVERS:
            levers.add(follows)
    return tuple(kept)
