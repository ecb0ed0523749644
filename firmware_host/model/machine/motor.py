"""The stepper motor: what its datasheet says."""

import itertools
from typing import Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, Version, contradiction
from firmware_host.units import (
    Angle,
    AngularSpeed,
    Current,
    Force,
    Inductance,
    Inertia,
    Length,
    Rate,
    Resistance,
    Temperature,
    ThermalResistance,
    Torque,
    Voltage,
)


class TorquePoint(Described):
    """One point of the pull-out curve."""

    speed: AngularSpeed
    torque: Torque


class TorqueCurve(Described):
    """Pull-out torque against speed, with the supply voltage and peak phase current it was measured at."""

    supply_voltage: Voltage
    current: Current | None = None
    points: tuple[TorquePoint, ...] = Field(min_length=2, max_length=200, strict=False)

    @model_validator(mode="after")
    def _speeds_rise(self) -> Self:
        speeds = [point.speed.exact for point in self.points]
        if any(later <= earlier for earlier, later in itertools.pairwise(speeds)):
            raise contradiction("points", "the speeds of the torque points must rise from one point to the next")
        return self


class Motor(Described):
    """A two-phase hybrid stepper motor."""

    version: Version = 1
    name: str = Field(min_length=1, max_length=120)
    frame: str = Field(
        default="", max_length=40, description='frame size, like "NEMA 17" or "42 mm"; what is not stated goes by it'
    )
    data: str = Field(default="", max_length=300, description="where the figures come from")
    full_steps_per_revolution: int | None = Field(default=None, ge=4, le=4000)
    step_angle: Angle | None = None
    rated_current: Current = Field(description="rated current per phase, peak of the sine when microstepping")
    holding_torque: Torque = Field(description="both phases on at rated current")
    detent_torque: Torque | None = None
    rotor_inertia: Inertia | None = None
    resistance: Resistance | None = Field(default=None, description="of one phase")
    inductance: Inductance | None = Field(default=None, description="of one phase")
    torque_curve: TorqueCurve | None = None
    start_stop_rate: Rate | None = Field(
        default=None, description="full steps per second that the bare motor starts with at once"
    )
    radial_load: Force | None = Field(default=None, description="allowed radial load on the shaft")
    radial_load_at: Length | None = Field(default=None, description="from the front bearing; where radial_load holds")
    axial_load: Force | None = Field(default=None, description="allowed axial load on the shaft")
    thermal_resistance: ThermalResistance | None = Field(default=None, description="winding to air")
    highest_temperature: Temperature | None = Field(default=None, description="of the winding")
    ambient: Temperature | None = Field(default=None, description="hottest air around the motor")
    iron_loss_speed: AngularSpeed | None = Field(
        default=None, description="at which its iron loss is as large as its copper loss at rated current"
    )
    step_accuracy: float = Field(default=0.05, gt=0, le=0.5, description="position error, part of a full step")

    @model_validator(mode="after")
    def _air_is_cooler(self) -> Self:
        if self.ambient is not None and self.highest_temperature is not None:
            if self.ambient.exact >= self.highest_temperature.exact:
                raise contradiction("ambient", f"{self.ambient} is not below highest_temperature")
        return self

    @model_validator(mode="after")
    def _steps_are_whole(self) -> Self:
        key = "full_steps_per_revolution" if self.step_angle is None else "step_angle"
        if (self.full_steps_per_revolution is None) == (self.step_angle is None):
            raise contradiction(key, "give either full_steps_per_revolution or step_angle")
        if self.step_angle is not None and (1 / self.step_angle.exact).denominator != 1:
            raise contradiction(key, f"{self.step_angle} does not divide a revolution into whole steps")
        if self.full_steps % 4:
            raise contradiction(key, f"{self.full_steps} full steps per revolution: must be a multiple of 4")
        return self

    @property
    def full_steps(self) -> int:
        """Full steps per revolution."""
        if self.full_steps_per_revolution is not None:
            return self.full_steps_per_revolution
        if self.step_angle is None:
            raise ValueError("give either full_steps_per_revolution or step_angle")
        return int(1 / self.step_angle.exact)
