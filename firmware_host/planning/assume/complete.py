"""A machine and a job with nothing left open: every way that what was not stated may be, at the ends of its range.

A figure that rises or falls all the way through each range is worst at one of these corners. What need not (the
natural frequency beside a step rate) gets the whole band that the corners span, see `planning/load/case.py`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from typing import Any, NamedTuple

from pydantic import BaseModel

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.assume.assumption import Assumption, Path, Together, Value
from firmware_host.planning.assume.gearing import gearing_assumptions
from firmware_host.planning.assume.job import job_assumptions
from firmware_host.planning.assume.machine import (
    drive_assumptions,
    driver_assumptions,
    rest_assumptions,
    shaping_assumptions,
    stop_assumptions,
    support_assumptions,
    thrust_of,
)
from firmware_host.planning.assume.motor import iron_assumptions, motor_assumptions
from firmware_host.planning.body import body_of


class Completed(NamedTuple):
    """What is assumed, and the complete descriptions that follow: the first has the unkind end of every range."""

    assumptions: tuple[Assumption, ...]
    variants: tuple[tuple[Machine, Job], ...]

    @property
    def unkind(self) -> tuple[Machine, Job]:
        """The description with the unkind end of every range."""
        return self.variants[0]


def complete(machine: Machine, job: Job) -> Completed:
    """Every complete description that what `machine` and `job` state leaves possible, at the ends of the ranges."""
    assumptions = tuple(_assumptions(machine, job))
    kinds = [kind for kind in Together if kind is not Together.ALONE]
    varied = [kind for kind in kinds if any(each.together is kind for each in assumptions)]
    variants = []
    for ends in itertools.product((False, True), repeat=len(varied)):
        kinder = {kind for kind, kind_end in zip(varied, ends, strict=True) if kind_end}
        values = ((each, each.kind if each.together in kinder else each.unkind) for each in assumptions)
        variants.append(with_assumed(machine, job, values))
    return Completed(assumptions, tuple(variants))


def with_assumed(machine: Machine, job: Job, values: Iterable[tuple[Assumption, Value]]) -> tuple[Machine, Job]:
    """The machine and the job with each assumed datum at the value given for it."""
    for assumption, value in values:
        if assumption.path[0] in Job.model_fields:
            job = with_value(job, assumption.path, value)
        else:
            machine = with_value(machine, assumption.path, value)
    return machine, job


def _assumptions(machine: Machine, job: Job) -> Iterable[Assumption]:
    rotor: float | None = machine.motor.rotor_inertia.si if machine.motor.rotor_inertia is not None else None
    for each in motor_assumptions(machine.motor):
        if each.key == "motor.rotor_inertia" and not isinstance(each.high, bool | float):
            rotor = each.high.si
        if each.key != "motor.thermal_resistance" or machine.winding_to_air is None:  # it was measured on the machine
            yield each
    yield from iron_assumptions(machine.motor)
    yield from driver_assumptions(machine.driver)
    yield from shaping_assumptions(machine.driver)
    yield from gearing_assumptions(machine.gearing, rotor or 0.0)
    mass = body_of(job.part).mass
    yield from drive_assumptions(machine.drive, mass, thrust_of(machine.support))
    yield from support_assumptions(machine.support)
    yield from rest_assumptions(machine.support, job.part, mass)
    yield from stop_assumptions(machine, job.part, mass)
    yield from job_assumptions(machine, job)


def with_value(model: Any, path: Path, value: Any) -> Any:
    """A copy of `model` with the value at `path`; models and tuples of them on the way are copied, too."""
    if not path:
        return value
    step, *rest = path
    if isinstance(step, int):
        return (*model[:step], with_value(model[step], tuple(rest), value), *model[step + 1 :])
    if not isinstance(model, BaseModel):
        raise TypeError(f"nothing lies below {step}")
    return model.model_copy(update={step: with_value(getattr(model, step), tuple(rest), value)})
