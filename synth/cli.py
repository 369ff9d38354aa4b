"""The command line: knows the pipeline and click, nothing else of the house."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from synth import __version__
from synth.errors import SynthError, Undecided

if TYPE_CHECKING:
    from rich.console import Console

FORMATS = click.Choice(["text", "json"])

PLAN_HELP = """Find the cheapest circuit for a list of goals, proven and checked.

FILE is a goal file (YAML); or say the goals with --goals.

\b
Examples:
  synth plan goals/potting-shed.yaml
  synth plan --goals "pump on 10 s of every 60 s, light always, heater at night"
  synth plan goals/potting-shed.yaml --kit full --out plan
  synth plan goals/potting-shed.yaml --format json

\b
Exit codes: 0 a checked design, 1 impossible, 2 bad input, 3 undecided.
Ctrl-C stops the search and shows the best design so far.
"""

CHECK_HELP = """Check a design against goals: every input sequence, at any moment.

DESIGN is a design or plan (JSON or YAML), also one typed by hand; GOALS is a goal file, or a
list of phrases where no such file exists.

\b
Examples:
  synth check plan/design.json goals/potting-shed.yaml
  synth check my-design.yaml "light always" --out look

\b
Exit codes: 0 holds, 1 fails, 2 bad input, 3 undecided.
"""

KIT_HELP = """Show a kit, or check a kit file of your own.

\b
Examples:
  synth kit
  synth kit full
  synth kit --check my-kit.yaml
"""


class _Group(click.Group):
    """Turns every error that the tool can name into one message and its exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; when whoever read the output has gone, nothing is left to say."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            sys.stdout = open(os.devnull, "w")  # noqa: SIM115 - kept open until the end
            ctx.exit(0)

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run the command; never ends in a traceback."""
        try:
            return super().main(*args, **kwargs)
        except SynthError as error:
            _fail(error)
        except RecursionError:
            _fail(SynthError("the input is nested too deeply to be read"))
        except MemoryError:
            _fail(SynthError("the input needs more memory than there is"))
        except Exception as failure:
            if os.environ.get("SYNTH_DEBUG"):
                raise
            told = f"{type(failure).__name__}: {failure}"[:200]
            _fail(
                Undecided(
                    f"a mistake in synth itself, nothing can be said ({told})",
                    hint="set SYNTH_DEBUG=1 to see where, and report it with the goals",
                )
            )


def _fail(error: SynthError) -> NoReturn:
    click.echo(f"synth: {error}", err=True)
    sys.exit(error.exit_code)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="synth")
def main() -> None:
    """From goals in plain words to the cheapest circuit that fulfils them.

    \b
    synth plan goals/potting-shed.yaml    the cheapest circuit, proven, checked, ready to wire
    synth check DESIGN GOALS              does this design do it? if not, when does it fail?
    synth kit                             the parts on offer
    """


def _console() -> Console:
    from rich.console import Console

    class Quiet(Console):
        """Ends in peace when whoever read the output has gone."""

        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    width = None if sys.stdout.isatty() else 100
    return Quiet(width=width, highlight=False, soft_wrap=False)


def _number(ctx: click.Context, parameter: click.Parameter, value: float) -> float:
    """Refuse a time limit that is no number."""
    if value != value:
        raise click.BadParameter("must be a number of seconds")
    return value


class _Watch:
    """Shows progress on a terminal, and hears Ctrl-C: once to stop with the best so far."""

    def __init__(self, quiet: bool) -> None:
        self.quiet = quiet or not sys.stderr.isatty()
        self.interrupted = False
        self.width = 0
        self.known: dict[str, int] = {}

    def __enter__(self) -> _Watch:
        self.previous = signal.getsignal(signal.SIGINT)
        signal.signal(signal.SIGINT, self._heard)
        return self

    def _heard(self, number: int, frame: object) -> None:
        if self.interrupted:
            raise KeyboardInterrupt
        self.interrupted = True

    def __exit__(self, *problem: object) -> None:
        signal.signal(signal.SIGINT, self.previous)
        if self.width:
            click.echo("\r" + " " * self.width + "\r", err=True, nl=False)

    def stopped(self) -> bool:
        """Return whether Ctrl-C was pressed."""
        return self.interrupted

    def report(self, stage: str, price: int | None, bound: int | None) -> None:
        """Show the stage, the best price so far and the proven bound on one line."""
        if self.quiet:
            return
        if price is not None:
            self.known["best so far"] = price
        if bound is not None:
            self.known["bound"] = bound
        told = ", ".join(f"{key} {value}" for key, value in self.known.items())
        line = f"{stage} ... {told}"
        click.echo("\r" + line.ljust(self.width), err=True, nl=False)
        self.width = max(self.width, len(line))


@main.command(help=PLAN_HELP)
@click.argument("file", required=False)
@click.option("--goals", metavar="TEXT", help="The goals, as phrases with commas between them.")
@click.option("--kit", metavar="NAME|FILE", help="starter, full, or a kit file of your own.")
@click.option("--format", "form", type=FORMATS, default="text", show_default=True)
@click.option("--out", metavar="FOLDER", help="Also write design.json, wiring.svg, timing.svg.")
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.1, max=86_400),
    default=60.0,
    callback=_number,
    show_default=True,
    help="Seconds to search; then the best so far, honestly labelled.",
)
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True)
@click.option(
    "--fast",
    is_flag=True,
    help="Let the optional solver for plain clauses answer what it can (pip install '.[fast]').",
)
def plan(
    file: str | None,
    goals: str | None,
    kit: str | None,
    form: str,
    out: str | None,
    time_limit: float,
    seed: int,
    fast: bool,
) -> None:
    """Find the cheapest circuit; see PLAN_HELP."""
    from synth import pipeline

    if fast and not pipeline.fast_available():
        raise click.UsageError(
            "the solver that --fast asks for is not installed; install it with "
            "\"pip install '.[fast]'\", or leave --fast out"
        )
    problem = pipeline.read_problem(file, goals, kit)
    with _Watch(quiet=form == "json") as watch:
        outcome = pipeline.plan(problem, watch.report, time_limit, seed, watch.stopped, fast)
    from synth.report.document import plan_document, to_json

    document = plan_document(outcome, problem)
    if out is not None and outcome.design is not None:
        files = {"design.json": to_json(document["design"])}
        files.update(pipeline.drawings(outcome.design, problem))
        pipeline.write_folder(out, files)
    if form == "json":
        click.echo(to_json(document), nl=False)
    else:
        from synth.report.terminal import print_plan

        print_plan(_console(), problem, outcome)
        if out is not None and outcome.design is not None:
            click.echo(f"Written to {out}: design.json, wiring.svg, timing.svg")
    sys.exit(pipeline.exit_code(outcome))


@main.command(help=CHECK_HELP)
@click.argument("design_file", metavar="DESIGN")
@click.argument("goals", metavar="GOALS")
@click.option("--kit", metavar="NAME|FILE", help="The kit; by default the one the design names.")
@click.option("--format", "form", type=FORMATS, default="text", show_default=True)
@click.option("--out", metavar="FOLDER", help="Also write wiring.svg and a timing picture.")
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.1, max=86_400),
    default=600.0,
    callback=_number,
    show_default=True,
    help="Seconds to check.",
)
def check(
    design_file: str, goals: str, kit: str | None, form: str, out: str | None, time_limit: float
) -> None:
    """Check a design exactly; see CHECK_HELP."""
    from synth import pipeline

    is_file = Path(goals).exists() or goals.endswith((".yaml", ".yml", ".json"))
    file, text = (goals, None) if is_file else (None, goals)
    problem, design = pipeline.read_design(design_file, file, text, kit)
    verdict = pipeline.check_design(design, problem, time_limit)
    if out is not None:
        pipeline.write_folder(out, pipeline.verdict_pictures(design, problem, verdict))
    if form == "json":
        from synth.report.document import to_json, verdict_document

        click.echo(to_json(verdict_document(verdict)), nl=False)
    else:
        from synth.report.terminal import print_verdict

        print_verdict(_console(), design, problem, verdict)
    sys.exit(0 if verdict.holds else 1)


@main.command(help=KIT_HELP)
@click.argument("kit", metavar="[NAME|FILE]", default="starter")
@click.option("--check", "check_file", metavar="FILE", help="Only say whether FILE is a kit.")
@click.option("--format", "form", type=FORMATS, default="text", show_default=True)
def kit(kit: str, check_file: str | None, form: str) -> None:
    """Show or check a kit; see KIT_HELP."""
    from synth.read.kit_file import kit_document, load_kit

    if check_file is not None:
        found = load_kit(check_file)
        click.echo(f"{check_file}: a usable kit, '{found.name}', {len(found.parts)} parts")
        return
    found = load_kit(kit)
    if form == "json":
        from synth.report.document import to_json

        click.echo(to_json(kit_document(found)), nl=False)
        return
    from synth.report.terminal import print_kit

    print_kit(_console(), found)


if __name__ == "__main__":
    main()
