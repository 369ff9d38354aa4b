"""From a finding's path to a counterexample: exact moments, a sentence, and the run to look at.

Each event of a path has a time; each clock ties the time of its expiry to that of its start, or
keeps an event before its deadline. These difference constraints are solved for the earliest
times on the coarsest grid that fits: whole seconds, then finer, then between ticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from synth.check.circuit import Circuit
from synth.check.explore import Event, Explorer, Finding
from synth.check.settle import Other
from synth.check.simulate import run, simulate
from synth.design import Design
from synth.problem import InputKind, Problem
from synth.result import Counterexample, Defect, Fault
from synth.ticks import format_duration
from synth.trace import Moment, Trace
from synth.wording import listed

GRIDS = (1000, 500, 100, 10, 1)
"""Grids tried for the times of a counterexample, in ticks, coarsest first."""

AFTERWARDS = 2000
"""How much of the run after the last moment is shown, in ticks."""


@dataclass(frozen=True)
class _Constraint:
    """time[later] - time[earlier] <= bound, or < bound when strict."""

    later: int
    earlier: int
    bound: int
    strict: bool


def _constraints(explorer: Explorer, path: Sequence[Event]) -> list[_Constraint]:
    """Return what ties the times of the events of `path` to each other."""
    result: list[_Constraint] = []
    state, signals = explorer.circuit.start, explorer.machine.start
    old: int | None = None
    env = 0
    began: dict[int, int] = {}
    deadline: dict[int, int] = {}
    for k, event in enumerate(path):
        if k:
            result.append(_Constraint(k - 1, k, 0, True))
        for c, start in began.items():
            if c in event.due:
                result.append(_Constraint(k, start, deadline[c], False))
                result.append(_Constraint(start, k, -deadline[c], False))
            else:
                result.append(_Constraint(k, start, deadline[c], True))
        if k == len(path) - 1:
            break
        inner = sum(1 << c for c in event.due if c < explorer.env_base)
        environment = explorer.world.environment(env, old, event.vector, event.due)
        assert environment is not None
        anew = 0
        if old is None or inner or event.vector != old:
            parts_due = inner & ((1 << explorer.signal_base) - 1)
            settled = explorer.settled(state, event.vector, parts_due)
            state, anew = settled.state, settled.anew
            if event.order is not None:
                state, anew = event.order.state, event.order.anew
            signals, _, signals_anew = explorer.reaction(
                signals, event.vector, inner >> explorer.signal_base
            )
            anew |= signals_anew << explorer.signal_base
        env = environment[0]
        anew |= environment[1] << explorer.env_base
        old = event.vector
        active = dict(explorer.clocks((state, event.vector, signals, env)))
        began = {c: k if anew >> c & 1 else began[c] for c in active}
        deadline = active
    return result


def event_times(explorer: Explorer, path: Sequence[Event]) -> tuple[Fraction, ...]:
    """Return the earliest times (ticks) at which the events of `path` can happen, from 0."""
    constraints = _constraints(explorer, path)
    for grid in GRIDS:
        times = _solve(constraints, len(path), Fraction(grid))
        if times is not None:
            return times
    # With n strict bounds between whole numbers, steps of 1/(n + 1) always suffice.
    strict = sum(c.strict for c in constraints)
    times = _solve(constraints, len(path), Fraction(1, min(strict, len(path)) + 1))
    assert times is not None, "a path of the zone graph always has a run"
    return times


def _solve(
    constraints: list[_Constraint], count: int, grid: Fraction
) -> tuple[Fraction, ...] | None:
    """Return the earliest times that are multiples of `grid`, None when there are none."""
    limits: list[tuple[int, int, int]] = []
    for c in constraints:
        steps = c.bound / grid
        whole = steps.numerator // steps.denominator
        if c.strict and whole == steps:
            whole -= 1
        limits.append((c.later, c.earlier, whole))
    # later - earlier <= w means earlier >= later - w: longest paths from the first event.
    at = [0] * count
    for _ in range(count + 1):
        changed = False
        for later, earlier, whole in limits:
            if at[later] - whole > at[earlier]:
                at[earlier] = at[later] - whole
                changed = True
        if not changed:
            return tuple(step * grid for step in at) if at[0] == 0 else None
    return None


def moments_of(
    circuit: Circuit, path: Sequence[Event], times: Sequence[Fraction]
) -> tuple[Moment, ...]:
    """Return the moments at which inputs change on a path, and its last one."""
    moments = []
    before = 0
    for k, (event, time) in enumerate(zip(path, times, strict=True)):
        changed = before ^ event.vector
        before = event.vector
        if changed or k == len(path) - 1:
            moments.append(
                Moment(
                    time,
                    tuple(
                        (name, event.vector & bit != 0)
                        for name, bit in circuit.bits.items()
                        if changed & bit
                    ),
                )
            )
    return tuple(moments)


def change_in_words(problem: Problem, name: str, level: bool) -> str:
    """Return what happens in the world when an input changes to `level`."""
    kinds = {item.name: item.kind for item in problem.inputs}
    kind = InputKind.SUPPLY if name == "supply" else kinds.get(name, InputKind.SENSOR)
    match kind:
        case InputKind.SUPPLY:
            return "the supply comes on" if level else "the supply is cut"
        case InputKind.NIGHT:
            return "night falls" if level else "day breaks"
        case InputKind.SWITCH:
            return f"switch '{name}' {'closes' if level else 'opens'}"
        case InputKind.BUTTON:
            return f"'{name}' is {'pressed' if level else 'let go'}"
        case _:
            return f"'{name}' {'comes on' if level else 'goes off'}"


def time_in_words(time: Fraction) -> str:
    """Return a length of time, exact when it is whole ticks, else to a thousandth of one."""
    if time.denominator == 1:
        return format_duration(int(time))
    thousandths = round(time * 1000)
    return f"about {thousandths // 1000}.{thousandths % 1000:03d} ms"


def when_in_words(problem: Problem, moments: Sequence[Moment]) -> str:
    """Return the last of `moments` as a user knows it: so long after an input changed."""
    last = moments[-1]
    changing = [m for m in moments if m.inputs]
    cause = changing[-1]
    changes = list(cause.inputs)
    beside = ""
    if len(changing) == 1:
        # At the start the other inputs do not change, they are found as they are.
        already = [name for name, level in changes if level and name != "supply"]
        nights = {item.name for item in problem.inputs if item.kind is InputKind.NIGHT}
        others = [name for name in already if name not in nights]
        changes = [pair for pair in changes if pair[0] == "supply"] or changes
        if changes[0][0] == "supply":
            beside = " by night" if len(others) < len(already) else ""
            beside += f" with {listed(others)} on" if others else ""
    happening = listed(change_in_words(problem, name, level) for name, level in changes) + beside
    if last.time == cause.time:
        return f"when {happening}"
    return f"{time_in_words(last.time - cause.time)} after {happening}"


def _on(level: bool | None) -> str:
    return "on" if level else "off"


def _goals(goals: tuple[int, ...]) -> str:
    if not goals:
        return ""
    if len(goals) == 1:
        return f"goal {goals[0]}: "
    return f"goals {', '.join(map(str, goals[:-1]))} and {goals[-1]}: "


def _order_in_words(names: Sequence[Sequence[str]]) -> str:
    return ", then ".join(" and ".join(step) for step in names if step) or "none"


def _together_order(explorer: Explorer, event: int, path: Sequence[Event]) -> str:
    """Return the parts in the order in which they move all together at event number `event`."""
    state, signals_due = explorer.circuit.start, 0
    for k, item in enumerate(path):
        parts_due = sum(1 << c for c in item.due if c < explorer.signal_base)
        if k == event:
            steps = []
            vector, due = item.vector, parts_due
            for _ in range(1000):
                _, rows = explorer.circuit.look(state, vector, due)
                moving = [i for i, row in enumerate(rows) if row[3]]
                if not moving:
                    break
                steps.append(explorer.circuit.names(moving))
                state = tuple(row[1] for row in rows)
                due = 0
            return _order_in_words(steps)
        if k == 0 or parts_due or item.vector != path[k - 1].vector or signals_due:
            settled = explorer.settled(state, item.vector, parts_due)
            state = settled.state if item.order is None else item.order.state
    return ""


def _outcome(explorer: Explorer, path: Sequence[Event], event: int, other: Other | None) -> str:
    """Return which loads are on once event number `event` has settled."""
    state = explorer.circuit.start
    on = 0
    for k, item in enumerate(path[: event + 1]):
        due = sum(1 << c for c in item.due if c < explorer.signal_base)
        settled = explorer.settled(state, item.vector, due)
        chosen = other if k == event else item.order
        if chosen is not None and chosen.chatter:
            return "it never settles"
        state = settled.state if chosen is None else chosen.state
        on = settled.loads[-1] if chosen is None else chosen.loads
    loads = [name for name, bit in explorer.circuit.load_bits.items() if on & bit]
    circuit = explorer.circuit
    closed = [p.name for i, p in enumerate(circuit.parts) if state[i] & 1]
    return f"{', '.join(loads) or 'no load'} on; operated: {', '.join(closed) or 'none'}"


def defect(explorer: Explorer, design: Design, problem: Problem, finding: Finding) -> Defect:
    """Return the finding as a defect: a sentence, and the shortest input sequence with its run."""
    path = finding.path
    times = event_times(explorer, path)
    circuit = explorer.circuit
    moments = moments_of(circuit, path, times)
    when = when_in_words(problem, moments)
    fault = finding.fault
    orders: tuple[str, ...] = ()
    turning = [k for k, event in enumerate(path) if event.order is not None]
    lead = _goals(finding.goals)
    match fault:
        case Fault.GOAL:
            message = (
                f"{lead}{finding.load} is {_on(finding.got)} {when}; "
                f"it must be {_on(finding.expected)}"
            )
        case Fault.BLIP:
            message = (
                f"{lead}{finding.load} blinks {when}: it changes and changes back "
                f"while the parts settle"
            )
        case Fault.TOGETHER:
            message = (
                f"{lead}{finding.load} and {finding.partner} are on together {when}, "
                f"if only for an instant; they must never be"
            )
        case Fault.PEAK:
            allowed = problem.peak.units if problem.peak else 0
            message = f"{lead}{finding.units} units are in use {when}; at most {allowed} may be"
        case _:
            names = circuit.names(finding.slots)
            loop = " -> ".join((*names, names[0])) if names else ""
            message = f"the parts never settle {when}: {loop}"
    trace: Trace
    end = times[-1] + AFTERWARDS
    if turning:
        fault = Fault.RACE
        k = turning[0]
        order = path[k].order
        assert order is not None
        together = _together_order(explorer, k, path)
        moved = _order_in_words([circuit.names(step) for step in order.order])
        orders = (
            f"{together}: {_outcome(explorer, path, k, None)}",
            f"{moved}: {_outcome(explorer, path, k, order)}",
        )
        message = (
            f"{message}, if the parts move in this order {time_in_words(times[k])} "
            f"after the start: {moved}"
        )
        override = {
            times[k]: (event.order.state, event.order.anew)
            for k, event in enumerate(path)
            if event.order is not None and not event.order.chatter
        }
        trace = run(circuit, moments, end, override)
    else:
        trace = simulate(design, problem, moments, end)
        if trace.end < times[-1]:
            # Parts that do not matter here never settle and end the run: leave them out.
            trace = run(circuit, moments, end)
    trace = Trace(trace.end, trace.tracks, (*trace.marks, (times[-1], message)))
    return Defect(
        fault,
        message,
        finding.goals,
        Counterexample(moments, finding.load, finding.expected, finding.got, orders, trace),
    )
