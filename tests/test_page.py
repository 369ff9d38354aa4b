"""The running page without a browser: its data, its safety, and its engine where node is there.

The scenario (a potting shed, a hen house, a yard) and all its numbers are invented.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shutil
import subprocess
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path
from random import Random
from typing import Any

import pytest
import test_check_random as check_cases
from check_designs import asked
from check_random import a_design, a_problem
from click.testing import CliRunner
from page_runs import TELL, data_of, end_of, random_moments, settled_instants
from test_check_standards import raced

from synth.check import amounts, check
from synth.check.replay import orders_taken
from synth.check.wishes import with_supply
from synth.cli import main
from synth.design import Design
from synth.parts.behaviour import PartType
from synth.pipeline import read_design, running_page
from synth.problem import Apart, InputKind, OutsideInput, Peak, Problem
from synth.report.page.page import SCRIPTS, json_for_page
from synth.result import Fault
from synth.signals import OFF

ROOT = Path(__file__).parent.parent
FOLDER = ROOT / "synth" / "report" / "page"
KEPT = sorted(path.stem for path in (ROOT / "tests" / "designs").glob("*.json"))
NODE = shutil.which("node")
needs_node = pytest.mark.skipif(NODE is None, reason="no node here; the browser tests do the same")
HOSTILE = "</script><script>window.hacked=1</script><!-- \"quoted\" 'twice' & <img src=x onerror=1>"


def kept(name: str) -> tuple[Design, Problem]:
    folder = ROOT / "tests" / "designs"
    problem, design = read_design(
        str(folder / f"{name}.json"), str(ROOT / "goals" / f"{name}.yaml"), None, None
    )
    return design, problem


def in_node(script: str, data: Any) -> Any:
    """Return what `script` (an expression over `data`) gives, with the page's scripts at hand."""
    assert NODE is not None
    files = "".join((FOLDER / name).read_text("utf-8") for name in SCRIPTS[:5])
    program = (
        f"{files}\n{TELL}\nconst data = JSON.parse(require('fs').readFileSync(0, 'utf8'));\n"
        f"process.stdout.write(JSON.stringify({script}));"
    )
    ran = subprocess.run(
        [NODE, "-e", program], input=json.dumps(data), capture_output=True, text=True, timeout=120
    )
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)


# --- the engine acts as the check does -------------------------------------------------------


def agree(jobs: list[tuple[Design, Problem, list[tuple[int, dict[str, bool]]]]]) -> int:
    """Assert that engine and check agree on every settled instant; return how many there were."""
    told = in_node(
        "data.map(([model, moments, end]) => tell(new Engine(model), moments, end))",
        [(data_of(design, problem), moments, end_of(moments)) for design, problem, moments in jobs],
    )
    count = 0
    for (design, problem, moments), got in zip(jobs, told, strict=True):
        expected = settled_instants(design, problem, moments, end_of(moments))
        assert got == json.loads(json.dumps(expected))
        count += len(expected)
    return count


@needs_node
def test_engine_on_kept_designs() -> None:
    jobs = []
    for name in KEPT:
        design, problem = kept(name)
        for seed in range(2):
            jobs.append((design, problem, random_moments(design, problem, Random(seed), 20)))
    assert agree(jobs) > 500


def more_asked(random: Random, problem: Problem) -> Problem:
    """Return the problem with, at times, two loads that are never on together, and a peak."""
    if random.random() < 0.4:
        problem = replace(problem, apart=(Apart("lamp", "l2", 9),))
    if random.random() < 0.4:
        problem = replace(problem, peak=Peak(random.choice((1, 2, 3)), 8))
    return problem


def with_levers(random: Random, design: Design) -> Design:
    """Return the design with some of its sensors as switches and push-buttons."""
    kinds = {PartType.SWITCH: "switch", PartType.PUSH_BUTTON: "push button"}
    return replace(
        design,
        parts=tuple(
            replace(part, type=(kind := random.choice(list(kinds))), part=kinds[kind])
            if part.type is PartType.SENSOR and random.random() < 0.5
            else part
            for part in design.parts
        ),
    )


def random_designs(first: int, count: int) -> int:
    jobs = []
    for seed in range(first, first + count):
        random = Random(seed)
        kit = check_cases.KITS[random.choice(("held", "instant"))]
        problem = more_asked(random, a_problem(random, kit, ("lamp", "l2")))
        design = with_levers(random, a_design(random, kit, random.randint(1, 8), ("lamp", "l2")))
        joined = any(part.type is PartType.JOINT for part in design.parts)
        if not joined and random.random() < 0.3:
            # With joints the check knows only the least that arrives; the page shows what does.
            design = with_supply(design, random.randint(0, design.supply))
        jobs.append((design, problem, random_moments(design, problem, random, 12)))
    return agree(jobs)


@needs_node
def test_engine_on_random_designs_of_all_parts() -> None:
    assert random_designs(0, 80) > 1000


@pytest.mark.slow
@needs_node
def test_engine_on_many_random_designs() -> None:
    assert random_designs(1000, 1500) > 20_000


@needs_node
@pytest.mark.parametrize("name", KEPT)
def test_wires_carry_what_the_design_says(name: str) -> None:
    """Live wires carry at least what is planned, and exactly that where no joint mixes sources."""
    design, problem = kept(name)
    least = amounts(design, problem.kit)
    moments = random_moments(design, problem, Random(7), 40)
    told = in_node(
        "(() => { const engine = new Engine(data[0]); let now = engine.before();"
        " return data[1].map(([time, changes]) => { now = engine.happen(now, time, changes);"
        " const carried = engine.circuit.amounts(now.nets);"
        " return data[0].wires.map((wire) => carried.get(wire.from.join(':'))); }); })()",
        [data_of(design, problem), moments],
    )
    joints = any(part.type.value == "joint" for part in design.parts)
    lit = 0
    for row in told:
        for wire, got in zip(design.wires, row, strict=True):
            lit += got > 0
            assert got == 0 or got == least[wire.target] or joints and got > least[wire.target]
    assert lit > len(design.wires)


@needs_node
def test_race_plays_in_the_order_that_breaks_the_goal() -> None:
    inputs = [OutsideInput("x", InputKind.SENSOR), OutsideInput("y", InputKind.SENSOR)]
    problem = asked({"lamp": OFF}, *inputs)
    page, verdict = running_page(raced(), problem, 20)
    assert verdict is not None and [d.fault for d in verdict.defects] == [Fault.RACE]
    data = data_in(page)
    lamp = in_node(
        "(() => { const player = new Player(new Engine(data));"
        " player.load(data.defects[0].moments); while (player.step()) ;"
        " return [player.now.on, [...player.broken.values()].map((b) => b.fault.kind)]; })()",
        data,
    )
    assert lamp == [[True], []] or lamp == [[True], ["goal"]]
    assert any(moment["order"] for moment in data["defects"][0]["moments"])


def test_an_order_in_which_parts_never_settle_is_found_again() -> None:
    random = Random(562)
    kit = check_cases.KITS[random.choice(("held", "instant"))]
    problem = a_problem(random, kit)
    design = a_design(random, kit, random.randint(2, 7), ("lamp",))
    races = [d for d in check(design, problem).defects if d.fault is Fault.RACE]
    assert races, "this seed gives a design that never settles in some order"
    for defect in races:
        assert defect.counterexample is not None
        ((time, (steps, forever)),) = orders_taken(design, problem, defect.counterexample).items()
        assert time == defect.counterexample.moments[-1].time
        assert steps and set(forever) <= {part.name for part in design.parts}


def test_nothing_is_said_of_orders_where_all_move_together() -> None:
    design, problem = kept("potting-shed")
    spoilt = replace(
        design,
        parts=tuple(
            replace(p, settings=(("time", 50_000),)) if p.name == "pulse timer 2" else p
            for p in design.parts
        ),
    )
    defects = check(spoilt, problem).defects
    assert defects
    for defect in defects:
        if defect.counterexample:
            assert orders_taken(spoilt, problem, defect.counterexample) == {}


def failing_designs(first: int, count: int) -> int:
    """Play every counterexample of random designs: at its end the page shows just that as broken.
    Return how many were played."""
    models, verdicts = [], []
    for seed in range(first, first + count):
        random = Random(seed)
        kit = check_cases.KITS[random.choice(("held", "instant"))]
        problem = more_asked(random, a_problem(random, kit, ("lamp", "l2")))
        design = a_design(random, kit, random.randint(1, 6), ("lamp", "l2"))
        page, verdict = running_page(design, problem, 20)
        if verdict is not None and not verdict.holds:
            models.append(data_in(page))
            verdicts.append(verdict)
    told = in_node(
        "data.map((model) => model.defects.map((defect) => { if (!defect.moments) return null;"
        " const player = new Player(new Engine(model)); player.loadDefect(defect);"
        " const end = defect.moments[defect.moments.length - 1].time;"
        " while (player.nextTime() <= end) player.step();"
        " return [player.now.time === end, player.now.broken, player.now.kept && true]; }))",
        models,
    )
    played = 0
    for verdict, rows in zip(verdicts, told, strict=True):
        for defect, row in zip(verdict.defects, rows, strict=True):
            if row is None:
                continue
            reached, broken, _ = row
            assert reached, defect.message
            kinds = {fault["kind"] for fault in broken}
            if defect.fault is Fault.CHATTER:
                assert kinds == {"chatter"}, defect.message
            else:
                assert {*defect.goals} <= {n for f in broken for n in f["goals"]}, defect.message
                if defect.fault.value in ("goal", "blip", "together", "peak"):
                    assert defect.fault.value in kinds, defect.message
            played += 1
    assert any(row and row[2] for rows in told for row in rows), "some with parts that stay still"
    return played


@needs_node
def test_what_goes_wrong_is_what_its_run_shows() -> None:
    assert failing_designs(0, 30) > 50


@pytest.mark.slow
@needs_node
def test_what_goes_wrong_in_many_designs() -> None:
    assert failing_designs(2000, 600) > 900


# --- one safe file ---------------------------------------------------------------------------


class Reader(HTMLParser):
    """Collects elements, their attributes, and what stands in scripts and styles."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.inside: dict[str, list[str]] = {}
        self.open = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self.open = tag
        if tag in ("script", "style"):
            self.inside.setdefault(tag, []).append("")

    def handle_endtag(self, tag: str) -> None:
        self.open = ""

    def handle_data(self, data: str) -> None:
        if self.open in ("script", "style"):
            self.inside[self.open][-1] += data


def data_in(page: str) -> Any:
    return json.loads(Reader(page).inside["script"][0])


def hostile() -> tuple[Design, Problem]:
    """The potting shed with a title, goals, a part and a load from a stranger."""
    design, problem = kept("potting-shed")
    goals = tuple(replace(goal, phrase=f"{goal.phrase} {HOSTILE}") for goal in problem.goals)

    def renamed(name: str) -> str:
        return f"{name} {HOSTILE}" if name in ("heater", "relay break 1") else name

    parts = tuple(replace(part, name=renamed(part.name)) for part in design.parts)
    wires = tuple(
        replace(
            wire,
            source=replace(wire.source, part=renamed(wire.source.part)),
            target=replace(wire.target, part=renamed(wire.target.part)),
        )
        for wire in design.wires
    )
    requirements = tuple(replace(r, load=renamed(r.load)) for r in problem.requirements)
    strange = replace(
        problem, title=HOSTILE, goals=goals, requirements=requirements, assumptions=(HOSTILE,)
    )
    return replace(design, parts=parts, wires=wires), strange


def test_one_file_that_fetches_nothing() -> None:
    page, verdict = running_page(*kept("potting-shed"), 20)
    assert verdict is not None and verdict.holds
    read = Reader(page)
    for tag, attributes in read.elements:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base", "form", "a")
        assert not {"src", "href", "style", "srcset"} & set(attributes), (tag, attributes)
        assert not any(name.startswith("on") for name in attributes)
    addresses = set(re.findall(r"https?://[^\s\"'<>]+", page))
    assert addresses == {"http://www.w3.org/2000/svg"}, "only the name of SVG looks like one"


def test_policy_allows_this_script_and_style_alone() -> None:
    page, _ = running_page(*kept("potting-shed"), 20)
    read = Reader(page)
    (policy,) = [a["content"] for tag, a in read.elements if tag == "meta" and "http-equiv" in a]
    assert policy is not None
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    for kind, text in (
        ("script-src", read.inside["script"][1]),
        ("style-src", read.inside["style"][0]),
    ):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert rules[kind] == f"'sha256-{digest}'"


def test_a_stranger_adds_no_element() -> None:
    plain, _ = running_page(*kept("potting-shed"), 20)
    page, _ = running_page(*hostile(), 20)
    tags = [tag for tag, _ in Reader(plain).elements]
    strange = [tag for tag, _ in Reader(page).elements]
    assert {t: strange.count(t) for t in ("script", "img", "style", "meta")} == {
        t: tags.count(t) for t in ("script", "img", "style", "meta")
    }
    assert data_in(page)["title"] == HOSTILE
    assert Reader(page).inside["script"][1] == Reader(plain).inside["script"][1]


@pytest.mark.parametrize("text", ["</script>", "<!--", "]]>", "\u2028", "\ud800", "&lt;"])
def test_json_cannot_end_its_element(text: str) -> None:
    made = json_for_page({"text": text})
    assert not set("<>&") & set(made) and made.isascii()
    assert json.loads(made) == {"text": text}


def test_scripts_never_make_markup() -> None:
    """Text becomes text only: none of the ways to turn it into markup or code is used."""
    for name in SCRIPTS:
        source = (FOLDER / name).read_text("utf-8")
        for way in (
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "new Function",
            "DOMParser",
            'setAttribute("on',
        ):
            assert way not in source, (name, way)


def test_files_of_the_page_are_short() -> None:
    for path in FOLDER.iterdir():
        if path.suffix in (".js", ".css", ".html"):
            assert len(path.read_text("utf-8").splitlines()) <= 600, path.name


def test_why_is_shown_when_given() -> None:
    design, problem = kept("potting-shed")
    page, _ = running_page(design, problem, 20, {"relay break 1": ["The pump runs once."]})
    parts = {part["name"]: part for part in data_in(page)["parts"]}
    assert parts["relay break 1"]["why"] == ["The pump runs once."]
    assert parts["pump"]["why"] == []
    assert parts["pulse timer 1"]["loads"] == ["pump"]
    assert parts["pulse timer 1"]["goals"] == [1, 4]


# --- the command -----------------------------------------------------------------------------


def run(*arguments: str) -> Any:
    return CliRunner().invoke(main, ["page", *arguments])


def test_command_writes_the_same_page_each_time(tmp_path: Path) -> None:
    design = str(ROOT / "tests/designs/hen-house.json")
    goals = str(ROOT / "goals/hen-house.yaml")
    pages = []
    for folder in ("a", "b"):
        ran = run(design, goals, "--out", str(tmp_path / folder))
        assert ran.exit_code == 0, ran.output
        assert "Check: holds" in ran.output
        pages.append((tmp_path / folder / "page.html").read_bytes())
    own = tmp_path / "own.html"
    assert run(design, goals, "--out", str(own)).exit_code == 0
    assert pages[0] == pages[1] == own.read_bytes()
    assert pages[0].startswith(b"<!DOCTYPE html>")


def test_command_on_a_design_that_fails(tmp_path: Path) -> None:
    design = str(ROOT / "tests/designs/potting-shed.json")
    ran = run(
        design,
        "pump on 10 s of every 60 s, light always, heater by day, master cutoff for pump",
        "--out",
        str(tmp_path),
        "--format",
        "json",
    )
    assert ran.exit_code == 1
    assert json.loads(ran.output)["verdict"] == "fails"
    data = data_in((tmp_path / "page.html").read_text("utf-8"))
    assert data["defects"][0]["moments"][0] == {
        "time": 0,
        "inputs": {"supply": True},
        "order": [],
        "chatter": [],
    }


def test_command_says_what_is_bad(tmp_path: Path) -> None:
    ran = run(str(tmp_path / "none.json"), "light always")
    assert ran.exit_code == 2
    loop = str(ROOT / "tests/must_reject/timer_fed_through_its_own_contact.yaml")
    ran = run(loop, "bell for 30 s after bell push is pressed", "--out", str(tmp_path))
    assert ran.exit_code == 2 and not (tmp_path / "page.html").exists()
    assert "loop" in ran.output


def test_moments_between_ticks_stay_exact() -> None:
    """Where a run needs moments between milliseconds, the page's unit of time is finer."""
    from synth.report.page.data import _fineness

    assert _fineness([Fraction(1), Fraction(21, 2), Fraction(4, 3)]) == 6
