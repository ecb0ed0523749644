"""An invented machine and job for the limits, as plain data that each test changes where it needs to."""

from __future__ import annotations

import copy
from typing import Any

from firmware_host.model import Job, Machine
from firmware_host.planning.assume.complete import complete

MOTOR: dict[str, Any] = {
    "name": "test motor",
    "full_steps_per_revolution": 200,
    "rated_current": "2.0 A",
    "holding_torque": "1.0 N*m",
    "rotor_inertia": "2.0e-5 kg*m^2",
    "resistance": "1.0 ohm",
    "inductance": "2.0 mH",
    "detent_torque": "0.03 N*m",
    "radial_load": "80 N",
    "radial_load_at": "20 mm",
    "axial_load": "20 N",
    "thermal_resistance": "8 K/W",
    "highest_temperature": "130 degC",
    "ambient": "40 degC",
    "iron_loss_speed": "960 rpm",
    "torque_curve": {
        "supply_voltage": "24 V",
        "points": [
            {"speed": "10 rad/s", "torque": "0.8 N*m"},
            {"speed": "40 rad/s", "torque": "0.6 N*m"},
            {"speed": "100 rad/s", "torque": "0.12 N*m"},
        ],
    },
}
MACHINE: dict[str, Any] = {
    "version": 1,
    "name": "test machine",
    "motor": MOTOR,
    "driver": {
        "microsteps": 16,
        "current": "2.0 A",
        "supply_voltage": "24 V",
        "highest_step_rate": "200 kHz",
        "standstill_current": 1.0,
        "smallest_pulse": "2 us",
        "highest_supply_voltage": "60 V",
        "supply_capacitance": "4700 uF",
        "supply_current": "6 A",
    },
    "gearing": [
        {
            "kind": "toothed-belt",
            "name": "belt",
            "driving_teeth": 20,
            "driven_teeth": 80,
            "efficiency": 0.9,
            "lost_motion": "0 deg",
            "driving_inertia": "2e-6 kg*m^2",
            "driven_inertia": "3e-4 kg*m^2",
            "pitch": "10 mm",
            "belt_tension": "10 N",
            "torsional_stiffness": "1e9 N*m/rad",
        }
    ],
    "drive": {
        "kind": "chuck",
        "inertia": "5e-4 kg*m^2",
        "mass": "1 kg",
        "friction_torque": "0.1 N*m",
        "smallest_grip": "2 mm",
        "largest_grip": "250 mm",
    },
    "support": {
        "largest_overhang_moment": "5 N*m",
        "overhang_base": "40 mm",
        "bearing_spacing": "50 mm",
        "largest_radial_load": "500 N",
        "motor_shaft_arm": "15 mm",
    },
    "link": {"highest_step_rate": "80 kHz"},
}
ROLLERS: dict[str, Any] = {
    "kind": "rollers",
    "roller_diameter": "25 mm",
    "centre_distance": "45 mm",
    "rollers": 2,
    "roller_inertia": "4e-6 kg*m^2",
    "friction": 0.4,
    "rolling_resistance": "0.1 mm",
    "friction_torque": "0.005 N*m",
    "idle_friction_torque": "0 N*m",
    "slip": 1e-7,
    "largest_bearing_load": "200 N",
    "roller_diameter_uncertainty": "0.02 mm",
}
JOB: dict[str, Any] = {
    "version": 1,
    "name": "test job",
    "machine": "test machine",
    "part": {
        "kind": "solid",
        "diameter": "60 mm",
        "length": "100 mm",
        "density": "7860 kg/m^3",
        "mass": "2.2 kg",
        "mass_offset": "0.2 mm",
        "overhang": "50 mm",
    },
    "mark": {"angle": "360 deg"},
    "window": {"half_depth": "0.5 mm", "spot_diameter": "0.05 mm"},
    "segments": {"diameter_uncertainty": "0.02 mm"},
}
DELETE = object()


def changed(data: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """A copy of `data` with "a.b.0.c" paths set, or taken out with `DELETE`."""
    result = copy.deepcopy(data)
    for path, value in changes.items():
        *parents, last = path.split(".")
        place: Any = result
        for key in parents:
            place = place[int(key)] if isinstance(place, list) else place[key]
        if value is DELETE:
            del place[last]
        else:
            place[last] = value
    return result


def machine(**changes: Any) -> Machine:
    """The test machine; keys are paths with "__" for the dots, e.g. driver__microsteps=8."""
    return Machine.model_validate(changed(MACHINE, {key.replace("__", "."): value for key, value in changes.items()}))


def roller_machine(**changes: Any) -> Machine:
    """The test machine on rollers, without the belt."""
    return machine(drive=ROLLERS | changes, gearing=[])


def job(**changes: Any) -> Job:
    """The test job; keys as for `machine`."""
    return Job.model_validate(changed(JOB, {key.replace("__", "."): value for key, value in changes.items()}))


def assumed(rig: Machine, work: Job) -> tuple[str, ...]:
    """Keys of what the two leave open."""
    return tuple(each.key for each in complete(rig, work).assumptions)
