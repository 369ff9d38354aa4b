"""Random small jobs: a kit of up to six parts and goals in words; and their cheapest designs.

Names, goals and prices are invented, as of a smallholding. `least` finds the cheapest design by
full enumeration: every multiset of parts that may cost so little, every wiring and every setting
of it (`every_wiring`), power shared by `synth.share`, judged by `synth.check`. Nothing of the
search is used.

Circuits like these work heaters, pumps and moving parts: the jobs are for tests alone, and say
nothing of wires, contacts, guards or cut-outs.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise, product
from random import Random

from every_wiring import STEP, Levels, Offer, Run, Wirings, count_of, positions
from plain_simulation import held_as_one_comes

from synth.check import check
from synth.design import Design, Skeleton
from synth.parts.behaviour import LEVERS, SENSING, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit, KitPart, Times, Trigger, to_buy
from synth.pose import pose
from synth.problem import InputKind, Limits, Objective, Problem
from synth.read.goal_file import parse_goal_file
from synth.read.kit_file import load_kit
from synth.share import fan_out_price, share_power
from synth.signals import SignalMachine

P = PartType
OFFERED = Times(1000, 60_000, 1000)
"""What every timer can be set to, in ticks."""
MOST_PARTS = 6
"""Most lines of a kit beside the supply and the load."""
SMALL = 3_000_000
"""A job with more wirings than this is not gone through."""
PRICE_FIRST = (Objective.PRICE, Objective.SUPPLY, Objective.WIRES)
POWER_FIRST = (Objective.SUPPLY, Objective.PRICE, Objective.WIRES)

# -- goals ---------------------------------------------------------------------------------------

Pattern = tuple[tuple[str, ...], tuple[PartType, ...]]
"""Ways to say it (goals parted by semicolons; {x}, {y} are loads), and parts that help."""

PATTERNS: dict[str, Pattern] = {
    # One load by itself.
    "always": (("{x} always",), ()),
    "at night": (("{x} at night", "{x} while night"), ()),
    "by day": (("{x} by day",), ()),
    "while": (("{x} while hot",), ()),
    "while not": (("{x} while not hot",), ()),
    "while both": (("{x} while hot and damp", "{x} while hot and not damp"), ()),
    "while either": (("{x} while hot or damp", "{x} while hot or not damp"), (P.JOINT,)),
    "cycle": (("{x} on 1 s of every 3 s", "{x} on 2 s of every 3 s"), (P.RECYCLER,)),
    "even cycle": (("{x} 1 s on, 1 s off",), (P.PULSE, P.RELAY_BREAK, P.IMPULSE)),
    "pause first": (("{x} 2 s off, 1 s on", "{x} 1 s off, 1 s on"), (P.RECYCLER,)),
    "cycle while": (
        ("{x} on 1 s of every 3 s while hot", "{x} on 1 s of every 2 s, only at night"),
        (P.RECYCLER,),
    ),
    "cycle with cutoff": (
        ("{x} on 1 s of every 3 s; master cutoff for {x}", "{x} 1 s on, 1 s off; master cutoff"),
        (P.RECYCLER,),
    ),
    "finish the pulse": (
        ("{x} on 1 s of every 2 s while hot, finish the pulse",),
        (P.RECYCLER, P.JOINT),
    ),
    "from dusk": (("{x} from dusk for 2 s", "{x} for 1 s at dawn"), (P.PULSE,)),
    "pulse": (("{x} for 2 s after each press of bell push", "{x} for 1 s after hot"), (P.PULSE,)),
    "pulse extended": (("{x} for 2 s after hot, pressing again extends",), (P.RETRIGGERABLE,)),
    "on-delay": (("{x} 1 s after hot", "{x} once hot has lasted 2 s"), (P.ON_DELAY,)),
    "off-delay": (("{x} while hot and for 2 s after", "{x} keeps running 1 s after hot"),
                  (P.OFF_DELAY,)),
    "start and stop": (("{x} started by go and stopped by halt",), (P.RELAY_MAKE, P.JOINT)),
    "start wins": (
        ("{x} started by go and stopped by halt, start wins",), (P.RELAY_MAKE, P.JOINT)),
    "keeps its state": (
        ("{x} started by go and stopped by halt, keeps its state through a power cut",),
        (P.BISTABLE,)),
    "fills": (("{x} fills between low and high",), (P.BISTABLE,)),
    "empties": (("{x} empties between low and high",), (P.BISTABLE,)),
    "toggled": (
        ("{x} toggled by button", "{x} toggled by button, keeps its state through a power cut"),
        (P.IMPULSE,)),
    "switched from": (
        ("{x} switched from front and back", "{x} switched from front"),
        (P.RELAY_CHANGEOVER, P.RELAY_BREAK, P.JOINT)),
    "never while": (("{x} while hot; {x} never while damp",), (P.RELAY_BREAK,)),
    "unless": (("{x} at night unless damp", "{x} by day, unless hot"), ()),
    "only": (("{x} while hot; {x} only at night", "{x} 1 s after hot; {x} only by day"),
             (P.ON_DELAY,)),
    "at least": (("{x} while hot, once started at least 2 s",), (P.PULSE, P.JOINT)),
    "at most": (
        ("{x} while hot; never more than 1 unit", "{x} while not hot; never more than 2 units"),
        (P.RELAY_BREAK,)),
    "master cutoff": (("{x} always; master cutoff", "{x} while hot; master cutoff"), ()),
    # Two loads that have to do with each other.
    "shows on": (("{x} while hot; {y} shows {x} on", "{x} 1 s after hot; {y} shows {x} on"),
                 (P.ON_DELAY,)),
    "shows off": (
        ("{x} while hot; {y} shows that {x} is off",
         "{x} on 1 s of every 3 s; {y} shows that {x} is off",
         "{x} 1 s after hot; {y} shows that {x} is off"),
        (P.RELAY_CHANGEOVER, P.RECYCLER, P.ON_DELAY)),
    "never together": (
        ("{x} while hot; {y} at night; {x} and {y} never together",
         "{x} while hot; {y} always; {x} and {y} never together, {x} goes first"),
        (P.RELAY_CHANGEOVER, P.RELAY_BREAK)),
    "gap": (
        ("{x} while hot; {y} while not hot; leave 1 s between {x} and {y}",),
        (P.RELAY_BREAK, P.ON_DELAY)),
    "equal": (("{x} and {y} while hot and damp", "{x} and {y} 1 s after hot"), (P.ON_DELAY,)),
    "two delays": (
        ("{x} 1 s after hot; {y} 2 s after hot", "{x} 1 s after hot; {y} 1 s after damp"),
        (P.ON_DELAY,)),
    "two cutoffs": (
        ("{x} by day; {y} always; master cutoff for {x}",
         "{x} while hot; {y} always; master cutoff"),
        ()),
}  # fmt: skip
PLAIN = ("always", "at night", "by day", "while", "while not")
"""Patterns that go beside another one."""
MORE = (*PLAIN, "cycle", "pulse", "on-delay", "off-delay", "toggled", "keeps its state")
"""The same, some of which need more than a sensing part."""
LOADS = ("lamp", "fan", "pump", "heater")

# -- kits ----------------------------------------------------------------------------------------

NAMES: dict[PartType, tuple[str, tuple[str, ...]]] = {
    P.SWITCH: ("switch", ("make", "break")),
    P.PUSH_BUTTON: ("push button", ("make", "break")),
    P.SENSOR: ("sensor", ("make", "break")),
    P.TWILIGHT: ("twilight switch", ("night", "day")),
    P.RELAY_MAKE: ("relay make", ()),
    P.RELAY_BREAK: ("relay break", ()),
    P.RELAY_CHANGEOVER: ("change-over relay", ()),
    P.BISTABLE: ("bistable relay", ("set", "reset")),
    P.IMPULSE: ("impulse relay", ()),
    P.PULSE: ("pulse timer", ()),
    P.RETRIGGERABLE: ("long pulse timer", ()),
    P.ON_DELAY: ("on-delay", ()),
    P.OFF_DELAY: ("off-delay", ()),
    P.RECYCLER: ("recycler", ("pulse", "pause")),
    P.JOINT: ("joint", ()),
}
FOLLOWS = {
    InputKind.SWITCH: P.SWITCH,
    InputKind.BUTTON: P.PUSH_BUTTON,
    InputKind.SENSOR: P.SENSOR,
    InputKind.NIGHT: P.TWILIGHT,
}
OTHERS = tuple(kind for kind in NAMES if kind not in SENSING)
ENDS = (KitPart("supply", P.SUPPLY), KitPart("load", P.LOAD))
EVERYTHING = Kit(
    "everything",
    "Everything",
    Trigger.HELD,
    (
        *ENDS,
        *(
            KitPart(name, kind, options=options, times=OFFERED if kind in TIMED else None)
            for kind, (name, options) in NAMES.items()
        ),
    ),
)


def a_kit_part(random: Random, kind: PartType, stem: str = "") -> KitPart:
    """Return a part of this type with a random price, options and need of its controls."""
    name, options = NAMES[kind]
    if options and random.random() < 0.25:
        options = (random.choice(options),)
    price = random.randrange(1, 5) if kind in SENSING else random.randrange(4, 9)
    if kind is P.JOINT:
        price = random.choice((0, 1, 2, 3))
    elif random.random() < 0.03:
        price = 0
    most = random.choice((1, 1, 2))
    return KitPart(
        stem + name,
        kind,
        price,
        2 if kind in SENSING else most,
        random.choice((1, 1, 1, 2)),
        options,
        OFFERED if kind in TIMED else None,
    )


def splitting_parts(random: Random) -> tuple[KitPart, ...]:
    """Return one or two parts that split power, seldom none."""
    tap = KitPart("tap-off", P.TAP_OFF, random.randrange(0, 4), largest=random.choice((1, 9, 99)))
    outputs = random.randrange(2, 5)
    divider = KitPart("divider", P.DIVIDER, random.randrange(0, 4), outputs=outputs)
    some = [(tap,), (divider,), (tap, divider)]
    return random.choice(3 * [*some] + [()])


def a_kit(random: Random, needed: Sequence[PartType], helpful: Sequence[PartType]) -> Kit:
    """Return a kit of at most `MOST_PARTS` lines: what follows the inputs, parts that split power,
    mostly what helps, and others, some of them of a type that is there already."""
    kinds = list(dict.fromkeys(needed))
    splitting = splitting_parts(random)
    room = MOST_PARTS - len(splitting) - len(kinds)
    wished = list(dict.fromkeys(helpful))
    if random.random() < 0.1 and wished:
        wished.remove(random.choice(wished))
    rest = [kind for kind in OTHERS if kind not in wished]
    random.shuffle(rest)
    chosen = wished[: max(0, room)]
    spare = max(0, room - len(chosen))
    chosen += rest[: random.randrange(0, spare + 1)]
    parts = [a_kit_part(random, kind) for kind in (*kinds, *chosen)]
    if len(parts) + len(splitting) < MOST_PARTS and parts and random.random() < 0.4:
        parts.append(a_kit_part(random, random.choice((*kinds, *chosen)), "other "))
    trigger = random.choice((Trigger.HELD, Trigger.HELD, Trigger.INSTANT))
    return Kit("random", "Random", trigger, (ENDS[0], *parts, *splitting, ENDS[1]))


@dataclass(frozen=True)
class Job:
    """A problem, the names of the patterns it is made of, and its goal file."""

    seed: int
    problem: Problem
    patterns: tuple[str, ...]
    source: str


def a_job(
    seed: int, objectives: tuple[Objective, ...] = PRICE_FIRST, random: Random | None = None
) -> Job:
    """Return job number `seed`; the first pattern goes through all of them in turn. With `random`
    all but that pattern is drawn from it."""
    random = random or Random(seed)
    pattern = list(PATTERNS)[seed % len(PATTERNS)]
    patterns = [pattern]
    ways, helpful = PATTERNS[pattern]
    loads = random.sample(LOADS, 3)
    text = random.choice(ways).format(x=loads[0], y=loads[1])
    if random.random() < 0.3 and "cutoff" not in text and "units" not in text:
        other = random.choice(random.choice((PLAIN, MORE)))
        patterns.append(other)
        text += "; " + PATTERNS[other][0][0].format(x=loads[2])
        helpful = (*helpful, *PATTERNS[other][1])
    if random.random() < (0.8 if {P.BISTABLE, P.IMPULSE} & set(helpful) else 0.1):
        patterns.append("supply never fails")
    source = "title: Random\ngoals:\n" + "".join(f"  - {goal}\n" for goal in text.split("; "))
    if random.random() < 0.25:
        source += f"loads: {{{loads[0]}: 2}}\n"
    inputs = pose(parse_goal_file(source, "random"), EVERYTHING).inputs
    known = ["supply never fails"] if "supply never fails" in patterns else []
    free = [i.name for i in inputs if i.kind in (InputKind.SENSOR, InputKind.BUTTON)]
    if len(free) > 1 and random.random() < 0.3:
        known.append(f"{free[0]} and {free[1]} never together")
        patterns.append("inputs never together")
    if free and random.random() < 0.15:
        known.append(f"{free[-1]} lasts at least {random.choice((1, 2))} s")
        patterns.append("lasts at least")
    source += "".join(["known:\n", *(f"  - {fact}\n" for fact in known)]) if known else ""
    goal_list = parse_goal_file(source, "random")
    dark = any(word in text for word in ("night", "day", "dusk", "dawn"))
    needed = [FOLLOWS[item.kind] for item in inputs if item.kind in FOLLOWS]
    kit = a_kit(random, [k for k in needed if k is not P.TWILIGHT or dark], helpful)
    limits = Limits(
        supply=random.choice((None, None, None, None, random.randrange(2, 9))),
        price=random.randrange(10, 25),
    )
    problem = dataclasses.replace(pose(goal_list, kit), limits=limits, objectives=objectives)
    return Job(seed, problem, tuple(patterns), source)


def a_large_job(seed: int) -> Job:
    """Return a job with two or three patterns for a bundled kit: too large to enumerate."""
    random = Random(seed)
    kit = load_kit(random.choice(("starter", "full", "full")))
    singles = [name for name, (ways, _) in PATTERNS.items() if "{y}" not in ways[0]]
    patterns = random.sample(singles, random.choice((2, 2, 3)))
    loads = random.sample(LOADS, len(patterns))
    text = "; ".join(
        random.choice(PATTERNS[name][0]).format(x=load)
        for name, load in zip(patterns, loads, strict=True)
    )
    text = re.sub("never more than . units?", "never more than 9 units", text)
    goals = list(dict.fromkeys(text.split("; ")))
    source = "title: Random\ngoals:\n" + "".join(f"  - {goal}\n" for goal in goals)
    return Job(seed, pose(parse_goal_file(source, "random"), kit), tuple(patterns), source)


# -- runs ----------------------------------------------------------------------------------------


def vectors(problem: Problem) -> list[Levels]:
    """Return all levels of the inputs that may be together."""
    names = [item.name for item in problem.inputs]
    steady = {item.name: item.steady for item in problem.inputs if item.steady is not None}
    found = []
    for levels in product((True, False), repeat=len(names)):
        vector = dict(zip(names, levels, strict=True))
        apart = all(sum(vector[n] for n in group) <= 1 for group in problem.never_together)
        if apart and all(vector[name] == level for name, level in steady.items()):
            found.append(vector)
    return found


def next_levels(
    problem: Problem, allowed: Sequence[Levels], now: Levels, since: dict[str, int], step: int
) -> list[Levels]:
    """Return the levels that may come at this step, one or two changes away from those of `now`.

    `since` says at which step each input changed: one that is known to last cannot change yet,
    and one that has lasted for as long as it may has to.
    """
    ending = {name for name, end in ends(problem, now, since).items() if end <= step}
    held = {
        item.name
        for item in problem.inputs
        if (step - since[item.name]) * STEP
        < ((item.least_on if now[item.name] else item.least_off) or 0)
    }
    return [
        v
        for v in allowed
        if 1 <= sum(v[n] != now[n] for n in v) <= max(2, len(ending) + 1)
        and all(v[n] == now[n] for n in held)
        and not held_as_one_comes(problem, now, v)
        and all(v[n] != now[n] for n in ending)
    ]


def ends(problem: Problem, now: Levels, since: dict[str, int]) -> dict[str, int]:
    """Return the step at which each input that cannot last for ever changes at the latest, if the
    inputs are at `now`, each since the step in `since`."""
    found = {}
    for item in problem.inputs:
        most = item.most_on if now[item.name] else item.most_off
        if item.steady is None and most is not None:
            found[item.name] = since[item.name] + most // STEP
    return found


def some_runs(problem: Problem, count: int, changes: int) -> Iterator[Run]:
    """Yield random runs in which one or two inputs change at a time, the supply less often."""
    random = Random(1)
    allowed = vectors(problem)
    longest = max(problem.times, default=STEP) // STEP
    for _ in range(count):
        on = [v for v in allowed if v["supply"]]
        now = random.choice([v for v in on if not held_as_one_comes(problem, None, v)])
        run, step = [(0, now)], 0
        since = dict.fromkeys(now, 0)
        for _ in range(changes):
            last = min(ends(problem, now, since).values(), default=None)
            step += random.choice((1, 2, longest, random.randrange(1, 2 * longest + 2)))
            step = step if last is None else min(step, last)
            near = next_levels(problem, allowed, now, since, step)
            calm = [v for v in near if v["supply"] or not now["supply"] or random.random() < 0.2]
            if not near and step == last:
                break  # some input has to change and cannot
            if not near:
                continue
            before, now = now, random.choice(calm or near)
            since |= {n: step for n in now if now[n] != before[n]}
            run.append((step, now))
        yield run


def wanted(problem: Problem, run: Run) -> list[Levels]:
    """Return what the loads are asked to do after each step of a run, and a while after it, as
    long as the inputs may stay as they are."""
    machine = SignalMachine(tuple((r.load, r.signal) for r in problem.requirements))
    changes = dict(run)
    state, clocks = machine.start, dict[int, int]()
    levels = changes[0]
    found: list[Levels] = []
    loads: Levels = {}
    since = dict.fromkeys(levels, 0)
    for (_, before), (step, after) in pairwise(run):
        since |= {name: step for name in after if after[name] != before[name]}
    last = run[-1][0] + 2 * max(problem.times, default=0) // STEP + 2
    for step in range(min([last, *ends(problem, run[-1][1], since).values()])):
        due = tuple(slot for slot, when in clocks.items() if when == step * STEP)
        if step in changes or due:
            levels = changes.get(step, levels)
            state, loads, again = machine.react(state, levels, due)
            clocks = machine.clocks(state, clocks, again, step * STEP)
        found.append(loads)
    return found


def offers(problem: Problem) -> list[tuple[Offer, int]]:
    """Return (part, input it follows) for all that may be of use, with how many there may be."""
    most = dict(problem.limits.most)
    found: list[tuple[Offer, int]] = []
    for part in problem.kit.parts:
        bounds = [b for b in (part.most, most.get(part.name)) if b is not None]
        if part.type in LEVERS:
            bounds.append(1)
        if part.type in SPLITTING or part.type in (P.SUPPLY, P.LOAD):
            continue
        assert bounds, f"a job has so many '{part.name}' at most"
        if part.type in SENSING:
            named = [i.name for i in problem.inputs if FOLLOWS.get(i.kind) is part.type]
            found += [((part, name), min(bounds)) for name in named]
        elif part.type not in TIMED or problem.times:
            found.append(((part, ""), min(bounds)))
    return found


def lists(problem: Problem, price: int) -> Iterator[tuple[Offer, ...]]:
    """Yield the multisets of parts of which a design of at most `price` coins may be made.

    Each output in use feeds something, so splitting costs at least `fan_out_price` of what the
    inputs outnumber the outputs by. A change-over counts with both its outputs. What is in stock
    costs nothing, nor does splitting where a part for it is in stock.
    """
    on_offer = offers(problem)
    stock = problem.limits.stock
    limits = dict(problem.limits.most)

    def grow(place: int, chosen: tuple[Offer, ...], cost: int) -> Iterator[tuple[Offer, ...]]:
        if cost > price:
            return
        if place == len(on_offer):
            surplus = len(problem.requirements) - 1
            for part, _ in chosen:
                shape = part.shape
                surplus += len(shape.power) + len(shape.controls) - len(shape.outputs)
            splitting = fan_out_price(max(0, surplus) + 1, problem.kit, limits)
            if splitting is not None and cost + splitting * counted <= price:
                yield chosen
            return
        offer, most = on_offer[place]
        for count in range(most + 1):
            more = (*chosen, *([offer] * count))
            yield from grow(place + 1, more, to_buy([part for part, _ in more], stock))

    counted = not splits_from_stock(problem)
    yield from grow(0, (), 0)


def splits_from_stock(problem: Problem) -> bool:
    """Return whether a part that splits power is in stock."""
    return any(problem.kit.index[name].type in SPLITTING for name, _ in problem.limits.stock)


def small(problem: Problem, most: int = SMALL) -> bool:
    """Return whether there are at most so many wirings within the limit of the price."""
    total = 0
    assert problem.limits.price is not None
    for chosen in lists(problem, problem.limits.price):
        total += count_of(problem, chosen)
        if total > most:
            return False
    return True


@dataclass(frozen=True)
class Holding:
    """A wiring that holds, shared out, and what it costs by each objective, in their order."""

    skeleton: Skeleton
    design: Design
    key: tuple[int, ...]


def key_of(design: Design, problem: Problem) -> tuple[int, ...]:
    """Return what a design costs by each objective: coins to be paid, units, wires."""
    costs = {
        Objective.PRICE: design.price(problem.kit, problem.limits.stock),
        Objective.SUPPLY: design.supply,
        Objective.WIRES: len(design.wires),
    }
    return tuple(costs[objective] for objective in problem.objectives)


def candidates(problem: Problem, price: int) -> list[tuple[int, Skeleton]]:
    """Return all wirings that some runs do not refute, each with a price in coins that it does not
    go below, cheapest first."""
    runs = [(run, wanted(problem, run)) for run in some_runs(problem, 8, 10)]
    limits = dict(problem.limits.most)
    counted = not splits_from_stock(problem)
    price_of = cache(lambda count: fan_out_price(count, problem.kit, limits))
    found: list[tuple[int, Skeleton]] = []
    for chosen in lists(problem, price):
        wirings = Wirings(problem, chosen)
        for run, loads in runs:
            if not wirings.alive:
                break
            wirings.run(run, loads)
        own = to_buy([part for part, _ in chosen], problem.limits.stock)
        for number in positions(wirings.alive):
            for counts, skeleton in wirings.skeletons(number):
                prices = [price_of(count) for count in counts]
                total = own + counted * sum(p for p in prices if p is not None)
                if None not in prices and total <= price:
                    found.append((total, skeleton))
    return sorted(found, key=lambda pair: pair[0])


def holding(problem: Problem, price: int, first: int = 1) -> Iterator[Holding]:
    """Yield designs of at most `price` coins that hold, each better than all before it; the last
    one is the best by `first` objectives."""
    by_price = problem.objectives[0] is Objective.PRICE
    best: tuple[int, ...] | None = None
    for floor, skeleton in candidates(problem, price):
        if by_price and best is not None and floor >= best[0] + (first > 1):
            return
        design = share_power(skeleton, problem.kit, problem.objectives, problem.limits)
        if design is None or design.price(problem.kit, problem.limits.stock) > price:
            continue
        key = key_of(design, problem)
        if best is not None and key[:first] >= best[:first]:
            continue
        if check(design, problem, stop_at_first=True).holds:
            best = key
            yield Holding(skeleton, design, key)


def least(problem: Problem, price: int, first: int = 1) -> Holding | None:
    """Return the design that is best by the first so many objectives, of at most `price` coins;
    None when there is none."""
    best = None
    for better in holding(problem, price, first):
        best = better
    return best
