"""The driver: the current it sets, the microsteps it makes, the steps it can take in."""

from typing import Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction, stated
from firmware_host.units import Capacitance, Current, Rate, Time, Voltage


class Driver(Described):
    """A chopper driver between controller and motor."""

    microsteps: int = Field(ge=1, le=256, description="microsteps per full step")
    current: Current = Field(description="set current per phase, peak of the sine when microstepping")
    highest_current: Current | None = Field(default=None, description="that the driver can be set to, peak of the sine")
    supply_voltage: Voltage
    highest_step_rate: Rate
    smallest_pulse: Time | None = None
    current_shaped: bool | None = Field(
        default=None,
        description="whether full and half steps lower the current where both phases are on, to 0.71 of it each, as "
        "microsteps always do; false: each phase then carries all of it",
    )
    standstill_current: float | None = Field(
        default=None, gt=0, le=1, description="part of the set current kept at standstill"
    )
    highest_supply_voltage: Voltage | None = Field(default=None, description="that driver and supply bear")
    supply_capacitance: Capacitance | None = Field(default=None, description="at the supply's output")
    supply_current: Current | None = Field(default=None, description="that the supply can give")

    @property
    def standstill_share(self) -> float:
        """Part of the set current kept at standstill; `InputError` if it is not stated."""
        return stated(self.standstill_current, "driver.standstill_current")

    @model_validator(mode="after")
    def _can_set_its_current(self) -> Self:
        if self.highest_current is not None and self.current.exact > self.highest_current.exact:
            raise contradiction("current", f"{self.current} is above highest_current {self.highest_current}")
        return self

    @model_validator(mode="after")
    def _bears_its_supply(self) -> Self:
        highest = self.highest_supply_voltage
        if highest is not None and highest.exact < self.supply_voltage.exact:
            raise contradiction("highest_supply_voltage", f"{highest} is below supply_voltage {self.supply_voltage}")
        return self
