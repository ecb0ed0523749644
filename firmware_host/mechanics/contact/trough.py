"""A round part in the trough of two rows of rollers: its geometry and what the statics need of it.

Seen along the axis; part on top, one row on either side of it, all rollers of one diameter. Lengths m, forces N.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum
from typing import TypeAlias

import numpy as np

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.contact.support import weight_across
from firmware_host.mechanics.contact.throw import centrifugal_force
from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


class DrivenRows(Enum):
    """Which rows the motor turns."""

    ONE = "one"
    BOTH = "both"


def contact_half_angle(part_diameter: float, roller_diameter: float, centre_distance: float) -> float:
    """Angle beta (rad, 0 < beta < pi/2) of each contact from the vertical: sin beta = c/(D_part + D_roller).

    From the triangle of the three centres. All in m, > 0. `FormulaRangeError` if the part falls through the trough.
    """
    require_positive("part diameter", part_diameter, "m")
    require_positive("roller diameter", roller_diameter, "m")
    require_positive("centre distance of the rollers", centre_distance, "m")
    if np.any(centre_distance >= part_diameter + roller_diameter):
        raise FormulaRangeError(
            "part diameter",
            float(np.min(part_diameter)),
            "m",
            centre_distance - roller_diameter,
            "The part falls through between the rollers: move the rows closer together",
        )
    half_angle: float = np.arcsin(centre_distance / (part_diameter + roller_diameter))
    return half_angle


def normal_at_standstill(mass: float, half_angle: float, tilt: float = 0.0) -> float:
    """Normal force m g cos(tilt)/(2 cos beta) (N) on each row with nothing turning; `mass` > 0 kg, 0 < beta < pi/2."""
    normal: float = weight_across(mass, tilt) / (2 * np.cos(half_angle))
    return normal


@dataclass(frozen=True, slots=True)
class Trough:
    """Part and rollers as the statics need them.

    `mass` > 0 kg and `part_inertia` >= 0 kg m^2 of the part; diameters and `centre_distance` in m (`part_diameter`
    where the rollers touch). `driven`: which rows. `idle_row_inertia` >= 0 kg m^2: the idle row's rollers together.
    `idle_friction_torque` >= 0 N m: their bearings together. `lever_arm` >= 0 m: rolling friction of each contact.
    `tilt` of the axis, rad, 0 level to below pi/2: what of the weight pulls across it presses on the rollers.
    `unbalance` m e >= 0 kg m; `throw` N: centrifugal force at the speed looked at, see `turning`, one or many.
    `stop_torque` >= 0 N m: friction of an axial stop on the part.
    """

    mass: float
    part_inertia: float
    part_diameter: float
    roller_diameter: float
    centre_distance: float
    driven: DrivenRows = DrivenRows.ONE
    idle_row_inertia: float = 0.0
    idle_friction_torque: float = 0.0
    lever_arm: float = 0.0
    tilt: float = 0.0
    unbalance: float = 0.0
    throw: FloatOrArray = 0.0
    stop_torque: float = 0.0

    def __post_init__(self) -> None:
        require_positive("mass", self.mass, "kg")
        require_not_negative("part inertia", self.part_inertia, "kg m^2")
        require_not_negative("inertia of the idle row", self.idle_row_inertia, "kg m^2")
        require_not_negative("bearing friction of the idle row", self.idle_friction_torque, "N m")
        require_not_negative("lever arm of rolling friction", self.lever_arm, "m")
        contact_half_angle(self.part_diameter, self.roller_diameter, self.centre_distance)

    def turning(self, speed: FloatOrArray) -> Trough:
        """The same while the part turns up to `speed` (rad/s), one or many: its centrifugal force counts."""
        return replace(self, throw=centrifugal_force(self.unbalance, speed)) if np.any(self.unbalance) else self

    @property
    def weight(self) -> float:
        """What presses into the trough, N."""
        return weight_across(self.mass, self.tilt)

    @property
    def half_angle(self) -> float:
        """Contact half-angle beta in rad."""
        half_angle: float = np.arcsin(self.centre_distance / (self.part_diameter + self.roller_diameter))
        return half_angle


@dataclass(frozen=True, slots=True, eq=False)
class ManyTroughs:
    """Many parts that differ a little on the same rollers: `Trough` with arrays of shape (n,) in place of numbers."""

    mass: FloatArray
    part_inertia: FloatArray
    part_diameter: FloatArray
    roller_diameter: float
    centre_distance: float
    driven: DrivenRows
    idle_row_inertia: float
    idle_friction_torque: FloatArray
    lever_arm: FloatArray
    tilt: float = 0.0
    unbalance: FloatOrArray = 0.0
    throw: FloatOrArray = 0.0
    stop_torque: FloatOrArray = 0.0

    def turning(self, speed: FloatOrArray) -> ManyTroughs:
        """The same while the parts turn up to `speed` (rad/s): their centrifugal forces count."""
        return replace(self, throw=centrifugal_force(self.unbalance, speed))

    @property
    def weight(self) -> FloatArray:
        """What presses into the trough, N."""
        return self.mass * STANDARD_GRAVITY * math.cos(self.tilt)

    @property
    def half_angle(self) -> FloatArray:
        """Contact half-angles beta in rad; NaN where the part falls through."""
        sine = self.centre_distance / (self.part_diameter + self.roller_diameter)
        return np.asarray(np.arcsin(np.where(sine < 1, sine, np.nan)))


AnyTrough: TypeAlias = Trough | ManyTroughs
"""One part on its rollers, or many at once: then the results' last axis is theirs."""
