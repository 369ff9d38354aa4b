"""`synth lesson`: a circuit built up goal by goal, for whoever learns to build one."""

from __future__ import annotations

import sys

import click

from synth.commands.numbers import Number
from synth.commands.places import FOLDER, any_kit, goals_given
from synth.commands.searching import searches

HELP = """Write a lesson that builds a circuit up goal by goal.

GOALS is a goal file, or a list of phrases where no such file exists. Each stage shows a first
attempt and the shortest sequence of inputs in which it fails, the mend, what changed in parts,
wires and power, short times for a test on the bench, and questions with their answers folded
away. Wishes for how it is built come last. All of it comes from the search and the exact check; a
goal for which no circuit is found in its share of the time is put off to the end. The lesson is
Markdown with pictures, and one HTML page that needs no other file.

\b
Examples:
  synth lesson goals/potting-shed.yaml --out lesson
  synth lesson "lamp at night, fan while hot" --kit full --out lesson

\b
Exit codes: 0 written, 1 the goals are impossible, 2 bad input, 3 undecided: not all goals came
about in time. In both cases the stages that did come about are written.
Ctrl-C stops the search and writes what there is.
"""


@click.command("lesson", help=HELP)
@click.argument("goals", metavar="GOALS")
@click.option(
    "--out", type=FOLDER, metavar="FOLDER", required=True,
    help="Where the lesson is written.",
)
@any_kit
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True
)
@click.option(
    "--time-limit",
    type=Number(min=0.1, max=86_400),
    default=60.0,
    show_default=True,
    help="Seconds to plan all stages together; what is checked, tried and drawn comes on top.",
)
@searches
def command(
    goals: str,
    out: str,
    kit: str | None,
    form: str,
    time_limit: float,
    seed: int,
    fast: bool,
    no_cache: bool,
) -> None:
    """Write the lesson; see HELP."""
    from synth import pipeline
    from synth.cli import _Watch, expect_fast

    expect_fast(fast)
    file, text = goals_given(goals)
    problem = pipeline.read_problem(file, text, kit)
    memory = None if no_cache else pipeline.open_memory()
    with _Watch(quiet=form == "json") as watch:
        found = pipeline.lesson(
            file,
            text,
            problem,
            time_limit,
            seed,
            fast,
            memory,
            lambda stage: watch.report(stage, None, None),
            watch.stopped,
        )
    for note in memory.notes if memory is not None else ():
        click.echo(f"synth: {note}", err=True)
    from synth.report.document import to_json
    from synth.report.lesson import lesson_files
    from synth.report.lesson_data import lesson_document

    files = lesson_files(found) if found.stages else {}
    if files:
        pipeline.write_folder(out, files)
    if form == "json":
        click.echo(to_json(lesson_document(found, out, sorted(files))), nl=False)
    else:
        if files:
            number = len(found.stages)
            stages = "1 stage" if number == 1 else f"{number} stages"
            click.echo(f"{stages}, {len(files)} files written to {out}; begin with lesson.html or "
                       "lesson.md.")  # fmt: skip
        for note in found.notes:
            click.echo(f"synth: {note}", err=True)
        if not files:
            click.echo("synth: nothing is written; synth clash says what clashes", err=True)
    sys.exit(pipeline.exit_code(found.end))
