"""Afterwards, equal wishes are equal signals: sorted, flattened, simplified.

Loads with equal signals share one circuit, so the search depends on this. Every rewrite keeps
the value at every instant: negations are pushed down to inputs and memories, constants,
duplicates and absorbed terms go, and so do conjuncts that a memory's `enable` already implies.
"""

from __future__ import annotations

from synth.signals import (
    MEMORY,
    OFF,
    ON,
    And,
    Const,
    Cycle,
    Level,
    Not,
    OnDelay,
    Or,
    Recently,
    Signal,
    all_of,
    any_of,
)

SUPPLY = Level("supply")


def order(signal: Signal) -> tuple[int, str]:
    """Return the key by which operands are sorted: the supply, inputs, negations, the rest."""
    if signal == SUPPLY:
        return 0, ""
    kinds = (Level, Not, Or, And)
    rank = next((i for i, kind in enumerate(kinds, start=1) if isinstance(signal, kind)), 9)
    return rank, repr(signal)


def conjuncts(signal: Signal) -> tuple[Signal, ...]:
    """Return the operands of a conjunction, or the signal itself."""
    return signal.of if isinstance(signal, And) else (signal,)


def disjuncts(signal: Signal) -> tuple[Signal, ...]:
    """Return the operands of a disjunction, or the signal itself."""
    return signal.of if isinstance(signal, Or) else (signal,)


def inverse(signal: Signal) -> Signal:
    """Return the canonical negation (De Morgan down to inputs and memories).

    >>> inverse(both(Level("a"), Level("b")))
    Or(of=(Not(of=Level(name='a')), Not(of=Level(name='b'))))
    """
    match signal:
        case Const():
            return OFF if signal.value else ON
        case Not():
            return signal.of
        case And():
            return either(*(inverse(piece) for piece in signal.of))
        case Or():
            return both(*(inverse(piece) for piece in signal.of))
        case _:
            return Not(signal)


def implied(signal: Signal) -> frozenset[Signal]:
    """Return conjuncts that are 1 whenever the memory `signal` is 1."""
    if not isinstance(signal, MEMORY):
        return frozenset()
    found = set(conjuncts(signal.enable))
    if isinstance(signal, Cycle) and not signal.finish:
        found.update(conjuncts(signal.gate))
    if isinstance(signal, OnDelay):
        found.update(conjuncts(signal.of))
    if isinstance(signal, Recently):
        found = set(conjuncts(signal.enable))
    return frozenset(found)


def both(*signals: Signal) -> Signal:
    """Return the canonical conjunction.

    >>> both(Level("night"), Level("supply"), Or((Level("night"), Level("cold"))))
    And(of=(Level(name='supply'), Level(name='night')))
    """
    parts = list(conjuncts(all_of(*signals)))
    while True:
        present = set(parts)
        if any(inverse(part) in present for part in parts):
            return OFF
        carried = {piece for part in parts for piece in implied(part)}
        kept: list[Signal] = []
        for part in parts:
            options = disjuncts(part)
            if part in carried and not isinstance(part, MEMORY):
                continue
            if len(options) > 1:
                others = present - {part}
                if any(option in others for option in options):
                    continue
                part = either(*(o for o in options if inverse(o) not in others))
            kept.append(part)
        again = list(conjuncts(all_of(*kept)))
        if again == parts:
            break
        parts = again
    return all_of(*sorted(parts, key=order))


def either(*signals: Signal) -> Signal:
    """Return the canonical disjunction.

    >>> either(Level("b"), And((Level("a"), Level("b"))), Level("a"))
    Or(of=(Level(name='a'), Level(name='b')))
    """
    parts = list(disjuncts(any_of(*signals)))
    while True:
        present = set(parts)
        if any(inverse(part) in present for part in parts):
            return ON
        kept: list[Signal] = []
        for part in parts:
            pieces = conjuncts(part)
            if len(pieces) > 1:
                others = present - {part}
                if any(piece in others for piece in pieces):
                    continue
                part = both(*(piece for piece in pieces if inverse(piece) not in others))
            kept.append(part)
        again = list(disjuncts(any_of(*kept)))
        if again == parts:
            break
        parts = again
    return any_of(*sorted(parts, key=order))
