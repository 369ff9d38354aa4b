"""What parts are for where a design was wished to be built in some way, and where none is idle.

What a wish means is read in `docs/goal-language.md`; designs are wired by hand so that one part at
least is there for the wish alone, or made by the search for random small jobs. The documents are
held against `docs/why.schema.json`. The scenario and all figures are invented.
"""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from random import Random

import jsonschema
import pytest
from check_designs import FULL, load, part, wired
from click.testing import CliRunner
from random_jobs import a_job

from synth.check import check
from synth.cli import main
from synth.conflict import Kind, Wish
from synth.design import Design, PartInUse, Skeleton
from synth.explain.alone import groups
from synth.explain.removals import bare
from synth.explain.wishes import wishes_alone
from synth.parts.behaviour import SPLITTING, PartType
from synth.pipeline import explain_design, least_price, plan, read_problem, solved_alone
from synth.pose import pose
from synth.problem import Limits, Objective, Problem
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.reasons import Answer, Change, Floor, Reasons, SolvedAlone
from synth.report.conflict import wish_in_words
from synth.report.reasons import floor_lines, reasons_files
from synth.result import Outcome, Status
from synth.share import share_power

ROOT = Path(__file__).parent.parent
SCHEMA = json.loads((ROOT / "docs" / "why.schema.json").read_text(encoding="utf-8"))
DESIGNS = sorted((ROOT / "tests" / "designs").glob("*.json"))


def of_a_job(
    text: str, limits: Limits, parts: Sequence[PartInUse], feeds: Mapping[str, str]
) -> tuple[Problem, Design, Reasons]:
    """Return the reasons for a design wired by hand, its power shared, which does as asked."""
    problem = dataclasses.replace(pose(goals_from_text(text), FULL), limits=limits)
    plain = bare(wired(list(parts), feeds, FULL))
    wires = tuple((wire.source, wire.target) for wire in plain.wires)
    design = share_power(
        Skeleton(plain.kit, plain.parts, wires), FULL, problem.objectives, problem.limits
    )
    assert design is not None
    verdict = check(design, problem)
    assert verdict.holds, verdict.defects
    return problem, design, explain_design(design, problem, {})


def told(reasons: Reasons, words: str) -> Answer:
    answers = [a for item in reasons.parts for a in item.answers] + [a for _, a in reasons.wires]
    (answer,) = [answer for answer in answers if answer.told == words]
    return answer


def sensor(name: str, of: str = "hot") -> PartInUse:
    return part(name, PartType.SENSOR, FULL, input=of, contact="make")


def relay(name: str) -> PartInUse:
    return part(name, PartType.RELAY_MAKE, FULL)


IN_LINE = {"hot.in": "supply", "lamp.in": "hot.out"}


class TestWishes:
    def test_a_part_that_is_asked_for(self) -> None:
        """A relay whose coil and contact hang on the sensor does nothing that a wire does not."""
        _, _, reasons = of_a_job(
            "lamp while hot",
            Limits(least=(("relay make", 1),)),
            [sensor("hot"), relay("relay"), load("lamp")],
            {"hot.in": "supply", "relay.coil": "hot.out", "relay.in": "supply",
             "lamp.in": "relay.out"},
        )  # fmt: skip
        (wish,) = reasons.wishes
        assert wish == "the wish for at least 1 x relay make"
        assert reasons.kept_for(wish) == ("relay",)
        assert reasons.needless == ()
        answer = told(reasons, "with hot:out wired straight to lamp:in, past relay")
        assert answer.holds and not answer.harmless and answer.goals == ()
        # The goal needs the supply, the sensor, and what shares its power out; not the relay.
        assert reasons.needed_by(1) == ("supply", "hot", "tap-off 1")
        assert answer.sentence == (
            "With hot:out wired straight to lamp:in, past relay, all goals hold, but the wish for "
            "at least 1 x relay make is not kept: the design uses none of 'relay make'; at least "
            "1 is asked for, each feeding another part."
        )

    def test_one_more_than_is_asked_for(self) -> None:
        """Of two such relays in line one is wished for; the other is there for nothing."""
        _, _, reasons = of_a_job(
            "lamp while hot",
            Limits(least=(("relay make", 1),)),
            [sensor("hot"), relay("one"), relay("two"), load("lamp")],
            {"hot.in": "supply", "one.coil": "hot.out", "one.in": "supply", "two.coil": "one.out",
             "two.in": "supply", "lamp.in": "two.out"},
        )  # fmt: skip
        assert {answer.part for answer in reasons.needless} == {"one", "two"}
        assert reasons.kept_for(reasons.wishes[0]) == ()

    def test_without_the_wish_the_same_part_is_needless(self) -> None:
        _, _, reasons = of_a_job(
            "lamp while hot",
            Limits(),
            [sensor("hot"), relay("relay"), load("lamp")],
            {"hot.in": "supply", "relay.coil": "hot.out", "relay.in": "supply",
             "lamp.in": "relay.out"},
        )  # fmt: skip
        assert reasons.wishes == ()
        (answer,) = reasons.needless
        assert answer.part == "relay" and answer.change is Change.DIRECT

    def test_units_to_spare(self) -> None:
        """One unit is needed and three are to spare: four, and with three two are to spare."""
        _, design, reasons = of_a_job(
            "lamp while hot", Limits(spare=3), [sensor("hot"), load("lamp")], IN_LINE
        )
        assert design.supply == 4
        answer = told(reasons, "with supply set to 3 units")
        assert answer.holds and [item.wish for item in answer.unkept] == [
            "the wish for 3 units of the supply to spare"
        ]
        supply = next(item for item in reasons.parts if item.part.name == "supply")
        assert supply.about == (
            "Loads and control inputs add up to 1 unit; it delivers 4, 3 units of it to "
            "spare as was wished."
        )

    def test_no_timer_on_the_way(self) -> None:
        """A relay between a timer and a load is there for the load that is to be untimed."""
        _, _, reasons = of_a_job(
            "lamp 2 s after hot",
            Limits(untimed=("lamp",)),
            [sensor("hot"), part("delay", PartType.ON_DELAY, FULL, time=2000), relay("relay"),
             load("lamp")],
            {"hot.in": "supply", "delay.in": "supply", "delay.start": "hot.out",
             "relay.coil": "delay.out", "relay.in": "supply", "lamp.in": "relay.out"},
        )  # fmt: skip
        assert reasons.needless == ()
        assert reasons.kept_for("the wish that no timer carries power to lamp") == ("relay",)
        late = told(reasons, "with hot:out wired straight to relay:coil, past delay")
        assert "goal 1 wants it off" in late.sentence

    def test_separate_branches(self) -> None:
        """Two sensors of one input, where one would do but for the branches."""
        _, _, reasons = of_a_job(
            "lamp while hot, fan while hot",
            Limits(branches=(("lamp", "fan"),)),
            [sensor("one"), sensor("two"), load("lamp"), load("fan")],
            {"one.in": "supply", "two.in": "supply", "lamp.in": "one.out", "fan.in": "two.out"},
        )
        assert reasons.needless == ()
        assert reasons.kept_for("the wish for lamp and fan on separate branches") == ("one", "two")
        answer = told(reasons, "with one in place of two too")
        assert answer.change is Change.SHARED
        assert "one carries power to both" in answer.sentence

    def test_words_are_those_of_a_clash(self) -> None:
        problem = dataclasses.replace(
            pose(goals_from_text("lamp while hot, fan while hot"), FULL),
            limits=Limits(
                least=(("joint", 2),), spare=1, branches=(("lamp", "fan"),), untimed=("fan",)
            ),
        )
        wishes = [
            Wish(Kind.LEAST, 2, "joint"),
            Wish(Kind.SPARE, 1),
            Wish(Kind.BRANCHES, 0, loads=("lamp", "fan")),
            Wish(Kind.UNTIMED, 0, loads=("fan",)),
        ]
        alone = wishes_alone(problem)
        assert [words for words, _ in alone] == [wish_in_words(w, problem) for w in wishes]
        asked = [sum(map(bool, (a.limits.least, a.limits.spare, a.limits.branches,
                                a.limits.untimed))) for _, a in alone]  # fmt: skip
        assert asked == [1, 1, 1, 1]


class TestOtherChanges:
    def test_a_second_equal_part_may_only_spare_wires(self) -> None:
        """Without the wish for branches one sensor would do, but would have to feed both."""
        _, _, reasons = of_a_job(
            "lamp while hot, fan while hot",
            Limits(),
            [sensor("one"), sensor("two"), load("lamp"), load("fan")],
            {"one.in": "supply", "two.in": "supply", "lamp.in": "one.out", "fan.in": "two.out"},
        )
        answer = told(reasons, "with one in place of two too")
        assert answer.sentence == (
            "With one in place of two too, all goals hold, but one feeds more wires."
        )
        assert reasons.needless == ()

    def test_either_side_of_a_joint(self) -> None:
        """Of two ways to one load by the same sensor's kind the joint and one way are needless;
        of two inputs neither is."""
        parts = [sensor("hot"), sensor("damp", "damp"), part("joint", PartType.JOINT, FULL),
                 load("lamp")]  # fmt: skip
        feeds = {"hot.in": "supply", "damp.in": "supply", "joint.in1": "hot.out",
                 "joint.in2": "damp.out", "lamp.in": "joint.out"}  # fmt: skip
        _, _, reasons = of_a_job("lamp while hot or damp", Limits(), parts, feeds)
        assert reasons.needless == ()
        answer = told(reasons, "with a plain wire from hot:out in place of joint")
        assert answer.goals == (1,) and "lamp is off" in answer.sentence
        parts[1] = sensor("damp")
        _, _, reasons = of_a_job("lamp while hot", Limits(), parts, feeds)
        assert {answer.part for answer in reasons.needless} == {"joint"}

    def test_an_input_may_not_be_left_open(self) -> None:
        """A lamp that is never on hangs on two contacts that are never closed together."""
        source = "goals: [lamp while hot and damp]\nknown: [hot and damp never together]\n"
        problem = pose(parse_goal_file(source, "dark"), FULL)
        outcome = plan(problem, seconds=20)
        assert outcome.status is Status.PROVEN and outcome.design is not None
        reasons = explain_design(outcome.design, problem, {})
        assert reasons.needless == ()
        for _, answer in reasons.wires:
            assert re.search(
                r"all goals hold, but no input may be left open, as .+ would be\.$", answer.sentence
            )


def nothing_for_nothing(seeds: range) -> int:
    """Check that proven designs of random jobs have no part and no wire that is for nothing."""
    proven = 0
    for seed in seeds:
        problem = a_job(seed).problem
        outcome = plan(problem, seconds=5)
        if outcome.status is not Status.PROVEN or outcome.design is None:
            continue
        reasons = explain_design(outcome.design, problem, {})
        assert reasons.complete
        assert [a.sentence for a in reasons.needless] == [], seed
        wires = [a.sentence for _, a in reasons.wires if a.harmless and not a.note]
        assert wires == [], seed
        proven += 1
    return proven


@pytest.mark.slow
def test_proven_designs_of_random_jobs_have_nothing_for_nothing() -> None:
    assert nothing_for_nothing(range(500, 525)) > 8


@pytest.mark.slow
def test_proven_designs_of_many_random_jobs_have_nothing_for_nothing() -> None:
    assert nothing_for_nothing(range(1000, 1220)) > 80


# -- random jobs with wishes and stock ------------------------------------------------------------


def wishing(seed: int) -> Problem | None:
    """Return a random job with random wishes and stock, None where its kit has no part for one."""
    random = Random(seed)
    problem = a_job(seed).problem
    aside = {*SPLITTING, PartType.SUPPLY, PartType.LOAD, PartType.JOINT}
    names = [part.name for part in problem.kit.parts if part.type not in aside]
    if not names:
        return None
    limits = Limits(
        most=problem.limits.most,
        least=((random.choice(names), 1),) if random.random() < 0.6 else (),
        stock=((random.choice(names), random.choice((1, 2))),) if random.random() < 0.5 else (),
        spare=random.choice((0, 0, 2)),
        untimed=(problem.requirements[0].load,) if random.random() < 0.4 else (),
    )
    return dataclasses.replace(problem, limits=limits)


def with_wishes(seeds: range) -> tuple[int, int]:
    """Check reasons and bounds of random jobs with wishes; return how many were proven, and in how
    many a part is there for a wish alone."""
    proven = kept = 0
    for seed in seeds:
        problem = wishing(seed)
        outcome = plan(problem, seconds=5) if problem is not None else None
        if problem is None or outcome is None or outcome.status is not Status.PROVEN:
            continue
        assert outcome.design is not None
        stock = dict(problem.limits.stock)
        price = outcome.design.price(problem.kit, problem.limits.stock)
        floor = least_price(problem, price)
        assert floor.price is not None and floor.price <= price, seed
        for reason in floor.reasons:
            for coins in re.findall(r"at least (\d+) coin", reason):
                assert int(coins) <= price, (seed, reason)
        reasons = explain_design(outcome.design, problem, {})
        assert reasons.complete
        lines = {item.part.name: problem.kit.index[item.part.part] for item in reasons.parts}
        # What costs nothing beside the stock may be there for nothing, since only the price counts
        # for certain.
        paid = [a for a in reasons.needless
                if lines[a.part].price and lines[a.part].name not in stock]  # fmt: skip
        assert [answer.sentence for answer in paid] == [], seed
        proven += 1
        kept += any(item.wishes for item in reasons.parts)
    return proven, kept


@pytest.mark.slow
def test_reasons_of_random_jobs_with_wishes() -> None:
    proven, kept = with_wishes(range(2000, 2016))
    assert proven > 4 and kept > 1


@pytest.mark.slow
def test_reasons_of_many_random_jobs_with_wishes() -> None:
    proven, kept = with_wishes(range(3000, 3100))
    assert proven > 33 and kept > 13


# -- what is proven alone ------------------------------------------------------------------------


class TestAlone:
    def test_prices_are_those_of_the_kit(self) -> None:
        """Two switches that are one each, by the kit's list: a sensor 4 and a twilight switch 5;
        a load that is always on needs no part."""
        problem = read_problem(None, "lamp while hot, fan at night, light always", "full")
        alone = solved_alone(problem, 20)
        assert [(item.loads, item.goals, item.price) for item in alone] == [
            (("lamp",), (1,), 4), (("fan",), (2,), 5), (("light",), (3,), 0)
        ]  # fmt: skip

    def test_one_load_at_a_time_where_all_share_an_input(self) -> None:
        problem = read_problem(None, "lamp while hot, fan while not hot", "full")
        assert groups(problem) == [frozenset({"lamp"}), frozenset({"fan"})]
        assert [(item.loads, item.price) for item in solved_alone(problem, 20)] == [
            (("lamp",), 4), (("fan",), 4)
        ]  # fmt: skip

    def test_loads_that_wait_for_each_other_come_together(self) -> None:
        text = "opener while hot, closer while damp, leave 2 s between opener and closer"
        assert groups(read_problem(None, text, "full")) == []
        assert groups(read_problem(None, f"{text}, lamp while hot", "full")) == [
            frozenset({"opener", "closer"}), frozenset({"lamp"})
        ]  # fmt: skip

    def test_nothing_is_said_where_power_counts_first(self) -> None:
        problem = read_problem(None, "lamp while hot, fan at night", "full")
        first = (Objective.SUPPLY, Objective.PRICE, Objective.WIRES)
        assert solved_alone(dataclasses.replace(problem, objectives=first), 20) == ()

    def test_told_beside_the_bound(self) -> None:
        problem = read_problem(None, "lamp while hot, fan at night", "full")
        alone = (SolvedAlone(("lamp",), (1,), 4, "sensor"), SolvedAlone(("fan",), (2,), 0, "none"))
        outcome = Outcome(Status.PROVEN, None, 9)
        lines = floor_lines(Floor((), 9, "parts", alone=alone), 9, outcome, problem)
        assert lines[-1] == (
            "Solved by itself, lamp (goal 1) cannot be had for less than 4 coins, proven: sensor."
        )
        assert not any("fan" in line for line in lines)

    def test_stock_is_told_with_the_bound(self) -> None:
        problem = read_problem(None, "lamp while hot", "full")
        problem = dataclasses.replace(problem, limits=Limits(stock=(("sensor", 1),)))
        lines = floor_lines(Floor((), 0, "sensor"), 0, Outcome(Status.PROVEN, None, 4), problem)
        assert "costs at least 0 coins beside what is in stock" in lines[0]


# -- documents -----------------------------------------------------------------------------------


def printed(*words: str) -> dict[str, object]:
    ran = CliRunner().invoke(main, ["why", *words, "--format", "json"])
    assert ran.exit_code in (0, 3), ran.output
    document = json.loads(ran.output)
    assert isinstance(document, dict)
    jsonschema.validate(document, SCHEMA)
    return document


class TestDocuments:
    @pytest.mark.parametrize("file", DESIGNS, ids=lambda f: f.stem)
    def test_of_kept_designs(self, file: Path) -> None:
        printed(str(file), str(ROOT / "goals" / f"{file.stem}.yaml"))

    def test_of_a_part_and_of_the_bound(self) -> None:
        shed = str(ROOT / "tests" / "designs" / "potting-shed.json")
        goals = str(ROOT / "goals" / "potting-shed.yaml")
        assert "bound" not in printed(shed, goals, "--part", "pump")
        bound = printed(shed, goals, "--bound", "--no-cache")["bound"]
        assert isinstance(bound, dict)
        assert bound["bounds"] and [item["loads"] for item in bound["alone"]] == [
            ["pump"], ["light"], ["heater"]
        ]  # fmt: skip
        # By the kit's list: a switch 2, a relay 4 and two timers at 8; the rest shares power.
        assert bound["alone"][0]["price"] > 2 + 4 + 2 * 8

    def test_of_wishes(self, tmp_path: Path) -> None:
        goals = tmp_path / "wishes.yaml"
        goals.write_text(
            "kit: full\ngoals: [lamp while hot, fan while hot]\n"
            "limits: {least: {relay break: 1}, spare: 1, branches: [[lamp, fan]]}\n"
            "stock: {sensor: 2}\n",
            encoding="utf-8",
        )
        runner = CliRunner()
        ran = runner.invoke(main, ["plan", str(goals), "--no-cache", "--out", str(tmp_path / "p")])
        assert ran.exit_code == 0, ran.output
        design = str(tmp_path / "p" / "design.json")
        document = printed(design, str(goals), "--bound", "--no-cache")
        wishes = document["wishes"]
        assert isinstance(wishes, list) and len(wishes) == 3
        assert wishes[0]["parts"] and wishes[1]["parts"] == ["supply"]
        page = runner.invoke(main, ["why", design, str(goals), "--out", str(tmp_path / "why")])
        assert page.exit_code == 0 and "Wishes for how it is built" in page.output
        text = (tmp_path / "why" / "why.md").read_text(encoding="utf-8")
        assert "## Wishes for how it is built" in text and "relay break" in text

    def test_a_schema_that_lets_anything_through_would_be_none(self) -> None:
        shed = ROOT / "tests" / "designs" / "potting-shed.json"
        document = printed(str(shed), str(ROOT / "goals" / "potting-shed.yaml"))
        for spoil in ("complete", "parts", "wires", "wishes"):
            spoilt = {key: value for key, value in document.items() if key != spoil}
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate(spoilt, SCHEMA)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**document, "more": 1}, SCHEMA)


def test_a_page_without_wishes_has_no_table_of_them() -> None:
    problem = read_problem(None, "lamp while hot", "full")
    outcome = plan(problem, seconds=20)
    assert outcome.design is not None
    files = reasons_files(problem, explain_design(outcome.design, problem, {}))
    assert "Wishes" not in files["why.md"]
