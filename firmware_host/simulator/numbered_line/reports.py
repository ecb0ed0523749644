"""What the board prints about itself: where it is, what it is, how it is set."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from firmware_host.simulator.axis.single_precision import single
from firmware_host.simulator.numbered_line.board import NumberedBoard

EPR_SCALE, EPR_RATE, EPR_ACCELERATION = 3, 35, 67
EPR_SIZE = 4
"""Where the settings lie in the listing behind M205: first address of each kind, bytes per axis (this board's own)."""


def coordinates(board: NumberedBoard, decimals: Mapping[str, int]) -> str:
    """The program's coordinates of all axes, `decimals` by letter if not the board's own."""
    variant = board.variant
    position = board.position if variant.position_report == "planned" else board.machine_position()
    return " ".join(
        f"{axis}:{single(value - shift) + 0.0:.{decimals.get(axis, variant.position_decimals)}f}"
        for axis, value, shift in zip(variant.axes, position, board.offset, strict=True)
    )


def counts(board: NumberedBoard) -> dict[str, int]:
    """The step counts of all axes but E."""
    steps = board.queued if board.variant.count_report == "planned" else board.counters()
    return {axis: count for axis, count in zip(board.variant.axes, steps, strict=True) if axis != "E"}


def position_line(board: NumberedBoard) -> str:
    """The answer to M114: the program's coordinates, then the step counts of all axes but E."""
    return " ".join([coordinates(board, {}), "Count", *(f"{axis}:{count}" for axis, count in counts(board).items())])


def capability_lines(board: NumberedBoard) -> Iterator[str]:
    """The answer to M115."""
    variant = board.variant
    moved = len(variant.axes) - ("E" in variant.axes)
    yield f"FIRMWARE_NAME:simulated board PROTOCOL_VERSION:1.0 MACHINE_TYPE:rotary AXIS_COUNT:{moved}"
    own = {"EEPROM": True, "EMERGENCY_PARSER": variant.acts_at_once}
    for name, present in {**own, **variant.capabilities}.items():
        yield f"Cap:{name}:{int(present)}"


def on_the_wire(board: NumberedBoard, code: str, value: float, unit: str = "") -> float:
    """A setting as this variant speaks of it: rates may be per minute; `unit`: which they are, "" as in its words."""
    return single(value * 60) if code == "M203" and (unit or board.variant.rate_unit) == "per-minute" else value


def from_the_wire(board: NumberedBoard, code: str, value: float) -> float:
    """The setting (units/s for rates) that a word on the wire means."""
    return single(value / 60) if code == "M203" and board.variant.rate_unit == "per-minute" else value


def setting_line(board: NumberedBoard, code: str) -> str:
    """One word with the setting of every letter that it has."""
    decimals = board.variant.settings_decimals
    values = {
        letter: on_the_wire(board, code, board.settings[f"{code} {letter}"]) for letter in board.settings.letters(code)
    }
    return f"{code} {' '.join(f'{letter}{value:.{decimals}f}' for letter, value in values.items())}"


def settings_lines(board: NumberedBoard) -> Iterator[str]:
    """The answer to M503."""
    per = "min" if board.variant.rate_unit == "per-minute" else "s"
    titles = {"M92": "steps/unit", "M203": f"highest rate, units/{per}", "M201": "highest acceleration, units/s2"}
    if board.variant.m204 == "acceleration":
        titles["M204"] = "acceleration, units/s2"
    for code, title in titles.items():
        yield f"echo:; {title}"
        yield f"echo: {setting_line(board, code)}"


def listing_lines(board: NumberedBoard) -> Iterator[str]:
    """The settings behind M205: `EPR:<type> <address> <value> <what>`, type 3 being a floating-point number."""
    unit = board.variant.rate_listed or board.variant.rate_unit
    per = "min" if unit == "per-minute" else "s"
    kinds = (
        (EPR_SCALE, "M92", "steps per mm"),
        (EPR_RATE, "M203", f"max. feedrate [mm/{per}]"),
        (EPR_ACCELERATION, "M201", "acceleration [mm/s^2]"),
    )
    for address, code, what in kinds:
        for index, axis in enumerate(board.variant.axes):
            name = f"{code} {axis}"
            shown = board.settings.stored(name) if board.variant.listing_shows == "stored" else board.settings[name]
            value = on_the_wire(board, code, shown, unit)
            place = address + EPR_SIZE * index
            yield f"EPR:3 {place} {value:.{board.variant.settings_decimals}f} {axis}-axis {what}"
