"""Bodies beside the axis of a part: their inertia, and where they put its centre of mass.

Lengths in m, masses in kg, angles in rad, inertias in kg m^2 about the axis that the part turns on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from firmware_host.mechanics.guard import require_not_negative, require_positive


def box_inertia(mass: float, outward: float, across: float) -> float:
    """J = m (a^2 + b^2)/12 (kg m^2) of a box about the axis through its centre, parallel to the part's.

    `mass` > 0 kg; `outward` and `across` > 0 m: its sizes square to that axis. From the integral of r^2 dm.
    """
    require_positive("mass", mass, "kg")
    require_positive("size outward", outward, "m")
    require_positive("size across", across, "m")
    return mass * (outward**2 + across**2) / 12


def crosswise_cylinder_inertia(mass: float, radius: float, length: float) -> float:
    """J = m (3 r^2 + l^2)/12 (kg m^2) of a solid cylinder about the line through its centre, square to its own axis.

    `mass` > 0 kg; `radius`, `length` > 0 m. From the integral of r^2 dm.
    """
    require_positive("mass", mass, "kg")
    require_positive("radius", radius, "m")
    require_positive("length", length, "m")
    return mass * (3 * radius**2 + length**2) / 12


def combined_moment(placed: Iterable[tuple[float, float]], anywhere: float = 0.0) -> float:
    """Static moment m e (kg m, >= 0) of bodies at known angles and of one whose angle nobody knows, at the worst.

    `placed`: (m e in kg m, its angle in rad) each, negative for what is cut away; they add as vectors. `anywhere` >= 0
    kg m: it adds in full, as if it lay where the others' sum points. Statics.
    """
    require_not_negative("static moment", anywhere, "kg m")
    moments = list(placed)
    sideways = math.fsum(moment * math.cos(angle) for moment, angle in moments)
    upward = math.fsum(moment * math.sin(angle) for moment, angle in moments)
    return math.hypot(sideways, upward) + anywhere
