"""Circuits asked for together, with all the rest of a whole counted in.

The *hard* circuits are those that need more than a sensing part for each input. What the *plain*
ones take at least is known: a sensing part for each of their inputs, and one more input to feed
for each of their loads.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from synth.design import Skeleton, Terminal
from synth.parts.behaviour import SENSING
from synth.problem import Problem
from synth.search.apart import may_be_held, may_be_open, only, put_together
from synth.search.basics import Progress, Tools, Working, floor_for
from synth.search.bounds import essential
from synth.search.circuits import Circuit, wirings_of
from synth.search.engine import Engine, Larger
from synth.search.lists import Catalogue
from synth.search.one_by_one import outside
from synth.search.questions import Elsewhere, Questions
from synth.search.within import most_of_each


def hard_ones(circuits: Sequence[Circuit]) -> list[Circuit]:
    """Return the circuits that are not plain, and those behind a common switch of theirs."""
    hard = [circuit for circuit in circuits if not circuit.plain]
    levers = {lever for circuit in hard for lever in circuit.piece.path}
    return [c for c in circuits if c in hard or levers & set(c.piece.path)]


def always_held(problem: Problem, circuits: Sequence[Circuit]) -> bool:
    """Return whether a design of the whole problem always holds one of these circuits of it."""
    own = frozenset().union(*(circuit.inputs for circuit in circuits))
    return bool(circuits) and may_be_held(problem, outside(problem) - own)


def asked_together(
    problem: Problem,
    hard: Sequence[Circuit],
    plain: Sequence[Circuit],
    tools: Tools,
    progress: Progress,
    seed: int,
    stands: Callable[[Skeleton], Working | None],
) -> Engine | None:
    """Return what asks for the circuits `hard` of a problem together, with the `plain` ones, all
    others, counted in; None where some input cannot be followed. `stands` gives the checked design
    of the whole that is wired so, if there is one."""
    floor = floor_for(tools)
    loads = {r.load for c in hard for r in c.problem.requirements}
    asked = only(problem, loads) if plain else problem
    own = outside(asked)
    needed = {name for c in plain for name in essential(c.problem)}
    needed |= {name for c in plain for _, name in c.piece.path}
    sensing = [
        (part, name)
        for part, name in Catalogue(problem, floor).offers
        if part.type in SENSING and name not in own
    ]
    if not needed - own <= {name for _, name in sensing}:
        return None
    # The cheapest part that follows each input: any design has at least that.
    elsewhere = [
        min((part for part, name in sensing if name == wanted), key=lambda part: part.price)
        for wanted in sorted(needed - own)
    ]
    others = [r for r in problem.requirements if r.load not in loads]
    catalogue = Catalogue(
        asked,
        floor,
        elsewhere,
        len(others),
        sum(r.needs for r in others),
        most_of_each(problem),
    )
    larger = None
    if plain:
        nets = Counter(source for source, _ in put_together(wirings_of(plain)).feeds)
        supply = nets.pop(Terminal("supply", "out"))
        larger = Larger(
            Elsewhere(len(elsewhere) + len(others), len(elsewhere)),
            lambda working: stands(put_together([((), working.skeleton), *wirings_of(plain)])),
            supply,
            sum(tools.fan_out(number) or 0 for number in nets.values()),
            may_be_open(problem, outside(problem) - own),
            min((part.price for part, _ in sensing), default=None),
        )
    return Engine(Questions(asked, catalogue, tools, progress, seed), progress, larger)
