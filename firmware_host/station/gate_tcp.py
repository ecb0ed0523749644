"""Gate `tcp`: a marking program or a script drives the passes over a loopback socket, one JSON object a line.

Messages to the marking side: {"type": "hello", "protocol": 1, "job"} once its token was right;
{"type": "ready", "id", "segment", "segments", "pass", "passes", "angle_deg"} when the part is at rest and the gate is
open; {"type": "closed", "id"} when the permission ends; {"type": "status", ...} as an answer; {"type": "error",
"reason"}. Messages from it: {"type": "hello", "token"}; {"type": "done", "id"}; {"type": "failed", "id", "reason"};
{"type": "hold"} to stop the run; {"type": "status"}.
"""

from __future__ import annotations

import hmac
import json
import secrets
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firmware_host.durable import write_whole
from firmware_host.errors import GateError, GateTimeoutError
from firmware_host.station.gate import Gate, GateContext, PassRequest, PassState
from firmware_host.station.json_lines import JsonLines

PROTOCOL = 1
_HOST = "127.0.0.1"


class TcpGate(Gate):
    """Listens on loopback from the start of the run; one marking side at a time, known by its token.

    Port and token stand in `gate.json` in the run's folder, readable by its owner only. `timeout_s` (s): a pass that
    takes longer has failed; `connect_s` (s): how long to wait for somebody to say hello when the gate opens.
    """

    kind = "tcp"

    def __init__(
        self,
        context: GateContext,
        *,
        timeout_s: float,
        connect_s: float,
        port: int = 0,
        make_token: Callable[[], str] = lambda: secrets.token_hex(16),
    ) -> None:
        self._clock = context.clock
        self._job = context.job
        self._timeout_s, self._connect_s = timeout_s, connect_s
        self._token = make_token()
        self._listener = _listen(port)
        self.port: int = self._listener.getsockname()[1]
        """The port it listens on."""
        self._peer: JsonLines | None = None
        self._greeted = False
        self._request: PassRequest | None = None
        self._told = False
        self._id = 0
        self._opened_s = 0.0
        self._answer: PassState = PassState.MARKING
        self._stop_asked = False
        if context.folder is not None:
            self._announce(context.folder / "gate.json")
        context.operator.tell(f"Gate: waiting for the marking side at {_HOST}:{self.port}")

    @classmethod
    def build(cls, options: Any, context: GateContext) -> TcpGate:
        connect = options.connect or options.timeout
        return cls(context, timeout_s=options.timeout.si, connect_s=connect.si, port=options.port)

    def open(self, request: PassRequest) -> None:
        self._id += 1
        self._request, self._told, self._answer = request, False, PassState.MARKING
        self._opened_s = self._clock.monotonic()
        self._attend()

    def poll(self) -> PassState:
        if self._request is None:
            raise GateError(self.kind, "polled while closed")
        self._attend()
        if self._stop_asked:
            return PassState.STOP
        waited_s = self._clock.monotonic() - self._opened_s
        if not self._told and waited_s > self._connect_s:
            raise GateTimeoutError(self.kind, f"no marking side said hello within {self._connect_s:.6g} s")
        if waited_s > self._timeout_s:
            raise GateTimeoutError(self.kind, f"the pass was not said to be done within {self._timeout_s:.6g} s")
        return self._answer

    def wants_stop(self) -> bool:
        self._attend()
        return self._stop_asked

    def close(self) -> None:
        request, self._request = self._request, None
        if request is not None and self._told and self._peer is not None:
            self._peer.send({"type": "closed", "id": self._id})

    def release(self) -> None:
        self.close()
        if self._peer is not None:
            self._peer.close()
            self._peer = None
        self._listener.close()

    # --- the line ----------------------------------------------------------------------------------------------------

    def _announce(self, path: Path) -> None:
        write_whole(path, json.dumps({"host": _HOST, "port": self.port, "token": self._token}) + "\n", mode=0o600)

    def _attend(self) -> None:
        """Take a new marking side in, and everything it has said; never waits."""
        self._accept()
        peer = self._peer
        if peer is None:
            return
        for message in peer.receive():
            self._take(peer, message)
        if peer.gone:
            self._lose_peer()
        elif self._greeted and self._request is not None and not self._told:
            self._told = True
            peer.send({"type": "ready", "id": self._id, **_as_json(self._request)})

    def _accept(self) -> None:
        try:
            connection, _ = self._listener.accept()
        except BlockingIOError:
            return
        if self._peer is not None:
            JsonLines(connection).refuse("somebody else is connected")
            return
        self._peer, self._greeted = JsonLines(connection), False

    def _take(self, peer: JsonLines, message: dict[str, Any]) -> None:
        kind = message.get("type")
        if kind == "hello":
            self._greet(peer, message)
        elif not self._greeted:
            peer.refuse("say hello with the token first")
        elif kind == "done":
            self._finish(peer, message, PassState.DONE)
        elif kind == "failed":
            self._fail(peer, message)
        elif kind == "hold":
            self._stop_asked = True
        elif kind == "status":
            peer.send({"type": "status", "gate": "open" if self._request is not None else "closed", "id": self._id})
        else:
            peer.send({"type": "error", "reason": "no such message type"})

    def _greet(self, peer: JsonLines, message: dict[str, Any]) -> None:
        token = message.get("token")
        if not isinstance(token, str) or not hmac.compare_digest(token.encode(), self._token.encode()):
            peer.refuse("wrong token")
            return
        self._greeted = True
        peer.send({"type": "hello", "protocol": PROTOCOL, "job": self._job})

    def _finish(self, peer: JsonLines, message: dict[str, Any], state: PassState) -> None:
        if self._request is None or not self._told or message.get("id") != self._id:
            peer.send({"type": "error", "reason": f"no pass {message.get('id')!r:.40} is open"})
            return
        self._answer = state

    def _fail(self, peer: JsonLines, message: dict[str, Any]) -> None:
        if self._request is not None and message.get("id") == self._id:
            raise GateError(self.kind, f"the marking side says the pass failed: {str(message.get('reason'))[:200]}")
        peer.send({"type": "error", "reason": "no such pass is open"})

    def _lose_peer(self) -> None:
        self._peer = None
        if self._request is not None and self._told and self._answer is PassState.MARKING:
            raise GateError(self.kind, "the marking side went away while its pass was open")


def _listen(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((_HOST, port))
        listener.listen(4)
        listener.setblocking(False)
    except OSError as error:
        listener.close()
        raise GateError("tcp", f"cannot listen on {_HOST}:{port} ({error.strerror})") from error
    return listener


def _as_json(request: PassRequest) -> dict[str, Any]:
    return {
        "segment": request.segment,
        "segments": request.segments,
        "pass": request.number,
        "passes": request.passes,
        "angle_deg": request.angle_deg,
    }
