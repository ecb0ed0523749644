"""Boards of the dialect `numbered-line` ready made for one rotary axis: as delivered, and set for one machine."""

from __future__ import annotations

from firmware_host.simulator.numbered_line.variant import NumberedLineVariant

_SWITCH_STEPS = -2000
_AXES = {"A": "XYZAE", "B": "XYZABCE", "C": "XYZABCE"}


def delivered_numbered_board(letter: str, *, highest_step_rate: float, homes: bool = False) -> NumberedLineVariant:
    """A board as delivered (nothing fits the machine yet) whose axis `letter` (X Y Z A B C) drives the rotary.

    `highest_step_rate` in steps/s; `homes`: the axis has a switch, 2000 steps behind where it stands at power-up.
    """
    return _board(letter, {}, highest_step_rate, homes)


def set_numbered_board(
    letter: str,
    *,
    steps_per_unit: float,
    rate: float,
    acceleration: float,
    highest_step_rate: float,
    homes: bool = False,
) -> NumberedLineVariant:
    """A board whose axis is set: steps per unit (all decimals kept), `rate` units/s, `acceleration` units/s^2."""
    settings = {
        f"M92 {letter}": steps_per_unit,
        f"M203 {letter}": rate,
        f"M201 {letter}": acceleration,
        "M204 T": acceleration,
    }
    return _board(letter, settings, highest_step_rate, homes)


def _board(letter: str, settings: dict[str, float], highest_step_rate: float, homes: bool) -> NumberedLineVariant:
    return NumberedLineVariant(
        axes=_AXES.get(letter, "XYZE"),
        settings=settings,
        highest_step_rate=highest_step_rate,
        home_switches={letter: _SWITCH_STEPS} if homes else {},
    )
