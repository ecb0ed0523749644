"""What a first-time maker knows, the motor's label and the rollers' diameters, is enough to get to a run."""

from __future__ import annotations

import itertools
from typing import Any

from firmware_host.model.files.loading import Setup
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.limits.accept import require_may_move
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import plan_job

MACHINE: dict[str, Any] = {
    "version": 1,
    "name": "rollers from a kit",
    "motor": {
        "name": "the label",
        "frame": "42 mm",
        "step_angle": "1.8 deg",
        "rated_current": "1.5 A",
        "holding_torque": "0.4 N*m",
    },
    "driver": {"microsteps": 16, "current": "1.2 A", "supply_voltage": "24 V", "highest_step_rate": "100 kHz"},
    "drive": {"kind": "rollers", "roller_diameter": "25 mm", "centre_distance": "40 mm"},
    "link": {"highest_step_rate": "28 kHz"},
}
JOB: dict[str, Any] = {
    "version": 1,
    "name": "cup",
    "machine": "rollers from a kit",
    "part": {"kind": "tube", "diameter": "76 mm", "inner_diameter": "72 mm", "length": "100 mm", "mass": "0.3 kg"},
    "mark": {"arc": "60 mm"},
    "window": {"half_depth": "0.6 mm"},
}


def test_a_label_and_two_diameters_get_a_part_turned_gently() -> None:
    plan = plan_job(Setup(Job.model_validate(JOB), Machine.model_validate(MACHINE)))
    require_may_move(plan.limits.checks)
    assert 0.5 < plan.index_s < 5
    assert plan.limits.verdict is Verdict.EXCEEDED  # the inertia ratio, a rule of thumb
    assumed = {each.key for each in plan.limits.assumptions}
    assert assumed >= {"motor.rotor_inertia", "motor.resistance", "drive.friction", "drive.roller_inertia"}
    assert all(each.source for each in plan.limits.assumptions)


def test_each_datum_that_the_maker_finds_out_makes_it_quicker_and_none_slower() -> None:
    known = {
        "friction": 0.5, "rolling_resistance": "0.2 mm", "roller_inertia": "40 g*cm^2",
        "friction_torque": "0.005 N*m", "idle_friction_torque": "0.1 N*mm",
    }  # fmt: skip
    times = []
    for count in range(len(known) + 1):
        drive = MACHINE["drive"] | dict(list(known.items())[:count])
        setup = Setup(Job.model_validate(JOB), Machine.model_validate(MACHINE | {"drive": drive}))
        times.append(plan_job(setup).index_s)
    assert all(later <= before * 1.02 for before, later in itertools.pairwise(times))
    assert times[-1] < times[0] / 2
