"""The page's data: design, goals, wanted levels and what the check found, as plain values.

Times are whole numbers of a small unit, `fine` of which make one tick (1 ms), so that moments
between ticks stay exact too. Keys are the words that the page's scripts read.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from synth.days import shares_in_words, unit_hours
from synth.design import Design, PartInUse
from synth.parts.behaviour import CONTROLLED, SENSING, TIMED, PartType
from synth.parts.kit import KitPart, Trigger
from synth.problem import InputKind, OutsideInput, Problem
from synth.report.layout import Layout
from synth.report.symbols import setting_lines
from synth.result import Counterexample, Defect, Fault, Verdict
from synth.signals import (
    MEMORY,
    Const,
    Cycle,
    Latch,
    Level,
    OffDelay,
    OnDelay,
    Pulse,
    Recently,
    Signal,
    children,
)
from synth.trace import Moment

Orders = Mapping[Fraction, tuple[tuple[tuple[str, ...], ...], tuple[str, ...]]]
"""At which moments (ticks) of a run the parts move one after the other: in which steps, and
which of them then change for ever."""
_TOGETHER: tuple[tuple[tuple[str, ...], ...], tuple[str, ...]] = ((), ())


@dataclass(frozen=True)
class Shown:
    """What a page shows besides the design and its problem.

    `option` returns a part's setting or its kit's only choice, `follows` the outside input that a
    sensing part follows (empty: none). `verdict` is None when the check could not decide.
    `orders` are those of each defect's run, by the number of the defect. `why` holds for a part
    (its name) sentences on what happens without it. `tour` is a run that shows the goals at work:
    what the inputs do, and when it ends (ticks).
    """

    option: Callable[[PartInUse, KitPart, str], str]
    follows: Callable[[PartInUse], str]
    verdict: Verdict | None = None
    orders: Mapping[int, Orders] = field(default_factory=dict)
    why: Mapping[str, Sequence[str]] = field(default_factory=dict)
    tour: tuple[tuple[Moment, ...], Fraction] = ((), Fraction(0))


def page_data(design: Design, problem: Problem, shown: Shown, plan: Layout) -> dict[str, Any]:
    """Return all that the page's scripts know, ready for JSON."""
    defects = shown.verdict.defects if shown.verdict is not None else ()
    examples = [defect.counterexample for defect in defects]
    fine = _fineness(
        [m.time for example in examples if example is not None for m in example.moments]
        + [time for orders in shown.orders.values() for time in orders]
        + [moment.time for moment in shown.tour[0]]
        + [shown.tour[1]]
    )
    inputs = _inputs(design, problem, shown)
    loads = _loads_of_parts(design)
    return {
        "title": problem.title,
        "fine": fine,
        "standing": standing(shown.verdict),
        "held": problem.kit.trigger is Trigger.HELD,
        "inputs": [_input(item, fine) for item in inputs],
        "neverTogether": [list(group) for group in problem.never_together],
        "parts": [
            _part(placed.part, placed.designation, problem, shown, fine, loads[placed.part.name])
            for placed in plan.parts
        ],
        "wires": [
            {
                "number": wire.number,
                "from": [wire.source.part, wire.source.terminal],
                "to": [wire.target.part, wire.target.terminal],
            }
            for wire in design.wires
        ],
        "signals": _signals(problem, fine),
        "goals": [
            {"number": goal.number, "phrase": goal.phrase} | _of_days(goal.number, problem, shown)
            for goal in problem.goals
        ],
        "apart": [
            {"first": apart.first, "second": apart.second, "goal": apart.goal}
            for apart in problem.apart
        ],
        "peak": None
        if problem.peak is None
        else {"units": problem.peak.units, "goal": problem.peak.goal},
        "tour": {
            "end": int(shown.tour[1] * fine),
            "moments": [
                {"time": int(m.time * fine), "inputs": dict(m.inputs), "order": [], "chatter": []}
                for m in shown.tour[0]
            ],
        },
        "defects": [
            {
                "message": defect.message,
                "goals": list(defect.goals),
                "behind": _behind(design, problem, defect),
                "orders": list(example.orders) if example else [],
                "moments": _moments(example, fine, shown.orders.get(number, {})),
            }
            for number, (defect, example) in enumerate(zip(defects, examples, strict=True))
        ],
    }


def _of_days(number: int, problem: Problem, shown: Shown) -> dict[str, Any]:
    """Return what is said of a goal about the energy of whole days, which no moment shows: what the
    check found; nothing of any other goal."""
    energy = problem.energy
    if energy is None or number not in (energy.goal, *energy.others):
        return {}
    verdict = shown.verdict
    defects = verdict.defects if verdict is not None else ()
    broken = [defect.message for defect in defects if defect.use is not None]
    if broken and number == energy.goal:
        return {"fixed": {"status": "broken", "why": broken[0]}}
    day = verdict.day if verdict is not None and verdict.holds else None
    told = "about whole days on which no input but the night moves; this run does not show it. "
    if day is None:
        return {"fixed": {"status": "waiting", "why": f"{told}The check does not say."}}
    told += f"The check: no such day uses more than {unit_hours(day.total)}"
    return {"fixed": {"status": "waiting", "why": f"{told} ({shares_in_words(day)})"}}


def standing(verdict: Verdict | None) -> str:
    """Return how the check ended: holds, fails, or undecided (it ran out of time)."""
    if verdict is None:
        return "undecided"
    return "holds" if verdict.holds else "fails"


def _fineness(times: Iterable[Fraction]) -> int:
    """Return into how many pieces a tick must be cut for all these moments to be whole."""
    return math.lcm(*(time.denominator for time in times), 1)


def _behind(design: Design, problem: Problem, defect: Defect) -> list[str]:
    """Return the parts that bear on what goes wrong: the loads that it is about, and all that
    feed or control them. All parts where it is about none or the whole (units in use)."""
    load = defect.counterexample.load if defect.counterexample is not None else ""
    waiting = [load] if load else []
    if defect.fault is Fault.TOGETHER:
        pairs = [(a.first, a.second) for a in problem.apart if a.goal in defect.goals]
        waiting = [name for pair in pairs for name in pair if not load or load in pair]
    behind: dict[str, list[str]] = {}
    for wire in design.wires:
        behind.setdefault(wire.target.part, []).append(wire.source.part)
    found: set[str] = set()
    everything = not waiting or defect.fault is Fault.PEAK
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(behind.get(name, ()))
    return [part.name for part in design.parts if everything or part.name in found]


def _moments(
    example: Counterexample | None, fine: int, orders: Orders
) -> list[dict[str, Any]] | None:
    if example is None:
        return None
    changes = {moment.time: dict(moment.inputs) for moment in example.moments}
    return [
        {
            "time": int(time * fine),
            "inputs": changes.get(time, {}),
            "order": [list(step) for step in orders.get(time, _TOGETHER)[0]],
            "chatter": list(orders.get(time, _TOGETHER)[1]),
        }
        for time in sorted({*changes, *orders})
    ]


def _inputs(design: Design, problem: Problem, shown: Shown) -> list[OutsideInput]:
    """Return the supply, then the inputs of the problem, then those that only the design knows."""
    found = {"supply": OutsideInput("supply", InputKind.SUPPLY)}
    found.update((item.name, item) for item in problem.inputs)
    for part in design.parts:
        name = shown.follows(part) if part.type in SENSING else ""
        if name and name not in found:
            kind = {
                PartType.SWITCH: InputKind.SWITCH,
                PartType.PUSH_BUTTON: InputKind.BUTTON,
                PartType.TWILIGHT: InputKind.NIGHT,
            }.get(part.type, InputKind.SENSOR)
            found[name] = OutsideInput(name, kind)
    return list(found.values())


def _input(item: OutsideInput, fine: int) -> dict[str, Any]:
    def time(ticks: int | None) -> int | None:
        return None if ticks is None else ticks * fine

    return {
        "name": item.name,
        "kind": item.kind.value,
        "leastOn": time(item.least_on),
        "mostOn": time(item.most_on),
        "leastOff": time(item.least_off),
        "mostOff": time(item.most_off),
        "steady": item.steady,
        "releasedAs": list(item.released_as),
    }


def _loads_of_parts(design: Design) -> dict[str, list[str]]:
    """Return for each part the loads on which it can act, by power or by control."""
    ahead: dict[str, list[str]] = {}
    for wire in design.wires:
        ahead.setdefault(wire.source.part, []).append(wire.target.part)
    kinds = {part.name: part.type for part in design.parts}
    result: dict[str, list[str]] = {}
    for part in design.parts:
        seen, waiting = {part.name}, [part.name]
        while waiting:
            for name in ahead.get(waiting.pop(), ()):
                if name not in seen:
                    seen.add(name)
                    waiting.append(name)
        result[part.name] = [
            other.name
            for other in design.parts
            if other.name in seen and kinds[other.name] is PartType.LOAD
        ]
    return result


def _whole(part: PartInUse, key: str, otherwise: int) -> int:
    value = part.setting(key)
    return value if isinstance(value, int) else otherwise


def _part(
    part: PartInUse, designation: str, problem: Problem, shown: Shown, fine: int, loads: list[str]
) -> dict[str, Any]:
    offer = problem.kit.index[part.part]
    key, inverse = ("passes", "day") if part.type is PartType.TWILIGHT else ("contact", "break")
    time = "on" if part.type is PartType.RECYCLER else "time"
    goals = sorted({n for r in problem.requirements if r.load in loads for n in r.goals})
    return {
        "name": part.name,
        "type": part.type.value,
        "kit": part.part,
        "about": offer.about,
        "designation": designation,
        "settings": list(setting_lines(part)),
        "price": offer.price,
        "power": list(offer.shape.power),
        "controls": list(offer.shape.controls),
        "outputs": list(offer.shape.outputs),
        "controlled": part.type in CONTROLLED,
        "timed": part.type in TIMED,
        "input": shown.follows(part) if part.type in SENSING else None,
        "inverted": shown.option(part, offer, key) == inverse,
        "winsSet": shown.option(part, offer, "wins") == "set",
        "pulseFirst": shown.option(part, offer, "first") != "pause",
        "on": _whole(part, time, 1) * fine,
        "off": _whole(part, "off", 1) * fine,
        "units": _whole(part, "units", 0),
        "needs": _whole(part, "needs", 1),
        "uses": offer.units,
        "loads": loads,
        "goals": goals,
        "why": list(shown.why.get(part.name, ())),
    }


_KINDS: dict[type, str] = {
    Pulse: "pulse",
    OnDelay: "on-delay",
    OffDelay: "off-delay",
    Cycle: "cycle",
    Latch: "latch",
    Recently: "recently",
}


def _signals(problem: Problem, fine: int) -> dict[str, Any]:
    """Return the nodes of all wanted levels, each after those it is made of."""
    order = problem.machine.order
    index = {node: i for i, node in enumerate(order)}
    return {
        "nodes": [_node(node, [index[child] for child in children(node)], fine) for node in order],
        "loads": [
            {"load": r.load, "node": index[r.signal], "goals": list(r.goals)}
            for r in problem.requirements
        ],
    }


def _node(node: Signal, of: list[int], fine: int) -> dict[str, Any]:
    kind = _KINDS.get(type(node), type(node).__name__.lower())
    form: dict[str, Any] = {"kind": kind, "of": of, "memory": isinstance(node, MEMORY)}
    match node:
        case Const(value):
            form["value"] = value
        case Level(name):
            form["name"] = name
        case Pulse():
            form |= {"time": node.time * fine, "retrigger": node.retrigger}
        case OnDelay() | OffDelay():
            form["time"] = node.time * fine
        case Recently():
            form |= {"time": node.time * fine, "load": node.load}
        case Cycle():
            form |= {"on": node.on * fine, "off": node.off * fine}
            form |= {"pulseFirst": node.pulse_first, "finish": node.finish}
        case Latch():
            form["winsSet"] = node.wins_set
    return form
