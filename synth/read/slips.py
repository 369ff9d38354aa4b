"""The mistakes of one text, gathered so that all of them are told at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from synth.errors import SynthError


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
