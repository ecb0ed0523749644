"""The driver: the current it sets, the microsteps it makes, the steps it can take in."""

from __future__ import annotations

from pydantic import Field

from firmware_host.model.base import Described
from firmware_host.units import Current, Rate, Time, Voltage


class Driver(Described):
    """A chopper driver between controller and motor."""

    microsteps: int = Field(ge=1, le=256, description="microsteps per full step")
    current: Current = Field(description="set current per phase, peak of the sine when microstepping")
    supply_voltage: Voltage
    highest_step_rate: Rate
    smallest_pulse: Time | None = None
    standstill_current: float = Field(default=1.0, gt=0, le=1, description="part of the set current held at rest")
