"""Sheets of a pack as Markdown, HTML and CSV, and the index over all of them.

Every text is escaped for the format it goes into: Markdown cannot turn it into a link, HTML not
into markup, and a spreadsheet not into a formula. Black on white, for A4 or Letter. No dates: the
same sheets give the same bytes.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from synth.report.svg import escape, visible
from synth.sheet import Heading, Picture, Points, Sheet, Table, Words

PAPERS = ("A4", "Letter")
_HEIGHTS = {"A4": (225, 268, 181), "Letter": (206, 250, 187)}
"""Of printed paper, mm: how high a picture may be that stands upright among words (see `paper`),
and how high a sheet is of which a picture fills what its words leave, upright and turned."""


def prefixed(sheet: Sheet, file: str) -> str:
    """Return the name of a file of a sheet within the pack: ``04-wires.csv``."""
    return f"{sheet.number:02}-{file}"


def files_of(sheet: Sheet) -> tuple[str, ...]:
    """Return all files of a sheet but its own page, in the order of the page."""
    found = []
    for block in sheet.blocks:
        if isinstance(block, Table | Picture) and block.file:
            found += [block.file, *(block.sheets if isinstance(block, Picture) else ())]
    return tuple(prefixed(sheet, file) for file in dict.fromkeys([*found, *sheet.files]))


# ---- CSV ------------------------------------------------------------------------------------


def cell(text: str) -> str:
    """Return a cell that no spreadsheet takes for a formula.

    >>> cell("=1+1"), cell("lamp")
    ("'=1+1", 'lamp')
    """
    shown = visible(text)
    return f"'{shown}" if shown.startswith(("=", "+", "-", "@")) else shown


def csv_text(table: Table) -> str:
    """Return a table as CSV after RFC 4180: header, CRLF, quotes where needed."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow([cell(column) for column in table.columns])
    writer.writerows([cell(text) for text in row] for row in table.rows)
    return stream.getvalue()


def csv_files(sheets: Sequence[Sheet]) -> dict[str, str]:
    """Return every table that has a file, by its name."""
    return {
        prefixed(sheet, block.file): csv_text(block)
        for sheet in sheets
        for block in sheet.blocks
        if isinstance(block, Table) and block.file
    }


# ---- Markdown -------------------------------------------------------------------------------


def plain(text: str) -> str:
    """Return text that Markdown shows as it is.

    >>> plain("a|b <i> [x](y)")
    'a\\\\|b &lt;i> [x\\\\](y)'
    """
    shown = visible(text).replace("&", "&amp;").replace("<", "&lt;")
    for char in ("\\", "`", "*", "|", "_", "~"):
        shown = shown.replace(char, f"\\{char}")
    shown = shown.replace("](", "\\](").replace("][", "\\][").replace("]:", "\\]:")
    if shown.startswith(("#", ">", "+", "-")):
        shown = f"\\{shown}"
    return shown


def markdown(sheet: Sheet) -> str:
    """Return one sheet as Markdown."""
    lines = [f"# {sheet.number}. {plain(sheet.title)}", ""]
    for block in sheet.blocks:
        match block:
            case Words(text, strong):
                lines += [f"**{plain(text)}**" if strong else plain(text), ""]
            case Heading(text):
                lines += [f"## {plain(text)}", ""]
            case Points(items, numbered):
                lines += [f"{f'{i}.' if numbered else '-'} {plain(item)}"
                          for i, item in enumerate(items, 1)]
                lines.append("")
            case Picture(file, about, sheets):
                lines += [f"![{plain(about)}]({prefixed(sheet, file)})", ""]
                if sheets:
                    links = (f"[{name}]({name})" for name in (prefixed(sheet, f) for f in sheets))
                    lines += [f"On sheets of paper: {', '.join(links)}", ""]
            case Table():
                lines += [*_markdown_table(sheet, block), ""]
    return "\n".join(lines)


def _markdown_table(sheet: Sheet, table: Table) -> list[str]:
    lines = []
    rows = table.rows if table.shown is None else table.rows[: table.shown]
    if rows:
        # Empty cells get room to write in by hand.
        grid = [[plain(text) or "   " for text in row] for row in (table.columns, *rows)]
        wide = [max(3, *(len(row[i]) for row in grid)) for i in range(len(table.columns))]
        wide = [min(w, 60) for w in wide]
        filled = [
            "| " + " | ".join(t.ljust(w) for t, w in zip(row, wide, strict=True)) + " |"
            for row in grid
        ]
        lines = [filled[0], "| " + " | ".join("-" * w for w in wide) + " |", *filled[1:]]
    left = len(table.rows) - len(rows)
    if table.file:
        name = prefixed(sheet, table.file)
        more = f" ({left} more rows)" if left and rows else ""
        lines += ["", f"As a file{more}: [{name}]({name})"]
    return lines


# ---- HTML -----------------------------------------------------------------------------------

_STYLE = """
@page { size: %(paper)s; margin: 14mm; }
@page turned { size: %(paper)s landscape; margin: 14mm; }
body { font: 10.5pt/1.35 sans-serif; color: #000; background: #fff; max-width: 60em;
  margin: 0 auto; padding: 1em; }
h1 { font-size: 17pt; } h2 { font-size: 14pt; border-bottom: 1.5pt solid #000; margin-top: 2em; }
h3 { font-size: 11.5pt; margin: 1.2em 0 .3em; }
table { border-collapse: collapse; width: 100%%; font-size: 8.5pt; margin: .5em 0; }
th, td { border: .6pt solid #000; padding: 1.5pt 4pt; text-align: left; vertical-align: top;
  overflow-wrap: break-word; min-width: 1.5em; }
th { border-bottom-width: 1.5pt; }
thead { display: table-header-group; } tr { break-inside: avoid; }
img { max-width: 100%%; height: auto; }
.strong { font-weight: bold; border-left: 3pt solid #000; padding-left: .6em; }
.file { font-size: 8.5pt; }
.wide { overflow-x: auto; }
.paper { display: none; }
@media print { body { max-width: none; padding: 0; } section { break-before: page; }
  a { color: #000; text-decoration: none; }
  .together, .sheet { break-inside: avoid; } .together > p:has(> img) { text-align: center; }
  .together img { max-height: %(among)dmm; }
  /* A large picture fills the sheet on which its words begin; a wide one turns it. */
  .sheet { display: flex; flex-direction: column; height: %(high)dmm; contain: size;
    break-after: page; }
  .turned { page: turned; height: %(low)dmm; } section > div:last-child { break-after: auto; }
  .sheet p { font-size: 9pt; margin: 0 0 4pt; } .sheet h2, .sheet h3 { margin: 0 0 4pt; }
  .sheet p:has(> img) { flex: 1 1 0; min-height: 0; margin: 0; }
  .sheet img { width: 100%%; height: 100%%; object-fit: scale-down; object-position: top; }
  .screen, p.screen:has(> img), .whole { display: none; } div.paper { display: flex; }
  p.paper { display: block; } h2, h3 { break-after: avoid; } p { break-inside: avoid; }
  /* The card has to go on one sheet, also that of many goals. */
  #item-1 { columns: 2; column-gap: 8mm; font-size: 9pt; }
  #item-1 h2 { column-span: all; margin-top: 0; } #item-1 h3 { break-after: avoid; } }
"""


def html(
    sheets: Sequence[Sheet], title: str, paper: str, notes: Sequence[str],
    more: Sequence[str] = (), turned: frozenset[str] = frozenset(),
) -> str:
    """Return the whole pack as one page to be read or printed on `paper` (A4 or Letter); `more`
    are files besides, `turned` the pictures that get a sheet in landscape."""
    among, high, low = _HEIGHTS[paper]
    head = escape(title)
    style = _STYLE % {"paper": paper, "among": among, "high": high, "low": low}
    lines = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
        "img-src 'self' file: data:; style-src 'unsafe-inline'\">",
        f"<title>{head}</title>",
        f"<style>{style}</style>",
        "</head>",
        "<body>",
        f"<h1>{head}</h1>",
        *(f"<p>{escape(note)}</p>" for note in notes),
        "<ol>",
        *(f'<li><a href="#item-{s.number}">{escape(s.title)}</a></li>' for s in sheets),
        "</ol>",
    ]
    if more:
        links = ", ".join(f'<a href="{escape(name)}">{escape(name)}</a>' for name in more)
        lines.append(f'<p class="file">Also: {links}</p>')
    for sheet in sheets:
        lines += [f'<section id="item-{sheet.number}">', *_html_sheet(sheet, turned), "</section>"]
    return "\n".join([*lines, "</body>", "</html>", ""])


def _html_sheet(sheet: Sheet, turned: frozenset[str]) -> list[str]:
    """Return one item: what stands before a picture goes with it onto one sheet of paper."""
    lines: list[str] = []
    before = [f"<h2>{sheet.number}. {escape(sheet.title)}</h2>"]
    for block in sheet.blocks:
        if isinstance(block, Picture):
            lines += _html_picture(sheet, block, before, turned)
            before = []
        else:
            before += _html_block(sheet, block)
    return lines + before


def _html_picture(
    sheet: Sheet, picture: Picture, before: Sequence[str], turned: frozenset[str]
) -> list[str]:
    """Return a picture with the words before it, on paper divided where it is too large."""
    def image(file: str, said: str, kind: str = "") -> str:
        name = escape(prefixed(sheet, file))
        return f'<p{kind}><img src="{name}" alt="{escape(said)}"></p>'

    leaves = [
        (leaf, f"{picture.about}: {sheet_said(number, len(picture.sheets))}",
         "sheet turned" if prefixed(sheet, leaf) in turned else "sheet")
        for number, leaf in enumerate(picture.sheets, 1)
    ]
    if not leaves:
        kind = "sheet turned" if prefixed(sheet, picture.file) in turned else "together"
        return [f'<div class="{kind}">', *before, image(picture.file, picture.about), "</div>"]
    (first, said, kind), *others = leaves
    whole, paper = image(picture.file, picture.about, ' class="screen"'), ' class="paper"'
    lines = [f'<div class="{kind}">', *before, whole, image(first, said, paper), "</div>"]
    for leaf, said, kind in others:
        lines.append(f'<div class="paper {kind}">{image(leaf, said, paper)}</div>')
    return lines


def sheet_said(number: int, count: int) -> str:
    """Return which sheet of how many this is, in words."""
    return "for paper" if count == 1 else f"sheet {number} of {count}"


def _html_block(sheet: Sheet, block: object) -> list[str]:
    match block:
        case Words(text, strong):
            kind = ' class="strong"' if strong else ""
            return [f"<p{kind}>{escape(text)}</p>"]
        case Heading(text):
            return [f"<h3>{escape(text)}</h3>"]
        case Points(items, numbered):
            tag = "ol" if numbered else "ul"
            return [f"<{tag}>", *(f"<li>{escape(item)}</li>" for item in items), f"</{tag}>"]
        case Table():
            return _html_table(sheet, block)
    raise AssertionError(block)


def _html_table(sheet: Sheet, table: Table) -> list[str]:
    rows = table.rows if table.shown is None else table.rows[: table.shown]
    lines = []
    if rows:
        head = "".join(f'<th scope="col">{_broken(column)}</th>' for column in table.columns)
        lines = ['<div class="wide"><table>', f"<thead><tr>{head}</tr></thead>", "<tbody>"]
        lines += ["<tr>" + "".join(f"<td>{_broken(t)}</td>" for t in row) + "</tr>" for row in rows]
        lines += ["</tbody>", "</table></div>"]
    left = len(table.rows) - len(rows)
    if table.file:
        name = escape(prefixed(sheet, table.file))
        more = f" ({left} more rows)" if left and rows else ""
        # On paper a file is worth naming only where it has more than the paper.
        kind = "file" if more else "file whole"
        lines.append(f'<p class="{kind}">As a file{more}: <a href="{name}">{name}</a></p>')
    return lines


LONGEST_WORD = 14
"""Characters of a word of a table after which it may be broken."""


def _broken(text: str) -> str:
    """Return a text for a cell, with places at which a browser may break long words."""
    words = []
    for word in visible(text).split(" "):
        cuts = range(0, len(word), LONGEST_WORD)
        words.append("<wbr>".join(escape(word[at : at + LONGEST_WORD]) for at in cuts))
    return " ".join(words)


def index_markdown(
    sheets: Sequence[Sheet], title: str, notes: Sequence[str], more: Sequence[str]
) -> str:
    """Return the index: each item in order, its page, its other files; `more` are files besides."""
    lines = [f"# {plain(title)}", "", *(line for note in notes for line in (plain(note), ""))]
    for sheet in sheets:
        page = prefixed(sheet, f"{sheet.name}.md")
        lines.append(f"{sheet.number}. [{plain(sheet.title)}]({page})")
        others = files_of(sheet)
        if others:
            lines.append("   " + ", ".join(f"[{name}]({name})" for name in others))
    lines += ["", "All of it on one page, to be printed: [index.html](index.html)."]
    if more:
        lines.append("Also: " + ", ".join(f"[{name}]({name})" for name in more) + ".")
    return "\n".join([*lines, ""])
