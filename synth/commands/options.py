"""`synth options`: the front of price, power and parts, and really different designs."""

from __future__ import annotations

import sys

import click

from synth.commands.numbers import Number, Whole
from synth.commands.places import FOLDER, any_kit
from synth.commands.searching import searches

HELP = """Show what else could be built: cheaper, with less power, or of fewer parts.

FILE is a goal file (YAML); or say the goals with --goals. The front has the designs that no other
beats in price, supply units and number of parts at once, each checked, each with what is proven of
it. With --designs all really different designs for one of them follow: not the same one with its
parts renamed.

\b
Examples:
  synth options goals/potting-shed.yaml
  synth options goals/potting-shed.yaml --designs 10 --out options
  synth options --goals "pump on 10 s of every 60 s, light always" --point 2 --designs 5

\b
Exit codes: 0 at least one checked design, 1 impossible, 2 bad input, 3 undecided.
Ctrl-C stops the search and shows what was found so far.
"""


@click.command("options", help=HELP)
@click.argument("file", required=False)
@click.option("--goals", metavar="TEXT", help="The goals, as phrases with commas between them.")
@any_kit
@click.option(
    "--designs",
    type=Whole(0, 1000),
    default=0,
    show_default=True,
    help="So many different designs for one choice of the front.",
)
@click.option(
    "--point",
    type=Whole(1, 1000),
    default=1,
    show_default=True,
    help="The number of that choice.",
)
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True
)
@click.option(
    "--out", type=FOLDER, metavar="FOLDER",
    help="Also write options.json, front.svg, choice-1.json and so on.",
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
    designs: int,
    point: int,
    form: str,
    out: str | None,
    time_limit: float,
    seed: int,
    fast: bool,
    no_cache: bool,
) -> None:
    """Show the front and different designs; see HELP."""
    from synth import pipeline
    from synth.cli import _console, _Watch, expect_fast

    expect_fast(fast)
    problem = pipeline.read_problem(file, goals, kit, contradictory=True)
    memory = None if no_cache else pipeline.open_memory()
    with _Watch(quiet=form == "json") as watch:
        choices, outcome = pipeline.options(
            problem,
            time_limit,
            designs,
            point,
            seed,
            fast,
            memory,
            lambda stage: watch.report(stage, None, None),
            watch.stopped,
        )
    from synth.report.choices import choices_document, front_svg, print_choices
    from synth.report.document import to_json

    document = choices_document(choices, problem, outcome)
    if not choices.front:
        if form == "json":
            click.echo(to_json(document), nl=False)
        else:
            from synth.report.terminal import print_plan

            print_plan(_console(), pipeline.by_price(problem), outcome)
        sys.exit(pipeline.exit_code(outcome))
    if out is not None:
        files = {
            "options.json": to_json(document),
            "front.svg": front_svg(choices, problem.title),
        }
        for kind in ("front", "designs"):
            stem = "choice" if kind == "front" else "design"
            for number, one in enumerate(document[kind], 1):
                files[f"{stem}-{number}.json"] = to_json(one["design"])
        pipeline.write_folder(out, files)
    if form == "json":
        click.echo(to_json(document), nl=False)
        return
    print_choices(_console(), problem, choices)
    if out is not None:
        click.echo(f"Written to {out}: {', '.join(files)}")
