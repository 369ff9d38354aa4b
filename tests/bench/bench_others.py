"""The main scenario given to other formulations and solvers, beside the tool itself.

Run with `pytest --tb=line tests/bench/bench_others.py`; not part of the tests. Each gets
PLAIN_SECONDS, and its time is told as a multiple of the tool's whole process in the same run,
which proves its answer and checks it exactly. clingo comes with the extra `bench`.
"""

from __future__ import annotations

import statistics
from typing import TYPE_CHECKING, Any

import pytest
from jobs import SHED
from processes import ROOT, Figures, planned

if TYPE_CHECKING:
    from plain_model import PlainAnswer, Wires
    from whole_question import Question

PLAIN_SECONDS = 30.0
EXTRA = "it comes with the extra 'bench'"


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


class TestPlainModel:
    """Every second, in CP-SAT, and every splitting part or what splitting costs: `plain_model`."""

    @pytest.mark.parametrize("explicit", [False, True])
    def test_it_knows_good_from_bad(self, main_plan: dict[str, Any], explicit: bool) -> None:
        """A ratio to a model that is wrong would mean nothing: it must accept the proven design
        at its price, and refuse it with a timer set wrongly."""
        from plain_model import solve_plain

        wires, settings = translated(main_plan["design"])
        good = solve_plain(60, (wires, settings), explicit)
        assert (good.status, good.price) == ("OPTIMAL", main_plan["price"])
        timer = next(name for name in settings if name.startswith("pulse-timer"))
        bad = solve_plain(60, (wires, {**settings, timer: 40}), explicit)
        assert bad.status == "INFEASIBLE"

    @pytest.mark.parametrize("sharing", ["priced", "explicit"])
    def test_ratio(
        self, benchmark: Any, say: Any, ours: Figures, main_plan: dict[str, Any], sharing: str
    ) -> None:
        from plain_model import solve_plain

        plain = benchmark.pedantic(
            solve_plain, args=(PLAIN_SECONDS, None, sharing == "explicit"), rounds=1
        )
        answer = f"price {plain.price}, bound {plain.bound}"
        name, proven = f"plain model, CP-SAT, splitting {sharing}", plain.status == "OPTIMAL"
        say(ratio(name, ours, plain.seconds, proven, answer))
        # It is asked less (one run of the inputs), so its bound can never be above our price.
        assert plain.bound <= main_plan["price"]


class TestPlainRules:
    """Every second as an answer-set program, solved by clingo: `plain_rules`."""

    @pytest.mark.parametrize("explicit", [False, True])
    def test_it_knows_good_from_bad(self, main_plan: dict[str, Any], explicit: bool) -> None:
        """It accepts the proven design at its price, and refuses it with a timer set wrongly, or
        with two wires exchanged."""
        pytest.importorskip("clingo", reason=EXTRA)
        from plain_rules import solve_rules

        wires, settings = translated(main_plan["design"])
        good = solve_rules(60, explicit, (wires, settings))
        assert (good.status, good.price) == ("OPTIMAL", main_plan["price"])
        for timer in (name for name in settings if name.startswith("pulse-timer")):
            bad = solve_rules(60, explicit, (wires, {**settings, timer: 40}))
            assert bad.status == "INFEASIBLE"
        sources = {target: source for source, target in wires}
        swapped = {"pump:in": sources["light:in"], "light:in": sources["pump:in"]}
        other = {(swapped.get(target, source), target) for source, target in wires}
        assert solve_rules(60, explicit, (other, settings)).status == "INFEASIBLE"

    def test_ratio_priced(
        self, benchmark: Any, say: Any, ours: Figures, main_plan: dict[str, Any]
    ) -> None:
        """Splitting priced by the number of branches. Its time hangs on luck: three seeds."""
        pytest.importorskip("clingo", reason=EXTRA)
        from plain_rules import OPTIONS, solve_rules

        def several() -> list[PlainAnswer]:
            seeds = [("--rand-freq=0.01", f"--seed={seed}") for seed in (1, 2, 3)]
            return [solve_rules(PLAIN_SECONDS, options=(*OPTIONS, *seed)) for seed in seeds]

        answers = benchmark.pedantic(several, rounds=1)
        proven = all(answer.status == "OPTIMAL" for answer in answers)
        prices = sorted({answer.price for answer in answers if answer.price is not None})
        each = ", ".join(f"{answer.seconds:.1f} s" for answer in answers)
        middle = statistics.median(answer.seconds for answer in answers)
        told = f"price {prices}, each {each}"
        say(ratio("plain rules, clingo, splitting priced", ours, middle, proven, told))
        # It is asked less (one run of the inputs), so it can prove no price above ours.
        assert all(answer.bound <= main_plan["price"] for answer in answers)

    def test_ratio_explicit(
        self, benchmark: Any, say: Any, ours: Figures, main_plan: dict[str, Any]
    ) -> None:
        """Every splitting part too, as in the plain model."""
        pytest.importorskip("clingo", reason=EXTRA)
        from plain_rules import solve_rules

        plain = benchmark.pedantic(solve_rules, args=(PLAIN_SECONDS, True), rounds=1)
        name, proven = "plain rules, clingo, splitting explicit", plain.status == "OPTIMAL"
        say(ratio(name, ours, plain.seconds, proven, f"price {plain.price}"))
        assert plain.bound <= main_plan["price"]

    def test_ratio_clauses(
        self, benchmark: Any, say: Any, ours: Figures, main_plan: dict[str, Any]
    ) -> None:
        """The same rules, splitting priced, as clauses for a SAT solver that descends."""
        pytest.importorskip("clingo", reason=EXTRA)
        from plain_clauses import solve_clauses

        least = benchmark.pedantic(solve_clauses, args=(PLAIN_SECONDS,), rounds=1)
        name = "plain rules, Glucose, splitting priced"
        say(ratio(name, ours, least.seconds, least.proven, f"price {least.price}"))
        if least.proven:
            assert least.price is not None and least.price <= main_plan["price"]


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
        pytest.importorskip("clingo", reason=EXTRA)
    from whole_question import SOLVERS

    least = benchmark.pedantic(SOLVERS[solver], args=(question, PLAIN_SECONDS), rounds=1)
    name = f"{solver}, given our events and parts"
    say(ratio(name, ours, least.seconds, least.proven, f"price {least.price}"))
    if least.proven:
        # Asked of some runs only: never dearer than what stands in all of them.
        assert least.price is not None and least.price <= main_plan["price"]
