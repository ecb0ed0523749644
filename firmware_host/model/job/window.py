"""The marking window: how far from the focal plane the laser still marks."""

from fractions import Fraction
from typing import Literal, Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.units import Angle, Length


class Beam(Described):
    """A beam, from which the window follows (ISO 11146-1)."""

    waist_diameter: Length = Field(description="spot diameter in focus")
    wavelength: Length
    beam_quality: float = Field(ge=1, le=100, description="M squared")
    spot_growth: float = Field(default=1.1, gt=1, le=3, description="largest spot over smallest that still marks well")


class Window(Described):
    """Half-depth of the window, and what else bounds a segment."""

    half_depth: Length | None = None
    beam: Beam | None = None
    focus: Literal["crown", "balanced"] = "crown"
    incidence_limit: Angle | None = Field(default=None, description="largest angle of the beam to the surface normal")
    lens_field: Length | None = Field(default=None, description="width of the lens's field across the axis")
    focal_length: Length | None = Field(default=None, description="of the lens: off the middle its rays lean outwards")
    telecentric: bool | None = Field(
        default=None, description="whether the lens's rays all come straight down; left out, both are looked at"
    )
    flat_field_corrected: bool | None = Field(
        default=None,
        description="whether the marking side draws the artwork for a round surface; left out, both are looked at",
    )
    spot_diameter: Length | None = Field(default=None, description="to judge whether a seam shows")

    @model_validator(mode="after")
    def _half_depth_or_beam(self) -> Self:
        if (self.half_depth is None) == (self.beam is None):
            raise contradiction("half_depth", "give either half_depth or beam")
        if self.incidence_limit is not None and self.incidence_limit.exact >= Fraction(1, 4):
            raise contradiction("incidence_limit", f"{self.incidence_limit} must be less than 90 deg")
        return self

    @property
    def spot(self) -> Length | None:
        """The spot's diameter in focus, if known."""
        return self.spot_diameter or (self.beam.waist_diameter if self.beam else None)
