"""The controller as a run sees it: one axis that can be asked, moved, proved to stand still, and stopped.

Each mechanism has its own subclass; `connect` makes the right one for a dialect.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from firmware_host.controller import standstill
from firmware_host.controller.axis import Axis, Connection, StandstillProof
from firmware_host.controller.deadlines import HOME_S, STOP_S
from firmware_host.controller.learned import Learned
from firmware_host.controller.pieces import Piece, send_pieces
from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.controller.reply import Greeting, StatusReport
from firmware_host.controller.sender import Sender
from firmware_host.controller.settings import restore as settings_restoring
from firmware_host.controller.settings import write as settings_writing
from firmware_host.controller.standstill import OnPoll, StandstillTarget
from firmware_host.controller.stored_settings import ControllerSettings
from firmware_host.errors import LinkError, StandstillError


@dataclass(frozen=True)
class StopReport:
    """How a stop went. `stands_still` is True only if two reports in a row said so."""

    stands_still: bool
    detail: str
    status: StatusReport | None = None


@dataclass(frozen=True)
class Description:
    """What a controller tells of itself. Sizes: bytes of its receive buffer, moves it plans ahead; None: not told."""

    axes: str
    receive_bytes: int | None
    planner_blocks: int | None
    settings: Mapping[str, str]


class Controller(Axis):
    """One open controller and one of its axes. One thread uses it at a time.

    Positions are in the controller's units (mm or degrees) from machine zero; steps are whole microsteps from there.
    Where moves can't name machine coordinates, "machine zero" is the controller's own zero: where it was switched on,
    reset or homed. Every method that talks may raise LinkError (port lost, no answer,
    damaged answer), ControllerResetError when it greeted again, and ControllerFaultError when it reports an alarm;
    after the last two, moves are refused until `home` or `unlock`.
    """

    def __init__(self, sender: Sender, connection: Connection, axis: str) -> None:
        super().__init__(sender, connection, axis)
        self._stop_report: StopReport | None = None
        self._closed = False
        self._switched_on: set[int] = set()
        self.runs_out = False
        """True if the last move was sent in pieces: what has been sent of it ends by itself soon."""
        self.greeting: Greeting | None = None
        """What it said when it was opened, or our own words if it didn't greet but was seen to have been reset; None if
        it was neither: then it has not been reset since its last owner."""

    def open(self, greeting_timeout_s: float, *, drop_held_motion: bool) -> None:
        """Wait for the greeting, and learn all there is to know; as `connect`, which is the way to open one."""
        greeting = self.sender.await_greeting(greeting_timeout_s)
        self.greeting = self._learn(greeting, drop_held_motion=drop_held_motion)

    @abstractmethod
    def _learn(self, greeting: Greeting | None, *, drop_held_motion: bool) -> Greeting | None:
        """Learn all there is to know without moving anything; errors as `connect`.

        Returns the greeting, or one of our own words if it was seen otherwise that it has just been reset.
        """

    # --- asking ----------------------------------------------------------------------------------------------------

    @abstractmethod
    def describe(self) -> Description:
        """Ask what it is, before or after it is opened. Moves and changes nothing."""

    @property
    @abstractmethod
    def learned(self) -> Learned:
        """What is known of this board, each line with where it comes from. Raises ControllerError before `open`."""

    @property
    def url(self) -> str:
        """How the port was named."""
        return self.sender.port.url

    @property
    def strays(self) -> tuple[bytes, ...]:
        """Bytes received that fitted no reply (the newest 200); the trace has them all."""
        return tuple(self.sender.strays)

    @property
    def messages(self) -> tuple[str, ...]:
        """What it said unasked (the newest 200)."""
        return tuple(self.sender.messages)

    @property
    def position_lost(self) -> bool:
        """True after a reset, an alarm or a stop that stopped short, until it is homed or unlocked."""
        return self.sender.position_lost is not None

    # --- moving ----------------------------------------------------------------------------------------------------

    def prepare(self) -> None:
        """Make it ready to move; moves nothing. Needed after opening, a reset, a stop, homing and unlocking.

        An axis that stands ready is needed (StandstillError). If no greeting has been seen it may be reset first, which
        keeps its position: an earlier owner of the line may have left half a line or a changed steps-per-unit behind.
        Where that isn't possible, coordinates that don't agree with the step count are refused (ControllerError).
        """
        self._make_ready()
        self._stop_report = None

    @abstractmethod
    def _make_ready(self) -> None:
        """What `prepare` does in the way of the mechanism; sets `prepared`."""

    def move_to(self, coordinate: str, feed: str) -> float:
        """Send one straight move to a machine coordinate (units) at a feed (units/min); return when it was accepted.

        Both are plain decimal texts, sent as they are; the instant returned is in monotonic s. The axis moves after
        that: `wait_for_standstill` tells when it has stopped. Raises InputError for a text that isn't a number,
        StandstillError if it isn't prepared, LineRejectedError if the controller refuses; nothing moves then.
        """
        line = self.dialect.move_line(self.axis, coordinate, feed)
        self._begin_move(runs_out=False)
        return self.ask(line).answered_at_s

    @property
    def in_pieces(self) -> bool:
        """True if a stop can't end a move that was sent without losing its position: send long ones in pieces."""
        return self.capabilities.in_pieces

    def move_in_pieces(self, pieces: Sequence[Piece], feed: str, on_poll: OnPoll | None = None) -> float:
        """As `move_to` the end of the last piece, by way of the ends of the others; return when the last was accepted.

        The instant returned is as if the whole move had been accepted then (see `send_pieces`), so the planned duration
        is that of the whole. A stop sends no more pieces. `on_poll` gets the reports that are asked for meanwhile.
        """
        lines = [self.dialect.move_line(self.axis, piece.coordinate, feed) for piece in pieces]
        self._begin_move(runs_out=True)
        return send_pieces(self, pieces, lines, on_poll)

    def _begin_move(self, *, runs_out: bool) -> None:
        self.require_position()
        self._require_prepared()
        self.standstill = None
        self.runs_out = runs_out
        self._before_move()

    def _require_prepared(self) -> None:
        if not self.prepared:
            raise StandstillError("it has not been prepared since it was opened, reset or stopped")

    def _before_move(self) -> None:
        """Take note that a move is about to be sent, where that is all that tells of motion."""

    def wait_for_standstill(
        self,
        *,
        target_steps: int,
        steps_per_unit: Fraction,
        accepted_at_s: float,
        planned_duration_s: float,
        deadline_s: float,
        on_poll: OnPoll | None = None,
        synced_s: float | None = None,
    ) -> StandstillProof:
        """Wait until every sign says that the axis stands still at `target_steps`, and return the proof.

        `accepted_at_s` is what `move_to` returned, `deadline_s` an instant, both monotonic s; `planned_duration_s` (s)
        is how long the move takes at the controller's own rate and acceleration. `synced_s`: as `StandstillTarget`.
        Errors as `standstill.wait_for_standstill`.
        """
        target = StandstillTarget(target_steps, steps_per_unit, accepted_at_s + planned_duration_s, synced_s)
        return standstill.wait_for_standstill(self, target, deadline_s, on_poll)

    def watch(self, *, fresh_s: float = 0.0) -> StatusReport:
        """One report while the gate is open; the last one of a proof no older than `fresh_s` (s) will do.

        Raises StandstillError, PositionError or ControllerFaultError if anything contradicts the standstill proof: it
        moves, is paused, locked, asleep, stands at another step, or lets go of its motor while it stands still.
        """
        return standstill.watch(self, fresh_s)

    def hear(self, duration_s: float) -> None:
        """Wait for `duration_s` (s) while the gate is open, and hear what is said without being asked.

        Raises at once ControllerResetError, ControllerFaultError, LinkError, or what `check` raises.
        """
        standstill.hear(self, duration_s)

    def home(self, timeout_s: float = HOME_S) -> StatusReport:
        """Seek the home switch; it moves. Afterwards the position is known again and `prepare` is needed."""
        self._stop_report = None
        return self._home(timeout_s)

    @abstractmethod
    def _home(self, timeout_s: float) -> StatusReport:
        """What `home` does in the way of the mechanism."""

    @abstractmethod
    def unlock(self) -> StatusReport:
        """End the lock after an alarm or a reset. Moves nothing; the position is not to be trusted: set zero anew."""

    @abstractmethod
    def clear_offset(self, *, known: Fraction | None = None) -> StatusReport:
        """Let coordinates agree with the motor's step count again, where somebody left an offset behind.

        Moves nothing, and steps count on as before, so whatever origin the caller had kept stays good. Does nothing
        where moves name machine coordinates, or where there is no offset. `known`: the exact steps-per-unit, if it is
        known with more decimals than are printed. Raises ControllerError if it isn't known well enough to tell where
        the axis stands, StandstillError if it doesn't stand still. `prepare` is needed after.
        """

    # --- stopping --------------------------------------------------------------------------------------------------

    def stop(self, timeout_s: float = STOP_S) -> StopReport:
        """Hold, wait for standstill (at most `timeout_s`, s), drop the rest of the motion. Never raises a link error.

        A move in pieces ends where the pieces that were sent end; its position stays known. A move that the controller
        can't hold is stopped short, and its position is lost: `home`, or `unlock` and set zero anew. An axis that
        stands still keeps its position.

        Only the first call acts; a later one returns its report, also when the first was interrupted. `prepare` and
        `home` make it act anew.
        """
        if self._stop_report is not None or self._closed:
            return self._stop_report or StopReport(False, "the port is closed")
        with self.carrying_through():
            return self._stop(timeout_s)

    def _stop(self, timeout_s: float) -> StopReport:
        try:
            # Before the note that it was sent: an interrupt between the two costs a second hold, which is harmless.
            self._begin_stop()
        except LinkError as error:
            self._stop_report = StopReport(False, str(error))
            return self._stop_report
        self._stop_report = StopReport(False, "a stop was sent; waiting for standstill was interrupted")
        self._stop_report = self._finish_stop(timeout_s)
        return self._stop_report

    def carrying_through(self) -> AbstractContextManager[None]:
        """Inside, no wait is broken off by a wish to stop: for what must come to its end."""
        return self.sender.carrying_through()

    @abstractmethod
    def _begin_stop(self) -> None:
        """Send what stops it, at once. Raises PortLostError."""

    @abstractmethod
    def _finish_stop(self, timeout_s: float) -> StopReport:
        """Wait for standstill (at most `timeout_s`, s) and drop what is left of the motion. Raises no link error."""

    def release(self) -> None:
        """Let go of the motors after a `stop` that has seen the axis stand still; its position is lost then.

        Raises StandstillError, and sends nothing, where that was not seen; InputError as `Dialect.release_line`.
        """
        line = self.dialect.release_line()
        if self._stop_report is None or not self._stop_report.stands_still:
            raise StandstillError("it was not seen to stand still: its motors are not released")
        self.standstill = None
        self.ask(line)

    def wake(self) -> None:
        """Let the motors hold again after `release`. Moves nothing; the position is not to be trusted: set zero anew.

        Here it does nothing: the next move lets them hold.
        """

    # --- beside the motion -----------------------------------------------------------------------------------------

    def set_output(self, number: int, on: bool) -> None:
        """Switch an output of the controller; returns when it was accepted. Raises InputError, LineRejectedError.

        One that was switched on here is switched off whatever has befallen the line meanwhile, if that can be.
        """
        line = self.dialect.output_line(number, on)
        if on:
            self._switched_on.add(number)
            self.ask(line)
            return
        with self.carrying_through():
            if number in self._switched_on and (self.sender.unanswered or self.sender.out_of_step):
                self.sender.resynchronise()
            self.ask(line)
        self._switched_on.discard(number)

    def set_line(self, line: OutputLine, on: bool) -> None:
        """Switch a modem line of its port; errors as `Port.set_line`. DTR resets many boards."""
        self.sender.port.set_line(line, on)

    def line(self, line: InputLine) -> bool:
        """Whether a modem line of its port is on; errors as `Port.line`."""
        return self.sender.port.line(line)

    # --- settings --------------------------------------------------------------------------------------------------

    def write_settings(
        self,
        changes: Mapping[str, str],
        *,
        backup: Path,
        known: Fraction | None = None,
        machine: Mapping[str, Any] | None = None,
        announce: Callable[[Path], None] = lambda backup: None,
    ) -> ControllerSettings:
        """Store settings; see `settings_writing.write_settings`."""
        return settings_writing.write_settings(self, changes, backup, known, machine, announce)

    def restore_settings(self, backup: Path) -> ControllerSettings:
        """Store the settings of a backup again; see `settings_restoring.restore_settings`."""
        return settings_restoring.restore_settings(self, backup)

    # --- closing ---------------------------------------------------------------------------------------------------

    def close(self) -> None:
        """Give the port back. Sends nothing; a second call does nothing."""
        if not self._closed:
            self._closed = True
            self.standstill = None
            self.sender.port.close()

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
