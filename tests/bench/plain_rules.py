"""A job as a plain answer-set program, `plain_rules.lp`, solved by clingo.

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

from plain_jobs import (
    SENSING,
    SHAPES,
    SPLITTING,
    STEPS,
    Job,
    PlainAnswer,
    Settings,
    Wires,
    contracted,
)

RULES = Path(__file__).with_name("plain_rules.lp")
OPTIONS = ("--configuration=tweety",)
WHOLE_OPTIONS = ("--configuration=trendy",)
"""For the whole kit, where neither finishes, but this one comes to far lower prices."""
OUTPUTS = {"branch": 1, "rest": 2, "out": 1, "out1": 1, "out2": 2, "out3": 3}
"""Number of an output by its terminal."""
INPUTS = {
    "in": "in",
    "in1": "in",
    "in2": "other",
    "coil": "control",
    "start": "control",
    "set": "control",
    "reset": "reset",
}
"""What the program calls an input, by its terminal."""


def facts(job: Job, offered: str, explicit: bool) -> str:
    """Return a job as facts."""
    lines = [
        f"#const horizon={job.horizon}. #const steps={STEPS}. #const longest={max(job.times)}.",
        *(f"load({_term(load)})." for load in job.loads),
        *(f"time({seconds})." for seconds in job.times),
    ]
    offers = job.offers[offered]
    course = job.course()
    inputs = len(job.loads)
    for rank, offer in enumerate(offers, start=1):
        if offer.kind in SPLITTING and not explicit:
            continue
        name = _term(offer.name)
        power, control, _ = SHAPES[offer.kind]
        inputs += offer.most * len(power + control)
        lines.append(f"offer({name},{_term(offer.kind)},{offer.most},{offer.price}).")
        lines.append(f"rank({name},{rank}).")
        lines += [f"choice({name},{option})." for option in offer.options]
        if offer.kind in SENSING:
            first, *others = (f"{name},{option}" for option in offer.options or ("",))
            for second, (levels, _) in enumerate(course):
                for option in [first] if levels[offer.input] else others:
                    lines.append(f"closed({option.removesuffix(',')},{second}).")
    # A divider makes three of one for a coin more than a tap-off makes two of one.
    prices = {offer.kind: offer.price for offer in offers}
    pair, three = prices["tap-off"], prices["divider"]
    assert pair < three < 2 * pair
    lines.append(f"#const branches={inputs}.")
    for number in range(2, inputs + 1):
        lines.append(f"outlet({number},{pair if number % 2 == 0 else three - pair}).")
    for second, (_, now) in enumerate(course):
        lines += [f"wanted({_term(load)},{second})." for load in job.loads if now[load]]
    return "\n".join(lines)


def given(job: Job, wires: Wires, settings: Settings, explicit: bool) -> str:
    """Return rules that allow exactly these wires and settings."""
    lines = []
    for source, target in sorted(wires if explicit else contracted(wires)):
        name, _, end = source.rpartition(":")
        into, _, terminal = target.rpartition(":")
        where = f"{INPUTS[terminal]}({_part(job, into)})"
        output = _part(job, name)
        lines.append(f"given({f'out({output},{OUTPUTS[end]})' if explicit else output},{where}).")
    one = "wire" if explicit else "link"
    lines += [f":- {one}(O,I), not given(O,I).", f":- given(O,I), not {one}(O,I)."]
    choices = [offer.name for offers in job.offers.values() for offer in offers if offer.options]
    for name, value in settings.items():
        if name.startswith("pulse-timer"):
            lines.append(f":- not setting({_part(job, name)},{value}).")
        elif name.rpartition(" ")[0] in choices:
            kind, part = _term(name.rpartition(" ")[0]), _part(job, name)
            lines.append(f":- choice({kind},_), not option({part},{value}).")
    return "\n".join(lines)


def _term(name: str) -> str:
    return name.replace("-", "_").replace(" ", "_")


def _part(job: Job, name: str) -> str:
    if name == "supply" or name in job.loads:
        return _term(name)
    kind, _, number = name.rpartition(" ")
    return f"p({_term(kind)},{number})"


def grounded(
    job: Job,
    offered: str,
    explicit: bool,
    fixed: tuple[Wires, Settings] | None = None,
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
    control.add("base", [], facts(job, offered, explicit))
    parts = ["base", "explicit" if explicit else "priced"]
    if fixed is None:
        parts += ["order", "explicit_order"] if explicit else ["order"]
    else:
        control.add("base", [], given(job, *fixed, explicit))
    control.ground([(part, []) for part in parts])
    return control


def solve_rules(
    job: Job,
    offered: str,
    explicit: bool,
    seconds: float,
    fixed: tuple[Wires, Settings] | None = None,
    options: Sequence[str] = OPTIONS,
) -> PlainAnswer:
    """Ground and solve the program within about `seconds` of solving."""
    began = time.perf_counter()
    control = grounded(job, offered, explicit, fixed, options)
    building = time.perf_counter() - began
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
    return PlainAnswer(status, price, bound, building)
