"""What a batch does between two parts: it stands still, tells that the part may be changed, and plans the next one."""

from __future__ import annotations

from datetime import datetime, timedelta

from firmware_host.controller.sender import LOOK_S
from firmware_host.errors import (
    ControllerError,
    InputError,
    LimitExceededError,
    LineRejectedError,
    PlanError,
    SettingsMismatchError,
)
from firmware_host.model.files.parts import PartRow
from firmware_host.station.batch.book import Book
from firmware_host.station.batch.events import Change, PartSkipped, PartZero
from firmware_host.station.batch.next_zero import NextZero, by_hand
from firmware_host.station.batch.planned import PartPlans, PlannedPart
from firmware_host.station.batch.record import seconds_between
from firmware_host.station.batch.side import BatchSide, LeaveOut, NextPart, Ready, Stop
from firmware_host.station.batch.state import BatchState, Stage
from firmware_host.station.gates.gate import PartContext
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import RunState
from firmware_host.station.settings.check import require_fitting
from firmware_host.station.settings.real_move import require_start

_WATCH_S = 0.25
_REFUSED = (InputError, PlanError, LimitExceededError, SettingsMismatchError)
"""What another diameter may put right, or leaving the part out."""


def context_of(row: PartRow, of: int) -> PartContext:
    """What the gate is told of a part."""
    return PartContext(row.number, of, row.serial, row.text, dict(row.columns))


class Between:
    """The time between two parts. `release`: the motor is let go while the part is changed."""

    def __init__(
        self,
        station: Station,
        book: Book,
        side: BatchSide,
        plans: PartPlans,
        *,
        release: bool,
        writes_settings: bool,
    ) -> None:
        self._station, self._book, self._side, self._plans = station, book, side, plans
        self._release, self._writes_settings = release, writes_settings
        self._watched_s = 0.0

    def next_part(
        self, row: PartRow, of: int, zero: NextZero, state: BatchState
    ) -> tuple[PlannedPart, NextZero] | None:
        """Let part `row` be put in, and plan it. None: it is left out, and the journal says so.

        Raises `StopAskedError` at a wish to stop, and what an axis does that doesn't stand still.
        """
        first = zero.zero in (PartZero.FIRST, PartZero.HOME) and state.last_run == ""
        released = self._release and not first
        self._book.note(Change(number=row.number, released=released))
        if released:
            refused = self._let_go()
            if refused:
                self._book.note(Change(number=row.number, released=False, refused=refused))
                self._station.progress.note(f"the controller refused to release the motor, which holds on: {refused}")
            released = not refused
            if zero.zero is not PartZero.HOME:
                zero = by_hand(f"the motor {'is' if released else 'was to be'} released to change the part")
        self.tell(row, of)
        part = NextPart(context_of(row, of), row.diameter, zero.zero, zero.because, released, self._done_at(state))
        answer = self._side.change(part, self.wait)
        while True:
            if isinstance(answer, Stop):
                self._station.stop.ask(answer.reason)
                self._station.stop.check()
            if isinstance(answer, LeaveOut):
                self._book.note(PartSkipped(number=row.number, reason=answer.reason[:300]))
                return None
            try:
                planned = self._planned(row, answer)
            except _REFUSED as error:
                answer = self._side.refused(part, error, self.wait)
            else:
                if released:
                    self._station.controller.wake()
                return planned, zero

    def tell(self, row: PartRow, of: int) -> None:
        """Say that this part is changed or judged now, and whether the axis is seen to stand still meanwhile."""
        controller = self._station.controller
        still = controller.standstill is not None
        if still:
            controller.watch()
        state = RunState("between", still=still, part=row.number, parts=of, serial=row.serial or "")
        self._station.progress.state(state)

    def _planned(self, row: PartRow, answer: Ready | Stop | LeaveOut) -> PlannedPart:
        """The plan of the part that is in, if nothing refuses it."""
        diameter = answer.diameter if isinstance(answer, Ready) else ""
        planned = self._plans.plan(row, diameter)
        if not self._writes_settings:
            require_fitting(planned.setup.machine, planned.plan, self._station.controller.settings)
            require_start(planned.setup.machine, planned.plan, self._station.controller)
        return planned

    def _let_go(self) -> str:
        """Release the motor of the axis, which stands still; why the controller refuses, "" where it does not."""
        controller = self._station.controller
        report = controller.stop()
        if not report.stands_still:
            raise ControllerError(f"the motor is not released: {report.detail}")
        try:
            controller.release()
        except LineRejectedError as error:
            return error.detail[:300]
        return ""

    # --- waiting ---------------------------------------------------------------------------------------------------

    def wait(self, duration_s: float) -> None:
        """Wait so long (s). Raises at a wish to stop, and when the axis moves that was proved to stand still."""
        station = self._station
        end_s = station.clock.monotonic() + duration_s
        while True:
            if station.gate.wants_stop():
                station.stop.ask("by the marking side")
            station.stop.check()
            self._watch()
            left_s = end_s - station.clock.monotonic()
            if left_s <= 0:
                return
            station.clock.sleep(min(left_s, LOOK_S))

    def _watch(self) -> None:
        """Look a few times a second whether the axis still stands where it was proved to stand."""
        controller, now_s = self._station.controller, self._station.clock.monotonic()
        if controller.standstill is not None and now_s - self._watched_s >= _WATCH_S:
            self._watched_s = now_s
            controller.watch()
            self._station.progress.still_so()

    # --- the time of day -------------------------------------------------------------------------------------------

    def _done_at(self, state: BatchState) -> datetime | None:
        """When the batch will be finished: what the parts that are over took each, from one to the next."""
        return done_at(state, self._station.clock.now())


def done_at(state: BatchState, now: datetime) -> datetime | None:
    """When a batch that stands so will be finished, if the parts left take what those before took on average.

    None where no part is over yet. What a part took runs from when it could be put in to when it was judged.
    """
    over = [part for part in state.parts if part.stage is Stage.OVER]
    took = [seconds_between(part.changing or part.began, part.ended) for part in over]
    known = [each for each in took if each is not None]
    if not known:
        return None
    left = sum(part.stage not in (Stage.OVER, Stage.SKIPPED) for part in state.parts)
    return now + timedelta(seconds=left * sum(known) / len(known))
