"""Line numbers and checksums: which lines a board takes, and what it says to the others.

Source of the rules: the wire description. A line is `N<n> <words>*<checksum>`, the checksum being the XOR of all bytes
before the asterisk.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

from firmware_host.simulator.numbered_line.variant import NumberedLineVariant

_NUMBERED = re.compile(r"\s*N(-?\d{1,9})\s*")
_RESTART = re.compile(r"M110(?!\d)")
_BARE_NUMBER = re.compile(r"\s*N()\s*")
_ANY_NUMBER = re.compile(r"N(-?\d{1,9})")
_REASONS: Mapping[str, str] = MappingProxyType(
    {
        "checksum": "checksum mismatch",
        "line out of order": "Line Number is not Last Line Number+1",
        "no checksum": "No Checksum with line number",  # from memory, as the next
        "no number": "No Line Number with checksum",
    }
)


@dataclass(frozen=True)
class NumberedCommand:
    """A line taken: its words, and its number if it had one; `raw` as it was received, `shown` the number to tell."""

    text: str
    number: int | None
    raw: str = ""
    shown: int = 0


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
    """Counts lines. `last` is the number of the last one taken, `shown` that of the last one that came with one."""

    def __init__(self, variant: NumberedLineVariant) -> None:
        self._variant = variant
        self.last = self.shown = 0

    def restart(self) -> None:
        """Want number 1 next."""
        self.last = self.shown = 0

    def take(self, raw: str) -> NumberedCommand | LineAnswer | None:
        """Judge one received line (Latin-1, without its end); None if there is nothing in it."""
        text, star, checksum = raw.rpartition("*")
        text = text if star else raw
        leading = _NUMBERED.match(text) or (_BARE_NUMBER.match(text) if self._variant.order_before_checksum else None)
        number = int(leading.group(1) or 0) if leading else None
        command = NumberedCommand(_without_comment(text[leading.end() :] if leading else text), number, raw)
        sound = bool(star) and checksum.strip().isdecimal() and int(checksum.strip()) == xor_of(text)
        order_first = self._variant.order_before_checksum or (not star and self._variant.speech == "echoing")
        if order_first and (refused := self._out_of_order(command)) is not None:
            return refused
        if star and not sound:
            return self.resend("checksum", raw=raw)
        if number is None:
            if star:
                return self.resend("no number", raw=raw)
            return self._count_anew(command) if command.text else None
        if not star:
            return self.resend("no checksum", raw=raw)
        if (refused := self._out_of_order(command)) is not None:
            return refused
        return self._count_anew(command)

    def resend(self, reason: str, got: int | None = None, raw: str | None = None) -> LineAnswer:
        """The request to send again from the line after the last one taken; `raw`: the line that gave cause."""
        wanted = self.last + 1
        if self._variant.speech == "echoing":
            return LineAnswer("resend", _echoed(reason, wanted, got, raw))
        reason = _REASONS.get(reason, reason) if self._variant.speech == "remarking" else reason
        if self._variant.error_style == "last-line":
            error = f"Error:{reason}, Last Line: {self.last}"
        elif got is not None:
            error = f"Error:expected line {wanted} got {got}"
        else:
            error = f"Error:{reason}"
        return LineAnswer("resend", (error, f"Resend: {wanted}", *(("ok",) if self._variant.resend_ok else ())))

    def _out_of_order(self, command: NumberedCommand) -> LineAnswer | None:
        number = command.number
        if number is None or _RESTART.match(command.text) or number == self.last + 1:
            return None
        self.shown = number
        if number <= self.last and self._variant.repeated_number == "skip":
            echo = (f"Got:{command.raw}",) if self._variant.speech == "echoing" else ()
            return LineAnswer("skip", (*echo, f"skip {number}", "ok"))
        return self.resend("line out of order", number, command.raw)

    def _count_anew(self, command: NumberedCommand) -> NumberedCommand:
        """Let M110 set the count, to the number behind it or else to the one before it; any other line its own."""
        if command.number is not None and not _RESTART.match(command.text):
            self.last = self.shown = command.number
        if _RESTART.match(command.text):
            behind = _ANY_NUMBER.findall(command.text)
            if behind or command.number is not None:
                self.last = self.shown = int(behind[-1]) if behind else (command.number or 0)
        return replace(command, shown=self.shown)


def _without_comment(text: str) -> str:
    return text.partition(";")[0].strip()


def _echoed(reason: str, wanted: int, got: int | None, raw: str | None) -> tuple[str, ...]:
    """How a board that echoes each line asks for it again; an unfinished line (`raw` None) is not echoed."""
    asked = ("", f"Resend:{wanted}", "ok")
    if raw is None:
        return asked
    if got is not None:
        return (f"Got:{raw}", f"Error:expected line {wanted} got {got}", *asked)
    error = "Error:Wrong checksum" if reason == "checksum" else f"Error:{reason}"
    return (error, f"Got:{raw}", error, *asked)
