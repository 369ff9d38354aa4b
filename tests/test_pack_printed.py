"""The pack as a browser prints it: no near-blank sheet before a full one, no drawing lost.

A small reader of what Chromium writes into a PDF, after ISO 32000-1 (8.3.4 transformation, 8.5
painting, 9.4 text): where the words of each page stand, how large they are, and which drawings lie
there. Pages are told apart by the items that begin on them, found by their named destinations.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from page_browser import started
from test_modes import KEPT, kept

from synth import pipeline
from synth.report.pages import PAPERS
from synth.report.paper import size_of

MARGIN = 14 / 25.4 * 72
"""Of the printed page, points."""
FULL = 0.4
"""Share of a page's height that is written on at least, of each page but the last of an item
(common practice, no source)."""
LEGIBLE = 5.9
"""Points of the smallest writing (common practice, no source: not below 6, less rounding)."""
Matrix = tuple[float, float, float, float, float, float]


def times(a: Matrix, b: Matrix) -> Matrix:
    """`a` before `b`: ISO 32000-1, 8.3.4."""
    return (
        a[0] * b[0] + a[1] * b[2], a[0] * b[1] + a[1] * b[3],
        a[2] * b[0] + a[3] * b[2], a[2] * b[1] + a[3] * b[3],
        a[4] * b[0] + a[5] * b[2] + b[4], a[4] * b[1] + a[5] * b[3] + b[5],
    )


@dataclass
class Page:
    """One page: its size, the words' (height above the foot, size), and white grounds of drawings:
    (their own width and height, bottom, top), all in points."""

    width: float
    height: float
    item: int
    words: list[tuple[float, float]] = field(default_factory=list)
    grounds: list[tuple[tuple[int, int], float, float]] = field(default_factory=list)

    @property
    def filled(self) -> float:
        """The share of the height within the margins down to the lowest words."""
        lowest = min(y for y, _ in self.words)
        return (self.height - MARGIN - lowest) / (self.height - 2 * MARGIN)


def read_into(page: Page, content: str) -> None:
    """Read a content stream."""
    matrix: Matrix = (1, 0, 0, 1, 0, 0)
    text, line = matrix, matrix
    saved: list[Matrix] = []
    size = 0.0
    white = False
    rect: tuple[float, ...] = ()
    found: list[float] = []
    for word in re.findall(r"<[0-9A-Fa-f]*>|\[|\]|/\S+|[^\s\[\]<>/]+", content):
        if re.fullmatch(r"[-+]?[\d.]+", word):
            found.append(float(word))
            continue
        match word:
            case "q":
                saved.append(matrix)
            case "Q":
                matrix = saved.pop()
            case "cm":
                matrix = times((*found[-6:],), matrix)  # type: ignore[arg-type]
            case "BT":
                text = line = (1, 0, 0, 1, 0, 0)
            case "Tf":
                size = found[-1]
            case "Tm":
                text = line = (*found[-6:],)  # type: ignore[assignment]
            case "Td":
                text = line = times((1, 0, 0, 1, found[-2], found[-1]), line)
            case "Tj" | "TJ":
                at = times(text, matrix)
                page.words.append((at[5], size * (at[2] ** 2 + at[3] ** 2) ** 0.5))
            case "rg":
                white = found[-3:] == [1, 1, 1]
            case "re":
                rect = tuple(found[-4:])
            case "m" | "n" | "S":
                rect = ()
            case "f" if white and rect and rect[:2] == (0, 0):
                ends = sorted(matrix[5] + matrix[3] * y for y in (0, rect[3]))
                page.grounds.append(((round(rect[2]), round(rect[3])), ends[0], ends[1]))
                rect = ()
        if not word.startswith(("/", "<", "[", "]")):
            found = []


def pages_of(pdf: bytes) -> list[Page]:
    """Return the pages of a PDF as Chromium writes it, in their order."""
    objects = {
        int(number): body
        for number, body in re.findall(rb"(?:^|\n)(\d+) 0 obj\n(.*?)\nendobj", pdf, re.S)
    }
    begins = {int(page): int(item)
              for item, page in re.findall(rb"/item-(\d+) \[(\d+) 0 R /XYZ", pdf)}
    # Of two items that begin on one page, the regular expression keeps the last.
    assert len(begins) == 15
    order = [
        int(number)
        for kids in re.findall(rb"/Kids \[([^]]*)\]", pdf)
        for number in re.findall(rb"(\d+) 0 R", kids)
        if re.match(rb"<</Type /Page\n", objects[int(number)])
    ]
    pages, item = [], 0
    for number in order:
        body = objects[number]
        box = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", body)
        content = re.search(rb"/Contents (\d+) 0 R", body)
        assert box and content
        item = begins.get(number, item)
        page = Page(float(box[1]), float(box[2]), item)
        stream = re.search(rb"stream\r?\n(.*)\r?\nendstream", objects[int(content[1])], re.S)
        assert stream
        read_into(page, zlib.decompress(stream[1]).decode("latin-1"))
        pages.append(page)
    return pages


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    yield from started()


def printed(browser: Any, name: str, paper: str, folder: Path) -> tuple[list[Page], dict[str, Any]]:
    """Return the pages of a pack, and its files."""
    problem, design = kept(name)
    made = pipeline.pack(design, problem, pipeline.check_design(design, problem), paper=paper)
    pipeline.write_folder(str(folder), made)
    page = browser.new_page()
    page.goto((folder / "index.html").as_uri())
    pdf = page.pdf(prefer_css_page_size=True)
    page.close()
    return pages_of(pdf), made


def drawings_on(made: dict[str, Any]) -> list[tuple[int, int]]:
    """Return the sizes of the drawings that belong on paper, in their order on the page."""
    shown = [
        name for name in re.findall(r'<img src="([^"]+)"', made["index.html"])
        if f"{name.removesuffix('.svg')}-sheet-1.svg" not in made
    ]
    return [size_of(made[name]) for name in shown]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "paper"), [
    *((name, PAPERS[0]) for name in KEPT),
    *((name, PAPERS[1]) for name in ("glasshouse", "seed-trays", "whole-yard")),
])
def test_every_sheet_is_worth_its_paper(
    browser: Any, name: str, paper: str, tmp_path: Path
) -> None:
    pages, made = printed(browser, name, paper, tmp_path)
    assert len(pages) >= 16
    for number, page in enumerate(pages, 1):
        assert page.words, f"page {number} is blank"
        assert all(MARGIN - 3 <= y <= page.height - MARGIN for y, _ in page.words), number
        last = number == len(pages) or pages[number].item != page.item
        assert last or page.filled >= FULL, (number, page.item, page.filled)
        assert min(size for _, size in page.words) >= LEGIBLE, number
    # Each drawing once, whole, none over another.
    found = [ground for page in pages for ground in page.grounds]
    assert [size for size, *_ in found] == drawings_on(made)
    for page in pages:
        for _, low, high in page.grounds:
            assert MARGIN - 1 <= low < high <= page.height - MARGIN + 1
        spans = sorted((low, high) for _, low, high in page.grounds)
        assert all(a[1] <= b[0] for a, b in zip(spans, spans[1:], strict=False))


@pytest.mark.slow
def test_what_words_it_finds(browser: Any) -> None:
    """The reader itself, on a page whose words stand where CSS 2.1 says."""
    page = browser.new_page()
    items = "".join(f'<a href="#item-{n}">x</a>' for n in range(1, 16))
    marks = "".join(f'<i id="item-{n}" style="break-before: page; display: block; font: 20px serif;'
                    f' line-height: 20px; margin: 0">x</i>' for n in range(1, 16))
    page.set_content(f"<style>@page {{ size: A4; margin: 14mm }} body {{ margin: 0 }}</style>"
                     f"{items}{marks}<p style='margin: 0; padding-top: 400px; font: 8px serif;"
                     f" line-height: 8px'>end</p>")
    pages = pages_of(page.pdf(prefer_css_page_size=True))
    page.close()
    assert [p.item for p in pages] == list(range(16))
    (top,) = {y for y, _ in pages[3].words}
    assert pages[3].words[0][1] == pytest.approx(15, abs=0.1)
    assert top == pytest.approx(pages[3].height - MARGIN - 15 * 0.85, abs=2.5)
    assert pages[15].words[-1][1] == pytest.approx(6, abs=0.1)
    # Its box begins 420 px down; its baseline lies about 0.85 of its size lower.
    below = (420 + 8 * 0.85) * 0.75
    assert pages[15].words[-1][0] == pytest.approx(pages[15].height - MARGIN - below, abs=1.5)
