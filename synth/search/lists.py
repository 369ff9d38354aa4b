"""Parts lists in order of a lower bound on what any design with just these parts costs."""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, islice

from synth.design import Skeleton
from synth.parts.behaviour import LEVERS, SENSING, SPLITTING, TIMED, PartType
from synth.parts.kit import KitPart, to_buy
from synth.problem import Objective, Problem
from synth.search.bounds import on_together, surplus, units_floor, wires_floor
from synth.search.slots import Slot, joint_of_sets, relevant_parts
from synth.wording import counted

Offer = tuple[KitPart, str]
"""A part on offer and the outside input it follows ("" for none)."""
Key = tuple[int, ...]
"""Objectives in their order."""


def free_joints(parts: int, loads: int) -> int:
    """Return how many joints that cost nothing a model holds, where it has to hold them (see
    `joint_of_sets`): a bound of every claim."""
    return max(0, parts + loads - 2)


@dataclass(frozen=True)
class PartsList:
    """A multiset of parts, as ascending indices into the offers, with its bounds."""

    items: tuple[int, ...]
    price: int
    units: int
    wires: int

    def key(self, objectives: Sequence[Objective]) -> tuple[int, ...]:
        """Return the bounds in the order of the objectives."""
        values = {
            Objective.PRICE: self.price,
            Objective.SUPPLY: self.units,
            Objective.WIRES: self.wires,
        }
        return tuple(values[o] for o in objectives)


class Catalogue:
    """What is on offer for a problem, and its parts lists in order.

    `elsewhere` are parts, and `more_loads`, `more_needs` the number and needs of loads, of other
    circuits on the same supply: they count in the bounds, so that these are bounds on the whole.
    """

    def __init__(
        self,
        problem: Problem,
        floor: Callable[[int], int | None],
        elsewhere: Sequence[KitPart] = (),
        more_loads: int = 0,
        more_needs: int = 0,
        most: int = 12,
    ) -> None:
        self.problem = problem
        self.floor = floor
        self.elsewhere = tuple(elsewhere)
        self.loads = len(problem.requirements) + more_loads
        self.needs = sum(r.needs for r in problem.requirements) + more_needs
        self.outlets = max(
            (len(p.shape.outputs) for p in problem.kit.parts if p.type in SPLITTING), default=2
        )
        offers = relevant_parts(problem)
        joints = tuple(o for o in offers if o[0].type is PartType.JOINT)
        self.joint = joint_of_sets(problem)
        unlisted = joints if self.joint else tuple(o for o in joints if o[0].price == 0)
        self.free = () if self.joint else unlisted
        """Joints that cost nothing and have slots of their own, beside any list."""
        self.offers = tuple(o for o in offers if o not in unlisted)
        limits = dict(problem.limits.most)
        least = dict(problem.limits.least)
        self.caps = [
            self._cap(part, limits, max(most, least.get(part.name, 0))) for part, _ in self.offers
        ]
        sensing = {part.name for part, _ in self.offers if part.type in SENSING}
        self.most = most + sum(n for name, n in problem.limits.least if name in sensing)
        self.turning = [
            i for i, (p, _) in enumerate(self.offers) if p.type is PartType.RELAY_CHANGEOVER
        ]
        counts = problem.limits.supply is not None or problem.objectives[0] is Objective.SUPPLY
        self.reasons: dict[str, None] = {}
        """The limits for which lists were left out."""
        self.least_units = self.needs
        if self.turning:
            self.least_units = on_together(problem) if counts else 0
        self.least_units += problem.limits.spare

    @staticmethod
    def _cap(part: KitPart, limits: dict[str, int], most: int) -> int:
        cap = 1 if part.type in LEVERS else most
        for bound in (part.most, limits.get(part.name)):
            if bound is not None:
                cap = min(cap, bound)
        return cap

    def measure(self, items: tuple[int, ...]) -> PartsList | None:
        """Return the list with its bounds; None when no kit can share its power."""
        parts = [self.offers[i][0] for i in items] + list(self.elsewhere)
        extra = surplus(parts, self.loads)
        sharing = self.floor(extra)
        if sharing is None:
            return None
        price = self.price(parts) + sharing
        wires = wires_floor(parts, self.loads, self.outlets)
        units = units_floor(parts, self.needs) + self.problem.limits.spare
        units = max(self.least_units, units)
        return PartsList(items, price, units, wires)

    def price(self, parts: Sequence[KitPart]) -> int:
        """Return what has to be paid for `parts`, in coins."""
        return to_buy(parts, self.problem.limits.stock)

    def beyond(self, parts_list: PartsList) -> str:
        """Return which limit the bounds of a list exceed, "" if none."""
        limits = self.problem.limits
        if limits.supply is not None and parts_list.units > limits.supply:
            are = "is" if limits.supply == 1 else "are"
            return f"more than {counted(limits.supply, 'unit')} {are} needed"
        if limits.price is not None and parts_list.price > limits.price:
            return f"more than {limits.price} coins are needed"
        return ""

    def in_order(
        self, needed: Sequence[int], objectives: Sequence[Objective], timers: int = 0
    ) -> Iterator[PartsList]:
        """Yield all lists that hold the offers `needed` and at least `timers` parts with a
        running time (those among `needed` count), none before a lesser one.

        Each list comes once: from a start that has its change-overs, which lower the bound on
        units, and its timers of the lowest numbers, by adding all else in order, which lowers
        none of its bounds. So what is beyond a limit is left out with all that would follow.
        """
        timed = [i for i, (part, _) in enumerate(self.offers) if part.type in TIMED]
        timers = max(0, timers - sum(offer in timed for offer in needed))
        heap: list[tuple[tuple[int, ...], tuple[int, ...], int, int, PartsList]] = []

        def push(items: tuple[int, ...], least: int, least_timed: int) -> None:
            parts_list = self.measure(tuple(sorted(items)))
            if parts_list is None:
                return
            reason = self.beyond(parts_list)
            if reason:
                self.reasons[reason] = None
            else:
                entry = (parts_list.key(objectives), parts_list.items, least, least_timed)
                heapq.heappush(heap, (*entry, parts_list))

        for number in range(self.most + 1 if self.turning else 1):
            for turned in combinations_with_replacement(self.turning, number):
                for first in combinations_with_replacement(timed, timers):
                    start = (*first, *turned)
                    items = (*needed, *start)
                    if all(items.count(offer) <= self.caps[offer] for offer in items):
                        push(items, 0, max(first, default=0))
        while heap:
            _, items, least, least_timed, parts_list = heapq.heappop(heap)
            yield parts_list
            if len(items) - len(needed) - timers >= self.most:
                continue
            for offer in range(least, len(self.offers)):
                if offer in self.turning or (offer in timed and offer < least_timed):
                    continue
                if items.count(offer) < self.caps[offer]:
                    push((*items, offer), offer, least_timed)

    def parts(self, items: Sequence[int]) -> list[KitPart]:
        """Return the kit parts of a list."""
        return [self.offers[i][0] for i in items]

    def items_of(self, bare: Skeleton) -> tuple[int, ...]:
        """Return the parts list of a wiring, as indices into the offers."""
        items: list[int] = []
        for part in bare.parts:
            follows = part.setting("input") or ("night" if part.setting("passes") else "")
            for index, (offer, name) in enumerate(self.offers):
                if offer.name == part.part and name == follows:
                    items.append(index)
        return tuple(sorted(items))

    def slots(self, items: Sequence[int], loads: Sequence[str]) -> tuple[Slot, ...]:
        """Return slots for a list, free joints, and the loads named."""
        found: list[Slot] = []
        counts: dict[tuple[str, str], int] = {}
        for index in items:
            part, follows = self.offers[index]
            number = counts[part.name, follows] = counts.get((part.name, follows), 0) + 1
            stem = f"{part.name} {follows}" if follows and follows != part.name else part.name
            found.append(Slot(f"{stem} {number}", part, follows, fixed=True))
        for part, _ in self.free:
            most = free_joints(len(items), len(loads))
            for number in range(1, self._cap(part, dict(self.problem.limits.most), most) + 1):
                found.append(Slot(f"{part.name} {number}", part))
        load = self.problem.kit.of_type(PartType.LOAD)[0]
        for requirement in self.problem.requirements:
            if requirement.load in loads:
                found.append(
                    Slot(requirement.load, load, load=requirement.load, needs=requirement.needs)
                )
        return tuple(found)


class Queue:
    """Parts lists in order of their keys; those put off come before new ones of the same key."""

    def __init__(self, lists: Iterator[PartsList], objectives: Sequence[Objective]) -> None:
        self._lists = lists
        self._objectives = objectives
        self._next: deque[PartsList] = deque()
        self._again: list[tuple[Key, tuple[int, ...], PartsList]] = []
        self._taken: tuple[Key, PartsList, bool] | None = None

    def again(self, key: Key, parts_list: PartsList) -> None:
        """Put a list off until `key`, to be asked at a price."""
        heapq.heappush(self._again, (key, parts_list.items, parts_list))

    def back(self) -> None:
        """Put the list back that was taken last: it is taken first when lists are taken again."""
        if self._taken is not None:
            key, parts_list, priced = self._taken
            if priced:
                self.again(key, parts_list)
            else:
                self._next.appendleft(parts_list)
        self._taken = None

    def ahead(self, count: int) -> Iterator[PartsList]:
        """Yield up to `count` new lists that come next."""
        for place in range(count):
            if len(self._next) <= place:
                self._next.extend(islice(self._lists, 1))
            if len(self._next) <= place:
                return
            yield self._next[place]

    def __iter__(self) -> Iterator[tuple[Key, PartsList, bool]]:
        """Yield (key, list, whether it was put off)."""
        while True:
            new = next(self.ahead(1), None)
            later = new.key(self._objectives) if new is not None else None
            if self._again and (later is None or self._again[0][0] <= later):
                key, _, parts_list = heapq.heappop(self._again)
                self._taken = key, parts_list, True
            elif new is not None and later is not None:
                self._next.popleft()
                self._taken = later, new, False
            else:
                return
            yield self._taken
