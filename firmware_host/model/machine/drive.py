"""How the turning reaches the part: a chuck that grips it, or rollers that it lies on."""

from __future__ import annotations

from abc import ABC, abstractmethod
from fractions import Fraction
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.units import PI, InertiaOrZero, Length, Mass, TorqueOrZero

AxisUnit = Literal["deg", "mm"]


class Drive(Described, ABC):
    """What every drive answers, exactly; a new kind of drive is one more subclass in this file's union."""

    sets_surface_travel: ClassVar[Literal["part", "roller"]]
    """Whose diameter decides how far the surface travels: a wrong one makes gaps or overlaps at every seam."""

    @abstractmethod
    def shaft_turns_per_part_turn(self, contact_diameter: Length) -> Fraction:
        """Turns of the drive's shaft per turn of a part of that contact diameter."""

    @abstractmethod
    def axis_units_per_shaft_turn(self, unit: AxisUnit) -> Fraction | None:
        """Controller units per turn of the drive's shaft; None if this drive has no such unit."""

    @abstractmethod
    def surface_scale(self, part_ratio: float, true_roller_diameter: float | None) -> float:
        """Surface travel over planned travel, for a part `part_ratio` times as thick as entered, a true roller (m)."""

    @abstractmethod
    def surface_uncertainty(self, diameter: Length, diameter_uncertainty: Length | None) -> float:
        """Relative uncertainty of the surface travel (>= 0) from how well the driving diameter is known."""


class Chuck(Drive):
    """The part turns with the chuck."""

    sets_surface_travel = "part"

    kind: Literal["chuck"]
    inertia: InertiaOrZero = Field(description="of chuck, jaws and spindle, about the axis")
    mass: Mass | None = Field(default=None, description="of chuck and jaws")
    smallest_grip: Length | None = None
    largest_grip: Length | None = None
    friction_torque: TorqueOrZero | None = Field(default=None, description="bearings and seals, at the spindle")

    def shaft_turns_per_part_turn(self, contact_diameter: Length) -> Fraction:
        return Fraction(1)

    def axis_units_per_shaft_turn(self, unit: AxisUnit) -> Fraction | None:
        return Fraction(360) if unit == "deg" else None

    def surface_scale(self, part_ratio: float, true_roller_diameter: float | None) -> float:
        return part_ratio

    def surface_uncertainty(self, diameter: Length, diameter_uncertainty: Length | None) -> float:
        return diameter_uncertainty.si / diameter.si if diameter_uncertainty is not None else 0.0


class Rollers(Drive):
    """The part lies on two rows of rollers and rolls on them."""

    sets_surface_travel = "roller"

    kind: Literal["rollers"]
    roller_diameter: Length
    roller_diameter_uncertainty: Length | None = Field(default=None, description="plus-minus")
    centre_distance: Length = Field(description="between the axes of the two rows")
    driven_rows: Literal[1, 2] = 1
    rollers: int = Field(default=2, ge=2, le=40, description="how many rollers turn, driven and idle")
    roller_inertia: InertiaOrZero = Field(description="of one roller with its shaft")
    friction: float | None = Field(default=None, gt=0, le=2, description="coefficient of friction, part on roller")
    surfaces: str | None = Field(
        default=None, max_length=40, description="a tabulated pair, for what is not given of friction and rolling"
    )
    rolling_resistance: Length | None = Field(default=None, description="lever arm of rolling friction")
    slip: float = Field(default=0.0, ge=0, lt=0.2, description="creep, part of the surface travel")
    friction_torque: TorqueOrZero | None = Field(default=None, description="bearings and seals, at the driven roller")
    idle_friction_torque: TorqueOrZero | None = Field(default=None, description="bearings of the idle row together")
    contact_width: Length | None = Field(default=None, description="of the flattened contact, measured around")
    axial_stop: bool = Field(default=False, description="something keeps the part from walking along the rollers")

    @model_validator(mode="after")
    def _grips(self) -> Self:
        if self.friction is None and self.surfaces is None:
            raise contradiction("friction", 'give friction, or surfaces (like "plastic_on_steel") for a tabulated one')
        return self

    def shaft_turns_per_part_turn(self, contact_diameter: Length) -> Fraction:
        return contact_diameter.exact / self.roller_diameter.exact

    def axis_units_per_shaft_turn(self, unit: AxisUnit) -> Fraction | None:
        return Fraction(360) if unit == "deg" else PI * self.roller_diameter.exact * 1000

    def surface_scale(self, part_ratio: float, true_roller_diameter: float | None) -> float:
        roller = self.roller_diameter.si
        return (true_roller_diameter or roller) / roller * (1 - self.slip)

    def surface_uncertainty(self, diameter: Length, diameter_uncertainty: Length | None) -> float:
        known = self.roller_diameter_uncertainty
        return known.si / self.roller_diameter.si if known is not None else 0.0


AnyDrive = Annotated[Chuck | Rollers, Field(discriminator="kind")]
