"""All sheets of the pack, in the order in which a reader who knows nothing needs them."""

from __future__ import annotations

from synth.handover.behaviour import cause_and_effect, timing_chart
from synth.handover.budget import Store, budget_sheet
from synth.handover.building import build_sheet
from synth.handover.card import card, cautions, change_log, diagrams, reset
from synth.handover.faults import fault_sheet
from synth.handover.job import Job
from synth.handover.lists import parts_list, settings_sheet, terminal_list, wire_list
from synth.handover.testing import cases, sheet_of_tests
from synth.sheet import Sheet


def pack_sheets(job: Job, store: Store) -> tuple[Sheet, ...]:
    """Return the fifteen sheets."""
    return (
        card(job),
        cautions(job),
        diagrams(job),
        wire_list(job),
        terminal_list(job),
        parts_list(job),
        settings_sheet(job),
        timing_chart(job),
        cause_and_effect(job),
        sheet_of_tests(job),
        budget_sheet(job, store),
        fault_sheet(job),
        build_sheet(job),
        reset(job),
        change_log(job),
    )


Cases = tuple[tuple[str, str, str], ...]
"""(number, what to do, what to expect) of each step of a test."""


def step_cases(job: Job) -> dict[str, Cases]:
    """Return the steps of each test by the name of its file."""
    bench = {} if job.bench_test is None else {"bench-test": cases(job, bench=True)}
    return {**bench, "test-sheet": cases(job)}
