"""What is shown when a run ends early: how it stands, and how to resume it."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from firmware_host.acts import Resume
from firmware_host.cli.screen import output
from firmware_host.errors import FirmwareHostError, JournalError
from firmware_host.reporting.runs.run import status_notes
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.replay import replay
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.status import run_status_if_readable


@contextmanager
def showing_run_status(folder: RunFolder, *, json: bool = False) -> Iterator[None]:
    """When an error ends a run, show how the run stands once everything is closed; the error says how to resume it.

    With `json` the record is printed too, as for a run that is done.
    """
    before = _closed_after(folder)
    try:
        yield
    except FirmwareHostError as error:
        found = run_status_if_readable(folder) if _closed_after(folder) > before else None
        if found is not None:
            if json:
                sys.stdout.write(found.record.to_json())
            error.acts = (*(act for act in error.acts if not isinstance(act, Resume)), *found.acts)
            for line in status_notes(found).lines:
                output.remark(line)
        raise


def _closed_after(folder: RunFolder) -> int:
    """How many lines the journal has, if its last one is the end of a run; else 0."""
    try:
        state = replay(journal_events(folder.journal)) if folder.journal.exists() else None
    except JournalError:
        return 0
    return state.lines if state is not None and state.closed else 0
