"""Resuming a run that was stopped or crashed: no pass is skipped, none repeated without asking."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from firmware_host import acts
from firmware_host.controller.registry import load_dialect
from firmware_host.controller.reply import AxisState
from firmware_host.errors import ControllerError, ControllerResetError, JournalError
from firmware_host.model import Setup
from firmware_host.model.machine.machine import Axis
from firmware_host.planning.limits.accept import read_accepted
from firmware_host.station.gates.gate import Gate
from firmware_host.station.hand_note import since_a_hand
from firmware_host.station.journal.events import Assumed, PositionLost, Resume, Zero
from firmware_host.station.journal.journal import Journal
from firmware_host.station.journal.last_position import LastPosition
from firmware_host.station.journal.record import PassRecord, PassStatus, RunRecord
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import Progress
from firmware_host.station.run import RunLoop, first_start
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.lineage import left_by_the_last
from firmware_host.station.runs.resumable import Resumable
from firmware_host.station.stop_request import stopped_run
from firmware_host.station.zero import AskZero, Start, ZeroAt, found_as_left, require_home_switch

AskWhetherDone = Callable[[PassRecord], bool]


def resume_run(
    station: Station,
    *,
    ask: AskWhetherDone,
    zero: ZeroAt | None = None,
    ask_zero: AskZero | None = None,
    accept_limits: Iterable[str] = (),
) -> RunRecord:
    """Resume the run in the station's folder; `ask` is asked about each pass whose end is unknown.

    `zero`: "last" as the run had it (the controller must have been neither reset nor moved since), "home" at the home
    switch, "here": somebody has turned the part to it by hand. None: the home switch if there is one, else "last".
    The position must be provable; that is settled before anything is asked. A run that has set no zero yet takes it as
    a new one does (`ask_zero`: as `run_job`).
    Raises as `Resumable.read`, `InputError` when a run without marking would be resumed with marking, `ControllerError`
    when the position is not provable, and as `run_job`.
    """
    folder = station.folder
    run = Resumable.read(folder)
    run.require_same_marking(marks=station.gate.marks)
    setup, plan, record = run.setup, run.plan, run.state.record
    with stopped_run(str(folder.path)), Journal(folder.journal, station.clock) as journal:
        if journal.whole_lines != run.state.lines:
            raise JournalError(str(folder.journal), "was continued by another process meanwhile. Look at the run again")
        try:
            last = station.scales.last_run(station.controller.url, setup.machine.axis.letter)
            left = left_by_the_last(folder, last, since=record.ended) or run.left()  # a redo may have moved it since
            start = _start(setup, station, left, zero, ask_zero)
        except ControllerResetError as error:
            journal.write(PositionLost(reason=error.detail))  # it may not show another time
            raise
        accepted = read_accepted(accept_limits)
        journal.write(Resume(zero=Zero.SET_ANEW if zero == "here" else Zero.AS_LEFT, accepted=accepted))
        _tell(station.progress, record, start)
        if zero == "here":
            _unlock_if_locked(station)
        answers = _settle_unknown(record, journal, ask, station.progress)
        to_do = [entry for entry in answers if entry.status == PassStatus.TO_DO.value]
        return RunLoop(setup, plan, station, journal).run(
            [(entry.segment, entry.number) for entry in to_do],
            start,
            accepted={**record.accepted, **accepted},
            each=run.begin.passes,
            done=[(entry.segment, entry.number) for entry in answers if entry.status == PassStatus.DONE.value],
            again=[(entry.segment, entry.number) for entry in to_do if entry.repeats],
        )


def require_startable(run: Resumable, gate: Gate, zero: ZeroAt | None) -> None:
    """Raise what `resume_run` would, as far as the run's files tell it without the controller; `zero` as there."""
    run.require_same_marking(marks=gate.marks)
    left, machine = run.left(), run.setup.machine
    if zero == "home" or (zero is None and machine.axis.home_switch):
        require_home_switch(machine)
    elif zero != "here" and left.origin is not None:
        capabilities = load_dialect(machine.link.dialect).capabilities
        if why := left.why_lost(stop_keeps_position=capabilities.stop_keeps_position):
            raise _not_provable(run.folder, gate, machine.axis, why)


def _tell(progress: Progress, record: RunRecord, start: Start) -> None:
    """Say what was found and what is done about it."""
    because = f" ({record.reason})" if record.reason else ""
    ended = "has no end: it crashed" if record.outcome == "running" else f"{record.outcome}{because}"
    progress.note(f"the run {ended}; {record.done} of {len(record.passes)} passes are {record.passes_word}")
    if start.origin is not None:
        progress.note(f"the axis stands at microstep {start.at} from the job's zero, where the run left it")
    elif start.home:
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


def _start(setup: Setup, station: Station, left: LastPosition, zero: ZeroAt | None, ask_zero: AskZero | None) -> Start:
    """From where the run is resumed. Raises `ControllerError` for a zero that cannot be proved."""
    if left.origin is None:
        return first_start(
            setup, station, zero, ask=ask_zero, again=lambda way: _again(station.folder, station.gate, way)
        )
    unsaid = zero is None
    zero = zero if zero is not None else "home" if setup.machine.axis.home_switch else "last"
    if zero == "home":
        require_home_switch(setup.machine)
        return Start(home=True)
    if zero == "here":
        return Start()
    kept = station.scales.hand(station.controller.url, setup.machine.axis.letter)
    stands = since_a_hand(left, kept, setup.machine, same_part=unsaid)
    found = found_as_left(station.controller, setup.machine.axis, stands, left.origin)
    if found.unproved:
        kind = ControllerResetError if found.reset else ControllerError
        raise _not_provable(station.folder, station.gate, setup.machine.axis, found.unproved, kind)
    return Start(origin=left.origin, at=found.at, turns=left.turns)


def _not_provable(
    folder: RunFolder, gate: Gate, axis: Axis, why: str, kind: type[ControllerError] = ControllerError
) -> ControllerError:
    known = f". {axis.unpowered_words}" if axis.unpowered_words else ""
    return kind(
        f"the part's position cannot be proved: {why}{known}. See that the part stands at the job's zero, turn it "
        "there by hand if it doesn't, and say so when you resume the run",
        acts=(_again(folder, gate, "here"),),
    )


def _again(folder: RunFolder, gate: Gate, zero: ZeroAt) -> acts.Resume:
    return acts.Resume(str(folder.path), zero=zero, without_marking=not gate.marks)
