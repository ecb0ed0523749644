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

    def position_at(self, time: FloatOrArray) -> FloatArray:
        """Distance covered (rad) `time` s after the start; 0 before it, all of it after the end. Broadcasts."""
        t = np.clip(np.asarray(time, dtype=np.float64), 0.0, self.duration)
        rising = np.minimum(t, self.ramp_time)
        cruising = np.clip(t - self.ramp_time, 0.0, self.cruise_time)
        left = self.duration - t
        # The last ramp is measured back from the end, so that the end is met exactly.
        falling = self.distance - self.acceleration * left**2 / 2
        climbing = self.acceleration * rising**2 / 2 + self.peak_speed * cruising
        return np.where(left < self.ramp_time, falling, climbing)

    def speed_at(self, time: FloatOrArray) -> FloatArray:
        """Speed (rad/s, >= 0) `time` s after the start; 0 outside the move. Broadcasts."""
        t = np.asarray(time, dtype=np.float64)
        nearest_end = np.minimum(t, self.duration - t)
        return np.clip(self.acceleration * nearest_end, 0.0, self.peak_speed)

    def time_at(self, position: FloatOrArray) -> FloatArray:
        """Seconds from the start until `position` (rad, clipped to the move) has been covered. Broadcasts.

        On the first ramp t = sqrt(2 s/a); so the n-th step of alpha rad comes at sqrt(2 n alpha/a) (Atmel application
        note AVR446, Linear speed control of stepper motor, 2006, section 2.3.1).
        """
        s = np.clip(np.asarray(position, dtype=np.float64), 0.0, self.distance)
        ramp_distance = self.acceleration * self.ramp_time**2 / 2
        with_cruise = self.ramp_time + (s - ramp_distance) / np.where(self.peak_speed > 0, self.peak_speed, 1.0)
        rising = np.sqrt(2 * s / self.acceleration)
        falling = self.duration - np.sqrt(2 * (self.distance - s) / self.acceleration)
        late = self.distance - s < ramp_distance
        return np.where(s <= ramp_distance, rising, np.where(late, falling, with_cruise))


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


def step_delays(steps: int, step_angle: float, acceleration: float) -> FloatArray:
    """Delays (s) between the steps of a ramp from rest, shape (steps,): the n-th, from step n to step n+1, n from 0.

    c_n = c_0 (sqrt(n+1) - sqrt(n)), c_0 = sqrt(2 alpha/a) (D. Austin, Generate stepper-motor speed profiles in real
    time, Embedded Systems Programming, January 2005). `step_angle` alpha > 0 rad, `acceleration` a > 0 rad/s^2.
    """
    require_not_negative("number of steps", float(steps))
    first = np.sqrt(
        2 * require_positive("step angle", step_angle, "rad") / require_positive("acceleration", acceleration)
    )
    return np.asarray(first * np.diff(np.sqrt(np.arange(steps + 1, dtype=np.float64))))
