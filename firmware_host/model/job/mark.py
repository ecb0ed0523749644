"""The mark: what is to be engraved, and where its artwork leaves gaps."""

from fractions import Fraction
from typing import Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.units import AngleOrZero, Length, LengthOrZero, SignedAngle, Time


class ArtworkGap(Described):
    """A gap in the artwork, along the arc from the mark's beginning: a seam put there cannot be seen."""

    at: LengthOrZero = Field(description="middle of the gap")
    width: Length


class Mark(Described):
    """What is to be marked: how far around, how wide along the axis, how many passes."""

    arc: Length | None = Field(default=None, description="length around the surface")
    angle: AngleOrZero | None = Field(default=None, description="angle around; 360 deg is a full wrap")
    width: Length | None = Field(default=None, description="along the axis")
    levelled: bool | None = Field(
        default=None,
        description="on a cone, what lies level: true, the marked line; false, the part's axis; "
        "left out, the axis in a chuck, and the rollers under a part on rollers",
    )
    passes: int = Field(default=1, ge=1, le=1000)
    pass_time: Time | None = Field(default=None, description="what one pass takes at least: the motor cools meanwhile")
    start_angle: SignedAngle | None = Field(
        default=None, description="middle of the first segment, from the job's zero"
    )
    start_edge: SignedAngle | None = Field(
        default=None, description="where the mark begins, from the job's zero, instead of start_angle"
    )
    gaps: tuple[ArtworkGap, ...] = Field(default=(), max_length=1000, strict=False)

    @model_validator(mode="after")
    def _arc_or_angle(self) -> Self:
        if (self.arc is None) == (self.angle is None):
            raise contradiction("arc", "give either arc or angle")
        if self.angle is not None and not 0 < self.angle.exact <= 1:
            raise contradiction("angle", f"{self.angle} must be greater than zero and at most 360 deg")
        if self.start_angle is not None and self.start_edge is not None:
            raise contradiction("start_edge", "give start_angle (middle of the first segment) or start_edge, not both")
        return self

    def first_centre(self, width: Fraction) -> Fraction:
        """Angle that the first segment, `width` turns wide, is marked at, in turns from the job's zero."""
        if self.start_edge is not None:
            return self.start_edge.exact + width / 2
        return self.start_angle.exact if self.start_angle is not None else Fraction(0)
