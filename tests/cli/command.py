"""The `circumstep` command, in this process or as one of its own, every wait with an end."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from types import TracebackType
from typing import IO, Self
from unittest.mock import patch

from firmware_host.cli import main
from firmware_host.cli.commands import COMMANDS
from firmware_host.clock import Clock, ScaledClock, SystemClock
from tests.support import forked

#: How much quicker than real the command's clock goes: what it waits for in vain (a greeting) and what it has to wait
#: for (moves, settling) takes less; its deadlines stay long beside the milliseconds of an answer.
CLOCK_FACTOR = 3.0
QUICKENED = (
    "import firmware_host.clock as _clock; "
    f"_clock.SystemClock = lambda _clock=_clock: _clock.ScaledClock({CLOCK_FACTOR})\n"
)
_START = (
    f"{QUICKENED}"
    "import runpy, signal; "
    "signal.signal(signal.SIGINT, signal.default_int_handler); "
    "hasattr(signal, 'SIGHUP') and signal.signal(signal.SIGHUP, signal.SIG_DFL); "
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
    path = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")]))
    return os.environ | {"PYTHONPATH": path, "PYTHONUNBUFFERED": "1"}


def call(*arguments: str, told: str = "") -> Ended:
    """Run the command line to its end in this process, as a process would at the quickened clock.

    `told` is what is typed to it. For what only a process shows (signals, streams, its end), see `Program`.
    """
    out, err = io.StringIO(), io.StringIO()
    with quickened(), typed(told), redirect_stdout(out), redirect_stderr(err):
        status = main.run(list(arguments))
    return Ended(status, out.getvalue(), err.getvalue())


@contextmanager
def quickened() -> Iterator[None]:
    """Inside, every module that has taken the system's clock from its home takes the quickened one."""
    with clocked(lambda: ScaledClock(CLOCK_FACTOR)):
        yield


@contextmanager
def clocked(clock: Callable[[], Clock]) -> Iterator[None]:
    """Inside, every module that has taken the system's clock from its home takes `clock`'s."""
    for entry in COMMANDS:
        import_module(f"firmware_host.cli.{entry.file}")
    with ExitStack() as stack:
        for name, module in tuple(sys.modules.items()):
            if name.startswith("firmware_host.") and getattr(module, "SystemClock", None) is SystemClock:
                stack.enter_context(patch.object(module, "SystemClock", clock))
        yield


@contextmanager
def typed(text: str) -> Iterator[None]:
    """Inside, `text` and then its end are what comes from standard input."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "w", encoding="utf-8") as stream:
        stream.write(text)
    with os.fdopen(reading, encoding="utf-8") as stream, patch.object(sys, "stdin", stream):
        yield


def call_marking(*arguments: str) -> Ended:
    """Run the command to its end; at each pass somebody presses Enter."""
    with Program(*arguments, enters_at=MARK_NOW) as program:
        return program.end()


class Program:
    """A command that runs beside the test; on leaving the block it is ended if it hasn't ended by itself."""

    def __init__(
        self, *arguments: str, enters_at: str | tuple[str, ...] = (), command: tuple[str, ...] = COMMAND
    ) -> None:
        self._process = (
            forked.Forked(arguments, environment(), QUICKENED)
            if command is COMMAND and forked.POSSIBLE
            else subprocess.Popen(
                [*command, *arguments],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
                env=environment(),
            )
        )
        self._news = threading.Condition()
        self.enters_at = (enters_at,) if isinstance(enters_at, str) else enters_at
        """Where any of these words is told, somebody presses Enter."""
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
            if any(words in line for words in self.enters_at):
                self.say("\n")

    def wait_for(self, name: str, words: str) -> str:
        """Wait until `words` stand in what it printed on "out" or "err"; returns all of it."""
        with self._news:
            came = self._news.wait_for(lambda: words in self._texts[name], PATIENCE_S)
            assert came, f"{words!r} never came; printed: {self._texts}"
            return self._texts[name]

    def comes(self, name: str, words: str, within_s: float) -> bool:
        """Whether `words` stand in what it printed within this time (s); none: whether it ends."""
        with self._news:
            came = self._news.wait_for(lambda: bool(words) and words in self._texts[name], within_s)
        return came or self._process.poll() is not None

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
