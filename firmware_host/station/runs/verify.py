"""Does a run's folder hold together: journal, setup, plan and record, each against the others?"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from firmware_host.errors import FirmwareHostError, JournalError
from firmware_host.planning.plan import plan_job
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.record import make_record
from firmware_host.station.runs.folder import RunFolder

_LARGEST_RECORD = 1 << 30
_HALF_MICROSTEP = 0.5


@dataclass(frozen=True)
class RunFinding:
    """One thing looked at: whether it holds, and what was seen."""

    name: str
    holds: bool
    detail: str


def verify_run(folder: RunFolder) -> tuple[RunFinding, ...]:
    """Look at everything a run's folder holds; changes nothing.

    The findings in order: the journal's lines (checksums, numbers, none lost); the setup against the digest that the
    journal began with; the plan's targets against the journal's; the order of what was done; the record against the
    journal. Where the journal can't be read, it is the only finding. Raises nothing for what is wrong with the files.
    """
    try:
        events = read_journal(folder.journal)
    except JournalError as error:
        return (RunFinding("journal", False, error.detail),)
    if not events:
        return (RunFinding("journal", False, "holds no whole line: the run never began"),)
    whole = RunFinding("journal", True, f"{len(events)} lines, each with its checksum")
    return whole, _setup(folder, events[0]), _targets(folder, events[0]), _order(events), _record(folder, events)


def _setup(folder: RunFolder, begin: Mapping[str, Any]) -> RunFinding:
    try:
        digest = folder.setup_digest()
    except JournalError as error:
        return RunFinding("setup", False, error.detail)
    if digest != begin.get("setup"):
        return RunFinding("setup", False, f"was changed since the run began: SHA-256 {digest[:16]}..")
    return RunFinding("setup", True, f"as when the run began: SHA-256 {digest[:16]}..")


def _targets(folder: RunFolder, begin: Mapping[str, Any]) -> RunFinding:
    try:
        targets = plan_job(folder.load_setup()).route.segment_targets().tolist()
    except FirmwareHostError as error:
        return RunFinding("targets", False, f"cannot be planned again: {error}")
    if targets != begin.get("targets"):
        return RunFinding("targets", False, "differ from those the setup gives: another version began the run")
    return RunFinding("targets", True, f"{len(targets)}, as the setup gives them")


def _order(events: Iterable[Mapping[str, Any]]) -> RunFinding:
    """Every opening of the gate lies behind a rest on the planned microstep, and no motion before its closing."""
    resting: int | None = None
    gate: tuple[int, int] | None = None
    opened = 0
    for event in events:
        kind, line = event["event"], f"line {event['n']}"
        if kind in ("home", "move", "unwind", "finish") and gate is not None:
            return RunFinding("order", False, f"{line}: {kind} while the gate is open for segment {gate[0]}")
        if kind == "at-rest":
            if abs(event["reported"] - event["target"]) > _HALF_MICROSTEP:
                return RunFinding("order", False, f"{line}: at rest at {event['reported']}, planned {event['target']}")
            resting = event["segment"]
        elif kind in ("home", "move", "unwind", "finish", "resume"):
            resting = gate = None
        elif kind == "gate-open":
            if resting != event["segment"]:
                return RunFinding(
                    "order", False, f"{line}: gate open for segment {event['segment']}, which is not at rest"
                )
            gate, opened = (event["segment"], event["pass"]), opened + 1
        elif kind == "pass-done" and gate is not None:
            return RunFinding("order", False, f"{line}: a pass is done before its gate is closed")
        elif kind in ("gate-closed", "end"):
            gate = None
    return RunFinding("order", True, f"{opened} openings of the gate, each at rest on its microstep")


def _record(folder: RunFolder, events: Iterable[Mapping[str, Any]]) -> RunFinding:
    expected = make_record(events)
    try:
        with folder.record.open("rb") as file:
            saved = json.loads(file.read(_LARGEST_RECORD))
    except FileNotFoundError:
        if expected.outcome == "running":
            return RunFinding("record", True, "none yet: the run did not come to an end")
        return RunFinding("record", False, f"is missing, and the journal says: {expected.outcome}")
    except (OSError, ValueError, RecursionError) as error:
        return RunFinding("record", False, f"cannot be read ({error})")
    if saved == json.loads(json.dumps(asdict(expected))):
        return RunFinding("record", True, f"{expected.done} of {len(expected.passes)} passes done, as in the journal")
    if expected.outcome == "running":
        return RunFinding("record", True, "of before the run was gone on with, which did not come to an end")
    return RunFinding("record", False, "differs from what the journal says")
