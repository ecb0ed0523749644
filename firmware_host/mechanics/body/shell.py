"""A hollow cone frustum, open at both ends. Lengths in m, volumes in m^3."""

from __future__ import annotations

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.body.inertia import frustum_inertia, frustum_volume
from firmware_host.mechanics.guard import require_positive


def shell_volume(large_radius: float, small_radius: float, wall: float, length: float) -> float:
    """Volume (m^3): the outer frustum less the inner one, `wall` (m, across the radius) thinner all along.

    0 < `wall` < `small_radius` <= `large_radius`, `length` > 0, in m.
    """
    _check_wall(wall, small_radius)
    outer = frustum_volume(large_radius, small_radius, length)
    return outer - frustum_volume(large_radius - wall, small_radius - wall, length)


def shell_per_mass(large_radius: float, small_radius: float, wall: float, length: float) -> float:
    """Inertia per kg (m^2) of that shell about its axis: (J_outer - J_inner)/(V_outer - V_inner) at density 1."""
    volume = shell_volume(large_radius, small_radius, wall, length)
    solids = (
        frustum_inertia(frustum_volume(large, small, length), large, small)
        for large, small in ((large_radius, small_radius), (large_radius - wall, small_radius - wall))
    )
    return (next(solids) - next(solids)) / volume


def _check_wall(wall: float, small_radius: float) -> None:
    require_positive("wall", wall, "m")
    if wall >= small_radius:
        raise FormulaRangeError("wall", wall, "m", small_radius, "It must be thinner than the small radius")
