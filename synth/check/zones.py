"""Sets of clock values as difference bounds (Bengtsson and Yi 2004), small and exact.

A zone over n clocks is a flat tuple of (n + 1) x (n + 1) bounds, row by row: entry [i][j] bounds
x_i - x_j, where x_0 is always 0. A bound is one integer, 2 c for "< c" and 2 c + 1 for "<= c".
Every clock has a deadline, so no bound is ever missing and no extrapolation is needed. All
zones here are *closed* (no bound can be tightened by a chain of others) and not empty.
"""

from __future__ import annotations

Zone = tuple[int, ...]

ZERO = 1
"""The bound "<= 0"."""


def plus(a: int, b: int) -> int:
    """Return the bound on a sum: strict when either is."""
    return a + b - ((a | b) & 1)


def chosen(zone: Zone, clocks: int, sources: tuple[int, ...]) -> Zone:
    """Return the zone over new clocks, each equal to an old one (0: one that starts now)."""
    size = clocks + 1
    rows = (0, *sources)
    return tuple([zone[a * size + b] for a in rows for b in rows])


def waited(zone: Zone, deadlines: tuple[int, ...]) -> Zone:
    """Return where a wait of more than nothing can lead, no clock beyond its deadline (ticks)."""
    clocks = len(deadlines)
    if not clocks:
        return zone
    size = clocks + 1
    d = list(zone)
    for j in range(1, size):
        d[j] &= ~1
    upper = [deadline << 1 | 1 for deadline in deadlines]
    # `plus` is written out here and below: to call it took a tenth of a check's time.
    for row in range(size, size * size, size):
        d[row] = min(
            [a + b - ((a | b) & 1) for a, b in zip(zone[row + 1 : row + size], upper, strict=True)]
        )
    first = d[:size]
    for row in range(size, size * size, size):
        a = d[row]
        for j in range(1, size):
            b = first[j]
            through = a + b - ((a | b) & 1)
            # On the diagonal it is no less than 0: the zone is not empty.
            if through < d[row + j]:
                d[row + j] = through
    return tuple(d)


def tightened(zone: Zone, clocks: int, i: int, j: int, bound: int) -> Zone | None:
    """Return the zone where also x_i - x_j is within `bound`; None when that is empty."""
    size = clocks + 1
    from_j = j * size
    if bound >= zone[i * size + j]:
        return zone
    if plus(bound, zone[from_j + i]) < ZERO:
        return None
    beyond = zone[from_j : from_j + size]
    d: list[int] = []
    for row in range(0, size * size, size):
        present = zone[row : row + size]
        a = present[i]
        a += bound - ((a | bound) & 1)
        if a >= present[j]:
            # What lies behind x_j is bounded through the old bound already.
            d += present
            continue
        for b, old in zip(beyond, present, strict=True):
            through = a + b - ((a | b) & 1)
            d.append(through if through < old else old)
    return tuple(d)


def expiries(zone: Zone, deadlines: tuple[int, ...]) -> tuple[tuple[int, Zone], ...]:
    """Return (set of clocks at their deadline as a mask, zone) for each set that can be.

    In each zone the clocks of the set stand exactly at their deadlines, all others strictly
    before theirs. The empty set is the first, when it can be.
    """
    clocks = len(deadlines)
    size = clocks + 1
    result: list[tuple[int, Zone]] = []

    def decide(clock: int, due: int, present: Zone) -> None:
        while clock <= clocks and present[clock * size] <= deadlines[clock - 1] << 1:
            clock += 1  # strictly before its deadline in all of the zone
        if clock > clocks:
            result.append((due, present))
            return
        deadline = deadlines[clock - 1]
        before = tightened(present, clocks, clock, 0, deadline << 1)
        if before is not None:
            decide(clock + 1, due, before)
        at = tightened(present, clocks, 0, clock, (-deadline) << 1 | 1)
        if at is not None:
            decide(clock + 1, due | 1 << (clock - 1), at)

    decide(1, 0, zone)
    return tuple(result)
