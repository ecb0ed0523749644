"""What kind of board speaks the dialect: every difference between variants of the family is a field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from firmware_host.simulator.axis.straight_move import WhenTooFast
from firmware_host.simulator.status_query.speech import Speech
from firmware_host.simulator.status_query.ways import Ways

AXIS_LETTERS = "XYZABC"

COMMON_SETTINGS: Mapping[str, float] = MappingProxyType(
    {
        "$0": 10,  # step pulse, us
        "$1": 255,  # ms until the motors are released at standstill; 255 = never
        "$2": 0,  # step pin mask
        "$3": 0,  # direction mask, one bit per axis
        "$4": 0,  # enable pin inverted
        "$5": 0,  # limit pins inverted
        "$6": 0,  # probe pin inverted
        "$10": 3,  # report mask: 1 = machine position, 2 = buffers
        "$11": 0.01,  # corner deviation, units
        "$12": 0.002,  # arc tolerance, units
        "$13": 0,  # reports in inches
        "$20": 0,  # soft limits
        "$21": 0,  # hard limits
        "$22": 0,  # homing
        "$23": 0,  # homing direction mask
        "$24": 25,  # homing: slow rate, units/min
        "$25": 500,  # homing: search rate, units/min
        "$26": 250,  # homing: switch debounce, ms
        "$27": 1,  # homing: pull-off, units
        "$30": 1000,  # highest spindle speed, rev/min
        "$31": 0,  # lowest spindle speed, rev/min
        "$32": 0,  # laser mode
    }
)
"""Settings every variant has; the numbers that the wire description doesn't name are from memory."""

AXIS_SETTINGS: Mapping[int, float] = MappingProxyType({100: 100.0, 110: 6000.0, 120: 500.0, 130: 1000.0})
"""Per axis n, at base + n: steps per unit, units/min, units/s^2, travel in units."""


@dataclass(frozen=True)
class StatusQueryVariant:
    """One board of the family.

    axes: letters in the order of the report, out of X Y Z A B C. receive_buffer: bytes, one less is usable.
    planner_blocks: moves that can be queued. settings: what differs from the defaults, by name (`"$103"`).
    highest_step_rate: steps/s of the quickest axis; a quicker move takes longer or crashes the board (`when_too_fast`).
    hangs: instead of a crash, from which it starts anew, it stops dead and hears nothing until a hardware reset.
    reports: which position `$10` asks for when it is not given in `settings`.
    status_delay_s, ok_delay_s: from the last byte received to the answer. The board reads no further line meanwhile.
    idle_delay_s: from the last step until the state word says so, at the least; up to idle_spread_s more, drawn anew
    for each standstill. sync_delay_s: from the last step until a wait for
    the end of motion is over (a dwell adds its own time and `ok_delay_s`).
    idle_early_s: how long before the last step the state word already says idle (infinity: it never says moving).
    position_report: where the motors are now, or where they will be once all is done. sync_answered: `when-queued`
    answers a dwell at once; only the next line waits until it is over.
    eeprom_write_s: how long a storing line takes, all bytes received meanwhile being lost.
    boot_s: from a hardware reset to the greeting; bytes received meanwhile are lost.
    resets_on_open: opening the port resets the board. offset_every: every how many reports carry the offsets.
    home_switches: true steps (see `SimulatedDevice.steps_at`) where an axis' switch closes; soft limits allow
    machine positions from 0 to the travel in the direction `travel_direction`.
    fixed_settings: settings that a line doesn't change, by name: it is `refused`, or answered as if it had (`ignored`).
    scale_decimals: how many are printed of steps per unit; all other settings have three, or are whole numbers.
    greets_at_power_up: whether the greeting comes then, too, and not only after a reset.
    speech: what it says in words of its own. ways: how it behaves where boards differ.
    """

    axes: str = "XYZA"
    receive_buffer: int = 128
    planner_blocks: int = 15
    settings: Mapping[str, float] = field(default_factory=dict)
    highest_step_rate: float = 30_000.0
    when_too_fast: WhenTooFast = "lose-time"
    reports: Literal["MPos", "WPos"] = "MPos"
    block_whole_line_after_error: bool = False
    status_delay_s: float = 0.004
    ok_delay_s: float = 0.003
    idle_delay_s: float = 0.0055
    idle_spread_s: float = 0.0
    sync_delay_s: float = 0.042
    idle_early_s: float = 0.0
    position_report: Literal["actual", "planned"] = "actual"
    sync_answered: Literal["when-done", "when-queued"] = "when-done"
    eeprom_write_s: float = 0.02
    boot_s: float = 0.0
    greets: bool = True
    resets_on_open: bool = False
    offset_every: int = 10
    home_switches: Mapping[str, int] = field(default_factory=dict)
    travel_direction: Literal[-1, 1] = -1
    fixed_settings: Mapping[str, Literal["refused", "ignored"]] = field(default_factory=dict)
    scale_decimals: int = 3
    hangs: bool = False
    greets_at_power_up: bool = True
    speech: Speech = field(default_factory=Speech)
    ways: Ways = field(default_factory=Ways)

    def __post_init__(self) -> None:
        if not self.axes or any(self.axes.count(axis) != 1 or axis not in AXIS_LETTERS for axis in self.axes):
            raise ValueError(f"axes {self.axes!r}: name each axis once, out of {AXIS_LETTERS}")
        if self.receive_buffer < 2 or self.planner_blocks < 1 or self.offset_every < 1:
            raise ValueError("receive_buffer must be at least 2, planner_blocks and offset_every at least 1")
        if not self.highest_step_rate > 0:
            raise ValueError(f"highest_step_rate {self.highest_step_rate!r} steps/s must be greater than 0")
        if not self.idle_early_s >= 0:
            raise ValueError(f"idle_early_s {self.idle_early_s!r} must be 0 or more")
        unknown = set(self.home_switches) - set(self.axes)
        if unknown:
            raise ValueError(f"home_switches names {sorted(unknown)}, which are no axes of {self.axes!r}")
        unknown = set(self.fixed_settings) - set(self.initial_settings())
        if unknown:
            raise ValueError(f"fixed_settings names {sorted(unknown)}, which are no settings of this board")

    def initial_settings(self) -> dict[str, float]:
        """All settings of a board as delivered: the defaults, then `reports`, then `settings`."""
        values = dict(COMMON_SETTINGS)
        for base, value in AXIS_SETTINGS.items():
            values.update({f"${base + index}": value for index in range(len(self.axes))})
        values["$10"] = 3 if self.reports == "MPos" else 2
        values.update(self.settings)
        return values
