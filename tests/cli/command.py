"""The `circumstep` command as a process of its own, every wait with an end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Self

#: How much quicker than real the command's clock goes: what it waits for in vain (a greeting) and what it has to wait
#: for (moves, settling) takes less; its deadlines stay long beside the milliseconds of an answer.
CLOCK_FACTOR = 3.0
QUICKENED = f"from firmware_host import clock; clock.SystemClock = lambda: clock.ScaledClock({CLOCK_FACTOR})\n"
_START = (
    f"{QUICKENED}"
    "import runpy, signal; "
    "signal.signal(signal.SIGINT, signal.default_int_handler); "
    "signal.signal(signal.SIGHUP, signal.SIG_DFL); "
    "runpy.run_module('firmware_host', run_name='__main__', alter_sys=True)"
)
COMMAND = (sys.executable, "-c", _START)
"""`circumstep` as from a terminal: whoever runs the tests may have signals ignored, as in the background of a shell."""
PATIENCE_S = 60.0
MARK_NOW = "STANDSTILL: mark segment"
"""What the operator's gate tells the person at the machine."""
ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Ended:
    """How a command ended and what it printed."""

    status: int
    out: str
    err: str


def environment() -> dict[str, str]:
    """This process's environment, with the source tree first on the path."""
    return os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}


def call(*arguments: str, told: str = "") -> Ended:
    """Run the command to its end; `told` is what is typed to it."""
    done = subprocess.run(
        [*COMMAND, *arguments], input=told, capture_output=True, text=True, timeout=PATIENCE_S, env=environment()
    )
    return Ended(done.returncode, done.stdout, done.stderr)


def call_marking(*arguments: str) -> Ended:
    """Run the command to its end; at each pass somebody presses Enter."""
    with Program(*arguments, enters_at=MARK_NOW) as program:
        return program.end()


class Program:
    """A command that runs beside the test; on leaving the block it is ended if it hasn't ended by itself."""

    def __init__(self, *arguments: str, enters_at: str = "", command: tuple[str, ...] = COMMAND) -> None:
        self._process = subprocess.Popen(
            [*command, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(),
        )
        self._news = threading.Condition()
        self.enters_at = enters_at
        """Where these words are told, somebody presses Enter."""
        self._texts = {"out": "", "err": ""}
        self._readers = [
            threading.Thread(target=self._read, args=(name, stream), daemon=True)
            for name, stream in (("out", self._process.stdout), ("err", self._process.stderr))
        ]
        for reader in self._readers:
            reader.start()

    def _read(self, name: str, stream: IO[str] | None) -> None:
        assert stream is not None
        for line in stream:
            with self._news:
                self._texts[name] += line
                self._news.notify_all()
            if self.enters_at and self.enters_at in line:
                self.say("\n")

    def wait_for(self, name: str, words: str) -> str:
        """Wait until `words` stand in what it printed on "out" or "err"; returns all of it."""
        with self._news:
            came = self._news.wait_for(lambda: words in self._texts[name], PATIENCE_S)
            assert came, f"{words!r} never came; printed: {self._texts}"
            return self._texts[name]

    def say(self, text: str) -> None:
        """What a person would type."""
        assert self._process.stdin is not None
        self._process.stdin.write(text)
        self._process.stdin.flush()

    def interrupt(self) -> None:
        """What Ctrl-C does, to this process only."""
        self.send(signal.SIGINT)

    def send(self, number: signal.Signals) -> None:
        """Send a signal to this process only."""
        self._process.send_signal(number)

    def kill(self) -> None:
        """Take it away without a word."""
        self._process.kill()

    def end(self) -> Ended:
        """Wait for its end."""
        status = self._process.wait(PATIENCE_S)
        for reader in self._readers:
            reader.join(PATIENCE_S)
        return Ended(status, self._texts["out"], self._texts["err"])

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self.end()
        for stream in (self._process.stdin, self._process.stdout, self._process.stderr):
            assert stream is not None
            stream.close()
