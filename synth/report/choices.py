"""Choices on the terminal, as a document, and as a picture of the front."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from synth import __version__
from synth.choices import Choice, Choices, Measure
from synth.design import design_document
from synth.problem import Problem
from synth.report.svg import Svg, text_width, wrap
from synth.report.terminal import CAUTIONS, _Page
from synth.report.undecided import what_may_help
from synth.result import Outcome
from synth.wording import counted

_LEAST = {
    Measure.PRICE: "least price",
    Measure.SUPPLY: "least power",
    Measure.PARTS: "fewest parts",
}
SAME = (
    "What differs only in the names of parts alike, in the order of contacts in series, or in how "
    "power is split on its way, counts as one design."
)
_MARGIN = 70
_WIDTH, _HEIGHT = 640, 430


def print_choices(console: Console, problem: Problem, choices: Choices) -> None:
    """Print the front, then the different designs of the choice that was asked for."""
    page = _Page(console)
    page.heading(problem.title or "Options")
    table = page.table(
        "The front: no design is better in all",
        ">No.",
        ">Coins",
        ">Units",
        ">Parts",
        "Proven",
        "How it differs from the first",
    )
    for number, choice in enumerate(choices.front, 1):
        page.row(
            table,
            str(number),
            str(choice.price),
            str(choice.supply),
            str(choice.parts),
            _proven(choice),
            choice.differs or "the cheapest",
        )
    page.show(table)
    whole = (
        "This is the whole front, within the bounds of the search."
        if choices.complete
        else ("There may be more choices than these.")
    )
    page.say(f"{whole} Parts are counted beside the supply and the loads.")
    page.items("What is known", choices.notes)
    if not choices.complete:
        page.items("What may help", what_may_help(problem, choices.time_up))
    if choices.chosen:
        chosen = choices.front[choices.chosen - 1]
        page.section(f"Different designs for choice {choices.chosen}")
        page.say(
            f"At most {counted(chosen.price, 'coin')}, {counted(chosen.supply, 'unit')} and "
            f"{counted(chosen.parts, 'part')}. " + _how_many(choices)
        )
        for number, choice in enumerate(choices.designs, 1):
            page.item(f"{number}.", f"{_parts(choice)}{_differs(choice)}{_shared(choice)}")
    page.items("Cautions", CAUTIONS)


def _how_many(choices: Choices) -> str:
    number = len(choices.designs)
    if choices.all_designs and number == 1:
        return f"1 design, and there is no other. {SAME}"
    if choices.all_designs:
        return f"{counted(number, 'design')}, and there are no others. {SAME}"
    if choices.stopped:
        return f"{counted(number, 'design')}, as many as were asked for; there may be more."
    if choices.in_time:
        return f"{counted(number, 'design')} found in the time; there may be more (--time-limit)."
    return f"{counted(number, 'design')} found; whether there are more was not decided."


def _differs(choice: Choice) -> str:
    return f" ({choice.differs})" if choice.differs else ""


def _shared(choice: Choice) -> str:
    if choice.sharings is None or choice.sharings < 2:
        return ""
    return f"; {choice.sharings} ways to share its power, alike in price and units"


def _parts(choice: Choice) -> str:
    names: dict[str, int] = {}
    for part in choice.design.parts:
        if part.type.value not in ("supply", "load"):
            names[part.part] = names.get(part.part, 0) + 1
    return ", ".join(name if n == 1 else f"{n} x {name}" for name, n in names.items())


def _proven(choice: Choice) -> str:
    told = ["none better in all" if choice.proven else "checked, not proven best"]
    return ", ".join([*told, *(_LEAST[measure] for measure in choice.least)])


def choices_document(choices: Choices, problem: Problem, outcome: Outcome) -> dict[str, Any]:
    """Return the choices as plain data: prices in whole coins, power in whole units."""

    def one(choice: Choice) -> dict[str, Any]:
        return {
            "price": choice.price,
            "supply": choice.supply,
            "parts": choice.parts,
            "proven": choice.proven,
            "least": [measure.value for measure in choice.least],
            "differs": choice.differs,
            **({} if choice.sharings is None else {"sharings": choice.sharings}),
            "check": {"verdict": "holds", "states": choice.states},
            "design": design_document(choice.design),
        }

    return {
        "synth": __version__,
        "title": problem.title,
        "status": outcome.status.value,
        "complete": choices.complete,
        "front": [one(choice) for choice in choices.front],
        "notes": list(choices.notes),
        "chosen": choices.chosen,
        "designs": [one(choice) for choice in choices.designs],
        "all_designs": choices.all_designs,
        "bound": outcome.bound,
        "bounds": list(outcome.bounds),
        "clash": list(outcome.clash),
    }


def front_svg(choices: Choices, title: str) -> str:
    """Return the front as an SVG document: coins to the right, units upwards, parts beside each.

    Lower and further left is better. Same input, same bytes; every text is escaped.
    """
    svg = Svg(f"Choices: {title}", "; ".join(_said(n, c) for n, c in _numbered(choices)))
    named = wrap(title or "Choices", _WIDTH - 48, 16, True, most=1)
    svg.text(24, 28, named[0], size=16, bold=True)
    svg.text(24, 48, "To the left is cheaper, lower down needs less power.")
    if not all(choice.proven for choice in choices.front):
        svg.text(24, 64, "An open circle: checked, but a better one is not ruled out.")
    left, right, top, bottom = _MARGIN, _WIDTH - 30, 100, _HEIGHT - 50
    prices = _ticks([choice.price for choice in choices.front])
    units = _ticks([choice.supply for choice in choices.front])

    def across(price: int) -> int:
        return left + round((right - left) * (price - prices[0]) / (prices[-1] - prices[0]))

    def up(supply: int) -> int:
        return bottom - round((bottom - top) * (supply - units[0]) / (units[-1] - units[0]))

    for price in prices:
        svg.line(across(price), top, across(price), bottom, 1, stroke="#d0d0d0")
        svg.text(across(price), bottom + 18, str(price), anchor="middle")
    for supply in units:
        svg.line(left, up(supply), right, up(supply), 1, stroke="#d0d0d0")
        svg.text(left - 10, up(supply) + 4, str(supply), anchor="end")
    svg.text((left + right) // 2, bottom + 38, "price, coins", anchor="middle")
    svg.text(left - 10, top - 8, "supply, units", anchor="start")
    placed: list[tuple[int, int, int, int]] = []
    for number, choice in _numbered(choices):
        x, y = across(choice.price), up(choice.supply)
        svg.circle(x, y, 5, fill="black" if choice.proven else "white")
        label = f"{number}: {counted(choice.parts, 'part')}"
        wide = text_width(label)
        start = x + 10 if x + 14 + wide < right else x - 10 - wide
        level = y - 6
        while any(
            a < start + wide and start < b and c - 14 < level < d + 14 for a, b, c, d in placed
        ):
            level -= 15
        placed.append((start, start + wide, level, level))
        svg.text(start, level, label)
    return svg.document(_WIDTH, _HEIGHT)


def _numbered(choices: Choices) -> list[tuple[int, Choice]]:
    return list(enumerate(choices.front, 1))


def _said(number: int, choice: Choice) -> str:
    return f"{number}: {choice.price} coins, {choice.supply} units, {choice.parts} parts"


def _ticks(values: list[int]) -> list[int]:
    """Return whole numbers for an axis, evenly spaced, that take in all values with some room."""
    low, high = min(values), max(values)
    step = 1
    while (high - low) // step > 8:
        step = step * 2 if str(step)[0] in "15" else step * 5 // 2
    first = max(0, (low - 1) // step * step)
    last = (high // step + 1) * step
    return list(range(first, last + 1, step))
