"""What a controller with a state word is asked for: its reports, positions, buffer, and a description of itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType
from typing import ClassVar

from firmware_host.acts import Unlock
from firmware_host.controller.axis import Connection
from firmware_host.controller.controller import Controller, Description
from firmware_host.controller.deadlines import GREETING_S, STATUS_S
from firmware_host.controller.learned import Learned
from firmware_host.controller.reply import AxisLetters, AxisState, BufferInfo, Greeting, StatusReport
from firmware_host.controller.status_query.base import StateWordDialect
from firmware_host.controller.status_query.learned import Heard, learned_of
from firmware_host.controller.status_query.sender import CountingSender
from firmware_host.controller.stored_settings import FIX, WRITE
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    FirmwareHostError,
    LineRejectedError,
    ReplyTimeoutError,
    UnexpectedReplyError,
)

_OFFSET_POLLS = 60
"""A board that reports work positions sends its offset once in so many reports. From memory: every 10th to 30th."""
STANDING = frozenset({AxisState.READY, AxisState.LOCKED})
"""States in which it moves nothing and may be asked for its settings."""
_ONLY_A_RESET = "After an alarm at the end of the travel only a reset is heard: unlocking sends one"


class StateWordAsking(Controller):
    """The part that only asks. Nothing moves; `_learn` alone may reset, and only where it is told to."""

    stores_at_once: ClassVar[bool] = True

    def __init__(self, dialect: StateWordDialect, connection: Connection, axis: str) -> None:
        dialect.axis_index(axis)
        self.sender: CountingSender = CountingSender(
            connection.port, dialect, connection.clock, connection.trace, connection.check
        )
        super().__init__(self.sender, connection, axis)
        self.greets: bool | None = None
        """True if it greets after a reset; None: not known yet."""
        self.synchronised = False
        """True if its line reader is known to agree with its step counter; else the next move might run wild."""
        self._offset: tuple[float, ...] | None = None
        self._told_axes = ""
        self._seen_axes = ""
        self._buffer: BufferInfo | None = None

    @property
    def dialect(self) -> StateWordDialect:
        return self.sender.dialect

    def _learn(self, greeting: Greeting | None, *, drop_held_motion: bool) -> Greeting | None:
        self.greeted(greeting)
        try:
            status = self.status()
            self.answer_time.note(self.sender.report_took_s)
        except ReplyTimeoutError as error:
            status = self._deaf(drop_held_motion, self._nothing_answers, error)
        if status.state is AxisState.HOLDING and drop_held_motion:
            self.standing(allow=frozenset({AxisState.HOLDING}))
            self.greeted(self.sender.reset(GREETING_S))
            status = self.status()
        elif status.state is AxisState.ASLEEP and drop_held_motion:
            greeting = self.sender.reset(GREETING_S) or Greeting("it was asleep and has been woken by a reset")
            self.greeted(greeting)
            status = self.status()
        if status.state not in STANDING:
            raise self.wrong_state(status.state)
        try:
            self.sender.resynchronise()
        except ReplyTimeoutError as error:
            if status.state is not AxisState.LOCKED:
                raise
            deaf = ControllerFaultError(f"it is locked, and hears no line. {_ONLY_A_RESET}", acts=(self._unlocking,))
            status = self._deaf(drop_held_motion, lambda: deaf, error)
            self.sender.resynchronise()
        self.read_buffer()
        self.read_settings()
        if not self.settings.inches:
            self.position(status)
        return greeting

    def _deaf(self, resets: bool, deaf: Callable[[], FirmwareHostError], error: ReplyTimeoutError) -> StatusReport:
        """Reset a board that answers nothing, or no line, if that is wished for and helps; else raise `deaf()`."""
        if not resets or (greeting := self.sender.reset(GREETING_S)) is None:
            raise deaf() from error
        self.greeted(greeting)
        return self.status()

    def _nothing_answers(self) -> FirmwareHostError:
        return self.sender.nothing_answers(self._unlocking, _ONLY_A_RESET)

    @property
    def _unlocking(self) -> Unlock:
        return Unlock(self.sender.port.url)

    @property
    def learned(self) -> Learned:
        answer_s, reset_s = self.answer_time.usual_s, self.sender.reset_took_s
        return learned_of(Heard(self.axes, self.tells_axes, self._buffer, answer_s, reset_s), self.settings)

    def status(self, timeout_s: float = STATUS_S) -> StatusReport:
        for _ in range(_OFFSET_POLLS):
            report = self.sender.request_status(timeout_s)
            self._offset = report.offset or self._offset
            self._seen_axes = self.dialect.axis_letters(len(report.machine or report.work or ()))
            if report.machine is not None:
                return report
            if report.work is not None and self._offset is not None:
                pairs = zip(report.work, self._offset, strict=False)
                return replace(report, machine=tuple(work + offset for work, offset in pairs), offset=self._offset)
        raise UnexpectedReplyError(self.sender.port.url, f"{_OFFSET_POLLS} reports gave no machine position")

    def position(self, report: StatusReport) -> float:
        if self._settings is not None and self.settings.inches:
            raise ControllerError(
                f"reports in inches ({self.settings.names.inches}): positions cannot be used. Fix: {FIX}", acts=WRITE
            )
        count, index = len(report.machine or ()), self.index
        if report.machine is None or count <= index:
            raise ControllerError(f"reports {count} axes; axis {self.axis} is not among them")
        return report.machine[index]

    @property
    def index(self) -> int:
        """At which place of a report's positions the axis stands. Raises ControllerError if it has no such axis."""
        if not self._told_axes:
            return self.dialect.axis_index(self.axis)
        if self.axis not in self._told_axes:
            raise ControllerError(f"has no axis {self.axis}: its axes are {' '.join(self._told_axes)}")
        return self._told_axes.index(self.axis)

    @property
    def axes(self) -> str:
        """The letters of its axes, in the order of its reports, as far as it was asked."""
        return self._told_axes or self._seen_axes

    @property
    def tells_axes(self) -> bool:
        """True if it has told the letters of its axes itself."""
        return bool(self._told_axes)

    def position_steps(self, report: StatusReport, steps_per_unit: Fraction | None = None) -> float:
        return self.position(report) * float(self._scale(steps_per_unit))

    def resolution_steps(self, report: StatusReport, steps_per_unit: Fraction | None = None) -> float:
        rounded = 1 if report.work is None else 2  # work position and offset are rounded each for itself
        return float(rounded * self._scale(steps_per_unit) / (2 * 10**self.dialect.position_decimals))

    def _scale(self, steps_per_unit: Fraction | None) -> Fraction:
        return self.settings.steps_per_unit.value if steps_per_unit is None else steps_per_unit

    def same_place(self, first: StatusReport, second: StatusReport) -> bool:
        return first.machine == second.machine

    def describe(self) -> Description:
        report = self.status()
        settings: Mapping[str, str] = {}
        if report.state in STANDING:
            self.sender.resynchronise()
            self.read_buffer()
            settings = MappingProxyType(self._settings_once())
        buffer = self._buffer
        return Description(self.axes, buffer.receive_bytes if buffer else None, buffer.blocks if buffer else None,
                           settings)  # fmt: skip

    def greeted(self, greeting: Greeting | None) -> None:
        """Take note of a greeting after opening or an asked-for reset: its line reader starts from the step counter."""
        self._offset = None
        self.prepared = False
        self.standstill = None
        if greeting is not None:
            self.greets = True
            self.synchronised = True

    def wrong_state(self, state: AxisState) -> ControllerError:
        """As `Axis.wrong_state`; where opening it locks it again, unlocking it does not last."""
        if state is AxisState.LOCKED and self.greeting is not None and self._settings and self._settings.homing:
            key = self._settings.names.homing
            detail = (
                f"it is locked, as after every start while homing is on ({key}). Unlock it; if it is locked again, "
                "opening its port starts it anew: home it, or on a machine without a home switch write the settings"
            )
            return ControllerFaultError(detail, acts=(Unlock(self.sender.port.url), *WRITE))
        return super().wrong_state(state)

    def hear_again(self) -> None:
        """Reset it if it hears nothing else: an axis that stands still keeps its position."""
        if self.sender.reset_awaited:
            self.greeted(self.sender.reset(GREETING_S))

    def read_buffer(self) -> None:
        """Ask for the size of the receive buffer and the letters of the axes; where it doesn't say, the usual stand."""
        try:
            exchange = self.ask(self.dialect.buffer_query())
        except LineRejectedError:
            return  # the usual size stands
        for reply in exchange.payload:
            if isinstance(reply, BufferInfo):
                self._buffer = reply
                self.sender.usable_bytes = self.dialect.usable_bytes(reply.receive_bytes)
            elif isinstance(reply, AxisLetters):
                self._told_axes = reply.letters
