"""How fast, how large: whole processes against their limits, and two other formulations beside.

Run with `pytest tests/bench/bench_jobs.py`; not part of the tests. Limits are medians on two
cores of a machine that does nothing else.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from plain_model import Wires

ROOT = Path(__file__).resolve().parents[2]
MAIN = "goals/potting-shed.yaml"
TWELVE = "goals/glasshouse.yaml"
COMMAND = [sys.executable, "-c", "from synth.cli import main; main(prog_name='synth')"]
MOST_MEMORY = 300.0
"""MB, at the peak."""
PLAIN_SECONDS = 30.0

Say = Callable[[str], None]


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Say:
    """Print a line of figures past pytest's capture."""

    def line(text: str) -> None:
        with capsys.disabled():
            print(f"\n  {text}")

    return line


def run(*words: str) -> tuple[int, str, float, float]:
    """Run `synth`; return its exit code, output, seconds and peak memory in MB.

    A new process counts what this one holds as its own until it has started, so the peak is never
    less than that: solvers are imported only in the tests that need them, and those come last.
    """
    began = time.perf_counter()
    process = subprocess.Popen(
        [*COMMAND, *words],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
    )
    assert process.stdout is not None
    output = process.stdout.read().decode("utf-8")
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - began
    process.returncode = os.waitstatus_to_exitcode(status)
    process.stdout.close()
    # Linux counts ru_maxrss in units of 1024 bytes, macOS in bytes.
    memory = usage.ru_maxrss / (1_000_000 if sys.platform == "darwin" else 1000 / 1.024)
    return process.returncode, output, seconds, memory


def measured(
    benchmark: Any, say: Say, title: str, limit: float, words: tuple[str, ...], rounds: int = 5
) -> list[str]:
    """Time a command over several rounds, check its median and memory; return its outputs."""
    outputs: list[str] = []
    peaks: list[float] = []
    seconds: list[float] = []

    def once() -> None:
        code, output, took, memory = run(*words)
        assert code == 0, output
        outputs.append(output)
        peaks.append(memory)
        seconds.append(took)

    benchmark.pedantic(once, rounds=rounds)
    median = statistics.median(seconds)
    benchmark.extra_info.update(limit=limit, peak_megabytes=max(peaks))
    say(f"{title}: median {median:.2f} s (limit {limit} s), peak {max(peaks):.0f} MB")
    assert median <= limit
    assert max(peaks) < MOST_MEMORY
    return outputs


@pytest.fixture(scope="module")
def main_plan() -> dict[str, Any]:
    """The plan of the main scenario."""
    code, output, _, _ = run("plan", MAIN, "--format", "json")
    document: dict[str, Any] = json.loads(output)
    assert (code, document["status"]) == (0, "proven-cheapest")
    return document


def test_main_scenario(benchmark: Any, say: Say) -> None:
    words = ("plan", MAIN, "--format", "json")
    outputs = measured(benchmark, say, "main scenario", 1.5, words)
    assert {json.loads(output)["status"] for output in outputs} == {"proven-cheapest"}


def test_twelve_goals(benchmark: Any, say: Say) -> None:
    words = ("plan", TWELVE, "--format", "json")
    outputs = measured(benchmark, say, "twelve goals, one cycle", 3.0, words, rounds=3)
    assert {json.loads(output)["status"] for output in outputs} == {"proven-cheapest"}


def test_check_of_twelve_parts(
    benchmark: Any, say: Say, main_plan: dict[str, Any], tmp_path: Path
) -> None:
    assert len(main_plan["design"]["parts"]) >= 12
    file = tmp_path / "design.json"
    file.write_text(json.dumps(main_plan["design"]), "utf-8")
    measured(benchmark, say, "check of twelve parts", 0.6, ("check", str(file), MAIN))


def test_help(benchmark: Any, say: Say) -> None:
    measured(benchmark, say, "help", 0.3, ("--help",))


class TestPlainModel:
    """Every splitting part and every second, in CP-SAT: `plain_model`."""

    @staticmethod
    def translated(design: dict[str, Any]) -> tuple[Wires, dict[str, int]]:
        """Return wires and settings of a design, in the plain model's names."""
        names: dict[str, str] = {}
        counts: dict[str, int] = {}
        settings: dict[str, int] = {}
        for part in design["parts"]:
            kind, name = part["type"], part["name"]
            names[name] = name
            if kind not in ("load", "supply"):
                counts[kind] = counts.get(kind, 0) + 1
                names[name] = f"{kind} {counts[kind]}"
            if kind == "pulse-timer":
                settings[names[name]] = int(part["settings"]["time"].removesuffix(" s"))
            elif kind == "tap-off":
                settings[names[name]] = part["settings"]["units"]

        def terminal(text: str) -> str:
            name, _, end = text.rpartition(":")
            return f"{names[name]}:{end}"

        wires = {(terminal(w["from"]), terminal(w["to"])) for w in design["wires"]}
        return wires, settings

    def test_it_knows_good_from_bad(self, main_plan: dict[str, Any]) -> None:
        """A ratio to a model that is wrong would mean nothing: it must accept the proven design
        at its price, and refuse it with a timer set wrongly."""
        from plain_model import solve_plain

        wires, settings = self.translated(main_plan["design"])
        good = solve_plain(60, (wires, settings))
        assert (good.status, good.price) == ("OPTIMAL", main_plan["price"])
        timer = next(name for name in settings if name.startswith("pulse-timer"))
        bad = solve_plain(60, (wires, {**settings, timer: 40}))
        assert bad.status == "INFEASIBLE"

    def test_ratio(self, benchmark: Any, say: Say, main_plan: dict[str, Any]) -> None:
        from plain_model import solve_plain

        _, _, ours, _ = run("plan", MAIN, "--format", "json")
        plain = benchmark.pedantic(solve_plain, args=(PLAIN_SECONDS,), rounds=1)
        proven = plain.status == "OPTIMAL"
        benchmark.extra_info.update(ours=ours, plain=plain.seconds, status=plain.status)
        say(
            f"plain model: {plain.status} after {plain.seconds:.1f} s, price {plain.price}, bound "
            f"{plain.bound}; {'' if proven else 'more than '}{plain.seconds / ours:.1f} times ours"
            f" ({ours:.2f} s, proven and checked)"
        )
        # It is asked less (one run of the inputs), so its bound can never be above our price.
        assert plain.bound <= main_plan["price"]


def test_second_solver(benchmark: Any, say: Say) -> None:
    """The wiring questions of the main scenario, put to a SAT solver: same answers."""
    from second_solver import replayed

    found = benchmark.pedantic(replayed, args=(ROOT / MAIN,), rounds=1)
    assert found.questions
    assert found.disagreements == 0
    benchmark.extra_info.update(ours=found.ours, other=found.other)
    say(
        f"second solver (CaDiCaL): {found.questions} wiring questions in {found.other:.2f} s, "
        f"{found.other / found.ours:.1f} times CP-SAT ({found.ours:.2f} s); same answers"
    )
