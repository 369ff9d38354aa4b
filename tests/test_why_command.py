"""`synth why` as a user meets it, and what it says of the least price.

Designs wired by hand and the kit's price list, added up by hand, say what may be claimed; lists of
parts are counted by trying every multiset. The scenario and all figures are invented.
"""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from test_why import ROOT, SHED, SHED_DESIGN, kept

from synth.cli import main
from synth.pipeline import least_price, plan, read_problem
from synth.problem import Problem
from synth.reasons import Floor
from synth.report.reasons import floor_lines
from synth.result import Outcome, Status
from synth.search.basics import Progress
from synth.search.lists import Catalogue
from synth.share import fan_out_price

# -- why nothing cheaper -------------------------------------------------------------------------


def counted_plainly(problem: Problem, below: int) -> int:
    """Return how many multisets of parts cost less than `below` by their own prices alone."""
    limits = dict(problem.limits.most)
    catalogue = Catalogue(problem, lambda extra: 0)
    assert fan_out_price(1, problem.kit, limits) == 0
    prices = [p.price for p, _ in catalogue.offers]
    most = below // min(prices)
    return sum(
        sum(prices[i] for i in chosen) < below
        for size in range(most + 1)
        for chosen in itertools.combinations_with_replacement(range(len(prices)), size)
    )


STOCKED = """kit: full
loads: {heater: 3, fan: 1, lamp: 1}
goals: [heater while cold and for 2 min after, fan at night, lamp while door is open]
limits: {untimed: [heater], spare: 2, branches: [[fan, lamp]], least: {relay make: 2}}
stock: {relay make: 1, sensor: 1}
"""


class TestBound:
    def test_the_figures_add_up(self, tmp_path: Path) -> None:
        """By the price list of the kit: of two sensors of 4 coins and two relays of 4 one each is
        in stock; a twilight switch costs 5, a timer 8. What the list comes to is told in full."""
        (tmp_path / "goals.yaml").write_text(STOCKED, encoding="utf-8")
        problem = read_problem(str(tmp_path / "goals.yaml"), None, None)
        floor = least_price(problem, None)
        assert floor.price == sum(map(int, re.findall(r" for (\d+) coin", floor.cheapest)))
        assert "2 x sensor, 1 of them in stock, for 4 coins" in floor.cheapest
        # One sensor is in stock, not one for each of two inputs.
        assert floor.reasons[0] == (
            "Some load depends on 'cold' and 'door', so a part must follow each of them: at least "
            "4 coins (2 x sensor, 1 of them in stock)."
        )

    def test_lists_left_are_at_most_all_lists(self) -> None:
        problem = read_problem(None, "lamp while hot, fan by day", "starter")
        floor = least_price(problem, 16)
        assert floor.left is not None and floor.counted_all
        assert 0 < floor.left <= counted_plainly(problem, 16)

    def test_the_least_price_adds_up(self) -> None:
        """By the kit's price list: switch 2, twilight switch 5, two timers at 8 (one timer and
        few relays cannot tell the seconds of a period apart), a relay at 4 (nothing else makes
        pulses go on), and three loads, a cutoff, a relay and two timers on one supply: 11 inputs
        on 6 outputs, five more outlets, two dividers at 3 and a tap-off at 2."""
        problem, design, _ = kept(Path(SHED_DESIGN))
        floor = least_price(problem, design.price(problem.kit))
        assert floor.price == 2 + 5 + 2 * 8 + 4 + 2 * 3 + 2
        assert any("'master'" in reason for reason in floor.reasons)
        assert any("1 timer must run" in reason for reason in floor.reasons)
        assert floor.left == 0 and floor.counted_all

    def test_a_circuit_without_a_choice_needs_no_search(self) -> None:
        """One lamp at night: a twilight switch, 5 coins by the price list, and nothing else."""
        problem = read_problem(None, "lamp at night", "starter")
        floor = least_price(problem, 5)
        assert floor.price == 5 and not floor.left
        outcome = plan(problem, seconds=20.0)
        assert outcome.status is Status.PROVEN and outcome.price == 5
        told = floor_lines(floor, 5, outcome, problem)
        assert told[-1] == "This circuit costs just that, so nothing cheaper will do."

    def test_counting_ends_with_the_time(self) -> None:
        from synth.search.least import least_price as counted

        problem, _, _ = kept(ROOT / "tests" / "designs" / "whole-yard.json")
        limits = dict(problem.limits.most)
        floor = counted(
            problem,
            lambda consumers: fan_out_price(consumers, problem.kit, limits),
            Progress(deadline=0.0),
            111,
        )
        assert not floor.counted_all
        outcome = Outcome(Status.PROVEN, price=111, proven=("price",))
        assert "more than" in floor_lines(floor, 111, outcome, problem)[-1]

    @pytest.mark.parametrize(
        ("outcome", "price", "said"),
        [
            (Outcome(Status.PROVEN, price=35), 35, "was proven by the search"),
            (Outcome(Status.PROVEN, price=35), 40, "A cheaper circuit does exist"),
            (Outcome(Status.PROVEN, price=35), 30, "lies outside the bounds"),
            (Outcome(Status.BEST_FOUND, price=35), 35, "was not proven"),
            (Outcome(Status.BEST_FOUND, price=34), 35, "found one for 34 coins, and did not prove"),
            (Outcome(Status.BEST_FOUND, price=29), 29, "costs just that"),
            (Outcome(Status.UNDECIDED), 35, "was not proven"),
        ],
    )
    def test_no_more_is_claimed_than_was_proven(
        self, outcome: Outcome, price: int, said: str
    ) -> None:
        problem, _, _ = kept(Path(SHED_DESIGN))
        floor = Floor((), 29, "parts", (), 35, 3)
        told = floor_lines(floor, price, outcome, problem)[-1]
        assert said in told
        assert ("no wiring" in told) == (said == "was proven by the search")


# -- the command ---------------------------------------------------------------------------------


def run(*words: str) -> Result:
    ran = CliRunner().invoke(main, ["why", *words])
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.exception
    assert "Traceback" not in ran.output
    return ran


def without_times(text: str) -> str:
    return re.sub(r'\d+\.\d+ s|"reasons": [\d.]+', "_", text)


class TestCommand:
    def test_text(self) -> None:
        ran = run(SHED_DESIGN, SHED)
        assert ran.exit_code == 0
        for words in ("What each goal needs", "Every part is needed.", "bridge no contact"):
            assert words in " ".join(ran.output.split())
        assert max(len(line) for line in ran.output.splitlines()) <= 100

    def test_one_part_with_its_run(self) -> None:
        ran = run(SHED_DESIGN, SHED, "--part", "relay break 1")
        assert ran.exit_code == 0
        assert "wrong from here" in ran.output and "has run" in ran.output
        assert "twilight" not in ran.output

    @pytest.mark.parametrize("name", ["light", "divider 1", "supply", "tap-off 1"])
    def test_every_kind_of_part(self, name: str) -> None:
        ran = run(SHED_DESIGN, SHED, "--part", name)
        assert ran.exit_code == 0 and name in ran.output

    def test_json(self) -> None:
        ran = run(SHED_DESIGN, SHED, "--format", "json")
        document = json.loads(ran.output)
        assert document["complete"] and not any(p["needless"] for p in document["parts"])
        assert {goal["number"]: goal["parts"] for goal in document["goals"]}[4] == [
            "switch master 1"
        ]
        relay = next(p for p in document["parts"] if p["name"] == "relay break 1")
        assert [change["verdict"] for change in relay["changes"]] == ["fails", "fails"]
        assert relay["changes"][1]["broken"][0]["moments"][-1]["time"] == "60 s"

    def test_same_bytes_again(self) -> None:
        words = (SHED_DESIGN, SHED, "--format", "json")
        assert without_times(run(*words).output) == without_times(run(*words).output)

    def test_out(self, tmp_path: Path) -> None:
        ran = run(SHED_DESIGN, SHED, "--out", str(tmp_path / "why"))
        assert ran.exit_code == 0
        text = (tmp_path / "why" / "why.md").read_text(encoding="utf-8")
        pictures = sorted(f.name for f in (tmp_path / "why").glob("*.svg"))
        assert pictures and all(f"]({name})" in text for name in pictures)
        assert sorted(re.findall(r"\]\(([^)]*)\)", text)) == pictures
        assert "goal 1 wants it on" in text and "bridge no contact" in text

    def test_bound(self) -> None:
        ran = run(SHED_DESIGN, SHED, "--bound", "--no-cache", "--format", "json")
        assert ran.exit_code == 0
        bound = json.loads(ran.output)["bound"]
        assert (bound["status"], bound["price"], bound["least"]) == ("proven-cheapest", 35, 35)
        assert any("nothing cheaper will do" in line for line in bound["told"])

    def test_a_change_of_a_contact_reads_well(self, tmp_path: Path) -> None:
        goals, out = "lamp while hot", str(tmp_path)
        CliRunner().invoke(main, ["plan", "--goals", goals, "--kit", "full", "--out", out])
        told = " ".join(run(str(tmp_path / "design.json"), goals, "--part", "sensor hot 1")
                        .stdout.split())  # fmt: skip
        assert "With sensor hot 1 as a break contact, " in told and "1 with a " not in told

    def test_a_misspelt_part(self) -> None:
        ran = run(SHED_DESIGN, SHED, "--part", "pmup")
        assert ran.exit_code == 2 and "did you mean 'pump'?" in ran.output

    def test_unknown_part(self) -> None:
        ran = run(SHED_DESIGN, SHED, "--part", "relay 9")
        assert ran.exit_code == 2
        assert "no part called 'relay 9'" in ran.output and "relay break 1" in ran.output

    def test_a_design_that_does_not_hold(self) -> None:
        ran = run(SHED_DESIGN, "pump on 10 s of every 50 s, light always, heater at night, "
                  "master cutoff for pump")  # fmt: skip
        assert ran.exit_code == 1
        assert "does not hold" in ran.output and "goals 1 and 4" in ran.output

    def test_a_file_that_is_not_there(self, tmp_path: Path) -> None:
        assert run(str(tmp_path / "none.json"), SHED).exit_code == 2

    def test_time_that_is_no_number(self) -> None:
        assert run(SHED_DESIGN, SHED, "--time-limit", "nan").exit_code == 2
