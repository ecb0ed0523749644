"""Resuming a run that was stopped or crashed: no pass is skipped, none repeated without asking."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from firmware_host import acts
from firmware_host.controller.reply import AxisState
from firmware_host.errors import ControllerError, ControllerResetError, InputError, JournalError
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.journal.events import Assumed, Begin, PositionLost, Resume, Zero
from firmware_host.station.journal.journal import Journal, read_journal
from firmware_host.station.journal.last_position import AT_MACHINE_ZERO, LastPosition
from firmware_host.station.journal.record import PassRecord, PassStatus, RunRecord
from firmware_host.station.journal.replay import left_by, replay
from firmware_host.station.progress import Progress
from firmware_host.station.run import RunLoop, Station
from firmware_host.station.runs.folder import RunFolder

AskWhetherDone = Callable[[PassRecord], bool]


def resume_run(
    station: Station, *, ask: AskWhetherDone, zero: Zero = Zero.AS_LEFT, accept_limits: Iterable[str] = ()
) -> RunRecord:
    """Resume the run in the station's folder; `ask` is asked about each pass whose end is unknown.

    The position must be provable: a home switch, a controller that was neither reset nor moved since, or `SET_ANEW`;
    that is settled before anything is asked.
    Raises `InputError` when nothing is left or a run without marking would be resumed with marking, `ControllerError`
    when the position is not provable, and as `run_job`.
    """
    folder = station.folder
    events = read_journal(folder.journal)
    state = replay(events)
    setup, plan = _as_begun(folder, state.begin)
    record = state.record
    if record.outcome == "done":
        record.save(folder.record)  # it may have crashed between the last line of its journal and this
        raise InputError("the run is done: nothing is left", "Start the job again", source=str(folder.path))
    _require_same_marking(record, station)
    homes = setup.machine.axis.home_switch
    with Journal(folder.journal, station.clock) as journal:
        if journal.whole_lines != len(events):
            raise JournalError(str(folder.journal), "was continued by another process meanwhile. Look at the run again")
        try:
            origin, at, turns = _zero(station, left_by(events, plan.route), zero, homes=homes)
        except ControllerResetError as error:
            journal.write(PositionLost(reason=error.detail))  # it may not show another time
            raise
        journal.write(Resume(zero=zero))
        _tell(station.progress, record, origin, at, homes=homes)
        if zero is Zero.SET_ANEW and not homes:
            _unlock_if_locked(station)
        answers = _settle_unknown(record, journal, ask, station.progress)
        to_do = [(entry.segment, entry.number) for entry in answers if entry.status != PassStatus.DONE.value]
        loop = RunLoop(setup, plan, station, journal)
        return loop.run(to_do, accept_limits=accept_limits, origin=origin, at=at, turns=turns)


def _as_begun(folder: RunFolder, begin: Begin | None) -> tuple[Setup, JobPlan]:
    """Setup and plan of the run. Raises `JournalError` where they are not those that the run began with."""
    if begin is None:
        raise JournalError(str(folder.journal), "holds no whole line: the run never began. Start the job again")
    if begin.setup_digest != folder.setup_digest():
        raise JournalError(str(folder.setup), "was changed since the run began. Start the job again")
    setup = folder.load_setup()
    plan = plan_job(setup)
    if begin.targets != tuple(plan.route.segment_targets().tolist()):
        raise JournalError(
            str(folder.setup), "gives other targets than the journal holds: another version began the run"
        )
    return setup, plan


def _require_same_marking(record: RunRecord, station: Station) -> None:
    """Raise `InputError` where passes without marking would come to count as marked, or the other way round."""
    if record.marking == station.gate.marks:
        return
    if record.marking:
        problem = "it marks: a pass turned to without marking would count as marked"
        remedy = "Resume it with marking"
    else:
        problem = "it was begun without marking: what it has turned to was never marked"
        remedy = "Resume it without marking, or run the job anew to mark"
    again = acts.Resume(str(station.folder.path), without_marking=not record.marking)
    raise InputError(problem, remedy, source=str(station.folder.path), acts=(again,))


def _tell(progress: Progress, record: RunRecord, origin: int | None, at: int, *, homes: bool) -> None:
    """Say what was found and what is done about it."""
    because = f" ({record.reason})" if record.reason else ""
    ended = "has no end: it crashed" if record.outcome == "running" else f"{record.outcome}{because}"
    progress.note(f"the run {ended}; {record.done} of {len(record.passes)} passes are {record.passes_word}")
    if origin is not None:
        progress.note(f"the axis stands at microstep {at} from the job's zero, where the run left it")
    elif homes:
        progress.note("the axis seeks its home switch again")
    else:
        progress.note("the job's zero is where the part stands now")


def _unlock_if_locked(station: Station) -> None:
    """End the lock after an alarm or a reset: somebody has looked, and no position from before it counts any more."""
    if station.controller.status().state is AxisState.LOCKED:
        station.progress.note("the controller is locked after an alarm or a reset; it is unlocked now")
        station.controller.unlock()


def _settle_unknown(record: RunRecord, journal: Journal, ask: AskWhetherDone, progress: Progress) -> list[PassRecord]:
    """The passes with every unknown one asked about, each answer journalled."""
    settled = []
    for entry in record.passes:
        if entry.status == PassStatus.UNKNOWN.value:
            done = ask(entry)
            journal.write(Assumed(segment=entry.segment, number=entry.number, done=done))
            progress.note(
                f"segment {entry.segment}, pass {entry.number}: "
                + ("taken for done, it will not be marked again" if done else "not done, it will be marked again")
            )
            status = PassStatus.DONE if done else PassStatus.TO_DO
            settled.append(replace(entry, status=status.value))
        else:
            settled.append(entry)
    return settled


def _zero(station: Station, left: LastPosition, zero: Zero, *, homes: bool) -> tuple[int | None, int, int]:
    """Origin in machine steps, where the axis stands in microsteps, turns taken back; an origin of None sets zero anew.

    Without a home switch the axis must stand, by the controller's own count, where the journal says that it stands
    or on the way of the move that was begun, and nothing may hint at a reset: a board that was reset counts from zero.
    """
    controller = station.controller
    if homes or zero is Zero.SET_ANEW or left.origin is None:
        return None, 0, 0
    status = controller.status()
    if controller.greeting is not None:
        raise _not_provable(station, "the controller was reset since", ControllerResetError)
    if status.state not in (AxisState.READY, AxisState.HOLDING):
        raise _not_provable(station, f"the controller is {status.state.value}", ControllerResetError)
    if (delay_ms := controller.settings.release_delay_ms) is not None:
        raise _not_provable(station, f"the motor is released {delay_ms} ms after a move", ControllerResetError)
    machine_steps = round(controller.position_steps(status))
    if machine_steps == 0:
        raise _not_provable(station, AT_MACHINE_ZERO, ControllerResetError)
    if why := left.why_lost(stop_keeps_position=controller.capabilities.stop_keeps_position):
        raise _not_provable(station, why)
    at = machine_steps - left.origin
    if not left.lowest <= at <= left.highest:
        found = f"it stands at microstep {at}, where the run did not leave it ({left.lowest} to {left.highest})"
        raise _not_provable(station, found)
    return left.origin, at, left.turns


def _not_provable(station: Station, why: str, kind: type[ControllerError] = ControllerError) -> ControllerError:
    again = acts.Resume(str(station.folder.path), zero_set_anew=True, without_marking=not station.gate.marks)
    return kind(
        f"the part's position cannot be proved: {why}. See that the part stands at the job's zero, turn it there by "
        "hand if it doesn't, and say so when you resume the run",
        acts=(again,),
    )
