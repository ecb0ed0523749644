"""Dialects whose lines carry a number and a checksum, and whose controllers ask for a damaged line again."""

from __future__ import annotations

from abc import abstractmethod
from typing import ClassVar

from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.boards import BOARDS, Board
from firmware_host.controller.reply import Identity, Reply, Resend, StatusReport


class NumberedDialect(Dialect):
    """Lines without their number, each to be sent through `numbered`. There are no requests acted on at once."""

    position_decimals: ClassVar[int]
    """The fewest decimals of coordinates in a report."""
    boards: ClassVar[tuple[Board, ...]] = BOARDS
    """The kinds of boards that speak it, the most particular first."""

    def is_own(self, reply: Reply) -> bool:
        return isinstance(reply, StatusReport | Resend | Identity)

    @abstractmethod
    def numbered(self, number: int, line: bytes) -> bytes:
        """`line` with its number (>= 0) and its checksum."""

    @abstractmethod
    def count_from(self, number: int) -> bytes:
        """A whole line, number and checksum included, after which the controller's count stands at `number`."""

    @abstractmethod
    def identity_query(self) -> bytes:
        """Prints an Identity, which no other line does; before or after it accepts."""

    @abstractmethod
    def position_query(self) -> bytes:
        """Prints a StatusReport; before or after it accepts."""

    def steps_query(self) -> bytes:
        """Prints a StatusReport and StepCounts, for boards that count no steps else; b"" if there is no such word."""
        return b""

    def target_of(self, line: bytes, axis: str) -> float | None:
        """The coordinate to which `line`, made by `move_line`, sends `axis`; None if it is no move, or can't tell."""
        return None

    def travel_query(self) -> bytes:
        """Prints TravelKept and TravelEnds; b"" if there is no such word. Moves and changes nothing."""
        return b""

    @abstractmethod
    def settings_queries(self) -> tuple[bytes, ...]:
        """Lines that print SettingGroups; the second and later are for boards on which those before print nothing."""

    @abstractmethod
    def lists_stored(self, query: bytes) -> bool:
        """True if `query`, one of `settings_queries`, prints what is stored, not what is in force."""

    def takes_rates_as_listed(self, query: bytes) -> bool:
        """True if boards on which `query` lists the settings take a rate in the unit that they list; else per min."""
        return True

    @abstractmethod
    def ready_lines(self) -> tuple[bytes, ...]:
        """Units, absolute coordinates, motors energised, and never released. Move nothing."""

    @abstractmethod
    def stop_line(self) -> bytes:
        """Stops all motion short: steps may be lost. Not every board knows it."""

    @abstractmethod
    def halt_line(self) -> bytes:
        """Halts the board, which begins anew or waits for a reset then: for where nothing else ends a motion."""

    @abstractmethod
    def home_line(self, axis: str) -> bytes:
        """Seeks the home switch of `axis`. Moves."""

    def zero_line(self, axis: str) -> bytes:
        """Declares the present position of `axis` to be zero. Moves nothing."""
        return self.place_line(axis, "0")

    @abstractmethod
    def place_line(self, axis: str, coordinate: str) -> bytes:
        """Declares `axis` to stand at `coordinate` (units, a plain decimal text). Moves nothing."""

    @abstractmethod
    def store_line(self) -> bytes:
        """Keeps all settings for after the next reset."""

    @abstractmethod
    def load_line(self) -> bytes:
        """Brings into force what is stored. Moves nothing."""

    @abstractmethod
    def scaled_axis(self, key: str) -> str:
        """The letter of the axis whose steps-per-unit `key` is; "" if `key` isn't a steps-per-unit."""
