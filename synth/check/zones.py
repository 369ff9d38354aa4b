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
    return ((a >> 1) + (b >> 1)) << 1 | (a & b & 1)


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
    upper = [ZERO] + [deadline << 1 | 1 for deadline in deadlines]
    for i in range(1, size):
        row = i * size
        d[row] = min(plus(zone[row + k], upper[k]) for k in range(1, size))
    for i in range(1, size):
        row = i * size
        for j in range(1, size):
            if i != j:
                through = plus(d[row], d[j])
                if through < d[row + j]:
                    d[row + j] = through
    return tuple(d)


def tightened(zone: Zone, clocks: int, i: int, j: int, bound: int) -> Zone | None:
    """Return the zone where also x_i - x_j is within `bound`; None when that is empty."""
    size = clocks + 1
    if bound >= zone[i * size + j]:
        return zone
    if plus(bound, zone[j * size + i]) < ZERO:
        return None
    d = list(zone)
    to_i = [plus(zone[p * size + i], bound) for p in range(size)]
    for p in range(size):
        row = p * size
        for q in range(size):
            through = plus(to_i[p], zone[j * size + q])
            if through < d[row + q]:
                d[row + q] = through
    return tuple(d)


def expiries(zone: Zone, deadlines: tuple[int, ...]) -> tuple[tuple[int, Zone], ...]:
    """Return (set of clocks at their deadline as a mask, zone) for each set that can be.

    In each zone the clocks of the set stand exactly at their deadlines, all others strictly
    before theirs. The empty set is the first, when it can be.
    """
    clocks = len(deadlines)
    result: list[tuple[int, Zone]] = []

    def decide(clock: int, due: int, present: Zone) -> None:
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
