"""Sockets of Linux, macOS and their like."""

from __future__ import annotations

import socket


def claim(listener: socket.socket) -> None:
    """Take the address for this socket alone, also just after another was closed there.

    Here SO_REUSEADDR lets nobody in beside one that listens.
    """
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
