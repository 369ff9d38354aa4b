"""Random small jobs of several circuits that share something, and what their cheapest design costs.

What they share: a switch over some of them, loads that want the same, sensing parts that serve
several loads, outlets of one supply, parts that are few, stock, or outputs that are dead at times.
Of some inputs it is known how long they last, or that they are never on together.

All is small enough for `random_jobs.least` to go through every wiring. Names, prices and jobs are
invented, for tests alone.
"""

from __future__ import annotations

import dataclasses
from random import Random

from random_jobs import ENDS, EVERYTHING, FOLLOWS, NAMES, OFFERED, PRICE_FIRST, Job, P

from synth.parts.behaviour import SENSING, TIMED, PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.pose import pose
from synth.problem import InputKind, Limits, OutsideInput, Problem
from synth.read.goal_file import parse_goal_file
from synth.signals import OFF, Latch, Level, all_of, inputs_of

CIRCUITS: dict[str, tuple[str, tuple[PartType, ...]]] = {
    # {x}, {y} are loads, {a}, {b} sensors, {p} a push-button: each circuit has its own.
    "while": ("{x} while {a}", ()),
    "while not": ("{x} while not {a}", (P.RELAY_BREAK,)),
    "two on one": ("{x} while {a}; {y} while {a}", ()),
    "equal": ("{x} and {y} while {a} and {b}", (P.RELAY_MAKE,)),
    "one or other": ("{x} while {a}; {y} while not {a}", (P.RELAY_CHANGEOVER, P.RELAY_BREAK)),
    "both": ("{x} while {a} and {b}", (P.RELAY_MAKE,)),
    "either": ("{x} while {a} or {b}", (P.JOINT,)),
    "always": ("{x} always", ()),
    "two always": ("{x} always; {y} always", ()),
    "after": ("{x} 1 s after {a}", (P.ON_DELAY,)),
    "longer": ("{x} keeps running 1 s after {a}", (P.OFF_DELAY,)),
    "pulse": ("{x} for 1 s after {p}", (P.PULSE,)),
    "from power on": ("{x} on 1 s of every 2 s", (P.RECYCLER, P.PULSE, P.RELAY_BREAK)),
    "toggled": ("{x} toggled by {p}", (P.IMPULSE,)),
    "held": ("{x} started by {p} and stopped by {q}", (P.BISTABLE, P.RELAY_MAKE, P.JOINT)),
    "for good": ("{x} while {p}", (P.BISTABLE, P.RELAY_MAKE, P.JOINT)),
    "shows off": ("{x} while {a}; {y} shows that {x} is off", (P.RELAY_CHANGEOVER,)),
}
"""Goals of a circuit, parted by semicolons, and parts that help. "for good": it stays on."""
EASY = ("while", "while not", "two on one", "always", "two always", "one or other")
FACTS = ("least_on", "most_on", "least_off", "most_off")
LOADS = ("lamp", "fan", "pump", "heater", "bell", "siren")
SENSORS = ("hot", "damp", "cold", "windy")
BUTTONS = ("push one", "push two", "push three", "push four")


def a_sharing_job(seed: int, most: int = 3) -> Job:
    """Return job number `seed`: two circuits or up to `most`, mostly one of them easy."""
    random = Random(seed)
    first = list(CIRCUITS)[seed % len(CIRCUITS)]
    others = [
        random.choice(EASY if random.random() < 0.7 else tuple(CIRCUITS))
        for _ in range(random.randrange(1, most))
    ]
    names = {"x": list(LOADS), "s": list(SENSORS), "p": list(BUTTONS)}
    for free in names.values():
        random.shuffle(free)
    goals: list[str] = []
    helpful: list[PartType] = []
    for name in (first, *others):
        goal, parts = CIRCUITS[name]
        if len(names["x"]) < 2 or len(names["s"]) < 2 or len(names["p"]) < 2:
            break
        ends = {k: names["x"].pop() for k in "xy" if f"{{{k}}}" in goal}
        ends |= {k: names["s"].pop() for k in "ab" if f"{{{k}}}" in goal}
        ends |= {k: names["p"].pop() for k in "pq" if f"{{{k}}}" in goal}
        goals += goal.format(**ends).split("; ")
        helpful += parts
    loads = [load for load in LOADS if load not in names["x"]]
    patterns = [first, *others]
    if random.random() < 0.4:
        some = random.sample(loads, random.randrange(1, len(loads) + 1))
        goals.append(f"master cutoff for {' and '.join(some)}")
        patterns.append("switch over some")
    known = [] if random.random() < 0.4 else ["supply never fails"]
    source = "title: Sharing\ngoals:\n" + "".join(f"  - {goal}\n" for goal in goals)
    source += "".join(["known:\n", *(f"  - {fact}\n" for fact in known)]) if known else ""
    pressed = [name for name in BUTTONS if any(name in goal for goal in goals)]
    source += "".join(["inputs:\n", *(f"  {n}: push-button\n" for n in pressed)]) if pressed else ""
    goal_list = parse_goal_file(source, "sharing")
    inputs = pose(goal_list, EVERYTHING).inputs
    kit = a_sharing_kit(random, [FOLLOWS[i.kind] for i in inputs if i.kind in FOLLOWS], helpful)
    problem = pose(goal_list, kit)
    if "for good" in patterns:
        problem = for_good(problem)
    problem = with_some_facts(random, problem, patterns)
    limits = Limits(price=random.choice((random.randrange(4, 22), 30, 30)))
    if random.random() < 0.15:
        part = random.choice([p for p in kit.parts if p not in ENDS])
        limits = dataclasses.replace(limits, stock=((part.name, random.choice((1, 2))),))
        patterns.append("stock")
    problem = dataclasses.replace(problem, limits=limits, objectives=PRICE_FIRST)
    return Job(seed, problem, tuple(dict.fromkeys(patterns)), source)


def for_good(problem: Problem) -> Problem:
    """Return the problem in which a load that follows a push-button alone is on for good from the
    first press (until the supply fails)."""
    buttons = {i.name for i in problem.inputs if i.kind is InputKind.BUTTON}
    requirements = []
    for r in problem.requirements:
        named = inputs_of(r.signal) - {"supply"}
        if len(named) == 1 and named <= buttons and r.signal == all_of(
            Level("supply"), Level(*named)
        ):
            r = dataclasses.replace(r, signal=Latch(Level(*named), OFF, enable=Level("supply")))
        requirements.append(r)
    return dataclasses.replace(problem, requirements=tuple(requirements))


def with_some_facts(random: Random, problem: Problem, patterns: list[str]) -> Problem:
    """Return the problem with random facts about its inputs; name them in `patterns`."""
    inputs, free = [], []
    for item in problem.inputs:
        if item.name != "supply" and item.steady is None:
            free.append(item.name)
            told = a_fact(random)
            if told:
                patterns.append("never changes" if "steady" in told else "lasts")
            item = dataclasses.replace(item, **told)
        inputs.append(item)
    groups = problem.never_together
    if len(free) > 1 and random.random() < 0.2:
        pair = tuple(random.sample(free, 2))
        if sum(item.steady is True for item in inputs if item.name in pair) < 2:
            groups = (*groups, pair)
            patterns.append("never together")
    return dataclasses.replace(problem, inputs=tuple(inputs), never_together=groups)


def a_fact(random: Random) -> dict[str, int | bool]:
    """Return a random fact of how long an input lasts, mostly none."""
    if random.random() < 0.75:
        return {}
    if random.random() < 0.3:
        return {"steady": random.random() < 0.7}
    told: dict[str, int | bool] = {random.choice(FACTS): 1000}
    if random.random() < 0.5:
        told |= {"most_on": random.choice((500, 1000, 2000)), "most_off": 2000}
    return told


def a_sharing_kit(
    random: Random, needed: list[PartType], helpful: list[PartType]
) -> Kit:
    """Return a kit with what follows the inputs, in one or two makes, mostly what helps, and one
    or two parts that split power; prices are small, so that many designs cost nearly the same."""
    lines: list[KitPart] = []
    for kind in dict.fromkeys(needed):
        name, options = NAMES[kind]
        if kind is not P.SWITCH and random.random() < 0.4:
            for option in options:
                lines.append(_line(random, kind, f"{option} {name}", (option,)))
        else:
            kept = options if random.random() < 0.5 else (random.choice((*options, options[0])),)
            lines.append(_line(random, kind, name, kept))
    wished = [k for k in dict.fromkeys(helpful) if random.random() < 0.95]
    for kind in wished[:4]:
        lines.append(_line(random, kind, NAMES[kind][0], NAMES[kind][1]))
        if random.random() < 0.25:
            lines.append(_line(random, kind, f"other {NAMES[kind][0]}", NAMES[kind][1]))
    tap = KitPart("tap-off", P.TAP_OFF, random.randrange(0, 4), largest=random.choice((9, 99)))
    outputs = random.randrange(2, 5)
    divider = KitPart("divider", P.DIVIDER, random.randrange(0, 5), outputs=outputs)
    splitting = random.choice([(tap,), (divider,), (divider,), (tap, divider)])
    trigger = random.choice((Trigger.HELD, Trigger.INSTANT))
    return Kit("sharing", "Sharing", trigger, (ENDS[0], *lines, *splitting, ENDS[1]))


def _line(random: Random, kind: PartType, name: str, options: tuple[str, ...]) -> KitPart:
    sensing = kind in SENSING
    price = random.randrange(0, 4) if sensing else random.randrange(1, 7)
    return KitPart(
        name,
        kind,
        price,
        2 if sensing else random.choice((1, 2, 2)),
        random.choice((1, 1, 2)),
        options,
        OFFERED if kind in TIMED else None,
    )


def bounded_inputs(problem: Problem) -> list[OutsideInput]:
    """Return the inputs of which it is known for how long they last at most."""
    return [item for item in problem.inputs if item.most_on or item.most_off]
