"""What the terminal and the JSON document say: every claim, every figure, no more than is known.

The scenario (a potting shed) and all figures in it are invented.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from synth.design import Design, PartInUse, Terminal, Wire
from synth.errors import OutputError
from synth.parts.behaviour import PartType
from synth.problem import Goal, InputKind, Objective, OutsideInput, Problem, Requirement
from synth.read.kit_file import bundled_kits, load_kit
from synth.report.document import plan_document, to_json, verdict_document
from synth.report.terminal import (
    print_kit,
    print_plan,
    print_verdict,
    settings_in_words,
)
from synth.result import Counterexample, Defect, Fault, Outcome, Status, Verdict
from synth.signals import Cycle, Level
from synth.trace import Moment, Trace, Track
from synth.wording import counted

KIT = load_kit("starter")
SCHEMA = json.loads(
    (Path(__file__).parents[1] / "docs" / "plan.schema.json").read_text(encoding="utf-8")
)

PARTS = (
    PartInUse("supply", PartType.SUPPLY, "supply", (("units", 5),)),
    PartInUse("lever", PartType.SWITCH, "switch", (("input", "master"), ("contact", "make"))),
    PartInUse("timer", PartType.PULSE, "pulse timer", (("time", 90_000),)),
    PartInUse("pump", PartType.LOAD, "load", (("needs", 1),)),
    PartInUse("fan", PartType.LOAD, "load", (("needs", 2),)),
    PartInUse("divider 1", PartType.DIVIDER, "divider"),
    PartInUse("tap-off 1", PartType.TAP_OFF, "tap-off", (("units", 1),)),
)
WIRES = (
    ("supply:out", "tap-off 1:in", 5),
    ("tap-off 1:branch", "timer:start", 1),
    ("tap-off 1:rest", "lever:in", 4),
    ("lever:out", "divider 1:in", 4),
    ("divider 1:out1", "fan:in", 2),
    ("divider 1:out2", "timer:in", 2),
    ("timer:out", "pump:in", 2),
)


def terminal(text: str) -> Terminal:
    return Terminal(*text.split(":"))


DESIGN = Design(
    "starter",
    PARTS,
    tuple(Wire(i, terminal(a), terminal(b), u) for i, (a, b, u) in enumerate(WIRES, 1)),
)
PROBLEM = Problem(
    "Potting shed",
    KIT,
    (Goal(1, "pump on 10 s of every 60 s"), Goal(2, "master cutoff")),
    (Requirement("pump", 1, Cycle(Level("master"), 10_000, 50_000), (1, 2)),),
    (
        OutsideInput("supply", InputKind.SUPPLY),
        OutsideInput("master", InputKind.SWITCH),
        OutsideInput("night", InputKind.NIGHT),
        OutsideInput("bell push", InputKind.BUTTON),
        OutsideInput("float", InputKind.SENSOR),
    ),
    assumptions=("goal 1: the pulse comes first", "goals start afresh when power returns"),
)
HOLDS = Verdict(True, 212, seconds=0.125)
PROVEN = Outcome(
    Status.PROVEN, DESIGN, 15, 5, 15, ("price", "supply", "wires"), HOLDS,
    ("at most 12 parts",), (), (("search", 0.5), ("check", 0.125), ("check", 0.125)),
)  # fmt: skip
TRACE = Trace(
    Fraction(40_000),
    (
        Track("master", "input", False, ((Fraction(0), True), (Fraction(30_000), False))),
        Track("pump", "load", False, ((Fraction(0), True), (Fraction(10_000), False))),
        Track("timer", "timer", False, ((Fraction(0), True), (Fraction(10_000), False))),
    ),
)
EXAMPLE = Counterexample(
    (
        Moment(Fraction(0), (("supply", True), ("master", True))),
        Moment(Fraction(10_000)),
        Moment(Fraction(25_000) + Fraction(1, 2), (("night", True), ("bell push", True))),
        Moment(Fraction(30_000), (("master", False), ("float", True))),
    ),
    "pump", False, True, (), TRACE,
)  # fmt: skip
FAILS = Verdict(
    False, 31,
    (
        Defect(Fault.GOAL, "goal 1: pump is on 30 s after the start", (1,), EXAMPLE),
        Defect(Fault.RACE, "the parts race", (2,), Counterexample(
            EXAMPLE.moments[:1], orders=("timer first: pump is on", "lever first: pump is off"),
        )),
        Defect(Fault.STRUCTURE, "an input is left open: timer:start"),
    ),
)  # fmt: skip


def shown(what: str, *about: object, width: int = 80, ascii: bool = False) -> str:
    """Return what a print function writes to a terminal without colour."""
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding="ascii" if ascii else "utf-8", newline="\n")
    console = Console(file=file, width=width, force_terminal=False)
    printers: dict[str, Callable[..., None]] = {
        "plan": print_plan, "verdict": print_verdict, "kit": print_kit,
    }  # fmt: skip
    printers[what](console, *about)
    file.flush()
    return raw.getvalue().decode("ascii" if ascii else "utf-8")


def section(text: str, title: str) -> list[str]:
    """Return the lines of a section, up to the next empty line."""
    lines = text.split("\n")
    start = lines.index(title) + 1
    return lines[start : lines.index("", start)]


def cells(line: str) -> list[str]:
    return [cell.strip() for cell in re.split("[│|]", line.strip("│|"))]


# --- plans -----------------------------------------------------------------------------------


def test_plan_has_its_sections_in_order() -> None:
    text = shown("plan", PROBLEM, PROVEN)
    titles = [
        "Potting shed", "Goals", "Parts", "Wires, in the order in which to build",
        "How power is shared", "Assumptions", "Checked", "Proven within these bounds",
        "Time taken", "Cautions",
    ]  # fmt: skip
    lines = text.split("\n")
    places = [lines.index(title) for title in titles]
    assert places == sorted(places)
    assert (
        "Price 15 coins. The supply must deliver 5 units. 4 parts beside the supply and the loads, "
        "7 wires."
    ) in " ".join(lines)
    assert section(text, "Goals") == ["1. pump on 10 s of every 60 s", "2. master cutoff"]
    assert section(text, "Assumptions") == [f"- {words}" for words in PROBLEM.assumptions]
    assert section(text, "Time taken") == ["search 0.50 s, check 0.12 s, check 0.12 s"]
    assert "212 states, every input sequence, any moment: all goals hold" in text


def test_every_part_with_its_settings_and_price() -> None:
    rows = [cells(line) for line in section(shown("plan", PROBLEM, PROVEN), "Parts")]
    assert rows[3:-1] == [
        ["supply", "supply", "delivers 5 units", "0"],
        ["lever", "switch", "worked by master, make contact", "2"],
        ["timer", "pulse timer", "90 s", "8"],
        ["pump", "load", "needs 1 unit", "0"],
        ["fan", "load", "needs 2 units", "0"],
        ["divider 1", "divider", "", "3"],
        ["tap-off 1", "tap-off", "branch takes 1 unit", "2"],
    ]


def test_every_wire_with_its_number_and_units() -> None:
    lines = section(shown("plan", PROBLEM, PROVEN), "Wires, in the order in which to build")
    assert [cells(line) for line in lines[3:-1]] == [
        [str(i), a, b, str(u)] for i, (a, b, u) in enumerate(WIRES, 1)
    ]


def test_what_each_splitting_part_feeds() -> None:
    text = shown("plan", PROBLEM, PROVEN)
    rows = [cells(line) for line in section(text, "How power is shared")]
    assert [row for row in rows if len(row) == 4][1:] == [
        ["divider 1", "in", "4", "shares equally"],
        ["", "out1", "2", "fan:in"],
        ["", "out2", "2", "timer:in"],
        ["", "out3", "", "leave open"],
        ["tap-off 1", "in", "5", "set to 1"],
        ["", "branch", "1", "timer:start"],
        ["", "rest", "4", "lever:in"],
    ]
    assert "what is left over" in text
    bare = Design("starter", PARTS[:2], ())
    assert "How power" not in shown("plan", PROBLEM, replace(PROVEN, design=bare))


@pytest.mark.parametrize(
    ("changes", "objectives", "expected"),
    [
        (
            {},
            None,
            "Proven cheapest: within the bounds below no circuit has a lower price, then a "
            "smaller supply, then fewer wires.",
        ),
        (
            {"proven": ("price",)},
            None,
            "Proven cheapest: within the bounds below no circuit has a lower price. Not proven: "
            "that the supply units and the number of wires are the least.",
        ),
        (
            {"proven": ("price", "supply")},
            None,
            "no circuit has a lower price, then a smaller supply. Not proven: that the number of "
            "wires is the least.",
        ),
        (
            {"proven": ("supply", "price")},
            (Objective.SUPPLY, Objective.PRICE),
            "Proven best: within the bounds below no circuit has a smaller supply, then a lower "
            "price.",
        ),
        (
            {"status": Status.BEST_FOUND, "bound": 12, "proven": ()},
            None,
            "Best found, gap 20 %: checked, not proven to be the best. Proven: within the bounds "
            "below none does with less than 12 coins.",
        ),
        (
            {"status": Status.BEST_FOUND, "bound": 13, "proven": ()},
            None,
            "Best found, gap 13.3 %: checked",
        ),
        (
            {"status": Status.BEST_FOUND, "bound": 4, "proven": ()},
            (Objective.SUPPLY,),
            "Best found, gap 20 %: checked, not proven to be the best. Proven: within the bounds "
            "below none does with less than 4 units.",
        ),
        (
            {"status": Status.BEST_FOUND, "bound": None, "proven": ()},
            None,
            "Best found, gap unknown: checked, not proven to be the best. How much better one "
            "could be is not known.",
        ),
        (
            {"status": Status.IMPOSSIBLE, "design": None, "clash": ("goals 1 and 2",)},
            None,
            "Impossible: proven that within the bounds below no circuit fulfils all goals.",
        ),
        (
            {"status": Status.UNDECIDED, "design": None, "bound": None},
            None,
            "Undecided: the search ended before a circuit was found",
        ),
    ],
)
def test_status_says_what_was_proven_and_no_more(
    changes: dict[str, object], objectives: tuple[Objective, ...] | None, expected: str
) -> None:
    outcome = replace(PROVEN, **changes)  # type: ignore[arg-type]
    problem = replace(PROBLEM, objectives=objectives) if objectives else PROBLEM
    text = shown("plan", problem, outcome)
    assert expected in " ".join(text.split())
    proven = outcome.status in (Status.PROVEN, Status.IMPOSSIBLE) or outcome.bound is not None
    assert ("\nProven within these bounds\n" in text) == proven
    assert ("\nSearched within\n" in text) != proven
    assert ("\nWhat clashes\n- goals 1 and 2\n" in text) == bool(outcome.clash)
    if outcome.design is None:
        assert "Price" not in text and "Wires" not in text and "all goals hold" not in text


@pytest.mark.parametrize(
    "changes",
    [
        {"design": None},
        {"verdict": None},
        {"verdict": FAILS},
        {"proven": ()},
        {"status": Status.BEST_FOUND, "verdict": FAILS},
    ],
)
def test_claims_without_their_check_are_refused(changes: dict[str, object]) -> None:
    outcome = replace(PROVEN, **changes)  # type: ignore[arg-type]
    with pytest.raises(OutputError):
        shown("plan", PROBLEM, outcome)
    with pytest.raises(OutputError):
        plan_document(outcome, PROBLEM)


def test_undecided_hands_out_nothing_even_when_it_holds_something() -> None:
    outcome = replace(PROVEN, status=Status.UNDECIDED)
    text = shown("plan", PROBLEM, outcome)
    assert "lever:in" not in text and "Price" not in text
    document = plan_document(outcome, PROBLEM)
    assert (document["design"], document["price"], document["check"]) == (None, None, None)


# --- safe, narrow, plain ---------------------------------------------------------------------

HOSTILE = "[bold red]pump[/] \x1b[31m\u202eevil\n<script> :skull: \u00e9\u2026 \u6c34"


def hostile() -> tuple[Problem, Outcome]:
    parts = (*PARTS[:3], PartInUse(HOSTILE, PartType.LOAD, "load", (("needs", 1),)), *PARTS[4:])
    wires = tuple(
        replace(w, target=Terminal(HOSTILE, "in")) if w.target.part == "pump" else w
        for w in DESIGN.wires
    )
    problem = replace(
        PROBLEM, title=HOSTILE, goals=(Goal(1, HOSTILE),), assumptions=(HOSTILE * 4,)
    )
    return problem, replace(PROVEN, design=Design("starter", parts, wires), bounds=(HOSTILE,))


def test_user_text_is_text() -> None:
    problem, outcome = hostile()
    text = shown("plan", problem, outcome)
    assert "1. [bold red]pump[/] \ufffd[31m\ufffdevil <script> :skull: \u00e9\u2026 \u6c34" in text
    assert "\x1b" not in text and "\u202e" not in text
    verdict = Verdict(False, 1, (Defect(Fault.GOAL, HOSTILE, (1,)),), (HOSTILE,))
    text = shown("verdict", DESIGN, problem, verdict)
    assert "- goal 1: [bold red]pump[/]" in text and "\x1b" not in text


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("ascii", [False, True])
def test_no_line_is_wider_than_the_terminal(width: int, ascii: bool) -> None:
    problem, outcome = hostile()
    for text in (
        shown("plan", PROBLEM, PROVEN, width=width, ascii=ascii),
        shown("plan", problem, outcome, width=width, ascii=ascii),
        shown("verdict", DESIGN, problem, FAILS, width=width, ascii=ascii),
        *(shown("kit", load_kit(name), width=width, ascii=ascii) for name in bundled_kits()),
    ):
        assert max(cell_len(line) for line in text.split("\n")) <= width
        assert text.isascii() or not ascii


def test_colour_carries_no_meaning() -> None:
    file = io.StringIO()
    console = Console(file=file, width=80, force_terminal=True, color_system="truecolor")
    print_verdict(console, DESIGN, PROBLEM, FAILS)
    coloured = file.getvalue()
    assert "\x1b[1m" in coloured
    plain = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
    assert plain == shown("verdict", DESIGN, PROBLEM, FAILS)


@settings(max_examples=60, deadline=None)
@given(title=st.text(max_size=90), phrase=st.text(max_size=200), width=st.integers(20, 100))
def test_any_text_can_be_shown(title: str, phrase: str, width: int) -> None:
    problem = replace(
        PROBLEM, title=title, goals=(Goal(1, phrase),), assumptions=(phrase,)
    )
    outcome = replace(PROVEN, status=Status.IMPOSSIBLE, design=None, clash=(phrase,))
    for ascii in (False, True):
        text = shown("plan", problem, outcome, width=width, ascii=ascii)
        assert "Impossible" in text
        assert max(cell_len(line) for line in text.split("\n")) <= width


# --- verdicts --------------------------------------------------------------------------------


def test_a_verdict_that_holds() -> None:
    text = shown("verdict", DESIGN, PROBLEM, replace(HOLDS, notes=("a remark",)))
    assert (
        "Design: 4 parts beside the supply and the loads, 7 wires, price 15 coins, supply 5 units."
    ) in " ".join(text.split())
    assert "Holds. 212 states, every input sequence, any moment: all goals hold" in text
    assert section(text, "Notes") == ["- a remark"]
    assert "defect" not in text.lower()


def test_defects_with_their_moments_and_picture() -> None:
    text = shown("verdict", DESIGN, PROBLEM, FAILS)
    assert "Does not hold: 3 defects, 31 states explored." in text
    assert text.index("Defect 1: goal") < text.index("Defect 2: race")
    assert "- goal 1: pump on 10 s of every 60 s" in text
    lines = text.split("\n")
    first = lines.index("How to see it")
    rows = [cells(line) for line in lines[first + 4 : first + 9]]
    assert rows == [
        ["0 s", "the supply comes on, master is on"],
        ["10 s", "a time is up"],
        ["25 s + 1/2 ms", "night falls, bell push is pressed"],
        ["30 s", "master is switched off, float goes on"],
        ["then", "pump is on; it must be off"],
    ]
    at_once = Moment(Fraction(0), (("supply", True), ("night", True), ("float", False)))
    found = replace(EXAMPLE, moments=(at_once,))
    text_by_night = shown("verdict", DESIGN, PROBLEM, Verdict(False, 1, (Defect(
        Fault.GOAL, "goal 1: pump is on", (1,), found
    ),)))  # fmt: skip
    assert "the supply comes on, it is night, float is off" in text_by_night
    picture = text[text.index("The run:") : text.index("Defect 2")]
    assert "wrong from here" in picture and "30 s" in picture
    strips = {line.split()[0]: line.split()[-1] for line in picture.split("\n") if "█" in line}
    assert {"master", "pump", "timer"} <= strips.keys()
    assert re.fullmatch("█+▁+", strips["pump"]) and strips["pump"] == strips["timer"]
    assert len(strips["master"].rstrip("▁")) > len(strips["pump"].rstrip("▁"))
    assert "- timer first: pump is on" in text and "- lever first: pump is off" in text
    assert "an input is left open: timer:start" in text
    plain = shown("verdict", DESIGN, PROBLEM, FAILS, ascii=True)
    assert re.search(r"pump +#+_+", plain)


def test_a_design_with_unknown_parts_is_still_reported() -> None:
    design = replace(DESIGN, parts=(*PARTS, PartInUse("x", PartType.JOINT, "no such part")))
    text = shown("verdict", design, PROBLEM, FAILS)
    assert (
        "Design: 5 parts beside the supply and the loads, 7 wires, supply 5 units."
    ) in " ".join(text.split())


# --- kits ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", bundled_kits())
def test_kit_names_every_part_and_price(name: str) -> None:
    kit = load_kit(name)
    rows = [cells(line) for line in section(shown("kit", kit, width=120), "Parts")]
    found = {row[0]: row[1] for row in rows if len(row) == 4}
    for part in kit.parts:
        named = [k for k in found if k == part.name or k.startswith(f"{part.name} (")]
        assert len(named) == 1 and found[named[0]] == str(part.price)
    text = shown("kit", kit, width=120)
    assert "in -> out1, out2, out3" in text
    assert "time 1 s to 7 d in steps of 1 s" in text


def test_kit_shows_limits() -> None:
    timer, tap = KIT.index["pulse timer"], KIT.index["tap-off"]
    kit = replace(
        KIT,
        parts=(replace(timer, most=2, units=3), replace(tap, most=0, largest=9)),
    )
    text = " ".join(shown("kit", kit, width=160).split())
    assert "each control input uses 3 units; at most 2" in text
    assert "set to at most 9 units; not on offer" in text


# --- words -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "setting", "expected"),
    [
        (
            PartType.SENSOR,
            (("input", "float"), ("contact", "break")),
            "senses float, break contact",
        ),
        (PartType.TWILIGHT, (("passes", "day"),), "passes day"),
        (PartType.BISTABLE, (("wins", "reset"),), "reset wins"),
        (
            PartType.RECYCLER,
            (("on", 10_000), ("off", 50_000), ("first", "pause")),
            "on 10 s, off 50 s, pause first",
        ),
        (PartType.SUPPLY, (("units", 1),), "delivers 1 unit"),
        (PartType.JOINT, (), ""),
    ],
)
def test_settings_in_words(
    kind: PartType, setting: tuple[tuple[str, str | int], ...], expected: str
) -> None:
    assert settings_in_words(PartInUse("a", kind, "a", setting)) == expected


def test_counting() -> None:
    assert [counted(n, "coin") for n in (0, 1, 2)] == ["0 coins", "1 coin", "2 coins"]


# --- the document ----------------------------------------------------------------------------


def test_document_of_a_proven_plan() -> None:
    document = plan_document(PROVEN, PROBLEM)
    assert document["status"] == "proven-cheapest"
    assert (document["price"], document["bound"], document["supply"]) == (15, 15, 5)
    assert document["check"] == {"verdict": "holds", "states": 212, "notes": []}
    assert document["proven"] == ["price", "supply", "wires"]
    assert document["times"] == {"search": 0.5, "check": 0.25}
    assert document["goals"][1] == {"number": 2, "phrase": "master cutoff"}
    assert document["design"]["parts"][2]["settings"] == {"time": "90 s"}
    assert document["design"]["wires"][0] == {
        "number": 1, "from": "supply:out", "to": "tap-off 1:in", "units": 5,
    }  # fmt: skip


@pytest.mark.parametrize(
    "outcome",
    [
        PROVEN,
        replace(PROVEN, status=Status.BEST_FOUND, proven=(), bound=None),
        Outcome(Status.IMPOSSIBLE, clash=("goals 1 and 2",), bounds=("at most 12 parts",)),
        Outcome(Status.UNDECIDED, times=(("search", 60.0),)),
    ],
)
def test_document_fits_its_schema(outcome: Outcome) -> None:
    document = json.loads(to_json(plan_document(outcome, PROBLEM)))
    jsonschema.Draft202012Validator(SCHEMA).validate(document)


def test_same_outcome_same_bytes() -> None:
    again = replace(PROVEN, times=(("search", 9.0),))
    first, second = plan_document(PROVEN, PROBLEM), plan_document(again, PROBLEM)
    assert first.pop("times") != second.pop("times")
    assert to_json(first) == to_json(second)
    assert to_json(first).isascii() and to_json(first).endswith("}\n")


def test_verdict_document() -> None:
    document = verdict_document(FAILS)
    assert (document["verdict"], document["states"]) == ("fails", 31)
    first, race, open_input = document["defects"]
    assert first["moments"][0] == {"time": "0 s", "inputs": {"supply": True, "master": True}}
    assert first["moments"][2]["time"] == "50001/2 ms"
    assert (first["expected"], first["got"], first["goals"]) == (False, True, [1])
    assert race["orders"] == ["timer first: pump is on", "lever first: pump is off"]
    assert open_input["moments"] == [] and open_input["expected"] is None
    json.loads(to_json(document))
