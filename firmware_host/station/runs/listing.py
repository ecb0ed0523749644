"""Earlier runs, as their folders describe them, whole or damaged. Nothing here changes anything."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firmware_host.errors import InputError, JournalError, RunNotBegunError
from firmware_host.station.journal.journal import in_use, journal_events
from firmware_host.station.journal.record import RunRecord, ended_as
from firmware_host.station.journal.replay import replay
from firmware_host.station.runs.folder import RunFolder, is_batch


@dataclass(frozen=True)
class ListedRun:
    """One run of a list. `record` is made from its journal; None if there is none to be read, and `problem` says why.

    `under_way`: a process is at work on it now. `begun`: False where it ended before anything was moved.
    """

    path: Path
    record: RunRecord | None
    problem: str = ""
    under_way: bool = False
    begun: bool = True

    @property
    def state(self) -> str:
        """How it ended, in a word.

        Also "unreadable", "not begun", "running" and, with neither an end nor a process, "crashed".
        """
        if self.record is None:
            return "unreadable" if self.begun else "running" if self.under_way else "not begun"
        return ended_as(self.record, under_way=self.under_way)


def read_record(folder: RunFolder) -> RunRecord:
    """A run's record as its journal has it, whatever the saved one says.

    Raises `JournalError` as `read_journal`, and `RunNotBegunError` where the journal holds no whole line.
    """
    state = replay(journal_events(folder.journal))
    if state.begin is None:
        raise folder.never_began()
    return state.record


def list_runs(runs: Path) -> tuple[ListedRun, ...]:
    """All runs in a folder, oldest first; links are not followed. Raises `InputError` when it can't be listed.

    A run that is damaged, or that can't be read, is in the list like the others, with what is wrong; a batch is not.
    """
    listed = (_listed(path) for path in folders_in(runs))
    return tuple(run for run in listed if run is not None)


def folders_in(runs: Path) -> list[Path]:
    """What a folder of runs holds, in order of the names. Raises `InputError` when it can't be listed."""
    try:
        return sorted(runs.iterdir())
    except (OSError, ValueError) as error:
        problem = getattr(error, "strerror", None) or error
        raise InputError(
            f"cannot be listed ({problem})", "Name the folder that holds the runs", source=str(runs)
        ) from error


def _listed(path: Path) -> ListedRun | None:
    """The run in a folder; None if it is no run's."""
    if is_batch(path):
        return None
    try:
        folder = RunFolder.existing(path)
    except RunNotBegunError as error:
        return ListedRun(path, None, _in_short(error), begun=False)
    except InputError as error:
        # What can't be looked into may be a run; what can, and is none, is not.
        return ListedRun(path, None, error.problem) if isinstance(error.__cause__, OSError) else None
    under_way = in_use(folder.journal)
    try:
        return ListedRun(path, read_record(folder), under_way=under_way)
    except RunNotBegunError as error:
        return ListedRun(path, None, _in_short(error), under_way=under_way, begun=False)
    except JournalError as error:
        return ListedRun(path, None, _where(folder, error) + error.detail, under_way=under_way)


def _in_short(error: RunNotBegunError) -> str:
    return f"{error.problem}. {error.remedy}"


def _where(folder: RunFolder, error: JournalError) -> str:
    """The file, where it is not the journal itself."""
    name = Path(error.path).name
    return "" if name == folder.journal.name else f"{name} "
