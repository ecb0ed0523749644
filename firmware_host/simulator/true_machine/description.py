"""The file of a true machine: what was really built, where that differs from what the machine's file says.

What is left out is as the machine's file has it. These annotations stay as they are: pydantic reads them.
"""

from fractions import Fraction
from typing import Literal, Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, Version, contradiction
from firmware_host.units import (
    AngleOrZero,
    Current,
    Inertia,
    Length,
    LengthOrZero,
    Mass,
    Resistance,
    SignedAngle,
    Temperature,
    ThermalResistance,
    Time,
    TorqueOrZero,
    TorsionalStiffness,
    Voltage,
)


class TrueStage(Described):
    """A gearing stage whose wheels are others than the file says."""

    name: str = Field(min_length=1, max_length=60, description="as the machine's file names it")
    driving_teeth: int | None = Field(default=None, ge=1, le=10_000)
    driven_teeth: int | None = Field(default=None, ge=1, le=10_000)


class TrueRatio(Described):
    """How far the part really turns for a pulse."""

    microsteps: int | None = Field(default=None, ge=1, le=256, description="as the driver's switches really are")
    full_steps_per_revolution: int | None = Field(default=None, ge=4, le=4000, multiple_of=4)
    stages: tuple[TrueStage, ...] = Field(default=(), max_length=8, strict=False)
    share: float = Field(
        default=0.0, gt=-0.9, lt=9.0, description="so much farther than all that the part turns, as a share of it"
    )


class TruePart(Described):
    """The part that is in the machine, and how it stands in it."""

    diameter: Length | None = Field(default=None, description="where it touches the rollers; a chuck needs none")
    eccentricity: LengthOrZero | None = Field(default=None, description="of its middle, off the axis")
    highest_at: SignedAngle | None = Field(default=None, description="angle at which its high side is on top")
    out_of_round: LengthOrZero | None = Field(default=None, description="amplitude of an oval")
    mass: Mass | None = Field(default=None, description="on rollers, for when it slides")
    inertia: Inertia | None = Field(default=None, description="of the part alone, for when it slides on rollers")
    rolling_resistance: Length | None = Field(default=None, description="lever arm of its rolling friction on rollers")


class TrueSlip(Described):
    """What slips, and how far."""

    where: Literal["belt", "rollers"] = Field(
        default="rollers", description="rollers: the part lags behind them; belt: the drive's shaft lags as well"
    )
    share: float = Field(default=0.0, gt=-0.5, lt=0.5, description="of every turn")
    scatter: AngleOrZero | None = Field(
        default=None, description="standard deviation of what else slips in each move, of the part"
    )
    friction: float | None = Field(
        default=None,
        gt=0,
        le=2,
        description="coefficient of friction, part on driven rollers: the part slides where a move asks for more; "
        "without it it never does",
    )


class TrueLoad(Described):
    """What the motor really has to turn."""

    inertia: Inertia | None = Field(
        default=None, description="about the part's axis, of the part with its chuck or its rollers; not of the gearing"
    )
    friction_torque: TorqueOrZero | None = Field(default=None, description="at the part's axis, of everything")
    imbalance_torque: TorqueOrZero | None = Field(default=None, description="largest, at the part's axis")


class TrueTrain(Described):
    """How the gearing really gives way."""

    lost_motion: AngleOrZero | None = Field(default=None, description="at the part")
    stiffness: TorsionalStiffness | None = Field(default=None, description="of the gearing, seen from the part")
    damping_ratio: float = Field(default=0.05, gt=0, le=0.7, description="of rotor against load")


class TrueMotor(Described):
    """The motor and its supply as they really are."""

    rotor_inertia: Inertia | None = None
    current: Current | None = Field(default=None, description="per phase, as the driver really sets it")
    supply_voltage: Voltage | None = None
    torque_factor: float = Field(default=1.0, gt=0.05, lt=3.0, description="on the whole torque curve")
    damping_ratio: float = Field(
        default=0.1, ge=0.005, le=0.7, description="of the slowest swing of rotor and load about the field"
    )
    resistance: Resistance | None = Field(default=None, description="of one phase")
    thermal_resistance: ThermalResistance | None = Field(default=None, description="of the winding to the air")
    thermal_time: Time | None = Field(default=None, description="time constant of the whole motor's warming up")
    winding_inside: float | None = Field(
        default=None, gt=0.001, lt=2.0, description="so much warmer than the case is the winding, over the case's rise"
    )
    winding_time: Time | None = Field(default=None, description="time constant of the copper against its case")
    ambient: Temperature | None = None


class TrueHome(Described):
    """The home switch as it really is."""

    scatter: AngleOrZero | None = Field(default=None, description="standard deviation of where it trips, of the part")


class ReadTo(Described):
    """How closely a person reads: each reading is off by up to so much, any amount alike."""

    angle: AngleOrZero | None = None
    length: LengthOrZero | None = None


class TrueMachine(Described):
    """What was really built. Every key may be left out: then it is as the machine's file has it."""

    version: Version
    name: str = Field(default="a machine as its file says", min_length=1, max_length=120)
    ratio: TrueRatio = TrueRatio()
    train: TrueTrain = TrueTrain()
    slip: TrueSlip = TrueSlip()
    part: TruePart = TruePart()
    load: TrueLoad = TrueLoad()
    motor: TrueMotor = TrueMotor()
    home: TrueHome = TrueHome()
    turns: Literal["clockwise", "counter-clockwise"] = Field(
        default="clockwise", description="which way the part turns for positive pulses, seen from its free end"
    )
    drift_at_power_off: SignedAngle | None = Field(default=None, description="of the part, when the motor lets go")
    reading: ReadTo = ReadTo()

    @model_validator(mode="after")
    def _stages_once(self) -> Self:
        names = [stage.name for stage in self.ratio.stages]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise contradiction("ratio.stages", f"the stage {twice!r} stands twice; give it once")
        return self

    @property
    def turned(self) -> Fraction:
        """So many times as far as its wheels and switches say does the part turn, exactly as the share is written."""
        return 1 + Fraction(str(self.ratio.share))
