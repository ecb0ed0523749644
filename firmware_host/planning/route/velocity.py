"""Index moves as the controllers make them: one constant acceleration up, a cruise, and the same down.

A whole plan's moves are arrays. Units are those of the caller, consistently: rad, rad/s, rad/s^2 and s here.
Distances are magnitudes (>= 0); the direction is the plan's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


@dataclass(frozen=True, slots=True, eq=False)
class IndexMotion:
    """Moves from rest to rest. All arrays have the same shape, that of the distances broadcast with the limits.

    `distance` rad, `acceleration` rad/s^2, `peak_speed` rad/s, `ramp_time` s (of each of the two
    ramps) and `cruise_time` s.
    """

    distance: FloatArray
    acceleration: FloatArray
    peak_speed: FloatArray
    ramp_time: FloatArray
    cruise_time: FloatArray

    @property
    def is_trapezoid(self) -> NDArray[np.bool_]:
        """True where the move cruises at the speed limit; false where it is a triangle (or no move at all)."""
        return self.cruise_time > 0

    @property
    def duration(self) -> FloatArray:
        """Seconds from rest to rest."""
        return 2 * self.ramp_time + self.cruise_time


def plan_index(distance: FloatOrArray, acceleration: FloatOrArray, speed_limit: FloatOrArray) -> IndexMotion:
    """The quickest rest-to-rest move over each `distance` with at most `acceleration` and `speed_limit`. Broadcasts.

    `distance` >= 0 rad, `acceleration` > 0 rad/s^2, `speed_limit` > 0 rad/s. A triangle in speed if d <= v^2/a, with
    peak sqrt(d a) and duration 2 sqrt(d/a); else a trapezoid that lasts d/v + v/a. Time-optimal for these limits
    (bang-bang; from d = v^2/a, the distance that two ramps to v take).
    """
    d, a, v = np.broadcast_arrays(
        require_not_negative("index distance", distance, "rad"),
        require_positive("acceleration", acceleration, "rad/s^2"),
        require_positive("speed limit", speed_limit, "rad/s"),
    )
    peak = np.minimum(v, np.sqrt(d * a))
    ramp = peak / a
    cruise = np.where(peak < v, 0.0, np.maximum(d / v - v / a, 0.0))
    return IndexMotion(distance=d, acceleration=a, peak_speed=peak, ramp_time=ramp, cruise_time=cruise)
