"""Why each part is there: as tables and sentences on a terminal, as JSON, as a page of text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from rich.console import Console

from synth.choices import parts_in_words
from synth.design import Design
from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.reasons import Answer, Broken, Floor, PartReasons, Reasons
from synth.report.document import verdict_document
from synth.report.strips import timing_text
from synth.report.svg import visible
from synth.report.terminal import _Page, settings_in_words
from synth.report.timing import timing_svg
from synth.result import Defect, Outcome, Status, Verdict
from synth.trace import Trace
from synth.wording import counted

CAUTION = (
    "All this was worked out, not tried, and is not to be tried: leave nothing out of a circuit "
    "that is live, and bridge no contact in it. Pumps, heaters and other moving or hot parts may "
    "start, or not stop. Switch off, lock off and test dead before any work on wires."
)
"""Usual cautions of the trade (common practice, no source)."""

NONE = "none was found"
WISHED_ANYWAY = "no part: what the goals need keeps it, or no single change shows what it takes"

COUNTED = (
    "Of each load the shortest way to go wrong is told, with the goals that it breaks; longer ways "
    "may break other goals of the same load as well."
)


def print_reasons(console: Console, design: Design, problem: Problem, reasons: Reasons) -> None:
    """Print what each goal needs, and each change of a part or wire with what it breaks."""
    page = _Page(console)
    page.heading(f"{problem.title or 'Design'}: why each part is there")
    page.say(_summary(design, reasons))
    page.items("No goal needs", _needless(reasons, problem))
    table = page.table("What each goal needs", ">Goal", "Phrase", "Parts")
    for goal in problem.goals:
        parts = ", ".join(reasons.needed_by(goal.number)) or NONE
        page.row(table, str(goal.number), goal.phrase, parts)
    page.show(table)
    if reasons.wishes:
        table = page.table("Wishes for how it is built", "Wish", "Only for it, or set for it")
        for wish in reasons.wishes:
            page.row(table, wish, ", ".join(reasons.kept_for(wish)) or WISHED_ANYWAY)
        page.show(table)
    table = page.table("Parts", "Part", "Goals", "Why")
    for item in reasons.parts:
        name = item.part.name
        for goals, sentence in _lines(item):
            page.row(table, name, goals, sentence)
            name = ""
    page.show(table)
    table = page.table("Wires", ">No.", "From", "To", "Goals", "Why")
    for wire, answer in reasons.wires:
        ends = str(wire.source), str(wire.target)
        page.row(table, str(wire.number), *ends, _numbers(answer), answer.sentence)
    page.show(table)
    _end(page, reasons)


def print_part(console: Console, problem: Problem, reasons: Reasons) -> None:
    """Print the reasons for one part, with the run that shows best what it is for."""
    page = _Page(console)
    (item,) = reasons.parts
    settings = settings_in_words(item.part)
    page.heading(f"{item.part.name}: why it is there")
    page.say(f"{item.part.part}{f', {settings}' if settings else ''}. {item.about}".rstrip())
    for answer in item.answers:
        page.section(answer.told[:1].upper() + answer.told[1:])
        if not answer.broken:
            page.say(answer.sentence)
        for broken in answer.broken:
            page.item("-", broken.sentence)
    phrases = {goal.number: goal.phrase for goal in problem.goals}
    told = dict.fromkeys(goal for answer in item.answers for goal in answer.goals)
    page.items("The goals named", (f"goal {n}: {phrases.get(n, '')}" for n in sorted(told)))
    page.items("Its wires", (answer.sentence for _, answer in reasons.wires))
    shown = item.telling
    if shown is not None:
        page.section(f"The run {shown.told}")
        page.say(shown.sentence)
        page.picture(timing_text(_marked(shown.broken[0]), page.width, page.ascii))
    _end(page, reasons)


def _end(page: _Page, reasons: Reasons) -> None:
    page.section("How to read it")
    page.item("-", COUNTED)
    page.item("-", CAUTION)
    page.section("Time taken")
    page.say(f"reasons {reasons.seconds:.2f} s")


def _summary(design: Design, reasons: Reasons) -> str:
    changes = [a for item in reasons.parts for a in item.answers]
    number = len(changes) + len(reasons.wires)
    told = (
        f"{parts_in_words(design)}, {counted(len(design.wires), 'wire')}; "
        f"{counted(number, 'change')}, checked for every input sequence at any moment (changes of "
        "units: for what each consumer gets)."
    )
    if not reasons.complete:
        left = sum(not a.decided for a in (*changes, *(a for _, a in reasons.wires)))
        return f"{told} Not all: it ended with {left} of them not decided."
    if not reasons.needless and reasons.whole:
        told += " Every part is needed."
    return told


def _needless(reasons: Reasons, problem: Problem) -> list[str]:
    """Return a sentence for each part that no goal and no wish needs; of those that cost nothing
    it is said that no lower price is to be had without them."""
    prices = {part.name: part.price for part in problem.kit.parts}
    prices |= dict.fromkeys((name for name, number in problem.limits.stock if number), 0)
    kinds = {item.part.name: item.part.part for item in reasons.parts}
    return [
        f"{answer.part}: {answer.sentence}"
        + ("" if prices.get(kinds[answer.part]) else " It costs nothing, or is in stock.")
        for answer in reasons.needless
    ]


def _lines(item: PartReasons) -> list[tuple[str, str]]:
    """Return (goals, sentence) for each thing to say of a part."""
    lines = [("", item.about)] if item.about else []
    return lines + [(_numbers(answer), answer.sentence) for answer in item.answers]


def _numbers(answer: Answer) -> str:
    return ", ".join(map(str, answer.goals))


def _marked(broken: Broken) -> Trace:
    """Return the run of a counterexample with a word at the moment it goes wrong."""
    example = broken.example
    assert example is not None and example.trace is not None
    moment = example.moments[-1].time
    return replace(example.trace, marks=((moment, "wrong from here"),))


# --- why nothing cheaper ---------------------------------------------------------------------


def floor_lines(floor: Floor, price: int, outcome: Outcome, problem: Problem) -> list[str]:
    """Return why nothing cheaper than `price` will do, in sentences; `outcome` is what the search
    found for the same goals."""
    lines = list(floor.reasons)
    for reason, number in floor.excluded:
        lines.append(f"{counted(number, 'list')} of parts ruled out: {reason}.")
    if floor.price is None:
        lines.append("These reasons leave no list of parts that was looked at.")
        return [*lines, *_solved_alone(floor)]
    beside = " beside what is in stock" if problem.limits.stock else ""
    lines.append(
        f"These reasons alone prove that every circuit within the bounds below costs at least "
        f"{counted(floor.price, 'coin')}{beside}: the cheapest list of parts that they leave is "
        f"{floor.cheapest}."
    )
    lines.append(_gap(floor, price, outcome, problem))
    return [*lines, *_solved_alone(floor)]


def _solved_alone(floor: Floor) -> list[str]:
    """Return what some loads cost by themselves, in sentences."""
    lines = []
    for item in floor.alone:
        if item.price == 0:
            continue  # nothing to tell
        numbers = " and ".join(map(str, item.goals))
        goals = f"goal{'' if len(item.goals) == 1 else 's'} {numbers}"
        lines.append(
            f"Solved by {'itself' if len(item.loads) == 1 else 'themselves'}, "
            f"{' and '.join(item.loads)} ({goals}) cannot be had for less than "
            f"{counted(item.price, 'coin')}, proven: {item.parts}."
        )
    return lines


def _gap(floor: Floor, price: int, outcome: Outcome, problem: Problem) -> str:
    best = outcome.price if outcome.to_buy is None else outcome.to_buy
    by_price = problem.objectives[0].value == "price"
    if not by_price:
        return "The price does not count first here, so nothing more is said about it."
    proven = outcome.status is Status.PROVEN
    if best is not None and best < price:
        rest = ", and proved that none is cheaper" if proven else ", and did not prove it the least"
        return (
            f"A cheaper circuit does exist: the search found one for {counted(best, 'coin')}{rest}."
        )
    if floor.price == price:
        return "This circuit costs just that, so nothing cheaper will do."
    if not proven or best is None:
        return "Whether a cheaper circuit exists was not proven: the search ended before that."
    if best > price:
        return (
            "This design lies outside the bounds of the search, within which no circuit costs less "
            f"than {counted(best, 'coin')}; of what else lies outside them nothing is known."
        )
    number = f"{floor.left}" if floor.counted_all else f"more than {floor.left}"
    return (
        f"From {floor.price} up to, but not including, {counted(best, 'coin')} they leave {number} "
        "lists of parts. That no wiring of any of these does was proven by the search, within the "
        "bounds that it prints; there is no shorter reason to give."
    )


def print_floor(
    console: Console, floor: Floor, price: int, outcome: Outcome, problem: Problem
) -> None:
    """Print why nothing cheaper will do."""
    page = _Page(console)
    page.items("Why nothing cheaper", floor_lines(floor, price, outcome, problem))
    page.items("Within these bounds", outcome.bounds)


# --- documents -------------------------------------------------------------------------------


def reasons_document(problem: Problem, reasons: Reasons) -> dict[str, Any]:
    """Return the reasons as plain data: each change, what it breaks, and how to see that."""
    return {
        "title": problem.title,
        "complete": reasons.complete,
        "goals": [
            {
                "number": goal.number,
                "phrase": goal.phrase,
                "parts": list(reasons.needed_by(goal.number)),
            }
            for goal in (problem.goals if reasons.whole else ())
        ],
        "wishes": [
            {"wish": wish, "parts": list(reasons.kept_for(wish))}
            for wish in (reasons.wishes if reasons.whole else ())
        ],
        "parts": [
            {
                "name": item.part.name,
                "about": item.about,
                "goals": list(item.goals),
                "wishes": list(item.wishes),
                "needless": item.needless is not None,
                "changes": [_answer_document(answer) for answer in item.answers],
            }
            for item in reasons.parts
        ],
        "wires": [
            {
                "number": wire.number,
                "from": str(wire.source),
                "to": str(wire.target),
                **_answer_document(answer),
            }
            for wire, answer in reasons.wires
        ],
        "times": {"reasons": round(reasons.seconds, 3)},
    }


def _answer_document(answer: Answer) -> dict[str, Any]:
    # The form of a counterexample is that of `synth check --format json`.
    defects = tuple(Defect(b.fault, b.sentence, b.goals, b.example) for b in answer.broken)
    return {
        "change": answer.change.value,
        "told": answer.told,
        "verdict": "fails" if answer.broken else "holds" if answer.decided else "undecided",
        "sentence": answer.sentence,
        "goals": list(answer.goals),
        "unkept": [{"wish": item.wish, "told": item.told} for item in answer.unkept],
        "broken": verdict_document(Verdict(not defects, 0, defects))["defects"],
    }


def floor_document(floor: Floor, price: int, outcome: Outcome, problem: Problem) -> dict[str, Any]:
    """Return why nothing cheaper will do as plain data; prices in coins."""
    return {
        "price": price,
        "status": outcome.status.value,
        "least": floor.price,
        "cheapest-list": floor.cheapest,
        "reasons": list(floor.reasons),
        "ruled-out": [{"lists": n, "reason": reason} for reason, n in floor.excluded],
        "left": floor.left,
        "all-counted": floor.counted_all,
        "alone": [
            {
                "loads": list(item.loads),
                "goals": list(item.goals),
                "price": item.price,
                "parts": item.parts,
            }
            for item in floor.alone
        ],
        "told": floor_lines(floor, price, outcome, problem),
        "bounds": list(outcome.bounds),
    }


def reasons_files(
    problem: Problem, reasons: Reasons, extra: Sequence[str] = (), bounds: Sequence[str] = ()
) -> dict[str, str]:
    """Return why.md and a timing picture for each part that has one, by file name.

    `extra` are sentences on why nothing cheaper will do, `bounds` those within which they hold.
    """
    files: dict[str, str] = {}
    title = f"{problem.title or 'Design'}: why each part is there"
    lines = [f"# {_plain(title)}", "", _plain(CAUTION), ""]
    if reasons.whole:
        lines += ["## What each goal needs", ""]
        for goal in problem.goals:
            parts = ", ".join(reasons.needed_by(goal.number)) or NONE
            lines.append(f"{goal.number}. {_plain(goal.phrase)}: {_plain(parts)}")
        lines.append("")
        if reasons.wishes:
            lines += ["## Wishes for how it is built", ""]
            for wish in reasons.wishes:
                parts = ", ".join(reasons.kept_for(wish)) or WISHED_ANYWAY
                lines.append(f"- {_plain(wish)}: {_plain(parts)}")
            lines.append("")
    if not reasons.complete:
        lines += ["It ended before everything was decided.", ""]
    lines += [_plain(COUNTED), ""]
    for number, item in enumerate(reasons.parts, 1):
        lines += [f"## {_plain(item.part.name)}", ""]
        if item.about:
            lines += [_plain(item.about), ""]
        lines += [f"- {_plain(answer.sentence)}" for answer in item.answers]
        shown = item.telling
        if shown is not None and item.part.type is not PartType.SUPPLY:
            slug = re.sub(r"[^a-z0-9]+", "-", item.part.name.lower()).strip("-")[:40]
            name = f"{number:02d}-{slug or 'part'}.svg"
            files[name] = timing_svg(_marked(shown.broken[0]), shown.sentence)
            lines += ["", f"![{_plain(shown.told)}]({name})"]
        lines.append("")
    lines += ["## Wires", ""]
    lines += [
        f"- {_plain(f'{wire.number}: {wire.source} to {wire.target}. {answer.sentence}')}"
        for wire, answer in reasons.wires
    ]
    if extra:
        lines += ["", "## Why nothing cheaper", "", *(f"- {_plain(line)}" for line in extra)]
    if bounds:
        lines += ["", "Within these bounds:", "", *(f"- {_plain(line)}" for line in bounds)]
    return {"why.md": "\n".join(lines).rstrip() + "\n", **files}


def _plain(text: str) -> str:
    """Return a text that a reader of Markdown shows as it stands."""
    return re.sub(r"([\\`*_{}\[\]<>#|!~&])", r"\\\1", visible(" ".join(text.split())))
