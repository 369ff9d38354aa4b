"""Every mistake the tool can name: one sentence each, with the place it was found."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

DONE = 0
IMPOSSIBLE = 1
BAD_INPUT = 2
UNDECIDED = 3


@dataclass(frozen=True)
class Place:
    """A place in a text: file name, line and column (both from 1; 0 when unknown)."""

    file: str = ""
    line: int = 0
    column: int = 0
    text: str = ""
    """The source line itself, so that an error can point at it with a caret."""

    def __str__(self) -> str:
        parts = [self.file or "input"]
        if self.line:
            parts.append(str(self.line))
            if self.column:
                parts.append(str(self.column))
        return ":".join(parts)


class SynthError(Exception):
    """Base of all errors that a user can meet; never shown with a traceback."""

    exit_code = BAD_INPUT

    def __init__(self, message: str, place: Place | None = None, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.place = place
        self.hint = hint
        self.others: tuple[SynthError, ...] = ()
        """What else is wrong in the same text."""

    def __str__(self) -> str:
        """One message: place, what was wrong, the line with a caret, what to do."""
        head = f"{self.place}: {self.message}" if self.place else self.message
        lines = [head]
        if self.place and self.place.text and self.place.column:
            lines.append("  " + self.place.text)
            lines.append("  " + " " * (self.place.column - 1) + "^")
        if self.hint:
            lines.append(f"  {self.hint}")
        return "\n".join(lines)


class GoalError(SynthError):
    """A goal phrase or goal file that cannot be understood."""


class Contradiction(GoalError):
    """Goals that can each be had, but not together, as their words alone show; `goals` are their
    numbers, `told` says it in a sentence. That is an answer and no slip of the pen: nothing will do
    what is asked."""

    exit_code = IMPOSSIBLE

    def __init__(
        self, goals: tuple[int, ...], message: str, place: Place | None = None, hint: str = ""
    ) -> None:
        self.told = f"{message}: {hint}" if hint else message
        told = "synth clash says what must give"
        super().__init__(message, place, f"{hint}; {told}" if hint else told)
        self.goals = goals


class KitError(SynthError):
    """A kit file that cannot be used."""


class DesignError(SynthError):
    """A design file that is not a well-formed design of its kit."""


class TimeError(SynthError):
    """A time that cannot be held exactly, or is out of range."""


class OutputError(SynthError):
    """A result that could not be written."""


class Undecided(SynthError):
    """The search or check ran out of time or states before it could say anything."""

    exit_code = UNDECIDED


class Slips:
    """Mistakes found so far; what is read in a context of `kept` may have one."""

    def __init__(self) -> None:
        self._found: list[SynthError] = []

    @contextmanager
    def kept(self) -> Iterator[None]:
        """In this context a mistake is kept, with those told with it, and what comes goes on."""
        try:
            yield
        except SynthError as slip:
            self._found += [slip, *slip.others]
            slip.others = ()

    def tell(self) -> None:
        """Raise the mistake that comes first in the text, if there is any, the others with it."""
        if not self._found:
            return
        first, *others = sorted(
            self._found, key=lambda s: (s.place.line, s.place.column) if s.place else (0, 0)
        )
        first.others = tuple(others)
        raise first from None
