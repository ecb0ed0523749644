"""How a run stands, from what its folder holds, and what resuming it takes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from firmware_host.acts import Act, Resume
from firmware_host.controller.dialect import Capabilities
from firmware_host.controller.registry import load_dialect
from firmware_host.errors import FirmwareHostError
from firmware_host.planning.plan import plan_job
from firmware_host.station.journal.journal import in_use, journal_events
from firmware_host.station.journal.last_position import AT_MACHINE_ZERO, LastPosition
from firmware_host.station.journal.record import PassRecord, RunRecord, ended_as
from firmware_host.station.journal.replay import left_by, replay
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

    `place`, and `why` where the position is lost. `microsteps`: lowest and
    highest position at which the axis was left, from the job's zero. `stands_still`: False where the run could not tell
    for certain. `acts`: how to resume it; none where it is done or under way.
    """

    record: RunRecord
    under_way: bool
    place: Place
    why: str
    microsteps: tuple[int, int]
    stands_still: bool
    acts: tuple[Act, ...]

    @property
    def unknown(self) -> tuple[PassRecord, ...]:
        """Passes that will be asked about."""
        return self.record.unknown

    @property
    def state(self) -> str:
        """How it ended, in a word."""
        return ended_as(self.record, under_way=self.under_way)


def run_status(folder: RunFolder) -> RunStatus:
    """Read a run's folder; changes nothing.

    Raises `JournalError` or `InputError` where it isn't whole, `RunNotBegunError` where nothing was moved.
    """
    state = replay(journal_events(folder.journal))
    if state.begin is None:
        raise folder.never_began()
    setup = folder.load_setup()
    left = state.left if state.left is not None else left_by(journal_events(folder.journal), plan_job(setup).route)
    capabilities = load_dialect(setup.machine.link.dialect).capabilities
    place, why = _place(left, capabilities, homes=setup.machine.axis.home_switch)
    under_way = in_use(folder.journal)
    record = state.record
    resume = Resume(
        str(folder.path),
        zero="here" if place is Place.BY_HAND else "",
        without_marking=not record.marking,
        asks=bool(record.unknown),
    )
    return RunStatus(
        record=record,
        under_way=under_way,
        place=place,
        why=why,
        microsteps=(left.lowest, left.highest),
        stands_still=state.stands_still,
        acts=() if under_way or record.outcome == "done" else (resume,),
    )


def run_status_if_readable(folder: RunFolder) -> RunStatus | None:
    """`run_status`; None where the files do not fit each other (`verify_run` says why)."""
    try:
        return run_status(folder)
    except FirmwareHostError:
        return None


def _place(left: LastPosition, capabilities: Capabilities, *, homes: bool) -> tuple[Place, str]:
    if homes:
        return Place.HOMES, ""
    if left.origin is None:
        return Place.NEW, ""
    if why := left.why_lost(stop_keeps_position=capabilities.stop_keeps_position):
        return Place.BY_HAND, why
    if left.lowest == left.highest == -left.origin:
        return Place.BY_HAND, AT_MACHINE_ZERO
    return Place.AS_LEFT, ""
