"""What is said about the speed of an index: the choice, its bound, and other choices beside it, as data."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firmware_host.planning.index.safe_motion import IndexTiming, SafeMotion


@dataclass(frozen=True, slots=True)
class OtherChoice:
    """Another setting or machine for the same indexes.

    `acceleration` (rad/s^2) and `speed` (rad/s) of the part, what the indexes take, and `quicker`: how many times less
    an index with its settling takes than with the setting it is compared with.
    """

    what: str
    acceleration: float
    speed: float
    timing: IndexTiming
    quicker: float

    def as_json(self) -> dict[str, object]:
        """The choice as JSON values."""
        return {
            "what": self.what,
            **_motion_json(self.acceleration, self.speed, self.timing),
            "times_quicker": self.quicker,
        }


@dataclass(frozen=True, slots=True)
class IndexAdvice:
    """What there is to say about the chosen motion.

    `bound_s`: an average move whose acceleration followed the torque at every speed, s; None where the torque isn't
    known. `cautious`: the usual cautious setting on the same machine; its `quicker` is below 1 where the choice is
    quicker. `stronger`: what the next-stronger motor, current, supply and board would give, each alone; those that
    can't move the load are left out.
    """

    motion: SafeMotion
    bound_s: float | None = None
    cautious: OtherChoice | None = None
    stronger: tuple[OtherChoice, ...] = ()

    def as_json(self) -> dict[str, object]:
        """The advice as JSON values: SI units, angles in degrees."""
        cautious = self.cautious
        return {
            **_motion_json(self.motion.acceleration, self.motion.speed, self.motion.timing),
            "binding": list(self.motion.binding),
            "bound_move_s": self.bound_s if self.bound_s is None or math.isfinite(self.bound_s) else None,
            "cautious": None if cautious is None else cautious.as_json(),
            "stronger": [choice.as_json() for choice in self.stronger],
        }


def _motion_json(acceleration: float, speed: float, timing: IndexTiming) -> dict[str, object]:
    return {
        "acceleration_deg_per_s2": math.degrees(acceleration),
        "speed_deg_per_s": math.degrees(speed),
        "move_s": timing.move_s,
        "settle_s": timing.settle_s,
    }
