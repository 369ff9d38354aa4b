"""A lesson in words, tables and pictures, as Markdown and as one page that needs no other file."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from synth.changes import Changes
from synth.design import Design
from synth.lesson import Attempt, Lesson, Stage
from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.report.changes import difference, told_anew, told_part
from synth.report.lesson_page import (
    Block,
    Fold,
    Head,
    Picture,
    Points,
    Table,
    Words,
    html,
    markdown,
)
from synth.report.terminal import CAUTIONS, _status
from synth.report.time_axis import exact_time
from synth.report.timing import timing_svg
from synth.report.wiring import wiring_svg
from synth.settings_sheet import Claim, Place, SettingsSheet
from synth.ticks import format_duration
from synth.trace import Trace
from synth.wording import counted, listed

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


def lesson_files(lesson: Lesson) -> dict[str, str]:
    """Return lesson.md, lesson.html, and the pictures that lesson.md shows, by file name."""
    blocks = _blocks(lesson)
    pictures = {block.file: block.svg for block in blocks if isinstance(block, Picture)}
    return {MARKDOWN: markdown(blocks), PAGE: html(blocks, _title(lesson)), **pictures}


def _title(lesson: Lesson) -> str:
    return f"{lesson.title or 'A circuit'}: built up goal by goal"


# ---- what is said ------------------------------------------------------------------------------


def _blocks(lesson: Lesson) -> list[Block]:
    found: list[Block] = [Head(_title(lesson), 1)]
    last = lesson.stages[-1] if lesson.stages else None
    loads = [r.load for r in last.problem.requirements] if last else []
    had = {goal.number for goal in last.problem.goals} if last else set[int]()
    missed = [str(goal.number) for goal in lesson.goals if goal.number not in had]
    lead = "In the end the circuit is to do all of this:"
    found.append(Words("All of this was asked for:" if missed else lead))
    found.append(
        Points(
            tuple(
                f"goal {goal.number}: {goal.phrase}"
                + ("" if goal.number in had else " (this lesson does not reach it)")
                for goal in lesson.goals
            )
        )
    )
    if missed:
        without = f"goal{'' if len(missed) == 1 else 's'} {listed(missed)}"
        told = f"This lesson does not get so far: what it builds leaves out {without}"
        found.append(Words(f"{told}{'; why is told at the end' if lesson.notes else ''}."))
    if last:
        found.append(
            Words(
                f"It has {counted(len(loads), 'load')}: {', '.join(loads)}. We begin with the "
                f"smallest circuit for the first goal and take up the others one after the other, "
                f"in {counted(len(lesson.stages), 'stage')}. Each stage tries something that is "
                "near at hand, sees how it fails, mends it, and looks at what the mend cost."
            )
        )
    found.append(
        Words(
            "What is said of circuits here was searched for and checked exactly, for every "
            "sequence of inputs at any moments; the runs were played. All parts keep their names "
            "from stage to stage where they stay, and so do the numbers of wires."
        )
    )
    found += [Head("Cautions", 2), Points((*LEARNERS, *CAUTIONS))]
    before: Stage | None = None
    for stage in lesson.stages:
        found += _stage(stage, before)
        before = stage
    if lesson.notes:
        whole = had == {goal.number for goal in lesson.goals} and lesson.end.design is not None
        found.append(Head("How it was found" if whole else "What is missing", 2))
        found.append(Points(tuple(f"{note[:1].upper()}{note[1:]}." for note in lesson.notes)))
    if last:
        found += _bounds(last)
    return found


def _stage(stage: Stage, before: Stage | None) -> list[Block]:
    if not stage.goals:
        return [
            Head(f"Stage {stage.number}: built as is wished", 2),
            *_wished(stage),
            *_made(stage),
            *_seen(stage, before),
            *_asked(stage),
        ]
    numbers = " and ".join(str(goal.number) for goal in stage.goals)
    word = "goal" if len(stage.goals) == 1 else "goals"
    found: list[Block] = [
        Head(f"Stage {stage.number}: {' and '.join(goal.phrase for goal in stage.goals)}", 2)
    ]
    done = [goal.number for goal in stage.problem.goals if goal not in stage.goals]
    if done:
        so_far = f"goal {done[0]} holds" if len(done) == 1 else f"goals {listed(done)} hold"
        found.append(Words(f"So far {so_far}. Now {word} {numbers} is added." if
                            len(stage.goals) == 1 else f"So far {so_far}. Now {word} {numbers} are "
                            "added."))  # fmt: skip
    found += _tried(stage, before)
    found += _made(stage)
    found += _seen(stage, before)
    found += _asked(stage)
    return found


def _wished(stage: Stage) -> list[Block]:
    """Return which wishes for how it is built the circuit before keeps, and how it fails."""
    kept = [words for words, told in stage.wishes if not told]
    unkept = [(words, told) for words, told in stage.wishes if told]
    found: list[Block] = [
        Words(
            "All goals hold. What is left are wishes for how the circuit is built, which no stage "
            "so far had to keep."
        )
    ]
    if kept:
        found.append(Words("The circuit of the stage before keeps these as it is:"))
        found.append(Points(tuple(kept)))
    if unkept:
        found.append(Words("It does not keep these:"))
        found.append(Points(tuple(f"{words}: {told}" for words, told in unkept)))
    if stage.same:
        found.append(Words("So nothing has to be done."))
    return found


def _tried(stage: Stage, before: Stage | None) -> list[Block]:
    """Return the attempt, its failing run in words and as a picture."""
    attempt = stage.attempt
    if stage.same:
        return [
            Head("Nothing to do", 3),
            Words(
                "The circuit of the stage before does this already, as it stands: the exact check "
                "of it, with the new goal, holds. There is nothing to try and nothing to mend."
            ),
        ]
    if stage.at_once:
        told = f"What comes to mind first: {stage.at_once}. It does: with all that was there left "
        told += "as it was, all goals so far hold (checked). There is no failing attempt to show."
        return [Head("A first attempt", 3), Words(told)]
    if attempt is None:
        return [
            Head("A first attempt", 3),
            Words(
                f"There is no failing attempt to show: of {counted(stage.tried, 'attempt')} near "
                "the circuit none fails that could also be built within the limits."
            ),
        ]
    found: list[Block] = [Head("A first attempt", 3)]
    told = f"What comes to mind first: {attempt.told}."
    if attempt.nearly or stage.number == 1:
        names = {part.name for part in stage.inner.added}
        parts = [told_part(p) for p in attempt.design.parts if p.name in names]
        fewer = len(parts) < len(stage.inner.added)
        lead = "Try it with less than it will take in the end" if fewer else "This comes near"
        told = f"{lead}, wired as drawn, with {listed(parts or ['what there is'])}."
    elif stage.plain:
        found.append(
            Words(
                "Nothing that is there has to be changed for this goal, apart from how power is "
                "shared: it takes only the right place to hang the new on. Not every "
                "place will do."
            )
        )
        told = f"A place near at hand: {attempt.told}."
    elif stage.simply is not None and not attempt.natural:
        found.append(
            Words(
                "There are places at which to hang the new so that all holds, but not every place "
                "will do."
            )
        )
        told = f"A place near at hand: {attempt.told}."
    found += [
        Words(f"{told} Will it do? Think it through before you read on."),
        _picture(
            stage,
            "attempt",
            "The attempt, a circuit that fails",
            attempt.design,
            *_new(attempt.design, before),
        ),
        Words(f"It does not: {_reason(attempt)}.", strong=True),
    ]
    if attempt.example.orders:
        found.append(Words("It depends on which part moves first:"))
        found.append(Points(attempt.example.orders))
    found += _sequence(attempt.run, attempt, stage.problem)
    found.append(
        Picture(
            _file(stage, "fails"),
            "How the attempt fails",
            timing_svg(attempt.run, f"Stage {stage.number}: the attempt, how it fails"),
        )
    )
    return found


def _new(design: Design, before: Stage | None) -> tuple[list[str], list[int]]:
    """Return the parts and wires of an attempt that the stage before does not have."""
    if before is None:
        return [], []
    names = {part.name for part in before.design.parts}
    wires = {(wire.source, wire.target) for wire in before.design.wires}
    return (
        [part.name for part in design.parts if part.name not in names],
        [wire.number for wire in design.wires if (wire.source, wire.target) not in wires],
    )


def _reason(attempt: Attempt) -> str:
    told = attempt.defect.message
    return f"{told[:1].lower()}{told[1:]}"


def _sequence(run: Trace, attempt: Attempt, problem: Problem) -> list[Block]:
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
    found: list[Block] = [
        Words("A sequence of the fewest events in which it shows:"),
        Table(("Time", "Outside", "What follows"), tuple(rows[-MOST_ROWS:])),
    ]
    if len(rows) > MOST_ROWS:
        found.append(Words(f"The first {len(rows) - MOST_ROWS} moments are left out here."))
    return found


def _made(stage: Stage) -> list[Block]:
    """Return the circuit that holds, what mends the attempt, and what changed."""
    changes, attempt = stage.changes, stage.attempt
    found: list[Block] = []
    if attempt is not None:
        found.append(Head("The mend", 3))
        lead = "From the attempt to a circuit that holds, splitting of power left aside:"
        if stage.number == 1 or attempt.nearly:
            lead = f"In the attempt {attempt.told}. {lead}"
        found.append(Words(lead))
        found.append(Points(_steps(attempt.changes)))
        example = attempt.example
        if example.load:
            level = _level(attempt.mended, example.load, example.moments[-1].time)
            found.append(
                Words(
                    f"With just the inputs of the failing run, {example.load} is then "
                    f"{_on(level)} at {exact_time(example.moments[-1].time)}."
                )
            )
        found.append(
            Picture(
                _file(stage, "mended"),
                "The mended circuit with the same inputs",
                timing_svg(attempt.mended, f"Stage {stage.number}: mended, the same inputs"),
            )
        )
    found.append(Head("The circuit of this stage", 3))
    found.append(
        Words(
            f"{_claim(stage)} Checked: "
            f"{counted(stage.verdict.states, 'state')}, every input sequence, any moment: all "
            "goals so far hold."
        )
    )
    new = (
        () if stage.number == 1 else [p.name for p in changes.added],
        ()
        if stage.number == 1
        else [*(w.number for w in changes.new), *(w.number for _, w in changes.moved)],
    )
    found.append(
        _picture(stage, "wiring", f"The circuit of stage {stage.number}", stage.design, *new)
    )
    if stage.number == 1:
        found.append(Points(tuple(told_part(part) for part in changes.added)))
        found.append(
            Words(
                f"It costs {counted(changes.price[1], 'coin')}; the supply must deliver "
                f"{counted(changes.supply[1], 'unit')}; {counted(len(stage.design.wires), 'wire')}."
                f"{_in_stock(stage)}"
            )
        )
        return found
    if stage.same:
        return found
    if stage.simply is not None:
        also = stage.simply
        found.append(
            Words(
                f"Why so much is laid anew: with what was there left as it was, where "
                f"{also.told}, all goals so far hold as well (checked). But that costs "
                f"{counted(also.price, 'coin')} with a supply of {counted(also.supply, 'unit')}; "
                f"this circuit costs {counted(changes.price[1], 'coin')} with "
                f"{counted(changes.supply[1], 'unit')}."
            )
        )
    found.append(Words("What changed since the stage before, splitting of power left aside:"))
    found.append(Points(_steps(stage.inner) or ("nothing but how power is shared",)))
    found.append(Words("Wire by wire, with all that splits power:"))
    found.append(Points(difference(changes)))
    if _in_stock(stage):
        found.append(Words(_in_stock(stage).strip()))
    return found


def _claim(stage: Stage) -> str:
    """Return what is claimed of the circuit of a stage, beside that it holds."""
    if stage.by_adding:
        return (
            "Made by adding to the circuit before, since the search found none in its share of the "
            "time; not proven to be the best."
        )
    return _status(stage.outcome, stage.problem.objectives)


def _in_stock(stage: Stage) -> str:
    """Return what is left to be bought where parts are in stock, "" where there are none."""
    kit, stock = stage.problem.kit, stage.problem.limits.stock
    if not stock:
        return ""
    to_buy = stage.design.price(kit, stock)
    return f" Beside what is in stock, parts for {counted(to_buy, 'coin')} have to be bought."


def _steps(changes: Changes) -> tuple[str, ...]:
    """Return what has to be done between two circuits without splitting parts."""
    fed: dict[str, list[str]] = {}
    for wire in changes.new:
        fed.setdefault(str(wire.source), []).append(str(wire.target))
    items = [f"put in {told_part(part)}" for part in changes.added]
    items += [f"take out {part.name}" for part in changes.taken_out]
    items += [
        f"set anew: {told_anew(*pair)}"
        for pair in changes.set_anew
        if pair[0].type is not PartType.SUPPLY
    ]
    items += [
        f"{after.target} is fed from {after.source}, no more from {before.source}"
        for before, after in changes.moved
    ]
    items += [
        f"{source} also feeds {listed(targets)}"
        if any(
            str(wire.source) == source for wire in (*changes.stay, *(w for _, w in changes.moved))
        )
        else f"{source} feeds {listed(targets)}"
        for source, targets in fed.items()
    ]
    return tuple(items)


def _seen(stage: Stage, before: Stage | None) -> list[Block]:
    found: list[Block] = [
        Head("What it does", 3),
        Words("A run that shows each goal so far at work, as the circuit itself does it:"),
        Picture(
            _file(stage, "runs"),
            f"A run of the circuit of stage {stage.number}",
            timing_svg(stage.shown, f"Stage {stage.number}: a run"),
        ),
    ]
    if stage.times is not None and stage.times.times:
        had = before.times if before is not None else None
        if had is not None and had.times == stage.times.times:
            found += [
                Head("On the bench", 3),
                Words(
                    f"The test times of stage {stage.number - 1} do for this stage too: all goals "
                    "hold with them, and the order of events is kept. Set the real times back "
                    "afterwards."
                ),
            ]
        else:
            found += _test_times(stage.times)
    return found


def _test_times(sheet: SettingsSheet) -> list[Block]:
    if sheet.claim is Claim.REAL or all(time.test == time.real for time in sheet.times):
        return [
            Head("On the bench", 3),
            Words(
                "No shorter times were found that keep the order of events: test with the real "
                "ones."
            ),
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
        Head("On the bench", 3),
        Words(
            "Who does not want to wait sets these times for the test"
            f"{f' ({words})' if words else ''}. All goals "
            f"{'but those left out ' if sheet.left_out else ''}hold in their "
            f"scaled form, and {_same_order(sheet)}. They allow for parts that need "
            f"{format_duration(sheet.reaction)} to move."
        ),
        Table(("Belongs to", "Real time", "Test time"), rows),
        *(Words(f"{told[:1].upper()}{told[1:]}.") for told in sheet.left_out),
        Words("Afterwards set the real times back, each of them, before anything else.", True),
    ]


def _same_order(sheet: SettingsSheet) -> str:
    """Return of what the order is that of the real times, as `settings_sheet.order_said` has it."""
    if sheet.claim is Claim.PROPORTIONAL:
        return "everything happens in the same order as with the real times"
    return (
        "within the circuit of each load everything happens in the same order as with the real "
        "times, but more or fewer events of a circuit that shares nothing with it may come between"
    )


def _asked(stage: Stage) -> list[Block]:
    if not stage.questions:
        return []
    found: list[Block] = [Head("Questions" if len(stage.questions) > 1 else "A question", 3)]
    for question in stage.questions:
        found.append(Fold(question.ask, "Answer", (Points(question.answer),)))
    return found


def _bounds(stage: Stage) -> list[Block]:
    found: list[Block] = []
    if stage.problem.assumptions:
        found += [Head("Assumptions", 2), Points(stage.problem.assumptions)]
    if stage.outcome.bounds:
        found += [Head("Proven within these bounds", 2), Points(stage.outcome.bounds)]
    return found


# ---- words -------------------------------------------------------------------------------------


def _on(level: bool) -> str:
    return "on" if level else "off"


def _level(trace: Trace, load: str, time: Fraction) -> bool:
    return next(t for t in trace.tracks if t.role == "load" and t.name == load).level(time)


def _file(stage: Stage, what: str) -> str:
    return f"stage-{stage.number}-{what}.svg"


def _picture(
    stage: Stage, what: str, about: str, design: Design, parts: Sequence[str], wires: Sequence[int]
) -> Picture:
    title = f"Stage {stage.number}: {about[:1].lower()}{about[1:]}"
    return Picture(
        _file(stage, what), about, wiring_svg(design, stage.problem.kit, title, parts, wires)
    )
