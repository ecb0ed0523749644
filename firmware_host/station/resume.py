"""Going on with a run that was stopped or crashed: no pass is skipped, none repeated without asking."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from enum import Enum
from typing import Any

from firmware_host.controller.reply import AxisState
from firmware_host.errors import ControllerError, ControllerResetError, InputError, JournalError
from firmware_host.planning.moves import Route
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.journal import Journal, read_journal
from firmware_host.station.record import PassRecord, PassStatus, RunRecord, make_record
from firmware_host.station.run import RunLoop, Station
from firmware_host.station.run_folder import RunFolder

AskWhetherDone = Callable[[PassRecord], bool]


class Zero(Enum):
    """What is known of the job's zero when a run goes on."""

    AS_LEFT = "as-left"
    """The axis stands where the run left it, or has homed since: prove it."""
    SET_ANEW = "set-anew"
    """Somebody has turned the part to the job's zero by hand."""


def unknown_passes(folder: RunFolder) -> tuple[PassRecord, ...]:
    """Passes of which the journal can't tell whether they were finished."""
    record = make_record(read_journal(folder.journal))
    return tuple(entry for entry in record.passes if entry.status == PassStatus.UNKNOWN.value)


def resume_run(
    station: Station, *, ask: AskWhetherDone, zero: Zero = Zero.AS_LEFT, accept_limits: Iterable[str] = ()
) -> RunRecord:
    """Go on with the run in the station's folder; `ask` is asked about each pass whose end is unknown.

    The position must be provable: a home switch, a controller that was neither reset nor moved since, or `SET_ANEW`;
    that is settled before anything is asked.
    Raises `InputError` when nothing is left, `ControllerError` when the position is not provable, and as `run_job`.
    """
    folder = station.folder
    events = read_journal(folder.journal)
    if not events:
        raise JournalError(str(folder.journal), "holds no whole line: the run never began. Start the job again")
    if events[0]["setup"] != folder.setup_digest():
        raise JournalError(str(folder.setup), "was changed since the run began. Start the job again")
    setup = folder.load_setup()
    plan = plan_job(setup)
    if events[0]["targets"] != plan.route.segment_targets().tolist():
        raise JournalError(
            str(folder.setup), "gives other targets than the journal holds: another version began the run"
        )
    record = make_record(events)
    if record.outcome == "done":
        record.save(folder.record)  # it may have crashed between the last line of its journal and this
        raise InputError("the run is done: nothing is left", "Start the job again", source=str(folder.path))
    with Journal(folder.journal, station.clock) as journal:
        try:
            origin, at, turns = _zero(station, plan, events, zero, homes=setup.machine.axis.home_switch)
        except ControllerResetError as error:
            journal.write("position-lost", reason=error.detail)  # it will not show another time
            raise
        journal.write("resume", zero=zero.value)
        answers = _settle_unknown(record, journal, ask)
        to_do = [(entry.segment, entry.number) for entry in answers if entry.status != PassStatus.DONE.value]
        loop = RunLoop(setup, plan, station, journal)
        return loop.run(to_do, accept_limits=accept_limits, origin=origin, at=at, turns=turns)


def _settle_unknown(record: RunRecord, journal: Journal, ask: AskWhetherDone) -> list[PassRecord]:
    """The passes with every unknown one asked about, each answer journalled."""
    settled = []
    for entry in record.passes:
        if entry.status == PassStatus.UNKNOWN.value:
            done = ask(entry)
            journal.write("assumed", segment=entry.segment, done=done, **{"pass": entry.number})
            status = PassStatus.DONE if done else PassStatus.TO_DO
            settled.append(replace(entry, status=status.value))
        else:
            settled.append(entry)
    return settled


def _zero(
    station: Station, plan: JobPlan, events: list[dict[str, Any]], zero: Zero, *, homes: bool
) -> tuple[int | None, int, int]:
    """Origin in machine steps, where the axis stands in microsteps, turns taken back; an origin of None sets zero anew.

    Without a home switch the axis must stand, by the controller's own count, where the journal says that it rests or
    on the way of the move that was begun, and nothing may tell of a reset: a board that was reset counts from zero.
    """
    zeros = [event for event in events if event["event"] == "zero"]
    if homes or zero is Zero.SET_ANEW or not zeros:
        return None, 0, 0
    controller = station.controller
    status = controller.status()
    if controller.greeting is not None or status.state not in (AxisState.READY, AxisState.HOLDING):
        raise _not_provable("the controller was reset since, or is locked", ControllerResetError)
    machine_steps = round(controller.position_steps(status))
    if machine_steps == 0:
        why = "it stands at machine zero, where a controller that was switched off and on stands, too"
        raise _not_provable(why, ControllerResetError)
    lowest, highest = _whereabouts(events, plan.route, controller.abilities.stop_keeps_position)
    origin = int(zeros[-1]["origin_steps"])
    at = machine_steps - origin
    if not lowest <= at <= highest:
        raise _not_provable(f"it stands at microstep {at}, where the run did not leave it ({lowest} to {highest})")
    return origin, at, _turns(zeros[-1])


def _turns(zero: dict[str, Any]) -> int:
    """Whole turns taken back when this zero was journalled; a journal of before unwinding existed tells of none."""
    return int(zero.get("turns", 0))


def _whereabouts(events: list[dict[str, Any]], route: Route, stop_keeps_position: bool) -> tuple[int, int]:
    """Lowest and highest microstep at which the journal may have left the axis: at rest, or on the way of a move.

    Where a stop stops short, a move whose end wasn't journalled may have been stopped: then nothing is known.
    """
    places, lost, under_way, turns = [0], "", False, 0
    for event in events:
        kind = event["event"]
        if kind == "zero":
            places, lost, under_way, turns = [event["at"]], "", False, _turns(event)
        elif kind == "resume" and event["zero"] == Zero.SET_ANEW.value:
            lost = "the zero was to be set anew, which was not done"
        elif kind == "position-lost":
            lost = "the controller was found reset when the run was to go on"
        elif kind == "move":
            place = route.angles.target(event["segment"] - 1, route.per_part_turn, turns)
            places += [place - route.overrun, place]
            under_way = True
        elif kind in ("unwind", "finish"):
            places.append(event["target"])
            under_way = True
        elif kind == "at-rest":
            places = [route.angles.target(event["segment"] - 1, route.per_part_turn, turns)]
            under_way = False
        elif kind == "finished":
            places, under_way = [event["target"]], False
        elif kind == "end":
            lost = f"the run ended with: {event['reason']}" if event.get("position_lost") else lost
            under_way = False
    if under_way and not stop_keeps_position:
        lost = "it was moving when the run crashed, and may have been stopped short"
    if lost:
        raise _not_provable(lost)
    return min(places), max(places)


def _not_provable(why: str, kind: type[ControllerError] = ControllerError) -> ControllerError:
    return kind(
        f"the part's position cannot be proved: {why}. See that the part stands at the job's zero, turning it by hand "
        "if it doesn't, and resume with --zero set-anew"
    )
