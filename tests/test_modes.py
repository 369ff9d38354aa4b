"""The modes of a design, the test by hand that visits them, and a day with the inputs held.

Outside the code under test stand: modes worked out by hand; the slow plain simulation of
`plain_simulation`, which follows wires by recursion half a second at a time; and the concrete runs
of `synth.check.simulate`, which know nothing of zones or graphs.
"""

from __future__ import annotations

import random
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from check_designs import FULL, asked, load, part, pump_cycle, wired
from plain_simulation import STEP, Broken, Plain

from synth import pipeline
from synth.check import simulate
from synth.check.day import DAY, held_days, needs_of
from synth.check.modes import mode_graphs
from synth.check.tour import tour_of, ways_to_consumers
from synth.design import Design
from synth.errors import Undecided
from synth.modes import Mode, ModeGraph, Tour
from synth.parts.behaviour import CONTACT, PartType
from synth.problem import InputKind, OutsideInput, Problem
from synth.signals import Cycle, Level, OnDelay, all_of

ROOT = Path(__file__).parent.parent
KEPT = sorted(path.stem for path in (ROOT / "tests" / "designs").glob("*.json"))
SHORT = ["drying-rack", "potting-shed", "roof-vent", "water-butt", "workbench"]
"""Designs whose tour is short enough for the plain simulation."""
PLENTY = 2_000


@cache
def kept(name: str) -> tuple[Problem, Design]:
    return pipeline.read_design(
        str(ROOT / "tests" / "designs" / f"{name}.json"), str(ROOT / "goals" / f"{name}.yaml"),
        None, None,
    )


@cache
def graphs_of(name: str) -> tuple[ModeGraph, ...]:
    problem, design = kept(name)
    return mode_graphs(design, problem)


@cache
def tour(name: str, steps: int = PLENTY) -> Tour:
    problem, design = kept(name)
    return tour_of(design, problem, graphs_of(name), steps)


def seen_as(mode: Mode) -> tuple[object, ...]:
    """Return what a bystander can see of a mode."""
    return mode.levels, mode.on, mode.operated


def of_situation(graph: ModeGraph, levels: dict[str, bool], on: object, states: dict[str, int]) -> (
    tuple[object, ...]
):
    assert isinstance(on, frozenset)
    return (
        tuple((name, levels[name]) for name in graph.inputs),
        tuple(name for name in graph.loads if name in on),
        tuple(name for name in graph.reacting if states[name] & CONTACT),
    )


class TestModes:
    def test_cycle_by_hand(self) -> None:
        """A recycler behind a switch: at rest; on; pausing. Worked out by hand from the standard
        wording of a recycler that begins with its pulse."""
        design = wired(
            [part("S", PartType.SWITCH, input="master"),
             part("R", PartType.RECYCLER, on=10_000, off=50_000, first="pulse"), load("pump")],
            {"S.in": "supply", "R.in": "S.out", "pump.in": "R.out"},
        )
        problem = asked({"pump": Cycle(Level("master"), 10_000, 50_000)})
        (graph,) = mode_graphs(design, problem)
        told = {
            (mode.level("supply"), mode.level("master"), mode.on, mode.running)
            for mode in graph.modes
        }
        assert told == {
            (False, False, (), ()),
            (False, True, (), ()),
            (True, False, (), ()),
            (True, True, ("pump",), (("R", 10_000),)),
            (True, True, (), (("R", 50_000),)),
        }
        # Each powered mode: the supply off, the master moved. Each off one: the supply on.
        assert len(graph.by_hand) == 3 * 2 + 2
        assert len(graph.by_time) == 2
        assert all(mode.aimed for mode in graph.modes)

    def test_only_at_one_instant(self) -> None:
        """By hand: M is set while a and b are off, K while exactly one of them is on, which resets
        M. L is set by a and b while M is set and K is not, so only when both come at the very
        instant; it is reset when both are off. Nobody can aim at the lamp that L lights."""
        sensors = [
            part(f"{name}{i}", PartType.SENSOR, input=name, contact=contact)
            for i, contacts in enumerate((("make", "break"), ("break", "make"),
                                          ("break", "break"), ("make", "make")))
            for name, contact in zip("ab", contacts, strict=True)
        ]
        latches = [part(name, PartType.BISTABLE, wins="set") for name in "KLM"]
        design = wired(
            [*sensors, part("J", PartType.JOINT), *latches, part("R", PartType.RELAY_BREAK),
             load("x")],
            {**{f"a{i}.in": "supply" if i < 3 else "M.out" for i in range(4)},
             **{f"b{i}.in": f"a{i}.out" for i in range(4)},
             **{f"{name}.in": "supply" for name in "KLM"},
             "J.in1": "b0.out", "J.in2": "b1.out", "K.set": "J.out", "K.reset": "b2.out",
             "M.set": "b2.out", "M.reset": "K.out", "R.in": "b3.out", "R.coil": "K.out",
             "L.set": "R.out", "L.reset": "b2.out", "x.in": "L.out"},
        )
        # Through a power cut M would stay set, and power could come back with both on.
        steady = OutsideInput("supply", InputKind.SUPPLY, steady=True)
        problem = asked({"x": Level("a")}, OutsideInput("b", InputKind.SENSOR), steady)
        (graph,) = mode_graphs(design, problem)
        assert graph.together
        lit = [mode for mode in graph.modes if mode.on]
        assert {(mode.level("a"), mode.level("b")) for mode in lit} == {
            (True, True), (True, False), (False, True)
        }
        assert not any(mode.aimed for mode in lit)
        (cut,) = mode_graphs(design, asked({"x": Level("a")}, OutsideInput("b", InputKind.SENSOR)))
        assert any(mode.aimed for mode in cut.modes if mode.on)
        told = tour_of(design, problem, (graph,)).coverage[0]
        assert set(told.never_aimed) >= {mode.number for mode in lit}
        # Power comes up only once in this world, so all but one way of doing so stay untested.
        assert set(told.modes_left) < set(graph.first)
        assert {number for number, _ in told.by_hand_left} <= set(graph.first)

    def test_known_times_bind(self) -> None:
        """A lamp that waits for 5 h of night never lights where no night lasts 5 h."""
        design = wired(
            [part("T", PartType.TWILIGHT, passes="night"),
             part("D", PartType.ON_DELAY, time=18_000_000), load("lamp")],
            {"T.in": "supply", "D.in": "supply", "D.start": "T.out", "lamp.in": "D.out"},
        )
        wanted = {"lamp": OnDelay(Level("night"), 18_000_000)}
        for most, lights in ((14_400_000, False), (21_600_000, True), (None, True)):
            night = OutsideInput("night", InputKind.NIGHT, most_on=most)
            (graph,) = mode_graphs(design, asked(wanted, night))
            assert graph.facts
            assert any(mode.on for mode in graph.modes) == lights, most

    def test_never_settling_is_not_explored(self) -> None:
        """A relay fed through its own break contact buzzes (Eichelberger's y = x y', row 6 of his
        list as quoted in texts)."""
        design = wired(
            [part("R", PartType.RELAY_BREAK), load("lamp")],
            {"R.in": "supply", "R.coil": "R.out", "lamp.in": "supply"},
        )
        with pytest.raises(Undecided, match="never settles"):
            mode_graphs(design, asked({"lamp": all_of()}))

    @pytest.mark.parametrize("name", KEPT)
    def test_a_bystander_can_tell_modes_apart(self, name: str) -> None:
        """So that the runs below may look modes up by what can be seen."""
        for graph in graphs_of(name):
            assert len({(seen_as(m), m.running) for m in graph.modes}) == len(graph.modes)

    @pytest.mark.parametrize("name", SHORT)
    def test_random_walks_never_leave_the_modes(self, name: str) -> None:
        """The plain simulation is taken through random inputs, several at once too."""
        problem, design = kept(name)
        if any(i.most_on or i.least_on or i.most_off or i.least_off for i in problem.inputs):
            pytest.skip("the plain simulation does not know times of inputs")
        plain, rng = Plain(design, problem), random.Random(7)
        known = [{seen_as(mode) for mode in graph.modes} for graph in graphs_of(name)]
        met: list[set[object]] = [set() for _ in known]
        vectors = plain.allowed()
        for _ in range(6):
            now = plain.first()
            for _ in range(250):
                levels = rng.choice(vectors) if rng.random() < 0.2 else now.levels
                after = plain.event(now, levels, True)
                assert after is not None and not isinstance(after, Broken)
                now = after
                for g, graph in enumerate(graphs_of(name)):
                    seen = of_situation(graph, now.levels, now.on, now.states)
                    assert seen in known[g], (name, g, seen)
                    met[g].add(seen)
        # The walk must have seen something worth the name, or it proves nothing.
        assert sum(map(len, met)) > sum(map(len, known)) / 2


class TestTour:
    @pytest.mark.parametrize("name", KEPT)
    def test_replayed_it_shows_what_each_step_says(self, name: str) -> None:
        problem, design = kept(name)
        run = simulate(design, problem, tour(name).moments, tour(name).end + 1)
        loads = {track.name: track for track in run.tracks if track.role == "load"}
        assert tour(name).steps
        for step in tour(name).steps:
            for load_name in step.on:
                assert loads[load_name].level(step.time), (load_name, step)
            for load_name in step.off:
                assert not loads[load_name].level(step.time), (load_name, step)
            graphs = graphs_of(name) if step is tour(name).steps[0] else (
                graphs_of(name)[step.circuit],
            )
            assert set(step.on) | set(step.off) == {load for g in graphs for load in g.loads}
        assert not run.marks

    @pytest.mark.parametrize("name", KEPT)
    def test_replayed_it_visits_every_mode_and_every_change_by_hand(self, name: str) -> None:
        """Read off the tracks of the run alone. What a step does in a circuit of which it names no
        load, or what comes by itself between two steps, nobody looks at: it does not count."""
        problem, design = kept(name)
        run = simulate(design, problem, tour(name).moments, tour(name).end + 1)
        tracks = {(t.role, t.name): t for t in run.tracks}
        moves = {m.time: dict(m.inputs) for m in tour(name).moments}
        named = {step.time: {*step.on, *step.off} for step in tour(name).steps}
        circuits = {step.time: step.circuit for step in tour(name).steps}
        first = tour(name).steps[0].time
        for number, graph in enumerate(graphs_of(name)):
            own = [
                *(("input", n) for n in graph.inputs), *(("load", n) for n in graph.loads),
                *(k for k in tracks if k[0] in ("timer", "relay") and k[1] in graph.reacting),
            ]
            times = {time for key in own for time, _ in tracks[key].changes} | set(moves)

            def seen(at: Fraction, graph: ModeGraph = graph) -> tuple[object, ...]:
                def contact(n: str) -> bool:
                    role = "timer" if ("timer", n) in tracks else "relay"
                    return tracks[role, n].level(at)

                return (
                    tuple((n, tracks["input", n].level(at)) for n in graph.inputs),
                    tuple(n for n in graph.loads if tracks["load", n].level(at)),
                    tuple(n for n in graph.reacting if contact(n)),
                )

            start = seen(Fraction(0))
            visited, done = {start}, set()
            for time in sorted(times):
                before = start
                start = seen(time)
                if not named.get(time, set()) >= set(graph.loads):
                    continue
                if time != first and circuits[time] != number:
                    continue
                visited.add(start)
                for moved in moves.get(time, {}):
                    if moved in graph.inputs:
                        done.add((before, moved))
            assert {seen_as(m) for m in graph.modes if m.aimed} <= visited
            assert {(seen_as(graph.modes[m]), i) for m, i in graph.by_hand} <= done

    @pytest.mark.parametrize("name", KEPT)
    def test_its_own_account_is_whole(self, name: str) -> None:
        for c, graph in zip(tour(name).coverage, graphs_of(name), strict=True):
            assert c.whole
            assert c.modes == c.modes_visited == sum(m.aimed for m in graph.modes)
            assert c.by_hand == c.by_hand_done == len(graph.by_hand) > 0
            assert c.expiries == c.expiries_done == len(graph.by_time)

    @pytest.mark.parametrize("name", KEPT)
    def test_known_times_of_inputs_are_kept(self, name: str) -> None:
        problem, _ = kept(name)
        assert not tour(name).notes
        since: dict[str, Fraction] = {}
        levels: dict[str, bool] = {item.name: False for item in problem.inputs}
        for moment in tour(name).moments:
            assert len(moment.inputs) == 1 or moment.time == 0
            for moved, level in moment.inputs:
                item = problem.input(moved)
                assert levels[moved] != level
                stayed = moment.time - since.get(moved, Fraction(0))
                least = item.least_on if levels[moved] else item.least_off
                most = item.most_on if levels[moved] else item.most_off
                assert most is None or stayed <= most
                assert least is None or moved not in since or stayed >= least
                assert item.steady is None or level == item.steady
                levels[moved], since[moved] = level, moment.time
            for group in problem.never_together:
                assert sum(levels[n] for n in group) <= 1

    @pytest.mark.parametrize("name", SHORT)
    def test_the_plain_simulation_agrees(self, name: str) -> None:
        problem, design = kept(name)
        plain = Plain(design, problem)
        now = plain.first()
        moves = {m.time: dict(m.inputs) for m in tour(name).moments}
        looks = {step.time: step for step in tour(name).steps}
        assert all(time % STEP == 0 for time in (*moves, *looks))
        for tick in range(0, int(tour(name).end) + 1, STEP):
            time = Fraction(tick)
            levels = {**now.levels, **moves.get(time, {})}
            after = plain.event(now, levels, tick > 0)
            if after is None:
                continue
            assert not isinstance(after, Broken), (name, time, after)
            now = after
            if time in looks:
                assert set(looks[time].on) <= now.on
                assert not set(looks[time].off) & now.on

    def test_a_short_one_says_what_it_leaves_out(self) -> None:
        short = tour("water-butt", 10)
        assert 10 <= len(short.steps) < len(tour("water-butt").steps)
        assert not all(c.whole for c in short.coverage)
        for c, graph in zip(short.coverage, graphs_of("water-butt"), strict=True):
            assert c.by_hand_done + len(c.by_hand_left) == len(graph.by_hand)
            assert c.modes_visited + len(c.modes_left) == c.modes
            assert len(set(c.by_hand_left)) == len(c.by_hand_left)

    def test_same_input_same_tour(self) -> None:
        problem, design = kept("seed-trays")
        again = tour_of(design, problem, mode_graphs(design, problem), PLENTY)
        assert again == tour("seed-trays")


class TestWays:
    @pytest.mark.parametrize("name", KEPT)
    def test_each_way_ends_as_it_says(self, name: str) -> None:
        """The consumers of a mode are compared with wires followed by recursion."""
        problem, design = kept(name)
        graphs, plain = graphs_of(name), Plain(design, problem)
        needs = needs_of(design, problem, graphs)
        ways = ways_to_consumers(design, problem, graphs, needs)
        assert {way.consumer for way in ways} == {n for n, _ in needs.units}
        live = 0
        for way in ways:
            graph = graphs[way.circuit]
            for number, wanted in ((way.live_mode, True), (way.dead_mode, False)):
                if number is None:
                    continue
                mode = graph.modes[number]
                assert mode.powered
                assert (way.consumer in mode.fed) == wanted
                states = {p.name: 0 for p in plain.controlled}
                states |= dict.fromkeys(mode.operated, CONTACT)
                levels = dict.fromkeys(plain.names, False) | dict(mode.levels)
                for wire in design.wires:
                    if wire.source.part in graph.parts and wire.target.part in graph.parts:
                        follows = plain.output_live(wire.source, states, levels)
                        assert (str(wire.source) in mode.live) == follows
                        live += follows
        assert live


class TestHeldDay:
    def day(self, on: int, off: int) -> Fraction:
        """Return the share of a day for which a recycler of these times is on."""
        design = wired(
            [part("R", PartType.RECYCLER, on=on, off=off, first="pulse"), load("pump")],
            {"R.in": "supply", "pump.in": "R.out"},
        )
        problem = asked({"pump": Cycle(all_of(), on, off)})
        graphs = mode_graphs(design, problem)
        needs = needs_of(design, problem, graphs)
        days = held_days(design, problem, graphs, needs, 0)
        assert days
        return max(dict(day.fed)["pump:in"] for day in days) / DAY

    @pytest.mark.parametrize(
        ("on", "off", "share"),
        [
            # IEC 60034-1, duty type S3, cyclic duration factor N/(N+R): 25 % with 10 min of
            # running and 30 min of rest (seen in a secondary text).
            (600_000, 1_800_000, Fraction(25, 100)),
            # 10 s of every 60 s is 16.7 % by the same formula.
            (10_000, 50_000, Fraction(1, 6)),
        ],
    )
    def test_duty(self, on: int, off: int, share: Fraction) -> None:
        assert self.day(on, off) == share

    @pytest.mark.parametrize("hours", [9.2, 14.8])
    def test_night(self, hours: float) -> None:
        """FAO-56, eq. 34: at 40 degrees north the 15th of December has 9.2 h of day (computed from
        the formula), so 14.8 h of night, and the other way round in June."""
        design = wired(
            [part("T", PartType.TWILIGHT, passes="night"), load("heater")],
            {"T.in": "supply", "heater.in": "T.out"},
        )
        problem = asked({"heater": Level("night")})
        graphs = mode_graphs(design, problem)
        needs = needs_of(design, problem, graphs)
        night = int(hours * 3_600_000)
        (day,) = held_days(design, problem, graphs, needs, night)
        assert dict(day.fed)["heater:in"] == night
        assert day.stretches == ((0, night, 1), (night, DAY, 0))

    def test_loop_of_two_pulse_timers(self) -> None:
        """The pump of the loop that re-arms itself is on 4 h a day at 10 s of 60 s; its controls
        count too: one coil always live, one start always, one never but for an instant."""
        design = pump_cycle(10_000, 60_000)
        problem = asked({"pump": Cycle(all_of(), 10_000, 50_000)}, kit=FULL)
        problem = pipeline.read_problem(None, "pump on 10 s of every 60 s", "starter")
        graphs = mode_graphs(design, problem)
        needs = needs_of(design, problem, graphs)
        days = held_days(design, problem, graphs, needs, 50_400_000)
        on = {name: Fraction(ticks, DAY) for name, ticks in days[0].fed}
        assert on["pump:in"] == Fraction(1, 6)
        assert sum(
            (end - begin) * units for begin, end, units in days[0].stretches
        ) == sum(on.values()) * DAY

    def test_what_is_latched_stays_so(self) -> None:
        """A mixer that somebody started yesterday runs all day: the worst held day is not the one
        after a fresh start."""
        problem, design = kept("workbench")
        graphs = graphs_of("workbench")
        needs = needs_of(design, problem, graphs)
        days = held_days(design, problem, graphs, needs, 50_400_000)
        on = [dict(day.fed).get("soil mixer:in", 0) for day in days]
        assert max(on) == DAY and min(on) == 0
