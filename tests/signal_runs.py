"""Runs required signals over time, for tests: events in, edges of the loads out."""

from __future__ import annotations

from collections.abc import Iterable

from synth.signals import Signal, SignalMachine

Edges = list[tuple[int, int]]


def edges(text: str) -> Edges:
    """Read '+0 -8 +10': (time, level) of each edge.

    >>> edges("+0 -8")
    [(0, 1), (8, 0)]
    """
    return [(int(word[1:]), int(word[0] == "+")) for word in text.split()]


def written(found: Edges) -> str:
    """Return edges as text, the inverse of `edges`."""
    return " ".join(f"{'+' if level else '-'}{time}" for time, level in found)


def run(
    signals: Iterable[tuple[str, Signal]], inputs: dict[str, str], until: int
) -> dict[str, str]:
    """Return the edges of every load up to `until`; inputs not named stay at 0.

    An input change and an expiry at the same time happen together.
    """
    machine = SignalMachine(tuple(signals))
    names = {"supply", "night"} | set(inputs) | _levels(machine)
    changes: dict[int, dict[str, bool]] = {}
    for name, text in inputs.items():
        for time, level in edges(text):
            changes.setdefault(time, {})[name] = bool(level)
    state, levels = machine.start, dict.fromkeys(names, False)
    began = dict.fromkeys(range(len(machine.nodes)), 0)
    before = {load: False for load, _ in machine.signals}
    found: dict[str, Edges] = {load: [] for load in before}
    now = -1
    while True:
        due_at = {
            slot: began[slot] + limit
            for slot in began
            if (limit := machine.limit(slot, state[slot]))
        }
        later = [time for time in (*changes, *due_at.values()) if time > now]
        if not later or min(later) > until:
            return {load: written(marks) for load, marks in found.items()}
        now = min(later)
        levels |= changes.get(now, {})
        due = {slot for slot, time in due_at.items() if time == now}
        state, loads, restarted = machine.react(state, levels, due)
        began |= dict.fromkeys(restarted, now)
        for load, level in loads.items():
            if level != before[load]:
                found[load].append((now, int(level)))
        before = loads


def _levels(machine: SignalMachine) -> set[str]:
    from synth.signals import inputs_of

    return set().union(*(inputs_of(signal) for _, signal in machine.signals))
