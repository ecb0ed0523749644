"""What a dialect must be able to say and to understand. Pure: no port, no clock, no memory."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import ClassVar

from firmware_host.controller.reply import AxisState, ParserState, Reply
from firmware_host.controller.settings import SettingNames


class Dialect(ABC):
    """Turns our requests into bytes and lines into replies. Lines come with their end.

    Methods that take an axis raise InputError for a letter the dialect can't name.
    """

    name: ClassVar[str]
    max_line_bytes: ClassVar[int]
    """Longest line the controller takes (bytes, with its end)."""
    default_buffer_bytes: ClassVar[int]
    """Bytes that may be unanswered at a time when the controller doesn't say."""
    position_decimals: ClassVar[int]
    """Decimals of the positions in a status report."""
    state_tells_rest: ClassVar[bool]
    """True if the ready word in two reports in a row shows that motion has ended; else only the sync lines do."""

    # --- acted on at once, outside the line buffer ---------------------------------------------------------------

    @abstractmethod
    def status_request(self) -> bytes:
        """Asks for one StatusReport."""

    @abstractmethod
    def hold_request(self) -> bytes:
        """Slows all motion to a standstill and keeps the rest of it for later."""

    @abstractmethod
    def go_on_request(self) -> bytes:
        """Goes on after a hold; ignored while still slowing."""

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
        """A line without effect that ends the refusal of all lines which some members keep up after an error."""

    @abstractmethod
    def modal_line(self) -> bytes:
        """Sets units, absolute coordinates and the feed's meaning. Moves nothing."""

    @abstractmethod
    def missing_modes(self, state: ParserState) -> tuple[str, ...]:
        """The words of `modal_line` that `state` should show and doesn't."""

    @abstractmethod
    def marker_line(self) -> bytes:
        """Changes a modal word that a reset changes back: tells a reset that came from one that didn't."""

    @abstractmethod
    def marker_stands(self, state: ParserState) -> bool:
        """True if the change made by `marker_line` is still in effect."""

    @abstractmethod
    def move_line(self, axis: str, coordinate: str, feed: str) -> bytes:
        """One straight move to the machine coordinate `coordinate` at `feed` units/min (decimal texts, feed > 0).

        Raises InputError for a text that isn't a plain decimal number.
        """

    @abstractmethod
    def sync_line(self) -> bytes:
        """Answered only when all motion before it has ended (some members: the line after it is)."""

    @abstractmethod
    def home_line(self) -> bytes:
        """Seeks the home switches. Moves."""

    @abstractmethod
    def unlock_line(self) -> bytes:
        """Ends the lock after an alarm. Moves nothing."""

    @abstractmethod
    def setting_line(self, key: str, text: str) -> bytes:
        """Stores one setting. Raises InputError for a key or a text that can't be one."""

    @abstractmethod
    def rescales(self, key: str) -> bool:
        """True if storing `key` changes how many steps make a unit, for whichever axis."""

    @abstractmethod
    def stores(self, line: bytes) -> bool:
        """True if `line` writes to permanent memory: bytes that arrive meanwhile are lost, so it is sent alone."""

    # --- understanding -------------------------------------------------------------------------------------------

    @abstractmethod
    def parse(self, line: bytes) -> Reply:
        """What `line` (without its end) means; Unknown if it fits nothing. Never raises."""

    @abstractmethod
    def axis_index(self, axis: str) -> int:
        """At which place of a report's positions `axis` stands."""

    @abstractmethod
    def setting_names(self, axis: str) -> SettingNames:
        """The keys of the settings of `axis`."""

    @abstractmethod
    def usable_bytes(self, receive_bytes: int) -> int:
        """How many bytes may be unanswered at a time if the receive buffer is said to have `receive_bytes`."""

    @abstractmethod
    def state_remedy(self, state: AxisState) -> str:
        """What a person can do when the controller is in `state`; "" if nothing needs to be done."""
