"""All files of a hand-over pack, by name: pages, tables, drawings, data, and the index."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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


def pack_files(
    sheets: Sequence[Sheet], cases: Cases, design: Design, problem: Problem, trace: Trace,
    nodes: Mapping[int, int], paper: str, key: str,
) -> dict[str, str | bytes]:
    """Return every file of the pack, the index first; `nodes`: the node of each wire's number."""
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
        "10-test-sheet.junit.xml": junit(cases, title),
        "10-test-sheet.tap": tap(cases),
    }
    more = [DESIGN]
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
    )
    index: dict[str, str | bytes] = {
        "index.md": index_markdown(sheets, title, notes, more),
        "index.html": html(sheets, title, paper, notes),
    }
    pages = {prefixed(sheet, f"{sheet.name}.md"): markdown(sheet) for sheet in sheets}
    return {
        **index, **pages, **csv_files(sheets), **drawings, **data, **pdf,
        DESIGN: to_json(design_document(design)),
    }
