"""The test sheet: the steps of the tour, what to expect of each, and what they leave out."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from synth.handover.hazards import lamps_alone
from synth.handover.job import Job
from synth.handover.kept import before_the_first_step
from synth.handover.words import duration, saves_little, say_level, say_levels, say_seen, say_step
from synth.modes import Coverage, ModeGraph, Tour
from synth.sheet import Block, Heading, Points, Sheet, Table, Words
from synth.wording import listed

RESTORED = "set every time back to its real value (settings sheet), seal or photograph it"
SEALED = "compare every setting with the settings sheet, seal or photograph it"
COLUMNS = ("step", "do", "expect", "measured", "pass", "initials")


def cases(job: Job, bench: bool = False) -> tuple[tuple[str, str, str], ...]:
    """Return (number, what to do, what to expect) of every step at the real times, or on the
    `bench` with test values; the setting back of times last."""
    tour = job.facts.tour
    if bench:
        assert job.bench_test is not None
        tour = job.bench_test.tour
    rows = [
        (str(i), say_step(job, step), say_seen(step)) for i, step in enumerate(tour.steps, 1)
    ]
    last = RESTORED if job.timed else SEALED
    rows.append((str(len(rows) + 1), last, "settings sheet signed"))
    return tuple(rows)


def sheet_of_tests(job: Job) -> Sheet:
    """Return the test sheet, circuit by circuit, and an honest account of its cover: first with
    test values, where there are some, then at the real times."""
    tour, bench = job.facts.tour, job.bench_test
    files: tuple[str, ...] = ("test-sheet.junit.xml", "test-sheet.tap")
    blocks: list[Block] = [
        Words("Before the first step: supply off, every input at rest."
              + ("" if lamps_alone(job) else
                 " First run with lamps or test loads in place of what heats, pumps or moves; then "
                 "again with the real ones, guards on and nobody in reach."), strong=True),
        *map(Words, before_the_first_step(job)),
        Words("Waits count from the step before."
              + (" A step made later than it says may meet another mode: if a time was up in "
                 "between, switch the supply off, bring every input to rest and begin that circuit "
                 "again from its first step; the supply and inputs as they stood before that step."
                 if job.timed else "")
              + (" Loads of other circuits do as they must meanwhile; only those named are looked "
                 "at, and only what is seen of them counts as tested."
                 if len(job.facts.graphs) > 1 else "")
              + " Several inputs moved at one instant are not tested by hand; the exact check "
              "covers them."),
    ]
    if bench is not None:
        files = ("bench-test.junit.xml", "bench-test.tap", *files)
        blocks += [
            Heading("A. On the bench, with test values"),
            Words("Set every time to its test value (settings sheet, item 7). "
                  f"{len(bench.tour.steps)} steps, {duration(_length(bench.tour))}."),
            *_tables(job, cases(job, bench=True), bench.tour, bench.graphs, "A", "bench-test"),
            Heading("B. On site, at the real times"),
            Words(f"Only after the times are set back. {len(tour.steps)} steps, "
                  f"{duration(_length(tour))}. Where that is too long for one visit, do at least "
                  "the first steps of each circuit and every power cut, and note what is left."),
        ]
    else:
        real = " at the real times in the settings sheet" if job.timed else ""
        blocks.append(Words(f"{len(tour.steps)} steps, {duration(_length(tour))}{real}."))
        if job.bench is not None:
            blocks.append(Words(saves_little(job)))
        elif job.bench_why and job.timed:
            blocks.append(Words(f"There are no shorter times to test with: {job.bench_why}."))
    letter = "B" if bench is not None else ""
    blocks += _tables(job, cases(job), tour, job.facts.graphs, letter, "test-sheet")
    blocks.append(Words(
        "To be filled in by a program, every step 'skipped' until it is done: "
        + listed(f"10-{file}" for file in files) + "."
    ))
    return Sheet(10, "test-sheet", "Test sheet", tuple(blocks), files)


def _length(tour: Tour) -> Fraction:
    """Return how long a test takes by hand from its first step, which waits for nothing, ticks."""
    return tour.end - tour.steps[0].time if tour.steps else Fraction(0)


def _tables(
    job: Job, rows: Sequence[tuple[str, str, str]], tour: Tour, graphs: Sequence[ModeGraph],
    letter: str, file: str,
) -> list[Block]:
    """Return the steps of one test by circuits, the step that ends it, and what it covers."""
    blocks: list[Block] = []
    shown: dict[int, list[tuple[str, ...]]] = {}
    for row, step in zip(rows, tour.steps, strict=False):
        shown.setdefault(step.circuit, []).append((*row, "", "", ""))
    sign = f"{letter}: " if letter else ""
    for circuit, lines in shown.items():
        loads = graphs[circuit].loads
        blocks += [
            Heading(f"{sign}circuit {circuit + 1}, {listed(loads) or 'no load'}"),
            Table(COLUMNS, tuple(lines)),
        ]
    return [
        *blocks,
        Heading(f"{sign}last"),
        Table(COLUMNS, ((*rows[-1], "", "", ""),)),
        Heading(f"{sign}what this test covers"),
        Table(
            ("circuit", "modes visited", "of", "changes by hand done", "of", "times seen up", "of",
             "all"),
            tuple(
                (str(c.circuit + 1), str(c.modes_visited), str(c.modes), str(c.by_hand_done),
                 str(c.by_hand), str(c.expiries_done), str(c.expiries),
                 "yes" if c.whole else "no")
                for c in tour.coverage
            ),
            "coverage.csv" if file == "test-sheet" else f"{file}-coverage.csv",
        ),
        *(not_covered(job, tour, graphs) or [Words(
            "Every mode that can be aimed at is visited, in each everything a person can do is "
            "done once" + (", and every time is seen to be up." if job.timed else ".")
        )]),
        Table(COLUMNS, tuple((*row, "", "", "") for row in rows), f"{file}.csv", 0),
    ]


def not_covered(job: Job, tour: Tour, graphs: Sequence[ModeGraph]) -> list[Block]:
    """Return in words what the test leaves out, of modes and of changes by hand; nothing where
    it leaves out nothing."""
    left: list[str] = []
    for c in tour.coverage:
        left += _left_of(job, c, tour, graphs[c.circuit])
    for item in job.problem.inputs:
        if item.steady is not None:
            state = say_level(job, item.name, item.steady)
            left.append(f"anything but '{state}': the goals say that it always is so")
    left += tour.notes
    if not left:
        return []
    return [Words("Not covered by this test, though covered by the exact check:"),
            Points(tuple(left))]


def _left_of(job: Job, c: Coverage, tour: Tour, graph: ModeGraph) -> list[str]:
    name = f"circuit {c.circuit + 1}"
    left: list[str] = []
    if len(tour.steps) >= tour.most_steps and not c.whole:
        left.append(f"{name}: {len(c.modes_left)} modes, {len(c.by_hand_left)} changes by hand and "
                    f"{len(c.expiries_left)} times that are up left out, for the test ends at "
                    f"about {tour.most_steps} steps")
    for number in c.modes_left[:20]:
        mode = graph.modes[number]
        left.append(f"{name}, mode {number}: {say_levels(job, mode.levels)}")
    for number, moved in c.by_hand_left[:20]:
        mode = graph.modes[number]
        left.append(f"{name}, mode {number} ({say_levels(job, mode.levels)}): '{moved}' moved")
    for number, names in c.expiries_left[:20]:
        mode = graph.modes[number]
        left.append(f"{name}, mode {number} ({say_levels(job, mode.levels)}): the time of "
                    f"{listed(names)} up{' at one instant' if len(names) > 1 else ''}")
    if max(len(c.modes_left), len(c.by_hand_left), len(c.expiries_left)) > 20:
        left.append(f"{name}: and more, see the coverage table")
    if c.never_aimed:
        left.append(f"{name}, {len(c.never_aimed)} modes that only things at one instant lead to: "
                    f"{listed(map(str, c.never_aimed[:20]))}")
    return left
