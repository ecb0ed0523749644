"""Who speaks which dialect: the table of the contract suite. A new dialect adds one entry here, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.stored_settings import StatedSettings
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.status_query.device import StatusQueryDevice
from tests.support import numbered_line_boards, status_query_boards
from tests.support.board_faults import fail, trip_limit_switch
from tests.support.numbered_line_boards import rotary_axis

STEPS_PER_UNIT = Fraction(100)
"""Of every variant of the tables."""
STATED = StatedSettings(STEPS_PER_UNIT, Fraction(6000), Fraction(500))
"""What a machine's file would state of them."""


@dataclass(frozen=True)
class Spoken:
    """One dialect and the boards that speak it.

    `fault(device, now_s)` makes a board stop by itself. `off_by_one_step(data)` is what a board says, with the position
    of the axis in every report moved on by one step. `busy` is what a board says that is at work and never ready.
    """

    dialect: Callable[[], Dialect]
    variants: Mapping[str, Any]
    singles: Mapping[str, Any]
    device: Callable[[Any, float], SimulatedDevice]
    axis: Callable[[Any], str]
    reversed: Callable[[Any], bool]
    fault: Callable[[Any, float], None]
    off_by_one_step: Callable[[bytes], bytes]
    busy: Callable[[bytes], bytes]


@dataclass(frozen=True)
class Case:
    """One board of one dialect."""

    name: str
    spoken: Spoken
    variant: Any

    @property
    def axis(self) -> str:
        return self.spoken.axis(self.variant)

    @property
    def resets_show(self) -> bool:
        """True if a reset is seen as such: by a greeting, or by a line count that starts anew."""
        return bool(self.variant.greets) or not self.spoken.dialect().capabilities.tells_state

    @property
    def syncs(self) -> bool:
        """True if sync lines, and not a state word, tell that motion has ended."""
        return not self.spoken.dialect().capabilities.tells_state

    @property
    def sign(self) -> int:
        """-1 where the motor turns the other way round than the controller counts."""
        return -1 if self.spoken.reversed(self.variant) else 1

    def __str__(self) -> str:
        return self.name


def _numbered_line_off(data: bytes) -> bytes:
    return re.sub(rb"(Count.*?[AX]:)(-?\d+)(?!.*A:)", lambda m: b"%s%d" % (m[1], int(m[2]) + 1), data)


def _status_query_off(data: bytes) -> bytes:
    def move_on(match: re.Match[bytes]) -> bytes:
        numbers = [float(number) + float(1 / STEPS_PER_UNIT) for number in match[2].split(b",")]
        return match[1] + ",".join(f"{number:.3f}" for number in numbers).encode()

    return re.sub(rb"([MW]Pos:)([-\d.,]+)", move_on, data)


SPOKEN: Mapping[str, Spoken] = {
    "status-query": Spoken(
        dialect=StatusQueryDialect,
        variants=status_query_boards.STATUS_QUERY_BOARDS,
        singles=status_query_boards.single_differences(),
        device=StatusQueryDevice,
        axis=lambda variant: "A" if "A" in variant.axes else "X",
        reversed=lambda variant: bool(int(variant.settings.get("$3", 0)) & 8),
        fault=lambda device, now_s: _trip(device, now_s),
        off_by_one_step=_status_query_off,
        busy=lambda data: re.sub(rb"<\w+(:\d)?\|", b"<Run|", data),
    ),
    "numbered-line": Spoken(
        dialect=NumberedLineDialect,
        variants=numbered_line_boards.NUMBERED_LINE_BOARDS,
        singles=numbered_line_boards.single_differences(),
        device=NumberedLineDevice,
        axis=lambda variant: rotary_axis(variant),
        reversed=lambda variant: rotary_axis(variant) in variant.reversed_axes,
        fault=lambda device, now_s: fail(device, now_s),
        off_by_one_step=_numbered_line_off,
        busy=lambda data: re.sub(rb"(?m)^ok.*$", b"echo:busy: processing", data),
    ),
}


def _trip(device: Any, now_s: float) -> None:
    device.settings["$21"] = 1
    trip_limit_switch(device, now_s)


MIXED = [
    Case(f"{name}/{variant}", spoken, spoken.variants[variant])
    for name, spoken in SPOKEN.items()
    for variant in spoken.variants
]
SINGLES = [
    Case(f"{name}/{variant}", spoken, spoken.singles[variant])
    for name, spoken in SPOKEN.items()
    for variant in spoken.singles
]
PLAIN = [Case(name, spoken, spoken.variants["plain"]) for name, spoken in SPOKEN.items()]
