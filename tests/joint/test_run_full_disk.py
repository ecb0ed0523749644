"""A disk that fills up: the run stops before the act that it could not journal."""

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import (
    JournalError,
)
from firmware_host.station.journal.events import JournalEvent
from firmware_host.station.journal.journal import Journal, read_journal
from firmware_host.station.journal.replay import replay
from tests.support.crashes import (
    every_pass_once,
    resume_truthfully,
)
from tests.support.station_bench import StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.mark.some(1)
@pytest.mark.parametrize(
    ("first", "every"),
    [(1, 4), (3, 4), pytest.param(1, 1, marks=pytest.mark.slow)],
    ids=["a quarter", "another quarter", "each"],
)
@pytest.mark.parametrize("call", ["write", "fsync"])
def test_a_full_disk_stops_the_run_before_the_act_it_could_not_journal(
    call: str, first: int, every: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real: Callable[..., Any] = getattr(os, call)
    failures = 0
    for at in range(first, 1000, every):
        bench = StationBench(tmp_path / f"{at}", small_setup(), known=False)
        disk = FillingDisk(bench, real, at)
        with monkeypatch.context() as patch:
            patch.setattr(os, call, disk.call)
            patch.setattr(Journal, "write", disk.journal_write(Journal.write))
            try:
                bench.run()
            except JournalError as error:
                failures += "No space left on device" in str(error)
            else:
                break
        assert not bench.gate.is_open
        assert not bench.moving
        if not bench.folder.journal.exists():
            assert bench.sent_moves() == []
            continue
        if disk.acts_at_failure is not None:
            assert disk.acts() == disk.acts_at_failure
        events = read_journal(bench.folder.journal)
        if events and replay(events).record.outcome != "done":
            resume_truthfully(bench)
            every_pass_once(bench)
    assert failures == len(range(first, at, every)) >= 28 // every  # of the journal's lines as many as were tried


class FillingDisk:
    """Takes so many calls and no more; knows what had been done when a line of the journal failed."""

    def __init__(self, bench: StationBench, real: Callable[..., Any], takes: int) -> None:
        self._bench = bench
        self._real = real
        self._takes = takes
        self.acts_at_failure: tuple[int, int] | None = None

    def call(self, *arguments: Any) -> Any:
        self._takes -= 1
        if self._takes < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return self._real(*arguments)

    def acts(self) -> tuple[int, int]:
        """Moves sent and gate openings."""
        return len(self._bench.sent_moves()), len(self._bench.gate.opened)

    def journal_write(self, write: Callable[..., None]) -> Callable[..., None]:
        def noted(journal: Journal, event: JournalEvent, **how: bool) -> None:
            try:
                write(journal, event, **how)
            except JournalError:
                self.acts_at_failure = self.acts_at_failure or self.acts()
                raise

        return noted
