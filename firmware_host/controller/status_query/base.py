"""Dialects whose controllers answer a request of one byte with their state and position."""

from __future__ import annotations

from abc import abstractmethod
from typing import ClassVar

from firmware_host.controller.dialect import Dialect
from firmware_host.controller.reply import ParserState, Reply, ResetAwaited, StatusReport
from firmware_host.controller.stored_settings import SettingNames


class StateWordDialect(Dialect):
    """Requests acted on at once, and lines that are each answered once, in order."""

    default_buffer_bytes: ClassVar[int]
    """Bytes that may be unanswered at a time when the controller doesn't say."""
    position_decimals: ClassVar[int]
    """Decimals of the positions in a status report."""
    state_tells_standstill: ClassVar[bool]
    """True if the ready word in two reports in a row shows that motion has ended; else only the sync lines do."""

    probes_early: ClassVar[bool] = True

    def probe(self) -> bytes:
        return self.status_request()

    def is_own(self, reply: Reply) -> bool:
        return isinstance(reply, StatusReport)

    # --- acted on at once, outside the line buffer ---------------------------------------------------------------

    @abstractmethod
    def status_request(self) -> bytes:
        """Asks for one StatusReport."""

    @abstractmethod
    def hold_request(self) -> bytes:
        """Slows all motion to a standstill and keeps the rest of it for later."""

    @abstractmethod
    def reset_request(self) -> bytes:
        """Forgets all lines and modal words; keeps the position if the axis stands still."""

    # --- lines, each answered once -------------------------------------------------------------------------------

    @abstractmethod
    def settings_query(self) -> bytes:
        """Prints every stored setting as SettingLine, then accepts."""

    @abstractmethod
    def buffer_query(self) -> bytes:
        """Prints BufferInfo, then accepts."""

    @abstractmethod
    def modes_query(self) -> bytes:
        """Prints ParserState, then accepts."""

    @abstractmethod
    def clear_line(self) -> bytes:
        """A line without effect; some boards refuse every line after an error until they get one."""

    def may_stay_refused(self, line: bytes) -> bool:
        """True if some boards refuse `line` unread after an error, until they get a line without effect."""
        return line != self.clear_line()

    @abstractmethod
    def modal_line(self) -> bytes:
        """Sets units, absolute coordinates and the feed's meaning. Moves nothing."""

    @abstractmethod
    def missing_modes(self, state: ParserState) -> tuple[str, ...]:
        """The words of `modal_line` that `state` should show and doesn't."""

    @abstractmethod
    def marker_line(self) -> bytes:
        """Changes a modal word that a reset changes back, so that it shows whether a reset was carried out."""

    @abstractmethod
    def marker_stands(self, state: ParserState) -> bool:
        """True if the change made by `marker_line` is still in effect."""

    @abstractmethod
    def home_line(self) -> bytes:
        """Seeks the home switches. Moves."""

    @abstractmethod
    def unlock_line(self) -> bytes:
        """Ends the lock after an alarm. Moves nothing."""

    @abstractmethod
    def stores(self, line: bytes) -> bool:
        """True if `line` writes to permanent memory: bytes that arrive meanwhile are lost, so it is sent alone."""

    # --- understanding -------------------------------------------------------------------------------------------

    def awaits_reset(self, reply: Reply) -> bool:
        """True if the board hears no line after `reply` until it is reset; it stands still then."""
        return isinstance(reply, ResetAwaited)

    @abstractmethod
    def axis_index(self, axis: str) -> int:
        """At which place of a report's positions `axis` stands on a board that doesn't tell its axes."""

    @abstractmethod
    def axis_letters(self, count: int) -> str:
        """The letters of the axes of a board that doesn't tell them, and whose reports have `count` positions."""

    def setting_names_at(self, index: int) -> SettingNames:
        """The keys of the settings of the axis at this place of a report's positions."""
        return self.setting_names(self.axis_letters(index + 1)[index])

    @abstractmethod
    def usable_bytes(self, receive_bytes: int) -> int:
        """How many bytes may be unanswered at a time if the receive buffer is said to have `receive_bytes`."""
