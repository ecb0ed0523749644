"""Sockets of this computer only: one that listens where nobody else can, and a pair to wake a waiting thread."""

from __future__ import annotations

import select
import socket
import sys
from collections.abc import Sequence

if sys.platform == "win32":
    from firmware_host.system.windows import sockets as _here
else:
    from firmware_host.system.posix import sockets as _here

Waitable = int | socket.socket
"""What can be waited for: a socket, and where systems can wait for more, a descriptor."""

HOST = "127.0.0.1"
"""The only address that is ever listened at: this computer."""


def listen(port: int, *, callers: int) -> socket.socket:
    """A socket that listens at `port` of this computer (0: a free one) and that nobody else can take over.

    It never waits; `callers` may stand at the door at once. Raises `OSError` where the port is taken.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        _here.claim(listener)
        listener.bind((HOST, port))
        listener.listen(callers)
        listener.setblocking(False)
    except BaseException:
        listener.close()
        raise
    return listener


def wake_pair() -> tuple[socket.socket, socket.socket]:
    """Two ends: what is sent into the second makes the first one readable. Neither ever waits."""
    ends = socket.socketpair()
    for end in ends:
        end.setblocking(False)
    return ends


def wait(
    reading: Sequence[Waitable], writing: Sequence[Waitable] = (), timeout_s: float | None = None
) -> tuple[list[Waitable], list[Waitable]]:
    """Those that can be read and those that can be written now; waits until there is one, or `timeout_s` (s) are over.

    At least one must be given. Raises `OSError`, and `ValueError` for one that was closed.
    """
    readable, writable, _ = select.select(reading, writing, [], timeout_s)
    return readable, writable
