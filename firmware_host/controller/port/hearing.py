"""What is heard at a port before anybody there is known: noise, or words that somebody understands."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from firmware_host.clock import Clock
from firmware_host.controller.port.framing import LineFramer
from firmware_host.controller.port.port import Port

_SHOWN_BYTES = 80
_MOST_NOISE = 0.2
"""Of what a board says at its own speed, no more than this is no text; bytes of another speed are hardly ever any."""
_TEXT = frozenset((*range(0x20, 0x7F), *b"\r\n\t"))


class Heard(NamedTuple):
    """The dialect that was understood, and what its speaker said of itself."""

    dialect: str
    said: str


def is_noise(data: bytes) -> bool:
    """Whether bytes that came are no text: the board sends at another speed, or the line is disturbed."""
    return bool(data) and sum(byte not in _TEXT for byte in data) > _MOST_NOISE * len(data)


def hear(
    port: Port, clock: Clock, duration_s: float, understand: Callable[[bytes], Heard | None], heard: list[bytes]
) -> Heard | None:
    """The first line that is understood within `duration_s` (s).

    `heard` takes the beginnings of lines that came, and in the end what came without a line's end.
    """
    framer = LineFramer()
    deadline_s = clock.monotonic() + duration_s
    while (left_s := deadline_s - clock.monotonic()) > 0:
        for line in framer.feed(port.read(left_s)):
            heard.append(line[:_SHOWN_BYTES])
            if (found := understand(line)) is not None:
                return found
    if framer.unfinished:
        heard.append(framer.unfinished[:_SHOWN_BYTES])
    return None
