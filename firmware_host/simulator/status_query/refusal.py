"""A line the simulated board refuses, as it travels from the parser to the answer on the wire."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.errors import FirmwareHostError


@dataclass(eq=False)
class RefusedLineError(FirmwareHostError):
    """The board answers the line with this error number.

    Numbers 2, 5, 8, 14 and 20 are in the wire description; the others are from memory: 1 no letter where a word
    starts, 3 unknown `$` line, 4 value out of range, 6 pulse too short, 9 locked, 10 soft limits without homing,
    15 jog beyond the travel, 16 unusable jog, 21 two words of a group, 22 no feed, 23 not a whole number, 24 two uses
    of the axis words, 25 a word twice, 26 no axis words, 28 a value missing, 29 no such coordinate system, 30 G53
    without G0 or G1, 31 axis words without use.
    """

    number: int

    def message(self) -> str:
        return f"the simulated board refuses the line with number {self.number}"
