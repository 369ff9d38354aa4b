"""From a wiring in which an output may feed any number of inputs to a complete design.

A net is one output and the inputs it feeds. What a part needs at its power input is what its
output's net needs, so the fronts of (cost, units) grow from the loads up to the supply. Three
kinds of part need a word:

- a *change-over* hands all it gets to one of its two outputs, so it needs the larger of the two;
- a *joint* may be live through either input alone, so each must bring all that its output needs;
  the amount is chosen once for both, which is why joints are tried point by point;
- a *timer* or recycler with nothing on its output still needs one unit, for its behaviour depends
  on power; any other contact without consumers needs none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from synth.design import Design, PartInUse, Skeleton, Terminal, Wire
from synth.errors import DesignError
from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import Kit, KitPart, to_buy
from synth.parts.sharing import equal_share, tap_off
from synth.problem import Limits, Objective
from synth.share.price import sharing_parts
from synth.share.split import (
    SCALE,
    Accounts,
    Leaf,
    Point,
    Tree,
    front,
    grown,
    least_cost,
    pareto,
)

DEFAULT_ORDER = (Objective.PRICE, Objective.SUPPLY, Objective.WIRES)


class _Net(NamedTuple):
    """A way to split one net: the front's tree, each consumer's need, and its own choice."""

    tree: object
    needs: tuple[int, ...]
    consumers: tuple[Point, ...]


class _Choice(NamedTuple):
    """A complete way to share: cost, units at the supply, the supply's net, each joint's net."""

    cost: int
    units: int
    usage: int
    root: Point
    joints: tuple[tuple[str, Point], ...]


class _Wiring:
    """The skeleton, indexed: nets, consumers and the order in which power flows."""

    def __init__(self, skeleton: Skeleton, kit: Kit) -> None:
        self.kit = kit
        self.parts: dict[str, PartInUse] = {}
        self.lines: dict[str, KitPart] = {}
        for part in skeleton.parts:
            line = kit.index.get(part.part)
            if line is None:
                raise DesignError(f"kit '{kit.name}' has no part called '{part.part}'")
            if part.name in self.parts:
                raise DesignError(f"two parts are called '{part.name}'")
            self.parts[part.name] = part
            self.lines[part.name] = line
        self.nets: dict[Terminal, list[Terminal]] = {}
        fed: set[Terminal] = set()
        for source, target in skeleton.feeds:
            if not self._has(source, outputs=True) or not self._has(target, outputs=False):
                raise DesignError(f"there is no such wire as {source} to {target}")
            if target in fed:
                raise DesignError(f"{target} is fed twice")
            fed.add(target)
            self.nets.setdefault(source, []).append(target)
        for name, line in self.lines.items():
            for terminal in line.shape.power + line.shape.controls:
                if Terminal(name, terminal) not in fed:
                    raise DesignError(f"nothing feeds {name}:{terminal}")
        supplies = [n for n, part in self.parts.items() if part.type is PartType.SUPPLY]
        if len(supplies) != 1:
            raise DesignError(f"a design has exactly one supply, this one {len(supplies)}")
        self.supply = supplies[0]
        self.order = self._downstream()
        self.least = self._least()

    def _has(self, terminal: Terminal, outputs: bool) -> bool:
        line = self.lines.get(terminal.part)
        if line is None:
            return False
        shape = line.shape
        return terminal.terminal in (shape.outputs if outputs else shape.power + shape.controls)

    def outputs(self, name: str) -> list[Terminal]:
        """Return the output terminals of the part `name`, in order."""
        return [Terminal(name, terminal) for terminal in self.lines[name].shape.outputs]

    def powers(self, terminal: Terminal) -> bool:
        """Return whether `terminal` is a power input."""
        return terminal.terminal in self.lines[terminal.part].shape.power

    def _downstream(self) -> list[str]:
        """Return the parts in an order in which power flows, the supply first."""
        open_inputs = {name: len(line.shape.power) for name, line in self.lines.items()}
        order = [self.supply]
        for name in order:
            for output in self.outputs(name):
                for target in self.nets.get(output, ()):
                    if self.powers(target):
                        open_inputs[target.part] -= 1
                        if not open_inputs[target.part]:
                            order.append(target.part)
        if len(order) != len(self.parts):
            raise DesignError("power runs in a circle")
        return order

    def need(self, name: str) -> int:
        """Return the units that the part `name` uses itself at its power input."""
        part, line = self.parts[name], self.lines[name]
        if part.type is PartType.LOAD:
            needs = part.setting("needs")
            return needs if isinstance(needs, int) else line.units
        return 1 if part.type in TIMED else 0

    def _least(self) -> dict[Terminal, int]:
        """Return for every output and input the least units that any sharing brings to it."""
        least: dict[Terminal, int] = {}
        for name in reversed(self.order):
            for output in self.outputs(name):
                least[output] = 0
                for target in self.nets.get(output, ()):
                    if not self.powers(target):
                        least[target] = self.lines[target.part].units
                    least[output] += least[target]
            demand = max([self.need(name), *(least[output] for output in self.outputs(name))])
            for terminal in self.lines[name].shape.power:
                least[Terminal(name, terminal)] = demand
        return least

    def ceilings(self, supply: int | None) -> dict[Terminal, int | None]:
        """Return for every output the most units it can be left with when the supply delivers
        `supply` and all others get the least they need (None: no limit)."""
        most: dict[Terminal, int | None] = {}
        entering: dict[str, int | None] = {self.supply: supply}
        for name in self.order:
            for output in self.outputs(name):
                limit = most[output] = entering[name]
                for target in self.nets.get(output, ()):
                    if not self.powers(target):
                        continue
                    left = None
                    if limit is not None:
                        left = limit - self.least[output] + self.least[target]
                    seen = entering.get(target.part)
                    if seen is not None and left is not None:
                        left = min(left, seen)
                    entering[target.part] = left
        return most


def least_units(skeleton: Skeleton, kit: Kit) -> int:
    """Return the units below which no sharing of this skeleton can serve all its consumers.

    The sum of what they use, a change-over counting once; exact when tap-offs are on offer
    without limit. Raises DesignError when the skeleton is not a whole wiring of the kit.
    """
    wiring = _Wiring(skeleton, kit)
    return wiring.least[Terminal(wiring.supply, "out")]


class _Sharing:
    """Fronts for one wiring, with one way of accounting, one slack in cost, one ceiling."""

    def __init__(
        self, wiring: _Wiring, accounts: Accounts, slack: int | None, supply: int | None
    ) -> None:
        self.wiring = wiring
        self.accounts = accounts
        self.slack = slack
        self.ceilings = wiring.ceilings(supply)

    def choices(self) -> Iterator[_Choice]:
        """Yield complete ways to share, the best one (within slack and ceiling) among them."""
        yield from self._from(0, {}, {}, ())

    def _from(
        self,
        start: int,
        demands: dict[str, list[Point]],
        floors: dict[str, int],
        joints: tuple[tuple[str, Point], ...],
    ) -> Iterator[_Choice]:
        """Go on at the `start`-th part from the end; the parts behind it are done."""
        order = self.wiring.order
        demands, floors = dict(demands), dict(floors)
        for index in range(start, len(order)):
            name = order[-1 - index]
            kind = self.wiring.parts[name].type
            fronts: list[list[Point]] = []
            floor = 0
            for output in self.wiring.outputs(name):
                if output in self.wiring.nets:
                    points, least = self._net(output, demands, floors)
                    if not points:
                        return
                    fronts.append(points)
                    floor += least
            if kind is PartType.SUPPLY:
                for root in fronts[0] if fronts else [Point(0, 0, 0, None)]:
                    cost = root.cost + sum(point.cost for _, point in joints)
                    usage = root.usage + sum(point.usage for _, point in joints)
                    if self.accounts.within(usage):
                        yield _Choice(cost, root.units, usage, root, joints)
                return
            if kind is PartType.JOINT and fronts:
                floors[name] = 0
                for point in fronts[0]:
                    demands[name] = [Point(0, point.units, 0, None)]
                    yield from self._from(
                        index + 1, demands, floors, (*joints, (name, point))
                    )
                return
            floors[name] = floor
            demands[name] = self._demand(self.wiring.need(name), fronts)

    def _demand(self, need: int, fronts: list[list[Point]]) -> list[Point]:
        """Return the front at a power input: the largest of `need` and the outputs' demands."""
        points = [Point(0, need, 0, ())]
        for options in fronts:
            points = [
                Point(
                    a.cost + b.cost,
                    max(a.units, b.units),
                    a.usage + b.usage,
                    (*_chosen(a), b),
                )
                for a in points
                for b in options
            ]
        return pareto([p for p in points if self.accounts.within(p.usage)], self.accounts)

    def _net(
        self, output: Terminal, demands: dict[str, list[Point]], floors: dict[str, int]
    ) -> tuple[list[Point], int]:
        """Return the front of one net and the least cost that it can have."""
        wiring, accounts = self.wiring, self.accounts
        targets = wiring.nets[output]
        least = least_cost(accounts, len(targets))
        if least is None:
            return [], 0
        floor = least
        mixes: list[tuple[int, int, tuple[int, ...], tuple[Point, ...]]] = [(0, 0, (), ())]
        for target in targets:
            if wiring.powers(target):
                options = demands[target.part]
                floor += floors[target.part]
            else:
                units = wiring.lines[target.part].units
                options = [Point(0, units, 0, None)]
            mixes = _worth_mixing(
                [
                    (cost + p.cost, usage + p.usage, (*needs, p.units), (*chosen, p))
                    for cost, usage, needs, chosen in mixes
                    for p in options
                ],
                accounts,
            )
        ceiling = self.ceilings[output]
        points: list[Point] = []
        for cost, usage, needs, chosen in mixes:
            waste = None if ceiling is None else ceiling - sum(needs)
            if waste is not None and waste < 0:
                continue
            ordered = tuple(sorted(needs, reverse=True))
            for p in front(accounts, ordered, self.slack, waste):
                if self.slack is not None and cost + p.cost - floor > self.slack:
                    break
                if accounts.within(usage + p.usage):
                    net = _Net(p.tree, needs, chosen)
                    points.append(Point(cost + p.cost, p.units, usage + p.usage, net))
        return pareto(points, accounts), floor


def _chosen(point: Point) -> tuple[Point, ...]:
    assert isinstance(point.tree, tuple)
    return point.tree


_Mix = tuple[int, int, tuple[int, ...], tuple[Point, ...]]


def _worth_mixing(mixes: list[_Mix], accounts: Accounts) -> list[_Mix]:
    """Leave out mixes of needs that another one meets at no more cost, need by need."""
    if len(mixes) < 2:
        return mixes
    kept: list[tuple[tuple[int, ...], tuple[int, ...], _Mix]] = []
    for mix in sorted(mixes, key=lambda m: (m[0], m[1], sum(m[2]))):
        needs = tuple(sorted(mix[2], reverse=True))
        used = accounts.fields(mix[1])
        if not any(
            all(a <= b for a, b in zip(other, needs, strict=True))
            and all(a <= b for a, b in zip(other_used, used, strict=True))
            for other, other_used, _ in kept
        ):
            kept.append((needs, used, mix))
    return [mix for _, _, mix in kept]


def share_power(
    skeleton: Skeleton,
    kit: Kit,
    objectives: tuple[Objective, ...] = DEFAULT_ORDER,
    limits: Limits | None = None,
) -> Design | None:
    """Return the best complete design of this wiring, None when its power cannot be shared.

    Exact: no choice of tap-offs and dividers, their order and settings, is better in the
    lexicographic order of `objectives` (price in coins; units the supply must deliver; wires)
    within the limits on splitting parts, supply (units to spare included) and price. Wires are
    numbered from the supply outwards and carry the units that really flow. Raises DesignError when
    the skeleton is not a whole wiring of the kit, Undecided when a net has too many different needs
    for an exact split.
    """
    limits = limits or Limits()
    order = (*objectives, *(goal for goal in DEFAULT_ORDER if goal not in objectives))
    wiring = _Wiring(skeleton, kit)
    parts = sharing_parts(kit, dict(limits.most))
    caps = [(part.name, part.most) for part in parts if part.most is not None]
    if limits.price is not None:
        left = limits.price - to_buy(wiring.lines.values(), limits.stock)
        if left < 0:
            return None
        caps.append(("", left))
    most = [m for m in (limits.supply, wiring.lines[wiring.supply].largest) if m is not None]
    supply = min(most) - limits.spare if most else None
    wires_first = order.index(Objective.WIRES) < order.index(Objective.PRICE)
    counted: list[tuple[str, int]] = []
    while True:
        # Count only what proves to run short: a best choice that keeps within a cap without
        # being made to is the best choice with the cap as well.
        accounts = Accounts(parts, wires_first, tuple(cap for cap in caps if cap in counted))
        best = _best(wiring, accounts, order, supply)
        if best is None:
            return None
        # Units to spare come on top: every rule hands on no less when it gets more.
        best = best._replace(units=best.units + limits.spare)
        design = _built(skeleton, wiring, accounts, best)
        new = [part for part in design.parts if part.name not in wiring.parts]
        used = {
            name: sum(kit.index[p.part].price if name == "" else p.part == name for p in new)
            for name, _ in caps
        }
        short = [cap for cap in caps if used[cap[0]] > cap[1]]
        if not short:
            return design
        counted.extend(short)


def _best(
    wiring: _Wiring, accounts: Accounts, order: tuple[Objective, ...], supply: int | None
) -> _Choice | None:
    """Return the best choice; looks at the cheapest (or least wasteful) first, then further."""

    def rank(choice: _Choice) -> tuple[int, ...]:
        price, count = accounts.price_and_parts(choice.cost)
        value = {
            Objective.PRICE: price,
            Objective.SUPPLY: choice.units,
            Objective.WIRES: count,
        }
        return tuple(value[goal] for goal in order)

    least = wiring.least[Terminal(wiring.supply, "out")]
    if supply is not None and least > supply:
        return None
    if order[0] is Objective.SUPPLY:
        for extra in (0, 1, 3, 8, None):
            ceiling = supply if extra is None else least + extra
            if ceiling is not None and supply is not None:
                ceiling = min(ceiling, supply)
            found = list(_Sharing(wiring, accounts, None, ceiling).choices())
            if found:
                return min(found, key=rank)
        return None
    floors = [least_cost(accounts, len(targets)) for targets in wiring.nets.values()]
    if any(floor is None for floor in floors):
        return None
    floor = sum(f for f in floors if f is not None)
    # A slack of SCALE - 1 keeps everything whose major part of the cost is the least possible.
    slack: int | None = SCALE - 1
    step = SCALE
    while True:
        found = list(_Sharing(wiring, accounts, slack, supply).choices())
        if found:
            best = min(found, key=rank)
            over = best.cost - floor
            if slack is None or over <= slack:
                return best
            # What was found may be too dear to be the best; it says how far to look.
            slack = over // SCALE * SCALE + SCALE - 1
            continue
        if slack is None:
            return None
        step *= 2
        slack = slack + step if step <= 8 * SCALE else None


def _built(
    skeleton: Skeleton, wiring: _Wiring, accounts: Accounts, choice: _Choice
) -> Design:
    """Return the design of a choice: splitting parts named, wires numbered, amounts carried."""
    names = set(wiring.parts)
    numbers: dict[PartType, int] = {}
    chosen: dict[Terminal, Point] = {
        Terminal(name, "out"): point for name, point in choice.joints
    }
    chosen[Terminal(wiring.supply, "out")] = choice.root
    entered: dict[str, list[int]] = {}
    new: list[PartInUse] = []
    wires: list[Wire] = []
    # Each entry: the output it comes from, the units there, the tree, the net's inputs.
    todo: list[tuple[Terminal, int, Tree, list[Terminal]]] = []

    def leave(name: str, units: int) -> None:
        """Put the nets of all outputs of the part `name` next in line."""
        for output in reversed(wiring.outputs(name)):
            if output not in wiring.nets:
                continue
            net = chosen[output].tree
            assert isinstance(net, _Net)
            targets = wiring.nets[output]
            for target, point in zip(targets, net.consumers, strict=True):
                if not wiring.powers(target) or point.tree is None:
                    continue
                behind = [o for o in wiring.outputs(target.part) if o in wiring.nets]
                chosen.update(zip(behind, _chosen(point), strict=True))
            todo.append((output, units, grown(net.tree, net.needs, accounts), targets))

    leave(wiring.supply, choice.units)
    while todo:
        source, units, tree, targets = todo.pop()
        number = len(wires) + 1
        if isinstance(tree, Leaf):
            target = targets[tree.consumer]
            wires.append(Wire(number, source, target, units))
            if wiring.powers(target):
                amounts = entered.setdefault(target.part, [])
                amounts.append(units)
                if len(amounts) == len(wiring.lines[target.part].shape.power):
                    leave(target.part, min(amounts))
            continue
        name = _new_name(tree.type, numbers, names)
        settings: tuple[tuple[str, str | int], ...] = ()
        shares: tuple[int, ...] = equal_share(units, len(tree.branches))
        outputs = [f"out{i}" for i in range(1, len(tree.branches) + 1)]
        if tree.setting is not None:
            settings = (("units", tree.setting),)
            shares = tap_off(units, tree.setting)
            outputs = ["branch", "rest"]
        new.append(PartInUse(name, tree.type, tree.part, settings))
        wires.append(Wire(number, source, Terminal(name, "in"), units))
        for output, share, branch in reversed(
            list(zip(outputs, shares, tree.branches, strict=True))
        ):
            todo.append((Terminal(name, output), share, branch, targets))
    supply = wiring.parts[wiring.supply]
    kept = tuple((key, value) for key, value in supply.settings if key != "units")
    supply = replace(supply, settings=(*kept, ("units", choice.units)))
    parts = tuple(supply if p.name == wiring.supply else p for p in skeleton.parts)
    return Design(skeleton.kit, (*parts, *new), tuple(wires))


def _new_name(kind: PartType, numbers: dict[PartType, int], names: set[str]) -> str:
    """Return the next free name for a splitting part, such as "tap-off 1"."""
    while True:
        numbers[kind] = numbers.get(kind, 0) + 1
        name = f"{kind.value} {numbers[kind]}"
        if name not in names:
            names.add(name)
            return name


