"""At which frequency rotor and load swing on the motor's magnetic spring, and how well that and the damping are known.

The frequency is computed from the motor's torque, or follows from one that somebody measured: the stiffness that this
implies swings any other load.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from firmware_host.errors import InputError
from firmware_host.mechanics.train.transmission import Stage, inertia_at_motor
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand, measured_stiffness, natural_frequency
from firmware_host.model.base import stated
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.swing import Swing
from firmware_host.units import Quantity

COMPUTED_UNCERTAINTY = 0.1
"""How far the true natural frequency may lie from a computed one, as a part of it (common practice, no source)."""

UNMEASURED_DAMPING = DampingRange(0.05, 0.2)
"""Damping ratio of a motor on its magnetic spring where nobody measured it, from memory."""

MEASURED_UNCERTAINTY = 0.05
"""How well a measured frequency is known where nobody says it, as a part of it, from memory."""

MEASURED_DAMPING_UNCERTAINTY = 0.2
"""How well a measured damping ratio is known where nobody says it, as a part of it, from memory."""

_MOST_STIFFENED, _MOST_SOFTENED = 9.0, 1 / 400
"""Beyond these shares of the motor's own stiffness a measured one is a slip of the unit or of the inertia.

Detent torque and saturation don't stiffen it threefold; a long belt may soften it much (from memory).
"""


def natural_frequency_of(
    machine: Machine, gearing: Sequence[Stage], turning: float, running_torque: float
) -> tuple[float, float | None]:
    """(w in rad/s at which `turning` swings, the inertia that a measured w was found with or None if it is computed).

    Inertias kg m^2 at the motor, rotor counted: `turning` of this job. `gearing`: the stages up to the drive's shaft;
    `running_torque` N m: peak of the static torque at the set current. The magnetic stiffness goes with the current.

    `InputError` where the measured frequency can't be that of this motor with what turned along.
    """
    swing, teeth = machine.swing, machine.motor.full_steps // 4
    computed = natural_frequency(teeth, running_torque, turning)
    if swing.frequency is None:
        return computed, None
    inertia = turning_with(machine, gearing, swing.load_inertia)
    current = machine.driver.current.si
    raised = current / swing.current.si if swing.current is not None else 1.0
    spring = measured_stiffness(2 * math.pi * swing.frequency.si, inertia) * raised
    share = spring / (computed**2 * turning)
    if not _MOST_SOFTENED <= share <= _MOST_STIFFENED:
        expected = math.sqrt(computed**2 * turning / raised / inertia) / (2 * math.pi)
        raise InputError(
            f"swing.frequency {swing.frequency} is not near the {expected:.4g} Hz that follow from the motor's torque",
            "Check its unit, swing.load_inertia (about the drive's shaft) and swing.current",
            key="swing.frequency",
        )
    return math.sqrt(spring / turning), inertia


def turning_with(machine: Machine, gearing: Sequence[Stage], load_inertia: Quantity | None) -> float:
    """What turns (kg m^2 at the motor, rotor counted) with `load_inertia` clamped or on the rollers; None: nothing.

    `load_inertia` about the drive's shaft, as a file says it; `gearing`: the stages up to that shaft.
    """
    along = machine.drive.shaft_body.inertia + (load_inertia.si if load_inertia is not None else 0.0)
    return stated(machine.motor.rotor_inertia, "motor.rotor_inertia").si + inertia_at_motor(gearing, along)


def frequency_band(swing: Swing, natural: float, turning: float, measured_with: float | None) -> FrequencyBand:
    """Where the natural angular frequency (rad/s) of `turning` (kg m^2) may lie; see `natural_frequency_of`.

    A measured one is known as well as it was measured for what turned along; the more the inertia differs from that,
    the more of the uncertainty of a computed one is added.
    """
    if measured_with is None:
        return FrequencyBand.around(natural, COMPUTED_UNCERTAINTY)
    measured = swing.frequency_uncertainty or MEASURED_UNCERTAINTY
    differs = 1 - min(turning, measured_with) / max(turning, measured_with)
    return FrequencyBand.around(natural, measured + COMPUTED_UNCERTAINTY * differs)


def damping_range(swing: Swing) -> DampingRange:
    """Where the damping ratio may lie: as measured, else as assumed."""
    if swing.damping_ratio is None:
        return UNMEASURED_DAMPING
    ratio, part = swing.damping_ratio, swing.damping_uncertainty or MEASURED_DAMPING_UNCERTAINTY
    return DampingRange(ratio * (1 - part), ratio * (1 + part))
