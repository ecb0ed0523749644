"""How warm the motor of a true machine gets."""

from __future__ import annotations

import math

from firmware_host.mechanics.motor.heat import sine_copper_loss
from firmware_host.model import Machine
from firmware_host.model.base import stated
from firmware_host.simulator.true_machine.description import TrueMachine

_THERMAL_TIME_S = 1200.0
"""Time constant of a motor of which nobody says it: 20 min, from memory."""
_ROOM = 20.0


def winding_temperature(true: TrueMachine, machine: Machine, on_s: float) -> float:
    """Temperature (degC) after `on_s` s (>= 0) at the set current: one body, warming by its copper loss.

    T = T_a + P R (1 - exp(-t/tau)) (Newton's law of cooling). Raises `InputError` for what neither file says.
    """
    motor = machine.motor
    resistance = true.motor.resistance or stated(motor.resistance, "motor.resistance")
    to_air = true.motor.thermal_resistance or stated(motor.thermal_resistance, "motor.thermal_resistance")
    current = true.motor.current or machine.driver.current
    ambient = true.motor.ambient.si if true.motor.ambient is not None else _ROOM
    lasts = true.motor.thermal_time.si if true.motor.thermal_time is not None else _THERMAL_TIME_S
    rise = sine_copper_loss(current.si, resistance.si) * to_air.si
    return ambient + rise * (1 - math.exp(-on_s / lasts))
