"""The quickest ramp that lost no step, as somebody tried it on the machine."""

from typing import Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.units import AngularAcceleration, AngularSpeed, InertiaOrZero


class Ramp(Described):
    """What moves may do at the most, because quicker ones were seen to lose steps; left out, what is computed counts.

    Both are less than what lost none, by what is kept in reserve: 0.8 of it.
    """

    acceleration: AngularAcceleration | None = Field(
        default=None,
        description="the largest that a move may have, of the drive's shaft: 0.8 of what lost no step; less for a load "
        "of more inertia",
    )
    speed: AngularSpeed | None = Field(
        default=None, description="the highest that a move may have, of the drive's shaft: 0.8 of what lost no step"
    )
    load_inertia: InertiaOrZero | None = Field(
        default=None,
        description="what was clamped or lay on the rollers meanwhile, as its inertia about the drive's shaft; left "
        "out, nothing was",
    )

    @model_validator(mode="after")
    def _belongs_together(self) -> Self:
        if (self.acceleration is None) != (self.speed is None):
            missing = "speed" if self.speed is None else "acceleration"
            raise contradiction(missing, "acceleration and speed were tried together: give both, or neither")
        if self.acceleration is None and self.load_inertia is not None:
            raise contradiction("load_inertia", "it says something of the ramp: give acceleration and speed, too")
        return self
