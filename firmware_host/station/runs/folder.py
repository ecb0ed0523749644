"""The folder of one run: what was planned, the journal, the trace of the line, and the record."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from firmware_host.errors import InputError, JournalError
from firmware_host.model import Job, Machine, Setup
from firmware_host.model.files.files import validate
from firmware_host.system.files import sync_folder, write_whole

_LARGEST_SETUP = 4_000_000


@dataclass(frozen=True)
class RunFolder:
    """Paths inside a run's folder."""

    path: Path

    @property
    def journal(self) -> Path:
        """The journal, one event a line."""
        return self.path / "journal.jsonl"

    @property
    def record(self) -> Path:
        """The record, for people and programs."""
        return self.path / "record.json"

    @property
    def trace(self) -> Path:
        """Every line sent and received."""
        return self.path / "trace.jsonl"

    @property
    def setup(self) -> Path:
        """Job and machine as they were when the run began."""
        return self.path / "setup.json"

    @classmethod
    def create(cls, runs: Path, job_name: str, now: datetime) -> RunFolder:
        """Make a new folder below `runs`, named by time and job. Raises `JournalError` if it can't be made."""
        slug = re.sub(r"[^a-z0-9]+", "-", job_name.lower()).strip("-")[:40] or "job"
        stem = f"{now:%Y%m%d-%H%M%S}-{slug}"
        try:
            runs.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise JournalError(str(runs), f"cannot be made ({error.strerror})") from error
        for number in range(1, 1000):
            path = runs / (stem if number == 1 else f"{stem}-{number}")
            try:
                path.mkdir()
                sync_folder(runs)
            except FileExistsError:
                continue
            except OSError as error:
                raise JournalError(str(path), f"cannot be made ({error.strerror})") from error
            return cls(path)
        raise JournalError(str(runs / stem), "a thousand runs of this second exist already")

    def drop_unused(self) -> None:
        """Remove the folder again if no run began in it (the port could not be opened, say)."""
        if not self.journal.exists():
            shutil.rmtree(self.path, ignore_errors=True)

    @classmethod
    def existing(cls, path: Path) -> RunFolder:
        """The folder of an earlier run. Raises `InputError` if it is none."""
        folder = cls(path)
        if path.is_symlink() or not folder.journal.is_file():
            raise InputError(
                "is no run folder (it holds no journal)", "Name a folder that a run made", source=str(path)
            )
        return folder

    def save_setup(self, setup: Setup) -> str:
        """Keep job and machine as they are now; a resumed run uses these, whatever happens to the files.

        Returns the digest of what was kept. Raises `JournalError` when it can't be written.
        """
        document = {
            "version": 1,
            "job_source": setup.job_source,
            "machine_source": setup.machine_source,
            "job": setup.job.model_dump(mode="json", exclude_none=True),
            "machine": setup.machine.model_dump(mode="json", exclude_none=True),
        }
        try:
            write_whole(self.setup, json.dumps(document, indent=2) + "\n")
        except OSError as error:
            raise JournalError(str(self.setup), f"cannot be written ({error.strerror})") from error
        return self.setup_digest()

    def setup_digest(self) -> str:
        """SHA-256 of the kept job and machine, which the journal holds. Raises `JournalError` if it can't be read."""
        try:
            return hashlib.sha256(self.setup.read_bytes()).hexdigest()
        except OSError as error:
            raise JournalError(str(self.setup), f"cannot be read ({error.strerror})") from error

    def load_setup(self) -> Setup:
        """Job and machine of the run. Raises `InputError` or `JournalError` when the file isn't whole."""
        try:
            if self.setup.stat().st_size > _LARGEST_SETUP:
                raise JournalError(str(self.setup), f"is larger than {_LARGEST_SETUP} bytes")
            document = json.loads(self.setup.read_text(encoding="utf-8"))
            job, machine = document["job"], document["machine"]
        except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
            raise JournalError(str(self.setup), f"cannot be read ({error})") from error
        source = str(self.setup)
        return Setup(
            validate(Job, job, source=source),
            validate(Machine, machine, source=source),
            document.get("job_source", ""),
            document.get("machine_source", ""),
        )
