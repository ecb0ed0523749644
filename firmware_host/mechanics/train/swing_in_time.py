"""How an oscillator swings during an index and after it, instant by instant; see `vibration` for what it leaves."""

from __future__ import annotations

import math

import numpy as np

from firmware_host.mechanics.guard import FloatArray, require_not_negative, require_positive


def lag_in_time(
    times: FloatArray, acceleration: float, ramp_time: float, cruise_time: float, natural: float, damping_ratio: float
) -> FloatArray:
    """How far the load lags behind the commanded angle (rad, + behind) at `times` (s from the start, shape (n,)).

    An index from rest: `acceleration` (rad/s^2, >= 0) for `ramp_time`, a cruise of `cruise_time`, as much braking; each
    time >= 0 s. `natural` > 0 rad/s, 0 <= `damping_ratio` < 1. Each jump da of the acceleration adds the step response
    (da/w^2) (1 - exp(-zeta w t) (cos w_d t + zeta/sqrt(1 - zeta^2) sin w_d t)) from when it is made (e'' + 2 zeta w e'
    + w^2 e = a; linear superposition).
    """
    require_not_negative("acceleration", acceleration, "rad/s^2")
    require_not_negative("ramp time", ramp_time, "s")
    require_not_negative("cruise time", cruise_time, "s")
    require_positive("natural angular frequency", natural, "rad/s")
    root = math.sqrt(1.0 - damping_ratio**2)
    begins = (0.0, ramp_time, ramp_time + cruise_time, 2 * ramp_time + cruise_time)
    lag = np.zeros_like(times, dtype=np.float64)
    for begin, sign in zip(begins, (1.0, -1.0, -1.0, 1.0), strict=True):
        age = np.maximum(times - begin, 0.0)
        phase = natural * root * age
        swung = np.exp(-damping_ratio * natural * age) * (np.cos(phase) + damping_ratio / root * np.sin(phase))
        lag += sign * (1.0 - swung)
    return lag * (acceleration / natural**2)


def commanded_speed(times: FloatArray, acceleration: float, ramp_time: float, cruise_time: float) -> FloatArray:
    """Speed (rad/s, >= 0) of the same index at `times` (s, shape (n,)), 0 before and after it."""
    over = 2 * ramp_time + cruise_time
    return np.clip(np.minimum(times, over - times), 0.0, ramp_time) * acceleration
