"""A machine that is measured at the command line in virtual time, and a person who types at its questions."""

from __future__ import annotations

import io
import os
import re
import shlex
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import patch

from firmware_host.cli import main
from firmware_host.cli.set_up.practice import standing_by
from firmware_host.cli.turn.virtual_port import VirtualPort
from firmware_host.clock import VirtualClock
from firmware_host.model import load_machine
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.station import opening
from tests.cli.command import Ended, clocked

PORT = "/dev/ttyUSB0"
MORNING = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
STOP = "Ctrl-C"
"""In place of an answer."""
ANSWERS = Callable[[str], str]
"""What a person types at a text that ends in a question."""


@dataclass
class Wire:
    """The line to the board. `stops_at`: the move, counted from 1, in the middle of which Ctrl-C comes; 0: none."""

    stops_at: int = 0
    moves: int = field(default=0, init=False)

    def sent(self, data: bytes) -> None:
        """A line goes out; where it is the move, the person presses Ctrl-C once it is under way."""
        if re.match(rb"G53 G1 ", data):
            self.moves += 1
            if self.moves == self.stops_at:
                signal.raise_signal(signal.SIGINT)


@contextmanager
def true_board(
    machine: str, true: str = "worn-belt-chuck", readings: Path | None = None, wire: Wire | None = None
) -> Iterator[TrueAxis]:
    """What `controller simulate --machine MACHINE --true-machine TRUE` is, in virtual time at any port."""
    described, clock = load_machine(machine), VirtualClock(start=MORNING)
    axis = standing_by(described, true, readings, seed=1)
    assert axis is not None
    device = simulated_device(described, delivered=True, start_s=0.0, true_axis=axis)

    class Port(VirtualPort):
        def _depart(self, data: bytes) -> bytes:
            if wire is not None:
                wire.sent(data)
            return data

    def opened(url: str, **_: object) -> VirtualPort:
        return Port(device, clock, url)

    with clocked(lambda: clock), patch.object(opening, "open_port", opened):
        yield axis


class Answered(io.StringIO):
    """What is shown; at each question the person types the answer."""

    def __init__(self, answers: ANSWERS | None, keyboard: int) -> None:
        super().__init__()
        self._answers, self._keyboard, self._new = answers, keyboard, ""

    def write(self, text: str) -> int:
        self._new += text
        written = super().write(text)
        if self._answers is not None and re.search(r"\?(?:\s+\([^)]*\))?\n$", self._new):
            self._type(self._answers(self._new))
        return written

    def _type(self, answer: str) -> None:
        self._new = ""
        if answer == STOP:
            super().write("^C\n")
            signal.raise_signal(signal.SIGINT)
            return
        super().write(f"> {answer}\n")
        os.write(self._keyboard, f"{answer}\n".encode())


def typed(words: tuple[str, ...], answers: ANSWERS | None) -> Ended:
    """The command with what was shown and typed, in one; `answers` types at its questions, None: nobody is there."""
    reading, keyboard = os.pipe()
    told = Answered(answers, keyboard)
    if answers is None:
        os.close(keyboard)
    with os.fdopen(reading, encoding="utf-8") as stdin, redirect_stdout(told), redirect_stderr(told):
        with patch.object(sys, "stdin", stdin):
            status = main.run(list(words))
    if answers is not None:
        os.close(keyboard)
    return Ended(status, told.getvalue(), "")


def as_typed(words: tuple[str, ...]) -> str:
    """A command as it stands in the docs."""
    return shlex.join(["$", "circumstep", *words]).replace("'$'", "$").replace(" --answer", " \\\n    --answer")
