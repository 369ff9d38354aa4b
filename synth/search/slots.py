"""Slots: the places for parts that a model may use, and the wires between them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, pairwise, permutations, product

from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import LEVERS, SENSING, SHAPES, TIMED, PartType
from synth.parts.kit import Kit, KitPart
from synth.problem import InputKind, Objective, Problem
from synth.search.formula import Formula

SENSOR_FOR = {
    InputKind.SWITCH: PartType.SWITCH,
    InputKind.BUTTON: PartType.PUSH_BUTTON,
    InputKind.SENSOR: PartType.SENSOR,
    InputKind.NIGHT: PartType.TWILIGHT,
}
"""Which type of part follows which kind of outside input."""
MOST_RENAMINGS = 720
"""Most ways to exchange the names of parts that are alike when a wiring is ruled out."""


@dataclass(frozen=True)
class Slot:
    """A place for one part. `input` is the outside input it follows (sensing parts), `load` the
    load's name. A slot that is not `fixed` may stay empty."""

    name: str
    part: KitPart
    input: str = ""
    load: str = ""
    needs: int = 1
    fixed: bool = False

    @property
    def kind(self) -> PartType:
        """The type of part that goes here."""
        return self.part.type

    @property
    def like(self) -> tuple[str, str]:
        """Slots that are alike may be exchanged without changing the design."""
        return (self.part.name, self.input)


def relevant_parts(problem: Problem) -> tuple[tuple[KitPart, str], ...]:
    """Return (part, outside input) for all that is on offer and could be of use.

    Left out: splitting parts (they are shared out afterwards), loads, the supply, sensing parts
    for inputs that the problem does not have, timers that cannot be set to any time on offer,
    and parts that the limits forbid.
    """
    kit, most = problem.kit, dict(problem.limits.most)
    offers: list[tuple[KitPart, str]] = []
    for part in kit.parts:
        if part.most == 0 or most.get(part.name) == 0:
            continue
        if part.type in SENSING:
            offers += [
                (part, item.name)
                for item in problem.inputs
                if SENSOR_FOR.get(item.kind) is part.type
            ]
        elif part.type in TIMED:
            if part.times and any(t in part.times for t in problem.times):
                offers.append((part, ""))
        elif part.type not in (
            PartType.SUPPLY,
            PartType.LOAD,
            PartType.TAP_OFF,
            PartType.DIVIDER,
        ):
            offers.append((part, ""))
    return tuple(offers)


def joint_of_sets(problem: Problem) -> KitPart | None:
    """Return the joint by which an input may hang on any set of outputs; None where a model has
    to hold a place for each joint.

    With a joint and a tap-off that cost nothing, neither limited in number nor the tap-off in its
    setting, a model holds no joints: it says for every input which outputs feed it, through joints
    or not. Nothing is lost, and no number of joints is a bound of any claim:

    1. *What it does.* Joints and splitting parts have no state and take no time. An input is live
       when any output is from which power comes to it through them. So all that a circuit ever
       does follows from these sets, one for each input.
    2. *Price.* Any sets can be wired up at no price, by tap-offs behind the outputs and a tree of
       joints before each input. So all wirings with the same sets cost the same at best.
    3. *Units.* Each output has to bring, for each input in whose set it is, at least what that
       input needs, since it may be the only one that is live; joints pass a need on to all their
       inputs, and nothing is made. That is a lower bound for all wirings with the same sets, from
       the loads up to the supply. Tap-offs of any setting, and joints that lead no output to an
       input twice (those of `Wiring.decode`), meet it. So when that one wiring cannot be shared
       within the limits, none of its sets can.
    4. *Wires.* Joints have wires, and which of them to share is left open: where wires count
       first, joints keep their places. As a later objective they are only claimed by a bound on
       all parts lists, which counts no joint that costs nothing.

    A tap-off may state a largest setting when the supply has one and it is at most twice as much:
    of two branches the lesser needs at most half of what there is. (What a limit says of supply
    units is not looked at: parts of a problem are asked without it.)
    """
    limited = dict(problem.limits.most)

    def without_limit(kind: PartType) -> list[KitPart]:
        parts = (part for part in problem.kit.of_type(kind) if part.price == 0)
        return [part for part in parts if part.most is None and part.name not in limited]

    supply = problem.kit.of_type(PartType.SUPPLY)[0].largest
    wide = any(
        tap.largest is None or (supply is not None and 2 * tap.largest >= supply)
        for tap in without_limit(PartType.TAP_OFF)
    )
    joints = without_limit(PartType.JOINT)
    if not joints or not wide or problem.objectives[0] is Objective.WIRES:
        return None
    return joints[0]


@dataclass
class Wiring:
    """The wiring variables of a model: which output feeds each input, and each slot's settings.

    With `joint` (see `joint_of_sets`) an input may be fed by more than one output, through joints
    that have no slots. The supply then feeds an input alone: what is always live needs no other.
    """

    problem: Problem
    slots: tuple[Slot, ...]
    formula: Formula
    loose: bool = False
    """The slots are part of a larger whole whose other outputs are dead for good: an input may
    hang on one of these, and an output may feed nothing of this model."""
    feeds: dict[tuple[int, str], dict[tuple[int, str], int]] = field(default_factory=dict)
    """(slot, input) -> (slot, output) -> literal; slot -1 is the supply."""
    unfed: dict[tuple[int, str], int] = field(default_factory=dict)
    """(slot, input) -> literal: it hangs on a dead output elsewhere (loose models only)."""
    more: dict[tuple[int, str], list[int]] = field(default_factory=dict)
    """(slot, output) -> literals, once splitting is priced: it feeds more than 1, 2, ... inputs."""
    used: list[int] = field(default_factory=list)
    choices: list[dict[str, dict[str | int, int]]] = field(default_factory=list)
    """Per slot: setting -> value -> literal."""
    joint: KitPart | None = field(init=False)
    _ways: dict[tuple[str, ...], dict[int, int]] = field(init=False, default_factory=dict)
    """Loads -> slot -> literal, see `_way_to`."""

    def __post_init__(self) -> None:
        formula = self.formula
        self.joint = joint_of_sets(self.problem)
        for slot in self.slots:
            self.used.append(formula.true if slot.fixed or slot.load else formula.new())
            self.choices.append(self._settings(slot))
        self._wires()
        self._joints()
        self._order()
        self._alike()
        self._carried()

    def _settings(self, slot: Slot) -> dict[str, dict[str | int, int]]:
        part = slot.part
        options: dict[str, Sequence[str | int]] = {}
        match slot.kind:
            case PartType.SWITCH | PartType.PUSH_BUTTON | PartType.SENSOR:
                options["contact"] = part.options
            case PartType.TWILIGHT:
                options["passes"] = part.options
            case PartType.BISTABLE:
                options["wins"] = part.options
            case PartType.RECYCLER:
                options["first"] = part.options
                options["on"] = options["off"] = self._times(part)
            case kind if kind in TIMED:
                options["time"] = self._times(part)
            case _:
                pass
        chosen: dict[str, dict[str | int, int]] = {}
        for key, values in options.items():
            if len(values) == 1:
                chosen[key] = {values[0]: self.formula.true}
            elif len(values) == 2:
                one = self.formula.new()
                chosen[key] = {values[0]: one, values[1]: -one}
            else:
                literals = self.formula.news(len(values))
                self.formula.choose(literals)
                chosen[key] = dict(zip(values, literals, strict=True))
        return chosen

    def some_set_to(self, times: Iterable[int]) -> None:
        """Ask that for each of `times` (ticks) some part in use is set to it."""
        for time in times:
            self.formula.add(
                *(
                    self.formula.both([self.used[index], options[time]])
                    for index, settings in enumerate(self.choices)
                    for options in settings.values()
                    if time in options
                )
            )

    def _times(self, part: KitPart) -> tuple[int, ...]:
        assert part.times is not None
        return tuple(t for t in self.problem.times if t in part.times)

    @property
    def outputs(self) -> list[tuple[int, str]]:
        """All outputs, the supply's first."""
        found = [(-1, "out")]
        for index, slot in enumerate(self.slots):
            found += [(index, output) for output in slot.part.shape.outputs]
        return found

    def _wires(self) -> None:
        formula, outputs = self.formula, self.outputs
        for index, slot in enumerate(self.slots):
            shape = slot.part.shape
            for terminal in (*shape.power, *shape.controls):
                options: dict[tuple[int, str], int] = {}
                for source in outputs:
                    if source[0] == index and terminal in shape.power:
                        continue
                    options[source] = formula.new()
                self.feeds[index, terminal] = options
                empty = [] if self.used[index] == formula.true else [-self.used[index]]
                if self._may_hang(slot, terminal):
                    dead = self.unfed[index, terminal] = formula.new()
                    empty.append(dead)
                if self.joint is None:
                    formula.choose([*options.values(), *empty])
                    continue
                formula.add(*options.values(), *empty)
                alone = [options[-1, "out"], *empty]
                for wire in options.values():
                    for other in alone:
                        if wire != other:
                            formula.add(-wire, -other)
        asked_for = bool(self.problem.limits.least)
        for index, slot in enumerate(self.slots):
            used = self.used[index]
            fed: list[int] = []
            for (target, _), options in self.feeds.items():
                for output in slot.part.shape.outputs:
                    literal = options.get((index, output))
                    if literal:
                        formula.add(-literal, used)
                        if target != index or not asked_for:
                            fed.append(literal)
            if slot.part.shape.outputs and not (self.loose and slot.fixed):
                # A part that feeds nothing can be left out: no cheapest design has one. One that
                # is asked for cannot, and is to feed another.
                formula.add(-used, *fed)

    def _may_hang(self, slot: Slot, terminal: str) -> bool:
        """Return whether this input may hang on an output that is dead for good.

        Where slots may stay empty only the reset of a bistable relay need: with any other dead
        input a part is a fixed contact, open or closed, and can be taken out of the wiring.
        """
        if not self.loose or slot.load:
            return False
        return slot.fixed or (slot.kind is PartType.BISTABLE and terminal == "reset")

    def _joints(self) -> None:
        """Keep one of each pair of mirrored joints, and none that adds nothing.

        A joint with the supply at one side is always live, as the supply itself is; one with the
        same output at both sides is that output. In a cheapest design neither occurs.
        """
        formula, outputs = self.formula, self.outputs
        rank = {output: number for number, output in enumerate(outputs)}
        for index, slot in enumerate(self.slots):
            if slot.kind is not PartType.JOINT:
                continue
            left, right = self.feeds[index, "in1"], self.feeds[index, "in2"]
            formula.add(-left[-1, "out"])
            for a, first in left.items():
                for b, second in right.items():
                    if rank[a] >= rank[b]:
                        formula.add(-first, -second)

    def price_sharing(
        self,
        fan_out: Callable[[int], int | None],
        most: int,
        more_inputs: int = 0,
        more_outputs: int = 0,
        on_supply: int = 0,
    ) -> None:
        """Require that splitting all nets costs at most `most` in all.

        `more_inputs` inputs outside this model are fed too, each by an output of it or by one of
        `more_outputs` others, each of which feeds at least one input. What those others cost
        together is at least the price of one net with all their surplus (see `fan_out_price`).
        The supply feeds `on_supply` inputs besides. (With `joint` splitting costs nothing.)
        """
        if self.joint is not None:
            return
        formula = self.formula
        variables: list[int] = []
        weights: list[int] = []
        guests: list[int] = []
        fed: dict[int, list[int]] = {}

        def priced(at: Sequence[int]) -> None:
            before = 0
            for number, literal in enumerate(at, 2):
                price = fan_out(number)
                if price is None:
                    formula.add(-literal)
                    continue
                variables.append(literal)
                weights.append(price - before)
                before = price

        for source in self.outputs:
            wires = [options[source] for options in self.feeds.values() if source in options]
            guest = formula.news(more_inputs + len(self.unfed))
            guests += guest
            for low, high in pairwise(guest):
                formula.add(low, -high)
            wires += guest
            fed.setdefault(source[0], []).extend(wires)
            # at[k]: this output feeds more than k + 1 inputs.
            besides = on_supply if source[0] < 0 else 0
            at = formula.news(max(0, len(wires) + besides - 1))
            for low, high in pairwise(at):
                formula.add(low, -high)
            rest = formula.new()
            counted = [1] * len(wires) + [-1] * (len(at) + 1)
            formula.bound([*wires, *at, rest], counted, -besides, -besides)
            priced(at)
            self.more[source] = at
        for slot, wires in fed.items():
            # Every part in use feeds something, be it from one of its outputs only.
            if self.loose and (slot < 0 or self.slots[slot].fixed):
                formula.add(*wires)
        if guests:
            # Inputs from elsewhere, and those of this model that hang elsewhere, less the guests
            # on outputs of this model, are fed by the other outputs: one each, and the surplus.
            hanging = list(self.unfed.values())
            surplus = formula.news(max(0, more_inputs + len(hanging) - more_outputs))
            for low, high in pairwise(surplus):
                formula.add(low, -high)
            formula.bound(
                [*hanging, *guests, *surplus],
                [1] * len(hanging) + [-1] * (len(guests) + len(surplus)),
                more_outputs - more_inputs,
                more_outputs - more_inputs,
            )
            if not more_outputs:
                for literal in (*hanging, *surplus):
                    formula.add(-literal)
            priced(surplus)
        formula.bound(variables, weights, 0, most)

    def spare(self, wastes: Callable[[int, bool], bool]) -> None:
        """Require, after `price_sharing`, what mostly spares power: a guess, not for a proof.

        `wastes` says whether the cheapest split of so many inputs wastes units: if each needs one
        unit, or (True) if one of them needs more. Where it does only with needs that differ, all
        that is fed must need one unit: a control input, a load of one unit, or a part that feeds
        one such input and nothing else.
        """
        formula = self.formula
        lean = {source: formula.new() for source in self.more}

        def needs_one(target: tuple[int, str]) -> tuple[int, ...]:
            """Return literals that together say that an input needs one unit."""
            slot = self.slots[target[0]]
            if slot.load:
                return () if slot.needs == 1 else (-formula.true,)
            if target[1] in slot.part.shape.controls:
                return () if slot.part.units == 1 else (-formula.true,)
            return tuple(lean[target[0], output] for output in slot.part.shape.outputs)

        for source, at in self.more.items():
            for literal in at[:1]:
                formula.add(-lean[source], -literal)
            for target, options in self.feeds.items():
                if source not in options:
                    continue
                for needed in needs_one(target):
                    formula.add(-lean[source], -options[source], needed)
                    for number in range(2, len(at) + 2):
                        if wastes(number, True):
                            exactly = (-at[number - 2], *at[number - 1 : number])
                            formula.add(*exactly, -options[source], needed)
            for number in range(2, len(at) + 2):
                if wastes(number, False):
                    formula.add(-at[number - 2], *at[number - 1 : number])

    def exclude(self, skeleton: Skeleton) -> None:
        """Rule out exactly this wiring with exactly these settings (with `joint`: all wirings with
        the same sets of outputs). One without any load: all wirings that hold it."""
        chosen = self.assignment(skeleton)
        if chosen is not None:
            self.formula.add(*(-v if value else v for v, value in chosen.items()))

    def renamings(self, skeleton: Skeleton) -> Iterator[Skeleton]:
        """Yield `skeleton` with the names of parts that are alike exchanged in all ways, itself
        first; at most `MOST_RENAMINGS` of them."""
        groups: dict[tuple[str, str], list[str]] = {}
        present = {part.name for part in skeleton.parts}
        for slot in self.slots:
            if slot.name in present and not slot.load:
                groups.setdefault(slot.like, []).append(slot.name)
        alike = [names for names in groups.values() if len(names) > 1]
        orders = product(*(permutations(names) for names in alike))
        for order in islice(orders, MOST_RENAMINGS):
            new: dict[str, str] = {}
            for names, other in zip(alike, order, strict=True):
                new.update(zip(names, other, strict=True))
            yield replace(
                skeleton,
                parts=tuple(replace(p, name=new.get(p.name, p.name)) for p in skeleton.parts),
                feeds=tuple(
                    (
                        Terminal(new.get(source.part, source.part), source.terminal),
                        Terminal(new.get(target.part, target.part), target.terminal),
                    )
                    for source, target in skeleton.feeds
                ),
            )

    def _order(self) -> None:
        """Require that power flows without loops: a total order of the slots."""
        formula = self.formula
        inner = [i for i, slot in enumerate(self.slots) if slot.part.shape.outputs]
        before: dict[tuple[int, int], int] = {}
        for x, a in enumerate(inner):
            for b in inner[x + 1 :]:
                # Slots that are alike are numbered in the order of the power flow.
                alike = self.slots[a].like == self.slots[b].like
                literal = formula.true if alike else formula.new()
                before[a, b], before[b, a] = literal, -literal
        for a in inner:
            for b in inner:
                for c in inner:
                    if len({a, b, c}) == 3:
                        formula.add(-before[a, b], -before[b, c], before[a, c])
        for (index, terminal), options in self.feeds.items():
            if terminal in self.slots[index].part.shape.power and index in inner:
                for (source, _), literal in options.items():
                    if source >= 0:
                        formula.add(-literal, before[source, index])

    def _carried(self) -> None:
        """Keep pairs of loads on separate branches, and timers off the way of power to some loads
        (see `Limits`): a literal for each part says that power may come through it to the load.

        Outputs that feed an input together, with `joint`, are all on the way. A joint without a
        slot carries power to two loads only if the outputs behind it do, so it adds nothing.
        """
        limits, formula = self.problem.limits, self.formula
        for one, other in limits.branches:
            beside = self._way_to({other})
            for index, literal in self._way_to({one}).items():
                if beside:
                    formula.add(-literal, -beside[index])
        for index, literal in self._way_to(limits.untimed).items():
            if self.slots[index].kind in TIMED:
                formula.add(-literal)

    def _way_to(self, loads: Collection[str]) -> dict[int, int]:
        """Return for each part a literal: it may carry power to one of `loads`; nothing when the
        model has none of these."""
        key = tuple(sorted(loads))
        if key in self._ways:
            return self._ways[key]
        formula = self.formula
        ends = {i for i, slot in enumerate(self.slots) if slot.load and slot.load in loads}
        parts = [i for i, slot in enumerate(self.slots) if not slot.load] if ends else []
        way = self._ways[key] = {i: formula.new() for i in parts}
        for (index, terminal), options in self.feeds.items():
            if terminal in self.slots[index].part.shape.power and (index in ends or index in way):
                behind = [] if index in ends else [-way[index]]
                for (source, _), wire in options.items():
                    if source in way:
                        formula.add(-wire, *behind, way[source])
        return way

    def _alike(self) -> None:
        for index in range(1, len(self.slots)):
            a, b = self.slots[index - 1], self.slots[index]
            if not b.load and a.like == b.like and not b.fixed:
                self.formula.add(-self.used[index], self.used[index - 1])

    def decode(self, values: Sequence[bool]) -> Skeleton:
        """Return the wiring that an assignment (by variable, 1-based) stands for."""

        def holds(literal: int) -> bool:
            return values[abs(literal)] == (literal > 0)

        names = {-1: "supply"}
        parts: list[PartInUse] = [supply_part(self.problem.kit)]
        for index, slot in enumerate(self.slots):
            if not holds(self.used[index]):
                continue
            names[index] = slot.name
            settings: dict[str, str | int] = {}
            if slot.kind in (PartType.SWITCH, PartType.PUSH_BUTTON, PartType.SENSOR):
                settings["input"] = slot.input
            if slot.load:
                settings["needs"] = slot.needs
            for key, options in self.choices[index].items():
                settings[key] = next(v for v, literal in options.items() if holds(literal))
            parts.append(PartInUse(slot.name, slot.kind, slot.part.name, tuple(settings.items())))
        feeds: list[tuple[Terminal, Terminal]] = []
        joints: dict[tuple[Terminal, ...], Terminal] = {}

        def joined(sources: tuple[Terminal, ...]) -> Terminal:
            """Return the output of a joint of all `sources`, made unless it is there already."""
            if len(sources) == 1:
                return sources[0]
            if sources not in joints:
                assert self.joint is not None
                ends = joined(sources[:-1]), sources[-1]
                name = f"{self.joint.name} {len(joints) + 1}"
                parts.append(PartInUse(name, PartType.JOINT, self.joint.name))
                feeds.extend(
                    (end, Terminal(name, terminal))
                    for end, terminal in zip(ends, self.joint.shape.power, strict=True)
                )
                joints[sources] = Terminal(name, "out")
            return joints[sources]

        for (index, terminal), choice in self.feeds.items():
            if index not in names:
                continue
            chosen = [o for o, literal in choice.items() if holds(literal)]
            if not chosen:  # it hangs on something outside this model
                continue
            sources = tuple(Terminal(names[slot], output) for slot, output in chosen)
            feeds.append((joined(sources), Terminal(names[index], terminal)))
        return Skeleton(self.problem.kit.name, tuple(parts), tuple(feeds))

    def assignment(self, skeleton: Skeleton) -> Mapping[int, bool] | None:
        """Return values of the wiring variables that stand for `skeleton`, if its parts have the
        names of this model's slots; None otherwise. Of one without any load, only its own parts
        and what feeds them are told."""
        names = {slot.name: i for i, slot in enumerate(self.slots)} | {"supply": -1}
        unheld = {
            part.name
            for part in skeleton.parts
            if self.joint is not None and part.type is PartType.JOINT
        }
        if any(part.name not in names for part in skeleton.parts if part.name not in unheld):
            return None
        chosen: dict[int, bool] = {}

        def put(literal: int, value: bool) -> None:
            chosen[abs(literal)] = value == (literal > 0)

        present = {part.name: part for part in skeleton.parts}
        piece = all(part.type is not PartType.LOAD for part in skeleton.parts)
        for index, slot in enumerate(self.slots):
            if piece and slot.name not in present:
                continue
            put(self.used[index], slot.name in present)
            for key, options in self.choices[index].items():
                if slot.name in present:
                    for value, literal in options.items():
                        put(literal, present[slot.name].setting(key) == value)
        fed = {target: source for source, target in skeleton.feeds}
        supply = Terminal("supply", "out")

        def behind(target: Terminal) -> set[Terminal]:
            """Return the outputs that feed an input, through joints without slots or not."""
            source = fed.get(target)
            if source is None:
                return set()
            if source.part not in unheld:
                return {source}
            shape = SHAPES[PartType.JOINT]
            found = set().union(*(behind(Terminal(source.part, end)) for end in shape.power))
            return {supply} if supply in found else found

        for (index, terminal), literals in self.feeds.items():
            if piece and self.slots[index].name not in present:
                continue
            sources = behind(Terminal(self.slots[index].name, terminal))
            for (other, output), literal in literals.items():
                name = "supply" if other < 0 else self.slots[other].name
                put(literal, Terminal(name, output) in sources)
        return chosen


def supply_part(kit: Kit) -> PartInUse:
    """Return the supply as a part in use; its units are set when power is shared."""
    return PartInUse("supply", PartType.SUPPLY, kit.of_type(PartType.SUPPLY)[0].name)


def lever_inputs(problem: Problem) -> frozenset[str]:
    """Return the outside inputs that are worked by hand: one part each at most."""
    return frozenset(item.name for item in problem.inputs if SENSOR_FOR.get(item.kind) in LEVERS)
