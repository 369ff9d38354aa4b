"""The main scenario given to other formulations and solvers, beside the tool itself.

Run with `pytest --tb=line tests/bench/bench_others.py`; not part of the tests. `--plain-seconds`
is how long each may solve. Plain formulations are whole processes, as the tool is, and it runs
once before each of them, so that both meet the same machine. Its process proves its answer and
checks it exactly. A busy machine gives a process less than its seconds: those of the processor are
told too, of all threads. clingo comes with the extra `bench`.

In favour of the plain ones: see `plain_model`, `plain_rules` (one run of the inputs, no power cut,
no race, no exact check, fewer settling steps, times offered as the tool finds them) and
`plain_jobs` (fewer parts on offer; *fitting* even names those of the answer). With splitting
*priced* they are lent how the tool prices it. Against them: they are built in Python, and the
clauses are taken from clingo one by one; how long that takes is told.
"""

from __future__ import annotations

import json
import statistics
import sys
from collections import Counter
from dataclasses import dataclass, field, replace
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jobs import SHED
from plain_designs import UNITS, VARIANTS, Variant
from plain_jobs import (
    JOBS,
    MAIN,
    SPLITTING,
    Job,
    Offers,
    PlainAnswer,
    Wires,
    contracted,
    translated,
)
from processes import ROOT, Figures, Ran, run

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from whole_question import Question

EXTRA = "it comes with the extra 'bench'"
PLAIN = (sys.executable, str(Path(__file__).with_name("plain_run.py")))
BUILDING = 600.0
"""Seconds beyond those of solving after which a plain formulation is ended."""
SOLVERS = ("CP-SAT", "clingo", "Glucose")
SEEDS = (1, 2, 3)
"""Where they finish, the time of CP-SAT and clingo hangs on luck, so these run three times."""


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Any:
    """Print a line of figures past pytest's capture."""

    def line(text: str) -> None:
        with capsys.disabled():
            print(f"\n  {text}")

    return line


@pytest.fixture(scope="module")
def plain_seconds(request: pytest.FixtureRequest) -> float:
    """How long each other formulation may solve."""
    seconds: float = request.config.getoption("--plain-seconds")
    return seconds


@dataclass
class Beside:
    """The tool's runs of each job, and what the others took, to be told together at the end."""

    ours: dict[str, Figures] = field(default_factory=dict)
    others: list[tuple[str, str, float, float, bool, str]] = field(default_factory=list)
    """(job, name, seconds, seconds of the processor, proven, answer in words)."""

    def tool(self, job: Job) -> Figures:
        """Run the tool once more on a job."""
        figures = self.ours.setdefault(job.name, Figures())
        figures.add(job.goals, (), 60.0, None)
        assert figures.document is not None
        assert figures.document["status"] == "proven-cheapest"
        return figures

    def plan(self, job: Job) -> dict[str, Any]:
        """Return the tool's plan."""
        document = (self.ours.get(job.name) or self.tool(job)).document
        assert document is not None
        return document

    def told(self) -> Iterator[str]:
        """Give each line, with ratios to the middle of all runs of the tool."""
        for name, ours in self.ours.items():
            clock = [ran.seconds for ran in ours.runs]
            yield (
                f"{name}, ours: {ours.told()}; {len(clock)} runs, "
                f"{min(clock):.2f} to {max(clock):.2f} s"
            )
        for job, name, seconds, processor, proven, answer in self.others:
            ours, more = self.ours[job], "" if proven else "more than "
            yield (
                f"{job}, {name}: {answer}, {'proven' if proven else 'not proven'} after "
                f"{seconds:.1f} s (processor {processor:.1f} s); "
                f"{more}{seconds / ours.seconds:.1f} times ours, "
                f"by the processor {more}{processor / ours.processor:.1f}"
            )


@pytest.fixture(scope="module")
def beside() -> Beside:
    """All figures of this run."""
    return Beside()


def asked(
    job: Job, offered: str, sharing: str, solver: str, seconds: float
) -> Iterator[tuple[Ran, PlainAnswer]]:
    """Give runs of a plain formulation; none after the first that is not proven."""
    for seed in SEEDS[:1] if solver == "Glucose" else SEEDS:
        words = (job.name, offered, sharing, solver, f"{seconds:g}", str(seed))
        ran = run(*words, limit=seconds + BUILDING, command=PLAIN)
        assert ran.code == 0, ran.output
        answer = PlainAnswer(**json.loads(ran.output))
        yield ran, answer
        if not answer.proven:
            return


@pytest.mark.parametrize("solver", SOLVERS)
@pytest.mark.parametrize("sharing", ["priced", "explicit"])
@pytest.mark.parametrize("offered", ["fitting", "whole kit"])
@pytest.mark.parametrize("job", list(JOBS.values()), ids=list(JOBS))
def test_plain(
    say: Any,
    beside: Beside,
    plain_seconds: float,
    job: Job,
    offered: str,
    sharing: str,
    solver: str,
) -> None:
    """A plain formulation, with splitting priced or every splitting part."""
    if solver != "CP-SAT":
        pytest.importorskip("clingo", reason=EXTRA)
    price = beside.tool(job).document["price"]  # type: ignore[index]
    found = list(asked(job, offered, sharing, solver, plain_seconds))
    runs, answers = [ran for ran, _ in found], [answer for _, answer in found]
    # The last one stands for all where it is not proven.
    proven = answers[-1].proven
    middle = statistics.median if proven else max
    seconds = middle([ran.seconds for ran in runs])
    processor = middle([ran.processor for ran in runs])
    told = f"price {answers[-1].price}, bound {answers[-1].bound}"
    told += f", built in {statistics.median(a.building for a in answers):.1f} s"
    told += f", peak {max(ran.memory for ran in runs):.0f} MB"
    if len(runs) > 1:
        told += f", each {', '.join(f'{ran.seconds:.1f} s' for ran in runs)}"
    name = f"{solver}, {offered}, splitting {sharing}"
    beside.others.append((job.name, name, seconds, processor, proven, told))
    say(f"{job.name}, {name}: {seconds:.1f} s, {told}")
    # It is asked less (one run of the inputs), so its bound can never be above our price.
    assert all(answer.bound <= price for answer in answers)


def test_told_together(say: Any, beside: Beside) -> None:
    """All ratios, to the middle of the tool's runs, which are spread over this run."""
    assert beside.others
    for job in [job for job in JOBS.values() if job.name in beside.ours]:
        while len(beside.ours[job.name].runs) < 3:
            beside.tool(job)
    for line in beside.told():
        say(line)


def priced(design: dict[str, Any], offers: Offers, wires: Wires, explicit: bool) -> int:
    """Return the price in coins of a design, its nets split as it has it or as cheaply as can be:
    two branches of one for 2 coins, three for 3."""
    prices = {
        offer.kind: offer.price for offer in offers if explicit or offer.kind not in SPLITTING
    }
    price = sum(prices.get(part["type"], 0) for part in design["parts"])
    if explicit:
        return price
    nets = Counter(source for source, _ in contracted(wires))
    return price + sum(ceil(3 * (branches - 1) / 2) for branches in nets.values())


def _formulation(solver: str) -> Callable[..., PlainAnswer]:
    if solver == "CP-SAT":
        from plain_model import solve_plain

        return solve_plain
    pytest.importorskip("clingo", reason=EXTRA)
    if solver == "clingo":
        from plain_rules import solve_rules

        return solve_rules
    from plain_clauses import solve_clauses

    return solve_clauses


@pytest.mark.parametrize("solver", SOLVERS)
@pytest.mark.parametrize("explicit", [False, True], ids=["priced", "explicit"])
class TestGoodAndBad:
    """A ratio to a formulation that is wrong would mean nothing: it must accept designs that the
    exact check accepts, at their price, and refuse wrong ones."""

    @pytest.mark.parametrize("job", list(JOBS.values()), ids=list(JOBS))
    def test_the_proven_design(
        self, beside: Beside, job: Job, explicit: bool, solver: str
    ) -> None:
        """Accepted at its price; refused with a timer set wrongly, or with two wires exchanged."""
        solve, plan = _formulation(solver), beside.plan(job)
        wires, settings = translated(plan["design"], job.offers["fitting"])

        def answer(*fixed: Any) -> tuple[str, int | None]:
            found = solve(job, "fitting", explicit, 120.0, fixed)
            return found.status, found.price

        assert answer(wires, settings) == ("OPTIMAL", plan["price"])
        timer = next(name for name in settings if name.startswith("pulse-timer"))
        assert answer(wires, {**settings, timer: 40}) == ("INFEASIBLE", None)
        sources = {target: source for source, target in wires}
        one, other = ("pump:in", "light:in") if job is MAIN else ("fan:in", "vent motor:in")
        swapped = {one: sources[other], other: sources[one]}
        changed = {(swapped.get(target, source), target) for source, target in wires}
        assert answer(changed, settings) == ("INFEASIBLE", None)

    @pytest.mark.parametrize("variant", [*VARIANTS, *UNITS], ids=lambda variant: variant.name)
    def test_other_parts(
        self, beside: Beside, tmp_path: Path, variant: Variant, explicit: bool, solver: str
    ) -> None:
        """Make relays, bistable relays, joints, twilight switches that pass by day."""
        design = variant.of(beside.plan(MAIN)["design"])
        file = tmp_path / "design.json"
        file.write_text(json.dumps(design), "utf-8")
        checked = run("check", str(file), SHED, "--kit", "starter", "--format", "json")
        assert checked.code == (0 if variant.right else 1), checked.output
        # All that is wrong shows in the first half minute, and fewer parts make no difference.
        offers = tuple(
            offer if offer.kind in SPLITTING else replace(offer, most=min(offer.most, 2))
            for offer in MAIN.offers["whole kit"]
        )
        job = replace(MAIN, horizon=30, offers={"few": offers})
        wires, settings = translated(design, offers)
        answer = _formulation(solver)(job, "few", explicit, 120.0, (wires, settings))
        if variant.right or (variant in UNITS and not (explicit and solver == "CP-SAT")):
            assert answer.proven
            assert answer.price == priced(design, offers, wires, explicit)
        else:
            assert answer.status == "INFEASIBLE"


def test_second_solver(benchmark: Any, say: Any) -> None:
    """The wiring questions of the main scenario, put to a SAT solver: same answers."""
    from second_solver import replayed

    found = benchmark.pedantic(replayed, args=(ROOT / SHED,), rounds=1)
    assert found.questions
    assert found.disagreements == 0
    benchmark.extra_info.update(ours=found.ours, other=found.other)
    say(
        f"second solver (CaDiCaL): {found.questions} wiring questions in {found.other:.2f} s, "
        f"{found.other / found.ours:.1f} times CP-SAT ({found.ours:.2f} s); same answers"
    )


@pytest.fixture(scope="module")
def question() -> Question:
    """All parts lists of the main scenario in one formula, with the coins to be made least."""
    from whole_question import whole_question

    return whole_question(ROOT / SHED)


@pytest.mark.parametrize("solver", ["Glucose, descending", "clingo"])
def test_all_lists_at_once(
    benchmark: Any,
    say: Any,
    beside: Beside,
    plain_seconds: float,
    question: Question,
    solver: str,
) -> None:
    """The same clauses for all parts lists at once, and the price made least."""
    if solver == "clingo":
        pytest.importorskip("clingo", reason=EXTRA)
    from whole_question import SOLVERS as WHOLE

    ours = beside.tool(MAIN)
    least = benchmark.pedantic(WHOLE[solver], args=(question, plain_seconds), rounds=1)
    more = "" if least.proven else "more than "
    say(
        f"{solver}, given our events and parts: price {least.price}, "
        f"{'proven' if least.proven else 'not proven'} after {least.seconds:.1f} s; "
        f"{more}{least.seconds / ours.seconds:.1f} times ours ({ours.seconds:.2f} s)"
    )
    if least.proven:
        # Asked of some runs only: never dearer than what stands in all of them.
        assert least.price is not None and least.price <= beside.plan(MAIN)["price"]
