"""All designs at one price: every parts list that may cost so little, every wiring of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from synth.problem import Objective, Problem
from synth.search.basics import Progress, Tools, Working, floor_for
from synth.search.engine import Engine
from synth.search.lists import Catalogue
from synth.search.questions import Questions
from synth.search.within import MOST_PARTS


@dataclass
class Others:
    """The designs of a problem that cost at most `price` coins and need at most `supply` units.

    Iterate over it once; `complete` then says whether these are all of them, within the bounds of
    the search. One wiring may come twice, and two that differ in names alone.

    Where joints and tap-offs cost nothing, a model tells which outputs feed an input, and not
    through which joints (see `joint_of_sets`): one wiring stands for several, so that it is never
    said that these are all.
    """

    problem: Problem
    price: int
    supply: int
    tools: Tools
    progress: Progress
    seed: int = 1
    complete: bool = False

    def __iter__(self) -> Iterator[Working]:
        """Yield one checked design after the other until time is up or there are no more."""
        catalogue = Catalogue(self.problem, floor_for(self.tools), most=MOST_PARTS)
        questions = Questions(self.problem, catalogue, self.tools, self.progress, self.seed)
        engine = Engine(questions, self.progress)
        needed = engine.needed()
        if needed is None:
            self.complete = True
            return
        by_price = tuple(
            dict.fromkeys((Objective.PRICE, *self.problem.objectives))  # the price leads
        )
        for parts_list in catalogue.in_order(needed, by_price, engine.waiting.count):
            if parts_list.price > self.price:
                break
            if engine.hopeless(parts_list) or parts_list.units > self.supply:
                continue
            parts = catalogue.parts(parts_list.items)
            rest = self.price - catalogue.price(parts)
            self.progress.report("parts lists", None, parts_list.price)
            # Those that mostly waste no power are soon found, and come a second time among all.
            for frugal in (True, False):
                for working in questions.every(parts_list, rest, frugal):
                    if working is None and not frugal:
                        return
                    if working is not None and working.design.supply <= self.supply:
                        yield working
                    if self.progress.over():
                        return
        self.complete = catalogue.joint is None
