"""The house rules, read off every file: who may import whom, how long a file may be, no print.

Each rule is a function from sources to complaints, so that every rule also has a test that
breaks it.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
NOUNS = {
    "errors", "ticks", "goals", "signals", "trace", "parts", "problem", "design", "result",
    "choices", "conflict", "reasons", "settings_sheet", "suspects", "lesson", "modes", "sheet",
    "days", "wording", "changes", "remedy",
}  # fmt: skip
VERBS = {
    "read", "pose", "memory", "search", "share", "explore", "check", "explain", "report", "bench",
    "handover", "teach",
}  # fmt: skip
JOINT = "pipeline"
DOORS = {"cli", "commands", "start", "interrupt", "outlet", "__main__"}
HEAVY = {"lark", "rich", "ortools", "click", "networkx", "numpy", "jsonschema"}
"""Libraries that nouns never need, and whose import time nobody should pay for `--help`."""
LONGEST = 700

Sources = dict[str, str]
"""Module name (as in `synth.read.lexer`) to text."""


def package() -> Sources:
    """Return all modules of the package."""
    found = {}
    for file in sorted((ROOT / "synth").rglob("*.py")):
        parts = file.relative_to(ROOT).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = file.read_text(encoding="utf-8")
    return found


@cache
def parsed(text: str) -> ast.Module:
    """Return the tree of a module, parsed once for all rules, which only read it."""
    return ast.parse(text)


def imports(module: str, text: str) -> Iterator[tuple[str, int]]:
    """Yield (module imported, line) for each import anywhere in `text`, function bodies too."""
    for node in ast.walk(parsed(text)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}:{node.lineno}: imports are written in full"
            assert node.module is not None
            if node.module == "synth":
                for alias in node.names:
                    yield f"synth.{alias.name}", node.lineno
            else:
                yield node.module, node.lineno


def room(module: str) -> str:
    """Return the room of a module of the package: `read` for `synth.read.lexer`."""
    return module.split(".")[1] if "." in module else ""


def broken_import_law(sources: Sources) -> list[str]:
    """Return a sentence for each import that the house does not allow."""
    complaints = []
    for module, text in sources.items():
        here = room(module)
        if here and here not in NOUNS | VERBS | DOORS | {JOINT}:
            complaints.append(f"{module}: no such room; name it in {Path(__file__).name}")
        for name, line in imports(module, text):
            top, there = name.split(".")[0], room(name)
            where = f"{module}:{line}: imports {name}"
            if top == "ortools" and module != "synth.search.solver":
                complaints.append(f"{where}; only synth.search.solver knows the solver")
            if here in NOUNS and top in HEAVY:
                complaints.append(f"{where}; a noun stays light")
            if top != "synth" or not there or there == here or there == "__version__":
                continue
            if here in NOUNS and there not in NOUNS:
                complaints.append(f"{where}; nouns import only nouns")
            if here in VERBS and there not in NOUNS:
                complaints.append(f"{where}; verbs import only nouns, never each other")
            if here == JOINT and there not in NOUNS | VERBS:
                complaints.append(f"{where}; the pipeline joins verbs")
    return complaints


def circles(sources: Sources) -> list[str]:
    """Return the first circle of imports among the modules, if there is one."""
    graph = {
        module: {name for name, _ in imports(module, text) if name in sources and name != module}
        for module, text in sources.items()
    }
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        return [" -> ".join(circle.args[1])]
    return []


def too_long(sources: Sources) -> list[str]:
    """Return the modules with more than `LONGEST` lines."""
    return [name for name, text in sources.items() if len(text.splitlines()) > LONGEST]


def prints(sources: Sources) -> list[str]:
    """Return the places of `print(` in library code; only the command line speaks."""
    return [
        f"{module}:{node.lineno}"
        for module, text in sources.items()
        if room(module) not in DOORS
        for node in ast.walk(parsed(text))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id == "print"
    ]


def no_door_plate(sources: Sources) -> list[str]:
    """Return the packages whose `__init__` is missing, and the modules without a first line."""
    missing = [
        f"synth.{room(name)}"
        for name in sources
        if name.count(".") > 1 and f"synth.{room(name)}" not in sources
    ]
    silent = [name for name, text in sources.items() if not ast.get_docstring(parsed(text))]
    return sorted({*missing, *silent})


class TestHouse:
    def test_import_law(self) -> None:
        assert broken_import_law(package()) == []

    def test_no_circles(self) -> None:
        assert circles(package()) == []

    def test_files_are_short(self) -> None:
        assert too_long(package()) == []

    def test_tests_are_short(self) -> None:
        tests = {f.name: f.read_text("utf-8") for f in sorted((ROOT / "tests").rglob("*.py"))}
        assert too_long(tests) == []

    def test_nothing_prints(self) -> None:
        assert prints(package()) == []

    def test_every_module_says_what_it_is(self) -> None:
        assert no_door_plate(package()) == []

    def test_all_rooms_are_there(self) -> None:
        """A renamed room would make the rules above pass for want of anything to read."""
        rooms = {room(name) for name in package()}
        assert rooms >= NOUNS | VERBS | {JOINT, "cli"}


class TestTheRulesBite:
    @pytest.mark.parametrize(
        ("module", "text", "complaint"),
        [
            ("synth.design", "from synth.read.lexer import x", "nouns import only nouns"),
            ("synth.parts.kit", "def f():\n    import synth.search.slots", "only nouns"),
            ("synth.check.zones", "from synth.search import bounds", "never each other"),
            ("synth.check.zones", "from synth import search", "never each other"),
            ("synth.check.zones", "from ortools.sat.python import cp_model", "knows the solver"),
            ("synth.search.slots", "import ortools", "knows the solver"),
            ("synth.report.svg", "from synth.pipeline import plan", "never each other"),
            ("synth.goals", "import lark", "stays light"),
            ("synth.pipeline", "from synth.cli import main", "joins verbs"),
            ("synth.misc", "", "no such room"),
        ],
    )
    def test_import_law(self, module: str, text: str, complaint: str) -> None:
        complaints = broken_import_law({module: text})
        assert len(complaints) == 1
        assert complaint in complaints[0]

    def test_circles(self) -> None:
        sources = {"synth.a": "import synth.b", "synth.b": "def f():\n    import synth.a"}
        assert circles(sources) != []

    def test_length(self) -> None:
        assert too_long({"synth.a": "x = 1\n" * LONGEST}) == []
        assert too_long({"synth.a": "x = 1\n" * (LONGEST + 1)}) == ["synth.a"]

    def test_print(self) -> None:
        assert prints({"synth.read.a": "def f():\n    print(1)", "synth.cli": "print(1)"}) == [
            "synth.read.a:2"
        ]

    def test_door_plate(self) -> None:
        assert no_door_plate({"synth.read.a": '"""Says."""', "synth.read.b": ""}) == [
            "synth.read",
            "synth.read.b",
        ]
