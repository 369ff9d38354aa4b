"""A job as a plain CP-SAT model: every splitting part and every second is modelled.

The obvious formulation, for comparison only. Parts that may be used, a Boolean for each wire, an
amount of units for each terminal, and one copy of the circuit's state for each settling step of
each second of a run. Splitting parts can also be left out and priced by the number of branches,
as the search does it. It shares no code with the package. It is even given less to do: one run of
the inputs, where the real search needs several and an exact check.

Branches may be priced where there are joints, too. Without splitting parts each input hangs on one
output; whatever parts split an output n times add n - 1 outlets, a tap-off one for 2 coins, a
divider at most two for 3, so no design costs less. And any tree of them works where the supply has
units enough: what a joint hands on is the least of what reaches it, so it grows with the supply.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from ortools.sat.python import cp_model
from plain_jobs import (
    SENSING,
    SHAPES,
    SPLITTING,
    STEPS,
    Job,
    Levels,
    Offer,
    PlainAnswer,
    Settings,
    Wires,
    contracted,
)

POSITIONED = ("relay-make", "relay-break", "bistable-relay")


@dataclass
class PlainModel:
    """The model, with its wires to be read or fixed.

    Without `explicit`, sharing is priced: an output may feed any number of inputs, for the least
    price of so many branches, and there are no splitting parts and no amounts.
    """

    job: Job
    offered: str
    explicit: bool
    model: Any = field(default_factory=cp_model.CpModel)
    parts: dict[str, str] = field(default_factory=dict)
    """Part name to type."""
    offers: dict[str, Offer] = field(default_factory=dict)
    """Part name to what it is offered as; loads are not in it."""
    used: dict[str, Any] = field(default_factory=dict)
    wires: dict[tuple[str, str], Any] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)
    """Timer name to seconds, tap-off name to units."""
    options: dict[str, Any] = field(default_factory=dict)
    """Part name to whether it is set to the first of its options, where it has a choice."""
    price: Any = 0

    def __post_init__(self) -> None:
        true = self.true = self.model.new_constant(1)
        for offer in self.job.offers[self.offered]:
            if offer.kind in SPLITTING and not self.explicit:
                continue
            for name in offer.names:
                self.parts[name], self.offers[name] = offer.kind, offer
                self.used[name] = self.model.new_bool_var(name)
                self.price += offer.price * self.used[name]
                if offer.options:
                    self.options[name] = self.model.new_bool_var("")
            for first, second in pairwise(offer.names):
                self.model.add_implication(self.used[second], self.used[first])
        for load in self.job.loads:
            self.parts[load], self.used[load] = "load", true
        self._wiring()
        if self.explicit:
            self._amounts()
        self._run()
        self.model.minimize(self.price)

    def _wiring(self) -> None:
        self.power, self.control, self.outputs = [], [], [("supply", "out")]
        for name, kind in self.parts.items():
            power, control, outputs = SHAPES[kind]
            self.power += [(name, terminal) for terminal in power]
            self.control += [(name, terminal) for terminal in control]
            self.outputs += [(name, terminal) for terminal in outputs]
        self.inputs = self.power + self.control
        model = self.model
        rank = {name: model.new_int_var(0, len(self.parts), "") for name in self.parts}
        for target in self.inputs:
            for source in self.outputs:
                wire = self.wires[":".join(source), ":".join(target)] = model.new_bool_var("")
                if target in self.power and source[0] != "supply":
                    ahead = rank[target[0]] >= rank[source[0]] + 1
                    model.add(ahead).only_enforce_if(wire)
        for target in self.inputs:
            model.add(sum(self.wire(s, target) for s in self.outputs) == self.used[target[0]])
        self.feeds = {}
        for source in self.outputs:
            count = sum(self.wire(source, t) for t in self.inputs)
            if not self.explicit:
                # Two branches for a tap-off, three for a divider: ceil(3 (n - 1) / 2) coins.
                coins = model.new_int_var(0, 2 * len(self.inputs), "")
                model.add(2 * coins >= 3 * (count - 1))
                self.price += coins
                for target in self.inputs if source[0] != "supply" else ():
                    model.add_implication(self.wire(source, target), self.used[source[0]])
                continue
            self.feeds[source] = model.new_bool_var("")
            model.add(count == self.feeds[source])
            if source[0] != "supply":
                model.add_implication(self.feeds[source], self.used[source[0]])

    def wire(self, source: tuple[str, str], target: tuple[str, str]) -> Any:
        """Return the Boolean of the wire from `source` to `target`."""
        return self.wires[":".join(source), ":".join(target)]

    def _amounts(self) -> None:
        model = self.model
        reach = {i: model.new_int_var(0, self.job.units, "") for i in self.inputs}
        hand_on = {o: model.new_int_var(0, self.job.units, "") for o in self.outputs}
        for target in self.inputs:
            for source in self.outputs:
                same = reach[target] == hand_on[source]
                model.add(same).only_enforce_if(self.wire(source, target))
            if target in self.control:
                model.add(reach[target] >= 1).only_enforce_if(self.used[target[0]])
            elif target[0] in self.job.loads:
                model.add(reach[target] >= self.job.loads[target[0]])
        for name, kind in self.parts.items():
            if kind == "tap-off":
                setting = self.settings[name] = model.new_int_var(1, self.job.units, "")
                branch, rest = hand_on[name, "branch"], hand_on[name, "rest"]
                model.add_min_equality(branch, [setting, reach[name, "in"]])
                model.add(branch + rest == reach[name, "in"])
            elif kind == "divider":
                outputs = [(name, terminal) for terminal in SHAPES[kind][2]]
                for before, after in pairwise(outputs):
                    model.add_implication(self.feeds[after], self.feeds[before])
                for count in range(1, len(outputs) + 1):
                    connected = [self.feeds[outputs[count - 1]]]
                    if count < len(outputs):
                        connected.append(~self.feeds[outputs[count]])
                    for number, output in enumerate(outputs[:count], start=1):
                        # Output i of m gets ceil((n - i + 1) / m) = floor((n - i + m) / m).
                        share = model.new_int_var(0, self.job.units + 1, "")
                        model.add_division_equality(
                            share, reach[name, "in"] + (count - number), count
                        )
                        model.add(hand_on[output] == share).only_enforce_if(connected)
            elif kind == "joint":
                sides = [reach[name, "in1"], reach[name, "in2"]]
                model.add_min_equality(hand_on[name, "out"], sides)
            elif kind != "load":
                model.add(hand_on[name, "out"] == reach[name, "in"])

    # -- time --------------------------------------------------------------------------------

    def _and(self, *literals: Any) -> Any:
        out = self.model.new_bool_var("")
        for literal in literals:
            self.model.add_implication(out, literal)
        self.model.add_bool_or([out, *(~literal for literal in literals)])
        return out

    def _or(self, *literals: Any) -> Any:
        return ~self._and(*(~literal for literal in literals))

    def _differ(self, a: Any, b: Any) -> Any:
        return self._or(self._and(a, ~b), self._and(~a, b))

    def _run(self) -> None:
        model, loads = self.model, self.job.loads
        timers = [n for n, kind in self.parts.items() if kind == "pulse-timer"]
        relays = [n for n, kind in self.parts.items() if kind in POSITIONED]
        for name in timers:
            domain = cp_model.Domain.from_values(self.job.times)
            self.settings[name] = model.new_int_var_from_domain(domain, "")
        contact = dict.fromkeys((*timers, *relays), ~self.true)
        seen = dict.fromkeys(timers, ~self.true)
        age: dict[str, Any] = dict.fromkeys(timers, 0)
        before: Levels = dict.fromkeys(loads, False)
        for levels, now in self.job.course():
            due = {}
            for name in timers:
                up = model.new_bool_var("")
                model.add(age[name] + 1 == self.settings[name]).only_enforce_if(up)
                model.add(age[name] + 1 != self.settings[name]).only_enforce_if(~up)
                due[name] = self._and(contact[name], up)
            started: dict[str, list[Any]] = {name: [] for name in timers}
            seen_loads: list[dict[str, Any]] = []
            for step in range(STEPS):
                live = self._evaluate(contact, levels)
                seen_loads.append({load: live[load, "in"] for load in loads})
                expired = due if step == 0 else dict.fromkeys(timers, ~self.true)
                contact, seen, moved = self._step(live, contact, seen, expired, started)
                if step == STEPS - 1:
                    model.add_bool_and([~literal for literal in moved])
            for load in loads:
                line = [found[load] for found in seen_loads]
                good = [v if now[load] else ~v for v in line]
                model.add_bool_and([good[-1]] if before[load] != now[load] else good)
                for a, b in pairwise(good):
                    model.add_implication(a, b)
            before = now
            for name in timers:
                anew = self._or(*started[name])
                older = model.new_int_var(0, self.job.horizon, "")
                model.add(older == 0).only_enforce_if(anew)
                model.add(older == age[name] + 1).only_enforce_if(~anew)
                age[name] = older

    def _evaluate(self, contact: dict[str, Any], levels: Levels) -> dict[Any, Any]:
        model = self.model
        live: dict[Any, Any] = {target: model.new_bool_var("") for target in self.inputs}
        for name in self.parts:
            for target in self.inputs:
                if target[0] == name and self.parts[name] != "load":
                    model.add_implication(~self.used[name], ~live[target])
        for source in self.outputs:
            name = source[0]
            kind = self.parts.get(name, "supply")
            if kind == "supply":
                out = self.true
            elif kind in SPLITTING:
                out = live[name, "in"]
            elif kind == "joint":
                out = self._or(live[name, "in1"], live[name, "in2"])
            elif kind in SENSING:
                # The first option closes with the input, the other one opens with it.
                first = self.options.get(name, self.true)
                closed = first if levels[self.offers[name].input] else ~first
                out = self._and(live[name, "in"], closed)
            else:
                state = ~contact[name] if kind == "relay-break" else contact[name]
                out = self._and(live[name, "in"], state)
            for target in self.inputs:
                wire = self.wire(source, target)
                model.add_bool_or([~wire, ~out, live[target]])
                model.add_bool_or([~wire, out, ~live[target]])
        return live

    def _step(
        self,
        live: dict[Any, Any],
        contact: dict[str, Any],
        seen: dict[str, Any],
        due: dict[str, Any],
        started: dict[str, list[Any]],
    ) -> tuple[dict[str, Any], dict[str, Any], list[Any]]:
        """Return contacts and levels seen after one step, and what moved in it. Edges are seen
        only in a step in which nothing else moves, or as the timer's own time is up."""
        new, new_seen, moved = {}, {}, list(due.values())
        for name, kind in self.parts.items():
            if kind in POSITIONED:
                if kind == "bistable-relay":
                    set_, free = live[name, "set"], ~live[name, "reset"]
                    wins = self._or(self.options[name], free)
                    new[name] = self._or(
                        self._and(set_, wins), self._and(contact[name], free)
                    )
                else:
                    new[name] = live[name, "coil"]
                moved.append(self._differ(contact[name], new[name]))
            elif kind == "pulse-timer":
                moved.append(self._and(~live[name, "in"], self._or(contact[name], seen[name])))
        quiet = ~self._or(*moved)
        for name in seen:
            power, control = live[name, "in"], live[name, "start"]
            looks = self._or(quiet, due[name])
            start = self._and(
                looks, power, control, ~seen[name], self._or(~contact[name], due[name])
            )
            started[name].append(start)
            kept = self._and(contact[name], ~due[name])
            new[name] = self._and(power, self._or(start, kept))
            level = self._or(self._and(looks, control), self._and(~looks, seen[name]))
            new_seen[name] = self._and(power, level)
            moved += [start, self._differ(contact[name], new[name])]
        return new, new_seen, moved

    def order(self) -> None:
        """Like parts in the order of their settings, and none that could be left out."""
        model = self.model
        for offer in self.job.offers[self.offered]:
            for first, second in pairwise(offer.names):
                if offer.kind == "pulse-timer":
                    model.add(self.settings[first] <= self.settings[second])
                elif offer.options:
                    model.add_implication(self.options[second], self.options[first])
        for name, kind in self.parts.items():
            wires = [[self.wire(o, i) for i in self.inputs] for o in self.outputs if o[0] == name]
            # A splitting part that feeds one input only splits nothing.
            for found in wires[:2] if kind in SPLITTING else wires:
                model.add_bool_or([~self.used[name], *found])

    def fix(self, wires: Wires, settings: Settings) -> None:
        """Allow exactly these wires and settings: whether the model accepts a given design."""
        assert wires <= self.wires.keys(), wires - self.wires.keys()
        for key, variable in self.wires.items():
            self.model.add(variable == int(key in wires))
        for name, value in settings.items():
            if name in self.settings:
                self.model.add(self.settings[name] == value)
            elif name in self.options:
                first = self.offers[name].options[0]
                self.model.add(self.options[name] == int(value == first))


def solve_plain(
    job: Job,
    offered: str,
    explicit: bool,
    seconds: float,
    fixed: tuple[Wires, Settings] | None = None,
    seed: int = 1,
) -> PlainAnswer:
    """Build and solve the model within about `seconds` of solving, on two workers.

    CP-SAT as it comes: without linear relaxation, or without looking for symmetry, it took now
    more, now less, as it does with another seed.
    """
    began = time.perf_counter()
    plain = PlainModel(job, offered, explicit)
    if fixed is None:
        plain.order()
    else:
        wires, settings = fixed
        plain.fix(wires if explicit else contracted(wires), settings)
    building = time.perf_counter() - began
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.random_seed = seed
    status = solver.solve(plain.model)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return PlainAnswer(
        solver.status_name(status),
        round(solver.objective_value) if found else None,
        round(solver.best_objective_bound),
        building,
    )
