"""What earlier runs proved: the same answer cold and warm, and nothing trusted that was damaged.

The cold run, which knows nothing of the memory, is the yardstick for every warm one. Designs that
must be rejected come from `must_reject`, typed and judged by hand.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache
from hashlib import sha256
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from check_designs import FULL
from check_random import a_problem
from test_must_reject import EXPECTED, read

from synth.check import check
from synth.memory import Memory, keep_plan, known_plan
from synth.memory.folder import sealed
from synth.memory.plain import essence, from_plain, to_plain
from synth.memory.plans import KeptPlan
from synth.parts.behaviour import PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.pipeline import plan, read_problem
from synth.pose import pose
from synth.problem import Objective, Problem
from synth.read.goal_file import parse_goal_file
from synth.report.document import plan_document, to_json
from synth.result import Outcome, Status
from synth.search import basics
from synth.search import whole as room_whole
from synth.search.engine import Engine
from synth.share import fan_out_price, share_power

ROOT = Path(__file__).parent.parent
SHED = str(ROOT / "goals" / "potting-shed.yaml")
QUICK = ("potting-shed", "glasshouse", "hen-house", "roof-vent")
WISHES = (
    *("always", "at night", "by day", "while hot", "while hot or damp", "while damp and hot"),
    *("while hot unless wet", "for 30 s after start is pressed", "on 10 s of every 60 s"),
)
SMALL = "pump while hot or damp, fan for 30 s after start is pressed, light at night"


def told(outcome: Outcome, problem: Problem) -> str:
    """Return the plan as JSON text, but for the times it took."""
    document = plan_document(outcome, problem)
    return to_json({key: value for key, value in document.items() if key != "times"})


def small(kit: str | None = None) -> Problem:
    return read_problem(None, SMALL, kit)


def fresh(folder: Path, version: str = "this one") -> Memory:
    """Return the memory as a new process opens it."""
    return Memory(folder, version)


def warmed(problem: Problem, folder: Path) -> Memory:
    """Return the memory of another run of the same problem."""
    memory = fresh(folder)
    plan(problem, memory=memory)
    return memory


@cache
def cold() -> str:
    """Return the plan of `small()` as JSON text, made once without any memory."""
    return told(plan(small()), small())


@cache
def _kept() -> dict[str, bytes]:
    with TemporaryDirectory() as folder:
        assert warmed(small(), Path(folder)).known == []
        return {file.name: file.read_bytes() for file in Path(folder).iterdir()}


def as_after_a_run(folder: Path) -> None:
    """Put into `folder` what a run of `small()` keeps in an empty one; it runs once for all."""
    for name, content in _kept().items():
        (folder / name).write_bytes(content)


def entries(folder: Path, what: str) -> list[Path]:
    return sorted(folder.glob(f"{what}-*.kept"))


def forged(file: Path, change: Callable[[Any], None]) -> None:
    """Change the answer in an entry and put the right digest on it, as an accident never would."""
    content = json.loads(file.read_bytes().partition(b"\n")[2])
    change(content["answer"])
    file.write_bytes(sealed(content))


def random_goals(seed: int) -> Problem:
    random = Random(seed)
    loads = random.sample(("lamp", "fan", "pump", "heater"), 3)
    text = ", ".join(f"{load} {random.choice(WISHES)}" for load in loads)
    return read_problem(None, text, random.choice(("starter", "full")))


def random_signals(seed: int) -> Problem:
    return replace(a_problem(Random(seed), FULL), times=(1000, 2000, 3000))


JOBS: dict[str, Callable[[], Problem]] = {
    **{f"goals {seed}": lambda seed=seed: random_goals(seed) for seed in (1, 2, 3, 4, 6, 7)},
    **{
        f"signals {seed}": lambda seed=seed: random_signals(seed)
        for seed in (4, 8, 10, 16, 19, 20, 22)
    },
    **{f"impossible {seed}": lambda seed=seed: a_problem(Random(seed), FULL) for seed in range(3)},
    "too dear": lambda: replace(small(), limits=replace(small().limits, price=20)),
    "units first": lambda: replace(
        read_problem(None, "light at night, fan while hot or damp", None),
        objectives=(Objective.SUPPLY, Objective.PRICE, Objective.WIRES),
    ),
    **{
        name: lambda name=name: read_problem(str(ROOT / "goals" / f"{name}.yaml"), None, None)
        for name in QUICK
    },
}


LONG = {"glasshouse", "hen-house", "potting-shed", "roof-vent", "goals 1", "goals 7"}
"""Jobs that take seconds each time they are planned."""


def each(jobs: Iterable[str]) -> list[Any]:
    """Return the names of jobs as parameters, the long ones marked as slow."""
    return [pytest.param(job, marks=pytest.mark.slow) if job in LONG else job for job in jobs]


class TestColdAndWarm:
    @pytest.mark.parametrize("job", each(JOBS))
    def test_are_the_same_to_the_byte(self, job: str, tmp_path: Path) -> None:
        """Without a memory; with an empty one; with the whole plan known; with only its circuits
        known, from which the rest of the search goes on."""
        problem = JOBS[job]()
        cold = plan(problem)
        assert cold.status in (Status.PROVEN, Status.IMPOSSIBLE), "a job that proves nothing here"
        first, again = fresh(tmp_path), fresh(tmp_path)
        assert told(plan(problem, memory=first), problem) == told(cold, problem)
        assert first.known == []
        warm = plan(problem, memory=again)
        assert told(warm, problem) == told(cold, problem)
        assert (again.known, again.notes) == (["plan"], [])
        assert (warm.verdict is not None and warm.verdict.holds) is (warm.design is not None)
        for file in entries(tmp_path, "plan"):
            file.unlink()
        circuits = len(entries(tmp_path, "circuit"))
        assert circuits or cold.status is Status.IMPOSSIBLE
        part = fresh(tmp_path)
        assert told(plan(problem, memory=part), problem) == told(cold, problem)
        assert set(part.known) <= {"circuit"} and len(part.known) >= circuits
        assert part.notes == []

    @pytest.mark.parametrize("job", each([*QUICK, "goals 1", "signals 10", "units first"]))
    def test_an_engine_is_left_as_the_search_leaves_it(self, job: str, tmp_path: Path) -> None:
        """Every attribute that is data: what is added to the engine or its questions one day is
        compared too."""
        problem = JOBS[job]()
        memory = fresh(tmp_path)
        cold, warm = (_circuits(problem, memory) for _ in range(2))
        assert memory.known == ["circuit"] * len(cold) and memory.notes == []
        objects = {"questions", "problem", "catalogue", "progress", "tools", "found"}
        for one, other in zip(cold, warm, strict=True):
            assert replace(one.found, best=None) == replace(other.found, best=None)
            assert one.found is one.engine.found and other.found is other.engine.found
            best, again = one.found.best, other.found.best
            assert best is not None and again is not None
            assert best.skeleton == again.skeleton and best.design == again.design
            assert best.parts_list == again.parts_list and again.verdict.holds
            for part in (lambda c: c.engine, lambda c: c.engine.questions):
                known, again = (
                    {
                        key: value
                        for key, value in vars(part(c)).items()
                        if key not in objects and not callable(value)
                    }
                    for c in (one, other)
                )
                assert known == again

    def test_something_was_learned(self, tmp_path: Path) -> None:
        """The test above would say little if no circuit had learned from a counterexample."""
        memory = fresh(tmp_path)
        circuits = _circuits(JOBS["signals 10"](), memory)
        assert any(len(c.engine.questions.runs) > 1 for c in circuits)
        assert any(c.engine.refuted for c in circuits)

    def test_other_words_are_the_same_question(self, tmp_path: Path) -> None:
        """Titles and phrases decide nothing; what is printed is told in the new words."""
        as_after_a_run(tmp_path)
        renamed = replace(
            small(), title="Yard", goals=tuple(replace(g, phrase="so") for g in small().goals)
        )
        memory = fresh(tmp_path)
        outcome = plan(renamed, memory=memory)
        assert memory.known == ["plan"]
        assert told(outcome, renamed) == told(plan(renamed), renamed)

    def test_a_goal_more_asks_only_what_is_new(self, tmp_path: Path) -> None:
        as_after_a_run(tmp_path)
        more = read_problem(None, f"{SMALL}, heater while wet", None)
        memory = fresh(tmp_path)
        assert told(plan(more, memory=memory), more) == told(plan(more), more)
        assert memory.known == ["circuit"] * 3

    @pytest.mark.parametrize(
        "change",
        [
            lambda p: replace(p, limits=replace(p.limits, price=500)),
            lambda p: replace(p, objectives=(Objective.PRICE, Objective.WIRES, Objective.SUPPLY)),
            lambda p: replace(p, times=(*p.times, 999_000)),
            lambda p: replace(p, kit=replace(p.kit, trigger="instant")),
            lambda p: replace(p, kit=_dearer(p.kit, "relay make")),
            lambda p: replace(p, requirements=(replace(p.requirements[0], needs=2),)),
            lambda p: replace(p, inputs=tuple(replace(i, steady=True) for i in p.inputs)),
        ],
    )
    def test_whatever_decides_is_part_of_the_question(
        self, change: Callable[[Problem], Problem], tmp_path: Path
    ) -> None:
        memory = fresh(tmp_path)
        one = memory.entry("plan", small(), (1, 0))
        other = memory.entry("plan", change(small()), (1, 0))
        assert one.name != other.name
        assert memory.entry("plan", small(), (2, 0)).name != one.name
        assert memory.entry("circuit", small(), (1, 0)).name != one.name

    def test_another_price_in_the_kit(self, tmp_path: Path) -> None:
        """With the dearer part the answer is worked out anew: by as much as it is dearer for each
        one in use, or less where another part takes its place."""
        problem = small()
        cheap = warmed(problem, tmp_path)
        assert cheap.known == []
        before = plan(problem, memory=fresh(tmp_path))
        dear = replace(problem, kit=_dearer(problem.kit, "twilight switch"))
        memory = fresh(tmp_path)
        after = plan(dear, memory=memory)
        assert memory.known == []
        assert before.price is not None and after.price == before.price + 3


class Ended:
    """Ends a run once so many parts lists were refuted; keeps which ones were asked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, most: int) -> None:
        self.refuted: list[tuple[int, ...]] = []
        self.most = most
        self.asked: list[tuple[int, ...]] = []
        works, is_refuted = Engine._works, Engine._is_refuted

        def asked(engine: Engine, parts_list: Any, *more: Any) -> Any:
            self.asked.append(parts_list.items)
            return works(engine, parts_list, *more)

        def refuted(engine: Engine, parts_list: Any, found: Any) -> None:
            self.refuted.append(parts_list.items)
            is_refuted(engine, parts_list, found)

        monkeypatch.setattr(Engine, "_works", asked)
        monkeypatch.setattr(Engine, "_is_refuted", refuted)

    def now(self) -> bool:
        """Return whether it is time to end."""
        return len(self.refuted) >= self.most


FILLS = "pump fills between low and high"


class TestGoingOn:
    def test_no_list_is_asked_twice(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A run is ended after three lists, and again; the next ones go on, to the same end."""
        problem = read_problem(None, "pump started by start and stopped by stop", None)
        cold = plan(problem)
        with monkeypatch.context() as patch:
            whole = Ended(patch, 10_000)
            plan(problem)
        assert len(set(whole.asked)) > 8, "a job that asks little here"
        before: set[tuple[int, ...]] = set()
        for most in (3, 6):
            with monkeypatch.context() as patch:
                ended = Ended(patch, most)
                outcome = plan(problem, memory=fresh(tmp_path), stopped=ended.now)
            assert outcome.status is Status.UNDECIDED
            assert not before & set(ended.asked)
            assert before <= set(ended.refuted)
            before |= set(ended.refuted)
        assert len(entries(tmp_path, "lists")) == 1
        with monkeypatch.context() as patch:
            last = Ended(patch, 10_000)
            warm = plan(problem, memory=fresh(tmp_path))
        assert told(warm, problem) == told(cold, problem)
        assert not before & set(last.asked) and set(last.asked) | before >= set(whole.asked)

    def test_what_was_refuted_is_of_this_question_alone(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Where the supply never fails, a list does that was refuted before: it is asked again."""
        goal = "pump started by start and stopped by stop, keeps its state through a power cut"
        stricter = read_problem(None, goal, None)
        text = f"goals:\n  - {goal}\nknown:\n  - supply never fails\n"
        easier = pose(parse_goal_file(text, "easier.yaml"), stricter.kit)
        cold = plan(easier)
        with monkeypatch.context() as patch:
            ended = Ended(patch, 8)
            plan(stricter, memory=fresh(tmp_path), stopped=ended.now)
        assert len(entries(tmp_path, "lists")) == 1
        memory = fresh(tmp_path)
        with monkeypatch.context() as patch:
            again = Ended(patch, 10_000)
            assert told(plan(easier, memory=memory), easier) == told(cold, easier)
        works = set(again.asked) - set(again.refuted)
        assert works & set(ended.refuted), "no list does that was refuted before"
        assert "lists" not in memory.known

    def test_a_forged_design_is_not_taken(self, tmp_path: Path) -> None:
        """Of the lists one has to believe what was proven; a design is checked again."""
        problem = read_problem(None, FILLS, None)
        plan(problem, memory=fresh(tmp_path))
        for file in (*entries(tmp_path, "plan"), *entries(tmp_path, "circuit")):
            file.unlink()
        (wiring,) = entries(tmp_path, "wiring")
        content = json.loads(wiring.read_bytes().partition(b"\n")[2])["answer"]
        feeds = content["skeleton"]["feeds"]
        loads = [pair for pair in feeds if pair[1]["part"] == "pump"]

        def turned(answer: Any) -> None:
            for pair in answer["skeleton"]["feeds"]:
                if pair[1]["part"] == "pump":
                    pair[0] = {**pair[0], "part": "supply", "terminal": "out"}
            answer["key"] = [1, 1, 1]

        assert len(loads) == 1
        forged(wiring, turned)
        memory = fresh(tmp_path)
        outcome = plan(problem, memory=memory, stopped=lambda: True)
        assert outcome.design is None and "wiring" not in memory.known

    def test_a_design_for_one_goal_serves_among_others(self, tmp_path: Path) -> None:
        """What was found of goals alone is there when they are planned together, among other
        timer settings, and time is up before any of it is found again."""
        goals = (FILLS, "bell for 7 s after door opens", "light for 3 s after hot")
        together = read_problem(None, ", ".join(goals), None)
        costs = []
        for goal in goals:
            alone = plan(read_problem(None, goal, None), memory=fresh(tmp_path))
            assert alone.price is not None
            costs.append(alone.price)
        assert plan(together, stopped=lambda: True).status is Status.UNDECIDED
        known = fresh(tmp_path)
        outcome = plan(together, memory=known, stopped=lambda: True)
        assert outcome.status is Status.BEST_FOUND and known.known.count("wiring") == 3
        assert outcome.verdict is not None and outcome.verdict.holds
        assert outcome.price is not None and outcome.price >= sum(costs)


class TestOnlyProofsAreKept:
    def test_nothing_of_a_run_that_was_stopped(self, tmp_path: Path) -> None:
        memory = fresh(tmp_path)
        outcome = plan(small(), memory=memory, stopped=lambda: True)
        assert outcome.status in (Status.UNDECIDED, Status.BEST_FOUND)
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.parametrize("status", Status)
    def test_by_status(self, status: Status, tmp_path: Path) -> None:
        memory = fresh(tmp_path)
        keep_plan(memory, small(), (1, 0), Outcome(status), 60)
        kept = status in (Status.PROVEN, Status.IMPOSSIBLE)
        assert len(list(tmp_path.iterdir())) == (1 if kept else 0)

    def test_a_claim_of_less_than_a_proof_is_not_recalled(self, tmp_path: Path) -> None:
        as_after_a_run(tmp_path)
        (file,) = entries(tmp_path, "plan")
        for status in ("best-found", "undecided", "impossible"):
            forged(file, lambda a, status=status: a["outcome"].update(status=status))
            memory = fresh(tmp_path)
            assert known_plan(memory, small(), (1, 0), check, 60) is None
            assert len(memory.notes) == 1 and not file.exists()
            warmed(small(), tmp_path)

    def test_more_time_is_used_where_something_is_not_proven(self, tmp_path: Path) -> None:
        """Less time than then, or all proven: known; otherwise more time might do better."""
        problem = small()
        memory = fresh(tmp_path)
        outcome = plan(problem, memory=memory, seconds=20)
        assert outcome.proven == ("price",)
        for seconds, known in ((20, True), (5, True), (21, False)):
            found = known_plan(fresh(tmp_path), problem, (1, 0), check, seconds)
            assert (found is not None) is known, seconds
        assert len(entries(tmp_path, "plan")) == 1
        assert outcome.design is not None
        everything = tuple(objective.value for objective in problem.objectives)
        keep_plan(memory, problem, (1, 0), replace(outcome, proven=everything), 20)
        assert known_plan(memory, problem, (1, 0), check, 3600) is not None

    @pytest.mark.parametrize("price", [8, 9, 11, 12])
    def test_what_was_found_within_a_largest_price_is_not_the_cheapest(
        self, price: int, tmp_path: Path
    ) -> None:
        """By hand, 12 coins: a bistable relay 6, two buttons at 1, and a divider 4 behind the
        supply. A relay that holds itself might cost as little as 9, but its two outputs that feed
        more than one input are not next to each other: 13. Within 9 coins it is looked at and the
        bistable relay is not."""
        parts = (
            KitPart("push button", PartType.PUSH_BUTTON, 1, options=("make", "break")),
            KitPart("bistable relay", PartType.BISTABLE, 6, options=("set", "reset")),
            KitPart("relay make", PartType.RELAY_MAKE, 1),
            KitPart("joint", PartType.JOINT, 2),
            KitPart("divider", PartType.DIVIDER, 4, outputs=3),
        )
        ends = (KitPart("supply", PartType.SUPPLY), KitPart("load", PartType.LOAD))
        kit = Kit("tiny", "Tiny", Trigger.HELD, (*ends, *parts))
        text = "goals: [lamp started by go and stopped by halt]\nknown: [supply never fails]\n"
        problem = pose(parse_goal_file(text, "tiny"), kit)
        within = replace(problem, limits=replace(problem.limits, price=price))
        plan(within, memory=fresh(tmp_path))
        outcome = plan(problem, memory=fresh(tmp_path))
        assert outcome.status is Status.PROVEN and outcome.price == 12


class TestForged:
    """Entries with the right digest whose circuits do not do what is asked, or cost otherwise."""

    @pytest.mark.parametrize("name", EXPECTED)
    def test_designs_that_must_be_rejected(self, name: str, tmp_path: Path) -> None:
        design, problem = read(name)
        claimed = Outcome(
            Status.PROVEN,
            design,
            design.price(problem.kit),
            design.supply,
            bound=design.price(problem.kit),
            proven=("price",),
        )
        keep_plan(fresh(tmp_path), problem, (1, 0), claimed, 60)
        assert len(entries(tmp_path, "plan")) == 1
        memory = fresh(tmp_path)
        assert known_plan(memory, problem, (1, 0), check, 60) is None
        assert memory.known == [] and len(memory.notes) == 1
        assert "its design does not hold" in memory.notes[0]
        assert entries(tmp_path, "plan") == []

    @pytest.mark.parametrize(
        "change",
        [
            lambda a: a.update(price=a["price"] - 1, bound=a["bound"] - 1),
            lambda a: a.update(bound=a["bound"] - 1),
            lambda a: a.update(supply=1),
            lambda a: a.update(proven=[]),
            lambda a: a.update(proven=["wires"]),
            lambda a: a["design"]["wires"].pop(),
            lambda a: a["design"]["parts"][0].update(part="no such part"),
            lambda a: a["design"]["parts"][0].update(name="nobody"),
            lambda a: a.update(design=None),
            lambda a: a.update(price=True),
            lambda a: a.update(price=None),
            lambda a: a.update(more=1),
            lambda a: a.clear(),
        ],
    )
    @pytest.mark.slow
    def test_plans(self, change: Callable[[Any], None], tmp_path: Path) -> None:
        problem = small()
        as_after_a_run(tmp_path)
        (file,) = entries(tmp_path, "plan")
        forged(file, lambda answer: change(answer["outcome"]))
        memory = fresh(tmp_path)
        outcome = plan(problem, memory=memory)
        assert told(outcome, problem) == cold()
        assert "plan" not in memory.known and len(memory.notes) == 1
        again = fresh(tmp_path)
        plan(problem, memory=again)
        assert (again.known, again.notes) == (["plan"], [])

    @pytest.mark.parametrize(
        "change",
        [
            lambda a: a.update(key=[a["key"][0] - 1, *a["key"][1:]]),
            lambda a: a.update(items=[*a["items"], 0]),
            lambda a: a["skeleton"]["feeds"].pop(),
            lambda a: a["skeleton"]["feeds"].reverse() or a["skeleton"]["feeds"].pop(),
            lambda a: a["skeleton"]["parts"].pop(),
            lambda a: a["skeleton"]["parts"][1].update(part="no such part"),
            lambda a: a.update(feasible_lists=[[99]]),
            lambda a: a.update(refuted_lists=[[-1]]),
            lambda a: a.update(order=[7]),
            lambda a: a.update(runs=[{}]),
            lambda a: a.update(floor="none"),
        ],
    )
    def test_circuits(self, change: Callable[[Any], None], tmp_path: Path) -> None:
        problem = small()
        as_after_a_run(tmp_path)
        for file in entries(tmp_path, "plan"):
            file.unlink()
        circuits = entries(tmp_path, "circuit")
        assert len(circuits) == 3
        for file in circuits:
            forged(file, change)
        memory = fresh(tmp_path)
        assert told(plan(problem, memory=memory), problem) == cold()
        assert memory.known == [] and len(memory.notes) == 3

    def test_a_contact_turned_round(self, tmp_path: Path) -> None:
        """Well formed, at the same price, and wrong: only the exact check can tell."""
        problem = read_problem(None, "light at night", None)
        warmed(problem, tmp_path)

        def by_day(parts: Any) -> None:
            (sensing,) = (p for p in parts if dict(p["settings"]).get("passes") == "night")
            sensing["settings"] = [
                [key, "day" if value == "night" and key == "passes" else value]
                for key, value in sensing["settings"]
            ]

        (file,) = entries(tmp_path, "plan")
        forged(file, lambda answer: by_day(answer["outcome"]["design"]["parts"]))
        for circuit in entries(tmp_path, "circuit"):
            forged(circuit, lambda answer: by_day(answer["skeleton"]["parts"]))
        memory = fresh(tmp_path)
        outcome = plan(problem, memory=memory)
        assert told(outcome, problem) == told(plan(problem), problem)
        assert memory.known == []
        assert [note.rpartition(": ")[2] for note in memory.notes] == [
            "its design does not hold"
        ] * 2

    def test_an_answer_to_another_question(self, tmp_path: Path) -> None:
        """Whole, signed and true, but under the name of another question."""
        warmed(read_problem(None, "light always", None), tmp_path)
        (file,) = entries(tmp_path, "plan")
        memory = fresh(tmp_path)
        asked = memory.entry("plan", small(), (1, 0))
        file.rename(asked.file)
        assert asked.recall(KeptPlan) is None
        assert "another question" in memory.notes[0]


class TestDamaged:
    def test_cut_short(self, tmp_path: Path) -> None:
        as_after_a_run(tmp_path)
        (file,) = entries(tmp_path, "plan")
        whole = file.read_bytes()
        memory = fresh(tmp_path)
        entry = memory.entry("plan", small(), (1, 0))
        for length in (*range(100), *range(100, len(whole), 17), len(whole) - 1):
            file.write_bytes(whole[:length])
            assert entry.recall(KeptPlan) is None, length
            assert "damaged" in memory.notes.pop()

    def test_any_byte_changed(self, tmp_path: Path) -> None:
        as_after_a_run(tmp_path)
        (file,) = entries(tmp_path, "plan")
        whole = bytearray(file.read_bytes())
        random = Random(1)
        memory = fresh(tmp_path)
        entry = memory.entry("plan", small(), (1, 0))
        places = (*range(100), *range(100, len(whole), 7))
        for place in places:
            changed = bytearray(whole)
            changed[place] ^= 1 << random.randrange(8)
            file.write_bytes(changed)
            assert entry.recall(KeptPlan) is None, place
        assert len(memory.notes) == len(places)

    def test_the_search_goes_on_without_it(self, tmp_path: Path) -> None:
        problem = small()
        as_after_a_run(tmp_path)
        for file in tmp_path.iterdir():
            file.write_bytes(file.read_bytes()[:-1])
        memory = fresh(tmp_path)
        assert told(plan(problem, memory=memory), problem) == cold()
        assert memory.known == [] and len(memory.notes) == 7
        assert warmed(problem, tmp_path).known == ["plan"]

    @pytest.mark.parametrize(
        "body",
        [
            *(b"", b"{}", b"[]", b"null", b"NaN", b'"version"', b"\xff\xfe", b"[" * 100_000),
            b'{"version": "this one", "question": {}}',
        ],
    )
    def test_whatever_else_it_is(self, body: bytes, tmp_path: Path) -> None:
        """With the right digest, so that it is read as far as it goes."""
        memory = fresh(tmp_path)
        entry = memory.entry("plan", small(), (1, 0))
        entry.file.write_bytes(sha256(body).hexdigest().encode() + b"\n" + body)
        assert entry.recall(KeptPlan) is None
        assert not entry.file.exists()

    def test_of_another_version_of_the_code(self, tmp_path: Path) -> None:
        problem = small()
        as_after_a_run(tmp_path)
        later = fresh(tmp_path, "a later one")
        assert told(plan(problem, memory=later), problem) == cold()
        assert (later.known, later.notes) == ([], [])
        again = fresh(tmp_path, "a later one")
        plan(problem, memory=again)
        assert again.known == ["plan"]


class TestPlainData:
    def test_outcomes_come_back(self) -> None:
        for problem in (small(), a_problem(Random(0), FULL)):
            outcome = replace(plan(problem), verdict=None, times=())
            data = json.loads(json.dumps(to_plain(outcome)))
            assert from_plain(Outcome, data) == outcome

    @pytest.mark.parametrize(
        ("form", "data"),
        [
            *((int, True), (int, 1.0), (int, "1"), (bool, 1), (str, None), (type(None), 0)),
            *((tuple[int, ...], 1), (tuple[int, str], [1]), (tuple[int, ...], ["a"])),
            *((int | None, "a"), (Status, "no such"), (Outcome, {}), (Outcome, [])),
            *((basics.LearnedRun, {"": "Outcome"}), (float, 1.0), (object, {})),
        ],
    )
    def test_nothing_of_another_form_comes_back(self, form: Any, data: Any) -> None:
        with pytest.raises(ValueError):
            from_plain(form, data)

    def test_what_has_no_plain_form_is_refused(self) -> None:
        with pytest.raises(TypeError):
            to_plain({1, 2})

    def test_the_essence_is_all_but_words(self) -> None:
        problem = read_problem(SHED, None, None)
        bare = essence(problem)
        assert bare.title == "" and bare.goals == () and bare.assumptions == ()
        assert (bare.inputs, bare.limits, bare.times) == (
            problem.inputs,
            problem.limits,
            problem.times,
        )
        prices = [(p.name, p.price) for p in problem.kit.parts]
        assert [(p.name, p.price) for p in bare.kit.parts] == prices
        assert [r.signal for r in bare.requirements] == [r.signal for r in problem.requirements]


def _circuits(problem: Problem, memory: Memory) -> list[room_whole.Circuit]:
    """Return the circuits of `problem`, each solved by itself, with this memory."""
    limits = dict(problem.limits.most)
    tools = basics.Tools(
        lambda skeleton, asked: share_power(skeleton, asked.kit, asked.objectives, asked.limits),
        lambda design, asked: check(design, asked, stop_at_first=True),
        _instants,
        lambda consumers: fan_out_price(consumers, problem.kit, limits),
        memory=memory,
    )
    solver = room_whole._Whole(problem, tools, basics.Progress(), 1)
    assert solver._apart() is None
    return solver.circuits


def _instants(design: Any, asked: Any, moments: Any, end: Any) -> Any:
    from synth.check import simulate

    run = simulate(design, asked, moments, end)
    return sorted({moment for track in run.tracks for moment, _ in track.changes})


def _dearer(kit: Any, name: str) -> Any:
    assert name in kit.index
    parts = tuple(replace(p, price=p.price + 3) if p.name == name else p for p in kit.parts)
    return replace(kit, parts=parts)
