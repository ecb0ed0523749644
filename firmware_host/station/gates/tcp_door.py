"""The door of the `tcp` gate: listens on loopback and lets in the one marking side that says the token."""

from __future__ import annotations

import hmac
from typing import Any

from firmware_host.clock import Clock
from firmware_host.errors import GateError
from firmware_host.station.gates.json_lines import JsonLines
from firmware_host.system.sockets import HOST, listen

HELLO_S = 5.0
"""A caller that has said no hello for so long (s) is cut off."""
_MOST_CALLERS = 4


class Door:
    """At most one marking side, and some callers that have not said hello yet: none of them can keep it out.

    `welcome` is what the marking side is told first. Nothing here waits.
    """

    def __init__(self, clock: Clock, token: str, port: int, welcome: dict[str, Any]) -> None:
        self._clock = clock
        self._token = token.encode()
        self._welcome = welcome
        try:
            self._listener = listen(port, callers=2 * _MOST_CALLERS)
        except OSError as error:
            raise GateError("tcp", f"cannot listen on {HOST}:{port} ({error.strerror or error})") from error
        self._callers: list[tuple[float, JsonLines]] = []
        self.port: int = self._listener.getsockname()[1]
        """The port it listens on."""
        self.peer: JsonLines | None = None
        """The marking side, once it has said hello with the token."""

    def hear(self) -> list[dict[str, Any]]:
        """Let in who may come in, and return what the marking side has said; it may have gone since."""
        self._answer_door()
        first: list[dict[str, Any]] = []
        for caller in list(self._callers):
            first += self._hear_caller(caller)
        return first if self.peer is None else first + self.peer.receive()

    def say(self, message: dict[str, Any]) -> None:
        """Tell the marking side something, if there is one."""
        if self.peer is not None:
            self.peer.send(message)

    def close(self, farewell: dict[str, Any]) -> None:
        """Say a last message, end every connection and stop listening; a second call does nothing."""
        if self.peer is not None:
            self.peer.finish(farewell)
            self.peer = None
        for _, line in self._callers:
            line.close()
        self._callers.clear()
        self._listener.close()

    def _answer_door(self) -> None:
        for _ in range(_MOST_CALLERS):
            try:
                connection, _ = self._listener.accept()
            except OSError:  # nobody there, or gone again already
                return
            if self.peer is not None:
                JsonLines(connection).refuse("somebody else is connected")
                continue
            self._callers.append((self._clock.monotonic(), JsonLines(connection)))
            if len(self._callers) > _MOST_CALLERS:
                self._callers.pop(0)[1].refuse("too many connections at once")

    def _hear_caller(self, caller: tuple[float, JsonLines]) -> list[dict[str, Any]]:
        """What a caller said behind a right hello, which makes it the marking side."""
        called_s, line = caller
        messages = line.receive()
        if messages or line.gone or self._clock.monotonic() - called_s > HELLO_S:
            self._callers.remove(caller)
        if not messages:
            if caller not in self._callers:
                line.refuse(f"say hello with the token within {HELLO_S:g} s")
            return []
        if self.peer is not None:
            line.refuse("somebody else is connected")
        elif messages[0].get("type") != "hello":
            line.refuse("say hello with the token first")
        elif not self._is_token(messages[0].get("token")):
            line.refuse("wrong token")
        else:
            self.peer = line
            line.send(self._welcome)
            return messages[1:]
        return []

    def _is_token(self, said: Any) -> bool:
        return isinstance(said, str) and hmac.compare_digest(said.encode("utf-8", "surrogatepass"), self._token)
