"""Inertia and torque carried through gearing stages to the motor.

Signs: the motor turns in `direction` (+1 or -1) and every stage keeps the sense of rotation (a real reversal is the
axis' direction setting). Torques and accelerations are signed in the same sense. A load torque is positive when the
motor must supply it in the positive sense: friction is `direction` * |friction|, gravity keeps its own sign.
Inertias kg m^2, torques N m, accelerations rad/s^2; a ratio is input turns per output turn, so > 1 slows down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from firmware_host.mechanics.guard import (
    FloatArray,
    FloatOrArray,
    require_at_most,
    require_not_negative,
    require_positive,
)


@dataclass(frozen=True, slots=True)
class Stage:
    """One gearing stage, motor side first.

    `ratio` > 0: input turns per output turn. `efficiency`: 0 < eta <= 1, of the power that passes either way.
    `input_inertia`, `output_inertia` >= 0 kg m^2: what the stage itself adds on its input and on its output shaft.
    """

    ratio: float
    efficiency: float = 1.0
    input_inertia: float = 0.0
    output_inertia: float = 0.0

    def __post_init__(self) -> None:
        require_positive("stage ratio", self.ratio)
        require_positive("stage efficiency", self.efficiency)
        require_at_most("stage efficiency", self.efficiency, 1.0)
        require_not_negative("inertia on the input shaft", self.input_inertia, "kg m^2")
        require_not_negative("inertia on the output shaft", self.output_inertia, "kg m^2")


def total_efficiency(stages: Sequence[Stage]) -> float:
    """Product of the stages' efficiencies; 1 without stages."""
    efficiency = 1.0
    for stage in stages:
        efficiency *= stage.efficiency
    return efficiency


def reflect(inertia: float, ratio: float) -> float:
    """J/n^2 (kg m^2): `inertia` >= 0 on a shaft that the motor turns `ratio` times faster than (energy balance)."""
    require_not_negative("inertia", inertia, "kg m^2")
    require_positive("ratio", ratio)
    return inertia / ratio**2


def inertia_at_motor(stages: Sequence[Stage], load_inertia: float) -> float:
    """Inertia (kg m^2) of load and stages as the motor feels it, without the rotor's own.

    From the load inwards: J = input_inertia + (output_inertia + J)/ratio^2. `load_inertia` >= 0 on the last output.
    """
    inertia = load_inertia
    for stage in reversed(stages):
        inertia = stage.input_inertia + reflect(stage.output_inertia + inertia, stage.ratio)
    return inertia


def inertia_ratio(reflected_inertia: float, rotor_inertia: float) -> float:
    """Reflected inertia over the rotor's own, both kg m^2 at the motor.

    At most 10 as a rule of thumb, near 1 for quick moves (Machine Design, "Stepping up success with proper motor
    sizing", 2001).
    """
    require_not_negative("reflected inertia", reflected_inertia, "kg m^2")
    require_positive("rotor inertia", rotor_inertia, "kg m^2")
    return reflected_inertia / rotor_inertia


def through_stage(
    torque: FloatOrArray, stage: Stage, direction: FloatOrArray = 1.0, *, efficiency_factor: FloatOrArray = 1.0
) -> FloatArray:
    """Torque (N m) at the input of an inertialess stage for `torque` at its output.

    Power that flows from the motor to the load (torque * direction > 0) costs torque/(ratio * efficiency); where the
    load drives the motor the losses help: torque * efficiency/ratio. The stage's efficiency counts times
    `efficiency_factor` (> 0), at most 1.
    """
    torque = np.asarray(torque, dtype=np.float64)
    efficiency = np.minimum(stage.efficiency * np.asarray(efficiency_factor, dtype=np.float64), 1.0)
    driving = torque * np.asarray(direction, dtype=np.float64) > 0
    return np.where(driving, torque / (stage.ratio * efficiency), torque * efficiency / stage.ratio)


def torque_at_motor(
    stages: Sequence[Stage],
    *,
    rotor_inertia: float,
    load_inertia: float,
    load_acceleration: FloatOrArray,
    load_torque: FloatOrArray = 0.0,
    direction: FloatOrArray = 1.0,
    efficiency_factor: FloatOrArray = 1.0,
) -> FloatArray:
    """Signed torque (N m) that the motor must make, inertias of the stages included. Arguments broadcast.

    `load_acceleration` rad/s^2 of the last output shaft: with the sign of `direction` it speeds up, against it brakes.
    `load_torque` N m on that shaft (friction and gravity, signed as the module says). Newton's law shaft by shaft:
    torque on an output = inertia * acceleration + what lies beyond, then `through_stage`.
    """
    acceleration = np.asarray(load_acceleration, dtype=np.float64)
    torque = np.asarray(load_torque, dtype=np.float64) + load_inertia * acceleration
    for stage in reversed(stages):
        torque = torque + stage.output_inertia * acceleration
        acceleration = acceleration * stage.ratio
        torque = (
            through_stage(torque, stage, direction, efficiency_factor=efficiency_factor)
            + stage.input_inertia * acceleration
        )
    return torque + rotor_inertia * acceleration


class WorstTorque(NamedTuple):
    """Largest torque magnitudes (N m at the motor) over both directions and all imbalance angles."""

    accelerating: FloatArray
    braking: FloatArray


def worst_torque(
    stages: Sequence[Stage],
    *,
    rotor_inertia: float,
    load_inertia: float,
    load_acceleration: FloatOrArray,
    friction_torque: FloatOrArray = 0.0,
    imbalance_torque: FloatOrArray = 0.0,
) -> WorstTorque:
    """Torque needed to speed up and to brake, at the worst angle of an imbalance.

    `load_acceleration` >= 0 rad/s^2, `friction_torque` and `imbalance_torque` >= 0 N m, all on the last output shaft;
    they broadcast.
    The torque is monotone in the gravity torque, which runs through +-`imbalance_torque` as the part turns, so its
    extremes lie at the two ends; turning the other way mirrors every sign, so one direction stands for both.
    """
    a = require_not_negative("acceleration", load_acceleration, "rad/s^2")
    require_not_negative("friction torque", friction_torque, "N m")
    require_not_negative("imbalance torque", imbalance_torque, "N m")
    either_way = np.array([-1.0, 1.0]).reshape((2,) + (1,) * max(a.ndim, np.ndim(imbalance_torque)))
    gravity = either_way * imbalance_torque

    def magnitude(acceleration: FloatArray) -> FloatArray:
        signed = torque_at_motor(
            stages,
            rotor_inertia=rotor_inertia,
            load_inertia=load_inertia,
            load_acceleration=acceleration,
            load_torque=friction_torque + gravity,
        )
        largest: FloatArray = np.abs(signed).max(axis=0)
        return largest

    return WorstTorque(accelerating=magnitude(a), braking=magnitude(-a))
