"""A desk with a state that the test sets, and the page's server over it: everything but a run and a browser."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPResponse
from typing import Any

from firmware_host.clock import VirtualClock
from firmware_host.page.desk import Desk
from firmware_host.page.server import PageServer
from firmware_host.station.operator import Choice, Question
from firmware_host.station.passes.control import RunControl
from firmware_host.station.progress import RunState
from firmware_host.station.state.publisher import StatePublisher

MARKING = RunState("marking", still=True, gate_open=True, segment=2, segments=6, number=1, passes=2, done=2, of=12,
                   left_s=95.0, following=(2, 2))  # fmt: skip
TURNING = RunState("turning", segment=3, segments=6, number=1, passes=2, done=4, of=12, left_s=72.0, following=(3, 2))
MARKED = Question("Mark segment 2. Is it marked?", (Choice("", "Done"),))


class TestDesk(Desk):
    """A desk whose run does what the test says, by a clock that the test sets."""

    __test__ = False

    def __init__(self) -> None:
        self.clock = VirtualClock()
        super().__init__(RunControl(), self.clock)
        self.publisher = StatePublisher(self.clock, (), "my job")
        self.publisher.renew()
        self.attach(self.publisher.newest)

    def marks(self) -> int:
        """The gate opens and its question is asked; its number."""
        self.publisher.tell(MARKING)
        self.asks(MARKED)
        assert self.asked is not None
        return self.asked.number

    def turns(self) -> None:
        """The gate is closed, and the axis turns."""
        self.asks(None)
        self.publisher.tell(TURNING)

    def works(self) -> None:
        """The run looks for wishes, and at the standstill."""
        self.control.stop.looks += 1
        self.publisher.still_so()
        self.listen()

    def hangs(self, for_s: float) -> None:
        """So long the run does nothing; the server goes on looking."""
        self.clock.sleep(for_s)
        self.listen()


@dataclass(frozen=True)
class Served:
    """A page's server, and requests to it as a browser makes them, or as one of ill will would."""

    desk: TestDesk
    server: PageServer

    @property
    def own(self) -> str:
        return f"127.0.0.1:{self.server.port}"

    def headers(self, **other: str | None) -> dict[str, str]:
        """What the page's own browser sends; `other` instead, None: left out. Names with _ for -."""
        usual: dict[str, str | None] = {
            "Host": self.own,
            "Origin": f"http://{self.own}",
            "Authorization": f"Bearer {self.server.token}",
            "Content-Type": "application/json",
            "Sec-Fetch-Site": "same-origin",
        }
        usual |= {name.replace("_", "-"): value for name, value in other.items()}
        return {name: value for name, value in usual.items() if value is not None}

    def ask(
        self, method: str, path: str, headers: dict[str, str] | None = None, body: str = ""
    ) -> tuple[HTTPResponse, bytes]:
        """One request on a connection of its own, and the whole answer."""
        connection = HTTPConnection("127.0.0.1", self.server.port, timeout=20)
        try:
            connection.request(method, path, body or None, self.headers() if headers is None else headers)
            answer = connection.getresponse()
            return answer, answer.read()
        finally:
            connection.close()

    def press(self, headers: dict[str, str] | None = None, **pressed: Any) -> tuple[int, str]:
        """Press a button; the status, and why it was refused."""
        answer, said = self.ask("POST", "/press", headers, json.dumps(pressed))
        return answer.status, json.loads(said)["refused"]

    @contextmanager
    def stream(self) -> Iterator[HTTPResponse]:
        """The states as a page is told them; nobody reads them but the test."""
        connection = HTTPConnection("127.0.0.1", self.server.port, timeout=20)
        try:
            connection.request("GET", "/state", headers=self.headers())
            yield connection.getresponse()
        finally:
            connection.close()


def next_state(stream: HTTPResponse) -> dict[str, Any]:
    """The next state that a stream tells."""
    line = stream.readline()
    assert line.startswith(b"data: "), line
    assert stream.readline() == b"\n"
    state: dict[str, Any] = json.loads(line[len(b"data: ") :])
    return state


@contextmanager
def served() -> Iterator[Served]:
    desk = TestDesk()
    server = PageServer(desk)
    try:
        yield Served(desk, server)
    finally:
        server.close()
