"""Limits of the motor's supply: what it feeds, and what braking sends back to it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.motor.supply import charged_voltage, supply_current
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, not_known, upper_limit
from firmware_host.planning.limits.limit import TENFOLD, Figures, Limit, MotionBound, SpeedBound, left_over
from firmware_host.planning.limits.remedy import GENTLER, SLOWER, higher, lower
from firmware_host.planning.load.case import LoadCase


class SupplyLimit(Limit):
    """Power and energy of one supply are lifted together."""

    stops_unknown = False

    def lifted(self, load: LoadCase) -> LoadCase:
        """Ten times the power that the supply gives, and the energy that it takes back."""
        power, room = load.supply.power, load.supply.braking_room
        supply = load.supply._replace(
            power=power * TENFOLD if power is not None else None,
            braking_room=room * TENFOLD if room is not None else None,
        )
        return replace(load, supply=supply)


class SupplyCurrent(SupplyLimit):
    """Current drawn at the peak speed's worst."""

    name = "supply-current"
    ways = (higher("driver.supply_current", "a stronger supply"), SLOWER, GENTLER, lower("driver.current"))

    def check(self, case: LimitCase) -> LimitCheck:
        formula = "(T*omega + P_cu)/V <= supply_current, at the peak speed, speeding up; P_cu = I^2*R or 2*I^2*R"
        source = "power balance; losses of driver and iron left out"
        found = self.figures(case)
        if found is None:
            missing = ("driver.supply_current",)
            return not_known(self.name, "A", formula=formula, source=source, missing=missing)
        return upper_limit(
            self.name,
            *found,
            "A",
            formula=formula,
            source=source,
            remedy="Take a motor that needs less",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        load, index, rated = case.load, case.index, case.machine.driver.supply_current
        if rated is None:
            return None
        torque, most = load.torque(index.acceleration).accelerating, load.supply.losses.most
        return supply_current(torque, index.peak_speed * load.ratio, most, load.supply_voltage), rated.si

    def bound(self, load: LoadCase, reserve: float) -> MotionBound | None:
        """From T omega + P_cu <= V I, see `left_over`; None where nobody knows, or no motion keeps it."""
        power = left_over(load.supply.power, load.supply.losses.most, reserve)
        return _Power(power, load.ratio, *load.torque_line) if power is not None else None


class SupplyVoltage(SupplyLimit):
    """The energy that a stop from the peak speed sends back to the supply."""

    name = "supply-voltage"
    ways = (higher("driver.supply_capacitance"), SLOWER, GENTLER)

    def check(self, case: LimitCase) -> LimitCheck:
        driver, load, index = case.machine.driver, case.load, case.index
        formula = "J*omega^2/2 + 2*m*g*e <= C*(highest_supply_voltage^2 - V^2)/2"
        source = "energy balance of the supply's capacitor, nothing lost on the way: an upper bound"
        capacitance, room = driver.supply_capacitance, load.supply.braking_room
        if capacitance is None or room is None:
            wanted = {
                "driver.supply_capacitance": capacitance,
                "driver.highest_supply_voltage": driver.highest_supply_voltage,
            }
            missing = tuple(key for key, value in wanted.items() if value is None)
            return not_known(self.name, "J", formula=formula, source=source, missing=missing)
        energy = load.braking_energy(index.peak_speed)
        charged = charged_voltage(energy, load.supply_voltage, capacitance.si)
        return upper_limit(
            self.name,
            energy,
            room,
            "J",
            formula=f"{formula} -> at most {charged:.4g} V",
            source=source,
            remedy="Put a brake resistor at the supply",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        room = case.load.supply.braking_room
        return (case.load.braking_energy(case.index.peak_speed), room) if room is not None else None

    def bound(self, load: LoadCase, reserve: float) -> MotionBound | None:
        """A stop sends back as much as the capacitor may take, less what an imbalance sends back at any speed."""
        at_any_speed = load.braking_energy(0.0)
        kinetic = left_over(load.supply.braking_room, at_any_speed, reserve)
        if kinetic is None:
            return None
        return SpeedBound(np.sqrt(kinetic / (load.braking_energy(1.0) - at_any_speed)))


@dataclass(frozen=True, slots=True)
class _Power(MotionBound):
    """`power` W for the shaft of a motor that turns `ratio` times as fast as the part; torque as in `torque_line`."""

    power: float
    ratio: float
    still: float
    slope: float

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        motor_speeds = speeds * self.ratio
        running = motor_speeds > 0
        torque = np.where(running, self.power / np.where(running, motor_speeds, 1.0), math.inf)
        return (torque - self.still) / self.slope

    def braking(self, speeds: FloatArray, pull_out: FloatArray) -> None:
        """Nothing: braking feeds the supply."""
