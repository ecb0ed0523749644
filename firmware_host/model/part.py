"""The round part."""

from __future__ import annotations

from abc import ABC
from fractions import Fraction
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.units import AngleOrZero, Density, Length, LengthOrZero, Mass, SignedAngle


class Arc(Described):
    """An arc of the surface, from one angle on to another (a handle, a weld)."""

    start: SignedAngle
    end: SignedAngle

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if not 0 < self.end.exact - self.start.exact < 1:
            raise contradiction("end", "must be greater than start, by less than one turn")
        return self


class RoundPart(Described, ABC):
    """What every round part has."""

    diameter: Length = Field(description="where it is marked")
    contact_diameter: Length | None = Field(default=None, description="where rollers or jaws touch it, if another")
    length: Length
    density: Density | None = None
    mass: Mass | None = Field(default=None, description="as weighed; beats density times volume")
    mass_offset: LengthOrZero | None = Field(default=None, description="centre of mass from the axis")
    overhang: LengthOrZero | None = Field(default=None, description="chuck's face to the centre of mass")
    keep_out: tuple[Arc, ...] = Field(default=(), max_length=50, strict=False)

    @property
    def contact(self) -> Length:
        """Diameter at the drive."""
        return self.contact_diameter or self.diameter

    @model_validator(mode="after")
    def _has_mass(self) -> Self:
        if self.mass is None and self.density is None:
            raise contradiction("mass", "give mass (as weighed), density, or both")
        return self


class SolidPart(RoundPart):
    """A solid cylinder."""

    kind: Literal["solid"]


class TubePart(RoundPart):
    """A hollow cylinder."""

    kind: Literal["tube"]
    inner_diameter: Length

    @model_validator(mode="after")
    def _has_wall(self) -> Self:
        if self.inner_diameter.exact >= self.diameter.exact:
            raise contradiction("inner_diameter", f"{self.inner_diameter} must be less than diameter {self.diameter}")
        return self


AnyPart = Annotated[SolidPart | TubePart, Field(discriminator="kind")]


class ArtworkGap(Described):
    """A gap in the artwork, along the arc from the mark's beginning: a seam put there cannot be seen."""

    at: LengthOrZero = Field(description="middle of the gap")
    width: Length


class Mark(Described):
    """What is to be marked: how far around, how wide along the axis, how many passes."""

    arc: Length | None = Field(default=None, description="length around the surface")
    angle: AngleOrZero | None = Field(default=None, description="angle around; 360 deg is a full wrap")
    width: Length | None = Field(default=None, description="along the axis")
    passes: int = Field(default=1, ge=1, le=1000)
    start_angle: SignedAngle | None = Field(default=None, description="first segment, from the job's zero")
    gaps: tuple[ArtworkGap, ...] = Field(default=(), max_length=1000, strict=False)

    @model_validator(mode="after")
    def _arc_or_angle(self) -> Self:
        if (self.arc is None) == (self.angle is None):
            raise contradiction("arc", "give either arc or angle")
        if self.angle is not None and not 0 < self.angle.exact <= 1:
            raise contradiction("angle", f"{self.angle} must be greater than zero and at most 360 deg")
        return self

    @property
    def start_turns(self) -> Fraction:
        """Angle the first segment is marked at, in turns from the job's zero."""
        return self.start_angle.exact if self.start_angle is not None else Fraction(0)
