"""`synth bench`: short times for a test on the bench that keep the order and every goal."""

from __future__ import annotations

import sys
from fractions import Fraction

import click

from synth.commands.numbers import Number
from synth.commands.places import FOLDER, goals_given, kit_of_design
from synth.errors import TimeError

HELP = """Find short times with which to test a design on the bench.

DESIGN is a design or plan that holds (JSON or YAML); GOALS is a goal file, or a list of phrases
where no such file exists. Every timer gets a test time, as small as possible, such that every
goal holds in its scaled form and the events of each circuit keep their order: both are proven.
Circuits that share an input or part keep it among each other, as far as the sheet says. The sheet
has real and test values side by side, and a line to tick when the real times are set back.

\b
Examples:
  synth bench plan/design.json goals/potting-shed.yaml
  synth bench plan/design.json goals/potting-shed.yaml --out bench
  synth bench plan/design.json goals/hen-house.yaml --reaction "500 ms" --longest "30 s"

\b
Exit codes: 0 test times, 1 the design does not hold or the order cannot be kept within --longest,
2 bad input, 3 undecided.
"""


def _time(ctx: click.Context, parameter: click.Parameter, value: str | None) -> int | None:
    """Return a time in ticks."""
    if value is None:
        return None
    from synth.ticks import parse_duration

    try:
        return parse_duration(value)
    except TimeError as problem:
        raise click.BadParameter(problem.message) from None


@click.command("bench", help=HELP)
@click.argument("design_file", metavar="DESIGN")
@click.argument("goals", metavar="GOALS")
@click.option(
    "--factor",
    type=Number(min=1, max=1000),
    default=5.0,
    show_default=True,
    help="Every test time is at least this many times the reaction.",
)
@click.option(
    "--reaction",
    metavar="TIME",
    default="0.2 s",
    callback=_time,
    show_default=True,
    help="Operate, release or minimum trigger time of the slowest part (common practice, no "
    "source: look your parts up).",
)
@click.option(
    "--longest", metavar="TIME", callback=_time, help="The longest test time that is wanted; "
    "within it longer times need not stay longer than shorter ones."
)
@click.option(
    "--inputs-apart",
    is_flag=True,
    help="Leave runs out of account in which an input changes at the very instant a time is up; "
    "the goals are still checked for them.",
)
@kit_of_design
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True
)
@click.option(
    "--out",
    type=FOLDER,
    metavar="FOLDER",
    help="Also write bench-design.json, bench-goals.yaml, settings.csv, settings.md.",
)
@click.option(
    "--time-limit",
    type=Number(min=0.1, max=86_400),
    default=60.0,
    show_default=True,
    help="Seconds to search; then the best so far, honestly labelled.",
)
def command(
    design_file: str,
    goals: str,
    factor: float,
    reaction: int,
    longest: int | None,
    inputs_apart: bool,
    kit: str | None,
    form: str,
    out: str | None,
    time_limit: float,
) -> None:
    """Find test times; see HELP."""
    from synth import pipeline
    from synth.cli import _console

    file, text = goals_given(goals)
    problem, design = pipeline.read_design(design_file, file, text, kit)
    verdict = pipeline.check_design(design, problem, max(30.0, time_limit))
    if not verdict.holds:
        click.echo(f"synth: the design does not hold: {verdict.defects[0].message}", err=True)
        click.echo("  test times keep what holds; synth check shows what is wrong", err=True)
        sys.exit(1)
    found, files = pipeline.bench(
        design, problem, file, text,
        pipeline.bench_wishes(
            reaction, Fraction(str(factor)), longest, time_limit, inputs_apart
        ),
    )  # fmt: skip
    if out is not None:
        pipeline.write_folder(out, files)
    if form == "json":
        from synth.report.document import to_json
        from synth.report.settings_page import sheet_document

        click.echo(to_json(sheet_document(found.sheet)), nl=False)
    else:
        from synth.report.settings_page import print_sheet

        print_sheet(_console(), found.sheet)
        if out is not None:
            click.echo(f"\nWritten to {out}: {', '.join(files)}")
    if found.sheet.too_long:
        sys.exit(1 if found.sheet.out_of_reach else 3)
