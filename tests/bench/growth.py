"""How the tool grows: loads, cycles, and the length of a cycle, measured and drawn.

`python tests/bench/growth.py` measures whole processes, one after the other and each cold, and
writes docs/growth.json (the figures) and docs/growth.svg (the picture of them), in some minutes;
`python tests/bench/growth.py --draw` only draws the figures that are there.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jobs import cycle, goal_file, many
from processes import ROOT, planned

from synth.report.svg import Svg

FIGURES = ROOT / "docs" / "growth.json"
PICTURE = ROOT / "docs" / "growth.svg"
SECONDS = 20.0
"""What each plan may take; then it is drawn open, with its gap."""
MACHINE = "two cores, shared with other work"
KITS = ("starter", "full")

LOADS = (3, 6, 12, 25, 50, 100)
CYCLES = (
    ("pump", "10 s", "60 s"),
    ("mister", "15 s", "15 min"),
    ("stirrer", "5 s", "20 s"),
    ("sprayer", "20 s", "1 h"),
)
PERIODS = {60: "60 s", 300: "5 min", 900: "15 min", 3600: "1 h", 21600: "6 h", 86400: "1 day"}


def jobs() -> dict[str, list[tuple[int, str]]]:
    """Return the goal files of each series, with the number that grows."""
    return {
        "loads": [(count, many(count, min(count, 4))) for count in LOADS],
        "cycles": [
            (count, goal_file(f"{count} cycles", [cycle(*c) for c in CYCLES[:count]]))
            for count in range(1, len(CYCLES) + 1)
        ],
        "period": [
            (seconds, goal_file("One cycle", [cycle("pump", "10 s", every)]))
            for seconds, every in PERIODS.items()
        ],
    }


def measured() -> dict[str, Any]:
    """Measure all series with both kits and the default engine, once each."""
    series = []
    with tempfile.TemporaryDirectory() as folder:
        for name, goals in jobs().items():
            for kit in KITS:
                points = []
                for number, text in goals:
                    figures = planned(text, "--kit", kit, seconds=SECONDS, folder=Path(folder))
                    print(f"{name} {number}, {kit}: {figures.told()}")
                    found = figures.document or {}
                    points.append(
                        {
                            "number": number,
                            "seconds": round(figures.seconds, 2),
                            "processor_seconds": round(figures.processor, 2),
                            "megabytes": round(figures.memory),
                            "status": found.get("status", "failed"),
                            "price": found.get("price"),
                            "bound": found.get("bound"),
                        }
                    )
                series.append({"what": name, "kit": kit, "points": points})
    return {"machine": MACHINE, "time_limit": SECONDS, "series": series}


# --- the picture -----------------------------------------------------------------------------

WIDTH, HEIGHT = 330, 300
"""Of one panel's field, px."""
LEFT, TOP, BETWEEN, BELOW = 70, 60, 60, 110
GREY = "#d8d8d8"
LEAST, MOST = 0.2, 50.0
"""Seconds at the lower and upper end of the axis, which is logarithmic."""
LINES = (0.2, 0.5, 1, 2, 5, 10, 20, 50)
TITLES = {
    "loads": ("Loads, four behaviours", "number of loads"),
    "cycles": ("Cycles of different periods", "number of cycles"),
    "period": ("One cycle, 10 s of every ...", "period"),
}


@dataclass(frozen=True)
class Axis:
    """Where the numbers of a panel stand: on a logarithmic scale, or one by one."""

    ticks: Sequence[int]
    words: Sequence[str]
    logarithmic: bool

    def at(self, number: float) -> float:
        """Return the share of the width, 0 to 1, with a margin at both ends."""
        ends = float(self.ticks[0]), float(self.ticks[-1])
        if self.logarithmic:
            number, ends = math.log(number), (math.log(ends[0]), math.log(ends[1]))
        return 0.06 + 0.88 * (number - ends[0]) / (ends[1] - ends[0])


AXES = {
    "loads": Axis(LOADS, [str(count) for count in LOADS], True),
    "cycles": Axis(range(1, len(CYCLES) + 1), [str(n) for n in range(1, len(CYCLES) + 1)], False),
    "period": Axis(tuple(PERIODS), tuple(PERIODS.values()), True),
}


def height(seconds: float) -> float:
    """Return the y of a time, px below the top of the field."""
    inside = min(max(seconds, LEAST), MOST)
    return HEIGHT * (1 - math.log(inside / LEAST) / math.log(MOST / LEAST))


def drawn(figures: dict[str, Any]) -> str:
    """Return the picture of measured figures (SVG): one panel for each thing that grows."""
    svg = Svg(
        "How planning time grows",
        "Seconds of the whole process over loads, cycles and the period of one cycle, for two "
        "kits; open marks were not proven within the time limit.",
    )
    for place, (name, (title, below)) in enumerate(TITLES.items()):
        left = LEFT + place * (WIDTH + BETWEEN)
        _field(svg, left, title, below, AXES[name], place == 0, figures["time_limit"])
        for line in figures["series"]:
            if line["what"] == name:
                _line(svg, left, AXES[name], line["points"], line["kit"] == KITS[0])
    base = TOP + HEIGHT + 72
    for number, kit in enumerate(KITS):
        x = LEFT + 190 * number
        svg.line(x, base - 4, x + 40, base - 4, dash="" if number == 0 else "6 4")
        _mark(svg, x + 20, base - 4, number == 0, True)
        svg.text(x + 50, base, f"{kit} kit")
    svg.text(LEFT + 390, base, "filled: proven cheapest")
    svg.text(
        LEFT + 590, base,
        f"open: checked, not proven within {figures['time_limit']:g} s (gap to the bound beside)",
    )  # fmt: skip
    svg.text(LEFT, base + 22, f"Default engine, each once, cold; {figures['machine']}.")
    width = LEFT + 3 * WIDTH + 2 * BETWEEN + 40
    return svg.document(width, TOP + HEIGHT + BELOW)


def _field(
    svg: Svg, left: int, title: str, below: str, axis: Axis, first: bool, limit: float
) -> None:
    """Draw the grid of one panel, its titles and the numbers at its axes."""
    svg.text(left, TOP - 16, title, 13, bold=True)
    for seconds in LINES:
        y = TOP + height(seconds)
        svg.line(left, y, left + WIDTH, y, 1, stroke=GREY)
        svg.text(left - 8, y + 4, f"{seconds:g}", anchor="end")
    for number, words in zip(axis.ticks, axis.words, strict=True):
        x = left + WIDTH * axis.at(number)
        svg.line(x, TOP, x, TOP + HEIGHT, 1, stroke=GREY)
        svg.text(x, TOP + HEIGHT + 18, words, anchor="middle")
    svg.line(left, TOP + height(limit), left + WIDTH, TOP + height(limit), 1, "2 3", "#808080")
    svg.text(left + 4, TOP + height(limit) - 5, "time limit")
    svg.line(left, TOP + HEIGHT, left + WIDTH, TOP + HEIGHT, 1)
    svg.line(left, TOP, left, TOP + HEIGHT, 1)
    svg.text(left + WIDTH / 2, TOP + HEIGHT + 38, below, 12, "middle")
    if first:
        svg.text(24, TOP + HEIGHT / 2, "seconds, whole process", 12, "middle", turn=-90)


def _line(svg: Svg, left: int, axis: Axis, points: Sequence[dict[str, Any]], solid: bool) -> None:
    """Draw one series: solid with round marks, or dashed with square ones."""
    spots = [(left + WIDTH * axis.at(p["number"]), TOP + height(p["seconds"])) for p in points]
    svg.polyline(spots, dash="" if solid else "6 4")
    for (x, y), point in zip(spots, points, strict=True):
        proven = point["status"] == "proven-cheapest"
        _mark(svg, x, y, solid, proven)
        if not proven:
            svg.text(x, y + (-9 if solid else 19), _gap(point), anchor="middle")


def _gap(point: dict[str, Any]) -> str:
    """Return the gap of a point in words."""
    if point["price"] is None:
        return point["status"]
    if not point["bound"]:
        return "no bound"
    return f"{100 * (point['price'] - point['bound']) / point['price']:.0f} %"


def _mark(svg: Svg, x: float, y: float, round_: bool, filled: bool) -> None:
    fill = "black" if filled else "white"
    if round_:
        svg.circle(x, y, 4.5, fill=fill)
    else:
        svg.rect(x - 4, y - 4, 8, 8, fill=fill)


def main() -> None:
    """Measure unless told only to draw, and write both files."""
    if "--draw" not in sys.argv[1:]:
        FIGURES.write_text(json.dumps(measured(), indent=2) + "\n", "utf-8")
    PICTURE.write_text(drawn(json.loads(FIGURES.read_text("utf-8"))), "utf-8")


if __name__ == "__main__":
    main()
