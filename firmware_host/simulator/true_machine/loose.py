"""What turns on the drive's shaft once its belt is off or its motor is let go of: inertia, dry friction, imbalance.

Angles in rad of the part, speeds rad/s, torques N m. Newton's second law, integrated by leapfrog; dry friction takes
from a speed no more than there is, so that what stands sticks.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from firmware_host.mechanics.constants import STANDARD_GRAVITY

_STEP_S = 1e-3
_LONGEST_S = 600.0


class Weight(NamedTuple):
    """A weight of `mass` kg clamped to it at `arm` m from the axis, at its lowest at the angle `low`."""

    mass: float
    arm: float
    low: float

    def torque(self, angle: float) -> float:
        """Its pull towards larger angles."""
        return -self.mass * STANDARD_GRAVITY * self.arm * math.sin(angle - self.low)

    @property
    def inertia(self) -> float:
        """About the axis, kg m^2."""
        return self.mass * self.arm**2


class Loose(NamedTuple):
    """`inertia` kg m^2, > 0; `friction` >= 0; the `imbalance` >= 0 pulls its heavy side to the angle 0."""

    inertia: float
    friction: float
    imbalance: float

    def turns_under(self, torque: float, angle: float) -> bool:
        """Whether a `torque` (signed) turns it from a standstill at `angle`, the way that the torque pulls."""
        return (torque - self.imbalance * math.sin(angle)) * math.copysign(1.0, torque) > self.friction

    def comes_to_rest(self, angle: float, speed: float = 0.0) -> float:
        """Where it stands at last, let go of at `angle` with `speed`."""
        return self._followed(angle, speed, None, lambda *_: False)[0]

    def speeds(self, speed: float, times: tuple[float, ...]) -> list[float]:
        """Its speed at `times` (s, rising) after it was spun to `speed`; it stays as it is where it stands."""
        told: list[float] = []

        def look(now_s: float, _: float, turning: float) -> bool:
            while len(told) < len(times) and now_s >= times[len(told)]:
                told.append(turning)
            return len(told) == len(times)

        last = self._followed(0.0, speed, None, look)[1]
        return told + [last] * (len(times) - len(told))

    def swing_time(self, weight: Weight, half_width: float, swings: int) -> float | None:
        """Time (s) of so many swings to and fro with `weight` on it, let go of `half_width` from its lowest place.

        From turning point to turning point; None where friction stops it before.
        """
        turned: list[float] = []
        was = [0.0]

        def look(now_s: float, _: float, turning: float) -> bool:
            if turning * was[0] < 0:
                turned.append(now_s)
            was[0] = turning or was[0]
            return len(turned) == 2 * swings

        self._followed(weight.low + half_width, 0.0, weight, look)
        return turned[-1] if len(turned) == 2 * swings else None

    def _followed(
        self, angle: float, speed: float, weight: Weight | None, look: Callable[[float, float, float], bool]
    ) -> tuple[float, float]:
        """Until it stands or `look` (s, rad, rad/s) has seen enough: where it is, and its speed."""
        inertia = self.inertia + (weight.inertia if weight is not None else 0.0)
        sticks = self.friction * _STEP_S / inertia
        for number in range(1, round(_LONGEST_S / _STEP_S) + 1):
            pull = -self.imbalance * math.sin(angle) + (weight.torque(angle) if weight is not None else 0.0)
            speed += pull * _STEP_S / inertia
            speed -= max(min(speed, sticks), -sticks)
            angle += speed * _STEP_S
            if look(number * _STEP_S, angle, speed) or (speed == 0.0 and abs(pull) <= self.friction):
                break
        return angle, speed
