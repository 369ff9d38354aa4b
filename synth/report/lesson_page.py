"""Blocks of text, tables, pictures and folded answers as Markdown, and as a page of its own.

Black on white, to be printed. Answers are folded away (`details`), no script is needed; on paper
they stay folded unless they are opened before. Every text is escaped for where it goes.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

from synth.report.pages import plain
from synth.report.svg import escape


@dataclass(frozen=True)
class Head:
    """A heading; `level` 1 is the title."""

    text: str
    level: int


@dataclass(frozen=True)
class Words:
    """A paragraph."""

    text: str
    strong: bool = False


@dataclass(frozen=True)
class Points:
    """A list without numbers."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table with a line of headings."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A picture, a file of its own beside Markdown."""

    file: str
    about: str
    svg: str


@dataclass(frozen=True)
class Fold:
    """A question; what is in `blocks` is folded away under `label`."""

    ask: str
    label: str
    blocks: tuple[Words | Points, ...]


Block = Head | Words | Points | Table | Picture | Fold


# ---- Markdown ----------------------------------------------------------------------------------


def markdown(blocks: Sequence[Block]) -> str:
    """Return the blocks as Markdown; pictures are files beside it."""
    lines: list[str] = []
    for block in blocks:
        match block:
            case Head(text, level):
                lines += [f"{'#' * level} {plain(text)}", ""]
            case Words(text, strong):
                lines += [f"**{plain(text)}**" if strong else plain(text), ""]
            case Points(items):
                lines += [*(f"- {plain(item)}" for item in items), ""]
            case Table(columns, rows):
                lines += [f"| {' | '.join(map(plain, columns))} |", "|" + " --- |" * len(columns)]
                lines += [f"| {' | '.join(map(plain, row))} |" for row in rows]
                lines.append("")
            case Picture(file, about, _):
                lines += [f"![{plain(about)}]({file})", ""]
            case Fold(ask, label, inner):
                lines += [f"**{plain(ask)}**", "", "<details>", f"<summary>{label}</summary>", ""]
                lines += [markdown(inner).rstrip("\n"), "", "</details>", ""]
    return "\n".join(lines)


# ---- HTML --------------------------------------------------------------------------------------

_STYLE = """
@page { size: A4; margin: 14mm; }
body { font: 11pt/1.4 sans-serif; color: #000; background: #fff; max-width: 56em;
  margin: 0 auto; padding: 1em; }
h1 { font-size: 18pt; } h2 { font-size: 14pt; border-bottom: 1.5pt solid #000; margin-top: 2em; }
h3 { font-size: 11.5pt; margin: 1.4em 0 .3em; }
table { border-collapse: collapse; font-size: 9.5pt; margin: .5em 0; }
th, td { border: .6pt solid #000; padding: 2pt 5pt; text-align: left; vertical-align: top;
  overflow-wrap: anywhere; }
thead { display: table-header-group; } tr, figure { break-inside: avoid; }
figure { margin: .8em 0; } figcaption { font-size: 9.5pt; }
img { max-width: 100%; height: auto; }
.strong { font-weight: bold; border-left: 3pt solid #000; padding-left: .6em; }
details { border: .8pt solid #000; padding: .3em .7em; margin: .4em 0 1em; }
summary { cursor: pointer; font-weight: bold; }
.wide { overflow-x: auto; }
@media screen and (max-width: 44em) { figure img { max-width: none; } }
@media print { body { max-width: none; padding: 0; } h2, h3 { break-after: avoid; } }
"""
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def html(blocks: Sequence[Block], title: str) -> str:
    """Return the blocks as one page that needs no other file."""
    lines = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        f"<title>{escape(title)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
    ]
    for block in blocks:
        lines += _html_block(block)
    return "\n".join([*lines, "</body>", "</html>", ""])


def _html_block(block: Block) -> list[str]:
    match block:
        case Head(text, level):
            return [f"<h{level}>{escape(text)}</h{level}>"]
        case Words(text, strong):
            kind = ' class="strong"' if strong else ""
            return [f"<p{kind}>{escape(text)}</p>"]
        case Points(items):
            return ["<ul>", *(f"<li>{escape(item)}</li>" for item in items), "</ul>"]
        case Table(columns, rows):
            head = "".join(f'<th scope="col">{escape(column)}</th>' for column in columns)
            body = ["<tr>" + "".join(f"<td>{escape(t)}</td>" for t in r) + "</tr>" for r in rows]
            return ['<div class="wide"><table>', f"<thead><tr>{head}</tr></thead>", "<tbody>",
                    *body, "</tbody>", "</table></div>"]  # fmt: skip
        case Picture(_, about, svg):
            # A picture of its own: names in one drawing cannot meet those in another.
            data = base64.b64encode(svg.encode("utf-8")).decode("ascii")
            source = f"data:image/svg+xml;base64,{data}"
            return ["<figure>", '<div class="wide">', f'<img alt="{escape(about)}" src="{source}">',
                    "</div>", f"<figcaption>{escape(about)}</figcaption>", "</figure>"]  # fmt: skip
        case Fold(ask, label, inner):
            answer = [line for each in inner for line in _html_block(each)]
            return [f"<p><b>{escape(ask)}</b></p>", "<details>",
                    f"<summary>{escape(label)}</summary>", *answer, "</details>"]  # fmt: skip
