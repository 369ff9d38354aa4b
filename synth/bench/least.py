"""The least whole numbers that keep given orders: a small exact search.

A *cut* says that a sum of whole multiples of the numbers is at least 0 or 1. The search keeps a
box of lowest and highest values, narrows it by every cut, and splits it; boxes are taken up in
the order of the sum of their lowest values, so the first vector that fits has the least sum.
"""

from __future__ import annotations

import heapq
import time as clock
from collections.abc import Callable, Sequence
from dataclasses import dataclass

MOST_BOXES = 100_000
"""Boxes that one search looks at before it gives up."""


@dataclass(frozen=True, order=True)
class Cut:
    """The sum of `amount` times number `index`, over all `terms`, is at least `least`."""

    terms: tuple[tuple[int, int], ...]
    least: int

    def holds(self, numbers: Sequence[int]) -> bool:
        """Return whether `numbers` keep it."""
        return sum(amount * numbers[i] for i, amount in self.terms) >= self.least


def cut(amounts: dict[int, int], least: int) -> Cut:
    """Return the cut with these amounts by index, those of nothing left out."""
    return Cut(tuple(sorted((i, a) for i, a in amounts.items() if a)), least)


_Box = tuple[list[int], list[int]]
"""The lowest and the highest value of each number."""


class GaveUp(Exception):
    """The search looked at too many boxes, or the time was up."""


@dataclass
class Numbers:
    """What is asked: `lowest` and `highest` of each number, and for each the next value that it
    may take from a value on (None: there is none)."""

    lowest: tuple[int, ...]
    highest: tuple[int, ...]
    next_allowed: Callable[[int, int], int | None]
    _boxes: int = 0

    def least(
        self,
        cuts: Sequence[Cut],
        fits: Callable[[tuple[int, ...]], bool] = lambda numbers: True,
        deadline: float | None = None,
    ) -> tuple[int, ...] | None:
        """Return the vector that keeps all cuts and `fits`, with the least last number, then the
        least sum, then the least first numbers; None when there is none. Raises GaveUp."""
        start = self._narrowed(self.lowest, self.highest, cuts)
        if start is None:
            return None
        low, high = start
        self._boxes = 0
        for value in range(low[-1], high[-1] + 1):
            box = ([*low[:-1], value], [*high[:-1], value])
            found = self._least_in(box, cuts, fits, deadline)
            if found is not None:
                return found
        return None

    def _least_in(
        self,
        whole: _Box,
        cuts: Sequence[Cut],
        fits: Callable[[tuple[int, ...]], bool],
        deadline: float | None,
    ) -> tuple[int, ...] | None:
        """Return what `least` does of one box in which the last number is fixed."""
        heap: list[tuple[int, list[int], list[int]]] = []
        new: list[_Box] = [whole]
        while True:
            for low, high in new:
                box = self._narrowed(low, high, cuts)
                if box is not None:
                    heapq.heappush(heap, (sum(box[0]), *box))
            self._boxes += 1
            late = deadline is not None and clock.monotonic() > deadline
            if self._boxes > MOST_BOXES or late:
                raise GaveUp
            if not heap:
                return None
            _, low, high = heapq.heappop(heap)
            new = []
            split = self._to_split(low, high, cuts)
            if split is None:
                if fits(tuple(low)):
                    return tuple(low)
                split = next((i for i, least in enumerate(low) if least < high[i]), None)
            if split is not None:
                new = [
                    (low, [*high[:split], low[split], *high[split + 1 :]]),
                    ([*low[:split], low[split] + 1, *low[split + 1 :]], high),
                ]

    def _to_split(self, lowest: list[int], highest: list[int], cuts: Sequence[Cut]) -> int | None:
        """Return a number that has to rise for a cut that the lowest values break, else None."""
        for each in cuts:
            if not each.holds(lowest):
                # Narrowing leaves a broken cut only where some number of it can still rise.
                return next(i for i, a in each.terms if a > 0 and lowest[i] < highest[i])
        return None

    def _narrowed(
        self, lowest: Sequence[int], highest: Sequence[int], cuts: Sequence[Cut]
    ) -> _Box | None:
        """Return the box narrowed by every cut and by what is allowed, None when it is empty."""
        low, high = list(lowest), list(highest)
        changed = True
        while changed:
            changed = False
            for i, value in enumerate(low):
                allowed = self.next_allowed(i, value)
                if allowed is None or allowed > high[i]:
                    return None
                if allowed != value:
                    low[i], changed = allowed, True
            for each in cuts:
                most = sum(a * (high[i] if a > 0 else low[i]) for i, a in each.terms)
                if most < each.least:
                    return None
                spare = most - each.least
                for i, a in each.terms:
                    if a > 0:
                        # a * x >= a * high - spare
                        bound = -((spare - a * high[i]) // a)
                        if bound > low[i]:
                            low[i], changed = bound, True
                    else:
                        bound = low[i] + spare // -a
                        if bound < high[i]:
                            high[i], changed = bound, True
                    if low[i] > high[i]:
                        return None
        return low, high
