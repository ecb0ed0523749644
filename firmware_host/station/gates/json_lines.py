"""One JSON object a line over a socket that never blocks; everything read is bounded."""

from __future__ import annotations

import json
import socket
from contextlib import suppress
from typing import Any

LONGEST_LINE = 4096
_MOST_UNSENT = 65536
_MOST_UNREAD = 16
"""How many reads of what came last are thrown away at the end."""


class JsonLines:
    """One connection. `gone` is true once the other side has left, broke the rules, or does not read."""

    def __init__(self, connection: socket.socket) -> None:
        connection.setblocking(False)
        self._connection = connection
        self._received = b""
        self._unsent = b""
        self.gone = False

    def receive(self) -> list[dict[str, Any]]:
        """All whole messages that have come; never waits. A line that is no JSON object ends the connection."""
        self._flush()
        self._read()
        *lines, self._received = self._received.split(b"\n")
        messages: list[dict[str, Any]] = []
        for line in lines:
            message = _parsed(line) if len(line) <= LONGEST_LINE else None
            if message is None:
                self.refuse(f"a line must be one JSON object of at most {LONGEST_LINE} bytes")
                return messages
            messages.append(message)
        if len(self._received) > LONGEST_LINE:
            self.refuse(f"a line is longer than {LONGEST_LINE} bytes")
        return messages

    def send(self, message: dict[str, Any]) -> None:
        """Send one message; what the other side does not take at once is kept, up to a bound."""
        self._unsent += json.dumps(message, ensure_ascii=True).encode() + b"\n"
        self._flush()
        if len(self._unsent) > _MOST_UNSENT:
            self.close()

    def refuse(self, reason: str) -> None:
        """Say why and end the connection."""
        self.finish({"type": "error", "reason": reason})

    def finish(self, message: dict[str, Any]) -> None:
        """Send one last message and end the connection; does nothing when it has ended already.

        The end is told before it is closed, and what has come is read: over unread bytes it would end with a reset, for
        which the other side may drop the last message.
        """
        self.send(message)
        if self.gone:
            return
        with suppress(OSError):  # the other side may have left in this instant
            self._connection.shutdown(socket.SHUT_WR)
            for _ in range(_MOST_UNREAD):
                if not self._connection.recv(LONGEST_LINE):
                    break
        self.close()

    def close(self) -> None:
        """End the connection; a second call does nothing."""
        if not self.gone:
            self.gone = True
            self._connection.close()

    def _read(self) -> None:
        while not self.gone and len(self._received) <= LONGEST_LINE:
            try:
                data = self._connection.recv(LONGEST_LINE)
            except BlockingIOError:
                return
            except OSError:
                data = b""
            if not data:
                self.close()
                return
            self._received += data

    def _flush(self) -> None:
        if self.gone or not self._unsent:
            return
        try:
            sent = self._connection.send(self._unsent)
        except BlockingIOError:
            return
        except OSError:
            self.close()
            return
        self._unsent = self._unsent[sent:]


def _parsed(line: bytes) -> dict[str, Any] | None:
    try:
        value = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None
