"""The running page in a real browser: everybody can use it, by keys, by fingers, by ear.

See page_browser.py for what they need. The scenario and all its numbers are invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from check_designs import asked, load, wired
from check_designs import part as made
from page_browser import Opened, html_of, started
from test_must_reject import read as read_rejected
from test_page import KEPT, kept

from synth.parts.behaviour import PartType
from synth.pipeline import running_page
from synth.problem import InputKind, OutsideInput
from synth.result import Fault
from synth.signals import Level

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    yield from started()


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
        stuck = opened.run(
            "() => [...document.querySelectorAll('*')].filter((e) => /auto|scroll/.test("
            "getComputedStyle(e).overflowY) && e.scrollHeight > e.clientHeight + 1"
            " && !e.matches('[tabindex]') && !e.querySelector('button, [tabindex]'))"
            ".map((e) => e.id || e.tagName)"
        )
        assert stuck == [], "what scrolls can be scrolled by keys"
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
            "() => [...document.querySelectorAll('button, select, input, summary')]"
            ".filter((e) => e.getClientRects().length).length"
        )
        assert len(set(seen)) > wanted, "and the diagram, in which arrows go on"
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


REACHED = """(keys) => {
  const parts = [...document.querySelectorAll('#drawing .part')];
  const seen = new Set([parts[0]]);
  const waiting = [parts[0]];
  while (waiting.length) {
    const part = waiting.pop();
    for (const key of keys) {
      part.focus();
      part.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true, cancelable: true }));
      const now = document.activeElement;
      if (!seen.has(now)) { seen.add(now); waiting.push(now); }
    }
  }
  return [seen.size, parts.length,
    document.querySelectorAll('#drawing .part[tabindex="0"]').length];
}"""


@pytest.mark.parametrize("name", KEPT)
def test_arrows_lead_to_every_part(browser: Any, tmp_path: Path, name: str) -> None:
    with Opened(browser, tmp_path, html_of(*kept(name))) as opened:
        arrows = ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown"]
        reached, count, stops = opened.run(REACHED, arrows)
        assert reached == count and stops == 1


def test_keys_do_what_their_list_says(browser: Any, tmp_path: Path) -> None:
    with Opened(browser, tmp_path, html_of(*kept("potting-shed"))) as opened:
        keys, run = opened.page.keyboard, opened.run
        time, level = (
            "() => circuitPage.page.player.time",
            "(n) => circuitPage.page.player.level(n)",
        )
        names = run("() => circuitPage.page.model.inputs.map((i) => i.name)")
        keys.press(str(names.index("master") + 1))
        assert run(level, "master") is True
        keys.press("n")
        assert run(time) == 10_001
        keys.press("b")
        assert run(time) == 1
        keys.press("u")
        assert run(level, "master") is False
        keys.press(str(names.index("night") + 1))
        assert run(level, "night") is True
        keys.press("Control+z")
        assert run(level, "night") is False
        keys.press("r")
        assert run("() => circuitPage.page.running") is True
        keys.press("Space")
        assert run("() => circuitPage.page.running") is False
        keys.press("+")
        assert opened.page.locator("#speed").input_value() == "10"
        keys.press("l")
        opened.wait_for("() => location.hash.startsWith('#at=')")
        keys.press("?")
        assert opened.page.locator("#keys-on").is_visible()
        listed = opened.page.locator("#keys").text_content()
        # WCAG 2.2, 2.1.4: single keys can be turned off; and where one types, they are.
        opened.page.locator("#keys-on").uncheck()
        before = run(level, "master")
        keys.press(str(names.index("master") + 1))
        assert run(level, "master") is before
        opened.page.locator("#keys-on").check()
        opened.page.locator("#span").focus()
        keys.press("1")
        assert run(level, names[0]) is True
        for key in ("r", "n", "b", "u", "l", "?"):
            assert key in listed
        assert opened.said == []


def test_a_link_opens_the_moment(browser: Any, tmp_path: Path) -> None:
    html = html_of(*kept("potting-shed"))
    state = "() => { const p = circuitPage.page.player; return [p.time, p.now.on, p.now.until]; }"
    with Opened(browser, tmp_path, html) as opened:
        opened.page.get_by_role("switch", name="master").click()
        opened.run("() => { circuitPage.page.player.advance(68000); circuitPage.page.refresh(); }")
        opened.page.get_by_role("switch", name="night").click()
        opened.page.get_by_role("button", name="Link to this moment").click()
        wanted, address = opened.run(state), opened.page.url
        assert "leads to this moment" in opened.page.locator("#told").text_content()
    with Opened(browser, tmp_path, html, reduced_motion="no-preference") as opened:
        opened.page.goto("about:blank")
        opened.page.goto(address)
        assert opened.run(state) == wanted
        opened.page.wait_for_timeout(300)
        assert opened.run(state) == wanted, "it stands still until somebody runs it"
        opened.run("() => { location.hash = 'at=5&do=0:+nobody<img src=x onerror=alert(1)>'; }")
        opened.wait_for("() => document.getElementById('told').textContent.includes('nobody')")
        assert opened.run(state) == wanted
        assert opened.page.locator("img").count() == 0 and opened.said == []


def test_a_link_to_what_goes_wrong(browser: Any, tmp_path: Path) -> None:
    design, problem = read_rejected("runs_once")
    html, verdict = running_page(design, problem, 60)
    with Opened(browser, tmp_path, html) as opened:
        end = opened.run("() => circuitPage.page.playing.end")
        opened.page.goto("about:blank")
        opened.page.goto((tmp_path / "page.html").as_uri() + f"#at={end}&wrong=1")
        assert opened.run("() => circuitPage.page.player.time") == end
        assert opened.page.locator("#lights .broken").count() > 0
        opened.page.get_by_role("button", name="Link to this moment").click()
        assert opened.page.url.endswith(f"#at={end}&wrong=1")


def test_undo_brings_back_what_was_done_in_the_past(browser: Any, tmp_path: Path) -> None:
    with Opened(browser, tmp_path, html_of(*kept("potting-shed"))) as opened:
        page = opened.page
        undo = page.get_by_role("button", name="Undo")
        assert undo.get_attribute("aria-disabled") == "true"
        undo.click(force=True)
        assert "nothing to undo" in page.locator("#told").text_content()
        page.get_by_role("switch", name="master").click()
        opened.run("() => { circuitPage.page.player.advance(65000); circuitPage.page.refresh(); }")
        page.get_by_role("button", name="Start again").click()
        assert page.get_by_role("switch", name="master").get_attribute("aria-checked") == "false"
        undo.click()
        assert opened.run("() => circuitPage.page.player.time") == 65_000
        assert page.get_by_role("switch", name="master").get_attribute("aria-checked") == "true"


@pytest.mark.parametrize("name", KEPT)
def test_it_shows_what_it_does(browser: Any, tmp_path: Path, name: str) -> None:
    """The tour plays to its end: each load is seen on and off, no goal is broken, what is known of
    the inputs is kept to, and it does not take for ever though cycles run in between."""
    html = html_of(*kept(name))
    with Opened(browser, tmp_path, html, reduced_motion="no-preference") as opened:
        page = opened.page
        opened.run(
            "() => { window.looked = []; const { page } = circuitPage; const tell = page.tell;"
            " page.tell = (text) => { window.looked.push(text); tell.call(page, text); }; }"
        )
        page.get_by_role("button", name="Show me").click()
        opened.wait_for("() => circuitPage.page.player.index > 0 && looked.length > 1")
        # The rest without waiting between events, by the same steps.
        opened.run(
            "() => { const { page } = circuitPage;"
            " for (let k = 0; k < 400 && page.running; k += 1) {"
            " page.carry = 1100; page.frame(page.last); } }"
        )
        assert opened.run("() => circuitPage.page.playing.done") is True
        assert "now work it yourself" in page.locator("#told").text_content()
        assert page.locator("#lights .broken").count() == 0
        seen = opened.run(
            "() => { const { player } = circuitPage.page; return player.engine.circuit.loads.map("
            "(_, i) => [...new Set(player.record.map(({ now }) => now.on[i]))].length); }"
        )
        assert seen == [2] * len(seen)
        page.get_by_role("button", name="Undo").click()
        assert opened.run("() => circuitPage.page.playing") is None
        assert opened.said == []


@pytest.mark.parametrize("name", ["chattering_relay", "runs_once"])
def test_what_it_shows_of_a_design_that_fails_is_not_called_right(
    browser: Any, tmp_path: Path, name: str
) -> None:
    html, _ = running_page(*read_rejected(name), 60)
    with Opened(browser, tmp_path, html) as opened:
        opened.run(
            "() => { const { page } = circuitPage; page.tour();"
            " for (let k = 0; k < 400 && page.running; k += 1) {"
            " page.carry = 1100; page.frame(page.last); } }"
        )
        assert "not all of it went as asked" in opened.page.locator("#told").text_content()


def test_night_by_itself(browser: Any, tmp_path: Path) -> None:
    html = html_of(*kept("potting-shed"))
    with Opened(browser, tmp_path, html, reduced_motion="no-preference") as opened:
        page = opened.page
        page.get_by_label("night for 12 h of every day, by itself").check()
        page.locator("#speed").select_option("1440")
        opened.wait_for("() => circuitPage.page.player.level('night')", 60)
        page.get_by_role("button", name="Stop").click()
        assert opened.run(
            "() => { const p = circuitPage.page.player; return p.record.some("
            "({ now }) => now.time === 43200000 && now.on[p.engine.loadIndex.get('heater')]); }"
        )


def test_parts_that_never_settle_elsewhere_stay_still(browser: Any, tmp_path: Path) -> None:
    """A relay that switches itself off for ever, beside a lamp that is dark when it should not."""
    used = [
        made("buzzer", PartType.RELAY_BREAK),
        made("hot 1", PartType.SENSOR, input="hot", contact="make"),
        load("lamp"),
        load("bell"),
    ]
    feeds = {"buzzer.in": "supply", "buzzer.coil": "buzzer.out", "bell.in": "buzzer.out"}
    design = wired(used, {**feeds, "hot 1.in": "supply", "lamp.in": "hot 1.out"})
    hot = OutsideInput("hot", InputKind.SENSOR)
    problem = asked({"lamp": Level("supply"), "bell": Level("supply")}, hot)
    html, verdict = running_page(design, problem, 60)
    assert verdict is not None
    number = next(i for i, d in enumerate(verdict.defects) if d.fault is Fault.GOAL)
    with Opened(browser, tmp_path, html) as opened:
        opened.page.get_by_role(
            "button", name=f"Play it: what goes wrong, number {number + 1}"
        ).click()
        opened.wait_for("() => circuitPage.page.playing?.done === true")
        light = opened.page.locator("#lights li[value='1']")
        assert "lamp is off, it must be on" in light.text_content()
        assert "buzzer" in opened.page.locator("#aside").text_content()
        still = opened.run(
            "() => [...document.querySelectorAll('#drawing .part.aside')]"
            ".map((g) => g.getAttribute('aria-label').split(':')[0])"
        )
        assert {"buzzer", "bell"} <= set(still) and not {"lamp", "hot 1", "supply"} & set(still)
        assert "not followed" in opened.page.locator("#lights li[value='2']").text_content()
