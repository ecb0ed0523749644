"""A chuck: the part turns with it."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal, Self

from pydantic import Field, model_validator

from firmware_host.model.base import contradiction
from firmware_host.model.machine.drives.base import AxisUnit, Drive, ShaftBody
from firmware_host.units import InertiaOrZero, Length, Mass, TorqueOrZero


class Chuck(Drive):
    """The part turns with the chuck."""

    sets_surface_travel = "part"
    part_on_shaft = True

    kind: Literal["chuck"]
    inertia: InertiaOrZero = Field(description="of chuck, jaws and spindle, about the axis")
    mass: Mass | None = Field(default=None, description="of chuck and jaws")
    smallest_grip: Length | None = Field(default=None, description="thinnest diameter that the jaws hold")
    largest_grip: Length | None = Field(default=None, description="thickest diameter that the jaws hold")
    friction_torque: TorqueOrZero | None = Field(default=None, description="bearings and seals, at the spindle")

    def shaft_turns_per_part_turn(self, contact_diameter: Length) -> Fraction:
        return Fraction(1)

    def axis_units_per_shaft_turn(self, unit: AxisUnit) -> Fraction | None:
        return Fraction(360) if unit == "deg" else None

    def surface_scale(self, part_ratio: float, true_roller_diameter: float | None) -> float:
        return part_ratio

    def surface_uncertainty(self, diameter: Length, diameter_uncertainty: Length | None) -> float:
        return diameter_uncertainty.si / diameter.si if diameter_uncertainty is not None else 0.0

    @model_validator(mode="after")
    def _grips_something(self) -> Self:
        smallest, largest = self.smallest_grip, self.largest_grip
        if smallest is not None and largest is not None and smallest.exact > largest.exact:
            raise contradiction("smallest_grip", f"{smallest} is above largest_grip {largest}")
        return self

    @property
    def shaft_body(self) -> ShaftBody:
        return ShaftBody("chuck", self.inertia.si)

    @property
    def shaft_friction(self) -> float | None:
        return self.friction_torque.si if self.friction_torque is not None else None

    @property
    def weight(self) -> tuple[float, tuple[str, ...]]:
        return (self.mass.si, ()) if self.mass is not None else (0.0, ("drive.mass",))

    @property
    def grip_range(self) -> tuple[Length | None, Length | None]:
        return self.smallest_grip, self.largest_grip

    def told(self, key: str) -> str:
        return f"Inertia of the chuck: {self.inertia}." if key == "inertia" else ""
