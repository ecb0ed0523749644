"""Terminals and shells of Linux, macOS and their like."""

from __future__ import annotations

import errno
from collections.abc import Sequence


def is_reader_gone(error: OSError) -> bool:
    """Whether the other end of a pipe was closed."""
    return isinstance(error, BrokenPipeError)


def is_hung_up(error: OSError) -> bool:
    """Whether the terminal was closed."""
    return error.errno == errno.EIO


def command_line(words: Sequence[str]) -> str:
    """A command as it is typed at a POSIX shell."""
    import shlex  # only where a command is told

    return shlex.join(words)
