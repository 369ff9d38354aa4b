"""`synth change`: from what is wired already to a circuit for other goals."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from synth.commands.numbers import Number, Whole
from synth.commands.places import FOLDER, goals_given, kit_of_design
from synth.commands.searching import searches

UNDECIDED = 3
"""The exit code where nothing can be said."""
HELP = """Say how to change a circuit that is wired for other goals, with little rewiring.

DESIGN is the design or plan (JSON or YAML) of what is wired; GOALS is a goal file with all goals,
the old ones that still count and the new, or a list of phrases where no such file exists. Shown are
ways to get there, each checked against all these goals: little done to what is wired, the cheapest
design whatever is wired, and designs that keep every part there is; those that no other beats in
changed connections, in wires moved and parts taken out, in what is to be bought, and in units. Of
one of them follows what to buy, and which wires to take off, move and put on.

\b
Examples:
  synth change plan/design.json goals/potting-shed.yaml
  synth change plan/design.json "pump on 10 s of every 60 s, lamp at night" --out changed
  synth change plan/design.json goals/potting-shed.yaml --way 2 --format json

\b
Exit codes: 0 a checked way, 1 the goals are impossible, 2 bad input, 3 undecided.
Ctrl-C stops the search and shows the ways so far.
"""


@click.command("change", help=HELP)
@click.argument("design_file", metavar="DESIGN")
@click.argument("goals", metavar="GOALS")
@kit_of_design
@click.option(
    "--way", type=Whole(1, 1000), default=1, show_default=True,
    help="The number of the way that is told step by step.",
)
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True
)
@click.option(
    "--out", type=FOLDER, metavar="FOLDER",
    help="Also write that way: design.json, wiring.svg, timing.svg; and change.json.",
)
@click.option(
    "--time-limit",
    type=Number(min=0.1, max=86_400),
    default=60.0,
    show_default=True,
    help="Seconds to search; then the ways so far.",
)
@searches
def command(
    design_file: str,
    goals: str,
    kit: str | None,
    way: int,
    form: str,
    out: str | None,
    time_limit: float,
    seed: int,
    fast: bool,
    no_cache: bool,
) -> None:
    """Show ways to change a circuit; see HELP."""
    from synth import pipeline
    from synth.cli import _console, _Watch, expect_fast

    expect_fast(fast)
    if out is not None and (Path(out) / "design.json").resolve() == Path(design_file).resolve():
        raise click.UsageError(f"{design_file} is what is wired, and would be written over")
    file, text = goals_given(goals)
    with _Watch(quiet=form == "json") as watch:
        problem, old = pipeline.read_design(design_file, file, text, kit, for_these=False)
        memory = None if no_cache else pipeline.open_memory()
        found = pipeline.change(
            old, problem, time_limit, seed, fast, memory, watch.report, watch.stopped
        )
    for note in memory.notes if memory is not None else ():
        click.echo(f"synth: {note}", err=True)
    from synth.report.changes import alteration_document, print_alteration
    from synth.report.document import to_json

    document = alteration_document(problem, found)
    if not found.ways:
        if form == "json":
            click.echo(to_json(document), nl=False)
        else:
            from synth.report.terminal import print_plan

            click.echo("No way was found from what is wired. A plan of all goals came to this:\n")
            print_plan(_console(), problem, found.outcome)
        sys.exit(pipeline.exit_code(found.outcome) or UNDECIDED)
    if way > len(found.ways):
        if form == "text":
            print_alteration(_console(), problem, found, None)
        raise click.UsageError(f"there is no way {way}; say --way 1 to {len(found.ways)}")
    if out is not None:
        chosen = found.ways[way - 1]
        files: dict[str, str | bytes] = {
            "change.json": to_json(document),
            "design.json": to_json(document["ways"][way - 1]["design"]),
            **pipeline.drawings(chosen.design, problem, None if found.holds else chosen.changes),
        }
        pipeline.write_folder(out, files)
    if form == "json":
        click.echo(to_json(document), nl=False)
        return
    print_alteration(_console(), problem, found, way)
    if out is not None:
        click.echo(f"Written to {out}: {', '.join(files)}")
