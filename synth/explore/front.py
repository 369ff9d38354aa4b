"""The front of price, supply units and number of parts: what can be had for what.

What is open is a list of *boxes*: at most so many coins, so many parts, so many units. Each box is
asked for a design. One that is found takes out of every box what it is no worse than, which leaves
smaller boxes; a box in which there is none, proven, is closed. When no box is left, what was found
is the whole front, hollows between its points too. (Boxes by local upper bounds: Klamroth, Lacour,
Vanderpooten, *On the representation of the search region in multi-objective optimization*, 2015,
from memory.)

The search makes one sum least, within a limit of that sum, a limit of the supply and limits of
single parts. So a box is asked about in this order, until one answer decides:

- *price*: the least price with so many units; more coins than the box has, and it is closed;
- *parts*: with every price replaced by a large number plus the price, the fewest parts;
- *a sum of both*, by which the two designs just found tie: a line through them. Where nothing lies
  below the corner of the box, it is closed;
- *fewer of some part*: a design below that line and yet outside the box has too many parts, or is
  too dear. Whatever is in the box then has fewer of some kind of part than that design has. So the
  question is asked again for each kind, with the limit that there are fewer of it.

Every answer is kept as a *fact*, no design below so much by this sum with so many units, and facts
close other boxes without a question.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from synth.choices import Choice, Choices, Measure, parts_counted
from synth.design import Design
from synth.explore.different import telling
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit
from synth.problem import Objective, Problem
from synth.result import Outcome, Status
from synth.wording import counted

Plan = Callable[[Problem, float], Outcome]
"""Plans a problem within so many seconds."""
ANY = 10**9
"""More coins, parts or units than any design has: no limit."""
FIRST_SHARE = 0.4
"""Part of the time for the cheapest design."""
SHARE = 0.15
"""Part of the time left for any other question, at first; what has no answer is asked again, and
then gets its share of all that is left."""
MOST_BRANCHES = 80
"""Questions with fewer of some part that are put for one box at first; then it stays open."""
MOST_OPEN = 6
"""Open boxes that are told one by one."""
EVERYTHING = 10**30
"""More than any sum."""
UNCOUNTED = (PartType.SUPPLY, PartType.LOAD)
"""What is in every design and counts as no part."""
Most = frozenset[tuple[str, int]]
"""Limits of single parts by their kit names."""


@dataclass(frozen=True)
class Box:
    """Designs of at most so many coins, parts and units."""

    price: int = ANY
    parts: int = ANY
    units: int = ANY

    def holds(self, choice: Choice) -> bool:
        """Return whether a design is in the box."""
        return (
            choice.price <= self.price
            and choice.parts <= self.parts
            and choice.supply <= self.units
        )

    def within(self, other: Box) -> bool:
        """Return whether the other box holds all of this one."""
        return self.price <= other.price and self.parts <= other.parts and self.units <= other.units

    def without(self, choice: Choice) -> tuple[Box, ...]:
        """Return the boxes left when all that is no better than a design is taken out."""
        if not self.holds(choice):
            return (self,)
        return (
            replace(self, price=choice.price - 1),
            replace(self, parts=choice.parts - 1),
            replace(self, units=choice.supply - 1),
        )


@dataclass(frozen=True)
class Fact:
    """No design has `coins` x price + `parts` x number of parts of `most` or less, with at most
    `units` units and at most so many of each part as `fewer` says; proven."""

    coins: int
    parts: int
    most: int
    units: int
    fewer: Most

    def closes(self, box: Box, fewer: Most) -> bool:
        """Return whether no design is in the box with at most so many of each part."""
        return (
            box.units <= self.units
            and self.coins * box.price + self.parts * box.parts <= self.most
            and _no_more(fewer, self.fewer)
        )


def front_of(
    problem: Problem,
    plan: Plan,
    seconds: float,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
) -> tuple[Choices, Outcome]:
    """Return the front for `problem`, and the outcome of planning it by price.

    The front is empty where no design was found; the outcome then says why.
    """
    by_price = replace(problem, objectives=(Objective.PRICE, Objective.SUPPLY, Objective.WIRES))
    return _Front(by_price, plan, seconds, report, stopped).all()


@dataclass
class _Front:
    problem: Problem
    plan: Plan
    seconds: float
    report: Callable[[str], None]
    stopped: Callable[[], bool]

    def __post_init__(self) -> None:
        self.kit: Kit = self.problem.kit
        self.deadline = time.monotonic() + self.seconds
        self.dearest = max(part.price for part in self.kit.parts)
        """Coins of the dearest part."""
        self.found: list[Choice] = []
        self.facts: list[Fact] = []
        self.tried: set[tuple[int, int, int, Most]] = set()
        """Questions that had no answer in their time."""
        self.empty: list[Box] = []
        """Boxes in which no design is, proven branch by branch."""
        self.share, self.branches = FIRST_SHARE, MOST_BRANCHES

    def all(self) -> tuple[Choices, Outcome]:
        """Return the front, and what planning by price came to."""
        self.report("the cheapest")
        outcome = self._planned(self.problem)
        if outcome.status is Status.UNDECIDED and not self._over():
            self.share = 1.0
            outcome = self._planned(self.problem)
        if outcome.design is None:
            return Choices((), False, ()), outcome
        limits = self.problem.limits
        whole = Box(
            ANY if limits.price is None else limits.price,
            ANY,
            ANY if limits.supply is None else limits.supply,
        )
        self._learn(outcome, (1, 0), whole, frozenset(), None)
        self.share = SHARE
        undecided = self._closing([whole])
        while undecided and not self._over() and self.share < 1:
            # What had no answer is asked again, with more time for each question.
            self.share = 1 / len(undecided) if self.branches == MOST_BRANCHES else 1.0
            self.branches = ANY
            self.tried.clear()
            undecided = self._closing(undecided)
        front = [self._labelled(choice, undecided, whole) for choice in self._best(whole)]
        front = [
            replace(c, differs=self._telling(c.design, front[0].design) if number else "")
            for number, c in enumerate(front)
        ]
        notes = self._notes(front, undecided)
        return Choices(tuple(front), not undecided, notes, time_up=self._over()), outcome

    def _closing(self, boxes: list[Box]) -> list[Box]:
        """Ask about boxes until none is left; return those that were not decided."""
        undecided: list[Box] = []
        while boxes:
            boxes = self._left(boxes)
            undecided = self._left(undecided)
            if not boxes:
                break
            box = min(boxes, key=self._rank)
            boxes.remove(box)
            if self._over() or not self._asked(box):
                undecided.append(box)
            else:
                boxes.append(box)  # what is left of it, if anything, is asked next
        return undecided

    # -- boxes -------------------------------------------------------------------------------

    def _left(self, boxes: Iterable[Box]) -> list[Box]:
        """Return what of the boxes is still open: not taken by a design, not closed by a fact."""
        left = [self._narrowed(box) for box in boxes]
        for choice in self.found:
            left = [self._narrowed(rest) for box in left for rest in box.without(choice)]
            left = [box for box in dict.fromkeys(left) if not self._closed(box)]
        return [box for box in left if not any(box != o and box.within(o) for o in left)]

    def _narrowed(self, box: Box) -> Box:
        """Return the box with no more coins than so many parts can cost."""
        if box.parts == ANY:
            return box
        fixed = sum(part.price for part in self.kit.parts if part.type in UNCOUNTED)
        loads = len(self.problem.requirements) + 1
        return replace(box, price=min(box.price, box.parts * self.dearest + loads * fixed))

    def _closed(self, box: Box, fewer: Most = frozenset()) -> bool:
        if min(box.price, box.parts, box.units) < 0:
            return True
        return any(box.within(other) for other in self.empty) or any(
            fact.closes(box, fewer) for fact in self.facts
        )

    @staticmethod
    def _rank(box: Box) -> tuple[bool, bool, int, int, int]:
        """Return the order in which boxes are asked: power against price, then parts."""
        return (box.parts < ANY, box.price < ANY, -box.units, -box.parts, -box.price)

    def _decided(self, box: Box) -> bool:
        return self._closed(box) or any(box.holds(choice) for choice in self.found)

    def _asked(self, box: Box) -> bool:
        """Ask about a box; return whether it is decided: a design in it, or that there is none."""
        every: Most = frozenset()
        cheap = self._answer((1, 0), box, every)
        if self._decided(box):
            return True
        if cheap is None and box.price >= ANY and box.parts >= ANY:
            return False  # whether there is any, however dear, is no other question by parts
        stocked = bool(self.problem.limits.stock)
        few = self._fewest(box, stocked)
        if cheap is None or few is None or self._decided(box):
            return self._decided(box)
        # One has too many parts and the other is too dear. A line through both. Where parts are
        # in stock there is none: they cost nothing, but count.
        line = (1, 0) if stocked else (cheap.parts - few.parts, few.price - cheap.price)
        branches: list[Most] = [every]
        asked = set(branches)
        for _ in range(self.branches):
            if not branches or self._over():
                break
            fewer = branches.pop(0)
            if self._closed(box, fewer):
                continue
            outside = self._outside(line, box, fewer) or self._answer(line, box, fewer)
            if outside is None:
                if not self._closed(box, fewer):
                    return False
                continue
            if self._decided(box):
                return True
            for part, number in sorted(_counted(outside.design).items()):
                less = _limited(fewer, part, number - 1)
                if less not in asked:
                    asked.add(less)
                    branches.append(less)
        if branches:
            return False
        self.empty.append(box)
        return True

    # -- questions ---------------------------------------------------------------------------

    def _fewest(self, box: Box, stocked: bool) -> Choice | None:
        """Return the design of the fewest parts, the cheapest of them but for parts in stock."""
        if stocked:
            return self._answer((0, 1), box, frozenset())
        large = box.price + 1
        return self._answer((1, large), box, frozenset(), large * (box.parts + 1) - 1)

    def _answer(
        self, sums: tuple[int, int], box: Box, fewer: Most, highest: int | None = None
    ) -> Choice | None:
        """Return the design of the least `sums[0]` x price + `sums[1]` x parts with the units of
        the box and so many of each part at most; None where there is none in the range of the
        box (the sum is at most `highest`, by default that of its corner), which is kept as a fact,
        or where it is not known."""
        known = self._known(sums, box, fewer)
        if known is not None:
            return known
        question = (*sums, box.units, fewer)
        if question in self.tried or self._over():
            return None
        coins, parts = sums
        if (
            highest is None
            and not (coins and box.price >= ANY)
            and not (parts and box.parts >= ANY)
        ):
            highest = coins * box.price + parts * box.parts
        self.report(_in_words(box))
        limits = replace(
            self.problem.limits,
            price=highest,
            supply=None if box.units >= ANY else box.units,
            most=_with_most(self.problem.limits.most, fewer),
            stock=() if parts else self.problem.limits.stock,
        )
        kit = self.kit if sums == (1, 0) else weighed(self.kit, coins, parts)
        outcome = self._planned(replace(self.problem, kit=kit, limits=limits))
        return self._learn(outcome, sums, box, fewer, highest)

    def _learn(
        self,
        outcome: Outcome,
        sums: tuple[int, int],
        box: Box,
        fewer: Most,
        highest: int | None,
    ) -> Choice | None:
        """Keep the design of an outcome, and what was proven."""
        most: int | None = None
        choice = None
        if outcome.design is not None:
            choice = self._add(outcome)
        if outcome.status is Status.IMPOSSIBLE:
            most = EVERYTHING if highest is None else highest
        elif outcome.status is Status.PROVEN and choice is not None:
            most = sums[0] * choice.price + sums[1] * choice.parts - 1
        else:
            self.tried.add((*sums, box.units, fewer))
            if outcome.bound is not None:
                most = outcome.bound - 1
        if most is not None:
            self.facts.append(Fact(*sums, most, box.units, fewer))
        return choice

    def _known(self, sums: tuple[int, int], box: Box, fewer: Most) -> Choice | None:
        """Return a design found before that is proven to have the least of such a sum."""
        coins, parts = sums
        for choice in self.found:
            if choice.supply > box.units or not _fits(choice, fewer):
                continue
            value = coins * choice.price + parts * choice.parts - 1
            if any(
                (fact.coins, fact.parts) == sums and fact.most >= value
                and box.units <= fact.units and _no_more(fewer, fact.fewer)
                for fact in self.facts
            ):  # fmt: skip
                return choice
        return None

    def _outside(self, sums: tuple[int, int], box: Box, fewer: Most) -> Choice | None:
        """Return the least design found before that has too many parts for the box, or is too
        dear, and yet lies below the line through the corner of the box."""
        coins, parts = sums
        corner = coins * box.price + parts * box.parts
        values = [
            (coins * choice.price + parts * choice.parts, number)
            for number, choice in enumerate(self.found)
            if choice.supply <= box.units
            and _fits(choice, fewer)
            and (choice.price > box.price or choice.parts > box.parts)
        ]
        least, number = min(values, default=(corner + 1, 0))
        return self.found[number] if least <= corner else None

    # -- what comes out ----------------------------------------------------------------------

    def _best(self, whole: Box) -> list[Choice]:
        """Return the designs that no other beats, one for each price, supply and parts."""
        best: dict[tuple[int, int, int], Choice] = {}
        allowed = [choice for choice in self.found if whole.holds(choice)]
        for choice in allowed:
            if not any(other.beats(choice) for other in allowed):
                best.setdefault(choice.values, choice)
        return [best[values] for values in sorted(best)]

    def _labelled(self, choice: Choice, undecided: Iterable[Box], whole: Box) -> Choice:
        """Return the design with what is proven of it."""
        ahead = {
            Measure.PRICE: replace(whole, price=choice.price - 1),
            Measure.SUPPLY: replace(whole, units=choice.supply - 1),
            Measure.PARTS: self._narrowed(replace(whole, parts=choice.parts - 1)),
        }
        least = tuple(measure for measure in Measure if self._closed(ahead[measure]))
        proven = all(
            self._closed(
                Box(
                    min(box.price, choice.price),
                    min(box.parts, choice.parts),
                    min(box.units, choice.supply),
                )
            )
            for box in undecided
        )
        return replace(choice, least=least, proven=proven)

    def _notes(self, front: Iterable[Choice], undecided: list[Box]) -> tuple[str, ...]:
        notes = []
        for choice in front:
            for measure in choice.least:
                said = {
                    Measure.PRICE: f"No design costs less than {counted(choice.price, 'coin')}.",
                    Measure.SUPPLY: "No design does with less than "
                    f"{counted(choice.supply, 'unit')}.",
                    Measure.PARTS: f"No design has fewer than {counted(choice.parts, 'part')}.",
                }[measure]
                if said not in notes:
                    notes.append(said)
        undecided = sorted(undecided, key=self._rank)
        # A price that so many parts cannot pass anyhow says nothing.
        told = [
            replace(box, price=ANY) if box == self._narrowed(replace(box, price=ANY)) else box
            for box in undecided[:MOST_OPEN]
        ]
        notes += [f"Not decided: {_in_words(box)}." for box in told]
        if len(undecided) > MOST_OPEN:
            notes.append(f"Not decided: {len(undecided) - MOST_OPEN} more questions of this kind.")
        return tuple(notes)

    # -- common ------------------------------------------------------------------------------

    def _telling(self, design: Design, first: Design) -> str:
        return telling(design, first, self.kit, self.problem.limits.stock)

    def _planned(self, problem: Problem) -> Outcome:
        left = max(0.1, self.deadline - time.monotonic())
        return self.plan(problem, left * self.share)

    def _over(self) -> bool:
        return self.stopped() or time.monotonic() >= self.deadline

    def _add(self, outcome: Outcome) -> Choice:
        design = outcome.design
        assert design is not None and outcome.verdict is not None
        choice = Choice(
            design,
            design.price(self.kit, self.problem.limits.stock),
            design.supply,
            parts_counted(design),
            states=outcome.verdict.states,
        )
        self.found.append(choice)
        return choice


def _counted(design: Design) -> Mapping[str, int]:
    """Return how many of each part count."""
    return Counter(part.part for part in design.parts if part.type not in UNCOUNTED)


def weighed(kit: Kit, coins: int, parts: int) -> Kit:
    """Return the kit with prices of `coins` x price + `parts`, in weighed coins."""
    return replace(
        kit,
        parts=tuple(
            replace(part, price=coins * part.price + (0 if part.type in UNCOUNTED else parts))
            for part in kit.parts
        ),
    )


def _limited(fewer: Most, part: str, number: int) -> Most:
    limits = dict(fewer)
    limits[part] = min(number, limits.get(part, number))
    return frozenset(limits.items())


def _with_most(most: tuple[tuple[str, int], ...], fewer: Most) -> tuple[tuple[str, int], ...]:
    """Return limits of single parts that keep both."""
    if not fewer:
        return most
    limits = dict(most)
    for part, number in sorted(fewer):
        limits[part] = min(number, limits.get(part, number))
    return tuple(limits.items())


def _fits(choice: Choice, fewer: Most) -> bool:
    used = _counted(choice.design)
    return all(used.get(part, 0) <= number for part, number in fewer)


def _no_more(fewer: Most, other: Most) -> bool:
    """Return whether whatever keeps the limits `fewer` keeps `other` too."""
    limits = dict(fewer)
    return all(part in limits and limits[part] <= number for part, number in other)


def _in_words(box: Box) -> str:
    bounds = [
        counted(number, noun)
        for number, noun in ((box.price, "coin"), (box.units, "unit"), (box.parts, "part"))
        if number < ANY
    ]
    if not bounds:
        return "whether there is a cheaper design"
    listed = bounds[0] if len(bounds) == 1 else f"{', '.join(bounds[:-1])} and {bounds[-1]}"
    return f"whether there is a design of at most {listed}"
