"""What each part is for: changes of designs, what they break, and what bounds alone prove.

Outside the rooms under test: the plain simulation, which was written apart from the checker, says
of every change of small designs whether something breaks; required levels come of its
`wanted_levels`; designs wired by hand refute any claim of a price that is too high. The scenario
and all figures are invented.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from check_designs import FULL, STARTER, load, part, wired
from plain_simulation import first_failure as plain_failure
from plain_simulation import wanted_levels

from synth.check import check, first_failure, structure
from synth.check.simulate import simulate
from synth.design import Design, PartInUse, Terminal
from synth.explain import Judge, explain
from synth.explain.blame import at_fault, required
from synth.explain.removals import bare, pruned, variations
from synth.parts.behaviour import SPLITTING, PartType
from synth.pipeline import (
    explain_design,
    goals_left_out,
    least_price,
    plan,
    read_design,
    read_problem,
)
from synth.pose.without import without
from synth.problem import Problem
from synth.read.goal_file import goals_from_text
from synth.reasons import Answer, Change, Reasons
from synth.report.reasons import reasons_files
from synth.result import Fault, Status
from synth.trace import Moment

ROOT = Path(__file__).parent.parent
DESIGNS = sorted((ROOT / "tests" / "designs").glob("*.json"))
BY_HAND = sorted((ROOT / "tests" / "known").glob("*.yaml"))
SHED = str(ROOT / "goals" / "potting-shed.yaml")
SHED_DESIGN = str(ROOT / "tests" / "designs" / "potting-shed.json")


@cache
def kept(file: Path) -> tuple[Problem, Design, dict[int, Problem]]:
    """Return problem and design of a file, and the problem without each of its goals."""
    goals = str(ROOT / "goals" / f"{file.stem}.yaml")
    problem, design = read_design(str(file), goals, None, None)
    return problem, design, goals_left_out(goals, None, problem)


@cache
def reasons_of(file: Path) -> Reasons:
    problem, design, fewer = kept(file)
    return explain_design(design, problem, fewer)


def of_phrases(
    text: str, parts: list[PartInUse], feeds: Mapping[str, str], kit: str = "starter"
) -> tuple[Problem, Design, Reasons]:
    """Return the reasons for a design wired by hand for some phrases, which it must fulfil."""
    problem = read_problem(None, text, kit)
    design = wired(parts, feeds, problem.kit)
    assert check(design, problem).holds
    fewer = goals_left_out(None, text, problem)
    return problem, design, explain_design(design, problem, fewer)


def answer_of(reasons: Reasons, told: str) -> Answer:
    answers = [a for item in reasons.parts for a in item.answers if a.told == told]
    answers += [a for _, a in reasons.wires if a.told == told]
    (answer,) = answers
    return answer


# -- no part is there for nothing --------------------------------------------------------------


@pytest.mark.parametrize("file", [*DESIGNS, *BY_HAND], ids=lambda f: f"{f.parent.name}-{f.stem}")
class TestKeptDesigns:
    def test_every_part_is_needed(self, file: Path) -> None:
        """The cheapest design has no part that costs something and that no goal needs."""
        problem, design, _ = kept(file)
        reasons = reasons_of(file)
        assert reasons.complete
        assert [answer.sentence for answer in reasons.needless] == []
        named = [item.part.name for item in reasons.parts if item.goals]
        others = [p.name for p in design.parts if p.type is not PartType.LOAD]
        assert [name for name in named if name in others] == others
        assert all(answer.broken for _, answer in reasons.wires)
        assert [wire for wire, _ in reasons.wires] == list(design.wires)

    def test_each_counterexample_is_seen_in_a_run(self, file: Path) -> None:
        """The changed design, run at the moments told, is at the level told; the goals want the
        other (by the plain simulation's own count of what they want)."""
        problem, design, _ = kept(file)
        changed = {change.told: change.design for change in variations(design, problem)}
        seen = 0
        answers = [a for item in reasons_of(file).parts for a in item.answers]
        for answer in (*answers, *(a for _, a in reasons_of(file).wires)):
            for broken in answer.broken:
                if broken.fault is not Fault.GOAL:
                    continue
                example = broken.example
                assert example is not None
                end = example.moments[-1].time
                run = simulate(changed[answer.told], problem, example.moments, end + 1)
                track = next(t for t in run.tracks if t.role == "load" and t.name == broken.load)
                assert track.level(end) == example.got, answer.told
                wanted = wanted_levels(problem, example.moments, end)[broken.load][-1]
                assert wanted == (end, example.expected), answer.told
                assert example.got != example.expected
                seen += 1
        assert seen > 10

    def test_goals_named_are_goals_of_the_load(self, file: Path) -> None:
        problem, _, _ = kept(file)
        goals = {r.load: set(r.goals) for r in problem.requirements}
        for item in reasons_of(file).parts:
            for answer in item.answers:
                for broken in answer.broken:
                    assert broken.goals
                    assert not broken.load or set(broken.goals) <= goals[broken.load]

    def test_units_agree_with_the_check(self, file: Path) -> None:
        """Too few units are found just where the check of the build finds them."""
        problem, design, _ = kept(file)
        changes = {
            c.told: c.design for c in variations(design, problem) if c.change is Change.UNITS
        }
        assert changes
        for told, changed in changes.items():
            found = any(d.fault is Fault.UNITS for d in structure(changed, problem.kit, problem))
            assert (answer_of(reasons_of(file), told).broken != ()) == found, told

    def test_bounds_claim_no_more_than_there_is(self, file: Path) -> None:
        """A design that holds refutes every claim of a higher least price."""
        problem, design, _ = kept(file)
        price = design.price(problem.kit)
        floor = least_price(problem, None)
        assert floor.price is not None
        assert 0 < floor.price <= price
        assert floor.reasons


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(f.stem for f in (ROOT / "goals").glob("*.yaml")))
def test_plans_have_no_needless_part(name: str) -> None:
    goals = str(ROOT / "goals" / f"{name}.yaml")
    problem = read_problem(goals, None, None)
    outcome = plan(problem, seconds=10.0)
    if outcome.design is None:
        outcome = plan(problem, seconds=60.0, gap=50.0)
    assert outcome.design is not None
    reasons = explain_design(outcome.design, problem, goals_left_out(goals, None, problem))
    assert reasons.complete
    if outcome.status is Status.PROVEN and problem.objectives[0].value == "price":
        assert [answer.sentence for answer in reasons.needless] == []
        assert [a.sentence for _, a in reasons.wires if a.harmless] == []


def sensor(name: str, contact: str = "make") -> PartInUse:
    return part(name, PartType.SENSOR, FULL, input="hot", contact=contact)


def test_a_part_beside_is_needless() -> None:
    """A timer that works for nothing but a relay that feeds nothing."""
    _, _, reasons = of_phrases(
        "lamp while hot",
        [
            sensor("hot"),
            part("idle", PartType.OFF_DELAY, FULL, time=1000),
            part("spare", PartType.RELAY_BREAK, FULL),
            load("lamp"),
        ],
        {
            "hot.in": "supply",
            "lamp.in": "hot.out",
            "idle.in": "supply",
            "idle.start": "hot.out",
            "spare.in": "idle.out",
            "spare.coil": "hot.out",
        },
        "full",
    )
    needless = {answer.part for answer in reasons.needless}
    assert {"idle", "spare"} <= needless
    assert "hot" not in needless


def test_a_part_that_a_wire_can_replace_is_needless() -> None:
    """Two contacts of one condition in line: without either nothing works, but one will do."""
    _, _, reasons = of_phrases(
        "lamp while hot",
        [sensor("one"), sensor("two"), load("lamp")],
        {"one.in": "supply", "two.in": "one.out", "lamp.in": "two.out"},
        "full",
    )
    assert [answer.told for answer in reasons.needless] == ["with one bridged", "with two bridged"]
    assert answer_of(reasons, "without one").goals == (1,)


# -- against the plain simulation --------------------------------------------------------------


SHORT = "pump on 1 s of every 3 s, light always, heater at night, master cutoff for pump"


def short_shed() -> tuple[Problem, Design]:
    """Return the potting shed with times that the plain simulation goes through."""
    problem = read_problem(None, SHORT, "starter")
    _, design, _ = kept(Path(SHED_DESIGN))
    shorter = {10_000: 1000, 60_000: 3000}
    parts = tuple(
        replace(
            item,
            settings=tuple(
                (k, shorter[v] if k == "time" and isinstance(v, int) else v)
                for k, v in item.settings
            ),
        )
        for item in design.parts
    )
    return problem, replace(design, parts=parts)


def hand_wired() -> tuple[Problem, Design]:
    """Return a fan behind a make and a break contact and a delay, a lamp beside."""
    text = "fan 1 s after hot, lamp while not hot"
    problem = read_problem(None, text, "full")
    parts = [
        sensor("hot"),
        sensor("cool", "break"),
        part("delay", PartType.ON_DELAY, FULL, time=1000),
        load("fan"),
        load("lamp"),
    ]
    feeds = {
        "hot.in": "supply",
        "delay.in": "supply",
        "delay.start": "hot.out",
        "fan.in": "delay.out",
        "cool.in": "supply",
        "lamp.in": "cool.out",
    }
    return problem, wired(parts, feeds, problem.kit)


@pytest.mark.parametrize("job", [short_shed, hand_wired], ids=["shed", "by hand"])
def test_plain_simulation_agrees(job: object) -> None:
    """It finds a failure of just those changes that are said to break something."""
    assert callable(job)
    problem, design = job()
    assert check(design, problem).holds
    reasons = explain_design(design, problem, {})
    broken = {a.told for item in reasons.parts for a in item.answers if a.broken}
    broken |= {a.told for _, a in reasons.wires if a.broken}
    changes = [c for c in variations(design, problem) if c.change is not Change.UNITS]
    for change in changes:
        failure = plain_failure(change.design, problem, 10, 1)
        assert (failure is not None) == (change.told in broken), change.told
    assert plain_failure(pruned(bare(design), problem.kit), problem, 10, 1) is None


def test_bare_designs_do_the_same() -> None:
    """Splitting parts only share power: without them a run is the same."""
    for file in DESIGNS:
        problem, design, _ = kept(file)
        plain = bare(design)
        assert not any(item.type in SPLITTING for item in plain.parts)
        names = [item.name for item in problem.inputs if item.name != "supply"]
        moments = [Moment(Fraction(0), (("supply", True),))]
        moments += [
            Moment(Fraction(3000 * k + 700), ((name, k % 2 == 0),))
            for k, name in enumerate(itertools.islice(itertools.cycle(names), 40), 1)
        ]
        one, other = (simulate(d, problem, moments, 200_000) for d in (design, plain))
        assert one == other
        assert any(track.changes for track in one.tracks if track.role == "load")


def live(
    output: Terminal,
    source: Mapping[Terminal, Terminal],
    kinds: Mapping[str, PartInUse],
    problem: Problem,
) -> bool:
    item = kinds[output.part]
    behind = [
        source.get(Terminal(item.name, name)) for name in problem.kit.index[item.part].shape.power
    ]
    return item.type is PartType.SUPPLY or any(
        other is not None and live(other, source, kinds, problem) for other in behind
    )


def useful(
    name: str,
    source: Mapping[Terminal, Terminal],
    kinds: Mapping[str, PartInUse],
    seen: frozenset[str] = frozenset(),
) -> bool:
    if kinds[name].type is PartType.LOAD:
        return True
    after = {t.part for t, s in source.items() if s.part == name} - seen
    return any(useful(other, source, kinds, seen | {name}) for other in after)


def test_nothing_dead_and_nothing_idle_is_left() -> None:
    """Walking back from each wire one comes to the supply, on from each part to a load."""
    changed = 0
    for file in DESIGNS:
        problem, design, _ = kept(file)
        for change in variations(design, problem):
            if change.change is Change.UNITS:
                continue
            source = {wire.target: wire.source for wire in change.design.wires}
            kinds = {item.name: item for item in change.design.parts}

            assert all(live(output, source, kinds, problem) for output in source.values()), (
                change.told
            )
            idle = [n for n, item in kinds.items() if item.type is not PartType.SUPPLY]
            assert all(useful(name, source, kinds) for name in idle), change.told
            changed += len(bare(design).wires) > len(change.design.wires) + 1
    assert changed > 20


# -- the judge ---------------------------------------------------------------------------------


def test_first_failure_agrees_with_the_check() -> None:
    """Designs that must be rejected, for a reason worked out by hand, fail at a load or a pair by
    itself for that reason as well."""
    from test_must_reject import EXPECTED, read

    judged = 0
    for name, expected in EXPECTED.items():
        if not expected.events or expected.fault is Fault.CHATTER:
            continue
        design, problem = read(name)
        subjects = [*(r.load for r in problem.requirements), *problem.apart]
        found = [first_failure(design, problem, subject) for subject in subjects]
        assert any(
            defect is not None
            and defect.fault is expected.fault
            and expected.words in defect.message
            for defect in found
        ), name
        judged += 1
    assert judged > 12


def test_open_inputs_are_dead_to_the_judge() -> None:
    problem, design, _ = kept(Path(SHED_DESIGN))
    wires = tuple(w for w in design.wires if w.target != Terminal("heater", "in"))
    without_wire = replace(design, wires=wires)
    assert any(d.fault is Fault.STRUCTURE for d in check(without_wire, problem).defects)
    assert first_failure(without_wire, problem, "pump") is None
    found = first_failure(without_wire, problem, "heater")
    assert found is not None and found.fault is Fault.GOAL


def test_peak_and_pairs_are_judged() -> None:
    """By the goals' own words: with either contact of the relay bridged, both may be on."""
    file = ROOT / "tests" / "designs" / "drying-rack.json"
    problem, _, _ = kept(file)
    assert problem.peak is not None and problem.apart
    reasons = reasons_of(file)
    answers = [a for item in reasons.parts for a in item.answers if a.change is Change.BRIDGED]
    faults = {broken.fault for answer in answers for broken in answer.broken}
    assert Fault.TOGETHER in faults
    told = {b.goals for a in answers for b in a.broken if b.fault is Fault.TOGETHER}
    assert told == {(problem.apart[0].goal,)}


# -- which goal ---------------------------------------------------------------------------------


class TestGoals:
    """What the phrases mean decides (docs/goal-language.md): a cutoff wants a load off, a cycle
    wants it on."""

    def test_a_cutoff_is_named_for_a_load_that_must_be_off(self) -> None:
        reasons = reasons_of(Path(SHED_DESIGN))
        assert answer_of(reasons, "with switch master 1 bridged").goals == (4,)
        assert answer_of(reasons, "without switch master 1").goals == (1,)
        assert reasons.needed_by(4) == ("switch master 1",)

    def test_never_while_is_named(self) -> None:
        reasons = reasons_of(ROOT / "tests" / "designs" / "water-butt.json")
        filler = [
            b
            for b in answer_of(reasons, "with sensor well empty 1 bridged").broken
            if b.load == "filler"
        ]
        assert [b.goals for b in filler] == [(2,)]

    def test_levels_wanted_are_those_of_the_plain_simulation(self) -> None:
        problem, _, _ = kept(Path(SHED_DESIGN))
        moments = (
            Moment(Fraction(0), (("supply", True), ("master", True))),
            Moment(Fraction(25_001, 2), (("night", True),)),
            Moment(Fraction(71_000), (("master", False),)),
            Moment(Fraction(80_000), (("master", True),)),
            Moment(Fraction(89_999)),
            Moment(Fraction(90_000)),
            Moment(Fraction(200_000)),
        )
        levels = set()
        for count in range(1, len(moments) + 1):
            some = moments[:count]
            for load_name, track in wanted_levels(problem, some, some[-1].time).items():
                assert required(problem, load_name, some) == track[-1][1]
                levels.add((load_name, track[-1][1]))
        assert levels >= {("pump", True), ("pump", False), ("heater", False), ("heater", True)}
        assert required(problem, "no such load", moments) is None

    def test_all_goals_are_named_where_no_single_one_is_at_fault(self) -> None:
        problem, _, _ = kept(Path(SHED_DESIGN))
        moments = (Moment(Fraction(0), (("supply", True), ("master", True))),)
        assert at_fault((1, 4), {1: problem, 4: problem}, "pump", moments, False) == (1, 4)

    def test_a_goal_is_left_out_with_its_inputs(self) -> None:
        goals = goals_from_text("fan while hot, lamp by day, fan never while damp")
        rest = without(goals, goals.goals[2])
        assert [goal.number for goal in rest.goals] == [1, 2]
        file = str(ROOT / "goals" / "water-butt.yaml")
        fewer = goals_left_out(file, None, read_problem(file, None, None))
        assert "well empty" not in {item.name for item in fewer[2].inputs}
        assert {r.load for r in fewer[2].requirements} == {"filler", "sump pump", "pilot"}


# -- words --------------------------------------------------------------------------------------


class TestSentences:
    def test_the_moment_and_the_goal(self) -> None:
        """By the pump's goal, 10 s of every 60 s: with the relay always closed the second timer
        never gets a new edge, so the pump runs once."""
        reasons = reasons_of(Path(SHED_DESIGN))
        assert answer_of(reasons, "with relay break 1 bridged").sentence == (
            "With relay break 1 bridged, pump is off 60 s after the supply comes on with master on "
            "(it has run once and stays off while no input changes); goal 1 wants it on."
        )

    def test_staying_off_is_said_only_where_nothing_goes_on(self) -> None:
        """With a shorter pulse the pump comes on again in the next round."""
        reasons = reasons_of(Path(SHED_DESIGN))
        sentence = answer_of(reasons, "with pulse timer 1 set to 9 s").sentence
        assert "9 s after the supply comes on" in sentence
        assert "has run once" in sentence and "stays off" not in sentence

    def test_sharing_parts_and_units(self) -> None:
        reasons = reasons_of(Path(SHED_DESIGN))
        about = {item.part.name: item.about for item in reasons.parts}
        assert about["supply"].startswith("Loads and control inputs add up to 6 units")
        assert "pulse timer 1:start, relay break 1:coil" in about["tap-off 1"]
        assert about["pump"] == "Asked for by goals 1, 4."
        assert answer_of(reasons, "without divider 1").goals == (1, 2, 3)

    def test_a_change_that_harms_nothing_says_so(self) -> None:
        reasons = reasons_of(ROOT / "tests" / "designs" / "seed-trays.json")
        holding = [a for item in reasons.parts for a in item.answers if a.holds]
        assert holding
        for answer in holding:
            assert re.search(r"all goals hold\.|enough\.|one more wire\.|more wires\.$",
                             answer.sentence)  # fmt: skip

    def test_times_are_changed_by_one_step_of_the_kit(self) -> None:
        reasons = reasons_of(Path(SHED_DESIGN))
        told = {a.told for item in reasons.parts for a in item.answers}
        assert {f"with pulse timer 2 set to {t} s" for t in (59, 61)} <= told


# -- time, and stopping --------------------------------------------------------------------------


def test_what_is_not_looked_at_is_not_decided() -> None:
    problem, design, fewer = kept(Path(SHED_DESIGN))
    asked = iter(range(10_000))
    reasons = explain_design(design, problem, fewer, stopped=lambda: next(asked) >= 12)
    assert not reasons.complete
    answers = [a for item in reasons.parts for a in item.answers]
    open_ones = [a for a in answers if not a.decided]
    assert open_ones and any(a.broken for a in answers)
    assert all(not a.holds for a in open_ones)
    silent = [a for a in open_ones if not a.broken]
    assert silent and all(a.sentence.endswith("it ended before.") for a in silent)
    assert all(answer.decided for answer in reasons.needless)


def test_a_judge_that_cannot_decide_is_no_proof() -> None:
    from synth.errors import Undecided

    problem, design, fewer = kept(Path(SHED_DESIGN))

    def never(*anything: object) -> None:
        raise Undecided("too many states")

    judge = Judge(never, lambda d, k: {}, simulate, lambda p, m: "", lambda d, p, s: [])
    reasons = explain(design, problem, judge, fewer)
    changes = [a for i in reasons.parts for a in i.answers if a.change is not Change.UNITS]
    assert changes and not any(answer.holds or answer.broken for answer in changes)
    assert reasons.needless == ()


# -- names --------------------------------------------------------------------------------------


def test_names_do_no_harm_in_the_page() -> None:
    """Names that a user chose stand in the page as text, and name no file outside the folder."""
    problem, design, _ = kept(Path(SHED_DESIGN))
    wild = "../<img src=x> [a](b) | `c`"
    renamed = {item.name: item.name for item in design.parts} | {"relay break 1": wild}
    other = replace(
        design,
        parts=tuple(replace(item, name=renamed[item.name]) for item in design.parts),
        wires=tuple(
            replace(
                wire,
                source=replace(wire.source, part=renamed[wire.source.part]),
                target=replace(wire.target, part=renamed[wire.target.part]),
            )
            for wire in design.wires
        ),
    )
    files = reasons_files(problem, explain_design(other, problem, {}))
    assert len(files) > 3
    assert all(re.fullmatch(r"[a-z0-9-]+\.(svg|md)", name) for name in files)
    assert "<img" not in re.sub(r"\\.", "", files["why.md"])
    assert wild.replace("<", "") not in files["why.md"]


def test_starter_kit_and_full_kit_are_those_of_the_examples() -> None:
    """The examples above are in the kits that they were wired for."""
    assert {kept(file)[0].kit.name for file in DESIGNS} == {STARTER.name, FULL.name}
