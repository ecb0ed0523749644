"""Recordings of real boards, read into exchanges, played to a simulated board, and compared by their shape.

`read_recording("numbered_line_a")` gives the exchanges in order: what was sent without an answer between, then what was
received up to the next thing sent. `play` sends the same to a device at the same times (virtual) and collects what it
says for each. `shape` masks numbers, `differences` compares two lists of lines by it. What else the recordings of
numbered lines hold (line numbers, the rig's pulse counts) is read in tests/simulator/numbered_line/recording.py.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from firmware_host.simulator.device import SimulatedDevice

RECORDINGS = Path(__file__).parent / "recordings"
_LINE = re.compile(r" *(?P<ms>[\d.]+) (?P<way>[<>]) ?(?P<text>.*)")
_ESCAPED = re.compile(r"\\x([0-9a-f]{2})")
_NUMBER = re.compile(r"-?\d+(\.\d+)?")


@dataclass(frozen=True)
class Sent:
    """What was sent: `text` as recorded, `after_s` since the line before it, `row` in the file, counted from 1."""

    text: str
    after_s: float
    row: int

    def data(self, alone: frozenset[str] = frozenset()) -> bytes:
        """The bytes: an escaped byte and the texts in `alone` as they are, all else with a line feed."""
        if _ESCAPED.fullmatch(self.text) or self.text in alone:
            return bytes([int(self.text[2:], 16)]) if len(self.text) > 1 else self.text.encode()
        return self.text.encode() + b"\n"


@dataclass(frozen=True)
class Received:
    """A line received, `after_s` since the line before it."""

    text: str
    after_s: float
    row: int


@dataclass(frozen=True)
class Exchange:
    """What was sent without an answer between, and what came then. `group`: the recorder's comment above it."""

    group: str
    sent: tuple[Sent, ...] = ()
    received: tuple[Received, ...] = ()


@dataclass
class _Open:
    sent: list[Sent] = field(default_factory=list)
    received: list[Received] = field(default_factory=list)
    group: str = ""

    def closed(self) -> Exchange:
        return Exchange(self.group, tuple(self.sent), tuple(self.received))


def read_recording(name: str) -> tuple[Exchange, ...]:
    """The exchanges of a recording by its file's name without `.txt`; the first one holds what came unasked."""
    return tuple(_exchanges((RECORDINGS / f"{name}.txt").read_text(encoding="utf-8").splitlines()))


def _exchanges(rows: Sequence[str]) -> Iterator[Exchange]:
    group, now = "", _Open()
    for row, line in enumerate(rows, 1):
        if line.startswith("#"):
            group = line[1:].strip()
            continue
        match = _LINE.fullmatch(line)
        if match is None:
            raise ValueError(f"row {row} is no line of a recording: {line!r}")
        after_s, text = float(match["ms"]) / 1000, match["text"]
        if match["way"] == "<":
            now.received.append(Received(text, after_s, row))
            continue
        if now.received:
            yield now.closed()
            now = _Open()
        if not now.sent:
            now.group = group
        now.sent.append(Sent(text, after_s, row))
    yield now.closed()


@dataclass(frozen=True)
class Said:
    """An exchange as a device had it: the recorded one, and what it said until the next thing was sent."""

    exchange: Exchange
    lines: tuple[str, ...]


def play(
    device: SimulatedDevice,
    exchanges: Sequence[Exchange],
    *,
    alone: frozenset[str] = frozenset(),
    start_s: float = 0.0,
    skip: frozenset[int] = frozenset(),
    late_s: Callable[[Exchange], float] = lambda exchange: 0.0,
    before: Callable[[Sent, float], None] = lambda sent, now_s: None,
) -> list[Said]:
    """Send what was sent, so long after each other as it was recorded, and collect what the device says in between.

    An answer that comes after the next thing is sent belongs to the next exchange, as in the recording. `skip`: rows of
    the recording that are not sent (times stay). `late_s`: how much later the real board took what was sent. `before`
    is told of each thing and its instant before it is sent. After the last exchange the device has 10 s more.
    """
    now_s, said = start_s, []
    for index, exchange in enumerate(exchanges):
        lines = b""
        for sent in exchange.sent:
            now_s += sent.after_s
            if sent.row in skip:
                continue
            taken_s = now_s + late_s(exchange)
            lines += device.transmit(taken_s)
            before(sent, taken_s)
            device.receive(sent.data(alone), taken_s)
        now_s += sum(received.after_s for received in exchange.received)
        ends_s = now_s + (exchanges[index + 1].sent[0].after_s if index + 1 < len(exchanges) else 10.0)
        lines += device.transmit(ends_s)
        said.append(Said(exchange, tuple(lines.decode("ascii").splitlines())))
    return said


def shape(line: str) -> str:
    """The line with every number masked but for its decimals: `-12.345` becomes `0.000`, `7` becomes `0`."""
    return _NUMBER.sub(lambda match: "0" + re.sub(r"\d", "0", match[1] or ""), line)


def differences(recorded: Sequence[str], simulated: Sequence[str]) -> list[str]:
    """Rows of a comparison of the two lists, as read by a person; empty if they are equal."""
    if list(recorded) == list(simulated):
        return []
    rows = difflib.unified_diff(list(recorded), list(simulated), "recorded", "simulated", lineterm="", n=1)
    return list(rows)
