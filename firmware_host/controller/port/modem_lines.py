"""The control lines of a serial port beside its data: two that we switch, three that the other side switches.

Source of the names: ITU-T V.24 (circuits 105, 108/2; 106, 107, 109), the same as those of TIA-232.
"""

from __future__ import annotations

from enum import Enum


class OutputLine(Enum):
    """A line that we switch."""

    RTS = "rts"
    DTR = "dtr"


class InputLine(Enum):
    """A line that the other side switches."""

    CTS = "cts"
    DSR = "dsr"
    DCD = "dcd"
