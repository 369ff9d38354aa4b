"""`synth why`: what is each part, wire and setting of a design for, and why nothing cheaper?"""

from __future__ import annotations

import sys
from dataclasses import replace

import click

from synth.commands.numbers import Number
from synth.commands.places import FOLDER, goals_given, kit_of_design
from synth.errors import DesignError

HELP = """Tell what each part, wire and setting of a design is for.

DESIGN is a design or plan that holds (JSON or YAML); GOALS is a goal file, or a list of phrases
where no such file exists. Each part is left out, bridged or passed by, each setting changed a
little, each wire left out: the exact check finds the shortest input sequence that breaks a goal,
and it is told what only a wish for how it is built needs.

\b
Examples:
  synth why plan/design.json goals/potting-shed.yaml
  synth why plan/design.json goals/potting-shed.yaml --part "relay break 1"
  synth why plan/design.json goals/potting-shed.yaml --bound --out why

\b
Exit codes: 0 all told, 1 the design does not hold, 2 bad input, 3 not all was decided.
Ctrl-C stops and shows what there is.
"""

ALONE = 0.5
"""The share of the time limit that is spent at most on parts of the job by themselves."""


@click.command("why", help=HELP)
@click.argument("design_file", metavar="DESIGN")
@click.argument("goals", metavar="GOALS")
@click.option("--part", metavar="NAME", help="Only this part, with a timing picture.")
@click.option("--bound", is_flag=True, help="Also plan anew, and tell why nothing cheaper will do.")
@click.option(
    "--no-cache", is_flag=True, help="With --bound: do not use or keep what earlier runs proved."
)
@kit_of_design
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True
)
@click.option(
    "--out", type=FOLDER, metavar="FOLDER",
    help="Also write why.md and a timing picture per part.",
)
@click.option(
    "--time-limit",
    type=Number(min=0.1, max=86_400),
    default=60.0,
    show_default=True,
    help="Seconds; then what there is, labelled. With --bound as long again to plan, and half as "
    "long for parts of the job by themselves.",
)
def command(
    design_file: str,
    goals: str,
    part: str | None,
    bound: bool,
    no_cache: bool,
    kit: str | None,
    form: str,
    out: str | None,
    time_limit: float,
) -> None:
    """Tell why each part is there; see HELP."""
    from synth import pipeline
    from synth.cli import _console, _told_known, _Watch
    from synth.read.suggest import did_you_mean

    file, text = goals_given(goals)
    problem, design = pipeline.read_design(design_file, file, text, kit)
    names = [item.name for item in design.parts]
    if part is not None and part not in names:
        from synth.report.symbols import designations

        # By its mark in the drawings, as 'K2'.
        part = {mark: name for name, mark in designations(design).items()}.get(part, part)
    if part is not None and part not in names:
        raise DesignError(
            f"the design has no part called '{part}'", hint=did_you_mean(part, names)
        )
    verdict = pipeline.check_design(design, problem, time_limit)
    if not verdict.holds:
        click.echo(f"synth: the design does not hold: {verdict.defects[0].message}", err=True)
        click.echo("  only of a design that holds can one say what its parts are for;", err=True)
        click.echo("  synth check shows all that is wrong with it", err=True)
        sys.exit(1)
    fewer = pipeline.goals_left_out(file, text, problem)
    outcome, floor, memory = None, None, None
    price = design.price(problem.kit, problem.limits.stock)
    with _Watch(quiet=form == "json") as watch:
        reasons = pipeline.explain_design(
            design,
            problem,
            fewer,
            part,
            time_limit,
            lambda done, of: watch.report(f"change {done + 1} of {of}", None, None),
            watch.stopped,
        )
        if bound and not watch.stopped():
            memory = None if no_cache else pipeline.open_memory()
            outcome = pipeline.plan(
                problem,
                watch.report,
                time_limit,
                stopped=watch.stopped,
                memory=memory,
            )
            best = price
            if outcome.design is not None:
                best = outcome.design.price(problem.kit, problem.limits.stock)
            floor = pipeline.least_price(problem, min(best, price))
            left = ALONE * time_limit
            alone = pipeline.solved_alone(problem, left, memory, watch.stopped)
            floor = replace(floor, alone=alone)

    for note in memory.notes if memory is not None else ():
        click.echo(f"synth: {note}", err=True)
    from synth.report import reasons as shown

    told = [] if floor is None or outcome is None else shown.floor_lines(
        floor, price, outcome, problem
    )  # fmt: skip
    if out is not None:
        bounds = outcome.bounds if outcome is not None else ()
        pipeline.write_folder(out, shown.reasons_files(problem, reasons, told, bounds))
    if form == "json":
        from synth.report.document import to_json

        document = shown.reasons_document(problem, reasons)
        if floor is not None and outcome is not None:
            document["bound"] = shown.floor_document(floor, price, outcome, problem)
        click.echo(to_json(document), nl=False)
    else:
        console = _console()
        if part is not None:
            shown.print_part(console, problem, reasons)
        else:
            shown.print_reasons(console, design, problem, reasons)
        if floor is not None and outcome is not None:
            shown.print_floor(console, floor, price, outcome, problem)
            if memory is not None and memory.known:
                click.echo(f"\n{_told_known(memory.known)}")
        if out is not None:
            click.echo(f"Written to {out}: why.md and timing pictures")
    sys.exit(0 if reasons.complete else 3)
