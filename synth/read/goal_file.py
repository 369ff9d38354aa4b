"""Goal files (YAML), and lists of goals from the command line, to a goal list."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from synth.errors import GoalError, Place, Slips, SynthError
from synth.goals import (
    Branches,
    DeclaredInput,
    DeclaredLoad,
    Fact,
    Goal,
    GoalList,
    InStock,
    PartLeast,
    PartLimit,
    Untimed,
)
from synth.problem import InputKind, Objective
from synth.read.conditions import LONGEST_NAME
from synth.read.kit_file import bundled_kits
from synth.read.phrases import parse_facts, parse_phrases
from synth.read.splitting import MOST_PHRASES
from synth.read.suggest import did_you_mean, quoted
from synth.read.yaml_source import Node, load, read_text

KEYS = ("title", "kit", "loads", "inputs", "goals", "known", "limits", "stock", "minimise")
LIMITS = ("most", "least", "without", "supply", "spare", "price", "branches", "untimed")
EVERY_LOAD = "all"
"""The word for every load under 'untimed', where it stands by itself."""
DEFAULT_KIT = "starter"
MOST_UNITS = 1_000_000
"""The largest need, supply or price that a goal file may state."""

_KINDS = {
    "switch": InputKind.SWITCH,
    "push-button": InputKind.BUTTON,
    "push button": InputKind.BUTTON,
    "button": InputKind.BUTTON,
    "sensor": InputKind.SENSOR,
}
_OBJECTIVES = {
    "price": Objective.PRICE,
    "supply": Objective.SUPPLY,
    "power": Objective.SUPPLY,
    "wires": Objective.WIRES,
}


def load_goal_file(path: str | os.PathLike[str]) -> GoalList:
    """Return the goal list in the YAML file at `path`; its kit may be a path beside it.

    Raises GoalError, with file, line and column, for whatever cannot be read.
    """
    name = os.fspath(path)
    text = read_text(path, "goal file", GoalError)
    return parse_goal_file(text, name, Path(name).parent)


def parse_goal_file(text: str, file: str, folder: Path | None = None) -> GoalList:
    """Return the goal list in YAML `text`; `file` is shown in messages, `folder` holds the kit.

    Raises GoalError for the first mistake, with the others. Phrases are judged once the names
    that they may use are known, so after the loads and inputs are in order.
    """
    root = load(text, file, GoalError)
    if root.kind == "list":
        raise root.fail("a goal file begins with 'goals:', not with the list itself")
    if root.kind != "map":
        raise root.fail(f"a goal file is a map of 'name: value' lines, not {root.what}")
    slips = Slips()
    loads: tuple[DeclaredLoad, ...] = ()
    inputs: tuple[DeclaredInput, ...] = ()
    with slips.kept():
        _only_keys(root, KEYS, "a goal file")
    with slips.kept():
        loads = _loads(root.get("loads"))
    with slips.kept():
        inputs = _inputs(root.get("inputs"))
    slips.tell()
    names = (*(item.name for item in loads), *(item.name for item in inputs))
    goals = root.get("goals")
    if goals is None:
        raise root.fail("there are no goals", "add 'goals:' and a list of phrases")
    found = GoalList(title="", kit=DEFAULT_KIT, goals=(), place=root.place)
    defaults: list[str] = []
    with slips.kept():
        found = replace(found, title=_title(root.get("title"), file))
    with slips.kept():
        kit = _kit(root.get("kit"), folder)
        defaults += [] if kit else [_KIT_DEFAULT]
        found = replace(found, kit=kit or DEFAULT_KIT)
    with slips.kept():
        minimise = _minimise(root.get("minimise"))
        defaults += [] if minimise else [_MINIMISE_DEFAULT]
        found = replace(found, minimise=minimise or tuple(Objective))
    with slips.kept():
        found = replace(found, goals=_goals(goals, file, names))
    with slips.kept():
        found = replace(found, facts=_facts(root.get("known"), file, names))
    with slips.kept():
        found = replace(found, stock=_stock(root.get("stock")))
    with slips.kept():
        found = _limited(found, root.get("limits"))
    slips.tell()
    return replace(found, loads=loads, inputs=inputs, defaults=tuple(defaults))


def goals_from_text(text: str, kit: str | None = None) -> GoalList:
    """Return the goal list that phrases alone make (those of ``--goals``); all else by default.

    >>> len(goals_from_text("light always, heater at night").goals)
    2
    """
    goals = parse_phrases(text, "goals")
    if not goals:
        raise GoalError("there are no goals", Place("goals"), "write for example 'light always'")
    defaults = [_MINIMISE_DEFAULT] if kit else [_KIT_DEFAULT, _MINIMISE_DEFAULT]
    return GoalList(
        title="Goals from the command line",
        kit=kit or DEFAULT_KIT,
        goals=goals,
        defaults=tuple(defaults),
        place=Place("goals"),
    )


_KIT_DEFAULT = f"the kit is '{DEFAULT_KIT}'; say otherwise with 'kit'"
_MINIMISE_DEFAULT = (
    "the cheapest price counts first, then the fewest supply units, then the fewest wires; say "
    "otherwise under 'minimise'"
)


def _title(node: Node | None, file: str) -> str:
    if node is None:
        return Path(file).stem.replace("-", " ").replace("_", " ").strip()[:80] or "Goals"
    if node.kind not in ("text", "number") or not node.raw.strip():
        raise node.fail(f"the title is one line of text, not {node.what}")
    title = " ".join(node.raw.split())
    if len(title) > 120 or not title.isprintable():
        raise node.fail("the title is one line of at most 120 characters")
    return title


def _kit(node: Node | None, folder: Path | None) -> str | None:
    if node is None:
        return None
    if node.kind != "text" or not node.raw.strip():
        raise node.fail(
            f"the kit is a name or a file, not {node.what}",
            f"bundled kits: {', '.join(bundled_kits())}",
        )
    word = node.raw.strip()
    if word in bundled_kits():
        return word
    path = (folder or Path()) / word
    try:
        there = path.is_file()
    except (OSError, ValueError):
        there = False
    if not there:
        raise node.fail(
            f"there is no kit {quoted(word)}, neither bundled nor as a file",
            did_you_mean(word, bundled_kits()),
        )
    return str(path)


def _name(node: Node, what: str) -> str:
    """Return a declared name in the form in which phrases name it."""
    name = " ".join(node.raw.lower().split())
    if not name or len(name) > LONGEST_NAME:
        raise node.fail(f"the name of {what} has 1 to {LONGEST_NAME} characters")
    if not name[0].isalpha() or not all(char.isalnum() or char in " -_./" for char in name):
        raise node.fail(
            f"{quoted(node.raw)} is no name",
            "a name begins with a letter and holds letters, digits, spaces and the signs - _ . /",
        )
    return name


def _declared(node: Node, what: str) -> Iterable[tuple[Node, str, Node]]:
    """Yield (key, name, value) of a map of declared names, each once."""
    if node.kind == "nothing":
        return
    if node.kind != "map":
        raise node.fail(f"{what}s are a map of 'name: value' lines, not {node.what}")
    seen: set[str] = set()
    for key, value in node.entries:
        name = _name(key, f"a {what}" if what == "load" else f"an {what}")
        if name in seen:
            raise key.fail(f"{quoted(name)} stands twice; upper and lower case count as the same")
        seen.add(name)
        yield key, name, value


def _whole(node: Node, what: str, least: int) -> int:
    if node.kind != "number" or not isinstance(node.value, int):
        raise node.fail(f"{what} is a whole number, not {node.what}")
    if not least <= node.value <= MOST_UNITS:
        raise node.fail(f"{what} is from {least} to {MOST_UNITS}, not {node.raw}")
    return node.value


def _only_keys(node: Node, known: tuple[str, ...], what: str) -> None:
    slips = Slips()
    for key, _ in node.entries:
        with slips.kept():
            if key.raw not in known:
                raise key.fail(
                    f"{quoted(key.raw)} is not known in {what}", did_you_mean(key.raw, known)
                )
    slips.tell()


def _loads(node: Node | None) -> tuple[DeclaredLoad, ...]:
    found: list[DeclaredLoad] = []
    slips = Slips()
    for key, name, value in _declared(node, "load") if node is not None else ():
        with slips.kept():
            if value.kind == "map":
                _only_keys(value, ("needs",), "a load")
                needs = value.get("needs")
                if needs is None:
                    hint = "write for example 'needs: 2'"
                    raise value.fail(f"what does {quoted(name)} need?", hint)
                value = needs
            found.append(DeclaredLoad(name, _whole(value, "what a load needs", 1), key.place))
    slips.tell()
    return tuple(found)


def _inputs(node: Node | None) -> tuple[DeclaredInput, ...]:
    found: list[DeclaredInput] = []
    slips = Slips()
    for key, name, value in _declared(node, "input") if node is not None else ():
        with slips.kept():
            found.append(_input(key, name, value))
    slips.tell()
    return tuple(found)


def _input(key: Node, name: str, value: Node) -> DeclaredInput:
    if name in ("supply", "night"):
        raise key.fail(f"'{name}' is there without being declared")
    if value.kind == "map":
        _only_keys(value, ("kind",), "an input")
        kind = value.get("kind")
        if kind is None:
            raise value.fail(f"what is {quoted(name)}?", "write for example 'kind: push-button'")
        value = kind
    word = value.raw.strip().lower() if value.kind == "text" else ""
    if word not in _KINDS:
        raise value.fail(
            f"an input is a switch, a push-button or a sensor, not {value.what}",
            did_you_mean(word, ("switch", "push-button", "sensor")) if word else "",
        )
    return DeclaredInput(name, _KINDS[word], key.place)


def _text_place(node: Node) -> tuple[int, int]:
    """Return line and column of the first character of a text, behind its quotes."""
    line, column = node.place.line, node.place.column
    if not node.plain and node.place.text[column - 1 : column] in ("'", '"'):
        column += 1
    return line, column


def _phrase_nodes(node: Node, what: str) -> tuple[Node, ...]:
    if node.kind == "text":
        return node.lines or (node,)
    if node.kind != "list":
        raise node.fail(f"{what} are a list of phrases, not {node.what}")
    for item in node.items:
        if item.kind == "map" and item.entries:
            raise item.fail(
                f"each of {what} is one phrase, not {item.what}",
                "put a phrase that holds ': ' into quotes",
            )
        if item.kind != "text":
            raise item.fail(f"each of {what} is one phrase, not {item.what}")
    return tuple(line for item in node.items for line in item.lines or (item,))


def _placed(place: Place, node: Node) -> Place:
    """Return the place as it stands in the file: the line there, not the text as parsed."""
    shown = node.place.text
    # A text that was folded or stands in a block is not laid out as in the file.
    same = place.text[node.place.column :][:40] in shown and place.line == node.place.line
    return replace(place, file=node.place.file, text=shown) if same else node.place


def _goals(node: Node, file: str, names: tuple[str, ...]) -> tuple[Goal, ...]:
    found: list[Goal] = []
    slips = Slips()
    for item in _phrase_nodes(node, "goals"):
        line, column = _text_place(item)
        with slips.kept(), _in_file(item, _cut_short(node, item)):
            parsed = parse_phrases(item.raw, file, line, column, names)
            found += [
                replace(goal, number=len(found) + at, place=_placed(goal.place, item))
                for at, goal in enumerate(parsed, start=1)
            ]
    slips.tell()
    if not found:
        raise node.fail("there are no goals", "write for example '- light always'")
    if len(found) > MOST_PHRASES:
        raise node.fail(f"more than {MOST_PHRASES} goals")
    return tuple(found)


def _facts(node: Node | None, file: str, names: tuple[str, ...]) -> tuple[Fact, ...]:
    found: list[Fact] = []
    if node is None or node.kind == "nothing":
        return ()
    slips = Slips()
    for item in _phrase_nodes(node, "the known facts"):
        line, column = _text_place(item)
        with slips.kept(), _in_file(item, _cut_short(node, item)):
            parsed = parse_facts(item.raw, file, line, column, names)
            found += [
                replace(fact, number=len(found) + at, place=_placed(fact.place, item))
                for at, fact in enumerate(parsed, start=1)
            ]
    slips.tell()
    return tuple(found)


@contextmanager
def _in_file(node: Node, more: str = "") -> Iterator[None]:
    """In this context mistakes in the text of `node` get their places in its file; `more` is said
    besides what is to be done."""
    try:
        yield
    except SynthError as problem:
        moved = _moved(problem, node, more)
        moved.others = tuple(_moved(other, node, more) for other in problem.others)
        raise moved from None


def _moved(problem: SynthError, node: Node, more: str) -> SynthError:
    place = _placed(problem.place, node) if problem.place else node.place
    hints = [problem.hint] if problem.hint else []
    if more and not problem.hint.startswith("did you mean"):  # a slip is not for want of a comma
        hints.append(more)
    return type(problem)(problem.message, place, "; ".join(hints))


def _cut_short(node: Node, item: Node) -> str:
    """Return what to do where a phrase in a list in brackets may have been cut at its comma."""
    bracket = node.kind == "list" and node.place.text[node.place.column - 1 :][:1] == "["
    if not bracket or len(node.items) < 2 or not item.plain:
        return ""
    return "in [ ] a comma ends a phrase: one that holds commas stands in quotes"


def _stock(node: Node | None) -> tuple[InStock, ...]:
    return tuple(
        InStock(name, _whole(value, f"the stock of '{name}'", 0), key.place)
        for key, name, value in (_declared(node, "part") if node is not None else ())
    )


def _limited(goal_list: GoalList, node: Node | None) -> GoalList:
    """Return `goal_list` with the limits of a goal file."""
    if node is None or node.kind == "nothing":
        return goal_list
    if node.kind != "map":
        raise node.fail(f"limits are a map of 'name: value' lines, not {node.what}")
    _only_keys(node, LIMITS, "limits")
    parts: list[PartLimit] = []
    most = node.get("most")
    if most is not None:
        for key, name, value in _declared(most, "part"):
            parts.append(PartLimit(name, _whole(value, f"the most of '{name}'", 0), key.place))
    without = node.get("without")
    if without is not None:
        items = without.items if without.kind == "list" else (without,)
        for item in items:
            if item.kind != "text":
                raise item.fail(f"the name of a part is expected, not {item.what}")
            parts.append(PartLimit(_name(item, "a part"), 0, item.place))
    least = node.get("least")
    supply, price, spare = node.get("supply"), node.get("price"), node.get("spare")
    return replace(
        goal_list,
        part_limits=tuple(parts),
        largest_supply=_whole(supply, "the largest supply", 1) if supply is not None else None,
        largest_price=_whole(price, "the largest price", 0) if price is not None else None,
        part_wishes=tuple(
            PartLeast(name, _whole(value, f"the least of '{name}'", 0), key.place)
            for key, name, value in (_declared(least, "part") if least is not None else ())
        ),
        spare=_whole(spare, "what the supply has to spare", 0) if spare is not None else 0,
        branches=_branches(node.get("branches")),
        untimed=_untimed(node.get("untimed")),
    )


def _load_names(items: Iterable[Node]) -> Iterable[tuple[Node, str]]:
    """Yield (item, name) of a list of loads, each once."""
    seen: set[str] = set()
    for item in items:
        if item.kind != "text":
            raise item.fail(f"the name of a load is expected, not {item.what}")
        name = _name(item, "a load")
        if name in seen:
            raise item.fail(f"{quoted(name)} is named twice")
        seen.add(name)
        yield item, name


def _branches(node: Node | None) -> tuple[Branches, ...]:
    """Return lists of loads, each on a branch of its own; one list may stand by itself."""
    if node is None or node.kind == "nothing":
        return ()
    hint = "for example 'branches: [[pump, light]]'"
    if node.kind != "list":
        raise node.fail(f"branches are lists of loads, not {node.what}", hint)
    lists = node.items
    if lists and all(item.kind != "list" for item in lists):
        lists = (node,)
    found: list[Branches] = []
    for one in lists:
        if one.kind != "list":
            raise one.fail(f"a list of loads is expected, not {one.what}", hint)
        loads = tuple(name for _, name in _load_names(one.items))
        if len(loads) < 2:
            raise one.fail("separate branches are those of two loads or more", hint)
        found.append(Branches(loads, one.place))
    return tuple(found)


def _untimed(node: Node | None) -> tuple[Untimed, ...]:
    """Return the loads that no timer may carry power to."""
    if node is None or node.kind == "nothing":
        return ()
    if node.kind == "text" and node.raw.strip().lower() == EVERY_LOAD:
        return (Untimed("", node.place),)
    if node.kind not in ("text", "list"):
        raise node.fail(f"'untimed' is a list of loads, or '{EVERY_LOAD}', not {node.what}")
    items = node.items if node.kind == "list" else (node,)
    return tuple(Untimed(name, item.place) for item, name in _load_names(items))


def _minimise(node: Node | None) -> tuple[Objective, ...] | None:
    """Return the order of objectives: those named first, then the others in their usual order."""
    if node is None:
        return None
    items = node.items if node.kind == "list" else (node,)
    words = [(item, word) for item in items for word in re.split(r"[,\s]+", item.raw) if word]
    named: list[Objective] = []
    for item, word in words:
        objective = _OBJECTIVES.get(word.lower())
        if objective is None:
            raise item.fail(
                f"{quoted(word)} cannot be minimised", did_you_mean(word, _OBJECTIVES)
            )
        if objective in named:
            raise item.fail(f"{quoted(word)} is named twice ('power' and 'supply' are one)")
        named.append(objective)
    if not named:
        raise node.fail("what is to be minimised?", "price, supply (or power), wires")
    return (*named, *(objective for objective in Objective if objective not in named))
