"""Every limit of an index move, in the order they are shown. A new limit is one line more here."""

from __future__ import annotations

from firmware_host.planning.limits.bearings.grip_range import GripRange
from firmware_host.planning.limits.bearings.motor_shaft import MotorShaftLoad, RollerBearings, WormThrust
from firmware_host.planning.limits.bearings.overhang import Overhang
from firmware_host.planning.limits.bearings.slender import UnsupportedLength
from firmware_host.planning.limits.bearings.supports import (
    AxialLoad,
    PowerOffTurn,
    RadialLoad,
    SteadyRestLoad,
    TailstockLoad,
)
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.motor.heat import HeatCycle, HeatHolding
from firmware_host.planning.limits.motor.inertia import InertiaRatio, MassDisagreement
from firmware_host.planning.limits.motor.measured_ramp import MeasuredRampLimit
from firmware_host.planning.limits.motor.mid_range import MidRange
from firmware_host.planning.limits.motor.resonance import Resonance
from firmware_host.planning.limits.motor.start_jump import StartJump
from firmware_host.planning.limits.motor.step_rate import ControllerStepRate, DriverStepRate, StepPulse
from firmware_host.planning.limits.motor.supply import SupplyCurrent, SupplyVoltage
from firmware_host.planning.limits.motor.torque import HoldingTorque, TorqueAccelerating, TorqueBraking, TorquePeak
from firmware_host.planning.limits.motor.twist import Twist
from firmware_host.planning.limits.rolling.grip import Grip, GripPeak, Seating, SeatingPeak
from firmware_host.planning.limits.rolling.rollers import AxialSlide, AxialWalk, Creep, FallsThrough

LIMITS: tuple[Limit, ...] = (
    TorqueAccelerating(),
    TorqueBraking(),
    TorquePeak(),
    HoldingTorque(),
    DriverStepRate(),
    ControllerStepRate(),
    StepPulse(),
    StartJump(),
    MeasuredRampLimit(),
    InertiaRatio(),
    Resonance(),
    MidRange(),
    Twist(),
    MassDisagreement(),
    FallsThrough(),
    Grip(),
    Seating(),
    GripPeak(),
    SeatingPeak(),
    Creep(),
    AxialSlide(),
    AxialWalk(),
    GripRange(),
    Overhang(),
    RadialLoad(),
    AxialLoad(),
    MotorShaftLoad(),
    RollerBearings(),
    WormThrust(),
    TailstockLoad(),
    SteadyRestLoad(),
    UnsupportedLength(),
    PowerOffTurn(),
    HeatHolding(),
    HeatCycle(),
    SupplyCurrent(),
    SupplyVoltage(),
)


def all_limits() -> tuple[Limit, ...]:
    """The limits that every plan keeps."""
    return LIMITS
