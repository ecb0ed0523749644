"""The record of every line sent and received, and of bytes that fitted nothing."""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from types import TracebackType
from typing import Self

from firmware_host.clock import Clock
from firmware_host.errors import JournalError
from firmware_host.system.files import RecordFile


class TraceKind(Enum):
    """Which way the bytes went, or that they fitted no reply."""

    SENT = "sent"
    RECEIVED = "received"
    UNMATCHED = "unmatched"


@dataclass(frozen=True)
class TraceEntry:
    """One record: `at_s` is monotonic time (s)."""

    at_s: float
    kind: TraceKind
    data: bytes


class Trace(ABC):
    """Where the record goes."""

    @abstractmethod
    def record(self, kind: TraceKind, data: bytes) -> None:
        """Keep `data` with the present time. Raises JournalError when it can't be kept."""

    def close(self) -> None:  # noqa: B027 - nothing to close is the usual case
        """Finish the record. A second call does nothing."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


class MemoryTrace(Trace):
    """Keeps the record in memory."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.entries: list[TraceEntry] = []

    def record(self, kind: TraceKind, data: bytes) -> None:
        self.entries.append(TraceEntry(self._clock.monotonic(), kind, data))


class FileTrace(Trace):
    """Appends one JSON object per line to a file and hands each to the operating system at once.

    Keys: `at_s` monotonic seconds, `at` calendar time (UTC, ISO 8601), `kind`, and `text`: the bytes as Latin-1 with
    every byte outside printable ASCII written as an escape, so that the exact bytes can be had back.
    """

    def __init__(self, path: Path, clock: Clock) -> None:
        self.path = path
        self._clock = clock
        try:
            self._file: RecordFile | None = RecordFile(path)
        except OSError as error:
            raise JournalError(str(path), f"the trace cannot be opened: {error.strerror or error}") from error

    def record(self, kind: TraceKind, data: bytes) -> None:
        if self._file is None:
            raise JournalError(str(self.path), "the trace is closed")
        entry = {
            "at_s": round(self._clock.monotonic(), 6),
            "at": self._clock.now().isoformat(timespec="milliseconds"),
            "kind": kind.value,
            "text": data.decode("latin-1"),
        }
        line = json.dumps(entry, ensure_ascii=True).encode() + b"\n"
        try:
            taken = self._file.append(line)
        except OSError as error:
            raise JournalError(str(self.path), f"the trace cannot be written: {error.strerror or error}") from error
        if taken != len(line):
            raise JournalError(str(self.path), "the trace cannot be written: the disk took only part of a line")

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None
