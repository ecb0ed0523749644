"""A gearing stage between the motor and the drive's shaft."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.units import AngleOrZero, Force, InertiaOrZero, Length, TorsionalStiffness

StageKind = Literal["toothed-belt", "spur-gears", "worm", "planetary", "coupling"]


class GearingStage(Described):
    """One stage, belt, gear or worm: teeth (exact), or a ratio written "60/20" or "40"."""

    kind: StageKind | None = Field(
        default=None, description="what the stage is; what is not stated of it is assumed by its kind"
    )
    name: str = Field(default="stage", min_length=1, max_length=60)
    driving_teeth: int | None = Field(default=None, ge=1, le=10_000, description="motor's side; starts of a worm")
    driven_teeth: int | None = Field(default=None, ge=1, le=10_000)
    ratio: str | None = Field(default=None, max_length=40, pattern=r"^[0-9]{1,9}(/[0-9]{1,9}|\.[0-9]{1,12})?$")
    efficiency: float | None = Field(default=None, gt=0, le=1)
    lost_motion: AngleOrZero | None = Field(default=None, description="at the driven shaft of this stage")
    driving_inertia: InertiaOrZero | None = Field(default=None, description="of what turns on the driving shaft")
    driven_inertia: InertiaOrZero | None = Field(default=None, description="of what turns on the driven shaft")
    self_locking: bool | None = None
    pitch: Length | None = Field(
        default=None, description="of the teeth along the pitch line: of a belt, of a worm's wheel, pi*module of gears"
    )
    driving_diameter: Length | None = Field(
        default=None, description="pitch diameter of the driving pulley or gear, without its pitch; of a worm always"
    )
    belt_tension: Force | None = Field(default=None, description="in each strand of the belt as mounted, standing still")
    largest_axial_load: Force | None = Field(
        default=None, description="that a worm's own bearings bear; without, the motor's shaft bears a first stage's"
    )
    torsional_stiffness: TorsionalStiffness | None = Field(
        default=None, description="of belt or coupling, as seen from its driving shaft"
    )

    @field_validator("ratio")
    @classmethod
    def _ratio_is_positive(cls, value: str | None) -> str | None:
        if value is not None:
            divisor = value.partition("/")[2]
            if divisor and int(divisor) == 0:
                raise ValueError("the ratio divides by zero")
            if Fraction(value) <= 0:
                raise ValueError("the ratio must be greater than zero")
        return value

    @model_validator(mode="after")
    def _teeth_or_ratio(self) -> Self:
        teeth = (self.driving_teeth, self.driven_teeth)
        if (self.ratio is None) != (None not in teeth) or (self.ratio is not None and teeth != (None, None)):
            raise contradiction("ratio", "give driving_teeth and driven_teeth, or ratio")
        return self

    @property
    def reduction(self) -> Fraction:
        """Turns of the driving shaft per turn of the driven shaft, exactly."""
        if self.driving_teeth is not None and self.driven_teeth is not None:
            return Fraction(self.driven_teeth, self.driving_teeth)
        return Fraction(self.ratio or 1)
