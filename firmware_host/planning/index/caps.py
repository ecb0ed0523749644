"""What each limit allows of an index's speed and acceleration, with a reserve kept: plain numbers for the searches.

Speeds rad/s and accelerations rad/s^2 of the part, `reserve` (0 <= reserve < 1) the part of each limit that is kept.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.contact.rollers import Ramp, Trough, grip_acceleration, normal_at_rest, smallest_normal
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.vibration import resonant_step_rates
from firmware_host.planning.index.ringing import SUDDEN_PEAK
from firmware_host.planning.load.case import LoadCase

DAMPING_RATIO = 0.1
"""Damping ratio of a motor on its magnetic spring where nobody measured it: 0.05 to 0.2, from memory."""


def band_margin(load: LoadCase, speed: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """(margin, nearest edge in full steps/s) of cruising at part `speed` (rad/s) beside the resonant bands.

    The margin is the distance to the nearer edge of the nearest band as a part of that edge; negative inside a band.
    """
    rate = load.step_rate(speed)[..., None] / load.microsteps
    bands = resonant_step_rates(load.natural_frequency, DAMPING_RATIO)
    low, high = bands[:, 0], bands[:, 1]
    above, below = (rate - high) / high, (low - rate) / low
    margin = np.maximum(above, below)
    nearest = margin.argmin(axis=-1)[..., None]
    edge = np.where(above > below, high, low)
    return np.take_along_axis(margin, nearest, -1)[..., 0], np.take_along_axis(edge, nearest, -1)[..., 0]


def speed_caps(load: LoadCase, reserve: float) -> dict[str, float]:
    """Highest part speed (rad/s, > 0) by the name of the limit that sets it.

    `supply-voltage`: a stop from there sends back as much as the supply's capacitor may take, less what an imbalance
    that comes down sends back at any speed; see `_left_over`.
    """
    left = 1 - reserve
    per_speed = float(load.step_rate(1.0))
    caps = {
        "step-rate-driver": load.driver_step_rate * left / per_speed,
        "step-rate-controller": load.controller_step_rate * left / per_speed,
    }
    if load.smallest_pulse is not None:
        caps["step-pulse"] = left / (2 * load.smallest_pulse) / per_speed
    at_any_speed = load.braking_energy(0.0)
    kinetic = _left_over(load.supply.braking_room, at_any_speed, reserve)
    if kinetic is not None:
        caps["supply-voltage"] = math.sqrt(kinetic / (load.braking_energy(1.0) - at_any_speed))
    return caps


def supplied_torque(load: LoadCase, speeds: FloatArray, reserve: float) -> FloatArray | None:
    """Most torque (N m at the motor, infinite at rest) that the supply feeds at part `speeds` (rad/s, >= 0).

    From T omega + P_copper <= V I, see `_left_over`; None where nobody knows, or no motion keeps it.
    """
    if load.supply.copper_loss is None:
        return None
    power = _left_over(load.supply.power, load.supply.copper_loss, reserve)
    if power is None:
        return None
    motor_speeds = speeds * load.ratio
    running = motor_speeds > 0
    return np.where(running, power / np.where(running, motor_speeds, 1.0), math.inf)


def _left_over(limit: float | None, without_motion: float, reserve: float) -> float | None:
    """What a motion may use of a `limit` of which something is used up without any; None where that is all of it.

    Then no motion keeps the limit, and none is refused for it: its check fails. The reserve is kept, but never lets the
    motion have less than that part of what is left: nearer to the limit it holds narrowly rather than crawls.
    """
    if limit is None or limit <= without_motion:
        return None
    return max(limit * (1 - reserve) - without_motion, (limit - without_motion) * reserve)


def grip_bounds(
    trough: Trough, friction: float, imbalance_torque: float, reserve: float, ramp: Ramp | None = None
) -> tuple[float, float]:
    """Highest part accelerations (rad/s^2, >= 0): that the grip carries, and that keeps both rows pressing.

    `reserve` of the friction coefficient and of each row's normal force at rest is kept; `ramp`: on this one only.
    """
    grip = grip_acceleration(trough, friction * (1 - reserve), imbalance_torque, ramp=ramp)
    least = reserve * normal_at_rest(trough.mass, trough.half_angle)

    def presses(acceleration: float) -> bool:
        up = 0.0 if ramp is Ramp.DOWN else acceleration
        down = 0.0 if ramp is Ramp.UP else acceleration
        return float(smallest_normal(trough, up, imbalance_torque, braking=down)) >= least

    low, high = 0.0, max(grip_acceleration(trough, 1e6, imbalance_torque, ramp=ramp), 1e-9)
    if math.isinf(high) or not presses(low):
        return grip, high if math.isinf(high) else 0.0
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if presses(middle) else (low, middle)
    return grip, low


@dataclass(frozen=True, slots=True)
class GripCaps:
    """Highest accelerations of the part (rad/s^2, >= 0) on its rollers, by the name of the limit.

    `steady`: of the ramps as commanded. `up` and `down`: of the part as it swings on the motor's magnetic spring while
    it speeds up and while it brakes. Empty on a drive that holds the part otherwise.
    """

    steady: dict[str, float]
    up: dict[str, float]
    down: dict[str, float]

    @classmethod
    def of(cls, load: LoadCase, reserve: float) -> GripCaps:
        """The caps of a load case."""
        if load.trough is None or load.friction is None:
            return cls({}, {}, {})
        case = (load.trough, load.friction, load.imbalance_torque, reserve)
        steady = dict(zip(("grip", "seating"), grip_bounds(*case), strict=True))
        peaks = [
            dict(zip(("grip-peak", "seating-peak"), grip_bounds(*case, ramp), strict=True))
            for ramp in (Ramp.UP, Ramp.DOWN)
        ]
        return cls(steady, *peaks)

    @property
    def sudden(self) -> dict[str, float]:
        """Of the ramps as commanded, if each swings to twice its acceleration and no further: the least it can be."""
        return {name: min(self.up[name], self.down[name]) / SUDDEN_PEAK for name in self.up}

    def peak_shares(self, up: FloatArray, down: FloatArray) -> dict[str, FloatArray]:
        """How much of each peak's cap the peak accelerations `up` and `down` (rad/s^2, >= 0) use: 1 at the limit."""
        return {name: np.maximum(_share(up, self.up[name]), _share(down, self.down[name])) for name in self.up}

    def bear(self, up: FloatArray, down: FloatArray) -> NDArray[np.bool_]:
        """Whether the peak accelerations `up` and `down` (rad/s^2, >= 0, one shape) keep every peak's cap."""
        kept = np.ones(up.shape, dtype=np.bool_)
        for share in self.peak_shares(up, down).values():
            kept &= share <= 1 + 1e-9
        return kept


def _share(acceleration: FloatArray, cap: float) -> FloatArray:
    if cap <= 0:
        return np.where(acceleration > 0, np.inf, 0.0)
    return np.asarray(acceleration / cap)
