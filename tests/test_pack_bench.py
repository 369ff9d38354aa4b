"""What the pack says of times: test values with their test, runs that end by themselves, checks of
what is built so far; and its pages on paper.

What is told is held against runs of `synth.check.simulate` of designs that are put together here
from the tables of the pack alone. The scenario is invented.
"""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pytest
from check_designs import FULL, part, wired
from test_modes import KEPT, kept
from test_pack import NIGHT, ROOT, WITH_TEST_TIMES, files, job, run, table

from synth import pipeline
from synth.check import check, simulate
from synth.design import Design
from synth.handover.building import blocks_of
from synth.modes import TourStep
from synth.parts.behaviour import TIMED, PartType
from synth.pose import pose
from synth.problem import Problem
from synth.read.goal_file import parse_goal_file
from synth.ticks import parse_duration
from synth.trace import Moment, Trace

TRIES = 4
HOUR = 3_600_000


def timed_by_the_sheet(name: str) -> Design:
    """Return the design with every timer set to the test value of the settings sheet."""
    _, design = kept(name)
    told = {
        (row["part"], row["setting"]): row["test value"] for row in table(name, "07-settings.csv")
    }
    return replace(
        design,
        parts=tuple(
            replace(
                part,
                settings=tuple(
                    (
                        key,
                        parse_duration(told[part.name, key])
                        if key in ("time", "on", "off")
                        else value,
                    )
                    for key, value in part.settings
                ),
            )
            if part.type in TIMED
            else part
            for part in design.parts
        ),
    )


def moments_of(rows: Sequence[dict[str, str]], problem: Problem) -> list[tuple[Fraction, Moment]]:
    """Return when each step of a test sheet is, with what it moves, from its words alone."""
    time = Fraction(0)
    found = []
    for row in rows:
        moves = []
        # In brackets stand the devices at which it is done.
        words = re.sub(r" \([A-Z]\d+(?:, [A-Z]\d+)*(?: and [A-Z]\d+)?\)", "", row["do"])
        words = words.replace("twilight switches", "twilight switch")
        wait = re.match(r"(?:after|wait) (.*?)(?::|, until)", words)
        if wait:
            time += sum(
                (Fraction(piece.removesuffix(" ms")) if "/" in piece else parse_duration(piece))
                for piece in wait[1].split(" + ")
            )
        for item in problem.inputs:
            for level, said in (
                (True, f"switch '{item.name}' on"),
                (False, f"switch '{item.name}' off"),
                (True, f"press '{item.name}' and hold it"),
                (False, f"release '{item.name}'"),
                (True, f"bring about '{item.name}'"),
                (False, f"end '{item.name}'"),
                (True, f"open '{item.name}'"),
                (False, f"close '{item.name}'"),
            ):
                if said in words:
                    moves.append((item.name, level))
        for name, level, said in (
            ("supply", True, "switch the supply on"),
            ("supply", False, "switch the supply off"),
            ("night", True, "make it dark at the twilight switch"),
            ("night", False, "let light onto the twilight switch"),
        ):
            if said in words:
                moves.append((name, level))
        found.append((time, Moment(time, tuple(moves))))
    return found


def loads_at(trace: Trace, time: Fraction) -> dict[str, bool]:
    return {t.name: t.level(time) for t in trace.tracks if t.role == "load"}


def expected(words: str, loads: Sequence[str]) -> dict[str, bool]:
    """Return what a step has on and off: ``pump goes ON; light and fan stay off``."""
    found: dict[str, bool] = {}
    for piece in words.split("; "):
        match = re.fullmatch(r"(.*) (?:goes|go|stays|stay) (ON|off)", piece)
        assert match, words
        for name in re.split(r", | and ", match[1]):
            assert name in loads, (name, words)
            found[name] = match[2] == "ON"
    return found


class TestTestValues:
    @pytest.mark.parametrize("name", WITH_TEST_TIMES)
    @pytest.mark.parametrize("test", ["10-bench-test", "10-test-sheet"])
    def test_done_as_it_is_written(self, name: str, test: str) -> None:
        """Somebody sets the timers as the sheet says and does the steps as they are worded: every
        load does what is expected, before the step what 'goes' and 'stays' tell."""
        problem, real = kept(name)
        design = timed_by_the_sheet(name) if test == "10-bench-test" else real
        *rows, last = table(name, f"{test}.csv")
        assert last["do"].startswith("set every time back")
        steps = moments_of(rows, problem)
        steady = tuple((i.name, True) for i in problem.inputs if i.steady)
        moments = [Moment(Fraction(0), steady), *(m for _, m in steps if m.inputs)]
        trace = simulate(design, problem, moments, steps[-1][0] + 1)
        loads = [r.load for r in problem.requirements]
        assert not trace.marks
        seen = 0
        for (time, _), row in zip(steps, rows, strict=True):
            if row["expect"] == "no load here":
                continue
            after = loads_at(trace, time)
            before = loads_at(trace, time - Fraction(1, 1000)) if time else dict.fromkeys(loads)
            for load, level in expected(row["expect"], loads).items():
                assert after[load] == level, (row, load)
                turns = re.search(rf"\b{load}\b[^;]* (goes|go|stays|stay) ", row["expect"])
                assert turns
                assert (turns[1] in ("go", "goes")) == (bool(before[load]) != level), (row, load)
                seen += 1
        assert seen > len(rows) / 2

    @pytest.mark.parametrize("name", WITH_TEST_TIMES)
    def test_shorter_whole_and_proven(self, name: str) -> None:
        problem, design = kept(name)
        text = (ROOT / "goals" / f"{name}.yaml").read_text("utf-8")
        assert problem.goals == pose_of(text, problem).goals
        page = str(files(name)["10-test-sheet.md"])
        real, test = (
            sum(int(r["modes visited"]) for r in table(name, f))
            for f in ("10-coverage.csv", "10-bench-test-coverage.csv")
        )
        assert real == test and "A. On the bench" in page
        for row in table(name, "10-bench-test-coverage.csv"):
            whole = [r for r in table(name, "10-coverage.csv") if r["circuit"] == row["circuit"]]
            assert row["all"] == whole[0]["all"]
        times = sorted(
            (parse_duration(r["real value"]), parse_duration(r["test value"]))
            for r in table(name, "07-settings.csv")
            if r["symbol"].startswith("T")
        )
        assert times and [t for _, t in times] == sorted(t for _, t in times)
        assert min(t for _, t in times) >= 5 * 2_000

    def test_a_day_becomes_minutes(self) -> None:
        """The hen house: its lamp runs for 2 h, its nights last 4 h to 20 h."""
        page = str(files("hen-house")["10-test-sheet.md"])
        bench, real = (
            parse_duration(t.rstrip("."))
            for t in re.findall(r"\d+ steps, (.*?)\.(?: Where|$)", page, re.M)
        )
        assert real > 20 * 3_600_000 and bench < 10 * 60_000

    def test_without_shorter_ones_it_says_so(self) -> None:
        page = str(files("roof-vent")["07-settings.md"])
        assert "No test values are given" in page
        assert "10-bench-test.csv" not in files("roof-vent")

    def test_reaction(self, tmp_path: Path) -> None:
        design = ROOT / "tests" / "designs" / "hen-house.json"
        words = (
            "pack",
            str(design),
            str(ROOT / "goals" / "hen-house.yaml"),
            "--out",
            str(tmp_path),
            "--reaction",
        )
        assert run(*words, "500 ms").exit_code == 0
        rows = list(csv.DictReader(io.StringIO((tmp_path / "07-settings.csv").read_text("utf-8"))))
        (time,) = {parse_duration(r["test value"]) for r in rows if r["symbol"] == "T1"}
        assert time == 3_000  # 5 x 500 ms, and whole seconds at which this timer can be set
        for bad in ("0 s", "2 h", "soon"):
            ran = run(*words, bad)
            assert ran.exit_code == 2 and len(ran.stderr.strip().splitlines()) <= 4


@cache
def pose_of(text: str, problem: Problem) -> Problem:
    return pose(parse_goal_file(text, "goals.yaml"), problem.kit)


def large_ones_slow(names: Iterable[str]) -> list[Any]:
    """Return the names, those of large circuits marked slow."""
    large = ("glasshouse", "whole-yard")
    return [pytest.param(n, marks=pytest.mark.slow) if n in large else n for n in names]


class TestRuns:
    @pytest.mark.parametrize("name", large_ones_slow(KEPT))
    def test_no_run_is_longer_than_told(self, name: str) -> None:
        """Random inputs are moved and then left alone: a load whose run ends by itself ends it
        within the time that is told; for some load that time is met to the tick."""
        problem, design = kept(name)
        rng = Random(name)
        pack = job(name)
        told = {
            (load, on): pack.longest_run(load, on)
            for graph in pack.facts.graphs
            for load in graph.loads
            for on in (True, False)
        }
        exact: set[tuple[str, bool]] = set()
        names = [i.name for i in problem.inputs if i.steady is None and i.name != "supply"]
        known = any(i.least_on or i.most_on or i.least_off or i.most_off for i in problem.inputs)
        most_on = {i.name: i.most_on for i in problem.inputs}
        steady = [(i.name, True) for i in problem.inputs if i.steady]
        start = Moment(Fraction(0), (("supply", True), *[s for s in steady if s[0] != "supply"]))
        for _ in range(TRIES):
            moments, time = [start], 0
            levels = dict.fromkeys(names, False)
            waits = [
                (rng.choice(names), rng.choice((1, 700, 10_000, 31_000, 400_000)))
                for _ in range(0 if known or not names else 25)
            ]
            # At last each by itself, at a pace that every known time of these goals allows.
            for n in rng.sample(names, len(names)):
                waits += [(n, 5 * HOUR), (n, min(5 * HOUR, most_on[n] or 5 * HOUR))]
            for name_, wait in waits:
                time += wait
                levels[name_] = not levels[name_]
                moments.append(Moment(Fraction(time), ((name_, levels[name_]),)))
            end = time + 5 * HOUR
            trace = simulate(design, problem, moments, end)
            moved = sorted({m.time for m in moments})
            for track in trace.tracks:
                if track.role != "load":
                    continue
                ends = [t for t, _ in track.changes]
                for at, (changed, level) in enumerate(track.changes[:-1]):
                    until = ends[at + 1]
                    # Of a run whose end nobody moved an input at, what came after the last move.
                    if until in moved:
                        continue
                    since = max(changed, *(m for m in moved if m < until))
                    limit = told[track.name, level]
                    assert limit is not None, (track.name, level, since, until)
                    assert until - since <= limit, (track.name, level, since, until)
                    if until - since == limit:
                        exact.add((track.name, level))
        if any(p.type in TIMED for p in design.parts):
            assert exact

    def test_a_pause_is_not_the_whole_period(self) -> None:
        """10 s of every 60 s: the pump pauses for 50 s, though a timer of 60 s runs meanwhile."""
        assert "pump off while a time runs: for up to 50 s" in str(
            files("potting-shed")["01-card.md"]
        )


class TestBuilding:
    @pytest.mark.parametrize("name", KEPT)
    def test_each_block_passes_its_check_as_built_so_far(self, name: str) -> None:
        """Only what is mounted and wired by then is there."""
        problem, design = kept(name)
        steady = {i.name: True for i in problem.inputs if i.steady}
        mounted: set[str] = set()
        laid: set[int] = set()
        checked = 0
        for circuit, parts, wires in blocks_of(job(name)):
            mounted |= set(parts)
            laid |= {wire.number for wire in wires}
            part_built = replace(
                design,
                parts=tuple(p for p in design.parts if p.name in mounted),
                wires=tuple(w for w in design.wires if w.number in laid),
            )
            for way in job(name).facts.ways:
                if way.circuit != circuit or not way.to_live:
                    continue
                steps = [*way.to_live, *way.to_dead]
                checked += follow(part_built, problem, steps, steady)
        assert checked


def follow(
    design: Design, problem: Problem, steps: Sequence[TourStep], steady: dict[str, bool]
) -> int:
    """Do steps one after the other; assert what they say of loads, return how much that was."""
    time, moments, seen = Fraction(0), [Moment(Fraction(0), tuple(steady.items()))], []
    for number, step in enumerate(steps):
        time += step.wait if number else 0
        if step.moves:
            moments.append(Moment(time, step.moves))
        seen.append((time, step))
    trace = simulate(design, problem, moments, time + 1)
    for at, step in seen:
        loads = loads_at(trace, at)
        assert all(loads[name] for name in step.on), (step, loads)
        assert not any(loads[name] for name in step.off), (step, loads)
    return len(seen)


class TestWishes:
    GOALS = """
title: Pump house
kit: full
loads: {pump: 2}
goals:
  - pump on 10 s of every 60 s
  - light always
  - heater at night
  - master cutoff for pump
limits:
  most: {relay break: 3, sensor: 2}
  without: [bistable relay, sensor]
  least: {recycler: 1}
  spare: 2
  supply: 20
  price: 99
  branches: [[pump, light], [light, heater]]
  untimed: [light, heater]
stock: {recycler: 1}
minimise: [supply]
"""

    def test_goal_files_with_every_wish_read_back(self) -> None:
        from synth.bench import goals_page

        for text in (self.GOALS, self.GOALS.replace("untimed: [light, heater]", "untimed: all")):
            goals = parse_goal_file(text, "goals.yaml")
            again = parse_goal_file(goals_page(goals, "full"), "again.yaml")
            assert replace(again, title="", defaults=()) == replace(goals, title="", defaults=())
            assert goals.spare == 2 and goals.stock and goals.branches and goals.part_wishes

    def test_the_bench_keeps_them(self, tmp_path: Path) -> None:
        file = tmp_path / "goals.yaml"
        file.write_text(
            self.GOALS.replace("least: {recycler: 1}", "least: {divider: 0}").replace(
                "  branches: [[pump, light], [light, heater]]\n", ""
            ),
            "utf-8",
        )
        file.write_text(re.sub(r"  least:.*\n", "", file.read_text("utf-8")), "utf-8")
        problem = pipeline.read_problem(str(file), None, None)
        outcome = pipeline.plan(problem, None, 60.0)
        assert outcome.design is not None
        found, made = pipeline.bench(
            outcome.design,
            problem,
            str(file),
            None,
            pipeline.bench_wishes(200, Fraction(5), None, 60.0, False),
        )
        assert found.sheet.proven
        again = parse_goal_file(made["bench-goals.yaml"], "bench-goals.yaml")
        goals = parse_goal_file(file.read_text("utf-8"), "goals.yaml")
        for what in (
            "part_limits",
            "spare",
            "stock",
            "untimed",
            "largest_supply",
            "largest_price",
            "minimise",
            "loads",
        ):
            assert getattr(again, what) == getattr(goals, what), what
        assert check(found.design, pose_of(made["bench-goals.yaml"], problem)).holds

    def test_names_that_mean_something_else_to_a_reader(self) -> None:
        from synth.bench import goals_page

        text = """
goals: ["light always", "pump always"]
limits:
  branches: [["no", "yes"], ["on", "null"]]
  untimed: ["all", "y", "true"]
  least: {"off": 1, "nan": 2}
stock: {"Inf": 3}
"""
        goals = parse_goal_file(text, "goals.yaml")
        again = parse_goal_file(goals_page(goals, "full"), "again.yaml")
        assert again.branches == goals.branches and again.untimed == goals.untimed
        assert (again.part_wishes, again.stock) == (goals.part_wishes, goals.stock)
        assert [u.load for u in goals.untimed] == ["all", "y", "true"]


class TestPeak:
    def test_what_goals_allow_at_once_bounds_the_budget(self) -> None:
        """Heater (with a coil, which takes 1) and fan need 4 units each; one condition lets one run
        at a time: 9 units in all, never more than 5 at once. 40 unit-hours at 5 units are 8 h."""
        goals = "loads: {heater: 4, fan: 4}\ngoals: [heater while cold, fan while not cold, "
        text = f"kit: full\n{goals}never more than 5 units]\n"
        problem = pose(parse_goal_file(text, "goals.yaml"), FULL)
        design = wired(
            [
                part("cold", PartType.SENSOR, input="cold", contact="make"),
                part("warm", PartType.SENSOR, input="cold", contact="break"),
                part("relay", PartType.RELAY_MAKE),
                part("heater", PartType.LOAD, needs=4),
                part("fan", PartType.LOAD, needs=4),
            ],
            {"cold.in": "supply.out", "relay.coil": "cold.out", "relay.in": "supply.out",
             "heater.in": "relay.out", "warm.in": "supply.out", "fan.in": "warm.out"},
        )  # fmt: skip
        verdict = pipeline.check_design(design, problem)
        assert verdict.holds
        store = pipeline.store(Fraction(40), None, (), None)
        made = pipeline.pack(design, problem, verdict, store=store)
        rows = list(csv.DictReader(io.StringIO(str(made["11-energy.csv"]))))
        assert rows[0]["figure"] == "peak" and rows[0]["value"] == "5 units"
        table_ = list(csv.reader(io.StringIO(str(made["11-store.csv"]))))
        assert table_[1][1] == "8 h"


class TestThePage:
    @pytest.mark.parametrize("name", ["potting-shed", "water-butt"])
    def test_it_is_in_the_pack_as_by_itself(self, name: str, tmp_path: Path) -> None:
        design = str(ROOT / "tests" / "designs" / f"{name}.json")
        goals = str(ROOT / "goals" / f"{name}.yaml")
        assert run("page", design, goals, "--out", str(tmp_path)).exit_code == 0
        assert (tmp_path / "page.html").read_text("utf-8") == files(name)["page.html"]
        assert "page.html" in str(files(name)["index.md"])
        assert 'href="page.html"' in str(files(name)["index.html"])


NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    sync = pytest.importorskip("playwright.sync_api", reason="pip install '.[browser]'")
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Chromium here: apt-get install chromium")
    with sync.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.mark.slow
class TestOnPaper:
    """In print: 96 px to an inch, 14 mm of border; ISO 216 and the Letter of 8.5 by 11 in."""

    ROOM = {"A4": (210, 297), "Letter": (215.9, 279.4)}

    @pytest.mark.parametrize("name", KEPT)
    @pytest.mark.parametrize("paper", ROOM)
    def test_card_on_one_sheet_and_nothing_cut_off(
        self, browser: Any, name: str, paper: str, tmp_path: Path
    ) -> None:
        problem, design = kept(name)
        made = pipeline.pack(
            design, problem, pipeline.check_design(design, problem), paper=paper, night=NIGHT
        )
        pipeline.write_folder(str(tmp_path), made)
        wide, high = (int((side - 28) * 96 / 25.4) for side in self.ROOM[paper])
        page = browser.new_page(viewport={"width": wide, "height": high})
        page.emulate_media(media="print")
        page.goto((tmp_path / "index.html").as_uri())
        height = page.evaluate("document.querySelector('#item-1').getBoundingClientRect().height")
        assert 100 < height <= high
        cut = page.evaluate(
            "[...document.querySelectorAll('.wide')].filter(s => s.scrollWidth > s.clientWidth + 1)"
            ".map(s => s.innerText.slice(0, 80))"
        )
        assert cut == []
        # A picture too large for a sheet gives way to those made for paper.
        shown = page.evaluate(
            "[...document.querySelectorAll('img')].filter(i => i.getClientRects().length)"
            ".map(i => [i.getAttribute('src'), i.naturalWidth, i.height])"
        )
        assert all(w > 100 and h <= high for _, w, h in shown)
        sheets = [file for file in made if file.endswith(".svg")]
        divided = {re.sub(r"-sheet-\d+", "", file) for file in sheets if "-sheet-" in file}
        assert sorted(f for f, *_ in shown) == sorted(f for f in sheets if f not in divided)
        assert len(sheets) - len([f for f in sheets if "-sheet-" in f]) == 4
        page.close()
