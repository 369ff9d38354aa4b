"""What it takes to turn one design into another: in words, on the terminal, as a document."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.console import Console

from synth import __version__
from synth.changes import Alteration, Changes, Way
from synth.design import Design, PartInUse, Wire, design_document
from synth.parts.behaviour import SPLITTING, PartType
from synth.problem import Problem
from synth.report.document import ending_document
from synth.report.symbols import designations
from synth.report.terminal import CAUTIONS, _checked, _Page, settings_in_words
from synth.wording import counted, listed

BEFORE = (
    "Switch the supply off, lock it off and test that it is dead first. Then go by the lists, one "
    "after the other. A wire keeps its number and its end on an input; what moves is its end on an "
    "output."
)
AFTER = (
    "Then go through the test sheet of the new pack (synth pack), which has all goals of now. "
    "Drawings and lists of before are no longer right."
)


def print_alteration(
    console: Console, problem: Problem, found: Alteration, way: int | None
) -> None:
    """Print the ways, and the steps of one of them (from 1; None: of none)."""
    page = _Page(console)
    page.heading(problem.title or "Change")
    if found.holds:
        page.say("The circuit as it is does all of this: nothing is to be changed.")
        page.say(_checked(found.ways[0].verdict))
        _print_notes(page, found.ways[0])
        return
    number = len(found.ways)
    page.say(
        f"{counted(number, 'way')}, {'each' if number > 1 else 'which is'} checked against all "
        "goals below. That fewer connections could change is not proven."
    )
    for words in _dropped(problem, found.old):
        page.say(words)
    page.section("Goals")
    for goal in problem.goals:
        page.item(f"{goal.number}.", goal.phrase)
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
    before = found.ways[0].changes
    page.say(
        "Changed are connections: what feeds an input. Tap-offs and dividers are left aside there; "
        "how they split power on its way moves more wires, which are counted beside it. Prices are "
        f"in coins: {before.price[0]} in all until now, with {counted(before.supply[0], 'unit')} "
        "from the supply."
    )
    if way is None:
        return
    chosen = found.ways[way - 1]
    page.section(f"Way {way}, step by step")
    page.say(BEFORE)
    dividers = {p.name for p in chosen.design.parts if p.type is PartType.DIVIDER}
    _print_steps(page, chosen.changes, dividers)
    anew = relabelled(found.old, chosen.design)
    if anew:
        page.say(
            "Labels: with parts taken out the others of their kind count on. Mark anew: "
            + listed(f"{name}, {before} until now, as {after}" for name, before, after in anew)
            + "."
        )
    page.say(AFTER)
    page.items("Assumptions", problem.assumptions)
    page.section("Checked")
    page.say(_checked(chosen.verdict))
    _print_notes(page, chosen)
    page.items("Cautions", CAUTIONS)


def _print_notes(page: _Page, way: Way) -> None:
    for note in way.verdict.notes:
        page.item("-", note)


def dropped(problem: Problem, old: Design) -> tuple[list[str], list[str]]:
    """Return the loads that are wired and in no goal any more, and those that are in one still."""
    wanted = {requirement.load for requirement in problem.requirements}
    loads = [part.name for part in old.parts if part.type is PartType.LOAD]
    return [x for x in loads if x not in wanted], [x for x in loads if x in wanted]


def _dropped(problem: Problem, old: Design) -> Iterator[str]:
    gone, kept = dropped(problem, old)
    if not kept:
        yield (
            "None of the loads that are wired is in these goals: is it the right design? A load "
            "or an input that only has another name now is taken for another one."
        )
    elif gone:
        yield (
            f"Wired, and in no goal any more: {listed(gone)}. (One that only has another name now "
            "is taken for another one.)"
        )


def _print_steps(page: _Page, changes: Changes, dividers: set[str]) -> None:
    off = [(w, w.source, f"{w.target}, the whole wire") for w in changes.gone]
    off += [(w, w.source, f"stays on {w.target}") for w, _ in changes.moved]
    if off:
        table = page.table("Take off first", ">Wire", "From", "Its other end")
        for wire, source, other in sorted(off, key=lambda item: item[0].number):
            page.row(table, str(wire.number), str(source), other)
        page.show(table)
    page.items(
        "Parts and settings",
        [f"take out {part.name}" for part in changes.taken_out]
        + [f"put in {told_part(part)}" for part in changes.added]
        + [f"set anew {told_anew(*pair)}" for pair in changes.set_anew]
        + [told_need(*pair) for pair in changes.needs],
    )
    on = [(w, "new") for w in changes.new] + [(w, "moved") for _, w in changes.moved]
    if on:
        table = page.table("Put on last", ">Wire", "From", "To", "")
        for wire, kind in sorted(on, key=lambda item: item[0].number):
            page.row(table, str(wire.number), str(wire.source), str(wire.target), kind)
        page.show(table)
    if not off and not on:
        page.say("No wire is touched.")
    else:
        number = len(changes.stay)
        stays = "stays" if number == 1 else "stay"
        page.say(f"{counted(number, 'other wire')} {stays}." if number else "No other wire stays.")
    if changes.carry:
        page.say(
            "Wires that stay and carry other units: "
            + listed(
                f"{after.number} now {after.units} (was {before.units})"
                for before, after in changes.carry
            )
            + "."
        )
    if {wire.source.part for wire, _ in on} & dividers:
        page.say(
            "A divider gives what is left over to the first of its outputs: keep them as listed."
        )


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
    gone, _ = dropped(problem, found.old)
    ending = found.outcome.ending
    return {
        "synth": __version__,
        "title": problem.title,
        "holds": found.holds,
        "status": found.outcome.status.value,
        "connections": found.connections,
        "goals": [{"number": goal.number, "phrase": goal.phrase} for goal in problem.goals],
        "assumptions": list(problem.assumptions),
        "in_no_goal": gone,
        "ways": [_way(found.old, one) for one in found.ways],
        **({} if ending is None or found.ways else {"ending": ending_document(ending, problem)}),
    }


def _way(old: Design, way: Way) -> dict[str, Any]:
    changes = way.changes
    return {
        "connections_changed": way.connections,
        "to_buy": way.to_buy,
        "price": way.price,
        "supply": way.supply,
        "proven": way.proven,
        "check": {
            "verdict": "holds",
            "states": way.verdict.states,
            "notes": list(way.verdict.notes),
        },
        "new_parts": [part.name for part in changes.added],
        "taken_out": [part.name for part in changes.taken_out],
        "set_anew": [after.name for _, after in changes.set_anew],
        "needs_anew": [after.name for _, after in changes.needs],
        "moved_wires": [after.number for _, after in changes.moved],
        "new_wires": [wire.number for wire in changes.new],
        "gone_wires": [wire.number for wire in changes.gone],
        "carry_anew": [wire.number for _, wire in changes.carry],
        "marks": {
            name: {"was": before, "is": now} for name, before, now in relabelled(old, way.design)
        },
        "design": design_document(way.design),
    }


def difference(changes: Changes) -> tuple[str, ...]:
    """Return what changes, item by item."""
    items = [f"new: {told_part(part)}" for part in changes.added]
    items += [f"taken out: {part.name}" for part in changes.taken_out]
    items += [f"set anew: {told_anew(*pair)}" for pair in changes.set_anew]
    items += [told_need(*pair) for pair in changes.needs]
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
    told = settings_in_words(part)
    return f"{part.name} ({told})" if told else part.name


def told_anew(before: PartInUse, after: PartInUse) -> str:
    """Return a part that is set anew, and how it was set."""
    return f"{after.name}: {settings_in_words(after)} (was: {settings_in_words(before)})"


def told_need(before: PartInUse, after: PartInUse) -> str:
    """Return a load that needs more or less, and what it needed."""
    need, was = after.setting("needs") or 1, before.setting("needs") or 1
    return f"{after.name} needs {counted(int(need), 'unit')} now (was {was})"


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
