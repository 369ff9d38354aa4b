"""Designs that keep the parts that are wired already, with as few changed connections as can be.

A *connection* is what feeds an input, splitting parts left aside. What is kept are the parts that
serve a load of which something is asked still; their settings too, unless fewer connections change
with others. Parts lists that hold them all come in order of a lower bound on their price; each is
asked for a wiring in which fewer connections change than in any design so far.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import SENSING, PartType
from synth.problem import Objective, Problem
from synth.search.basics import Progress, Tools, Working, floor_for
from synth.search.engine import Engine
from synth.search.lists import Catalogue
from synth.search.live import Live
from synth.search.questions import Questions
from synth.search.remembered import times_in
from synth.search.slots import Slot
from synth.search.within import most_of_each

QUESTION_SECONDS = 5.0
"""Seconds that one list may take: others, dearer, may have a design that shows at once."""


@dataclass(frozen=True)
class Kept:
    """A design that keeps all parts that were there, how many connections change, and which of its
    parts is which of those that were there, by name."""

    working: Working
    changed: int
    same: Mapping[str, str]


def keeping(
    problem: Problem,
    old: Skeleton,
    tools: Tools,
    progress: Progress,
    seed: int,
    changed: int,
    dearest: int | None = None,
) -> Iterator[Kept]:
    """Yield designs of `problem` that hold all parts of `old` (splitting parts left aside), with
    fewer and fewer changed connections, the first with fewer than `changed`; dearer ones later.

    Ends where no connection changes, all lists left cost `dearest` (coins) at least, or time is up.
    Loads of `old` of which nothing is asked any more are gone, and their connections change.
    """
    keeper = _Keeper(problem, old, tools, progress, seed)
    yield from keeper.all_below(changed, dearest)


class _Keeper:
    """One old circuit, to be wired into designs of one problem."""

    def __init__(
        self, problem: Problem, old: Skeleton, tools: Tools, progress: Progress, seed: int
    ) -> None:
        problem = replace(problem, times=tuple(sorted({*problem.times, *times_in(old)})))
        self.progress = progress
        catalogue = Catalogue(problem, floor_for(tools), most=most_of_each(problem))
        lines = {(line.name, follows) for line, follows in catalogue.offers}
        serving = _serving(old, {r.load for r in problem.requirements})
        self.parts = [
            part
            for part in old.parts
            if part.name in serving
            and (part.type is PartType.LOAD or _line_of(part) in lines)
        ]
        self.supply = {part.name for part in old.parts if part.type is PartType.SUPPLY}
        stays = {part.name for part in self.parts}
        self.feeds = [(source, end) for source, end in old.feeds if end.part in stays]
        self.gone = len(old.feeds) - len(self.feeds)
        """Connections to what is not there any more."""
        self.questions = Questions(problem, catalogue, tools, progress, seed)
        self.questions.loads = tuple(r.load for r in problem.requirements)
        self.engine = Engine(self.questions, progress)

    def all_below(self, changed: int, dearest: int | None) -> Iterator[Kept]:
        """See `keeping`."""
        needed, catalogue = self._needed(), self.questions.catalogue
        if needed is None:
            return
        objectives = self.questions.problem.objectives
        by_price = objectives[0] is Objective.PRICE
        for parts_list in catalogue.in_order(needed, objectives, self.engine.waiting.count):
            if changed <= self.gone or self.progress.over():
                return
            if dearest is not None and parts_list.price >= dearest and by_price:
                return
            if self.engine.hopeless(parts_list):
                continue
            for found in self._with(parts_list.items, changed):
                changed = found.changed
                yield found

    def _needed(self) -> list[int] | None:
        """Return the offers of the parts that were there, and of what else every design has; None
        where a limit does not allow so many."""
        offers = self.questions.catalogue.offers
        items: list[int] = []
        for part in self.parts:
            if part.type is PartType.LOAD:
                continue
            items += (
                n for n, (line, follows) in enumerate(offers)
                if (line.name, follows) == _line_of(part)
            )  # fmt: skip
        more = self.engine.needed()
        if more is None:
            return None
        had, caps = Counter(items), self.questions.catalogue.caps
        for offer, number in Counter(more).items():
            items += [offer] * (number - had[offer])
        if any(number > caps[offer] for offer, number in Counter(items).items()):
            return None
        return sorted(items)

    def _with(self, items: tuple[int, ...], changed: int) -> Iterator[Kept]:
        """Yield designs of just these parts with fewer and fewer than `changed` connections."""
        live = Live(self.questions, items, ordered=False)
        if live.too_large or live.wiring.joint is not None:
            return
        same = _same_parts(self.parts, live.slots)
        wiring, at = live.wiring, {slot.name: i for i, slot in enumerate(live.slots)}
        fixed: list[int] = []
        for part in self.parts:
            for key, options in wiring.choices[at[same[part.name]]].items():
                if (literal := options.get(part.setting(key) or "")) is not None:
                    fixed.append(literal)
        stays: list[int] = []
        for source, end in self.feeds:
            if source.part in same or source.part in self.supply:
                other = -1 if source.part in self.supply else at[same[source.part]]
                stays.append(wiring.feeds[at[same[end.part]], end.terminal][other, source.terminal])
        back = {name: was for was, name in same.items()}
        with self.progress.sharing(1, QUESTION_SECONDS):
            # To set a part anew is little work, but what needs not be done is not.
            for also in (fixed, []):
                while changed > self.gone:
                    least = len(self.feeds) - (changed - self.gone - 1)
                    if least > len(stays):
                        return
                    if stays:
                        wiring.formula.bound(stays, [1] * len(stays), least, len(stays))
                    working = self.questions.stands(live, items, also)
                    if not isinstance(working, Working):
                        break
                    changed = self.gone + self._moved(working.skeleton, same)
                    yield Kept(working, changed, back)

    def _moved(self, skeleton: Skeleton, same: Mapping[str, str]) -> int:
        """Return how many of the connections that were there are others now."""
        fed = {end: source for source, end in skeleton.feeds}
        moved = 0
        for source, end in self.feeds:
            part = "supply" if source.part in self.supply else same.get(source.part, "")
            now = fed[Terminal(same[end.part], end.terminal)]
            moved += now != Terminal(part, source.terminal)
        return moved


def _serving(old: Skeleton, loads: Collection[str]) -> set[str]:
    """Return these loads, and the parts of which something reaches them, by power or control."""
    behind = defaultdict[str, list[str]](list)
    for source, end in old.feeds:
        behind[end.part].append(source.part)
    found = {part.name for part in old.parts if part.name in loads}
    waiting = list(found)
    while waiting:
        for name in behind[waiting.pop()]:
            if name not in found:
                found.add(name)
                waiting.append(name)
    return found - {part.name for part in old.parts if part.type is PartType.SUPPLY}


def _line_of(part: PartInUse) -> tuple[str, str]:
    """Return the line of the kit that a part is, and the outside input that it follows."""
    follows = str(part.setting("input") or "night") if part.type in SENSING else ""
    return part.part, follows


def _same_parts(parts: Sequence[PartInUse], slots: Sequence[Slot]) -> dict[str, str]:
    """Return the slot of each part that was there, by name: of those that are alike in order."""
    free = defaultdict[tuple[str, str], list[str]](list)
    for slot in slots:
        free[slot.load or slot.part.name, slot.input].append(slot.name)
    return {
        part.name: free[
            (part.name, "") if part.type is PartType.LOAD else _line_of(part)
        ].pop(0)
        for part in parts
    }
