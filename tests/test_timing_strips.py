"""The timing picture: what is drawn where a strip ends, and of a run of a moment."""

from __future__ import annotations

import itertools
from fractions import Fraction
from xml.etree import ElementTree

from synth.report.timing import timing_svg
from synth.trace import Trace, Track

SVG = "{http://www.w3.org/2000/svg}"
S = 1000


def lines(group: ElementTree.Element) -> list[list[tuple[int, int]]]:
    """Return the points of each step line in a track."""
    return [
        [(int(x), int(y)) for x, y in (p.split(",") for p in line.get("points", "").split())]
        for line in group.iter(f"{SVG}polyline")
        if line.get("stroke-width") == "1.8"
    ]


def test_every_change_is_drawn_also_where_a_strip_ends() -> None:
    """Times that never repeat, so that none is left out."""
    times = list(itertools.accumulate(3 + i % 7 + i // 7 for i in range(70)))
    changes = tuple((Fraction(S * time), i % 2 == 0) for i, time in enumerate(times))
    trace = Trace(Fraction(S * (times[-1] + 5)), (Track("Q", "timer", False, changes),))
    root = ElementTree.fromstring(timing_svg(trace, "x").encode())
    groups = [g for g in root.iter(f"{SVG}g") if g.get("class") == "track"]
    assert len(groups) > 1
    steps = [
        a != b
        for group in groups
        for points in lines(group)
        for (_, a), (_, b) in itertools.pairwise(points)
    ]
    assert sum(steps) == len(times)


def test_a_run_of_a_moment_is_no_sliver_and_says_all_of_what_goes_wrong() -> None:
    words = "goal 3: fan is off when the supply comes on with damp on and the lid shut; must be on"
    trace = Trace(Fraction(2 * S), (Track("fan", "load", False, ()),), ((Fraction(0), words),))
    root = ElementTree.fromstring(timing_svg(trace, "x").encode())
    group = next(g for g in root.iter(f"{SVG}g") if g.get("class") == "track")
    xs = [x for points in lines(group) for x, _ in points]
    assert max(xs) - min(xs) >= 300
    assert words in " ".join(e.text or "" for e in root.iter(f"{SVG}text"))
