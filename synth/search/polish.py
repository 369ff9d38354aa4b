"""Wires moved for a lower price or less power; every change is checked anew."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from math import inf

from synth.design import Design, Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.problem import Objective, Problem
from synth.result import Verdict
from synth.search.basics import Progress, Tools, design_key
from synth.search.lists import Key

Wired = tuple[Skeleton, Design, Verdict]
"""A wiring, the design made of it, and what the check says of it."""


def polished(
    wired: Wired, problem: Problem, tools: Tools, progress: Progress, aside: int = 0
) -> Wired:
    """Return a design no worse in any order of objectives, found by moving one wire at a time, or
    two, the first of which leaves what counts first as it is: so many as `aside` are checked.

    This proves nothing; it spares what the first design of a proven price may waste, since the
    search proper proves the first objective only, and what circuits waste that were put together.
    """
    wired = _straight(wired, problem, tools, progress)
    seen = {wired[0]}
    number = still = 0
    while aside > 0 and still < len(wired[0].feeds) and not progress.over():
        best = design_key(wired[1], problem)
        for other in _moved(wired[0], number, problem, tools, progress, best, True):
            aside -= 1
            if other[2].holds and other[0] not in seen:
                seen.add(other[0])
                further = _straight(other, problem, tools, progress)
                if design_key(further[1], problem) < best:
                    wired, still = further, 0
                    break
            if aside <= 0:
                break
        number, still = (number + 1) % len(wired[0].feeds), still + 1
    return wired


def _straight(wired: Wired, problem: Problem, tools: Tools, progress: Progress) -> Wired:
    """Return a design no worse, found by moving one wire after the other."""
    number = still = 0
    while still < len(wired[0].feeds) and not progress.over():
        best = design_key(wired[1], problem)
        for other in _moved(wired[0], number, problem, tools, progress, best):
            if other[2].holds:
                wired, still = other, 0
                break
        number, still = (number + 1) % len(wired[0].feeds), still + 1
    return wired


def _moved(
    skeleton: Skeleton,
    number: int,
    problem: Problem,
    tools: Tools,
    progress: Progress,
    best: Key,
    aside: bool = False,
) -> Iterator[Wired]:
    """Yield the wirings with wire `number` moved that cost less than `best`, or with `aside` no
    more than it by the first objective, and what the check says of each."""
    outputs = [
        Terminal(part.name, output)
        for part in skeleton.parts
        for output in problem.kit.index[part.part].shape.outputs
        if part.type is not PartType.LOAD
    ]
    fed = Counter(source for source, _ in skeleton.feeds)
    by_price = problem.objectives[0] is Objective.PRICE and not problem.limits.stock
    parts = sum(problem.kit.index[part.part].price for part in skeleton.parts)
    splits = {output: tools.fan_out(count) or 0 for output, count in fed.items()}

    def least(source: Terminal, other: Terminal) -> float:
        """Return the price with a wire moved from `source` to `other`, at least."""
        less, more = tools.fan_out(max(1, fed[source] - 1)), tools.fan_out(fed[other] + 1)
        if less is None or more is None:
            return inf
        kept = sum(splits.values()) - splits[source] - splits.get(other, 0)
        return parts + kept + less + more

    source, target = skeleton.feeds[number]
    for other in outputs:
        if progress.over():
            return
        if other == source or other.part == target.part:
            continue
        if by_price and least(source, other) > best[0]:
            continue
        feeds = (*skeleton.feeds[:number], (other, target), *skeleton.feeds[number + 1 :])
        moved = replace(skeleton, feeds=feeds)
        if _loops(moved, problem) or _idle(moved, source):
            continue
        trial = tools.share(moved, problem)
        if trial is None:
            continue
        key = design_key(trial, problem)
        if key >= best and not (aside and key[0] == best[0]):
            continue
        verdict = tools.check(trial, problem)
        if verdict is not None:
            yield moved, trial, verdict


def _idle(skeleton: Skeleton, source: Terminal) -> bool:
    """Return whether `source` has lost its last wire."""
    return all(fed != source for fed, _ in skeleton.feeds)


def _loops(skeleton: Skeleton, problem: Problem) -> bool:
    """Return whether power would flow in a loop."""
    after: dict[str, list[str]] = {}
    power = {p.name: problem.kit.index[p.part].shape.power for p in skeleton.parts}
    for source, target in skeleton.feeds:
        if target.terminal in power[target.part]:
            after.setdefault(source.part, []).append(target.part)
    done: set[str] = set()
    open_: set[str] = set()

    def visit(name: str) -> bool:
        if name in open_:
            return True
        if name in done:
            return False
        open_.add(name)
        found = any(visit(following) for following in after.get(name, ()))
        open_.discard(name)
        done.add(name)
        return found

    return any(visit(part.name) for part in skeleton.parts)
