"""The data of a pack as readers take it that are none of this project's.

pyvcd reads the value change dumps (IEEE 1364), junitparser and tap.py the test sheets to fill in.
"""

from __future__ import annotations

import io
from fractions import Fraction

import pytest
from test_modes import KEPT
from test_pack import job, table, text


@pytest.mark.parametrize("name", KEPT)
def test_dump(name: str) -> None:
    from vcd.common import TimescaleUnit
    from vcd.reader import TokenKind, tokenize

    trace = job(name).facts.trace
    signals: dict[str, str] = {}
    found: dict[str, list[tuple[int, str]]] = {}
    time, end = 0, 0
    for token in tokenize(io.BytesIO(text(name, "08-timing.vcd").encode())):
        if token.kind is TokenKind.TIMESCALE:
            assert token.timescale.unit is TimescaleUnit.millisecond
            assert int(token.timescale.magnitude) == 1
        elif token.kind is TokenKind.VAR:
            signals[token.var.id_code] = token.var.reference
            found[token.var.id_code] = []
            assert token.var.size == 1
        elif token.kind is TokenKind.CHANGE_TIME:
            time = end = int(token.time_change)
        elif token.kind is TokenKind.CHANGE_SCALAR:
            found[token.scalar_change.id_code].append((time, token.scalar_change.value))
    assert end == trace.end and len(set(signals.values())) == len(trace.tracks)
    for track, changes in zip(trace.tracks, found.values(), strict=True):
        for at, value in changes:
            assert value == str(int(track.level(Fraction(at)))), (track.name, at)


@pytest.mark.parametrize("name", ["hen-house", "water-butt"])
def test_results(name: str) -> None:
    import junitparser
    from tap.line import Result as Line
    from tap.parser import Parser

    steps = table(name, "10-test-sheet.csv")
    suites = junitparser.JUnitXml.fromstring(text(name, "10-test-sheet.junit.xml").encode())
    (suite,) = list(suites)
    assert (suite.tests, suite.skipped, suite.failures) == (len(steps), len(steps), 0)
    assert [case.name for case in suite] == [f"step {step['step']}: {step['do']}" for step in steps]
    lines = [
        line
        for line in Parser().parse_text(text(name, "10-test-sheet.tap"))
        if isinstance(line, Line)
    ]
    assert [line.number for line in lines] == list(range(1, len(steps) + 1))
    # A step that is to do is no failure for a reader that knows the directive.
    assert all(line.todo and not line.ok for line in lines)
