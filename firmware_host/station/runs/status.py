"""How a run stands, from what its folder holds, and what going on with it takes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from firmware_host.acts import Act, Resume
from firmware_host.controller.registry import load_dialect
from firmware_host.errors import FirmwareHostError
from firmware_host.planning.plan import plan_job
from firmware_host.station.journal.journal import in_use, read_journal
from firmware_host.station.journal.last_position import AT_MACHINE_ZERO, LastPosition, last_position
from firmware_host.station.journal.record import PassRecord, PassStatus, RunRecord, ended_as, make_record
from firmware_host.station.runs.folder import RunFolder


class Place(Enum):
    """What a resumed run does about the job's zero."""

    HOMES = "homes"
    """It seeks the home switch again."""
    NEW = "new"
    """No zero was set yet: it is set where the part stands."""
    AS_LEFT = "as-left"
    """The axis is to stand where the run left it; that is proved first."""
    BY_HAND = "by-hand"
    """The position is lost: somebody has to turn the part to the job's zero."""


@dataclass(frozen=True)
class RunStatus:
    """How a run stands. `under_way`: a process is at work on it now.

    `unknown`: passes that will be asked about. `place`, and `why` where the position is lost. `microsteps`: lowest and
    highest position at which the axis was left, from the job's zero. `stands_still`: False where the run could not make
    sure. `acts`: how to resume it; none where it is done or under way.
    """

    record: RunRecord
    under_way: bool
    unknown: tuple[PassRecord, ...]
    place: Place
    why: str
    microsteps: tuple[int, int]
    stands_still: bool
    acts: tuple[Act, ...]

    @property
    def state(self) -> str:
        """How it ended, in a word."""
        return ended_as(self.record, under_way=self.under_way)


def run_status(folder: RunFolder) -> RunStatus:
    """Read a run's folder; changes nothing. Raises `JournalError` or `InputError` where it isn't whole."""
    events = read_journal(folder.journal)
    record = make_record(events)
    setup = folder.load_setup()
    capabilities = load_dialect(setup.machine.link.dialect).capabilities
    left = last_position(events, plan_job(setup).route, stop_keeps_position=capabilities.stop_keeps_position)
    place, why = _place(left, homes=setup.machine.axis.home_switch)
    ends = [event for event in events if event["event"] == "end"]
    under_way = in_use(folder.journal)
    resume = Resume(str(folder.path), zero_set_anew=place is Place.BY_HAND, without_marking=not record.marking)
    return RunStatus(
        record=record,
        under_way=under_way,
        unknown=unknown_of(record),
        place=place,
        why=why,
        microsteps=(left.lowest, left.highest),
        stands_still=bool(ends[-1].get("stands_still", True)) if ends else True,
        acts=() if under_way or record.outcome == "done" else (resume,),
    )


def run_status_if_readable(folder: RunFolder) -> RunStatus | None:
    """`run_status`; None where the folder does not hold together (`verify_run` tells why)."""
    try:
        return run_status(folder)
    except FirmwareHostError:
        return None


def unknown_of(record: RunRecord) -> tuple[PassRecord, ...]:
    """Passes of which nobody can tell whether they were finished."""
    return tuple(entry for entry in record.passes if entry.status == PassStatus.UNKNOWN.value)


def _place(left: LastPosition, *, homes: bool) -> tuple[Place, str]:
    if homes:
        return Place.HOMES, ""
    if left.origin is None:
        return Place.NEW, ""
    if left.lost:
        return Place.BY_HAND, left.lost
    if left.lowest == left.highest == -left.origin:
        return Place.BY_HAND, AT_MACHINE_ZERO
    return Place.AS_LEFT, ""
