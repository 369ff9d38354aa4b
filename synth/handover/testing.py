"""The test sheet: the steps of the tour, what to expect of each, and what they leave out."""

from __future__ import annotations

from synth.handover.job import Job
from synth.handover.words import duration, listed, say_level, say_levels, say_loads, say_step
from synth.modes import Coverage
from synth.sheet import Block, Heading, Points, Sheet, Table, Words

RESTORED = "set every time back to its real value (settings sheet), seal or photograph it"
COLUMNS = ("step", "do", "expect", "measured", "pass", "initials")


def cases(job: Job) -> tuple[tuple[str, str, str], ...]:
    """Return (number, what to do, what to expect) of every step, the restoring of times last."""
    rows = [
        (str(i), say_step(job, step), say_loads(step.on, step.off))
        for i, step in enumerate(job.facts.tour.steps, 1)
    ]
    rows.append((str(len(rows) + 1), RESTORED, "settings sheet signed"))
    return tuple(rows)


def sheet_of_tests(job: Job) -> Sheet:
    """Return the test sheet, circuit by circuit, and an honest account of its cover."""
    tour = job.facts.tour
    blocks: list[Block] = [
        Words("Before the first step: supply off, every input at rest. First run with lamps or "
              "test loads in place of heaters, pumps and motors; then again with the real ones, "
              "guards on and nobody in reach.", strong=True),
        Words("Waits count from the step before. A step made later than it says may meet another "
              "mode: if a time was up in between, begin that circuit again from its first step. "
              "Loads of other circuits do as they must meanwhile; only those named are looked at."),
        Words(f"{len(tour.steps)} steps, {duration(tour.end)} at the real times in the settings "
              "sheet."),
    ]
    rows = cases(job)
    shown: dict[int, list[tuple[str, ...]]] = {}
    for row, step in zip(rows, tour.steps, strict=False):
        turned = f" (now: {listed(step.turned)})" if step.turned else ""
        shown.setdefault(step.circuit, []).append((row[0], row[1], row[2] + turned, "", "", ""))
    for circuit, lines in shown.items():
        loads = job.facts.graphs[circuit].loads
        blocks += [
            Heading(f"Circuit {circuit + 1}: {listed(loads) or 'no load'}"),
            Table(COLUMNS, tuple(lines)),
        ]
    blocks += [
        Heading("Last"),
        Table(COLUMNS, ((*rows[-1], "", "", ""),)),
        Heading("What this test covers"),
        Table(
            ("circuit", "modes visited", "of", "changes by hand done", "of", "times seen up", "of",
             "all"),
            tuple(
                (str(c.circuit + 1), str(c.modes_visited), str(c.modes), str(c.by_hand_done),
                 str(c.by_hand), str(c.expiries_done), str(c.expiries),
                 "yes" if c.whole else "no")
                for c in tour.coverage
            ),
            "coverage.csv",
        ),
        *not_covered(job),
        Words("To be filled in by a program: 10-test-sheet.junit.xml (every step 'skipped' until "
              "it is done) and 10-test-sheet.tap."),
        Table(COLUMNS, tuple((*row, "", "", "") for row in rows), "test-sheet.csv", 0),
    ]
    return Sheet(10, "test-sheet", "Test sheet", tuple(blocks),
                 ("test-sheet.junit.xml", "test-sheet.tap"))


def not_covered(job: Job) -> list[Block]:
    """Return in words what the test leaves out, of modes and of changes by hand."""
    left: list[str] = []
    for c in job.facts.tour.coverage:
        left += _left_of(job, c)
    for item in job.problem.inputs:
        if item.steady is not None:
            state = say_level(job, item.name, item.steady)
            left.append(f"anything but '{state}': the goals say that it always is so")
    left += job.facts.tour.notes
    if not left:
        return [Words("Every mode that can be aimed at is visited, in each everything a person can "
                      "do is done once, and every time is seen to be up. Several inputs moved at "
                      "one instant are not tested by hand; the exact check covers them.")]
    return [Words("Not covered by this test, though covered by the exact check:"),
            Points(tuple(left))]


def _left_of(job: Job, c: Coverage) -> list[str]:
    graph = job.facts.graphs[c.circuit]
    name = f"circuit {c.circuit + 1}"
    left: list[str] = []
    if len(job.facts.tour.steps) >= job.facts.tour.most_steps and not c.whole:
        left.append(f"{name}: {len(c.modes_left)} modes, {len(c.by_hand_left)} changes by hand and "
                    f"{len(c.expiries_left)} times that are up left out, for the test ends at "
                    f"about {job.facts.tour.most_steps} steps")
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
