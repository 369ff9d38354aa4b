"""The page: its form, its style, its scripts and its data, in one file that needs no other.

Nothing in it is fetched. A policy in its head allows the one style sheet and the one script that
stand in it, by their hashes, and nothing else: text from a goal file cannot become a script. Data
goes in as JSON in which no character can end the element; what the scripts show of it is set as
text, never as markup.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from importlib.resources import files
from typing import Any

from synth.design import Design
from synth.problem import Problem
from synth.report.layout import layout
from synth.report.page.data import Shown, page_data, standing
from synth.report.page.diagram import diagram_svg
from synth.report.svg import escape
from synth.report.wiring import CAUTION
from synth.result import Verdict

SCRIPTS = (
    "wanted.js", "engine.js", "player.js", "words.js", "link.js",
    "drawing.js", "stage.js", "keys.js", "handle.js", "view.js",
)  # fmt: skip
"""The scripts of the page, in the order in which they are joined."""


def page_html(design: Design, problem: Problem, shown: Shown) -> str:
    """Return the page of `design` as one HTML document. Same input, same bytes."""
    plan = layout(design, problem.kit)
    style = _file("page.css")
    script = '(() => {\n"use strict";\n' + "".join(_file(name) for name in SCRIPTS) + "})();\n"
    title = problem.title or "Circuit"
    slots = {
        "policy": escape(policy(style, script)),
        "title": escape(title),
        "style": style,
        "verdict": escape(verdict_in_words(shown.verdict)),
        "standing": standing(shown.verdict),
        "diagram": diagram_svg(design, plan),
        "assumptions": "".join(f"<li>{escape(line)}</li>" for line in problem.assumptions),
        "caution": escape(CAUTION),
        "data": json_for_page(page_data(design, problem, shown, plan)),
        "script": script,
    }
    # In one go, so that nothing put in is looked at again.
    return re.sub(r"<!--(\w+)-->", lambda slot: slots[slot[1]], _file("page.html"))


def policy(style: str, script: str) -> str:
    """Return the content security policy: these two elements by their hashes, nothing else."""
    return (
        f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


def json_for_page(data: dict[str, Any]) -> str:
    """Return `data` as JSON, plain ASCII, in which nothing can end or open an element."""
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for char in "<>&":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return text


def verdict_in_words(verdict: Verdict | None) -> str:
    """Return what was checked, and nothing more."""
    if verdict is None:
        return "Not decided: the check ran out of time. The page shows single runs, it proves none."
    if verdict.holds:
        return (
            f"Checked: {verdict.states} states, every input sequence, any moment: all goals hold."
        )
    return "The check fails: 'What goes wrong' tells how, and plays it."


def _file(name: str) -> str:
    return files("synth.report.page").joinpath(name).read_text(encoding="utf-8")
