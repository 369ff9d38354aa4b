"""The lesson: stages, names that stay, attempts that fail and their mends, and how it is written.

Failing runs are replayed by the plain simulation of `plain_simulation`, which was written apart
from the checker; names are compared with a shuffle that is known; what a question's answer must be
is worked out by hand from the goals' words. The scenario and all figures are invented.
"""

from __future__ import annotations

import json
import random
import re
import time
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from check_designs import STARTER, load, part, pump_cycle, wired
from click.testing import CliRunner, Result
from plain_simulation import STEP, Broken, Plain

from synth.changes import Changes, changes_of, matched, named_after
from synth.check import check, simulate
from synth.cli import main
from synth.design import Design, Terminal
from synth.errors import GoalError
from synth.explain.removals import bare
from synth.goals import GoalList
from synth.lesson import Lesson, Stage
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit
from synth.pipeline import lesson, read_problem
from synth.pose import pose
from synth.pose.without import only
from synth.problem import Problem
from synth.read.goal_file import goals_from_text, load_goal_file
from synth.read.kit_file import load_kit
from synth.report.lesson import MARKDOWN, PAGE, lesson_files
from synth.result import Status
from synth.teach.stages import stages_of
from synth.trace import Moment

ROOT = Path(__file__).resolve().parents[1]
SHED = str(ROOT / "goals" / "potting-shed.yaml")


@cache
def shed() -> Lesson:
    """Return the lesson of the potting shed."""
    return lesson(SHED, None, read_problem(SHED, None, None))


def taught(text: str, kit: str = "starter", seconds: float = 60.0) -> Lesson:
    """Return the lesson of some phrases."""
    return lesson(None, text, read_problem(None, text, kit), seconds)


def too_dear(folder: Path) -> str:
    """Return a goal file whose second goal costs more than the limit leaves."""
    file = folder / "dear.yaml"
    file.write_text(
        "title: Too dear\ngoals:\n  - lamp at night\n  - fan while hot\nlimits:\n  price: 6\n"
    )
    return str(file)


def replayed(design: Design, problem: Problem, moments: tuple[Moment, ...]) -> tuple[int, str]:
    """Return (moment in ticks, how) at which the plain simulation finds the run broken, (-1, "")
    where it does not up to the last moment."""
    plain = Plain(design, problem)
    outside = {moment.time: dict(moment.inputs) for moment in moments}
    levels = dict.fromkeys(plain.names, False)
    now = plain.first()
    last = int(moments[-1].time)
    assert all(moment % STEP == 0 for moment in outside)
    for step in range(last // STEP + 1):
        levels = levels | outside.get(step * STEP, {})
        after = plain.event(now, levels, step > 0)
        if isinstance(after, Broken):
            return step * STEP, after.how
        assert after is not None
        now = after
    return -1, ""


# -- stages --------------------------------------------------------------------------------------


def staged(goal_list: GoalList, kit: Kit) -> list[tuple[tuple[int, ...], Problem]]:
    def posed(numbers: frozenset[int]) -> Problem | None:
        try:
            return pose(only(goal_list, numbers), kit)
        except GoalError:
            return None

    return stages_of(goal_list, posed)


class TestStages:
    def numbers(self, text: str) -> list[tuple[int, ...]]:
        return [new for new, _ in staged(goals_from_text(text), load_kit("full"))]

    def test_in_the_order_of_the_list(self) -> None:
        assert self.numbers("lamp always, fan while hot, pump at night") == [(1,), (2,), (3,)]

    def test_a_limit_waits_for_its_load(self) -> None:
        text = "master cutoff for pump, lamp always, pump on 10 s of every 60 s"
        assert self.numbers(text) == [(2,), (3,), (1,)]

    def test_a_limit_of_two_loads_waits_for_both(self) -> None:
        text = "warmer while damp, warmer and blower never together, blower while hot"
        assert self.numbers(text) == [(1,), (3,), (2,)]

    def test_what_follows_a_load_waits_for_it(self) -> None:
        assert self.numbers("pilot shows pump on, pump at night") == [(2,), (1,)]

    @pytest.mark.parametrize("file", sorted((ROOT / "goals").glob("*.yaml")), ids=lambda f: f.stem)
    def test_each_goal_once(self, file: Path) -> None:
        problem = read_problem(str(file), None, None)
        stages = staged(load_goal_file(str(file)), problem.kit)
        numbers = [goal.number for goal in problem.goals]
        assert sorted(n for new, _ in stages for n in new) == numbers
        so_far: set[int] = set()
        for new, asked in stages:
            so_far |= set(new)
            assert {goal.number for goal in asked.goals} == so_far


# -- names ---------------------------------------------------------------------------------------


def shuffled(design: Design, seed: int) -> Design:
    """Return the design with other names for all parts but loads, and in another order."""
    chance = random.Random(seed)
    names = {p.name: f"part {i}" for i, p in enumerate(design.parts) if p.type is not PartType.LOAD}

    def new(terminal: Terminal) -> Terminal:
        return replace(terminal, part=names.get(terminal.part, terminal.part))

    parts = [replace(p, name=names.get(p.name, p.name)) for p in design.parts]
    chance.shuffle(parts)
    wires = [replace(w, source=new(w.source), target=new(w.target)) for w in design.wires]
    return replace(design, parts=tuple(parts), wires=tuple(wires))


def turned(old: Design, changes: Changes) -> tuple[set[object], set[object]]:
    """Return the parts and wires of `old` after `changes`."""
    anew = dict(changes.set_anew)
    parts = {anew.get(p, p) for p in old.parts if p not in changes.taken_out} | set(changes.added)
    moved = {before for before, _ in changes.moved}
    wires = {(w.source, w.target) for w in old.wires if w not in moved and w not in changes.gone}
    wires |= {(w.source, w.target) for _, w in changes.moved}
    wires |= {(w.source, w.target) for w in changes.new}
    return set(parts), set(wires)


class TestNames:
    @pytest.mark.parametrize("seed", range(8))
    def test_a_shuffle_is_undone(self, seed: int) -> None:
        """Names aside the two are one circuit, so every wire can stay: none may move."""
        design = pump_cycle(10_000, 60_000)
        changes = changes_of(
            design, named_after(design, shuffled(design, seed), set(), 99), STARTER
        )
        assert not (changes.moved or changes.new or changes.gone or changes.added)
        assert not (changes.taken_out or changes.set_anew)
        assert len(changes.stay) == len(design.wires)

    @pytest.mark.parametrize("seed", range(4))
    def test_a_contact_more_moves_one_wire(self, seed: int) -> None:
        design = pump_cycle(10_000, 60_000)
        into = next(w for w in design.wires if w.target == Terminal("pump", "in"))
        lever = part("lever", PartType.SWITCH, STARTER, input="master", contact="make")
        wires = [w for w in design.wires if w is not into]
        wires += [
            replace(into, number=50, target=Terminal("lever", "in")),
            replace(into, source=Terminal("lever", "out")),
        ]
        more = replace(design, parts=(*design.parts, lever), wires=tuple(wires))
        changes = changes_of(design, named_after(design, shuffled(more, seed), set(), 99), STARTER)
        assert [p.type for p in changes.added] == [PartType.SWITCH]
        assert len(changes.moved) == len(changes.new) == 1 and not changes.gone

    def test_fresh_names_and_numbers(self) -> None:
        old = wired([load("lamp", kit=STARTER)], {"lamp.in": "supply"}, STARTER)
        new = wired(
            [load("lamp", kit=STARTER), part("R", PartType.RELAY_BREAK, STARTER)],
            {"lamp.in": "R.out", "R.in": "supply", "R.coil": "supply"},
            STARTER,
        )
        named = named_after(old, new, {"R"}, 7)
        assert "R 1" in {p.name for p in named.parts}
        numbers = [w.number for w in named.wires]
        assert len(set(numbers)) == len(numbers)
        assert {w.number for w in named.wires if w.target.part == "lamp"} == {1}
        assert min(n for n in numbers if n != 1) == 8

    def test_contacts_of_different_inputs_are_different_parts(self) -> None:
        def with_lever(name: str) -> Design:
            lever = part("S", PartType.SWITCH, STARTER, input=name, contact="make")
            return wired(
                [load("lamp", kit=STARTER), lever], {"lamp.in": "S.out", "S.in": "supply"}, STARTER
            )

        assert "S" not in matched(with_lever("left"), with_lever("right"))
        assert matched(with_lever("left"), with_lever("left"))["S"] == "S"

    @pytest.mark.slow
    def test_changes_turn_one_into_the_other(self) -> None:
        stages = shed().stages
        for before, after in zip(stages, stages[1:], strict=False):
            parts, wires = turned(before.design, after.changes)
            assert parts == set(after.design.parts)
            assert wires == {(w.source, w.target) for w in after.design.wires}


# -- the lesson of the potting shed -------------------------------------------------------------


def with_attempts() -> list[Stage]:
    """Return the stages with an attempt that fails: all but that of the light."""
    found = [stage for stage in shed().stages if stage.attempt is not None]
    assert [stage.number for stage in found] == [1, 3, 4]
    return found


class TestShed:
    def test_stages_and_prices(self) -> None:
        """The last price is the one that README.md shows for the whole."""
        found = shed()
        assert [[g.number for g in stage.goals] for stage in found.stages] == [[1], [2], [3], [4]]
        assert all(stage.outcome.status is Status.PROVEN for stage in found.stages)
        prices = [stage.changes.price[1] for stage in found.stages]
        assert prices == sorted(prices) and prices[-1] == 35
        for before, after in zip(found.stages, found.stages[1:], strict=False):
            assert after.changes.price[0] == before.design.price(after.problem.kit)
            assert after.changes.supply == (before.design.supply, after.design.supply)

    @pytest.mark.parametrize("number", [0, 1, 2, 3])
    def test_every_stage_holds(self, number: int) -> None:
        stage = shed().stages[number]
        assert check(stage.design, stage.problem).holds
        units = {w.target: w.units for w in stage.design.wires}
        assert all(isinstance(u, int) and u > 0 for u in units.values())

    def test_what_comes_to_mind_first_and_holds_is_no_attempt_that_fails(self) -> None:
        """A light that is always on hangs on the supply: nothing near at hand fails, and no place
        is made up at which it would."""
        found = shed().stages[1]
        assert found.attempt is None
        assert found.at_once == "light is hung straight on supply:out"
        text = lesson_files(shed())[MARKDOWN]
        stage = text[text.index("## Stage 2") : text.index("## Stage 3")]
        assert "What comes to mind first: light is hung straight on supply:out. It does" in stage
        assert "wrong" not in stage and "The mend" not in stage
        assert not any(stage.at_once for stage in shed().stages if stage.number != 2)

    @pytest.mark.parametrize("number", [0, 2, 3])
    def test_every_attempt_fails_where_it_says(self, number: int) -> None:
        """By the plain simulation: right until the last moment, wrong there; and the mended
        circuit is right in the same run."""
        stage = shed().stages[number]
        attempt = stage.attempt
        assert attempt is not None
        moments = attempt.example.moments
        assert replayed(attempt.design, stage.problem, moments) == (moments[-1].time, "goal")
        assert replayed(stage.design, stage.problem, moments) == (-1, "")

    def test_attempts_are_whole_circuits(self) -> None:
        """Every input has one wire, every output one at most, every consumer its units: what the
        exact check calls wrong is what the circuit does, not how it is built."""
        for stage in with_attempts():
            assert stage.attempt is not None
            design = stage.attempt.design
            kit = stage.problem.kit
            inputs = {
                Terminal(p.name, name)
                for p in design.parts
                for name in (*kit.index[p.part].shape.power, *kit.index[p.part].shape.controls)
            }
            assert sorted(w.target for w in design.wires) == sorted(inputs)
            assert len({w.source for w in design.wires}) == len(design.wires)
            faults = {d.fault.value for d in check(design, stage.problem).defects}
            assert "goal" in faults and faults <= {"goal", "blip"}

    def test_the_cycle_that_runs_once(self) -> None:
        """One pulse timer gives one pulse: on at once, off at 10 s, and off for ever."""
        attempt = shed().stages[0].attempt
        assert attempt is not None
        run = simulate(attempt.design, shed().stages[0].problem, attempt.example.moments, 600_000)
        pump = next(track for track in run.tracks if track.name == "pump")
        assert pump.start and pump.changes == ((10_000, False),)

    def test_the_cutoff_that_lets_the_cycle_run_on(self) -> None:
        """What comes to mind: the switch right before the pump. The cycle then runs on behind it,
        and does not start afresh when the switch closes."""
        attempt = shed().stages[3].attempt
        assert attempt is not None and attempt.natural and attempt.example.load == "pump"
        before = next(w.source.part for w in attempt.design.wires if w.target.part == "pump")
        assert before.startswith("switch master")
        assert attempt.example.moments[-1].inputs == (("master", True),)
        assert attempt.example.got is False

    def test_the_mend_leads_to_the_circuit(self) -> None:
        for stage in with_attempts():
            assert stage.attempt is not None
            parts, wires = turned(bare(stage.attempt.design), stage.attempt.changes)
            wanted = bare(stage.design)
            assert parts == set(wanted.parts)
            assert wires == {(w.source, w.target) for w in wanted.wires}

    def test_test_times(self) -> None:
        """10 s, 50 s and 60 s in the same order, one the sum of the two others, in whole seconds
        (5 times 0.2 s): the least are 1 s, 2 s and 3 s."""
        for stage in shed().stages:
            assert stage.times is not None
            found = {time.real: time.test for time in stage.times.times}
            assert found == {10_000: 1_000, 50_000: 2_000, 60_000: 3_000}

    def test_a_cutoff_in_the_middle_of_a_pulse(self) -> None:
        """By the goals' words: off at once; the cycle starts afresh when the lever is closed."""
        question = shed().stages[3].questions[0]
        assert "pump has been on for 5 s when switch 'master' opens" in question.ask
        closes = "switch 'master' closes"
        assert question.answer[:4] == (
            "At once the pump goes off.",
            f"As soon as {closes}, the pump comes on.",
            f"10 s after {closes}, the pump goes off.",
            f"60 s after {closes}, the pump comes on.",
        )
        assert question.answer[-1] == "The light and the heater do as if nothing had happened."

    def test_what_the_cutoff_alone_needs(self) -> None:
        question = shed().stages[3].questions[1]
        assert "goal 4 were dropped" in question.ask
        assert question.answer[0].startswith("Switch master 1: with it bridged")

    def test_units_add_up(self) -> None:
        stage = shed().stages[1]
        question = stage.questions[-1]
        assert question.ask.startswith(f"The supply must deliver {stage.design.supply} units.")
        loads, controls, total = map(int, re.findall(r"\d+", question.answer[0]))
        kinds = [p.type for p in stage.design.parts]
        assert loads == kinds.count(PartType.LOAD)
        # A relay's coil and a timer's start, a unit each.
        assert controls == sum(kinds.count(k) for k in (PartType.RELAY_BREAK, PartType.PULSE))
        assert total == loads + controls


class TestOtherLessons:
    def test_nothing_to_do(self) -> None:
        """A limit of 50 units is met by any such circuit: the one before stays as it is."""
        found = taught("lamp at night, never more than 50 units")
        last = found.stages[-1]
        assert last.same and last.attempt is None
        assert last.design == found.stages[0].design
        text = lesson_files(found)[MARKDOWN]
        assert "The circuit of the stage before does this already" in text

    def test_nothing_can_be_wrong_with_a_lamp_on_the_supply(self) -> None:
        found = taught("lamp always")
        assert found.stages[0].attempt is None
        assert "There is no failing attempt to show" in lesson_files(found)[MARKDOWN]

    def test_impossible(self, tmp_path: Path) -> None:
        """A twilight switch costs 5 coins, a sensor more than the 1 that is left: the first goal
        can be had, both cannot."""
        file = too_dear(tmp_path)
        found = lesson(file, None, read_problem(file, None, None))
        assert found.end.status is Status.IMPOSSIBLE
        assert [stage.number for stage in found.stages] == [1]
        assert found.notes == ("goals 1 and 2 cannot be had together within the limits, proven",)
        text = lesson_files(found)[MARKDOWN]
        assert "Goals 1 and 2 cannot be had together within the limits, proven." in text
        # What it does not reach is said before anything is built.
        head = text[: text.index("## Stage 1")]
        assert "In the end the circuit is to do all of this" not in head
        assert f"goal 2: {found.goals[1].phrase} (this lesson does not reach it)" in head
        assert f"goal 1: {found.goals[0].phrase}\n" in head
        assert "leaves out goal 2; why is told at the end" in head

    def test_no_time_at_all(self) -> None:
        """Every stage gets some seconds, so the first ones come about."""
        began = time.monotonic()
        found = taught("lamp at night, fan while hot", seconds=0.1)
        assert len(found.stages) == 2
        assert time.monotonic() - began < 30

    def test_stopped(self) -> None:
        text = "lamp at night, fan while hot"
        problem = read_problem(None, text, "starter")
        found = lesson(None, text, problem, 60.0, stopped=lambda: True)
        assert found.stages == () and found.end.status is Status.UNDECIDED


# -- how it is written --------------------------------------------------------------------------


class _Read(HTMLParser):
    """Counts tags and notes what the page would load."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.loads: list[str] = []
        self.folded: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag not in ("meta", "img", "br"):
            self.open.append(tag)
        self.loads += [v or "" for k, v in attrs if k in ("src", "href")]
        assert not any(key.startswith("on") for key, _ in attrs)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "details" in self.open:
            self.folded.append(data)


class TestWritten:
    @pytest.mark.slow
    def test_same_goals_same_bytes(self) -> None:
        again = lesson(SHED, None, read_problem(SHED, None, None))
        assert lesson_files(again) == lesson_files(shed())

    def test_pictures_are_there_and_whole(self) -> None:
        files = lesson_files(shed())
        shown = re.findall(r"!\[[^\]]*\]\(([^)]+)\)", files[MARKDOWN])
        assert sorted(shown) == sorted(name for name in files if name.endswith(".svg"))
        assert len(shown) == 4 * 2 + 3 * 3  # of the light no attempt fails
        for name in shown:
            ElementTree.fromstring(files[name])

    def test_new_parts_are_marked(self) -> None:
        files = lesson_files(shed())
        for stage in shed().stages[1:]:
            picture = files[f"stage-{stage.number}-wiring.svg"]
            for item in stage.changes.added:
                assert f"{item.name} is new" in picture
            assert picture.count(" is new<") == len(stage.changes.added)
        assert " is new<" not in files["stage-1-wiring.svg"]
        assert "switch master 1 is new<" in files["stage-4-attempt.svg"]

    def test_pictures_of_a_run_show_what_matters(self) -> None:
        """Night has no say in the pump's cycle or its cutoff."""
        attempt = shed().stages[3].attempt
        assert attempt is not None
        shown = {track.name for track in attempt.run.tracks}
        assert {"master", "supply", "pump", "pulse timer 1"} <= shown
        assert not shown & {"night", "heater", "light"}

    def test_the_page_needs_nothing(self) -> None:
        page = _Read()
        page.feed(lesson_files(shed())[PAGE])
        assert not page.open
        assert "script" not in page.tags
        assert page.loads and all(
            found.startswith("data:image/svg+xml;base64,") for found in page.loads
        )

    def test_answers_are_folded(self) -> None:
        page = _Read()
        page.feed(lesson_files(shed())[PAGE])
        folded = " ".join(page.folded)
        for stage in shed().stages:
            for question in stage.questions:
                assert all(sentence in folded for sentence in question.answer)
                assert question.ask not in folded
        text = lesson_files(shed())[MARKDOWN]
        assert text.count("<details>") == text.count("</details>") == page.tags.count("details")

    def test_cautions_and_times_to_set_back(self) -> None:
        for file in (MARKDOWN, PAGE):
            text = lesson_files(shed())[file]
            assert "Cautions" in text and "lock it off and test that it is dead" in text
            assert "set the real times back" in text

    def test_hostile_names(self) -> None:
        nasty = "<img src=x onerror=alert(1)> [a](b) | `c` </details>"
        found = shed()
        first = found.stages[0]
        goal = replace(first.goals[0], phrase=nasty)
        asked_ = replace(first.problem, title=nasty, goals=(goal,))
        stages = (replace(first, goals=(goal,), problem=asked_), *found.stages[1:])
        files = lesson_files(replace(found, title=nasty, goals=(goal,), stages=stages))
        page = _Read()
        page.feed(files[PAGE])
        assert not page.open and all(found.startswith("data:") for found in page.loads)
        assert "<img" not in files[MARKDOWN]
        assert "[a](b)" not in files[MARKDOWN]
        assert files[MARKDOWN].count("</details>") == lesson_files(found)[MARKDOWN].count("</d")


# -- the command ---------------------------------------------------------------------------------


def ran(*words: str) -> Result:
    return CliRunner().invoke(main, ["lesson", *words])


class TestCommand:
    def test_writes_the_lesson(self, tmp_path: Path) -> None:
        result = ran(SHED, "--out", str(tmp_path / "a"))
        assert result.exit_code == 0, result.output
        names = {file.name for file in (tmp_path / "a").iterdir()}
        assert {MARKDOWN, PAGE, "stage-4-wiring.svg"} <= names
        assert "4 stages" in result.output

    def test_json(self, tmp_path: Path) -> None:
        result = ran("lamp at night", "--out", str(tmp_path), "--format", "json")
        assert result.exit_code == 0
        told = json.loads(result.output)
        assert told["status"] == "proven-cheapest"
        assert [stage["goals"] for stage in told["stages"]] == [[1]]
        assert sorted(told["files"]) == sorted(file.name for file in tmp_path.iterdir())

    def test_impossible(self, tmp_path: Path) -> None:
        """What can be had is written; that the rest is impossible is said, and the exit code."""
        result = ran(too_dear(tmp_path), "--out", str(tmp_path / "a"))
        assert result.exit_code == 1
        assert "goals 1 and 2 cannot be had together within the limits" in result.output
        assert (tmp_path / "a" / MARKDOWN).exists()

    @pytest.mark.parametrize(
        "words",
        [
            ("no-such-file.yaml", "--out", "x"),
            ("lamp flies", "--out", "x"),
            ("lamp always",),
            ("lamp always", "--out", "x", "--time-limit", "nan"),
            ("lamp always", "--out", "x", "--kit", "none-such"),
        ],
    )
    def test_bad_input(self, words: tuple[str, ...]) -> None:
        result = ran(*words)
        assert result.exit_code == 2
        assert "Traceback" not in result.output

    def test_unwritable(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("")
        assert ran("lamp always", "--out", str(tmp_path / "file")).exit_code == 2


# -- all examples --------------------------------------------------------------------------------


MOST_STEPS = 2000
"""Longer runs are left to the exact check: the plain simulation takes every step."""


@pytest.mark.slow
@pytest.mark.parametrize("file", sorted((ROOT / "goals").glob("*.yaml")), ids=lambda f: f.stem)
def test_every_example_is_taught(file: Path) -> None:
    problem = read_problem(str(file), None, None)
    began = time.monotonic()
    # Twenty seconds do on a quiet machine: a first stage of seed-trays takes ten of them.
    found = lesson(str(file), None, problem, 25.0)
    assert time.monotonic() - began < 120
    assert found.stages
    for stage in found.stages:
        assert stage.verdict.holds
        if stage.attempt is None:
            continue
        example = stage.attempt.example
        if any(m.time % STEP for m in example.moments) or stage.attempt.example.orders:
            continue
        if example.moments[-1].time > MOST_STEPS * STEP:
            continue
        at, _ = replayed(stage.attempt.design, stage.problem, example.moments)
        assert at == example.moments[-1].time
        assert replayed(stage.design, stage.problem, example.moments) == (-1, "")
    files = lesson_files(found)
    page = _Read()
    page.feed(files[PAGE])
    assert not page.open
