"""What follows from a machine's data alone, beside what somebody measured on the machine that was built."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from firmware_host.model.files.loading import Setup
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.ramp import Ramp
from firmware_host.model.machine.swing import Swing
from firmware_host.model.machine.warming import Warming
from firmware_host.planning.limits.motor.heat import HeatCycle
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.plan import JobPlan, plan_job


@dataclass(frozen=True)
class Beside:
    """A figure of this job in `unit`, each from the lowest to the highest that it may be.

    `predicted`: from the machine's data without what was measured; `measured`: with it, for this part.
    """

    name: str
    unit: str
    predicted: tuple[float, float]
    measured: tuple[float, float]


def predicted_beside_measured(setup: Setup, plan: JobPlan) -> tuple[Beside, ...]:
    """Every figure that `swing`, `ramp` and `warming` of the machine's file change; none where nothing was measured.

    The job is planned a second time without them. Raises as `plan_job`.
    """
    bare = not_measured(setup.machine)
    if bare == setup.machine:
        return ()
    described = replace(setup, machine=bare)
    predicted = plan_job(described)
    loads = load_case(bare, setup.job), load_case(setup.machine, setup.job)
    return tuple(_beside(setup.machine, (predicted, plan), loads))


def not_measured(machine: Machine) -> Machine:
    """The machine as it is described, without what was measured of how it swings, loses steps and warms."""
    return machine.model_copy(update={"swing": Swing(), "ramp": Ramp(), "warming": Warming()})


def _beside(machine: Machine, plans: tuple[JobPlan, JobPlan], loads: tuple[LoadCase, LoadCase]) -> Iterator[Beside]:
    (before, now), (predicted, measured) = loads, plans
    if machine.swing.frequency is not None:
        bands = ((load.natural_band.lowest, load.natural_band.highest) for load in (before, now))
        yield Beside("natural frequency", "Hz", *((low / (2 * math.pi), high / (2 * math.pi)) for low, high in bands))
    if machine.swing.damping_ratio is not None:
        yield Beside("damping ratio", "", *((each.damping.lowest, each.damping.highest) for each in (before, now)))
    if now.measured_ramp is not None:
        motion, tried = predicted.limits.motion, now.measured_ramp
        yield Beside("largest acceleration of the part", "deg/s^2", *_same(motion.acceleration, tried.acceleration))
        yield Beside("highest speed of the part", "deg/s", *_same(motion.speed, tried.speed))
    if machine.warming != Warming():
        warm, warmer = (_rise(each) for each in (predicted, measured))
        if warm is not None and warmer is not None:
            yield Beside("the winding over the hottest air", "K", (warm, warm), (warmer, warmer))
    yield Beside("an index with its settling", "s", *((each.index_s, each.index_s) for each in (predicted, measured)))


def _same(*values: float) -> Iterator[tuple[float, float]]:
    for value in values:
        yield math.degrees(value), math.degrees(value)


def _rise(plan: JobPlan) -> float | None:
    """How much warmer than the air the winding gets over index and pass, K."""
    return next((check.value for check in plan.limits.checks if check.name == HeatCycle.name), None)
