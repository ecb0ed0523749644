"""A session with a controller that says in a word what it is doing, and can be held and reset at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType

from firmware_host.controller.reply import AxisState, BufferInfo, Greeting, ParserState, SettingLine, StatusReport
from firmware_host.controller.session import (
    ANSWER_S,
    GREETING_S,
    HOLD_S,
    POLL_S,
    STATUS_S,
    AxisSession,
    Connection,
    Description,
    StopReport,
)
from firmware_host.controller.settings.stored import FIX, ControllerSettings, StoredNumber
from firmware_host.controller.status_query import stop as stopping
from firmware_host.controller.status_query.base import StateWordDialect
from firmware_host.controller.status_query.sender import CountingSender
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    DialectError,
    LineRejectedError,
    ReplyTimeoutError,
    StandstillError,
    UnexpectedReplyError,
)

_OFFSET_POLLS = 60
"""Reports within which a variant that reports work positions has told its offset. From memory: every 10th to 30th."""
_STANDING = frozenset({AxisState.READY, AxisState.LOCKED})


class StateWordSession(AxisSession):
    """For dialects with a state word."""

    def __init__(self, dialect: StateWordDialect, connection: Connection, axis: str) -> None:
        self.index = dialect.axis_index(axis)
        self.sender: CountingSender = CountingSender(connection.port, dialect, connection.clock, connection.trace)
        super().__init__(self.sender, connection, axis)
        self.greets: bool | None = None
        """True if it greets after a reset; None: not known yet."""
        self.synchronised = False
        """True if its line reader is known to agree with its step counter; else the next move might run wild."""
        self._offset: tuple[float, ...] | None = None
        self._buffer: BufferInfo | None = None

    @property
    def dialect(self) -> StateWordDialect:
        return self.sender.dialect

    # --- asking ----------------------------------------------------------------------------------------------------

    def learn(self, greeting: Greeting | None, *, drop_held_motion: bool) -> Greeting | None:
        self.greeted(greeting)
        try:
            status = self.poll()
        except ReplyTimeoutError as error:
            detail = (
                f"nothing answers in dialect {self.dialect.name}. Check that it is on, the port, its speed, and "
                "link.dialect (circumstep controller find tells which one is spoken)"
            )
            raise DialectError(self.sender.port.url, detail) from error
        if status.state is AxisState.HOLDING and drop_held_motion:
            self.standing(allow=frozenset({AxisState.HOLDING}))
            self.greeted(self.sender.reset(GREETING_S))
            status = self.poll()
        elif status.state is AxisState.ASLEEP and drop_held_motion:
            greeting = self.sender.reset(GREETING_S) or Greeting("it was asleep and has been woken by a reset")
            self.greeted(greeting)
            status = self.poll()
        if status.state not in _STANDING:
            raise self.wrong_state(status.state)
        self.sender.resynchronise()
        self.read_buffer()
        self.read_settings()
        if not self.settings.inches:
            self.position(status)
        return greeting

    def poll(self, timeout_s: float = STATUS_S) -> StatusReport:
        for _ in range(_OFFSET_POLLS):
            report = self.sender.request_status(timeout_s)
            self._offset = report.offset or self._offset
            if report.machine is not None:
                return report
            if report.work is not None and self._offset is not None:
                pairs = zip(report.work, self._offset, strict=False)
                return replace(report, machine=tuple(work + offset for work, offset in pairs), offset=self._offset)
        raise UnexpectedReplyError(self.sender.port.url, f"{_OFFSET_POLLS} reports told no machine position")

    def position(self, report: StatusReport) -> float:
        if self._settings is not None and self.settings.inches:
            raise ControllerError(
                f"reports in inches ({self.settings.names.inches}): positions cannot be used. Fix: {FIX}"
            )
        if report.machine is None or len(report.machine) <= self.index:
            count = len(report.machine or ())
            raise ControllerError(f"reports {count} axes; axis {self.axis} is not among them")
        return report.machine[self.index]

    def steps(self, report: StatusReport, steps_per_unit: Fraction) -> float:
        return self.position(report) * float(steps_per_unit)

    def resolution_steps(self, report: StatusReport, steps_per_unit: Fraction) -> float:
        rounded = 1 if report.work is None else 2  # work position and offset are rounded each for itself
        return float(rounded * steps_per_unit / (2 * 10**self.dialect.position_decimals))

    def same_place(self, first: StatusReport, second: StatusReport) -> bool:
        return first.machine == second.machine

    def describe(self) -> Description:
        report = self.poll()
        letters = self.dialect.axis_letters(len(report.machine or ()))
        settings: Mapping[str, str] = {}
        if report.state in _STANDING:
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
        self.rest = None
        if greeting is not None:
            self.greets = True
            self.synchronised = True

    def read_buffer(self) -> None:
        """Ask for the size of the receive buffer; a controller that doesn't tell is taken to have the usual one."""
        try:
            exchange = self.ask(self.dialect.buffer_query())
        except LineRejectedError:
            return  # the usual size stands
        for reply in exchange.payload:
            if isinstance(reply, BufferInfo):
                self._buffer = reply
                self.sender.usable_bytes = self.dialect.usable_bytes(reply.receive_bytes)

    # --- making it ready -------------------------------------------------------------------------------------------

    def synchronise(self) -> None:
        """Reset it while it stands still, so that its line reader takes its position from the step counter.

        Moves nothing and keeps the position. Needed after steps-per-unit has been written, and when an earlier owner of
        the line might have done so: until then the next move could run wild. Raises ControllerError if the reset can't
        be proved, StandstillError if it isn't standing; moves stay refused then.
        """
        self.synchronised = self.prepared = False
        before = self.standing(allow=_STANDING)
        marked = self.greets is None and before.state is AxisState.READY
        if marked:
            self.ask(self.dialect.marker_line())
        greeting = self.sender.reset(GREETING_S)
        self.greeted(greeting)
        if greeting is None and (not marked or self._marker_stands()):
            raise ControllerError(
                "it did not greet after a reset: whether it was reset is unknown. Switch it off and on"
            )
        after = self.standing(allow=_STANDING)
        if not self.same_place(before, after):
            self.sender.position_lost = ControllerFaultError(
                "its position changed in a reset. Home it or set zero anew"
            )
            raise self.sender.position_lost
        self.synchronised = True

    def _marker_stands(self) -> bool:
        states = [reply for reply in self.ask(self.dialect.modes_query()).payload if isinstance(reply, ParserState)]
        return not states or self.dialect.marker_stands(states[-1])

    def prepare(self) -> None:
        """Make it ready to move: synchronised, with the modal words set and seen."""
        self.require_position()
        self.prepared = False
        self.position(self.standing(allow=frozenset({AxisState.READY})))
        self._make_synchronised()
        self.ask(self.dialect.clear_line())
        self.ask(self.dialect.modal_line())
        payload = self.ask(self.dialect.modes_query()).payload
        states = [reply for reply in payload if isinstance(reply, ParserState)]
        missing = self.dialect.missing_modes(states[-1]) if states else ("all of them",)
        if missing:
            raise ControllerError(f"accepted the modal words but does not show {', '.join(missing)}")
        self.prepared = True

    def _make_synchronised(self) -> None:
        if self.sender.out_of_step:
            self.sender.resynchronise()
        if not self.synchronised:
            self.synchronise()

    def move(self, line: bytes) -> float:
        self.require_position()
        if not self.synchronised:
            raise StandstillError("its line reader may not agree with its step counter: prepare it before a move")
        if not self.prepared:
            raise StandstillError("it has not been prepared since it was opened, reset or stopped")
        self.rest = None
        return self.ask(line).answered_at_s

    @property
    def syncs(self) -> bool:
        return not self.dialect.state_tells_standstill

    def sync(self, deadline_s: float) -> None:
        for _ in range(2):  # some variants answer the sync line when it is queued: the line after it tells
            left_s = max(deadline_s - self.clock.monotonic(), 0.0)
            self.ask(self.dialect.sync_line(), left_s)

    def says_standstill(self, report: StatusReport) -> bool:
        return report.state is AxisState.READY or self.syncs

    def home(self, timeout_s: float) -> StatusReport:
        self.rest = None
        self._make_synchronised()
        self.prepared = False
        self.homing = True
        try:
            self.ask(self.dialect.home_line(), timeout_s)
        except ControllerError:  # refused, no switch found, or reset: it doesn't seek any more
            self.homing = False
            raise
        self.homing = False
        self.sender.position_lost = None
        self.await_standstill()
        return self.standing(allow=frozenset({AxisState.READY}))

    def unlock(self) -> StatusReport:
        self.rest = None
        self.prepared = False
        if self.sender.out_of_step:
            self.sender.resynchronise()
        self.ask(self.dialect.unlock_line(), ANSWER_S)
        self.sender.position_lost = None
        self.await_standstill()
        return self.standing(allow=frozenset({AxisState.READY}))

    def set_zero(self) -> StatusReport:
        return self.standing(allow=_STANDING)  # machine coordinates: zero is only a number of the caller's

    def clear_offset(self, known: Fraction | None) -> StatusReport:
        return self.standing(allow=_STANDING)  # machine coordinates know no offset

    # --- holding and stopping --------------------------------------------------------------------------------------

    def hold(self) -> StatusReport:
        self.rest = None
        self.sender.realtime(self.dialect.hold_request())
        return self.await_standstill()

    def go_on(self) -> StatusReport:
        """Go on after a hold; waits until it stands still first, for it would not listen before."""
        self.rest = None
        report = self.await_standstill()
        if report.state not in {AxisState.HOLDING, AxisState.DOOR}:
            return report
        self.sender.realtime(self.dialect.go_on_request())
        deadline_s = self.clock.monotonic() + HOLD_S
        while (report := self.poll()).state not in {AxisState.MOVING, AxisState.READY}:
            if self.clock.monotonic() >= deadline_s:
                raise StandstillError(f"it is {report.state.value} and did not go on within {HOLD_S:g} s")
            self.sender.listen(POLL_S)
        return report

    def await_standstill(self) -> StatusReport:
        """The second of two reports that agree on standstill; StandstillError if none do in time."""
        deadline_s = self.clock.monotonic() + HOLD_S
        last: StatusReport | None = None
        while self.clock.monotonic() < deadline_s:
            report = self.poll()
            still = report.state.stands_still
            if still and last is not None and (last.state, last.machine) == (report.state, report.machine):
                return report
            last = report if still else None
            self.sender.listen(POLL_S)
        raise StandstillError(f"it did not come to a standstill within {HOLD_S:g} s")

    def begin_stop(self) -> None:
        self.sender.realtime(self.dialect.hold_request())

    def finish_stop(self, timeout_s: float) -> StopReport:
        return stopping.stop(self, timeout_s)

    # --- settings --------------------------------------------------------------------------------------------------

    def _settings_once(self) -> dict[str, str]:
        payload = self.ask(self.dialect.settings_query()).payload
        return {reply.key: reply.text for reply in payload if isinstance(reply, SettingLine)}

    def _interpret(self, raw: Mapping[str, str]) -> ControllerSettings:
        settings = ControllerSettings.read(raw, self.axis, self.dialect.setting_names(self.axis))
        if self._settings is not None and self._settings.inches != settings.inches:
            self._offset = None  # it was told in the other unit
        return settings

    def setting_line(self, key: str, text: str) -> bytes:
        return self.dialect.setting_line(key, text)

    def reads_back(self, held: ControllerSettings, key: str, text: str) -> bool:
        return StoredNumber.printed(held.raw[key]).reads_as(Fraction(text))

    def require_rescalable(self, keys: Iterable[str]) -> None:
        """Safe at any place: a reset follows."""

    def before_rescale(self, keys: Iterable[str]) -> None:
        self.synchronised = self.prepared = False

    def after_rescale(self, keys: Iterable[str]) -> None:
        self.synchronise()

    def store(self) -> None:
        """Each setting was stored when it was set."""
