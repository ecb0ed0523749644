"""How a part creeps on its rollers, and how a conical one walks along them: estimates, to be measured.

Lengths in m, angles in rad.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np

from firmware_host.mechanics.contact.rollers import contact_forces
from firmware_host.mechanics.contact.trough import DrivenRows, Trough
from firmware_host.mechanics.guard import (
    FloatArray,
    FloatOrArray,
    beside,
    require_at_most,
    require_not_negative,
    require_positive,
)


def creep_ratio(
    grip_used: FloatOrArray,
    friction: FloatOrArray,
    contact_width: float,
    part_diameter: FloatOrArray,
    roller_diameter: float,
) -> FloatArray:
    """Part of the surface travel (>= 0) that is lost while a roller passes on traction: (mu a/R)(1 - sqrt(1 - u)).

    Carter's solution for tractive rolling of two alike elastic cylinders (K. L. Johnson, *Contact Mechanics*, Cambridge
    1985, section 8.3; form from memory, derived anew for the test): a is half the `contact_width` (m, > 0, measured
    around), 1/R = 2/D_part + 2/D_roller, `grip_used` u = |F|/(mu N). For rubber on a hard part it is an estimate.
    Infinite for u > 1: it slips. `friction` mu > 0; diameters > 0 m.
    """
    require_not_negative("grip used", grip_used)
    require_positive("friction coefficient", friction)
    require_positive("contact width", contact_width, "m")
    require_positive("part diameter", part_diameter, "m")
    require_positive("roller diameter", roller_diameter, "m")
    curvature = 2 / part_diameter + 2 / roller_diameter
    lost = friction * (contact_width / 2) * curvature * (1 - np.sqrt(np.maximum(1 - np.asarray(grip_used), 0.0)))
    return np.where(np.asarray(grip_used) > 1, np.inf, lost)


def signed_creep(
    grip_used: FloatOrArray,
    friction: FloatOrArray,
    contact_width: float,
    part_diameter: FloatOrArray,
    roller_diameter: float,
) -> FloatArray:
    """`creep_ratio` with the sign of `grip_used` F/(mu N): positive, the part is driven and lags; negative, it leads.

    Infinite with that sign beyond 1, NaN where `grip_used` is: the part has lifted off a row. Source: as `creep_ratio`.
    """
    used = np.asarray(grip_used)
    known = np.where(np.isnan(used), 0.0, np.abs(used))
    size = creep_ratio(known, friction, contact_width, part_diameter, roller_diameter)
    return np.where(np.isnan(used), np.nan, np.copysign(size, used))


def index_creep(
    trough: Trough,
    *,
    friction: float,
    contact_width: float,
    acceleration: FloatOrArray,
    ramp_share: FloatArray,
    imbalance_torque: FloatOrArray = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """(least, most) part of an index's travel that creep loses: positive, the part lags; negative, it leads.

    `signed_creep` over the three stretches of the index: speeding up and braking at `acceleration` (rad/s^2, >= 0),
    each over `ramp_share` (0 to 1/2) of the travel, and steady between them. Speeding up lags and braking leads, so
    these partly cancel; friction lags all the way. The range: friction between none and as stated, an imbalance
    (`imbalance_torque` N m, >= 0) at any angle on each stretch, either sense of rotation. NaN where it slips or
    lifts. Source: Carter's creep and the plane equilibrium of `contact_forces`.
    """
    share = require_not_negative("share of a ramp", ramp_share)
    require_at_most("share of a ramp", float(share.max(initial=0.0)), 0.5)
    require_not_negative("acceleration", acceleration, "rad/s^2")
    require_not_negative("imbalance torque", imbalance_torque, "N m")
    acceleration, imbalance_torque, _ = np.broadcast_arrays(acceleration, imbalance_torque, trough.part_diameter)
    free = replace(trough, lever_arm=0.0, idle_friction_torque=0.0)
    found = []
    for dragged, sense in itertools.product((free, trough), (1.0, -1.0)):
        rates = sense * np.multiply.outer(np.array([1.0, 0.0, -1.0]), acceleration)
        up, steady, down = _creeps(
            dragged, rates, imbalance_torque, sense, friction=friction, contact_width=contact_width
        )
        for end in (np.min, np.max):
            ends = (end(each, axis=0) for each in (up, steady, down))
            first, middle, last = (beside(each) if share.ndim else each for each in ends)
            found.append(share * (first + last) + (1 - 2 * share) * middle)
    both = np.array(found)
    return np.min(both, axis=0), np.max(both, axis=0)


def _creeps(
    trough: Trough,
    accelerations: FloatArray,
    imbalance: FloatOrArray,
    sense: float,
    *,
    friction: float,
    contact_width: float,
) -> FloatArray:
    """Creep in the sense of rotation at n `accelerations` (rad/s^2), for gravity either way and none, shape (n, 3).

    NaN where it slips or lifts.
    """
    gravity = np.multiply.outer(np.array([-1.0, 0.0, 1.0]), imbalance)
    forces = contact_forces(trough, accelerations[:, np.newaxis], gravity, sense)
    traction, normal = forces.traction_driven, forces.normal_driven
    if trough.driven is DrivenRows.BOTH:
        traction, normal = traction + forces.traction_other, normal + forces.normal_other
    used = np.where(forces.seated, sense * traction / np.where(forces.seated, friction * normal, 1.0), np.nan)
    sizes = (trough.part_diameter, trough.roller_diameter)
    creeps = signed_creep(used, friction, contact_width, *sizes)
    return np.where(np.isfinite(creeps), creeps, np.nan)


def axis_tilt(taper: FloatOrArray, half_angle: FloatOrArray) -> FloatArray:
    """Tilt tau (rad) of a cone's axis in a trough of level rollers: tan(tau) = taper/cos(beta).

    From the height h of a section's centre, (r + R)^2 = (c/2)^2 + h^2, so dh/dr = 1/cos(beta). `taper` >= 0: change of
    radius per length; 0 < `half_angle` beta < pi/2.
    """
    require_not_negative("taper", taper)
    require_positive("contact half-angle", half_angle, "rad")
    require_at_most("contact half-angle", half_angle, math.nextafter(math.pi / 2, 0), "rad")
    return np.asarray(np.arctan(taper / np.cos(half_angle)))


def walk_per_turn(
    contact_diameter: FloatOrArray, taper: FloatOrArray, half_angle: FloatOrArray, uneven: FloatOrArray
) -> FloatArray:
    """How far (m, >= 0) a conical part walks along its rollers in one turn: an estimate.

    On a tilted axis the surface runs along the rollers by pi D sin(tau) sin(beta) per turn, one way on one row and the
    other way on the other (the cross product of axis and radius). The rows hold in proportion to their normals, so the
    part walks by that times `uneven` = |N_1 - N_2|/(N_1 + N_2), 0 to 1. No walk without taper, or where both rows press
    alike. That grip is shared so is common practice, no source.
    """
    require_positive("contact diameter", contact_diameter, "m")
    require_not_negative("unevenness of the normals", uneven)
    require_at_most("unevenness of the normals", uneven, 1.0)
    return np.asarray(math.pi * contact_diameter * np.sin(axis_tilt(taper, half_angle)) * np.sin(half_angle) * uneven)
