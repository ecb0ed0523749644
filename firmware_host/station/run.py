"""The run: check and set zero, do the passes, go to the end position, and save the record.

Every act is journalled before it is done; whatever goes wrong, the gate is closed before anything else happens.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import replace

from firmware_host.acts import Run
from firmware_host.controller.standstill import HALF_STEP
from firmware_host.errors import (
    JournalError,
    PlanError,
    PositionError,
)
from firmware_host.model import Setup
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.accept import read_accepted, require_may_move
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.hand_note import HandNote
from firmware_host.station.journal import events
from firmware_host.station.journal.journal import Journal, journal_events
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import replay
from firmware_host.station.note_failure import note_failure
from firmware_host.station.passes.beforehand import require_runnable
from firmware_host.station.passes.choice import EVERY_PASS, PassChoice
from firmware_host.station.passes.control import PassKey
from firmware_host.station.passes.loop import PassLoop
from firmware_host.station.passes.motion import Motion, outcome_of
from firmware_host.station.passes.station import Station
from firmware_host.station.settings.check import require_fitting, require_resolution, stored_scale
from firmware_host.station.settings.real_move import plan_as_made, require_start
from firmware_host.station.stop_request import stopped_run, stopped_while
from firmware_host.station.zero import Again, AskZero, Start, ZeroAt, fresh_start


def require_limits(limits: LimitReport, accepted: Iterable[str] = ()) -> None:
    """Raise `LimitExceededError` if a limit stops the plan; `accepted`: see `read_accepted`."""
    require_may_move(limits.checks, read_accepted(accepted))


def run_job(
    setup: Setup,
    plan: JobPlan,
    station: Station,
    *,
    accept_limits: Iterable[str] = (),
    zero: ZeroAt | Start | None = None,
    ask_zero: AskZero | None = None,
    write_settings: Callable[[], object] | None = None,
    passes: PassChoice = EVERY_PASS,
) -> RunRecord:
    """Run a job from its beginning; returns the record of a run that came to its end.

    `passes`: which segments are marked, and how often; the record says of the others that they were not asked for.

    `zero`: where its zero is, or a `Start` that is proved already; unsaid, as `fresh_start`, which asks `ask_zero`
    after a run that was stopped.
    `write_settings` writes what the plan needs, once nothing is left to ask and nothing else refuses the run.
    Raises `ZeroNotSaidError` before anything begins, `LimitExceededError` and `SettingsMismatchError` before anything
    moves, `RunStoppedError` when it was asked
    to stop, `GateError`, `LinkError`, `ControllerError` or `JournalError` when something failed; the record is saved
    each time, and the run can be resumed.
    """
    if station.folder.journal.exists():
        raise JournalError(str(station.folder.journal), "holds a run already. Resume it, or run in a new folder")
    chosen, each = passes.of(plan.segments.count, setup.job.mark.passes)
    require_countable(len(chosen) * each)
    again = Run(without_marking=not station.gate.marks, release_motor=station.release_motor)
    with stopped_while("asking where the part stands"):
        start = first_start(setup, station, zero, ask=ask_zero, again=lambda way: replace(again, zero=way))
        if write_settings is not None:
            require_runnable(
                setup,
                plan,
                station.controller,
                station.gate,
                station.clock,
                start,
                accepted=read_accepted(accept_limits),
            )
            write_settings()
    return begin_run(setup, plan, station, start, accepted=read_accepted(accept_limits), passes=passes)


def begin_run(
    setup: Setup,
    plan: JobPlan,
    station: Station,
    start: Start,
    *,
    accepted: Mapping[str, str],
    passes: PassChoice = EVERY_PASS,
    redo_of: str = "",
) -> RunRecord:
    """Begin a run in the station's folder, from where `start` says, and do its passes; the rest as `run_job`.

    `accepted`: limits accepted besides the job's own, each with its reason; `redo_of`: the run whose part is marked
    again.
    """
    chosen, each = passes.of(plan.segments.count, setup.job.mark.passes)
    digest = station.folder.save_setup(setup)
    with Journal(station.folder.journal, station.clock) as journal:
        journal.write(
            events.Begin(
                setup_digest=digest,
                job=setup.job.name,
                machine=setup.machine.name,
                port=station.controller.url,
                targets=tuple(plan.route.segment_targets().tolist()),
                only=None if len(chosen) == plan.segments.count else chosen,
                passes=each,
                overrun=plan.route.made_with(station.controller.learned.shortest_move_steps.value, None).below,
                marking=station.gate.marks,
                accepted={**setup.job.accept, **accepted},
                redo_of=redo_of,
            )
        )
        loop = RunLoop(setup, plan, station, journal)
        return loop.run(all_passes(chosen, each), start, accepted=accepted, each=each)


def require_countable(passes: int) -> None:
    """Raise `PlanError` for more passes than a run's journal holds."""
    if passes > events.MOST_PASSES:
        raise PlanError("passes of one run", passes, "", events.MOST_PASSES, "Mark the part in several jobs")


def first_start(
    setup: Setup, station: Station, zero: ZeroAt | Start | None, *, ask: AskZero | None, again: Again
) -> Start:
    """From where a run starts that has set no zero yet; see `fresh_start`. A `Start` is known already."""
    if isinstance(zero, Start):
        return zero
    url, letter = station.controller.url, setup.machine.axis.letter
    last_run, hand = station.scales.last_run(url, letter), HandNote.read(station.scales.hand(url, letter))
    start = fresh_start(setup, station.controller, last_run, zero, ask=ask, again=again, hand=hand)
    if start.by_hand:
        station.progress.note(f"the zero that was set by hand is used: the axis stands at microstep {start.at} from it")
    elif start.origin is not None:
        station.progress.note(f"the last run's zero is used again: the axis stands at microstep {start.at} from it")
    return start


def all_passes(segments: Iterable[int], passes: int) -> list[PassKey]:
    """(segment, pass) of every pass of these segments, in order, both from 1."""
    return [(segment, number) for segment in segments for number in range(1, passes + 1)]


class RunLoop:
    """One go at the passes that are left. The journal is open for writing."""

    def __init__(self, setup: Setup, plan: JobPlan, station: Station, journal: Journal) -> None:
        self._setup = setup
        self._plan = plan
        self._station = station
        self._journal = journal
        self._motion = Motion(station.controller, journal, station.stop)

    def run(
        self,
        to_do: Iterable[PassKey],
        start: Start,
        *,
        accepted: Mapping[str, str],
        each: int,
        done: Iterable[PassKey] = (),
        again: Iterable[PassKey] = (),
    ) -> RunRecord:
        """Do the passes `to_do`; `accepted`: limits accepted besides the job's own, with their reasons.

        `each`: passes of each segment; `done`: which are done already; `again`: those of `to_do` that were done
        before.
        """
        station = self._station
        loop = PassLoop(
            self._setup,
            self._plan,
            station,
            self._journal,
            self._motion,
            to_do=to_do,
            done=done,
            passes=each,
            again=again,
        )
        with stopped_run(str(station.folder.path)):
            try:
                loop.tell("preparing")
                require_may_move(self._plan.limits.checks, accepted)
                station.gate.attach(station.controller)
                mover = self._make_ready(start, accepted)
                loop.run(mover, self._plan)
                loop.tell("turning")
                self._finish(mover, loop.check_stop)
            except BaseException as error:
                loop.tell("turning")  # whether it stands still is not known until it is stopped
                self._end_failed(error)
                loop.tell(outcome_of(error))
                raise
        record = self._end_done()
        loop.tell("done")
        return record

    # --- before anything moves -------------------------------------------------------------------------------------

    def _make_ready(self, start: Start, accepted: Mapping[str, str]) -> AxisMover:
        station, machine = self._station, self._setup.machine
        controller = station.controller
        station.progress.stage("comparing the controller's settings with the plan")
        require_fitting(machine, self._plan, controller.settings)
        require_start(machine, self._plan, controller)
        self._plan = plan_as_made(self._setup, self._plan, controller, accepted, check=station.stop.check)
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
        if short := self._plan.route.made_with(mover.shortest, None).too_short:
            station.progress.note(
                f"the controller makes no move below {mover.shortest} microsteps: where one is shorter ({short} in the "
                "job), the axis goes past its target and comes back"
            )
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

    def _finish(self, mover: AxisMover, check: Callable[[], None]) -> None:
        target = mover.finish
        if target is None:
            return
        self._station.progress.stage("moving to the end position")
        with self._motion.act(events.Finish(target=target)):
            proof = mover.go_straight(target, mover.on_the_way(target, check))
        self._journal.write(events.Finished(target=target, reported=round(mover.stands_at(proof), 4)))

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
