"""The running page in a real browser: it acts as the check does, whatever a stranger wrote.

See page_browser.py for what they need. The scenario and all its numbers are invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

import pytest
from check_random import KITS, a_design, a_problem
from page_browser import Opened, html_of, started
from page_runs import TELL, data_of, end_of, random_moments, settled_instants
from test_must_reject import read as read_rejected
from test_page import HOSTILE, KEPT, hostile, kept, more_asked, with_levers

from synth.parts.behaviour import PartType
from synth.pipeline import running_page

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    yield from started()


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


def test_random_designs_of_all_parts_too(browser: Any, tmp_path: Path) -> None:
    """All part types that react, kits whose parts see short edges and kits whose parts do not."""
    jobs, kinds = [], set()
    for seed in range(5000, 5080):
        random = Random(seed)
        kit = KITS[random.choice(("held", "instant"))]
        problem = more_asked(random, a_problem(random, kit, ("lamp", "l2")))
        design = with_levers(random, a_design(random, kit, random.randint(3, 9), ("lamp", "l2")))
        kinds |= {p.type for p in design.parts}
        moments = random_moments(design, problem, random, 15)
        jobs.append((design, problem, moments, end_of(moments)))
    assert kinds >= set(PartType) - {PartType.DIVIDER}
    with Opened(browser, tmp_path, html_of(*kept("potting-shed"))) as opened:
        told = opened.run(
            f"(jobs) => {{ {TELL}; return jobs.map(([model, moments, end]) =>"
            " tell(new circuitPage.Engine(model), moments, end)); }",
            [[data_of(d, p), moments, end] for d, p, moments, end in jobs],
        )
    for (design, problem, moments, end), got in zip(jobs, told, strict=True):
        assert got == settled_instants(design, problem, moments, end)


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


def test_what_happens_is_told_while_time_runs(browser: Any, tmp_path: Path) -> None:
    """For those who listen, and in the play of a counterexample: each event as it comes."""
    with Opened(
        browser, tmp_path, html_of(*kept("potting-shed")), reduced_motion="no-preference"
    ) as opened:
        opened.page.locator("#speed").select_option("10")
        opened.page.get_by_role("switch", name="master").click()
        opened.wait_for(
            "() => document.getElementById('told').textContent.includes('pump goes off')"
        )


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
