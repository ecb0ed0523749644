"""Sockets of Windows."""

from __future__ import annotations

import socket
import sys

if sys.platform != "win32":
    raise ImportError("only on Windows")


def claim(listener: socket.socket) -> None:
    """Take the address for this socket alone.

    There SO_REUSEADDR lets others take an address that is listened at (Microsoft, "Using SO_REUSEADDR and
    SO_EXCLUSIVEADDRUSE"), so it is the other option here.
    """
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
