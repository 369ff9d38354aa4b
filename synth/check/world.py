"""What the outside world may do: which input levels are allowed, and when they may change.

Sets of input levels are *vectors* (one bit for each input). Vectors that act alike, in every
state of the parts and of the required signals, form a class of which one member is explored:
ten sensors of which any one starts a fan then cost two vectors and not a thousand.
"""

from __future__ import annotations

from synth.check.circuit import Circuit
from synth.check.cones import Cone
from synth.errors import Undecided
from synth.problem import OutsideInput, Problem
from synth.signals import And, Const, Level, Not, Or, Signal, children

MOST_INPUTS = 16
"""Inputs that may act on one cone before the check gives up."""


class World:
    """The inputs of one cone: allowed vectors, classes of them, and clocks for known times.

    Clock numbers begin at `base`: for each input of which times are known one for the least and
    one for the most time of its level.
    """

    def __init__(self, problem: Problem, cone: Cone, circuit: Circuit, base: int) -> None:
        self.problem, self.cone, self.circuit, self.base = problem, cone, circuit, base
        self.supply = circuit.bits["supply"]
        self.every_fact: list[tuple[int, OutsideInput]] = []
        for name in cone.inputs:
            item = self._known(name)
            if item and any((item.least_on, item.most_on, item.least_off, item.most_off)):
                self.every_fact.append((circuit.bits[name], item))
        self.every_release: list[tuple[int, int]] = []
        """An input, and the inputs at whose coming on it is at 0, as bits."""
        for name in cone.inputs:
            item = self._known(name)
            others = sum(circuit.bits.get(n, 0) for n in item.released_as) if item else 0
            if others:
                self.every_release.append((circuit.bits[name], others))
        self.facts: list[tuple[int, OutsideInput]] = []
        """Known times that are honoured at present."""
        self.releases: list[tuple[int, int]] = []
        """What is known to be released, as far as it is honoured at present."""
        self.vectors = self._allowed()
        self._class: dict[int, int] = {}
        self._members: dict[int, list[int]] = {}
        self._near: dict[int, tuple[int, ...]] = {}
        self._terms: dict[tuple[object, ...], int] = {}
        self._program = _program(cone)
        index = {node: i for i, (node, _, _) in enumerate(self._program)}
        self._outputs = tuple(index[signal] for _, signal in cone.machine.signals)

    @property
    def knows(self) -> bool:
        """Whether anything is known of when inputs change."""
        return bool(self.every_fact or self.every_release)

    @property
    def heeds(self) -> bool:
        """Whether anything that is known of when inputs change is honoured at present."""
        return bool(self.facts or self.releases)

    def _known(self, name: str) -> OutsideInput | None:
        for item in self.problem.inputs:
            if item.name == name:
                return item
        return None

    def honour(self, facts: bool) -> None:
        """Honour what is known of when inputs change from now on, or let them change at will."""
        self.facts = self.every_fact if facts else []
        self.releases = self.every_release if facts else []
        self._class, self._members, self._near = {}, {}, {}

    def _allowed(self) -> tuple[int, ...]:
        bits = self.circuit.bits
        if len(bits) > MOST_INPUTS:
            raise Undecided(
                f"{len(bits)} inputs act on the same loads; more than {MOST_INPUTS} "
                f"cannot be explored together"
            )
        groups = [
            [bits[name] for name in group if name in bits] for group in self.problem.never_together
        ]
        steady = []
        for name in self.cone.inputs:
            item = self._known(name)
            if item and item.steady is not None:
                steady.append((bits[name], item.steady))
        allowed = tuple(
            vector
            for vector in range(1 << len(bits))
            if all((vector & bit != 0) == level for bit, level in steady)
            and not any(sum(vector & bit != 0 for bit in group) > 1 for group in groups)
        )
        if not any(vector & bits["supply"] for vector in allowed):
            raise Undecided("by what is known of the inputs, power can never come on")
        return allowed

    # Vectors that act alike

    def _sort_into_classes(self) -> None:
        by_signature: dict[object, int] = {}
        timed = sum(bit for bit, _ in self.facts) | self.supply
        for bit, others in self.releases:
            timed |= bit | others
        for vector in sorted(self.vectors, key=lambda v: (v.bit_count(), v)):
            signature = (
                vector & timed,
                self.circuit.signature(vector),
                self._signals_signature(vector),
            )
            first = by_signature.setdefault(signature, vector)
            self._class[vector] = first
            self._members.setdefault(first, []).append(vector)

    def _signals_signature(self, vector: int) -> tuple[object, ...]:
        """Return what the required signals become at these levels: equal only if they act alike."""
        levels = self.circuit.bits
        values: list[bool | int] = []
        seen: list[object] = []
        for node, own, below in self._program:
            value: bool | int
            match node:
                case Const(fixed):
                    value = fixed
                case Level(name):
                    value = vector & levels[name] != 0
                case Not():
                    inner = values[below[0]]
                    value = (not inner) if isinstance(inner, bool) else self._term("not", inner)
                case And() | Or():
                    decisive = isinstance(node, Or)
                    inners = [values[i] for i in below]
                    open_ones = [i for i in inners if not isinstance(i, bool)]
                    if any(i is decisive for i in inners):
                        value = decisive
                    elif not open_ones:
                        value = not decisive
                    else:
                        value = self._term(decisive, *open_ones)
                case _:
                    # The last signal below a node with a memory is what enables it.
                    if values[below[-1]] is False:
                        value = False
                        seen.append(None)
                    else:
                        value = self._term("memory", own)
                        seen.append(tuple([values[i] for i in below]))
            values.append(value)
        outputs = [values[i] for i in self._outputs]
        # True == 1 in Python, so truth values and terms are told apart by their type.
        return (*map(repr, seen), *map(repr, outputs))

    def _term(self, *parts: object) -> int:
        return self._terms.setdefault(parts, len(self._terms) + 2)

    def nearest(self, old: int) -> tuple[int, ...]:
        """Return one vector of each class, those first that change the fewest inputs."""
        if not self._class:
            self._sort_into_classes()
        known = self._near.get(old)
        if known is None:
            known = tuple(sorted(self._members, key=lambda v: ((v ^ old).bit_count(), v)))
            self._near[old] = known
        return known

    def stands_for(self, vector: int) -> int:
        """Return the member of its class that is explored."""
        return self._class.get(vector, vector)

    def closest(self, vector: int, before: int) -> int:
        """Return the vector that acts like `vector` and changes the fewest inputs from `before`."""
        return min(self._members[vector], key=lambda v: ((v ^ before).bit_count(), v))

    # When inputs may change

    def time_known(self, clock_number: int, vector: int) -> int:
        """Return how long an environment clock runs at the levels of `vector`, 0: it does not."""
        fact, most = divmod(clock_number - self.base, 2)
        bit, item = self.facts[fact]
        if vector & bit:
            return (item.most_on if most else item.least_on) or 0
        return (item.most_off if most else item.least_off) or 0

    def environment(
        self, env: int, old: int | None, vector: int, due: tuple[int, ...]
    ) -> tuple[int, int] | None:
        """Return (environment clocks that run, those that start now), None when not allowed.

        `old` is None at the very first event: there a level may have begun long before, so its
        least time does not bind; only the supply is known to rise just then.
        """
        rising = vector & self.supply if old is None else vector & ~old
        if any(vector & bit and rising & others for bit, others in self.releases):
            return None
        new, fresh = env, 0
        for f, (bit, _) in enumerate(self.facts):
            least, most = 1 << 2 * f, 2 << 2 * f
            least_number = self.base + 2 * f
            changed = old is None or (old ^ vector) & bit
            if not changed:
                if least_number + 1 in due:
                    return None
                if least_number in due:
                    new &= ~least
                continue
            if old is not None and env & least and least_number not in due:
                return None
            new &= ~(least | most)
            if self.time_known(least_number, vector) and (old is not None or bit == self.supply):
                new |= least
                fresh |= least
            if self.time_known(least_number + 1, vector):
                new |= most
                fresh |= most
        return new, fresh


def _program(cone: Cone) -> tuple[tuple[Signal, int, tuple[int, ...]], ...]:
    """Return the nodes of all required signals with the places of what they are made of."""
    order = cone.machine.order
    index = {node: i for i, node in enumerate(order)}
    result = []
    for i, node in enumerate(order):
        below = tuple(index[child] for child in children(node))
        result.append((node, i, below))
    return tuple(result)
