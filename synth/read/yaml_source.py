"""YAML (and so JSON) read into plain nodes that know their place; nothing is ever executed.

Only what a person would type by hand is accepted: maps, lists and plain values. Keys are always
texts, so that settings called ``on`` and ``off`` stay what they are; of the plain values only
``true``, ``false``, decimal numbers and ``null`` are anything but text (the core schema of
YAML 1.2, without its octal and hexadecimal numbers; ``10:30`` and dates are texts). Tags,
anchors, aliases, duplicate keys and further documents are refused.
"""

from __future__ import annotations

import errno
import math
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import yaml

from synth.errors import GoalError, Place, SynthError
from synth.read.suggest import nearest, quoted

LARGEST = 1_000_000
"""The most bytes (in a file) or characters (in a text) that are read."""
DEEPEST = 30
"""The most maps and lists that may stand inside each other."""

_LONGEST_LINE = 160
_BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")
_UNREADABLE = re.compile(
    "[^\t\n\r\x20-\x7e\x85\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff"
    "\u2028\u2029]"
)
_WHOLE = re.compile(r"[-+]?(?:0|[1-9][0-9]{0,17})")
_DECIMAL = re.compile(r"[-+]?(?:\.[0-9]+|(?:0|[1-9][0-9]*)(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]{1,4})?")
_SURROGATE_PAIR = re.compile(
    r"(?<!\\)((?:\\\\)*)\\u([dD][89abAB][0-9a-fA-F]{2})\\u([dD][c-fC-F][0-9a-fA-F]{2})"
)
_TRUTH = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_NOTHING = frozenset({"", "~", "null", "Null", "NULL"})

_KIND_WORDS = {
    "map": "a map of 'name: value' lines",
    "list": "a list",
    "text": "text",
    "number": "a number",
    "truth": "true or false",
    "nothing": "nothing",
}


@dataclass(frozen=True)
class Node:
    """One value of a YAML text and where it stands.

    `kind` is one of map, list, text, number, truth, nothing. `value` is the resolved value of
    the last four, `raw` the text as it was typed (without quotes). A list has `items`, a map
    `entries` of (key, value), whose keys are always of kind text. `plain` tells whether a value
    stood without quotes, `lines` are those of a text in a block ('|') that are not empty, each a
    text of its own. `error` is the class of what `fail` returns.
    """

    kind: str
    place: Place
    value: str | int | float | bool | None = None
    raw: str = ""
    items: tuple[Node, ...] = ()
    entries: tuple[tuple[Node, Node], ...] = ()
    plain: bool = True
    lines: tuple[Node, ...] = ()
    error: type[SynthError] = field(default=GoalError, repr=False, compare=False)

    def get(self, key: str) -> Node | None:
        """Return the value of `key` in a map, None when it has none."""
        for name, node in self.entries:
            if name.raw == key:
                return node
        return None

    def keys(self) -> tuple[str, ...]:
        """Return the keys of a map in the order of the text."""
        return tuple(name.raw for name, _ in self.entries)

    def key(self, key: str) -> Node:
        """Return the node of the key itself (KeyError when there is none), to point at it."""
        for name, _ in self.entries:
            if name.raw == key:
                return name
        raise KeyError(key)

    @property
    def what(self) -> str:
        """What this node is, in words for a message: ``text 'abc'``, ``a list``."""
        if self.kind in ("text", "number", "truth"):
            word = {"text": "", "number": "the number ", "truth": ""}[self.kind]
            return f"{word}{quoted(self.raw)}"
        return _KIND_WORDS[self.kind]

    def fail(self, message: str, hint: str = "") -> SynthError:
        """Return (not raise) an error at this node's place."""
        return self.error(message, self.place, hint)


def _instead_of_file(name: str, what: str) -> str:
    """Return a hint where there is no such file: one beside it of nearly this name, or what to do
    with words that are no name of a file."""
    folder, base = os.path.split(name)
    try:
        there = sorted(os.listdir(folder or "."))
    except (OSError, ValueError):
        there = []
    near = nearest(base, there) if base else None
    # What files are called before the ending counts: all goal files end alike.
    stem = os.path.splitext(base)[0]
    if near is not None and nearest(stem, [os.path.splitext(near)[0]]) is not None:
        return f"did you mean {quoted(os.path.join(folder, near))}?"
    if what == "goal file" and " " in name:
        return "goals in words stand behind --goals"
    return ""


def read_text(path: str | os.PathLike[str], what: str, error: type[SynthError]) -> str:
    """Return the text of the file at `path`; `what` names it in messages (``goal file``).

    A UTF-8 byte order mark at the beginning is dropped. Raises `error` when there is no such
    file, when it is a folder, may not be read, is larger than a megabyte, is not UTF-8 or holds
    a NUL character.
    """
    name = os.fspath(path)
    shown = quoted(name)
    try:
        with open(name, "rb") as stream:
            data = stream.read(LARGEST + 1)
    except FileNotFoundError:
        raise error(f"there is no {what} {shown}", hint=_instead_of_file(name, what)) from None
    except IsADirectoryError:
        raise error(f"{shown} is a folder; a {what} is expected") from None
    except PermissionError:
        raise error(f"the {what} {shown} may not be read (permission denied)") from None
    except OSError as problem:
        if problem.errno == errno.ENOTDIR:
            raise error(f"there is no {what} {shown}") from None
        reason = problem.strerror or "unknown reason"
        raise error(f"the {what} {shown} cannot be read: {reason}") from None
    except ValueError:
        raise error(f"{shown} is not the name of a file") from None
    if len(data) > LARGEST:
        raise error(f"the {what} {shown} is larger than 1 MB, the most that is read")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise error(f"the {what} {shown} is UTF-16; save it as UTF-8")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        raise error(
            f"the {what} is not UTF-8: byte {data[problem.start]:#04x} cannot be read",
            Place(_shown_file(name), line),
            "save the file as UTF-8",
        ) from None
    nul = text.find("\0")
    if nul >= 0:
        raise error(
            f"the {what} holds a NUL character; it is no text file",
            Place(_shown_file(name), text.count("\n", 0, nul) + 1),
        )
    return text


def load(text: str, file: str, error: type[SynthError] = GoalError) -> Node:
    """Return the one document in `text` as a Node; `file` is the name shown in messages.

    Raises `error`, with line and column, for anything that is not a single plain document.
    """
    return _Source(text, file, error).document()


def _shown_file(name: str) -> str:
    return quoted(name)[1:-1]


class _Source:
    """The text, its lines, and the stream of parse events made into nodes."""

    def __init__(self, text: str, file: str, error: type[SynthError]) -> None:
        self.file = _shown_file(file)
        self.error = error
        if len(text) > LARGEST:
            raise error(f"{self.file}: longer than {LARGEST} characters, the most that is read")
        text = text.removeprefix("\ufeff")
        self.lines = _BREAK.split(text)
        self.shown_lines: dict[int, str] = {}
        if text.lstrip().startswith(("{", "[")):
            # JSON may indent with tabs, and writes rare characters as two halves.
            text = _SURROGATE_PAIR.sub(_joined, text.replace("\t", " "))
        unreadable = _UNREADABLE.search(text)
        if unreadable:
            breaks = list(_BREAK.finditer(text, 0, unreadable.start()))
            begin = breaks[-1].end() if breaks else 0
            raise self.fail(
                f"the character U+{ord(unreadable[0]):04X} cannot be read here",
                self.place(len(breaks), unreadable.start() - begin),
                "remove it; only printable characters and line breaks are text",
            )
        self.text = text

    def fail(self, message: str, place: Place, hint: str = "") -> SynthError:
        return self.error(message, place, hint)

    def place(self, line: int, column: int) -> Place:
        """Return the place at `line` and `column`, both from 0 as YAML counts them."""
        # An error at the very end stands on an empty line; the last line with text helps more.
        while line > 0 and not self.shown_line(line):
            line -= 1
            column = len(self.shown_line(line))
        return Place(
            self.file, line + 1, column + 1, self.shown_line(line) if column < _LONGEST_LINE else ""
        )

    def shown_line(self, line: int) -> str:
        """Return the beginning of a source line, fit to be shown (empty beyond the last)."""
        if line not in self.shown_lines:
            source = self.lines[line][:_LONGEST_LINE] if line < len(self.lines) else ""
            self.shown_lines[line] = "".join(c if c.isprintable() else " " for c in source).rstrip()
        return self.shown_lines[line]

    def at(self, mark: Any) -> Place:
        """Return the place of a mark of the YAML library."""
        return self.place(mark.line, mark.column) if mark is not None else Place(self.file)

    def document(self) -> Node:
        """Return the only document, after having seen that nothing follows it."""
        root: Node | None = None
        events = self.events()
        for event in events:
            if not isinstance(event, yaml.DocumentStartEvent):
                continue
            if root is not None:
                raise self.fail(
                    "a second document begins here; one file holds one document",
                    self.at(event.start_mark),
                    "remove the line '---' or put what follows into a file of its own",
                )
            root = self.node(next(events), events, 0)
        if root is None or (root.kind == "nothing" and root.raw == ""):
            raise self.fail("the text is empty; something must stand in it", Place(self.file, 1, 1))
        return root

    def events(self) -> Iterator[Any]:
        """Yield the parse events; every mistake of syntax leaves as one clear error."""
        loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
        try:
            yield from yaml.parse(self.text, Loader=loader)
        except yaml.MarkedYAMLError as problem:
            raise self.syntax_error(problem) from None
        except yaml.YAMLError as problem:
            raise self.fail(
                f"this cannot be read as YAML: {_one_line(str(problem))}", Place(self.file)
            ) from None

    def node(self, event: Any, events: Iterator[Any], depth: int) -> Node:
        """Return the node that begins with `event`."""
        place = self.at(event.start_mark)
        if isinstance(event, yaml.AliasEvent):
            raise self.fail(
                f"the alias {quoted(f'*{event.anchor}')} is refused: aliases are not used here",
                place,
                "write the value out, or put text that begins with '*' into quotes",
            )
        if event.anchor is not None:
            raise self.fail(
                f"the anchor {quoted('&' + event.anchor)} is refused: anchors are not used here",
                place,
                "remove it, or put text that begins with '&' into quotes",
            )
        if event.tag is not None:
            raise self.fail(
                f"the tag {quoted(event.tag)} is refused: tags are not used here",
                place,
                "remove it, or put text that begins with '!' into quotes",
            )
        if isinstance(event, yaml.ScalarEvent):
            return self.scalar(event, place)
        if depth >= DEEPEST:
            raise self.fail(f"more than {DEEPEST} maps and lists stand inside each other", place)
        if isinstance(event, yaml.SequenceStartEvent):
            items: list[Node] = []
            while not isinstance(event := next(events), yaml.SequenceEndEvent):
                items.append(self.node(event, events, depth + 1))
            return Node("list", place, items=tuple(items), error=self.error)
        return self.map(events, place, depth)

    def map(self, events: Iterator[Any], place: Place, depth: int) -> Node:
        """Return the map whose start was just seen; its keys are texts, each standing once."""
        entries: list[tuple[Node, Node]] = []
        seen: dict[str, int] = {}
        while not isinstance(event := next(events), yaml.MappingEndEvent):
            if isinstance(event, (yaml.SequenceStartEvent, yaml.MappingStartEvent)):
                raise self.fail(
                    "a name is expected before ':', not a list or a map", self.at(event.start_mark)
                )
            found = self.node(event, events, depth + 1)
            if found.raw == "":
                raise self.fail("a name is expected before ':'", found.place)
            if found.raw in seen:
                raise self.fail(
                    f"{quoted(found.raw)} stands twice in this map; "
                    f"the first is on line {seen[found.raw]}",
                    found.place,
                )
            seen[found.raw] = found.place.line
            key = Node("text", found.place, found.raw, found.raw, plain=found.plain,
                       error=self.error)
            entries.append((key, self.node(next(events), events, depth + 1)))
        return Node("map", place, entries=tuple(entries), error=self.error)

    def scalar(self, event: Any, place: Place) -> Node:
        """Return a single value, resolved by the few rules in the module's first lines."""
        raw = event.value
        if any("\ud800" <= c <= "\udfff" for c in raw):
            raise self.fail("half of a surrogate pair is no character", place)
        plain = event.style in (None, "")
        kind, value = _resolved(raw) if plain else ("text", raw)
        lines = self.block(raw, event.start_mark.line + 1) if event.style == "|" else ()
        return Node(kind, place, value, raw, plain=plain, lines=lines, error=self.error)

    def block(self, raw: str, first: int) -> tuple[Node, ...]:
        """Return the lines of a text in a block, whose source begins at line `first` (from 0)."""
        found: list[Node] = []
        for number, line in enumerate(raw.split("\n"), first):
            source = self.lines[number] if number < len(self.lines) else ""
            if line.strip():
                place = self.place(number, max(0, len(source) - len(line)))
                found.append(Node("text", place, line, line, error=self.error))
        return tuple(found)

    def syntax_error(self, problem: yaml.MarkedYAMLError) -> SynthError:
        """Return one message for a mistake of syntax: where, and what was expected."""
        mark = problem.problem_mark or problem.context_mark
        place = self.at(mark)
        text = problem.problem or problem.context or "unknown mistake"
        begun = problem.context_mark.line + 1 if problem.context_mark is not None else 0
        char = self.text[mark.index] if mark is not None and mark.index < len(self.text) else ""
        if "cannot start any token" in text and char in "\t@`%":
            char_word = "a tab" if char == "\t" else f"the character '{char}'"
            advice = "indent with spaces" if char == "\t" else "put the text into quotes"
            return self.fail(f"{char_word} cannot stand here; {advice}", place)
        for part, message, hint in _SYNTAX:
            if part in text:
                return self.fail(message.format(line=begun), place, hint)
        return self.fail(f"this cannot be read as YAML: {_one_line(text)}", place)


_SYNTAX = (
    # part of the library's message, our message, what to do
    ("mapping values are not allowed", "a ':' is not expected here",
     "put text that holds ': ' into quotes, and check the indentation"),
    ("could not find expected ':'", "a ':' is expected after the name that begins on line {line}",
     "write 'name: value'"),
    ("',' or ']'", "a ',' or ']' is expected; the list begins on line {line}", ""),
    ("',' or '}'", "a ',' or '}}' is expected; the map begins on line {line}", ""),
    ("expected key", "this does not fit the lines above; a 'name: value' line is expected",
     "check the indentation, and quotes or brackets left open above"),
    ("expected '-' indicator", "this does not fit the lines above; a line with '- ' is expected",
     "check the indentation, and quotes or brackets left open above"),
    ("<block end>", "this does not fit the lines above; check the indentation",
     "check also quotes or brackets left open above"),
    ("sequence entries are not allowed", "a '- ' is not expected here",
     "begin the list on a line of its own"),
    ("block mapping keys", "a 'name:' is not expected here", "begin the map on a line of its own"),
    ("mapping keys are not allowed", "a '? ' is not expected here", ""),
    ("end of stream", "the text ends inside the quotes that begin on line {line}",
     "close the quotes"),
    ("found unexpected document",
     "a document mark stands inside the quotes that begin on line {line}",
     "close the quotes"),
    ("unknown escape character", "this is not an escape that text in double quotes may hold",
     "use single quotes, or write the backslash twice"),
    ("Unicode character escape", "this escape is no character", ""),
    ("hexadecimal numbers", "hexadecimal digits are expected in this escape", ""),
    ("expected hexdecimal number", "hexadecimal digits are expected in this escape", ""),
    ("expected alphabetic or numeric character",
     "'&' and '*' have a meaning of their own in YAML", "put the text into quotes"),
    ("undefined tag handle", "tags are not used here", "put text that begins with '!' into quotes"),
    ("expected whitespace or line break", "a tag is not used here",
     "put text that begins with '!' into quotes"),
    ("<document start>", "more text follows after the end of the document",
     "put text that holds quotes or brackets into quotes as a whole"),
    ("node content", "a name or a value is expected here",
     "check quotes or brackets left open above"),
    ("comment or line break", "only the rest of a comment may stand here",
     "put text that begins with '|' or '>' into quotes"),
    ("chomping or indentation", "only the rest of a comment may stand here",
     "put text that begins with '|' or '>' into quotes"),
    ("tab character", "a tab cannot stand here; indent with spaces", ""),
)


def _one_line(text: str) -> str:
    return quoted(" ".join(text.split()))[1:-1]


def _resolved(raw: str) -> tuple[str, str | int | float | bool | None]:
    """Return kind and value of a value that stands without quotes."""
    if raw in _NOTHING:
        return "nothing", None
    if raw in _TRUTH:
        return "truth", _TRUTH[raw]
    if _WHOLE.fullmatch(raw):
        return "number", int(raw)
    if _DECIMAL.fullmatch(raw):
        number = float(raw)
        if math.isfinite(number):
            return "number", number
    return "text", raw


def _joined(pair: re.Match[str]) -> str:
    """Return the two halves that JSON writes for one character as the one escape of YAML."""
    high, low = int(pair[2], 16), int(pair[3], 16)
    return f"{pair[1]}\\U{0x10000 + ((high - 0xD800) << 10) + (low - 0xDC00):08x}"
