"""The drawings of this package on paper: SVG, as `synth.report.svg` writes it, to PDF.

Only the elements that `Svg` writes are known; anything else is a mistake of ours and raises. What
is too large for one page was divided before (`paper`). Without the library (the extra `pdf`) there
is no PDF; `available` tells. Same input, same bytes: the file carries the one date of EPOCH.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from importlib.util import find_spec
from typing import Any
from xml.etree import ElementTree

from synth.errors import OutputError
from synth.report.paper import Leaf

LARGEST = 0.75
"""Points for one px at most: 96 px to an inch."""
BORDER = 34
"""White border of a sheet, points (12 mm)."""
_SVG = "{http://www.w3.org/2000/svg}"
EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
"""The date written into every file, since the library needs one: it says nothing."""
_IDLE = frozenset({"title", "desc"})


def available() -> bool:
    """Return whether the library that writes PDF is installed."""
    return find_spec("fpdf") is not None


def pdf_of(drawings: Mapping[str, Sequence[Leaf]], paper: str, title: str) -> bytes:
    """Return one PDF with all `drawings` (name to sheets), one sheet on each page.

    `paper` is A4 or Letter. The built-in fonts have Latin-1 only: other characters are written in
    their nearest, or become question marks. Raises OutputError when the library is missing.
    """
    if not available():
        raise OutputError(
            "no PDF can be written without its library",
            hint="install it with \"pip install '.[pdf]'\"",
        )
    from fpdf import FPDF

    document = FPDF(unit="pt", format=paper.lower())
    document.set_creation_date(EPOCH)
    document.set_title(latin(title))
    document.set_auto_page_break(False)
    document.c_margin = 0
    for name, leaves in drawings.items():
        for number, leaf in enumerate(leaves, 1):
            _Drawing(document, leaf.svg).lay_out(leaf.turned)
            foot = f"{title}. {name}, sheet {number} of {len(leaves)}."
            document.set_font("helvetica", size=7)
            document.set_text_color(0, 0, 0)
            document.text(BORDER, document.h - BORDER / 2, latin(foot))
    return bytes(document.output())


NEAREST = str.maketrans({
    "\u2010": "-", "\u2011": "-", "\u2012": "-", "\u2013": "-", "\u2014": "-", "\u2212": "-",
    "\u2018": "'", "\u2019": "'", "\u201a": "'", "\u201c": '"', "\u201d": '"', "\u201e": '"',
    "\u2022": "\u00b7", "\u2026": "...", "\u2190": "<-", "\u2192": "->", "\u20ac": "EUR",
    "\u2264": "<=", "\u2265": ">=", "\u0142": "l", "\u0141": "L", "\u0131": "i",
})
"""What stands in a PDF for characters that its fonts lack: dashes, quotes, arrows."""


def latin(text: str) -> str:
    """Return `text` in Latin-1: as it is, else in its nearest, without accents, or as ``?``.

    >>> latin("t\u2013 0 \u00fc \u0161 \u6c34")
    't- 0 ü s ?'
    """
    shown = []
    for char in text.translate(NEAREST):
        if ord(char) < 256:
            shown.append(char)
            continue
        plain = "".join(c for c in unicodedata.normalize("NFKD", char) if ord(c) < 256)
        shown.append(plain or ("" if unicodedata.combining(char) else "?"))
    return "".join(shown)


class _Drawing:
    """One drawing on a page."""

    def __init__(self, document: Any, text: str) -> None:
        self.document = document
        self.root = ElementTree.fromstring(text.encode("utf-8"))
        self.width = float(self.root.get("width", "1"))
        self.height = float(self.root.get("height", "1"))
        self.scale = 1.0
        self.left = self.top = 0.0

    def lay_out(self, turned: bool) -> None:
        """Draw on a new page, as large as it goes there, at most `LARGEST`."""
        self.document.add_page("L" if turned else "P")
        wide, high = self.document.w - 2 * BORDER, self.document.h - 2 * BORDER
        self.scale = min(wide / self.width, high / self.height, LARGEST)
        self.left = BORDER + (wide - self.width * self.scale) / 2
        self.top = float(BORDER)
        self._children(self.root, (0.0, 0.0))

    def _at(self, x: float, y: float, shift: tuple[float, float]) -> tuple[float, float]:
        return (self.left + (x + shift[0]) * self.scale, self.top + (y + shift[1]) * self.scale)

    def _children(self, element: ElementTree.Element, shift: tuple[float, float]) -> None:
        for child in element:
            tag = child.tag.removeprefix(_SVG)
            if tag in _IDLE:
                continue
            if tag == "g":
                move = re.fullmatch(r"translate\((\S+) (\S+)\)", child.get("transform", ""))
                further = (float(move[1]), float(move[2])) if move else (0.0, 0.0)
                self._children(child, (shift[0] + further[0], shift[1] + further[1]))
                continue
            draw = getattr(self, f"_{tag}", None)
            if draw is None:
                raise OutputError(f"a drawing has a '{tag}', which cannot be put into PDF")
            draw(child, shift)

    def _pen(self, element: ElementTree.Element) -> str:
        """Set colours, width and dashes; return the style: D draw, F fill, DF both, or empty."""
        fill, stroke = element.get("fill", "none"), element.get("stroke", "none")
        width = float(element.get("stroke-width", "1"))
        style = ""
        if stroke != "none" and width > 0:
            self.document.set_draw_color(*_colour(stroke))
            self.document.set_line_width(width * self.scale)
            dash = [float(n) * self.scale for n in element.get("stroke-dasharray", "").split()]
            if dash:
                self.document.set_dash_pattern(dash=dash[0], gap=dash[-1])
            else:
                self.document.set_dash_pattern()
            style += "D"
        if fill != "none":
            self.document.set_fill_color(*_colour(fill))
            style += "F"
        return style

    def _points(
        self, element: ElementTree.Element, shift: tuple[float, float]
    ) -> list[tuple[float, float]]:
        numbers = [float(n) for n in re.split(r"[ ,]+", element.get("points", "").strip()) if n]
        return [self._at(x, y, shift) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]

    def _polyline(self, element: ElementTree.Element, shift: tuple[float, float]) -> None:
        style = self._pen(element)
        if style:
            self.document.polyline(self._points(element, shift), style="D")

    def _polygon(self, element: ElementTree.Element, shift: tuple[float, float]) -> None:
        style = self._pen(element)
        if style:
            self.document.polygon(self._points(element, shift), style=style)

    def _rect(self, element: ElementTree.Element, shift: tuple[float, float]) -> None:
        style = self._pen(element)
        x, y = self._at(float(element.get("x", "0")), float(element.get("y", "0")), shift)
        if style:
            self.document.rect(
                x, y, float(element.get("width", "0")) * self.scale,
                float(element.get("height", "0")) * self.scale, style=style,
            )

    def _circle(self, element: ElementTree.Element, shift: tuple[float, float]) -> None:
        style = self._pen(element)
        radius = float(element.get("r", "0"))
        x, y = self._at(float(element.get("cx", "0")), float(element.get("cy", "0")), shift)
        if style:
            self.document.ellipse(
                x - radius * self.scale, y - radius * self.scale,
                2 * radius * self.scale, 2 * radius * self.scale, style=style,
            )

    def _path(self, element: ElementTree.Element, shift: tuple[float, float]) -> None:
        """Draw an arc, the one path that the drawings use, as short straight lines."""
        found = re.fullmatch(
            r"M (\S+) (\S+) A (\S+) \S+ 0 0 ([01]) (\S+) (\S+)", element.get("d", "")
        )
        if found is None:
            raise OutputError("a drawing has a path that cannot be put into PDF")
        x1, y1, radius, sweep, x2, y2 = (float(n) for n in found.groups())
        half = math.hypot(x2 - x1, y2 - y1) / 2
        radius = max(radius, half)
        off = math.sqrt(radius * radius - half * half)
        side = 1 if sweep else -1
        cx = (x1 + x2) / 2 - side * off * (y2 - y1) / (2 * half)
        cy = (y1 + y2) / 2 + side * off * (x2 - x1) / (2 * half)
        begin, end = math.atan2(y1 - cy, x1 - cx), math.atan2(y2 - cy, x2 - cx)
        turn = (end - begin) % (2 * math.pi) if sweep else -((begin - end) % (2 * math.pi))
        spots = [
            self._at(cx + radius * math.cos(begin + turn * i / 12),
                     cy + radius * math.sin(begin + turn * i / 12), shift)
            for i in range(13)
        ]
        if self._pen(element):
            self.document.polyline(spots, style="D")

    def _text(self, element: ElementTree.Element, shift: tuple[float, float]) -> None:
        words = latin(element.text or "")
        bold = "B" if element.get("font-weight") == "bold" else ""
        size = float(element.get("font-size", "11")) * self.scale
        self.document.set_font("helvetica", style=bold, size=size)
        self.document.set_text_color(0, 0, 0)
        x, y = self._at(float(element.get("x", "0")), float(element.get("y", "0")), shift)
        wide = self.document.get_string_width(words)
        begin = {"middle": x - wide / 2, "end": x - wide}.get(element.get("text-anchor", ""), x)
        turn = re.match(r"rotate\((\S+)", element.get("transform", ""))
        if turn:
            # SVG turns clockwise, the library against it.
            with self.document.rotation(-float(turn[1].rstrip(")")), x, y):
                self.document.text(begin, y, words)
        else:
            self.document.text(begin, y, words)


def _colour(name: str) -> tuple[int, int, int]:
    """Return the colour as red, green, blue; the drawings use black, white and greys."""
    if name.startswith("#") and len(name) == 7:
        return int(name[1:3], 16), int(name[3:5], 16), int(name[5:7], 16)
    known = {"black": (0, 0, 0), "white": (255, 255, 255)}
    if name not in known:
        raise OutputError(f"a drawing has the colour '{name}', which cannot be put into PDF")
    return known[name]
