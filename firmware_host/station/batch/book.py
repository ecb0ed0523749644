"""The journal of a batch while it is written, and where the batch stands by it."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from firmware_host.clock import Clock
from firmware_host.errors import JournalError
from firmware_host.station.batch.events import BATCH_FORM, EVENTS, BatchEvent
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.state import BatchReplay, BatchState
from firmware_host.station.journal.journal import Journal, events_of


class Book:
    """One writer at a time; what is noted is on the disk, and in the state, when `note` returns."""

    def __init__(self, folder: BatchFolder, clock: Clock) -> None:
        self._journal = Journal(folder.journal, clock, BATCH_FORM)
        self._replay = BatchReplay()
        try:
            for event in events_of(folder.journal, BATCH_FORM):
                self._replay.take(event)
        except JournalError:
            self._journal.close()
            raise

    def note(self, event: BatchEvent) -> None:
        """Append one event. Raises `JournalError` when it can't be written; nothing may be done then."""
        self._journal.write(event)
        written = self._journal.written
        if written is not None:
            self._replay.take(EVENTS.validate_python(written))

    def state(self) -> BatchState:
        """Where the batch stands."""
        return self._replay.result()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._journal.close()
