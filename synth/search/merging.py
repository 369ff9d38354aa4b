"""Circuits that may share a clock, wired as one with parts less than they have apart.

Two cycles that begin at one moment can keep time for each other: the longer one may count from the
shorter one's timer. The lists of the whole are asked in order of their bounds, which takes long to
come to such designs; here the parts of both circuits are asked for a wiring with ever fewer of
them. This proves nothing; it gives a cheaper design to begin with.

Where the longer cycle comes round after many rounds of the shorter one, a run that shows it is long
and a model of it large. Then the same is asked *in small*: of a longer cycle of few rounds. What
is found is set to the true times, and stands only if the exact check says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, product

from synth.design import PartInUse, Skeleton
from synth.problem import Problem
from synth.search.apart import Piece, only
from synth.search.basics import Found, Progress, Working
from synth.search.circuits import Circuit
from synth.search.engine import Engine
from synth.search.lists import Catalogue
from synth.search.questions import Questions, holds
from synth.signals import Cycle

FEW_ROUNDS = 3
"""A longer cycle in small takes so many rounds of the shorter one, or as many more as it must to
tell its times apart."""
EFFORT = 1.5
"""Effort (see `Solver.ask`) that may go into one list of parts: what was found took less than half
of it."""
TIMES = ("time", "on", "off")
"""Settings that are times."""


def shares_a_clock(both: Engine, one: Engine, other: Engine) -> bool:
    """Return whether two circuits together need fewer timers running at once than each by itself,
    as far as the bounds tell: only then a timer may serve both (see `synth.search.pending`)."""
    apart = one.waiting.count + other.waiting.count
    return 0 < both.waiting.count < apart


def asked_of_both(problem: Problem, one: Piece, other: Piece) -> Piece:
    """Return what `problem` asks of two of its circuits that lie behind the same switches."""
    asked = {r.load: r for piece in (one, other) for r in piece.problem.requirements}
    named = {item.name for piece in (one, other) for item in piece.problem.inputs}
    both = only(problem, asked)
    return Piece(
        replace(
            both,
            requirements=tuple(asked[r.load] for r in both.requirements),
            inputs=tuple(item for item in both.inputs if item.name in named),
            never_together=tuple(
                group
                for names in both.never_together
                if len(group := tuple(name for name in names if name in named)) > 1
            ),
        ),
        one.path,
    )


def merged(circuits: Sequence[Circuit], problem: Problem, progress: Progress) -> list[Circuit]:
    """Return `circuits` of `problem` with those wired as one that cost less so, in the order of
    their first ones, as far as time allows."""
    left, tried = list(circuits), set[tuple[str, ...]]()
    while True:
        for one, other in combinations(left, 2):
            loads = tuple(r.load for c in (one, other) for r in c.problem.requirements)
            if loads in tried:
                continue
            if progress.over():
                return left
            tried.add(loads)
            both = _as_one(one, other, problem)
            if both is not None:
                left = [both if c is one else c for c in left if c is not other]
                break
        else:
            return left


def _as_one(one: Circuit, other: Circuit, problem: Problem) -> Circuit | None:
    """Return two circuits as one with fewer parts, None when no such one is found."""
    if one.piece.path != other.piece.path or not (one.timed and other.timed):
        return None
    piece = asked_of_both(problem, one.piece, other.piece)
    engine = engine_for(piece.problem, one.engine)
    if not shares_a_clock(engine, one.engine, other.engine):
        return None
    small = in_small(piece.problem)
    asked, meant = engine, dict[int, int]()
    if small is not None:
        asked, meant = engine_for(small[0], one.engine), small[1]
    in_its_place = {time: scaled for scaled, time in meant.items()}
    wirings = [_with_times(_best(c).skeleton, in_its_place) for c in (one, other)]
    parts = (*_items(one, asked.catalogue), *_items(other, asked.catalogue))
    found = list(fewer_parts(asked, tuple(sorted(parts)), wirings))
    for working in reversed(found):
        best: Working | None = working
        if small is not None:
            best = engine.stands(_with_times(working.skeleton, meant))
        if best is not None:
            return Circuit(piece, engine, Found(best=best))
    return None


def engine_for(problem: Problem, like: Engine) -> Engine:
    """Return an engine for `problem`, a part of a whole, with the tools and limits of another."""
    asking, catalogue = like.questions, like.catalogue
    offers = Catalogue(problem, catalogue.floor, most=catalogue.most)
    questions = Questions(problem, offers, asking.tools, like.progress, asking.seed)
    return Engine(questions, like.progress, within=True)


def in_small(problem: Problem) -> tuple[Problem, dict[int, int]] | None:
    """Return the problem with its longest cycle taking few rounds of the shortest, and what its
    times stand for (ticks); None unless all loads are cycles, the longest of many whole rounds of
    the shortest."""
    signals = dict.fromkeys(r.signal for r in problem.requirements)
    cycles = [signal for signal in signals if isinstance(signal, Cycle)]
    cycles.sort(key=lambda cycle: cycle.on + cycle.off)
    if not 1 < len(cycles) == len(signals):
        return None
    short, *_, long = cycles
    period = short.on + short.off
    rounds, rest = divmod(long.on + long.off, period)
    kept = {long.on}
    for cycle in cycles[:-1]:
        kept |= {cycle.on, cycle.off, cycle.on + cycle.off}
    if rest or kept & {long.off, long.on + long.off}:
        return None
    for few in range(max(FEW_ROUNDS, long.on // period + 2), rounds):
        off = few * period - long.on
        if not kept & {off, few * period}:
            break
    else:
        return None
    small = replace(long, off=off)
    requirements = tuple(
        replace(r, signal=small) if r.signal == long else r for r in problem.requirements
    )
    times = tuple(sorted({*kept, off, few * period}))
    meant = {off: long.off, few * period: long.on + long.off}
    return replace(problem, requirements=requirements, times=times), meant


def _with_times(wiring: Skeleton, meant: dict[int, int]) -> Skeleton:
    """Return a wiring with other times in place of some."""

    def changed(part: PartInUse) -> PartInUse:
        settings = tuple(
            (key, meant.get(value, value) if isinstance(value, int) and key in TIMES else value)
            for key, value in part.settings
        )
        return replace(part, settings=settings)

    return replace(wiring, parts=tuple(map(changed, wiring.parts)))


def fewer_parts(
    engine: Engine, items: tuple[int, ...], wirings: Sequence[Skeleton] = ()
) -> Iterator[Working]:
    """Yield designs of the engine's problem with ever fewer parts than `items`, which holds a
    working wiring; the cheapest parts are left out first. The last of them costs as little as can
    be found. Each list is first asked for a design that holds one of `wirings`, which is quick."""
    catalogue, questions = engine.catalogue, engine.questions
    needed = engine.needed() or []
    best: Working | None = None
    found = True
    while found:
        found = False
        spare = [i for i in sorted(set(items)) if items.count(i) > needed.count(i)]
        spare.sort(key=lambda item: catalogue.offers[item][0].price)
        lists = []
        for item in spare:
            fewer = list(items)
            fewer.remove(item)
            parts_list = catalogue.measure(tuple(fewer))
            if parts_list is not None and not engine.hopeless(parts_list):
                lists.append(parts_list)
        for parts_list, given in product(lists, (*wirings, None)):
            if engine.progress.over():
                return
            if given is not None and not holds(parts_list.items, catalogue.items_of(given)):
                continue
            working = questions.working(parts_list, effort=EFFORT, given=given)
            if isinstance(working, Working):
                yield working
                best, items, found = working, parts_list.items, True
                break
    last = catalogue.measure(items)
    own = catalogue.price(catalogue.parts(items))
    while best is not None and last is not None:
        price = best.design.price(engine.problem.kit)
        if price <= last.price:
            return
        best = None
        for given in (*wirings, None):
            if given is None or holds(last.items, catalogue.items_of(given)):
                cheaper = questions.working(last, price - 1 - own, effort=EFFORT, given=given)
                if isinstance(cheaper, Working):
                    best = cheaper
                    yield best
                    break


def _best(circuit: Circuit) -> Working:
    assert circuit.found.best is not None
    return circuit.found.best


def _items(circuit: Circuit, catalogue: Catalogue) -> tuple[int, ...]:
    """Return the parts of a circuit, as indices into the offers of another catalogue."""
    return catalogue.items_of(_best(circuit).skeleton)
