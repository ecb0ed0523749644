"""Rest-to-rest moves with limited jerk: seven phases, the acceleration rising and falling in ramps of its own.

For controllers that can; the ones that can't ramp at one constant acceleration. Distances rad (>= 0), speeds rad/s,
accelerations rad/s^2, jerks rad/s^3; any consistent unit of length does as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


@dataclass(frozen=True, slots=True, eq=False)
class JerkLimitedMove:
    """Moves from rest to rest; all arrays have the same shape.

    `distance` rad, `jerk` rad/s^3, `jerk_time` s of each of the four phases with jerk, `steady_time` s of each of the
    two phases at constant acceleration, `cruise_time` s.
    """

    distance: FloatArray
    jerk: FloatArray
    jerk_time: FloatArray
    steady_time: FloatArray
    cruise_time: FloatArray

    @property
    def peak_acceleration(self) -> FloatArray:
        """The acceleration reached (rad/s^2)."""
        return self.jerk * self.jerk_time

    @property
    def ramp_time(self) -> FloatArray:
        """Seconds from rest to the peak speed, and back."""
        return 2 * self.jerk_time + self.steady_time

    @property
    def peak_speed(self) -> FloatArray:
        """The speed reached (rad/s)."""
        return self.peak_acceleration * (self.jerk_time + self.steady_time)

    @property
    def duration(self) -> FloatArray:
        """Seconds from rest to rest."""
        return 2 * self.ramp_time + self.cruise_time

    def position_at(self, time: FloatOrArray) -> FloatArray:
        """Distance covered (rad) `time` s after the start; 0 before it, all of it after the end. Broadcasts.

        The jumps of the jerk at 0, t_j, t_j + t_a and 2 t_j + t_a each add j (t - t_i)^3/6 from then on, which is a
        straight line while cruising; the second half is the first one backward.
        """
        t = np.clip(np.asarray(time, dtype=np.float64), 0.0, self.duration)
        late = t > self.duration / 2
        nearest = np.where(late, self.duration - t, t)
        cruising = self.peak_speed * (nearest - self.ramp_time / 2)
        covered = np.where(nearest > self.ramp_time, cruising, self._sum_of_powers(nearest, 3) / 6)
        return np.where(late, self.distance - covered, covered)

    def speed_at(self, time: FloatOrArray) -> FloatArray:
        """Speed (rad/s, >= 0) `time` s after the start; 0 outside the move. Broadcasts."""
        t = np.clip(np.asarray(time, dtype=np.float64), 0.0, self.duration)
        return self._sum_of_powers(np.minimum(t, self.duration - t), 2) / 2

    def acceleration_at(self, time: FloatOrArray) -> FloatArray:
        """Acceleration (rad/s^2, signed) `time` s after the start; 0 outside the move. Broadcasts."""
        t = np.clip(np.asarray(time, dtype=np.float64), 0.0, self.duration)
        late = t > self.duration / 2
        size = self._sum_of_powers(np.where(late, self.duration - t, t), 1)
        return np.where(late, -size, size)

    def _sum_of_powers(self, t: FloatArray, power: int) -> FloatArray:
        """Sum of +-j (t - t_i)^power over the jumps of the jerk already past, in the first half of the move."""
        jumps = (
            (1.0, np.zeros_like(self.jerk_time)),
            (-1.0, self.jerk_time),
            (-1.0, self.jerk_time + self.steady_time),
            (1.0, self.ramp_time),
        )
        total: FloatArray = self.jerk * sum(sign * np.maximum(t - at, 0.0) ** power for sign, at in jumps)
        return total


def plan_jerk_limited(
    distance: FloatOrArray, speed_limit: FloatOrArray, acceleration_limit: FloatOrArray, jerk_limit: FloatOrArray
) -> JerkLimitedMove:
    """The quickest rest-to-rest move over each `distance` (>= 0 rad) within the limits (> 0). They broadcast.

    Time-optimal, from the four cases of the seven-phase profile (bang-bang in the jerk; worked out from its integrals):
    the acceleration limit is reached on the way to speed v if v >= a^2/j, then the ramp lasts v/a + a/j, else
    2 sqrt(v/j); the speed limit is reached if d >= v * ramp, and the rest is cruised. Below that the peak speed follows
    from d: (a/2)(sqrt((a/j)^2 + 4 d/a) - a/j) with a steady phase, if d >= 2 a^3/j^2, else (d^2 j/4)^(1/3) without.
    """
    d, v, a, j = np.broadcast_arrays(
        require_not_negative("index distance", distance, "rad"),
        require_positive("speed limit", speed_limit, "rad/s"),
        require_positive("acceleration", acceleration_limit, "rad/s^2"),
        require_positive("jerk", jerk_limit, "rad/s^3"),
    )
    full = a / j
    with_steady = (a / 2) * (np.sqrt(full**2 + 4 * d / a) - full)
    peak = np.minimum(v, np.where(d >= 2 * a * full**2, with_steady, np.cbrt(d**2 * j / 4)))
    jerk_time = np.minimum(full, np.sqrt(peak / j))
    steady = np.where(jerk_time < full, 0.0, np.maximum(peak / a - full, 0.0))
    ramp = 2 * jerk_time + steady
    cruise = np.where(peak < v, 0.0, np.maximum(d / v - ramp, 0.0))
    return JerkLimitedMove(d, j, jerk_time, steady, cruise)
