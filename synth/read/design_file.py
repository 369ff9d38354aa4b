"""Designs from JSON or YAML, also ones typed by hand.

Read here is the form: known types, settings and terminals, times that can be held, and names that
the goals know. Whether the design is well formed for its kit, and whether it does what is wanted,
is asked by `synth.check`.

A file is the design itself or a whole plan with a key ``design``. Typed by hand, ``part`` (the
kit's name), wire numbers, units and harmless settings may be left out::

    parts:
      - {name: S, type: supply}
      - {name: dusk, type: twilight-switch, settings: {passes: night}}
      - {name: heater, type: load}
    wires:
      - {from: S:out, to: dusk:in}
      - {from: dusk:out, to: heater:in}
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator, Sequence

from synth.design import TIME_SETTINGS, Design, PartInUse, Terminal, Wire
from synth.errors import DesignError
from synth.parts.behaviour import SENSING, TIMED, PartType, Shape
from synth.parts.kit import Kit, KitPart
from synth.problem import InputKind, Problem
from synth.read.kit_file import (
    LARGEST_NUMBER,
    MOST_OUTPUTS,
    OPTIONS,
    bundled_kits,
    checked_duration,
    checked_whole,
)
from synth.read.suggest import did_you_mean, nearest, quoted
from synth.read.yaml_source import Node, load, read_text

MOST_PARTS = 1000
MOST_WIRES = 5000
LONGEST_NAME = 60

NIGHT = "night"
"""The input that every twilight switch follows."""

_PART_KEYS = ("name", "type", "part", "settings")
_WIRE_KEYS = ("number", "from", "to", "units")
_OUTPUT = re.compile(r"out([1-9][0-9]?)")


def _settings_of(kind: PartType) -> tuple[str, ...]:
    """Return the settings that a type has in a file."""
    if kind in OPTIONS and kind not in (PartType.TWILIGHT, PartType.BISTABLE, PartType.RECYCLER):
        return ("input", "contact")
    if kind is PartType.RECYCLER:
        return ("on", "off", "first")
    if kind in OPTIONS:
        return (OPTIONS[kind][0],)
    if kind in TIMED:
        return ("time",)
    if kind in (PartType.SUPPLY, PartType.TAP_OFF):
        return ("units",)
    return {PartType.LOAD: ("needs",), PartType.DIVIDER: ("outputs",)}.get(kind, ())


SETTINGS: dict[PartType, tuple[str, ...]] = {kind: _settings_of(kind) for kind in PartType}
"""The settings of each type in files. A divider's ``outputs`` only picks the kit's part."""

_DEFAULTS = {"contact": "make", "wins": "reset", "first": "pulse"}
"""What a choice is when it is not stated, if the part allows it."""


def load_design(path: str | os.PathLike[str], kit: Kit) -> Design:
    """Return the design in the file at `path`, made of parts of `kit`.

    Raises DesignError when the file cannot be read or is no design.
    """
    return parse_design(read_text(path, "design file", DesignError), os.fspath(path), kit)


def named_kit(design: Node) -> str | None:
    """Return the kit that a design (see `opened`) says it is made of, None when it says none."""
    kit = design.get("kit")
    return kit.raw if kit is not None and kit.kind in ("text", "number", "truth") else None


def parse_design(text: str, file: str, kit: Kit, problem: Problem | None = None) -> Design:
    """Return the design written in `text`, made of parts of `kit`; see `design_of`.

    `file` is the name shown in messages. Raises DesignError with the place of the first mistake.
    """
    return design_of(opened(text, file), kit, problem)


def design_of(design: Node, kit: Kit, problem: Problem | None = None) -> Design:
    """Return the design in an opened file, made of parts of `kit`.

    Settings keep the order of the text; defaults follow. With `problem` the design is one for its
    goals, and may name no other inputs and loads.
    Raises DesignError with the place of the first mistake.
    """
    _expect_kit(design, kit)
    part_nodes = _list_of(design, "parts", MOST_PARTS)
    wire_nodes = _list_of(design, "wires", MOST_WIRES)
    used_outputs = _used_outputs(wire_nodes)
    parts: dict[str, PartInUse] = {}
    for node in part_nodes:
        part = _part(node, kit, used_outputs)
        if part.name in parts:
            raise _need(node, "name", "a part").fail(
                f"two parts are called {quoted(part.name)}", "each part needs a name of its own"
            )
        if problem is not None:
            _expect_asked(node, part, problem)
        parts[part.name] = part
    return Design(kit.name, tuple(parts.values()), tuple(_wires(wire_nodes, parts, kit)))


def opened(text: str, file: str) -> Node:
    """Return the map that is the design, inside a plan or by itself; `file` is shown in messages.

    Raises DesignError when the text is no design file at all.
    """
    root = load(text, file, DesignError)
    if root.kind != "map":
        raise root.fail(
            f"a design is expected to be a map with 'parts' and 'wires', but {root.what} came"
        )
    design = root.get("design")
    if design is None:
        _expect_keys(root, ("kit", "parts", "wires"), "a design", ("design",))
        return root
    if design.kind == "nothing":
        status = root.get("status")
        known = f" (its status is {quoted(status.raw)})" if status is not None else ""
        raise design.fail(f"this plan holds no design{known}")
    if design.kind != "map":
        raise design.fail(
            f"'design' is expected to be a map with 'parts' and 'wires', but {design.what} came"
        )
    _expect_keys(design, ("kit", "parts", "wires"), "a design")
    return design


def _expect_kit(design: Node, kit: Kit) -> None:
    named = design.get("kit")
    if named is not None and _text(named, "'kit'") != kit.name:
        raise named.fail(
            f"the design is made of the kit {quoted(named.raw)}, "
            f"but the kit in use is '{kit.name}'",
            (
                f"leave out --kit, or say --kit {named.raw}"
                if named.raw in bundled_kits()
                else "give the file of that kit as --kit FILE"
            )
            + "; or remove this line to read the design with the kit in use",
        )


def _used_outputs(wires: tuple[Node, ...]) -> dict[str, int]:
    """Return for each part name the highest number n of an output ``outn`` that a wire uses."""
    highest: dict[str, int] = {}
    for wire in wires:
        source = wire.get("from") if wire.kind == "map" else None
        if source is None:
            continue
        part, _, terminal = source.raw.rpartition(":")
        match = _OUTPUT.fullmatch(terminal.strip())
        if match:
            highest[part.strip()] = max(highest.get(part.strip(), 0), int(match[1]))
    return highest


def _part(node: Node, kit: Kit, used_outputs: dict[str, int]) -> PartInUse:
    """Return one part in use, with harmless defaults filled in."""
    if node.kind != "map":
        raise node.fail(
            f"a part is expected to be a map with 'name' and 'type', but {node.what} came"
        )
    for key, _ in node.entries:
        if key.raw not in _PART_KEYS and any(key.raw in words for words in SETTINGS.values()):
            raise key.fail(
                f"'{key.raw}' is a setting", f"write 'settings: {{{key.raw}: ...}}' for this part"
            )
    _expect_keys(node, _PART_KEYS, "a part")
    name = _name(_need(node, "name", "a part"))
    kind, offer = _type(node, kit, name)
    settings, outputs = _settings(node, kind)
    candidates = _candidates(node, kit, kind, offer)
    if kind is PartType.DIVIDER and offer is None:
        chosen = _divider(node, candidates, outputs, used_outputs.get(name, 0))
    else:
        chosen = next((part for part in candidates if _admits(part, settings)), candidates[0])
    for setting in SETTINGS[kind]:
        if setting not in settings and setting != "outputs":
            value = _default(node, name, chosen, setting)
            if value is not None:
                settings[setting] = value
    return PartInUse(name, kind, chosen.name, tuple(settings.items()))


def _type(node: Node, kit: Kit, name: str) -> tuple[PartType, KitPart | None]:
    """Return the type of a part, and the kit's part if the file names one."""
    offer: KitPart | None = None
    part_node, type_node = node.get("part"), node.get("type")
    if part_node is not None:
        word = _text(part_node, "'part'")
        offer = kit.index.get(word)
        if offer is None:
            raise part_node.fail(
                f"the kit '{kit.name}' has no part {quoted(word)}", did_you_mean(word, kit.index)
            )
    if type_node is None:
        if offer is None:
            raise node.fail(f"part {quoted(name)} needs a 'type'", "write for example 'type: load'")
        return offer.type, offer
    word = _text(type_node, "'type'")
    types = {kind.value: kind for kind in PartType}
    if word in types:
        kind = types[word]
    elif word in kit.index:
        named = kit.index[word]
        kind, offer = named.type, offer or named
    else:
        near = nearest(word, [*types, *kit.index])
        raise type_node.fail(
            f"{quoted(word)} is neither a type of part nor a part of the kit '{kit.name}'",
            f"did you mean '{near}'?" if near else f"types: {', '.join(types)}",
        )
    if offer is not None and offer.type is not kind:
        raise type_node.fail(
            f"the kit's part '{offer.name}' is a {offer.type}, but the type here is {kind}",
            "remove 'type' or 'part', or make them agree",
        )
    return kind, offer


def _meant(name: str, known: Sequence[str], what: str) -> str:
    """Return a hint: the nearest of the names that the goals know, or that some goal is missing."""
    near = nearest(name, known)
    if near:
        return f"did you mean '{near}'?"
    told = f"the {what} {', '.join(known)}" if known else f"no {what}"
    return f"a design is judged by all goals that it was made for; those given name {told}"


def _expect_asked(node: Node, part: PartInUse, problem: Problem) -> None:
    """Refuse a load that is in no goal, and a part that follows what is no input of the goals, or
    one of another kind."""
    if part.type is PartType.LOAD:
        loads = [requirement.load for requirement in problem.requirements]
        if part.name not in loads:
            raise _need(node, "name", "a part").fail(
                f"the load {quoted(part.name)} is in no goal", _meant(part.name, loads, "loads")
            )
    if part.type not in SENSING:
        return
    settings = node.get("settings")
    stated = settings.get("input") if settings is not None else None
    at = stated or node.get("type") or node.get("part") or node
    name = NIGHT if part.type is PartType.TWILIGHT else str(part.setting("input"))
    kinds = {item.name: item.kind for item in problem.inputs if item.kind is not InputKind.SUPPLY}
    if name not in kinds:
        raise at.fail(
            f"{quoted(part.name)} follows {quoted(name)}, which is no input in the goals",
            "remove it, or say in a goal what depends on the night"
            if stated is None
            else _meant(name, list(kinds), "inputs"),
        )
    fitting = PartType.TWILIGHT if kinds[name] is InputKind.NIGHT else PartType(kinds[name].value)
    if part.type is not fitting:
        raise at.fail(
            f"{quoted(part.name)} is a {part.type}, but {quoted(name)} is followed by a {fitting}",
            f"use a {fitting}, or say under 'inputs' in a goal file what {quoted(name)} is",
        )


def _candidates(
    node: Node, kit: Kit, kind: PartType, offer: KitPart | None
) -> tuple[KitPart, ...]:
    """Return the kit's parts that this part may be, best first; at least one."""
    if offer is not None:
        return (offer,)
    found = tuple(sorted(kit.of_type(kind), key=lambda part: part.most == 0))
    if not found:
        raise _need(node, "type", "a part").fail(
            f"the kit '{kit.name}' has no {kind}",
            f"its parts: {', '.join(kit.index)}",
        )
    return found


def _divider(
    node: Node, candidates: tuple[KitPart, ...], outputs: int | None, used: int
) -> KitPart:
    """Return the cheapest divider with as many outputs as stated, or as the wires use."""
    if outputs is None:
        enough = [part for part in candidates if part.outputs >= used]
        return enough[0] if enough else max(candidates, key=lambda part: part.outputs)
    for part in candidates:
        if part.outputs == outputs:
            return part
    settings = _need(node, "settings", "a part")
    counts = sorted({part.outputs for part in candidates})
    raise settings.key("outputs").fail(
        f"the kit has no divider with {outputs} outputs",
        f"it has dividers with {', '.join(map(str, counts))} outputs",
    )


def _settings(node: Node, kind: PartType) -> tuple[dict[str, str | int], int | None]:
    """Return the stated settings, times in ticks, and a divider's number of outputs."""
    given = node.get("settings")
    if given is None or given.kind == "nothing":
        return {}, None
    if given.kind != "map":
        raise given.fail(f"'settings' is expected to be a map, but {given.what} came")
    known = SETTINGS[kind]
    settings: dict[str, str | int] = {}
    outputs: int | None = None
    for key, value in given.entries:
        if key.raw not in known:
            hint = did_you_mean(key.raw, known) or f"a {kind} has no settings"
            raise key.fail(f"a {kind} has no setting {quoted(key.raw)}", hint)
        if key.raw == "outputs":
            outputs = checked_whole(value, "'outputs'", 1, MOST_OUTPUTS)
        else:
            settings[key.raw] = _setting(key.raw, value, kind)
    return settings, outputs


def _setting(key: str, node: Node, kind: PartType) -> str | int:
    """Return the value of one setting, of the right sort for its key."""
    if key in TIME_SETTINGS:
        return checked_duration(node, f"'{key}'")
    if key in ("units", "needs"):
        return checked_whole(node, f"'{key}'", 0 if kind is PartType.SUPPLY else 1)
    if key == "input":
        return _name(node, "the name of an input")
    word = _text(node, f"'{key}'")
    allowed = OPTIONS[kind][1]
    if word not in allowed:
        raise node.fail(f"'{key}' cannot be {quoted(word)}", did_you_mean(word, allowed))
    return word


def _admits(part: KitPart, settings: dict[str, str | int]) -> bool:
    """Return whether the kit's part can be set like that."""
    for key, value in settings.items():
        if key in TIME_SETTINGS and part.times is not None and value not in part.times:
            return False
        if part.options and key == OPTIONS[part.type][0] and value not in part.options:
            return False
        if (
            key == "units"
            and part.largest is not None
            and isinstance(value, int)
            and value > part.largest
        ):
            return False
    return True


def _default(node: Node, name: str, part: KitPart, setting: str) -> str | int | None:
    """Return the value of a setting that is not stated; an error where guessing could harm."""
    if setting == "needs":
        return part.units
    if setting == "units" and part.type is PartType.SUPPLY:
        return None
    if part.type in OPTIONS and setting == OPTIONS[part.type][0]:
        if len(part.options) == 1:
            return part.options[0]
        if _DEFAULTS.get(setting) in part.options:
            return _DEFAULTS[setting]
    examples = {
        "input": "input: start", "passes": "passes: night", "units": "units: 1", "on": "on: 10 s",
        "off": "off: 50 s",
    }
    stated = node.get("settings")
    at = stated if stated is not None and stated.kind == "map" else node
    raise at.fail(
        f"the {part.type} {quoted(name)} needs the setting '{setting}'",
        f"write for example 'settings: {{{examples.get(setting, 'time: 10 s')}}}'",
    )


def _wires(nodes: tuple[Node, ...], parts: dict[str, PartInUse], kit: Kit) -> Iterator[Wire]:
    """Yield the wires; those without a number get the lowest free ones, in order."""
    stated: dict[int, int] = {}
    for index, node in enumerate(nodes):
        if node.kind != "map":
            raise node.fail(
                f"a wire is expected to be a map with 'from' and 'to', but {node.what} came"
            )
        _expect_keys(node, _WIRE_KEYS, "a wire")
        number = node.get("number")
        if number is not None and number.kind != "nothing":
            stated[index] = checked_whole(number, "'number'", 1)
    taken, free = set(stated.values()), 1
    for index, node in enumerate(nodes):
        wire_number = stated.get(index)
        if wire_number is None:
            while free in taken:
                free += 1
            wire_number, free = free, free + 1
        units = node.get("units")
        yield Wire(
            wire_number,
            _terminal(_need(node, "from", "a wire"), parts, kit, source=True),
            _terminal(_need(node, "to", "a wire"), parts, kit, source=False),
            None
            if units is None or units.kind == "nothing"
            else checked_whole(units, "'units'", 0, LARGEST_NUMBER),
        )


def _terminal(node: Node, parts: dict[str, PartInUse], kit: Kit, *, source: bool) -> Terminal:
    """Return the terminal that a wire's end names: an output at its source, else an input."""
    text = _text(node, "a terminal")
    part_name, colon, terminal = (piece.strip() for piece in text.rpartition(":"))
    if not colon:
        example = f"{text}:out" if source else f"{text}:in"
        raise node.fail(
            f"a terminal is written 'part:terminal', but {quoted(text)} came",
            f"write for example {quoted(example)}",
        )
    part = parts.get(part_name)
    if part is None:
        raise node.fail(f"there is no part {quoted(part_name)}", did_you_mean(part_name, parts))
    shape = kit.index[part.part].shape
    outputs, inputs = shape.outputs, shape.power + shape.controls
    if terminal in (outputs if source else inputs):
        return Terminal(part_name, terminal)
    if terminal in outputs + inputs:
        is_a, should = ("an input", "output") if source else ("an output", "input")
        raise node.fail(
            f"{quoted(text)} is {is_a}; a wire {'begins' if source else 'ends'} at an {should}",
            _terminals_hint(shape, source),
        )
    raise node.fail(
        f"the {part.type} {quoted(part_name)} has no terminal {quoted(terminal)}",
        did_you_mean(terminal, outputs if source else inputs) or _terminals_hint(shape, source),
    )


def _terminals_hint(shape: Shape, source: bool) -> str:
    words = shape.outputs if source else shape.power + shape.controls
    what = "outputs" if source else "inputs"
    return f"{what} of this part: {', '.join(words)}" if words else f"this part has no {what}"


def _name(node: Node, what: str = "the name of a part") -> str:
    """Return a name that can stand before the colon of a terminal."""
    name = _text(node, what)
    if not name or name != name.strip() or not name.isprintable():
        raise node.fail(f"{what} must be printable text without spaces around it: {quoted(name)}")
    if len(name) > LONGEST_NAME:
        raise node.fail(f"{what} is longer than {LONGEST_NAME} characters: {quoted(name)}")
    if ":" in name:
        raise node.fail(f"{what} may not hold a colon: {quoted(name)}")
    return name


def _text(node: Node, what: str) -> str:
    if node.kind not in ("text", "number", "truth"):
        raise node.fail(f"{what} is expected to be text, but {node.what} came")
    return node.raw


def _need(node: Node, key: str, what: str) -> Node:
    found = node.get(key)
    if found is None:
        raise node.fail(f"{what} needs {quoted(key)}, which is missing")
    return found


def _list_of(design: Node, key: str, most: int) -> tuple[Node, ...]:
    node = _need(design, key, "a design")
    if node.kind != "list":
        raise node.fail(f"'{key}' is expected to be a list, but {node.what} came")
    if len(node.items) > most:
        raise node.fail(f"{len(node.items)} {key}; at most {most} are read")
    return node.items


def _expect_keys(
    node: Node, known: Iterable[str], what: str, also_near: tuple[str, ...] = ()
) -> None:
    for key, _ in node.entries:
        if key.raw not in known:
            raise key.fail(
                f"{what} has no {quoted(key.raw)}", did_you_mean(key.raw, [*known, *also_near])
            )
