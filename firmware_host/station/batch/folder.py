"""The folder of a batch: its journal, job and machine, the table of parts, and a run's folder for each part."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from firmware_host.errors import DamagedRunError, InputError, JournalError
from firmware_host.model import Setup
from firmware_host.model.files.parts import PartRow
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.kept import new_folder, read_kept, save_kept
from firmware_host.station.runs.folder import BATCH_JOURNAL, RunFolder, is_batch

_LARGEST_PARTS = 40_000_000
_ROWS: TypeAdapter[tuple[PartRow, ...]] = TypeAdapter(tuple[PartRow, ...])


@dataclass(frozen=True)
class BatchFolder:
    """Paths inside a batch's folder."""

    path: Path

    @property
    def journal(self) -> Path:
        """The batch's journal, one event a line."""
        return self.path / BATCH_JOURNAL

    @property
    def record(self) -> Path:
        """The record, for people and programs."""
        return self.path / "batch.json"

    @property
    def parts(self) -> Path:
        """The table of parts as it was when the batch began."""
        return self.path / "parts.json"

    @property
    def times(self) -> Path:
        """The times of each part, as CSV."""
        return self.path / "times.csv"

    @property
    def kept(self) -> RunFolder:
        """Where job and machine are kept as they were when the batch began, and the trace of the line."""
        return RunFolder(self.path)

    @classmethod
    def create(cls, runs: Path, job_name: str, parts: int, now: datetime) -> BatchFolder:
        """Make a new folder below `runs`. Raises `JournalError` if it can't be made."""
        return cls(RunFolder.create(runs, f"{job_name[:30]} {parts} parts", now).path)

    @classmethod
    def existing(cls, path: Path) -> BatchFolder:
        """The folder of an earlier batch. Raises `InputError` if it is none."""
        folder = cls(path)
        if not is_batch(path):
            raise InputError("is no batch (it holds no batch journal)", "Name a batch's folder", source=str(path))
        return folder

    def drop_unused(self) -> None:
        """Remove the folder again if no batch began in it."""
        if not self.journal.exists():
            self.kept.drop_unused()

    def run(self, name: str) -> RunFolder:
        """The run's folder of this name."""
        return RunFolder(self.path / name)

    def new_run(self, number: int) -> RunFolder:
        """Make the next folder for a run of part `number`. Raises `JournalError` if it can't be made."""
        full = JournalError(str(self.path), f"part {number} was begun a thousand times")
        return RunFolder(new_folder(self.path, f"part-{number:05d}", full))

    # --- what is kept ----------------------------------------------------------------------------------------------

    def save(self, setup: Setup, rows: Sequence[PartRow]) -> tuple[str, str]:
        """Keep job, machine and parts as they are now; returns the digests of both. Raises `JournalError`."""
        document = {"version": 1, "parts": [asdict(row) for row in rows]}
        save_kept(self.parts, json.dumps(document, indent=1) + "\n")
        return self.kept.save_setup(setup), self.parts_digest()

    def parts_digest(self) -> str:
        """SHA-256 of the kept parts. Raises `JournalError` if they can't be read."""
        return hashlib.sha256(self._parts_bytes()).hexdigest()

    def load_parts(self) -> tuple[PartRow, ...]:
        """The parts of the batch. Raises `JournalError` when the file isn't whole."""
        try:
            document: Any = json.loads(self._parts_bytes())
            return _ROWS.validate_python(document["parts"])
        except (ValueError, KeyError, TypeError, RecursionError, ValidationError) as error:
            raise DamagedRunError(str(self.parts), "cannot be read: it is no table of parts") from error

    def _parts_bytes(self) -> bytes:
        return read_kept(self.parts, _LARGEST_PARTS)


def has_begun(run: RunFolder) -> bool:
    """Whether a run of a part began: its journal has a whole line, or a damaged one. Before that nothing was moved."""
    try:
        return run.journal.exists() and next(journal_events(run.journal), None) is not None
    except JournalError:
        return True
