"""The main scenario as a plain answer-set program, `plain_rules.lp`, solved by clingo.

The counterpart of `plain_model` in rules: the same parts, runs of the inputs, seconds and settling
steps, written from the meaning of the parts; no code is shared with the package. Sharing is either
explicit, with a part for each split, or priced by the number of branches, which leaves the solver
less to do. Amounts of units are left out of both: with supply enough, any tree of splits works, so
this too only makes the question easier.

Kept is what was fastest of: live derived or chosen; circles of power forbidden by `#edge` or by
reach from the supply; nets of explicit splits derived once or power followed through each;
like parts ordered or not; branch and bound or `--opt-strategy=usc`; one thread or two; all
configurations of clasp, and its translation of counts and its preprocessing.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from plain_model import (
    EVENTS,
    HORIZON,
    LOADS,
    OFFERS,
    SPLITTING,
    STEPS,
    TIMES,
    PlainAnswer,
    Wires,
    contracted,
    wanted,
)

RULES = Path(__file__).with_name("plain_rules.lp")
OPTIONS = ("--configuration=tweety",)
OUTPUTS = {"branch": 1, "rest": 2, "out": 1, "out1": 1, "out2": 2, "out3": 3}
"""Number of an output by its terminal."""
BRANCHES = 13
"""Most inputs at one output: all there are."""


def facts(explicit: bool) -> str:
    """Return the scenario as facts."""
    lines = [
        f"#const horizon={HORIZON}. #const steps={STEPS}. #const longest={max(TIMES)}.",
        f"#const branches={BRANCHES}.",
        *(f"load({load})." for load in LOADS),
        *(f"time({seconds})." for seconds in TIMES),
    ]
    for kind, (most, price) in OFFERS.items():
        if explicit or kind not in SPLITTING:
            lines.append(f"offer({_kind(kind)},{most},{price}).")
    # A divider makes three of one for a coin more than a tap-off makes two of one.
    pair, three = OFFERS["tap-off"][1], OFFERS["divider"][1]
    assert pair < three < 2 * pair
    for number in range(2, BRANCHES + 1):
        lines.append(f"outlet({number},{pair if number % 2 == 0 else three - pair}).")
    levels = {"master": False, "night": False}
    since = 0
    for second in range(HORIZON):
        change = EVENTS.get(second, {})
        levels.update(change)
        since = second if change.get("master") else since
        for kind, level in (("switch", "master"), ("twilight-switch", "night")):
            if levels[level]:
                lines.append(f"closed({_kind(kind)},{second}).")
        now = wanted(levels, second, since)
        lines += [f"wanted({load},{second})." for load in LOADS if now[load]]
    return "\n".join(lines)


def given(wires: Wires, settings: dict[str, int], explicit: bool) -> str:
    """Return rules that allow exactly these wires and settings."""
    lines = []
    for source, target in sorted(wires if explicit else contracted(wires)):
        name, _, end = source.rpartition(":")
        into, _, terminal = target.rpartition(":")
        where = f"{'in' if terminal == 'in' else 'control'}({_name(into)})"
        output = f"out({_name(name)},{OUTPUTS[end]})" if explicit else _name(name)
        lines.append(f"given({output},{where}).")
    one = "wire" if explicit else "link"
    lines += [f":- {one}(O,I), not given(O,I).", f":- given(O,I), not {one}(O,I)."]
    for name, value in settings.items():
        if name.startswith("pulse-timer"):
            lines.append(f":- not setting({_name(name)},{value}).")
    return "\n".join(lines)


def _kind(kind: str) -> str:
    return kind.replace("-", "_")


def _name(name: str) -> str:
    kind, _, number = name.partition(" ")
    return f"p({_kind(kind)},{number})" if number else name


def grounded(
    explicit: bool,
    fixed: tuple[Wires, dict[str, int]] | None = None,
    options: Sequence[str] = OPTIONS,
    observer: Any = None,
) -> Any:
    """Return the solver with the ground program; `observer` is told every ground rule.

    A design that is given numbers like parts as it likes, so with `fixed` they need be in no order.
    """
    import clingo

    control = clingo.Control(["--warn=none", *options])
    if observer is not None:
        control.register_observer(observer)
    control.load(str(RULES))
    control.add("base", [], facts(explicit))
    parts = ["base", "explicit" if explicit else "priced"]
    if fixed is None:
        parts += ["order", "explicit_order"] if explicit else ["order"]
    else:
        control.add("base", [], given(*fixed, explicit))
    control.ground([(part, []) for part in parts])
    return control


def solve_rules(
    seconds: float,
    explicit: bool = False,
    fixed: tuple[Wires, dict[str, int]] | None = None,
    options: Sequence[str] = OPTIONS,
) -> PlainAnswer:
    """Ground and solve the program within about `seconds` of solving."""
    began = time.perf_counter()
    control = grounded(explicit, fixed, options)
    costs: list[int] = []
    with control.solve(async_=True, on_model=lambda model: costs.extend(model.cost)) as handle:
        finished = handle.wait(seconds)
        if not finished:
            handle.cancel()
        proven = finished and handle.get().exhausted
    price = costs[-1] if costs else None
    if proven:
        status = "OPTIMAL" if costs else "INFEASIBLE"
        bound = costs[-1] if costs else 0
    else:
        status = "FEASIBLE" if costs else "UNKNOWN"
        bound = int((control.statistics["summary"]["lower"] or [0])[0])
    return PlainAnswer(status, price, bound, time.perf_counter() - began)
