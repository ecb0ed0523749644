"""Who is answered: pages that this server has served, with the token of this run. Nobody else, whatever they ask."""

from __future__ import annotations

import hmac
from collections.abc import Sequence
from typing import Final, NamedTuple

Headers = Sequence[tuple[bytes, bytes]]
"""Names in small letters, and values, as they came."""

FILES: Final = {
    "/": ("station.html", "text/html; charset=utf-8"),
    "/station.css": ("station.css", "text/css; charset=utf-8"),
    "/station.js": ("station.js", "text/javascript; charset=utf-8"),
}
"""What anybody at this computer may read: none of it says anything of the run."""
STATE, PRESS = "/state", "/press"

ON_EVERY_ANSWER: Final = (
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'",
    ),
    ("cache-control", "no-store"),
    ("referrer-policy", "no-referrer"),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
)
"""No script, style or picture from elsewhere, in no frame of anybody, kept nowhere, told to nobody."""


class Refusal(NamedTuple):
    """An HTTP status, and why."""

    status: int
    why: str


class Guard:
    """Looks at every request first. `port`: where the page is served; `token`: of this run."""

    def __init__(self, port: int, token: str) -> None:
        self._hosts = (f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode())
        self._token = token.encode()

    def refusal(self, method: str, path: str, headers: Headers) -> Refusal | None:
        """Why a request is not answered; None if it may be.

        A name that was made to lead here (DNS rebinding) is no host of ours; a page of another origin gives itself away
        by its Origin, and can send neither the token nor JSON without being asked beforehand, which is never allowed.
        """
        host = _only(headers, b"host")
        if host not in self._hosts:
            return Refusal(403, "the page is served at 127.0.0.1 alone")
        origins = [value for name, value in headers if name == b"origin"]
        if any(origin != b"http://" + host for origin in origins):
            return Refusal(403, "asked by a page of another origin")
        if path in FILES:
            return None if method == "GET" else Refusal(405, "it can only be read")
        if path not in (STATE, PRESS):
            return Refusal(404, "there is no such page")
        if _only(headers, b"sec-fetch-site") not in (None, b"same-origin"):
            return Refusal(403, "asked by a page of another origin")
        if not self._is_token(_only(headers, b"authorization")):
            return Refusal(401, "wrong token: open the whole address that the run has printed")
        if path == STATE:
            return None if method == "GET" else Refusal(405, "it can only be read")
        if method != "POST":
            return Refusal(405, "a button is pressed with POST")
        if not origins:
            return Refusal(403, "a button is pressed by the page alone")
        if _only(headers, b"content-type") != b"application/json":
            return Refusal(415, "a press is told in JSON")
        return None

    def _is_token(self, said: bytes | None) -> bool:
        return hmac.compare_digest(said or b"", b"Bearer " + self._token)


def _only(headers: Headers, name: bytes) -> bytes | None:
    """The value of a header that is there once; None where it isn't there, or several times."""
    values = [value for each, value in headers if each == name]
    return values[0] if len(values) == 1 else None
