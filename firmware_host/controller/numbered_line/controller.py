"""A controller that takes numbered lines: its answers tell that it stands, its step counts where it was sent."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction

from firmware_host.acts import ClearOffset
from firmware_host.controller.axis import Connection
from firmware_host.controller.controller import StopReport
from firmware_host.controller.deadlines import STANDSTILL_S, STORE_S
from firmware_host.controller.numbered_line.asking import NumberedAsking
from firmware_host.controller.numbered_line.base import NumberedDialect
from firmware_host.controller.numbered_line.exchanging import LONG_REPEAT_S
from firmware_host.controller.numbered_line.settings import PrintedSettings, RateKeys, interpret
from firmware_host.controller.reply import AxisState, Reply, StatusReport
from firmware_host.controller.stored_settings import ControllerSettings, StoredNumber
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    FirmwareHostError,
    LineRejectedError,
    PortLostError,
    ReplyTimeoutError,
    StandstillError,
)

STAND_S = 0.1
"""Pause between two step counts that must agree before the axis counts as standing still (s)."""
_STATED_TO = Fraction(1, 2000)
"""Uncertainty of a stated steps-per-unit, which may really have more than three decimals."""
_CLEAR_TO_STEPS = 0.1
"""An offset is taken back only if the true position is known this well (steps)."""
_READY = frozenset({AxisState.READY})


class NumberedController(NumberedAsking):
    """For dialects with numbered lines. There is no state word: what is known of motion is kept here."""

    def __init__(self, dialect: NumberedDialect, connection: Connection, axis: str) -> None:
        super().__init__(dialect, connection, axis)
        self._stopped_short = False
        self._settings_query: bytes | None = None

    # --- knowing that it stands ------------------------------------------------------------------------------------

    @property
    def syncs(self) -> bool:
        return True

    @property
    def reports_travel(self) -> bool:
        return False  # most boards count what is planned, and some plan a move piece by piece

    @property
    def sync_ahead_s(self) -> float:
        """Where no word stops a move, nothing is lost by a sync line that waits; its own answer has come by then."""
        stop = self.learned.quick_stop
        return self.answer_time.usual_s if stop.known and not stop.value else 0.0

    def sync(self, deadline_s: float) -> None:
        """Two sync lines, each known to have been carried out: some boards answer the first when it is queued."""
        for _ in range(2):
            wait_s = LONG_REPEAT_S
            while not self._sync_once(deadline_s, wait_s):
                wait_s *= 2  # lines that were only received pile up in its buffer
        self.under_way = False

    def _sync_once(self, deadline_s: float, wait_s: float) -> bool:
        left_s = max(deadline_s - self.clock.monotonic(), 0.0)
        line = self.dialect.sync_line()
        return self.sender.ask(line, timeout_s=left_s, latest_s=deadline_s, repeat_s=wait_s, patience_s=wait_s).certain

    def says_standstill(self, report: StatusReport) -> bool:
        return report.state is AxisState.READY

    def settle(self, timeout_s: float = STANDSTILL_S) -> StatusReport:
        """Wait until all motion has ended and two reports agree. Raises StandstillError after `timeout_s` (s)."""
        deadline_s = self.clock.monotonic() + timeout_s
        try:
            self.sync(deadline_s)
        except ReplyTimeoutError as error:
            raise StandstillError(f"it did not come to a standstill within {timeout_s:g} s") from error
        last = self.status()
        while self.clock.monotonic() < deadline_s:
            self.sender.listen(STAND_S)
            report = self.status()
            if report.state is AxisState.READY and self.same_place(last, report):
                return report
            last = report
        raise StandstillError(f"its step counts kept changing for {timeout_s:g} s")

    # --- moving ----------------------------------------------------------------------------------------------------

    def _make_ready(self) -> None:
        """Motion ended, motors energised for good, coordinates in step with its counts."""
        self.require_position()
        self.bring_into_force()
        self._require_zero(self._stand_ready())
        self.prepared = True

    def _stand_ready(self) -> StatusReport:
        """Wait until motion has ended, and set what a move needs; moves nothing."""
        self.prepared = False
        if self.sender.out_of_step:
            self.sender.resynchronise()
        self.settle()
        for line in self.dialect.ready_lines():
            self.ask(line)
        return self.standing(allow=_READY)

    def _require_zero(self, report: StatusReport) -> None:
        """Coordinates must count from where the step count is zero, as far as a report tells."""
        off = self._off_zero(report)
        if off:
            raise ControllerError(
                f"coordinates and step counts of axis {self.axis} differ by {float(off):.1f} steps: an offset or "
                "another scale is in effect. Home it, switch it off and on, or take the offset back",
                acts=(ClearOffset(self.sender.port.url),),
            )

    def _off_zero(self, report: StatusReport) -> Fraction:
        """By how many steps coordinates differ from the step count; 0 where that may be rounding, or is unknown."""
        scale = self._scale()
        if scale is None:
            return Fraction(0)  # a wrong scale shows in the step count after the first move
        coordinate = Fraction(str(self.position(report)))
        spread = (scale.high - scale.low) / 2 * abs(coordinate)
        rounding = scale.value / (2 * 10**self.dialect.position_decimals)
        off = self._count(report) - coordinate * scale.value
        return off if abs(off) > Fraction(1, 2) + spread + rounding else Fraction(0)

    def _scale(self) -> StoredNumber | None:
        """Steps per unit as printed, else as stated (to three decimals); None if neither is known."""
        stored, stated = self.settings.stored_steps_per_unit, self.settings.stated.steps_per_unit
        if stored is None and stated is not None:
            return StoredNumber(f"{float(stated):.9g}", stated, stated - _STATED_TO, stated + _STATED_TO)
        return stored

    def _before_move(self) -> None:
        self.under_way = True

    def _home(self, timeout_s: float) -> StatusReport:
        self.standstill = None
        self.prepared = False
        if self.sender.out_of_step:
            self.sender.resynchronise()
        self.homing = self.under_way = True
        deadline_s = self.clock.monotonic() + timeout_s
        try:
            line = self.dialect.home_line(self.axis)
            self.sender.ask(
                line, timeout_s=timeout_s, latest_s=deadline_s, repeat_s=LONG_REPEAT_S, patience_s=timeout_s
            )
            self.sync(deadline_s)
        except ControllerError:  # refused, no switch found, or reset: it doesn't seek any more
            self.homing = False
            raise
        self.homing, self.homed = False, True
        self.sender.position_lost = None
        return self.settle()

    def unlock(self) -> StatusReport:
        """Trust its reports again, if it answers at all."""
        self.standstill = None
        self.prepared = self.homing = False
        self.sender.resynchronise()
        report = self.settle()
        self.sender.position_lost = None
        return report

    def clear_offset(self, *, known: Fraction | None = None) -> StatusReport:
        self.standstill = None
        report = self._stand_ready()
        if not self._off_zero(report):
            return report
        self.ask(self.dialect.place_line(self.axis, self._place_by_count(report, known)))
        self._last_counts = None
        report = self.standing(allow=_READY)
        self._require_zero(report)
        return report

    def _place_by_count(self, report: StatusReport, known: Fraction | None) -> str:
        """The coordinate (units, six decimals) that belongs to the step count."""
        scale = self._scale()
        if scale is None:
            raise ControllerError("its steps per unit are not known, so its step count does not tell its position")
        scale = scale if known is None else scale.known_as(known)
        place = Fraction(self._count(report)) / scale.value
        off = float((scale.high - scale.low) / 2 * abs(place))
        if off > _CLEAR_TO_STEPS:
            raise ControllerError(
                f"its steps per unit are known only as {scale.text}, so its position is known only to {off:.2f} steps, "
                f"limit {_CLEAR_TO_STEPS:g} steps. Switch it off and on instead: it counts from zero then"
            )
        return f"{float(place):.6f}"

    # --- stopping --------------------------------------------------------------------------------------------------

    def _begin_stop(self) -> None:
        """Stop short what doesn't end soon by itself, unless the axis is known to stand still."""
        if self.homing or (self.under_way and not self.runs_out):
            self._stop_short()

    def _stop_short(self) -> None:
        self._stopped_short = True
        if self.sender.position_lost is None:
            detail = "it was stopped short: steps may be lost. Home it or set zero anew"
            self.sender.position_lost = ControllerFaultError(detail)
        self.sender.break_off(self._stopping_line())

    def _stopping_line(self) -> bytes:
        """A board that is known to have no word that stops it at once is halted; one that may have it is told it."""
        known_to_have_none = self.board.quick_stop is False and not self.stated.quick_stop
        return self.dialect.halt_line() if known_to_have_none else self.dialect.stop_line()

    def _finish_stop(self, timeout_s: float) -> StopReport:
        self.standstill = None
        self.prepared = False
        deadline_s = self.clock.monotonic() + timeout_s
        detail = "did not come to a standstill in time"
        while self.clock.monotonic() < deadline_s:
            try:
                return self._stand_stopped(deadline_s - self.clock.monotonic())
            except PortLostError as error:
                return StopReport(False, str(error))
            except FirmwareHostError as error:  # an alarm, a reset, noise: asking on shows what it does now
                detail = str(error)
        return StopReport(False, detail)

    def _stand_stopped(self, timeout_s: float) -> StopReport:
        if not self._stopped_short and not self.under_way:
            try:
                status = self.standing(allow=_READY)
            except StandstillError:
                self._stop_short()
            else:
                return StopReport(True, "stands still", status)
        if self.sender.out_of_step or self.sender.unanswered:
            self.sender.resynchronise()
        status = self.settle(timeout_s)
        self.homing = False
        if not self._stopped_short:
            return StopReport(True, "stands still where what it had been sent ended", status)
        self._stopped_short = False
        return StopReport(True, "stopped short; steps may be lost", status)

    # --- settings --------------------------------------------------------------------------------------------------

    def _settings_once(self) -> dict[str, str]:
        """Rates in units/min if it is known what they count in. What has listed them once is asked from then on."""
        if self._settings_query is not None:
            payload = self._ask_settings(self._settings_query)
            printed = PrintedSettings.collect(payload)
            self.take_listing(payload, printed)
            if self.rates.listed_per_s is None:
                self._take_rates(printed)
            return self.rates.per_minute(printed.texts)
        printed, payload = PrintedSettings({}, None), tuple[Reply, ...]()
        for line in self.dialect.settings_queries():
            try:
                payload = self._ask_settings(line)
            except LineRejectedError:
                continue  # this board doesn't know the word
            printed = PrintedSettings.collect(payload)
            if printed.texts:
                self._lists_stored, self._settings_query = self.dialect.lists_stored(line), line
                break
        self.take_listing(payload, printed)
        self._take_rates(printed)
        return self.rates.per_minute(printed.texts)

    def _take_rates(self, printed: PrintedSettings) -> None:
        query = self._settings_query
        as_listed = query is None or self.dialect.takes_rates_as_listed(query)
        self.rates = RateKeys.of(self.names.rate, printed, self.stated, as_listed=as_listed)

    def _ask_settings(self, line: bytes) -> tuple[Reply, ...]:
        return self.sender.ask(line, timeout_s=STORE_S, until=_never).payload

    def _interpret(self, raw: Mapping[str, str]) -> ControllerSettings:
        return interpret(raw, self.axis, self.rates.names(self.names), self.rates, self.stated)

    def setting_line(self, key: str, text: str) -> bytes:
        own_key, own_text = self.rates.own(key, text)
        return self.dialect.setting_line(own_key, own_text)

    def listed_line(self, key: str, text: str) -> bytes:
        return self.setting_line(key, text)

    @property
    def refusals_are_certain(self) -> bool:
        return not self.sender.prints_behind

    def bring_into_force(self) -> None:
        if not self.lists_stored or self.as_stored:
            return
        self.prepared = False
        self.ask(self.dialect.load_line(), STORE_S)
        self._last_counts = None
        self.as_stored = True

    def reads_back(self, stored: ControllerSettings, key: str, text: str) -> bool:
        return self.rates.reads_back(stored.raw, key, text)

    def require_rescalable(self, keys: Iterable[str]) -> None:
        report = self.standing(allow=_READY)
        for letter in map(self.dialect.scaled_axis, keys):
            place = report.letters.find(letter)
            coordinate = report.machine[place] if report.machine and place >= 0 else None
            if coordinate != 0 or (report.counts or {}).get(letter, 0) != 0:
                raise StandstillError(
                    f"axis {letter} stands at {coordinate}, not at zero: a change of its steps per unit would "
                    "change its position. Move it to zero, or switch the controller off and on"
                )

    def before_rescale(self, keys: Iterable[str]) -> None:
        self.prepared = False

    def after_rescale(self, keys: Iterable[str]) -> None:
        """Set zero anew, because it stood at zero; raise if its position has changed."""
        for letter in map(self.dialect.scaled_axis, keys):
            self.ask(self.dialect.zero_line(letter))
        self._last_counts = None
        try:
            self.require_rescalable(keys)
        except StandstillError as error:
            self.sender.position_lost = ControllerFaultError(f"its position changed with its scale: {error.detail}")
            raise self.sender.position_lost from error

    def store(self) -> None:
        self.ask(self.dialect.store_line(), STORE_S)


def _never(payload: Iterable[Reply]) -> bool:
    return False
