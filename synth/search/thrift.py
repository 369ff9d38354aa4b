"""Less power than the cheapest design needs: its parts lists go on in order of price."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from synth.days import loads_alone
from synth.problem import Objective, Problem
from synth.search.basics import Progress, Tools, Working, design_key
from synth.search.engine import MOST_WIRINGS, Engine
from synth.search.lists import Catalogue
from synth.search.questions import Questions

DEAREST = 3
"""Lists of more than so many times the price of the cheapest design are not asked."""


def thriftier(
    problem: Problem, catalogue: Catalogue, tools: Tools, progress: Progress, best: Working
) -> Working:
    """Return a design no worse than `best`, which is one of `problem`, in its objectives' order.

    Bounds on power are weak where relays choose between branches, so lists in order of power
    begin with a great many that have such relays and nothing else to be said for them. What
    spares power is seldom much dearer: lists are asked in order of price, each for all of its
    wirings, but for those whose bound on power is no better than the best. Nothing is proven.
    """
    questions = Questions(problem, catalogue, tools, progress, 1)
    engine = Engine(questions, progress)
    needed = engine.needed()
    if needed is None:
        return best
    by_price = (Objective.PRICE, *(o for o in problem.objectives if o is not Objective.PRICE))
    most = DEAREST * best.design.price(problem.kit)
    for parts_list in catalogue.in_order(needed, by_price, engine.waiting.count):
        if parts_list.price > most or progress.over():
            break
        if parts_list.units >= best.design.supply or engine.hopeless(parts_list):
            continue
        for _ in range(MOST_WIRINGS):
            working = questions.working(parts_list)
            if not isinstance(working, Working):
                break
            if design_key(working.design, problem) < design_key(best.design, problem):
                best = working
            if best.design.supply <= max(parts_list.units, catalogue.least_units):
                break
            questions.excluded.append(questions.bare(working))
    return best


def less_energy(
    problem: Problem, pieces: Sequence[Problem], done: Collection[int]
) -> Iterator[tuple[int, Problem]]:
    """Yield (place, piece) for each of the pieces of `problem` but `done`: what is asked of it so
    that it leaves to the loads of all others, within a goal about energy, what they use alone.

    This proves nothing: a design of the whole may share a part between pieces.
    """
    energy = problem.energy
    if energy is None:
        return
    alone = [loads_alone(piece, energy.nights) for piece in pieces]
    least = [day.total if day is not None else Fraction(0) for day in alone]
    for number, piece in enumerate(pieces):
        left = energy.unit_hours - sum(least) + least[number]
        if number not in done and left > 0:
            yield number, replace(piece, energy=replace(energy, unit_hours=left))
