"""How well the data are known: what `limits --reliability` draws at random, each as a plus-minus part of its value."""

from typing import Annotated, TypeAlias

from pydantic import Field

from firmware_host.model.base import Described

Part: TypeAlias = Annotated[float, Field(ge=0, lt=1)]


class Tolerances(Described):
    """How well values are known, each plus-minus a part of itself (0.1 is 10 %); a job's beat a machine's."""

    torque: Part | None = Field(default=None, description="of the motor, at standstill and at speed")
    supply_voltage: Part | None = Field(default=None, description="of the driver's supply")
    efficiency: Part | None = Field(default=None, description="of every gearing stage")
    friction: Part | None = Field(default=None, description="coefficient of friction, part on roller")
    friction_torque: Part | None = Field(default=None, description="of bearings, seals and tailstock")
    rolling_resistance: Part | None = Field(default=None, description="lever arm of rolling friction")
    mass: Part | None = Field(default=None, description="of the part as weighed")
    density: Part | None = Field(default=None, description="of the part, where it was not weighed")
    inertia: Part | None = Field(default=None, description="of a part whose inertia was measured")
    diameter: Part | None = Field(default=None, description="of the part, all its diameters together")
    mass_offset: Part | None = Field(default=None, description="of the part's centre of mass from the axis")

    def given(self) -> dict[str, float]:
        """What is stated, by key."""
        return {key: value for key in type(self).model_fields if (value := getattr(self, key)) is not None}
