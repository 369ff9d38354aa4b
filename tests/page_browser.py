"""A browser for the tests of the running page, and a page opened in it.

Needs Playwright (`pip install '.[browser]'`) and a Chromium of the system. Where
BROWSER_TESTS=required is set, as in .ci/run, a missing browser is a failure, else a skip.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from synth.design import Design
from synth.pipeline import running_page
from synth.problem import Problem

REQUIRED = os.environ.get("BROWSER_TESTS") == "required"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
LAPTOP = {"width": 1366, "height": 768}
PHONE = {"width": 390, "height": 844}
NARROW = {"width": 320, "height": 640}
"""The width at which WCAG 2.2, 1.4.10 asks for a page without scrolling sideways."""


def started() -> Iterator[Any]:
    """Give a browser for the tests of a module; where there is none, skip or fail (see above)."""
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
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()


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
