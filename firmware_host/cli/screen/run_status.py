"""What is told behind a run that did not come to its end: what was found, and how to go on."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from firmware_host.cli.screen import output
from firmware_host.errors import FirmwareHostError, JournalError, RunStoppedError
from firmware_host.reporting.run_status import run_status_lines
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.status import run_status_if_readable


@contextmanager
def telling_outlook(folder: RunFolder, *, json: bool = False) -> Iterator[None]:
    """Behind an error that ended a run, and once all is closed, tell how the run stands; the error goes on.

    With `json` its record is printed, too, as it is of a run that came to its end.
    """
    before = _lines(folder)
    try:
        yield
    except FirmwareHostError as error:
        found = run_status_if_readable(folder) if _lines(folder) > before else None
        if found is not None:
            if json:
                sys.stdout.write(found.record.to_json())
            stopped = isinstance(error, RunStoppedError)  # it tells the command itself
            if isinstance(error, RunStoppedError):
                error.option = found.option
            for line in run_status_lines(found, command=not stopped):
                output.remark(line)
        raise


def _lines(folder: RunFolder) -> int:
    """How many lines the journal has, if its last one is the end of a run; else 0."""
    try:
        events = read_journal(folder.journal) if folder.journal.exists() else []
    except JournalError:
        return 0
    return len(events) if events and events[-1]["event"] == "end" else 0
