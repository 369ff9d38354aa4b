"""Random small designs and goals, for the tests that compare the checker with plain simulation."""

from __future__ import annotations

import dataclasses
from random import Random

from check_designs import FULL, asked, load, part, wired

from synth.design import Design, PartInUse
from synth.parts.behaviour import SHAPES, PartType
from synth.parts.kit import Kit, Trigger
from synth.problem import Problem
from synth.signals import (
    ON,
    And,
    Cycle,
    Latch,
    Level,
    Not,
    OffDelay,
    OnDelay,
    Or,
    Pulse,
    Signal,
    Toggle,
)

INSTANT = dataclasses.replace(FULL, trigger=Trigger.INSTANT)
KITS = {"held": FULL, "instant": INSTANT}

_REACTING = (
    PartType.RELAY_MAKE,
    PartType.RELAY_BREAK,
    PartType.RELAY_CHANGEOVER,
    PartType.BISTABLE,
    PartType.IMPULSE,
    PartType.PULSE,
    PartType.PULSE,
    PartType.RETRIGGERABLE,
    PartType.ON_DELAY,
    PartType.OFF_DELAY,
    PartType.RECYCLER,
)


def a_part(random: Random, name: str, kit: Kit) -> PartInUse:
    kind = random.choice(
        (*_REACTING, *_REACTING, PartType.SENSOR, PartType.TWILIGHT, PartType.JOINT)
    )
    times = (1000, 1000, 2000, 3000)
    match kind:
        case PartType.SENSOR:
            return part(name, kind, kit, input="hot", contact=random.choice(("make", "break")))
        case PartType.TWILIGHT:
            return part(name, kind, kit, passes=random.choice(("night", "day")))
        case PartType.BISTABLE:
            return part(name, kind, kit, wins=random.choice(("set", "reset")))
        case PartType.RECYCLER:
            return part(
                name,
                kind,
                kit,
                on=random.choice(times),
                off=random.choice(times),
                first=random.choice(("pulse", "pause")),
            )
        case PartType.PULSE | PartType.RETRIGGERABLE | PartType.ON_DELAY | PartType.OFF_DELAY:
            return part(name, kind, kit, time=random.choice(times))
    return part(name, kind, kit)


def a_design(random: Random, kit: Kit, parts: int, loads: tuple[str, ...]) -> Design:
    """Return a random well-formed design: power without loops, controls from anywhere."""
    used = [a_part(random, f"P{i}", kit) for i in range(parts)]
    outputs = [["supply"]]
    for item in used:
        outputs.append([f"{item.name}.{o}" for o in SHAPES[item.type].outputs])
    feeds: dict[str, str] = {}
    every = [o for group in outputs for o in group]
    for i, item in enumerate(used):
        before = [o for group in outputs[: i + 1] for o in group]
        for terminal in SHAPES[item.type].power:
            # Leaning on the supply keeps designs from being dead most of the time.
            feeds[f"{item.name}.{terminal}"] = random.choice(["supply", random.choice(before)])
        for terminal in SHAPES[item.type].controls:
            feeds[f"{item.name}.{terminal}"] = random.choice(every)
    for name in loads:
        feeds[f"{name}.in"] = random.choice(every[1:] or every)
    return wired([*used, *(load(name, kit=kit) for name in loads)], feeds, kit)


def a_signal(random: Random, depth: int = 2) -> Signal:
    """Return a random required signal over supply, night and hot."""
    level = Level(random.choice(("supply", "night", "hot")))
    if depth == 0:
        return level
    inner = a_signal(random, depth - 1)
    time = random.choice((1000, 2000, 3000))
    enable = random.choice((ON, Level("supply")))
    return random.choice(
        (
            level,
            Not(inner),
            And((inner, a_signal(random, depth - 1))),
            Or((inner, a_signal(random, depth - 1))),
            Pulse(inner, time, random.choice((True, False)), enable),
            OnDelay(inner, time, enable),
            OffDelay(inner, time, enable),
            Cycle(
                inner,
                time,
                1000,
                random.choice((True, False)),
                random.choice((True, False)),
                enable,
            ),
            Latch(inner, a_signal(random, depth - 1), random.choice((True, False)), enable),
            Toggle(inner, enable),
        )
    )


def a_problem(random: Random, kit: Kit, loads: tuple[str, ...] = ("lamp",)) -> Problem:
    """Return a problem that asks for random signals."""
    gate = Level("supply")
    wanted = {name: And((gate, a_signal(random))) for name in loads}
    known = {item.name for item in asked(wanted, kit=kit).inputs}
    spare = [_input(name) for name in ("supply", "night", "hot") if name not in known]
    return asked(wanted, *spare, kit=kit)


def _input(name: str) -> object:
    from synth.problem import InputKind, OutsideInput

    kinds = {"supply": InputKind.SUPPLY, "night": InputKind.NIGHT}
    return OutsideInput(name, kinds.get(name, InputKind.SENSOR))


def built(signal: Signal, kit: Kit = FULL) -> Design:
    """Return the plain circuit of a signal, part for node: often right, not always (see below).

    And: one behind the other; Or: a joint; Not: a break relay; timers stand at the supply and
    gate by a make relay. Settling steps make some of these blink or miss an edge, which is what
    makes them good cases.
    """
    parts: list[PartInUse] = []
    feeds: dict[str, str] = {}

    def new(kind: PartType, power: str, **settings: str | int) -> str:
        name = f"P{len(parts)}"
        parts.append(part(name, kind, kit, **settings))
        if kind is not PartType.JOINT:
            feeds[f"{name}.in"] = power
        return name

    def gated(output: str, power: str) -> str:
        if power == "supply":
            return output
        name = new(PartType.RELAY_MAKE, power)
        feeds[f"{name}.coil"] = output
        return f"{name}.out"

    def net(node: Signal, power: str) -> str:
        match node:
            case Level("supply"):
                return power
            case Level("night"):
                return new(PartType.TWILIGHT, power, passes="night") + ".out"
            case Level(name):
                return new(PartType.SENSOR, power, input=name, contact="make") + ".out"
            case Not(of):
                name = new(PartType.RELAY_BREAK, power)
                feeds[f"{name}.coil"] = net(of, "supply")
                return f"{name}.out"
            case And(of):
                for piece in of:
                    power = net(piece, power)
                return power
            case Or(of):
                first, second = (net(piece, power) for piece in of)
                name = new(PartType.JOINT, power)
                feeds[f"{name}.in1"], feeds[f"{name}.in2"] = first, second
                return f"{name}.out"
            case Pulse(start, time, retrigger):
                kind = PartType.RETRIGGERABLE if retrigger else PartType.PULSE
                name = new(kind, "supply", time=time)
                feeds[f"{name}.start"] = net(start, "supply")
            case OnDelay(of, time):
                name = new(PartType.ON_DELAY, "supply", time=time)
                feeds[f"{name}.start"] = net(of, "supply")
            case OffDelay(of, time):
                name = new(PartType.OFF_DELAY, "supply", time=time)
                feeds[f"{name}.start"] = net(of, "supply")
            case Cycle(gate, on, off, pulse_first):
                name = new(
                    PartType.RECYCLER,
                    net(gate, "supply"),
                    on=on,
                    off=off,
                    first="pulse" if pulse_first else "pause",
                )
            case Latch(set_, reset, wins_set):
                name = new(PartType.BISTABLE, "supply", wins="set" if wins_set else "reset")
                feeds[f"{name}.set"] = net(set_, "supply")
                feeds[f"{name}.reset"] = net(reset, "supply")
            case Toggle(of):
                name = new(PartType.IMPULSE, "supply")
                feeds[f"{name}.pulse"] = net(of, "supply")
            case _:
                raise AssertionError(node)
        return gated(f"{name}.out", power)

    feeds["lamp.in"] = net(signal, "supply")
    return wired([*parts, load("lamp", kit=kit)], feeds, kit)


def asked_for(signal: Signal, kit: Kit = FULL) -> Problem:
    """Return the problem of one lamp over supply, night and hot."""
    known = {item.name for item in asked({"lamp": signal}, kit=kit).inputs}
    spare = [_input(name) for name in ("supply", "night", "hot") if name not in known]
    return asked({"lamp": signal}, *spare, kit=kit)
