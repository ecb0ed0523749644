"""Speeds and accelerations of the part in the controller's units, never rounded up."""

from __future__ import annotations

import math
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction

_DIGITS = 6


def axis_units(part_rad: float, per_part_turn: Fraction, steps_per_unit: Fraction) -> float:
    """Turn of the part (rad, or rad/s, rad/s^2) in controller units (or units/s, units/s^2)."""
    return part_rad / (2 * math.pi) * float(per_part_turn / steps_per_unit)


def feed_text(speed: float, per_part_turn: Fraction, steps_per_unit: Fraction) -> str:
    """Feed word in units per minute for a speed of the part (rad/s, > 0), rounded down."""
    return floor_text(60 * axis_units(speed, per_part_turn, steps_per_unit), 3)


def acceleration_text(acceleration: float, per_part_turn: Fraction, steps_per_unit: Fraction) -> str:
    """Acceleration in units/s^2 for one of the part (rad/s^2, > 0), rounded down."""
    return floor_text(axis_units(acceleration, per_part_turn, steps_per_unit), 3)


def floor_text(value: float, decimals: int) -> str:
    """Decimal text of a positive value, rounded down, at least one in the last place.

    At most `decimals` places and six digits in all: what a 32-bit float holds and prints back unchanged.
    """
    exact = Decimal(value)
    place = Decimal(1).scaleb(max(-decimals, exact.adjusted() + 1 - _DIGITS))
    return f"{max(exact.quantize(place, rounding=ROUND_FLOOR), place):f}"
