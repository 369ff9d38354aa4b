"""One concrete run: inputs change at given moments, timers expire exactly, all parts move together.

Used for pictures and to replay counterexamples. A run of a design that never settles ends
there, with a mark.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from synth.check.circuit import Circuit, State, input_of
from synth.check.settle import settle
from synth.design import Design
from synth.errors import DesignError
from synth.parts.behaviour import CONTACT, SENSING, TIMED
from synth.problem import Problem
from synth.trace import Moment, Trace, Track

MOST_EVENTS = 100_000
"""Events after which a run is cut off, so that a picture is always finished."""

SHOWN_AFTER_CHATTER = 1000
"""How long a run still shows its last levels once the parts never settle, in ticks."""

Override = Mapping[Fraction, tuple[State, int]]
"""Settled states (and timers started anew) to take at some moments instead of the usual."""


def simulate(
    design: Design, problem: Problem, moments: Sequence[Moment], end: Fraction | int
) -> Trace:
    """Return what the design does over [0, `end`) ticks when the inputs change at `moments`.

    Every input is 0 before its first moment, the supply too. A track's start is its level at
    time 0, after what happens at that instant. Tracks: the problem's inputs, loads, timers'
    contacts, relays' contacts (1: operated). Loads that blink for a settling step have a mark,
    as has a moment after which the parts never settle; the run ends there.
    Raises DesignError when the design cannot be run at all, or a moment names no input.
    """
    names = {"supply": None}
    names.update(dict.fromkeys(item.name for item in problem.inputs))
    names.update(dict.fromkeys(input_of(p) for p in design.parts if p.type in SENSING))
    names.pop("", None)
    circuit = Circuit(design, problem.kit, tuple(names))
    return run(circuit, moments, Fraction(end))


@dataclass
class _Recorder:
    """Collects the changes of named levels."""

    roles: dict[str, str]
    start: dict[str, bool] = field(default_factory=dict)
    last: dict[str, bool] = field(default_factory=dict)
    changes: dict[str, list[tuple[Fraction, bool]]] = field(default_factory=dict)

    def note(self, time: Fraction, levels: Mapping[str, bool]) -> None:
        for key, level in levels.items():
            if key not in self.last or time == 0:
                self.start[key] = level
                self.changes.setdefault(key, [])
            elif self.last[key] != level:
                self.changes[key].append((time, level))
            self.last[key] = level


def run(
    circuit: Circuit,
    moments: Sequence[Moment],
    end: Fraction,
    override: Override | None = None,
    watch: Callable[[Fraction, int, State], None] | None = None,
) -> Trace:
    """Return the trace of `circuit`; `watch` is told (time, loads on, state) after each event."""
    timed = [i for i, part in enumerate(circuit.parts) if part.kind in TIMED]
    roles = {f"input {name}": "input" for name in circuit.inputs}
    roles.update({f"load {name}": "load" for name in circuit.loads})
    roles.update({f"timer {circuit.parts[i].name}": "timer" for i in timed})
    roles.update(
        {f"relay {p.name}": "relay" for i, p in enumerate(circuit.parts) if i not in timed}
    )
    recorder = _Recorder(roles)
    marks: list[tuple[Fraction, str]] = []
    instants: list[Fraction] = []
    state, vector = circuit.start, 0
    until: dict[int, Fraction] = {}
    on = 0

    def record(time: Fraction) -> None:
        levels = {f"input {n}": bool(vector & bit) for n, bit in circuit.bits.items()}
        levels.update({f"load {n}": bool(on & bit) for n, bit in circuit.load_bits.items()})
        for i, part in enumerate(circuit.parts):
            role = "timer" if i in timed else "relay"
            levels[f"{role} {part.name}"] = bool(state[i] & CONTACT)
        recorder.note(time, levels)

    record(Fraction(0))
    outside = _by_time(circuit, moments)
    at = 0
    for _ in range(MOST_EVENTS):
        times = [outside[at][0]] if at < len(outside) else []
        times += until.values()
        if not times or min(times) >= end:
            break
        time = min(times)
        instants.append(time)
        if at < len(outside) and outside[at][0] == time:
            for bit, level in outside[at][1]:
                vector = vector | bit if level else vector & ~bit
            at += 1
        due = sum(1 << i for i, expiry in until.items() if expiry == time)
        settled = settle(circuit, state, vector, due)
        if settled.chatter:
            names = ", ".join(circuit.names(settled.chatter))
            marks.append((time, f"never settles: {names}"))
            state, on = settled.state, settled.loads[-1]
            record(time)
            end = min(end, time + SHOWN_AFTER_CHATTER)
            break
        for name, bit in circuit.load_bits.items():
            if _turns([on, *settled.loads], bit) > 1:
                marks.append((time, f"{name} blinks"))
        state, anew, on = settled.state, settled.anew, settled.loads[-1]
        if override and time in override:
            state, anew = override[time]
            on = circuit.loads_on(circuit.live(state, vector))
        for i, part in enumerate(circuit.parts):
            limit = part.limit(state[i])
            if not limit:
                until.pop(i, None)
            elif anew >> i & 1:
                until[i] = time + limit
        record(time)
        if watch:
            watch(time, on, state)
    else:
        marks.append((end, "too many events to show; the rest is left out"))
    tracks = tuple(
        Track(
            key.split(" ", 1)[1],
            recorder.roles[key],
            recorder.start[key],
            tuple(recorder.changes[key]),
        )
        for key in recorder.roles
    )
    return Trace(end, tracks, tuple(marks), tuple(instants))


def _turns(masks: Sequence[int], bit: int) -> int:
    """Return how often a load changes over these steps."""
    return sum((a ^ b) & bit != 0 for a, b in zip(masks, masks[1:], strict=False))


def _by_time(
    circuit: Circuit, moments: Sequence[Moment]
) -> list[tuple[Fraction, list[tuple[int, bool]]]]:
    by_time: dict[Fraction, list[tuple[int, bool]]] = {}
    for moment in moments:
        if moment.time < 0:
            raise DesignError("a moment before 0 cannot be run")
        changes = by_time.setdefault(Fraction(moment.time), [])
        for name, level in moment.inputs:
            if name not in circuit.bits:
                raise DesignError(f"a moment names '{name}', which is no input")
            changes.append((circuit.bits[name], level))
    # A moment without changes is one at which a timer expires; it comes about by itself.
    return [(time, by_time[time]) for time in sorted(by_time) if by_time[time]]
