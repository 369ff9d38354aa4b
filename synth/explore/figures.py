"""What the goals of a clash take at least, where a limit of units or coins is a part of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from synth.conflict import Kind, Wish
from synth.days import day_in_words, shares_in_words, unit_hours
from synth.design import Design
from synth.parts.behaviour import CONTROLLED, PartType
from synth.problem import Objective, Problem
from synth.result import Outcome, Status

SENTENCES = {Kind.SUPPLY: Objective.SUPPLY, Kind.PRICE: Objective.PRICE}
"""The limits of which figures are told, and what is to be made least for them."""


def figure(wish: Wish, clash: Sequence[Wish], problem: Problem, outcome: Outcome) -> str:
    """Return in a sentence what the rest of a clash takes without its limit `wish`, and for what;
    `outcome` is that of `problem`, the rest, planned for the least of it; "" without a design."""
    design = outcome.design
    if design is None:
        return ""
    numbers = [str(other.number) for other in clash if other.kind is Kind.GOAL]
    goals = numbers[0] if len(numbers) == 1 else f"{', '.join(numbers[:-1])} and {numbers[-1]}"
    goals = f"goal{'' if len(numbers) == 1 else 's'} {goals}"
    verb = "needs" if len(numbers) == 1 else "need"
    proven = outcome.status is Status.PROVEN and SENTENCES[wish.kind].value in outcome.proven
    spare = problem.limits.spare
    if wish.kind is Kind.SUPPLY:
        amount, unit, told = design.supply, "unit", _units(design, problem, spare)
    else:
        amount, unit = design.price(problem.kit, problem.limits.stock), "coin"
        told = _coins(design, problem)
    counted = f"{amount} {unit}{'' if amount == 1 else 's'}"
    limited = any(other.kind is not Kind.GOAL and other != wish for other in clash)
    beside = ", with the other limits," if limited else ""
    if proven:
        return f"{goals} {verb}{beside} at least {counted}: {told}"
    return f"the least that was found for {goals}{beside} is {counted}: {told}"


def energy_figure(problem: Problem, outcome: Outcome) -> str:
    """Return in a sentence what a design for the rest of a clash uses in a day, and for what;
    `outcome` is that of the rest, with a goal about energy that allows anything."""
    day = outcome.verdict.day if outcome.verdict is not None else None
    if day is None:
        return ""
    return (
        f"a design that was found for the rest uses up to {unit_hours(day.total)} a day: "
        f"{day_in_words(day, problem)}, {shares_in_words(day)}"
    )


def _units(design: Design, problem: Problem, spare: int) -> str:
    """Return what uses the units of a supply."""
    words: list[str] = []
    used = 0
    controls: Counter[str] = Counter()
    for part in design.parts:
        offer = problem.kit.index[part.part]
        if part.type is PartType.LOAD:
            needs = part.setting("needs")
            own = needs if isinstance(needs, int) else offer.units
            words.append(f"{part.name} {own}")
            used += own
        elif part.type in CONTROLLED:
            controls[part.part] += offer.units * len(offer.shape.controls)
    words += [f"{name} {units}" for name, units in controls.items() if units]
    used += sum(controls.values())
    if spare:
        words.append(f"to spare {spare}")
    lost = design.supply - used - spare
    if lost > 0:
        words.append(f"lost where power is split {lost}")
    return ", ".join(words)


def _coins(design: Design, problem: Problem) -> str:
    """Return what the parts of a design cost, those in stock nothing."""
    stock = dict(problem.limits.stock)
    used = Counter(part.part for part in design.parts)
    words = []
    for name, number in used.items():
        paid = max(0, number - stock.get(name, 0)) * problem.kit.index[name].price
        if paid:
            words.append(f"{name if number == 1 else f'{number} x {name}'} {paid}")
    return ", ".join(words) or "nothing that has to be bought"
