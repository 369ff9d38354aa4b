"""A lesson as Markdown, as one page that needs no other file, and its pictures.

Black on white, to be printed. Answers are folded away (`details`), no script is needed; on paper
they stay folded unless they are opened before. Every text is escaped for where it goes.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from synth import __version__
from synth.design import Design, PartInUse, Wire, design_document, settings_document
from synth.lesson import Attempt, Changes, Lesson, Stage
from synth.parts.behaviour import SPLITTING, PartType
from synth.problem import Problem
from synth.report.pages import plain
from synth.report.svg import escape
from synth.report.terminal import CAUTIONS, _status, counted
from synth.report.time_axis import exact_time
from synth.report.timing import timing_svg
from synth.report.wiring import wiring_svg
from synth.settings_sheet import Claim, Place, SettingsSheet
from synth.ticks import format_duration
from synth.trace import Trace

MARKDOWN, PAGE = "lesson.md", "lesson.html"
MOST_ROWS = 40
"""Rows of a sequence that are told; the picture has all of it."""

LEARNERS = (
    "Build on a bench first: a supply of low voltage, lamps in place of the loads. Attempts that "
    "fail are to be read, or tried on the bench only: never with a pump, heater or motor.",
    "Test times switch motors, pumps and heaters more often than they are made for. Set the real "
    "times back before real loads are connected, and watch one whole run with them.",
)
"""Cautions for who learns by it (common practice, no source)."""


@dataclass(frozen=True)
class _Head:
    text: str
    level: int


@dataclass(frozen=True)
class _Words:
    text: str
    strong: bool = False


@dataclass(frozen=True)
class _Points:
    items: tuple[str, ...]


@dataclass(frozen=True)
class _Table:
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class _Picture:
    file: str
    about: str
    svg: str


@dataclass(frozen=True)
class _Fold:
    ask: str
    label: str
    blocks: tuple[_Words | _Points, ...]


_Block = _Head | _Words | _Points | _Table | _Picture | _Fold


def lesson_files(lesson: Lesson) -> dict[str, str]:
    """Return lesson.md, lesson.html, and the pictures that lesson.md shows, by file name."""
    blocks = _blocks(lesson)
    pictures = {block.file: block.svg for block in blocks if isinstance(block, _Picture)}
    return {MARKDOWN: _markdown(blocks), PAGE: _html(blocks, _title(lesson)), **pictures}


def _title(lesson: Lesson) -> str:
    return f"{lesson.title or 'A circuit'}: built up goal by goal"


# ---- what is said ------------------------------------------------------------------------------


def _blocks(lesson: Lesson) -> list[_Block]:
    found: list[_Block] = [_Head(_title(lesson), 1)]
    last = lesson.stages[-1] if lesson.stages else None
    loads = [r.load for r in last.problem.requirements] if last else []
    found.append(_Words("In the end the circuit is to do all of this:"))
    found.append(_Points(tuple(f"goal {goal.number}: {goal.phrase}" for goal in lesson.goals)))
    if last:
        found.append(
            _Words(
                f"It has {counted(len(loads), 'load')}: {', '.join(loads)}. We begin with the "
                f"smallest circuit for the first goal and take up the others one after the other, "
                f"in {counted(len(lesson.stages), 'stage')}. Each stage tries something that is "
                "near at hand, sees how it fails, mends it, and looks at what the mend cost."
            )
        )
    found.append(
        _Words(
            "What is said of circuits here was searched for and checked exactly, for every "
            "sequence of inputs at any moments; the runs were played. All parts keep their names "
            "from stage to stage where they stay, and so do the numbers of wires."
        )
    )
    found += [_Head("Cautions", 2), _Points((*LEARNERS, *CAUTIONS))]
    before: Stage | None = None
    for stage in lesson.stages:
        found += _stage(stage, before)
        before = stage
    if lesson.notes:
        found.append(_Head("What is missing", 2))
        found.append(_Points(tuple(f"{note[:1].upper()}{note[1:]}." for note in lesson.notes)))
    if last:
        found += _bounds(last)
    return found


def _stage(stage: Stage, before: Stage | None) -> list[_Block]:
    numbers = " and ".join(str(goal.number) for goal in stage.goals)
    word = "goal" if len(stage.goals) == 1 else "goals"
    found: list[_Block] = [
        _Head(f"Stage {stage.number}: {' and '.join(goal.phrase for goal in stage.goals)}", 2)
    ]
    done = [goal.number for goal in stage.problem.goals if goal not in stage.goals]
    if done:
        so_far = f"goal {done[0]} holds" if len(done) == 1 else f"goals {_listed(done)} hold"
        found.append(_Words(f"So far {so_far}. Now {word} {numbers} is added." if
                            len(stage.goals) == 1 else f"So far {so_far}. Now {word} {numbers} are "
                            "added."))  # fmt: skip
    found += _tried(stage)
    found += _made(stage)
    found += _seen(stage, before)
    found += _asked(stage)
    return found


def _tried(stage: Stage) -> list[_Block]:
    """Return the attempt, its failing run in words and as a picture."""
    attempt = stage.attempt
    if stage.same:
        return [
            _Head("Nothing to do", 3),
            _Words(
                "The circuit of the stage before does this already, as it stands: the exact check "
                "of it, with the new goal, holds. There is nothing to try and nothing to mend."
            ),
        ]
    if attempt is None:
        return [
            _Head("A first attempt", 3),
            _Words(
                f"There is no failing attempt to show: of {counted(stage.tried, 'attempt')} near "
                "the circuit none fails that could also be built within the limits."
            ),
        ]
    found: list[_Block] = [_Head("A first attempt", 3)]
    told = f"What comes to mind first: {attempt.told}."
    if stage.number == 1:
        names = [_part(p) for p in attempt.design.parts if p.type not in SPLITTING]
        told = f"Try it with less than it will take in the end, wired as drawn: {_listed(names)}."
    elif stage.plain:
        found.append(
            _Words(
                "Nothing that is there has to be changed for this goal, apart from the way in which "
                "power is shared: it takes only the right place to hang the new on. Not every "
                "place will do."
            )
        )
        told = f"A place near at hand: {attempt.told}."
    found += [
        _Words(f"{told} Will it do? Think it through before you read on."),
        _picture(
            stage, "attempt", "The attempt, a circuit that fails", attempt.design,
            (), (),
        ),
        _Words(f"It does not: {_reason(attempt)}.", strong=True),
    ]
    if attempt.example.orders:
        found.append(_Words("It depends on which part moves first:"))
        found.append(_Points(attempt.example.orders))
    found += _sequence(attempt.run, attempt, stage.problem)
    found.append(
        _Picture(
            _file(stage, "fails"),
            "How the attempt fails",
            timing_svg(attempt.run, f"Stage {stage.number}: the attempt, how it fails"),
        )
    )
    return found


def _reason(attempt: Attempt) -> str:
    told = attempt.defect.message
    return f"{told[:1].lower()}{told[1:]}"


def _sequence(run: Trace, attempt: Attempt, problem: Problem) -> list[_Block]:
    """Return the failing run as a table: each moment, what changes outside, what follows."""
    last = attempt.example.moments[-1].time
    inputs = {item.name for item in problem.inputs} | {"supply"}
    outside = {moment.time: moment.inputs for moment in attempt.example.moments}
    times = sorted(
        {Fraction(0), *outside, *(t for track in run.tracks for t, _ in track.changes if t <= last)}
    )
    rows = []
    for time in times:
        by_hand = [f"{name} {_on(level)}" for name, level in outside.get(time, ())]
        levels = [
            (track, dict(track.changes).get(time, track.start if time == 0 else None))
            for track in run.tracks
            if track.role != "input" and track.name not in inputs
        ]
        follows = []
        for track, level in sorted(levels, key=lambda pair: pair[0].role == "load"):
            if level is None or (time == 0 and not level):
                continue
            word = {"relay": ("operates", "releases"), "timer": ("closes", "opens")}.get(
                track.role, ("comes on", "goes off")
            )
            follows.append(f"{track.name} {word[0] if level else word[1]}")
        wrong = ""
        if time == last:
            load, expected = attempt.example.load, attempt.example.expected
            wrong = f"; wrong: {load} must be {_on(bool(expected))}" if load else "; wrong"
        rows.append(
            (exact_time(time), ", ".join(by_hand) or "-", (", ".join(follows) or "nothing") + wrong)
        )
    found: list[_Block] = [
        _Words("The shortest sequence in which it shows:"),
        _Table(("Time", "Outside", "What follows"), tuple(rows[-MOST_ROWS:])),
    ]
    if len(rows) > MOST_ROWS:
        found.append(_Words(f"The first {len(rows) - MOST_ROWS} moments are left out here."))
    return found


def _made(stage: Stage) -> list[_Block]:
    """Return the circuit that holds, what mends the attempt, and what changed."""
    changes, attempt = stage.changes, stage.attempt
    found: list[_Block] = []
    if attempt is not None:
        found.append(_Head("The mend", 3))
        lead = "From the attempt to a circuit that holds, splitting of power left aside:"
        if stage.number == 1:
            lead = f"In the attempt {attempt.told}. {lead}"
        found.append(_Words(lead))
        found.append(_Points(_steps(attempt.changes)))
        example = attempt.example
        if example.load:
            level = _level(attempt.mended, example.load, example.moments[-1].time)
            found.append(
                _Words(
                    f"With just the inputs of the failing run, {example.load} is then "
                    f"{_on(level)} at {exact_time(example.moments[-1].time)}."
                )
            )
        found.append(
            _Picture(
                _file(stage, "mended"),
                "The mended circuit with the same inputs",
                timing_svg(attempt.mended, f"Stage {stage.number}: mended, the same inputs"),
            )
        )
    found.append(_Head("The circuit of this stage", 3))
    found.append(
        _Words(
            f"{_status(stage.outcome, stage.problem.objectives)} Checked: {counted(stage.verdict.states, 'state')}, every "
            "input sequence, any moment: all goals so far hold."
        )
    )
    new = (
        () if stage.number == 1 else [p.name for p in changes.added],
        () if stage.number == 1 else
        [*(w.number for w in changes.new), *(w.number for _, w in changes.moved)],
    )
    found.append(
        _picture(stage, "wiring", f"The circuit of stage {stage.number}", stage.design, *new)
    )
    if stage.number == 1:
        found.append(_Points(tuple(_part(part) for part in changes.added)))
        found.append(
            _Words(
                f"It costs {counted(changes.price[1], 'coin')}; the supply must deliver "
                f"{counted(changes.supply[1], 'unit')}; {counted(len(stage.design.wires), 'wire')}."
            )
        )
        return found
    if stage.same:
        return found
    found.append(_Words("What changed since the stage before, splitting of power left aside:"))
    found.append(_Points(_steps(stage.inner) or ("nothing but how power is shared",)))
    found.append(_Words("Wire by wire, with all that splits power:"))
    found.append(_Points(_difference(changes)))
    return found


def _difference(changes: Changes) -> tuple[str, ...]:
    items = [f"new: {_part(part)}" for part in changes.added]
    items += [f"taken out: {part.name}" for part in changes.taken_out]
    items += [f"set anew: {_reset(*pair)}" for pair in changes.set_anew]
    if changes.moved:
        items.append("wires that move: " + "; ".join(_moved(*pair) for pair in changes.moved))
    if changes.new:
        items.append("new wires: " + "; ".join(map(_wire, changes.new)))
    if changes.gone:
        items.append("wires that go: " + "; ".join(map(_wire, changes.gone)))
    stay = [wire.number for wire in changes.stay]
    items.append(f"wires that stay: {_listed(stay) if stay else 'none'}")
    items.append(f"price: {_from_to(*changes.price, 'coin')}")
    items.append(f"supply: {_from_to(*changes.supply, 'unit')}")
    return tuple(items)


def _steps(changes: Changes) -> tuple[str, ...]:
    """Return what has to be done between two circuits without splitting parts."""
    fed: dict[str, list[str]] = {}
    for wire in changes.new:
        fed.setdefault(str(wire.source), []).append(str(wire.target))
    items = [f"put in {_part(part)}" for part in changes.added]
    items += [f"take out {part.name}" for part in changes.taken_out]
    items += [
        f"set anew: {_reset(*pair)}" for pair in changes.set_anew
        if pair[0].type is not PartType.SUPPLY
    ]
    items += [
        f"{after.target} is fed from {after.source}, no more from {before.source}"
        for before, after in changes.moved
    ]
    items += [f"{source} also feeds {_listed(targets)}" if any(
        str(wire.source) == source for wire in (*changes.stay, *(w for _, w in changes.moved))
    ) else f"{source} feeds {_listed(targets)}" for source, targets in fed.items()]
    return tuple(items)


def _seen(stage: Stage, before: Stage | None) -> list[_Block]:
    found: list[_Block] = [
        _Head("What it does", 3),
        _Words("A run that shows each goal so far at work, as the circuit itself does it:"),
        _Picture(
            _file(stage, "runs"),
            f"A run of the circuit of stage {stage.number}",
            timing_svg(stage.shown, f"Stage {stage.number}: a run"),
        ),
    ]
    if stage.times is not None and stage.times.times:
        had = before.times if before is not None else None
        if had is not None and had.times == stage.times.times:
            found += [
                _Head("On the bench", 3),
                _Words(
                    f"The test times of stage {stage.number - 1} do for this stage too: all goals "
                    "hold with them, and the order of events is kept. Set the real times back "
                    "afterwards."
                ),
            ]
        else:
            found += _test_times(stage.times)
    return found


def _test_times(sheet: SettingsSheet) -> list[_Block]:
    if sheet.claim is Claim.REAL or all(time.test == time.real for time in sheet.times):
        return [
            _Head("On the bench", 3),
            _Words("No shorter times were found that keep the order of events: test with the real "
                   "ones."),
        ]
    words = {
        Claim.SMALLEST: "the longest of them cannot be shorter, proven",
        Claim.BEST_FOUND: "shorter ones may exist",
        Claim.PROPORTIONAL: "all divided by one number; shorter ones may exist",
    }.get(sheet.claim, "")
    rows = tuple(
        (
            ", ".join(
                dict.fromkeys(
                    use.of if use.place is Place.PART else f"{use.place.value} {use.of}"
                    for use in time.uses
                )
            ),
            format_duration(time.real),
            format_duration(time.test),
        )
        for time in sheet.times
    )
    return [
        _Head("On the bench", 3),
        _Words(
            "Who does not want to wait sets these times for the test. All goals hold in their "
            "scaled form, and everything happens in the same order as with the real times"
            f"{f' ({words})' if words else ''}. They allow for parts that need "
            f"{format_duration(sheet.reaction)} to move."
        ),
        _Table(("Belongs to", "Real time", "Test time"), rows),
        _Words("Afterwards set the real times back, each of them, before anything else.", True),
    ]


def _asked(stage: Stage) -> list[_Block]:
    if not stage.questions:
        return []
    found: list[_Block] = [_Head("Questions" if len(stage.questions) > 1 else "A question", 3)]
    for question in stage.questions:
        found.append(_Fold(question.ask, "Answer", (_Points(question.answer),)))
    return found


def _bounds(stage: Stage) -> list[_Block]:
    found: list[_Block] = []
    if stage.problem.assumptions:
        found += [_Head("Assumptions", 2), _Points(stage.problem.assumptions)]
    if stage.outcome.bounds:
        found += [_Head("Proven within these bounds", 2), _Points(stage.outcome.bounds)]
    return found


# ---- words -------------------------------------------------------------------------------------


def _part(part: PartInUse) -> str:
    told = _settings(part)
    return f"{part.name} ({told})" if told else part.name


def _settings(part: PartInUse) -> str:
    return ", ".join(f"{k} {v}" for k, v in settings_document(dict(part.settings)).items())


def _reset(before: PartInUse, after: PartInUse) -> str:
    return f"{after.name}, {_settings(after)} (was: {_settings(before)})"


def _wire(wire: Wire) -> str:
    return f"{wire.number} from {wire.source} to {wire.target}"


def _moved(before: Wire, after: Wire) -> str:
    return f"{after.number} to {after.target}, now from {after.source} (was {before.source})"


def _from_to(before: int, after: int, noun: str) -> str:
    if before == after:
        return f"{counted(after, noun)}, as before"
    sign = "+" if after > before else "-"
    return f"{counted(after, noun)} (was {before}, {sign}{abs(after - before)})"


def _listed(items: Sequence[object]) -> str:
    names = [str(item) for item in items]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _on(level: bool) -> str:
    return "on" if level else "off"


def _level(trace: Trace, load: str, time: Fraction) -> bool:
    return next(t for t in trace.tracks if t.role == "load" and t.name == load).level(time)


def _file(stage: Stage, what: str) -> str:
    return f"stage-{stage.number}-{what}.svg"


def _picture(
    stage: Stage, what: str, about: str, design: Design, parts: Sequence[str], wires: Sequence[int]
) -> _Picture:
    title = f"Stage {stage.number}: {about[:1].lower()}{about[1:]}"
    return _Picture(
        _file(stage, what), about, wiring_svg(design, stage.problem.kit, title, parts, wires)
    )


# ---- Markdown ----------------------------------------------------------------------------------


def _markdown(blocks: Sequence[_Block]) -> str:
    lines: list[str] = []
    for block in blocks:
        match block:
            case _Head(text, level):
                lines += [f"{'#' * level} {plain(text)}", ""]
            case _Words(text, strong):
                lines += [f"**{plain(text)}**" if strong else plain(text), ""]
            case _Points(items):
                lines += [*(f"- {plain(item)}" for item in items), ""]
            case _Table(columns, rows):
                lines += [f"| {' | '.join(map(plain, columns))} |", "|" + " --- |" * len(columns)]
                lines += [f"| {' | '.join(map(plain, row))} |" for row in rows]
                lines.append("")
            case _Picture(file, about, _):
                lines += [f"![{plain(about)}]({file})", ""]
            case _Fold(ask, label, inner):
                lines += [f"**{plain(ask)}**", "", "<details>", f"<summary>{label}</summary>", ""]
                lines += [_markdown(inner).rstrip("\n"), "", "</details>", ""]
    return "\n".join(lines)


# ---- HTML --------------------------------------------------------------------------------------

_STYLE = """
@page { size: A4; margin: 14mm; }
body { font: 11pt/1.4 sans-serif; color: #000; background: #fff; max-width: 56em;
  margin: 0 auto; padding: 1em; }
h1 { font-size: 18pt; } h2 { font-size: 14pt; border-bottom: 1.5pt solid #000; margin-top: 2em; }
h3 { font-size: 11.5pt; margin: 1.4em 0 .3em; }
table { border-collapse: collapse; font-size: 9.5pt; margin: .5em 0; }
th, td { border: .6pt solid #000; padding: 2pt 5pt; text-align: left; vertical-align: top;
  overflow-wrap: anywhere; }
thead { display: table-header-group; } tr, figure { break-inside: avoid; }
figure { margin: .8em 0; } figcaption { font-size: 9.5pt; }
img { max-width: 100%; height: auto; }
.strong { font-weight: bold; border-left: 3pt solid #000; padding-left: .6em; }
details { border: .8pt solid #000; padding: .3em .7em; margin: .4em 0 1em; }
summary { cursor: pointer; font-weight: bold; }
.wide { overflow-x: auto; }
@media print { body { max-width: none; padding: 0; } h2, h3 { break-after: avoid; } }
"""
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def _html(blocks: Sequence[_Block], title: str) -> str:
    lines = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        f"<title>{escape(title)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
    ]
    for block in blocks:
        lines += _html_block(block)
    return "\n".join([*lines, "</body>", "</html>", ""])


def _html_block(block: _Block) -> list[str]:
    match block:
        case _Head(text, level):
            return [f"<h{level}>{escape(text)}</h{level}>"]
        case _Words(text, strong):
            kind = ' class="strong"' if strong else ""
            return [f"<p{kind}>{escape(text)}</p>"]
        case _Points(items):
            return ["<ul>", *(f"<li>{escape(item)}</li>" for item in items), "</ul>"]
        case _Table(columns, rows):
            head = "".join(f'<th scope="col">{escape(column)}</th>' for column in columns)
            body = ["<tr>" + "".join(f"<td>{escape(t)}</td>" for t in r) + "</tr>" for r in rows]
            return ['<div class="wide"><table>', f"<thead><tr>{head}</tr></thead>", "<tbody>",
                    *body, "</tbody>", "</table></div>"]  # fmt: skip
        case _Picture(_, about, svg):
            # A picture of its own: names in one drawing cannot meet those in another.
            data = base64.b64encode(svg.encode("utf-8")).decode("ascii")
            source = f"data:image/svg+xml;base64,{data}"
            return ["<figure>", f'<img alt="{escape(about)}" src="{source}">',
                    f"<figcaption>{escape(about)}</figcaption>", "</figure>"]  # fmt: skip
        case _Fold(ask, label, inner):
            answer = [line for each in inner for line in _html_block(each)]
            return [f"<p><b>{escape(ask)}</b></p>", "<details>",
                    f"<summary>{escape(label)}</summary>", *answer, "</details>"]  # fmt: skip


# ---- plain data --------------------------------------------------------------------------------


def lesson_document(lesson: Lesson, folder: str, files: Sequence[str]) -> dict[str, Any]:
    """Return the lesson as plain data: prices in whole coins, power in whole units."""
    return {
        "synth": __version__,
        "title": lesson.title,
        "status": lesson.end.status.value,
        "folder": folder,
        "files": list(files),
        "stages": [
            {
                "number": stage.number,
                "goals": [goal.number for goal in stage.goals],
                "status": stage.outcome.status.value,
                "price": stage.changes.price[1],
                "supply": stage.changes.supply[1],
                "design": design_document(stage.design),
                "attempt": None
                if stage.attempt is None
                else {
                    "told": stage.attempt.told,
                    "fault": stage.attempt.defect.fault.value,
                    "message": stage.attempt.defect.message,
                    "design": design_document(stage.attempt.design),
                },
                "questions": [
                    {"ask": question.ask, "answer": list(question.answer)}
                    for question in stage.questions
                ],
            }
            for stage in lesson.stages
        ],
        "notes": list(lesson.notes),
    }
