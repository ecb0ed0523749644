"""Debian's Chromium, driven by Playwright, for tests of pages, and what every page has to keep.

The fixture `browser` is known to all tests (`tests/conftest.py`). Where Chromium or Playwright is missing, they are
skipped and say so. The browser gets a profile of its own, asks for nothing off this computer, and ends with the tests.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import pytest

Scheme = Literal["light", "dark"]
PHONE, DESK, WALL = (390, 844), (1440, 900), (3840, 2160)
"""Widths and heights of screens, in CSS pixels."""
_PLACES = ("/usr/bin/chromium", "/usr/bin/chromium-browser")
_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
_ONLY_HERE = "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost"
"""Every name but this computer's is unknown, even where there is a network."""
_SERIOUS = ("serious", "critical")


def chromium() -> str | None:
    """Where Chromium is on this computer: as `CIRCUMSTEP_CHROMIUM` says, where Debian puts it, or on the path."""
    named = os.environ.get("CIRCUMSTEP_CHROMIUM")
    found = named or next((place for place in _PLACES if Path(place).exists()), None)
    return found or shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One browser for all tests of this process; each test opens pages of its own in it (`opened_page`)."""
    place = chromium()
    if place is None:
        pytest.skip("no Chromium here (apt-get install chromium)")
    playwright = pytest.importorskip("playwright.sync_api", reason="no Playwright here (pip install -e .[dev])")
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=place, headless=True, args=[*_FLAGS, _ONLY_HERE])
        try:
            yield started
        finally:
            started.close()


@dataclass
class Seen:
    """A page that is open, and what went on in it: each error it told or threw, and each address it asked for."""

    page: Any
    errors: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def asked_beyond(self, own: str) -> list[str]:
        """What it asked for that does not begin with `own`, its own address."""
        return [url for url in self.asked if not url.startswith((own, "data:", "blob:", "about:"))]


@contextmanager
def opened_page(
    browser: Any, size: tuple[int, int] = DESK, scheme: Scheme = "light", *, still: bool = True, scale: float = 1
) -> Iterator[Seen]:
    """A new page in a context of its own: nothing of another page is known there, and nothing off this computer asked.

    `size`: of the screen, CSS pixels; `still`: whether less motion is wished for; `scale`: pixels for each of them.
    """
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme=scheme,
        reduced_motion="reduce" if still else "no-preference",
        device_scale_factor=scale,
    )
    try:
        seen = Seen(context.new_page())
        seen.page.on("console", lambda said: seen.errors.append(said.text) if said.type == "error" else None)
        seen.page.on("pageerror", lambda error: seen.errors.append(str(error)))
        seen.page.on("request", lambda request: seen.asked.append(request.url))
        yield seen
    finally:
        context.close()


def look(page: Any, size: tuple[int, int], scheme: Scheme) -> None:
    """Show an open page on another screen, or light instead of dark."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.emulate_media(color_scheme=scheme)


def serious_findings(page: Any, beside: str = "") -> list[str]:
    """What axe-core finds on a page that is serious or critical, each with its place; empty if all is well.

    axe-core is that of the package axe-playwright-python. It is evaluated in the page, whatever its policy of scripts.
    `beside`: a CSS selector of what it need not look at, for rows that are many and all alike.
    """
    axe = pytest.importorskip("axe_playwright_python", reason="no axe-core here (pip install -e .[dev])")
    if not page.evaluate("'axe' in window"):
        page.evaluate((Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8"))
    where = {"include": [["html"]], "exclude": [[beside]] if beside else []}
    found = page.evaluate("where => axe.run(where, {resultTypes: ['violations']})", where)
    assert found["testEngine"]["name"] == "axe-core"
    assert len(found["passes"]) > 5, "axe-core has looked at nothing"
    return [
        f"{each['id']} ({each['impact']}): {each['help']}, {node['target']}"
        for each in found["violations"]
        if each["impact"] in _SERIOUS
        for node in each["nodes"]
    ]


def wider_than_screen(page: Any) -> int:
    """By how many pixels a page is wider than its screen: more than 0 scrolls sideways."""
    wide: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return wide
