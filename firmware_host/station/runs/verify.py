"""Do the files of a run fit each other: journal, setup, targets and record?"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from firmware_host.errors import JournalError, MissingFileError, UnreadableFileError
from firmware_host.station.journal.events import Begin
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import replay
from firmware_host.station.runs.folder import RunFolder
from firmware_host.system.files import read_regular

_ADDED: dict[str, object] = {"accepted": {}, "not_asked_for": [], "redo_of": "", "reports": None}
"""What records of earlier versions lack, as it was then."""
_SPARE = 10_000
"""Bytes by which a record may be longer than it is expected to be."""


@dataclass(frozen=True)
class RunFinding:
    """One thing looked at: whether it holds, and what was seen."""

    name: str
    holds: bool
    detail: str


def verify_run(folder: RunFolder) -> tuple[RunFinding, ...]:
    """Look at everything a run's folder holds; changes nothing.

    The findings in order: the journal's lines (checksums, numbers, none lost); the setup against the digest that the
    journal began with; every move against the targets that it began with; the order of what was done; the record
    against the journal. Where the journal can't be read, it is the only finding. Raises nothing for files that
    are wrong.
    """
    try:
        state = replay(journal_events(folder.journal))
    except JournalError as error:
        return (RunFinding("journal", False, error.detail),)
    if state.begin is None:
        return (RunFinding("journal", False, "holds no whole line: the run never began, and nothing was moved"),)
    whole = RunFinding("journal", True, f"{state.lines} lines, each with its checksum")
    targets = RunFinding("targets", not state.astray, state.astray or f"{len(state.begin.targets)}, each where planned")
    opened = f"{state.openings} openings of the gate, each at a standstill on its microstep"
    order = RunFinding("order", not state.disorder, state.disorder or opened)
    return whole, _setup(folder, state.begin), targets, order, _record(folder, state.record)


def _setup(folder: RunFolder, begin: Begin) -> RunFinding:
    try:
        digest = folder.setup_digest()
    except JournalError as error:
        return RunFinding("setup", False, error.detail)
    if digest != begin.setup_digest:
        return RunFinding("setup", False, f"was changed since the run began: SHA-256 {digest[:16]}..")
    return RunFinding("setup", True, f"as when the run began: SHA-256 {digest[:16]}..")


def _record(folder: RunFolder, expected: RunRecord) -> RunFinding:
    try:
        text = expected.to_json()
        most = 2 * len(text) + _SPARE  # other spaces, and the names of an earlier version
        saved = json.loads(read_regular(folder.record, most, links=False), object_hook=_renamed)
        saved = _ADDED | saved if isinstance(saved, dict) else saved
    except MissingFileError:
        if expected.outcome == "running":
            return RunFinding("record", True, "none yet: the run did not come to an end")
        return RunFinding("record", False, f"is missing, and the journal says: {expected.outcome}")
    except UnreadableFileError as error:
        return RunFinding("record", False, error.problem)
    except (ValueError, RecursionError) as error:
        return RunFinding("record", False, f"cannot be read ({error})")
    if saved == json.loads(text):
        return RunFinding("record", True, f"{expected.done} of {len(expected.passes)} passes done, as in the journal")
    if expected.outcome == "running":
        return RunFinding("record", True, "from before the run was resumed; resumed, it did not come to an end")
    return RunFinding("record", False, "differs from what the journal says")


def _renamed(entry: dict[str, Any]) -> dict[str, Any]:
    """A pass of a record that an earlier version saved, with the present name of the time of its standstill."""
    added = {"repeats": 0} if "planned_microstep" in entry else {}
    return added | {"standstill" if key == "at_rest" else key: value for key, value in entry.items()}
