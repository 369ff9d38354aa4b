"""Loads that share an input, one signal after the other: a first design of a large circuit.

A circuit is asked for as one, for all of its loads. Where that takes too long, each signal is
asked for by itself, and what was found is put on one supply, with one sensing part where several
follow the same input. Where a lever would have to be in two places, the next signal's parts are
asked for a wiring beside what is there. This proves nothing; it gives a design to begin with.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import LEVERS, SENSING
from synth.problem import Problem
from synth.search.apart import join, only
from synth.search.basics import Working
from synth.search.engine import Engine
from synth.search.lists import Catalogue
from synth.search.merging import EFFORT, engine_for, fewer_parts
from synth.signals import times_of

ALL_SHARE = 0.8
"""Part of the time left that may go into the signals one by one."""
ALONE_SHARE = 0.4
"""Part of the time of one of them that may go into a design for it by itself."""
AGAIN_SHARE = 0.8
"""The same, once all others have one."""
FEWER_SHARE = 0.3
"""Part of the time left that may go into fewer parts for all of them."""


def side_by_side(
    engine: Engine, groups: Sequence[Problem], solve: Callable[[Problem], Working | None]
) -> Working | None:
    """Return a design of the engine's problem made of designs of `groups` of its loads, which
    `solve` gives; None where they do not come to one. What is easy comes first; what takes more
    than its share of the time is put off until all others are there, and may take the rest."""
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
                with progress.sharing((ALONE_SHARE if first else AGAIN_SHARE) if best else 1):
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
        with progress.sharing(FEWER_SHARE):
            for fewer in fewer_parts(engine, best.parts_list.items, wirings):
                best = fewer
    return best


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
