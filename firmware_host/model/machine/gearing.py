"""A gearing stage between the motor and the drive's shaft."""

import math
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
    width: Length | None = Field(default=None, description="of the wheels along their shafts, for their inertia")
    belt_tension: Force | None = Field(
        default=None, description="in each strand of the belt as mounted, standing still"
    )
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

    @model_validator(mode="after")
    def _wheels_have_teeth(self) -> Self:
        if self.kind != "coupling":
            if self.driven_teeth == 1:
                raise contradiction("driven_teeth", "no gear or pulley has one tooth; give its teeth, or the ratio")
            if self.driving_teeth == 1 and self.kind != "worm":
                remedy = 'give its teeth, the ratio, or kind = "worm" for a worm of one start'
                raise contradiction("driving_teeth", f"no gear or pulley has one tooth; {remedy}")
        return self

    @model_validator(mode="after")
    def _keys_fit_the_kind(self) -> Self:
        wheels = self.pitch is not None or self.driving_diameter is not None
        if self.belt_tension is not None and self.kind not in (None, "toothed-belt"):
            raise contradiction("belt_tension", f"a {self.kind} has no belt; take belt_tension out")
        if self.largest_axial_load is not None and self.kind not in (None, "worm"):
            raise contradiction("largest_axial_load", f"only a worm is checked for its thrust, not a {self.kind}")
        if wheels and self.kind in ("planetary", "coupling"):
            key = "pitch" if self.pitch is not None else "driving_diameter"
            raise contradiction(key, f"a {self.kind} pushes no shaft aside; take pitch and driving_diameter out")
        if self.pitch is not None and self.driving_diameter is not None and self.kind not in (None, "worm"):
            raise contradiction("driving_diameter", "give pitch or driving_diameter, not both")
        return self

    @property
    def driving_pitch_diameter(self) -> float | None:
        """Pitch diameter of what sits on the driving shaft, m; None where the keys don't say it."""
        if self.driving_diameter is not None:
            return self.driving_diameter.si
        return None if self.kind == "worm" else _wheel(self.pitch, self.driving_teeth)

    @property
    def driven_pitch_diameter(self) -> float | None:
        """Pitch diameter of the wheel on the driven shaft, m; None where the keys don't say it.

        Without pitch and teeth it goes by the ratio: of a worm that errs large.
        """
        if self.pitch is not None and self.driven_teeth is not None:
            return _wheel(self.pitch, self.driven_teeth)
        if self.driving_diameter is None or self.driving_teeth == 1:
            return None
        return self.driving_diameter.si * float(self.reduction)

    @property
    def worm_lead(self) -> float | None:
        """How far the thread of a worm advances in a turn, m; None where the keys don't say it."""
        if self.pitch is None or self.driving_teeth is None:
            return None
        return self.pitch.si * self.driving_teeth

    @property
    def reduction(self) -> Fraction:
        """Turns of the driving shaft per turn of the driven shaft, exactly."""
        if self.driving_teeth is not None and self.driven_teeth is not None:
            return Fraction(self.driven_teeth, self.driving_teeth)
        return Fraction(self.ratio or 1)


def _wheel(pitch: Length | None, teeth: int | None) -> float | None:
    """Pitch diameter (m) of a wheel: pitch times teeth over pi; None where either is not given."""
    return pitch.si * teeth / math.pi if pitch is not None and teeth is not None else None
