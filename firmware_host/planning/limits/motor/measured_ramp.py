"""The limit that was found on the machine: quicker ramps were seen to lose steps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import NARROW_MARGIN, LimitCheck, upper_limit
from firmware_host.planning.limits.limit import Limit, MotionBound
from firmware_host.planning.limits.remedy import GENTLER, SLOWER
from firmware_host.planning.load.case import LoadCase

KEPT = 1 - NARROW_MARGIN
"""So much of what lost no step the machine's file holds: the reserve of every limit is in it already."""


class MeasuredRampLimit(Limit):
    """Acceleration and speed of a move beside those that lost no step when they were tried; only where they were."""

    name = "measured-ramp"
    ways = (GENTLER, SLOWER)

    def check(self, case: LimitCase) -> LimitCheck | None:
        most = case.load.measured_ramp
        if most is None:
            return None
        used = max(case.index.acceleration / most.acceleration, case.index.peak_speed / most.speed)
        return upper_limit(
            self.name,
            KEPT * used,
            1.0,
            "",
            formula="max(alpha/alpha_m, omega/omega_m), both as tried: ramp/0.8; alpha_m*J_m/J where J > J_m",
            source="tried on this machine; the same torque for another inertia",
            remedy="Try the machine anew where something of it was changed since",
        )

    def bound(self, load: LoadCase, reserve: float) -> MotionBound | None:
        most = load.measured_ramp
        if most is None:
            return None
        share = (1 - reserve) / KEPT
        return _NoQuicker(most.acceleration * share, most.speed * share)

    def lifted(self, load: LoadCase) -> LoadCase | None:
        return replace(load, measured_ramp=None)


@dataclass(frozen=True, slots=True)
class _NoQuicker(MotionBound):
    """A highest acceleration (rad/s^2) and speed (rad/s) of the part."""

    acceleration: float
    speed: float

    def top_speed(self) -> float:
        return self.speed

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        return np.full(speeds.shape, self.acceleration)
