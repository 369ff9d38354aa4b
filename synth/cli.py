"""The command line: knows the pipeline and click, nothing else of the house."""

from __future__ import annotations

import errno
import os
import signal
import sys
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NoReturn

import click

from synth import __version__
from synth.commands.numbers import Number
from synth.commands.places import FOLDER, any_kit, goals_given, kit_of_design
from synth.commands.searching import searches
from synth.errors import OutputError, SynthError, Undecided
from synth.interrupt import STOPPED, heard
from synth.outlet import outlive_readers
from synth.wording import counted

if TYPE_CHECKING:
    from rich.console import Console

FORMATS = click.Choice(["text", "json"])
COMMANDS: tuple[str, ...] = (
    "options", "clash", "change", "why", "bench", "page", "pack", "lesson",
)  # fmt: skip
"""Commands with a file of their own in `synth.commands`, each with a `command`."""

MOST_TOLD = 10
"""Most mistakes of one text that are told at once."""

_NOT_WRITTEN = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "no more may be written to the disk (quota)",
    errno.EFBIG: "the file would be larger than allowed",
    errno.EIO: "the device does not answer",
}
"""Why an output may fail though the tool has made no mistake."""

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
list of phrases where no such file exists. Where it fails, small changes that would put it right
are looked for, each checked.

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
  synth kit full --format yaml > my-kit.yaml    a beginning for a kit of your own: give it a name
  synth kit --check my-kit.yaml
"""


class _Group(click.Group):
    """Turns every error that the tool can name into one message and its exit code.

    Commands that live in files of their own are read when they are called or listed.
    """

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, in the order of the work."""
        return [*super().list_commands(ctx), *COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command of this name, None when there is none."""
        if cmd_name in COMMANDS:
            from importlib import import_module

            found: click.Command = import_module(f"synth.commands.{cmd_name}").command
            return found
        return super().get_command(ctx, cmd_name)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; Ctrl-C ends it as undecided."""
        before = signal.getsignal(signal.SIGINT)
        outside = before is heard
        try:
            if outside:
                signal.signal(signal.SIGINT, signal.default_int_handler)
            return super().invoke(ctx)
        except KeyboardInterrupt:
            # Left to click it would end with code 1, which says that something was proven.
            raise Undecided(STOPPED) from None
        finally:
            # All is said; what is left takes a moment, and the exit code is to stand.
            signal.signal(signal.SIGINT, signal.SIG_IGN if outside else before)

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
            if isinstance(failure, OSError) and failure.errno in _NOT_WRITTEN:
                # What could not be written is dropped, or the end of Python would try again.
                sys.stdout = open(os.devnull, "w")  # noqa: SIM115 - kept open until the end
                _fail(OutputError(f"the result cannot be written: {_NOT_WRITTEN[failure.errno]}"))
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
    try:
        click.echo(f"synth: {error}", err=True)
        for other in error.others[: MOST_TOLD - 1]:
            click.echo(f"synth: {other}", err=True)
        more = len(error.others) + 1 - MOST_TOLD
        if more > 0:
            click.echo(f"synth: and {counted(more, 'mistake')} more", err=True)
    except OSError:
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115 - kept open until the end
    sys.exit(error.exit_code)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="synth")
def main() -> None:
    """From goals in plain words to the cheapest circuit that fulfils them.

    \b
    synth plan goals/potting-shed.yaml    the cheapest circuit, proven, checked, ready to wire
    synth check DESIGN GOALS              does this design do it? if not, when does it fail?
    synth options goals/potting-shed.yaml what else could be built, and for what
    synth clash goals/potting-shed.yaml   why goals cannot be had together, and ways out
    synth change DESIGN GOALS             from what is wired to other goals, with little rewiring
    synth why DESIGN GOALS                what is each part for? what breaks without it?
    synth bench DESIGN GOALS              short times to test it with, in the same order
    synth page DESIGN GOALS               a page in which the circuit runs, for a browser
    synth pack DESIGN GOALS --out FOLDER  the hand-over pack, for whoever builds and keeps it
    synth lesson GOALS --out FOLDER       the circuit built up goal by goal, for learners
    synth kit                             the parts on offer
    """


def _console() -> Console:
    from rich.console import Console

    width = None if sys.stdout.isatty() else 100
    return Console(width=width, highlight=False, soft_wrap=False)


def expect_fast(fast: bool) -> None:
    """Raise UsageError when `fast` is asked for and its solver is not installed."""
    from synth import pipeline

    if fast and not pipeline.fast_available():
        raise click.UsageError(
            "the solver that --fast asks for is not installed; install it with "
            "\"pip install '.[fast]'\", or leave --fast out"
        )


def _told_known(known: Sequence[str]) -> str:
    """Return what of a plan came from an earlier run, in a sentence."""
    if "plan" in known:
        return "Known from an earlier run, and checked again. --no-cache searches anew."
    number = sum(what in ("circuit", "wiring") for what in known)
    told = []
    if number:
        circuits = f"{number} circuits" if number > 1 else "One circuit"
        told.append(f"{circuits} known from an earlier run, and checked again.")
    if any(what in ("lists", "together") for what in known):
        told.append("The search went on where an earlier run ended.")
    return " ".join((*told, "--no-cache searches anew."))


AGAIN = 1.0
"""Seconds after a Ctrl-C until another one is meant to end everything: one that is pressed twice in
haste, or reaches the process twice, is one."""


class _Watch:
    """Shows progress on a terminal, and hears Ctrl-C: once to stop with the best so far, later
    once more to give that up as well. It goes on to hear it while what was found is written."""

    def __init__(self, quiet: bool) -> None:
        self.quiet = quiet or not sys.stderr.isatty()
        self.interrupted: float | None = None
        """When Ctrl-C was pressed first, if it was (a reading of `time.monotonic`)."""
        self.width = 0

    def __enter__(self) -> _Watch:
        signal.signal(signal.SIGINT, self._heard)
        return self

    def _heard(self, number: int, frame: object) -> None:
        now = time.monotonic()
        if self.interrupted is None:
            self.interrupted = now
        elif now - self.interrupted >= AGAIN:
            raise KeyboardInterrupt

    def __exit__(self, *problem: object) -> None:
        if self.width:
            click.echo("\r" + " " * self.width + "\r", err=True, nl=False)

    def stopped(self) -> bool:
        """Return whether Ctrl-C was pressed."""
        return self.interrupted is not None

    def report(self, stage: str, best: int | None, bound: int | None) -> None:
        """Show the stage, the best design so far and the proven bound on one line."""
        if self.quiet:
            return
        known = {"best so far": best, "bound": bound}
        told = ", ".join(f"{key} {value}" for key, value in known.items() if value is not None)
        line = f"{stage} ... {told}"
        click.echo("\r" + line.ljust(self.width), err=True, nl=False)
        self.width = max(self.width, len(line))


@main.command(help=PLAN_HELP)
@click.argument("file", required=False)
@click.option("--goals", metavar="TEXT", help="The goals, as phrases with commas between them.")
@any_kit
@click.option("--format", "form", type=FORMATS, default="text", show_default=True)
@click.option(
    "--out", type=FOLDER, metavar="FOLDER",
    help="Also write design.json, wiring.svg, timing.svg.",
)
@click.option(
    "--time-limit",
    type=Number(min=0.1, max=86_400),
    default=60.0,
    show_default=True,
    help="Seconds to search; then the best so far, honestly labelled.",
)
@click.option(
    "--gap",
    type=Number(min=0, max=100),
    metavar="PERCENT",
    help="End as soon as the best design is proven to be within so many percent of the bound.",
)
@searches
def plan(
    file: str | None,
    goals: str | None,
    kit: str | None,
    form: str,
    out: str | None,
    time_limit: float,
    gap: float | None,
    seed: int,
    fast: bool,
    no_cache: bool,
) -> None:
    """Find the cheapest circuit; see PLAN_HELP."""
    from synth import pipeline

    expect_fast(fast)
    with _Watch(quiet=form == "json") as watch:
        problem = pipeline.read_problem(file, goals, kit, contradictory=True)
        memory = None if no_cache else pipeline.open_memory()
        outcome = pipeline.plan(
            problem, watch.report, time_limit, seed, watch.stopped, fast, memory, gap
        )
    for note in memory.notes if memory is not None else ():
        click.echo(f"synth: {note}", err=True)
    from synth.report.document import plan_document, to_json

    document = plan_document(outcome, problem)
    not_written: OutputError | None = None
    if out is not None and outcome.design is not None:
        files = {"design.json": to_json(document["design"])}
        files.update(pipeline.drawings(outcome.design, problem))
        try:
            pipeline.write_folder(out, files)
        except OutputError as failure:
            not_written = failure  # what was found is shown all the same
    if form == "json":
        click.echo(to_json(document), nl=False)
    else:
        from synth.report.terminal import print_plan

        print_plan(_console(), problem, outcome)
        if memory is not None and memory.known:
            click.echo(f"\n{_told_known(memory.known)}")
        if out is not None and outcome.design is not None and not_written is None:
            click.echo(f"Written to {out}: design.json, wiring.svg, timing.svg")
    if not_written is not None:
        raise not_written
    sys.exit(pipeline.exit_code(outcome))


@main.command(help=CHECK_HELP)
@click.argument("design_file", metavar="DESIGN")
@click.argument("goals", metavar="GOALS")
@kit_of_design
@click.option("--format", "form", type=FORMATS, default="text", show_default=True)
@click.option(
    "--out", type=FOLDER, metavar="FOLDER",
    help="Also write wiring.svg and a timing picture.",
)
@click.option(
    "--time-limit",
    type=Number(min=0.1, max=86_400),
    default=600.0,
    show_default=True,
    help="Seconds to check.",
)
def check(
    design_file: str, goals: str, kit: str | None, form: str, out: str | None, time_limit: float
) -> None:
    """Check a design exactly; see CHECK_HELP."""
    from synth import pipeline

    file, text = goals_given(goals)
    problem, design = pipeline.read_design(design_file, file, text, kit)
    verdict = pipeline.check_design(design, problem, time_limit)
    pictures = pipeline.verdict_pictures(design, problem, verdict) if out is not None else {}
    if out is not None and pictures:
        pipeline.write_folder(out, pictures)
    if form == "json":
        from synth.report.document import remedies_document, to_json, verdict_document

        document = verdict_document(verdict)
        if not verdict.holds:
            found = pipeline.remedies(design, problem, verdict)
            document["remedies"] = remedies_document(found)
        click.echo(to_json(document), nl=False)
    else:
        from synth.report.terminal import print_remedies, print_verdict

        print_verdict(_console(), design, problem, verdict)
        if not verdict.holds:
            print_remedies(_console(), pipeline.remedies(design, problem, verdict))
        if out is not None:
            click.echo(
                f"Written to {out}: {', '.join(pictures)}" if pictures else
                "Nothing is drawn of a circuit that is not whole: mend that first."
            )
    sys.exit(0 if verdict.holds else 1)


@main.command(help=KIT_HELP)
@click.argument("kit", metavar="[NAME|FILE]", default="starter")
@click.option("--check", "check_file", metavar="FILE", help="Only say whether FILE is a kit.")
@click.option(
    "--format", "form", type=click.Choice(["text", "json", "yaml"]), default="text",
    show_default=True, help="yaml: the kit file itself.",
)
def kit(kit: str, check_file: str | None, form: str) -> None:
    """Show or check a kit; see KIT_HELP."""
    from synth.read.kit_file import kit_document, kit_text, load_kit

    if check_file is not None:
        found = load_kit(check_file)
        if form == "json":
            from synth.report.document import to_json

            told = {"file": check_file, "kit": found.name, "parts": len(found.parts)}
            click.echo(to_json(told), nl=False)
            return
        click.echo(f"{check_file}: a usable kit, '{found.name}', {len(found.parts)} parts")
        return
    found = load_kit(kit)
    if form == "yaml":
        click.echo(kit_text(kit), nl=False)
        return
    if form == "json":
        from synth.report.document import to_json

        click.echo(to_json(kit_document(found)), nl=False)
        return
    from synth.report.terminal import print_kit

    print_kit(_console(), found)


if __name__ == "__main__":
    outlive_readers()
    main()
