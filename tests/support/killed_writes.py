"""A process that dies at one write, of any kind: a line of a journal, bytes to the board, a file, a folder.

Nothing that is tried after its death reaches the disk or the board.
"""

from __future__ import annotations

import errno
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import pytest

from firmware_host.clock import Clock
from firmware_host.errors import JournalError
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.journal.events import Event
from firmware_host.station.journal.form import RUN_FORM, JournalForm
from firmware_host.station.journal.journal import Journal
from firmware_host.station.runs.folder import RunFolder
from tests.support.crashes import Crash
from tests.support.station_bench import StationBench

Kind = Literal["batch-line", "run-line", "wire", "file", "folder"]
How = Literal["before", "torn", "after"]
KINDS: tuple[Kind, ...] = ("batch-line", "run-line", "wire", "file", "folder")

_JOURNALS = ("station.run", "station.resume", "station.batch.book")


class Killer:
    """Counts every write by its kind, and lets the process die at the one that is due. `died` counts the deaths."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.died: Counter[tuple[Kind, How]] = Counter()
        self.counted: Counter[Kind] = Counter()
        self._due: tuple[Kind, int, How] | None = None
        self._dead = False
        self._pull: Callable[[], None] = lambda: None
        journal = type("DyingJournal", (_DyingJournal,), {"killer": self})
        for module in _JOURNALS:
            monkeypatch.setattr(f"firmware_host.{module}.Journal", journal)
        monkeypatch.setattr("firmware_host.station.journal.kept.write_whole", self._writing())
        make = BatchFolder.new_run

        def new_run(folder: BatchFolder, number: int) -> RunFolder:
            return self.write("folder", lambda: make(folder, number))

        monkeypatch.setattr(BatchFolder, "new_run", new_run)

    def watch(self, bench: StationBench) -> None:
        """This bench's board is the one that is written to."""
        self._pull = bench.port.pull_cable
        receive = bench.device.receive

        def wire(data: bytes, now_s: float) -> None:
            self.write("wire", lambda: receive(data, now_s))

        bench.device.receive = wire

    def due(self, kind: Kind, number: int, how: How) -> None:
        """The next process dies at its `number`-th write (from 1) of this kind."""
        self.counted.clear()
        self._due, self._dead = (kind, number, how), False

    def spare(self) -> None:
        """The next process lives."""
        self._due, self._dead = None, False

    def write(self, kind: Kind, act: Callable[[], Any], torn: Callable[[], None] | None = None) -> Any:
        """Do one write, and die at it if it is due."""
        if self._dead:
            raise OSError(errno.EIO, "the process is gone")
        self.counted[kind] += 1
        if self._due is None or (kind, self.counted[kind]) != self._due[:2]:
            return act()
        how = self._due[2]
        if how == "after":
            act()
        elif how == "torn" and torn is not None:
            torn()
        self._dead = True
        self.died[kind, how] += 1
        self._pull()
        raise Crash

    def _writing(self) -> Callable[..., None]:
        from firmware_host.system.files import write_whole

        def write(path: Path, content: str | bytes, **options: Any) -> None:
            self.write("file", lambda: write_whole(path, content, **options))

        return write


class _DyingJournal(Journal):
    killer: Killer

    def __init__(self, path: Path, clock: Clock, form: JournalForm[Any] = RUN_FORM) -> None:
        super().__init__(path, clock, form)
        self._kind: Kind = "run-line" if form is RUN_FORM else "batch-line"

    def write(self, event: Event, *, with_next: bool = False) -> None:
        def torn() -> None:
            if self._file is not None:
                self._file.append(b'{"n":%d,"t":"2026' % self._next)

        try:
            self.killer.write(self._kind, lambda: super(_DyingJournal, self).write(event, with_next=with_next), torn)
        except OSError as error:
            raise JournalError(str(self._path), "the process is gone") from error
