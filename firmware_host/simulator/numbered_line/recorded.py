"""The boards of the dialect that were recorded, as delivered; and one of them set for a machine's axis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from firmware_host.simulator.numbered_line.variant import NumberedLineVariant

_LISTS_STORED = NumberedLineVariant(
    axes="XYZE",
    sync_delay_s=0.009,
    ok_delay_s=0.0023,
    position_delay_s=0.005,
    position_report="planned",
    count_report="planned",
    sync_answered="when-queued",
    ok_before_output=True,
    repeated_number="skip",
    wait_lines="even-moving",
    highest_step_rate=39_700.0,
)
_LISTS_IN_FORCE = NumberedLineVariant(
    axes="XYZE",
    sync_delay_s=0.009,
    ok_delay_s=0.0023,
    position_delay_s=0.005,
    position_report="planned",
    count_report="planned",
    highest_step_rate=55_000.0,
)

RECORDED: Mapping[str, NumberedLineVariant] = MappingProxyType(
    {"numbered-line-a": _LISTS_STORED, "numbered-line-b": _LISTS_IN_FORCE}
)
"""By the name that `simulated_device` knows them by."""


def set_for_axis(
    board: NumberedLineVariant,
    letter: str,
    *,
    steps_per_unit: float,
    rate: float,
    acceleration: float,
    homes: Mapping[str, int],
) -> NumberedLineVariant:
    """The board as somebody has set it for the axis `letter`: steps per unit with all decimals, `rate` in units/s,
    `acceleration` in units/s^2; the switch of the axis, if it has one, in true steps in `homes`.
    """
    own = {f"M92 {letter}": steps_per_unit, f"M203 {letter}": rate, f"M201 {letter}": acceleration}
    return replace(
        board, settings={**board.settings, **own, "M204 T": acceleration}, home_switches=homes, release_after_s=None
    )
