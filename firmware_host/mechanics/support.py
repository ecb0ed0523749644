"""Loads that the weight of an overhung part puts on what carries it. Forces in N, moments in N m, lengths in m."""

from __future__ import annotations

from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.guard import require_not_negative, require_positive


def overhang_moment(mass: float, centre_of_mass_distance: float) -> float:
    """Bending moment m g x (N m) at the face that carries a part; x >= 0 m from the face to the centre of mass."""
    require_positive("mass", mass, "kg")
    require_not_negative("distance to the centre of mass", centre_of_mass_distance, "m")
    return mass * STANDARD_GRAVITY * centre_of_mass_distance


def tailstock_share(mass: float, centre_of_mass_distance: float, tailstock_distance: float) -> tuple[float, float]:
    """(load on the chuck, load on the tailstock) in N, of a part held at one end and carried at the other.

    A beam on two supports: tailstock m g x/L, chuck the rest. 0 <= x and `tailstock_distance` L > 0, both in m from the
    chuck's face. With x > L the chuck's load is negative: it is pulled upward.
    """
    require_positive("distance to the tailstock", tailstock_distance, "m")
    on_tailstock = overhang_moment(mass, centre_of_mass_distance) / tailstock_distance
    return mass * STANDARD_GRAVITY - on_tailstock, on_tailstock


def bearing_loads(mass: float, centre_of_mass_distance: float, bearing_spacing: float) -> tuple[float, float]:
    """(front, rear) radial loads in N on two bearings `bearing_spacing` m apart that carry an overhung part.

    Lever law: front m g (1 + x/b), rear -m g x/b (upward). x >= 0 m from the front bearing to the centre of mass.
    """
    require_positive("bearing spacing", bearing_spacing, "m")
    rear = -overhang_moment(mass, centre_of_mass_distance) / bearing_spacing
    return mass * STANDARD_GRAVITY - rear, rear


def imbalance_torque(mass: float, offset: float) -> float:
    """Largest torque m g e (N m, >= 0) of a centre of mass `offset` m off a level axis, at its worst angle."""
    require_positive("mass", mass, "kg")
    require_not_negative("centre-of-mass offset", offset, "m")
    return mass * STANDARD_GRAVITY * offset
