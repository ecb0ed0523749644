"""Single keys of a person at a terminal, as they are pressed, without ever waiting for one."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol, TextIO

from firmware_host.system.keyboard import is_terminal

if sys.platform == "win32":
    from firmware_host.system.windows.keys import pressed_at
else:
    from firmware_host.system.posix.keys import pressed_at


class Keys(Protocol):
    """The keys that are pressed at a terminal, one after the other."""

    @property
    def ended(self) -> bool:
        """Whether no key will ever come again: the terminal was closed."""
        ...

    def take(self) -> str | None:
        """The next key, None if none was pressed. Never waits. Raises `OSError`.

        A printable character is itself; the others are "up", "down", "left", "right", "enter", "escape", "backspace"
        and "space". What has no name here (function keys and the like) is passed over.
        """
        ...

    def forget(self) -> None:
        """Drop what was pressed so far. Raises `OSError`."""
        ...


@contextmanager
def single_keys(stream: TextIO | None) -> Iterator[Keys | None]:
    """While inside, keys come one by one and are not shown; None where nobody can press one at this stream.

    That is: where it is no terminal, or the terminal is another program's (this one was sent to the background).
    The terminal is left as it was, whatever ends the inside. Ctrl-C still interrupts; nothing puts the program to sleep
    by a key, which would leave an axis without anybody who watches it.

    As long as this lasts, nobody may read lines of the same stream: each would take what the other waits for.
    """
    if stream is None or not is_terminal(stream):
        yield None
        return
    with pressed_at(stream.fileno()) as keys:
        yield keys
