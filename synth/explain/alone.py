"""Parts of a job that can be asked by themselves."""

from __future__ import annotations

from collections import Counter

from synth.design import Design
from synth.parts.behaviour import SPLITTING, PartType
from synth.parts.kit import Kit
from synth.problem import Problem
from synth.signals import loads_of


def groups(problem: Problem) -> list[frozenset[str]]:
    """Return for each load the loads that it follows, itself among them: each group once, none
    that is the whole job."""
    follows = {r.load: loads_of(r.signal) for r in problem.requirements}
    found: dict[frozenset[str], None] = {}
    for load in follows:
        group: set[str] = set()
        waiting = [load]
        while waiting:
            name = waiting.pop()
            if name not in group:
                group.add(name)
                waiting.extend(follows.get(name, ()))
        if len(group) < len(follows):
            found[frozenset(group)] = None
    return list(found)


def parts_in_words(design: Design, kit: Kit) -> str:
    """Return the parts of a design that have to be bought, and what sharing its power costs."""
    aside = (PartType.SUPPLY, PartType.LOAD)
    bought = Counter(p.part for p in design.parts if p.type not in (*SPLITTING, *aside))
    words = [name if number == 1 else f"{number} x {name}" for name, number in bought.items()]
    share = sum(kit.index[p.part].price for p in design.parts if p.type in SPLITTING)
    if share:
        words.append(f"parts that share power for {share} coin{'' if share == 1 else 's'}")
    return ", ".join(words) or "no part at all"
