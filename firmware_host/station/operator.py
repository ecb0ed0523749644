"""The person at the machine: what they are shown and what they answer, without ever blocking the run."""

from __future__ import annotations

import errno
import os
import select
import sys
from abc import ABC, abstractmethod
from typing import TextIO

from firmware_host.errors import GateError

_LONGEST_ANSWER = 1000
_MOST_READS = 100
_NOBODY = (
    "nobody can answer: standard input is closed. Run it in a terminal, or say beforehand how to treat interrupted "
    "passes"
)


class Operator(ABC):
    """Tells a person something and takes their answers, line by line."""

    @abstractmethod
    def tell(self, text: str) -> None:
        """Show a line."""

    @abstractmethod
    def answer(self) -> str | None:
        """A line typed since the last call, without its end; None if there is none. Never waits.

        Raises `GateError` when nobody can answer any more (standard input is closed).
        """

    @abstractmethod
    def forget(self) -> None:
        """Drop what has been typed so far: it was said before it was asked for. Never waits."""


class TerminalOperator(Operator):
    """A person at standard input and standard error (as it is then); works with a pipe as well as with a terminal.

    When the terminal is closed, nobody is there any more. `tell` raises nothing then: a signal says so.
    """

    def __init__(self, source: TextIO | None = None, target: TextIO | None = None) -> None:
        self._descriptor = _descriptor_of(source or sys.stdin)
        self._target = target
        self._typed = b""
        self._ended = self._descriptor is None

    def tell(self, text: str) -> None:
        target = self._target or sys.stderr
        try:
            target.write(text + "\n")
            target.flush()
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            self._ended = True

    def answer(self) -> str | None:
        if b"\n" not in self._typed:
            self._take_in()
        line, newline, rest = self._typed.partition(b"\n")
        if not newline:
            if self._ended:
                raise GateError("operator", _NOBODY)
            return None
        self._typed = rest
        return line.decode("utf-8", "replace").strip()

    def forget(self) -> None:
        for _ in range(_MOST_READS):  # a pipe may never run dry
            if not self._take_in():
                break
        self._typed = b""

    def _take_in(self) -> bool:
        """Read what is there; False if there was nothing."""
        if self._descriptor is None:
            return False
        ready, _, _ = select.select([self._descriptor], [], [], 0)
        if ready:
            data = self._read(self._descriptor)
            self._ended = not data
            self._typed = (self._typed + data)[-_LONGEST_ANSWER:]
        return bool(ready) and not self._ended

    def _read(self, descriptor: int) -> bytes:
        """What was typed; nothing if the input, or the terminal, was closed."""
        try:
            return os.read(descriptor, _LONGEST_ANSWER)
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            return b""


def _descriptor_of(source: TextIO | None) -> int | None:
    """Where to read from; None if there is nothing to read: a program without a console, or a stand-in for one."""
    try:
        return source.fileno() if source is not None else None
    except OSError:
        return None
