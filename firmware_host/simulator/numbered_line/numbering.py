"""Line numbers and checksums: which lines a board takes, and what it says to the others.

Source of the rules: the wire description. A line is `N<n> <words>*<checksum>`, the checksum being the XOR of all bytes
before the asterisk.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from firmware_host.simulator.numbered_line.variant import NumberedLineVariant

_NUMBERED = re.compile(r"\s*N(-?\d{1,9})\s*")
_RESTART = re.compile(r"M110(?!\d)")
_ANY_NUMBER = re.compile(r"N(-?\d{1,9})")


@dataclass(frozen=True)
class NumberedCommand:
    """A line taken: its words, and its number if it had one."""

    text: str
    number: int | None


@dataclass(frozen=True)
class LineAnswer:
    """A line not taken: what is said instead, `kind` telling a request to send again from a repeat left out."""

    kind: Literal["resend", "skip"]
    said: tuple[str, ...]


def xor_of(data: str) -> int:
    """XOR of all bytes (given as Latin-1 characters)."""
    result = 0
    for character in data:
        result ^= ord(character)
    return result


class LineCheck:
    """Counts lines. `last` is the number of the last one taken."""

    def __init__(self, variant: NumberedLineVariant) -> None:
        self._variant = variant
        self.last = 0

    def take(self, raw: str) -> NumberedCommand | LineAnswer | None:
        """Judge one received line (Latin-1, without its end); None if there is nothing in it."""
        text, star, checksum = raw.rpartition("*")
        text = text if star else raw
        leading = _NUMBERED.match(text)
        if star and not (checksum.strip().isdecimal() and int(checksum) == xor_of(text)):
            return self.resend("checksum")
        if leading is None:
            if star:
                return self.resend("no number")
            words = _without_comment(text)
            return self._count_anew(NumberedCommand(words, None)) if words else None
        if not star:
            return self.resend("no checksum")
        return self._in_order(NumberedCommand(_without_comment(text[leading.end() :]), int(leading.group(1))))

    def resend(self, reason: str, got: int | None = None) -> LineAnswer:
        """The request to send again from the line after the last one taken."""
        wanted = self.last + 1
        if self._variant.error_style == "last-line":
            error = f"Error:{reason}, Last Line: {self.last}"
        elif got is not None:
            error = f"Error:expected line {wanted} got {got}"
        else:
            error = f"Error:{reason}"
        return LineAnswer("resend", (error, f"Resend: {wanted}", *(("ok",) if self._variant.resend_ok else ())))

    def _in_order(self, command: NumberedCommand) -> NumberedCommand | LineAnswer:
        number = command.number
        if number is None or _RESTART.match(command.text):
            return self._count_anew(command)
        if number != self.last + 1:
            if number <= self.last and self._variant.repeated_number == "skip":
                return LineAnswer("skip", (f"skip {number}", "ok"))
            return self.resend("line out of order", number)
        self.last = number
        return command

    def _count_anew(self, command: NumberedCommand) -> NumberedCommand:
        """Let M110 set the count: to the number behind it, else to the one before it."""
        if _RESTART.match(command.text):
            behind = _ANY_NUMBER.findall(command.text)
            if behind or command.number is not None:
                self.last = int(behind[-1]) if behind else (command.number or 0)
        return command


def _without_comment(text: str) -> str:
    return text.partition(";")[0].strip()
