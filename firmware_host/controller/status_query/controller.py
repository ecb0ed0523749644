"""A controller that says in a word what it is doing, and can be paused and reset at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction

from firmware_host.controller.controller import StopReport
from firmware_host.controller.deadlines import GREETING_S, POLL_S, STANDSTILL_S
from firmware_host.controller.reply import AxisState, Greeting, ParserState, SettingLine, StatusReport
from firmware_host.controller.status_query import stop as stopping
from firmware_host.controller.status_query.asking import STANDING, StateWordAsking
from firmware_host.controller.stored_settings import ControllerSettings, SettingNames, StoredNumber
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    StandstillError,
)


class StateWordController(StateWordAsking):
    """For dialects with a state word."""

    # --- making it ready -------------------------------------------------------------------------------------------

    def synchronise(self) -> None:
        """Reset it while it stands still, so that its line reader takes its position from the step counter.

        Moves nothing and keeps the position. Needed after steps-per-unit has been written, and when an earlier owner of
        the line might have done so: until then the next move could run wild. Raises ControllerError if the reset can't
        be proved, StandstillError if it isn't standing; moves stay refused then.
        """
        self.synchronised = self.prepared = False
        before = self.standing(allow=STANDING)
        marked = self.greets is None and before.state is AxisState.READY
        if marked:
            self.ask(self.dialect.clear_line())
            self.ask(self.dialect.marker_line())
        greeting = self.sender.reset(GREETING_S)
        self.greeted(greeting)
        if greeting is None and (not marked or self._marker_stands()):
            raise ControllerError(
                "it did not greet after a reset: whether it was reset is unknown. Switch it off and on"
            )
        after = self.standing(allow=STANDING)
        if not self.same_place(before, after):
            self.sender.position_lost = ControllerFaultError(
                "its position changed in a reset. Home it or set zero anew"
            )
            raise self.sender.position_lost
        self.synchronised = True

    def _marker_stands(self) -> bool:
        states = [reply for reply in self.ask(self.dialect.modes_query()).payload if isinstance(reply, ParserState)]
        return not states or self.dialect.marker_stands(states[-1])

    def _make_ready(self) -> None:
        """Synchronised, with the modal words set and seen."""
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
        self.hear_again()
        if self.sender.out_of_step:
            self.sender.resynchronise()
        if not self.synchronised:
            self.synchronise()

    def _require_prepared(self) -> None:
        if not self.synchronised:
            raise StandstillError("its line reader may not agree with its step counter: prepare it before a move")
        super()._require_prepared()

    @property
    def syncs(self) -> bool:
        return not self.dialect.state_tells_standstill

    @property
    def reports_travel(self) -> bool:
        return True  # a motor's own step counter, on every board measured

    def sync(self, deadline_s: float) -> None:
        for _ in range(2):  # some boards answer the sync line when it is queued: the line after it tells
            left_s = max(deadline_s - self.clock.monotonic(), 0.0)
            self.ask(self.dialect.sync_line(), left_s)

    def says_standstill(self, report: StatusReport) -> bool:
        return report.state is AxisState.READY or self.syncs

    def _home(self, timeout_s: float) -> StatusReport:
        self.standstill = None
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
        self.standstill = None
        self.prepared = False
        self.hear_again()
        if self.sender.out_of_step:
            self.sender.resynchronise()
        self.ask(self.dialect.unlock_line())
        self.sender.position_lost = None
        self.await_standstill()
        return self.standing(allow=frozenset({AxisState.READY}))

    def wake(self) -> None:
        """It sleeps while its motors are released, and only a reset wakes it."""
        self.greeting = self.sender.reset(GREETING_S) or Greeting("it was asleep and has been woken by a reset")
        self.greeted(self.greeting)
        if self.status().state is AxisState.LOCKED:
            self.unlock()
        self.sender.position_lost = None

    def clear_offset(self, *, known: Fraction | None = None) -> StatusReport:
        return self.standing(allow=STANDING)  # machine coordinates know no offset

    # --- stopping --------------------------------------------------------------------------------------------------

    def await_standstill(self) -> StatusReport:
        """The second of two reports that agree on standstill; StandstillError if none do in time."""
        deadline_s = self.clock.monotonic() + STANDSTILL_S
        last: StatusReport | None = None
        while self.clock.monotonic() < deadline_s:
            report = self.status()
            still = report.state.stands_still
            if still and last is not None and (last.state, last.machine) == (report.state, report.machine):
                return report
            last = report if still else None
            self.sender.listen(POLL_S)
        raise StandstillError(f"it did not come to a standstill within {STANDSTILL_S:g} s")

    def _begin_stop(self) -> None:
        self.sender.realtime(self.dialect.hold_request())

    def _finish_stop(self, timeout_s: float) -> StopReport:
        return stopping.stop(self, timeout_s)

    # --- settings --------------------------------------------------------------------------------------------------

    def _settings_once(self) -> dict[str, str]:
        payload = self.ask(self.dialect.settings_query()).payload
        return {reply.key: reply.text for reply in payload if isinstance(reply, SettingLine)}

    def _interpret(self, raw: Mapping[str, str]) -> ControllerSettings:
        settings = ControllerSettings.read(raw, self.axis, self._names())
        if self._settings is not None and self._settings.inches != settings.inches:
            self._offset = None  # it was told in the other unit
        return settings

    def _names(self) -> SettingNames:
        return self.dialect.setting_names_at(self.index) if self.tells_axes else self.dialect.setting_names(self.axis)

    def setting_line(self, key: str, text: str) -> bytes:
        return self.dialect.setting_line(key, text)

    def listed_line(self, key: str, text: str) -> bytes:
        return self.dialect.listed_setting_line(key, text)

    def reads_back(self, stored: ControllerSettings, key: str, text: str) -> bool:
        return StoredNumber.printed(stored.raw[key]).reads_as(Fraction(text))

    def bring_into_force(self) -> None:
        """Each setting is in force and stored when it was set."""

    def require_rescalable(self, keys: Iterable[str]) -> None:
        """Safe at any position: a reset follows."""

    def before_rescale(self, keys: Iterable[str]) -> None:
        self.synchronised = self.prepared = False

    def after_rescale(self, keys: Iterable[str]) -> None:
        self.synchronise()

    def store(self) -> None:
        """Each setting was stored when it was set."""
