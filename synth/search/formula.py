"""A model of clauses, the one language between the encoders and an exact solver.

Literals are non-zero integers: ``v`` for variable v being 1, ``-v`` for it being 0. Besides
clauses there are two linear forms, which only CP-SAT needs to understand: exactly-one groups and
weighted sums with an upper bound.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field


@dataclass
class Formula:
    """Clauses, exactly-one groups and bounded sums over Boolean variables 1..count."""

    count: int = 0
    clauses: list[tuple[int, ...]] = field(default_factory=list)
    exactly_one: list[tuple[int, ...]] = field(default_factory=list)
    sums: list[tuple[tuple[int, ...], tuple[int, ...], int, int]] = field(default_factory=list)
    """(variables, weights, least, most); variables are positive."""
    _true: int = 0

    def new(self) -> int:
        """Return a new variable."""
        self.count += 1
        return self.count

    def news(self, count: int) -> list[int]:
        """Return `count` new variables."""
        first = self.count + 1
        self.count += count
        return list(range(first, self.count + 1))

    @property
    def true(self) -> int:
        """A literal that is always 1."""
        if not self._true:
            self._true = self.new()
            self.clauses.append((self._true,))
        return self._true

    def add(self, *literals: int) -> None:
        """Require at least one of the literals."""
        self.clauses.append(literals)

    def same(self, a: int, b: int, *unless: int) -> None:
        """Require a = b, unless one of the literals in `unless` is 1."""
        self.clauses.append((-a, b, *unless))
        self.clauses.append((a, -b, *unless))

    def either(self, literals: Sequence[int]) -> int:
        """Return a literal equal to the disjunction."""
        true = self.true
        kept: list[int] = []
        for literal in literals:
            if literal == true:
                return true
            if literal != -true and literal not in kept:
                kept.append(literal)
        if not kept:
            return -true
        if len(kept) == 1:
            return kept[0]
        out = self.new()
        for literal in kept:
            self.clauses.append((out, -literal))
        self.clauses.append((-out, *kept))
        return out

    def both(self, literals: Iterable[int]) -> int:
        """Return a literal equal to the conjunction."""
        return -self.either([-literal for literal in literals])

    def choose(self, literals: Sequence[int]) -> None:
        """Require exactly one of the literals."""
        self.exactly_one.append(tuple(literals))

    def bound(
        self, variables: Sequence[int], weights: Sequence[int], least: int, most: int
    ) -> None:
        """Require least <= sum of weights of the variables that are 1 <= most."""
        self.sums.append((tuple(variables), tuple(weights), least, most))
