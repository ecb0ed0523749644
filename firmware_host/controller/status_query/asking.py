"""What a controller with a state word is asked for: its reports, positions, buffer, and a description of itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType
from typing import ClassVar

from firmware_host.controller.axis import Connection
from firmware_host.controller.controller import Controller, Description
from firmware_host.controller.deadlines import GREETING_S, STATUS_S
from firmware_host.controller.learned import Learned
from firmware_host.controller.reply import AxisState, BufferInfo, Greeting, StatusReport
from firmware_host.controller.status_query.base import StateWordDialect
from firmware_host.controller.status_query.learned import learned_of
from firmware_host.controller.status_query.sender import CountingSender
from firmware_host.controller.stored_settings import FIX, WRITE
from firmware_host.errors import (
    ControllerError,
    LineRejectedError,
    ReplyTimeoutError,
    UnexpectedReplyError,
)

_OFFSET_POLLS = 60
"""A board that reports work positions sends its offset once in so many reports. From memory: every 10th to 30th."""
STANDING = frozenset({AxisState.READY, AxisState.LOCKED})
"""States in which it moves nothing and may be asked for its settings."""


class StateWordAsking(Controller):
    """The part that only asks. Nothing moves; `_learn` alone may reset, and only where it is told to."""

    stores_at_once: ClassVar[bool] = True

    def __init__(self, dialect: StateWordDialect, connection: Connection, axis: str) -> None:
        self.index = dialect.axis_index(axis)
        self.sender: CountingSender = CountingSender(
            connection.port, dialect, connection.clock, connection.trace, connection.check
        )
        super().__init__(self.sender, connection, axis)
        self.greets: bool | None = None
        """True if it greets after a reset; None: not known yet."""
        self.synchronised = False
        """True if its line reader is known to agree with its step counter; else the next move might run wild."""
        self._offset: tuple[float, ...] | None = None
        self._axes = ""
        self._buffer: BufferInfo | None = None

    @property
    def dialect(self) -> StateWordDialect:
        return self.sender.dialect

    def _learn(self, greeting: Greeting | None, *, drop_held_motion: bool) -> Greeting | None:
        self.greeted(greeting)
        try:
            status = self.status()
        except ReplyTimeoutError as error:
            raise self.sender.nothing_answers() from error
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
        self.sender.resynchronise()
        self.read_buffer()
        self.read_settings()
        if not self.settings.inches:
            self.position(status)
        return greeting

    @property
    def learned(self) -> Learned:
        return learned_of(self._axes, self.settings, self.answer_time.usual_s)

    def status(self, timeout_s: float = STATUS_S) -> StatusReport:
        for _ in range(_OFFSET_POLLS):
            report = self.sender.request_status(timeout_s)
            self._offset = report.offset or self._offset
            self._axes = self.dialect.axis_letters(len(report.machine or report.work or ()))
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
        if report.machine is None or len(report.machine) <= self.index:
            count = len(report.machine or ())
            raise ControllerError(f"reports {count} axes; axis {self.axis} is not among them")
        return report.machine[self.index]

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
        letters = self.dialect.axis_letters(len(report.machine or ()))
        settings: Mapping[str, str] = {}
        if report.state in STANDING:
            self.sender.resynchronise()
            self.read_buffer()
            settings = MappingProxyType(self._settings_once())
        buffer = self._buffer
        return Description(letters, buffer.receive_bytes if buffer else None, buffer.blocks if buffer else None,
                           settings)  # fmt: skip

    def greeted(self, greeting: Greeting | None) -> None:
        """Take note of a greeting after opening or an asked-for reset: its line reader starts from the step counter."""
        self._offset = None
        self.prepared = False
        self.standstill = None
        if greeting is not None:
            self.greets = True
            self.synchronised = True

    def read_buffer(self) -> None:
        """Ask for the size of the receive buffer; a controller that doesn't say is assumed to have the usual one."""
        try:
            exchange = self.ask(self.dialect.buffer_query())
        except LineRejectedError:
            return  # the usual size stands
        for reply in exchange.payload:
            if isinstance(reply, BufferInfo):
                self._buffer = reply
                self.sender.usable_bytes = self.dialect.usable_bytes(reply.receive_bytes)
