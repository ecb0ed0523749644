"""The hand: one move at a time, each within the limits, proved to have ended where it should, and noted beforehand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.controller.reply import StatusReport
from firmware_host.errors import ControllerFaultError, InputError, MotorReleasedError, StandstillError
from firmware_host.model import Machine
from firmware_host.planning.by_hand import HandPlan, Pace
from firmware_host.planning.route.unwinding import Span, require_travel
from firmware_host.planning.steps import round_half_even
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.gates.gate import Gate
from firmware_host.station.hand.marking import Marking
from firmware_host.station.hand.paces import Paces, at_pace
from firmware_host.station.hand.steps import Step, angle, how_far
from firmware_host.station.hand_note import RELEASED, HandJournal
from firmware_host.station.journal.events import Finish, Finished, ZeroSet
from firmware_host.station.passes.motion import Motion
from firmware_host.station.stop_request import StopRequest
from firmware_host.station.zero import require_home_switch

SOUGHT_HOME = "it has sought its home switch since"
STOPPED_SHORT = "it was stopped short: steps may be lost"
_LOOK_AGAIN_S = 1.0
"""How often a part that nobody turns is looked at (s)."""


class HaltedError(Exception):
    """Raised by whoever watches a move to end it; the axis is then stopped, and the hand stays open."""


@dataclass(frozen=True)
class Where:
    """Where the part stands.

    `microsteps` from `zero`: "set" one that was set by hand, "last" that of the last run, "none" just where it stood
    when the hand was opened; `degrees` of the part; `units`: what the controller calls the place, in its own units.
    `still`: True only where it was proved; `energised`: False while the motor is released, when the part may turn.
    """

    microsteps: int
    degrees: float
    units: float
    unit: str
    zero: str
    still: bool
    energised: bool


class Tools(NamedTuple):
    """What a hand works with."""

    controller: Controller
    plan: HandPlan
    clock: Clock
    mover: AxisMover
    journal: HandJournal
    stop: StopRequest
    gate: Gate | None
    opens: Gate | None = None
    """The same, where it is meant to be opened; else it only stays closed."""
    paces: Paces | None = None


OnWhere = Callable[[Where], None]


class Hand:
    """A hand on the axis of one machine, opened by `open_hand`. One thread uses it.

    Every method that moves returns once the part is proved to stand still. Positions count from the zero: that of the
    last run while it can be proved, or the one that is set here.
    """

    def __init__(self, tools: Tools, *, wished: int) -> None:
        self._tools = tools
        self._mover, self._journal = tools.mover, tools.journal
        self._controller = tools.controller
        self._motion = Motion(tools.controller, tools.journal, tools.stop)
        self._wished = Fraction(wished) / self._per_turn
        self._energised = True
        self._marking: Marking | None = None
        self.went_round = ""
        """What is to be said of the last move, where it was shorter than the controller makes; empty otherwise."""
        self._looked_s = tools.clock.monotonic()
        self.may_pace = tools.paces is not None
        """Whether a move may have an acceleration of its own: whether the controller's settings may be written."""

    @property
    def _per_turn(self) -> Fraction:
        return self._tools.plan.per_turn

    @property
    def _machine(self) -> Machine:
        return self._tools.plan.machine

    @property
    def stop_keeps_position(self) -> bool:
        """Whether a move that is stopped leaves its position known; else no zero of before counts any more."""
        return self._controller.capabilities.stop_keeps_position

    @property
    def plan(self) -> HandPlan:
        """What it moves by."""
        return self._tools.plan

    # --- where it stands -------------------------------------------------------------------------------------------

    @property
    def where(self) -> Where:
        """Where the part stands, as it was last proved."""
        return self._where(self._mover.at, still=self._energised)

    def _where(self, at: int, *, still: bool) -> Where:
        sign, units = self._machine.axis.sign, self._machine.steps_per_axis_unit
        return Where(
            microsteps=at,
            degrees=float(at / self._per_turn * 360),
            units=float(sign * (at + self._mover.origin) / units),
            unit=self._machine.axis.unit,
            zero=self._journal.note.zero,
            still=still,
            energised=self._energised,
        )

    @property
    def at_machine_zero(self) -> bool:
        """Whether it stands at the controller's own zero, where no later run can prove that it was not switched off."""
        return self._mover.at + self._mover.origin == 0

    @property
    def zero_place(self) -> str:
        """What stood at the zero that was set by hand, in words; "" where there is none any more."""
        return self._journal.note.place if self._journal.note.zero == "set" else ""

    @property
    def now_s(self) -> float:
        """The hand's own time, from any beginning (s)."""
        return self._tools.clock.monotonic()

    def wait(self, duration_s: float) -> None:
        """Let `duration_s` (s) pass, and see that nothing has moved: every second, each time while the gate is open.

        Raises as `look`.
        """
        now_s = self._tools.clock.monotonic()
        if not self._energised:
            self._tools.stop.check()
            self._tools.clock.sleep(duration_s)
            return
        if now_s - self._looked_s >= _LOOK_AGAIN_S or (self._marking is not None and self._marking.is_open):
            self.look()
        self._controller.hear(duration_s)

    def look(self) -> None:
        """See that the axis still stands where it was proved to stand. Raises as `Controller.watch`."""
        self._looked_s = self._tools.clock.monotonic()
        if not self._energised:
            return
        if self._controller.standstill is not None:
            self._controller.watch()
        else:
            self._find(expected=self._mover.at)

    # --- turning ---------------------------------------------------------------------------------------------------

    def turn_by(self, how: str | Step, *, back: bool = False, on_where: OnWhere | None = None) -> Where:
        """Turn by an angle ("15 deg"), a length around the part ("5 mm") or microsteps ("3 microsteps").

        Angles add up exactly: ten times a tenth of a degree is one degree. `back`: the other way; `on_where` is told
        where the part is on its way, and may raise `HaltedError` to stop it: then it stands where it was stopped.
        Raises `InputError`, `PlanError` for a place outside of the travel, `LimitExceededError` where no speed is safe
        for this move, and as a run does for what the controller says.
        """
        step = how_far(how, self.plan.diameter) if isinstance(how, str) else how
        sign = -1 if back else 1
        if step.turns is None:
            wished = (self._mover.at + sign * step.microsteps) / self._per_turn
        else:
            wished = self._wished + sign * step.turns
        return self._turn(wished, on_where)

    def turn_to(
        self,
        to: str | Fraction,
        *,
        on_where: OnWhere | None = None,
        straight: bool = False,
        pace: Pace | None = None,
    ) -> Where:
        """Turn to an angle from the zero ("90 deg", or turns); the rest as `turn_by`.

        `straight`: from whichever side it lies on, also where the machine has lost motion that is taken up else.
        `pace`: acceleration and speed of this one move, in place of those of the plan; `LimitExceededError` where the
        limits don't allow them, `InputError` where this hand may not write the controller's settings for that.
        """
        return self._turn(angle(to) if isinstance(to, str) else to, on_where, straight=straight, pace=pace)

    def _turn(
        self, wished: Fraction, on_where: OnWhere | None, *, straight: bool = False, pace: Pace | None = None
    ) -> Where:
        target = round_half_even(wished * self._per_turn)
        self._require_energised()
        way = self._mover.way_to(target, straight=straight)
        self.went_round = ""
        if self._mover.goes_round(target):
            shortest = self._mover.shortest
            self.went_round = f"the controller makes no move below {shortest} microsteps: it went past and came back"
        self._require_travel(*way)
        places = (self._mover.at, *way)
        speeds = [self._speed(there - here, pace) for here, there in zip(places, way, strict=False)]
        self._close_gate()
        try:
            with at_pace(pace, self.plan, self._tools.paces):
                for place, speed in zip(way, speeds, strict=True):
                    self._go(place, speed, on_where)
        except HaltedError:
            self._halt()
            if self._tools.paces is not None and self._tools.paces.put_back():
                self._controller.prepare()
        else:
            self._wished = wished
        return self.where

    def _close_gate(self) -> None:
        if self._tools.gate is not None:
            self._tools.gate.close()

    def _speed(self, microsteps: int, pace: Pace | None) -> float:
        """The speed (part, rad/s) of a move, which the limits allow."""
        check = self._tools.stop.check
        if pace is None:
            return self.plan.speed(microsteps, check)
        self.plan.require_pace(microsteps, pace, check)
        return pace.speed

    def _go(self, place: int, speed: float, on_where: OnWhere | None) -> None:
        mover = self._mover
        on_the_way = mover.on_the_way(place, self._tools.stop.check)

        def look(report: StatusReport) -> None:
            on_the_way(report)
            if on_where is not None:
                steps = self._machine.axis.sign * self._controller.position_steps(report)
                on_where(self._where(round(steps) - mover.origin, still=False))

        mover.at_speed(speed)
        with self._motion.act(Finish(target=place)):
            proof = mover.move_straight(place, look)
        self._journal.write(Finished(target=place, reported=round(mover.stands_at(proof), 4)))

    def _halt(self) -> None:
        """Stop the axis under way, and find out where it stands; where that loses the position, begin anew there."""
        with self._controller.carrying_through():
            if not self._motion.stop():
                raise StandstillError("it was told to stop, and was not seen to stand still")
        if not self.stop_keeps_position:
            self._begin_anew(STOPPED_SHORT)
            return
        self._controller.prepare()
        at = round(self._steps()) - self._mover.origin
        self._stands_at(at)
        self._journal.write(ZeroSet(origin_steps=self._mover.origin, at=at, turns=0))

    def _begin_anew(self, why: str) -> None:
        """No zero of before counts any more: positions count from where the part stands now."""
        self._journal.lose(why)
        self._controller.unlock()
        self._controller.prepare()
        self._mover.origin = round(self._steps())
        self._stands_at(0)
        self._journal.zero_is(self._mover.origin, 0, "none")

    def _stands_at(self, at: int) -> None:
        self._mover.found(at)
        self._wished = at / self._per_turn

    def _steps(self) -> float:
        return self._machine.axis.sign * self._controller.position_steps(self._controller.status())

    def _find(self, expected: int) -> None:
        if round(self._steps()) - self._mover.origin != expected:
            raise ControllerFaultError("its position changed while nothing was told to move. Look at the machine")

    def _require_energised(self) -> None:
        if not self._energised:
            raise MotorReleasedError("its motor is released: hold it before it is turned")

    def _require_travel(self, *places: int) -> None:
        axis, origin = self._machine.axis, self._mover.origin
        span = Span.of_travel(axis, self._per_turn, origin)
        if span is not None and not span.holds(min(places), max(places)):
            require_travel(axis, min(places), max(places), self._per_turn, origin)

    # --- the gate, and the home switch -----------------------------------------------------------------------------

    @property
    def marking(self) -> Marking:
        """The job's gate, to be opened where the part stands. Raises `InputError` where it was not asked for."""
        tools = self._tools
        if tools.opens is None:
            raise InputError("the gate belongs to a job", "Name a job instead of the machine", key="gate")
        if self._marking is None:
            self._marking = Marking(tools.opens, tools.controller, tools.clock, tools.stop, self.stand)
        return self._marking

    def stand(self) -> float:
        """See it proved that the part stands still; when it has settled (s of `now_s`). It turns nothing."""
        self._require_energised()
        if self._controller.standstill is None:
            self._close_gate()
            self._go(self._mover.at, self.plan.speed(1, self._tools.stop.check), None)
        self.look()
        proof = self._controller.standstill
        if proof is None:
            raise StandstillError("there is no proof that it stands still")
        return proof.since_s + self.plan.plan.settle_s

    def seek_home(self) -> Where:
        """Seek the home switch, as a run does; positions count from where it is found, and no zero is set any more.

        Raises `InputError` for a machine without one.
        """
        self._require_energised()
        require_home_switch(self._machine)
        self._close_gate()
        self._journal.lose(SOUGHT_HOME)
        with self._motion.act(Finish(target=self._mover.at)):
            self._controller.home()
        self._controller.prepare()
        self._mover.origin = round(self._steps())
        self._stands_at(0)
        self._journal.zero_is(self._mover.origin, 0, "none")
        return self.where

    # --- zero, and the motor ---------------------------------------------------------------------------------------

    def set_zero(self, at: str | Fraction = Fraction(0), *, place: str = "") -> Where:
        """From now on the part stands at the angle `at` ("37.5 deg", or turns) of the job or the axis; moves nothing.

        `place`: what is under the laser, in words. With a job this is its zero, and its next run begins there.
        """
        self._require_energised()
        turns = angle(at, key="at") if isinstance(at, str) else at
        here = self._mover.at + self._mover.origin
        microsteps = round_half_even(turns * self._per_turn)
        job = self.plan.setup.job.name if self.plan.of_job else ""
        self._mover.origin = here - microsteps
        self._mover.at = microsteps
        self._wished = turns
        self._journal.zero_is(here - microsteps, microsteps, "set", job=job, place=place)
        return self.where

    def release(self) -> Where:
        """Release the motor: the part may turn by itself, and its position and every zero are lost.

        Raises `InputError` where the dialect has no word for it, `StandstillError` where it doesn't stand still.
        """
        self._require_energised()
        self._controller.dialect.release_line()
        with self._controller.carrying_through():
            if not self._motion.stop():
                raise StandstillError("it was not seen to stand still: its motor is not released")
            self._motion.release()
        self._energised = False
        self._journal.lose(RELEASED)
        return self.where

    def hold(self) -> Where:
        """Energise the motor again after `release`. Positions count from where the part stands now; no zero is set."""
        if self._energised:
            return self.where
        self._controller.wake()
        self._energised = True
        self._begin_anew(RELEASED)
        return self.where

    # --- the end ---------------------------------------------------------------------------------------------------

    def stop(self, error: BaseException) -> str:
        """Stop the axis because of `error`, and note where that leaves it; for `open_hand`. Returns how it stands."""
        if not self._motion.under_way:
            return "the part stands still" if self._energised else "the motor is released: the part may turn"
        stands = self._motion.stop()
        self._journal.write(self._motion.end(error))
        return "the axis was stopped on its way" if stands else "the axis was told to stop, and was not seen to stand"

    def require_zero(self) -> None:
        """Raise `InputError` where no zero is set to go back to."""
        if self._journal.note.zero == "none":
            raise InputError("no zero is set to go back to", "Set one first", key="zero")
