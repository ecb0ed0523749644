"""The site in a browser: nothing wider than the page, nothing asked off the site, readable light, dark and printed."""

from __future__ import annotations

import functools
import http.server
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.docs.pages import ROOT
from tests.support.browser import DESK, PHONE, Scheme, look, opened_page, serious_findings, wider_than_screen

BUILT = ROOT / "site"
SOURCES = ("docs", "firmware_host", "profiles")


def newest(*folders: Path) -> float:
    return max(
        path.stat().st_mtime
        for folder in folders
        for path in folder.rglob("*")
        if path.is_file() and path.suffix != ".pyc"
    )


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site as `tests/verify.py` has just built it; where that is older than the source, built anew."""
    first = BUILT / "index.html"
    if first.exists() and first.stat().st_mtime > newest(*(ROOT / name for name in SOURCES)):
        return BUILT
    place = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "-f", "docs/mkdocs.yml", "-d", place]
    environment = os.environ | {"NO_MKDOCS_2_WARNING": "1"}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=110)
    assert done.returncode == 0, done.stderr
    return place


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="session")
def site(built: Path) -> Iterator[str]:
    """Where the site is served, on this computer."""
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=built))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    server.server_close()
    thread.join()


def addresses(folder: Path) -> list[str]:
    return sorted(str(path.parent.relative_to(folder)).removeprefix(".") for path in folder.rglob("index.html"))


SOME = ("", "tutorials/rollers", "choose-a-gate", "commissioning-session")


def complaints(browser: Any, site: str, pages: list[str]) -> list[str]:
    """What is wrong with any of the pages: too wide, an error, a request off the site, a picture that is not there."""
    found = []
    with opened_page(browser, PHONE) as seen:
        for page in pages:
            seen.page.goto(f"{site}{page}")
            for size in (PHONE, DESK):
                look(seen.page, size, "light")
                if (much := wider_than_screen(seen.page)) > 0:
                    found.append(f"{page}: {much} pixels wider than {size[0]}")
            found += [f"{page}: {error}" for error in seen.errors]
            found += [f"{page}: a picture without words" for _ in range(seen.page.locator("img:not([alt])").count())]
            seen.errors.clear()
        found += seen.asked_beyond(site)
    return found


def test_nothing_is_wider_than_the_page_and_nothing_is_asked_off_the_site(browser: Any, site: str) -> None:
    assert complaints(browser, site, list(SOME)) == []


@pytest.mark.slow
@pytest.mark.parametrize("share", range(6))
def test_every_page_of_the_site_keeps_to_its_width_and_to_itself(
    browser: Any, site: str, built: Path, share: int
) -> None:
    pages = addresses(built)
    assert len(pages) > 50
    assert complaints(browser, site, pages[share::6]) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_landing_page_reads_well_in_every_way(browser: Any, site: str, scheme: Scheme) -> None:
    with opened_page(browser, PHONE, scheme) as seen:
        seen.page.goto(site)
        picture = seen.page.locator("figure.drawn svg[role=img]")
        assert picture.count() == 2
        assert "open only while the axis stands still" in (picture.nth(1).get_attribute("aria-label") or "")
        ground = seen.page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert (ground == "rgb(255, 255, 255)") is (scheme == "light")
        for size in (PHONE, DESK):
            look(seen.page, size, scheme)
            assert serious_findings(seen.page) == [], size
            beside = [box["y"] for box in (picture.nth(each).bounding_box() for each in (0, 1))]
            assert (beside[0] == beside[1]) is (size == DESK)


def test_pictures_and_sketches_can_be_read_by_everybody(browser: Any, site: str) -> None:
    with opened_page(browser, DESK, "dark") as seen:
        for page in ("what-went-wrong", "choose-a-gate"):
            seen.page.goto(f"{site}{page}")
            assert serious_findings(seen.page) == [], page


def test_a_printed_page_leaves_nothing_out_to_the_right(browser: Any, site: str) -> None:
    """A4 has 794 CSS pixels across (210 mm of 1/96 inch)."""
    with opened_page(browser, (794, 1123)) as seen:
        seen.page.goto(f"{site}tutorials/rollers")
        seen.page.emulate_media(media="print")
        beyond = """[...document.querySelectorAll('.md-typeset pre > code, .md-typeset img, .md-typeset table')]
            .filter(each => each.scrollWidth > each.clientWidth + 1 || each.getBoundingClientRect().right > innerWidth)
            .map(each => each.textContent.slice(0, 60))"""
        assert seen.page.evaluate(beyond) == []
        assert wider_than_screen(seen.page) <= 0
