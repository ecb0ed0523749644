"""Machines and jobs for the planning tests, built from short overrides of a plain description."""

from __future__ import annotations

from typing import Any

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine

_MACHINE: dict[str, Any] = {
    "version": 1,
    "name": "test machine",
    "motor": {
        "name": "test motor",
        "full_steps_per_revolution": 200,
        "rated_current": "2 A",
        "holding_torque": "1 N*m",
        "rotor_inertia": "200 g*cm^2",
    },
    "driver": {"microsteps": 16, "current": "1.5 A", "supply_voltage": "24 V", "highest_step_rate": "100 kHz"},
    "drive": {"kind": "chuck", "inertia": "4200 g*cm^2"},
    "link": {"highest_step_rate": "28 kHz"},
}
_ROLLERS: dict[str, Any] = {
    "kind": "rollers",
    "roller_diameter": "25.4 mm",
    "centre_distance": "42 mm",
    "roller_inertia": "120 g*cm^2",
    "friction": 0.35,
}
_JOB: dict[str, Any] = {
    "version": 1,
    "name": "test job",
    "machine": "test machine",
    "part": {"kind": "solid", "diameter": "50 mm", "length": "100 mm", "density": "7860 kg/m^3"},
    "mark": {"arc": "60 mm"},
    "window": {"half_depth": "0.5 mm"},
}


def _merged(base: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """The description with changes: tables are merged, None takes a key out."""
    result = dict(base)
    for key, value in changes.items():
        if value is None:
            result.pop(key, None)
        elif isinstance(value, dict) and isinstance(result.get(key), dict):
            result[key] = _merged(result[key], value)
        else:
            result[key] = value
    return result


def chuck_machine(**changes: Any) -> Machine:
    """A chuck on the motor's shaft, 3200 microsteps per turn; `gearing=[{"ratio": "3"}]` and the like change it."""
    return Machine.model_validate(_merged(_MACHINE, changes))


def roller_machine(*, roller: str = "25.4 mm", **changes: Any) -> Machine:
    """Two rollers, one driven straight by the motor, 200 x 32 microsteps per turn of the roller."""
    drive = _ROLLERS | {"roller_diameter": roller} | changes.pop("drive", {})
    return Machine.model_validate(_merged(_MACHINE | {"drive": drive}, {"driver": {"microsteps": 32}} | changes))


def job(**changes: Any) -> Job:
    """60 mm of arc on a solid part of 50 mm, window plus-minus 0.5 mm, focus on the crown."""
    return Job.model_validate(_merged(_JOB, changes))


def job_on(diameter: str, mark: dict[str, Any], **changes: Any) -> Job:
    """A job on a part of that diameter with exactly that mark."""
    return Job.model_validate(_merged(_JOB | {"mark": mark}, {"part": {"diameter": diameter}} | changes))
