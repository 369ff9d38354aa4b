"""The main scenario given to other formulations and solvers, beside the tool itself.

Run with `pytest --tb=line tests/bench/bench_others.py`; not part of the tests. Each gets
PLAIN_SECONDS, and its time is told as a multiple of the tool's whole process in the same run,
which proves its answer and checks it exactly. clingo comes with the extra `bench`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from jobs import SHED
from processes import ROOT, Figures, planned

if TYPE_CHECKING:
    from plain_model import Wires
    from whole_question import Question

PLAIN_SECONDS = 30.0


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Any:
    """Print a line of figures past pytest's capture."""

    def line(text: str) -> None:
        with capsys.disabled():
            print(f"\n  {text}")

    return line


@pytest.fixture(scope="module")
def ours() -> Figures:
    """The tool on the main scenario, three times."""
    figures = planned(SHED, rounds=3)
    assert figures.document is not None
    assert figures.document["status"] == "proven-cheapest"
    return figures


@pytest.fixture(scope="module")
def main_plan(ours: Figures) -> dict[str, Any]:
    """The plan of the main scenario."""
    assert ours.document is not None
    return ours.document


def ratio(name: str, ours: Figures, seconds: float, proven: bool, answer: str) -> str:
    """Return in words how another formulation compares."""
    more = "" if proven else "more than "
    return (
        f"{name}: {answer}, {'proven' if proven else 'not proven'} after {seconds:.1f} s; "
        f"{more}{seconds / ours.seconds:.1f} times ours ({ours.seconds:.2f} s, proven, checked)"
    )


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

    def test_ratio(
        self, benchmark: Any, say: Any, ours: Figures, main_plan: dict[str, Any]
    ) -> None:
        from plain_model import solve_plain

        plain = benchmark.pedantic(solve_plain, args=(PLAIN_SECONDS,), rounds=1)
        answer = f"price {plain.price}, bound {plain.bound}"
        say(ratio("plain model, CP-SAT", ours, plain.seconds, plain.status == "OPTIMAL", answer))
        # It is asked less (one run of the inputs), so its bound can never be above our price.
        assert plain.bound <= main_plan["price"]


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
    ours: Figures,
    main_plan: dict[str, Any],
    question: Question,
    solver: str,
) -> None:
    """The same clauses for all parts lists at once, and the price made least."""
    if solver == "clingo":
        pytest.importorskip("clingo", reason="it comes with the extra 'bench'")
    from whole_question import SOLVERS

    least = benchmark.pedantic(SOLVERS[solver], args=(question, PLAIN_SECONDS), rounds=1)
    say(ratio(solver, ours, least.seconds, least.proven, f"price {least.price}"))
    if least.proven:
        # Asked of some runs only: never dearer than what stands in all of them.
        assert least.price is not None and least.price <= main_plan["price"]
