"""The settings sheet of a bench test: on a terminal, as a page to print, as CSV, as plain data."""

from __future__ import annotations

import csv
import io
import re
from typing import Any

from rich.console import Console

from synth.report.terminal import _Page
from synth.settings_sheet import Claim, Place, SettingsSheet, TimeUse, order_said
from synth.ticks import format_duration

BACK = "real times set back [ ]"
"""The line of the sheet that is ticked last."""

CAUTIONS = (
    "Switch the supply off, lock it off and test that it is dead before you work on wires.",
    "Test with lamps in place of the loads, from a supply of low voltage where the parts allow "
    "it: short times switch motors, pumps and heaters more often than they are made for.",
    "A pump that must be tested itself stands in water; keep that water away from electricity. "
    "A heater cools down between runs and keeps its thermal cut-out. Keep hands, hair and tools "
    "away from moving parts: they start by themselves.",
    "A short test says nothing of heat, wear, or what a long run brings. Set the real times back, "
    "tick the line, and watch one whole run with them.",
    "Local codes come first. Mains voltage, gas and fixed wiring are for licensed people.",
)
"""Usual cautions of the trade (common practice, no source)."""


def use_said(use: TimeUse) -> tuple[str, str]:
    """Return (what a time belongs to, what it is there) in words."""
    if use.place is Place.PART:
        return use.of, use.what
    return f"{use.place.value} {use.of}", use.what


def sheet_csv(sheet: SettingsSheet) -> str:
    """Return the sheet as CSV (RFC 4180): a line for each place where a time stands, seconds
    beside the times in words, and columns to fill in."""
    stream = io.StringIO()
    rows = csv.writer(stream, lineterminator="\r\n")
    rows.writerow(
        [
            "symbol", "belongs to", "setting or phrase", "real value", "real seconds",
            "test value", "test seconds", "real times set back", "date", "initials",
        ]
    )  # fmt: skip
    for time in sheet.times:
        for use in time.uses:
            rows.writerow(
                [
                    time.symbol, *use_said(use), format_duration(time.real), _seconds(time.real),
                    format_duration(time.test), _seconds(time.test), "", "", "",
                ]
            )  # fmt: skip
    return stream.getvalue()


def _seconds(ticks: int) -> str:
    whole, rest = divmod(ticks, 1000)
    return f"{whole}.{rest:03d}".rstrip("0").rstrip(".") if rest else str(whole)


def claim_said(sheet: SettingsSheet) -> tuple[str, ...]:
    """Return what is proven of the test times, in sentences."""
    if sheet.claim is Claim.NO_TIMES:
        return ("Neither the design nor its goals have a time: test as it is.",)
    lines = [
        f"Proven: with the test times {sheet.every_goal} holds in its scaled form, for every input "
        f"sequence, at any moment ({sheet.states} states)."
    ]
    if sheet.claim is not Claim.REAL:
        lines += order_said(sheet)
        if sheet.apart:
            lines.append(
                "Left out of account in this order: runs in which an input changes at the very "
                "instant at which a time is up."
            )
    unit = format_duration(sheet.unit)
    match sheet.claim:
        case Claim.SMALLEST if not sheet.ranks_kept:
            lines.append(
                f"Proven smallest among whole multiples of {unit} that keep the order of events: "
                f"no longest test time below {format_duration(sheet.longest)} does it, and with "
                "that longest one no smaller sum of all."
            )
        case Claim.SMALLEST:
            lines.append(
                f"Proven smallest among whole multiples of {unit} that keep long times longer "
                f"than short ones: no longest test time below {format_duration(sheet.longest)} "
                "does it, and with that longest one no smaller sum of all."
            )
        case Claim.BEST_FOUND:
            lines.append(f"Best found, in whole multiples of {unit}; shorter ones may exist.")
        case Claim.PROPORTIONAL:
            lines.append(
                "All times are divided by one number, which keeps every order; shorter ones may "
                "exist, but were not looked for to the end."
            )
        case _:
            lines.append("No shorter times were found that keep the order.")
    return tuple(lines)


def ranks_said(sheet: SettingsSheet) -> tuple[str, ...]:
    """Return, in sentences, that longer times did not stay longer, where that is so."""
    if sheet.ranks_kept:
        return ()
    then = "" if sheet.longest_in_ranks is None else (
        f" With it the longest test time is {format_duration(sheet.longest_in_ranks)} at least."
    )
    return (
        "For the wanted length the wish was given up that longer times stay longer: some are equal "
        "here, or the other way round. The order of events does not hang on it, but two timers "
        f"mistaken for each other, or set wrongly, may not show.{then}",
    )


def too_long_said(sheet: SettingsSheet) -> tuple[str, ...]:
    """Return, in sentences, that the order cannot be kept within the wanted length, and why."""
    if not sheet.too_long or sheet.longest_wanted is None:
        return ()
    wanted = format_duration(sheet.longest_wanted)
    if not sheet.out_of_reach and sheet.claim is Claim.SMALLEST:
        return (
            f"No test times up to {wanted} keep longer times longer than shorter ones. Whether "
            "some keep the order of events without that was not settled.",
        )
    if not sheet.out_of_reach:
        return (f"No test times up to {wanted} were found; it is not proven that there are none.",)
    line = f"The order of events cannot be kept with test times up to {wanted}"
    return (f"{line}; what forces it is below." if sheet.forced_by else f"{line}.",)


def _all_said(sheet: SettingsSheet) -> tuple[str, ...]:
    """Return all that is said of the test times before the tables."""
    return (
        *too_long_said(sheet), *ranks_said(sheet), *claim_said(sheet),
        *(f"{n}." for n in sheet.notes),
    )  # fmt: skip


def sheet_page(sheet: SettingsSheet) -> str:
    """Return the sheet as a page (Markdown) to print and to fill in."""
    lines = [f"# Settings for the bench test: {_cell(sheet.title)}", ""]
    for line in _all_said(sheet):
        lines += [_cell(line), ""]
    if sheet.times:
        lines += [
            f"Every test time is at least {sheet.factor} × {format_duration(sheet.reaction)}, the "
            "reaction or minimum trigger time of the slowest part.",
            "",
            "## Timers",
            "",
            "| symbol | part | setting | real value | test value | set to test | set back |",
            "|---|---|---|---|---|---|---|",
        ]
        for time in sheet.times:
            for use in time.uses:
                if use.place is Place.PART:
                    values = f"{format_duration(time.real)} | {format_duration(time.test)}"
                    lines.append(
                        f"| {time.symbol} | {_cell(use.of)} | {use.what} | {values} | [ ] | [ ] |"
                    )
        lines += ["", "## Times in the goals and of the inputs", ""]
        lines += ["| symbol | where | phrase | real value | test value |", "|---|---|---|---|---|"]
        for time in sheet.times:
            for use in time.uses:
                if use.place is not Place.PART:
                    where, what = use_said(use)
                    values = f"{format_duration(time.real)} | {format_duration(time.test)}"
                    lines.append(f"| {time.symbol} | {where} | {_cell(what)} | {values} |")
        if any(use.place is Place.KNOWN for time in sheet.times for use in time.uses):
            lines += ["", "Whoever moves the inputs keeps to the test values of what is known."]
    if sheet.forced_by:
        lines += ["", "## What forces the longest test time", ""]
        lines += [f"- {_cell(order)}" for order in sheet.forced_by]
    if sheet.passes:
        lines += ["", "## How long one pass takes", "", "| what | real | test |", "|---|---|---|"]
        for each in sheet.passes:
            lines.append(
                f"| {each.what} | {format_duration(each.real)} | {format_duration(each.test)} |"
            )
        real, test = totals(sheet)
        lines.append(f"| all, one after the other | {real} | {test} |")
    lines += ["", "## Cautions", "", *(f"- {caution}" for caution in CAUTIONS)]
    lines += ["", f"{BACK}   date: ____________   initials: ________", ""]
    return "\n".join(lines)


def totals(sheet: SettingsSheet) -> tuple[str, str]:
    """Return how long all passes take one after the other, real and on the bench."""
    return (
        format_duration(sum(each.real for each in sheet.passes)),
        format_duration(sum(each.test for each in sheet.passes)),
    )


def _cell(text: str) -> str:
    """Return a text of the user's harmless in a table of Markdown."""
    return re.sub(r"([\\|`*_<>\[\]#])", r"\\\1", text)


def sheet_document(sheet: SettingsSheet) -> dict[str, Any]:
    """Return the sheet as plain data, times in words that every file of this tool can hold."""
    return {
        "title": sheet.title,
        "claim": sheet.claim.value,
        "unit": format_duration(sheet.unit),
        "reaction": format_duration(sheet.reaction),
        "factor": sheet.factor,
        "longest": format_duration(sheet.longest),
        "longest wanted": None
        if sheet.longest_wanted is None
        else format_duration(sheet.longest_wanted),
        "too long": sheet.too_long,
        "forced by": list(sheet.forced_by),
        "out of reach": sheet.out_of_reach,
        "longer times longer": sheet.ranks_kept,
        "inputs apart": sheet.apart,
        "order together": [
            {"loads": list(each.loads), "events": each.events} for each in sheet.together
        ],
        "states": sheet.states,
        "times": [
            {
                "symbol": time.symbol,
                "real": format_duration(time.real),
                "test": format_duration(time.test),
                "uses": [
                    {"place": use.place.value, "of": use.of, "what": use.what} for use in time.uses
                ],
            }
            for time in sheet.times
        ],
        "passes": [
            {
                "what": each.what,
                "real": format_duration(each.real),
                "test": format_duration(each.test),
            }
            for each in sheet.passes
        ],
        "notes": list(sheet.notes),
        "cautions": list(CAUTIONS),
    }


def print_sheet(console: Console, sheet: SettingsSheet) -> None:
    """Print the sheet: what is proven, every timer's real and test value, how long a pass takes,
    what forces the longest, cautions, and the line to tick at the end."""
    page = _Page(console)

    def plain(text: str) -> str:
        return text.replace("\u00d7", "x").replace("\u2264", "<=") if page.ascii else text

    page.heading(f"Settings for the bench test: {sheet.title or 'goals'}")
    for line in _all_said(sheet):
        page.say(plain(line[0].upper() + line[1:]))
    if sheet.times:
        page.say(
            plain(
                f"Every test time is a whole multiple of {format_duration(sheet.unit)}, at least "
                f"{sheet.factor} × {format_duration(sheet.reaction)}, the reaction or minimum "
                "trigger time of the slowest part."
            )
        )
    uses = [(time, use) for time in sheet.times for use in time.uses]
    for title, belongs, first, second in (
        ("Timers", (Place.PART,), "Part", "Setting"),
        ("Times in the goals and of the inputs", (Place.GOAL, Place.KNOWN), "Where", "Phrase"),
    ):
        chosen = [(time, use) for time, use in uses if use.place in belongs]
        if not chosen:
            continue
        table = page.table(title, "Symbol", first, second, ">Real", ">Test")
        for time, use in chosen:
            real, test = format_duration(time.real), format_duration(time.test)
            page.row(table, time.symbol, *use_said(use), real, test)
        page.show(table)
    if any(use.place is Place.KNOWN for _, use in uses):
        page.say("Whoever moves the inputs keeps to the test values of what is known.")
    page.items("What forces the longest test time", [plain(line) for line in sheet.forced_by])
    if sheet.passes:
        table = page.table("How long one pass takes", "What", ">Real", ">Test")
        for each in sheet.passes:
            real, test = format_duration(each.real), format_duration(each.test)
            page.row(table, each.what, real, test)
        page.row(table, "all, one after the other", *totals(sheet))
        page.show(table)
    page.items("Cautions", CAUTIONS)
    if sheet.times:
        page.section(BACK)
