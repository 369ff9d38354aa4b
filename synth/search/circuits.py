"""The circuits of a whole: what is asked of each, and what was found for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from synth.design import Skeleton
from synth.parts.behaviour import SENSING
from synth.parts.kit import KitPart
from synth.problem import Problem
from synth.search.apart import Lever, Piece
from synth.search.basics import Found, design_key
from synth.search.bounds import essential
from synth.search.engine import Engine
from synth.signals import inputs_of, times_of


@dataclass
class Circuit:
    """A circuit of its own, the switches it lies behind, and what was found for it; `within`: for
    some loads of it by themselves."""

    piece: Piece
    engine: Engine
    found: Found
    within: list[Circuit] = field(default_factory=list)

    @property
    def problem(self) -> Problem:
        """What is asked of this circuit."""
        return self.piece.problem

    @property
    def parts(self) -> list[KitPart]:
        """The kit parts of the design that was found."""
        assert self.found.best is not None
        return self.engine.catalogue.parts(self.found.best.parts_list.items)

    @property
    def plain(self) -> bool:
        """Whether the design has just one sensing part for each input: the least there can be."""
        follows = essential(self.problem)
        return all(p.type in SENSING for p in self.parts) and len(self.parts) == len(follows)

    @property
    def least(self) -> int:
        """What its parts in a design of the whole take of the first objective at least, as far as
        is known."""
        engine, found = self.engine, self.engine.found
        objectives = engine.problem.objectives
        known = [design_key(found.best.design, engine.problem)[0]] if found.best else []
        if not found.closed:
            known.append(found.floor[0] if found.floor else 0)
        if found.closed and engine.dearest is not None:
            known.append(engine.dearest + 1)  # dearer lists were not looked at
        if engine.within:
            # Lists that may do in the whole, if not by themselves, are found among these.
            lists = (engine.catalogue.measure(items) for items in engine.feasible)
            known += [parts_list.key(objectives)[0] for parts_list in lists if parts_list]
        return min(known, default=0)

    def all_within(self) -> Iterator[Circuit]:
        """Yield the circuits for some loads of this one, behind all their switches."""
        for inner in self.within:
            path = (*self.piece.path, *inner.piece.path)
            deeper = replace(inner, piece=replace(inner.piece, path=path))
            yield deeper
            yield from deeper.all_within()

    @property
    def timed(self) -> bool:
        """Whether some load of this circuit keeps a time."""
        return any(times_of(r.signal) for r in self.problem.requirements)

    @property
    def inputs(self) -> frozenset[str]:
        """The outside inputs, the supply apart, that this circuit or a switch over it follows."""
        named = frozenset().union(*(inputs_of(r.signal) for r in self.problem.requirements))
        return (named | {name for _, name in self.piece.path}) - {"supply"}


def wirings_of(circuits: Sequence[Circuit]) -> list[tuple[tuple[Lever, ...], Skeleton]]:
    """Return the wirings found for these circuits, each with the switches that it lies behind."""
    return [(c.piece.path, c.found.best.skeleton) for c in circuits if c.found.best]
