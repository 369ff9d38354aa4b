"""`synth page`: one HTML page in which a design runs."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from synth.commands.numbers import Number
from synth.commands.places import FOLDER_OR_FILE, goals_given, kit_of_design

HELP = """Write one HTML page in which the circuit runs: work it, watch it, go back in time.

DESIGN is a design or plan (JSON or YAML); GOALS is a goal file, or a list of phrases where no such
file exists. The page needs no network and no other file: open it in a browser, also on a phone.
The design is checked first. If it fails, the page plays what goes wrong.

\b
Examples:
  synth page plan/design.json goals/potting-shed.yaml
  synth page my-design.yaml "light always" --out look

\b
Exit codes: 0 holds, 1 fails, 2 bad input, 3 undecided. The page is written but for bad input.
"""

FILE = "page.html"


@click.command(name="page", help=HELP)
@click.argument("design_file", metavar="DESIGN")
@click.argument("goals", metavar="GOALS")
@kit_of_design
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True
)
@click.option(
    "--out", type=FOLDER_OR_FILE, metavar="FOLDER|FILE", default=".", show_default=True,
    help=f"Where {FILE} is written, or the file itself (a name that ends in .html).",
)
@click.option(
    "--time-limit",
    type=Number(min=0.1, max=86_400),
    default=60.0,
    show_default=True,
    help="Seconds to check.",
)
def command(
    design_file: str, goals: str, kit: str | None, form: str, out: str, time_limit: float
) -> None:
    """Write the page; see HELP."""
    from synth import pipeline

    file, text = goals_given(goals)
    problem, design = pipeline.read_design(design_file, file, text, kit)
    why = {}
    if pipeline.holds(design, problem, time_limit):
        why = pipeline.without_parts(design, problem, file, text, time_limit)
    page, verdict = pipeline.running_page(design, problem, time_limit, why)
    named = out.lower().endswith((".html", ".htm")) and not Path(out).is_dir()
    folder, name = (str(Path(out).parent), Path(out).name) if named else (out, FILE)
    pipeline.write_folder(folder, {name: page})
    standing = "undecided" if verdict is None else "holds" if verdict.holds else "fails"
    if form == "json":
        from synth.report.document import to_json

        click.echo(to_json({"file": f"{folder}/{name}", "verdict": standing}), nl=False)
    else:
        click.echo(f"Written to {folder}: {name}. Check: {standing}.")
    sys.exit({"holds": 0, "fails": 1, "undecided": 3}[standing])
