"""Reading YAML: what resolves to what, and every refusal with its message and place."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.errors import DesignError, GoalError, KitError, SynthError
from synth.read.suggest import did_you_mean, nearest, quoted
from synth.read.yaml_source import DEEPEST, LARGEST, Node, load, read_text


def plain(node: Node) -> Any:
    """Return the data that a node stands for."""
    if node.kind == "map":
        return {key.raw: plain(value) for key, value in node.entries}
    if node.kind == "list":
        return [plain(item) for item in node.items]
    return node.value


@pytest.fixture(params=["with libyaml", "without"])
def either_parser(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Run with PyYAML's fast parser and with its plain one: both must read alike."""
    if request.param == "without":
        monkeypatch.delattr(yaml, "CSafeLoader", raising=False)


@pytest.mark.usefixtures("either_parser")
class TestValues:
    def test_core_schema_example(self) -> None:
        """YAML 1.2.2, example 10.9 (from memory), less its octal and hexadecimal numbers."""
        text = (
            "A null: null\nBooleans: [ true, True, false, FALSE ]\nIntegers: [ 0, -19 ]\n"
            "Floats: [ 0., -0.0, .5, +12e03, -2E+05 ]\n"
        )
        assert plain(load(text, "f")) == {
            "A null": None,
            "Booleans": [True, True, False, False],
            "Integers": [0, -19],
            "Floats": [0.0, -0.0, 0.5, 12000.0, -200000.0],
        }

    @pytest.mark.parametrize(
        "word",
        ["on", "off", "yes", "no", "y", "10:30", "1:30:00", "2024-05-01", "0x1F", "0o17", "007",
         "1_000", ".inf", "-.inf", ".nan", "1e999", "10 s", "=", "tRue", "1.2.3", "٣"],
    )
    def test_stays_text(self, word: str) -> None:
        node = load(f"a: {word}", "f").get("a")
        assert node is not None
        assert (node.kind, node.value, node.raw) == ("text", word, word)

    def test_keys_are_always_texts(self) -> None:
        root = load("on: 1\noff: 2\nyes: 3\n7: 4\ntrue: 5\nnull: 6\n1.50: 7\n<<: 8\n", "f")
        assert root.keys() == ("on", "off", "yes", "7", "true", "null", "1.50", "<<")
        assert all(key.kind == "text" and key.value == key.raw for key, _ in root.entries)

    def test_quotes_make_text(self) -> None:
        root = load("a: '10'\nb: \"true\"\nc: ''\n", "f")
        assert plain(root) == {"a": "10", "b": "true", "c": ""}
        assert [value.plain for _, value in root.entries] == [False] * 3

    def test_raw_keeps_what_was_typed(self) -> None:
        assert [item.raw for item in load("[1.50, +7, TRUE, ~]", "f").items] == [
            "1.50", "+7", "TRUE", "~"
        ]

    def test_json_with_tabs_and_halves_of_characters(self) -> None:
        text = '{\n\t"bird": "\\ud83d\\udc14",\t"path": "a\\/b",\n\t"list":[1,2]\n}'
        assert plain(load(text, "f")) == json.loads(text)

    def test_byte_order_mark_is_dropped(self) -> None:
        assert plain(load("\ufeffa: 1", "f")) == {"a": 1}

    def test_places(self) -> None:
        root = load("# remark\nparts:\n  lamp: {type: load,\n    units: 2}\n", "kit.yaml")
        parts = root.get("parts")
        assert parts is not None
        lamp = parts.get("lamp")
        assert lamp is not None
        units = lamp.get("units")
        assert units is not None
        assert str(units.place) == "kit.yaml:4:12"
        assert units.place.text == "    units: 2}"
        assert str(parts.key("lamp").place) == "kit.yaml:3:3"
        assert str(lamp.key("units").place) == "kit.yaml:4:5"
        assert root.get("nothing") is None
        with pytest.raises(KeyError):
            root.key("nothing")

    def test_fail_points_at_the_place(self) -> None:
        node = load("a: [b, c]", "f", KitError).get("a")
        assert node is not None
        error = node.items[1].fail("wrong", "do this")
        assert type(error) is KitError
        assert str(error) == "f:1:8: wrong\n  a: [b, c]\n         ^\n  do this"


BAD: list[tuple[str, str, int, int]] = [
    # text, part of the message, line, column (0: not known)
    ("", "the text is empty", 1, 1),
    ("# only a remark\n", "the text is empty", 1, 1),
    ("---\n", "the text is empty", 1, 1),
    ("a: b: c", "a ':' is not expected here", 1, 5),
    ("a: 1\n b: 2\n", "a ':' is not expected here", 2, 3),
    ("a\nb: 1", "a ':' is not expected here", 2, 2),
    ("a: [1, 2", "a ',' or ']' is expected; the list begins on line 1", 1, 9),
    ("x:\n  a: {b: 1\n", "a ',' or '}' is expected; the map begins on line 2", 2, 11),
    ("{a: b: c}", "a ',' or '}' is expected", 1, 6),
    ("a:\n\tb: 1", "a tab cannot stand here; indent with spaces", 2, 1),
    ("a: @b", "the character '@' cannot stand here; put the text into quotes", 1, 4),
    ("a: %b", "the character '%' cannot stand here", 1, 4),
    ("a: `b`", "the character '`' cannot stand here", 1, 4),
    ("a: 1\nb: 'x\n", "the text ends inside the quotes that begin on line 2", 2, 6),
    ('a: "x\n---\ny"', "a document mark stands inside the quotes", 2, 1),
    ("a: &x 1", "the anchor '&x' is refused", 1, 4),
    ("a: *x", "the alias '*x' is refused", 1, 4),
    ("*x : 1", "the alias '*x' is refused", 1, 1),
    ("a: &x [1]\nb: *x", "the anchor '&x' is refused", 1, 4),
    ("a: & b", "'&' and '*' have a meaning of their own", 1, 5),
    ("a: !!python/object/apply:os.getcwd []", "the tag 'tag:yaml.org,2002:python", 1, 4),
    ("a: !!str 1", "the tag 'tag:yaml.org,2002:str' is refused", 1, 4),
    ("a: !x", "the tag '!x' is refused", 1, 4),
    ("a: ! x", "the tag '!' is refused", 1, 4),
    ("a: !u!x 1", "tags are not used here", 1, 4),
    ("a: 1\nb: 2\na: 3", "'a' stands twice in this map; the first is on line 1", 3, 1),
    ("{a: 1, 'a': 2}", "'a' stands twice in this map", 1, 8),
    ("a: 1\n---\nb: 2", "a second document begins here", 2, 1),
    ("a: 1\n...\nb: 2", "more text follows after the end of the document", 3, 1),
    ("[1] 2", "more text follows after the end of the document", 1, 5),
    ("a:\n  b: 1\n c: 2", "this does not fit the lines above", 3, 2),
    ("- a\nb: 1", "this does not fit the lines above", 2, 1),
    ("a: 'b' c", "this does not fit the lines above", 1, 8),
    ("a: - b", "a '- ' is not expected here", 1, 4),
    ("a: [1,\n\n\n", "a name or a value is expected here", 1, 7),
    ("? [a]\n: 1", "a name is expected before ':', not a list or a map", 1, 3),
    ("{: 1}", "a name or a value is expected here", 1, 2),
    ("'': 1", "a name is expected before ':'", 1, 1),
    ("[" * 40, f"more than {DEEPEST} maps and lists stand inside each other", 1, DEEPEST + 1),
    ("a: \x01", "the character U+0001 cannot be read here", 1, 4),
    ("a: 1\nb: x\x00", "the character U+0000 cannot be read here", 2, 5),
    ("a: \ud800", "the character U+D800 cannot be read here", 1, 4),
    ("a: b\ufeff", "the character U+FEFF cannot be read here", 1, 5),
    ("a: |x\n x", "only the rest of a comment may stand here", 1, 5),
    ("%YAML 3.0\n---\na: 1", "cannot be read as YAML", 1, 1),
    ("x" * (LARGEST + 1), "the most that is read", 0, 0),
]


@pytest.mark.usefixtures("either_parser")
@pytest.mark.parametrize(("text", "message", "line", "column"), BAD)
def test_refused(text: str, message: str, line: int, column: int) -> None:
    with pytest.raises(KitError) as caught:
        load(text, "kit.yaml", KitError)
    error = caught.value
    assert message in error.message
    assert "\n" not in error.message
    place = error.place
    assert ((place.line, place.column) if place else (0, 0)) == (line, column)
    assert str(error).startswith("kit.yaml:")


def test_bad_escapes() -> None:
    """The two parsers point at different letters of the escape, so only the line is compared."""
    for text in (r'a: "\q"', r'a: "\xzz"', r'a: "\ud83d"'):
        with pytest.raises(GoalError, match="escape|surrogate") as caught:
            load(text, "f")
        assert caught.value.place is not None
        assert caught.value.place.line == 1


class TestReadText:
    def failure(self, path: Path | str) -> str:
        with pytest.raises(DesignError) as caught:
            read_text(path, "design file", DesignError)
        return str(caught.value)

    def test_good(self, tmp_path: Path) -> None:
        file = tmp_path / "a.yaml"
        file.write_bytes(b"\xef\xbb\xbfname: \xc3\xa9\r\n")
        assert read_text(file, "goal file", GoalError) == "name: \u00e9\r\n"

    def test_missing_and_folder(self, tmp_path: Path) -> None:
        assert "there is no design file" in self.failure(tmp_path / "none.yaml")
        assert "there is no design file" in self.failure("")
        assert "is a folder; a design file is expected" in self.failure(tmp_path)
        file = tmp_path / "a"
        file.write_text("x")
        assert "there is no design file" in self.failure(file / "b")
        assert "is not the name of a file" in self.failure("a\0b")
        assert "cannot be read: " in self.failure("a" * 5000)

    def test_permission(self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
        # Raised by hand, since a test that runs as the administrator may read everything.
        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr("builtins.open", refuse)
        assert "may not be read (permission denied)" in self.failure("a.yaml")

    def test_not_a_text(self, tmp_path: Path) -> None:
        file = tmp_path / "a.yaml"
        file.write_bytes(b"a: 1\nb: \xff\n")
        assert ":2: the design file is not UTF-8: byte 0xff" in self.failure(file)
        file.write_bytes("a: 1".encode("utf-16"))
        assert "is UTF-16; save it as UTF-8" in self.failure(file)
        file.write_bytes(b"a: 1\nb: \0\n")
        assert ":2: the design file holds a NUL character" in self.failure(file)
        file.write_bytes(b"#" * (LARGEST + 1))
        assert "is larger than 1 MB" in self.failure(file)


class TestSuggest:
    def test_nearest(self) -> None:
        assert nearest("Alwyas", ["never", "always"]) == "always"
        assert nearest("zzz", ["never", "always"]) is None
        assert nearest("x" * 100_000, ["never"]) is None
        assert did_you_mean("coli", ["in", "coil"]) == "did you mean 'coil'?"
        assert did_you_mean("q", []) == ""

    def test_quoted_is_harmless(self) -> None:
        shown = quoted("\x1b[31m\n" + "x" * 1000)
        assert shown.isprintable()
        assert len(shown) < 70


KEYS = st.text(min_size=1, max_size=20)
JSON_DATA = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**17), 10**17)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=15,
)


@given(st.dictionaries(KEYS, JSON_DATA, min_size=1, max_size=5), st.sampled_from([None, 2, "\t"]))
def test_json_is_read_as_json(data: dict[str, Any], indent: int | str | None) -> None:
    """Against the standard library's reader of RFC 8259."""
    text = json.dumps(data, indent=indent)
    assert plain(load(text, "f")) == json.loads(text)


@settings(max_examples=180)
@given(st.text(max_size=80) | st.text(alphabet="ab:-[]{}&*!'\"|>%@#?, \n\t\\01", max_size=60))
def test_any_text_gives_a_node_or_one_clear_error(text: str) -> None:
    try:
        node = load(text, "f")
    except SynthError as error:
        assert error.message and "\n" not in error.message
        str(error).encode("utf-8")
    else:
        assert node.place.line >= 1
        assert node.what
