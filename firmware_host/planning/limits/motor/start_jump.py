"""The limit of a start-speed jump: the rotor follows a step of speed only below its start-stop rate."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.motor.start_stop import start_stop_rate_with_load, start_stop_speed
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, upper_limit
from firmware_host.planning.limits.limit import Limit, MotionBound
from firmware_host.planning.limits.remedy import GEAR_DOWN, GENTLER, higher, lower
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.load.start import NO_JUMP

_HALVINGS = 40


class StartJump(Limit):
    """The step of speed at both ends of a move, in full steps/s, against the start-stop rate with this load."""

    name = "start-jump"
    ways = (
        lower("link.stated.start_jump", "set the controller's start-speed jump lower"),
        GENTLER,
        higher("driver.current", until="motor.rated_current"),
        GEAR_DOWN,
    )

    def check(self, case: LimitCase) -> LimitCheck | None:
        load = case.load
        if load.start == NO_JUMP:
            return None
        acceleration = case.index.acceleration
        return upper_limit(
            self.name,
            full_steps(load, float(load.start.of(acceleration))),
            start_stop_rate(load, acceleration),
            "Hz",
            formula=(
                "v_0 + alpha*t_2 <= start-stop rate: J*v^2/2 = (T/p)*(cos(p*e) + cos(s)) - T_load*((pi - s)/p + e), "
                "s = asin(T_load/T); T least pull-out torque up to the jump, T_load of the ramp that follows; "
                "f_s/sqrt(1 + J_L/J_M) where f_s is stated and that is less"
            ),
            source=(
                "energy of the rotor on its torque curve, undamped, off by a microstep and the imbalance's lag; "
                "f_s with a load: Oriental Motor, General Catalog, Technical Reference, from memory"
            ),
            remedy="Set the controller's start-speed jump lower",
        )

    def bound(self, load: LoadCase, reserve: float) -> MotionBound | None:
        """None without a jump, and where it is too large for any acceleration: then the check fails."""
        if load.start == NO_JUMP or not _follows(load, 0.0, reserve):
            return None
        low, high = 0.0, 1.0
        while _follows(load, high, reserve):
            low, high = high, 2 * high
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if _follows(load, middle, reserve) else (low, middle)
        return _GentleEnough(low) if low > 0 else None


def full_steps(load: LoadCase, part_speed: float) -> float:
    """Full steps/s of the motor at a speed of the part (rad/s)."""
    return float(load.step_rate(part_speed)) / load.microsteps


def start_stop_rate(load: LoadCase, acceleration: float) -> float:
    """Full steps/s (>= 0) that the motor starts with at once, with a ramp of `acceleration` (part rad/s^2) after it."""
    torque, teeth = float(load.lowest_pull_out(float(load.start.of(acceleration)))), load.full_steps // 4
    if torque <= 0:
        return 0.0
    turned = math.asin(min(load.imbalance_at_motor / torque, 1.0)) / teeth
    off = turned + 2 * math.pi / (load.full_steps * load.microsteps)
    inertia = load.rotor_inertia + load.reflected_inertia
    needed = float(load.torque(acceleration).accelerating)
    speed = float(start_stop_speed(teeth, torque, inertia, needed, off))
    rate = speed / (2 * math.pi) * load.full_steps
    if load.start_stop_rate is None:
        return rate
    return min(rate, start_stop_rate_with_load(load.start_stop_rate, load.rotor_inertia, load.reflected_inertia))


def _follows(load: LoadCase, acceleration: float, reserve: float) -> bool:
    jump = full_steps(load, float(load.start.of(acceleration)))
    return jump <= start_stop_rate(load, acceleration) * (1 - reserve)


@dataclass(frozen=True, slots=True)
class _GentleEnough(MotionBound):
    """A highest acceleration (rad/s^2 of the part), whatever the speed."""

    highest: float

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        return np.full(speeds.shape, self.highest)
