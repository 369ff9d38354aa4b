"""Reading kits: the ones in the package, a user's own, and every mistake with its message."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from synth.errors import KitError
from synth.parts.behaviour import SHAPES, TIMED, PartType
from synth.parts.kit import Kit, KitPart, Times, Trigger
from synth.read.kit_file import OPTIONS, bundled_kits, kit_document, load_kit, parse_kit
from synth.ticks import LONGEST

DOCS = Path(__file__).parent.parent / "docs"
SCHEMA = json.loads((DOCS / "kit.schema.json").read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)

OWN = """\
# An invented kit, to try out what a user's own may look like.
kit: hen house
parts:
  box: {type: supply, units: {most: 24}}
  door contact: {type: sensor, price: 1, most: 2, contact: break}
  two-way: {type: divider, price: 1, outputs: 2}
  four-way: {type: divider, price: 2, outputs: 4}
  minute timer:
    {type: on-delay-timer, price: 3, units: 2, time: {least: 30 s, most: 1 h, step: 30 s}}
  lamp: {type: load}
  fan: {type: load, units: 3, price: 9}
"""


class TestBundled:
    def test_names(self) -> None:
        assert bundled_kits() == ("starter", "full")

    @pytest.mark.parametrize("name", ["starter", "full"])
    def test_loads_and_fits_the_schema(self, name: str) -> None:
        kit = load_kit(name)
        assert kit.name == name
        assert kit.trigger is Trigger.HELD
        source = Path(__file__).parent.parent / "synth" / "parts" / "kits" / f"{name}.yaml"
        VALIDATOR.validate(yaml.safe_load(source.read_text(encoding="utf-8")))
        VALIDATOR.validate(kit_document(kit))

    def test_full_has_every_type(self) -> None:
        assert {part.type for part in load_kit("full").parts} == set(PartType)

    def test_details(self) -> None:
        kit = load_kit("starter")
        assert kit.index["switch"].options == ("make",)
        assert kit.index["sensor"].options == ("make", "break")
        assert kit.index["pulse timer"].times == Times(1000, 7 * 86_400_000, 1000)
        assert kit.index["tap-off"].largest == 999
        assert kit.index["divider"].shape.outputs == ("out1", "out2", "out3")
        assert kit.index["supply"].price == 0

    @pytest.mark.parametrize("name", ["starter", "full"])
    def test_document_is_read_back(self, name: str) -> None:
        kit = load_kit(name)
        assert parse_kit(json.dumps(kit_document(kit)), f"{name}.yaml") == kit


class TestOwn:
    def test_own_kit(self, tmp_path: Path) -> None:
        file = tmp_path / "hens.yaml"
        file.write_text(OWN, encoding="utf-8")
        kit = load_kit(file)
        assert load_kit(str(file)) == kit
        assert (kit.name, kit.title, kit.file) == ("hen house", "hen house", str(file))
        assert kit.index["door contact"] == KitPart(
            "door contact", PartType.SENSOR, 1, most=2, options=("break",)
        )
        assert [part.outputs for part in kit.of_type(PartType.DIVIDER)] == [2, 4]
        assert kit.index["four-way"].shape.outputs[-1] == "out4"
        assert kit.index["minute timer"].units == 2
        assert 90_000 in (kit.index["minute timer"].times or ())
        assert kit.index["box"].largest == 24
        assert (kit.index["fan"].units, kit.index["fan"].price) == (3, 9)
        assert not kit.offers(PartType.SWITCH)
        VALIDATOR.validate(yaml.safe_load(OWN))

    def test_a_name_that_is_taken(self, tmp_path: Path) -> None:
        """A design tells its kit by name alone: two kits of one name could be taken for each
        other. A copy of a bundled kit, under its name, is that kit."""
        document = kit_document(load_kit("starter"))
        file = tmp_path / "mine.yaml"
        file.write_text(json.dumps(document), encoding="utf-8")
        assert load_kit(file).parts == load_kit("starter").parts
        document["parts"]["joint"]["price"] += 1
        file.write_text(yaml.safe_dump(document, sort_keys=False), encoding="utf-8")
        with pytest.raises(KitError, match="is called 'starter'") as caught:
            load_kit(file)
        assert caught.value.place is not None and caught.value.place.line == 1
        assert "a name of its own" in caught.value.hint
        document["kit"] = "mine"
        file.write_text(json.dumps(document), encoding="utf-8")
        assert load_kit(file).name == "mine"

    def test_choices_left_out_are_all_on_offer(self) -> None:
        kit = parse_kit(
            "kit: k\nparts:\n  s: {type: supply}\n  l: {type: load}\n"
            "  b: {type: bistable-relay, price: 0}\n  t: {type: twilight-switch, price: 0}\n"
            "  n: {type: push-button, price: 0, contact: [break, make]}\n",
            "f",
        )
        assert kit.index["b"].options == ("set", "reset")
        assert kit.index["t"].options == ("night", "day")
        assert kit.index["n"].options == ("make", "break")

    def test_unknown_kits(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.chdir(tmp_path)
        with pytest.raises(KitError) as caught:
            load_kit("startr")
        assert caught.value.message == "there is no kit 'startr'"
        assert "did you mean 'starter'?" in caught.value.hint
        for name in ("none.yaml", "./starter", "a\0b", "", "x" * 5000, "a/" * 3000):
            with pytest.raises(KitError, match="there is no kit|not the name|cannot be read"):
                load_kit(name)
        with pytest.raises(KitError, match="is a folder; a kit file is expected"):
            load_kit(tmp_path)

    def test_a_file_without_an_ending(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        (tmp_path / "hens").write_text(OWN, encoding="utf-8")
        assert load_kit("hens").name == "hen house"


GOOD_ENDS = "  s: {type: supply}\n  l: {type: load}\n"


def kit_with(line: str) -> str:
    """Return a kit with one more part, on line 5."""
    return f"kit: k\nparts:\n{GOOD_ENDS}  {line}\n"


BAD: list[tuple[str, str, str, int, int]] = [
    # text, part of the message, part of the hint, line, column
    ("[]", "a kit is expected to be a map of 'name: value' lines, but a list came", "", 1, 1),
    ("hello", "but 'hello' came", "", 1, 1),
    ("kit: k", "a kit needs 'parts', which is missing", "", 1, 1),
    (f"parts:\n{GOOD_ENDS}", "a kit needs 'kit'", "", 1, 1),
    ("kit: k\nparts: []", "'parts' is expected to be a map", "", 2, 8),
    ("kit: k\nprats: {}", "a kit has no 'prats'", "did you mean 'parts'?", 2, 1),
    ("kit: k\nparts: {}", "the kit has no supply", "add 'supply: {type: supply}'", 2, 8),
    ("kit: k\nparts: {s: {type: supply}}", "the kit has no load", "add 'load:", 2, 8),
    (kit_with("z: {type: supply}"), "two supplies, 's' and 'z'", "", 5, 3),
    ("kit: [k]\nparts: {}", "the name of a kit is expected to be text, but a list came", "", 1, 6),
    ("kit: ''\nparts: {}", "must begin with a letter or a digit", "", 1, 6),
    ("kit: k\ntitle: {}\nparts: {}", "'title' is expected to be text", "", 2, 8),
    ("kit: k\ntitle: \"a\\nb\"\nparts: {}", "'title' must be one line", "", 2, 8),
    (f"kit: k\ntitle: {'x' * 121}\nparts: {{}}", "'title' is longer than 120", "", 2, 8),
    ("kit: k\ntrigger: hold\nparts: {}", "'trigger' cannot be 'hold'", "'held'?", 2, 10),
    ("kit: k\ntrigger: [held]\nparts: {}", "'trigger' is expected to be a word", "", 2, 10),
    (kit_with("r: 4"), "part 'r' is expected to be a map", "", 5, 6),
    (kit_with("r: {price: 4}"), "part 'r' needs 'type', which is missing", "", 5, 6),
    (kit_with("r: {type: relay-mkae, price: 4}"), "the type cannot be 'relay-mkae'",
     "did you mean 'relay-make'?", 5, 13),
    (kit_with("r: {type: relay-make}"), "part 'r' needs a 'price'", "", 5, 3),
    (kit_with("r: {type: relay-make, prise: 4}"), "part 'r' has no 'prise'", "'price'?", 5, 25),
    (kit_with("r: {type: relay-make, price: -1}"), "a whole number from 0 to 1000000, but the "
     "number '-1' came", "", 5, 32),
    (kit_with("r: {type: relay-make, price: 4.5}"), "but the number '4.5' came", "", 5, 32),
    (kit_with("r: {type: relay-make, price: 1000001}"), "the price is expected to be", "", 5, 32),
    (kit_with("r: {type: relay-make, price: true}"), "but 'true' came", "", 5, 32),
    (kit_with("r: {type: relay-make, price: '4'}"), "but '4' came", "", 5, 32),
    (kit_with("r: {type: relay-make, price: }"), "but nothing came", "", 5, 32),
    (kit_with("r: {type: relay-make, price: 4, most: few}"), "'most' is expected", "", 5, 41),
    (kit_with("r: {type: relay-make, price: 4, units: 0}"), "number from 1 to", "", 5, 42),
    (kit_with("r: {type: relay-make, price: 4, units: {most: 2}}"), "is what it uses", "", 5, 42),
    (kit_with("r: {type: tap-off, price: 4, units: 2}"), "the range it can be set to",
     "units: {most: 20}", 5, 39),
    (kit_with("r: {type: tap-off, price: 4, units: {mots: 2}}"), "'units' has no 'mots'",
     "'most'?", 5, 40),
    (kit_with("r: {type: tap-off, price: 4, units: {most: 0}}"), "'most' is expected", "", 5, 46),
    (kit_with("r: {type: joint, price: 4, units: 2}"), "'units' does not apply to a joint",
     "possible here: type, price, most, about", 5, 30),
    (kit_with("r: {type: relay-make, price: 4, contact: make}"), "'contact' does not apply to a "
     "relay-make", "", 5, 35),
    (kit_with("r: {type: sensor, price: 4, contact: []}"), "'contact' is empty", "", 5, 40),
    (kit_with("r: {type: sensor, price: 4, contact: [mak]}"), "'contact' cannot be 'mak'",
     "'make'?", 5, 41),
    (kit_with("r: {type: sensor, price: 4, contact: [make, make]}"), "stands twice", "", 5, 47),
    (kit_with("r: {type: twilight-switch, price: 4, passes: dusk}"), "cannot be 'dusk'",
     "possible here: night, day", 5, 48),
    (kit_with("r: {type: pulse-timer, price: 4}"), "is a timer and needs a 'time'", "least", 5, 3),
    (kit_with("r: {type: pulse-timer, price: 4, time: 10 s}"), "expected to be a range", "", 5, 42),
    (kit_with("r: {type: pulse-timer, price: 4, time: {least: 1 s, most: 2 s}}"),
     "'time' needs 'step'", "", 5, 42),
    (kit_with("r: {type: pulse-timer, price: 4, time: {least: 1, most: 2 s, step: 1 s}}"),
     "'least': '1' has no unit", "", 5, 50),
    (kit_with("r: {type: pulse-timer, price: 4, time: {least: 1 s, most: 2 sx, step: 1 s}}"),
     "'most': 'sx' is not a unit of time", "", 5, 61),
    (kit_with("r: {type: pulse-timer, price: 4, time: {least: 3 s, most: 2 s, step: 1 s}}"),
     "the longest time, 2 s, is shorter than the shortest, 3 s", "", 5, 55),
    (kit_with("r: {type: pulse-timer, price: 4, time: {least: 1 s, most: 10 s, step: 5 s}}"),
     "the longest time cannot be set", "write 'most: 6 s'", 5, 55),
    (kit_with("r: {type: pulse-timer, price: 4, time: {least: 0 s, most: 10 s, step: 5 s}}"),
     "'least': '0 s' is not longer than nothing", "", 5, 50),
    (kit_with("r: {type: divider, price: 4}"), "needs 'outputs'", "", 5, 3),
    (kit_with("r: {type: divider, price: 4, outputs: 1}"), "number from 2 to 12", "", 5, 41),
    (kit_with("r: {type: divider, price: 4, outputs: 13}"), "number from 2 to 12", "", 5, 41),
    (kit_with("r: {type: joint, price: 4, about: []}"), "'about' is expected to be text", "",
     5, 37),
    (kit_with("'a:b': {type: joint, price: 4}"), "may not hold ':'", "use letters", 5, 3),
    (kit_with("'<b>': {type: joint, price: 4}"), "must begin with a letter or a digit", "", 5, 3),
    (kit_with("'a  b': {type: joint, price: 4}"), "two in a row", "", 5, 3),
    (kit_with(f"{'n' * 41}: {{type: joint, price: 4}}"), "is longer than 40 characters", "", 5, 3),
    (kit_with("S: {type: joint, price: 4}"), "differ only in upper and lower case", "", 5, 3),
    (kit_with("l: {type: joint, price: 4}"), "'l' stands twice", "", 5, 3),
    ("kit: k\nparts:\n" + "".join(f"  p{i}: {{}}\n" for i in range(201)), "at most 200", "", 3, 3),
]


@pytest.mark.parametrize(("text", "message", "hint", "line", "column"), BAD)
def test_bad_kit(text: str, message: str, hint: str, line: int, column: int) -> None:
    with pytest.raises(KitError) as caught:
        parse_kit(text, "own.yaml")
    error = caught.value
    assert message in error.message
    assert hint in error.hint
    assert error.place is not None
    assert (error.place.line, error.place.column) == (line, column)
    assert str(error).startswith(f"own.yaml:{line}:{column}: ")


CROSS_LINE = ("two supplies", "no supply", "no load", "upper and lower", "is shorter than the",
              "longest time cannot be set", "'l' stands twice", "not longer than nothing",
              "must be one line")
"""Mistakes that a schema does not see: they concern several lines, or what a time amounts to."""


@pytest.mark.parametrize(
    "text", [bad[0] for bad in BAD if not any(words in bad[1] for words in CROSS_LINE)]
)
def test_schema_refuses_the_same(text: str) -> None:
    assert not VALIDATOR.is_valid(yaml.safe_load(text))


def test_schema_is_valid_and_knows_all_types() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    part = SCHEMA["$defs"]["part"]["properties"]
    assert part["type"]["enum"] == [kind.value for kind in PartType]
    for setting, words in OPTIONS.values():
        assert part[setting]["anyOf"][0]["enum"] == list(words)


NAMES = st.text(
    st.characters(codec="utf-8", categories=["Lu", "Ll", "Nd"], include_characters=" -_./+"),
    min_size=1,
    max_size=40,
).filter(lambda name: name[0].isalnum() and name == " ".join(name.split()))
WHOLE = st.integers(0, 1_000_000)


@st.composite
def kit_parts(draw: st.DrawFn, name: str, kind: PartType) -> KitPart:
    options: tuple[str, ...] = ()
    times = None
    if kind in OPTIONS:
        allowed = OPTIONS[kind][1]
        options = draw(st.sampled_from([allowed, allowed[:1], allowed[1:]]))
    if kind in TIMED:
        least, step = draw(st.integers(1, 10**9)), draw(st.integers(1, 10**6))
        times = Times(least, min(least + draw(st.integers(0, 20)) * step, LONGEST), step)
    uses = bool(SHAPES[kind].controls) or kind is PartType.LOAD
    settable = kind in (PartType.SUPPLY, PartType.TAP_OFF)
    return KitPart(
        name,
        kind,
        price=draw(WHOLE),
        most=draw(st.none() | WHOLE),
        units=draw(st.integers(1, 1000)) if uses else 1,
        options=options,
        times=times,
        outputs=draw(st.integers(2, 12)) if kind is PartType.DIVIDER else 0,
        largest=draw(st.none() | st.integers(1, 1000)) if settable else None,
        about=draw(NAMES),
    )


@st.composite
def kits(draw: st.DrawFn) -> Kit:
    names = draw(st.lists(NAMES, min_size=2, max_size=8, unique_by=str.casefold))
    others = st.sampled_from([kind for kind in PartType if kind is not PartType.SUPPLY])
    kinds = [PartType.SUPPLY, PartType.LOAD, *(draw(others) for _ in names[2:])]
    parts = tuple(draw(kit_parts(name, kind)) for name, kind in zip(names, kinds, strict=True))
    return Kit(draw(NAMES), draw(NAMES), draw(st.sampled_from(Trigger)), parts, file="f")


@settings(max_examples=60)
@given(kits())
def test_any_kit_survives_its_document(kit: Kit) -> None:
    document = kit_document(kit)
    assert parse_kit(json.dumps(document), "f") == kit
    assert parse_kit(yaml.dump(document, Dumper=DUMPER, sort_keys=False), "f") == kit
    VALIDATOR.validate(document)


DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)
"""The one in C where it is there: it is faster by far."""
PIECES = ["\n", ":", "  ", "- ", "{", "}", "[", "]", "'", '"', "&a", "*a", "!!x", "\t", "0", "-1",
          "1e9", "units", "most", "type", "time: 10 s", "supply", "load", "on", "null", "\u00e9",
          "#"]


@settings(max_examples=90)
@given(st.data())
def test_mutated_kits_are_read_or_refused_clearly(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from([OWN, json.dumps(kit_document(load_kit("full")), indent=1)]))
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 12)))
        text = text[:start] + data.draw(st.sampled_from(PIECES) | st.text(max_size=3)) + text[end:]
    try:
        kit = parse_kit(text, "f")
    except KitError as error:
        assert error.message and "\n" not in error.message
        str(error).encode("utf-8")
    else:
        assert parse_kit(json.dumps(kit_document(kit)), "f") == kit


@given(st.dictionaries(
    st.sampled_from(["kit", "title", "trigger", "parts", "about"]),
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
        | st.sampled_from([kind.value for kind in PartType]),
        lambda inner: st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["type", "price", "time", "units", "most", "a"]), inner),
        max_leaves=12,
    ),
    min_size=1,
))
def test_wrong_sorts_of_values_are_refused_clearly(data: dict[str, Any]) -> None:
    try:
        parse_kit(json.dumps(data), "f")
    except KitError as error:
        assert error.message
