"""The `circumstep` command as a process of its own that begins with the package loaded: it is forked, not started.

Loading the package takes most of the time of a command that does little. Each process of the tests keeps one beside it
that has loaded it, and forks that; the command then has streams, signals, an environment and an end of its own, as if
it had been started. What a start itself does (imports, interpreter options) is tested by processes that are started.
"""

from __future__ import annotations

import contextlib
import gc
import io
import json
import os
import runpy
import select
import signal
import socket
import struct
import subprocess
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import IO, NamedTuple

from tests.support import windows

POSSIBLE = hasattr(os, "fork") and not windows.wanted()
"""Not on Windows, nor where what is started is put there."""
_ROOT = Path(__file__).resolve().parents[2]
_STREAMS = 3
_LONGEST_REQUEST = 1 << 18
_NUMBER = struct.Struct("!q")


class Request(NamedTuple):
    """What the one beside is asked for: the arguments of a command, its environment and its folder."""

    arguments: list[str]
    environment: dict[str, str]
    folder: str


class Forked:
    """A command that runs beside the test; as much of `subprocess.Popen` as the tests use, in text.

    `first`: what is carried out before the package is loaded, the same in each use.
    """

    def __init__(self, arguments: Sequence[str], environment: Mapping[str, str], first: str = "") -> None:
        request = Request(list(arguments), dict(environment), str(Path.cwd()))
        self._ended, told = socket.socketpair()
        (stdin, writing), (reading, stdout), (hearing, stderr) = os.pipe(), os.pipe(), os.pipe()
        given = [stdin, stdout, stderr, told.detach()]
        try:
            socket.send_fds(_beside(environment, first).line, [json.dumps(request).encode()], given)
        finally:
            for descriptor in given:
                os.close(descriptor)
        self.returncode: int | None = None
        self.stdin: IO[str] = os.fdopen(writing, "w")
        self.stdout: IO[str] = os.fdopen(reading)
        self.stderr: IO[str] = os.fdopen(hearing)
        self.pid = self._number()

    def poll(self) -> int | None:
        """Its status if it has ended, as that of `Popen`."""
        return self._look(0.0)

    def wait(self, timeout: float) -> int:
        """Its status, waited for at most so long (s); `subprocess.TimeoutExpired` after that."""
        status = self._look(timeout)
        if status is None:
            raise subprocess.TimeoutExpired("circumstep", timeout)
        return status

    def send_signal(self, number: signal.Signals) -> None:
        """Send a signal to this process only, if it has not ended."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """Take it away without a word."""
        self.send_signal(signal.SIGKILL)

    def _look(self, timeout_s: float) -> int | None:
        if self.returncode is None and select.select([self._ended], [], [], timeout_s)[0]:
            self.returncode = self._number()
            self._ended.close()
        return self.returncode

    def _number(self) -> int:
        (number,) = _NUMBER.unpack(self._ended.recv(_NUMBER.size, socket.MSG_WAITALL))
        return int(number)


class _Beside(NamedTuple):
    process: subprocess.Popen[bytes]
    line: socket.socket


_THERE: list[_Beside] = []


def _beside(environment: Mapping[str, str], first: str) -> _Beside:
    """The process that has loaded the package, started when it is first asked for."""
    if not _THERE:
        here, there = socket.socketpair()
        with there:
            code = f"{first}\nfrom tests.support.forked import main; main({there.fileno()})"
            process = subprocess.Popen(
                [sys.executable, "-c", code],
                cwd=_ROOT,
                pass_fds=[there.fileno()],
                stdin=subprocess.DEVNULL,
                env=dict(environment),
            )
        _THERE.append(_Beside(process, here))
    return _THERE[0]


def end() -> None:
    """End the process that has loaded the package, if there is one."""
    while _THERE:
        process, line = _THERE.pop()
        line.close()
        process.wait()


# --- in the process beside ------------------------------------------------------------------------------------------


def fork_as_asked(line: socket.socket) -> Request | None:
    """Fork whenever it is asked for: returns in each command what it is to do, and None here once nobody asks any more.

    Each command has a parent of its own that waits for its end and tells it.
    """
    while True:
        data, given, _, _ = socket.recv_fds(line, _LONGEST_REQUEST, _STREAMS + 1)
        if not data:
            return None
        first = os.fork()
        if not first:
            line.close()
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            pid = os.fork()
            if not pid:
                return _made_of(Request(*json.loads(data)), given)
            _tell_the_end(pid, given)
        for descriptor in given:
            os.close(descriptor)


def _made_of(request: Request, given: Sequence[int]) -> Request:
    """Make this process the command: its streams, folder and environment."""
    for place, descriptor in enumerate(given[:_STREAMS]):
        os.dup2(descriptor, place)
    for descriptor in given:
        os.close(descriptor)
    sys.stdin = open(0, closefd=False)
    sys.stdout = io.TextIOWrapper(open(1, "wb", 0, closefd=False), write_through=True)
    sys.stderr = io.TextIOWrapper(open(2, "wb", 0, closefd=False), errors="backslashreplace", write_through=True)
    os.environ.clear()
    os.environ.update(request.environment)
    os.chdir(request.folder)
    sys.argv = ["circumstep", *request.arguments]
    return request


def _tell_the_end(pid: int, given: Sequence[int]) -> None:
    """Tell which process it is and, once it has ended, its status; does not return."""
    for descriptor in given[:_STREAMS]:
        os.close(descriptor)
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    told = given[_STREAMS]
    with contextlib.suppress(OSError):  # nobody may want to know any more
        os.write(told, _NUMBER.pack(pid))
        _, status = os.waitpid(pid, 0)
        os.write(told, _NUMBER.pack(os.waitstatus_to_exitcode(status)))
    os._exit(0)


def main(descriptor: int) -> None:
    """Load the package and fork it as asked on this socket; in each command, be the command."""
    for entry in import_module("firmware_host.cli.commands").COMMANDS:
        import_module(f"firmware_host.cli.{entry.file}")
    gc.freeze()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for the parents of the commands
    if fork_as_asked(socket.socket(fileno=descriptor)) is not None:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        signal.signal(signal.SIGHUP, signal.SIG_DFL)
        runpy.run_module("firmware_host", run_name="__main__", alter_sys=True)
