"""Pictures of the running page in a real browser: nothing overlaps, all of it can be read.

See page_browser.py for what they need. The scenario and all its numbers are invented.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_browser import LAPTOP, NARROW, PHONE, Opened, html_of, started
from test_drawings import DESIGNS, KIT
from test_page import KEPT, kept

from synth.design import Design
from synth.parts.behaviour import SENSING, PartType
from synth.problem import InputKind, OutsideInput, Problem, Requirement
from synth.signals import Level

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    yield from started()


# --- pictures --------------------------------------------------------------------------------


def bare(design: Design) -> Problem:
    """Return a problem for a drawing made by hand: each load follows the supply, no goals."""
    loads = [p.name for p in design.parts if p.type is PartType.LOAD]
    kinds = {PartType.SWITCH: InputKind.SWITCH, PartType.PUSH_BUTTON: InputKind.BUTTON}
    inputs = {"supply": OutsideInput("supply", InputKind.SUPPLY)}
    for part in design.parts:
        if part.type is PartType.TWILIGHT:
            inputs["night"] = OutsideInput("night", InputKind.NIGHT)
        elif part.type in SENSING:
            name = str(part.setting("input") or part.name)
            inputs[name] = OutsideInput(name, kinds.get(part.type, InputKind.SENSOR))
    needs = tuple(Requirement(load, 1, Level("supply")) for load in loads)
    return Problem("Drawing", KIT, (), needs, tuple(inputs.values()))


def named_inputs(design: Design) -> Design:
    """Return the design with an input for each lever that names none."""
    from dataclasses import replace

    return replace(
        design,
        parts=tuple(
            replace(p, settings=(*p.settings, ("input", p.name)))
            if p.type in SENSING and p.type is not PartType.TWILIGHT and not p.setting("input")
            else p
            for p in design.parts
        ),
    )


BOXES = """() => {
  const box = (node) => { const b = node.getBoundingClientRect();
    return [b.left, b.top, b.right, b.bottom]; };
  const drawing = document.getElementById('drawing');
  const matrix = drawing.getScreenCTM();
  const point = (p) => [p.x * matrix.a + matrix.e, p.y * matrix.d + matrix.f];
  return {
    texts: [...drawing.querySelectorAll('text')].filter((t) => t.textContent)
      .map((t) => [t.textContent, ...box(t)]),
    parts: [...drawing.querySelectorAll('.part')].map((p) => box(p.querySelector('rect'))),
    wires: [...drawing.querySelectorAll('.wire polyline')].map((w) => [...w.points].map(point)),
  };
}"""


def shrunk(box: list[float], by: float) -> list[float]:
    return [box[0] + by, box[1] + by, box[2] - by, box[3] - by]


def meet(a: list[float], b: list[float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def nothing_overlaps(boxes: dict[str, Any]) -> None:
    # A font's box is higher than its letters; two px of it may meet another box.
    texts = [
        (text, [left, top + 2, right, bottom - 2])
        for text, left, top, right, bottom in boxes["texts"]
    ]
    for (text, a), (other, b) in itertools.combinations(texts, 2):
        assert not meet(a, b), (text, other, a, b)
    for wire in boxes["wires"]:
        for (x1, y1), (x2, y2) in itertools.pairwise(wire):
            line = [min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)]
            for part in boxes["parts"]:
                assert not meet(shrunk(part, 1), [line[0], line[1] - 0.01, line[2], line[3] + 0.01])
            for text, box in texts:
                assert not meet(box, line), (text, line)
    for a, b in itertools.combinations(boxes["parts"], 2):
        assert not meet(a, b)


@pytest.mark.parametrize("size", ["3", "7", "12", "20"])
@pytest.mark.parametrize("scale", [0.62, 1.0])
def test_nothing_in_the_diagram_overlaps(
    browser: Any, tmp_path: Path, size: str, scale: float
) -> None:
    design = named_inputs(DESIGNS[size])
    with Opened(browser, tmp_path, html_of(design, bare(design))) as opened:
        opened.run("(scale) => circuitPage.page.diagram.size(scale)", scale)
        levers = opened.run("() => circuitPage.page.model.inputs.map((i) => i.name)")
        for count in range(len(levers) + 1):
            opened.run(
                "(names) => { const page = circuitPage.page; page.player.restart();"
                " for (const name of names.filter((n) => n !== 'supply'))"
                " page.player.act({ [name]: true });"
                " page.player.advance(page.player.time + 1500); page.refresh(true); }",
                levers[:count],
            )
            nothing_overlaps(opened.run(BOXES))


@pytest.mark.parametrize("name", KEPT)
def test_nothing_in_the_diagram_of_a_plan_overlaps(browser: Any, tmp_path: Path, name: str) -> None:
    """The same of what was planned, up to 37 parts, with all inputs on and times running."""
    design, problem = kept(name)
    with Opened(browser, tmp_path, html_of(design, problem)) as opened:
        nothing_overlaps(opened.run(BOXES))
        opened.run(
            "() => { const { player } = circuitPage.page; for (const { name } of"
            " player.model.inputs) if (!player.level(name) && !player.refusal(name))"
            " player.act({ [name]: true });"
            " player.advance(player.time + 1500); circuitPage.page.refresh(true); }"
        )
        assert opened.page.locator("#drawing .wire.live").count() > len(design.wires) / 3
        nothing_overlaps(opened.run(BOXES))


@pytest.mark.parametrize("name", KEPT)
@pytest.mark.parametrize("view", [PHONE, NARROW, LAPTOP])
def test_the_page_never_scrolls_sideways(
    browser: Any, tmp_path: Path, name: str, view: dict[str, int]
) -> None:
    with Opened(browser, tmp_path, html_of(*kept(name)), viewport=view) as opened:
        opened.run(
            "() => { const p = circuitPage.page; p.choose(p.model.parts.at(-1));"
            " document.querySelectorAll('details').forEach((d) => { d.open = true; });"
            " p.chart.inner = true; p.player.advance(70000); p.refresh(true); }"
        )
        wide = opened.run("() => [document.documentElement.scrollWidth, innerWidth]")
        assert wide[0] <= wide[1]
        for id_ in ("run", "levers", "lights", "moment"):
            box = opened.page.locator(f"#{id_}").bounding_box()
            assert box is not None and box["x"] >= 0 and box["x"] + box["width"] <= view["width"]


@pytest.mark.parametrize("name", ["potting-shed", "whole-yard", "workbench"])
@pytest.mark.parametrize("view", [PHONE, NARROW])
def test_hands_and_circuit_on_a_phone(
    browser: Any, tmp_path: Path, name: str, view: dict[str, int]
) -> None:
    """What one works comes before the circuit; time stays in sight; fingers hit what they mean."""
    html = html_of(*kept(name))
    with Opened(browser, tmp_path, html, viewport=view, has_touch=True, is_mobile=True) as opened:
        page = opened.page

        def top(id_: str) -> float:
            box = page.locator(f"#{id_}").bounding_box()
            assert box is not None
            return float(box["y"])

        assert top("time") < top("inputs") < top("circuit") < top("goals") < top("strips")
        # What was worked is brought into sight, and so are the wires behind it.
        name_of_lever = "front switch" if name == "workbench" else "master"
        page.get_by_role("switch", name=name_of_lever).click()
        number = opened.run(
            "(f) => circuitPage.page.model.parts.findIndex((p) => p.input === f)", name_of_lever
        )
        shown = page.locator(f"[data-part='{number}'] rect").first.bounding_box()
        frame = page.locator("#stage").bounding_box()
        assert shown is not None and frame is not None
        assert frame["x"] <= shown["x"]
        assert shown["x"] + shown["width"] <= frame["x"] + frame["width"]
        page.evaluate("() => window.scrollTo(0, 0)")
        if name == "potting-shed" and view is PHONE:
            box = page.locator("#levers").bounding_box()
            assert box is not None and box["y"] + box["height"] < view["height"] / 2
        page.locator("#roll").scroll_into_view_if_needed()
        assert top("run") >= 0 and top("clock") < 110 and page.locator("#run").is_visible()
        # WCAG 2.2, 2.5.5: 44 by 44 CSS px.
        small = opened.run(
            "() => [...document.querySelectorAll('button, select, summary')]"
            ".filter((e) => e.getClientRects().length).filter((e) => {"
            " const box = e.getBoundingClientRect(); return box.width < 43.9 || box.height < 43.9;"
            " }).map((e) => e.id || e.textContent)"
        )
        assert small == []


def test_fit_drag_and_size(browser: Any, tmp_path: Path) -> None:
    with Opened(browser, tmp_path, html_of(*kept("whole-yard"))) as opened:
        page = opened.page
        stage = page.locator("#stage").bounding_box()
        assert stage is not None
        # At first all is in sight; the button makes it larger, and fits it again.
        for clicks in (0, 2):
            for _ in range(clicks):
                page.get_by_role("button", name="Fit").click()
            for left, top, right, bottom in opened.run(BOXES)["parts"]:
                assert left >= stage["x"] and right <= stage["x"] + stage["width"]
                assert top >= stage["y"] and bottom <= stage["y"] + stage["height"]
        fitted = opened.run("() => circuitPage.page.stage.shown")
        page.get_by_role("button", name="Fit").click()
        assert opened.run("() => circuitPage.page.stage.shown") > fitted
        scrolled = "() => [stage.scrollLeft, stage.scrollTop].map(Math.round)"
        before = opened.run(
            f"() => {{ const stage = document.getElementById('stage'); return ({scrolled})(); }}"
        )
        x, y = stage["x"] + 300, stage["y"] + stage["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x - 40, y - 60, steps=4)
        page.mouse.up()
        after = opened.run(
            f"() => {{ const stage = document.getElementById('stage'); return ({scrolled})(); }}"
        )
        assert after[1] == before[1] + 60
        assert opened.run("() => circuitPage.page.chosen") is None, "a drag chooses nothing"
        wide = opened.run("() => circuitPage.page.stage.shown")
        page.mouse.move(x, y)
        page.keyboard.down("Control")
        page.mouse.wheel(0, -100)
        page.keyboard.up("Control")
        opened.wait_for(f"() => circuitPage.page.stage.shown > {wide} * 1.2")


def test_one_screen_on_a_laptop(browser: Any, tmp_path: Path) -> None:
    with Opened(browser, tmp_path, html_of(*kept("potting-shed"))) as opened:
        for id_ in ("time", "circuit", "inputs", "goals", "strips"):
            box = opened.page.locator(f"#{id_}").bounding_box()
            assert box is not None and box["y"] + box["height"] <= LAPTOP["height"] + 1, id_
        parts = opened.run(BOXES)["parts"]
        stage = opened.page.locator("#stage").bounding_box()
        for left, top, right, bottom in parts:
            assert left >= stage["x"] and right <= stage["x"] + stage["width"]
            assert top >= stage["y"] and bottom <= stage["y"] + stage["height"]


def luminance(colour: str) -> float:
    """Relative luminance of an "rgb(r, g, b)" colour: WCAG 2.2, definitions."""
    channels = [int(v) / 255 for v in colour[colour.index("(") + 1 : -1].split(",")[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast(browser: Any, tmp_path: Path, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text; 1.4.11: 3 to 1 for wires and marks."""
    colours = (
        "paper",
        "ground",
        "ink",
        "soft",
        "dead",
        "live",
        "tint",
        "focus",
        "kept",
        "waiting",
        "broken",
    )
    with Opened(browser, tmp_path, html_of(*kept("potting-shed")), color_scheme=scheme) as opened:
        rgb = opened.run(
            "(names) => Object.fromEntries(names.map((name) => { const d ="
            " document.createElement('i'); document.body.append(d);"
            " d.style.color = `var(--${name})`; return [name, getComputedStyle(d).color]; }))",
            list(colours),
        )

    def contrast(a: str, b: str) -> float:
        high, low = sorted((luminance(rgb[a]), luminance(rgb[b])), reverse=True)
        return (high + 0.05) / (low + 0.05)

    for text in ("ink", "soft", "live", "kept", "waiting", "broken"):
        assert contrast(text, "paper") >= 4.5, text
    assert contrast("soft", "ground") >= 4.5 and contrast("ink", "tint") >= 4.5
    for mark in ("dead", "live", "focus"):
        assert contrast(mark, "paper") >= 3, mark


def test_live_wires_are_told_without_colour(browser: Any, tmp_path: Path) -> None:
    with Opened(browser, tmp_path, html_of(*kept("potting-shed"))) as opened:
        widths = opened.run(
            "() => ['.wire.live polyline', '.wire:not(.live) polyline'].map((s) =>"
            " parseFloat(getComputedStyle(document.querySelector(s)).strokeWidth))"
        )
        assert widths[0] >= 2 * widths[1]
        amounts = opened.run(
            "() => [...document.querySelectorAll('.amount')].map((a) =>"
            " [a.classList.contains('live'), a.textContent.trim() !== ''])"
        )
        assert all(live == told for live, told in amounts)
        assert any(live for live, _ in amounts) and not all(live for live, _ in amounts)


def test_print_leaves_what_can_be_read(browser: Any, tmp_path: Path) -> None:
    with Opened(browser, tmp_path, html_of(*kept("potting-shed"))) as opened:
        opened.page.emulate_media(media="print")
        assert not opened.page.locator("#run").is_visible()
        assert not opened.page.locator("#part").is_visible(), "nothing is chosen"
        for id_ in ("drawing", "lights", "roll", "levers"):
            assert opened.page.locator(f"#{id_}").is_visible()
        folded = "() => [...document.querySelectorAll('details:not(#keys)')].map((d) => d.open)"
        before = opened.run(folded)
        opened.run("() => { window.dispatchEvent(new Event('beforeprint')); }")
        assert opened.run(folded) == [True] * len(before), "what is folded is printed too"
        assert "the supply comes on" in opened.page.locator("#events").text_content()
        opened.run("() => { window.dispatchEvent(new Event('afterprint')); }")
        assert opened.run(folded) == before
        assert opened.page.locator(".caution p").first.is_visible()
        assert opened.page.pdf().startswith(b"%PDF")
