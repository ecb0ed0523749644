"""The journal of a run: append-only lines, each with its checksum, on the disk before the act they announce.

One JSON object a line: an event of `events`, and as its last key "sum", the CRC-32 of the line without it. A torn last
line (a crash while writing) is tolerated; damage anywhere else is an error, and so are lines that were on the disk and
are there no more (see `tally`).
"""

from __future__ import annotations

import contextlib
import json
import os
import zlib
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from filelock import FileLock, Timeout
from pydantic import ValidationError

from firmware_host.clock import Clock
from firmware_host.errors import JournalError
from firmware_host.station.journal import schema1
from firmware_host.station.journal.events import EVENTS, SCHEMA, JournalEvent
from firmware_host.station.journal.tally import Tally, lines_noted
from firmware_host.system.files import sync_folder

LARGEST_JOURNAL = 1 << 30


class Journal:
    """The writer: one at a time (a lock beside the file). `write` returns when the line is on the disk."""

    def __init__(self, path: Path, clock: Clock) -> None:
        self._path = path
        self._clock = clock
        self._lock = FileLock(f"{path}.lock", timeout=0)
        self._file = -1
        self._tally: Tally | None = None
        self._failed = False
        try:
            self._lock.acquire()
        except Timeout as error:
            raise JournalError(str(path), "another process is writing this run") from error
        except OSError as error:
            raise JournalError(str(path), f"cannot be locked ({error.strerror})") from error
        try:
            self._next = len(read_journal(path)) + 1 if path.exists() else 1
            self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW, 0o644)
            self._length = _whole_length(path)
            os.ftruncate(self._file, self._length)
            os.lseek(self._file, 0, os.SEEK_END)
            self._tally = Tally(path)
            sync_folder(path.parent)
        except OSError as error:
            self.close()
            raise JournalError(str(path), f"cannot be opened for writing ({error.strerror})") from error
        except BaseException:
            self.close()
            raise

    @property
    def whole_lines(self) -> int:
        """How many whole lines it has."""
        return self._next - 1

    def write(self, event: JournalEvent) -> None:
        """Append one event, with its number and the time, and wait until it is on the disk.

        Raises `JournalError` when it can't be written whole: what was written of it is taken back, and nothing is
        written any more, so that no line ever follows a torn or doubtful one.
        """
        if self._failed:
            raise JournalError(str(self._path), "could not be written before; nothing more is written")
        line = _line(
            event.model_copy(
                update={
                    "line": self._next,
                    "time": self._clock.now().isoformat(timespec="milliseconds"),
                    "clock_s": round(self._clock.monotonic(), 6),
                }
            )
        )
        try:
            written = os.write(self._file, line)
            os.fsync(self._file)
            if self._tally is not None and written == len(line):
                self._tally.note(self._next)
        except OSError as error:
            self._take_back()
            raise JournalError(
                str(self._path), f"cannot be written ({error.strerror}); stopped before the act"
            ) from error
        if written != len(line):
            self._take_back()
            raise JournalError(str(self._path), "the disk took only part of a line; stopped before the act")
        self._next += 1
        self._length += written

    def _take_back(self) -> None:
        """Cut off what may have been written of a line; if even that fails, the next reader finds it torn or whole."""
        self._failed = True
        with contextlib.suppress(OSError):
            if self._tally is not None:
                self._tally.take_back(self._next)
            os.ftruncate(self._file, self._length)

    def close(self) -> None:
        """Close the file and give the lock back; a second call does nothing."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
        if self._tally is not None:
            self._tally.close()
            self._tally = None
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _line(event: JournalEvent) -> bytes:
    text = json.dumps(event.model_dump(mode="json", by_alias=True), separators=(",", ":"), ensure_ascii=True)
    return f'{text[:-1]},"sum":"{zlib.crc32(text.encode()):08x}"}}\n'.encode()


def _whole_length(path: Path) -> int:
    """Length of the file up to the end of its last whole, undamaged line, bytes."""
    return path.read_bytes().rfind(b"\n") + 1


def read_journal(path: Path) -> tuple[JournalEvent, ...]:
    """All events in order; a torn last line is left out.

    Raises `JournalError` naming the line when one before the last is damaged, out of order or of another schema, and
    when lines are lost that were on the disk.
    """
    noted = lines_noted(path)  # before the journal is read: its writer may be at work
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_JOURNAL + 1)
    except OSError as error:
        raise JournalError(str(path), f"cannot be read ({error.strerror})") from error
    if len(data) > LARGEST_JOURNAL:
        raise JournalError(str(path), f"is larger than {LARGEST_JOURNAL} bytes")
    *lines, _torn = data.split(b"\n")
    reader = _Reader(path)
    events = tuple(reader.event(line, number) for number, line in enumerate(lines, 1))
    if len(events) < noted:
        raise JournalError(
            str(path),
            f"has lost {noted - len(events)} of its {noted} lines: what was done after line {len(events)} is not known."
            " Look at the part, and run what is left of it as a new job",
        )
    return events


class _Reader:
    """Reads line by line. The first one says which schema they have; a "resume" line may switch to the present one."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._schema = 0

    def event(self, line: bytes, number: int) -> JournalEvent:
        """The event of a line, counted from 1. Raises `JournalError`."""
        text = self._checked(line, number)
        if self._schema != SCHEMA:
            entry = json.loads(text)
            self._require_number(entry.get("n"), number)
            self._look_for_schema(entry, number)
        try:
            event = EVENTS.validate_json(text) if self._schema == SCHEMA else schema1.converted(json.loads(text))
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"])
            raise self._error(
                f"line {number} is no event of schema {self._schema} ({where}: {first['msg']})"
            ) from error
        self._require_number(event.line, number)
        return event

    def _require_number(self, found: object, number: int) -> None:
        if found != number:
            raise self._error(f"line {number} is numbered {found!r}: a line is missing or doubled")

    def _checked(self, line: bytes, number: int) -> bytes:
        """A line without its checksum, which fits."""
        body, _, tail = line.rpartition(b',"sum":"')
        if not tail.endswith(b'"}') or tail[:-2] != f"{zlib.crc32(body + b'}'):08x}".encode():
            raise self._error(f"line {number} is damaged (its checksum does not fit)")
        return body + b"}"

    def _look_for_schema(self, entry: Mapping[str, Any], number: int) -> None:
        if number == 1 or "schema" in entry:
            self._schema = entry.get("schema", 0)
            if self._schema not in (SCHEMA, schema1.SCHEMA):
                raise self._error(
                    f"has schema {entry.get('schema')!r}; this version reads {schema1.SCHEMA} and {SCHEMA}"
                )

    def _error(self, detail: str) -> JournalError:
        return JournalError(str(self._path), detail)


def in_use(path: Path) -> bool:
    """Whether a process is writing this journal now. Creates nothing."""
    if not Path(f"{path}.lock").exists():
        return False
    lock = FileLock(f"{path}.lock", timeout=0)
    try:
        lock.acquire()
    except Timeout:
        return True
    except OSError:
        return False  # no way to tell: not ours to write
    lock.release()
    return False
