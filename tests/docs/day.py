"""A day at a bench as a page tells it: each command in this process, one by one, on a board in virtual time."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import patch

from firmware_host.cli import main
from firmware_host.cli.turn import shared
from firmware_host.cli.turn.virtual_port import VirtualPort
from firmware_host.clock import VirtualClock
from firmware_host.folders import shipped_folder
from firmware_host.model import load_job, load_machine
from firmware_host.simulator.boards import simulated_device
from firmware_host.station import opening
from tests.cli.command import PATIENCE_S, clocked

MORNING = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
ENTER_AT = ("Enter when it is done", "then Enter", "Enter: good")
_QUESTION = re.compile(r"\?(?: \([^)]*\))?(?: y or n, then Enter\.)?\n$|[^\n]*: y or n, then Enter\.\n$")
AS_ANY_DAY = (
    (r"\d{8}-\d{6}", "YYYYMMDD-HHMMSS"),
    (r"\d{4}-\d\d-\d\d[T ][\d:.]+(\+00:00|Z)?", "DATE AND TIME"),
    (r"done at [A-Za-z\d: ]*?\d\d:\d\d", "done at TIME OF DAY"),
    (r"about \d+ (s|min) left", "about TIME left"),
)


class Keyboard(io.StringIO):
    """What is shown; where a key is waited for it is pressed, and at each question the next answer is typed."""

    def __init__(self, keys: int, answers: list[str], stops_at: str = "") -> None:
        super().__init__()
        self._keys, self._answers, self._new, self._stops_at = keys, answers, "", stops_at

    def write(self, text: str) -> int:
        self._new += text
        written = super().write(text)
        if any(words in self._new for words in ENTER_AT) and self._new.endswith("\n"):
            self._press("s" if self._stops_at and self._stops_at in self._new else "")
        elif self._answers and _QUESTION.search(self._new):
            answer = self._answers.pop(0)
            super().write(f"> {answer}\n")
            self._press(answer)
        return written

    def _press(self, line: str) -> None:
        self._new = ""
        os.write(self._keys, f"{line}\n".encode())


class Day:
    """What the commands of a page find: a home of its own, and one board at each port, as it was delivered."""

    def __init__(self, home: Path) -> None:
        self._home = home
        self._clock = VirtualClock(start=MORNING)
        self._devices: dict[str, VirtualPort] = {}
        self._machine = "belt-chuck"

    def _opened(self, url: str, **_: object) -> VirtualPort:
        if url not in self._devices:
            device = simulated_device(load_machine(self._machine), delivered=True, start_s=self._clock.monotonic())
            self._devices[url] = device
        return VirtualPort(self._devices[url], self._clock, url)

    @contextmanager
    def at_the_bench(self) -> Iterator[None]:
        """Inside, ports are those of the boards, and time is virtual."""
        with clocked(lambda: self._clock), patch.object(opening, "open_port", self._opened):
            with patch.object(shared, "_DRY_PASS_S", 0.05):
                yield

    def types(self, words: tuple[str, ...], answers: list[str], *, ends: int = 0, stops_at: str = "") -> list[str]:
        """Type a command and the answers to its questions; the lines that were shown, as on any day.

        `stops_at`: words at which the operator stops the run, in place of pressing Enter.
        """
        if words[0] == "sed":
            subprocess.run(words, check=True, timeout=PATIENCE_S)
            return []
        self._know(words)
        with self._at_the_keys(list(answers), stops_at) as told:
            status = main.run(list(words[1:]))
        assert status == ends, f"{' '.join(words)} ended with {status}: {told.getvalue()}"
        return self._as_any_day(told.getvalue())

    def runs(self, script: str) -> list[str]:
        """Run a Python script here; the lines that were shown."""
        with self._at_the_keys([], "") as told:
            exec(compile(script, "script.py", "exec"), {"__name__": "__main__"})
        return self._as_any_day(told.getvalue())

    @contextmanager
    def _at_the_keys(self, answers: list[str], stops_at: str) -> Iterator[Keyboard]:
        reading, keys = os.pipe()
        told = Keyboard(keys, answers, stops_at)
        with os.fdopen(reading, encoding="utf-8") as stdin, redirect_stdout(told), redirect_stderr(told):
            with patch.object(sys, "stdin", stdin):
                yield told
        os.close(keys)

    def _know(self, words: tuple[str, ...]) -> None:
        """Which machine a command is about, if it says so: its board is at the port that is opened next."""
        if "--machine" in words and words[1:3] == ("station", "new"):
            self._machine = words[words.index("--machine") + 1]
        elif words[1] == "commission" and words[2] == "measure" and "--port" in words:
            self._devices.clear()
            self._machine = load_job(words[4]).job.machine

    def _as_any_day(self, text: str) -> list[str]:
        text = text.replace(str(self._home), "HOME").replace(str(shipped_folder()), "SHIPPED")
        for pattern, word in AS_ANY_DAY:
            text = re.sub(pattern, word, text)
        return [line.rstrip() for line in text.rstrip("\n").splitlines()]
