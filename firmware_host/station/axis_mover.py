"""Moves the axis to the segments of a job: coordinates proved, whole turns taken back where the controller's reach or
the axis's travel asks for it, durations by the controller's own settings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np

from firmware_host.clock import Clock
from firmware_host.controller.axis import StandstillProof
from firmware_host.controller.controller import Controller
from firmware_host.controller.learned import Beyond
from firmware_host.controller.pieces import Piece
from firmware_host.controller.reply import StatusReport
from firmware_host.controller.standstill import HALF_STEP
from firmware_host.errors import ControllerError, CoordinateError, PositionError
from firmware_host.model.machine.machine import Axis
from firmware_host.planning.route.controller_units import axis_units, floor_text
from firmware_host.planning.route.coordinates import ROOM, StoredScale, prove_coordinates, proved_reach, reading_error
from firmware_host.planning.route.kept_travel import KeptTravel
from firmware_host.planning.route.moves import MoveProgram, Route, extent
from firmware_host.planning.route.pieces import cut_move, prove_pieces, ramp_in_steps
from firmware_host.planning.route.short_moves import detour
from firmware_host.planning.route.unwinding import NOT_UNWOUND, UNWIND_FIX, Span, TurnsBack, require_travel
from firmware_host.planning.route.velocity import plan_index

_DEADLINE_FACTOR = 2.0
_DEADLINE_EXTRA_S = 10.0
_BESIDE = 2
"""Steps that a report may lie beside the way of a move: it is rounded, and so are the way's ends."""
_PROVED_AT_ONCE = 1 << 14
_ENDLESS = Axis()

OnPoll = Callable[[StatusReport], None]


@dataclass(frozen=True)
class SentMove:
    """A move that has been accepted: `steps` long, to `target_steps` (machine steps), planned to take `planned_s` (s).

    `sent_s`: monotonic s, before its line was sent. In steps/s and steps/s^2: the `step_rate` asked for, the
    `acceleration` in force, as far as that is known, and `start_rate`, at which the board begins at once.
    """

    steps: int
    target_steps: int
    sent_s: float
    planned_s: float
    step_rate: float
    acceleration: float
    start_rate: float

    @property
    def deadline_s(self) -> float:
        """How long at the most to wait for its end, s from when it was accepted."""
        return _DEADLINE_FACTOR * self.planned_s + _DEADLINE_EXTRA_S


@dataclass(frozen=True)
class Unwinding:
    """A move that takes whole turns back: `turns` since the job's zero once it is done, `target` where it goes."""

    turns: int
    target: int


class AxisMover:
    """Knows the job's zero (`origin`, machine steps) and where the axis was last proved to stand still.

    Of a reversed axis all steps here count as the mark runs, with the other sign than the controller's: only what is
    sent and what is reported is turned round.

    `scale` is the steps-per-unit the controller holds, as far as it is known; `axis` says how far the axis may travel.
    Positions are microsteps from the job's zero as the controller counts them: of a segment that is its target with
    the turns taken back that `prove` has found to be needed. `turns`: turns taken back already, by a run before.
    Where `axis.unwind` is "never", a job that needs any is refused. `check` is called while a long job is proved.
    """

    def __init__(
        self,
        controller: Controller,
        clock: Clock,
        program: MoveProgram,
        scale: StoredScale,
        origin: int,
        at: int = 0,
        *,
        axis: Axis = _ENDLESS,
        turns: int = 0,
        check: Callable[[], None] = lambda: None,
    ) -> None:
        self._controller = controller
        self._clock = clock
        self._program = program
        self._scale = scale
        self._axis = axis
        self._check = check
        self._turns_back = NOT_UNWOUND
        self.origin = origin
        self.at = at
        """Where the axis stands."""
        self.turns = turns
        """Whole turns taken back since the job's zero was set."""
        self.look: Callable[[SentMove, OnPoll], float | None] = lambda move, on_poll: None
        """Called with each move once it was accepted, before its end is waited for; returns when the board had answered
        that it has ended (monotonic s), None where it wasn't asked."""
        self._taken_up = False  # from which side the axis came to where it stands is not known
        # A position is reported with three decimals: what that hides of a step must be left over as well.
        self._hidden = float(scale.middle) * 0.0005
        self._room = ROOM + self._hidden
        wait = controller.learned.first_step_wait_s
        self._wait_s = wait.value if wait.known else 0.0
        self.shortest = max(controller.learned.shortest_move_steps.value, program.route.shortest)
        """Moves of fewer microsteps are not made by the controller."""
        self.at_speed(program.speed)

    def at_speed(self, speed: float) -> None:
        """From now on move at a speed of the part (rad/s, > 0), or at the controller's rate, as stored now, if less."""
        stored = self._controller.settings
        self._acceleration, rate = float(stored.acceleration_units_per_s2.value), stored.rate_units_per_min.value
        wanted = 60 * axis_units(speed, self._program.route.per_part_turn, self._scale.middle)
        self._feed = floor_text(min(wanted, float(rate)), 3)

    # --- before anything moves -------------------------------------------------------------------------------------

    def prove(self) -> None:
        """Find the turns to take back, and prove every target and every take-up before anything moves.

        Raises `CoordinateError` for a target that the controller can't be sure to land on however many turns are taken
        back (or that needs it where travel or `axis.unwind` forbids it), `PlanError` for one outside the travel.
        """
        unproved: CoordinateError | None = None
        try:
            self._prove_all(NOT_UNWOUND)
            fits = self._in_travel(NOT_UNWOUND)
        except CoordinateError as error:
            unproved = error
            if not self._axis.unwinds:
                raise replace(error, remedy=f"{error.remedy}, or {UNWIND_FIX}") from error
            fits = False
        self._turns_back = NOT_UNWOUND if fits or not self._axis.unwinds else self._found_turns_back()
        if not fits:
            ends = extent(self._route, self._turns_back)
            require_travel(self._axis, *ends, self._per_turn, self.origin)
            if self._kept is not None:
                self._kept.require(*ends, self._scale.middle, self._axis.sign, self.origin)
        if not self._turns_back.unwinds:
            if unproved is not None:  # no number of turns brings what could not be proved within reach
                raise unproved
            return
        self._require_readable_zero()
        try:
            self._prove_all(self._turns_back)
        except CoordinateError as error:
            if self._axis.travel == "endless":
                raise
            remedy = f"axis.travel leaves no room for taking whole turns back. {error.remedy}"
            raise replace(error, remedy=remedy) from error

    @property
    def _route(self) -> Route:
        """The job's, with the detours that this controller asks for."""
        travel = self._travel if self.shortest > 1 else None
        return self._program.route.made_with(self.shortest, travel.lowest if travel is not None else None)

    @property
    def _per_turn(self) -> Fraction:
        return self._program.route.per_part_turn

    def _in_travel(self, taken: TurnsBack) -> bool:
        travel, ends = self._travel, extent(self._route, taken)
        return travel is None or travel.holds(*ends)

    @property
    def _travel(self) -> Span | None:
        """Where the axis may be: what the machine's file says, and what the board keeps to by itself."""
        stated, kept = Span.of_travel(self._axis, self._per_turn, self.origin), self._kept
        return kept.span(self._scale.middle, self._axis.sign, self.origin).within(stated) if kept else stated

    @property
    def _kept(self) -> KeptTravel | None:
        learned = self._controller.learned
        ends, beyond = learned.travel_units.value, learned.beyond_travel.value
        if ends is None or beyond is Beyond.MADE:
            return None
        return KeptTravel(*ends, beyond.value, learned.travel_keys.value or ())

    def _found_turns_back(self) -> TurnsBack:
        route = self._route
        reach = Span.around_zero(proved_reach(self._scale, room=self._room), self.origin)
        span = reach.within(self._travel)
        return route.unwinder(span).turns_back(route.finish, goes_back=route.goes_back)

    def _prove_all(self, taken: TurnsBack) -> None:
        """Prove targets and take-ups (a resumed run may need any of them), some thousands at a time."""
        route = self._route
        for start, stop, turns in taken.stretches(route.angles.count):
            for first in range(start, stop, _PROVED_AT_ONCE):
                targets = route.angles.targets(self._per_turn, turns, first, min(first + _PROVED_AT_ONCE, stop))
                self._check()
                self._prove(targets)
                for places in route.led_from(targets):
                    self._prove(places)
        finish = route.finish_target(taken.finish)
        if finish is not None:
            self._prove(np.array([finish]))
            self._prove(np.array(route.straight(finish, finish + 1)[:1]))

    def _prove(self, positions: np.ndarray[tuple[int], np.dtype[np.int64]]) -> None:
        prove_coordinates(positions + np.int64(self.origin), self._scale, room=self._room)

    def _require_readable_zero(self) -> None:
        """Raise `CoordinateError` when the job's zero is so far out that its step cannot be read for certain."""
        if self._controller.capabilities.counts_steps:
            return
        error = reading_error(self.origin, self._scale) + self._hidden
        if error >= HALF_STEP:
            raise CoordinateError(
                "the job's zero is so far from machine zero that its step cannot be read: off by up to",
                error,
                "steps",
                HALF_STEP,
                "Home it, or switch the controller off and on where the part stands",
            )

    # --- where it goes ---------------------------------------------------------------------------------------------

    def position(self, segment: int) -> int:
        """Where the axis stands for a segment (from 1)."""
        return self._program.route.angles.target(segment - 1, self._per_turn, self._turns_back.of(segment - 1))

    @property
    def finish(self) -> int | None:
        """Where the axis ends; None if it stays where it is."""
        return self._program.route.finish_target(self._turns_back.finish)

    def unwinding(self, segment: int) -> Unwinding | None:
        """The move that has to take turns back before a segment (from 1) is moved to; None if none has to.

        It moves on past the segment to where lost motion is taken up, if it has to be.
        """
        turns = self._turns_back.of(segment - 1)
        if turns == self.turns:
            return None
        return Unwinding(turns, self.position(segment) - self._route.overrun)

    def reported(self, proof: StandstillProof, segment: int) -> float:
        """The reported position at standstill for a segment (from 1) as if no turns had been taken back."""
        planned = self._program.route.angles.target(segment - 1, self._per_turn)
        return planned + self._axis.sign * (proof.reported_steps - proof.target_steps)

    def stands_at(self, proof: StandstillProof) -> float:
        """The reported position at standstill, microsteps from the job's zero."""
        return self._axis.sign * proof.reported_steps - self.origin

    def _steps(self, report: StatusReport) -> float:
        """Where a report says that it stands, in machine steps as the mark runs."""
        return self._axis.sign * self._controller.position_steps(report)

    def duration(self, position: int, start: int | None = None) -> float:
        """How long the controller takes to `position` from `start` (by default from where it stands), s."""
        steps = abs(position - (self.at if start is None else start))
        units = float(Fraction(steps) / self._scale.middle)
        return float(plan_index(units, self._acceleration, float(self._feed) / 60).duration) + self._wait_s

    @cached_property
    def mean_index_s(self) -> float:
        """How long the controller takes to go from a segment to the next one, on average, s."""
        targets = self._program.route.segment_targets()
        if targets.size < 2:
            return self.duration(0)
        units = np.abs(np.diff(targets)) / float(self._scale.middle)
        return float(np.mean(plan_index(units, self._acceleration, float(self._feed) / 60).duration)) + self._wait_s

    # --- moving ----------------------------------------------------------------------------------------------------

    def unwind(self, segment: int, on_poll: OnPoll) -> float:
        """Take the turns back that a segment (from 1) asks for, if it asks for any, and wait until it stands still.

        Returns since when it stands (monotonic s).
        """
        due = self.unwinding(segment)
        if due is None:
            return self._clock.monotonic()
        proof = self.go_straight(due.target, on_poll)
        self.turns = due.turns
        return proof.since_s

    def move(self, segment: int, on_poll: OnPoll) -> StandstillProof:
        """Move to a segment (from 1), from below where lost motion is to be taken up, and wait until it is proved.

        Turns that have to be taken back first are.
        """
        self.unwind(segment, on_poll)
        *before, position = self.way_to(self.position(segment))
        for place in before:
            self.move_straight(place, on_poll)
        return self.move_straight(position, on_poll)

    def goes_round(self, position: int) -> bool:
        """Whether `position` is so near that the controller makes no move to it."""
        return 0 < abs(position - self.at) < self.shortest

    def way_to(self, position: int, *, straight: bool = False) -> tuple[int, ...]:
        """Where to go, one place after the other, to `position`.

        First below it where lost motion is to be taken up (not `straight`), or beside it for want of so short a move.
        """
        route, at = self._route, self.at
        return tuple(route.straight(position, at)) if straight else route.way(position, at, taken_up=self._taken_up)

    def on_the_way(self, target: int, check: Callable[[], None]) -> OnPoll:
        """Look at each report of a move from here to `target`, by way of where lost motion is taken up; calls `check`.

        A controller that doesn't greet may have been reset just before the move: it would end at the right coordinate
        in the wrong place. So what is returned raises `PositionError` for two reports that lie beside the way.
        """
        route = self._route
        lowest = min(self.at, target - route.below) + self.origin - _BESIDE
        highest = max(self.at, target + detour(route.shortest)) + self.origin + _BESIDE
        controller, planned = self._controller, target + self.origin

        def look(report: StatusReport) -> None:
            check()
            if lowest <= self._steps(report) <= highest:
                return
            steps = self._steps(controller.status())  # one misread digit is no other place
            if not lowest <= steps <= highest:
                detail = f"it is not between steps {lowest} and {highest}, on the way of its move"
                raise PositionError(detail, planned_steps=planned, reported_steps=steps)

        return look

    def go_straight(self, position: int, on_poll: OnPoll) -> StandstillProof:
        """As `move_straight`, by way of a place beside it where the controller makes no move so short."""
        *before, position = self._route.straight(position, self.at)
        for place in before:
            self.move_straight(place, on_poll)
        return self.move_straight(position, on_poll)

    def move_straight(self, position: int, on_poll: OnPoll) -> StandstillProof:
        """Move to `position` from wherever it stands, and wait until it is proved to stand still.

        Raises `ControllerError` for a move that is shorter than the controller makes: nothing is sent then.
        """
        if self.goes_round(position):
            moved = abs(position - self.at)
            raise ControllerError(f"a move of {moved} microsteps is not made: the shortest is {self.shortest}")
        machine_steps = self._axis.sign * (position + self.origin)
        duration_s, sent_s = self.duration(position), self._clock.monotonic()
        forward, taken_up = position - self.at, self._taken_up
        self._taken_up = False
        accepted_s = self._send(machine_steps, on_poll)
        synced_s = self.look(self._sent(machine_steps, sent_s, duration_s), on_poll)
        proof = self._controller.wait_for_standstill(
            target_steps=machine_steps,
            steps_per_unit=self._scale.middle,
            accepted_at_s=accepted_s,
            planned_duration_s=duration_s,
            deadline_s=accepted_s + _DEADLINE_FACTOR * duration_s + _DEADLINE_EXTRA_S,
            on_poll=on_poll,
            synced_s=synced_s,
        )
        self.at = position
        self._taken_up = forward >= (0 if taken_up else self._route.overrun)
        return proof

    def _sent(self, machine_steps: int, sent_s: float, planned_s: float) -> SentMove:
        scale, start = float(self._scale.middle), self._axis.sign * (self.at + self.origin)
        return SentMove(
            steps=abs(machine_steps - start),
            target_steps=machine_steps,
            sent_s=sent_s,
            planned_s=planned_s,
            step_rate=float(self._feed) / 60 * scale,
            acceleration=self._acceleration * scale,
            start_rate=(self._controller.learned.start_jump_units_per_s.value or 0.0) * scale,
        )

    def _send(self, machine_steps: int, on_poll: OnPoll) -> float:
        """Send the move to `machine_steps`, in pieces where nothing else stops it; returns when it was accepted."""
        if not self._controller.in_pieces:
            coordinates = prove_coordinates(np.array([machine_steps]), self._scale, room=self._room)
            return self._controller.move_to(coordinates.text(0), self._feed)
        start = self._axis.sign * (self.at + self.origin)
        jump = self._controller.learned.start_jump_units_per_s.value or 0.0
        ramp = ramp_in_steps(float(self._feed), self._acceleration, self._scale.middle, jump)
        pieces = cut_move(abs(machine_steps - start), ramp, self.shortest)
        sent = prove_pieces(start, machine_steps, pieces, self._scale, room=self._room)
        return self._controller.move_in_pieces([Piece(*each) for each in sent], self._feed, on_poll)

    def found(self, position: int) -> None:
        """It stands at `position`, however it came there: from which side is not known."""
        self.at, self._taken_up = position, False
