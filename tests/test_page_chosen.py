"""Choosing on the running page: to read changes nothing, to work takes a second, deliberate act.

In a real browser, see page_browser.py. The scenario and all its numbers are invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from check_designs import asked, load, wired
from check_designs import part as made
from page_browser import LAPTOP, PHONE, Opened, html_of, started
from test_page import kept

from synth.design import Design
from synth.parts.behaviour import SENSING, PartType
from synth.problem import InputKind, OutsideInput, Problem
from synth.signals import Level

pytestmark = pytest.mark.slow

STATE = """() => { const { player } = circuitPage.page;
  return JSON.stringify([player.time, player.now.levels, player.record.length,
    player.undone.length]); }"""
BUTTON = """() => { const b = document.getElementById('handle');
  if (b.hidden) return null;
  const box = b.getBoundingClientRect();
  return [box.left, box.top, box.right, box.bottom, box.height]; }"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    yield from started()


def many(count: int) -> tuple[Design, Problem]:
    """So many levers, each with a lamp."""
    names = [f"lever {n}" for n in range(1, count + 1)]
    used = [made(f"{n} 1", PartType.SWITCH, input=n, contact="make") for n in names]
    used += [load(f"lamp {n}") for n in names]
    feeds = {f"{n} 1.in": "supply" for n in names} | {f"lamp {n}.in": f"{n} 1.out" for n in names}
    inputs = [OutsideInput(n, InputKind.SWITCH) for n in names]
    return wired(used, feeds), asked({f"lamp {n}": Level(n) for n in names}, *inputs)


@pytest.mark.parametrize("name", ["workbench", "hen-house", "potting-shed"])
@pytest.mark.parametrize("screen", ["laptop", "phone"])
def test_to_choose_a_part_changes_nothing(
    browser: Any, tmp_path: Path, name: str, screen: str
) -> None:
    """Every part is clicked, twice, and chosen by keys: the run stays as it is. Only those that
    can be worked get the button, which stands beside them, within the diagram's frame."""
    design, problem = kept(name)
    steady = {i.name for i in problem.inputs if i.steady is not None}
    form: dict[str, Any] = {"viewport": LAPTOP}
    if screen == "phone":
        form = {"viewport": PHONE, "has_touch": True, "is_mobile": True}
    with Opened(browser, tmp_path, html_of(design, problem), **form) as opened:
        before = opened.run(STATE)
        parts = opened.page.locator("#drawing .part")
        worked = 0
        for number, item in enumerate(design.parts):
            part = parts.nth(number)
            for _ in range(2):
                part.tap() if screen == "phone" else part.click()
            part.focus()
            opened.page.keyboard.press("Enter")
            opened.page.keyboard.press("Space")
            assert opened.run(STATE) == before, item.name
            assert item.name in opened.page.locator("#about").text_content()
            box = opened.run(BUTTON)
            can = item.type in SENSING and str(item.setting("input") or "night") not in steady
            assert (box is not None) == can, item.name
            if box is None:
                continue
            worked += 1
            assert box[4] >= (44 if screen == "phone" else 24), "WCAG 2.2, 2.5.5 and 2.5.8"
            own = part.locator("rect").first.bounding_box()
            assert own is not None
            beside = box[1] - (own["y"] + own["height"]), own["y"] - box[3]
            assert 0 <= max(beside) <= 8, "just below it or just above it"
            stage = opened.page.locator("#stage").bounding_box()
            assert stage is not None
            assert box[0] >= stage["x"] - 1 and box[2] <= stage["x"] + stage["width"] + 1
            assert box[1] >= stage["y"] - 1 and box[3] <= stage["y"] + stage["height"] + 1
        assert worked and opened.said == []


def test_the_button_works_what_is_chosen(browser: Any, tmp_path: Path) -> None:
    design, problem = kept("workbench")
    level = "(name) => circuitPage.page.player.level(name)"
    with Opened(browser, tmp_path, html_of(design, problem)) as opened:
        page, button = opened.page, opened.page.locator("#handle")
        numbers = {str(p.setting("input")): i for i, p in enumerate(design.parts)}
        page.locator("#drawing .part").nth(numbers["front switch"]).click()
        assert button.text_content() == "Close it"
        button.click()
        assert opened.run(level, "front switch") is True
        assert button.text_content() == "Open it"
        # By keys: from the part that is chosen, Tab comes to its button.
        page.locator("#drawing .part").nth(numbers["front switch"]).focus()
        page.keyboard.press("Enter")
        page.keyboard.press("Tab")
        assert opened.run("() => document.activeElement.id") == "handle"
        page.keyboard.press("Enter")
        assert opened.run(level, "front switch") is False
        # A button is pressed and let go; undo takes it back.
        page.locator("#drawing .part").nth(numbers["start"]).click()
        assert button.text_content() == "Press it"
        assert button.get_attribute("aria-label").startswith("Press it: ")
        before = opened.run("() => circuitPage.page.player.undone.length")
        button.click()
        assert opened.run(level, "start") is True
        assert opened.run("() => circuitPage.page.player.undone.length") > before
        # It moves with the diagram as that gets larger.
        page.locator("#larger").click()
        own = page.locator("#drawing .part").nth(numbers["start"]).locator("rect").first
        box, at = opened.run(BUTTON), own.bounding_box()
        assert at is not None
        assert 0 <= max(box[1] - at["y"] - at["height"], at["y"] - box[3]) <= 8
        assert opened.said == []


def test_keys_of_many_inputs(browser: Any, tmp_path: Path) -> None:
    """1 to 9, 0, and with Shift the next ten, also where Shift gives another sign."""
    with Opened(browser, tmp_path, html_of(*many(12))) as opened:
        names = opened.run("() => circuitPage.page.model.inputs.map((i) => i.name)")
        assert len(names) == 13
        keys = [*"1234567890", "Shift+Digit1", "Shift+Digit2", "Shift+Digit3"]
        buttons = opened.page.locator("#levers [role=switch]")
        for i, (name, key) in enumerate(zip(names, keys, strict=True)):
            before = opened.run("(name) => circuitPage.page.player.level(name)", name)
            opened.page.keyboard.press(key)
            assert opened.run("(name) => circuitPage.page.player.level(name)", name) is not before
            assert buttons.nth(i).get_attribute("aria-keyshortcuts") == key.replace("Digit", "")
        # A sign that is a key of its own stays that, whatever Shift has to do with it.
        opened.page.keyboard.press("?")
        assert opened.run("() => document.getElementById('keys').open") is True


@pytest.mark.parametrize("width", [900, 1024, 1101, 1280, 1366, 1400, 1500, 1920, 390])
def test_what_is_said_of_a_part_is_not_clipped(browser: Any, tmp_path: Path, width: int) -> None:
    form = {"width": width, "height": 768}
    with Opened(browser, tmp_path, html_of(*kept("hen-house")), viewport=form) as opened:
        clipped = opened.run(
            "() => { const told = document.getElementById('told'); const found = [];"
            " for (const part of document.querySelectorAll('#drawing .part')) {"
            " part.dispatchEvent(new MouseEvent('click', { bubbles: true }));"
            " if (!told.textContent) found.push('nothing said');"
            " if (told.scrollHeight > told.clientHeight) found.push(told.textContent); }"
            " return found; }"
        )
        assert clipped == []
