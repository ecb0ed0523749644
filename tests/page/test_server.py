"""The server over real sockets of this computer: what it answers, whom it refuses, and that nobody can hold it up."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from firmware_host.errors import InputError
from firmware_host.page.desk import Over
from firmware_host.page.guard import ON_EVERY_ANSWER
from firmware_host.page.server import MOST_PAGES, PageServer
from tests.page.served import MARKING, Served, TestDesk, next_state, served


@pytest.fixture
def page() -> Iterator[Served]:
    with served() as one:
        yield one


def test_the_address_has_the_token_where_no_browser_sends_it(page: Served) -> None:
    assert page.server.url == f"http://127.0.0.1:{page.server.port}/#{page.server.token}"
    assert len(page.server.token) >= 32
    with served() as another:
        assert another.server.token != page.server.token


def test_the_page_is_whole_names_nothing_elsewhere_and_has_no_script_within(page: Served) -> None:
    for path, kind in (("/", "text/html"), ("/station.css", "text/css"), ("/station.js", "text/javascript")):
        answer, content = page.ask("GET", path, page.headers(Origin=None, Authorization=None, Content_Type=None))
        text = content.decode()
        assert answer.status == 200
        assert answer.headers["Content-Type"].startswith(kind)
        assert "//" not in text.replace("http://www.w3.org/2000/svg", "").replace("// ", "").replace("//\n", "")
        assert page.server.token not in text
        if path == "/":
            assert "<script>" not in text
            assert "style=" not in text
            assert "onclick" not in text
            assert "no safety device" in text


@pytest.mark.parametrize("path", ["/", "/state", "/press", "/nowhere"])
def test_every_answer_even_a_refusal_keeps_scripts_frames_and_stores_away(page: Served, path: str) -> None:
    answer, _ = page.ask("GET", path, page.headers(Authorization="Bearer wrong"))
    for name, value in ON_EVERY_ANSWER:
        assert answer.headers.get_all(name) == [value]
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers.get("Access-Control-Allow-Origin") is None
    assert answer.headers.get("Server") is None


def test_a_browser_that_asks_beforehand_for_another_origin_is_told_no(page: Served) -> None:
    asking = {
        "Origin": "http://page.example",
        "Access-Control-Request-Method": "POST",
        "Access-Control-Request-Headers": "authorization,content-type",
        "Host": page.own,
    }
    answer, _ = page.ask("OPTIONS", "/press", asking)
    assert answer.status == 403
    assert not [name for name in answer.headers if name.lower().startswith("access-control")]


def test_who_is_refused_presses_nothing(page: Served) -> None:
    page.desk.marks()
    for other, status in (
        ({"Authorization": "Bearer wrong"}, 401),
        ({"Authorization": None}, 401),
        ({"Origin": "http://page.example"}, 403),
        ({"Origin": None}, 403),
        ({"Host": "rebound.example", "Origin": "http://rebound.example"}, 403),
        ({"Sec_Fetch_Site": "cross-site"}, 403),
        ({"Content_Type": "text/plain"}, 415),
    ):
        for button in ("stop", "hold"):
            assert page.press(page.headers(**other), button=button)[0] == status
    assert page.desk.control.stop.reason is None
    assert not page.desk.control.holds


def test_buttons_become_wishes_and_refusals_say_why(page: Served) -> None:
    number = page.desk.marks()
    assert page.press(button="hold") == (200, "")
    assert page.desk.control.holds
    assert page.press(button="carry-on", number=page.desk.control.hold_number) == (200, "")
    assert page.press(button="answer", number=number, line="") == (200, "")
    assert page.desk.take_answer() == ""
    page.desk.turns()
    assert page.press(button="answer", number=number, line="") == (409, "the axis turns")
    assert page.press(button="stop") == (200, "")
    assert page.desk.control.stop.reason == "at the station page"
    assert page.press(button="stop") == (409, "it is being stopped")


@pytest.mark.parametrize(
    "body",
    [
        "", "nonsense", "[]", "{}", "null", '{"button": "open"}', '{"button": ["stop"]}',
        '{"button": "stop", "more": 1}', '{"button": "answer", "number": true}', '{"button": "answer", "number": "1"}',
        '{"button": "answer", "line": 1}', "[" * 4000, "\ud800".encode("utf-8", "surrogatepass").decode("latin-1"),
    ],
    ids=range(13),
)  # fmt: skip
def test_what_is_no_press_is_refused_and_the_next_one_is_taken(page: Served, body: str) -> None:
    page.desk.marks()
    answer, _ = page.ask("POST", "/press", page.headers(), body)
    assert answer.status == 400
    assert page.desk.control.stop.reason is None
    assert page.press(button="stop") == (200, "")


def test_a_press_that_is_too_long_is_refused(page: Served) -> None:
    answer, _ = page.ask("POST", "/press", page.headers(), json.dumps({"button": "stop", "line": "x" * 5000}))
    assert answer.status == 413
    assert page.desk.control.stop.reason is None


def test_two_pages_are_told_the_same_and_again_and_again(page: Served) -> None:
    page.desk.marks()
    with page.stream() as one, page.stream() as other:
        assert one.headers["Content-Type"].startswith("text/event-stream")
        said = next_state(one), next_state(other)
        assert said[0] | {"at_ms": 0} == said[1] | {"at_ms": 0}
        assert said[0]["word"] == "STILL"
        page.desk.turns()
        while next_state(one)["word"] != "TURNING":
            pass
        while next_state(other)["word"] != "TURNING":
            pass


def test_pages_that_do_not_read_hold_nobody_up_and_too_many_are_told_so(page: Served) -> None:
    page.desk.marks()
    with ExitStack() as stack:
        for _ in range(MOST_PAGES):
            next_state(stack.enter_context(page.stream()))  # and never reads again
        answer, said = page.ask("GET", "/state", page.headers())
        assert answer.status == 503
        assert json.loads(said) == {"refused": f"more than {MOST_PAGES} pages are open"}
        assert page.press(button="stop") == (200, "")


def test_the_end_is_told_to_who_reads_and_waits_for_nobody_else(page: Served) -> None:
    page.desk.publisher.tell(MARKING)
    with page.stream() as reading, page.stream() as silent:
        next_state(reading)
        next_state(silent)
        half = socket.create_connection(("127.0.0.1", page.server.port), timeout=20)
        half.sendall(b"POST /press HTTP/1.1\r\nHost: ")  # and never the rest
        page.desk.over = Over("stopped", "why it ended", ("what next",))
        page.server.close()
        last = next_state(reading)
        while last["over"] is None:
            last = next_state(reading)
        assert last["over"] == {"text": "why it ended", "todo": ["what next"]}
        assert reading.readline() == b""
        half.close()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", page.server.port), timeout=20)


def test_it_is_served_on_this_computer_alone_at_a_port_that_is_free(page: Served) -> None:
    assert page.server._listener.getsockname() == ("127.0.0.1", page.server.port)
    with pytest.raises(InputError, match=f"the station page cannot be served at 127.0.0.1:{page.server.port}"):
        PageServer(TestDesk(), page.server.port)
