"""One axis behind one sender: what is known of it, and what every mechanism must be able to tell and do.

`Controller` is made of it; the standstill proof and the writing of settings need no more than this.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import ClassVar

from firmware_host.acts import Unlock
from firmware_host.clock import Clock
from firmware_host.controller.deadlines import ANSWER_LEAST_S, ANSWER_MOST_S, ANSWER_S, POLL_S, STATUS_S, UsualTime
from firmware_host.controller.dialect import Capabilities, Dialect
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.trace import Trace
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.sender import Exchange, Sender
from firmware_host.controller.stored_settings import ControllerSettings, SettingsLeft, StatedSettings
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    MotorReleasedError,
    StandstillError,
    UnexpectedReplyError,
)


@dataclass(frozen=True)
class Connection:
    """What a controller is made with: an open port, the clock, the trace, and what is known or stated beforehand.

    Every wait calls `check` at least each 50 ms, and what it raises ends the wait: that is how a stop is found.
    """

    port: Port
    clock: Clock
    trace: Trace
    steps_per_unit_known: Fraction | None = None
    stated: StatedSettings = field(default_factory=StatedSettings)
    check: Callable[[], None] = lambda: None


@dataclass(frozen=True)
class StandstillProof:
    """That the axis stands where it should: everything that was seen.

    `since_s`: when the first sign of it was seen, from which the settle time runs; `at_s`: when all of them had been;
    both monotonic s. `reported_steps` = position * steps_per_unit, or the controller's own count where it tells one;
    where that is the planned one (`Learned.position`), the sync answer and the planned time prove the standstill, and
    the report only that the target was understood.
    """

    since_s: float
    at_s: float
    reported_steps: float
    target_steps: int
    steps_per_unit: Fraction
    reports: tuple[StatusReport, ...]


class Axis(ABC):
    """State of one axis of an open controller. Methods that talk raise as `Controller` says."""

    stores_at_once: ClassVar[bool] = False
    """True if each setting is stored when it is set: what is in force and what is stored are the same then."""

    def __init__(self, sender: Sender, connection: Connection, axis: str) -> None:
        self.sender = sender
        self.clock = sender.clock
        self.axis = axis
        """The letter of the axis."""
        self.known = connection.steps_per_unit_known
        self.stated = connection.stated
        self.prepared = False
        """True if it was made ready to move."""
        self.homing = False
        self.standstill: StandstillProof | None = None
        """The proof that it stands still; None as soon as anything could contradict it."""
        self.answer_time = UsualTime(ANSWER_LEAST_S, ANSWER_MOST_S)
        """From a question for its state to the answer."""
        self.as_stored = self.stores_at_once
        """True if what is in force is known to be what is stored: after a reset, after storing, after loading."""
        self.left: SettingsLeft | None = None
        """How the last act that sent settings left them."""
        self._settings: ControllerSettings | None = None

    @property
    def dialect(self) -> Dialect:
        """The language spoken."""
        return self.sender.dialect

    @property
    def capabilities(self) -> Capabilities:
        """What controllers of this dialect can do, as far as a caller has to know."""
        return self.dialect.capabilities

    @property
    def settings(self) -> ControllerSettings:
        """The settings as last read. Raises ControllerError if they weren't."""
        if self._settings is None:
            raise ControllerError("its settings have not been read")
        return self._settings

    def ask(self, line: bytes, timeout_s: float = ANSWER_S) -> Exchange:
        """Send one line and return its exchange; errors as `Sender.ask`."""
        return self.sender.ask(line, timeout_s=timeout_s)

    # --- asking ----------------------------------------------------------------------------------------------------

    @abstractmethod
    def status(self, timeout_s: float = STATUS_S) -> StatusReport:
        """One fresh report, its machine position filled in; errors as `Sender.request_status`."""

    @abstractmethod
    def position(self, report: StatusReport) -> float:
        """The position of the axis in units (mm or degrees). Raises ControllerError if it can't be told."""

    @abstractmethod
    def position_steps(self, report: StatusReport, steps_per_unit: Fraction | None = None) -> float:
        """Where the axis stands, in steps from zero: position * steps_per_unit, or the controller's own count.

        `steps_per_unit` None: as stored. Raises ControllerError if it can't be told.
        """

    @abstractmethod
    def resolution_steps(self, report: StatusReport, steps_per_unit: Fraction | None = None) -> float:
        """By how many steps a reported position may be off for its few decimals (>= 0); 0 where steps are counted.

        `steps_per_unit` None: as stored.
        """

    @abstractmethod
    def same_place(self, first: StatusReport, second: StatusReport) -> bool:
        """True if nothing has moved between two reports, as far as they tell."""

    def standing(self, *, allow: frozenset[AxisState]) -> StatusReport:
        """Two reports in a row that say the same allowed state and place; StandstillError, ControllerFaultError."""
        first = self.status()
        self.sender.listen(POLL_S)
        second = self.status()
        for report in (first, second):
            if report.state not in allow:
                raise self.wrong_state(report.state)
        if not self.same_place(first, second):
            raise StandstillError("its position changes from one report to the next")
        return second

    def wrong_state(self, state: AxisState) -> ControllerError:
        """The error for a state that doesn't allow what is being done."""
        remedy = self.dialect.state_remedy(state)
        detail = f"it is {state.value}, not ready" + (f": {remedy}" if remedy else "")
        if state is AxisState.LOCKED:
            return ControllerFaultError(detail, acts=(Unlock(self.sender.port.url),))
        if state is AxisState.FAULTED:
            return ControllerFaultError(detail)
        if state is AxisState.HOLDING:
            return StandstillError(detail, acts=(Unlock(self.sender.port.url),))
        if state is AxisState.ASLEEP:
            return MotorReleasedError(detail, acts=(Unlock(self.sender.port.url),))
        return StandstillError(detail)

    def require_position(self) -> None:
        """Raise what made the position unknown, if anything did and it hasn't been homed or unlocked since."""
        lost = self.sender.position_lost
        if isinstance(lost, ControllerFaultError):
            raise ControllerFaultError(lost.detail, lost.code, acts=lost.acts)
        if lost is not None:
            raise type(lost)(lost.detail, acts=lost.acts)

    # --- the end of motion -----------------------------------------------------------------------------------------

    @property
    @abstractmethod
    def syncs(self) -> bool:
        """True if only sync lines show that motion has ended."""

    @property
    @abstractmethod
    def reports_travel(self) -> bool:
        """True if reports tell where the motor is, once they have shown it on its way: its arrival is a sign then."""

    @property
    def sync_ahead_s(self) -> float:
        """So long before the planned end sync lines may be sent (s, >= 0): 0 where a stop is not heard behind one."""
        return 0.0

    @abstractmethod
    def sync(self, deadline_s: float) -> None:
        """Wait until all motion has ended, as far as sync lines tell; `deadline_s` in monotonic s."""

    @abstractmethod
    def says_standstill(self, report: StatusReport) -> bool:
        """True if `report` says nothing against a standstill."""

    # --- settings --------------------------------------------------------------------------------------------------

    def read_settings(self) -> ControllerSettings:
        """Read all settings until each was read alike twice, and keep them.

        A lost digit shows as a difference, and costs another reading; UnexpectedReplyError where they never agree.
        """
        readings = [self._settings_once(), self._settings_once()]
        while (differing := _undecided(readings)) and len(readings) < _MOST_READINGS:
            readings.append(self._settings_once())
        if differing and differing != _seen_once(readings):
            raise UnexpectedReplyError(self.sender.port.url, f"no two readings of the settings agree on {differing}")
        settings = self._interpret(self._settled(_agreed(readings)))
        if self.known is not None and settings.stored_steps_per_unit is not None:
            settings = replace(settings, stored_steps_per_unit=settings.stored_steps_per_unit.known_as(self.known))
        self._settings = settings
        return settings

    @abstractmethod
    def _settings_once(self) -> dict[str, str]:
        """All settings as printed, key -> text."""

    def _settled(self, texts: dict[str, str]) -> dict[str, str]:
        """Take note of what readings have agreed on, where a single one is learned from; returns it."""
        return texts

    @abstractmethod
    def _interpret(self, raw: Mapping[str, str]) -> ControllerSettings:
        """What they mean for the axis."""

    @abstractmethod
    def setting_line(self, key: str, text: str) -> bytes:
        """The line that sets `key` to `text`, both as in `ControllerSettings.raw`. Raises InputError."""

    @property
    def lists_stored(self) -> bool:
        """True if the settings are read as they are stored: then a change shows only once it is."""
        return False

    @property
    def refusals_are_certain(self) -> bool:
        """True if a refused line surely was not carried out; False if the refusal may have been another line's."""
        return True

    @abstractmethod
    def bring_into_force(self) -> None:
        """Where settings are read as they are stored, and what is in force may be another: load what is stored.

        Moves nothing. Raises LineRejectedError where there is no word for it.
        """

    @abstractmethod
    def listed_line(self, key: str, text: str) -> bytes:
        """As `setting_line`, for a text that the controller has listed. Raises InputError."""

    @abstractmethod
    def reads_back(self, stored: ControllerSettings, key: str, text: str) -> bool:
        """True if `stored` shows `key` as `text`, as far as its print tells."""

    @abstractmethod
    def require_rescalable(self, keys: Iterable[str]) -> None:
        """Raise StandstillError where a change of steps per unit isn't safe now."""

    @abstractmethod
    def before_rescale(self, keys: Iterable[str]) -> None:
        """Refuse moves until the change has been made and its consequences undone."""

    @abstractmethod
    def after_rescale(self, keys: Iterable[str]) -> None:
        """Make sure that no wild move can follow. Moves nothing."""

    @abstractmethod
    def store(self) -> None:
        """Keep what was set for after the next reset."""


_MOST_READINGS = 8
"""So often are settings read until all are alike twice; with one byte in a thousand spoilt, four or five times do."""


def _agreed(readings: Sequence[Mapping[str, str]]) -> dict[str, str]:
    """Each setting that was read alike at least twice, in the order of the first reading that has it."""
    texts: dict[str, str] = {}
    for key in (key for reading in readings for key in reading):
        text, times = Counter(reading[key] for reading in readings if key in reading).most_common(1)[0]
        if times > 1:
            texts[key] = text
    return texts


def _undecided(readings: Sequence[Mapping[str, str]]) -> list[str]:
    """The settings that were not read alike twice, or are missing in one of two readings."""
    if all(reading == readings[0] for reading in readings):
        return []
    agreed = _agreed(readings)
    return sorted({key for reading in readings for key in reading} - agreed.keys())


def _seen_once(readings: Sequence[Mapping[str, str]]) -> list[str]:
    """What only one of many readings has: a key that came damaged is none."""
    seen = Counter(key for reading in readings for key in reading)
    return sorted(key for key, times in seen.items() if times == 1)
