"""Earlier runs, as their folders describe them, whole or damaged. Nothing here changes anything."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firmware_host.errors import InputError, JournalError
from firmware_host.station.journal.journal import in_use, read_journal
from firmware_host.station.journal.record import RunRecord, ended_as
from firmware_host.station.journal.replay import replay
from firmware_host.station.runs.folder import RunFolder


@dataclass(frozen=True)
class ListedRun:
    """One run of a list. `record` is made from its journal; None if that can't be read, and `problem` says why.

    `under_way`: a process is at work on it now.
    """

    path: Path
    record: RunRecord | None
    problem: str = ""
    under_way: bool = False

    @property
    def state(self) -> str:
        """How it ended, in a word: also "unreadable", "running" and, with neither an end nor a process, "crashed"."""
        if self.record is None:
            return "unreadable"
        return ended_as(self.record, under_way=self.under_way)


def read_record(folder: RunFolder) -> RunRecord:
    """A run's record as its journal has it, whatever the saved one says. Raises `JournalError` as `read_journal`."""
    return replay(read_journal(folder.journal)).record


def list_runs(runs: Path) -> tuple[ListedRun, ...]:
    """All runs in a folder, oldest first; links are not followed. Raises `InputError` when it can't be listed."""
    try:
        paths = sorted(path for path in runs.iterdir() if not path.is_symlink() and RunFolder(path).journal.is_file())
    except OSError as error:
        raise InputError(
            f"cannot be listed ({error.strerror})", "Name the folder that holds the runs", source=str(runs)
        ) from error
    return tuple(_listed(path) for path in paths)


def _listed(path: Path) -> ListedRun:
    try:
        folder = RunFolder(path)
        return ListedRun(path, read_record(folder), under_way=in_use(folder.journal))
    except JournalError as error:
        return ListedRun(path, None, error.detail)
