"""The boards of the dialect that were recorded, as delivered; and one of them set for a machine's axis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from firmware_host.simulator.status_query.variant import StatusQueryVariant


def _per_axis(axes: str, base: int, *values: float) -> dict[str, float]:
    """One setting of each axis; a single value stands for all."""
    each = values if len(values) > 1 else values * len(axes)
    return {f"${base + index}": value for index, value in enumerate(each)}


_SMALL = StatusQueryVariant(
    axes="XYZ",
    receive_buffer=128,
    planner_blocks=15,
    settings={
        **_per_axis("XYZ", 100, 250.0),
        **_per_axis("XYZ", 110, 500.0),
        **_per_axis("XYZ", 120, 10.0),
        **_per_axis("XYZ", 130, 200.0),
        **{"$1": 25, "$10": 1},
    },
    highest_step_rate=40_000.0,
    when_too_fast="crash",
    resets_on_open=True,
    boot_s=0.35,
)

_FIVE_AXES = StatusQueryVariant(
    axes="XYZAB",
    receive_buffer=256,
    planner_blocks=35,
    settings={
        **_per_axis("XYZAB", 100, 400.0, 400.0, 400.0, 8.889, 8.889),
        **_per_axis("XYZAB", 110, 750.0, 750.0, 750.0, 1440.0, 1440.0),
        **_per_axis("XYZAB", 120, 50.0),
        **_per_axis("XYZAB", 130, 400.0, 200.0, 200.0, 360.0, 180.0),
        **{"$1": 254, "$10": 1, "$11": 0.02, "$20": 1, "$22": 1, "$24": 100, "$27": 5, "$30": 12000, "$31": 550},
    },
    highest_step_rate=22_000.0,
    when_too_fast="crash",
    resets_on_open=True,
    boot_s=0.55,
)

_LARGE = StatusQueryVariant(
    axes="XYZA",
    receive_buffer=1024,
    planner_blocks=100,
    settings={
        **_per_axis("XYZA", 100, 250.0),
        **_per_axis("XYZA", 110, 500.0),
        **_per_axis("XYZA", 120, 10.0),
        **_per_axis("XYZA", 130, 200.0),
        **{"$0": 5, "$1": 25, "$4": 15, "$10": 3},
    },
    highest_step_rate=108_000.0,
    status_delay_s=0.02,
    ok_delay_s=0.02,
    scale_decimals=5,
    block_whole_line_after_error=True,
)

RECORDED: Mapping[str, StatusQueryVariant] = MappingProxyType(
    {"status-query-a": _SMALL, "status-query-b": _FIVE_AXES, "status-query-c": _LARGE}
)
"""By the name that `simulated_device` knows them by; the axis that drives a rotary can be any of theirs."""


def set_for_axis(
    board: StatusQueryVariant,
    letter: str,
    *,
    steps_per_unit: float,
    rate: float,
    acceleration: float,
    homes: Mapping[str, int],
) -> StatusQueryVariant:
    """The board as somebody has set it for the axis `letter`: steps per unit with all decimals, `rate` in units/min,
    `acceleration` in units/s^2, motors never released, homing and soft limits off unless the axis has a switch (its
    true steps in `homes`).
    """
    index = board.axes.index(letter)
    own = {f"${100 + index}": steps_per_unit, f"${110 + index}": rate, f"${120 + index}": acceleration}
    common = {"$1": 255.0, "$20": 0.0, "$22": 1.0 if homes else 0.0, "$23": float(1 << index)}
    return replace(board, settings={**board.settings, **common, **own}, home_switches=homes)
