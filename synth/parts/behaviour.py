"""How each type of part behaves: its terminals, its contacts, and one step of its reaction.

This is the defining semantics. The checker steps through it; the search has encoders of its
own, so that agreement between the two means something.

Words are those of IEC 61131-3 (TP, TON, TOF, SR, RS, R_TRIG) and IEC 60050-445. A part with
controls has a *state*, a small integer of the flags below. After an event the circuit settles
in steps that take no time. In each step every part first *notices* (edge-sensitive inputs
register an edge even when the part moves later) and then, all together, the parts *move*.
`move(notice(state))` differing from `state` in anything but SEEN means the part is *excited*.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

CONTACT = 1
"""The contact is operated (for a timer: closed)."""
RUNNING = 2
"""A time is running."""
SEEN = 4
"""The level last seen at the edge-sensitive input."""
PENDING = 8
"""An edge was registered and the part has not yet moved."""


class PartType(StrEnum):
    """The types of part; values are the words used in files."""

    SUPPLY = "supply"
    SWITCH = "switch"
    PUSH_BUTTON = "push-button"
    SENSOR = "sensor"
    TWILIGHT = "twilight-switch"
    RELAY_MAKE = "relay-make"
    RELAY_BREAK = "relay-break"
    RELAY_CHANGEOVER = "relay-changeover"
    BISTABLE = "bistable-relay"
    IMPULSE = "impulse-relay"
    PULSE = "pulse-timer"
    RETRIGGERABLE = "retriggerable-pulse-timer"
    ON_DELAY = "on-delay-timer"
    OFF_DELAY = "off-delay-timer"
    RECYCLER = "recycler"
    TAP_OFF = "tap-off"
    DIVIDER = "divider"
    JOINT = "joint"
    LOAD = "load"

    def __str__(self) -> str:
        return self.value


@dataclass(frozen=True)
class Shape:
    """Terminals of a type: power inputs, control inputs, outputs (a divider's: see the kit)."""

    power: tuple[str, ...]
    controls: tuple[str, ...]
    outputs: tuple[str, ...]


_ONE = ("in",)
_OUT = ("out",)
SHAPES: dict[PartType, Shape] = {
    PartType.SUPPLY: Shape((), (), _OUT),
    PartType.SWITCH: Shape(_ONE, (), _OUT),
    PartType.PUSH_BUTTON: Shape(_ONE, (), _OUT),
    PartType.SENSOR: Shape(_ONE, (), _OUT),
    PartType.TWILIGHT: Shape(_ONE, (), _OUT),
    PartType.RELAY_MAKE: Shape(_ONE, ("coil",), _OUT),
    PartType.RELAY_BREAK: Shape(_ONE, ("coil",), _OUT),
    PartType.RELAY_CHANGEOVER: Shape(_ONE, ("coil",), ("make", "break")),
    PartType.BISTABLE: Shape(_ONE, ("set", "reset"), _OUT),
    PartType.IMPULSE: Shape(_ONE, ("pulse",), _OUT),
    PartType.PULSE: Shape(_ONE, ("start",), _OUT),
    PartType.RETRIGGERABLE: Shape(_ONE, ("start",), _OUT),
    PartType.ON_DELAY: Shape(_ONE, ("start",), _OUT),
    PartType.OFF_DELAY: Shape(_ONE, ("start",), _OUT),
    PartType.RECYCLER: Shape(_ONE, (), _OUT),
    PartType.TAP_OFF: Shape(_ONE, (), ("branch", "rest")),
    PartType.DIVIDER: Shape(_ONE, (), ("out1", "out2")),
    PartType.JOINT: Shape(("in1", "in2"), (), _OUT),
    PartType.LOAD: Shape(_ONE, (), ()),
}

LEVERS = frozenset({PartType.SWITCH, PartType.PUSH_BUTTON})
"""Worked by hand: one lever is one part with one contact, so one part per input at most."""
SENSING = frozenset({PartType.SWITCH, PartType.PUSH_BUTTON, PartType.SENSOR, PartType.TWILIGHT})
"""Contacts that follow an outside input."""
SPLITTING = frozenset({PartType.TAP_OFF, PartType.DIVIDER})
"""Parts that share one amount over several outputs; all their outputs are live together."""
EDGE_SENSITIVE = frozenset({PartType.IMPULSE, PartType.PULSE, PartType.RETRIGGERABLE})
"""Parts that act on a rising edge; the kit's `trigger` says how short an edge they see."""
TIMED = frozenset(
    {
        PartType.PULSE,
        PartType.RETRIGGERABLE,
        PartType.ON_DELAY,
        PartType.OFF_DELAY,
        PartType.RECYCLER,
    }
)
"""Parts with a running time."""
REMANENT = frozenset({PartType.BISTABLE, PartType.IMPULSE})
"""Parts that keep their position without power."""
CONTROLLED = frozenset(
    {
        PartType.RELAY_MAKE,
        PartType.RELAY_BREAK,
        PartType.RELAY_CHANGEOVER,
        PartType.BISTABLE,
        PartType.IMPULSE,
    }
) | TIMED
"""Parts with a state of their own."""


def divider_outputs(count: int) -> tuple[str, ...]:
    """Return the output terminals of a divider with `count` outputs, in order."""
    return tuple(f"out{i}" for i in range(1, count + 1))


def closed(kind: PartType, output: str, state: int) -> bool:
    """Return whether the contact behind `output` is closed in `state` (controlled types only)."""
    operated = bool(state & CONTACT)
    if kind is PartType.RELAY_BREAK or output == "break":
        return not operated
    return operated


def notice(
    kind: PartType, state: int, power: bool, control: bool, due: bool, edges: bool
) -> int:
    """Return `state` after the part has looked at its inputs, before it moves.

    `power`: its power input is live. `control`: its start or pulse terminal is live. `due`: its
    time is up and it has not moved since. `edges`: this step lets it see edges (always for
    *instant* kits; for *held* ones only in a step in which nothing else moves). A part whose own
    time is up sees edges in any step: the expiry is seen first, then the edge.
    Only edge-sensitive types notice anything.
    """
    if kind not in EDGE_SENSITIVE or not (edges or due):
        return state
    level = control and (power or kind is PartType.IMPULSE)
    if level and not state & SEEN:
        inside = state & CONTACT and not due
        if kind is not PartType.PULSE or not inside:
            state |= PENDING
    return state | SEEN if level else state & ~SEEN


def move(
    kind: PartType,
    state: int,
    power: bool,
    controls: tuple[bool, ...],
    due: bool,
    wins_set: bool = True,
    pulse_first: bool = True,
) -> tuple[int, bool]:
    """Return the state after the part moves, and whether its time starts anew.

    `state` is the noticed state, `controls` the levels of its control inputs in the order of
    its Shape. Rules: IEC 61131-3:2013, 6.6.3.5 (SR, RS, TP, TON, TOF); a timer that loses power
    forgets everything, and losing power wins over an expiry at the same instant.
    """
    control = bool(controls and controls[0])
    if kind in (PartType.RELAY_MAKE, PartType.RELAY_BREAK, PartType.RELAY_CHANGEOVER):
        return (CONTACT if control else 0), False
    if kind is PartType.BISTABLE:
        set_, reset = controls
        if set_ and (wins_set or not reset):
            return CONTACT, False
        return (0 if reset else state), False
    if kind is PartType.IMPULSE:
        if state & PENDING:
            return (state ^ CONTACT) & ~PENDING, False
        return state, False
    if not power:
        return 0, False
    if kind in (PartType.PULSE, PartType.RETRIGGERABLE):
        if state & PENDING:
            return (state | CONTACT | RUNNING) & ~PENDING, True
        return (state & ~(CONTACT | RUNNING) if due else state), False
    if kind is PartType.ON_DELAY:
        if not control:
            return 0, False
        if due:
            return CONTACT, False
        if state & (CONTACT | RUNNING):
            return state, False
        return RUNNING, True
    if kind is PartType.OFF_DELAY:
        if control:
            return CONTACT, False
        if due or not state & CONTACT:
            return 0, False
        if state & RUNNING:
            return state, False
        return CONTACT | RUNNING, True
    if kind is PartType.RECYCLER:
        if not state & RUNNING:
            return (CONTACT if pulse_first else 0) | RUNNING, True
        if due:
            return state ^ CONTACT, True
        return state, False
    raise AssertionError(f"{kind} has no state")
