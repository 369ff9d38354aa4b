"""A clash of goals and limits on the terminal, and as a document."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from synth import __version__
from synth.conflict import Conflict, Kind, WayOut, Wish
from synth.days import in_words, unit_hours
from synth.problem import Problem
from synth.report.terminal import _Page
from synth.report.undecided import what_may_help
from synth.result import Status
from synth.ticks import format_duration
from synth.wording import counted

EXCLUDED = (
    "no short reason: the search went through every parts list within the bounds, and none can be "
    "wired so"
)


def print_conflict(console: Console, problem: Problem, conflict: Conflict) -> None:
    """Print what clashes, with the figures, and the ways out."""
    page = _Page(console)
    page.heading(problem.title or "Clash")
    if conflict.status in (Status.PROVEN, Status.BEST_FOUND):
        page.say("Nothing clashes: there is a design for all of it. synth plan shows it.")
        return
    if conflict.status is Status.UNDECIDED:
        page.say(
            "Stopped by Ctrl-C: no design for all of it was found before, and no clash was proven. "
            "Nothing is claimed."
            if conflict.stopped
            else "Undecided: no design for all of it was found in the time, and no clash was "
            "proven."
        )
        page.items("Tried", (_tried(conflict),))
        page.items("Known so far", _known(conflict, problem))
        late = conflict.time_up and not conflict.stopped
        helps = ["to let it go on"] if conflict.stopped else []
        page.items("What may help", [*helps, *what_may_help(problem, late)])
        page.items("Searched within", conflict.bounds)
        return
    number = len(conflict.clash)
    size = "The smallest clash" if conflict.smallest else "A clash"
    page.say(
        f"Impossible. {size} is of {number}: "
        + ("this cannot be had." if number == 1 else "these cannot be had together.")
    )
    page.items("What clashes", [wish_in_words(wish, problem) for wish in conflict.clash])
    page.items("Why", conflict.reasons or (EXCLUDED,))
    if conflict.ways:
        page.section("Ways out, each planned and checked")
        for place, way in enumerate(conflict.ways, 1):
            page.item(f"{place}.", way_in_words(way, problem))
        _print_others(page, conflict, problem)
    else:
        ended = "before it was stopped" if conflict.stopped else "in the time"
        page.say(f"No way out was found {ended}.")
    page.items("Not decided", conflict.notes)
    page.items("Impossible within these bounds", conflict.bounds)


def _print_others(page: _Page, conflict: Conflict, problem: Problem) -> None:
    """Print why ways out name wishes that are not in the clash: further clashes, where known."""
    for other in conflict.others:
        page.section("Another clash beside it, also proven")
        for wish in other:
            page.item("-", wish_in_words(wish, problem))
    told = {*conflict.clash, *(wish for other in conflict.others for wish in other)}
    ways = dict.fromkeys(w for way in conflict.ways for w in way.dropped if w not in told)
    if ways:
        listed = "; ".join(wish_in_words(wish, problem) for wish in ways)
        page.say(
            f"In no clash that was found, though a way out names it: {listed}. Whether less would "
            "do was not decided."
        )


def _tried(conflict: Conflict) -> str:
    return (
        f"{counted(conflict.tried, 'question')} in {conflict.seconds:.0f} s: all goals and limits, "
        "then sets of some of them, each for a design or for a proof that there is none"
    )


def _known(conflict: Conflict, problem: Problem) -> list[str]:
    """Return in sentences what is known where a clash is undecided."""
    known = []
    if conflict.together:
        words = [wish_in_words(wish, problem) for wish in conflict.together]
        known.append(f"these can be had together, as a checked design shows: {'; '.join(words)}")
    else:
        known.append("nothing: no question that was put was answered, neither yes nor no")
    if conflict.open:
        words = [wish_in_words(wish, problem) for wish in conflict.open]
        which = "whether they go with" if conflict.together else "whether they go together"
        known.append(f"not decided is {which}: {'; '.join(words)}")
    if conflict.bound is not None:
        known.append(f"no design costs less than {counted(conflict.bound, 'coin')}")
    return known


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
    price = f"{'' if way.cheapest else 'at most '}{counted(way.price, 'coin')}"
    costs = f"{price}, {counted(way.supply, 'unit')}"
    if way.unit_hours is not None:
        assert problem.energy is not None
        wish, more = way.dropped[0], way.unit_hours - problem.energy.unit_hours
        least = "no thousandth less will do" if way.least else "less may do as well"
        return (
            f"goal {wish.number} ({_phrase(wish, problem)}) with {unit_hours(way.unit_hours)} a "
            f"day ({in_words(more)} more): {costs}; {least}"
        )
    things = [_given_in_words(wish, value, way.time, problem) for wish, value in way.given]
    told = f"{' and '.join(things)}: {costs}"
    if all(value is None for _, value in way.given):
        return told
    if way.time is not None:
        least = "no nearer time of another goal will do" if way.least else "a nearer may do"
    else:
        least = "no smaller change of it will do" if way.least else "less may do as well"
    return f"{told}; {least}"


def _given_in_words(wish: Wish, value: int | None, time: int | None, problem: Problem) -> str:
    """Return how one wish gives: dropped, or set to `value` (a goal, in place of its `time`)."""
    goal = f"goal {wish.number} ({_phrase(wish, problem)})" if wish.kind is Kind.GOAL else ""
    if value is None:
        return f"without {goal or wish_in_words(wish, problem)}"
    if time is not None:
        return f"{goal} with {format_duration(value)} in place of {format_duration(time)}"
    if goal:
        assert problem.peak is not None
        more = value - problem.peak.units
        return f"{goal} with {counted(value, 'unit')} ({more} more)"
    more = value - wish.number
    return {
        Kind.SUPPLY: f"a supply of up to {counted(value, 'unit')} ({more} more)",
        Kind.PRICE: f"a price of up to {counted(value, 'coin')} ({more} more)",
        Kind.MOST: f"{more} x {wish.part} more, {value} in all",
        Kind.LEAST: f"{-more} x {wish.part} less, {value} at least",
        Kind.SPARE: f"{-more} less to spare, {counted(value, 'unit')}",
    }[wish.kind]


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
                **({"values": list(way.values)} if way.values else {}),
                **({} if way.unit_hours is None else {"unit_hours": float(way.unit_hours)}),
                "time": way.time,
                "least": way.least,
                "cheapest": way.cheapest,
                "price": way.price,
                "supply": way.supply,
                "words": way_in_words(way, problem),
            }
            for way in conflict.ways
        ],
        "notes": list(conflict.notes),
        "bounds": list(conflict.bounds),
        "together": [one(wish) for wish in conflict.together],
        "open": [one(wish) for wish in conflict.open],
        "tried": conflict.tried,
        "bound": conflict.bound,
        "others": [[one(wish) for wish in other] for other in conflict.others],
        "stopped": conflict.stopped,
    }
