"""All files of a hand-over pack, by name: pages, tables, drawings, data, and the index."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from synth.design import Design, design_document
from synth.problem import Problem
from synth.report.document import to_json
from synth.report.pages import csv_files, html, index_markdown, markdown, prefixed
from synth.report.paper import Leaf
from synth.report.path_drawing import circuit_sheets, circuit_svg
from synth.report.pdf import available, pdf_of
from synth.report.timing import timing_sheets, timing_svg
from synth.report.waves import Cases, junit, tap, vcd, wave_json
from synth.report.wiring import wiring_svg
from synth.report.wiring_sheets import wiring_sheets
from synth.sheet import Block, Picture, Sheet
from synth.trace import Trace

PDF = "drawings.pdf"
DESIGN = "design.json"
PAGE = "page.html"
NAMES = {
    "03-circuit.svg": "Circuit diagram", "03-ladder.svg": "Ladder diagram",
    "03-layout.svg": "Layout", "08-timing.svg": "Timing diagram",
}
"""The drawings of a pack, and what each is called in the PDF."""


def _on_paper(
    sheets: Sequence[Sheet], drawings: Mapping[str, str], leaves: Mapping[str, Sequence[Leaf]]
) -> tuple[tuple[Sheet, ...], dict[str, str], frozenset[str]]:
    """Return the sheets with each picture told its sheets of paper, those of drawings that need
    a form of their own there by the names of their files, and the names of what goes on turned
    paper."""
    files: dict[str, str] = {}
    turned: set[str] = set()

    def told(sheet: Sheet, block: Block) -> Block:
        if not isinstance(block, Picture):
            return block
        name = prefixed(sheet, block.file)
        own = leaves[name]
        # One sheet, too, may be drawn otherwise than the whole: in one row of paths, not in two.
        if [leaf.svg for leaf in own] == [drawings[name]]:
            turned.update([name] if own[0].turned else [])
            return block
        parts = []
        for number, leaf in enumerate(own, 1):
            parts.append(f"{block.file.removesuffix('.svg')}-sheet-{number}.svg")
            files[prefixed(sheet, parts[-1])] = leaf.svg
            turned.update([prefixed(sheet, parts[-1])] if leaf.turned else [])
        return replace(block, sheets=tuple(parts))

    told_sheets = tuple(
        replace(sheet, blocks=tuple(told(sheet, block) for block in sheet.blocks))
        for sheet in sheets
    )
    return told_sheets, files, frozenset(turned)


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
    leaves: dict[str, tuple[Leaf, ...]] = {
        "03-circuit.svg": circuit_sheets(design, problem.kit, name, nodes, paper),
        "03-ladder.svg": circuit_sheets(design, problem.kit, name, nodes, paper, ladder=True),
        "03-layout.svg": wiring_sheets(design, problem.kit, name, paper),
        "08-timing.svg": timing_sheets(trace, name, paper),
    }
    sheets, divided, turned = _on_paper(sheets, drawings, leaves)
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
        pdf[PDF] = pdf_of({NAMES[name]: own for name, own in leaves.items()}, paper, title)
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
        "index.html": html(sheets, title, paper, notes, more, turned),
    }
    pages = {prefixed(sheet, f"{sheet.name}.md"): markdown(sheet) for sheet in sheets}
    return {
        **index, **pages, **csv_files(sheets), **drawings, **divided, **data, **pdf, PAGE: page,
        DESIGN: to_json(design_document(design)),
    }
