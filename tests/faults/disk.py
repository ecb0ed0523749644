"""A disk that fills up or takes half a line, and a process that dies while it writes."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from unittest.mock import patch

from firmware_host.clock import Clock
from firmware_host.controller.port.trace import MemoryTrace, TraceKind
from firmware_host.errors import JournalError

_JOURNAL_LINE = b'{"n":'


class FaultyDisk:
    """Stands before the operating system's write and fsync while `at_work`; nothing waits for a real disk.

    `before` is told of every line of a journal before it is written, `after` when it is there. `full` refuses
    everything; `half` takes half of the next line of a journal; `refusals` counts both. `alive` raises when the process
    is gone.
    """

    def __init__(self) -> None:
        self.full = False
        self.half = False
        self.refusals = 0
        self.before: Callable[[], None] = lambda: None
        self.after: Callable[[], None] = lambda: None
        self.alive: Callable[[], None] = lambda: None
        self._write = os.write

    @contextmanager
    def at_work(self) -> Iterator[None]:
        with patch.object(os, "write", self._taken), patch.object(os, "fsync", self._synced):
            yield

    def tear(self, line: bytes, descriptor: int, rubbish: bytes) -> None:
        """Leave what a dying machine leaves of a line: a part of it, and maybe rubbish behind."""
        self._write(descriptor, line + rubbish)

    def _taken(self, descriptor: int, data: bytes) -> int:
        if not data.startswith(_JOURNAL_LINE):
            return self._write(descriptor, data)
        self.alive()
        self.line, self.descriptor = data, descriptor
        self.before()
        self._room()
        if self.half:
            self.half = False
            self.refusals += 1
            return self._write(descriptor, data[: len(data) // 2])
        written = self._write(descriptor, data)
        self.after()
        return written

    def _synced(self, descriptor: int) -> None:
        self.alive()
        self._room()

    def _room(self) -> None:
        if self.full:
            self.refusals += 1
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


class TraceOnDisk(MemoryTrace):
    """A trace that can't be kept while the disk is full."""

    def __init__(self, clock: Clock, disk: FaultyDisk) -> None:
        super().__init__(clock)
        self._disk = disk

    def record(self, kind: TraceKind, data: bytes) -> None:
        if self._disk.full:
            self._disk.refusals += 1
            raise JournalError("trace", "the trace cannot be written: no space left")
        super().record(kind, data)
