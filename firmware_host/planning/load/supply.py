"""What the motor turns to heat, what its supply can give and what it can take back; None where nobody gave it."""

from __future__ import annotations

from typing import NamedTuple

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.motor.heat import iron_loss, moving_copper_loss, sine_copper_loss, standing_copper_loss
from firmware_host.mechanics.motor.supply import energy_taken_up
from firmware_host.model.base import stated
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.load.phases import phase_mode


class Losses(NamedTuple):
    """What one motor turns to heat, W.

    Copper losses: `most` at the set current at the warmest place, `moving` from step to step, `holding` at the
    standstill current. `rated`: I^2 R at the rated current, which the iron loss is as large as at `iron_speed` (rad/s).
    """

    most: float
    moving: float
    holding: float
    rated: float
    iron_speed: float

    def iron(self, mean_speed: FloatOrArray, peak_speed: FloatOrArray) -> FloatArray:
        """Mean iron loss (W) over a move of the motor with these speeds (rad/s, >= 0)."""
        return iron_loss(mean_speed, peak_speed, self.rated, self.iron_speed)


class Supply(NamedTuple):
    """`power` W that the supply can give; `losses` of the motor, which it has to feed.

    `braking_room`: energy (J, >= 0) that its capacitor takes up from the supply's voltage to the highest one.
    """

    losses: Losses
    power: float | None = None
    braking_room: float | None = None


def supply_of(machine: Machine) -> Supply:
    """The supply of a machine at its driver's voltage."""
    driver = machine.driver
    voltage, most = driver.supply_voltage.si, driver.highest_supply_voltage
    current, capacitance = driver.supply_current, driver.supply_capacitance
    return Supply(
        power=voltage * current.si if current is not None else None,
        losses=losses_of(machine),
        braking_room=(
            energy_taken_up(voltage, most.si, capacitance.si) if most is not None and capacitance is not None else None
        ),
    )


def losses_of(machine: Machine) -> Losses:
    """The losses of the motor with its driver."""
    motor, driver, mode = machine.motor, machine.driver, phase_mode(machine.driver)
    current, resistance = driver.current.si, stated(motor.resistance, "motor.resistance").si
    return Losses(
        most=standing_copper_loss(current, resistance, mode),
        moving=moving_copper_loss(current, resistance, mode),
        holding=standing_copper_loss(current * driver.standstill_share, resistance, mode),
        rated=sine_copper_loss(motor.rated_current.si, resistance),
        iron_speed=stated(motor.iron_loss_speed, "motor.iron_loss_speed").si,
    )
