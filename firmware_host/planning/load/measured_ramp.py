"""How quick a ramp may be by what was tried on the machine, for this load."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from firmware_host.mechanics.train.transmission import Stage
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.load.swing import turning_with


class MeasuredRamp(NamedTuple):
    """The largest `acceleration` (rad/s^2) and the highest `speed` (rad/s) of the part, > 0, its reserve kept."""

    acceleration: float
    speed: float


def measured_ramp(
    machine: Machine, gearing: Sequence[Stage], shaft_per_part: float, turning: float
) -> MeasuredRamp | None:
    """What the file says for a load of which `turning` (kg m^2 at the motor, rotor counted) turns; None if nothing.

    `gearing`: the stages up to the drive's shaft, which turns `shaft_per_part` times as often as the part. More inertia
    than what was tried with takes as much less acceleration: the same torque. Less is given no more than was tried.
    """
    ramp = machine.ramp
    if ramp.acceleration is None or ramp.speed is None:
        return None
    tried_with = turning_with(machine, gearing, ramp.load_inertia)
    share = min(tried_with / turning, 1.0)
    return MeasuredRamp(ramp.acceleration.si / shaft_per_part * share, ramp.speed.si / shaft_per_part)
