"""What it takes to turn one design into another: in words, on the terminal, as a document."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from synth import __version__
from synth.changes import Alteration, Changes, Way
from synth.design import Design, PartInUse, Wire, design_document, settings_document
from synth.parts.behaviour import SPLITTING
from synth.problem import Problem
from synth.report.symbols import designations
from synth.report.terminal import CAUTIONS, _checked, _Page
from synth.wording import counted, listed

BEFORE = (
    "Switch the supply off, lock it off and test that it is dead first. Take wires off, put parts "
    "in, then wires on. Then go through the test sheet of the new pack (synth pack): the old goals "
    "are in it, too."
)


def print_alteration(console: Console, problem: Problem, found: Alteration, way: int) -> None:
    """Print the ways, and the steps of one of them (from 1)."""
    page = _Page(console)
    page.heading(problem.title or "Change")
    if found.holds:
        page.say("The circuit as it is does all of this: nothing is to be changed.")
        page.say(_checked(found.ways[0].verdict))
        return
    number = len(found.ways)
    page.say(
        f"{counted(number, 'way')}, {'each' if number > 1 else 'which is'} checked against all "
        "goals, the old ones too. That fewer connections could change is not proven."
    )
    table = page.table(
        "Ways, the fewest changed connections first",
        ">No.", ">Changed", ">Wires moved", ">To buy", ">In all", ">Units", "What is known",
    )  # fmt: skip
    for at, one in enumerate(found.ways, 1):
        page.row(
            table, str(at), f"{one.connections} of {found.connections}",
            str(len(one.changes.moved) + len(one.changes.gone)), str(one.to_buy), str(one.price),
            str(one.supply), _known(one),
        )  # fmt: skip
    page.show(table)
    page.say(
        "Changed are connections: what feeds an input. Tap-offs and dividers are left aside there; "
        "how they split power on its way moves more wires, which are counted beside it. Prices are "
        "in coins."
    )
    chosen = found.ways[way - 1]
    page.section(f"Way {way}, step by step")
    page.say(BEFORE)
    _print_steps(page, chosen.changes)
    anew = relabelled(found.old, chosen.design)
    if anew:
        page.say(
            "Labels: with parts taken out the others of their kind count on. Mark anew: "
            + listed(f"{name}, {before} until now, as {after}" for name, before, after in anew)
            + "."
        )
    page.section("Checked")
    page.say(_checked(chosen.verdict))
    page.items("Cautions", CAUTIONS)


def _print_steps(page: _Page, changes: Changes) -> None:
    page.items(
        "Parts",
        [f"take out {part.name}" for part in changes.taken_out]
        + [f"put in {told_part(part)}" for part in changes.added]
        + [f"set anew {told_anew(*pair)}" for pair in changes.set_anew],
    )
    table = page.table("Wires", "Do", ">No.", "To", "From", "From before")
    for wire in changes.gone:
        page.row(table, "take off", str(wire.number), str(wire.target), "", str(wire.source))
    for before, after in changes.moved:
        ends = str(after.target), str(after.source), str(before.source)
        page.row(table, "move", str(after.number), *ends)
    for wire in changes.new:
        page.row(table, "put on", str(wire.number), str(wire.target), str(wire.source), "")
    page.show(table)
    stay = sorted(wire.number for wire in changes.stay)
    page.say(f"Wires that stay: {listed(stay) if stay else 'none'}.")


def relabelled(old: Design, new: Design) -> list[tuple[str, str, str]]:
    """Return (part, designation before, designation after) of each part that stays and is called
    otherwise in the new drawings."""
    before, after = designations(old), designations(new)
    return [
        (name, before[name], now)
        for name, now in after.items()
        if name in before and before[name] != now
    ]


def _known(way: Way) -> str:
    told = []
    if way.proven:
        told.append("no design costs less, proven within the bounds of a plan")
    out = way.changes.taken_out
    if not out:
        told.append("every part stays")
    elif all(part.type in SPLITTING for part in out):
        told.append("every part but tap-offs and dividers stays")
    return ", ".join(told)


def alteration_document(problem: Problem, found: Alteration) -> dict[str, Any]:
    """Return the ways as plain data: prices in whole coins, power in whole units."""
    return {
        "synth": __version__,
        "title": problem.title,
        "holds": found.holds,
        "status": found.outcome.status.value,
        "connections": found.connections,
        "ways": [_way(one) for one in found.ways],
    }


def _way(way: Way) -> dict[str, Any]:
    changes = way.changes
    return {
        "connections_changed": way.connections,
        "to_buy": way.to_buy,
        "price": way.price,
        "supply": way.supply,
        "proven": way.proven,
        "check": {"verdict": "holds", "states": way.verdict.states},
        "new_parts": [part.name for part in changes.added],
        "taken_out": [part.name for part in changes.taken_out],
        "set_anew": [after.name for _, after in changes.set_anew],
        "moved_wires": [after.number for _, after in changes.moved],
        "new_wires": [wire.number for wire in changes.new],
        "gone_wires": [wire.number for wire in changes.gone],
        "design": design_document(way.design),
    }


def difference(changes: Changes) -> tuple[str, ...]:
    """Return what changes, item by item."""
    items = [f"new: {told_part(part)}" for part in changes.added]
    items += [f"taken out: {part.name}" for part in changes.taken_out]
    items += [f"set anew: {told_anew(*pair)}" for pair in changes.set_anew]
    if changes.moved:
        items.append("wires that move: " + "; ".join(told_moved(*pair) for pair in changes.moved))
    if changes.new:
        items.append("new wires: " + "; ".join(map(told_wire, changes.new)))
    if changes.gone:
        items.append("wires that go: " + "; ".join(map(told_wire, changes.gone)))
    stay = sorted(wire.number for wire in changes.stay)
    items.append(f"wires that stay: {listed(stay) if stay else 'none'}")
    items.append(f"price: {from_to(*changes.price, 'coin')}")
    items.append(f"supply: {from_to(*changes.supply, 'unit')}")
    return tuple(items)


def told_part(part: PartInUse) -> str:
    """Return a part with its settings."""
    told = _settings(part)
    return f"{part.name} ({told})" if told else part.name


def _settings(part: PartInUse) -> str:
    return ", ".join(f"{k} {v}" for k, v in settings_document(dict(part.settings)).items())


def told_anew(before: PartInUse, after: PartInUse) -> str:
    """Return a part that is set anew, and how it was set."""
    return f"{after.name}, {_settings(after)} (was: {_settings(before)})"


def told_wire(wire: Wire) -> str:
    """Return a wire with its number and both ends."""
    return f"{wire.number} from {wire.source} to {wire.target}"


def told_moved(before: Wire, after: Wire) -> str:
    """Return where a wire comes from now, and came from."""
    return f"{after.number} to {after.target}, now from {after.source} (was {before.source})"


def from_to(before: int, after: int, noun: str) -> str:
    """Return a figure, and what it was."""
    if before == after:
        return f"{counted(after, noun)}, as before"
    sign = "+" if after > before else "-"
    return f"{counted(after, noun)} (was {before}, {sign}{abs(after - before)})"
