"""The run: check and set zero; for each segment move, prove the standstill, settle, open the gate, wait, close it.

Every act is journalled before it is done. The gate is open only from a standstill proof to the first sign that the axis
moves, and whatever goes wrong, it is closed before anything else happens.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace

from firmware_host.acts import Run
from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.controller.sender import LOOK_S
from firmware_host.controller.standstill import HALF_STEP
from firmware_host.controller.usual_time import UsualTime
from firmware_host.errors import (
    FirmwareHostError,
    JournalError,
    PlanError,
    PositionError,
)
from firmware_host.model import Setup
from firmware_host.planning.index.unwinding_settle import unwind_settle
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.accept import read_accepted, require_may_move
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.beforehand import require_runnable
from firmware_host.station.gates.gate import Gate, PartContext, PassRequest, PassState
from firmware_host.station.journal import events
from firmware_host.station.journal.journal import Journal, journal_events
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import replay
from firmware_host.station.motion import Motion, outcome_of
from firmware_host.station.note_failure import note_failure
from firmware_host.station.operator import Operator
from firmware_host.station.progress import Progress, SilentProgress
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.check import require_fitting, require_resolution, stored_scale
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.stop_request import StopRequest, stopped_run, stopped_while
from firmware_host.station.zero import Again, AskZero, Start, ZeroAt, fresh_start

_WATCH_S = 0.02
_FRESH_S = 0.005
"""A report no older than this (s) need not be asked for again before the gate opens."""
_JOURNALLED_S = 0.03
"""So long at the most before the settle time is over, the opening of the gate is journalled (s)."""

PassKey = tuple[int, int]


@dataclass(frozen=True)
class Station:
    """Everything a run works with. `scales` knows what we wrote to controllers.

    `release_motor`: let go of the motor when the run ends early, once the axis stands still; the position is lost then.
    `part`: which part of a batch is marked.
    """

    controller: Controller
    gate: Gate
    clock: Clock
    folder: RunFolder
    scales: KnownScales
    operator: Operator
    progress: Progress = field(default_factory=SilentProgress)
    stop: StopRequest = field(default_factory=StopRequest)
    release_motor: bool = False
    part: PartContext | None = None


def require_limits(limits: LimitReport, accepted: Iterable[str] = ()) -> None:
    """Raise `LimitExceededError` if a limit stops the plan; `accepted`: see `read_accepted`."""
    require_may_move(limits.checks, read_accepted(accepted))


def run_job(
    setup: Setup,
    plan: JobPlan,
    station: Station,
    *,
    accept_limits: Iterable[str] = (),
    zero: ZeroAt | None = None,
    ask_zero: AskZero | None = None,
    write_settings: Callable[[], object] | None = None,
) -> RunRecord:
    """Run a job from its beginning; returns the record of a run that came to its end.

    `zero`: where its zero is; unsaid, as `fresh_start`, which asks `ask_zero` after a run that was stopped.
    `write_settings` writes what the plan needs, once nothing is left to ask and nothing else refuses the run.
    Raises `ZeroNotSaidError` before anything begins, `LimitExceededError` and `SettingsMismatchError` before anything
    moves, `RunStoppedError` when it was asked
    to stop, `GateError`, `LinkError`, `ControllerError` or `JournalError` when something failed; the record is saved
    each time, and the run can be resumed.
    """
    if station.folder.journal.exists():
        raise JournalError(str(station.folder.journal), "holds a run already. Resume it, or run in a new folder")
    require_countable(plan.segments.count * setup.job.mark.passes)
    again = Run(without_marking=not station.gate.marks, release_motor=station.release_motor)
    with stopped_while("asking where the part stands"):
        start = first_start(setup, station, zero, ask=ask_zero, again=lambda way: replace(again, zero=way))
        if write_settings is not None:
            require_runnable(setup, plan, station.controller, station.gate, station.clock, start)
            write_settings()
    accepted = read_accepted(accept_limits)
    digest = station.folder.save_setup(setup)
    with Journal(station.folder.journal, station.clock) as journal:
        journal.write(
            events.Begin(
                setup_digest=digest,
                job=setup.job.name,
                machine=setup.machine.name,
                port=station.controller.url,
                targets=tuple(plan.route.segment_targets().tolist()),
                passes=setup.job.mark.passes,
                overrun=plan.route.overrun,
                marking=station.gate.marks,
                accepted={**setup.job.accept, **accepted},
            )
        )
        loop = RunLoop(setup, plan, station, journal)
        return loop.run(all_passes(plan, setup.job.mark.passes), start, accepted=accepted)


def require_countable(passes: int) -> None:
    """Raise `PlanError` for more passes than a run's journal holds."""
    if passes > events.MOST_PASSES:
        raise PlanError("passes of one run", passes, "", events.MOST_PASSES, "Mark the part in several jobs")


def first_start(setup: Setup, station: Station, zero: ZeroAt | None, *, ask: AskZero | None, again: Again) -> Start:
    """From where a run starts that has set no zero yet; see `fresh_start`."""
    last_run = station.scales.last_run(station.controller.url, setup.machine.axis.letter)
    start = fresh_start(setup, station.controller, last_run, zero, ask=ask, again=again)
    if start.origin is not None:
        station.progress.note(f"the last run's zero is used again: the axis stands at microstep {start.at} from it")
    return start


def all_passes(plan: JobPlan, passes: int) -> list[PassKey]:
    """(segment, pass) of every pass of a plan, in order, both from 1."""
    return [(segment, number) for segment in range(1, plan.segments.count + 1) for number in range(1, passes + 1)]


class RunLoop:
    """One go at the passes that are left. The journal is open for writing."""

    def __init__(self, setup: Setup, plan: JobPlan, station: Station, journal: Journal) -> None:
        self._setup = setup
        self._plan = plan
        self._station = station
        self._journal = journal
        self._targets = plan.route.segment_targets().tolist()
        self._marked_s: deque[float] = deque(maxlen=100)
        self._journalling = UsualTime(0.0, _JOURNALLED_S)
        self._motion = Motion(station.controller, journal, station.stop)

    def run(self, to_do: list[PassKey], start: Start, *, accepted: Mapping[str, str]) -> RunRecord:
        """Do the passes `to_do`; `accepted`: limits accepted besides the job's own, with their reasons."""
        station = self._station
        with stopped_run(str(station.folder.path)):
            try:
                require_may_move(self._plan.limits.checks, accepted)
                station.gate.attach(station.controller)
                mover = self._make_ready(start)
                self._passes(mover, to_do)
                self._finish(mover)
            except BaseException as error:
                self._end_failed(error)
                raise
        return self._end_done()

    # --- before anything moves -------------------------------------------------------------------------------------

    def _make_ready(self, start: Start) -> AxisMover:
        station, machine = self._station, self._setup.machine
        controller = station.controller
        station.progress.stage("comparing the controller's settings with the plan")
        require_fitting(machine, self._plan, controller.settings)
        known = station.scales.recall(controller.url, controller.settings)
        scale = stored_scale(controller.settings, known)
        if start.home:
            self._mover(scale, 0).prove()  # as it was planned: what cannot be run is refused before it homes
            self._home()
        controller.prepare()
        station.gate.close()
        status = controller.status()
        require_resolution(controller.resolution_steps(status))
        steps = machine.axis.sign * controller.position_steps(status)
        at, turns = start.at, start.turns
        origin = round(steps) if start.origin is None else start.origin
        if start.origin is not None and abs(steps - origin - at) > HALF_STEP:
            raise PositionError("it has not stayed where it was", planned_steps=origin + at, reported_steps=steps)
        mover = self._mover(scale, origin, at, turns)
        mover.prove()
        self._journal.write(events.ZeroSet(origin_steps=origin, at=at, turns=turns, scale_known=known is not None))
        station.scales.remember_run(controller.url, machine.axis.letter, station.folder.path)
        station.progress.zero(machine.axis.sign * origin)
        return mover

    def _mover(self, scale: StoredScale, origin: int, at: int = 0, turns: int = 0) -> AxisMover:
        station, axis = self._station, self._setup.machine.axis
        return AxisMover(
            station.controller,
            station.clock,
            self._plan.program,
            scale,
            origin,
            at,
            axis=axis,
            turns=turns,
            check=station.stop.check,
        )

    def _home(self) -> None:
        self._station.progress.stage("seeking the home switch")
        with self._motion.act(events.Home()):
            self._station.controller.home()

    # --- the passes ------------------------------------------------------------------------------------------------

    def _passes(self, mover: AxisMover, to_do: list[PassKey]) -> None:
        total = self._plan.segments.count * self._setup.job.mark.passes
        standing: int | None = None
        settled_s = 0.0
        for index, (segment, number) in enumerate(to_do):
            if segment != standing:
                settled_s = self._stand_at(mover, segment)
                standing = segment
            self._mark(segment, number, settled_s)
            left = len(to_do) - index - 1
            self._station.progress.done(total - left, total, self._time_left(mover, left))

    def _stand_at(self, mover: AxisMover, segment: int) -> float:
        """Move to a segment and prove that it stands there; when the settle time is over (monotonic s).

        It runs from the first sign of the standstill, while the others are awaited and the standstill is journalled:
        at once if there is time for that, else with the opening of the gate.
        """
        station = self._station
        target = self._targets[segment - 1]
        self._unwind(mover, segment)
        station.progress.stage(f"moving to segment {segment} of {len(self._targets)}")
        position = mover.position(segment)
        with self._motion.act(events.Move(segment=segment, target=target, position=position)):
            proof = mover.move(segment, mover.on_the_way(position, self._check_stop))
        reported = mover.reported(proof, segment)
        stood = events.Standstill(segment=segment, target=target, position=position, reported=round(reported, 4))
        settled_s = proof.since_s + self._plan.settle_s
        self._journal.write(stood, with_next=self._open_from(settled_s) <= station.clock.monotonic())
        station.progress.standstill(segment, target, reported)
        return settled_s

    def _open_from(self, settled_s: float) -> float:
        """When to begin to open the gate for it to be open at `settled_s`: a look, and a line of the journal."""
        return settled_s - self._journalling.usual_s - self._station.controller.answer_time.usual_s

    def _unwind(self, mover: AxisMover, segment: int) -> None:
        """Take whole turns back before a segment that asks for it; from then on the journal counts with them."""
        due = mover.unwinding(segment)
        if due is None:
            return
        count = abs(due.turns - mover.turns)
        rings_s = unwind_settle(self._setup.machine, self._setup.job, self._plan.program, count)
        self._station.progress.stage(f"unwinding {count} whole turn{'s' if count > 1 else ''}")
        with self._motion.act(events.Unwind(segment=segment, target=due.target, turns=due.turns)):
            stood_s = mover.unwind(segment, mover.on_the_way(due.target, self._check_stop))
        self._journal.write(events.ZeroSet(origin_steps=mover.origin, at=mover.at, turns=mover.turns))
        self._wait_until(stood_s + rings_s)

    def _mark(self, segment: int, number: int, settled_s: float) -> None:
        """Open the gate for a pass, no sooner than it has settled (monotonic s), and wait until it is marked."""
        station, job = self._station, self._setup.job
        angle = float(self._targets[segment - 1] / self._plan.route.per_part_turn * 360)
        request = PassRequest(segment, len(self._targets), number, job.mark.passes, angle, station.part)
        station.progress.stage(f"marking {request}")
        self._wait_until(self._open_from(settled_s))
        station.controller.watch(fresh_s=_FRESH_S)
        station.stop.check()
        begun_s = station.clock.monotonic()
        self._journal.write(events.GateOpen(segment=segment, number=number))
        opened_s = station.clock.monotonic()
        self._journalling.note(opened_s - begun_s)
        station.clock.sleep(settled_s - opened_s)
        opened_s = station.clock.monotonic()
        try:
            station.gate.open(request)
            self._wait_for_pass()
        except BaseException as error:
            self._close_gate(error, segment, number)
            raise
        with station.controller.carrying_through():
            station.gate.close()
        self._marked_s.append(station.clock.monotonic() - opened_s)
        self._journal.write(events.GateClosed(segment=segment, number=number))
        self._journal.write(events.PassDone(segment=segment, number=number))

    def _close_gate(self, error: BaseException, segment: int, number: int) -> None:
        """Close the gate because of `error`, and say so before anything else is tried; what fails is noted on it."""
        try:
            with self._station.controller.carrying_through():
                self._station.gate.close()
        except (FirmwareHostError, OSError) as further:
            error.add_note(f"and while closing the gate: {further}")
            return
        note_failure(error, lambda: self._journal.write(events.GateClosed(segment=segment, number=number)))
        self._station.progress.note(f"the gate is closed ({error}); the axis is stopped now")

    def _wait_for_pass(self) -> None:
        """Watch that nothing moves until the marking side says done; one more look after that."""
        station = self._station
        while True:
            state = station.gate.poll()
            if state is PassState.DONE:
                with station.controller.carrying_through():  # it is marked, whoever asks for a stop meanwhile
                    station.controller.watch()
                return
            station.controller.watch()
            if state is PassState.STOP:
                station.stop.ask("by the operator")
            station.stop.check()
            station.controller.hear(_WATCH_S)

    def _finish(self, mover: AxisMover) -> None:
        target = mover.finish
        if target is None:
            return
        self._station.progress.stage("moving to the end position")
        with self._motion.act(events.Finish(target=target)):
            proof = mover.move_straight(target, mover.on_the_way(target, self._check_stop))
        self._journal.write(events.Finished(target=target, reported=round(mover.stands_at(proof), 4)))

    def _check_stop(self) -> None:
        """Stop if the operator, a signal or the marking side wishes it."""
        station = self._station
        if station.gate.wants_stop():
            station.stop.ask("by the marking side")
        station.stop.check()

    def _wait_until(self, end_s: float) -> None:
        while (left_s := end_s - self._station.clock.monotonic()) > 0:
            self._check_stop()
            self._station.clock.sleep(min(left_s, LOOK_S))

    def _time_left(self, mover: AxisMover, passes: int) -> float:
        """Time for the passes left, s: marking at the mean so far, moving at the controller's mean, and settling."""
        marking_s = passes * sum(self._marked_s) / len(self._marked_s)
        moves = passes / self._setup.job.mark.passes
        return marking_s + moves * (mover.mean_index_s + self._plan.settle_s)

    # --- the end ---------------------------------------------------------------------------------------------------

    def _end_done(self) -> RunRecord:
        """Journal the end of a run that came to it, and save the record."""
        with self._station.controller.carrying_through():
            self._station.gate.close()
        self._journal.write(events.End(outcome="done"))
        record = self._save_record()
        self._station.gate.ended("done")
        return record

    def _end_failed(self, error: BaseException) -> None:
        """Close the gate, stop the axis, release it if wished, journal the end, save the record: each whatever happens.

        What they raise is noted on `error`, which stays the one that is raised.
        """
        acts: list[Callable[[], object]] = [self._station.gate.close]
        if self._motion.may_move:
            acts.append(self._motion.stop)
            if self._station.release_motor:
                acts.append(self._motion.release)
        acts.append(lambda: self._journal.write(self._motion.end(error)))
        acts.append(self._save_record)
        acts.append(lambda: self._station.gate.ended(outcome_of(error)))
        with self._station.controller.carrying_through(), ExitStack() as stack:
            for act in reversed(acts):
                stack.callback(note_failure, error, act)

    def _save_record(self) -> RunRecord:
        record = replay(journal_events(self._station.folder.journal)).record
        record.save(self._station.folder.record)
        return record
