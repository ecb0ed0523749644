"""The station page in Chromium: a run and a batch worked from it, two pages, a program that is killed, ill will.

These runs are what station-page.md tells: `run JOB --page`, in real time.
"""

from __future__ import annotations

import os
import re
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from firmware_host.page.desk import Over
from firmware_host.station.operator import Choice, Question
from firmware_host.station.progress import RunState
from tests.cli.command import Program
from tests.page.served import MARKING, Served, served
from tests.reporting.shown import shipped
from tests.support.browser import (
    DESK,
    PHONE,
    WALL,
    Scheme,
    Seen,
    look,
    opened_page,
    serious_findings,
    wider_than_screen,
)
from tests.support.three_segments import JOB, own_folders

pytestmark = [
    pytest.mark.posix("Debian's Chromium, and a program that is killed"),
    pytest.mark.timeout(300),  # browser, run and board at once, on whatever computer
]
REAL_TIME = (sys.executable, "-m", "firmware_host")
"""The command at its own clock: a page is for people."""
_PICTURES = Path(__file__).parents[2] / "docs" / "pages" / "screens"
_PATIENCE_MS = 30_000


@contextmanager
def simulated_board() -> Iterator[str]:
    """The port of a simulated board."""
    with Program("controller", "simulate", "--kind", "socket", "--clock", "20") as board:
        yield board.wait_for("out", "\n").strip()


@contextmanager
def with_page(*command: str) -> Iterator[tuple[Program, str]]:
    """A command with a page; the program, and the page's address."""
    with Program(*command, "--page", command=REAL_TIME) as run:
        said = run.wait_for("err", "station page, on this computer: http")
        found = re.search(r"http://127\.0\.0\.1:\d+/#\S+", said)
        assert found is not None
        yield run, found[0]


@contextmanager
def run_with_page(*arguments: str) -> Iterator[tuple[Program, str]]:
    """`run` on a simulated board, as `with_page`."""
    with simulated_board() as port, with_page("run", "job.toml", "--port", port, *arguments) as (run, url):
        yield run, url


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_folders(tmp_path, monkeypatch)
    Path("job.toml").write_text(JOB.replace("30 mm", "20 mm"), encoding="utf-8")


def open_at(seen: Seen, url: str) -> Any:
    seen.page.set_default_timeout(_PATIENCE_MS)
    seen.page.goto(url)
    return seen.page


def wait_for(page: Any, selector: str, words: str) -> None:
    """Wait until an element says these words."""
    page.wait_for_function(
        "([selector, words]) => document.querySelector(selector).textContent.includes(words)", arg=[selector, words]
    )


def ready(page: Any, button: str) -> Any:
    """A button, once it can be pressed."""
    page.wait_for_function("id => document.getElementById(id)?.disabled === false", arg=button)
    return page.locator(f"#{button}")


def mark(page: Any, segment: int, *, by_key: bool = False) -> None:
    """Say that a segment is marked."""
    wait_for(page, "#question", f"segment {segment} of 2")
    done = ready(page, "done")
    if by_key:
        page.keyboard.press("Enter")
    else:
        done.click()


@pytest.mark.usefixtures("job")
def test_a_run_is_worked_from_two_pages_that_agree(browser: Any) -> None:
    with run_with_page() as (run, url), opened_page(browser) as one, opened_page(browser, PHONE, "dark") as other:
        page, phone = open_at(one, url), open_at(other, url)
        assert "#" not in page.url, "the token is not left in the line of the address"
        wait_for(page, "#word", "STILL")
        wait_for(phone, "#doing", "THE GATE IS OPEN: mark segment 1")
        page.keyboard.press("h")
        wait_for(phone, "#doing", "It holds after this pass")
        mark(phone, 1)
        for each in (page, phone):
            wait_for(each, "#doing", "It holds. The gate is closed")
            wait_for(each, "#word", "STILL")
            assert each.locator("#done").is_disabled()
            assert each.locator("#hold").is_disabled()
        ready(phone, "carry-on").click()
        mark(page, 2, by_key=True)
        for each in (page, phone):
            wait_for(each, "#word", "DONE")
            wait_for(each, "#over-text", "Every pass that was asked for is done")
            assert each.locator("#surface rect.d").count() == 2
        ended = run.end()
        assert ended.status == 0, ended.err
        for seen in (one, other):
            assert seen.errors == []
            assert seen.asked_beyond(url.partition("#")[0]) == []


@pytest.mark.usefixtures("job")
def test_a_batch_of_three_is_worked_from_the_page_and_stopped_in_the_last_part(browser: Any) -> None:
    with run_with_page("--parts", "3") as (run, url), opened_page(browser) as seen:
        page = open_at(seen, url)
        for part in (1, 2, 3):
            wait_for(page, "#question", f"Part {part} of 3")
            ready(page, "done").click()
            mark(page, 1)
            if part == 3:
                wait_for(page, "#doing", "THE GATE IS OPEN: mark segment 2")
                ready(page, "stop").click()
                break
            mark(page, 2)
            wait_for(page, "#question", f"What became of part {part} of 3?")
            wait_for(page, "#word", "STILL")
            if part == 1:
                ready(page, "done").click()
            else:
                page.get_by_role("button", name="It is scrap").click()
        wait_for(page, "#word", "STOPPED")
        ended = run.end()
        assert ended.status == 4, ended.err
        assert "by the operator" in ended.err or "at the station page" in ended.err
        advice = page.text_content("#todo")
        assert re.search(r"Resume with: circumstep resume runs/\S+", advice)
        assert "1 good" in ended.err, ended.err
        assert "1 scrapped" in ended.err, ended.err


@pytest.mark.usefixtures("job")
def test_a_program_that_is_killed_is_stale_within_a_second_and_never_still(browser: Any) -> None:
    with run_with_page() as (run, url), opened_page(browser) as seen:
        page = open_at(seen, url)
        wait_for(page, "#word", "STILL")
        page.evaluate(
            "() => { window.said = []; new MutationObserver(() => said.push([performance.now(),"
            " document.getElementById('word').textContent])).observe(document.getElementById('word'),"
            " {childList: true, characterData: true, subtree: true}); window.last = () => heard; }"
        )
        run.kill()
        wait_for(page, "#word", "STALE")
        took_ms = page.evaluate("said.find(([, word]) => word === 'STALE')[0] - last()")
        assert took_ms < 1000, "from the last that was heard to the cover over the word"
        assert page.locator("#done").is_disabled()
        page.locator("#stop").click()
        wait_for(page, "#refused", "emergency stop")
        assert page.evaluate("said.filter(([, word]) => word === 'STILL').length") == 0


@pytest.mark.usefixtures("job")
def test_a_run_that_was_stopped_is_resumed_and_a_segment_done_again_each_from_a_page_of_its_own(browser: Any) -> None:
    with simulated_board() as port, opened_page(browser) as seen:
        with with_page("run", "job.toml", "--port", port) as (run, url):
            page = open_at(seen, url)
            mark(page, 1)
            wait_for(page, "#doing", "THE GATE IS OPEN: mark segment 2")
            ready(page, "stop").click()
            wait_for(page, "#word", "STOPPED")
            (stopped,) = re.findall(r"circumstep (resume runs/\S+)", page.text_content("#todo"))
            assert run.end().status == 4
        _, folder = stopped.split()
        with with_page("resume", folder, "--assume", "not-done") as (run, url):
            page = open_at(seen, url)
            wait_for(page, "#question", "segment 2 of 2")
            assert page.locator("#surface rect.d").count() == 1, "what was marked before shows as done"
            mark(page, 2)
            wait_for(page, "#word", "DONE")
            assert run.end().status == 0
        with with_page("redo", folder, "--segments", "1") as (run, url):
            page = open_at(seen, url)
            wait_for(page, "#question", "segment 1 of 2")
            ready(page, "done").click()
            wait_for(page, "#word", "DONE")
            ended = run.end()
            assert ended.status == 0, ended.err


@pytest.mark.usefixtures("job")
def test_the_demo_shows_its_page_and_ends_by_itself(browser: Any) -> None:
    with with_page("demo", "--clock", "10") as (run, url), opened_page(browser) as seen:
        page = open_at(seen, url)
        wait_for(page, "#word", "DONE")
        ended = run.end()
        assert ended.status == 0, ended.err
        assert seen.errors == []


def keep(page: Any, name: str) -> None:
    """Write what is shown as a picture of the docs, where that is asked for."""
    if os.environ.get("CIRCUMSTEP_WRITE_SCREENS"):
        page.screenshot(path=_PICTURES / name)


# --- without a run --------------------------------------------------------------------------------------------------


@pytest.fixture
def still() -> Iterator[Served]:
    """A page whose run marks, and goes on looking."""
    with served() as one:
        _, plan = shipped("shaft-scale")
        one.desk.begins(plan, {1: (2, 2)} | dict.fromkeys(range(2, 7), (0, 2)))
        one.desk.marks()
        over = threading.Event()

        def work() -> None:
            while not over.wait(0.05):
                one.desk.works()

        worker = threading.Thread(target=work)
        worker.start()
        try:
            yield one
        finally:
            over.set()
            worker.join()


def test_a_wrong_token_shows_nothing_and_presses_nothing(browser: Any, still: Served) -> None:
    for url in (still.server.url[:-1], still.server.url.partition("#")[0]):
        with opened_page(browser) as seen:
            page = open_at(seen, url)
            wait_for(page, "#doing", "Not connected")
            assert page.text_content("#word") == "STALE"
            assert page.text_content("#where") == ""
            page.locator("#stop").click()
            wait_for(page, "#refused", "wrong token")
    assert still.desk.control.stop.reason is None


class _Elsewhere(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>elsewhere</title>")

    def log_message(self, format: str, *args: Any) -> None:
        pass


@pytest.fixture
def elsewhere() -> Iterator[str]:
    """A page of another origin on this very computer."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Elsewhere)
    worker = threading.Thread(target=server.serve_forever)
    worker.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        worker.join()
        server.server_close()


def test_a_page_of_another_origin_presses_nothing_though_it_knows_the_token(
    browser: Any, still: Served, elsewhere: str
) -> None:
    own, token = f"http://127.0.0.1:{still.server.port}", still.server.token
    with opened_page(browser) as seen:
        page = open_at(seen, elsewhere)
        tried = page.evaluate(
            """async ([own, token]) => {
              const body = JSON.stringify({button: "stop"});
              const headers = {"Authorization": `Bearer ${token}`, "Content-Type": "application/json"};
              const told = [];
              const ask = async (options) => {
                try {
                  told.push((await fetch(`${own}/press`, options)).type);
                } catch (error) {
                  told.push("no answer");
                }
              };
              await ask({method: "POST", headers, body});
              await ask({method: "POST", mode: "no-cors", body});
              await ask({method: "POST", mode: "no-cors", headers: {"Content-Type": "text/plain"}, body});
              navigator.sendBeacon(`${own}/press`, body);
              const form = document.createElement("form");
              const frame = document.createElement("iframe");
              Object.assign(frame, {name: "hidden"});
              Object.assign(form, {method: "post", action: `${own}/press`, target: "hidden", enctype: "text/plain"});
              const said = {name: '{"button": "stop", "line": "', value: '"}'};
              form.append(Object.assign(document.createElement("input"), said));
              document.body.append(frame, form);
              await new Promise((resolve) => { frame.onload = resolve; form.submit(); });
              const inside = document.createElement("iframe");
              inside.src = `${own}/#${token}`;
              document.body.append(inside);
              await new Promise((resolve) => { inside.onload = resolve; });
              return told;
            }""",
            [own, token],
        )
        assert tried == 3 * ["no answer"]
        assert "Station page" not in [frame.title() for frame in page.frames]
    assert still.desk.control.stop.reason is None
    assert not still.desk.control.holds
    assert still.press(button="stop") == (200, ""), "its own page can"


LOOKS: tuple[tuple[tuple[int, int], Scheme], ...] = (
    (PHONE, "light"), (PHONE, "dark"), (DESK, "light"), (DESK, "dark"), (WALL, "dark"),
)  # fmt: skip


def test_it_can_be_read_on_every_screen_and_by_ear(browser: Any, still: Served) -> None:
    with opened_page(browser) as seen:
        page = open_at(seen, still.server.url)
        wait_for(page, "#word", "STILL")
        for size, scheme in LOOKS:
            look(page, size, scheme)
            assert wider_than_screen(page) == 0, size
            box = page.locator("#word").bounding_box()
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= size[0], "the word is whole"
            assert box["height"] >= 0.12 * min(size), size
            for button in ("done", "hold", "stop"):
                place = page.locator(f"#{button}").bounding_box()
                assert place["y"] + place["height"] <= size[1], (button, size, "seen without scrolling")
                assert place["height"] >= 44, "big enough for a finger (WCAG 2.2, 2.5.5)"
        look(page, PHONE, "light")
        assert serious_findings(page) == []
        look(page, DESK, "light")
        keep(page, "station-page-desk.png")
        still.desk.turns()
        wait_for(page, "#word", "TURNING")
        look(page, PHONE, "dark")
        keep(page, "station-page-phone.png")
        assert serious_findings(page) == []
        assert page.locator("[aria-live=polite]").text_content() == "TURNING. To segment 3, pass 1. Gate closed."
        still.desk.asks(Question("Which part?", (Choice("", "It is in"), Choice("x", "Leave it out")), "its diameter"))
        still.desk.publisher.tell(RunState("between", part=2, parts=3, serial="A-7"))
        wait_for(page, "#word", "MAY BE MOVING")
        page.locator("#typed").wait_for(state="visible")
        assert page.locator(".part").is_hidden(), "the surface of the part before is not that of this one"
        assert serious_findings(page) == []
        page.locator("#typed").fill("50.12 mm")
        page.keyboard.press("Enter")
        wait_for(page, "#why-answer", "it is answered already")
        assert still.desk.take_answer() == "50.12 mm"
        still.desk.over = Over("stopped", "why it ended", ("Resume with: circumstep resume runs/one",))
        wait_for(page, "#word", "STOPPED")
        assert page.locator("#stop").is_hidden()
        assert serious_findings(page) == []
        assert seen.errors == []
        assert seen.asked_beyond(still.server.url.partition("#")[0]) == []


def test_keys_press_what_stands_on_the_buttons_and_nothing_by_repeating(browser: Any, still: Served) -> None:
    with opened_page(browser) as seen:
        page = open_at(seen, still.server.url)
        ready(page, "hold").click()
        wait_for(page, "#doing", "It holds after this pass")
        page.keyboard.press("Enter")  # the button that was clicked keeps no focus: it is Done that is pressed
        wait_for(page, "#why-answer", "it is answered already")
        assert still.desk.control.holds
        page.keyboard.press("Control+h")
        page.keyboard.down("h")
        wait_for(page, "#why-hold", "")
        ready(page, "hold")
        page.keyboard.down("h")  # the same key still held down: it repeats, which presses nothing
        page.keyboard.up("h")
        assert not still.desk.control.holds
        page.keyboard.press("s")
        wait_for(page, "#why-stop", "it is being stopped")
    assert still.desk.control.stop.reason == "at the station page"
    assert still.desk.take_answer() == ""
    assert MARKING.gate_open
