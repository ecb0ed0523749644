"""What the motor draws from its supply, and what a stopped mass sends back. SI throughout."""

from __future__ import annotations

import math

from firmware_host.mechanics.guard import FloatOrArray, require_at_most, require_not_negative, require_positive


def braking_energy(inertia: float, speed: float, imbalance_torque: float = 0.0) -> float:
    """Most energy (J) that stopping can return: J omega^2/2, and 2 m g e where an imbalance comes down meanwhile.

    `inertia` >= 0 kg m^2 and `speed` rad/s on one shaft; `imbalance_torque` m g e >= 0 N m on the part's axis: its
    centre of mass falls by at most 2 e. Nothing lost on the way: an upper bound.
    """
    require_not_negative("inertia", inertia, "kg m^2")
    require_not_negative("imbalance torque", imbalance_torque, "N m")
    return inertia * speed**2 / 2 + 2 * imbalance_torque


def charged_voltage(energy: float, supply_voltage: float, capacitance: float) -> float:
    """sqrt(V^2 + 2 E/C) (V): the supply's voltage once `energy` (J, >= 0) has charged its capacitor.

    Energy balance on the capacitor, with nothing drawn meanwhile: an upper bound. `supply_voltage` > 0 V,
    `capacitance` > 0 F.
    """
    require_not_negative("energy sent back", energy, "J")
    require_positive("supply voltage", supply_voltage, "V")
    require_positive("supply capacitance", capacitance, "F")
    return math.sqrt(supply_voltage**2 + 2 * energy / capacitance)


def energy_taken_up(supply_voltage: float, highest_voltage: float, capacitance: float) -> float:
    """C (V_max^2 - V^2)/2 (J, >= 0): what the supply's capacitor takes up from `supply_voltage` to `highest_voltage`.

    Energy of a capacitor; `charged_voltage` solved for the energy. `supply_voltage` > 0 V, not above `highest_voltage`;
    `capacitance` > 0 F.
    """
    require_positive("supply voltage", supply_voltage, "V")
    require_at_most("supply voltage", supply_voltage, highest_voltage, "V")
    require_positive("supply capacitance", capacitance, "F")
    return capacitance * (highest_voltage**2 - supply_voltage**2) / 2


def supply_current(
    torque: FloatOrArray, speed: FloatOrArray, copper_loss: float, supply_voltage: float
) -> FloatOrArray:
    """(T omega + P)/V (A): mean current drawn at `torque` (N m, >= 0) and `speed` (rad/s, >= 0) of the motor.

    Power balance; the driver's own and the iron losses are left out. `copper_loss` P >= 0 W, `supply_voltage` > 0 V.
    """
    require_not_negative("torque", torque, "N m")
    require_not_negative("speed", speed, "rad/s")
    require_not_negative("copper loss", copper_loss, "W")
    require_positive("supply voltage", supply_voltage, "V")
    return (torque * speed + copper_loss) / supply_voltage
