"""A small, safe writer of SVG: every text is escaped, every number has one spelling.

Only what the drawings need. The same calls give the same bytes.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import TypeAlias

Number: TypeAlias = int | float
Point: TypeAlias = tuple[int, int]

FONT = "DejaVu Sans, Verdana, Arial, Helvetica, sans-serif"
SMALLEST_TEXT = 11
"""No text is set smaller than this, in px."""

_NARROW = frozenset("iIjlft.,:;'|!()[]/ ·-r")
_WIDE = frozenset("mMwW@%&OQ—")


def visible(text: str) -> str:
    """Return `text` on one line, with what cannot be shown or is not XML replaced by U+FFFD.

    White space becomes one blank. Control, format (such as a change of writing direction),
    surrogate and unassigned characters are replaced, so that a name can neither break a document
    nor disguise what stands beside it.
    """
    joined = " ".join(text.split())
    if joined.isprintable():  # nothing of what is replaced is
        return joined
    return "".join(
        "\ufffd" if unicodedata.category(char) in ("Cc", "Cf", "Cs", "Co", "Cn") else char
        for char in joined
    )


def escape(text: str) -> str:
    """Return `text` made visible, then escaped for XML text and attribute values."""
    for char, entity in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = text.replace(char, entity)
    return visible(text).replace("'", "&#39;")


@lru_cache(maxsize=20_000)
def text_width(text: str, size: int = SMALLEST_TEXT, bold: bool = False) -> int:
    """Return a careful upper estimate of the width of `text` in px, for common sans-serif fonts."""
    ems = 0.0
    for char in text:
        if unicodedata.east_asian_width(char) in ("W", "F"):
            ems += 1.05
        elif char in _NARROW:
            ems += 0.42
        elif char in _WIDE:
            ems += 1.0
        elif char.isupper():
            ems += 0.76
        elif char.isascii() or char.isalnum():
            ems += 0.65
        else:
            ems += 0.9
    return int(ems * size * (1.1 if bold else 1.0)) + 1


@lru_cache(maxsize=2048)
def wrap(text: str, width: int, size: int = SMALLEST_TEXT, bold: bool = False, most: int = 4) -> (
    tuple[str, ...]
):
    """Return `text` in lines of at most `width` px, breaking words that are longer.

    More than `most` lines are cut, and the last then ends in an ellipsis.
    """
    lines: list[str] = []
    line = ""
    # A text that long is cut anyway; looking at all of it would only cost time.
    for word in visible(text[:2000]).split(" "):
        trial = f"{line} {word}" if line else word
        if text_width(trial, size, bold) <= width:
            line = trial
            continue
        if line:
            lines.append(line)
        line = ""
        for char in word:
            if line and text_width(line + char, size, bold) > width:
                lines.append(line)
                line = ""
            line += char
        if len(lines) > most:
            break
    if line:
        lines.append(line)
    if len(lines) > most:
        last = lines[most - 1]
        while last and text_width(last + "…", size, bold) > width:
            last = last[:-1]
        lines = [*lines[: most - 1], last + "…"]
    return tuple(lines)


def number(value: Number) -> str:
    """Return `value` with at most two decimals and no needless zeros."""
    if isinstance(value, int):
        return str(value)
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


class Svg:
    """A drawing under construction; lengths in px, y downwards."""

    def __init__(self, title: str, description: str) -> None:
        self._title = title
        self._description = description
        self._lines: list[str] = []
        self._depth = 1

    def _add(self, markup: str) -> None:
        self._lines.append("  " * self._depth + markup)

    def open(self, kind: str, title: str = "", shift: Point = (0, 0)) -> None:
        """Begin a group of class `kind`, moved by `shift`; `title` is shown by viewers that
        point at it."""
        move = f' transform="translate({shift[0]} {shift[1]})"' if any(shift) else ""
        self._add(f'<g class="{escape(kind)}"{move}>')
        self._depth += 1
        if title:
            self._add(f"<title>{escape(title)}</title>")

    def close(self) -> None:
        """End the innermost group."""
        self._depth -= 1
        self._add("</g>")

    def polyline(
        self,
        points: Sequence[tuple[Number, Number]],
        width: Number = 1.5,
        dash: str = "",
        fill: str = "none",
        closed: bool = False,
        stroke: str = "black",
    ) -> None:
        """Draw straight lines through `points`."""
        spots = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        dashes = f' stroke-dasharray="{escape(dash)}"' if dash else ""
        tag = "polygon" if closed else "polyline"
        self._add(
            f'<{tag} points="{spots}" fill="{escape(fill)}" stroke="{escape(stroke)}"'
            f' stroke-width="{number(width)}"{dashes}/>'
        )

    def line(
        self, x1: Number, y1: Number, x2: Number, y2: Number, width: Number = 1.5, dash: str = "",
        stroke: str = "black",
    ) -> None:
        """Draw one straight line."""
        self.polyline([(x1, y1), (x2, y2)], width, dash, stroke=stroke)

    def rect(
        self, x: Number, y: Number, width: Number, height: Number, stroke: Number = 1.5,
        fill: str = "white", round_: Number = 0, dash: str = "",
    ) -> None:
        """Draw a rectangle; `stroke` 0 leaves out its outline."""
        outline = f'stroke="black" stroke-width="{number(stroke)}"' if stroke else 'stroke="none"'
        dashes = f' stroke-dasharray="{escape(dash)}"' if dash else ""
        corner = f' rx="{number(round_)}"' if round_ else ""
        self._add(
            f'<rect x="{number(x)}" y="{number(y)}" width="{number(width)}"'
            f' height="{number(height)}"{corner} fill="{escape(fill)}" {outline}{dashes}/>'
        )

    def circle(
        self, x: Number, y: Number, radius: Number, stroke: Number = 1.5, fill: str = "white"
    ) -> None:
        """Draw a circle."""
        self._add(
            f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"'
            f' fill="{escape(fill)}" stroke="black" stroke-width="{number(stroke)}"/>'
        )

    def arc(
        self, x1: Number, y1: Number, x2: Number, y2: Number, radius: Number, clockwise: bool,
        width: Number = 1.5,
    ) -> None:
        """Draw an arc from one point to the other, the short way round."""
        self._add(
            f'<path d="M {number(x1)} {number(y1)} A {number(radius)} {number(radius)} 0 0'
            f' {int(clockwise)} {number(x2)} {number(y2)}" fill="none" stroke="black"'
            f' stroke-width="{number(width)}"/>'
        )

    def text(
        self, x: Number, y: Number, text: str, size: int = SMALLEST_TEXT, anchor: str = "start",
        bold: bool = False, turn: Number = 0,
    ) -> None:
        """Write `text` with its base line at `y`; `turn` in degrees about its anchor."""
        assert size >= SMALLEST_TEXT, size
        weight = ' font-weight="bold"' if bold else ""
        rotate = (
            f' transform="rotate({number(turn)} {number(x)} {number(y)})"' if turn else ""
        )
        place = "" if anchor == "start" else f' text-anchor="{escape(anchor)}"'
        self._add(
            f'<text x="{number(x)}" y="{number(y)}" font-size="{size}"{place}{weight}{rotate}>'
            f"{escape(text)}</text>"
        )

    def document(self, width: int, height: int) -> str:
        """Return the whole drawing on white, `width` by `height` px."""
        return "\n".join(
            [
                '<?xml version="1.0" encoding="UTF-8"?>',
                f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"'
                f' viewBox="0 0 {width} {height}" role="img"'
                f' aria-labelledby="drawing-title drawing-description"'
                f' font-family="{escape(FONT)}">',
                f'  <title id="drawing-title">{escape(self._title)}</title>',
                f'  <desc id="drawing-description">{escape(self._description)}</desc>',
                f'  <rect width="{width}" height="{height}" fill="white"/>',
                *self._lines,
                "</svg>",
                "",
            ]
        )


def shifted(points: Iterable[tuple[Number, Number]], x: Number, y: Number) -> (
    list[tuple[Number, Number]]
):
    """Return `points` moved by (x, y)."""
    return [(px + x, py + y) for px, py in points]
