"""A build that echoes each line, acknowledges it before it is carried out, and lists what is stored.

Source: the recording and the measured facts of the board numbered-line-a.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from firmware_host.simulator.numbered_line.numbering import NumberedCommand
from firmware_host.simulator.numbered_line.reports import coordinates, counts
from firmware_host.simulator.numbered_line.speech import Speech
from firmware_host.simulator.numbered_line.words import Command

DECIMALS = {"Z": 3, "E": 4}
CAPABILITIES = {
    "PROGRESS": 0,
    "AUTOREPORT_TEMP": 1,
    "HOST_RESCUE": 1,
    "EEPROM": 1,
    "AUTOLEVEL": 0,
    "Z_PROBE": 0,
    "SOFTWARE_POWER": 0,
    "TOGGLE_LIGHTS": 0,
    "PAUSESTOP": 1,
    "PREHEAT": 1,
    "EMERGENCY_PARSER": 1,
}
LISTED: tuple[tuple[str, str | float, int, str], ...] = (
    ("0 1028", 255, 0, "Language"),
    ("2 75", 115200, 0, "Baudrate"),
    ("3 129", 0, 3, "Filament printed [m]"),
    ("2 125", 0, 0, "Printer active [s]"),
    ("2 79", 0, 0, "Max. inactive time [ms,0=off]"),
    ("2 83", "M84 S", 0, "Stop stepper after inactivity [ms,0=off]"),
    ("3 3", "M92 X", 4, "X-axis steps per mm"),
    ("3 7", "M92 Y", 4, "Y-axis steps per mm"),
    ("3 11", "M92 Z", 4, "Z-axis steps per mm"),
    ("3 15", "M203 X", 3, "X-axis max. feedrate [mm/s]"),
    ("3 19", "M203 Y", 3, "Y-axis max. feedrate [mm/s]"),
    ("3 23", "M203 Z", 3, "Z-axis max. feedrate [mm/s]"),
    ("3 27", 40, 3, "X-axis homing feedrate [mm/s]"),
    ("3 31", 40, 3, "Y-axis homing feedrate [mm/s]"),
    ("3 35", 40, 3, "Z-axis homing feedrate [mm/s]"),
    ("3 39", "M207 X", 3, "Max. jerk [mm/s]"),
    ("3 47", "M207 Z", 3, "Max. Z-jerk [mm/s]"),
    ("3 133", "min X", 3, "X min pos [mm]"),
    ("3 137", "min Y", 3, "Y min pos [mm]"),
    ("3 141", "min Z", 3, "Z min pos [mm]"),
    ("3 145", "max X", 3, "X max length [mm]"),
    ("3 149", "max Y", 3, "Y max length [mm]"),
    ("3 153", "max Z", 3, "Z max length [mm]"),
    ("3 1056", 0, 3, "Park position X [mm]"),
    ("3 1060", 10, 3, "Park position Y [mm]"),
    ("3 1064", 10, 3, "Park position Z raise [mm]"),
    ("3 157", 0, 3, "X backlash [mm]"),
    ("3 161", 0, 3, "Y backlash [mm]"),
    ("3 165", 0, 3, "Z backlash [mm]"),
    ("3 51", "M201 X", 3, "X-axis acceleration [mm/s^2]"),
    ("3 55", "M201 Y", 3, "Y-axis acceleration [mm/s^2]"),
    ("3 59", "M201 Z", 3, "Z-axis acceleration [mm/s^2]"),
    ("3 63", "M202 X", 3, "X-axis travel acceleration [mm/s^2]"),
    ("3 67", "M202 Y", 3, "Y-axis travel acceleration [mm/s^2]"),
    ("3 71", "M202 Z", 3, "Z-axis travel acceleration [mm/s^2]"),
    ("3 1024", 0, 3, "Coating thickness [mm]"),
    ("0 1020", 0, 0, "Enable retraction conversion [0/1]"),
    ("3 992", 2.5, 3, "Retraction length [mm]"),
    ("3 1000", 50, 3, "Retraction speed [mm/s]"),
    ("3 1004", 0, 3, "Retraction z-lift [mm]"),
    ("3 1008", 0, 3, "Extra extrusion on undo retract [mm]"),
    ("3 1016", 40, 3, "Retraction undo speed"),
    ("3 200", "M92 E", 3, "Extr.1 steps per mm"),
    ("3 204", "M203 E", 3, "Extr.1 max. feedrate [mm/s]"),
    ("3 208", 20, 3, "Extr.1 start feedrate [mm/s]"),
    ("3 212", "M201 E", 3, "Extr.1 acceleration [mm/s^2]"),
    ("1 294", 190, 0, "Extr.1 Preheat temp. [degC]"),
    ("0 216", 1, 0, "Extr.1 heat manager [0-3]"),
    ("0 217", 255, 0, "Extr.1 PID drive max"),
    ("0 245", 40, 0, "Extr.1 PID drive min"),
    ("3 218", 8.94, 4, "Extr.1 PID P-gain/dead-time"),
    ("3 222", 0.51, 4, "Extr.1 PID I-gain"),
    ("3 226", 20, 4, "Extr.1 PID D-gain"),
    ("3 296", 1, 4, "Extr.1 Temp. Gain"),
    ("3 241", 0, 4, "Extr.1 Temp. Bias [degC]"),
    ("0 230", 255, 0, "Extr.1 PID max value [0-255]"),
    ("2 231", 0, 0, "Extr.1 X-offset [steps]"),
    ("2 235", 0, 0, "Extr.1 Y-offset [steps]"),
    ("2 290", 0, 0, "Extr.1 Z-offset [steps]"),
    ("1 239", 1, 0, "Extr.1 temp. stabilize time [s]"),
    ("1 250", 150, 0, "Extr.1 temp. for retraction when heating [degC]"),
    ("1 252", 0, 0, "Extr.1 distance to retract when heating [mm]"),
    ("0 254", 255, 0, "Extr.1 extruder cooler speed [0-255]"),
    ("3 246", 0, 3, "Extr.1 advance L [0=off]"),
)
"""The listing in its order: type and place, the setting (or what never changes), decimals, words."""
MS_PER_S = {"M84 S": 1000}
ECHOED_WORDS = "XYZEFSPIJR"
WHOLE_WORDS = "SP"


class EchoingSpeech(Speech):
    """`Got:` and the line, `ok` and its number, and only then what the line prints."""

    busy = "busy:processing"

    def greeting(self) -> Iterable[str]:
        return ("Detected EEPROM version:20", *self._jump_raised(), "Free RAM:3566", *_TOOL)

    def last_words(self) -> Iterable[str]:
        return ()

    def echo(self, line: NumberedCommand) -> Iterable[str]:
        return (f"Got:{line.raw}",)

    def accepted(self, line: NumberedCommand) -> str:
        return "ok" if line.text.startswith("M110") else f"ok {line.shown}"

    def unknown(self, line: NumberedCommand, command: Command) -> str:
        number = "" if line.number is None else f"N{line.number} "
        code = f"{command.code} " if command.code else ""
        words = [f" {letter}{self._echoed(command, letter)}" for letter in ECHOED_WORDS if command.has(letter)]
        return f"Unknown command:{number}{code}{''.join(words)}".rstrip()

    def refused(self, reason: str) -> Iterable[str]:
        return (f"Error:{reason}",) if reason.startswith("Pin") else ()

    def setting(self, code: str) -> Iterable[str]:
        return ()

    def report(self, command: Command) -> Iterable[str] | None:
        match command.code:
            case "M114":
                return self._position(with_counts=command.has("S") and command.number("S") == 1)
            case "M115":
                return self._identity()
            case "M205":
                return self._listing()
        return None

    def done(self, command: Command) -> Iterable[str]:
        match command.code:
            case "M42" if command.has("P") and command.has("S"):
                return (f"Set output: {int(command.number('P'))} to {int(command.number('S'))}",)
            case "M106" | "M107":
                speed = int(command.get("S", 255.0)) if command.code == "M106" else 0
                return (f"Fanspeed:{speed}",)
            case "G92" if command.texts:
                return (self._offsets(),)
            case "M500":
                return ("Info:Configuration stored to EEPROM.",)
            case "M501":
                said = "Info:Configuration loaded from EEPROM."
                return ("Detected EEPROM version:20", *self._jump_raised(), *_TOOL, said)
            case "M502":
                return (*self._jump_raised(), *_TOOL, "Info:Configuration reset to defaults.")
        return ()

    def out_of_bounds(self) -> Iterable[str]:
        return (coordinates(self._board, DECIMALS),)

    def _echoed(self, command: Command, letter: str) -> str:
        return f"{int(command.number(letter))}" if letter in WHOLE_WORDS else f"{command.number(letter):.2f}"

    def _jump_raised(self) -> Iterable[str]:
        jump = self._board.settings["M207 Z"]
        return (f"Z jerk was too low, setting to {jump:.2f}",) if self._board.z_jump_raised else ()

    def _position(self, *, with_counts: bool) -> Iterator[str]:
        yield coordinates(self._board, DECIMALS)
        if with_counts:
            yield " ".join(f"{axis}S:{count}" for axis, count in counts(self._board).items())

    def _identity(self) -> Iterator[str]:
        yield (
            "FIRMWARE_NAME:NAME COMPILED:Jan 1 2000 FIRMWARE_URL:NAME PROTOCOL_VERSION:1.0 MACHINE_TYPE:NAME "
            "EXTRUDER_COUNT:1 NAME_PROTOCOL:3"
        )
        for name, present in CAPABILITIES.items():
            yield f"Cap:{name}:{present}"
        yield "Printed filament:0.00m Printing time:0 days 0 hours 0 min"
        yield "PrinterMode:FFF"

    def _listing(self) -> Iterator[str]:
        for place, source, decimals, text in LISTED:
            value = source if not isinstance(source, str) else self._stored(source)
            yield f"EPR:{place} {value:.{decimals}f} {text}"

    def _stored(self, name: str) -> float:
        return self._board.settings.stored(name) * MS_PER_S.get(name, 1)

    def _offsets(self) -> str:
        shifts = zip(self._board.variant.axes, self._board.offset, strict=True)
        return " ".join(f"{axis}_OFFSET:{0.0 - shift:.3f}" for axis, shift in shifts if axis != "E")


_TOOL = ("SelectExtruder:0", "FlowMultiply:100")
