"""Keys at terminals of Linux, macOS and their like: bytes, of which some begin a sequence that names a key."""

from __future__ import annotations

import codecs
import os
import re
import sys
import termios
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from firmware_host.clock import Clock, SystemClock
from firmware_host.system.posix.keyboard import Reader

if sys.platform == "win32":
    raise ImportError("not on Windows")

ESCAPE_S = 0.05
"""A key Escape that nothing follows for so long was pressed alone (s); common practice, no source."""
_MOST_BYTES = 1000
_NO_CHARACTER = b"\x00"  # what switches a special character of a terminal off (POSIX, "_POSIX_VDISABLE", on Linux)

# ECMA-48, 5.4: a control sequence is ESC [, parameters, intermediate bytes, one last byte; ESC O is of the cursor keys
# in application mode (VT100 user guide, "Cursor Control Keys").
_SEQUENCE = re.compile(rb"\x1b(?:\[[\x30-\x3f]*[\x20-\x2f]*|O)([\x40-\x7e])")
_BEGUN = re.compile(rb"\x1b(?:\[[\x30-\x3f]*[\x20-\x2f]*|O)?")
_ARROWS = {b"A": "up", b"B": "down", b"C": "right", b"D": "left"}
_NAMED = {"\r": "enter", "\n": "enter", "\x7f": "backspace", "\b": "backspace", " ": "space"}


class TerminalKeys:
    """What was pressed, out of the bytes that a terminal sends."""

    def __init__(self, take: Callable[[], bytes | None], clock: Clock) -> None:
        self._take = take
        self._clock = clock
        self._bytes = b""
        self._came_s = 0.0
        self._decoder = codecs.getincrementaldecoder("utf-8")("ignore")
        self._keys: deque[str] = deque()
        self._ended = False

    @property
    def ended(self) -> bool:
        """Whether no key will ever come again."""
        return self._ended and not self._keys

    def take(self) -> str | None:
        """The next key, None if none was pressed."""
        if not self._keys:
            self._read()
        return self._keys.popleft() if self._keys else None

    def forget(self) -> None:
        """Drop what was pressed so far; of a terminal that sends without an end, some."""
        self._read()
        self._keys.clear()
        self._bytes = b""

    def _read(self) -> None:
        piece = None if self._ended else self._take()
        if piece:
            self._came_s = self._clock.monotonic()
            self._bytes += piece
        self._ended = self._ended or piece == b""
        self._understand(late=self._ended or self._clock.monotonic() - self._came_s >= ESCAPE_S)

    def _understand(self, *, late: bool) -> None:
        """Make keys of the bytes; a sequence that is only begun waits for its rest, unless that is `late`."""
        while self._bytes:
            if whole := _SEQUENCE.match(self._bytes):
                self._bytes = self._bytes[whole.end() :]
                self._keys.extend(filter(None, [_ARROWS.get(whole[1])]))
            elif begun := _BEGUN.match(self._bytes):
                if begun.end() == len(self._bytes) and not late:
                    return
                self._bytes = self._bytes[begun.end() if begun.end() == len(self._bytes) else 1 :]
                self._keys.append("escape")
            else:
                plain, escape, rest = self._bytes.partition(b"\x1b")
                self._bytes = escape + rest
                self._keys.extend(filter(None, map(_key_of, self._decoder.decode(plain))))


def _key_of(sign: str) -> str | None:
    return _NAMED.get(sign) or (sign if sign.isprintable() else None)


@contextmanager
def pressed_at(descriptor: int, clock: Clock | None = None) -> Iterator[TerminalKeys | None]:
    """The keys of the terminal at `descriptor`; None if it is not ours to read, or is none.

    A program in the background would be stopped by the system if it touched the terminal.
    """
    before = _mode_of(descriptor) if _is_ours(descriptor) else None
    if before is None:
        yield None
        return
    termios.tcsetattr(descriptor, termios.TCSANOW, _by_key(before))
    reader = Reader(descriptor, _MOST_BYTES)
    try:
        yield TerminalKeys(reader.take, clock or SystemClock())
    finally:
        _put_back(descriptor, before)


def _is_ours(descriptor: int) -> bool:
    """Whether this program is in the foreground there, or nobody looks after that at this terminal."""
    try:
        return os.tcgetpgrp(descriptor) == os.getpgrp()
    except OSError:  # it is the terminal of no session, or of another one
        return True


def _mode_of(descriptor: int) -> list[Any] | None:
    try:
        return termios.tcgetattr(descriptor)
    except termios.error:
        return None


def _by_key(mode: list[Any]) -> list[Any]:
    """The same mode without lines and without showing what is pressed; Ctrl-C interrupts, Ctrl-Z does nothing."""
    read, written, controls, local, fast_in, fast_out, signs = mode
    local &= ~(termios.ECHO | termios.ICANON | termios.IEXTEN)
    signs = list(signs)
    signs[termios.VSUSP] = _NO_CHARACTER
    signs[termios.VMIN], signs[termios.VTIME] = 1, 0
    return [read | termios.ICRNL, written, controls, local, fast_in, fast_out, signs]


def _put_back(descriptor: int, mode: list[Any]) -> None:
    if not _is_ours(descriptor):  # whoever has it now has set it as they need it
        return
    try:
        termios.tcsetattr(descriptor, termios.TCSANOW, mode)
    except termios.error:  # it was closed
        return
