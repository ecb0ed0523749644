"""The indexes of a job as many slightly different machines would make them, all at once.

The motion at the motor is the same for all: it is what the plan commands. What differs is what the motor has to turn,
what it pulls, and how the part grips. Arrays of shape (draws,); factors are 1 where an input isn't uncertain.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.contact.rollers import rolling_drag
from firmware_host.mechanics.contact.trough import ManyTroughs
from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.train.transmission import Stage, torque_at_motor
from firmware_host.mechanics.uncertainty import FactorRange
from firmware_host.model.files.loading import Setup
from firmware_host.model.part.part import MeasuredPart
from firmware_host.planning.body import body_of
from firmware_host.planning.limits.case import DrawnCase, IndexExtremes
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.load.drive import friction_along_axis

Factors: TypeAlias = Mapping[str, FloatArray]

_VOLTAGES = 256
_ONE = np.ones(1)


@dataclass(frozen=True, slots=True, eq=False)
class DrawnPart:
    """The part and what resists it, each of shape (draws,), at the part's axis but for `turns`.

    `mass` kg, `inertia` kg m^2 offset included, `imbalance` m g e N m, `friction` N m, `turns`: of the drive's shaft
    per turn of the part. `trough`: on rollers.
    """

    mass: FloatArray
    inertia: FloatArray
    imbalance: FloatArray
    friction: FloatArray
    turns: FloatArray
    trough: ManyTroughs | None


@dataclass(frozen=True, slots=True, eq=False)
class DrawnLoad:
    """Many drawn loads, as the limits ask for one (`limits.case.AnyLoad`), arrays of shape (draws,).

    `planned`: the load of the plan. `gearing`: the stages up to the drive's shaft. `turns`: of that shaft per turn of
    the part, and `shaft_inertia` (kg m^2) what turns with it, both as planned. `pull_out` N m: the least up to the
    plan's peak speed, at the drawn voltage. `along`: friction coefficient that keeps the part from sliding along.
    """

    planned: LoadCase
    part: DrawnPart
    factors: Factors
    gearing: tuple[Stage, ...]
    turns: float
    shaft_inertia: float
    pull_out: FloatArray
    along: float

    @property
    def imbalance_torque(self) -> FloatArray:
        """Torque of the imbalance at the part's axis, N m."""
        return self.part.imbalance

    @property
    def imbalance_at_motor(self) -> FloatArray:
        """The same at the motor, N m."""
        return self.part.imbalance * self.turns / (self.planned.ratio * self.part.turns)

    @property
    def standstill_torque(self) -> FloatArray:
        """What the motor holds with, N m."""
        return self.planned.standstill_torque * self.factors.get("torque", _ONE)

    @property
    def trough(self) -> ManyTroughs | None:
        """The parts on their rollers."""
        return self.part.trough

    @property
    def friction(self) -> FloatArray | None:
        """Coefficient of the rollers' grip."""
        planned, along = self.planned.friction, self.along
        if planned is None:
            return None
        drawn = np.hypot(planned, along) * self.factors.get("friction", _ONE)
        return np.asarray(np.sqrt(np.maximum(drawn**2 - along**2, 0.0)))

    def of_part(self, planned: float) -> FloatArray:
        """A part that is thicker than planned turns slower at the same motion of the motor: acceleration and speed."""
        return planned * self.turns / self.part.turns

    def lowest_pull_out(self, part_speed: float) -> FloatArray:
        """Least pull-out torque (N m) up to the peak speed, for which the table was made."""
        del part_speed
        return self.pull_out * self.factors.get("torque", _ONE)

    def peak_torque(self, up: FloatOrArray, down: FloatOrArray) -> FloatArray:
        """Largest torque (N m at the motor): speeding up and braking as planned, at both ends of the imbalance."""
        torques = [
            np.abs(self._torque(acceleration, gravity)) for acceleration in (up, -down) for gravity in (1.0, -1.0)
        ]
        return np.asarray(np.maximum.reduce(torques))

    def _torque(self, acceleration: FloatOrArray, gravity: float) -> FloatArray:
        """Signed torque (N m at the motor) for a planned `acceleration` of the part (rad/s^2)."""
        part, shaft = self.part, acceleration * self.turns
        at_part = part.inertia * shaft / part.turns + part.friction + gravity * part.imbalance
        return torque_at_motor(
            self.gearing,
            rotor_inertia=self.planned.rotor_inertia,
            load_inertia=self.shaft_inertia,
            load_acceleration=shaft,
            load_torque=at_part / part.turns,
            efficiency_factor=self.factors.get("efficiency", _ONE),
        )


class IndexDraws:
    """Margins of one job's indexes at one motion, for drawn factors by input name (see `reliability_inputs`)."""

    def __init__(self, setup: Setup, load: LoadCase, index: IndexExtremes, voltage: FactorRange) -> None:
        """`voltage`: the range that the supply voltage's factor is drawn from. The load case must lack no datum."""
        self._load, self._index, self._body = load, index, body_of(setup.job.part)
        self._measured = isinstance(setup.job.part, MeasuredPart)
        stages = len(setup.machine.gearing)
        self._gearing, to_part = load.stages[:stages], load.stages[stages:]
        self._turns = to_part[0].ratio if to_part else 1.0
        self._shaft_inertia = to_part[0].input_inertia if to_part else load.load_inertia - self._body.inertia
        drag = float(rolling_drag(load.trough)) if load.trough is not None else 0.0
        self._bearings = load.friction_torque - drag
        self._voltage = voltage
        self._along = friction_along_axis(setup.machine.drive.cradle, load.trough)
        self._across = math.cos(setup.machine.axis.tilt.si)
        self._rolls = setup.machine.drive.rolls_on_part
        self._pull_out = self._lowest_pull_out()

    def margins(self, factors: Factors) -> dict[str, FloatArray]:
        """Margin of each limit that can fail in a draw, by its name, -1 to 1, shape (draws,): below 0 it fails.

        The ringing is that of the plan's worst phase; no safety factor, for the draws stand in for it.
        """
        count = max((drawn.size for drawn in factors.values()), default=1)
        case = DrawnCase(self._drawn(factors), self._index)
        asked = {limit.name: limit.drawn(case) for limit in all_limits()}
        return {name: np.broadcast_to(margin, (count,)) for name, margin in asked.items() if margin is not None}

    def _drawn(self, factors: Factors) -> DrawnLoad:
        return DrawnLoad(
            self._load,
            self._part(factors),
            factors,
            self._gearing,
            self._turns,
            self._shaft_inertia,
            self._pull_out_at(factors),
            self._along,
        )

    def _part(self, factors: Factors) -> DrawnPart:
        """The drawn part. All its diameters are wrong by one factor: volume and radius of gyration^2 go by its square.

        A weighed mass stays as drawn whatever the diameter; a measured inertia likewise.
        """
        body = self._body
        wide, offset = factors.get("diameter", _ONE), body.offset_at(factors.get("mass_offset", _ONE))
        by_density = factors["density"] * wide**2 if "density" in factors else _ONE
        mass = body.mass * factors.get("mass", by_density)
        about_centre = (body.inertia / body.mass - (body.offset or 0.0) ** 2) * wide**2
        inertia = mass * (about_centre + offset**2)
        if self._measured:
            inertia = body.inertia * factors.get("inertia", _ONE)
        imbalance = mass * STANDARD_GRAVITY * self._across * offset
        bearings, trough = factors.get("friction_torque", _ONE), self._load.trough
        slower = wide if self._rolls else _ONE
        friction, turns = self._bearings * slower * bearings, self._turns * slower
        if trough is None:
            return DrawnPart(mass, inertia, imbalance, friction, turns, None)
        many = ManyTroughs(
            mass=mass,
            part_inertia=inertia,
            part_diameter=trough.part_diameter * wide,
            roller_diameter=trough.roller_diameter,
            centre_distance=trough.centre_distance,
            driven=trough.driven,
            idle_row_inertia=trough.idle_row_inertia,
            idle_friction_torque=trough.idle_friction_torque * bearings,
            lever_arm=trough.lever_arm * factors.get("rolling_resistance", _ONE),
            tilt=trough.tilt,
            stop_torque=trough.stop_torque * bearings,
            unbalance=mass * offset,
        )
        return DrawnPart(mass, inertia, imbalance, rolling_drag(many) + friction, turns, many)

    def _lowest_pull_out(self) -> FloatArray:
        """Least pull-out torque (N m) up to the peak speed at each of the table's voltages, lowest first."""
        factors = np.linspace(self._voltage.lowest, self._voltage.highest, _VOLTAGES)
        volts = (self._load.supply_voltage * factors).tolist()
        loads = (replace(self._load, supply_voltage=v) for v in volts)
        return np.array([load.lowest_pull_out(self._index.peak_speed) for load in loads])

    def _pull_out_at(self, factors: Factors) -> FloatArray:
        """The table's entry at the next lower voltage: more voltage never costs torque, so this errs on the safe side.

        By less than a 255th of the range of voltages.
        """
        low, high = self._voltage.lowest, self._voltage.highest
        if "supply_voltage" not in factors or high <= low:
            return self._pull_out[:1]
        place = (factors["supply_voltage"] - low) / (high - low) * (_VOLTAGES - 1)
        return self._pull_out[np.floor(place).astype(np.intp)]
