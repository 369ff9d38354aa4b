"""Test times for the bench: the order of events, the least times, the sheet and its files.

What the times must be is worked out by hand beside each case, from whole numbers alone; the
search for the least numbers is compared with trying all, circles of bounds with networkx, the
order of events with a simulation of two pulse timers written here. The scenario is invented.
"""

from __future__ import annotations

import csv
import io
import itertools
import json
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from random import Random

import networkx
import pytest
from check_designs import FULL, part, wired
from click.testing import CliRunner

from synth import pipeline
from synth.bench.least import Numbers, cut
from synth.bench.orders import bad_circle, said, tight_circles
from synth.bench.scale import Wishes
from synth.bench.times import retimed_fact, retimed_goal
from synth.check import check
from synth.check.order import Bound, Events
from synth.cli import main
from synth.design import Design, design_document
from synth.errors import GoalError
from synth.parts.behaviour import PartType
from synth.pose import pose
from synth.problem import Problem
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.read.phrases import parse_facts, parse_phrases
from synth.read.retiming import retimed_phrase
from synth.settings_sheet import Claim, SettingsSheet

ROOT = Path(__file__).resolve().parents[1]
S, MIN, H = 1_000, 60_000, 3_600_000
GOAL_FILES = sorted(p.stem for p in (ROOT / "goals").glob("*.yaml"))


def posed(text: str, known: str = "") -> Problem:
    """Return the problem of a goal file with these phrases."""
    return pose(parse_goal_file(page(text, known), "test.yaml"), FULL)


def page(text: str, known: str = "") -> str:
    """Return a goal file with these phrases, separated by semicolons."""
    lines = ["kit: full", "goals:", *(f"  - {p.strip()}" for p in text.split(";"))]
    if known:
        lines += ["known:", *(f"  - {p.strip()}" for p in known.split(";"))]
    return "\n".join(lines) + "\n"



def two_cycles() -> Design:
    """A pump 10 s of every 60 s, beside a lamp 8 h of every day."""
    return wired(
        [
            part("short", PartType.RECYCLER, on=10 * S, off=50 * S, first="pulse"),
            part("long", PartType.RECYCLER, on=8 * H, off=16 * H, first="pulse"),
            part("pump", PartType.LOAD, needs=1),
            part("lamp", PartType.LOAD, needs=1),
        ],
        {"short.in": "supply.out", "long.in": "supply.out", "pump.in": "short.out",
         "lamp.in": "long.out"},
    )  # fmt: skip


TWO_CYCLES = "pump 10 s on, 50 s off; lamp 8 h on, 16 h off"


def beds(run: int, on: int, off: int) -> Design:
    """A valve for `run` from dusk; while it is open a pump `on` and `off` in turn."""
    return wired(
        [
            part("dusk", PartType.TWILIGHT, passes="night"),
            part("run", PartType.PULSE, time=run),
            part("cycle", PartType.RECYCLER, on=on, off=off, first="pulse"),
            part("valve", PartType.LOAD, needs=1),
            part("pump", PartType.LOAD, needs=1),
        ],
        {"dusk.in": "supply.out", "run.in": "supply.out", "run.start": "dusk.out",
         "valve.in": "run.out", "cycle.in": "run.out", "pump.in": "cycle.out"},
    )  # fmt: skip


def beds_goals(run: str, on: str, off: str) -> str:
    return f"valve from dusk for {run}; pump {on} on, {off} off, only while valve is on"


def two_pulses(first: int, second: int) -> Design:
    """Two pulse timers on one button, and a bell while the second runs alone; a relay keeps the
    bell's path open until the other relay has moved."""
    return wired(
        [
            part("button", PartType.PUSH_BUTTON, input="start", contact="make"),
            part("a", PartType.PULSE, time=first),
            part("b", PartType.PULSE, time=second),
            part("apart", PartType.RELAY_BREAK),
            part("runs", PartType.RELAY_MAKE),
            part("rings", PartType.RELAY_MAKE),
            part("fan", PartType.LOAD, needs=1),
            part("lamp", PartType.LOAD, needs=1),
            part("bell", PartType.LOAD, needs=1),
        ],
        {"button.in": "supply.out", "a.in": "supply.out", "b.in": "supply.out",
         "a.start": "button.out", "b.start": "button.out", "fan.in": "a.out",
         "lamp.in": "b.out", "apart.coil": "a.out", "apart.in": "b.out",
         "runs.in": "b.out", "runs.coil": "b.out", "rings.coil": "runs.out",
         "rings.in": "apart.out", "bell.in": "rings.out"},
    )  # fmt: skip


TWO_PULSES = (
    "fan for 10 s after start is pressed; lamp for 15 s after start is pressed;"
    " bell while lamp is on and not fan is on"
)


def bench(
    design: Design, text: str, tmp_path: Path, known: str = "", **wishes: object
) -> SettingsSheet:
    """Return the sheet for a design that holds; its files are read back from disk and checked."""
    file = tmp_path / "goals.yaml"
    file.write_text(page(text, known), encoding="utf-8")
    problem = pipeline.read_problem(str(file), None, None)
    assert check(design, problem).holds
    found, files = pipeline.bench(design, problem, str(file), None, Wishes(**wishes))  # type: ignore[arg-type]
    pipeline.write_folder(str(tmp_path), files)
    again, timed = pipeline.read_design(
        str(tmp_path / "bench-design.json"), str(tmp_path / "bench-goals.yaml"), None, None
    )
    assert check(timed, again).holds
    assert timed == found.design
    return found.sheet


def bench_times_of(sheet: SettingsSheet) -> dict[int, int]:
    """Return the test time of each real time, both in seconds."""
    return {t.real // S: t.test // S for t in sheet.times}


class TestTheLeastTimes:
    def test_a_short_cycle_beside_a_day(self, tmp_path: Path) -> None:
        """In proportion the day would take 86400 / 10 seconds or more; apart from each other the
        two circuits only need different numbers: 10 s, 50 s, 8 h, 16 h become 1, 2, 3, 4 s."""
        sheet = bench(two_cycles(), TWO_CYCLES, tmp_path)
        assert bench_times_of(sheet) == {10: 1, 50: 2, 8 * 3600: 3, 16 * 3600: 4}
        assert sheet.claim is Claim.SMALLEST
        assert [(p.real, p.test) for p in sheet.passes] == [(120 * S, 6 * S), (48 * H, 14 * S)]

    def test_a_night_in_which_a_cycle_comes_out_even(self, tmp_path: Path) -> None:
        """2 h are just 120 periods of 60 s, so the run ends as a cycle does, and must go on to:
        the period is at least 1 + 2, the run 120 times that, the night one more."""
        sheet = bench(
            beds(2 * H, 10 * S, 50 * S), beds_goals("2 h", "10 s", "50 s"), tmp_path,
            "night lasts at least 4 h",
        )  # fmt: skip
        assert bench_times_of(sheet) == {10: 1, 50: 2, 7200: 360, 14400: 361}
        assert sheet.claim is Claim.SMALLEST
        # The sheet also says whose times these are: the lamp's run, and the cycle's two.
        whose = "(10 s: cycle and goal 2; 50 s: cycle and goal 2; 2 h: run and goal 1)"
        assert f"2 h = 120 × 10 s + 120 × 50 s {whose}" in sheet.forced_by

    def test_runs_that_follow_each_other_without_a_break(self, tmp_path: Path) -> None:
        """30 min are 30/7 periods of 7 min. Where a press comes at the very instant at which the
        run ends, runs follow each other without a break, and after seven of them a period ends
        with them: 7 V = 30 P. So P is 7 m. Between, the phases are multiples of P / 7 = m, all of
        them; none may fall on the end of the pulse (1) or before it, as none does in real time
        (10 s before the first phase, 60 s): m is 2 at least. So 1, 14 - 1 and 60."""
        design = wired(
            [
                part("button", PartType.PUSH_BUTTON, input="start", contact="make"),
                part("run", PartType.PULSE, time=30 * MIN),
                part("cycle", PartType.RECYCLER, on=10 * S, off=410 * S, first="pulse"),
                part("valve", PartType.LOAD, needs=1),
                part("pump", PartType.LOAD, needs=1),
            ],
            {"button.in": "supply.out", "run.in": "supply.out", "run.start": "button.out",
             "valve.in": "run.out", "cycle.in": "run.out", "pump.in": "cycle.out"},
        )  # fmt: skip
        text = (
            "valve for 30 min after start is pressed;"
            " pump 10 s on, 410 s off, only while valve is on"
        )
        sheet = bench(design, text, tmp_path)
        assert bench_times_of(sheet) == {10: 1, 410: 13, 1800: 60}
        assert sheet.claim is Claim.SMALLEST
        # Without such coincidences: four periods and a pulse, then the run ends in the pause.
        loose = bench(design, text, tmp_path, apart=True)
        assert bench_times_of(loose) == {10: 1, 410: 2, 1800: 14}
        assert loose.apart and loose.claim is Claim.SMALLEST
        problem = posed(text)
        order = Events(design, problem, apart=True)
        for numbers in itertools.combinations(range(1, 14), 3):
            times = {10 * S: numbers[0] * S, 410 * S: numbers[1] * S, 1800 * S: numbers[2] * S}
            assert order.differences_with(times), numbers

    def test_steps_and_ranges_of_the_timers(self, tmp_path: Path) -> None:
        """With 0.5 s × 3 no time is below 1.5 s; the kit's timers go in steps of 1 s: 2, 4, 6."""
        design = two_pulses(10 * S, 15 * S)
        sheet = bench(design, TWO_PULSES, tmp_path, reaction=500, factor=Fraction(3))
        assert sheet.unit == 2 * S
        assert all(t.test % sheet.unit == 0 for t in sheet.times)

    def test_a_time_below_the_floor_becomes_longer_and_is_told(self, tmp_path: Path) -> None:
        sheet = bench(
            two_pulses(10 * S, 15 * S), TWO_PULSES, tmp_path, reaction=3 * S, factor=Fraction(5)
        )
        # The second pulse is longer than the first, but not twice as long: 2 and 3 times 15 s.
        assert [t.test for t in sheet.times] == [30 * S, 45 * S]
        assert any("longer than the real one" in note for note in sheet.notes)

    def test_real_times_that_are_short_already_stay(self, tmp_path: Path) -> None:
        design = beds(2 * S, 1 * S, 1 * S)
        sheet = bench(design, beds_goals("2 s", "1 s", "1 s"), tmp_path)
        assert sheet.claim is Claim.REAL
        assert all(t.test == t.real for t in sheet.times)

    def test_out_of_time_all_is_divided_by_one_number(self, tmp_path: Path) -> None:
        sheet = bench(
            beds(2 * H, 10 * S, 50 * S), beds_goals("2 h", "10 s", "50 s"), tmp_path,
            "night lasts at least 4 h", seconds=0.0,
        )  # fmt: skip
        assert sheet.claim is Claim.PROPORTIONAL
        assert bench_times_of(sheet) == {10: 1, 50: 5, 7200: 720, 14400: 1440}


class TestEveryKeptDesign:
    @pytest.mark.parametrize("name", GOAL_FILES)
    def test_scaled_design_holds(self, name: str, tmp_path: Path) -> None:
        """The files that come out pass the exact check as any design would; the real design and
        the test design, each built anew, go through the same events."""
        goals = str(ROOT / "goals" / f"{name}.yaml")
        problem, design = pipeline.read_design(
            str(ROOT / "tests" / "designs" / f"{name}.json"), goals, None, None
        )
        found, files = pipeline.bench(design, problem, goals, None, Wishes())
        pipeline.write_folder(str(tmp_path), files)
        again, timed = pipeline.read_design(
            str(tmp_path / "bench-design.json"), str(tmp_path / "bench-goals.yaml"), None, None
        )
        assert check(timed, again).holds
        sheet = found.sheet
        if not sheet.times:
            assert sheet.claim is Claim.NO_TIMES and timed == design
            return
        assert sheet.claim is Claim.SMALLEST
        assert sheet.longest <= 20 * S
        real, test = ([getattr(t, w) for t in sheet.times] for w in ("real", "test"))
        assert all(a < b for a, b in itertools.pairwise(real))
        assert all(a < b for a, b in itertools.pairwise(test))
        assert min(test) >= 5 * 200
        to = dict(zip(real, test, strict=True))
        assert Events(design, problem).differences_with(to) == ()
        if len(test) > 1:
            shorter = {**to, real[-1]: to[real[-2]]}
            # Two times that become equal are never offered, whether or not an event shows it.
            assert len(set(shorter.values())) < len(set(to.values()))


class TestNothingSmaller:
    """All vectors of times that are no larger than what is called smallest are tried: each either
    makes a long time no longer than a short one, or has other events than the real times."""

    def tried(self, design: Design, problem: Problem, sheet: SettingsSheet) -> int:
        assert sheet.claim is Claim.SMALLEST
        real = [t.real for t in sheet.times]
        best = [t.test // sheet.unit for t in sheet.times]
        order = Events(design, problem)
        count = 0
        for numbers in itertools.combinations(range(1, best[-1] + 1), len(real)):
            if (numbers[-1], sum(numbers)) < (best[-1], sum(best)):
                to = {t: n * sheet.unit for t, n in zip(real, numbers, strict=True)}
                assert order.differences_with(to), numbers
                count += 1
        to = {t.real: t.test for t in sheet.times}
        assert not order.differences_with(to)
        return count

    @pytest.mark.parametrize("name", GOAL_FILES)
    def test_kept_designs(self, name: str) -> None:
        goals = str(ROOT / "goals" / f"{name}.yaml")
        problem, design = pipeline.read_design(
            str(ROOT / "tests" / "designs" / f"{name}.json"), goals, None, None
        )
        found, _ = pipeline.bench(design, problem, goals, None, Wishes())
        if found.sheet.times:
            self.tried(design, problem, found.sheet)

    def test_a_cycle_that_comes_out_even(self, tmp_path: Path) -> None:
        """2 min are two periods of 60 s, and 50 s more than one pulse: others are tried here."""
        text = beds_goals("2 min", "10 s", "50 s")
        sheet = bench(beds(2 * MIN, 10 * S, 50 * S), text, tmp_path)
        assert self.tried(beds(2 * MIN, 10 * S, 50 * S), posed(text), sheet) >= 3


class TestOrderOfEvents:
    def test_two_times_that_become_equal(self) -> None:
        """The bell rings between 10 s and 15 s; with equal times it never would."""
        order = Events(two_pulses(10 * S, 15 * S), posed(TWO_PULSES))
        assert order.differences_with({10 * S: S, 15 * S: S})
        assert order.differences_with({10 * S: 2 * S, 15 * S: S})

    def test_a_sum_that_must_come_out_even(self) -> None:
        problem = posed(beds_goals("2 min", "10 s", "50 s"))
        order = Events(beds(120 * S, 10 * S, 50 * S), problem)
        assert order.differences_with({120 * S: 6 * S, 10 * S: S, 50 * S: 2 * S}) == ()
        for run in (5, 7):
            assert order.differences_with({120 * S: run * S, 10 * S: S, 50 * S: 2 * S})

    def test_known_times_of_inputs_count_where_a_goal_needs_them(self) -> None:
        """A lamp whose timer loses its power at dawn needs nights longer than its run; on the
        bench nights must be that too."""
        design = wired(
            [
                part("dusk", PartType.TWILIGHT, passes="night"),
                part("run", PartType.PULSE, time=2 * H),
                part("hold", PartType.PULSE, time=3 * H),
                part("lamp", PartType.LOAD, needs=1),
            ],
            {"dusk.in": "supply.out", "run.in": "supply.out", "run.start": "hold.out",
             "hold.in": "supply.out", "hold.start": "dusk.out", "lamp.in": "run.out"},
        )  # fmt: skip
        goals, known = "lamp from dusk for 2 h", "day lasts at least 4 h"
        problem = posed(goals, known)
        assert check(design, problem).holds
        assert not check(design, posed(goals)).holds
        order = Events(design, problem)
        assert order.differences_with({2 * H: S, 3 * H: 2 * S, 4 * H: 3 * S}) == ()
        # With shorter days a press of dusk meets a run that goes on: the goal fails there, as in no
        # run of the real times.
        differences = order.differences_with({2 * H: S, 3 * H: 3 * S, 4 * H: 2 * S})
        assert any(not each.in_first for each in differences)

    @pytest.mark.parametrize("by", [2, 7, Fraction(1, 5)])
    @pytest.mark.parametrize("name", GOAL_FILES)
    def test_another_unit_of_time_changes_nothing(self, name: str, by: Fraction) -> None:
        problem, design = pipeline.read_design(
            str(ROOT / "tests" / "designs" / f"{name}.json"),
            str(ROOT / "goals" / f"{name}.yaml"), None, None,
        )  # fmt: skip
        order = Events(design, problem)
        times = {bound: int(bound * by) for bound in (problem.times + _known(problem))}
        assert order.differences_with(times) == ()

    @pytest.mark.parametrize(
        ("to", "same"),
        [((4, 6), True), ((2, 4), None), ((1, 2), None), ((3, 4), None), ((3, 5), None),
         ((2, 2), False), ((3, 2), False), ((1, 3), False), ((1, 4), False)],
    )  # fmt: skip
    def test_against_a_simulation(self, to: tuple[int, int], same: bool | None) -> None:
        """All runs of two pulse timers with at most three changes of their button, on a grid of
        quarters, fine enough for three changes and the times themselves: where these differ, so
        must the walk. The first pulse is shorter than the second by a third; were it no longer
        than half of it, it would fit in twice."""
        problem = posed(
            "fan for 2 s after start is pressed; lamp for 3 s after start is pressed;"
            " bell while lamp is on and not fan is on",
            "supply never fails",
        )
        order = Events(two_pulses(2 * S, 3 * S), problem)
        walked = order.differences_with({2 * S: to[0] * S, 3 * S: to[1] * S}) == ()
        simulated = set(words(2, 3)) == set(words(*to))
        if same is not None:
            assert simulated is same
        assert simulated or not walked
        if same:
            assert walked


def _known(problem: Problem) -> tuple[int, ...]:
    named = ("least_on", "most_on", "least_off", "most_off")
    found = {getattr(item, name) for item in problem.inputs for name in named}
    return tuple(sorted(time for time in found if time))


def words(first: int, second: int) -> Iterator[tuple[frozenset[str], ...]]:
    """Yield what happens, in order, in every run of two TP timers (IEC 61131-3) on one button
    that is moved up to three times; times are in quarters."""
    longest = 4 * second + 2
    for starts_on in (False, True):
        for gaps in itertools.product(range(1, longest), repeat=3):
            level, now, moves = starts_on, 0, []
            for gap in gaps:
                now += gap
                level = not level
                moves.append((now, level))
            word: list[frozenset[str]] = []
            ends: dict[str, int] = {}
            if starts_on:
                ends = {"a": 4 * first, "b": 4 * second}
            word.append(frozenset({"on" if starts_on else "off"}))
            while moves or ends:
                now = min([*ends.values(), *(at for at, _ in moves[:1])])
                happens = {name for name, end in ends.items() if end == now}
                ends = {name: end for name, end in ends.items() if end != now}
                if moves and moves[0][0] == now:
                    pressed = moves.pop(0)[1]
                    happens.add("press" if pressed else "release")
                    if pressed:
                        for name, time in (("a", first), ("b", second)):
                            ends.setdefault(name, now + 4 * time)
                word.append(frozenset(happens))
            yield tuple(word)


class TestLeastNumbers:
    def test_against_trying_all(self) -> None:
        random = Random(7)
        found = 0
        for _ in range(800):
            count = random.randint(1, 4)
            high = random.randint(count, 6)
            cuts = [
                cut({i: random.randint(-3, 3) for i in range(count)}, random.randint(0, 1))
                for _ in range(random.randint(0, 4))
            ]
            barred = {(random.randrange(count), random.randint(1, 6)) for _ in range(2)}
            refused = {tuple(random.randint(1, 6) for _ in range(count)) for _ in range(15)}

            def following(i: int, value: int, barred: set[tuple[int, int]] = barred) -> int:
                while (i, value) in barred:
                    value += 1
                return value

            got = Numbers((1,) * count, (high,) * count, following).least(
                cuts, lambda numbers, refused=refused: numbers not in refused
            )
            fitting = [
                numbers
                for numbers in itertools.product(range(1, high + 1), repeat=count)
                if all(c.holds(numbers) for c in cuts)
                and numbers not in refused
                and not any(pair in barred for pair in enumerate(numbers))
            ]
            assert (got is None) == (not fitting)
            if got is not None:
                found += 1
                assert got in fitting
                assert (got[-1], sum(got)) == min((n[-1], sum(n)) for n in fitting)
        assert found > 200


@dataclass(frozen=True)
class Span:
    first: int
    later: int
    time: int
    exact: bool


class TestCircles:
    def test_against_networkx(self) -> None:
        """A run can be placed in time just if its graph of bounds has no negative circle; strict
        bounds are written as a little less than the bound."""
        random = Random(3)
        seen = {True: 0, False: 0}
        for _ in range(400):
            events = random.randint(2, 6)
            bounds: list[Span] = []
            for later in range(1, events):
                for first in range(later):
                    if random.random() < 0.4:
                        bounds.append(
                            Span(first, later, random.randint(1, 6), random.random() < 0.5)
                        )
            if not any(b.later == events - 1 for b in bounds):
                bounds.append(Span(0, events - 1, 9, False))
            graph = networkx.MultiDiGraph()
            little = Fraction(1, 100)
            for at in range(1, events):
                graph.add_edge(at, at - 1, weight=-little)
            for b in bounds:
                graph.add_edge(b.first, b.later, weight=b.time - (0 if b.exact else little))
                if b.exact:
                    graph.add_edge(b.later, b.first, weight=-b.time)
            circle = bad_circle(bounds, lambda time: time)
            negative = networkx.negative_edge_cycle(graph)
            assert (circle is not None) == negative
            seen[negative] += 1
            if circle is not None:
                total = sum(time * amount for time, amount in circle[0].items())
                assert total < 0 or (total == 0 and circle[1])
            else:
                for amounts, strict in tight_circles(bounds, lambda time: time):
                    total = sum(time * amount for time, amount in amounts.items())
                    assert total > 0 or (total == 0 and not strict)
        assert min(seen.values()) > 50

    def test_in_words(self) -> None:
        cuts = [cut({0: 1, 1: 1, 2: -1}, 0), cut({0: -1, 1: -1, 2: 1}, 0), cut({0: -2, 1: 1}, 1)]
        assert said(cuts, (10 * S, 50 * S, 60 * S)) == ("60 s = 10 s + 50 s", "2 × 10 s < 50 s")


class TestPhrases:
    TIMES = {5 * S: S, 10 * S: 2 * S, 50 * S: 3 * S, 2 * MIN: 4 * S, 2 * H: 5 * S, 4 * H: 7 * S,
             20 * H: 9 * S, 30 * MIN: 8 * S}  # fmt: skip

    @pytest.mark.parametrize(
        ("phrase", "expected"),
        [
            ("pump on 10 s of every 60 s", "pump on 2 s of every 5 s"),
            ("Pump for 10 s every minute", "Pump for 2 s every 5 s"),
            ("pump 50 s off, 10 s on", "pump 3 s off, 2 s on"),
            ("every minute pump for 10 s", None),
            ("lamp from dusk for 2 h, only while cold", "lamp from dusk for 5 s, only while cold"),
            ("lamp for half an hour after start is pressed", "lamp for 8 s after start is pressed"),
            ("fan 5 s after hot", "fan 1 s after hot"),
            ("fan while hot and for two minutes after", "fan while hot and for 4 s after"),
            (
                "fan while hot, once started at least 2 min",
                "fan while hot, once started at least 4 s",
            ),
            ("leave 5 s between up and down", "leave 1 s between up and down"),
            (
                "'10 s lamp' for 10 s after start is pressed",
                "'10 s lamp' for 2 s after start is pressed",
            ),
            ("light always", "light always"),
        ],
    )  # fmt: skip
    def test_goals(self, phrase: str, expected: str | None) -> None:
        try:
            (goal,) = parse_phrases(phrase)
        except GoalError:
            assert expected is None
            return
        wanted = retimed_goal(goal, self.TIMES.__getitem__)
        text = retimed_phrase(goal, wanted, self.TIMES)
        assert expected is None or text == expected
        (again,) = parse_phrases(text)
        assert again == wanted

    @pytest.mark.parametrize(
        ("phrase", "expected"),
        [
            ("night lasts at least 4 h", "night lasts at least 7 s"),
            ("day lasts between 4 h and 20 h", "day lasts between 7 s and 9 s"),
            ("a press of start lasts at most 5 s", "a press of start lasts at most 1 s"),
            ("supply never fails", "supply never fails"),
        ],
    )
    def test_facts(self, phrase: str, expected: str) -> None:
        (fact,) = parse_facts(phrase)
        wanted = retimed_fact(fact, self.TIMES.__getitem__)
        assert retimed_phrase(fact, wanted, self.TIMES) == expected

    def test_what_cannot_be_said(self) -> None:
        (goal,) = parse_phrases("fan 5 s after hot")
        (other,) = parse_phrases("fan 5 s after cold")
        with pytest.raises(GoalError, match="cannot be said"):
            retimed_phrase(goal, other, self.TIMES)


class TestCommand:
    DESIGN = str(ROOT / "tests" / "designs" / "potting-shed.json")
    GOALS = str(ROOT / "goals" / "potting-shed.yaml")

    def run(self, *arguments: str, code: int = 0) -> str:
        result = CliRunner().invoke(main, ["bench", *arguments])
        assert result.exit_code == code, result.output
        return result.output

    def test_sheet_and_files(self, tmp_path: Path) -> None:
        out = self.run(self.DESIGN, self.GOALS, "--out", str(tmp_path / "a"))
        assert "real times set back [ ]" in out
        assert "Proven smallest" in out
        assert "lamps in place of the loads" in out
        self.run(self.DESIGN, self.GOALS, "--out", str(tmp_path / "b"))
        names = ["bench-design.json", "bench-goals.yaml", "settings.csv", "settings.md"]
        for name in names:
            a, b = ((tmp_path / f / name).read_bytes() for f in "ab")
            assert a == b
        assert sorted(p.name for p in (tmp_path / "a").iterdir()) == names
        sheet = (tmp_path / "a" / "settings.md").read_text("utf-8")
        assert "real times set back [ ]   date: " in sheet and "initials: " in sheet
        assert "| t3 | pulse timer 2 | time | 60 s | 3 s |" in sheet

    def test_csv(self, tmp_path: Path) -> None:
        """RFC 4180, 2: each record ends with CRLF, and all have the same number of fields."""
        self.run(self.DESIGN, self.GOALS, "--out", str(tmp_path))
        raw = (tmp_path / "settings.csv").read_bytes().decode("utf-8")
        assert raw.endswith("\r\n") and raw.count("\n") == raw.count("\r\n")
        rows = list(csv.reader(io.StringIO(raw, newline=""), strict=True))
        assert len({len(row) for row in rows}) == 1
        assert ["t1", "pulse timer 1", "time", "10 s", "10", "1 s", "1", "", "", ""] in rows

    def test_json(self) -> None:
        document = json.loads(self.run(self.DESIGN, self.GOALS, "--format", "json"))
        assert document["claim"] == "smallest"
        assert [(t["real"], t["test"]) for t in document["times"]] == [
            ("10 s", "1 s"), ("50 s", "2 s"), ("60 s", "3 s"),
        ]  # fmt: skip

    def test_longer_than_wanted(self) -> None:
        """By hand: with 3 s longer times stay longer (10 s, 50 s, 60 s). The order hangs on 10 s +
        50 s = 60 s alone, which 1, 1 and 2 s keep; with 1 s for all the pump would not stop before
        the next start."""
        assert "longer times stay longer" not in self.run(
            self.DESIGN, self.GOALS, "--longest", "3 s"
        )
        out = self.run(self.DESIGN, self.GOALS, "--longest", "2 s")
        assert "the wish was given up that longer times stay longer" in out
        assert "cannot be kept" not in out and "longest test time is 3 s at least" in out
        document = json.loads(
            self.run(self.DESIGN, self.GOALS, "--longest", "2 s", "--format", "json")
        )
        assert [t["test"] for t in document["times"]] == ["1 s", "1 s", "2 s"]
        assert document["longer times longer"] is False and not document["too long"]
        out = self.run(self.DESIGN, self.GOALS, "--longest", "1 s", code=1)
        assert "The order of events cannot be kept with test times up to 1 s" in out
        forced = out.split("What forces the longest test time")[1].split("How long")[0]
        assert "10 s < 60 s" in forced and "50 s < 60 s" not in forced and "wish" not in forced

    def test_a_design_that_does_not_hold(self) -> None:
        asked = "pump on 10 s of every 50 s, light always, heater at night, master cutoff for pump"
        out = self.run(self.DESIGN, asked, code=1)
        assert "does not hold" in out

    @pytest.mark.parametrize(
        "bad", [("--factor", "nan"), ("--factor", "0"), ("--reaction", "5"), ("--longest", "0 s")]
    )
    def test_bad_input(self, bad: tuple[str, str]) -> None:
        self.run(self.DESIGN, self.GOALS, *bad, code=2)

    def test_phrases_and_a_kit_of_ones_own(self, tmp_path: Path) -> None:
        """The kit comes along, so that the folder can be checked by itself."""
        kit = tmp_path / "mine.yaml"
        text = (ROOT / "synth/parts/kits/full.yaml").read_text("utf-8")
        text = text.replace("kit: full", "kit: mine").replace("step: 1 s", "step: 250 ms")
        kit.write_text(text.replace("least: 1 s", "least: 250 ms"), encoding="utf-8")
        design = tmp_path / "design.json"
        document = {**design_document(two_cycles()), "kit": "mine"}
        design.write_text(json.dumps(document), encoding="utf-8")
        self.run(
            str(design), TWO_CYCLES, "--kit", str(kit), "--reaction", "100 ms",
            "--out", str(tmp_path / "out"),
        )  # fmt: skip
        goals = str(tmp_path / "out" / "bench-goals.yaml")
        assert "kit: kit.yaml" in Path(goals).read_text("utf-8")
        problem, timed = pipeline.read_design(
            str(tmp_path / "out" / "bench-design.json"), goals, None, None
        )
        assert check(timed, problem).holds
        assert timed.part("short").setting("on") == 500

    def test_goal_text_in_quotes(self, tmp_path: Path) -> None:
        """Names that only quotes hold together come through the goal file that is written."""
        text = "'night lamp' for 10 s after start is pressed"
        design = wired(
            [
                part("button", PartType.PUSH_BUTTON, input="start", contact="make"),
                part("a", PartType.PULSE, time=10 * S),
                part("night lamp", PartType.LOAD, needs=1),
            ],
            {"button.in": "supply.out", "a.in": "supply.out", "a.start": "button.out",
             "night lamp.in": "a.out"},
        )  # fmt: skip
        file = tmp_path / "design.json"
        file.write_text(json.dumps(design_document(design)), encoding="utf-8")
        assert goals_from_text(text).goals
        self.run(str(file), text, "--out", str(tmp_path / "out"))
        assert "for 1 s after start" in (tmp_path / "out" / "bench-goals.yaml").read_text("utf-8")


def test_bounds_are_what_the_search_expects() -> None:
    """What the walk hands out is what circles are made of."""
    order = Events(two_pulses(10 * S, 15 * S), posed(TWO_PULSES))
    (first, *_) = order.differences_with({10 * S: S, 15 * S: S})
    assert all(isinstance(bound, Bound) for bound in first.bounds)
    fitting = bad_circle(first.bounds, lambda time: time)
    other = bad_circle(first.bounds, lambda time: S)
    assert (fitting is None) == first.in_first
    assert (other is None) != first.in_first
