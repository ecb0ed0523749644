"""From bytes in any split to whole lines."""

from __future__ import annotations

MAX_LINE_BYTES = 1024
"""A line longer than this (bytes) is noise; it is handed out as it is, so that memory stays bounded."""


class LineFramer:
    """Collects bytes and hands out lines without their end. Carriage returns and empty lines are dropped."""

    def __init__(self) -> None:
        self._rest = bytearray()

    def feed(self, data: bytes) -> tuple[bytes, ...]:
        """Take `data` (any length, any split) and return the lines it completes, in order."""
        self._rest += data
        *whole, rest = self._rest.split(b"\n")
        lines = [bytes(line.strip(b"\r")) for line in whole]
        self._rest = bytearray(rest)
        if len(self._rest) > MAX_LINE_BYTES:
            lines.append(bytes(self._rest))
            self._rest.clear()
        return tuple(line for line in lines if line)

    @property
    def unfinished(self) -> bytes:
        """The bytes of the line that has not ended yet."""
        return bytes(self._rest)

    def clear(self) -> bytes:
        """Forget the unfinished line and return its bytes."""
        rest = self.unfinished
        self._rest.clear()
        return rest
