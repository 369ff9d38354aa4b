"""One of the wirings that differ in the names of parts alone, for questions that expect a "no".

Parts that are alike, those of one *kind*, are numbered along some order of all parts in which power
flows (see `Wiring`); of these orders a wiring has many. Say of each part how it is set and what its
inputs hang on: which part, where this is of a kind gone through before; what kind of part, if not.
Go through the kinds, and through the parts of each in the order of their numbers, write this down,
and take the order of all parts with which the whole text comes first. Then of two parts a, b of one
kind with numbers next to each other, b does not come before a in what is said of them, unless a way
leads from a to b: of power, or from a part of a kind gone through before to the next of its kind,
or of several such steps.

Proof: let no way lead from a to b. In the order of all parts, take those from a to b, and put those
to which a way leads from a, with a first, behind the others, each side in the order it had. Power
flows along the new order, and the kinds gone through before are numbered as they were: where a step
leads from one part to another, the ways to the first lead to the other too. Of the kind of a and b
no other part lies between them; they are exchanged, and what was said of each part of theirs is
still said. So if b came before a in that, the text would not come first.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import chain, pairwise

from synth.parts.behaviour import CONTROLLED
from synth.search.slots import Wiring

Values = list[list[int]]
"""For each value of something said of a part, literals of which one says that it has it."""


def in_order(wiring: Wiring) -> None:
    """Ask `wiring`, of which all slots are in use, to number parts that are alike as said above."""
    slots = wiring.slots
    kinds: dict[tuple[str, str], list[int]] = {}
    for index, slot in enumerate(slots):
        if slot.kind in CONTROLLED:
            kinds.setdefault(slot.like, []).append(index)
    # What can be set to most, which is to say most of, goes first.
    several = sorted(
        (indices for indices in kinds.values() if len(indices) > 1),
        key=lambda indices: -sum(map(len, wiring.choices[indices[0]].values())),
    )
    numbered: list[tuple[int, int]] = []
    for indices in several:
        known = frozenset(chain(*numbered))
        for a, b in pairwise(indices):
            way = _way(wiring, a, b, numbered)
            _not_after(wiring, _said(wiring, a, known), _said(wiring, b, known), way)
        numbered += pairwise(indices)


def _way(wiring: Wiring, start: int, end: int, numbered: Sequence[tuple[int, int]]) -> int:
    """Return a literal that holds only if power leads from slot `start` to `end`, or also by way of
    pairs of slots `numbered`."""
    formula, inner = wiring.formula, range(len(wiring.slots))
    reached = {i: formula.new() for i in inner if wiring.slots[i].part.shape.outputs and i != start}
    for index, literal in reached.items():
        ways: list[int] = []
        for terminal in wiring.slots[index].part.shape.power:
            for (source, _), wire in wiring.feeds[index, terminal].items():
                if source == start:
                    ways.append(wire)
                elif source in reached:
                    ways.append(formula.both([wire, reached[source]]))
        ways += [reached[first] for first, second in numbered if second == index]
        formula.add(-literal, *ways)
    return reached[end]


def _not_after(
    wiring: Wiring, first: Sequence[Values], second: Sequence[Values], unless: int
) -> None:
    """Ask that what is said of a part does not come after what is said of a second one, unless
    `unless` holds."""
    formula, weaker = wiring.formula, [unless]
    for ones, others in zip(first, second, strict=True):
        for place, literals in enumerate(ones):
            for less in others[:place]:
                for one in literals:
                    for other in less:
                        formula.add(-one, -other, *weaker)
        differs = formula.new()
        for literals, same in zip(ones, others, strict=True):
            for one in literals:
                for other in same:
                    formula.add(-differs, -one, -other)
        weaker.append(differs)


def _said(wiring: Wiring, index: int, known: Collection[int]) -> list[Values]:
    """Return what is said of a slot: its settings, and the outputs that it hangs on, those of the
    slots `known` one by one, others by kind."""
    slot = wiring.slots[index]
    settings = wiring.choices[index].values()
    said = [[[literal] for literal in options.values()] for options in settings]
    if wiring.joint is not None:
        return said  # an input may hang on several outputs

    def told(output: tuple[int, str]) -> tuple[object, ...]:
        source, terminal = output
        return (source if source < 0 or source in known else wiring.slots[source].like, terminal)

    values = dict.fromkeys(map(told, wiring.outputs))
    for terminal in (*slot.part.shape.controls, *slot.part.shape.power):
        wires = wiring.feeds[index, terminal]
        said.append([[w for output, w in wires.items() if told(output) == one] for one in values])
    return said
