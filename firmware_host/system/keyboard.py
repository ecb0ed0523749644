"""What a person types, line by line, without ever waiting for it."""

from __future__ import annotations

import sys
import weakref
from collections.abc import Callable
from typing import Protocol, TextIO

from firmware_host.system.reading import ThreadReader

if sys.platform == "win32":
    from firmware_host.system.windows.keyboard import Reader
else:
    from firmware_host.system.posix.keyboard import Reader

LONGEST_LINE = 1000
"""Of a longer line only the last bytes are kept."""
_MOST_READS = 100
_CATCH_UP_S = 0.002
"""How long what was typed just now may take to be here (s), where a thread reads."""


class _Reads(Protocol):
    def take(self, wait_s: float = 0.0) -> bytes | None: ...


class Keyboard:
    """Whoever sits at a stream: a terminal, a console, or what a pipe brings.

    Have one for each stream (`keyboard_at`), or a line that one has read is lost for the other.
    """

    def __init__(self, source: TextIO | None) -> None:
        self._reader = _reader_of(source)
        self._typed = b""
        self._ended = self._reader is None

    @property
    def ended(self) -> bool:
        """Whether no line will ever come again; known once the last one was taken."""
        return self._ended and b"\n" not in self._typed

    def line(self) -> str | None:
        """The next line without its end, None if there is none yet. Never waits. Raises `OSError`."""
        if b"\n" not in self._typed:
            self._take()
        line, newline, rest = self._typed.partition(b"\n")
        if not newline:
            return None
        self._typed = rest
        return line.decode("utf-8", "replace").strip()

    def forget(self) -> None:
        """Drop all that was typed so far; of a pipe that never runs dry, some. Raises `OSError`."""
        for _ in range(_MOST_READS):
            if not self._take(_CATCH_UP_S):
                break
        self._typed = b""

    def _take(self, wait_s: float = 0.0) -> bool:
        """Take in what has come; False if nothing has."""
        piece = self._reader.take(wait_s) if self._reader is not None and not self._ended else None
        if piece is not None:
            self._ended = not piece
            self._typed = (self._typed + piece)[-LONGEST_LINE:]
        return bool(piece)


_KEYBOARDS: weakref.WeakKeyDictionary[TextIO, Keyboard] = weakref.WeakKeyDictionary()


def keyboard_at(source: TextIO | None) -> Keyboard:
    """The one keyboard of this stream; nobody ever types at None, which is what a program without a console has."""
    if source is None:
        return Keyboard(None)
    if source not in _KEYBOARDS:
        _KEYBOARDS[source] = Keyboard(source)
    return _KEYBOARDS[source]


def is_terminal(stream: TextIO | None) -> bool:
    """Whether a person may sit at this stream; not where it is missing or closed."""
    return stream is not None and not stream.closed and stream.isatty()


def _reader_of(source: TextIO | None) -> _Reads | None:
    if source is None or source.closed:
        return None
    try:
        return Reader(source.fileno(), LONGEST_LINE)
    except OSError:  # a stand-in that is no file
        return ThreadReader(_lines_of(source))


def _lines_of(source: TextIO) -> Callable[[], bytes]:
    return lambda: source.readline(LONGEST_LINE).encode("utf-8", "replace")
