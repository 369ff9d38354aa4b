"""Is a design built as was wished: with these parts, units to spare, loads on separate branches?

Read off the wires of the finished design, part by part; nothing of the search is used.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace

from synth.design import Design, PartInUse, Terminal
from synth.parts.behaviour import SPLITTING, TIMED, PartType
from synth.parts.kit import Kit
from synth.problem import Problem

Short = Callable[[Design], list[str]]
"""Returns a sentence for each consumer that gets too few units."""


def wishes(design: Design, problem: Problem, short: Short) -> list[str]:
    """Return a sentence for each wish that a well-formed `design` does not meet."""
    return [
        *_too_few(design, problem),
        *_nothing_to_spare(design, problem, short),
        *_on_one_branch(design, problem),
        *_timed(design, problem),
    ]


def _too_few(design: Design, problem: Problem) -> Iterator[str]:
    """Check that the parts asked for are in use: an output of each feeds another part."""
    feeding = {w.source.part for w in design.wires if w.source.part != w.target.part}
    used = Counter(part.part for part in design.parts if part.name in feeding)
    for name, least in problem.limits.least:
        if used[name] < least:
            yield (
                f"the design uses {used[name] or 'none'} of '{name}'; at least {least} "
                f"{'is' if least == 1 else 'are'} asked for, each feeding another part"
            )


def _nothing_to_spare(design: Design, problem: Problem, short: Short) -> Iterator[str]:
    """Check that with so many units less at the supply every consumer would still get its need."""
    spare = problem.limits.spare
    if not spare or short(design):
        return
    units = design.supply - spare
    if units < 0 or short(with_supply(design, units)):
        yield (
            f"the supply is set to {design.supply} and has less than {spare} to spare: with "
            f"{max(units, 0)} some consumer would get too little"
        )


def with_supply(design: Design, units: int) -> Design:
    """Return `design` with its supply set to `units`, the units on its wires not stated."""
    parts = tuple(
        replace(part, settings=(*((k, v) for k, v in part.settings if k != "units"),
                                ("units", units)))
        if part.type is PartType.SUPPLY
        else part
        for part in design.parts
    )  # fmt: skip
    return replace(
        design, parts=parts, wires=tuple(replace(wire, units=None) for wire in design.wires)
    )


def _on_one_branch(design: Design, problem: Problem) -> Iterator[str]:
    """Check that nothing but the supply and splitting parts carries power to both of a pair."""
    for one, other in problem.limits.branches:
        beside = {part.name for part in carrying(design, problem.kit, other)}
        shared = [
            part.name
            for part in carrying(design, problem.kit, one)
            if part.name in beside and part.type is not PartType.SUPPLY
            and part.type not in SPLITTING
        ]  # fmt: skip
        if shared:
            yield (
                f"'{one}' and '{other}' are to be on separate branches, but "
                f"{' and '.join(sorted(shared))} {'carries' if len(shared) == 1 else 'carry'} "
                "power to both"
            )


def _timed(design: Design, problem: Problem) -> Iterator[str]:
    """Check that no timer's contact lies on the way of power to a load that is to be untimed."""
    for load in problem.limits.untimed:
        timers = sorted(p.name for p in carrying(design, problem.kit, load) if p.type in TIMED)
        if timers:
            yield (
                f"no timer is to carry power to '{load}', but {' and '.join(timers)} "
                f"{'does' if len(timers) == 1 else 'do'}"
            )


def carrying(design: Design, kit: Kit, load: str) -> list[PartInUse]:
    """Return the parts through which power may come to `load`, back to the supply; not the parts
    that feed controls on the way."""
    parts = {part.name: part for part in design.parts}
    fed: dict[Terminal, list[str]] = {}
    for wire in design.wires:
        fed.setdefault(wire.target, []).append(wire.source.part)
    found: dict[str, PartInUse] = {}
    todo = [load]
    for name in todo:
        line = kit.index.get(parts[name].part) if name in parts else None
        for terminal in line.shape.power if line is not None else ():
            for source in fed.get(Terminal(name, terminal), ()):
                if source in parts and source not in found:
                    found[source] = parts[source]
                    todo.append(source)
    return list(found.values())
