"""Programs of Linux, macOS and their like: a group of its own, which signals reach as a whole."""

from __future__ import annotations

import os
import shlex
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress

if sys.platform == "win32":
    raise ImportError("not on Windows")


class Family:
    """A program and all that it has started and that is still in its group."""

    def __init__(self, arguments: Sequence[str], environment: Mapping[str, str], *, quiet: bool) -> None:
        """Start it; `quiet`: what it prints to standard error is dropped. Raises `OSError`."""
        self.process = subprocess.Popen(
            list(arguments),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL if quiet else None,
            env=dict(environment),
            start_new_session=True,
        )

    def end(self, patience_s: float) -> None:
        """Ask the group to end; after `patience_s` (s) make it."""
        self._signal(signal.SIGTERM)
        try:
            self.process.wait(patience_s)
        except subprocess.TimeoutExpired:
            self._signal(signal.SIGKILL)
            self.process.wait()
        self._signal(signal.SIGKILL)

    def _signal(self, number: signal.Signals) -> None:
        """A group that has ended needs none; macOS says EPERM for one whose end nobody has asked for yet."""
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(self.process.pid, number)


def join_command(words: Sequence[str]) -> str:
    """As a shell takes it apart again."""
    return shlex.join(words)


def split_command(line: str) -> tuple[str, ...]:
    """As a shell takes it apart. Raises `ValueError`."""
    return tuple(shlex.split(line))
