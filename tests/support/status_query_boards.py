"""Board variants of the dialect `status-query` to test against: each difference alone, and mixed as they come."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from firmware_host.simulator.status_query.recorded import RECORDED, set_for_axis
from firmware_host.simulator.status_query.variant import StatusQueryVariant

STATUS_QUERY_BOARDS: Mapping[str, StatusQueryVariant] = MappingProxyType(
    {
        "plain": StatusQueryVariant(),
        "small and slow": StatusQueryVariant(
            receive_buffer=64, planner_blocks=4, status_delay_s=0.02, ok_delay_s=0.015, eeprom_write_s=0.1
        ),
        "work positions": StatusQueryVariant(reports="WPos", offset_every=30, block_whole_line_after_error=True),
        "bare reports": StatusQueryVariant(reports="WPos", settings={"$10": 0}, offset_every=1, greets=False),
        "says idle early": StatusQueryVariant(idle_early_s=math.inf, sync_answered="when-queued"),
        "speaks of plans": StatusQueryVariant(
            position_report="planned", sync_answered="when-queued", idle_early_s=0.1, idle_delay_s=0.0
        ),
        "resetting": StatusQueryVariant(resets_on_open=True, boot_s=1.5, eeprom_write_s=0.005),
        "crashing": StatusQueryVariant(
            axes="XYZABC", when_too_fast="crash", highest_step_rate=20_000.0, boot_s=0.5, home_switches={"A": 400}
        ),
        "three axes": StatusQueryVariant(axes="XYZ", settings={"$1": 25}, block_whole_line_after_error=True),
        "large": StatusQueryVariant(
            axes="XYZABC",
            receive_buffer=1024,
            planner_blocks=128,
            highest_step_rate=400_000.0,
            sync_delay_s=0.005,
            idle_delay_s=0.001,
            travel_direction=1,
        ),
        **{
            f"{name} as set": set_for_axis(
                RECORDED[name], letter, steps_per_unit=100.0, rate=6000.0, acceleration=500.0, homes={}
            )
            for name, letter in (("status-query-a", "X"), ("status-query-b", "A"), ("status-query-c", "A"))
        },
        "reversed and mute": StatusQueryVariant(settings={"$3": 8}, greets=False, idle_delay_s=0.2, sync_delay_s=0.3),
    }
)
"""Boards that differ in many ways at once."""

_DIFFERENCES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        "three axes": {"axes": "XYZ"},
        "six axes": {"axes": "XYZABC"},
        "small receive buffer": {"receive_buffer": 64},
        "large receive buffer": {"receive_buffer": 1024},
        "two planner blocks": {"planner_blocks": 2},
        "work position reported": {"reports": "WPos"},
        "no buffers in the report": {"settings": {"$10": 1}},
        "offsets in each report": {"offset_every": 1},
        "offsets seldom reported": {"offset_every": 30},
        "error sticks": {"block_whole_line_after_error": True},
        "slow status": {"status_delay_s": 0.05},
        "slow ok": {"ok_delay_s": 0.05},
        "idle said late": {"idle_delay_s": 0.25},
        "idle said unevenly": {"idle_spread_s": 0.1},
        "idle said early": {"idle_early_s": 0.15},
        "always says idle": {"idle_early_s": math.inf},
        "planned position reported": {"position_report": "planned"},
        "sync answered when queued": {"sync_answered": "when-queued"},
        "late sync": {"sync_delay_s": 0.3},
        "slow storing": {"eeprom_write_s": 0.2},
        "no greeting": {"greets": False},
        "boots for 2 s": {"boot_s": 2.0},
        "opening resets": {"resets_on_open": True, "boot_s": 1.0},
        "too fast loses time": {"highest_step_rate": 2000.0},
        "too fast crashes": {"when_too_fast": "crash"},
        "motor reversed": {"settings": {"$3": 8}},
        "motor released at standstill": {"settings": {"$1": 25}},
        "home switch": {"home_switches": {"A": 400}, "settings": {"$22": 1}},
        "travel counts up": {"travel_direction": 1},
        "five decimals in scales": {"scale_decimals": 5},
        "a pull-off that is fixed": {"fixed_settings": {"$27": "ignored"}},
        "too fast hangs": {"when_too_fast": "crash", "hangs": True},
        "silent at power-up": {"greets_at_power_up": False},
        "other words": {"speech": RECORDED["status-query-c"].speech},
        "waits and locks": {"ways": RECORDED["status-query-a"].ways},
        "latches and keeps": {"ways": replace(RECORDED["status-query-c"].ways, optional_speed=False)},
    }
)


def single_differences() -> Mapping[str, StatusQueryVariant]:
    """Each difference switched on alone, by name."""
    return {name: replace(StatusQueryVariant(), **fields) for name, fields in _DIFFERENCES.items()}
