"""What a driver feeds the phases of its motor with: torque, heat and supply ask the same."""

from __future__ import annotations

from firmware_host.errors import InputError
from firmware_host.mechanics.motor.phases import PhaseMode
from firmware_host.model.machine.driver import Driver


def phase_mode(driver: Driver) -> PhaseMode:
    """The mode of `driver` at its microsteps.

    `InputError` where full or half steps may be shaped or not: `planning.assume` tries both.
    """
    if driver.current_shaped is None and driver.microsteps <= 2:
        key = "driver.current_shaped"
        raise InputError(f"{key} is not stated", f"Give {key}", key=key)
    return PhaseMode.of(driver.microsteps, shaped=bool(driver.current_shaped))
