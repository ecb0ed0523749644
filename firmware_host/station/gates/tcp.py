"""Gate `tcp`: a marking program or a script drives the passes over a loopback socket, one JSON object a line.

Messages to the marking side: {"type": "hello", "protocol": 1, "job"} once its token was right;
{"type": "ready", "id", "segment", "segments", "pass", "passes", "angle_deg"} when the part stands still and the gate is
open, in a batch with "part": {"number", "of", "serial", "text", "columns"}; {"type": "closed", "id"} when the
permission ends; {"type": "status", ...} as an answer; {"type": "error", "reason"}; {"type": "bye", "outcome"} when the
run has ended. Messages from it: {"type": "hello", "token"}; {"type": "done", "id"}; {"type": "failed", "id", "reason"};
{"type": "hold"} to stop the run; {"type": "status"}.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

from firmware_host.errors import GateError, GateTimeoutError
from firmware_host.folders import kept_folder
from firmware_host.station.gates.gate import Gate, GateContext, PassRequest, PassState
from firmware_host.station.gates.tcp_door import Door
from firmware_host.system.files import write_whole
from firmware_host.system.sockets import HOST

PROTOCOL = 1
_LONGEST_REASON = 200


class TcpGate(Gate):
    """Listens on loopback from the start of the run; one marking side at a time, known by its token.

    `gate.json` in the run's folder says at which port, and in which file the token stands while the run lasts: in the
    user's own folder (`tokens`, the system's place for such files if it is None), readable by the user only.
    `timeout_s` (s): a pass that takes longer has failed; `connect_s` (s): how long to wait for somebody to say hello
    when the gate opens.
    """

    kind = "tcp"
    stays_open = False

    def __init__(
        self,
        context: GateContext,
        *,
        timeout_s: float,
        connect_s: float,
        port: int = 0,
        make_token: Callable[[], str] = lambda: secrets.token_hex(16),
        tokens: Path | None = None,
    ) -> None:
        self._clock = context.clock
        self._timeout_s, self._connect_s = timeout_s, connect_s
        token = make_token()
        self._door = Door(context.clock, token, port, {"type": "hello", "protocol": PROTOCOL, "job": context.job})
        self._request: PassRequest | None = None
        self._told = False
        self._id = 0
        self._opened_s = 0.0
        self._answer: PassState = PassState.MARKING
        self._stop_asked = False
        self._outcome = "failed"
        self._token_file: Path | None = None
        try:
            if context.folder is not None:
                folder = tokens or kept_folder("gates")
                self._token_file = folder / f"{context.folder.name}-{self.port}.token"
                _announce(context.folder / "gate.json", self.port, self._token_file, token)
        except BaseException:
            self.release()
            raise
        context.operator.tell(f"Gate: waiting for the marking side at {HOST}:{self.port}")

    @classmethod
    def build(cls, options: Any, context: GateContext) -> TcpGate:
        connect = options.connect or options.timeout
        return cls(context, timeout_s=options.timeout.si, connect_s=connect.si, port=options.port)

    @property
    def port(self) -> int:
        """The port it listens on."""
        return self._door.port

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
            self.close()
            raise GateTimeoutError(self.kind, f"no marking side said hello within {self._connect_s:.6g} s")
        if waited_s > self._timeout_s:
            self.close()
            raise GateTimeoutError(self.kind, f"the pass was not reported done within {self._timeout_s:.6g} s")
        return self._answer

    def wants_stop(self) -> bool:
        self._attend()
        return self._stop_asked

    def close(self) -> None:
        request, self._request = self._request, None
        if request is not None and self._told:
            self._door.say({"type": "closed", "id": self._id})

    def ended(self, outcome: str) -> None:
        self._outcome = outcome

    def release(self) -> None:
        self.close()
        self._door.close({"type": "bye", "outcome": self._outcome})
        if self._token_file is not None:
            with suppress(OSError):  # somebody reads it now, and it opens nothing any more
                self._token_file.unlink(missing_ok=True)

    # --- the line ----------------------------------------------------------------------------------------------------

    def _attend(self) -> None:
        """Take in everything that the marking side has said; never waits."""
        for message in self._door.hear():
            self._take(message)
        peer = self._door.peer
        if peer is None:
            return
        if peer.gone:
            self._lose_peer()
        elif self._request is not None and not self._told:
            self._told = True
            peer.send({"type": "ready", "id": self._id, **_as_json(self._request)})

    def _take(self, message: dict[str, Any]) -> None:
        kind = message.get("type")
        if kind == "done":
            self._finish(message)
        elif kind == "failed":
            self._fail(message)
        elif kind == "hold":
            self._stop_asked = True
        elif kind == "status":
            gate = "open" if self._request is not None else "closed"
            self._door.say({"type": "status", "gate": gate, "id": self._id})
        else:
            self._refuse("no such message type")

    def _refuse(self, reason: str) -> None:
        self._door.say({"type": "error", "reason": reason})

    def _is_open(self, said: Any) -> bool:
        """Whether `said` is the id of the pass that the marking side was told to mark."""
        return self._request is not None and self._told and type(said) is int and said == self._id

    def _finish(self, message: dict[str, Any]) -> None:
        if self._is_open(message.get("id")):
            self._answer = PassState.DONE
        else:
            self._refuse("no such pass is open")

    def _fail(self, message: dict[str, Any]) -> None:
        if not self._is_open(message.get("id")):
            self._refuse("no such pass is open")
            return
        said = message.get("reason")
        reason = said[:_LONGEST_REASON] if isinstance(said, str) else "no reason given"
        self.close()
        raise GateError(self.kind, f"the marking side says the pass failed: {_one_line(reason)}")

    def _lose_peer(self) -> None:
        self._door.peer = None
        if self._request is not None and self._told and self._answer is PassState.MARKING:
            self.close()
            raise GateError(self.kind, "the marking side went away while its pass was open")


def _announce(path: Path, port: int, token_file: Path, token: str) -> None:
    token_file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    write_whole(token_file, f"{token}\n", mode=0o600)
    write_whole(path, json.dumps({"host": HOST, "port": port, "token_file": str(token_file)}) + "\n", mode=0o600)


def _one_line(text: str) -> str:
    """`text` with whatever could break a line, or not be encoded, as an escape."""
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)


def _as_json(request: PassRequest) -> dict[str, Any]:
    return {
        "segment": request.segment,
        "segments": request.segments,
        "pass": request.number,
        "passes": request.passes,
        "angle_deg": request.angle_deg,
        **({"part": asdict(request.part)} if request.part is not None else {}),
    }
