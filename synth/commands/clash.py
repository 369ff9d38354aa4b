"""`synth clash`: the smallest set of goals and limits that cannot be had together, and ways out."""

from __future__ import annotations

import sys

import click

from synth.commands.numbers import Number
from synth.commands.places import any_kit
from synth.commands.searching import searches

HELP = """Say why goals cannot be had together, and the least that must give.

FILE is a goal file (YAML); or say the goals with --goals. Where the whole list is impossible, the
smallest set of goals and limits that clash is shown, with the figures, and the cheapest ways out:
a goal dropped, a limit loosened by the least that does. Each way out was planned and checked.

\b
Examples:
  synth clash goals/potting-shed.yaml
  synth clash my-goals.yaml --format json
  synth clash --goals "pump on 10 s of every 60 s, fan on 5 s of every 20 s" --kit my-kit.yaml

\b
Exit codes: 0 nothing clashes, 1 something does, 2 bad input, 3 undecided.
Ctrl-C stops the search and shows what was found so far.
"""


@click.command("clash", help=HELP)
@click.argument("file", required=False)
@click.option("--goals", metavar="TEXT", help="The goals, as phrases with commas between them.")
@any_kit
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True
)
@click.option(
    "--time-limit",
    type=Number(min=0.1, max=86_400),
    default=60.0,
    show_default=True,
    help="Seconds to search; then what was found so far, honestly labelled.",
)
@searches
def command(
    file: str | None,
    goals: str | None,
    kit: str | None,
    form: str,
    time_limit: float,
    seed: int,
    fast: bool,
    no_cache: bool,
) -> None:
    """Show a clash and the ways out; see HELP."""
    from synth import pipeline
    from synth.cli import _console, _Watch, expect_fast

    expect_fast(fast)
    problem = pipeline.read_problem(file, goals, kit, contradictory=True)
    with _Watch(quiet=form == "json") as watch:
        conflict = pipeline.clash(
            file,
            goals,
            problem,
            time_limit,
            seed,
            fast,
            lambda stage: watch.report(stage, None, None),
            watch.stopped,
            None if no_cache else pipeline.open_memory(),
        )
    if form == "json":
        from synth.report.conflict import conflict_document
        from synth.report.document import to_json

        click.echo(to_json(conflict_document(conflict, problem)), nl=False)
    else:
        from synth.report.conflict import print_conflict

        print_conflict(_console(), problem, conflict)
    sys.exit(pipeline.clash_code(conflict))
