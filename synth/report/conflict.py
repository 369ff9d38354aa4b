"""A clash of goals and limits on the terminal, and as a document."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from synth import __version__
from synth.conflict import Conflict, Kind, WayOut, Wish
from synth.problem import Problem
from synth.report.terminal import _Page, counted
from synth.result import Status


def print_conflict(console: Console, problem: Problem, conflict: Conflict) -> None:
    """Print what clashes, with the figures, and the ways out."""
    page = _Page(console)
    page.heading(problem.title or "Clash")
    if conflict.status in (Status.PROVEN, Status.BEST_FOUND):
        page.say("Nothing clashes: there is a design for all of it. synth plan shows it.")
        return
    if conflict.status is Status.UNDECIDED:
        page.say(
            "Undecided: no design was found in the time, and none was ruled out, so nothing can be "
            "said of a clash. More time (--time-limit) may decide it; so may --fast, fewer goals "
            "at once, or a kit with more kinds of parts."
        )
        return
    number = len(conflict.clash)
    size = "The smallest clash" if conflict.smallest else "A clash"
    page.say(
        f"Impossible. {size} is of {number}: "
        + ("this cannot be had." if number == 1 else "these cannot be had together.")
    )
    page.items("What clashes", [wish_in_words(wish, problem) for wish in conflict.clash])
    page.items("Why", conflict.reasons)
    if conflict.ways:
        page.section("Ways out, each planned and checked")
        for place, way in enumerate(conflict.ways, 1):
            page.item(f"{place}.", way_in_words(way, problem))
    else:
        page.say("No way out was found in the time.")
    page.items("Not decided", conflict.notes)
    page.items("Impossible within these bounds", conflict.bounds)


def wish_in_words(wish: Wish, problem: Problem) -> str:
    """Return a goal with its number and phrase, or a limit with its value."""
    match wish.kind:
        case Kind.GOAL:
            goal = next(g for g in problem.goals if g.number == wish.number)
            return f"goal {goal.number}: {goal.phrase}"
        case Kind.SUPPLY:
            return f"the limit of {counted(wish.number, 'unit')} for the supply"
        case Kind.PRICE:
            return f"the limit of {counted(wish.number, 'coin')} for the price"
        case Kind.MOST:
            if wish.number == 0:
                return f"the limit that no {wish.part} is used"
            return f"the limit of {wish.number} x {wish.part}"
        case Kind.LEAST:
            return f"the wish for at least {wish.number} x {wish.part}"
        case Kind.SPARE:
            return f"the wish for {counted(wish.number, 'unit')} of the supply to spare"
        case Kind.BRANCHES:
            return f"the wish for {' and '.join(wish.loads)} on separate branches"
        case Kind.UNTIMED:
            return f"the wish that no timer carries power to {wish.loads[0]}"


def way_in_words(way: WayOut, problem: Problem) -> str:
    """Return what has to give, and what the design that shows it takes."""
    costs = f"{counted(way.price, 'coin')}, {counted(way.supply, 'unit')}"
    if way.value is None:
        words = [
            f"without goal {wish.number} ({_phrase(wish, problem)})"
            if wish.kind is Kind.GOAL
            else f"without {wish_in_words(wish, problem)}"
            for wish in way.dropped
        ]
        return f"{' and '.join(words)}: {costs}"
    wish = way.dropped[0]
    more = way.value - wish.number
    thing = {
        Kind.SUPPLY: f"a supply of up to {counted(way.value, 'unit')} ({more} more)",
        Kind.PRICE: f"a price of up to {counted(way.value, 'coin')} ({more} more)",
        Kind.MOST: f"{more} more {wish.part}{'' if more == 1 else 's'}, {way.value} in all",
        Kind.LEAST: f"{-more} less {wish.part}{'' if more == -1 else 's'}, {way.value} at least",
        Kind.SPARE: f"{-more} less to spare, {counted(way.value, 'unit')}",
    }[wish.kind]
    least = "no smaller change of this limit will do" if way.least else "less may do as well"
    return f"{thing}: {costs}; {least}"


def _phrase(wish: Wish, problem: Problem) -> str:
    return next(g.phrase for g in problem.goals if g.number == wish.number)


def conflict_document(conflict: Conflict, problem: Problem) -> dict[str, Any]:
    """Return the clash as plain data: prices in whole coins, power in whole units."""

    def one(wish: Wish) -> dict[str, Any]:
        return {
            "kind": wish.kind.value,
            "number": wish.number,
            "part": wish.part,
            **({"loads": list(wish.loads)} if wish.loads else {}),
            "words": wish_in_words(wish, problem),
        }

    return {
        "synth": __version__,
        "title": problem.title,
        "status": conflict.status.value,
        "clash": [one(wish) for wish in conflict.clash],
        "smallest": conflict.smallest,
        "reasons": list(conflict.reasons),
        "ways": [
            {
                "dropped": [one(wish) for wish in way.dropped],
                "value": way.value,
                "least": way.least,
                "price": way.price,
                "supply": way.supply,
                "words": way_in_words(way, problem),
            }
            for way in conflict.ways
        ],
        "notes": list(conflict.notes),
        "bounds": list(conflict.bounds),
    }
