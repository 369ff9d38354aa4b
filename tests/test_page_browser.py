"""The running page in a real browser: it acts as the check does, and everybody can use it.

Needs Playwright (`pip install '.[browser]'`) and a Chromium of the system. Where
BROWSER_TESTS=required is set, as in .ci/run, a missing browser is a failure, else a skip.
The scenario (a potting shed, a hen house, a yard) and all its numbers are invented.
"""

from __future__ import annotations

import itertools
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

import pytest
from page_runs import TELL, end_of, random_moments, settled_instants
from test_drawings import DESIGNS, KIT
from test_must_reject import read as read_rejected
from test_page import HOSTILE, KEPT, hostile, kept

from synth.design import Design
from synth.parts.behaviour import SENSING, PartType
from synth.pipeline import running_page
from synth.problem import InputKind, OutsideInput, Problem, Requirement
from synth.signals import Level

pytestmark = pytest.mark.slow

REQUIRED = os.environ.get("BROWSER_TESTS") == "required"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
LAPTOP = {"width": 1366, "height": 768}
PHONE = {"width": 390, "height": 844}
NARROW = {"width": 320, "height": 640}
"""The width at which WCAG 2.2, 1.4.10 asks for a page without scrolling sideways."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        if REQUIRED:
            raise
        pytest.skip("Playwright is not installed: pip install '.[browser]'")
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        assert not REQUIRED, "no Chromium here: apt-get install chromium"
        pytest.skip("no Chromium here: apt-get install chromium")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield started
        started.close()


class Opened:
    """A page in a browser, with all that its console and its network said."""

    def __init__(self, browser: Any, folder: Path, html: str, **context: Any) -> None:
        file = folder / "page.html"
        file.write_text(html, encoding="utf-8")
        context.setdefault("viewport", LAPTOP)
        context.setdefault("reduced_motion", "reduce")
        self.context = browser.new_context(**context)
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(file.as_uri())

    def __enter__(self) -> Opened:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()

    def run(self, script: str, value: Any = None) -> Any:
        return self.page.evaluate(script, value)

    def wait_for(self, script: str, seconds: float = 20) -> None:
        """Wait until `script` gives true. (What waits within the page would have to evaluate a
        string there, which the page's policy forbids.)"""
        for _ in range(int(seconds * 10)):
            if self.run(script):
                return
            self.page.wait_for_timeout(100)
        raise AssertionError(f"not within {seconds} s: {script}")


def html_of(design: Design, problem: Problem) -> str:
    return running_page(design, problem, 60)[0]


# --- it acts as the check does ---------------------------------------------------------------


@pytest.mark.parametrize("name", KEPT)
def test_every_settled_state_is_that_of_the_check(browser: Any, tmp_path: Path, name: str) -> None:
    design, problem = kept(name)
    with Opened(browser, tmp_path, html_of(design, problem)) as opened:
        for seed in range(20, 26):
            moments = random_moments(design, problem, Random(seed), 40)
            end = end_of(moments)
            told = opened.run(
                f"([moments, end]) => {{ {TELL}; const data = "
                "JSON.parse(document.getElementById('data').textContent);"
                "return tell(new circuitPage.Engine(data), moments, end); }",
                [moments, end],
            )
            assert told == settled_instants(design, problem, moments, end)
        assert opened.said == []


@pytest.mark.parametrize("name", ["potting-shed", "hen-house", "workbench", "roof-vent"])
def test_what_is_worked_on_the_page_is_what_the_check_would_see(
    browser: Any, tmp_path: Path, name: str
) -> None:
    """Levers are clicked at random, time passes between; the record is then run by the check."""
    design, problem = kept(name)
    random = Random(5)
    with Opened(browser, tmp_path, html_of(design, problem)) as opened:
        buttons = opened.page.locator("#levers button")
        for _ in range(40):
            buttons.nth(random.randrange(buttons.count())).click(force=True)
            opened.run(
                "(time) => { const page = circuitPage.page;"
                " page.player.advance(page.player.time + time); page.refresh(); }",
                random.choice((3, 400, 1000, 10_000, 61_000, 900_000)),
            )
        record = opened.run(
            "() => circuitPage.page.player.record.map(({ now }) => ({ time: now.time,"
            " levels: now.levels, on: now.on, want: now.want }))"
        )
        names = opened.run("() => circuitPage.page.model.inputs.map((input) => input.name)")
        loads = opened.run("() => circuitPage.page.player.engine.circuit.loads.map((p) => p.name)")
        assert opened.said == []
    moments = []
    before = [False] * len(names)
    for entry in record:
        changes = {
            n: level
            for n, level, old in zip(names, entry["levels"], before, strict=True)
            if level != old
        }
        if changes:
            moments.append((entry["time"], changes))
        before = entry["levels"]
    assert len(moments) > 20
    expected = settled_instants(design, problem, moments, record[-1]["time"] + 1)
    assert [e["time"] for e in expected] == [r["time"] for r in record]
    for instant, entry in zip(expected, record, strict=True):
        on = sorted(n for n, level in zip(loads, entry["on"], strict=True) if level)
        assert (on, entry["want"]) == (instant["on"], instant["want"])


def test_diagram_goals_and_chart_show_the_moment(browser: Any, tmp_path: Path) -> None:
    design, problem = kept("potting-shed")
    wire = next(i for i, w in enumerate(design.wires) if w.target.part == "pump")
    part = next(i for i, p in enumerate(design.parts) if p.name == "pump")
    timer = next(i for i, p in enumerate(design.parts) if p.name == "pulse timer 1")
    with Opened(browser, tmp_path, html_of(design, problem)) as opened:
        page = opened.page
        pump, fed = (
            page.locator(f"[data-part='{part}']"),
            page.locator(f".wire[data-wire='{wire}']"),
        )
        amount = page.locator(f".amount[data-wire='{wire}'] .units")
        first = page.locator("#lights li").first
        assert "on" not in pump.get_attribute("class").split()
        assert "live" not in fed.get_attribute("class").split()
        assert amount.text_content() == ""
        assert first.locator(".standing").text_content() == "waiting"
        page.get_by_role("switch", name="master").click()
        assert "on" in pump.get_attribute("class").split()
        assert pump.get_attribute("aria-label") == "pump: on"
        assert "live" in fed.get_attribute("class").split()
        assert amount.text_content() == f"· {design.wires[wire].units} u"
        assert first.locator(".standing").text_content() == "kept"
        left = page.locator(f"[data-part='{timer}'] .left")
        assert left.text_content() == "10.0 s"
        page.get_by_role("button", name="To the next event").click()
        assert left.text_content() == ""
        assert "pump goes off" in page.locator("#told").text_content()
        page.get_by_role("button", name="Back one event").click()
        assert left.text_content() == "10.0 s"
        pump.click()
        about = page.locator("#about").text_content()
        for words in ("pump", "Now: on.", "1. pump on 10 s of every 60 s", "4. master cutoff"):
            assert words in about
        page.get_by_role("switch", name="supply").click()
        assert page.locator(".wire.live").count() == 0
        assert page.locator("#drawing .part.on").count() == 0


def test_time_passes_by_itself_and_can_be_stopped(browser: Any, tmp_path: Path) -> None:
    design, problem = kept("potting-shed")
    with Opened(
        browser, tmp_path, html_of(design, problem), reduced_motion="no-preference"
    ) as opened:
        page = opened.page
        page.locator("#speed").select_option("1440")
        page.get_by_role("switch", name="master").click()
        opened.wait_for("() => circuitPage.page.player.time > 3600000")
        page.get_by_role("button", name="Stop").click()
        stopped = opened.run("() => circuitPage.page.player.time")
        page.wait_for_timeout(300)
        assert opened.run("() => circuitPage.page.player.time") == stopped
        assert "broken" not in page.locator("#lights").inner_html()


def test_calm_where_motion_is_not_wanted(browser: Any, tmp_path: Path) -> None:
    with Opened(browser, tmp_path, html_of(*kept("potting-shed"))) as opened:
        opened.page.wait_for_timeout(400)
        assert opened.run("() => circuitPage.page.player.time") == 0


@pytest.mark.parametrize(
    "name",
    [
        "runs_once",
        "latch_forgets_a_power_cut",
        "chattering_relay",
        "pulse_finishes",
        "lamp_behind_its_own_rearming",
        "together_while_the_relay_moves",
    ],
)
def test_what_goes_wrong_plays_itself(browser: Any, tmp_path: Path, name: str) -> None:
    design, problem = read_rejected(name)
    html, verdict = running_page(design, problem, 60)
    assert verdict is not None and not verdict.holds
    with Opened(browser, tmp_path, html, reduced_motion="no-preference") as opened:
        page = opened.page
        assert page.locator("#wrong").is_visible()
        opened.wait_for("() => circuitPage.page.playing?.done === true")
        assert verdict.defects[0].message in page.locator("#told").text_content()
        shown = verdict.defects[0].counterexample
        assert shown is not None
        assert opened.run("() => circuitPage.page.player.time") == shown.moments[-1].time
        goals = verdict.defects[0].goals
        for goal in goals:
            light = page.locator(f"#lights li[value='{goal}'] .standing")
            assert light.text_content() == "broken"
        if not goals:
            assert page.locator("#drawing .chatters").count() > 0
        assert opened.said == []


# --- strangers -------------------------------------------------------------------------------


def test_text_from_a_stranger_runs_nothing(browser: Any, tmp_path: Path) -> None:
    design, problem = hostile()
    with Opened(browser, tmp_path, html_of(design, problem)) as opened:
        page = opened.page
        page.get_by_role("switch", name="master").click()
        for part in page.locator("#drawing .part").all():
            part.dispatch_event("click")
        opened.run(
            "() => { document.querySelector('#strips details').open = true;"
            " circuitPage.page.player.advance(200000); circuitPage.page.refresh(true); }"
        )
        assert opened.run("() => window.hacked") is None
        assert page.locator("script").count() == 2
        assert page.locator("img").count() == 0
        assert page.title() == HOSTILE
        assert page.locator("h1").text_content() == HOSTILE
        assert HOSTILE in page.locator("#lights").text_content()
        assert opened.said == []
        assert len(opened.asked) == 1 and opened.asked[0].startswith("file:")


def test_policy_stops_a_script_that_got_in_after_all(browser: Any, tmp_path: Path) -> None:
    html = html_of(*kept("potting-shed"))
    assert "<footer>" in html
    spoilt = html.replace("<footer>", "<script>window.hacked = 1</script><footer>")
    with Opened(browser, tmp_path, spoilt) as opened:
        assert opened.run("() => window.hacked") is None
        assert any("Content Security Policy" in text for text in opened.said)


# --- everybody -------------------------------------------------------------------------------


def accessible(opened: Opened) -> list[dict[str, Any]]:
    """Return the nodes of the accessibility tree that can take the focus."""
    session = opened.context.new_cdp_session(opened.page)
    tree = session.send("Accessibility.getFullAXTree")["nodes"]
    result = []
    for node in tree:
        flags = {item["name"]: item["value"].get("value") for item in node.get("properties", [])}
        if not node.get("ignored") and flags.get("focusable"):
            result.append(
                {
                    "role": node.get("role", {}).get("value", ""),
                    "name": node.get("name", {}).get("value", ""),
                    **flags,
                }
            )
    return result


@pytest.mark.parametrize("name", ["potting-shed", "workbench"])
def test_every_control_has_a_role_and_a_name(browser: Any, tmp_path: Path, name: str) -> None:
    design, problem = kept(name)
    with Opened(browser, tmp_path, html_of(design, problem)) as opened:
        nodes = [node for node in accessible(opened) if node["role"] != "RootWebArea"]
        count = opened.run(
            "() => document.querySelectorAll('button:not([hidden]), select, input, summary,"
            " [tabindex]').length"
        )
        assert len(nodes) >= count - 1, "the events' list and its like may be folded away"
        for node in nodes:
            assert node["role"] not in ("", "generic", "none"), node
            assert node["name"].strip(), node
        names = [(node["role"], node["name"]) for node in nodes]
        assert len(set(names)) == len(names), "no two controls sound alike"
        for part in design.parts:
            assert any(role == "button" and said.startswith(part.name) for role, said in names)
        heads = opened.run("() => [...document.querySelectorAll('h1, h2')].map((h) => h.tagName)")
        assert heads[0] == "H1" and heads.count("H1") == 1


def test_keyboard_alone_is_enough(browser: Any, tmp_path: Path) -> None:
    design, problem = kept("workbench")
    with Opened(browser, tmp_path, html_of(design, problem)) as opened:
        page = opened.page
        seen = []
        for _ in range(120):
            page.keyboard.press("Tab")
            seen.append(
                opened.run(
                    "() => { const at = document.activeElement;"
                    " if (at === document.body) return '';"
                    " const box = at.getBoundingClientRect();"
                    " return `${at.id || at.className.baseVal || at.className || at.tagName}"
                    "|${at.getAttribute('aria-label') ?? at.textContent.trim().slice(0, 40)}"
                    "|${box.width > 0 && box.height > 0}`; }"
                )
            )
            if seen[-1] == "":
                break
        assert seen[-1] == "", "the focus leaves the page at its end: no trap"
        assert all(entry.endswith("|true") for entry in seen[:-1])
        wanted = opened.run(
            "() => [...document.querySelectorAll('button:not([hidden]), select, input, summary,"
            " .part')].length"
        )
        assert len(set(seen)) > wanted
        # Work a switch, press a button, choose a part, step, and go back: all by keys.
        page.locator("#levers [role=switch]", has_text="front switch").focus()
        page.keyboard.press("Space")
        assert opened.run("() => circuitPage.page.player.level('front switch')") is True
        page.get_by_role("button", name="Press start for a moment").focus()
        page.keyboard.press("Enter")
        assert opened.run("() => circuitPage.page.player.level('start')") is True
        page.get_by_role("button", name="To the next event").focus()
        page.keyboard.press("Enter")
        assert opened.run("() => circuitPage.page.player.level('start')") is False
        page.locator("#drawing .part").nth(0).focus()
        page.keyboard.press("Enter")
        assert design.parts[0].name in page.locator("#about").text_content()
        page.locator("#moment").focus()
        page.keyboard.press("Home")
        assert opened.run("() => circuitPage.page.player.time") == 0
        outline = opened.run(
            "() => { const b = document.getElementById('next'); b.focus();"
            " return getComputedStyle(b).outlineStyle; }"
        )
        assert outline != "none", "one sees where the focus is"


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
        for id_ in ("drawing", "lights", "roll", "levers"):
            assert opened.page.locator(f"#{id_}").is_visible()
        assert opened.page.locator(".caution p").first.is_visible()
        assert opened.page.pdf().startswith(b"%PDF")
