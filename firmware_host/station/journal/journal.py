"""The journal of a run or a batch: append-only lines, each with its checksum, on the disk before the act they announce.

One JSON object a line: an event of its form (see `form`), and as its last key "sum", the CRC-32 of the line without it.
A torn last line (a crash while writing) is tolerated; damage anywhere else is an error, and so are lines that were on
the disk and are there no more (see `tally`).
"""

from __future__ import annotations

import contextlib
import errno
import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Generic, Self

from filelock import FileLock, Timeout
from pydantic import ValidationError

from firmware_host.clock import Clock
from firmware_host.errors import DamagedRunError, JournalError, UnreadableFileError
from firmware_host.station.journal.events import Event, JournalEvent
from firmware_host.station.journal.form import RUN_FORM, EventT, JournalForm
from firmware_host.station.journal.tally import Tally, lines_noted
from firmware_host.system.files import RecordFile, is_plain, read_lines, require_plain_or_none, sync_folder

LARGEST_JOURNAL = 1 << 28
"""Bytes: a run of as many passes as one may have, resumed a few times."""
LONGEST_LINE = 4_000_000
"""Bytes: the first line of such a run, which holds the target of every segment."""
_MOST_SIGNS = (b'"', 20_000), (b"{", 1_000), (b"[", 1_000)
"""How often a sign is in a line at the most: what more of them would make costs many times the line's own memory."""
_LONGEST_COMPLAINT = 200


class Journal:
    """The writer: one at a time (a lock beside the file). `write` returns when the line is on the disk."""

    def __init__(self, path: Path, clock: Clock, form: JournalForm[Any] = RUN_FORM) -> None:
        self._path = path
        self._clock = clock
        self._lock = FileLock(f"{path}.lock", timeout=0)
        self._file: RecordFile | None = None
        self._tally: Tally | None = None
        self._failed = False
        self.written: Event | None = None
        """The last event that was written, with its number and its time."""
        try:
            require_plain_or_none(Path(self._lock.lock_file))
            self._lock.acquire()
        except Timeout as error:
            raise JournalError(str(path), f"another process is writing this {form.subject}") from error
        except OSError as error:
            raise JournalError(str(path), f"cannot be locked ({error.strerror})") from error
        try:
            self._file = RecordFile(path)
            reader = _Reader(path, form)
            for _ in reader.events():
                pass  # every line is looked at before anything follows it
            self._next, self._length = reader.lines + 1, reader.length
            self._file.truncate(self._length)
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

    def write(self, event: Event, *, with_next: bool = False) -> None:
        """Append one event, with its number and the time, and wait until it is on the disk.

        `with_next`: it announces no act, and is on the disk only with the next event.

        Raises `JournalError` when it can't be written whole: what was written of it is taken back, and nothing is
        written any more, so that no line ever follows a torn or doubtful one.
        """
        if self._failed or self._file is None:
            raise JournalError(str(self._path), "could not be written before; nothing more is written")
        stamped = event.model_copy(
            update={
                "line": self._next,
                "time": self._clock.now().isoformat(timespec="milliseconds"),
                "clock_s": round(self._clock.monotonic(), 6),
            }
        )
        line = _line(stamped)
        if (excess := _excess(line)) is not None:
            raise JournalError(str(self._path), f"takes no line that {excess}; stopped before the act")
        noted = False
        try:
            if self._file.append(line) != len(line):
                raise OSError(errno.ENOSPC, "the disk took only part of a line")
            if not with_next:
                self._file.sync()
            if self._tally is not None and not with_next:
                noted = True
                self._tally.note(self._next)
        except OSError as error:
            self._take_back(noted=noted)
            raise JournalError(
                str(self._path), f"cannot be written ({error.strerror}); stopped before the act"
            ) from error
        self._next += 1
        self._length += len(line)
        self.written = stamped

    def _take_back(self, *, noted: bool) -> None:
        """Cut off what may have been written of a line; if even that fails, the next reader finds it torn or whole.

        A line that may be `noted` in the tally stays where the tally can't be taken back: it would count as lost.
        """
        self._failed = True
        with contextlib.suppress(OSError):
            if noted and self._tally is not None:
                self._tally.take_back(self._next)
            if self._file is not None:
                self._file.truncate(self._length)

    def close(self) -> None:
        """Close the file and give the lock back; a second call does nothing."""
        if self._file is not None:
            self._file.close()
            self._file = None
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


def _line(event: Event) -> bytes:
    text = json.dumps(event.model_dump(mode="json", by_alias=True), separators=(",", ":"), ensure_ascii=True)
    return f'{text[:-1]},"sum":"{zlib.crc32(text.encode()):08x}"}}\n'.encode()


def _excess(line: bytes) -> str | None:
    """In what a line is more than any line of a run; None if it is not."""
    if len(line) > LONGEST_LINE:
        return f"is longer than {LONGEST_LINE} bytes"
    many = ((sign, most) for sign, most in _MOST_SIGNS if line.count(sign) > most)
    return next((f"holds more than {most} {sign.decode()}" for sign, most in many), None)


def read_journal(path: Path) -> tuple[JournalEvent, ...]:
    """All events of `journal_events` at once."""
    return tuple(journal_events(path))


def journal_events(path: Path) -> Iterator[JournalEvent]:
    """The events in order, each as it is read; a torn last line is left out.

    Raises `JournalError` naming the line when one before the last is damaged, out of order, of another schema, or no
    event of a run; in the end, when lines are lost that were on the disk; and at once for what is no plain file.
    """
    return events_of(path, RUN_FORM)


def events_of(path: Path, form: JournalForm[EventT]) -> Iterator[EventT]:
    """As `journal_events`, of a journal of this form."""
    return _Reader(path, form).events()


class _Reader(Generic[EventT]):
    """Reads line by line. The first one says which schema they have; a "resume" line may switch to the present one."""

    def __init__(self, path: Path, form: JournalForm[EventT]) -> None:
        self._path = path
        self._form = form
        self._schema = 0
        self.lines = 0
        """How many whole lines were read."""
        self.length = 0
        """How many bytes they have."""

    def events(self) -> Iterator[EventT]:
        """Every event. Raises `JournalError`."""
        noted = lines_noted(self._path)  # before the journal is read: its writer may be at work
        try:
            for line in read_lines(self._path, LARGEST_JOURNAL, LONGEST_LINE, links=False):
                event = self._event(line, self.lines + 1)
                self.lines += 1
                self.length += len(line) + 1
                yield event
        except UnreadableFileError as error:
            where = f"line {error.line} " if error.line is not None else ""
            raise self._error(f"{where}{error.problem}") from error
        if self.lines < noted:
            raise self._error(
                f"has lost {noted - self.lines} of its {noted} lines: what was done after line {self.lines} is not "
                "known. Look at the part, and run what is left of it as a new job"
            )

    def _event(self, line: bytes, number: int) -> EventT:
        """The event of a line, counted from 1."""
        form = self._form
        text = self._checked(line, number)
        try:
            if self._schema != form.schema:
                entry = json.loads(text)  # an object: it ends with a brace
                self._require_number(entry.get("n"), number)
                self._look_for_schema(entry, number)
            older = form.older.get(self._schema)
            event = form.events.validate_json(text) if older is None else older(json.loads(text))
        except ValidationError as error:
            first = error.errors(include_url=False, include_context=False, include_input=False)[0]
            where = ".".join(str(part) for part in first["loc"])
            raise self._error(
                f"line {number} is no event of schema {self._schema} ({_shown(f'{where}: ' + first['msg'])})"
            ) from error
        except (ValueError, RecursionError) as error:  # no JSON, numbers of thousands of digits, nested too deeply
            raise self._error(f"line {number} is no event ({_shown(str(error))})") from error
        self._require_number(event.line, number)
        if isinstance(event, form.begins) and number > 1:
            raise self._error(f"line {number} begins the {form.subject} again")
        return event

    def _require_number(self, found: object, number: int) -> None:
        if found != number:
            raise self._error(f"line {number} is numbered {_shown(repr(found))}: a line is missing or doubled")

    def _checked(self, line: bytes, number: int) -> bytes:
        """A line without its checksum, which fits."""
        body, _, tail = line.rpartition(b',"sum":"')
        if not tail.endswith(b'"}') or tail[:-2] != f"{zlib.crc32(body + b'}'):08x}".encode():
            raise self._error(f"line {number} is damaged (its checksum does not fit)")
        if (excess := _excess(line)) is not None:
            raise self._error(f"line {number} {excess}: no line of a {self._form.subject} does")
        return body + b"}"

    def _look_for_schema(self, entry: Mapping[str, Any], number: int) -> None:
        if number == 1 or "schema" in entry:
            found = entry.get("schema", 0)
            schemas = self._form.schemas
            if type(found) is not int or found not in schemas:
                shown = _shown(repr(entry.get("schema")))
                raise self._error(f"has schema {shown}; this version reads {_listed(schemas)}")
            self._schema = found

    def _error(self, detail: str) -> DamagedRunError:
        return DamagedRunError(str(self._path), detail)


def _shown(text: str) -> str:
    """What a file says, as it may be printed."""
    short = text if len(text) <= _LONGEST_COMPLAINT else f"{text[:_LONGEST_COMPLAINT]}.."
    return "".join(sign if sign.isprintable() else " " for sign in short)


def _listed(numbers: Sequence[int]) -> str:
    """Numbers as a sentence has them: "1, 2 and 3"."""
    *others, last = map(str, numbers)
    return f"{', '.join(others)} and {last}" if others else last


def in_use(path: Path) -> bool:
    """Whether a process is writing this journal now. Creates nothing."""
    if not is_plain(Path(f"{path}.lock")):
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
