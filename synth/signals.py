"""Signals: what a load is required to do, as a function of the inputs over time.

A *signal* is a small expression over outside inputs. It is evaluated only at settled instants;
its own timers follow the same words as the parts of the trade (TP, TON, TOF, recycler, SR, RS).
Every node with a memory has an `enable`: while that is 0 the node is 0 and forgets, and when it
returns the node starts afresh, so that an input already at 1 then counts as a rising edge.

`SignalMachine` runs several signals side by side, one instant at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

CONTACT, RUNNING, SEEN = 1, 2, 4


@dataclass(frozen=True)
class Const:
    """Always `value`."""

    value: bool


@dataclass(frozen=True)
class Level:
    """The level of the outside input `name`, as the world has it (1: on, pressed, night)."""

    name: str


@dataclass(frozen=True)
class Not:
    """1 while `of` is 0."""

    of: Signal


@dataclass(frozen=True)
class And:
    """1 while all of `of` are 1."""

    of: tuple[Signal, ...]


@dataclass(frozen=True)
class Or:
    """1 while any of `of` is 1."""

    of: tuple[Signal, ...]


ON = Const(True)
OFF = Const(False)


@dataclass(frozen=True)
class Pulse:
    """1 for `time` ticks after a rising edge of `start` (TP); `retrigger`: after the last one.

    A rising edge at the very instant of the expiry begins a new pulse without a gap.
    """

    start: Signal
    time: int
    retrigger: bool = False
    enable: Signal = ON


@dataclass(frozen=True)
class OnDelay:
    """1 while `of` has been 1 for `time` ticks without a break (TON)."""

    of: Signal
    time: int
    enable: Signal = ON


@dataclass(frozen=True)
class OffDelay:
    """1 while `of` is 1 and for `time` ticks after it falls (TOF)."""

    of: Signal
    time: int
    enable: Signal = ON


@dataclass(frozen=True)
class Cycle:
    """While `gate` is 1, alternates `on` ticks at 1 and `off` ticks at 0, for ever.

    `pulse_first` says which comes first at each rise of the gate. When the gate falls the signal
    falls at once, or with `finish` at the end of a running pulse; a gate that returns within
    such a pulse goes on as if it had not fallen.
    """

    gate: Signal
    on: int
    off: int
    pulse_first: bool = True
    finish: bool = False
    enable: Signal = ON


@dataclass(frozen=True)
class Latch:
    """Set and reset (IEC 61131-3 SR with `wins_set`, else RS)."""

    set: Signal
    reset: Signal
    wins_set: bool = False
    enable: Signal = ON


@dataclass(frozen=True)
class Toggle:
    """Changes over at each rising edge of `of`; begins at 0."""

    of: Signal
    enable: Signal = ON


@dataclass(frozen=True)
class Recently:
    """1 while the required value of load `load` was 1 just before this instant, or fell less
    than `time` ticks ago. `time` 0: only just before this instant."""

    load: str
    time: int
    enable: Signal = ON


Signal: TypeAlias = (
    Const | Level | Not | And | Or | Pulse | OnDelay | OffDelay | Cycle | Latch | Toggle | Recently
)
MEMORY = (Pulse, OnDelay, OffDelay, Cycle, Latch, Toggle, Recently)


def all_of(*signals: Signal) -> Signal:
    """Return the conjunction, flattened and with constants folded."""
    parts: list[Signal] = []
    for signal in signals:
        for piece in signal.of if isinstance(signal, And) else (signal,):
            if piece == OFF:
                return OFF
            if piece != ON and piece not in parts:
                parts.append(piece)
    return ON if not parts else parts[0] if len(parts) == 1 else And(tuple(parts))


def any_of(*signals: Signal) -> Signal:
    """Return the disjunction, flattened and with constants folded."""
    parts: list[Signal] = []
    for signal in signals:
        for piece in signal.of if isinstance(signal, Or) else (signal,):
            if piece == ON:
                return ON
            if piece != OFF and piece not in parts:
                parts.append(piece)
    return OFF if not parts else parts[0] if len(parts) == 1 else Or(tuple(parts))


def negated(signal: Signal) -> Signal:
    """Return the negation, with constants and double negations folded."""
    if isinstance(signal, Const):
        return Const(not signal.value)
    return signal.of if isinstance(signal, Not) else Not(signal)


def children(signal: Signal) -> tuple[Signal, ...]:
    """Return the signals that `signal` is directly made of."""
    match signal:
        case Not(of):
            return (of,)
        case And(of) | Or(of):
            return of
        case Pulse(start=of, enable=enable) | OnDelay(of=of, enable=enable):
            return (of, enable)
        case OffDelay(of=of, enable=enable) | Toggle(of=of, enable=enable):
            return (of, enable)
        case Cycle(gate=of, enable=enable):
            return (of, enable)
        case Latch(set=of, reset=reset, enable=enable):
            return (of, reset, enable)
        case Recently(enable=enable):
            return (enable,)
        case _:
            return ()


def changed(signal: Signal, inside: Callable[[Signal], Signal]) -> Signal:
    """Return `signal` with each signal that it is directly made of as `inside` has it."""
    match signal:
        case Not(of):
            return negated(inside(of))
        case And(of):
            return all_of(*(inside(piece) for piece in of))
        case Or(of):
            return any_of(*(inside(piece) for piece in of))
        case Pulse():
            return replace(signal, start=inside(signal.start), enable=inside(signal.enable))
        case OnDelay() | OffDelay() | Toggle():
            return replace(signal, of=inside(signal.of), enable=inside(signal.enable))
        case Cycle():
            return replace(signal, gate=inside(signal.gate), enable=inside(signal.enable))
        case Latch():
            return replace(
                signal,
                set=inside(signal.set),
                reset=inside(signal.reset),
                enable=inside(signal.enable),
            )
        case Recently():
            return replace(signal, enable=inside(signal.enable))
        case Const() | Level():
            return signal


def inputs_of(signal: Signal) -> frozenset[str]:
    """Return the names of the outside inputs that `signal` mentions."""
    if isinstance(signal, Level):
        return frozenset({signal.name})
    return frozenset().union(*(inputs_of(child) for child in children(signal)))


def times_of(signal: Signal) -> frozenset[int]:
    """Return the times in ticks that `signal` mentions."""
    own: tuple[int, ...] = ()
    if isinstance(signal, Cycle):
        own = (signal.on, signal.off)
    elif isinstance(signal, Pulse | OnDelay | OffDelay | Recently) and signal.time:
        own = (signal.time,)
    return frozenset(own).union(*(times_of(child) for child in children(signal)))


def loads_of(signal: Signal) -> frozenset[str]:
    """Return the loads whose required value `signal` looks back at."""
    own = frozenset({signal.load}) if isinstance(signal, Recently) else frozenset()
    return own.union(*(loads_of(child) for child in children(signal)))


@dataclass(frozen=True)
class SignalMachine:
    """Runs the required signals of several loads, in their order, one settled instant at a time.

    The state is a tuple with one small integer for each node with a memory (see `nodes`), and
    a clock belongs to each of them.
    """

    signals: tuple[tuple[str, Signal], ...]
    """(load, signal) in order; a `Recently` of a later load sees that load as it was before."""

    @cached_property
    def order(self) -> tuple[Signal, ...]:
        """All distinct nodes, each after those it is made of."""
        seen: dict[Signal, None] = {}

        def visit(signal: Signal) -> None:
            if signal in seen:
                return
            for child in children(signal):
                visit(child)
            seen[signal] = None

        for _, signal in self.signals:
            visit(signal)
        return tuple(seen)

    @cached_property
    def nodes(self) -> tuple[Signal, ...]:
        """The nodes with a memory, in the order of the state."""
        return tuple(node for node in self.order if isinstance(node, MEMORY))

    @cached_property
    def _steps(self) -> tuple[tuple[Signal, tuple[int, ...], int], ...]:
        """For each node of `order`: it, the places there of what it is made of, and its slot in
        the state (-1: no memory). To look nodes up by themselves takes long."""
        place = {node: i for i, node in enumerate(self.order)}
        slots = {node: i for i, node in enumerate(self.nodes)}
        return tuple(
            (node, tuple(place[child] for child in children(node)), slots.get(node, -1))
            for node in self.order
        )

    @cached_property
    def _ends(self) -> tuple[tuple[str, int], ...]:
        """Each load, and the place of its signal in `order`."""
        place = {node: i for i, node in enumerate(self.order)}
        return tuple((load, place[signal]) for load, signal in self.signals)

    @cached_property
    def _looking_back(self) -> tuple[tuple[Recently, int, int], ...]:
        """Each node that looks back at a load, the place of its `enable`, and its slot."""
        return tuple(
            (node, made_of[0], slot)
            for node, made_of, slot in self._steps
            if isinstance(node, Recently)
        )

    @property
    def start(self) -> tuple[int, ...]:
        """The state before anything has happened."""
        return (0,) * len(self.nodes)

    def limit(self, slot: int, state: int) -> int:
        """Return the time in ticks at which the clock of `slot` is due, 0 while it is at rest."""
        node = self.nodes[slot]
        if not state & RUNNING:
            return 0
        if isinstance(node, Cycle):
            return node.on if state & CONTACT else node.off
        assert isinstance(node, Pulse | OnDelay | OffDelay | Recently)
        return node.time

    def clocks(
        self,
        state: tuple[int, ...],
        before: Mapping[int, int],
        again: Collection[int],
        now: int,
        fine: int = 1,
    ) -> dict[int, int]:
        """Return when the clock of each slot is due, after `react` at `now` led to `state`.

        `before` is when they were due before, `again` the slots whose clock started anew. Times
        are in units of which one tick has `fine`.
        """
        return {
            slot: now + limit * fine if slot in again else before[slot]
            for slot, value in enumerate(state)
            if (limit := self.limit(slot, value))
        }

    def react(
        self, state: tuple[int, ...], inputs: Mapping[str, bool], due: Collection[int] = ()
    ) -> tuple[tuple[int, ...], dict[str, bool], tuple[int, ...]]:
        """Return (new state, required value of each load, slots whose clock starts anew).

        `inputs` are the levels from this instant on, `due` the slots whose clocks expire now.
        """
        new = list(state)
        restarted: list[int] = []
        value: list[bool] = []
        for node, made_of, slot in self._steps:
            match node:
                case Level():
                    now = inputs[node.name]
                case Const():
                    now = node.value
                case Not():
                    now = not value[made_of[0]]
                case And():
                    now = all(map(value.__getitem__, made_of))
                case Or():
                    now = any(map(value.__getitem__, made_of))
                case Recently():
                    old = state[slot]
                    now = value[made_of[0]] and bool(
                        old & CONTACT or (old & RUNNING and slot not in due)
                    )
                case _:
                    levels = [value[piece] for piece in made_of]
                    new[slot], now, again = _advance(node, state[slot], levels, slot in due)
                    if again:
                        restarted.append(slot)
            value.append(now)
        loads = {load: value[place] for load, place in self._ends}
        for node, enable, slot in self._looking_back:
            old = state[slot]
            if not value[enable]:
                new[slot] = 0
            elif loads[node.load]:
                new[slot] = CONTACT
            elif old & CONTACT and node.time:
                new[slot] = RUNNING
                restarted.append(slot)
            elif old & CONTACT or slot in due:
                new[slot] = 0
        return tuple(new), loads, tuple(restarted)


def _advance(
    node: Signal, old: int, levels: list[bool], due: bool
) -> tuple[int, bool, bool]:
    """Return (state, value, clock starts anew) of one node with a memory at one instant."""
    if not levels[-1]:
        return 0, False, False
    level = levels[0]
    match node:
        case Pulse():
            on = bool(old & CONTACT) and not due
            again = level and not old & SEEN and (node.retrigger or not on)
            on = on or again
            return (CONTACT | RUNNING if on else 0) | (SEEN if level else 0), on, again
        case OnDelay():
            if not level:
                return 0, False, False
            if due or old & CONTACT:
                return CONTACT, True, False
            return RUNNING, False, not old & RUNNING
        case OffDelay():
            if level:
                return CONTACT, True, False
            if due or not old & CONTACT:
                return 0, False, False
            return CONTACT | RUNNING, True, not old & RUNNING
        case Cycle():
            if old & RUNNING and due:
                if old & CONTACT:
                    return (RUNNING, False, True) if level else (0, False, False)
                return (CONTACT | RUNNING, True, True) if level else (0, False, False)
            if level and not old & RUNNING:
                return (CONTACT if node.pulse_first else 0) | RUNNING, node.pulse_first, True
            if not level and not (node.finish and old & CONTACT):
                return 0, False, False
            return old, bool(old & CONTACT), False
        case Latch():
            set_, reset = levels[0], levels[1]
            on = set_ and (node.wins_set or not reset) or bool(old & CONTACT) and not reset
            return (CONTACT if on else 0), on, False
        case Toggle():
            on = bool(old & CONTACT) != (level and not old & SEEN)
            return (CONTACT if on else 0) | (SEEN if level else 0), on, False
    raise AssertionError(f"{node} has no memory")
