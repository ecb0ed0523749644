"""Boards ready made for one rotary axis: as delivered, and with the settings of one machine."""

from __future__ import annotations

from firmware_host.simulator.status_query.variant import StatusQueryVariant

_SWITCH_STEPS = -2000
_TRAVEL_UNITS = 360.0


def delivered_board(letter: str, *, highest_step_rate: float, homes: bool = False) -> StatusQueryVariant:
    """A board as delivered (nothing fits the machine yet) whose axis `letter` drives the rotary.

    `highest_step_rate` in steps/s; `homes`: the axis has a switch, 2000 steps back from where it stands at power-up.
    """
    return board_for_axis(letter, {}, highest_step_rate=highest_step_rate, homes=homes)


def set_board(
    letter: str,
    *,
    steps_per_unit: float,
    rate: float,
    acceleration: float,
    highest_step_rate: float,
    homes: bool = False,
) -> StatusQueryVariant:
    """A board whose axis is set: steps per unit (all decimals stored), `rate` units/min, `acceleration` units/s^2."""
    stored = {100: steps_per_unit, 110: rate, 120: acceleration}
    return board_for_axis(letter, stored, highest_step_rate=highest_step_rate, homes=homes, homing_on=homes)


def board_for_axis(
    letter: str, stored: dict[int, float], *, highest_step_rate: float, homes: bool, homing_on: bool = False
) -> StatusQueryVariant:
    """A board with an axis `letter` (one of X Y Z A B C) and its per-axis settings by base number."""
    axes = "XYZA" if letter in "XYZA" else "XYZABC"
    index = axes.index(letter)
    settings = {f"${base + index}": value for base, value in {130: _TRAVEL_UNITS, **stored}.items()}
    settings["$23"] = 1 << index  # the switch is sought backwards, past any place a job has turned to
    if homing_on:
        settings["$22"] = 1
    return StatusQueryVariant(
        axes=axes,
        settings=settings,
        highest_step_rate=highest_step_rate,
        home_switches={letter: _SWITCH_STEPS} if homes else {},
    )
