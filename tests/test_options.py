"""Other designs: the front of price, power and parts, and really different designs."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import replace
from io import StringIO
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from synth import pipeline
from synth.choices import Choice, Choices, Measure, parts_counted
from synth.cli import main
from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.explore import Different, telling
from synth.parts.behaviour import SPLITTING, PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.pose import pose
from synth.problem import Problem
from synth.read.design_file import parse_design
from synth.read.goal_file import parse_goal_file
from synth.read.kit_file import load_kit
from synth.report.choices import front_svg, print_choices
from synth.result import Status

DOCS = Path(__file__).resolve().parents[1] / "docs"
FOUR = "fan 5 s after hot, lamp always, bell while door is open, heater at night"


def front(goals: str, kit: str | None = None, designs: int = 0) -> tuple[Problem, Choices]:
    problem = pipeline.read_problem(None, goals, kit)
    choices, outcome = pipeline.options(problem, 12.0, designs)
    assert outcome.status is Status.PROVEN
    return problem, choices


@pytest.mark.slow
def test_the_front_trades_a_coin_for_two_units() -> None:
    """Five consumers of one unit: two dividers waste two units of seven, and a divider in place
    of which two tap-offs stand wastes none (worked by hand)."""
    problem, choices = front(FOUR, "full")
    figures = [choice.values for choice in choices.front]
    assert figures == [(27, 7, 6), (28, 5, 7)]
    assert choices.front[0].least == (Measure.PRICE, Measure.PARTS)
    assert all(choice.proven for choice in choices.front)
    assert choices.front[1].differs == (
        "1 coin more; 2 units less; 2 x tap-off in place of 1 x divider"
    )
    for choice in choices.front:
        verdict = pipeline.check_design(choice.design, problem)
        assert verdict.holds
        assert choice.values == (
            choice.design.price(problem.kit),
            choice.design.supply,
            parts_counted(choice.design),
        )


@pytest.mark.slow
def test_no_choice_beats_another_and_the_first_is_the_cheapest() -> None:
    problem, choices = front("lamp while hot or damp, fan while hot and not damp", None)
    for one in choices.front:
        assert not any(other.beats(one) for other in choices.front)
    cheapest = pipeline.plan(problem, seconds=20)
    assert choices.front[0].price == cheapest.price


def test_fewest_parts_agree_with_a_kit_in_which_every_part_costs_a_coin(tmp_path: Path) -> None:
    problem, choices = front("lamp while hot, fan while hot, bell while hot", None)
    flat = dataclasses.replace(
        problem.kit,
        parts=tuple(
            part
            if part.type in (PartType.SUPPLY, PartType.LOAD)
            else dataclasses.replace(part, price=1)
            for part in problem.kit.parts
        ),
    )
    fewest = pipeline.plan(dataclasses.replace(problem, kit=flat), seconds=20)
    assert fewest.status is Status.PROVEN
    assert min(choice.parts for choice in choices.front) == fewest.price


def valid(document: object) -> None:
    """Hold a document against its schema, which names that of a plan."""
    from referencing import Registry, Resource

    plan, options = (
        json.loads((DOCS / f"{name}.schema.json").read_text(encoding="utf-8"))
        for name in ("plan", "options")
    )
    registry = Registry().with_resource("plan.schema.json", Resource.from_contents(plan))
    jsonschema.Draft202012Validator(options, registry=registry).validate(document)


def test_documents_keep_to_the_schema(tmp_path: Path) -> None:
    """Of a front, of goals that cannot be had, and of a search that ran out of time."""
    goals = tmp_path / "goals.yaml"
    goals.write_text("goals: [lamp always, fan while wet]\nlimits: {supply: 1}\n", "utf-8")
    for words, code, status in (
        (["--goals", "lamp while hot and damp", "--designs", "5"], 0, "proven-cheapest"),
        ([str(goals)], 1, "impossible"),
        (["goals/whole-yard.yaml", "--time-limit", "0.3"], 3, "undecided"),
    ):
        told = CliRunner().invoke(main, ["options", *words, "--format", "json"])
        assert told.exit_code == code
        document = json.loads(told.stdout)
        valid(document)
        assert document["status"] == status
    document["front"] = [{}]
    with pytest.raises(jsonschema.ValidationError):
        valid(document)


def test_undecided_says_what_was_tried_and_what_may_help() -> None:
    words = ["options", "goals/whole-yard.yaml", "--time-limit", "0.3"]
    told = CliRunner().invoke(main, words).stdout
    for part in ("Undecided", "Tried", "not done", "Known so far", "What may help",
                 "--time-limit", "'known'"):  # fmt: skip
        assert part in told
    assert "--kit full" not in told  # it is that kit


def test_with_power_first_all_is_by_price_here(tmp_path: Path) -> None:
    """What a goal file wants least of makes no other front, and no other designs of a choice."""
    goals = "goals: [lamp while hot and damp, fan while hot]\n"
    told = []
    for number, more in enumerate(("", "minimise: power\n")):
        path = tmp_path / f"{number}.yaml"
        path.write_text(goals + more, encoding="utf-8")
        problem = pipeline.read_problem(str(path), None, None)
        choices, _ = pipeline.options(problem, 20.0, 10)
        assert choices.complete and choices.all_designs
        told.append([[one.values for one in kind] for kind in (choices.front, choices.designs)])
    assert told[0] == told[1]
    words = ["options", "goals/drying-rack.yaml", "--time-limit", "0.5"]
    shown = CliRunner().invoke(main, words).stdout
    assert "Undecided" in shown and not any(
        line.startswith("- no design within") and "units" in line for line in shown.splitlines()
    )


@pytest.mark.slow
def test_designs_for_the_choice_of_fewest_units() -> None:
    """The second choice: as many parts as it has, and no more, in every design for it."""
    problem = pipeline.read_problem(None, FOUR, "full")
    choices, _ = pipeline.options(problem, 20.0, 4, 2)
    chosen = choices.front[1]
    assert choices.designs and choices.chosen == 2
    for one in choices.designs:
        assert all(a <= b for a, b in zip(one.values, chosen.values, strict=True))
        assert pipeline.check_design(one.design, problem).holds


# -- really different designs ---------------------------------------------------------------------


def wiring(*feeds: str, parts: str = "relay make 1, relay make 2, lamp") -> Skeleton:
    """Return a wiring from words like "supply.out>lamp.in"."""
    kinds = {"relay make": PartType.RELAY_MAKE, "joint": PartType.JOINT}
    used = [PartInUse("supply", PartType.SUPPLY, "supply")]
    for name in parts.split(", "):
        stem = name.rstrip("0123456789 ")
        kind = kinds.get(stem, PartType.LOAD)
        used.append(PartInUse(name, kind, stem if kind is not PartType.LOAD else "load"))
    ends = []
    for feed in feeds:
        source, target = feed.split(">")
        ends.append((Terminal(*source.split(".")), Terminal(*target.split("."))))
    return Skeleton("k", tuple(used), tuple(ends))


def test_renamed_parts_make_no_other_design() -> None:
    seen = Different()
    series = (
        "supply.out>relay make 1.in",
        "relay make 1.out>relay make 2.in",
        "relay make 2.out>lamp.in",
        "supply.out>relay make 1.coil",
        "lamp.x>relay make 2.coil",
    )
    swap = {"relay make 1": "relay make 2", "relay make 2": "relay make 1"}
    renamed = tuple(
        ">".join(
            ".".join((swap.get(end.split(".")[0], end.split(".")[0]), end.split(".")[1]))
            for end in feed.split(">")
        )
        for feed in series
    )
    assert seen.add(wiring(*series))
    assert not seen.add(wiring(*series))
    assert not seen.add(wiring(*renamed))
    # Coil and contact exchanged: another design.
    other = tuple(
        feed.replace(".coil", ".tmp").replace("2.in", "2.coil").replace(".tmp", ".in")
        if feed.endswith("2.in") or feed.endswith("2.coil")
        else feed
        for feed in series
    )
    assert seen.add(wiring(*other))


def test_the_sides_of_a_joint_may_be_exchanged() -> None:
    seen = Different()
    parts = "relay make 1, joint 1, lamp"
    assert seen.add(
        wiring(
            "supply.out>joint 1.in1",
            "relay make 1.out>joint 1.in2",
            "joint 1.out>lamp.in",
            parts=parts,
        )
    )
    assert not seen.add(
        wiring(
            "supply.out>joint 1.in2",
            "relay make 1.out>joint 1.in1",
            "joint 1.out>lamp.in",
            parts=parts,
        )
    )


def test_the_order_of_contacts_in_series_makes_no_other_design() -> None:
    """As long as nothing hangs between them."""
    feeds = ["supply.out>switch 1.in", "switch 1.out>switch 2.in", "switch 2.out>lamp.in"]

    def built(first: str, *more: str) -> Skeleton:
        parts = tuple(
            PartInUse(
                name, PartType.SWITCH, "switch",
                (("input", first if name.endswith("1") else "ab".replace(first, "")),),
            )
            if name.startswith("switch")
            else PartInUse(name, PartType.SUPPLY if name == "supply" else PartType.LOAD, name)
            for name in ("supply", "switch 1", "switch 2", "lamp", *(["fan"] if more else []))
        )  # fmt: skip
        return replace(wiring(*feeds, *more, parts="switch 1, switch 2, lamp, fan"), parts=parts)

    seen = Different()
    assert seen.add(built("a")) and not seen.add(built("b"))
    between = "switch 1.out>fan.in"
    assert seen.add(built("a", between)) and seen.add(built("b", between))


@given(st.permutations(range(4)))
@settings(max_examples=24, deadline=None)
def test_any_renaming_is_seen_through(order: list[int]) -> None:
    names = [f"relay make {n}" for n in range(1, 5)]
    feeds = ["supply.out>{}.in", "{}.out>{}.in", "{}.out>{}.coil", "{}.out>lamp.in"]

    def built(on: list[str]) -> Skeleton:
        said = [feeds[0].format(on[0])]
        said += [feeds[1].format(a, b) for a, b in zip(on, on[1:], strict=False)]
        said += [feeds[2].format(on[0], b) for b in on[1:]]
        return wiring(*said, feeds[3].format(on[-1]), parts=", ".join([*names, "lamp"]))

    seen = Different()
    assert seen.add(built(names))
    assert not seen.add(built([names[i] for i in order]))


@pytest.mark.parametrize(
    ("goals", "number"),
    [
        # The second sensor behind the first: nothing else costs as little.
        ("lamp while hot, fan while hot and damp", 1),
        # Two sensors in series: in which order does not matter.
        ("lamp while hot and damp", 1),
        # Three in series.
        ("lamp while hot and damp and windy", 1),
        # The first two feed both lamps, and the third comes behind them.
        ("lamp while hot and damp, fan while hot and damp and windy", 1),
    ],
)
def test_all_designs_counted_by_hand(goals: str, number: int) -> None:
    problem, choices = front(goals, None, designs=50)
    assert choices.all_designs
    assert choices.chosen == 1
    first = choices.front[0]
    assert len(choices.designs) == number
    for design in choices.designs:
        assert (design.price, design.supply) <= (first.price, first.supply)
        assert pipeline.check_design(design.design, problem).holds


def tiny(*parts: KitPart) -> Kit:
    ends = (KitPart("supply", PartType.SUPPLY), KitPart("load", PartType.LOAD))
    return Kit("tiny", "Tiny", Trigger.HELD, (*ends, *parts))


@pytest.mark.parametrize("limits", ["", "limits: {price: 9}"])
def test_a_largest_price_hides_no_other_design(limits: str) -> None:
    """By hand: a sensor of either make at 4, and for its three loads two tap-offs at 1 or, a part
    less, one divider at 3."""
    kit = tiny(
        KitPart("sensor", PartType.SENSOR, 4, options=("make",)),
        KitPart("other sensor", PartType.SENSOR, 4, options=("make",)),
        KitPart("tap-off", PartType.TAP_OFF, 1),
        KitPart("divider", PartType.DIVIDER, 3, outputs=3),
    )
    text = f"goals: [lamp while hot, fan while hot, pump while hot]\n{limits}\n"
    problem = pose(parse_goal_file(text, "tiny"), kit)
    for point, values in enumerate(((6, 3, 3), (7, 3, 2)), 1):
        choices, _ = pipeline.options(problem, 12.0, 10, point)
        assert [design.values for design in choices.designs] == [values] * 2
        assert choices.all_designs


@pytest.mark.parametrize("joint", [0, 1])
def test_joints_that_cost_nothing_are_not_all_gone_through(joint: int) -> None:
    """By hand: two joints of three sensors, and any of the three is joined last."""
    kit = tiny(
        KitPart("sensor", PartType.SENSOR, 4, options=("make",)),
        KitPart("joint", PartType.JOINT, joint),
        KitPart("tap-off", PartType.TAP_OFF, 0),
    )
    text = "goals: [lamp while hot or damp or cold]\nlimits: {supply: 3}\n"
    choices, _ = pipeline.options(pose(parse_goal_file(text, "tiny"), kit), 2.0, 10)
    assert len(choices.designs) == 3 or not choices.all_designs


def test_the_choice_is_the_first_of_its_designs() -> None:
    """However short the time, and however many circuits must be tried for another."""
    problem = pipeline.read_problem(None, "pump on 10 s of every 60 s", None)
    for designs in (1, 2):
        choices, _ = pipeline.options(problem, 12.0, designs)
        first = choices.designs[0]
        assert len(choices.designs) == designs
        assert (first.values, first.differs) == (choices.front[0].values, "")
        assert first.design == choices.front[0].design
        assert all(design.differs for design in choices.designs[1:])


@pytest.mark.slow
def test_a_cycle_at_night_and_a_cutoff_can_be_had_in_one_way() -> None:
    """Four coins of splitting aside, thousands of wirings are ruled out before that is said."""
    file = Path(__file__).parent.parent / "goals" / "potting-shed.yaml"
    choices, _ = pipeline.options(pipeline.read_problem(str(file), None, None), 60.0, 4)
    assert choices.all_designs and len(choices.designs) == 1


def test_telling_differences() -> None:
    kit: Kit = load_kit("starter")
    text = (Path(__file__).parent / "designs" / "potting-shed.json").read_text(encoding="utf-8")
    design = parse_design(text, "potting-shed.json", kit)
    assert telling(design, design, kit) == "the same parts"


NIGHT_PARTS = """kit: night
title: Night parts, invented
trigger: held
parts:
  supply: {type: supply}
  twilight: {type: twilight-switch, price: 5, passes: [night, day]}
  sensor: {type: sensor, price: 4, contact: [make, break]}
  break relay: {type: relay-break, price: 2}
  two-way relay: {type: relay-changeover, price: 6}
  tap: {type: tap-off, price: 1, units: {most: 999}}
  load: {type: load}
"""


@pytest.mark.parametrize(
    ("more", "number", "whole"),
    [
        ("loads: {heater: 3, fan: 2}\ngoals: [lamp always, heater at night, fan by day]\n"
         "limits: {supply: 5, without: [break relay]}\n", 9, True),
        pytest.param("goals: [fan while hot and cold, bell while hot or cold]\n", 7, False,
                     marks=pytest.mark.slow),
    ],
)  # fmt: skip
@pytest.mark.slow
def test_wirings_of_the_same_parts_are_told_apart(
    tmp_path: Path, more: str, number: int, whole: bool
) -> None:
    """No two designs are told alike, and what a line says of a load's path is so. By hand: with
    the supply as small as that, one contact of the relay works the heater and the other the fan,
    and a blip is kept from one of them by a twilight switch: which, there are two ways."""
    (tmp_path / "night.yaml").write_text(NIGHT_PARTS, encoding="utf-8")
    (tmp_path / "goals.yaml").write_text(f"kit: night.yaml\n{more}", encoding="utf-8")
    problem = pipeline.read_problem(str(tmp_path / "goals.yaml"), None, None)
    choices, _ = pipeline.options(problem, 6.0 if whole else 20.0, number)
    assert len(choices.designs) == (2 if whole else number)
    assert choices.all_designs == whole
    console = Console(width=100, record=True, file=StringIO())
    print_choices(console, problem, choices)
    page = " ".join(console.export_text().split())
    rule = (
        "What differs only in the names of parts alike, in the order of contacts in series, or"
    )
    assert (rule in page) == whole
    told = [choice.differs for choice in choices.designs[1:]]
    assert all(told) and len(set(told)) == len(told)
    walked = 0
    for choice in choices.designs[1:]:
        for line in choice.differs.split("; "):
            load, behind, names = line.partition(" behind ")
            if behind and "(" not in line:
                assert names.split(", then ") == before(choice.design, load)
                walked += 1
    assert walked


def before(design: Design, load: str) -> list[str]:
    """Return the parts that carry power to a load, from the supply on, by walking its wires."""
    found: list[str] = []
    at = load
    while at != "supply":
        (source,) = (wire.source for wire in design.wires if wire.target == Terminal(at, "in"))
        part = design.part(source.part)
        if part.type not in SPLITTING and part.type is not PartType.SUPPLY:
            words = [part.part, *(str(v) for k, v in part.settings if k != "units")]
            words += [source.terminal] if source.terminal != "out" else []
            found.insert(0, " ".join(words))
        at = source.part
    return found


# -- what is shown --------------------------------------------------------------------------------


def test_command_writes_all_of_it(tmp_path: Path) -> None:
    folder = tmp_path / "options"
    words = ["options", "--goals", FOUR, "--kit", "full", "--designs", "3", "--out", str(folder)]
    words += ["--time-limit", "10"]
    told = CliRunner().invoke(main, words)
    assert told.exit_code == 0, told.output
    assert "There may be more choices than these." in told.stdout
    document = json.loads((folder / "options.json").read_text(encoding="utf-8"))
    assert [one["price"] for one in document["front"]] == [27, 28]
    ElementTree.fromstring((folder / "front.svg").read_text(encoding="utf-8"))
    problem = pipeline.read_problem(None, FOUR, "full")
    for file in sorted(folder.glob("choice-*.json")):
        design = parse_design(file.read_text(encoding="utf-8"), file.name, problem.kit)
        assert pipeline.check_design(design, problem).holds


def test_command_says_what_is_wrong() -> None:
    asked = ["options", "--goals", "lamp always", "--designs", "1", "--point", "9"]
    told = CliRunner().invoke(main, asked)
    assert told.exit_code == 2
    assert "no choice 9" in told.stderr


@pytest.mark.parametrize("number", [1, 2, 7])
def test_picture_escapes_titles_and_keeps_labels_apart(number: int) -> None:
    _, choices = front("lamp always", None)
    one = choices.front[0]
    many = tuple(
        dataclasses.replace(one, price=10 + n // 2, supply=9 - n, parts=5 + n)
        for n in range(number)
    )
    text = front_svg(Choices(many, True, ()), "<b>&")
    root = ElementTree.fromstring(text)
    labels = [
        (float(node.get("x", "0")), float(node.get("y", "0")), node.text or "")
        for node in root.iter("{http://www.w3.org/2000/svg}text")
        if " part" in (node.text or "")
    ]
    assert len(labels) == number
    for i, (x, y, word) in enumerate(labels):
        for other_x, other_y, other in labels[:i]:
            apart = (
                abs(y - other_y) >= 11
                or x >= other_x + 6 * len(other)
                or (other_x >= x + 6 * len(word))
            )
            assert apart


def test_choices_compare_in_all_measures() -> None:
    _, choices = front("lamp always", None)
    one = choices.front[0]
    better = dataclasses.replace(one, price=one.price - 1)
    mixed = dataclasses.replace(one, price=one.price - 1, supply=one.supply + 1)
    assert isinstance(one, Choice)
    assert better.beats(one) and not one.beats(better)
    assert not mixed.beats(one) and not one.beats(mixed) and not one.beats(one)


def test_parts_are_counted_in_one_way_everywhere() -> None:
    """By hand: a sensor; not the supply, not the load. The plan, the front and the check agree."""
    goals = "lamp while hot"
    plan = CliRunner().invoke(main, ["plan", "--goals", goals]).stdout
    assert "1 part beside the supply and the loads" in " ".join(plan.split())
    front = CliRunner().invoke(main, ["options", "--goals", goals])
    assert "Parts are counted beside the supply and the loads." in " ".join(front.stdout.split())
    told = CliRunner().invoke(main, ["options", "--goals", goals, "--format", "json"]).stdout
    assert json.loads(told)["front"][0]["parts"] == 1
