"""Reading designs: round trip, hand-typed ones, and every mistake with its message."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from synth.design import Design, PartInUse, Terminal, Wire, design_document
from synth.errors import DesignError
from synth.parts.behaviour import TIMED, PartType
from synth.parts.kit import Kit
from synth.read.design_file import SETTINGS, load_design, named_kit, opened, parse_design
from synth.read.kit_file import OPTIONS, load_kit, parse_kit
from synth.ticks import LONGEST

SCHEMA = json.loads(
    (Path(__file__).parent.parent / "docs" / "plan.schema.json").read_text(encoding="utf-8")
)
VALIDATOR = Draft202012Validator(SCHEMA)

STARTER, FULL = load_kit("starter"), load_kit("full")

DUSK = """\
# An invented design: a heater that runs at night.
parts:
  - {name: S, type: supply}
  - {name: dusk, type: twilight-switch, settings: {passes: night}}
  - {name: heater, type: load}
wires:
  - {from: S:out, to: dusk:in}
  - {from: 'dusk : out', to: heater:in}
"""

PUMP = """\
parts:
  - {name: S, type: supply, settings: {units: 4}}
  - {name: main, type: switch, settings: {input: master}}
  - {name: taps, type: divider}
  - {name: R, type: relay break}
  - {name: on timer, type: pulse-timer, settings: {time: 10 s}}
  - {name: latch, type: bistable-relay}
  - {name: drip, part: tap-off, settings: {units: 1}}
  - {name: pump, type: load, settings: {needs: 2}}
wires:
  - {number: 2, from: S:out, to: main:in, units: 4}
  - {from: main:out, to: taps:in}
  - {from: taps:out3, to: R:in, units: 1}
  - {number: 5, from: R:out, to: on timer:start}
"""


class TestHandTyped:
    def test_least_form(self) -> None:
        assert parse_design(DUSK, "f", STARTER) == Design(
            "starter",
            (
                PartInUse("S", PartType.SUPPLY, "supply"),
                PartInUse("dusk", PartType.TWILIGHT, "twilight switch", (("passes", "night"),)),
                PartInUse("heater", PartType.LOAD, "load", (("needs", 1),)),
            ),
            (
                Wire(1, Terminal("S", "out"), Terminal("dusk", "in")),
                Wire(2, Terminal("dusk", "out"), Terminal("heater", "in")),
            ),
        )

    def test_defaults_numbers_and_kit_names(self) -> None:
        design = parse_design(PUMP, "f", STARTER)
        assert design.supply == 4
        assert design.part("main").settings == (("input", "master"), ("contact", "make"))
        assert design.part("R") == PartInUse("R", PartType.RELAY_BREAK, "relay break")
        assert design.part("on timer").setting("time") == 10_000
        assert design.part("latch").setting("wins") == "reset"
        assert design.part("drip").type is PartType.TAP_OFF
        assert design.part("taps").settings == ()
        assert [wire.number for wire in design.wires] == [2, 1, 3, 5]
        assert [wire.units for wire in design.wires] == [4, None, 1, None]
        assert design.price(STARTER) == 2 + 3 + 4 + 8 + 7 + 2

    def test_file_and_plan(self, tmp_path: Path) -> None:
        file = tmp_path / "design.yaml"
        file.write_text(DUSK, encoding="utf-8")
        design = load_design(file, STARTER)
        plan = plan_of(design)
        file.write_text(json.dumps(plan, indent="\t"), encoding="utf-8")
        assert load_design(str(file), STARTER) == design
        assert named_kit(opened(json.dumps(plan), "f")) == "starter"
        assert named_kit(opened(DUSK, "f")) is None
        with pytest.raises(DesignError, match="there is no design file"):
            load_design(tmp_path / "none.json", STARTER)

    def test_recycler_settings_called_on_and_off(self) -> None:
        text = (
            "parts:\n  - name: cycle\n    type: recycler\n    settings:\n"
            "      on: 10 s\n      off: 50 s\nwires: []\n"
        )
        assert parse_design(text, "f", FULL).part("cycle").settings == (
            ("on", 10_000), ("off", 50_000), ("first", "pulse")
        )


OWN = parse_kit(
    """\
kit: own
parts:
  box: {type: supply}
  dear eye: {type: sensor, price: 5}
  cheap eye: {type: sensor, price: 2, contact: break}
  free eye: {type: sensor, price: 0, most: 0}
  night eye: {type: twilight-switch, price: 2, passes: night}
  short: {type: pulse-timer, price: 1, time: {least: 1 s, most: 1 min, step: 1 s}}
  long: {type: pulse-timer, price: 4, time: {least: 1 min, most: 1 h, step: 1 min}}
  two: {type: divider, price: 1, outputs: 2}
  four: {type: divider, price: 2, outputs: 4}
  stop last: {type: bistable-relay, price: 3, wins: set}
  small tap: {type: tap-off, price: 1, units: {most: 3}}
  large tap: {type: tap-off, price: 2}
  lamp: {type: load, units: 2}
""",
    "own.yaml",
)


class TestWhichPartOfTheKit:
    def chosen(self, part: str, wires: str = "[]") -> PartInUse:
        design = parse_design(f"parts: [{{name: x, {part}}}, {{name: l, type: load}}]\n"
                              f"wires: {wires}\n", "f", OWN)
        return design.part("x")

    @pytest.mark.parametrize(
        ("part", "name"),
        [
            ("type: sensor, settings: {input: hot}", "cheap eye"),
            ("type: sensor, settings: {input: hot, contact: break}", "cheap eye"),
            ("type: sensor, settings: {input: hot, contact: make}", "dear eye"),
            ("type: sensor, part: free eye, settings: {input: hot}", "free eye"),
            ("type: dear eye, settings: {input: hot}", "dear eye"),
            ("type: pulse-timer, settings: {time: 30 s}", "short"),
            ("type: pulse-timer, settings: {time: 2 min}", "long"),
            # Out of every range: the cheapest, and the check says what is wrong.
            ("type: pulse-timer, settings: {time: 3 d}", "short"),
            ("type: tap-off, settings: {units: 3}", "small tap"),
            ("type: tap-off, settings: {units: 4}", "large tap"),
            ("type: divider", "two"),
            ("type: divider, settings: {outputs: 4}", "four"),
        ],
    )
    def test_cheapest_that_can_be_set_so(self, part: str, name: str) -> None:
        assert self.chosen(part).part == name

    def test_divider_with_enough_outputs(self) -> None:
        assert self.chosen("type: divider", "[{from: x:out2, to: l:in}]").part == "two"
        assert self.chosen("type: divider", "[{from: x:out3, to: l:in}]").part == "four"
        with pytest.raises(DesignError, match="has no terminal 'out5'"):
            self.chosen("type: divider", "[{from: x:out5, to: l:in}]")

    def test_defaults_from_the_kit(self) -> None:
        assert self.chosen("type: twilight-switch").setting("passes") == "night"
        assert self.chosen("type: sensor, settings: {input: a}").setting("contact") == "break"
        assert self.chosen("type: bistable-relay").setting("wins") == "set"
        assert self.chosen("type: load").setting("needs") == 2


def part(text: str) -> str:
    """Return a design with one part, on line 2."""
    return f"parts:\n  - {text}\nwires: []\n"


def wire(text: str) -> str:
    """Return a design of a supply, a relay and a load with one wire, on line 3."""
    return ("parts: [{name: S, type: supply}, {name: R, type: relay-make}, "
            f"{{name: lamp, type: load}}]\nwires:\n  - {text}\n")


BAD: list[tuple[str, str, str, int, int]] = [
    # text, part of the message, part of the hint, line, column
    ("[]", "a design is expected to be a map with 'parts' and 'wires', but a list came", "", 1, 1),
    ("parts: []", "a design needs 'wires', which is missing", "", 1, 1),
    ("wires: []", "a design needs 'parts'", "", 1, 1),
    ("parts: []\nwire: []", "a design has no 'wire'", "did you mean 'wires'?", 2, 1),
    ("desing: {}", "a design has no 'desing'", "did you mean 'design'?", 1, 1),
    ("status: undecided\ndesign: null", "this plan holds no design (its status is 'undecided')", "",
     2, 9),
    ("design: []", "'design' is expected to be a map", "", 1, 9),
    ("design:\n  parts: []\n  wirse: []", "a design has no 'wirse'", "'wires'?", 3, 3),
    ("kit: full\nparts: []\nwires: []", "made of the kit 'full', but the kit in use is 'starter'",
     "say --kit full", 1, 6),
    ("kit: mine\nparts: []\nwires: []", "made of the kit 'mine', but the kit in use is 'starter'",
     "--kit FILE", 1, 6),
    ("kit: []\nparts: []\nwires: []", "'kit' is expected to be text", "", 1, 6),
    ("parts: {}\nwires: []", "'parts' is expected to be a list", "", 1, 8),
    ("parts: []\nwires: 3", "'wires' is expected to be a list, but the number '3' came", "", 2, 8),
    ("parts: [" + "0, " * 1001 + "]\nwires: []", "1001 parts; at most 1000", "", 1, 8),
    (part("lamp"), "a part is expected to be a map with 'name' and 'type', but 'lamp' came", "",
     2, 5),
    (part("{type: load}"), "a part needs 'name'", "", 2, 5),
    (part("{name: lamp}"), "part 'lamp' needs a 'type'", "", 2, 5),
    (part("{name: 'a:b', type: load}"), "may not hold a colon: 'a:b'", "", 2, 12),
    (part("{name: ' a', type: load}"), "without spaces around it", "", 2, 12),
    (part("{name: \"a\\n\", type: load}"), "must be printable text", "", 2, 12),
    (part(f"{{name: {'n' * 61}, type: load}}"), "longer than 60 characters", "", 2, 12),
    (part("{name: [a], type: load}"), "the name of a part is expected to be text", "", 2, 12),
    (part("{name: a, type: lod}"), "'lod' is neither a type of part nor a part of the kit "
     "'starter'", "did you mean 'load'?", 2, 21),
    (part("{name: a, type: relay-mkae}"), "is neither", "did you mean 'relay-make'?", 2, 21),
    (part("{name: a, type: zzz}"), "is neither", "types: supply, switch,", 2, 21),
    (part("{name: a, type: 4}"), "'4' is neither", "", 2, 21),
    (part("{name: a, type: []}"), "'type' is expected to be text", "", 2, 21),
    (part("{name: a, type: recycler}"), "the kit 'starter' has no recycler", "its parts", 2, 21),
    (part("{name: a, part: relay mkae}"), "the kit 'starter' has no part 'relay mkae'",
     "did you mean 'relay make'?", 2, 21),
    (part("{name: a, type: load, part: joint}"), "'joint' is a joint, but the type here is load",
     "", 2, 21),
    (part("{name: a, typ: load}"), "a part has no 'typ'", "did you mean 'type'?", 2, 15),
    (part("{name: a, type: load, needs: 2}"), "'needs' is a setting", "settings: {needs: ...}",
     2, 27),
    (part("{name: a, type: load, settings: 3}"), "'settings' is expected to be a map", "", 2, 37),
    (part("{name: a, type: load, settings: {need: 2}}"), "a load has no setting 'need'",
     "did you mean 'needs'?", 2, 38),
    (part("{name: a, type: joint, settings: {units: 2}}"), "a joint has no setting 'units'",
     "a joint has no settings", 2, 39),
    (part("{name: a, type: load, settings: {needs: 0}}"), "number from 1 to", "", 2, 45),
    (part("{name: a, type: load, settings: {needs: two}}"), "but 'two' came", "", 2, 45),
    (part("{name: a, type: pulse-timer}"), "the pulse-timer 'a' needs the setting 'time'",
     "time: 10 s", 2, 5),
    (part("{name: a, type: pulse-timer, settings: {time: 10}}"), "'10' has no unit", "", 2, 51),
    (part("{name: a, type: pulse-timer, settings: {time: 10 x}}"), "'x' is not a unit of time", "",
     2, 51),
    (part("{name: a, type: pulse-timer, settings: {time: 0.0001 s}}"), "finer than 1 ms", "",
     2, 51),
    (part("{name: a, type: pulse-timer, settings: {time: 400 d}}"), "longer than 366 days", "",
     2, 51),
    (part("{name: a, type: pulse-timer, settings: {time: [10 s]}}"), "a time such as '10 s', but a "
     "list came", "", 2, 51),
    (part("{name: a, type: switch, settings: {}}"), "the switch 'a' needs the setting 'input'",
     "input: start", 2, 39),
    (part("{name: a, type: switch, settings: {input: x, contact: brake}}"),
     "'contact' cannot be 'brake'", "did you mean 'break'?", 2, 59),
    (part("{name: a, type: twilight-switch}"), "needs the setting 'passes'", "passes: night", 2, 5),
    (part("{name: a, type: tap-off}"), "needs the setting 'units'", "units: 1", 2, 5),
    (part("{name: a, type: divider, settings: {outputs: 5}}"), "no divider with 5 outputs",
     "dividers with 3 outputs", 2, 41),
    ("parts:\n  - {name: a, type: load}\n  - {name: a, type: load}\nwires: []",
     "two parts are called 'a'", "a name of its own", 3, 12),
    (wire("S:out"), "a wire is expected to be a map with 'from' and 'to', but 'S:out' came", "",
     3, 5),
    (wire("{from: S:out}"), "a wire needs 'to'", "", 3, 5),
    (wire("{form: S:out, to: R:in}"), "a wire has no 'form'", "did you mean 'from'?", 3, 6),
    (wire("{from: S:out, to: R:coli}"), "the relay-make 'R' has no terminal 'coli'",
     "did you mean 'coil'?", 3, 23),
    (wire("{from: S:out, to: Rx:coil}"), "there is no part 'Rx'", "did you mean 'R'?", 3, 23),
    (wire("{from: S, to: R:in}"), "a terminal is written 'part:terminal', but 'S' came", "'S:out'",
     3, 12),
    (wire("{from: R:coil, to: R:in}"), "'R:coil' is an input; a wire begins at an output",
     "outputs of this part: out", 3, 12),
    (wire("{from: S:out, to: R:out}"), "'R:out' is an output; a wire ends at an input",
     "inputs of this part: in, coil", 3, 23),
    (wire("{from: lamp:out, to: R:in}"), "the load 'lamp' has no terminal 'out'",
     "this part has no outputs", 3, 12),
    (wire("{from: [S], to: R:in}"), "a terminal is expected to be text", "", 3, 12),
    (wire("{from: S:out, to: R:in, number: 0}"), "'number' is expected to be", "", 3, 37),
    (wire("{from: S:out, to: R:in, units: -1}"), "number from 0 to", "", 3, 36),
]


@pytest.mark.parametrize(("text", "message", "hint", "line", "column"), BAD)
def test_bad_design(text: str, message: str, hint: str, line: int, column: int) -> None:
    with pytest.raises(DesignError) as caught:
        parse_design(text, "own.yaml", STARTER)
    error = caught.value
    assert message in error.message
    assert hint in error.hint
    assert error.place is not None
    assert (error.place.line, error.place.column) == (line, column)
    assert "\n" not in error.message


NAMES = st.text(
    st.characters(codec="utf-8", categories=["L", "N", "P", "S"], include_characters=" "),
    min_size=1,
    max_size=20,
).filter(lambda name: ":" not in name and name == name.strip() and name.isprintable())
TIMES = st.integers(1, LONGEST) | st.integers(1, 1000).map(lambda seconds: seconds * 1000)


@st.composite
def designs(draw: st.DrawFn, kit: Kit = FULL) -> Design:
    names = draw(st.lists(NAMES, min_size=1, max_size=8, unique=True))
    parts = []
    for name in names:
        kind = draw(st.sampled_from(PartType))
        values: dict[str, str | int] = {}
        for key in SETTINGS[kind]:
            if key == "input":
                values[key] = draw(NAMES)
            elif key in ("units", "needs"):
                values[key] = draw(st.integers(1, 1000))
            elif kind in OPTIONS and key == OPTIONS[kind][0]:
                values[key] = draw(st.sampled_from(OPTIONS[kind][1]))
            elif kind in TIMED:
                values[key] = draw(TIMES)
        order = draw(st.permutations(list(values.items())))
        offer = draw(st.sampled_from(kit.of_type(kind)))
        parts.append(PartInUse(name, kind, offer.name, tuple(order)))
    shapes = {item.name: kit.index[item.part].shape for item in parts}
    sources = [Terminal(name, out) for name, shape in shapes.items() for out in shape.outputs]
    targets = [
        Terminal(name, end)
        for name, shape in shapes.items()
        for end in shape.power + shape.controls
    ]
    wires: list[Wire] = []
    if sources and targets:
        ends = st.tuples(
            st.integers(1, 99), st.sampled_from(sources), st.sampled_from(targets),
            st.none() | st.integers(0, 50),
        )
        wires = [Wire(*end) for end in draw(st.lists(ends, max_size=10))]
    return Design(kit.name, tuple(parts), tuple(wires))


def plan_of(design: Design | None, **changes: Any) -> dict[str, Any]:
    """Return a plan document in the form that the schema describes."""
    return {
        "synth": "0.1.0",
        "title": "Hen house \U0001f414",
        "status": "proven-cheapest" if design else "impossible",
        "price": 5 if design else None,
        "bound": 5 if design else None,
        "supply": 1 if design else None,
        "design": design_document(design) if design else None,
        "check": {"verdict": "holds", "states": 12, "notes": []} if design else None,
        "assumptions": ["heater needs 1 unit"],
        "goals": [{"number": 1, "phrase": "heater at night"}],
        "proven": ["price", "supply", "wires"] if design else [],
        "bounds": ["parts of the kit 'starter'"],
        "clash": [] if design else ["the kit has no twilight switch"],
        "times": {"search": 0.25, "check": 0},
        **changes,
    }


DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)
"""The one in C where it is there: it is faster by far."""


@settings(max_examples=60)
@given(designs())
def test_any_design_survives_its_document(design: Design) -> None:
    document = design_document(design)
    assert parse_design(json.dumps(document), "f", FULL) == design
    assert parse_design(yaml.dump(document, Dumper=DUMPER, sort_keys=False), "f", FULL) == design
    plan = plan_of(design)
    assert parse_design(json.dumps(plan), "f", FULL) == design
    VALIDATOR.validate(plan)


class TestPlanSchema:
    GOOD = plan_of(parse_design(PUMP, "f", STARTER))

    def test_schema_is_valid_and_knows_all_types(self) -> None:
        Draft202012Validator.check_schema(SCHEMA)
        assert SCHEMA["$defs"]["part"]["properties"]["type"]["enum"] == [k.value for k in PartType]

    @pytest.mark.parametrize(
        "plan",
        [
            GOOD,
            plan_of(None),
            plan_of(None, status="undecided", clash=[]),
            {**GOOD, "status": "best-found", "bound": 3, "proven": []},
            {**GOOD, "bound": None, "status": "best-found", "proven": []},
        ],
    )
    def test_good(self, plan: dict[str, Any]) -> None:
        VALIDATOR.validate(plan)

    @pytest.mark.parametrize(
        "changes",
        [
            {"status": "optimal"},
            {"status": "impossible"},
            {"design": None},
            {"check": {"verdict": "fails", "states": 3, "notes": []}},
            {"check": {"verdict": "perhaps", "states": 3, "notes": []}},
            {"check": None},
            {"price": "5"},
            {"price": -1},
            {"supply": None},
            {"proven": ["beauty"]},
            {"goals": [{"number": 0, "phrase": "x"}]},
            {"goals": ["heater at night"]},
            {"times": {"search": -1}},
            {"assumptions": "none"},
            {"remark": "unknown key"},
        ],
    )
    def test_wrong(self, changes: dict[str, Any]) -> None:
        assert not VALIDATOR.is_valid({**self.GOOD, **changes})

    @pytest.mark.parametrize("key", list(GOOD))
    def test_every_key_is_needed(self, key: str) -> None:
        assert not VALIDATOR.is_valid({k: v for k, v in self.GOOD.items() if k != key})

    @pytest.mark.parametrize(
        ("path", "value"),
        [
            (("parts", 0, "type"), "source"),
            (("parts", 0, "settings", "units"), "4"),
            (("parts", 0, "settings", "time"), "4 s"),
            (("parts", 1, "settings", "contact"), "brake"),
            (("parts", 3, "settings", "time"), "10 s"),
            (("parts", 4, "settings", "time"), 10),
            (("parts", 4, "settings"), {}),
            (("parts", 4, "settings", "time"), "10 sx"),
            (("parts", 4, "name"), "a:b"),
            (("wires", 0, "from"), "S"),
            (("wires", 0, "number"), 0),
            (("wires", 0, "units"), -1),
            (("wires", 0, "colour"), "red"),
            (("kit",), None),
        ],
    )
    def test_wrong_design(self, path: tuple[str | int, ...], value: object) -> None:
        plan = copy.deepcopy(self.GOOD)
        inner: Any = plan["design"]
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = value
        assert not VALIDATOR.is_valid(plan)


PIECES = ["\n", ":", "  ", "- ", "{", "}", "[", "]", "'", '"', "&a", "!!x", "\t", "0", "out", "in",
          "S", "time: 10 s", "supply", "load", "null", "\u00e9", "#", "relay-make", "outputs: 3"]


@settings(max_examples=90)
@given(st.data())
def test_mutated_designs_are_read_or_refused_clearly(data: st.DataObject) -> None:
    good = json.dumps(design_document(parse_design(PUMP, "f", STARTER)), indent=1)
    text = data.draw(st.sampled_from([DUSK, PUMP, good]))
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 12)))
        text = text[:start] + data.draw(st.sampled_from(PIECES) | st.text(max_size=3)) + text[end:]
    try:
        design = parse_design(text, "f", STARTER)
    except DesignError as error:
        assert error.message and "\n" not in error.message
        str(error).encode("utf-8")
    else:
        assert parse_design(json.dumps(design_document(design)), "f", STARTER) == design
