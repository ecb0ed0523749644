"""Forces that belts, gears and worms put on the shafts that carry them. N, N m, m, rad; all magnitudes, >= 0."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import (
    FloatArray,
    FloatOrArray,
    require_at_most,
    require_not_negative,
    require_positive,
)

PRESSURE_ANGLE = math.radians(20.0)
"""Pressure angle of a gear's teeth, rad (ISO 53, the standard basic rack); older and stub teeth differ."""


def pitch_diameter(pitch: float, teeth: int) -> float:
    """Pitch diameter p z/pi (m) of a wheel of `teeth` z >= 1, `pitch` p > 0 m along the pitch line (gears: pi m)."""
    require_positive("pitch", pitch, "m")
    require_positive("teeth", float(teeth))
    return pitch * teeth / math.pi


def tangential_force(torque: FloatOrArray, diameter: float) -> FloatOrArray:
    """2 T/d (N): force at the pitch circle of a wheel; `torque` T >= 0 N m, `diameter` d > 0 m."""
    require_not_negative("torque", torque, "N m")
    require_positive("pitch diameter", diameter, "m")
    return 2.0 * torque / diameter


def belt_tensions(mounted_tension: float, effective_force: FloatOrArray) -> tuple[FloatOrArray, FloatOrArray]:
    """(tight, slack) tension (N) of the strands of a belt that was mounted with `mounted_tension` (N, >= 0) in each.

    t_1 - t_2 = `effective_force` (N, >= 0, see `tangential_force`) and t_1 + t_2 = 2 t_0: what one strand of an elastic
    belt on fixed centres gains the other loses (Machine Design, "Tension in timing-belt drives", 2001). A strand that
    would be pushed hangs slack, and the other carries all.
    """
    require_not_negative("tension of the mounted belt", mounted_tension, "N")
    require_not_negative("effective force", effective_force, "N")
    tight = np.maximum(mounted_tension + effective_force / 2, effective_force)
    return tight, tight - effective_force


def belt_wrap(driving_diameter: float, driven_diameter: float, centre_distance: float) -> float:
    """Angle (rad) that an open belt wraps around the driving pulley: pi - 2 asin((d_2 - d_1)/(2 C)); all > 0, m."""
    require_positive("pitch diameter of the driving pulley", driving_diameter, "m")
    require_positive("pitch diameter of the driven pulley", driven_diameter, "m")
    require_positive("centre distance of the pulleys", centre_distance, "m")
    sine = (driven_diameter - driving_diameter) / (2 * centre_distance)
    require_at_most("difference of the pulleys over their centre distance", abs(sine), 1.0)
    return math.pi - 2 * math.asin(sine)


def belt_shaft_force(tight: FloatOrArray, slack: FloatOrArray, wrap: float = math.pi) -> FloatArray:
    """sqrt(t_1^2 + t_2^2 - 2 t_1 t_2 cos(wrap)) (N): what both strands (N, >= 0) pull on a pulley's shaft.

    Machine Design, "Tension in timing-belt drives", 2001. `wrap`: rad, 0 to pi; with parallel strands, pi, it is the
    sum of both, the most that it can be.
    """
    require_not_negative("tension of the tight strand", tight, "N")
    require_not_negative("tension of the slack strand", slack, "N")
    require_at_most("wrap", wrap, math.pi, "rad")
    square = tight**2 + slack**2 - 2 * tight * slack * math.cos(wrap)
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def spur_shaft_force(tangential: FloatOrArray, pressure_angle: float = PRESSURE_ANGLE) -> FloatOrArray:
    """F_t/cos(alpha) (N): force of spur teeth on their shaft, across it; `tangential` F_t >= 0 N, 0 <= alpha < pi/2.

    The teeth press along their line of action (statics without friction).
    """
    require_not_negative("tangential force", tangential, "N")
    return tangential / math.cos(pressure_angle)


@dataclass(frozen=True, slots=True)
class WormForces:
    """Forces on a worm, N: `axial` along its shaft, `tangential` and `radial` across it."""

    axial: FloatOrArray
    tangential: FloatOrArray
    radial: FloatOrArray

    @property
    def across(self) -> FloatArray:
        """What the worm's shaft bears across, N."""
        return np.asarray(np.hypot(self.tangential, self.radial))


def worm_forces(
    wheel_torque: FloatOrArray,
    *,
    wheel_diameter: float,
    worm_diameter: float,
    lead: float,
    efficiency: float,
    pressure_angle: float = PRESSURE_ANGLE,
) -> WormForces:
    """Forces on a worm that drives its wheel against `wheel_torque` (N m, >= 0).

    The worm's axial force is the wheel's tangential one, 2 T/d_wheel; its own tangential force follows from the power,
    F_a tan(lambda)/eta with tan(lambda) = lead/(pi d_worm); the teeth push the shafts apart by
    F_a sin(phi)/(cos(phi) cos(lambda) - f sin(lambda)), the coefficient of friction f from the efficiency
    eta = (cos(phi) - f tan(lambda))/(cos(phi) + f/tan(lambda)) (Shigley, Mechanical Engineering Design, chapter 13).
    Diameters at the pitch line and `lead` (pitch times starts) > 0 m, 0 < `efficiency` <= 1, `pressure_angle` phi
    normal to the thread, rad.
    """
    axial = tangential_force(wheel_torque, wheel_diameter)
    slope = require_positive("lead", lead, "m") / (math.pi * require_positive("diameter of the worm", worm_diameter))
    require_positive("efficiency", efficiency)
    require_at_most("efficiency", efficiency, 1.0)
    tangent = float(slope)
    friction = math.cos(pressure_angle) * (1 - efficiency) / (tangent + efficiency / tangent)
    angle = math.atan(tangent)
    along = math.cos(pressure_angle) * math.cos(angle) - friction * math.sin(angle)
    return WormForces(axial, axial * tangent / efficiency, axial * math.sin(pressure_angle) / along)
