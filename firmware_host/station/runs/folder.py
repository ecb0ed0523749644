"""The folder of one run: what was planned, the journal, the trace of the line, and the record."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from firmware_host.acts import Resume, Run
from firmware_host.errors import (
    DamagedRunError,
    FirmwareHostError,
    InputError,
    JournalError,
    RunNotBegunError,
)
from firmware_host.model import Job, Machine, Setup
from firmware_host.model.files.files import validate
from firmware_host.station.journal.kept import new_folder, read_kept, save_kept

BATCH_JOURNAL = "batch.jsonl"
"""The name of a batch's journal, which makes a folder that of a batch and not of a run."""
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
        stem = f"{now:%Y%m%d-%H%M%S}-{job_slug(job_name)}"
        try:
            runs.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise JournalError(str(runs), f"cannot be made ({error.strerror})") from error
        full = JournalError(str(runs / stem), "a thousand runs of this second exist already")
        return cls(new_folder(runs, stem, full))

    def drop_unused(self) -> None:
        """Remove the folder again if no run began in it (the port could not be opened, say)."""
        if not self.journal.exists():
            shutil.rmtree(self.path, ignore_errors=True)

    @classmethod
    def existing(cls, path: Path) -> RunFolder:
        """The folder of an earlier run, whole or damaged.

        Raises `InputError` if it is none or can't be looked into, `RunNotBegunError` if it holds no journal yet.
        """
        folder = cls(path)
        try:
            names = set() if path.is_symlink() or not path.is_dir() else {each.name for each in path.iterdir()}
        except (OSError, ValueError) as error:
            problem = f"cannot be looked into ({getattr(error, 'strerror', error)})"
            raise InputError(problem, "Check its rights", source=str(path)) from error
        if folder.journal.name in names:
            return folder
        if names & {folder.setup.name, folder.trace.name}:
            raise folder.never_began()
        raise InputError("is no run folder (it holds no journal)", "Name a folder that a run made", source=str(path))

    def never_began(self) -> RunNotBegunError:
        """That nothing was moved in this run, because not even the first line of its journal is whole."""
        try:
            job = self.load_setup().job_source
        except FirmwareHostError:
            job = ""
        problem = "nothing was moved: the run ended before the first line of its journal"
        return RunNotBegunError(problem, "Start the job again", source=str(self.path), acts=(Run(job=job),))

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
        save_kept(self.setup, json.dumps(document, indent=2) + "\n")
        return self.setup_digest()

    def setup_digest(self) -> str:
        """SHA-256 of the kept job and machine, which the journal holds. Raises `JournalError` if it can't be read."""
        return hashlib.sha256(self._setup_bytes()).hexdigest()

    def load_setup(self) -> Setup:
        """Job and machine of the run. Raises `InputError` or `JournalError` when the file isn't whole."""
        try:
            document = json.loads(self._setup_bytes())
            job, machine = document["job"], document["machine"]
            sources = document.get("job_source", ""), document.get("machine_source", "")
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
            raise DamagedRunError(str(self.setup), f"cannot be read ({error})") from error
        if not isinstance(job, dict) or not isinstance(machine, dict) or not all(isinstance(s, str) for s in sources):
            raise DamagedRunError(str(self.setup), "cannot be read (it holds no job and machine)")
        source = str(self.setup)
        return Setup(
            validate(Job, job, source=source),
            validate(Machine, machine, source=source),
            *sources,
        )

    def _setup_bytes(self) -> bytes:
        return read_kept(self.setup, _LARGEST_SETUP)


def job_slug(job_name: str) -> str:
    """How a job's name stands in the name of a run's folder."""
    return re.sub(r"[^a-z0-9]+", "-", job_name.lower()).strip("-")[:40] or "job"


def is_batch(path: Path) -> bool:
    """Whether a folder is that of a batch; links are not followed. Raises nothing."""
    try:
        return not path.is_symlink() and (path / BATCH_JOURNAL).exists()
    except (OSError, ValueError):
        return False


def batch_of(run: Path) -> Path | None:
    """The folder of the batch that the run in this folder belongs to; None if it is a run of its own."""
    parent = run.absolute().parent
    return parent if is_batch(parent) else None


def require_own_run(run: Path) -> None:
    """Raise `InputError` for the run of a part of a batch: the batch is resumed, and knows which part that is."""
    batch = batch_of(run)
    if batch is not None:
        raise InputError("is a part of a batch", "Resume the batch", source=str(run), acts=(Resume(str(batch)),))
