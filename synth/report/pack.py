"""All files of a hand-over pack, by name: pages, tables, drawings, data, and the index."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.etree import ElementTree

from synth.design import Design, design_document
from synth.problem import Problem
from synth.report.document import to_json
from synth.report.pages import csv_files, html, index_markdown, markdown, prefixed
from synth.report.path_drawing import circuit_svg
from synth.report.pdf import available, pdf_of
from synth.report.timing import timing_svg
from synth.report.waves import Cases, junit, tap, vcd, wave_json
from synth.report.wiring import wiring_svg
from synth.sheet import Sheet
from synth.trace import Trace

PDF = "drawings.pdf"
DESIGN = "design.json"
PAGE = "page.html"
WIDE = 1.4
"""Width by height from which on a drawing is more legible on paper that is turned: a sheet of A4
has 269 by 182 mm of room, so one of 1.22 is as large either way, and loses its heading."""


def _wide(drawings: Mapping[str, str]) -> frozenset[str]:
    """Return the names of drawings that are much wider than high."""
    found = set()
    for name, text in drawings.items():
        root = ElementTree.fromstring(text.encode("utf-8"))
        if float(root.get("width", "1")) > WIDE * float(root.get("height", "1")):
            found.add(name)
    return frozenset(found)


def pack_files(
    sheets: Sequence[Sheet], cases: Mapping[str, Cases], design: Design, problem: Problem,
    trace: Trace, nodes: Mapping[int, int], paper: str, key: str, page: str,
) -> dict[str, str | bytes]:
    """Return every file of the pack, the index first; `nodes`: the node of each wire's number,
    `cases`: the steps of each test by name, `page`: the page in which the circuit runs."""
    title = f"Hand-over pack: {problem.title or 'a circuit'}"
    name = problem.title or "Circuit"
    drawings = {
        "03-circuit.svg": circuit_svg(design, problem.kit, name, nodes),
        "03-ladder.svg": circuit_svg(design, problem.kit, name, nodes, ladder=True),
        "03-layout.svg": wiring_svg(design, problem.kit, name),
        "08-timing.svg": timing_svg(trace, name),
    }
    data = {
        "08-timing.vcd": vcd(trace),
        "08-timing.wave.json": wave_json(trace, name),
    }
    for test, steps in cases.items():
        data[f"10-{test}.junit.xml"] = junit(steps, title)
        data[f"10-{test}.tap"] = tap(steps)
    more = [PAGE, DESIGN]
    pdf: dict[str, str | bytes] = {}
    if available():
        pdf[PDF] = pdf_of(drawings, paper, title)
        more.append(PDF)
        paper_note = f"All drawings for printing on {paper}: {PDF}."
    else:
        paper_note = (
            "No PDF was written, for its library is not installed: pip install '.[pdf]' and make "
            "the pack anew, or print index.html from a browser into a PDF."
        )
    notes = (
        f"Design {key}. Fifteen items, in the order in which a reader who knows nothing of it "
        "needs them. Cautions are item 2: read them before anything is touched.",
        f"To be printed on {paper}, black and white. {paper_note}",
        f"To see it run, open {PAGE} in a browser: work its inputs, let time pass, go back. It "
        "needs no network.",
    )
    index: dict[str, str | bytes] = {
        "index.md": index_markdown(sheets, title, notes, more),
        "index.html": html(sheets, title, paper, notes, more, _wide(drawings)),
    }
    pages = {prefixed(sheet, f"{sheet.name}.md"): markdown(sheet) for sheet in sheets}
    return {
        **index, **pages, **csv_files(sheets), **drawings, **data, **pdf, PAGE: page,
        DESIGN: to_json(design_document(design)),
    }
