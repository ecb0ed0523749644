"""Published friction figures, and the two frictions of a part on rollers.

Coefficients have no unit; lever arms in m, forces in N, torques in N m.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from firmware_host.mechanics.tables import TableRange, look_up

_STATIC_SOURCE = "Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A, table 7.21, static friction, dry"
_ROLLING_SOURCE = "Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A, table 7.22, rolling friction"


def _static(low: float, high: float) -> TableRange:
    return TableRange(low, high, "", _STATIC_SOURCE)


def _lever_arm(metres: float) -> TableRange:
    return TableRange(metres, metres, "m", _ROLLING_SOURCE)


STATIC_FRICTION: Mapping[str, TableRange] = MappingProxyType(
    {
        "steel_on_steel": _static(0.12, 0.60),
        "plastic_on_steel": _static(0.20, 0.45),
        "plastic_belt_on_steel": _static(0.25, 0.45),
    }
)
"""Dry static friction coefficients by pair; the low end is the one that a grip may count on."""

ROLLING_LEVER_ARM: Mapping[str, TableRange] = MappingProxyType(
    {
        "steel_on_steel": _lever_arm(0.5e-3),
        "plastic_on_steel": _lever_arm(2.0e-3),
        "hard_rubber_on_steel": _lever_arm(7.0e-3),
    }
)
"""Lever arm f of rolling friction by pair, in m (tabulated in mm)."""


def static_friction_of(pair: str) -> TableRange:
    """Range of the dry static friction coefficient of `pair`; `InputError` if the table doesn't have it."""
    return look_up(STATIC_FRICTION, pair, "static friction")
