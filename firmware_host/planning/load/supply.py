"""What the motor's supply can give, and what it can take back; None where nobody gave the data. SI floats."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.mechanics.motor.heat import sine_copper_loss
from firmware_host.mechanics.motor.supply import energy_taken_up
from firmware_host.model.machine.machine import Machine


@dataclass(frozen=True, slots=True)
class Supply:
    """`power` W that the supply can give; `copper_loss` W of the winding at the set current.

    `braking_room`: energy (J, >= 0) that its capacitor takes up from the supply's voltage to the highest one.
    """

    power: float | None = None
    copper_loss: float | None = None
    braking_room: float | None = None


def supply_of(machine: Machine) -> Supply:
    """The supply of a machine at its driver's voltage."""
    driver, resistance = machine.driver, machine.motor.resistance
    voltage, most = driver.supply_voltage.si, driver.highest_supply_voltage
    current, capacitance = driver.supply_current, driver.supply_capacitance
    return Supply(
        power=voltage * current.si if current is not None else None,
        copper_loss=sine_copper_loss(driver.current.si, resistance.si) if resistance is not None else None,
        braking_room=(
            energy_taken_up(voltage, most.si, capacitance.si) if most is not None and capacitance is not None else None
        ),
    )
