"""Volumes, masses and moments of inertia of round parts about the axis they turn on.

Lengths in m, masses in kg, densities in kg/m^3, inertias in kg m^2. Every inertia is the integral of r^2 dm;
the closed forms below follow from it and are checked against meshes of the same bodies.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.guard import require_at_most, require_not_negative, require_positive


def cylinder_volume(radius: float, length: float) -> float:
    """Volume (m^3) of a solid cylinder: pi r^2 l. `radius`, `length` > 0 in m."""
    return tube_volume(radius, 0.0, length)


def tube_volume(outer_radius: float, inner_radius: float, length: float) -> float:
    """Volume (m^3) of a tube: pi (ro^2 - ri^2) l. 0 <= `inner_radius` < `outer_radius`, `length` > 0, in m."""
    _check_bore(outer_radius, inner_radius)
    require_positive("length", length, "m")
    return math.pi * (outer_radius**2 - inner_radius**2) * length


def frustum_volume(large_radius: float, small_radius: float, length: float) -> float:
    """Volume (m^3) of a solid cone frustum: pi l (R^2 + R r + r^2)/3. 0 <= `small_radius` <= `large_radius`, in m."""
    _check_cone(large_radius, small_radius)
    require_positive("length", length, "m")
    return math.pi * length * (large_radius**2 + large_radius * small_radius + small_radius**2) / 3


def mass_from_density(density: float, volume: float) -> float:
    """Mass (kg) = density (kg/m^3, > 0) * volume (m^3, > 0)."""
    return float(require_positive("density", density, "kg/m^3") * require_positive("volume", volume, "m^3"))


def mass_disagreement(weighed: float, computed: float) -> float:
    """How far a computed mass is from the weighed one, as a signed fraction: (computed - weighed)/weighed.

    Both in kg, > 0. Positive: the description is heavier than the part. More than 0.1 either way says that the
    shape or the density is wrong (common practice, no source); the weighed mass is the one to use.
    """
    require_positive("weighed mass", weighed, "kg")
    require_positive("computed mass", computed, "kg")
    return (computed - weighed) / weighed


def solid_cylinder_inertia(mass: float, radius: float) -> float:
    """J = m r^2/2 (kg m^2) of a solid cylinder or disc about its axis; `mass` > 0 kg, `radius` > 0 m."""
    return tube_inertia(mass, radius, 0.0)


def tube_inertia(mass: float, outer_radius: float, inner_radius: float) -> float:
    """J = m (ro^2 + ri^2)/2 (kg m^2) of a tube about its axis; 0 <= `inner_radius` < `outer_radius`, in m."""
    require_positive("mass", mass, "kg")
    _check_bore(outer_radius, inner_radius)
    return mass * (outer_radius**2 + inner_radius**2) / 2


def frustum_inertia(mass: float, large_radius: float, small_radius: float) -> float:
    """J = (3/10) m (R^5 - r^5)/(R^3 - r^3) (kg m^2) of a solid cone frustum about its axis.

    From dJ = (pi rho/2) r(z)^4 dz with r linear in z. Written with the common factor R - r divided out, so it holds
    for R = r (a cylinder) as well. `mass` > 0 kg; 0 <= `small_radius` <= `large_radius`, in m.
    """
    require_positive("mass", mass, "kg")
    _check_cone(large_radius, small_radius)
    r, s = large_radius, small_radius
    quartic = r**4 + r**3 * s + r**2 * s**2 + r * s**3 + s**4
    return 0.3 * mass * quartic / (r**2 + r * s + s**2)


def off_axis_inertia(inertia_about_centre: float, mass: float, offset: float) -> float:
    """J + m e^2 (kg m^2): the parallel-axis theorem, for a body whose centre of mass runs `offset` m off the axis.

    `inertia_about_centre` >= 0 kg m^2 about the parallel axis through the centre of mass; `mass` > 0 kg; `offset` >= 0.
    """
    require_not_negative("inertia", inertia_about_centre, "kg m^2")
    require_positive("mass", mass, "kg")
    require_not_negative("centre-of-mass offset", offset, "m")
    return inertia_about_centre + mass * offset**2


def tensor_inertia_about(tensor: ArrayLike, axis: ArrayLike) -> float:
    """u^T I u (kg m^2): inertia about the direction `axis` through the point the tensor belongs to.

    `tensor`: shape (3, 3), symmetric, kg m^2. `axis`: shape (3,), any length but 0.
    """
    matrix = np.asarray(tensor, dtype=np.float64)
    direction = np.asarray(axis, dtype=np.float64)
    length = float(np.linalg.norm(direction))
    require_positive("length of the axis vector", length)
    unit = direction / length
    return float(unit @ matrix @ unit)


def _check_bore(outer_radius: float, inner_radius: float) -> None:
    require_positive("outer radius", outer_radius, "m")
    require_not_negative("inner radius", inner_radius, "m")
    if inner_radius >= outer_radius:
        raise FormulaRangeError(
            "inner radius", inner_radius, "m", outer_radius, "It must be smaller than the outer radius"
        )


def _check_cone(large_radius: float, small_radius: float) -> None:
    require_positive("large radius", large_radius, "m")
    require_not_negative("small radius", small_radius, "m")
    require_at_most("small radius", small_radius, large_radius, "m", "Name the larger end first")
