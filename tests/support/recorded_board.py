"""A port that answers numbered lines as a recording of a real board has them answered; it moves nothing."""

from __future__ import annotations

import re
from collections import deque
from functools import reduce
from operator import xor
from pathlib import Path

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.port import Port

RECORDINGS = Path(__file__).parent / "recordings"
_LINE = re.compile(rb" *([\d.]+) ([<>]) ?(.*)")
_NUMBERED = re.compile(rb"N(\d+) ([^*]*)\*(\d+)")


def _answers(name: str) -> dict[bytes, list[tuple[int, tuple[bytes, ...]]]]:
    """By what was asked: under which number, and the lines that came back, each time it was asked standing still."""
    said: dict[bytes, list[tuple[int, tuple[bytes, ...]]]] = {}
    words, number, lines = b"", 0, list[bytes]()
    for raw in (RECORDINGS / f"{name}.txt").read_bytes().splitlines():
        match = _LINE.fullmatch(raw)
        if match is None:
            continue
        if match[2] == b"<":
            lines.append(match[3])
            continue
        if words:
            said.setdefault(words, []).append((number, tuple(lines)))
        sent = _NUMBERED.fullmatch(match[3])
        words, number, lines = (sent[2], int(sent[1]), []) if sent else (b"", 0, [])
    return said


class RecordedBoard(Port):
    """Checks number and checksum; answers with the words of the first time the same was asked, the number put right.

    `reset_before` False: it has counted lines before it was opened. `written`: what was sent. What was never asked in
    the recording is answered as the board answers an unknown word there.
    """

    def __init__(self, clock: VirtualClock, name: str, *, counted: int = 0) -> None:
        self.url = f"recorded://{name}"
        self.clock = clock
        self.written: list[bytes] = []
        self._said = _answers(name)
        self._counted = counted
        self._coming: deque[tuple[float, bytes]] = deque()
        self._buffer = b""

    def say(self, *lines: bytes, after_s: float = 0.003) -> None:
        """Let `lines` come."""
        at_s = self.clock.monotonic() + after_s
        self._coming.extend((at_s, line + b"\n") for line in lines)

    def write(self, data: bytes) -> None:
        self.written.append(data)
        *lines, self._buffer = (self._buffer + data).split(b"\n")
        for line in lines:
            self.hear(line)

    def hear(self, line: bytes) -> None:
        """Answer one whole line."""
        match = _NUMBERED.fullmatch(line)
        number = int(match[1]) if match else -1
        if match and match[2].startswith(b"M110"):
            self._counted = number
            self.say(*self.renumbered(b"M110 N0", 0))
        elif match is None or reduce(xor, line.rpartition(b"*")[0]) != int(match[3]) or number != self._counted + 1:
            wanted = b"%d" % (self._counted + 1)
            self.say(b"Error:expected line " + wanted, b"Resend: " + wanted, b"ok")
        else:
            self._counted = number
            self.answer(number, match[2])

    def answer(self, number: int, words: bytes) -> None:
        """Answer a line that came in order."""
        known = words if words in self._said else b"M9999"
        self.say(*(line.replace(b"M9999", words) for line in self.renumbered(known, number)))

    def renumbered(self, words: bytes, number: int) -> tuple[bytes, ...]:
        """What came back for `words`, with the number that the line has now."""
        recorded, lines = self._said[words][0]
        pattern = re.compile(rb"^(ok |Got:N|Unknown command:N)%d\b" % recorded)
        return tuple(pattern.sub(rb"\g<1>%d" % number, line) for line in lines if line != b"wait")

    def read(self, timeout_s: float) -> bytes:
        deadline_s = self.clock.monotonic() + timeout_s
        if not self._coming or self._coming[0][0] > deadline_s:
            self.clock.advance_to(deadline_s)
            return b""
        at_s, data = self._coming.popleft()
        self.clock.advance_to(at_s)
        return data

    def close(self) -> None:
        pass
