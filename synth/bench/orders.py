"""From a run of events to the sums of times whose order it hangs on.

The events of a run can be placed in time just if no circle of its bounds adds up to less than
nothing (Bellman 1958; Dechter, Meiri and Pearl 1991, simple temporal problems). Each circle adds
up whole multiples of the times, so what it demands is an order of two sums of times: a run that
must stay possible demands every such order, a run that must stay impossible one that fails.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from synth.bench.least import Cut, cut
from synth.ticks import format_duration


class Bound(Protocol):
    """In a run, event `later` comes `time` ticks after `first` (`exact`), or sooner than that."""

    @property
    def first(self) -> int:
        """The number of the earlier event."""

    @property
    def later(self) -> int:
        """The number of the later event."""

    @property
    def time(self) -> int:
        """The time of the real design, in ticks."""

    @property
    def exact(self) -> bool:
        """Whether it is just that time, not less."""


class Difference(Protocol):
    """A run of events that only one of two designs can go through."""

    @property
    def in_first(self) -> bool:
        """Whether only the first can."""

    @property
    def bounds(self) -> Sequence[Bound]:
        """What its events are bound by."""

    @property
    def beyond(self) -> Sequence[Bound]:
        """The bounds of a longer run of the first that begins with it, empty for the second."""


_Edge = tuple[int, int, int, int]
"""From event, to event: it comes at most `sign` times `time` later (`time` 0: earlier by more
than nothing). As (from, to, sign, time); a sign of 2 marks "sooner than `time`"."""


def _edges(bounds: Sequence[Bound]) -> tuple[int, list[_Edge]]:
    """Return (number of events, edges) of a run."""
    events = 1 + max((b.later for b in bounds), default=0)
    edges: list[_Edge] = [(at, at - 1, 0, 0) for at in range(1, events)]
    # A timer and the goal that it serves count the same time between the same events.
    for bound in {(b.first, b.later, b.time, b.exact): b for b in bounds}.values():
        if bound.exact:
            edges.append((bound.first, bound.later, 1, bound.time))
            edges.append((bound.later, bound.first, -1, bound.time))
        else:
            edges.append((bound.first, bound.later, 2, bound.time))
    return events, edges


def _weights(events: int, edges: Sequence[_Edge], value: Callable[[int], int]) -> list[int]:
    """Return one number for each edge, so that circles of less than nothing, and circles of
    nothing with a strict edge, are those that add up to a negative number."""
    scale = events + 1
    found = []
    for _, _, sign, time in edges:
        if sign == 0:
            found.append(-1)
        elif sign == 2:
            found.append(value(time) * scale - 1)
        else:
            found.append(sign * value(time) * scale)
    return found


def _summed(edges: Sequence[_Edge]) -> tuple[dict[int, int], bool]:
    """Return (how often each time counts, whether an edge is strict) of a circle."""
    amounts: dict[int, int] = {}
    strict = False
    for _, _, sign, time in edges:
        strict = strict or sign in (0, 2)
        if sign:
            amounts[time] = amounts.get(time, 0) + (1 if sign > 0 else -1)
    return {time: amount for time, amount in amounts.items() if amount}, strict


def bad_circle(
    bounds: Sequence[Bound], value: Callable[[int], int]
) -> tuple[dict[int, int], bool] | None:
    """Return a circle of bounds that cannot be kept with the times of `value`, None: all can.

    The circle is (how often each real time counts in its sum, whether that sum must even be
    more than nothing).
    """
    events, edges = _edges(bounds)
    weights = _weights(events, edges, value)
    distance = [0] * events
    by: list[int | None] = [None] * events
    for _ in range(events + 1):
        changed = False
        for number, (source, target, _, _) in enumerate(edges):
            further = distance[source] + weights[number]
            if further < distance[target]:
                distance[target], by[target], changed = further, number, True
        if not changed:
            return None
        circle = _circle(edges, by)
        if circle:
            return _summed([edges[number] for number in circle])
    raise AssertionError("a run without end has a circle")


def _circle(edges: Sequence[_Edge], by: Sequence[int | None]) -> list[int]:
    """Return a circle of edges by which events were last moved, empty when there is none."""
    state = [0] * len(by)
    for root in range(len(by)):
        path: list[int] = []
        at = root
        while state[at] == 0:
            state[at] = 1
            path.append(at)
            number = by[at]
            if number is None:
                break
            at = edges[number][0]
            if state[at] == 1:
                inside = path[path.index(at) :]
                return [n for event in inside if (n := by[event]) is not None]
        for event in path:
            state[event] = 2
    return []


def tight_circles(
    bounds: Sequence[Bound], value: Callable[[int], int], most: int = 6
) -> list[tuple[dict[int, int], bool]]:
    """Return, for the last `most` exact bounds of a possible run, the tightest circles through
    each: what bounds that time from above and from below by all the others."""
    events, edges = _edges(bounds)
    weights = _weights(events, edges, value)
    exact = [n for n, (_, _, sign, _) in enumerate(edges) if sign in (1, -1)]
    found = []
    for number in exact[-2 * most :]:
        # The edge itself closes the circle; its twin and itself may not be part of the way.
        twin = number + 1 if edges[number][2] == 1 else number - 1
        start, end = edges[number][1], edges[number][0]
        way = _way(events, edges, weights, start, end, (number, twin))
        if way:
            found.append(_summed([edges[number], *(edges[n] for n in way)]))
    return found


def _way(
    events: int,
    edges: Sequence[_Edge],
    weights: Sequence[int],
    start: int,
    end: int,
    without: tuple[int, int],
) -> list[int]:
    """Return the edges of the shortest way from `start` to `end`, empty when there is none."""
    far = 1 << 200
    distance = [far] * events
    distance[start] = 0
    by: list[int] = [-1] * events
    for _ in range(events):
        changed = False
        for number, (source, target, _, _) in enumerate(edges):
            if distance[source] == far or number in without:
                continue
            further = distance[source] + weights[number]
            if further < distance[target]:
                distance[target], by[target], changed = further, number, True
        if not changed:
            break
    if distance[end] == far:
        return []
    way = []
    at = end
    while at != start:
        way.append(by[at])
        at = edges[by[at]][0]
    return way


def cuts_of_possible(
    difference: Difference, real: Sequence[int], numbers: Sequence[int]
) -> list[Cut]:
    """Return cuts that numbers must keep for a run to stay possible; `numbers` break the first.

    `real` are the times that stand behind the numbers, in ticks.
    """
    index = {time: i for i, time in enumerate(real)}
    circle = bad_circle(difference.bounds, lambda time: numbers[index[time]])
    assert circle is not None, "a run that is impossible has a circle that shows it"
    circles = [circle]
    if difference.beyond:
        circles += tight_circles(difference.beyond, lambda time: time)
    found: dict[Cut, None] = {}
    for amounts, strict in circles:
        if amounts:
            found[cut({index[t]: a for t, a in amounts.items()}, int(strict))] = None
    return list(found)


def cut_of_impossible(difference: Difference, real: Sequence[int]) -> Cut:
    """Return a cut with which a run stays impossible for the reason that makes it so now.

    It may stay impossible for another reason too, so numbers that break the cut may still do.
    """
    index = {time: i for i, time in enumerate(real)}
    circle = bad_circle(difference.bounds, lambda time: time)
    assert circle is not None, "a run that is impossible has a circle that shows it"
    amounts, strict = circle
    return cut({index[t]: -a for t, a in amounts.items()}, 0 if strict else 1)


def said(
    cuts: Sequence[Cut], real: Sequence[int], whose: Callable[[int], str] | None = None
) -> tuple[str, ...]:
    """Return the orders that `cuts` demand, in words: a pair of opposite ones is one equality.

    `whose` says to what a real time belongs; then each order is followed by that of its times.
    """
    there = {(c.terms, c.least) for c in cuts}
    lines: list[str] = []
    for each in cuts:
        opposite = tuple((i, -a) for i, a in each.terms)
        right = _sum({real[i]: a for i, a in each.terms if a > 0})
        left = _sum({real[i]: -a for i, a in each.terms if a < 0})
        sign = "<" if each.least else "≤"
        if not each.least and (opposite, 0) in there:
            sign = "="
            left, right = sorted((left, right), key=lambda text: ("+" in text, text))
        line = f"{left} {sign} {right}"
        if whose is not None:
            times = sorted(real[i] for i, _ in each.terms)
            line += f" ({'; '.join(f'{format_duration(t)}: {whose(t)}' for t in times)})"
        if line not in lines:
            lines.append(line)
    return tuple(lines)


def _sum(amounts: Mapping[int, int]) -> str:
    pieces = [
        (f"{amount} × " if amount > 1 else "") + format_duration(time)
        for time, amount in sorted(amounts.items())
    ]
    return " + ".join(pieces) or "nothing"
