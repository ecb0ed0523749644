"""Who is answered by the page's server: header by header, as browsers send them."""

from __future__ import annotations

import pytest

from firmware_host.page.guard import FILES, Guard

GUARD = Guard(7710, "right token")
OWN = {
    b"host": b"127.0.0.1:7710",
    b"origin": b"http://127.0.0.1:7710",
    b"authorization": b"Bearer right token",
    b"content-type": b"application/json",
    b"sec-fetch-site": b"same-origin",
}


def status(method: str = "POST", path: str = "/press", **other: str | None) -> int | None:
    """What is said to the page's own request with `other` headers; None: it is answered."""
    changed = {name.replace("_", "-").encode(): value for name, value in other.items()}
    headers = [(name, value) for name, value in OWN.items() if name not in changed]
    headers += [(name, value.encode("latin-1")) for name, value in changed.items() if value is not None]
    refusal = GUARD.refusal(method, path, headers)
    return None if refusal is None else refusal.status


def test_the_pages_own_requests_are_answered() -> None:
    assert status() is None
    assert status(host="localhost:7710", origin="http://localhost:7710") is None
    assert status("GET", "/state", origin=None, content_type=None) is None
    assert status("POST", sec_fetch_site=None) is None, "older browsers do not send it"


@pytest.mark.parametrize("path", sorted(FILES))
def test_the_page_itself_can_be_opened_by_its_address_alone(path: str) -> None:
    assert status("GET", path, origin=None, authorization=None, content_type=None, sec_fetch_site="none") is None
    assert status("POST", path) == 405


@pytest.mark.parametrize(
    "host",
    ["rebound.example:7710", "127.0.0.1", "127.0.0.1:7711", "127.0.0.1:77100", "localhost.example:7710", "", None],
    ids=["a name that leads here", "no port", "another port", "a longer port", "longer name", "empty", "none"],
)
@pytest.mark.parametrize("path", ["/", "/state", "/press"])
def test_a_request_for_another_host_is_refused_whatever_it_asks(path: str, host: str | None) -> None:
    origin = None if host is None else f"http://{host}"
    assert status("POST" if path == "/press" else "GET", path, host=host, origin=origin) == 403


@pytest.mark.parametrize(
    "origin",
    ["http://127.0.0.1:7711", "https://127.0.0.1:7710", "http://localhost:7710", "http://page.example", "null", ""],
    ids=["another port", "another scheme", "another name of it", "elsewhere", "a file or a sandbox", "empty"],
)
def test_a_page_of_another_origin_is_refused_even_with_the_right_token(origin: str) -> None:
    assert status(origin=origin) == 403
    assert status("GET", "/state", origin=origin) == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site", "none"])
def test_what_the_browser_itself_says_came_from_elsewhere_is_refused(site: str) -> None:
    assert status(sec_fetch_site=site) == 403
    assert status("GET", "/state", sec_fetch_site=site) == 403


@pytest.mark.parametrize(
    "said",
    ["Bearer wrong token", "Bearer right token ", "Bearer right toke", "right token", "Bearer ", "", None, "Bearer ü"],
)
def test_without_the_very_token_neither_state_nor_buttons(said: str | None) -> None:
    assert status(authorization=said) == 401
    assert status("GET", "/state", authorization=said) == 401


def test_a_header_that_comes_twice_counts_as_none() -> None:
    twice = [*OWN.items(), (b"authorization", b"Bearer right token")]
    assert GUARD.refusal("POST", "/press", twice) is not None
    assert GUARD.refusal("POST", "/press", [*OWN.items(), (b"host", b"127.0.0.1:7710")]) is not None
    assert GUARD.refusal("POST", "/press", [*OWN.items(), (b"origin", b"http://page.example")]) is not None


def test_a_button_is_pressed_by_post_with_an_origin_and_json_alone() -> None:
    for method in ("GET", "PUT", "HEAD", "OPTIONS"):
        assert status(method) == 405
    assert status(origin=None) == 403
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", None):
        assert status(content_type=kind) == 415, "what a form of another page can send is never taken"


def test_nothing_else_is_served() -> None:
    for path in ("/state/", "/station.html", "/../desk.py", "/favicon.ico", "//press"):
        assert status("GET", path) == 404
