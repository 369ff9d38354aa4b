"""Stages of a lesson that are not plain: wishes at the end, goals put off, what comes of adding.

Prices are added up by hand from the kit's list; the plain simulation, which was written apart from
the checker, says of each attempt where it fails. The documents are held against `docs/`. The
scenario and all figures are invented.
"""

from __future__ import annotations

import json
from fractions import Fraction
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import jsonschema
import pytest
from check_designs import FULL, load, part, wired
from click.testing import CliRunner
from test_lesson import ROOT, SHED, replayed, shed, taught

from synth import pipeline
from synth.check import amounts, check, first_failure
from synth.check.showing import showing_run
from synth.check.simulate import simulate
from synth.cli import main
from synth.explain.blame import required
from synth.explain.removals import bare, pruned
from synth.lesson import Lesson
from synth.parts.behaviour import PartType
from synth.pipeline import lesson, plan, read_problem, telling
from synth.problem import Problem
from synth.report.lesson import MARKDOWN, lesson_files
from synth.result import Outcome, Status
from synth.share import share_power
from synth.teach import Trial
from synth.teach.adding import as_wired, beside, with_contacts

SCHEMA = json.loads((ROOT / "docs" / "lesson.schema.json").read_text(encoding="utf-8"))
PLAN = json.loads((ROOT / "docs" / "plan.schema.json").read_text(encoding="utf-8"))
WISHES = """title: Wishes
kit: full
goals: [heater at night, fan while hot, lamp 2 s after damp]
limits:
  least: {relay break: 1}
  spare: 2
  branches: [[heater, fan]]
  untimed: [lamp]
"""


@cache
def wishes() -> tuple[Problem, Lesson]:
    """Return the problem with the wishes, and its lesson."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "wishes.yaml"
        file.write_text(WISHES, encoding="utf-8")
        problem = read_problem(str(file), None, None)
        return problem, lesson(str(file), None, problem)


def trial() -> Trial:
    return Trial(
        lambda d, p, of, until, n: first_failure(d, p, of, deadline=until, most_states=n),
        lambda skeleton, p: share_power(skeleton, p.kit, p.objectives, p.limits),
        lambda d, p, until: check(d, p, deadline=until),
        bare, pruned, simulate, required, showing_run,
    )  # fmt: skip


def later() -> float:
    import time

    return time.monotonic() + 20


class TestWishes:
    @pytest.mark.slow
    def test_they_come_last(self) -> None:
        """A timer at the lamp and no relay do for the goals; the wishes take more."""
        problem, found = wishes()
        assert [[g.number for g in stage.goals] for stage in found.stages] == [[1], [2], [3], []]
        assert found.end.status is Status.PROVEN and found.notes == ()
        for stage in found.stages[:-1]:
            assert not stage.wishes and not stage.problem.limits.least
            assert all(p.type is not PartType.RELAY_BREAK for p in stage.design.parts)
        last = found.stages[-1]
        assert last.problem.limits == problem.limits and check(last.design, problem).holds
        told = {wish: bool(unkept) for wish, unkept in last.wishes}
        assert told == {
            "the wish for at least 1 x relay break": True,
            "the wish for 2 units of the supply to spare": True,
            "the wish for heater and fan on separate branches": False,
            "the wish that no timer carries power to lamp": True,
        }
        text = lesson_files(found)[MARKDOWN]
        assert "## Stage 4: built as is wished" in text
        assert "no timer is to carry power to 'lamp', but on-delay timer 1 does" in text
        assert "2 units of the supply are to spare" in text

    @pytest.mark.slow
    def test_attempts_are_free_of_them(self) -> None:
        """The sensor with the lamp behind it has no relay, and is shown all the same."""
        attempt = wishes()[1].stages[2].attempt
        assert attempt is not None and attempt.natural
        assert "sensor damp 1 is hung on supply:out, and lamp behind it" in attempt.told

    def test_kept_already(self, tmp_path: Path) -> None:
        """With all wishes kept by the circuit for the goals there is nothing to do."""
        assert taught("heater at night, fan while hot", "full").stages[-1].wishes == ()
        file = tmp_path / "kept.yaml"
        wish = "limits: {branches: [[heater, fan]]}\n"
        file.write_text(f"goals: [heater at night, fan while hot]\n{wish}", encoding="utf-8")
        found = lesson(str(file), None, read_problem(str(file), None, None))
        assert len(found.stages) == 3 and found.stages[-1].same
        assert found.stages[-1].wishes == (
            ("the wish for heater and fan on separate branches", ""),
        )
        assert "So nothing has to be done." in lesson_files(found)[MARKDOWN]

    def test_wishes_that_cannot_be_had(self, tmp_path: Path) -> None:
        file = tmp_path / "dear.yaml"
        file.write_text("goals: [lamp at night]\nlimits: {least: {relay make: 1}, price: 6}\n",
                        encoding="utf-8")  # fmt: skip
        ran = CliRunner().invoke(main, ["lesson", str(file), "--no-cache", "--out",
                                        str(tmp_path / "out")])  # fmt: skip
        assert ran.exit_code == 1
        assert "goal 1 cannot be had within the limits and built as is wished, proven" in ran.output
        assert (tmp_path / "out" / "lesson.md").exists()


class TestAttempts:
    @pytest.mark.parametrize(
        ("text", "natural", "told"),
        [
            # A cutoff right before its load; a sensor with the load behind it. Where just that
            # holds, the contact of the other kind.
            ("pump on 1 s of every 3 s, master cutoff for pump", True, "to pump:in"),
            ("lamp always, fan 2 s after hot", True, "sensor hot 1 is hung on supply:out"),
            ("fan while hot, fan never while damp", False, "has a make contact, not a break"),
            ("heater while cold, heater only by day", False, "passes night, not day"),
        ],
    )
    def test_what_comes_to_mind_first(self, text: str, natural: bool, told: str) -> None:
        """By the plain simulation the attempt is right up to the moment told, and wrong there."""
        found = taught(text, "full").stages[1]
        attempt = found.attempt
        assert attempt is not None and attempt.natural == natural and told in attempt.told
        moments = attempt.example.moments
        assert all(moment.time % 500 == 0 for moment in moments)
        assert replayed(attempt.design, found.problem, moments) == (moments[-1].time, "goal")
        assert replayed(found.design, found.problem, moments) == (-1, "")

    def test_a_cutoff_before_one_load_only(self) -> None:
        """A switch before one load of three leaves the others on: what shows soonest is told."""
        found = taught("fan at night, lamp always, pump on 1 s of every 3 s, master cutoff", "full")
        stage = found.stages[-1]
        assert stage.attempt is not None
        moments = stage.attempt.example.moments
        assert replayed(stage.attempt.design, stage.problem, moments) == (moments[-1].time, "goal")
        assert len(moments) == 1 and moments[0].time == 0
        assert "when the supply comes on" in stage.attempt.defect.message

    def test_laid_out_anew_for_less(self) -> None:
        """Light on the supply beside a cycle of relay 4 and two timers at 8: four inputs on the
        supply, a divider 3 and a tap-off 2, two on the timer, a tap-off 2; 27 coins in all. The
        supply then feeds 1 for the light, 3 controls and the pump: 5 units."""
        simply = shed().stages[1].simply
        assert simply is not None
        assert (simply.price, simply.supply) == (4 + 2 * 8 + 3 + 2 + 2, 5)
        assert shed().stages[1].changes.price[1] < simply.price
        text = lesson_files(shed())[MARKDOWN]
        assert "Why so much is laid anew" in text and "costs 27 coins" in text

    def test_mistakes_are_told_the_shortest_first(self) -> None:
        """A plain wire across the sensor's contact: the fan is on at once, and so is the pilot."""
        found = taught("fan while hot, pilot shows fan on", "full")
        asked = [q for stage in found.stages for q in stage.questions if "By mistake" in q.ask]
        assert asked
        for question in asked:
            assert question.answer and all("must be" in told for told in question.answer)
            assert any("when the supply comes on" in told for told in question.answer)


class TestAdding:
    def test_side_by_side(self) -> None:
        """Two circuits that share an input, each with a sensor of its own: 4 coins each, and a
        tap-off at 2."""
        kit = FULL
        parts = [part("sensor hot 1", PartType.SENSOR, kit, input="hot", contact="make")]
        one = wired([*parts, load("lamp")],
                    {"sensor hot 1.in": "supply", "lamp.in": "sensor hot 1.out"})  # fmt: skip
        other = wired([*parts, load("fan")],
                      {"sensor hot 1.in": "supply", "fan.in": "sensor hot 1.out"})  # fmt: skip
        problem = read_problem(None, "lamp while hot, fan while hot", "full")
        both = beside(one, other, problem, trial(), later())
        assert both is not None and check(both, problem).holds
        assert both.price(kit) == 4 + 4 + 2
        assert amounts(both, kit)[next(w.target for w in both.wires)] > 0
        wrong = read_problem(None, "lamp while hot, fan while not hot", "full")
        assert beside(one, other, wrong, trial(), later()) is None
        assert beside(one, one, problem, trial(), later()) is None

    def test_no_wire_moves_without_a_reason(self) -> None:
        """Two contacts in a row the other way round do the same, at the same price; where what was
        there does something else, it has to move."""
        a = part("A", PartType.SENSOR, input="hot", contact="make")
        b = part("B", PartType.SENSOR, input="dry", contact="make")
        lamp, fan = load("lamp"), load("fan")
        old = wired([a, b, fan], {"A.in": "supply", "B.in": "A.out", "fan.in": "B.out"})
        turned = {"B.in": "supply", "A.in": "B.out", "fan.in": "A.out", "lamp.in": "supply"}
        new = wired([a, b, fan, lamp], turned)
        problem = read_problem(None, "fan while hot and dry, lamp always", "full")
        found = as_wired(old, new, problem, trial(), later())
        assert found is not None
        fed = {str(w.target): str(w.source) for w in bare(found).wires}
        assert (fed["B:in"], fed["fan:in"]) == ("A:out", "B:out")
        assert found.price(problem.kit) == new.price(problem.kit)
        other = read_problem(None, "fan while hot, lamp always", "full")
        moved = wired([a, fan, lamp], {"A.in": "supply", "fan.in": "A.out", "lamp.in": "supply"})
        wrong = wired([b, fan], {"B.in": "supply", "fan.in": "B.out"})
        assert as_wired(wrong, moved, other, trial(), later()) is None
        assert as_wired(found, found, problem, trial(), later()) is None

    def test_a_contact_for_all(self) -> None:
        """A cutoff of all is a switch behind the supply, at 2 coins."""
        text = "lamp while hot, fan at night"
        before = plan(read_problem(None, text, "full"), seconds=20)
        problem = read_problem(None, f"{text}, master cutoff", "full")
        assert before.design is not None and before.price is not None
        found = with_contacts(before.design, problem, trial(), later())
        assert found is not None and check(found, problem).holds
        assert found.price(problem.kit) == before.price + 2

    def test_nothing_holds(self) -> None:
        text = "lamp while hot"
        before = plan(read_problem(None, text, "full"), seconds=20)
        problem = read_problem(None, f"{text}, fan 3 s after damp", "full")
        assert before.design is not None
        assert with_contacts(before.design, problem, trial(), later()) is None


class TestOutOfTime:
    """The search is made to find nothing for some questions, as if its time had run out."""

    def slow(self, monkeypatch: pytest.MonkeyPatch, *hard: frozenset[str]) -> None:
        real = telling.plan

        def planned(problem: Problem, *rest: object, **more: object) -> Outcome:
            if frozenset(r.load for r in problem.requirements) in hard:
                return Outcome(Status.UNDECIDED)
            return real(problem, *rest, **more)  # type: ignore[arg-type] # handed on as it came

        monkeypatch.setattr(telling, "plan", planned)

    def test_a_goal_is_put_off(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.slow(monkeypatch, frozenset({"lamp"}))
        found = taught("lamp while hot, fan at night", "full")
        assert [[g.number for g in stage.goals] for stage in found.stages] == [[2], [1]]
        assert found.notes == (
            "no circuit was found with goal 1 in a share of the time; put off to the end",
        )
        text = lesson_files(found)[MARKDOWN]
        assert "## How it was found" in text and "## What is missing" not in text

    def test_a_circuit_by_adding(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.slow(monkeypatch, frozenset({"lamp", "fan"}))
        found = taught("lamp while hot, fan at night", "full")
        assert [[g.number for g in stage.goals] for stage in found.stages] == [[1], [2]]
        last = found.stages[-1]
        assert last.outcome.status is Status.BEST_FOUND and check(last.design, last.problem).holds
        # A sensor 4, a twilight switch 5, a tap-off 2.
        assert last.outcome.price == 4 + 5 + 2
        assert last.by_adding and not found.stages[0].by_adding
        assert lesson_files(found)[MARKDOWN].count("Made by adding to the circuit before") == 1

    def test_a_goal_that_asks_for_no_load_by_itself(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """A cutoff alone asks nothing: it is added to what is there."""
        real = telling.plan

        def planned(problem: Problem, *rest: object, **more: object) -> Outcome:
            if any(item.name == "master" for item in problem.inputs):
                return Outcome(Status.UNDECIDED)
            return real(problem, *rest, **more)  # type: ignore[arg-type] # handed on as it came

        monkeypatch.setattr(telling, "plan", planned)
        found = taught("lamp while hot, fan at night, master cutoff", "full")
        assert [[g.number for g in stage.goals] for stage in found.stages] == [[1], [2], [3]]
        assert found.stages[-1].outcome.status is Status.BEST_FOUND

    def test_nothing_at_all(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.slow(monkeypatch, frozenset({"lamp"}), frozenset({"lamp", "fan"}))
        found = taught("lamp while hot, lamp never while damp", "full")
        assert found.stages == () and found.end.status is Status.UNDECIDED
        assert found.notes[-1] == "no circuit was found in time for goals 1 and 2"


class TestDocument:
    @pytest.mark.parametrize(
        "text", ["", pytest.param(WISHES, marks=pytest.mark.slow)], ids=["shed", "wishes"]
    )
    def test_its_form(
        self, text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """What the command writes of the lessons that are at hand here; that it makes them too is
        seen in `test_lesson`."""
        problem, made = wishes() if text else (read_problem(SHED, None, None), shed())

        def at_hand(file: str, text: None, asked: Problem, *rest: object) -> Lesson:
            assert asked == problem
            return made

        monkeypatch.setattr(pipeline, "lesson", at_hand)
        goals = SHED
        if text:
            goals = str(tmp_path / "goals.yaml")
            Path(goals).write_text(text, encoding="utf-8")
        out = tmp_path / "out"
        ran = CliRunner().invoke(
            main, ["lesson", goals, "--no-cache", "--format", "json", "--out", str(out)]
        )
        assert ran.exit_code == 0, ran.output
        document = json.loads(ran.output)
        jsonschema.validate(document, SCHEMA)
        assert sorted(f.name for f in out.iterdir()) == document["files"]
        of_design = {"$ref": "#/$defs/design", "$defs": PLAN["$defs"]}
        for stage in document["stages"]:
            jsonschema.validate(stage["design"], of_design)
            if stage["attempt"] is not None:
                jsonschema.validate(stage["attempt"]["design"], of_design)
        for spoil in document:
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate({k: v for k, v in document.items() if k != spoil}, SCHEMA)


def test_runs_end_where_they_are_told() -> None:
    """Each stage's run shows its new goals: some load of theirs changes in it."""
    for stage in shed().stages:
        loads = {r.load for r in stage.problem.requirements
                 if {g.number for g in stage.goals} & set(r.goals)}  # fmt: skip
        tracks = [t for t in stage.shown.tracks if t.role == "load" and t.name in loads]
        assert tracks and any(t.changes or t.start for t in tracks)
        assert stage.shown.end > Fraction(0)


def test_a_question_waits_as_long_as_a_run_on() -> None:
    """Damp gone for 20 s changes nothing where the fan runs on for 3 min; so it is longer gone.
    Nothing is asked of the lamp again, since nothing new bears on it."""
    text = "lamp while low, fan while damp and for 3 min after"
    found = lesson(None, text, read_problem(None, text, "full"))
    first = found.stages[1].questions[0]
    assert "The fan has been on for" in first.ask
    assert "3 min 20 s later 'damp' comes on" in first.ask
    assert first.answer[0] == "After 3 min the fan goes off."
    assert not any("The lamp has been on" in q.ask for q in found.stages[1].questions)
