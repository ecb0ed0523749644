"""A build that lists what is in force word by word, with remarks between, and acknowledges a line when it is done.

Source: the recording and the measured facts of the board numbered-line-b.
"""

from __future__ import annotations

from binascii import crc_hqx
from collections.abc import Iterable, Iterator
from struct import pack

from firmware_host.simulator.numbered_line.reports import position_line, setting_line
from firmware_host.simulator.numbered_line.speech import Speech
from firmware_host.simulator.numbered_line.words import Command

STORED_BYTES = 617
PRESENT = frozenset(("EEPROM", "VOLUMETRIC", "AUTOREPORT_TEMP", "PRINT_JOB", "THERMAL_PROTECTION", "ARCS"))
CAPABILITIES = (
    "SERIAL_XON_XOFF BINARY_FILE_TRANSFER EEPROM VOLUMETRIC AUTOREPORT_POS AUTOREPORT_TEMP PROGRESS PRINT_JOB "
    "AUTOLEVEL RUNOUT Z_PROBE LEVELING_DATA BUILD_PERCENT SOFTWARE_POWER TOGGLE_LIGHTS CASE_LIGHT_BRIGHTNESS "
    "EMERGENCY_PARSER HOST_ACTION_COMMANDS PROMPT_SUPPORT SDCARD REPEAT SD_WRITE AUTOREPORT_SD_STATUS LONG_FILENAME "
    "LFN_WRITE CUSTOM_FIRMWARE_UPLOAD EXTENDED_M20 THERMAL_PROTECTION MOTION_MODES ARCS BABYSTEPPING "
    "CHAMBER_TEMPERATURE COOLER_TEMPERATURE MEATPACK CONFIG_EXPORT"
).split()
LISTED = (
    ("Linear Units:", "G21 ; (mm)"),
    ("Temperature Units:", "M149 C ; Units in Celsius"),
    ("Filament settings (Disabled):", "M200 S0 D1.75"),
    ("Steps per unit:", "M92"),
    ("Max feedrates (units/s):", "M203"),
    ("Max Acceleration (units/s2):", "M201"),
    ("Acceleration (units/s2) (P<print-accel> R<retract-accel> T<travel-accel>):", "M204"),
    ("Advanced (B<min_segment_time_us> S<min_feedrate> T<min_travel_feedrate> J<junc_dev>):", "M205"),
    ("Home offset:", "M206 X0.00 Y0.00 Z0.00"),
    ("Hotend PID:", "M301 P22.20 I1.08 D114.00"),
)
"""The listing in its order: the remark, and the word of the settings behind it (or what never changes)."""


class RemarkingSpeech(Speech):
    """What a line prints comes first, then `ok`."""

    def greeting(self) -> Iterable[str]:
        return (
            "NAME 9.9",
            "echo: Last Updated: 2000-01-01 | Author: (none, default config)",
            "echo: Compiled: Jan 1 2000",
            "echo: Free Memory: 5496  PlannerBufferBytes: 1136",
            *self._retrieved(),
        )

    def last_words(self) -> Iterable[str]:
        return ("Error:Printer halted. kill() called!",)

    def setting(self, code: str) -> Iterable[str]:
        return (f"  {setting_line(self._board, code)}",)

    def report(self, command: Command) -> Iterable[str] | None:
        match command.code:
            case "M114":
                return (position_line(self._board),)
            case "M115":
                return self._identity()
            case "M211":
                return () if command.has("S") else self._bounds()
            case "M503":
                return self._listing()
        return None

    def done(self, command: Command) -> Iterable[str]:
        match command.code:
            case "G28" | "G92":
                return (position_line(self._board),)
            case "M112":
                return ("echo:M112 Shutdown",)
            case "M500":
                return (f"echo:Settings Stored ({self._sum()})",)
            case "M501":
                return (*self._retrieved(), *(self._listing() if self._board.settings.stored_once else ()))
            case "M502":
                return ("echo:Hardcoded Default Settings Loaded",)
        return ()

    def _retrieved(self) -> Iterable[str]:
        if self._board.settings.stored_once:
            return (f"echo:V1 stored settings retrieved ({self._sum()})",)
        return ("echo:EEPROM version mismatch (EEPROM=? NAME=V1)", "echo:Hardcoded Default Settings Loaded")

    def _sum(self) -> str:
        """Size and check sum of what is stored: a 16-bit CRC over the values."""
        stored = [self._board.settings.stored(name) for name in self._board.settings]
        return f"{STORED_BYTES} bytes; crc {crc_hqx(pack(f'<{len(stored)}f', *stored), 0)}"

    def _identity(self) -> Iterator[str]:
        yield (
            "FIRMWARE_NAME:NAME 9.9 (Jan 1 2000 00:00:00) SOURCE_CODE_URL:NAME PROTOCOL_VERSION:1.0 MACHINE_TYPE:NAME "
            "EXTRUDER_COUNT:1 UUID:00000000-0000-0000-0000-000000000000"
        )
        for name in CAPABILITIES:
            yield f"Cap:{name}:{int(name in PRESENT)}"

    def _listing(self) -> Iterator[str]:
        for remark, word in LISTED:
            yield f"echo:; {remark}"
            yield f"echo:  {word if ' ' in word else setting_line(self._board, word)}"

    def _bounds(self) -> Iterator[str]:
        board = self._board
        yield f"  M211 S{int(board.bounds_on)} ; {'ON' if board.bounds_on else 'OFF'}"
        ends = [
            " ".join(f"{axis}{board.settings[f'{end} {axis}']:.2f}" for axis in board.settings.letters(end))
            for end in ("min", "max")
        ]
        yield f"  Min:  {ends[0]}   Max:  {ends[1]}"
