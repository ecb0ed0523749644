"""What is heard at a port before anybody there is known: noise, or a dialect."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from firmware_host.clock import Clock
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.port.framing import LineFramer
from firmware_host.controller.port.port import Port
from firmware_host.controller.registry import dialect_names, load_dialect
from firmware_host.controller.reply import Greeting, StatusReport

ANSWER_S = 0.5
"""How long to wait for the answer to a status request (s)."""
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


def hear(port: Port, clock: Clock, duration_s: float, dialects: Iterable[Dialect], heard: list[bytes]) -> Heard | None:
    """The first greeting or report that one of `dialects` understands within `duration_s` (s).

    `heard` takes the beginnings of lines that came, and in the end what came without a line's end.
    """
    framer, known = LineFramer(), tuple(dialects)
    deadline_s = clock.monotonic() + duration_s
    while (left_s := deadline_s - clock.monotonic()) > 0:
        for line in framer.feed(port.read(left_s)):
            heard.append(line[:_SHOWN_BYTES])
            for dialect in known:
                reply = dialect.parse(line)
                if isinstance(reply, Greeting):
                    return Heard(dialect.name, reply.text)
                if isinstance(reply, StatusReport):
                    return Heard(dialect.name, f"did not greet; is {reply.state.value}")
                if dialect.is_own(reply):
                    return Heard(dialect.name, "did not greet; answers")
    if framer.unfinished:
        heard.append(framer.unfinished[:_SHOWN_BYTES])
    return None


def spoken_instead(port: Port, clock: Clock, dialect: Dialect, heard: list[bytes], say: Callable[[bytes], None]) -> str:
    """Which of the other dialects is spoken at a port where `dialect` is not; empty if none is.

    Only questions are sent, by `say`; each moves nothing, sets nothing, and is carried out by nobody else. `heard` has
    what came before, and takes what comes now.
    """
    others = tuple(load_dialect(name) for name in dialect_names() if name != dialect.name)
    for other in others:
        if any(isinstance(other.parse(line), Greeting) for line in heard):
            return other.name
    for other in () if is_noise(b"".join(heard)) else others:
        say(other.probe())
        if (found := hear(port, clock, ANSWER_S, (other,), heard)) is not None:
            return found.dialect
    return ""
