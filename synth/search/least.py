"""What the bounds alone say about the least price, in words, without asking for any wiring.

The same functions that refute parts lists in the search (`engine`, `bounds`, `pending`) are asked
what they know of a problem, each in a sentence with the price that it adds; then lists are gone
through in order of price until one is reached that none of them rules out. Its price is proven:
no circuit costs less. What lies between it and the price of the cheapest circuit is only counted;
that no wiring of those lists does was for the search to show.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NoReturn

from synth.parts.behaviour import CONTROLLED, SPLITTING, TIMED
from synth.parts.kit import KitPart
from synth.problem import Objective, Problem
from synth.reasons import Floor
from synth.search.basics import Progress, Tools, floor_for
from synth.search.bounds import essential
from synth.search.engine import Engine
from synth.search.lists import Catalogue, PartsList
from synth.search.questions import Questions
from synth.search.within import most_of_each
from synth.wording import counted

OFTEN = 1000
"""After so many lists the clock is looked at."""


def least_price(
    problem: Problem,
    fan_out: Callable[[int], int | None],
    progress: Progress,
    below: int | None = None,
) -> Floor:
    """Return what the bounds prove about the price of any circuit for `problem`.

    `fan_out` prices the splitting of one output. With `below`, in coins, the lists that the
    bounds leave at a lower price are counted, as far as `progress` has time; they may be many.
    """
    others = (o for o in problem.objectives if o is not Objective.PRICE)
    asked = replace(problem, objectives=(Objective.PRICE, *others))
    tools = Tools(_not_asked, _not_asked, _not_asked, fan_out)
    catalogue = Catalogue(asked, floor_for(tools), most=most_of_each(asked))
    engine = Engine(Questions(asked, catalogue, tools, progress, 1), progress)
    reasons = tuple(_reasons(engine))
    needed = engine.needed()
    if needed is None:
        return Floor(reasons, None)
    excluded: Counter[str] = Counter()
    first: PartsList | None = None
    left = 0
    whole = True
    lists = catalogue.in_order(needed, asked.objectives, engine.waiting.count)
    for number, parts_list in enumerate(lists):
        if number % OFTEN == OFTEN - 1 and progress.over():
            whole = False
            break
        if below is not None and parts_list.price >= below and first is not None:
            break
        reason = engine.hopeless(parts_list)
        if first is None:
            if not reason:
                first = parts_list
                if below is None or parts_list.price >= below:
                    break
                left = 1
            else:
                excluded[reason] += 1
        elif not reason:
            left += 1
    return Floor(
        reasons,
        first.price if first is not None else None,
        _named(catalogue, asked, first) if first is not None else "",
        tuple(excluded.items()),
        below if first is not None else None,
        left if first is not None and below is not None else None,
        whole,
    )


def _not_asked(*anything: object) -> NoReturn:
    raise AssertionError("no wiring is asked for here")


def _reasons(engine: Engine) -> list[str]:
    """Return what every circuit must have, in sentences with the prices that follow."""
    catalogue, problem = engine.catalogue, engine.problem
    told: list[str] = []
    # Inputs that the same parts follow share what is in stock of these.
    followers: dict[tuple[KitPart, ...], list[str]] = {}
    for name in sorted(essential(problem)):
        offers = tuple(dict.fromkeys(part for part, follows in catalogue.offers if follows == name))
        if offers:
            followers.setdefault(offers, []).append(name)
    for offers, names in followers.items():
        part = min(offers, key=lambda offer: _paid(problem, [offer], 1))
        listed = " and ".join(f"'{name}'" for name in names)
        each = "it" if len(names) == 1 else "each of them"
        there = _in_stock(problem, part.name, len(names)).rstrip(",")
        told.append(
            f"Some load depends on {listed}, so a part must follow {each}: at least "
            f"{counted(_paid(problem, offers, len(names)), 'coin')} "
            f"({_counted(part.name, len(names))}{there})."
        )
    waiting = engine.waiting
    timers = [part for part, _ in catalogue.offers if part.type in TIMED]
    if waiting.count and timers:
        loads = ", ".join(waiting.loads)
        what = "timer must run" if waiting.count == 1 else "timers must run at once"
        told.append(
            f"{waiting.count} {what} after some sequence of inputs, for the times of {loads}: "
            f"at least {counted(_paid(problem, timers, waiting.count), 'coin')}."
        )
    relays = [part for part, _ in catalogue.offers if part.type in CONTROLLED]
    if waiting.remembering and relays:
        loads = ", ".join(waiting.remembering)
        kinds = "relay or timer" if waiting.controlled == 1 else "relays and timers"
        told.append(
            f"What {loads} must do depends on what was before, with all timers as they are, so at "
            f"least {waiting.controlled} {kinds} must be in use at once: at least "
            f"{counted(_paid(problem, relays, len(waiting.remembering)), 'coin')} more."
        )
    elif engine.remembers:
        told.append("What a load must do depends on what was before, so some part must remember.")
    for name, least in problem.limits.least:
        asked = [part for part, _ in catalogue.offers if part.name == name]
        if asked:
            told.append(
                f"At least {_counted(name, least)} is asked for, perhaps among the parts above: at "
                f"least {counted(_paid(problem, asked[:1], least), 'coin')}."
            )
    needed = engine.needed()
    if needed is None:
        return told
    # What every list begins with: parts without a choice, and timers where there are any.
    splitting = [part for part in problem.kit.parts if part.type in SPLITTING]
    bare = catalogue.measure(tuple(sorted(needed)))
    if bare is not None and splitting:
        parts = catalogue.parts(bare.items)
        share = bare.price - catalogue.price(parts)
        if share > 0:
            loads = "1 load" if catalogue.loads == 1 else f"{catalogue.loads} loads"
            told.append(
                f"{loads} and the parts that follow inputs or are asked for need more inputs fed "
                "than there are outputs, and an output feeds one wire: sharing costs at least "
                f"{counted(share, 'coin')}."
            )
    return told


def _paid(problem: Problem, offers: Sequence[KitPart], number: int) -> int:
    """Return coins that so many of these parts cost at least, what is in stock costing nothing."""
    stock = dict(problem.limits.stock)
    there = sum(stock.get(name, 0) for name in {part.name for part in offers})
    return max(0, number - there) * min(part.price for part in offers)


def _in_stock(problem: Problem, name: str, number: int) -> str:
    """Return how many of so many parts are in stock, in words; empty if none is."""
    there = min(number, dict(problem.limits.stock).get(name, 0))
    return f", {'' if there == number == 1 else f'{there} of them '}in stock," if there else ""


def _named(catalogue: Catalogue, problem: Problem, parts_list: PartsList) -> str:
    """Return a list of parts in words, with what each of them costs, those in stock nothing, and
    what sharing its power costs at least; together that is the price of the list."""
    parts = catalogue.parts(parts_list.items)
    share = parts_list.price - catalogue.price(parts)
    words = []
    for part, number in Counter(parts).items():
        paid, there = _paid(problem, [part], number), _in_stock(problem, part.name, number)
        words.append(f"{_counted(part.name, number)}{there} for {counted(paid, 'coin')}")
    if share > 0:
        words.append(f"parts that share power for {counted(share, 'coin')}")
    return ", ".join(words) or "no part at all"


def _counted(name: str, number: int) -> str:
    return name if number == 1 else f"{number} x {name}"
