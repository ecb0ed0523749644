"""Standard input of Windows: nothing says whether a read would wait, so a thread waits."""

from __future__ import annotations

import os

from firmware_host.system.reading import ThreadReader


class Reader(ThreadReader):
    """Reads a descriptor of a pipe, a file or a console."""

    def __init__(self, descriptor: int, size: int) -> None:
        super().__init__(lambda: os.read(descriptor, size))
