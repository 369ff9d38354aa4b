"""How fast, how large: whole processes against their limits.

Run with `pytest --tb=line tests/bench/bench_jobs.py`, some minutes; not part of the tests. Limits
are medians on two cores of a machine that does nothing else; each must be met, and a row that
misses fails and says by how much. `pytest -m slow tests/bench/bench_jobs.py` gives the large jobs
the time in which they should be proven. Every run is cold. Other formulations of the main
scenario are in `bench_others.py`.
"""

from __future__ import annotations

import json
import os
import statistics
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jobs import GLASSHOUSE, SHED, THREE_CUT, TWO_CUT, TWO_UNCUT, beside_a_minute, many
from processes import Figures, Ran, on_one_supply, planned, run

MOST_MEMORY = 300.0
"""MB, at the peak."""
ROUNDS = int(os.environ.get("BENCH_ROUNDS", "3"))
"""Runs of each row, of which the median counts."""
CHECK_SECONDS = 0.1
"""What an exact check may take beyond the start-up of the tool."""

Say = Callable[[str], None]
COMBINATIONS = pytest.mark.parametrize(
    "words",
    [
        pytest.param(("--kit", kit, *fast), id=f"{kit}{'-fast' if fast else ''}")
        for kit in ("starter", "full")
        for fast in ((), ("--fast",))
    ],
)
ENGINES = pytest.mark.parametrize(
    "words", [pytest.param((), id="default"), pytest.param(("--fast",), id="fast")]
)


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str], request: pytest.FixtureRequest) -> Say:
    """Print a line of figures past pytest's capture."""

    def line(text: str) -> None:
        with capsys.disabled():
            print(f"\n  {request.node.name}: {text}")

    return line


@pytest.fixture(scope="module")
def designs() -> dict[str, tuple[str, dict[str, Any]]]:
    """Designs of the rows so far, by row: the goals (a path or a text) and the document."""
    return {}


class Row:
    """Measures one row, judges it, and hands its design on to the row of checks."""

    def __init__(
        self,
        benchmark: Any,
        say: Say,
        designs: dict[str, tuple[str, dict[str, Any]]],
        request: pytest.FixtureRequest,
        tmp_path: Path,
    ) -> None:
        self.benchmark, self.say, self.designs = benchmark, say, designs
        self.name, self.folder = request.node.name, tmp_path

    def __call__(
        self,
        goals: str,
        *words: str,
        must: float,
        rounds: int = ROUNDS,
        gap: float | None = None,
        proven: bool = False,
        patience: float | None = None,
    ) -> Figures:
        """Measure a row and judge it, see `judged`.

        The tool gets `patience` seconds (default: twice as long as it may take), so that a row
        that misses says by how much.
        """
        figures = self.measured(goals, words, 2 * must if patience is None else patience, rounds)
        return self.judged(figures, must, gap, proven)

    def judged(
        self, figures: Figures, must: float, gap: float | None = None, proven: bool = False
    ) -> Figures:
        """Fail above `must` seconds at the median, a gap of `gap` percent, or MOST_MEMORY; where
        a proof is asked for and there is none; and where what is claimed does not add up."""
        asked = "proven" if proven else f"gap at most {gap:g} %" if gap is not None else "a plan"
        self.say(f"{figures.told()} (must: {must:g} s, {asked}, {MOST_MEMORY:.0f} MB)")
        self.benchmark.extra_info.update(must=must, figures=figures.told())
        found = figures.document
        assert found is not None, figures.told()
        honest(figures)
        missed = []
        if figures.seconds > must:
            missed.append(f"{figures.seconds:.2f} s instead of {must:g} s")
        if gap is not None and (figures.gap is None or figures.gap > gap):
            told = "unknown" if figures.gap is None else f"{figures.gap:.1f} %"
            missed.append(f"gap {told} instead of {gap:g} %")
        if proven and found["status"] != "proven-cheapest":
            missed.append(f"{found['status']}, not proven")
        if figures.memory > MOST_MEMORY:
            missed.append(f"{figures.memory:.0f} MB instead of {MOST_MEMORY:.0f} MB")
        if missed:
            pytest.fail(f"misses its limit: {'; '.join(missed)}", pytrace=False)
        return figures

    def measured(self, goals: str, words: tuple[str, ...], seconds: float, rounds: int) -> Figures:
        """Return the figures of so many runs."""
        figures = Figures()
        self.benchmark.pedantic(
            figures.add, args=(goals, words, seconds, self.folder), rounds=rounds
        )
        if figures.document is not None and figures.document["design"] is not None:
            self.designs[self.name] = (goals, figures.document)
        return figures


def honest(figures: Figures) -> None:
    """Fail where a plan claims what its own figures do not bear out."""
    found = figures.document
    assert found is not None
    assert found["check"]["verdict"] == "holds"
    assert found["status"] in ("proven-cheapest", "best-found")
    if found["status"] == "proven-cheapest":
        assert found["bound"] == found["price"]
    elif found["bound"] is not None:
        assert found["bound"] <= found["price"]


@pytest.fixture
def row(
    benchmark: Any,
    say: Say,
    designs: dict[str, tuple[str, dict[str, Any]]],
    request: pytest.FixtureRequest,
    tmp_path: Path,
) -> Row:
    """A row to be measured and judged."""
    return Row(benchmark, say, designs, request, tmp_path)


def test_help(benchmark: Any, say: Say) -> None:
    runs: list[Ran] = []
    benchmark.pedantic(lambda: runs.append(run("--help")), rounds=5)
    median = statistics.median(ran.seconds for ran in runs)
    say(f"{median:.2f} s (must: 0.3 s)")
    assert median <= 0.3


def test_main_scenario(row: Row) -> None:
    """Aim: 0.7 s."""
    row(SHED, must=1.0, rounds=max(ROUNDS, 5), proven=True)


@ENGINES
def test_twelve_goals(row: Row, words: tuple[str, ...]) -> None:
    """One cycle among them. Aim: 1 s."""
    row(GLASSHOUSE, *words, must=2.0, proven=True, patience=10)


@COMBINATIONS
def test_two_cycles_one_cut(row: Row, words: tuple[str, ...]) -> None:
    """10/60 with a cutoff beside 15/900. Aim: proven in 20 s, see TestProven."""
    row(TWO_CUT, *words, "--gap", "10", must=5.0, gap=10)


@COMBINATIONS
def test_two_cycles_uncut(row: Row, say: Say, words: tuple[str, ...]) -> None:
    """10/60 beside 5/20: cheaper together than each by itself, both on one supply, or proven
    that nothing is. Aim: proven in 20 s."""
    apart = [
        planned(f"goals:\n  - {goal}\n", *words[:2], seconds=20, folder=row.folder).document
        for goal in ("pump on 10 s of every 60 s", "mister on 5 s of every 20 s")
    ]
    assert all(found is not None for found in apart)
    alone = [found["design"] for found in apart if found is not None]
    separate = on_one_supply(alone)
    for found in apart:
        # Reckoned without the search, each design by itself costs what the tool says.
        assert found is not None and on_one_supply([found["design"]]) == found["price"]
    figures = row.measured(TWO_UNCUT, words, 9, ROUNDS)
    assert figures.document is not None
    price, status = figures.document["price"], figures.document["status"]
    say(f"together {price} coins, each by itself on one supply {separate} coins")
    row.judged(figures, must=10.0)
    assert price < separate or (price == separate and status == "proven-cheapest")


@COMBINATIONS
def test_three_cycles_one_cut(row: Row, words: tuple[str, ...]) -> None:
    """10/60 with a cutoff, 15/900, 5/20. Aim: proven in 60 s."""
    row(THREE_CUT, *words, "--gap", "15", must=10.0, gap=15)


@ENGINES
def test_forty_loads_four_behaviours(row: Row, words: tuple[str, ...]) -> None:
    """Starter kit. Aim: proven in 2 s, see TestProven."""
    row(many(40, 4), *words, "--gap", "5", must=4.0, gap=5, patience=20)


@ENGINES
def test_hundred_loads_ten_behaviours(row: Row, words: tuple[str, ...]) -> None:
    """Full kit, which the delays need. Any gap, but an honest one. Aim: 10 s."""
    figures = row(many(100, 10), "--kit", "full", *words, must=20.0, patience=18)
    assert figures.gap is not None, "no bound at all is no gap"


@COMBINATIONS
def test_a_day_is_no_slower_than_an_hour(row: Row, words: tuple[str, ...]) -> None:
    """10 s of every day, or of every 3600 s, beside 10 s of every minute. Two runs of the same
    job differ by some percent, so a tenth is allowed for."""
    hour = planned(beside_a_minute("3600 s"), *words, seconds=20, folder=row.folder)
    row.say(f"an hour: {hour.told()}")
    day = row.measured(beside_a_minute("1 day"), words, 20, 1)
    assert hour.document is not None, hour.told()
    honest(hour)
    row.judged(day, 1.1 * hour.seconds, proven=hour.document["status"] == "proven-cheapest")


@pytest.mark.slow
class TestProven:
    """The aims of the rows above that need more time: proven within so many seconds."""

    @COMBINATIONS
    @pytest.mark.parametrize(
        ("goals", "seconds"),
        [
            pytest.param(TWO_CUT, 20, id="two-one-cut"),
            pytest.param(TWO_UNCUT, 20, id="two-uncut"),
            pytest.param(THREE_CUT, 60, id="three-one-cut"),
        ],
    )
    def test_cycles(self, row: Row, words: tuple[str, ...], goals: str, seconds: float) -> None:
        row(goals, *words, must=seconds, rounds=1, proven=True, patience=seconds)

    @ENGINES
    def test_forty_loads(self, row: Row, words: tuple[str, ...]) -> None:
        row(many(40, 4), *words, must=2.0, proven=True, patience=20)


def test_exact_checks(
    say: Say, designs: dict[str, tuple[str, dict[str, Any]]], tmp_path: Path
) -> None:
    """Every design that the rows above found, checked anew, beyond start-up: that of the same
    command on one lamp. Aim: 0.02 s."""
    assert designs, "run the rows above in the same process"
    file, goal_file = tmp_path / "design.json", tmp_path / "goals.yaml"

    def checked(goals: str, design: dict[str, Any]) -> tuple[float, float]:
        """Return seconds of the process (median of five), and those of the check itself."""
        file.write_text(json.dumps(design), "utf-8")
        if "\n" in goals:
            goal_file.write_text(goals, "utf-8")
            goals = str(goal_file)
        runs = [run("check", str(file), goals, "--format", "json") for _ in range(5)]
        assert {ran.code for ran in runs} == {0}, runs[0].output
        inner = [json.loads(ran.output)["times"]["check"] for ran in runs]
        return statistics.median(ran.seconds for ran in runs), statistics.median(inner)

    lamp = planned("goals:\n  - light always\n", folder=tmp_path).document
    assert lamp is not None
    start_up, _ = checked("goals:\n  - light always\n", lamp["design"])
    missed = []
    for name, (goals, found) in designs.items():
        seconds, inner = checked(goals, found["design"])
        beyond = seconds - start_up
        say(
            f"{name}: {found['check']['states']} states, {beyond:.2f} s beyond start-up "
            f"({start_up:.2f} s), the check itself {inner:.3f} s"
        )
        if beyond > CHECK_SECONDS:
            missed.append(f"{name}: {beyond:.2f} s")
    assert not missed, f"more than {CHECK_SECONDS} s: {'; '.join(missed)}"
