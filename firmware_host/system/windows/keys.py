"""Keys at the console of Windows: the C runtime gives each as one code or, where it prints nothing, as two.

The first of two is 0 or 224 (Microsoft, "_getch, _getwch"). `getch` it is and not `getwch`: whether the second one is
there is asked by `kbhit`, which knows what `getch` keeps, and not what `getwch` keeps (Universal C Runtime, getch.cpp
and getwch.cpp). So a letter whose code is 224 is not taken for half a key, and nobody waits for the other half.
"""

from __future__ import annotations

import msvcrt
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager

if sys.platform != "win32":
    raise ImportError("only on Windows")

_FIRST_OF_TWO = (b"\x00", b"\xe0")
_ARROWS = {b"H": "up", b"P": "down", b"K": "left", b"M": "right"}
_NAMED = {b"\r": "enter", b"\n": "enter", b"\b": "backspace", b"\x1b": "escape", b" ": "space"}
_CTRL_C = b"\x03"
_MOST_KEYS = 1000


class ConsoleKeys:
    """What was pressed at the console that this program has, wherever its standard input comes from."""

    ended = False
    """A console is never at its end: a program whose window is closed is told so by Ctrl-Break."""

    def take(self) -> str | None:
        """The next key, None if none was pressed."""
        for _ in range(_MOST_KEYS):
            if not msvcrt.kbhit():
                break
            if key := self._key():
                return key
        return None

    def forget(self) -> None:
        """Drop what was pressed so far; of keys without an end, some."""
        for _ in range(_MOST_KEYS):
            if not msvcrt.kbhit():
                break
            self._key()

    def _key(self) -> str | None:
        code = msvcrt.getch()
        if code in _FIRST_OF_TWO:
            return _ARROWS.get(msvcrt.getch()) if msvcrt.kbhit() else None
        if code == _CTRL_C:  # pressed just while a key was read, when the console makes no signal of it
            signal.raise_signal(signal.SIGINT)
        return _NAMED.get(code) or (code.decode("ascii") if b" " < code < b"\x7f" else None)


@contextmanager
def pressed_at(descriptor: int) -> Iterator[ConsoleKeys]:
    """The keys of the console; each is taken without being shown, and nothing has to be put back."""
    del descriptor
    yield ConsoleKeys()
