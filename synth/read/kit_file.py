"""Kits from YAML: every line validated, every mistake named with its place.

A kit file looks like this (see docs/kit.schema.json for the whole form)::

    kit: shed
    title: What the shed has
    trigger: held
    parts:
      supply: {type: supply}
      float: {type: sensor, price: 4, contact: [make]}
      timer: {type: pulse-timer, price: 8, time: {least: 1 s, most: 1 h, step: 1 s}}
      lamp: {type: load}
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from importlib import resources
from typing import Any

from synth.errors import KitError, Slips, SynthError, TimeError
from synth.parts.behaviour import SHAPES, TIMED, PartType
from synth.parts.kit import Kit, KitPart, Times, Trigger
from synth.read.suggest import did_you_mean, nearest, quoted
from synth.read.yaml_source import Node, load, read_text
from synth.ticks import format_duration, parse_duration

LARGEST_NUMBER = 1_000_000
"""The largest price, count or number of units that a kit may state."""
LONGEST_NAME = 40
LONGEST_TITLE = 120
MOST_PARTS = 200
"""The most lines that a kit may have."""
LEAST_OUTPUTS, MOST_OUTPUTS = 2, 12

OPTIONS: dict[PartType, tuple[str, tuple[str, ...]]] = {
    PartType.SWITCH: ("contact", ("make", "break")),
    PartType.PUSH_BUTTON: ("contact", ("make", "break")),
    PartType.SENSOR: ("contact", ("make", "break")),
    PartType.TWILIGHT: ("passes", ("night", "day")),
    PartType.BISTABLE: ("wins", ("set", "reset")),
    PartType.RECYCLER: ("first", ("pulse", "pause")),
}
"""For each type with a choice: the setting's name and the values that it may take."""

_KIT_KEYS = ("kit", "title", "trigger", "about", "parts")
_PART_KEYS = (
    "type", "price", "most", "units", "contact", "passes", "wins", "first", "time", "outputs",
    "about",
)
_FREE = frozenset({PartType.SUPPLY, PartType.LOAD})
"""What need not have a price: there is no choice about having it."""
_AMOUNT_SET = frozenset({PartType.SUPPLY, PartType.TAP_OFF})
"""What has a setting in units, whose largest value the kit may state."""
_CONSUMING = frozenset(kind for kind in PartType if SHAPES[kind].controls) | {PartType.LOAD}
"""What uses units itself: parts with control inputs, and loads."""
_NAME_EXTRAS = frozenset(" -_./+")


def bundled_kits() -> tuple[str, ...]:
    """Return the names of the kits in the package, the default first."""
    names = sorted(
        entry.name.removesuffix(".yaml")
        for entry in resources.files("synth.parts").joinpath("kits").iterdir()
        if entry.name.endswith(".yaml")
    )
    return tuple(sorted(names, key=lambda name: name != "starter"))


def load_kit(name_or_path: str | os.PathLike[str]) -> Kit:
    """Return the kit of that name in the package, or else the one in the file of that path.

    Raises KitError when there is neither, or when the file is no usable kit.
    """
    name = os.fspath(name_or_path)
    known = bundled_kits()
    if name in known:
        return parse_kit(kit_text(name), f"{name}.yaml")
    looks_like_path = os.sep in name or name.endswith((".yaml", ".yml", ".json"))
    if not looks_like_path and not os.path.lexists(name.replace("\0", "?")):
        near = nearest(name, known)
        wanted = f"did you mean '{near}'? " if near else ""
        raise KitError(
            f"there is no kit {quoted(name)}",
            None,
            f"{wanted}kits in the package: {', '.join(known)}; or give the path of a kit file",
        )
    root = load(kit_text(name), name, KitError)
    kit = _kit_of(root, name)
    if kit.name in known and not _same_parts(kit, load_kit(kit.name)):
        # A design tells its kit by name, so it would be read with the parts of the other one.
        raise _need(root, "kit", "a kit").fail(
            f"a kit of other parts, which comes with the tool, is called '{kit.name}'",
            "give yours a name of its own",
        )
    return kit


def kit_text(name_or_path: str) -> str:
    """Return the text of the kit file that has this name in the package, or else this path.

    Raises KitError when it cannot be read.
    """
    if name_or_path in bundled_kits():
        file = resources.files("synth.parts").joinpath("kits").joinpath(f"{name_or_path}.yaml")
        return file.read_text(encoding="utf-8")
    return read_text(name_or_path, "kit file", KitError)


def _same_parts(one: Kit, other: Kit) -> bool:
    return (one.trigger, one.parts) == (other.trigger, other.parts)


def parse_kit(text: str, file: str) -> Kit:
    """Return the kit written in `text`; `file` is the name shown in messages.

    Raises KitError with the place of the first mistake, and those in the lines of other parts.
    """
    return _kit_of(load(text, file, KitError), file)


def _kit_of(root: Node, file: str) -> Kit:
    _expect_map(root, "a kit")
    _expect_keys(root, _KIT_KEYS, "a kit")
    parts = _need(root, "parts", "a kit")
    _expect_map(parts, "'parts'")
    if len(parts.entries) > MOST_PARTS:
        raise parts.fail(f"a kit of {len(parts.entries)} parts; at most {MOST_PARTS} are accepted")
    name = checked_name(_need(root, "kit", "a kit"), "the name of a kit")
    title = root.get("title")
    trigger = root.get("trigger")
    kit = Kit(
        name=name,
        title=checked_line(title, "'title'") if title else name,
        trigger=Trigger(_word(trigger, [t.value for t in Trigger], "'trigger'"))
        if trigger
        else Trigger.HELD,
        parts=_parts(parts),
        about=_about(root),
        file=file,
    )
    _expect_distinct(parts)
    _expect_ends(parts, kit)
    return kit


def kit_document(kit: Kit) -> dict[str, Any]:
    """Return the kit as plain data, in the form of kit files; `parse_kit` reads it back."""
    document: dict[str, Any] = {
        "kit": kit.name, "title": kit.title, "trigger": kit.trigger.value
    }
    if kit.about:
        document["about"] = kit.about
    document["parts"] = {part.name: _part_document(part) for part in kit.parts}
    return document


def _part_document(part: KitPart) -> dict[str, Any]:
    document: dict[str, Any] = {"type": part.type.value, "price": part.price}
    if part.most is not None:
        document["most"] = part.most
    if part.type in _CONSUMING:
        document["units"] = part.units
    if part.largest is not None:
        document["units"] = {"most": part.largest}
    if part.type in OPTIONS:
        document[OPTIONS[part.type][0]] = list(part.options)
    if part.times is not None:
        document["time"] = {
            "least": format_duration(part.times.least),
            "most": format_duration(part.times.most),
            "step": format_duration(part.times.step),
        }
    if part.type is PartType.DIVIDER:
        document["outputs"] = part.outputs
    if part.about:
        document["about"] = part.about
    return document


def checked_name(node: Node, what: str) -> str:
    """Return the name that `node` holds: letters, digits, spaces and a few marks.

    Raises the node's error for anything else, or for more than LONGEST_NAME characters.
    """
    if node.kind not in ("text", "number", "truth"):
        raise node.fail(f"{what} is expected to be text, but {node.what} came")
    name = node.raw
    if not name or not name[0].isalnum():
        raise node.fail(f"{what} must begin with a letter or a digit, not {quoted(name[:1])}")
    if len(name) > LONGEST_NAME:
        raise node.fail(f"{what} is longer than {LONGEST_NAME} characters: {quoted(name)}")
    for character in name:
        if not character.isalnum() and character not in _NAME_EXTRAS:
            raise node.fail(
                f"{what} may not hold {quoted(character)}: {quoted(name)}",
                "use letters, digits, spaces, hyphens, underscores, dots, plus signs and slashes",
            )
    if name != " ".join(name.split()):
        raise node.fail(f"{what} may not end in a space or hold two in a row: {quoted(name)}")
    return name


def checked_line(node: Node, what: str, longest: int = LONGEST_TITLE) -> str:
    """Return the one line of printable text that `node` holds, of at most `longest` characters."""
    if node.kind not in ("text", "number", "truth"):
        raise node.fail(f"{what} is expected to be text, but {node.what} came")
    line = node.raw.strip()
    if not line.isprintable():
        raise node.fail(f"{what} must be one line of printable text")
    if len(line) > longest:
        raise node.fail(f"{what} is longer than {longest} characters")
    return line


def checked_whole(node: Node, what: str, least: int, most: int = LARGEST_NUMBER) -> int:
    """Return the whole number that `node` holds; its error unless it lies in `least`..`most`."""
    value = node.value
    if node.kind != "number" or not isinstance(value, int) or not least <= value <= most:
        raise node.fail(
            f"{what} is expected to be a whole number from {least} to {most}, but {node.what} came"
        )
    return value


def checked_duration(node: Node, what: str) -> int:
    """Return the time that `node` holds, in ticks; its error unless it is one, held exactly."""
    if node.kind not in ("text", "number"):
        raise node.fail(f"{what} is expected to be a time such as '10 s', but {node.what} came")
    try:
        return parse_duration(node.raw if node.kind == "text" else _number(node))
    except TimeError as problem:
        raise node.fail(f"{what}: {_shown(problem.message)}") from None


def _number(node: Node) -> int | float:
    assert isinstance(node.value, (int, float))
    return node.value


def _shown(message: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in message)


def _parts(node: Node) -> tuple[KitPart, ...]:
    found: list[KitPart] = []
    slips = Slips()
    for key, value in node.entries:
        with slips.kept():
            found.append(_part(key, value))
    slips.tell()
    return tuple(found)


def _part(key: Node, node: Node) -> KitPart:
    """Return the kit's line `key`: `node`, with the defaults of its type filled in."""
    name = checked_name(key, "the name of a part")
    who = f"part '{name}'"
    _expect_map(node, who)
    _expect_keys(node, _PART_KEYS, who)
    kind = PartType(_word(_need(node, "type", who), [t.value for t in PartType], "the type"))
    _expect_fitting(node, kind)
    price = node.get("price")
    if price is None and kind not in _FREE:
        raise key.fail(
            f"{who} needs a 'price'", "a whole number of coins; write for example 'price: 4'"
        )
    most = node.get("most")
    units, largest = _units(node, kind)
    return KitPart(
        name=name,
        type=kind,
        price=checked_whole(price, "the price", 0) if price else 0,
        most=checked_whole(most, "'most'", 0) if most else None,
        units=units,
        options=_options(node, kind),
        times=_times(key, node, kind),
        outputs=_outputs(key, node, kind),
        largest=largest,
        about=_about(node),
    )


def _expect_fitting(node: Node, kind: PartType) -> None:
    """Refuse settings that the type does not have."""
    fitting = {"type", "price", "most", "about"}
    if kind in OPTIONS:
        fitting.add(OPTIONS[kind][0])
    if kind in TIMED:
        fitting.add("time")
    if kind is PartType.DIVIDER:
        fitting.add("outputs")
    if kind in _CONSUMING | _AMOUNT_SET:
        fitting.add("units")
    for key, _ in node.entries:
        if key.raw not in fitting:
            extras = [word for word in _PART_KEYS if word in fitting]
            raise key.fail(
                f"'{key.raw}' does not apply to a {kind}", f"possible here: {', '.join(extras)}"
            )


def _units(node: Node, kind: PartType) -> tuple[int, int | None]:
    """Return what each control input (or the load) uses, and the largest amount settable."""
    units = node.get("units")
    if units is None:
        return 1, None
    if kind in _CONSUMING:
        if units.kind == "map":
            raise units.fail(
                f"'units' of a {kind} is what it uses: a whole number, not a map",
                "write for example 'units: 1'",
            )
        return checked_whole(units, "'units'", 1), None
    if units.kind != "map":
        raise units.fail(
            f"'units' of a {kind} is the range it can be set to; a map is expected",
            "write for example 'units: {most: 20}'",
        )
    _expect_keys(units, ("most",), "'units'")
    return 1, checked_whole(_need(units, "most", "'units'"), "'most'", 1)


def _options(node: Node, kind: PartType) -> tuple[str, ...]:
    """Return the values on offer for the type's setting, in the type's own order."""
    if kind not in OPTIONS:
        return ()
    setting, allowed = OPTIONS[kind]
    given = node.get(setting)
    if given is None:
        return allowed
    items = given.items if given.kind == "list" else (given,)
    if not items:
        raise given.fail(f"'{setting}' is empty", f"possible here: {', '.join(allowed)}")
    words: list[str] = []
    for item in items:
        word = _word(item, allowed, f"'{setting}'")
        if word in words:
            raise item.fail(f"'{word}' stands twice in '{setting}'")
        words.append(word)
    return tuple(word for word in allowed if word in words)


def _times(key: Node, node: Node, kind: PartType) -> Times | None:
    """Return the times that a timer can be set to, None for what is no timer."""
    if kind not in TIMED:
        return None
    time = node.get("time")
    example = "write for example 'time: {least: 1 s, most: 10 min, step: 1 s}'"
    if time is None:
        raise key.fail(f"part '{key.raw}' is a timer and needs a 'time'", example)
    if time.kind != "map":
        raise time.fail(f"'time' is expected to be a range, but {time.what} came", example)
    _expect_keys(time, ("least", "most", "step"), "'time'")
    least, most, step = (
        checked_duration(_need(time, word, "'time'"), f"'{word}'")
        for word in ("least", "most", "step")
    )
    if most < least:
        raise time.key("most").fail(
            f"the longest time, {format_duration(most)}, is shorter than "
            f"the shortest, {format_duration(least)}"
        )
    times = Times(least, most, step)
    if most not in times:
        last = most - (most - least) % step
        raise time.key("most").fail(
            f"the longest time cannot be set: steps of {format_duration(step)} from "
            f"{format_duration(least)} lead to {format_duration(last)}, not to "
            f"{format_duration(most)}",
            f"write 'most: {format_duration(last)}', or change 'least' or 'step'",
        )
    return times


def _outputs(key: Node, node: Node, kind: PartType) -> int:
    if kind is not PartType.DIVIDER:
        return 0
    outputs = node.get("outputs")
    if outputs is None:
        raise key.fail(f"part '{key.raw}' is a divider and needs 'outputs'", "write 'outputs: 3'")
    return checked_whole(outputs, "'outputs'", LEAST_OUTPUTS, MOST_OUTPUTS)


def _about(node: Node) -> str:
    about = node.get("about")
    return checked_line(about, "'about'", 300) if about else ""


def _expect_distinct(parts: Node) -> None:
    """Refuse names that differ in upper and lower case only."""
    seen: dict[str, str] = {}
    for key, _ in parts.entries:
        other = seen.setdefault(key.raw.casefold(), key.raw)
        if other != key.raw:
            raise key.fail(
                f"the parts '{other}' and '{key.raw}' differ only in upper and lower case"
            )


def _expect_ends(parts: Node, kit: Kit) -> None:
    """Refuse a kit without exactly one supply and at least one load."""
    supplies = [part.name for part in kit.parts if part.type is PartType.SUPPLY]
    if not supplies:
        raise parts.fail("the kit has no supply", "add 'supply: {type: supply}' to the parts")
    if len(supplies) > 1:
        raise parts.key(supplies[1]).fail(
            f"the kit has two supplies, '{supplies[0]}' and '{supplies[1]}'; "
            "exactly one is expected"
        )
    if not any(part.type is PartType.LOAD for part in kit.parts):
        raise parts.fail("the kit has no load", "add 'load: {type: load}' to the parts")


def _expect_map(node: Node, what: str) -> None:
    if node.kind != "map":
        raise node.fail(
            f"{what} is expected to be a map of 'name: value' lines, but {node.what} came"
        )


def _expect_keys(node: Node, known: Iterable[str], what: str) -> None:
    for key, _ in node.entries:
        if key.raw not in known:
            raise key.fail(f"{what} has no {quoted(key.raw)}", did_you_mean(key.raw, known))


def _need(node: Node, key: str, what: str) -> Node:
    found = node.get(key)
    if found is None:
        missing: SynthError = node.fail(f"{what} needs {quoted(key)}, which is missing")
        raise missing
    return found


def _word(node: Node, allowed: Iterable[str], what: str) -> str:
    """Return the one of `allowed` that `node` holds."""
    if node.kind not in ("text", "number", "truth"):
        raise node.fail(
            f"{what} is expected to be a word, but {node.what} came",
            f"possible here: {', '.join(allowed)}",
        )
    if node.raw not in allowed:
        raise node.fail(f"{what} cannot be {quoted(node.raw)}", did_you_mean(node.raw, allowed))
    return node.raw
