"""One axis behind one sender: what is known of it, and the acts that everything else is made of."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from firmware_host.controller.reply import AxisState, BufferInfo, Greeting, ParserState, SettingLine, StatusReport
from firmware_host.controller.sender import Exchange, Sender
from firmware_host.controller.settings import ControllerSettings
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    LineRejectedError,
    NotAtRestError,
    UnexpectedReplyError,
)

ANSWER_S = 2.0
"""Deadline for the answer to a line that starts nothing (s)."""
STATUS_S = 1.0
"""Deadline for a status report (s); a report takes 4 ms."""
STATUS_LEAST_S = 0.05
"""A report asked for just before some other deadline is still waited for so long (s)."""
GREETING_S = 3.0
"""How long to wait for a greeting after opening or a reset (s): boards take 1 to 2 s. Common practice, no source."""
POLL_S = 0.01
"""Pause between two reports that must agree (s)."""
_OFFSET_POLLS = 60
"""Reports within which a member that reports work positions has told its offset. From memory: every 10th to 30th."""


@dataclass(frozen=True)
class RestProof:
    """That the axis stands where it should: everything that was seen.

    `at_s` monotonic s; `reported_position` in units; `reported_steps` = position * steps_per_unit.
    """

    at_s: float
    reported_position: float
    reported_steps: float
    target_steps: int
    steps_per_unit: Fraction
    reports: tuple[StatusReport, ...]


class AxisSession:
    """State of one open controller. The functions of this package work on it; `Controller` is its face."""

    def __init__(self, sender: Sender, axis: str, steps_per_unit_known: Fraction | None) -> None:
        self.sender = sender
        self.dialect = sender.dialect
        self.clock = sender.clock
        self.axis = axis
        self.index = self.dialect.axis_index(axis)
        self.known = steps_per_unit_known
        self.greets: bool | None = None
        """True if it greets after a reset; None: not known yet."""
        self.synchronised = False
        """True if its line reader is known to agree with its step counter; else the next move might run wild."""
        self.prepared = False
        """True if the modal words were set and seen."""
        self.homing = False
        self.rest: RestProof | None = None
        self._settings: ControllerSettings | None = None
        self._offset: tuple[float, ...] | None = None

    @property
    def settings(self) -> ControllerSettings:
        """The settings as last read. Raises ControllerError if they weren't."""
        if self._settings is None:
            raise ControllerError("its settings have not been read")
        return self._settings

    # --- asking ----------------------------------------------------------------------------------------------------

    def ask(self, line: bytes, timeout_s: float = ANSWER_S) -> Exchange:
        """Send one line and return its exchange; errors as `Sender.ask`."""
        return self.sender.ask(line, timeout_s=timeout_s)

    def poll(self, timeout_s: float = STATUS_S) -> StatusReport:
        """One fresh report with its machine position filled in; errors as `Sender.request_status`."""
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
        """The machine position of the axis in units (mm or degrees). Raises ControllerError if it can't be told."""
        if self._settings is not None and self.settings.inches:
            raise ControllerError(f"reports in inches ({self.settings.names.inches}): positions cannot be used")
        if report.machine is None or len(report.machine) <= self.index:
            count = len(report.machine or ())
            raise ControllerError(f"reports {count} axes; axis {self.axis} is not among them")
        return report.machine[self.index]

    def resolution_steps(self, report: StatusReport, steps_per_unit: Fraction) -> float:
        """By how many steps a reported position may be off for its few decimals (>= 0)."""
        rounded = 1 if report.work is None else 2  # work position and offset are rounded each for itself
        return float(rounded * steps_per_unit / (2 * 10**self.dialect.position_decimals))

    def standing(self, *, allow: frozenset[AxisState]) -> StatusReport:
        """Two reports in a row that say the same allowed state and place; NotAtRestError, ControllerFaultError."""
        first = self.poll()
        self.sender.listen(POLL_S)
        second = self.poll()
        for report in (first, second):
            if report.state not in allow:
                raise self.wrong_state(report.state)
        if first.machine != second.machine:
            raise NotAtRestError("its position changes from one report to the next")
        return second

    def wrong_state(self, state: AxisState) -> ControllerError:
        """The error for a state that doesn't allow what is being done."""
        remedy = self.dialect.state_remedy(state)
        detail = f"it is {state.value}, not ready" + (f": {remedy}" if remedy else "")
        if state in {AxisState.LOCKED, AxisState.FAULTED}:
            return ControllerFaultError(detail)
        return NotAtRestError(detail)

    # --- reading what it is ----------------------------------------------------------------------------------------

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
                self.sender.usable_bytes = self.dialect.usable_bytes(reply.receive_bytes)

    def read_settings(self) -> ControllerSettings:
        """Read all settings twice and keep them; a lost digit shows as a difference (UnexpectedReplyError)."""
        first, second = self._settings_once(), self._settings_once()
        if first != second:
            differing = sorted(key for key in first.keys() | second.keys() if first.get(key) != second.get(key))
            raise UnexpectedReplyError(self.sender.port.url, f"two readings of the settings differ: {differing}")
        settings = ControllerSettings.read(first, self.axis, self.dialect.setting_names(self.axis))
        if self.known is not None:
            settings = replace(settings, steps_per_unit=settings.steps_per_unit.known_as(self.known))
        self._settings = settings
        return settings

    def _settings_once(self) -> dict[str, str]:
        payload = self.ask(self.dialect.settings_query()).payload
        return {reply.key: reply.text for reply in payload if isinstance(reply, SettingLine)}

    # --- making it ready -------------------------------------------------------------------------------------------

    def synchronise(self) -> None:
        """Reset it while it stands still, so that its line reader takes its position from the step counter.

        Moves nothing and keeps the position. Needed after steps-per-unit has been written, and when an earlier owner of
        the line might have done so: until then the next move could run wild. Raises ControllerError if the reset can't
        be proved, NotAtRestError if it isn't standing; moves stay refused then.
        """
        self.synchronised = self.prepared = False
        before = self.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
        marked = self.greets is None and before.state is AxisState.READY
        if marked:
            self.ask(self.dialect.marker_line())
        greeting = self.sender.reset(GREETING_S)
        self.greeted(greeting)
        if greeting is None and (not marked or self._marker_stands()):
            raise ControllerError(
                "it did not greet after a reset: whether it was reset is unknown. Switch it off and on"
            )
        after = self.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
        if self.position(before) != self.position(after):
            self.sender.position_lost = ControllerFaultError(
                "its position changed in a reset. Home it or set zero anew"
            )
            raise self.sender.position_lost
        self.synchronised = True

    def _marker_stands(self) -> bool:
        states = [reply for reply in self.ask(self.dialect.modes_query()).payload if isinstance(reply, ParserState)]
        return not states or self.dialect.marker_stands(states[-1])

    def prepare(self) -> None:
        """Make it ready to move: synchronised, with the modal words set and seen. Moves nothing."""
        self.require_position()
        self.prepared = False
        self.standing(allow=frozenset({AxisState.READY}))
        if self.sender.out_of_step:
            self.sender.resynchronise()
        if not self.synchronised:
            self.synchronise()
        self.ask(self.dialect.clear_line())
        self.ask(self.dialect.modal_line())
        payload = self.ask(self.dialect.modes_query()).payload
        states = [reply for reply in payload if isinstance(reply, ParserState)]
        missing = self.dialect.missing_modes(states[-1]) if states else ("all of them",)
        if missing:
            raise ControllerError(f"accepted the modal words but does not show {', '.join(missing)}")
        self.prepared = True

    def require_position(self) -> None:
        """Raise what made the position unknown, if anything did and it hasn't been homed or unlocked since."""
        lost = self.sender.position_lost
        if isinstance(lost, ControllerFaultError):
            raise ControllerFaultError(lost.detail, lost.code)
        if lost is not None:
            raise type(lost)(lost.detail)

    def require_movable(self) -> None:
        """Raise unless a move may be sent: position known, prepared, and its line reader in step with its motor."""
        self.require_position()
        if not self.synchronised:
            raise NotAtRestError("its line reader may not agree with its step counter: prepare it before a move")
        if not self.prepared:
            raise NotAtRestError("it has not been prepared since it was opened, reset or stopped")
