"""A program of somebody else's, run to its end, with whatever it starts."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence

if sys.platform == "win32":
    from firmware_host.system.windows import processes as _here
else:
    from firmware_host.system.posix import processes as _here


class Program:
    """A program that was started. It hears no keyboard, and what it prints to standard output is dropped."""

    def __init__(self, arguments: Sequence[str], told: Mapping[str, str]) -> None:
        """Start `arguments`, never by a shell, with `told` in its environment. Raises `OSError` where that can't be."""
        self._family = _here.Family(arguments, os.environ | dict(told))
        self._over = False

    @property
    def pid(self) -> int:
        """Its number."""
        return self._family.process.pid

    def status(self) -> int | None:
        """What it ended with, None while it runs; below 0, the number of the signal that ended it, with a minus."""
        return self._family.process.poll()

    def end(self, patience_s: float) -> None:
        """End it and everything that it has started: asked first, and after `patience_s` (s) made to.

        Nothing of it runs afterwards; a second call does nothing.
        """
        if not self._over:
            self._over = True
            self._family.end(patience_s)


def join_command(words: Sequence[str]) -> str:
    """One line that `split_command` takes apart into these words."""
    return _here.join_command(words)


def split_command(line: str) -> tuple[str, ...]:
    """The words of a command line as this system's shells and programs take it apart.

    On Windows a backslash is a letter like any other. Raises `ValueError` for a quotation mark without its partner.
    """
    return _here.split_command(line)
