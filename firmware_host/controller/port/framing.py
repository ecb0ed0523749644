"""From bytes in any split to whole lines."""

from __future__ import annotations

MAX_LINE_BYTES = 1024
"""A line longer than this (bytes) is noise; so much of it is handed out, and the rest up to its end is dropped."""


class LineFramer:
    """Collects bytes and hands out lines without their end. Carriage returns and empty lines are dropped.

    Nothing behind the limit counts as a line of its own: what ends a long piece of noise may look like an answer.
    """

    def __init__(self) -> None:
        self._rest = bytearray()
        self._overlong = False

    def feed(self, data: bytes) -> tuple[bytes, ...]:
        """Take `data` (any length, any split) and return the lines it completes, in order."""
        if not data:
            return ()
        self._rest += data
        *ended, rest = bytes(self._rest).split(b"\n")
        lines = []
        for line in ended:
            if not self._overlong:
                lines.append(line[:MAX_LINE_BYTES].strip(b"\r"))
            self._overlong = False
        if len(rest) > MAX_LINE_BYTES and not self._overlong:
            lines.append(rest[:MAX_LINE_BYTES])
            self._overlong = True
        self._rest = bytearray(b"" if self._overlong else rest)
        return tuple(line for line in lines if line)

    @property
    def unfinished(self) -> bytes:
        """The bytes of the line that has not ended yet."""
        return bytes(self._rest)

    def clear(self) -> bytes:
        """Forget the unfinished line and return its bytes."""
        rest = self.unfinished
        self._rest.clear()
        self._overlong = False
        return rest
