"""Rollers: the part lies on two rows of them and rolls."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Literal, Self

from pydantic import Field, model_validator

from firmware_host.model.base import contradiction, stated
from firmware_host.model.machine.drives.base import AxisUnit, Cradle, Drive, ShaftBody
from firmware_host.units import PI, Force, InertiaOrZero, Length, TorqueOrZero


class Rollers(Drive):
    """The part lies on two rows of rollers and rolls on them."""

    sets_surface_travel = "roller"

    kind: Literal["rollers"]
    roller_diameter: Length
    roller_diameter_uncertainty: Length | None = Field(default=None, description="plus-minus")
    centre_distance: Length = Field(description="between the axes of the two rows")
    driven_rows: Literal[1, 2] = 1
    rollers: int = Field(default=2, ge=2, le=40, description="how many rollers turn, driven and idle")
    roller_length: Length | None = Field(default=None, description="of one roller, for an inertia that is not stated")
    roller_inertia: InertiaOrZero | None = Field(default=None, description="of one roller with its shaft")
    friction: float | None = Field(default=None, gt=0, le=2, description="coefficient of friction, part on roller")
    surfaces: str | None = Field(
        default=None, max_length=40, description="a tabulated pair, for what is not given of friction and rolling"
    )
    rolling_resistance: Length | None = Field(default=None, description="lever arm of rolling friction")
    slip: float = Field(default=0.0, ge=0, lt=0.2, description="creep, part of the surface travel")
    friction_torque: TorqueOrZero | None = Field(default=None, description="bearings and seals, at the driven roller")
    idle_friction_torque: TorqueOrZero | None = Field(default=None, description="bearings of the idle row together")
    contact_width: Length | None = Field(default=None, description="of the flattened contact, measured around")
    largest_bearing_load: Force | None = Field(
        default=None,
        description="radial, that the bearings of one roller bear together; without it a roller that the motor turns "
        "directly hangs on the motor's shaft",
    )
    busiest_share: float | None = Field(
        default=None,
        gt=0,
        le=1,
        description="part of its row's load on the roller that bears most: 0.5 where two share evenly; 1 if not given",
    )
    axial_stop: bool = Field(default=False, description="something keeps the part from walking along the rollers")
    stop_friction_torque: TorqueOrZero | None = Field(
        default=None, description="of that stop on the part, as a tilted axis presses it there"
    )

    @model_validator(mode="after")
    def _share_fits(self) -> Self:
        if self.busiest_share is not None and self.busiest_share * self.rollers < 2 - 1e-9:
            least = 2 / self.rollers
            raise contradiction("busiest_share", f"of {self.rollers} rollers one bears at least {least:.3g} of its row")
        return self

    @model_validator(mode="after")
    def _stop_is_there(self) -> Self:
        if self.stop_friction_torque is not None and not self.axial_stop:
            raise contradiction("stop_friction_torque", "there is no stop; set axial_stop = true, or leave it out")
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

    @property
    def shaft_body(self) -> ShaftBody:
        return ShaftBody("rollers", self.rollers * stated(self.roller_inertia, "drive.roller_inertia").si)

    @property
    def shaft_friction(self) -> float | None:
        return self.friction_torque.si if self.friction_torque is not None else None

    @property
    def cradle(self) -> Cradle:
        one_roller = self.roller_inertia
        rolling, idle, width = self.rolling_resistance, self.idle_friction_torque, self.contact_width
        bearing, stop = self.largest_bearing_load, self.stop_friction_torque
        return Cradle(
            roller_diameter=self.roller_diameter.si,
            centre_distance=self.centre_distance.si,
            driven_rows=self.driven_rows,
            roller_inertia=self.rollers * one_roller.si if one_roller is not None else None,
            friction=self.friction,
            surfaces=self.surfaces,
            rolling_resistance=rolling.si if rolling is not None else None,
            idle_friction_torque=idle.si if idle is not None else None,
            slip=self.slip,
            contact_width=width.si if width is not None else None,
            axial_stop=self.axial_stop,
            stop_friction_torque=stop.si if stop is not None else None,
            largest_bearing_load=bearing.si if bearing is not None else None,
            busiest_share=self.busiest_share or 1.0,
        )

    def stronger(self) -> Iterable[tuple[str, Drive]]:
        """The other row driven, too."""
        if self.driven_rows == 1:
            yield "drive.driven_rows 2", self.model_copy(update={"driven_rows": 2})

    def told(self, key: str) -> str:
        if key != "centre_distance":
            return ""
        gap = float(self.centre_distance.exact - self.roller_diameter.exact) * 1e3
        return f"Parts up to {gap:.3g} mm across fall through." if gap > 0 else "The rollers would touch: look again."
