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
from typing import NamedTuple
from unittest.mock import patch

from firmware_host.cli import main
from firmware_host.cli.set_up.practice import standing_by
from firmware_host.cli.turn.virtual_port import VirtualPort
from firmware_host.clock import VirtualClock
from firmware_host.model import load_machine
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.device import SimulatedDevice
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


class Board(NamedTuple):
    """What stands behind the port, and the time that goes by."""

    axis: TrueAxis
    clock: VirtualClock
    device: SimulatedDevice


@contextmanager
def true_board(
    machine: str, true: str = "worn-belt-chuck", readings: Path | None = None, wire: Wire | None = None
) -> Iterator[Board]:
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
        yield Board(axis, clock, device)


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


class Transcript:
    """Commands one after another with what was shown and typed, as a page of the docs, in parts with words between."""

    def __init__(self, home: Path, preface: str) -> None:
        self._home = home
        self._parts = [preface]
        self._block: list[str] = []

    def says(self, words: str) -> None:
        """Words between two blocks."""
        self._end_block()
        self._parts.append(words)

    def types(self, *words: str, person: ANSWERS | None = None, ends: int = 0) -> str:
        """Type a command that ends with the status `ends`; what was shown, with the answers of `person`."""
        ended = typed(words, person)
        assert ended.status == ends, ended.out
        self._block += [as_typed(words), shortened(ended.out)]
        return ended.out

    def page(self) -> str:
        """The whole of it, without what is this computer's alone."""
        self._end_block()
        return "\n\n".join(self._parts).replace(str(self._home), "HOME") + "\n"

    def too_wide(self) -> list[str]:
        """Lines of blocks that are wider than 80 columns, but commands, which are to be copied in one piece."""
        lines = [line for part in self._parts if part.startswith("```") for line in part.splitlines()]
        here = str(self._home)
        return [line for line in lines if len(line) > 80 and "circumstep " not in line and here not in line]

    def _end_block(self) -> None:
        if self._block:
            text = "\n".join(self._block).rstrip()
            self._parts.append(f"```console\n{text}\n```")
        self._block = []


_SHOWN_ALIKE = 2
LEFT_OUT = "[...]"


def shortened(shown: str) -> str:
    """What was shown, without the middle ones of questions that are alike but for their numbers."""
    pieces = re.split(r"(?<=\n)(?=> )", shown)
    pieces = [f"{answer}{rest}" for answer, rest in _question_pieces(pieces)]
    kinds = [re.sub(r"[-+\d.]+", "#", re.sub(r"(?m)^> .*$", "", piece)) for piece in pieces]
    kept, left_out = list[str](), False
    for place, (piece, kind) in enumerate(zip(pieces, kinds, strict=True)):
        taken_back = any("\n> back\n" in each for each in pieces[max(place - 1, 0) : place + 2])
        seen, to_come = kinds[:place].count(kind), kinds[place + 1 :].count(kind)
        if seen >= _SHOWN_ALIKE and to_come >= 1 and not taken_back:
            if not left_out:
                kept.append(f"{LEFT_OUT}\n")
            left_out = True
            continue
        kept.append(piece)
        left_out = False
    return "".join(kept)


def _question_pieces(pieces: list[str]) -> Iterator[tuple[str, str]]:
    """Each question with what was shown before it and the answer behind it."""
    before = pieces[0]
    for piece in pieces[1:]:
        answer, _, rest = piece.partition("\n")
        yield before, f"{answer}\n"
        before = rest
    yield before, ""
