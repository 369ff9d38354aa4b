"""From one settled state to the next: all parts moving together, and every other order.

`settle` gives what a circuit does after an event when all excited parts move together at each
step. `every_order` gives each settled state that some other order of moving could lead to.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from synth.check.circuit import Circuit, Row, State
from synth.errors import Undecided
from synth.parts.behaviour import EDGE_SENSITIVE, PENDING

MOST_ORDERS = 20_000
"""How many configurations one event may pass through before the orders are given up."""
MOST_MOVERS = 12
"""How many parts may move at once for all their orders to be followed."""


@dataclass(frozen=True, slots=True)
class Settled:
    """What an event leads to when all parts move together.

    `anew` is a mask of the timers whose time starts at this instant; `loads` the masks of loads
    that are on in each step, repeats left out, the settled one last. `chatter` lists the slots
    of the parts that change for ever, in the order in which they do; empty when it settles.
    `several` tells whether at some step two parts that can influence each other moved at once,
    `at_once` whether any two did.
    """

    state: State
    anew: int
    loads: tuple[int, ...]
    chatter: tuple[int, ...] = ()
    several: bool = False
    at_once: bool = False


@dataclass(frozen=True, slots=True)
class Other:
    """A settled state that another order leads to: `order` holds the slots moved at each step."""

    state: State
    anew: int
    loads: int
    order: tuple[tuple[int, ...], ...]
    chatter: tuple[int, ...] = ()


def settle(circuit: Circuit, state: State, vector: int, due: int) -> Settled:
    """Return what follows an event: input levels `vector`, timers of mask `due` expire."""
    loads: list[int] = []
    anew = 0
    met: dict[tuple[State, int], int] = {}
    moves: list[list[int]] = []
    several = at_once = False
    while True:
        on, rows = circuit.look(state, vector, due)
        if not loads or loads[-1] != on:
            loads.append(on)
        excited = [i for i, row in enumerate(rows) if row[3]]
        after = tuple([row[1] for row in rows])
        if not excited:
            running = anew & _running(circuit, after)
            return Settled(after, running, tuple(loads), (), several, at_once)
        at_once = at_once or len(excited) > 1
        if len(excited) > 1 and not several:
            # Parts that cannot affect each other commute, so only a class of two needs a look.
            several = any(c & (c - 1) for c in independent(circuit, rows, due))
        key = (state, due)
        if key in met:
            looping: dict[int, None] = {}
            for step in moves[met[key] :]:
                looping.update(dict.fromkeys(step))
            return Settled(state, 0, tuple(loads), tuple(looping), several, at_once)
        met[key] = len(moves)
        moves.append(excited)
        for i in excited:
            if rows[i][2]:
                anew |= 1 << i
        state = after
        due = 0


def _running(circuit: Circuit, state: State) -> int:
    mask = 0
    for i, part in enumerate(circuit.parts):
        if part.limit(state[i]):
            mask |= 1 << i
    return mask


def independent(circuit: Circuit, rows: list[Row], due: int) -> list[int]:
    """Return the excited parts in classes (masks) such that no class can ever affect another.

    Two excited parts stand in one class when all that may come to move because of the one meets
    all that may come to move because of the other. Where edges must be held, parts that look for
    edges wait until nothing else moves; so before that, their start and pulse terminals cannot
    matter, and once a registered edge is waiting all parts are kept in one class, save those
    whose contacts no other part depends on.
    """
    excited = [i for i, row in enumerate(rows) if row[3]]
    if len(excited) < 2:
        return [1 << i for i in excited]
    waiting = any(rows[i][0] & PENDING and not due >> i & 1 for i in excited)
    blind = 0
    if circuit.held and not waiting:
        for i, part in enumerate(circuit.parts):
            if part.kind in EDGE_SENSITIVE and not due >> i & 1:
                blind |= 1 << i
    closures = [_closure(circuit, i, blind) for i in excited]
    if circuit.held and waiting:
        alone = []
        rest = 0
        for k, i in enumerate(excited):
            touched = any(closures[m] >> i & 1 for m in range(len(excited)) if m != k)
            if closures[k] == 1 << i and not touched and rows[i][0] & PENDING:
                alone.append(1 << i)
            else:
                rest |= 1 << i
        return alone + ([rest] if rest else [])
    groups: list[tuple[int, int]] = []
    for i, closure in zip(excited, closures, strict=True):
        members = 1 << i
        apart = []
        for other_members, other_closure in groups:
            if other_closure & closure:
                members |= other_members
                closure |= other_closure
            else:
                apart.append((other_members, other_closure))
        groups = [*apart, (members, closure)]
    return sorted(members for members, _ in groups)


def _closure(circuit: Circuit, slot: int, blind: int) -> int:
    """Return all parts that may move because part `slot` does, itself included."""
    found, waiting = 0, 1 << slot
    while waiting:
        low = waiting & -waiting
        waiting ^= low
        found |= low
        i = low.bit_length() - 1
        waiting |= (circuit.reach_power[i] | circuit.reach_control[i] & ~blind) & ~found
    return found


_Config = tuple[State, int, int]
"""Present state, timers whose expiry has not been acted on, timers started anew so far."""


def every_order(circuit: Circuit, state: State, vector: int, due: int) -> tuple[Other, ...]:
    """Return every settled state that some order of moving leads to, each once.

    At each step any non-empty subset of the excited parts may move; all parts notice. Of classes
    that cannot affect each other one is followed to its end before the next (their moves
    commute). An order that never ends counts when each part that stays excited moves in it.
    Raises Undecided after MOST_ORDERS configurations.
    """
    first: _Config = (state, due, 0)
    parent: dict[_Config, tuple[_Config, tuple[int, ...]] | None] = {first: None}
    edges: dict[_Config, list[_Config]] = {}
    still: dict[_Config, int] = {}
    found: dict[tuple[State, int], Other] = {}
    waiting = [first]
    at = 0
    while at < len(waiting):
        config = waiting[at]
        at += 1
        if len(parent) > MOST_ORDERS:
            raise Undecided("too many orders in which the parts may move; races not decided")
        now, pending, anew = config
        on, rows = circuit.look(now, vector, pending)
        excited = [i for i, row in enumerate(rows) if row[3]]
        still[config] = sum(1 << i for i in excited)
        edges[config] = []
        if not excited:
            after = tuple([row[1] for row in rows])
            fresh = anew & _running(circuit, after)
            if (after, fresh) not in found:
                found[after, fresh] = Other(after, fresh, on, _path(parent, config))
            continue
        chosen = independent(circuit, rows, pending)[0]
        movers = [i for i in excited if chosen >> i & 1]
        if len(movers) > MOST_MOVERS:
            raise Undecided("too many parts move at once; races not decided")
        for moved, next_state, next_due in _moves(rows, movers, pending):
            next_anew = anew | sum(1 << slot for slot in moved if rows[slot][2])
            target: _Config = (next_state, next_due, next_anew)
            edges[config].append(target)
            if target not in parent:
                parent[target] = (config, moved)
                waiting.append(target)
    others = list(found.values())
    loop = _fair_loop(edges, still)
    if loop:
        slots = _moving(loop, edges)
        others.append(Other(loop[0][0], 0, 0, _path(parent, loop[0]), slots))
    return tuple(others)


def one_by_one(
    circuit: Circuit, state: State, vector: int, due: int
) -> tuple[int, list[tuple[tuple[int, ...], State, int]] | None]:
    """Return the loads that are on at a moment between two states of rest, and each way in which
    some of the excited parts (all of them, whatever affects what) may move next: their slots, what
    is then, and the timers whose expiry is yet to be acted on. None where there are too many."""
    on, rows = circuit.look(state, vector, due)
    movers = [i for i, row in enumerate(rows) if row[3]]
    if len(movers) > MOST_MOVERS:
        return on, None
    return on, list(_moves(rows, movers, due))


def _moves(
    rows: list[Row], movers: list[int], due: int
) -> Iterator[tuple[tuple[int, ...], State, int]]:
    """Yield each way in which some of `movers` may move: their slots, the state after it, and the
    timers whose expiry has not been acted on."""
    quiet = [row[0] if row[3] else row[1] for row in rows]
    for subset in range(1, 1 << len(movers)):
        moved = tuple(slot for k, slot in enumerate(movers) if subset >> k & 1)
        state, left = list(quiet), due
        for slot in moved:
            state[slot] = rows[slot][1]
            left &= ~(1 << slot)
        yield moved, tuple(state), left


def _path(
    parent: dict[_Config, tuple[_Config, tuple[int, ...]] | None], config: _Config
) -> tuple[tuple[int, ...], ...]:
    steps = []
    step = parent[config]
    while step is not None:
        steps.append(step[1])
        step = parent[step[0]]
    return tuple(reversed(steps))


def _moving(loop: list[_Config], edges: dict[_Config, list[_Config]]) -> tuple[int, ...]:
    inside = set(loop)
    slots: dict[int, None] = {}
    for config in loop:
        for target in edges[config]:
            if target in inside:
                for slot, (a, b) in enumerate(zip(config[0], target[0], strict=True)):
                    if a != b:
                        slots[slot] = None
    return tuple(sorted(slots))


def _fair_loop(edges: dict[_Config, list[_Config]], still: dict[_Config, int]) -> list[_Config]:
    """Return configurations that can follow each other for ever without starving a part."""
    for component in _components(edges):
        inside = set(component)
        if len(component) == 1 and component[0] not in edges[component[0]]:
            continue
        always = -1
        moved = 0
        for config in component:
            always &= still[config]
            for target in edges[config]:
                if target in inside:
                    for slot, (a, b) in enumerate(zip(config[0], target[0], strict=True)):
                        if a != b:
                            moved |= 1 << slot
        if always & ~moved == 0:
            return component
    return []


def _components(edges: dict[_Config, list[_Config]]) -> list[list[_Config]]:
    """Return the strongly connected components (Tarjan 1972, without recursion)."""
    index: dict[_Config, int] = {}
    low: dict[_Config, int] = {}
    on_stack: set[_Config] = set()
    stack: list[_Config] = []
    result: list[list[_Config]] = []
    for root in edges:
        if root in index:
            continue
        work: list[tuple[_Config, int]] = [(root, 0)]
        while work:
            node, k = work.pop()
            if k == 0:
                index[node] = low[node] = len(index)
                stack.append(node)
                on_stack.add(node)
            descended = False
            for j in range(k, len(edges[node])):
                target = edges[node][j]
                if target not in index:
                    work.append((node, j + 1))
                    work.append((target, 0))
                    descended = True
                    break
                if target in on_stack:
                    low[node] = min(low[node], index[target])
            if descended:
                continue
            if low[node] == index[node]:
                component = []
                while True:
                    member = stack.pop()
                    on_stack.discard(member)
                    component.append(member)
                    if member == node:
                        break
                result.append(component)
            if work:
                above = work[-1][0]
                low[above] = min(low[above], low[node])
    return result
