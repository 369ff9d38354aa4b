"""A slow, plain reference for the checker: one design and its goals, half a second at a time.

Written apart from `synth.check`: wires are followed by recursion, time runs in equal steps on
counters, and nothing is remembered or reduced. Tests compare the two. It knows the same
definition of a part's step (`synth.parts.behaviour`) and of a required signal
(`synth.signals`), since those *are* the definition.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from synth.design import Design, PartInUse, Terminal
from synth.parts.behaviour import (
    CONTACT,
    CONTROLLED,
    EDGE_SENSITIVE,
    RUNNING,
    SEEN,
    PartType,
    closed,
    move,
    notice,
)
from synth.parts.kit import Trigger
from synth.problem import Problem
from synth.signals import SignalMachine
from synth.trace import Moment

STEP = 500
"""The step of this simulation, in ticks."""


@dataclass
class Situation:
    """Everything there is at one settled instant; times left are counters of steps."""

    states: dict[str, int]
    left: dict[str, int]
    wanted: tuple[int, ...]
    wanted_left: dict[int, int]
    levels: dict[str, bool]
    on: frozenset[str] = frozenset()

    def key(self) -> object:
        """A value equal for equal situations."""
        return (
            tuple(sorted(self.states.items())),
            tuple(sorted(self.left.items())),
            self.wanted,
            tuple(sorted(self.wanted_left.items())),
            tuple(sorted(self.levels.items())),
        )


@dataclass(frozen=True)
class Broken:
    """What went wrong, and at which load ('' when the circuit never settles)."""

    how: str
    load: str = ""


JOINED = ("in1", "in2")


class Plain:
    """Runs one design against one problem."""

    def __init__(self, design: Design, problem: Problem) -> None:
        self.design, self.problem = design, problem
        self.parts = {p.name: p for p in design.parts}
        self.source = {(w.target.part, w.target.terminal): w.source for w in design.wires}
        self.machine = SignalMachine(tuple((r.load, r.signal) for r in problem.requirements))
        self.controlled = [p for p in design.parts if p.type in CONTROLLED]
        self.names = [item.name for item in problem.inputs]

    def first(self) -> Situation:
        """Return the situation before anything has happened."""
        return Situation(
            {p.name: 0 for p in self.controlled},
            {},
            self.machine.start,
            {},
            dict.fromkeys(self.names, False),
        )

    def output_live(
        self, output: Terminal, states: dict[str, int], levels: dict[str, bool]
    ) -> bool:
        part = self.parts[output.part]
        match part.type:
            case PartType.SUPPLY:
                return levels["supply"]
            case PartType.JOINT:
                return any(self.input_live(part.name, end, states, levels) for end in JOINED)
        if not self.input_live(part.name, "in", states, levels):
            return False
        match part.type:
            case PartType.SWITCH | PartType.PUSH_BUTTON | PartType.SENSOR:
                return levels[str(part.setting("input"))] == (part.setting("contact") != "break")
            case PartType.TWILIGHT:
                return levels["night"] == (part.setting("passes") == "night")
            case PartType.TAP_OFF | PartType.DIVIDER:
                return True
        return closed(part.type, output.terminal, states[part.name])

    def input_live(
        self, part: str, terminal: str, states: dict[str, int], levels: dict[str, bool]
    ) -> bool:
        source = self.source.get((part, terminal))
        return source is not None and self.output_live(source, states, levels)

    def on(self, states: dict[str, int], levels: dict[str, bool]) -> frozenset[str]:
        return frozenset(
            p.name
            for p in self.design.parts
            if p.type is PartType.LOAD and self.input_live(p.name, "in", states, levels)
        )

    def limit(self, part: PartInUse, state: int) -> int:
        if part.type is PartType.RECYCLER:
            ticks = part.setting("on") if state & CONTACT else part.setting("off")
        else:
            ticks = part.setting("time")
        assert isinstance(ticks, int) and ticks % STEP == 0
        return ticks // STEP

    def event(
        self, now: Situation, levels: dict[str, bool], passed: bool
    ) -> Situation | Broken | None:
        """Return what comes after: one step of time if `passed`, then these levels.

        None when nothing at all happens but time.
        """
        left = {name: n - passed for name, n in now.left.items()}
        wanted_left = {slot: n - passed for slot, n in now.wanted_left.items()}
        due = {name for name, n in left.items() if n == 0}
        wanted_due = {slot for slot, n in wanted_left.items() if n == 0}
        if not due and not wanted_due and levels == now.levels:
            return Situation(now.states, left, now.wanted, wanted_left, levels, now.on)
        states = dict(now.states)
        pending = set(due)
        seen_on = [now.on]
        restarted: set[str] = set()
        for _ in range(500):
            seen_on.append(self.on(states, levels))
            nexts, anew, excited = self.step(states, levels, pending)
            states = nexts
            restarted |= anew
            pending = set()
            if not excited:
                break
        else:
            return Broken("never settles")
        for part in self.controlled:
            if not states[part.name] & RUNNING:
                left.pop(part.name, None)
            elif part.name in restarted:
                left[part.name] = self.limit(part, states[part.name])
        new_wanted, required, slots = self.machine.react(now.wanted, levels, tuple(wanted_due))
        for slot, value in enumerate(new_wanted):
            ticks = self.machine.limit(slot, value)
            if not ticks:
                wanted_left.pop(slot, None)
            elif slot in slots:
                assert ticks % STEP == 0
                wanted_left[slot] = ticks // STEP
        final = seen_on[-1]
        for load, value in required.items():
            if (load in final) != value:
                return Broken("goal", load)
            changes = sum((load in a) != (load in b) for a, b in itertools.pairwise(seen_on))
            if changes > 1:
                return Broken("blinks", load)
        for apart in self.problem.apart:
            if any(apart.first in on and apart.second in on for on in seen_on):
                return Broken("together", apart.first)
        return Situation(states, left, new_wanted, wanted_left, levels, final)

    def step(
        self, states: dict[str, int], levels: dict[str, bool], pending: set[str]
    ) -> tuple[dict[str, int], set[str], bool]:
        looks = {}
        for part in self.controlled:
            shape = self.problem.kit.index[part.part].shape
            looks[part.name] = (
                self.input_live(part.name, "in", states, levels),
                tuple(self.input_live(part.name, c, states, levels) for c in shape.controls),
            )

        def moved(part: PartInUse, edges: bool) -> tuple[int, int, bool]:
            power, controls = looks[part.name]
            first = bool(controls) and controls[0]
            is_due = part.name in pending
            noticed = notice(part.type, states[part.name], power, first, is_due, edges)
            after, anew = move(
                part.type,
                noticed,
                power,
                controls,
                is_due,
                part.setting("wins") == "set",
                part.setting("first") != "pause",
            )
            return noticed, after, anew

        plain_moves = False
        for part in self.controlled:
            if part.type not in EDGE_SENSITIVE:
                noticed, after, anew = moved(part, False)
                plain_moves |= anew or after != noticed
            elif part.type is not PartType.IMPULSE and not looks[part.name][0]:
                plain_moves |= bool(states[part.name] & ~SEEN)
        nexts, restarted, excited = {}, set(), False
        for part in self.controlled:
            edges = self.problem.kit.trigger is Trigger.INSTANT or (
                not plain_moves and not pending - {part.name}
            )
            noticed, after, anew = moved(part, edges)
            nexts[part.name] = after
            if anew:
                restarted.add(part.name)
            excited |= anew or bool((after ^ noticed) & ~SEEN)
        return nexts, restarted, excited

    def allowed(self) -> list[dict[str, bool]]:
        result = []
        for values in itertools.product((False, True), repeat=len(self.names)):
            levels = dict(zip(self.names, values, strict=True))
            if any(sum(levels[n] for n in g) > 1 for g in self.problem.never_together):
                continue
            if any(
                item.steady is not None and levels[item.name] != item.steady
                for item in self.problem.inputs
            ):
                continue
            result.append(levels)
        return result


def held_as_one_comes(
    problem: Problem, before: dict[str, bool] | None, after: dict[str, bool]
) -> bool:
    """Return whether an input is on just as another comes on at which it is known to be released;
    `before` None: the supply comes on, the first time."""
    for item in problem.inputs:
        for other in item.released_as:
            was = other != "supply" if before is None else before.get(other, False)
            if after.get(item.name, False) and after.get(other, False) and not was:
                return True
    return False


def first_failure(
    design: Design, problem: Problem, steps: int, changes: int
) -> tuple[Broken, Sequence[tuple[int, dict[str, bool]]]] | None:
    """Return something that goes wrong within `steps` steps and `changes` later input changes.

    Tries every sequence of allowed input levels that change at whole steps. The answer has the
    moments (step, levels). None: nothing found, which is no proof. Facts about the lengths of
    inputs are not honoured, so problems that state some are refused.
    """
    assert not any(
        item.least_on or item.most_on or item.least_off or item.most_off for item in problem.inputs
    )
    plain = Plain(design, problem)
    vectors = plain.allowed()
    layer: list[tuple[Situation, int, tuple[tuple[int, dict[str, bool]], ...]]] = []
    for levels in vectors:
        if levels["supply"] and not held_as_one_comes(problem, None, levels):
            after = plain.event(plain.first(), levels, False)
            if isinstance(after, Broken):
                return after, [(0, levels)]
            assert after is not None
            layer.append((after, changes, ((0, levels),)))
    seen: set[object] = set()
    for step in range(1, steps + 1):
        following: list[tuple[Situation, int, tuple[tuple[int, dict[str, bool]], ...]]] = []
        for now, budget, path in layer:
            choices: Iterable[dict[str, bool]] = vectors if budget else [now.levels]
            for levels in choices:
                if held_as_one_comes(problem, now.levels, levels):
                    continue
                changed = levels != now.levels
                after = plain.event(now, levels, True)
                moments = (*path, (step, levels)) if changed else path
                if isinstance(after, Broken):
                    return after, [*path, (step, levels)]
                assert after is not None
                key = (step, budget - changed, after.key())
                if key not in seen:
                    seen.add(key)
                    following.append((after, budget - changed, moments))
        layer = following
    return None


def wanted_levels(
    problem: Problem, moments: Sequence[Moment], end: Fraction
) -> dict[str, list[tuple[Fraction, bool]]]:
    """Return the required level of each load at every event up to and including `end`."""
    machine = SignalMachine(tuple((r.load, r.signal) for r in problem.requirements))
    state = machine.start
    levels = {item.name: False for item in problem.inputs}
    until: dict[int, Fraction] = {}
    outside: dict[Fraction, dict[str, bool]] = {}
    for moment in moments:
        outside.setdefault(moment.time, {}).update(moment.inputs)
    result: dict[str, list[tuple[Fraction, bool]]] = {r.load: [] for r in problem.requirements}
    while True:
        times = [*(t for t in outside), *until.values()]
        if not times or min(times) > end:
            return result
        time = min(times)
        levels.update(outside.pop(time, {}))
        due = tuple(slot for slot, expiry in until.items() if expiry == time)
        state, required, anew = machine.react(state, levels, due)
        for slot, value in enumerate(state):
            limit = machine.limit(slot, value)
            if not limit:
                until.pop(slot, None)
            elif slot in anew:
                until[slot] = time + limit
        for name, value in required.items():
            result[name].append((time, value))
