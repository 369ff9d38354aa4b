"""All wirings of a parts list at once: each wiring is one bit of whole numbers.

A number stands for a level or a state in all wirings together: bit w is that of wiring w. So one
run of the inputs is stepped through for every wiring by a few operations on long numbers. The
parts' steps are written here once more, in Boolean algebra, from the table of their behaviour
(IEC 61131-3:2013, 6.6.3.5: SR, RS, TP, TON, TOF; the others as in `synth.parts.behaviour`), and
nothing of the search is used. `tests/test_random_jobs.py` compares this with single runs of the
checker's own stepping.

What a run refutes fails for certain, so a filter of some runs loses no wiring that holds. What is
left is shared out by `synth.share` and judged by the exact checker.

Left out, since a cheaper or equal wiring does without: parts that feed nothing. Left out as a
bound of every claim of the search: circuits that need more than `DEPTH` evaluations to settle.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product

from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import EDGE_SENSITIVE, SENSING, TIMED, PartType
from synth.parts.kit import KitPart, Trigger
from synth.problem import Problem

STEP = 500
"""The step of time, in ticks: all times set and asked are multiples of it."""
DEPTH = 8
"""Evaluations in which a circuit must have settled, as the search states with its claims."""
RELAYS = (PartType.RELAY_MAKE, PartType.RELAY_BREAK, PartType.RELAY_CHANGEOVER)
OPTION = {
    PartType.SWITCH: "contact",
    PartType.PUSH_BUTTON: "contact",
    PartType.SENSOR: "contact",
    PartType.TWILIGHT: "passes",
    PartType.BISTABLE: "wins",
    PartType.RECYCLER: "first",
}
Offer = tuple[KitPart, str]
"""A part, and the outside input it follows ("" for none)."""
Levels = dict[str, bool]
Run = Sequence[tuple[int, Levels]]
"""(step, levels of all inputs from then on), the first at step 0."""


def positions(mask: int) -> Iterator[int]:
    """Yield the numbers of the bits that are set, ascending."""
    for place, byte in enumerate(mask.to_bytes((mask.bit_length() + 7) // 8, "little")):
        while byte:
            low = byte & -byte
            yield place * 8 + low.bit_length() - 1
            byte ^= low


def variants(problem: Problem, offer: Offer) -> list[dict[str, str | int]]:
    """Return every setting of a part; timers are set to the times on offer."""
    part, follows = offer
    options: list[dict[str, str | int]] = [{}]
    if part.type in OPTION:
        options = [{OPTION[part.type]: option} for option in part.options]
    if part.type in SENSING:
        options = [{"input": follows, **option} for option in options]
    times = [t for t in problem.times if part.times is not None and t in part.times]
    if part.type is PartType.RECYCLER:
        return [{**o, "on": on, "off": off} for o, on, off in product(options, times, times)]
    if part.type in TIMED:
        return [{"time": time} for time in times]
    return options


def count_of(problem: Problem, offers: Sequence[Offer]) -> int:
    """Return how many wirings these parts have, settings included, loops and all."""
    outputs = 1 + sum(len(part.shape.outputs) for part, _ in offers)
    count = 1
    for offer in offers:
        shape = offer[0].shape
        count *= len(variants(problem, offer))
        count *= (outputs - len(shape.outputs)) ** len(shape.power)
        count *= outputs ** len(shape.controls)
    return count


@dataclass
class _Part:
    """One part in all wirings: contact, running, seen, pending; `left[n]`: n steps to go."""

    offer: KitPart
    follows: str
    contact: int = 0
    running: int = 0
    seen: int = 0
    pending: int = 0
    anew: int = 0
    left: list[int] = field(default_factory=list)

    def reset(self, longest: int) -> None:
        self.contact = self.running = self.seen = self.pending = self.anew = 0
        self.left = [0] * (longest + 1) if self.offer.type in TIMED else []


class Wirings:
    """All wirings of exactly these parts, with all settings; see the module's text.

    `alive` has the bits of the wirings that are well formed and not yet refuted. `does[load][o]`
    has those in which the output number `o` has so far been on exactly while `load` should be.
    """

    def __init__(self, problem: Problem, offers: Sequence[Offer]) -> None:
        self.problem = problem
        self.parts = [_Part(part, follows) for part, follows in offers]
        self.outputs: list[tuple[int, str]] = [(-1, "out")]
        for i, part in enumerate(self.parts):
            self.outputs += [(i, output) for output in part.offer.shape.outputs]
        self.settings = [variants(problem, offer) for offer in offers]
        self.inputs: list[tuple[int, str]] = []
        self.sources: list[list[int]] = []
        for i, part in enumerate(self.parts):
            shape = part.offer.shape
            for terminal in (*shape.power, *shape.controls):
                own = terminal in shape.power
                self.inputs.append((i, terminal))
                self.sources.append(
                    [o for o, (p, _) in enumerate(self.outputs) if not (own and p == i)]
                )
        self.radices = [len(s) for s in self.settings] + [len(s) for s in self.sources]
        self.count = count_of(problem, offers)
        self.every = (1 << self.count) - 1
        self._masks()
        self.alive = self.every & self._flows() & self._in_order()
        loads = [r.load for r in problem.requirements]
        self.does = {load: [self.every] * len(self.outputs) for load in loads}
        self._busy_outputs()

    # -- masks -------------------------------------------------------------------------------

    def _masks(self) -> None:
        """Make, for each digit of a wiring's number and each value, the mask of those wirings."""
        stride = 1
        digits: list[list[int]] = []
        for radix in self.radices:
            period = radix * stride
            masks = []
            for value in range(radix):
                mask, length = ((1 << stride) - 1) << (value * stride), period
                while length < self.count:
                    mask |= mask << length
                    length *= 2
                masks.append(mask & self.every)
            digits.append(masks)
            stride = period
        own = len(self.settings)
        self.set_to = digits[:own]
        self.fed_by = [
            dict(zip(sources, masks, strict=True))
            for sources, masks in zip(self.sources, digits[own:], strict=True)
        ]
        self.terminal = {ends: n for n, ends in enumerate(self.inputs)}
        self._settings: dict[tuple[int, str, str | int], int] = {}

    def with_setting(self, part: int, key: str, value: str | int) -> int:
        """Return the wirings in which a setting of a part has this value."""
        if (part, key, value) in self._settings:
            return self._settings[part, key, value]
        mask = 0
        for variant, own in zip(self.settings[part], self.set_to[part], strict=True):
            if variant.get(key) == value:
                mask |= own
        self._settings[part, key, value] = mask
        return mask

    def _flows(self) -> int:
        """Return the wirings in which no power runs in a loop, by the closure of 'is fed by'."""
        size = len(self.parts)
        reach = [[0] * size for _ in range(size)]
        for (i, terminal), fed in zip(self.inputs, self.fed_by, strict=True):
            if terminal in self.parts[i].offer.shape.power:
                for output, mask in fed.items():
                    source = self.outputs[output][0]
                    if source >= 0:
                        reach[i][source] |= mask
        for middle, one, other in product(range(size), repeat=3):
            reach[one][other] |= reach[one][middle] & reach[middle][other]
        loops = 0
        for i in range(size):
            loops |= reach[i][i]
        return self.every & ~loops

    def _in_order(self) -> int:
        """Return the wirings in which parts that are alike have their settings in order, and the
        two inputs of a joint their sources."""
        bad = 0
        for i, (one, other) in enumerate(zip(self.parts, self.parts[1:], strict=False)):
            if (one.offer, one.follows) == (other.offer, other.follows):
                greater = self.every
                for mine, later in zip(self.set_to[i], self.set_to[i + 1], strict=True):
                    greater &= ~mine
                    bad |= greater & later
        for i, part in enumerate(self.parts):
            if part.offer.type is PartType.JOINT:
                one, two = (self.fed_by[self.terminal[i, t]] for t in ("in1", "in2"))
                for (a, first), (b, second) in product(one.items(), two.items()):
                    if b <= a:
                        bad |= first & second
        return self.every & ~bad

    @cached_property
    def _feeding(self) -> list[int]:
        """For each part, the wirings in which it feeds an input of another part."""
        found = []
        for i in range(len(self.parts)):
            mask = 0
            for (target, _), fed in zip(self.inputs, self.fed_by, strict=True):
                if target != i:
                    for output, own in fed.items():
                        if self.outputs[output][0] == i:
                            mask |= own
            found.append(mask)
        return found

    def _busy_outputs(self) -> None:
        """Keep the wirings in which some output may feed each load, and no part is idle."""
        for does in self.does.values():
            some = 0
            for mask in does:
                some |= mask
            self.alive &= some
        for i in range(len(self.parts)):
            busy = self._feeding[i]
            for o, (source, _) in enumerate(self.outputs):
                if source == i:
                    for does in self.does.values():
                        busy |= does[o]
            self.alive &= busy

    # -- one run -----------------------------------------------------------------------------

    def run(self, run: Run, wanted: Sequence[dict[str, bool]]) -> None:
        """Step through a run of the inputs; `wanted` has the loads' levels after each step.

        Wirings that blink, never settle or have no output that does what a load should are taken
        out of `alive`.
        """
        longest = 2 * max(self.problem.times, default=0) // STEP
        for part in self.parts:
            part.reset(longest)
        changes = dict(run)
        levels: Levels = {}
        before = dict.fromkeys(self.does, False)
        for step, now in enumerate(wanted):
            due = []
            for part in self.parts:
                if part.left:
                    due.append(part.left[1])
                    part.left = [0, *part.left[2:], 0]
                else:
                    due.append(0)
            changed = step in changes and changes[step] != levels
            if changed:
                levels = changes[step]
            if changed or any(mask & self.alive for mask in due):
                self._settle(levels, due, before, now)
            elif now != before:
                # No wiring that is left does anything now.
                self.alive = 0
            before = now
            if not self.alive:
                return

    def _settle(
        self, levels: Levels, due: list[int], before: dict[str, bool], now: dict[str, bool]
    ) -> None:
        every = self.every
        changed = {load: [0] * len(self.outputs) for load in self.does}
        for part in self.parts:
            part.anew = 0
        excited = every
        for _ in range(DEPTH):
            live = self._live(levels)
            for load, does in self.does.items():
                moved = changed[load]
                for o, level in enumerate(live):
                    if before[load] == now[load]:
                        does[o] &= level if now[load] else ~level
                    else:
                        there = level if now[load] else every & ~level
                        does[o] &= there | ~moved[o]
                        moved[o] |= there
            excited = self._move(live, due)
            due = [0] * len(self.parts)
            if not excited & self.alive:
                break
        self.alive &= ~excited
        for load, does in self.does.items():
            if before[load] != now[load]:
                for o in range(len(does)):
                    does[o] &= changed[load][o]
        self._wind_up()
        self._busy_outputs()

    def _live(self, levels: Levels) -> list[int]:
        """Return which outputs are live with the present contacts; power comes from the supply."""
        every = self.every
        live = [every if levels["supply"] else 0] + [0] * (len(self.outputs) - 1)
        if not live[0]:
            return live
        closed = [every]
        for i, part in enumerate(self.parts):
            kind = part.offer.type
            if kind in SENSING:
                inverse = self._inverse(i)
                closed.append(every & ~inverse if levels[part.follows] else inverse)
            elif kind is PartType.JOINT:
                closed.append(every)
            elif kind is PartType.RELAY_BREAK:
                closed.append(every & ~part.contact)
            elif kind is PartType.RELAY_CHANGEOVER:
                closed += [part.contact, every & ~part.contact]
            else:
                closed.append(part.contact)
        while True:
            old = list(live)
            o = 1
            for i, part in enumerate(self.parts):
                power = 0
                for terminal in part.offer.shape.power:
                    power |= self._fed(i, terminal, live)
                for _ in part.offer.shape.outputs:
                    live[o] = power & closed[o]
                    o += 1
            if live == old:
                return live

    def _inverse(self, i: int) -> int:
        return self.with_setting(i, "contact", "break") | self.with_setting(i, "passes", "day")

    def _fed(self, part: int, terminal: str, live: Sequence[int]) -> int:
        level = 0
        for output, mask in self.fed_by[self.terminal[part, terminal]].items():
            if live[output]:
                level |= mask & live[output]
        return level

    def _move(self, live: Sequence[int], due: Sequence[int]) -> int:
        """Let all parts look and move; return the wirings in which anything moved."""
        every = self.every
        power, controls = [], []
        for i, part in enumerate(self.parts):
            shape = part.offer.shape
            power.append(self._fed(i, "in", live) if shape.power == ("in",) else 0)
            controls.append([self._fed(i, terminal, live) for terminal in shape.controls])
        excited = 0
        for i, part in enumerate(self.parts):
            if part.offer.type not in EDGE_SENSITIVE:
                excited |= self._plain(i, power[i], controls[i], due[i])
            elif part.offer.type is PartType.PULSE or part.offer.type is PartType.RETRIGGERABLE:
                lost = part.contact | part.running | part.pending
                if self.problem.kit.trigger is Trigger.HELD:
                    excited |= lost & ~power[i]
        plain = excited
        for i, part in enumerate(self.parts):
            if part.offer.type in EDGE_SENSITIVE:
                edges = every
                if self.problem.kit.trigger is Trigger.HELD:
                    edges &= ~plain
                    for j, other in enumerate(due):
                        if j != i:
                            edges &= ~other
                excited |= self._edged(i, power[i], controls[i][0], due[i], edges)
        return excited

    def _plain(self, i: int, power: int, controls: Sequence[int], due: int) -> int:
        """Move a part that acts on levels; return where it moved."""
        part, every = self.parts[i], self.every
        kind, contact, running = part.offer.type, part.contact, part.running
        anew = 0
        if kind in RELAYS:
            part.contact = controls[0]
        elif kind is PartType.BISTABLE:
            set_, reset = controls
            wins = self.with_setting(i, "wins", "set")
            part.contact = set_ & (wins | ~reset) | contact & ~reset
        elif kind is PartType.ON_DELAY:
            held = power & controls[0]
            part.contact = held & (due | contact)
            part.running = held & ~due & ~contact
            anew = part.running & ~running
        elif kind is PartType.OFF_DELAY:
            held = power & controls[0]
            waiting = power & ~controls[0] & contact & ~due
            part.contact = held | waiting
            part.running = waiting
            anew = waiting & ~running
        elif kind is PartType.RECYCLER:
            begins = power & ~running
            first = self.with_setting(i, "first", "pulse")
            turns = power & running & due
            part.contact = begins & first | turns & ~contact | power & running & ~due & contact
            part.running = power
            anew = begins | turns
        else:
            return 0
        part.anew |= anew
        return every & (anew | contact ^ part.contact | running ^ part.running)

    def _edged(self, i: int, power: int, control: int, due: int, edges: int) -> int:
        """Let a part that acts on edges look and move; return where it moved."""
        part, every = self.parts[i], self.every
        kind = part.offer.type
        level = control if kind is PartType.IMPULSE else control & power
        looks = edges | due
        rises = looks & level & ~part.seen
        if kind is PartType.PULSE:
            rises &= ~(part.contact & ~due)
        part.pending |= rises
        part.seen = looks & level | ~looks & part.seen
        if kind is PartType.IMPULSE:
            moved = part.pending
            part.contact ^= moved
            part.pending = 0
            return moved
        contact, running, pending = part.contact, part.running, part.pending
        starts = power & pending
        stays = power & ~pending & ~due
        part.contact = starts | stays & contact
        part.running = starts | stays & running
        part.seen &= power
        part.pending = 0
        part.anew |= starts
        moved = starts | pending | contact ^ part.contact | running ^ part.running
        return every & moved

    def _wind_up(self) -> None:
        """Set the clocks of the timers that were started anew; drop those that do not run."""
        for i, part in enumerate(self.parts):
            if part.offer.type not in TIMED:
                continue
            kept = part.running & ~part.anew
            part.left = [mask & kept for mask in part.left]
            starts = part.running & part.anew
            if not starts:
                continue
            for time in self.problem.times:
                steps = time // STEP
                if part.offer.type is PartType.RECYCLER:
                    own = self.with_setting(i, "on", time) & part.contact
                    own |= self.with_setting(i, "off", time) & ~part.contact
                else:
                    own = self.with_setting(i, "time", time)
                part.left[steps] |= starts & own

    # -- single wirings ----------------------------------------------------------------------

    def skeletons(self, number: int) -> Iterator[tuple[list[int], Skeleton]]:
        """Yield wiring `number` with every choice of outputs that do what the loads should, as
        (numbers of inputs on the outputs in use, wiring)."""
        bit = 1 << number
        digits = []
        for radix in self.radices:
            number, digit = divmod(number, radix)
            digits.append(digit)
        own = len(self.settings)
        problem, kit = self.problem, self.problem.kit
        offer = kit.of_type(PartType.LOAD)[0].name
        supply = kit.of_type(PartType.SUPPLY)[0]
        parts = [
            PartInUse("supply", supply.type, supply.name),
            *(
                PartInUse(f"P{i}", part.offer.type, part.offer.name, tuple(variants[d].items()))
                for i, (part, variants, d) in enumerate(
                    zip(self.parts, self.settings, digits[:own], strict=True)
                )
            ),
            *(
                PartInUse(r.load, PartType.LOAD, offer, (("needs", r.needs),))
                for r in problem.requirements
            ),
        ]
        ends = [Terminal("supply" if i < 0 else f"P{i}", output) for i, output in self.outputs]
        fed = [
            (s[d], Terminal(f"P{i}", terminal))
            for s, d, (i, terminal) in zip(self.sources, digits[own:], self.inputs, strict=True)
        ]
        choices = [[o for o, mask in enumerate(does) if mask & bit] for does in self.does.values()]
        busy = {self.outputs[o][0] for o, t in fed if t.part != f"P{self.outputs[o][0]}"}
        busy.discard(-1)
        for chosen in product(*choices):
            if len(busy | {self.outputs[o][0] for o in chosen} - {-1}) < len(self.parts):
                continue
            loads = zip(chosen, (Terminal(load, "in") for load in self.does), strict=True)
            feeds = [*fed, *loads]
            counts = Counter(o for o, _ in feeds)
            yield (
                sorted(counts.values()),
                Skeleton(kit.name, tuple(parts), tuple((ends[o], t) for o, t in feeds)),
            )
