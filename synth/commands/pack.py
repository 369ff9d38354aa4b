"""`synth pack`: the hand-over pack, all that another person needs to build, test and keep it."""

from __future__ import annotations

import re
import sys
from fractions import Fraction
from pathlib import Path

import click

from synth.commands.numbers import Number, Whole
from synth.commands.places import FOLDER, goals_given, kit_of_design
from synth.errors import TimeError

HELP = """Write the hand-over pack of a design that holds: fifteen items for whoever takes over.

DESIGN is a design or plan (JSON or YAML); GOALS is a goal file, or a list of phrases where no such
file exists. The pack has the card for the panel, cautions, circuit diagram, wire, terminal and
parts lists, settings, timing, cause and effect, test sheet, energy and water budget,
troubleshooting, build steps, reset and change log: pages (Markdown, and one HTML page to print),
tables (CSV), drawings (SVG, and PDF after pip install '.[pdf]'), data (VCD, WaveJSON, JUnit, TAP),
and page.html, in which the circuit runs. Test times are found as synth bench finds them. The design
is checked first.

\b
Examples:
  synth pack plan/design.json goals/potting-shed.yaml --out pack
  synth pack plan/design.json goals/potting-shed.yaml --out pack --night "9 h" --store 120
  synth pack plan/design.json goals/potting-shed.yaml --out pack --flow pump=0.8 --tank 20

\b
Exit codes: 0 written, 1 the design does not hold, 2 bad input, 3 undecided.
"""

MOST = Fraction(10**9)


def _positive(text: str, what: str) -> Fraction:
    """Return a number above 0 as it stands, exactly."""
    try:
        value = Fraction(text.strip()) if len(text) <= 40 and "/" not in text else None
    except (ValueError, ZeroDivisionError):
        value = None
    if value is None or not 0 < value <= MOST:
        raise click.BadParameter(f"'{text[:40]}' is no number of {what} above 0")
    return value


def _units(ctx: click.Context, parameter: click.Parameter, value: str | None) -> Fraction | None:
    words = {"store": "unit-hours", "tank": "litres", "watts": "watts"}
    return None if value is None else _positive(value, words[parameter.name or ""])


def _night(ctx: click.Context, parameter: click.Parameter, value: str | None) -> int | None:
    """Return the length of the night in ticks, at most a day."""
    if value is None:
        return None
    from synth.ticks import parse_duration

    try:
        ticks = parse_duration(value)
    except TimeError as problem:
        raise click.BadParameter(problem.message) from None
    if ticks > 86_400_000:
        raise click.BadParameter("a night is at most 24 h long")
    return ticks


def _reaction(ctx: click.Context, parameter: click.Parameter, value: str) -> int:
    """Return a reaction in ticks, at most an hour."""
    from synth.ticks import parse_duration

    try:
        ticks = parse_duration(value)
    except TimeError as problem:
        raise click.BadParameter(problem.message) from None
    if not 0 < ticks <= 3_600_000:
        raise click.BadParameter("a reaction is more than nothing and at most 1 h")
    return ticks


def _flows(
    ctx: click.Context, parameter: click.Parameter, value: tuple[str, ...]
) -> tuple[tuple[str, Fraction], ...]:
    """Return (load, litres a minute) of each flow."""
    found: dict[str, Fraction] = {}
    for text in value:
        load, sign, number = text.rpartition("=")
        if not sign or not load.strip():
            raise click.BadParameter(f"'{text[:40]}' is not of the form LOAD=LITRES_A_MINUTE")
        if load.strip() in found:
            raise click.BadParameter(f"two flows are stated for '{load.strip()}'")
        found[load.strip()] = _positive(number, "litres a minute")
    return tuple(found.items())


@click.command(name="pack", help=HELP)
@click.argument("design_file", metavar="DESIGN")
@click.argument("goals", metavar="GOALS")
@click.option(
    "--out", type=FOLDER, metavar="FOLDER", required=True,
    help="Where the pack is written.",
)
@kit_of_design
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
@click.option("--night", metavar="TIME", callback=_night,
              help="How long the night is, for the budget: that of your midwinter. [default: 14 h, "
              "or as near as the goals allow]")
@click.option("--store", metavar="UNIT-HOURS", callback=_units,
              help="What the battery or other store holds and may give.")
@click.option("--watts", metavar="W", callback=_units, help="Watts in one unit, told beside units.")
@click.option("--flow", "flows", metavar="LOAD=L/MIN", multiple=True, callback=_flows,
              help="What a load moves of water while it is on; may be given several times.")
@click.option("--tank", metavar="LITRES", callback=_units, help="What the tank holds.")
@click.option("--reaction", metavar="TIME", default="2 s", callback=_reaction, show_default=True,
              help="Test times are at least five times this: what the slowest part needs, or "
              "whoever tests and writes it down (common practice, no source).")
@click.option("--steps", type=Whole(1, 100_000), default=1000, show_default=True,
              help="About how many steps the test sheet may have.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text",
              show_default=True)
@click.option("--time-limit", type=Number(min=0.1, max=86_400), default=600.0,
              show_default=True, help="Seconds to check and explore.")
def command(
    design_file: str, goals: str, out: str, kit: str | None, paper: str, night: int | None,
    store: Fraction | None, watts: Fraction | None, flows: tuple[tuple[str, Fraction], ...],
    tank: Fraction | None, reaction: int, steps: int, form: str, time_limit: float,
) -> None:
    """Write the pack; see HELP."""
    from synth import pipeline

    if tank is not None and not flows:
        raise click.UsageError("--tank says nothing without a --flow out of it")
    file, text = goals_given(goals)
    problem, design = pipeline.read_design(design_file, file, text, kit)
    verdict = pipeline.check_design(design, problem, time_limit)
    if not verdict.holds:
        click.echo(f"synth: the design does not hold: {verdict.defects[0].message}", err=True)
        click.echo("  only what holds is handed over; synth check shows what is wrong", err=True)
        sys.exit(1)
    budget = pipeline.store(store, watts, flows, tank)
    files = pipeline.pack(
        design, problem, verdict, night=night, store=budget, paper=paper, most_steps=steps,
        seconds=time_limit, goals=(file, text), reaction=reaction,
    )
    pipeline.write_folder(out, files)
    # What an earlier pack had and this one has not would be taken for a sheet of this one.
    left = sorted(path.name for path in Path(out).iterdir()
                  if path.name not in files and re.match(r"\d\d-|drawings\.pdf$", path.name))
    if left:
        click.echo(f"synth: left in {out} from an earlier pack, and no part of this one: "
                   f"{', '.join(left)}", err=True)
    if form == "json":
        from synth.report.document import to_json

        click.echo(to_json({"folder": out, "files": sorted(files)}), nl=False)
        return
    click.echo(f"{problem.title or 'Pack'}: {len(files)} files in {out}; begin with index.md or "
               "index.html.")
    if "drawings.pdf" not in files:
        click.echo("No PDF: its library is not installed (pip install '.[pdf]').")
    click.echo("Read the cautions (02) before anything is touched. Local codes come first.")
