"""Which of the ways to feed its phases a driver uses, for torque and for heat."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.mechanics.motor.phases import PhaseMode
from firmware_host.model.machine.driver import Driver


@dataclass(frozen=True, slots=True)
class PhaseModes:
    """What the phases carry: `torque` counts for what the motor pulls, `heat` for what it heats and draws.

    One and the same where the driver's shaping is stated. Where it is not, each is the unkind one: the weaker for the
    torque, the hotter for the heat.
    """

    torque: PhaseMode
    heat: PhaseMode


def phase_modes(driver: Driver) -> PhaseModes:
    """The modes of `driver` at its microsteps."""
    shaped, microsteps = driver.current_shaped, driver.microsteps
    return PhaseModes(
        torque=PhaseMode.of(microsteps, shaped=shaped is not False),
        heat=PhaseMode.of(microsteps, shaped=shaped is True),
    )
