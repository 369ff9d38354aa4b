"""Words as every room needs them: a list in a sentence, a number with its noun."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction


def listed(words: Iterable[object], last: str = "and") -> str:
    """Return words as a list in a sentence, "" for none.

    >>> listed(["pump", "lamp", "fan"]), listed([1, 2], "or")
    ('pump, lamp and fan', '1 or 2')
    """
    items = [str(word) for word in words]
    return f" {last} ".join(filter(None, [", ".join(items[:-1]), *items[-1:]]))


def counted(number: int | Fraction, noun: str) -> str:
    """Return a number with its noun, in the plural where it belongs.

    >>> counted(1, "coin"), counted(2, "wire")
    ('1 coin', '2 wires')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
