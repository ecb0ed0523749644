"""The controller as a run sees it: one axis that can be asked, moved, proved to be at rest, and stopped."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

from firmware_host.clock import Clock
from firmware_host.controller import standstill
from firmware_host.controller.dialect import Capabilities, Dialect
from firmware_host.controller.mechanisms import session_for
from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import Trace
from firmware_host.controller.reply import Greeting, StatusReport
from firmware_host.controller.session import GREETING_S, AxisSession, Connection, StandstillProof, StopReport
from firmware_host.controller.settings import write as settings_writing
from firmware_host.controller.standstill import OnPoll, StandstillTarget
from firmware_host.controller.stored_settings import ControllerSettings, StatedSettings
from firmware_host.errors import LinkError, StandstillError

HOME_S = 180.0
"""Deadline for seeking the home switch (s)."""
STOP_S = 10.0
"""How long a stop waits for standstill (s)."""


class Controller:
    """One open controller and one of its axes. One thread uses it at a time.

    Positions are in the controller's units (mm or degrees) from machine zero; steps are whole microsteps from there.
    Where `capabilities.machine_coordinates` is False, "machine zero" is the controller's own zero: where it was
    switched on or reset, homed, or last told to set zero. Every method that talks may raise LinkError (port lost, no
    answer, damaged answer), ControllerResetError when it greeted again, and ControllerFaultError when it reports an
    alarm; after the last two, moves are refused until `home` or `unlock`.
    """

    def __init__(self, session: AxisSession, greeting: Greeting | None) -> None:
        self._session = session
        self._stop_report: StopReport | None = None
        self._closed = False
        self.greeting = greeting
        """What it said when it was opened, or our own words if it didn't greet but was seen to have been reset; None if
        it was neither: then it has not been reset since its last owner."""

    @classmethod
    def open(
        cls,
        port: Port,
        dialect: Dialect,
        clock: Clock,
        trace: Trace,
        *,
        axis: str,
        steps_per_unit_known: Fraction | None = None,
        stated: StatedSettings | None = None,
        greeting_timeout_s: float = GREETING_S,
        drop_held_motion: bool = False,
    ) -> Controller:
        """Learn all there is to know without moving anything; the port is closed again if that fails.

        Waits for the greeting (or learns that there is none), asks for the state, the buffer and the settings. Sends
        no bare line end, and no reset but one: with `drop_held_motion`, an axis found held and standing still is
        reset, which drops the held motion and keeps the position. `steps_per_unit_known`: the exact value, if it was
        written with at most three decimals. `stated`: what the machine's file states, taken where the controller
        doesn't tell; `settings.unreadable` says where.

        Raises DialectError if nothing answers in `dialect`, StandstillError if the axis moves, ControllerError if there
        is no such axis, SettingsMismatchError if the settings contradict `steps_per_unit_known`.
        """
        connection = Connection(port, clock, trace, steps_per_unit_known, stated or StatedSettings())
        try:
            session = session_for(dialect, connection, axis)
            greeting = session.sender.await_greeting(greeting_timeout_s)
            greeting = session.learn(greeting, drop_held_motion=drop_held_motion)
        except BaseException:
            port.close()
            raise
        return cls(session, greeting)

    # --- asking ----------------------------------------------------------------------------------------------------

    @property
    def settings(self) -> ControllerSettings:
        """The settings as last read."""
        return self._session.settings

    @property
    def capabilities(self) -> Capabilities:
        """What controllers of its dialect can do, as far as a caller has to know."""
        return self._session.capabilities

    @property
    def axis(self) -> str:
        """The letter of the axis."""
        return self._session.axis

    @property
    def url(self) -> str:
        """How the port was named."""
        return self._session.sender.port.url

    @property
    def strays(self) -> tuple[bytes, ...]:
        """Bytes received that fitted no reply (the newest 200); the trace has them all."""
        return tuple(self._session.sender.strays)

    @property
    def messages(self) -> tuple[str, ...]:
        """What it said unasked (the newest 200)."""
        return tuple(self._session.sender.messages)

    @property
    def rest(self) -> StandstillProof | None:
        """The proof that it is at rest; None as soon as anything could contradict it."""
        return self._session.rest

    @property
    def position_lost(self) -> bool:
        """True after a reset, an alarm or a stop that stopped short, until it is homed or unlocked."""
        return self._session.sender.position_lost is not None

    def status(self) -> StatusReport:
        """One fresh report, its machine position filled in."""
        return self._session.poll()

    def refresh_settings(self) -> ControllerSettings:
        """Read the settings again, at rest."""
        return self._session.read_settings()

    def position_steps(self, status: StatusReport) -> float:
        """The reported machine position in steps: position * steps-per-unit as held, or the controller's own count."""
        return self._session.steps(status, self._scale())

    def resolution_steps(self, status: StatusReport) -> float:
        """By how many steps a reported position may be off for its few decimals (>= 0); 0 where steps are counted."""
        return self._session.resolution_steps(status, self._scale())

    def _scale(self) -> Fraction:
        return Fraction(1) if self.capabilities.counts_steps else self.settings.steps_per_unit.value

    # --- moving ----------------------------------------------------------------------------------------------------

    def prepare(self) -> None:
        """Make it ready to move; moves nothing. Needed after opening, a reset, a stop, homing and unlocking.

        An axis that stands ready is needed (StandstillError). If no greeting has been seen it may be reset first, which
        keeps its position: an earlier owner of the line may have left half a line or a changed steps-per-unit behind.
        Where that isn't possible, coordinates that don't agree with the step count are refused (ControllerError).
        """
        self._session.prepare()
        self._stop_report = None

    def move_to(self, coordinate: str, feed: str) -> float:
        """Send one straight move to a machine coordinate (units) at a feed (units/min); return when it was accepted.

        Both are plain decimal texts, sent as they are; the instant returned is in monotonic s. The axis moves after
        that: `wait_for_standstill` tells when it has stopped. Raises InputError for a text that isn't a number,
        StandstillError if it isn't prepared, LineRejectedError if the controller refuses; nothing moves then.
        """
        session = self._session
        return session.move(session.dialect.move_line(session.axis, coordinate, feed))

    def wait_for_standstill(
        self,
        *,
        target_steps: int,
        steps_per_unit: Fraction,
        accepted_at_s: float,
        planned_duration_s: float,
        deadline_s: float,
        on_poll: OnPoll | None = None,
    ) -> StandstillProof:
        """Wait until every sign says that the axis is at rest at `target_steps`, and return the proof.

        `accepted_at_s` is what `move_to` returned, `deadline_s` an instant, both monotonic s; `planned_duration_s` (s)
        is how long the move takes at the controller's own rate and acceleration. Errors as
        `standstill.wait_for_standstill`.
        """
        target = StandstillTarget(target_steps, steps_per_unit, accepted_at_s + planned_duration_s)
        return standstill.wait_for_standstill(self._session, target, deadline_s, on_poll)

    def watch(self) -> StatusReport:
        """One report while the gate is open.

        Raises StandstillError, PositionError or ControllerFaultError if anything contradicts the proof of rest: it
        moves, is held, locked, asleep, stands at another step, or lets go of its motor at rest.
        """
        return standstill.watch(self._session)

    def home(self, timeout_s: float = HOME_S) -> StatusReport:
        """Seek the home switch; it moves. Afterwards the position is known again and `prepare` is needed."""
        self._stop_report = None
        return self._session.home(timeout_s)

    def unlock(self) -> StatusReport:
        """End the lock after an alarm or a reset. Moves nothing; the position is not to be trusted: set zero anew."""
        return self._session.unlock()

    def set_zero(self) -> StatusReport:
        """Let coordinates count from here, at rest, where they count from the controller's own zero; else do nothing.

        Steps count from here as well then, so whatever origin the caller had kept is void. `prepare` is needed after.
        """
        return self._session.set_zero()

    def clear_offset(self, *, known: Fraction | None = None) -> StatusReport:
        """Let coordinates agree with the motor's step count again, at rest, where somebody left an offset behind.

        Moves nothing, and steps count on as before, so whatever origin the caller had kept stays good. Does nothing
        where moves name machine coordinates, or where there is no offset. `known`: the exact steps-per-unit, if it is
        known with more decimals than are printed. Raises ControllerError if it isn't known well enough to tell where
        the axis stands. `prepare` is needed after.
        """
        return self._session.clear_offset(known)

    # --- holding and stopping --------------------------------------------------------------------------------------

    def hold(self) -> StatusReport:
        """Slow down to a standstill, keeping what is left of the move; returns when it stands still.

        Raises ControllerError, and sends nothing, where `capabilities.holds` is False; so does `go_on`.
        """
        return self._session.hold()

    def go_on(self) -> StatusReport:
        """Go on after a hold; waits until it stands still first, for it would not listen before."""
        return self._session.go_on()

    def stop(self, timeout_s: float = STOP_S) -> StopReport:
        """Hold, wait for standstill (at most `timeout_s`, s), drop the rest of the motion. Never raises a link error.

        Where `capabilities.stop_keeps_position` is False, an axis under way is stopped short and its position is lost:
        `home`, or `unlock` and set zero anew. An axis at rest keeps its position.

        Only the first call acts; a later one returns its report, also when the first was interrupted. `prepare` and
        `home` make it act anew.
        """
        if self._stop_report is not None or self._closed:
            return self._stop_report or StopReport(False, "the port is closed")
        session = self._session
        try:
            # Before the note that it was sent: an interrupt between the two costs a second hold, which is harmless.
            session.begin_stop()
        except LinkError as error:
            self._stop_report = StopReport(False, str(error))
            return self._stop_report
        self._stop_report = StopReport(False, "a stop was sent; waiting for standstill was interrupted")
        self._stop_report = session.finish_stop(timeout_s)
        return self._stop_report

    def release(self) -> None:
        """Let go of the motors after a `stop` that has seen the axis stand still; its position is lost then.

        Raises StandstillError, and sends nothing, where that was not seen; InputError as `Dialect.release_line`.
        """
        line = self._session.dialect.release_line()
        if self._stop_report is None or not self._stop_report.stands_still:
            raise StandstillError("it was not seen to stand still: its motors are not released")
        self._session.rest = None
        self._session.ask(line)

    # --- beside the motion -----------------------------------------------------------------------------------------

    def set_output(self, number: int, on: bool) -> None:
        """Switch an output of the controller; returns when it was accepted. Raises InputError, LineRejectedError."""
        self._session.ask(self._session.dialect.output_line(number, on))

    def set_line(self, line: OutputLine, on: bool) -> None:
        """Switch a modem line of its port; errors as `Port.set_line`. DTR resets many boards."""
        self._session.sender.port.set_line(line, on)

    def line(self, line: InputLine) -> bool:
        """Whether a modem line of its port is on; errors as `Port.line`."""
        return self._session.sender.port.line(line)

    # --- settings --------------------------------------------------------------------------------------------------

    def write_settings(
        self, changes: Mapping[str, str], *, backup: Path, known: Fraction | None = None
    ) -> ControllerSettings:
        """Store settings; see `settings_writing.write_settings`."""
        return settings_writing.write_settings(self._session, changes, backup, known)

    def restore_settings(self, backup: Path) -> ControllerSettings:
        """Store the settings of a backup again; see `settings_writing.restore_settings`."""
        return settings_writing.restore_settings(self._session, backup)

    # --- closing ---------------------------------------------------------------------------------------------------

    def close(self) -> None:
        """Give the port back. Sends nothing; a second call does nothing."""
        if not self._closed:
            self._closed = True
            self._session.rest = None
            self._session.sender.port.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is not None:
                self.stop()
        finally:
            self.close()
