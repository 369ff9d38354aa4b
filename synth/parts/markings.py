"""The markings of contacts and coils, as trade parts carry them.

In the way of EN 50005 and EN 50011, from memory: ..1-..2 break, ..3-..4 make, 11-12-14 change-over,
..7-..8 a contact of a timer, coil A1/A2. B1 for a control signal is common practice, no source.
"""

from __future__ import annotations

from synth.parts.behaviour import SENSING, TIMED, PartType

_CONTACTS: dict[PartType, dict[str, str]] = {
    PartType.RELAY_MAKE: {"in": "13", "out": "14", "coil": "A1"},
    PartType.RELAY_BREAK: {"in": "11", "out": "12", "coil": "A1"},
    PartType.RELAY_CHANGEOVER: {"in": "11", "break": "12", "make": "14", "coil": "A1"},
    PartType.BISTABLE: {"in": "13", "out": "14", "set": "A1 (set)", "reset": "A1 (reset)"},
    PartType.IMPULSE: {"in": "13", "out": "14", "pulse": "A1"},
}
_TIMED = {"in": "17", "out": "18", "start": "B1"}


def closed_at_rest(kind: PartType, terminal: str, contact: str, passes: str) -> bool:
    """Return whether the contact before output `terminal` is closed at rest: nothing pressed, no
    power, and dark. `contact` and `passes` are a part's settings, empty where it has none."""
    if kind is PartType.TWILIGHT:
        return passes == "night"
    if kind in SENSING:
        return contact == "break"
    return kind is PartType.RELAY_BREAK or terminal == "break"


def marking(kind: PartType, terminal: str, contact: str = "", passes: str = "") -> str:
    """Return what a trade part of this kind carries at this terminal, empty where nothing.

    >>> marking(PartType.RELAY_CHANGEOVER, "make"), marking(PartType.LOAD, "in")
    ('14', '')
    """
    if kind in TIMED:
        return _TIMED.get(terminal, "")
    if kind in SENSING:
        ends = ("11", "12") if closed_at_rest(kind, terminal, contact, passes) else ("13", "14")
        return dict(zip(("in", "out"), ends, strict=True)).get(terminal, "")
    return _CONTACTS.get(kind, {}).get(terminal, "")
