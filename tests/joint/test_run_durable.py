"""Nothing is done before what announces it is on the disk: journal, tally, and the names of the files themselves."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.errors import JournalError
from firmware_host.station.journal.events import Assumed, Home
from firmware_host.station.journal.journal import Journal
from firmware_host.station.runs.folder import RunFolder
from firmware_host.system.files import write_whole
from tests.support import windows
from tests.support.crashes import stopped
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import StationBench, small_setup

FOLDERS_CAN_BE_SYNCED = not windows.wanted()


class DiskWatch:
    """What has been written or made and not been put on the disk yet, by inode; `log` is the order of the calls."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.unsynced: set[int] = set()
        self.synced_folders: set[int] = set()
        self.log: list[str] = []
        real: dict[str, Callable[..., Any]] = {name: getattr(os, name) for name in ("write", "pwrite", "replace")}

        def write(descriptor: int, *rest: Any) -> int:
            self._dirty(descriptor)
            return int(real["write"](descriptor, *rest))

        def pwrite(descriptor: int, *rest: Any) -> int:
            self._dirty(descriptor)
            return int(real["pwrite"](descriptor, *rest))

        def fsync(descriptor: int) -> None:
            found = os.fstat(descriptor)
            self.unsynced.discard(found.st_ino)
            if stat.S_ISDIR(found.st_mode):
                self.synced_folders.add(found.st_ino)
            self.log.append("folder" if stat.S_ISDIR(found.st_mode) else "file")

        def replace(*paths: Any) -> None:
            self.log.append("replace")
            real["replace"](*paths)

        for name, call in {"write": write, "pwrite": pwrite, "fsync": fsync, "replace": replace}.items():
            patch.setattr(os, name, call)

    def _dirty(self, descriptor: int) -> None:
        found = os.fstat(descriptor)
        if stat.S_ISREG(found.st_mode):
            self.unsynced.add(found.st_ino)


BENCHES: dict[str, Callable[[Path], StationBench]] = {
    "status-query": lambda path: StationBench(path, small_setup()),
    "numbered-line": lambda path: NumberedBench(path, small_setup(), NUMBERED_LINE_BOARDS["plain"]),
}


@pytest.mark.parametrize("dialect", BENCHES)
def test_every_line_of_the_journal_is_on_the_disk_before_anything_is_sent_or_the_gate_opens(
    dialect: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = BENCHES[dialect](tmp_path)
    disk = DiskWatch(monkeypatch)
    acts = 0

    def act() -> None:
        nonlocal acts
        acts += 1
        assert disk.unsynced == set()

    watched, opened = bench.port.on_write, bench.gate.open
    bench.port.on_write = lambda data: (watched(data), act())[0]
    monkeypatch.setattr(bench.gate, "open", lambda request: (act(), opened(request))[1])
    assert bench.run().outcome == "done"
    assert acts > 6 + 3
    assert disk.unsynced == set()
    assert (bench.folder.path.stat().st_ino in disk.synced_folders) is FOLDERS_CAN_BE_SYNCED


def test_a_line_that_is_not_on_the_disk_yet_is_seen_as_such(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The watch itself: a journal and its tally count each for itself."""
    with Journal(tmp_path / "journal.jsonl", VirtualClock()) as journal:
        disk = DiskWatch(monkeypatch)
        monkeypatch.setattr(os, "fsync", lambda descriptor: None)
        journal.write(Home())
        assert len(disk.unsynced) == 2


@pytest.mark.posix("a folder that can be synced")
def test_the_names_of_a_new_run_are_on_the_disk_as_well(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    disk = DiskWatch(monkeypatch)
    folder = RunFolder.create(tmp_path / "runs", "job", VirtualClock().now())
    assert (tmp_path / "runs").stat().st_ino in disk.synced_folders
    with Journal(folder.journal, VirtualClock()):
        assert folder.path.stat().st_ino in disk.synced_folders


def test_a_file_that_is_replaced_is_on_the_disk_before_it_takes_the_old_one_s_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = DiskWatch(monkeypatch)
    write_whole(tmp_path / "record.json", "{}\n")
    assert disk.log == ["file", "replace", *(["folder"] if FOLDERS_CAN_BE_SYNCED else [])]


def test_a_run_that_another_process_continues_between_reading_and_locking_is_not_resumed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = stopped(tmp_path)
    before = bench.folder.journal.read_bytes()

    def continued_elsewhere(*arguments: object, **options: object) -> None:
        with Journal(bench.folder.journal, bench.clock) as other:
            other.write(Assumed(**{"segment": 2, "pass": 1, "done": True}))

    monkeypatch.setattr("firmware_host.station.runs.resumable.Resumable.require_same_marking", continued_elsewhere)
    moves = len(bench.sent_moves())
    with pytest.raises(JournalError, match="was continued by another process meanwhile"):
        bench.resume(zero="here")
    assert len(bench.sent_moves()) == moves
    assert bench.folder.journal.read_bytes().startswith(before)
    assert bench.folder.journal.read_bytes().count(b"\n") == before.count(b"\n") + 1
