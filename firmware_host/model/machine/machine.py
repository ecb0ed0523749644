"""The rotary machine: motor, driver, gearing, drive, support, axis and link."""

from fractions import Fraction
from math import prod
from typing import Annotated, Any, Literal, Self

from pydantic import Discriminator, Field, Tag, model_validator

from firmware_host.model.base import Described, Version, contradiction
from firmware_host.model.machine.driver import Driver
from firmware_host.model.machine.drives.base import AxisUnit
from firmware_host.model.machine.drives.registry import AnyDrive
from firmware_host.model.machine.gearing import GearingStage
from firmware_host.model.machine.motor import Motor
from firmware_host.model.machine.ramp import Ramp
from firmware_host.model.machine.swing import Swing
from firmware_host.model.machine.warming import Warming
from firmware_host.model.tolerances import Tolerances
from firmware_host.units import (
    AngleOrZero,
    AngularAcceleration,
    AngularSpeed,
    Force,
    Length,
    Rate,
    SignedAngle,
    ThermalResistance,
    Time,
    Torque,
    TorqueOrZero,
    parse_quantity,
)


class Travel(Described):
    """Travel limits of the part's shaft, from machine zero."""

    lowest: SignedAngle
    highest: SignedAngle

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.lowest.exact >= self.highest.exact:
            raise contradiction("lowest", f"{self.lowest} must be less than highest {self.highest}")
        return self


def _travel_tag(value: Any) -> str:
    return "limits" if isinstance(value, dict | Travel) else "word"


class Axis(Described):
    """How the controller knows the axis."""

    letter: Literal["X", "Y", "Z", "A", "B", "C"] = "A"
    unit: AxisUnit = Field(default="deg", description="degrees of the drive's shaft, or mm of roller surface")
    reversed: bool = Field(
        default=False,
        description="its positive direction turns the part the other way: coordinates are sent with the other sign; "
        "travel stays as the controller counts it",
    )
    turns: Literal["clockwise", "counter-clockwise"] | None = Field(
        default=None,
        description="which way the part turns as the mark runs, for somebody at the part's free end who faces the "
        "drive; for the card of the marking side",
    )
    unpowered: Literal["holds", "turns"] | None = Field(
        default=None,
        description="what a clamped part does without current, as measured: where it turns, no run releases the motor, "
        "and after a power cut nothing stands where it was left",
    )
    tilt: AngleOrZero = Field(
        default=parse_quantity("0 deg", "angle", "non-negative"),
        description="of the part's axis, or of the rollers it lies on: 0 deg level, 90 deg upright",
    )
    home_switch: bool = False
    travel: Annotated[
        Annotated[Literal["endless"], Tag("word")] | Annotated[Travel, Tag("limits")], Discriminator(_travel_tag)
    ] = "endless"
    unwind: Literal["whole-turns", "never"] = Field(
        default="whole-turns",
        description="where a target leaves the travel or the reach of the controller's arithmetic: take whole turns "
        "back before that segment, or refuse the job",
    )

    @model_validator(mode="after")
    def _up_to_upright(self) -> Self:
        if self.tilt.exact > Fraction(1, 4):
            raise contradiction("tilt", f"{self.tilt} is beyond upright; give 0 deg (level) to 90 deg (upright)")
        return self

    @property
    def sign(self) -> int:
        """Steps that the controller counts for a step in the direction in which the mark runs: 1, -1 if reversed."""
        return -1 if self.reversed else 1

    @property
    def unpowered_words(self) -> str:
        """What that says of a part whose motor was without current; "" where nobody has measured it."""
        words = {
            "holds": "Without current the part holds where it is, by the machine's file",
            "turns": "Without current the part turns away, by the machine's file: it stands elsewhere",
        }
        return words[self.unpowered] if self.unpowered is not None else ""

    @property
    def unwinds(self) -> bool:
        """Whether whole turns may be taken back between segments."""
        return self.unwind == "whole-turns"


class SteadyRest(Described):
    """A steady rest: what a long part turns in between the chuck and its other end."""

    position: Length = Field(description="from the chuck's face to the rest")
    friction_torque: TorqueOrZero | None = Field(default=None, description="of its jaws or rollers on the part")
    largest_load: Force | None = Field(default=None, description="radial, that it bears")


class Support(Described):
    """What carries the part besides the chuck."""

    tailstock: bool = False
    steady_rest: SteadyRest | None = Field(default=None, description="a steady rest, where there is one")
    friction_torque: Torque | None = Field(default=None, description="of the tailstock's centre")
    largest_overhang_moment: Torque | None = Field(default=None, description="what the spindle bearings allow")
    overhang_base: Length | None = Field(default=None, description="from the front bearing to the chuck's face")
    bearing_spacing: Length | None = Field(default=None, description="between the spindle's bearings")
    largest_radial_load: Force | None = Field(default=None, description="on the spindle's front bearing")
    largest_axial_load: Force | None = Field(default=None, description="on the spindle's bearings")
    tailstock_force: Force | None = Field(default=None, description="that the tailstock presses with")
    motor_shaft_arm: Length | None = Field(
        default=None,
        description="from the motor's front bearing to the middle of the pulley, gear, worm or roller on its shaft",
    )
    largest_tailstock_load: Force | None = Field(default=None, description="radial, that the tailstock's centre bears")


class Stated(Described):
    """What the controller is set to, for one that does not print it. Taken on trust: confirm it on the machine."""

    steps_per_unit: str | None = Field(
        default=None,
        max_length=20,
        pattern=r"^[0-9]{1,9}(\.[0-9]{1,9})?$",
        description="steps per axis unit as set in the controller, a decimal number",
    )
    rate: AngularSpeed | None = Field(
        default=None, description="the highest rate as set in the controller, of the drive's shaft"
    )
    acceleration: AngularAcceleration | None = Field(
        default=None, description="the acceleration as set in the controller, of the drive's shaft"
    )
    rates_per: Literal["s", "min"] | None = Field(
        default=None, description="whether the controller's own rates count per second or per minute"
    )
    start_jump: AngularSpeed | None = Field(
        default=None, description="speed at which the controller begins and ends a move at once, of the drive's shaft"
    )
    second_step_after: Time | None = Field(
        default=None, description="how long after the first step of a move the controller makes the second at least"
    )
    shortest_move: int | None = Field(
        default=None, ge=1, le=1000, description="microsteps of the shortest move that the controller makes"
    )
    quick_stop: bool | None = Field(
        default=None, description="whether the controller knows a word that ends a move under way"
    )

    @model_validator(mode="after")
    def _scale_is_positive(self) -> Self:
        if self.steps_per_unit is not None and Fraction(self.steps_per_unit) == 0:
            raise contradiction("steps_per_unit", "steps_per_unit must be greater than zero")
        return self


class Link(Described):
    """The serial line to the controller, and what the controller can do."""

    port: str = Field(default="", max_length=200, description="device path, socket:// or rfc2217:// URL")
    baud: int = Field(default=115200, ge=300, le=4_000_000)
    dialect: str = Field(default="status-query", min_length=1, max_length=40, pattern=r"^[a-z0-9-]+$")
    highest_step_rate: Rate = Field(description="the most steps per second the controller can make")
    reset_wait: Time | None = Field(default=None, description="how long to wait for a greeting after opening")
    stated: Stated = Field(default=Stated(), description="what the controller is set to, where it does not print it")


class Machine(Described):
    """One rotary machine."""

    version: Version
    name: str = Field(min_length=1, max_length=120)
    motor: Motor
    driver: Driver
    gearing: tuple[GearingStage, ...] = Field(default=(), max_length=8, strict=False)
    drive: AnyDrive
    support: Support = Support()
    swing: Swing = Swing()
    ramp: Ramp = Ramp()
    warming: Warming = Warming()
    axis: Axis = Axis()
    link: Link
    tolerances: Tolerances = Field(default=Tolerances(), description="how well the machine's data are known")

    @model_validator(mode="after")
    def _rollers_carry(self) -> Self:
        if self.drive.cradle is None:
            return self
        if self.support.steady_rest is not None:
            raise contradiction("support.steady_rest", "a part on rollers lies on them all along; leave it out")
        if self.axis.tilt.exact == Fraction(1, 4):
            raise contradiction("axis.tilt", f"nothing lies on rollers at {self.axis.tilt}; give less")
        return self

    @model_validator(mode="after")
    def _unit_fits_drive(self) -> Self:
        if self.drive.axis_units_per_shaft_turn(self.axis.unit) is None:
            raise contradiction("axis.unit", f'"{self.axis.unit}" has no meaning for this drive; write unit = "deg"')
        if self.driver.current.exact > self.motor.rated_current.exact:
            raise contradiction(
                "driver.current",
                f"{self.driver.current} is above the motor's rated_current {self.motor.rated_current}: "
                "it would overheat. Set the driver lower",
            )
        return self

    @property
    def reduction(self) -> Fraction:
        """Motor turns per turn of the drive's shaft, exactly."""
        return prod((stage.reduction for stage in self.gearing), start=Fraction(1))

    @property
    def microsteps_per_shaft_turn(self) -> Fraction:
        """Microsteps per turn of the drive's shaft, exactly."""
        return self.motor.full_steps * self.driver.microsteps * self.reduction

    @property
    def winding_to_air(self) -> ThermalResistance | None:
        """Thermal resistance of the motor: as measured on this machine, else its own; None where nobody gave it."""
        return self.warming.thermal_resistance or self.motor.thermal_resistance

    def with_motor(self, motor: Motor, driver: Driver) -> Self:
        """The same machine with these: what was measured with the present motor tells nothing of another one."""
        measured = {} if motor == self.motor else {"swing": Swing(), "warming": Warming()}
        return self.model_copy(update={"motor": motor, "driver": driver, **measured})

    def motor_turns_per_part_turn(self, contact_diameter: Length) -> Fraction:
        """Motor turns per turn of a part that touches the drive at `contact_diameter`, exactly."""
        return self.reduction * self.drive.shaft_turns_per_part_turn(contact_diameter)

    def microsteps_per_part_turn(self, contact_diameter: Length) -> Fraction:
        """Microsteps per turn of a part that touches the drive at `contact_diameter`, exactly."""
        return self.microsteps_per_shaft_turn * self.drive.shaft_turns_per_part_turn(contact_diameter)

    @property
    def steps_per_axis_unit(self) -> Fraction:
        """The steps-per-unit setting this machine asks of its controller, exactly (before its rounding)."""
        units = self.drive.axis_units_per_shaft_turn(self.axis.unit)
        if units is None:
            raise ValueError(f'axis.unit "{self.axis.unit}" has no meaning for this drive')
        return self.microsteps_per_shaft_turn / units
