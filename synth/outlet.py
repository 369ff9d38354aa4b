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
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        # None where the process was started without one.
        if isinstance(stream, io.TextIOWrapper):
            setattr(sys, name, _again(stream))


def _again(stream: io.TextIOWrapper) -> TextIO:
    stream.flush()
    outlet = _Outlet(stream.fileno(), "w", closefd=False)
    return io.TextIOWrapper(
        io.BufferedWriter(outlet),
        encoding=stream.encoding,
        errors=stream.errors,
        line_buffering=stream.line_buffering,
    )
