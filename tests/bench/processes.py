"""Whole processes of the tool: how long they take, how much memory, and what they answer."""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
COLD = {"SYNTH_CACHE": ""}
"""No run knows anything from an earlier one."""
PATIENCE = 60.0
"""Seconds beyond its limit after which a process is ended."""
MOST_BYTES = 4 * 1024**3
"""Address space that a process gets: one that runs wild must not take the machine with it."""
START = (
    f"import resource; resource.setrlimit(resource.RLIMIT_AS, ({MOST_BYTES}, {MOST_BYTES})); "
    "from synth.cli import main; main(prog_name='synth')"
)
COMMAND = [sys.executable, "-c", START]


@dataclass(frozen=True)
class Ran:
    """One process: exit code, output, seconds by the clock, seconds of processor, peak in MB."""

    code: int
    output: str
    seconds: float
    processor: float
    memory: float


def run(*words: str, limit: float = 600.0, command: Sequence[str] = COMMAND) -> Ran:
    """Run `synth`, or another command, ended after `limit` seconds and some patience.

    A new process counts what this one holds as its own until it has started, so the peak is never
    less than that: solvers are imported only in the tests that need them, and those come last.
    """
    began = time.perf_counter()
    process = subprocess.Popen(
        [*command, *words],
        cwd=ROOT,
        env={**os.environ, **COLD, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    alarm = threading.Timer(limit + PATIENCE, process.kill)
    alarm.start()
    assert process.stdout is not None
    output = process.stdout.read().decode("utf-8")
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - began
    alarm.cancel()
    process.returncode = os.waitstatus_to_exitcode(status)
    process.stdout.close()
    # Linux counts ru_maxrss in units of 1024 bytes, macOS in bytes.
    memory = usage.ru_maxrss / (1_000_000 if sys.platform == "darwin" else 1000 / 1.024)
    processor = usage.ru_utime + usage.ru_stime
    return Ran(process.returncode, output, seconds, processor, memory)


@dataclass
class Figures:
    """Several runs of one job; `document` is the last plan printed, None where there was none."""

    runs: list[Ran] = field(default_factory=list)
    document: dict[str, Any] | None = None

    @property
    def seconds(self) -> float:
        """The median by the clock."""
        return statistics.median(ran.seconds for ran in self.runs)

    @property
    def processor(self) -> float:
        """The median of processor seconds."""
        return statistics.median(ran.processor for ran in self.runs)

    @property
    def memory(self) -> float:
        """The highest peak, MB."""
        return max(ran.memory for ran in self.runs)

    @property
    def gap(self) -> float | None:
        """The gap between price and bound in percent of the price; None: not known."""
        found = self.document or {}
        if found.get("price") is None or found.get("bound") is None:
            return None
        price: int = found["price"]
        return 100 * (price - found["bound"]) / price if price else 0.0

    def add(self, goals: str, words: Sequence[str], seconds: float, folder: Path | None) -> None:
        """Plan once more, see `planned`."""
        file = goals
        if "\n" in goals:
            assert folder is not None
            file = str(folder / "goals.yaml")
            Path(file).write_text(goals, "utf-8")
        limit = ("--time-limit", f"{seconds:g}")
        self.runs.append(run("plan", file, "--format", "json", *limit, *words, limit=seconds))
        try:
            self.document = json.loads(self.runs[-1].output)
        except ValueError:
            self.document = None

    def told(self) -> str:
        """Return the figures in words."""
        found = self.document
        if found is None:
            last = self.runs[-1].output.strip().splitlines()
            said = f"no plan, exit code {self.runs[-1].code}: {last[0] if last else 'no word'}"
        else:
            gap = "" if self.gap is None else f", gap {self.gap:.1f} %"
            said = f"{found['status']}, price {found['price']}, bound {found['bound']}{gap}"
        return (
            f"{self.seconds:.2f} s (processor {self.processor:.2f} s), {said}, "
            f"peak {self.memory:.0f} MB"
        )


def planned(
    goals: str, *words: str, seconds: float = 60.0, rounds: int = 1, folder: Path | None = None
) -> Figures:
    """Plan a goal file (its path, or its text to be written into `folder`) several times."""
    figures = Figures()
    for _ in range(rounds):
        figures.add(goals, words, seconds, folder)
    return figures


def on_one_supply(designs: Sequence[dict[str, Any]]) -> int:
    """Return the price in coins of several finished designs (documents) on one supply.

    Their parts, but for those that only split power, and the least price of splitting every net,
    that of the supply as one. Found without the search.
    """
    from synth.read.kit_file import load_kit
    from synth.share.price import fan_out_price

    splitting = {"tap-off", "divider"}
    kit = load_kit(designs[0]["kit"])
    prices = {part.name: part.price for part in kit.parts}
    price, on_supply = 0, 0
    for design in designs:
        parts = {part["name"]: part for part in design["parts"]}
        kinds = {name: part["type"] for name, part in parts.items()}
        price += sum(prices[p["part"]] for p in parts.values() if p["type"] not in splitting)
        behind = {w["to"].rpartition(":")[0]: w["from"] for w in design["wires"]}

        def origin(
            output: str, kinds: dict[str, str] = kinds, behind: dict[str, str] = behind
        ) -> str:
            while kinds[output.rpartition(":")[0]] in splitting:
                output = behind[output.rpartition(":")[0]]
            return output

        nets: dict[str, int] = {}
        for wire in design["wires"]:
            if kinds[wire["to"].rpartition(":")[0]] not in splitting:
                source = origin(wire["from"])
                nets[source] = nets.get(source, 0) + 1
        for source, consumers in nets.items():
            if kinds[source.rpartition(":")[0]] == "supply":
                on_supply += consumers
            else:
                price += fan_out_price(consumers, kit) or 0
    return price + (fan_out_price(on_supply, kit) or 0)
