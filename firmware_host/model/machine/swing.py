"""How the machine swings about its rest on the motor's magnetic spring, as somebody measured it."""

from typing import Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.units import Current, InertiaOrZero, Rate


class Swing(Described):
    """Natural frequency and damping as measured, each on its own; what is not measured is computed or assumed.

    Both hold for the motor they were measured with. They are taken from a recording of the part's angle (or of a sensor
    on it) after a single step: the swings per second, and how quickly they get smaller.
    """

    frequency: Rate | None = Field(
        default=None,
        description="natural frequency as measured after a single step; of another part it follows from the stiffness "
        "that this shows",
    )
    frequency_uncertainty: float | None = Field(
        default=None,
        gt=0,
        le=0.5,
        description="how well the frequency is known, plus-minus a part of it; left out, 0.05",
    )
    load_inertia: InertiaOrZero | None = Field(
        default=None,
        description="what was clamped or lay on the rollers while the frequency was measured, as its inertia about the "
        "drive's shaft; left out, nothing was",
    )
    current: Current | None = Field(
        default=None,
        description="set current per phase while the frequency was measured; left out, the driver's present one",
    )
    damping_ratio: float | None = Field(
        default=None,
        ge=0.005,
        le=0.7,
        description="damping ratio as measured: ln(swing/next swing to the same side)/(2 pi), where it is small",
    )
    damping_uncertainty: float | None = Field(
        default=None,
        gt=0,
        le=0.9,
        description="how well the damping ratio is known, plus-minus a part of it; left out, 0.2",
    )

    @model_validator(mode="after")
    def _belongs_to_a_measurement(self) -> Self:
        for key in ("frequency_uncertainty", "load_inertia", "current"):
            if self.frequency is None and getattr(self, key) is not None:
                raise contradiction(key, f"{key} says something of the measured frequency: give frequency, too")
        if self.damping_ratio is None and self.damping_uncertainty is not None:
            raise contradiction("damping_uncertainty", "give damping_ratio, too")
        if (self.damping_ratio or 0.0) * (1 + (self.damping_uncertainty or 0.0)) >= 1:
            raise contradiction("damping_uncertainty", "the damping ratio could be 1 or more: nothing would swing")
        return self
