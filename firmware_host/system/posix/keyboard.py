"""Standard input of Linux, macOS and their like: the system says whether a read would wait."""

from __future__ import annotations

import errno
import os
import select


class Reader:
    """Reads a descriptor whenever it is asked, and only then: what nobody asks for stays for whoever reads next."""

    def __init__(self, descriptor: int, size: int) -> None:
        self._descriptor = descriptor
        self._size = size

    def take(self, wait_s: float = 0.0) -> bytes | None:
        """What came next, at most `size` bytes; None if nothing is there, no bytes at the end. Raises `OSError`."""
        del wait_s  # what was typed is here at once
        ready, _, _ = select.select([self._descriptor], [], [], 0)
        if not ready:
            return None
        try:
            return os.read(self._descriptor, self._size)
        except OSError as error:
            if error.errno != errno.EIO:  # how a terminal that was closed is told
                raise
            return b""
