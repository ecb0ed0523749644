"""Runs that belong together: a run, and those that marked segments of it again on the same part."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from firmware_host.errors import FirmwareHostError
from firmware_host.planning.plan import plan_job
from firmware_host.station.journal.events import Begin
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.last_position import LastPosition
from firmware_host.station.journal.replay import left_by, replay
from firmware_host.station.runs.folder import RunFolder

_LONGEST = 1000


def named_for(first: RunFolder, redo: RunFolder) -> str:
    """How the journal of a redo names the run it belongs to: by its name beside it, else by its whole path."""
    path = first.path.resolve()
    return path.name if path.parent == redo.path.resolve().parent else str(path)


def first_of(folder: RunFolder) -> Path:
    """The folder of the run that all redos go back to; the run itself where it is none. Raises as `journal_events`."""
    for _ in range(_LONGEST):
        begin = next(_begins(folder), None)
        if begin is None or not begin.redo_of:
            break
        folder = RunFolder(folder.path.resolve().parent / begin.redo_of)
    return folder.path.resolve()


def left_by_the_last(folder: RunFolder, last_run: Path | None, *, since: str = "") -> LastPosition | None:
    """Where `last_run`, the last one at the port, left the axis, if it is this run or one of the same part.

    None where it is another, unknown, ended before `since` (UTC, ISO 8601), or can't be read: then nothing is known of
    where this run's part stands.
    """
    if last_run is None:
        return None
    last = RunFolder(last_run)
    try:
        if first_of(last) != first_of(folder):
            return None
        state = replay(journal_events(last.journal))
        if state.record.ended < since:
            return None
        return (
            state.left
            if state.left is not None
            else left_by(journal_events(last.journal), plan_job(last.load_setup()).route)
        )
    except (FirmwareHostError, OSError):
        return None


def _begins(folder: RunFolder) -> Iterator[Begin]:
    for event in journal_events(folder.journal):
        if isinstance(event, Begin):
            yield event
        return
