"""A sheet of paper before it is written: headings, words, lists, tables, pictures; plain data.

The same sheet becomes Markdown, HTML and CSV in `synth.report`; texts are held as they are and
escaped there, for each format in its own way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True)
class Words:
    """A paragraph; `strong` for what must not be missed."""

    text: str
    strong: bool = False


@dataclass(frozen=True)
class Heading:
    """A heading within a sheet."""

    text: str


@dataclass(frozen=True)
class Points:
    """A list; `numbered` when its order matters."""

    items: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Table:
    """A table. `file` is the name of its CSV file (without folder), empty when it has none;
    `shown` the most rows that the page itself shows, None for all (the CSV has all)."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    file: str = ""
    shown: int | None = None


@dataclass(frozen=True)
class Picture:
    """A drawing in a file of its own, with words for those who cannot see it; `sheets` are the
    files of the same drawing divided over sheets of paper, where it is too large for one."""

    file: str
    about: str
    sheets: tuple[str, ...] = ()


Block: TypeAlias = Words | Heading | Points | Table | Picture


@dataclass(frozen=True)
class Sheet:
    """One item of a pack: its number from 1, the name of its file without ending, its title."""

    number: int
    name: str
    title: str
    blocks: tuple[Block, ...]
    files: tuple[str, ...] = ()
    """Further files that belong to it."""
