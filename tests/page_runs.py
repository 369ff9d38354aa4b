"""Runs of a design as the page must show them, made by the check's own pieces; random inputs.

A *settled instant* is a plain value that the page's engine gives in the same form: time in ticks,
levels of all outputs, loads on, time left of timers and of what is wanted, wanted levels, what is
broken just then.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Mapping, Sequence
from fractions import Fraction
from random import Random
from typing import Any

from plain_simulation import Plain

from synth.check import amounts
from synth.check.circuit import Circuit, input_of, option_of, upstream
from synth.check.settle import settle
from synth.design import Design, Terminal
from synth.parts.behaviour import SENSING, TIMED, PartType
from synth.problem import Problem
from synth.report.layout import layout
from synth.report.page.data import Shown, page_data
from synth.signals import times_of

SHOWN = Shown(option_of, input_of)
Moments = list[tuple[int, dict[str, bool]]]


def data_of(design: Design, problem: Problem) -> dict[str, Any]:
    """Return the page's data of a design that was not checked."""
    return page_data(design, problem, SHOWN, layout(design, problem.kit))


def names_of(design: Design, problem: Problem) -> list[str]:
    """Return all inputs that goals or parts know, the supply first."""
    names = {"supply": None, **dict.fromkeys(item.name for item in problem.inputs)}
    names.update(dict.fromkeys(input_of(p) for p in design.parts if p.type in SENSING))
    return [name for name in names if name]


def random_moments(design: Design, problem: Problem, random: Random, count: int) -> Moments:
    """Return random moments, many of them just when times of the design or its goals end."""
    names = names_of(design, problem)
    times = {1, 999, 1000, 2500}
    for part in design.parts:
        times |= {v for k, v in part.settings if k in ("time", "on", "off") and isinstance(v, int)}
    for requirement in problem.requirements:
        times |= times_of(requirement.signal)
    steps = sorted(times)
    moments: Moments = [(0, {"supply": True})]
    levels = dict.fromkeys(names, False) | {"supply": True}
    at = 0
    for _ in range(count):
        at += random.choice([*steps, random.randint(1, max(steps))])
        changes = {}
        for name in random.sample(names, random.choice((1, 1, 1, min(2, len(names))))):
            if name != "supply" or random.random() < 0.5 or not levels["supply"]:
                levels[name] = not levels[name]
                changes[name] = levels[name]
        moments.append((at, changes))
    return moments


def settled_instants(
    design: Design, problem: Problem, moments: Sequence[tuple[int, dict[str, bool]]], end: int
) -> list[dict[str, Any]]:
    """Return every settled instant before `end` (ticks); the last when the parts never settle.

    The circuit is stepped by the check's `settle`; which outputs are live is asked of the plain
    simulation of the tests, which follows wires by recursion; wanted levels by SignalMachine.
    """
    names = names_of(design, problem)
    circuit = Circuit(design, problem.kit, tuple(names))
    machine = problem.machine
    least = amounts(design, problem.kit)
    plain = Plain(design, problem)
    shapes = problem.kit.index
    outputs = [Terminal(p.name, o) for p in design.parts for o in shapes[p.part].shape.outputs]
    state, vector, wanted = circuit.start, 0, machine.start
    until: dict[int, int] = {}
    wanted_until: dict[int, int] = {}
    outside = dict(moments)
    result = []
    before = 0
    while True:
        times = [t for t in (*outside, *until.values(), *wanted_until.values()) if t < end]
        if not times:
            return result
        time = min(times)
        for name, level in outside.pop(time, {}).items():
            bit = circuit.bits[name]
            vector = vector | bit if level else vector & ~bit
        due = sum(1 << i for i, at in until.items() if at == time)
        settled = settle(circuit, state, vector, due)
        state = settled.state
        for i, part in enumerate(circuit.parts):
            limit = part.limit(state[i])
            if not limit:
                until.pop(i, None)
            elif settled.anew >> i & 1:
                until[i] = time + limit
        levels = {name: bool(vector & circuit.bits[name]) for name in names}
        wanted_due = [slot for slot, at in wanted_until.items() if at == time]
        wanted, required, again = machine.react(wanted, levels, wanted_due)
        wanted_until = machine.clocks(wanted, wanted_until, again, time)
        if settled.chatter:
            parts = sorted(circuit.names(settled.chatter))
            result.append({"time": time, "chatter": parts})
            return result
        states = {part.name: state[i] for i, part in enumerate(circuit.parts)}
        on = circuit.loads_on(circuit.live(state, vector))
        steps, at = (before, *settled.loads), (state, vector)
        broken = _broken(circuit, design, problem, least, steps, required, at)
        before = on
        result.append(
            {
                "time": time,
                "chatter": [],
                "live": {str(o): plain.output_live(o, states, levels) for o in outputs},
                "on": sorted(n for n, bit in circuit.load_bits.items() if on & bit),
                "left": {
                    circuit.parts[i].name: at - time
                    for i, at in sorted(until.items())
                    if circuit.parts[i].kind in TIMED
                },
                "want": dict(required),
                "broken": broken,
                "wantedLeft": [at - time for _, at in sorted(wanted_until.items())],
            }
        )


def _broken(
    circuit: Circuit,
    design: Design,
    problem: Problem,
    least: Mapping[Terminal, int],
    steps: Sequence[int],
    wanted: Mapping[str, bool],
    at: tuple[tuple[int, ...], int],
) -> list[list[Any]]:
    """Return what is wrong at an instant: kind and goals. `steps`: loads on before the event and
    after each step of settling, as masks; `at`: the settled state and the levels of the inputs."""
    found: list[list[Any]] = []
    for requirement in problem.requirements:
        bit = circuit.load_bits.get(requirement.load)
        if bit is None:
            continue
        seen = [step & bit > 0 for step in steps]
        turns = sum(a != b for a, b in itertools.pairwise(seen))
        if seen[-1] != wanted[requirement.load]:
            found.append(["goal", list(requirement.goals)])
        if turns > 1:
            found.append(["blip", list(requirement.goals)])
    for apart in problem.apart:
        pair = circuit.load_bits[apart.first] | circuit.load_bits[apart.second]
        if any(step & pair == pair for step in steps[1:]):
            found.append(["together", [apart.goal]])
    if problem.peak and circuit.units_in_use(*at) > problem.peak.units:
        found.append(["peak", [problem.peak.goal]])
    parts = {part.name: part for part in design.parts}
    for end in circuit.live_terminals(*at)[1]:
        part = parts[end.part]
        uses = problem.kit.index[part.part].units
        needs = part.setting("needs") or 1 if part.type is PartType.LOAD else uses
        if least[end] < needs:
            found.append(["short", goals_of(design, problem, end.part)])
    return sorted(found, key=lambda fault: json.dumps(fault, separators=(",", ":")))


def goals_of(design: Design, problem: Problem, name: str) -> list[int]:
    """Return the goals of all loads on which a part bears."""
    return sorted(
        {n for r in problem.requirements if name in upstream(design, [r.load]) for n in r.goals}
    )


def end_of(moments: Sequence[tuple[int, dict[str, bool]]]) -> int:
    """Return a moment at which a run may end, some seconds after its last event."""
    return int(moments[-1][0] + Fraction(5000))


TELL = """
function tell(engine, moments, end) {
  const outside = new Map(moments);
  let now = engine.before();
  const result = [];
  for (;;) {
    const time = Math.min(engine.next(now), ...outside.keys());
    if (!(time < end)) return result;
    const changes = outside.get(time) ?? {};
    outside.delete(time);
    now = engine.happen(now, time, changes);
    if (now.chatter.length) {
      result.push({ time, chatter: now.chatter.slice().sort() });
      return result;
    }
    const live = {};
    for (const [key, net] of engine.circuit.nets) live[key] = now.nets[net];
    const left = {};
    engine.circuit.reacting.forEach((part, i) => {
      if (now.until[i] !== null && part.timed) left[part.name] = now.until[i] - time;
    });
    result.push({
      time, chatter: [], live,
      on: engine.circuit.loads.filter((_, i) => now.on[i]).map((part) => part.name).sort(),
      left, want: now.want,
      broken: now.broken.map(({ kind, goals }) => JSON.stringify([kind, goals])).sort()
        .map((fault) => JSON.parse(fault)),
      wantedLeft: now.wantedUntil.filter((at) => at !== null).map((at) => at - time),
    });
  }
}
"""
"""A script that runs an engine through moments and tells its settled instants in the same form."""
