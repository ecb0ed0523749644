"""The step rates at which a motor may hunt, wherever in its range what is not stated of its winding lies."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

from firmware_host.mechanics.motor.instability import mid_range_band
from firmware_host.mechanics.motor.phases import PhaseMode
from firmware_host.mechanics.motor.torque import Winding, torque_constant
from firmware_host.model.base import stated
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.planning.assume.assumption import Assumption
from firmware_host.planning.assume.complete import with_assumed


def winding_of(motor: Motor) -> Winding:
    """Electrical data of a described motor, per phase."""
    resistance, inductance = stated(motor.resistance, "motor.resistance"), stated(motor.inductance, "motor.inductance")
    constant = torque_constant(motor.holding_torque.si, motor.rated_current.si)
    return Winding(resistance.si, inductance.si, constant, motor.full_steps // 4)


def hunting_band(
    machine: Machine, job: Job, phases: PhaseMode, assumptions: Iterable[Assumption] = ()
) -> tuple[float, float]:
    """(lowest, highest) full-step rate (steps/s) of mid-range instability, over all that is assumed of the winding."""
    varied = [each for each in assumptions if each.path in (("motor", "resistance"), ("motor", "inductance"))]
    ends = itertools.product(*(((each, each.low), (each, each.high)) for each in varied))
    windings = [winding_of(with_assumed(machine, job, values)[0].motor) for values in ends]
    driver = machine.driver
    return mid_range_band(windings, driver.current.si, driver.supply_voltage.si * phases.voltage_share)
