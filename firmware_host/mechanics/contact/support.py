"""What a part's weight does to what carries it, and to itself when the power goes. N, N m, m.

`tilt` of the axis: rad, 0 level to pi/2 upright. Across the axis the weight counts by its cosine, along it by its sine.
"""

from __future__ import annotations

import math
from enum import StrEnum

from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.guard import FloatOrArray, require_at_most, require_not_negative, require_positive


def weight_across(mass: float, tilt: float = 0.0) -> float:
    """M g cos(tilt) (N, >= 0): what of a weight pulls square to an axis. `mass` > 0 kg. Statics."""
    require_positive("mass", mass, "kg")
    _require_tilt(tilt)
    return mass * STANDARD_GRAVITY * math.cos(tilt)


def weight_along(mass: float, tilt: float) -> float:
    """M g sin(tilt) (N, >= 0): what of a weight pulls along an axis, toward its lower end. `mass` > 0 kg. Statics."""
    require_positive("mass", mass, "kg")
    _require_tilt(tilt)
    return mass * STANDARD_GRAVITY * math.sin(tilt)


def _require_tilt(tilt: float) -> None:
    require_not_negative("tilt of the axis", tilt, "rad")
    require_at_most("tilt of the axis", tilt, math.pi / 2, "rad")


def overhang_moment(mass: float, centre_of_mass_distance: float, tilt: float = 0.0) -> float:
    """Bending moment m g cos(tilt) x (N m) at the face that carries a part; x >= 0 m: its centre of mass from there."""
    require_not_negative("distance to the centre of mass", centre_of_mass_distance, "m")
    return weight_across(mass, tilt) * centre_of_mass_distance


def tailstock_share(
    mass: float, centre_of_mass_distance: float, tailstock_distance: float, tilt: float = 0.0
) -> tuple[float, float]:
    """(load on the chuck, load on the tailstock) in N, of a part held at one end and carried at the other.

    A beam on two supports: tailstock m g cos(tilt) x/L, chuck the rest. 0 <= x and `tailstock_distance` L > 0, both in
    m from the chuck's face. With x > L the chuck's load is negative: it is pulled upward. A steady rest likewise.
    """
    require_positive("distance to the tailstock", tailstock_distance, "m")
    on_tailstock = overhang_moment(mass, centre_of_mass_distance, tilt) / tailstock_distance
    return weight_across(mass, tilt) - on_tailstock, on_tailstock


def bearing_loads(mass: float, centre_of_mass_distance: float, bearing_spacing: float) -> tuple[float, float]:
    """(front, rear) radial loads in N on two bearings `bearing_spacing` m apart that carry an overhung part.

    Lever law: front m g (1 + x/b), rear -m g x/b (upward). x >= 0 m from the front bearing to the centre of mass.
    """
    require_positive("bearing spacing", bearing_spacing, "m")
    rear = -overhang_moment(mass, centre_of_mass_distance) / bearing_spacing
    return mass * STANDARD_GRAVITY - rear, rear


def imbalance_torque(mass: float, offset: float, tilt: float = 0.0) -> float:
    """Largest torque m g cos(tilt) e (N m, >= 0) of a centre of mass `offset` m off the axis, at its worst angle."""
    require_not_negative("centre-of-mass offset", offset, "m")
    return weight_across(mass, tilt) * offset


def shaft_load(weight: FloatOrArray, distance: float, rated_distance: float) -> FloatOrArray:
    """Load (N) at the place where a shaft's radial load is rated that is as hard on its bearings as `weight` is.

    `weight` (N, >= 0) at `distance` (m, >= 0) from the front bearing, rated at `rated_distance` (m, > 0): the moments
    about the front bearing, weight * distance/rated_distance, but never less than the weight. With the rear bearing b
    behind, the front one bears (1 + distance/b) of the load, so this is on the safe side on both sides of the place.
    """
    require_not_negative("weight", weight, "N")
    require_not_negative("distance from the bearing", distance, "m")
    require_positive("distance of the rated load", rated_distance, "m")
    return weight * max(1.0, distance / rated_distance)


class PowerOff(StrEnum):
    """What a part does at its worst angle when the power goes."""

    STAYS = "stays"
    CREEPS = "creeps"
    SPINS_BACK = "spins back"


def power_off(driving_torque: float, detent_torque: float, *, self_locking: bool) -> PowerOff:
    """What happens without power, both torques (N m, >= 0) at the motor.

    It stays while the motor's detent torque holds the imbalance. Beyond that a self-locking stage still holds, but
    vibration lets it creep (common practice, no source); without one it spins back. Friction is not counted.
    """
    require_not_negative("torque of the imbalance", driving_torque, "N m")
    require_not_negative("detent torque", detent_torque, "N m")
    if driving_torque <= detent_torque:
        return PowerOff.STAYS
    return PowerOff.CREEPS if self_locking else PowerOff.SPINS_BACK


SLENDEREST_OVERHUNG = 3.0
"""Most diameters that a part may stand out of a chuck unsupported: common practice on lathes, no source."""

SLENDEREST_BETWEEN_SUPPORTS = 10.0
"""Most diameters between chuck and tailstock without a steady rest: common practice on lathes, no source."""


def slenderness(length: float, diameter: float) -> float:
    """Unsupported length over diameter, both in m, > 0."""
    require_positive("unsupported length", length, "m")
    require_positive("diameter", diameter, "m")
    return length / diameter
