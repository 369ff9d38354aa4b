"""Standard output whose reader may go away, as with `synth check ... | head`.

What is left to say is dropped then. The work is done all the same, and the exit code says what was
found: Python's own answer would be a traceback, and code 0 would call every design a good one.
"""

from __future__ import annotations

import io
import os
import sys
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer


class _Outlet(io.FileIO):
    """An open file, by its number, that swallows what nobody reads any more."""

    def write(self, data: ReadableBuffer, /) -> int:
        """Write `data`; once the reader has gone, pretend to. Returns the bytes taken."""
        try:
            return super().write(data)
        except BrokenPipeError:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self.fileno())
            os.close(nowhere)
            return memoryview(data).nbytes


def outlive_readers() -> None:
    """Let standard output and the messages beside it go on when whoever reads them has gone."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, _nowhere(number))
        elif number and isinstance(stream, io.TextIOWrapper):
            setattr(sys, name, _again(stream))


def _nowhere(number: int) -> TextIO:
    """Return a stream in place of one that the process was started without (`>&-`). It takes its
    number, too, so that no file that is opened later is taken for it."""
    opened = os.open(os.devnull, os.O_RDWR)
    if opened != number:
        os.dup2(opened, number)
        os.close(opened)
    return open(number, "w" if number else "r", encoding="utf-8", closefd=False)


def _again(stream: io.TextIOWrapper) -> TextIO:
    stream.flush()
    outlet = _Outlet(stream.fileno(), "w", closefd=False)
    return io.TextIOWrapper(
        io.BufferedWriter(outlet),
        encoding=stream.encoding,
        errors=stream.errors,
        line_buffering=stream.line_buffering,
    )
