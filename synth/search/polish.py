"""Single wires moved for less power at the same or a lower price; every change is checked anew."""

from __future__ import annotations

from dataclasses import replace

from synth.design import Design, Skeleton, Terminal
from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.result import Verdict
from synth.search.basics import Progress, Tools, design_key


def polished(
    skeleton: Skeleton,
    design: Design,
    verdict: Verdict,
    problem: Problem,
    tools: Tools,
    progress: Progress,
) -> tuple[Skeleton, Design, Verdict]:
    """Return a design no worse in any order of objectives, found by moving one wire at a time.

    This proves nothing; it spares power that the first design of a proven price may waste, since
    the search proper proves the first objective only.
    """
    outputs = [
        Terminal(part.name, output)
        for part in skeleton.parts
        for output in problem.kit.index[part.part].shape.outputs
        if part.type is not PartType.LOAD
    ]
    best = design_key(design, problem)
    improved = True
    while improved and not progress.over():
        improved = False
        for number, (source, target) in enumerate(skeleton.feeds):
            for other in outputs:
                if other == source or other.part == target.part or progress.over():
                    continue
                feeds = (*skeleton.feeds[:number], (other, target), *skeleton.feeds[number + 1 :])
                moved = replace(skeleton, feeds=feeds)
                if _loops(moved, problem) or _idle(moved, source):
                    continue
                trial = tools.share(moved, problem)
                if trial is None or design_key(trial, problem) >= best:
                    continue
                judged = tools.check(trial, problem)
                if judged is not None and judged.holds:
                    skeleton, design, verdict = moved, trial, judged
                    best, improved = design_key(trial, problem), True
                    break
    return skeleton, design, verdict


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
