"""Reads the values of a described machine or job by its own small table of units: SI floats, angles in rad."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from math import pi
from typing import Any

_INCH, _POUND = 0.0254, 0.45359237
_POUND_FORCE = _POUND * 9.80665

UNITS: dict[str, dict[str, float]] = {
    "length": {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "um": 1e-6, "in": _INCH},
    "mass": {"kg": 1.0, "g": 1e-3, "lb": _POUND},
    "density": {"kg/m^3": 1.0, "g/cm^3": 1e3},
    "force": {"N": 1.0, "lbf": _POUND_FORCE, "kgf": 9.80665},
    "torque": {
        "N*m": 1.0,
        "N*cm": 1e-2,
        "N*mm": 1e-3,
        "ozf*in": _POUND_FORCE / 16 * _INCH,
        "lbf*in": _POUND_FORCE * _INCH,
    },
    "inertia": {"kg*m^2": 1.0, "g*cm^2": 1e-7, "kg*cm^2": 1e-4},
    "angle": {"deg": pi / 180, "rad": 1.0, "turn": 2 * pi, "arcmin": pi / 10800},
    "speed": {"rpm": pi / 30, "deg/s": pi / 180, "rad/s": 1.0},
    "acceleration": {"deg/s^2": pi / 180, "rad/s^2": 1.0},
    "time": {"s": 1.0, "ms": 1e-3, "us": 1e-6},
    "rate": {"Hz": 1.0, "kHz": 1e3},
    "current": {"A": 1.0, "mA": 1e-3},
    "voltage": {"V": 1.0, "mV": 1e-3},
    "resistance": {"ohm": 1.0, "mohm": 1e-3},
    "inductance": {"H": 1.0, "mH": 1e-3},
    "capacitance": {"F": 1.0, "mF": 1e-3, "uF": 1e-6},
    "temperature": {"degC": 1.0},
    "thermal": {"K/W": 1.0},
    "stiffness": {"N*m/rad": 1.0, "N*m/deg": 180 / pi},
    "area": {"m^2": 1.0},
}
_SIZE = {unit: size for units in UNITS.values() for unit, size in units.items()}


@cache
def si(text: str) -> float:
    """The value of a text like "48.2 mm"."""
    number, _, unit = text.partition(" ")
    return float(Fraction(number)) * _SIZE[unit.strip()]


def known(table: Mapping[str, Any], key: str) -> float | None:
    """The value at `key`, None if it isn't stated; a bare number as it is."""
    value = table.get(key)
    return None if value is None else (si(value) if isinstance(value, str) else float(value))


def of(table: Mapping[str, Any], key: str, otherwise: float = 0.0) -> float:
    """The value at `key`, or `otherwise`."""
    value = known(table, key)
    return otherwise if value is None else value


def diameter(part: Mapping[str, Any]) -> float:
    """Diameter (m) where it is marked."""
    return si(part["diameter"]) if "diameter" in part else si(part["circumference"]) / pi


def contact(part: Mapping[str, Any]) -> float:
    """Diameter where the drive touches the part (m)."""
    if "contact_from" in part:
        places = [si(place) for place in part["contact_from"]]
        large, small, length = (si(part[key]) for key in ("large_diameter", "small_diameter", "length"))
        sizes = [large - (large - small) * place / length for place in places]
        return (max(sizes) + min(sizes)) / 2
    return si(part["contact_diameter"]) if "contact_diameter" in part else diameter(part)
