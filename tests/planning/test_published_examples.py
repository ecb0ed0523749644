"""Published index tables, described in files' keys and worked out by the public functions alone."""

import math
from typing import Any

import numpy as np
import pytest

import firmware_host as fh
from firmware_host.planning.limit_report import check_limits
from tests.planning.limits.report import named
from tests.planning.limits.workshop import job, machine

INCH, POUND_FORCE_INCH, OUNCE_INCH2 = 0.0254, 0.45359237 * 9.80665 * 0.0254, 0.028349523125 * 0.0254**2


def table_machine(ratio: str, rotor: float) -> fh.Machine:
    """A lossless gear and nothing else that turns but rotor (kg m^2) and part."""
    gear: dict[str, Any] = {
        "name": "gear",
        "ratio": ratio,
        "efficiency": 1.0,
        "driving_inertia": "0 kg*m^2",
        "driven_inertia": "0 kg*m^2",
    }
    return machine(
        gearing=[gear],
        motor__rotor_inertia=f"{rotor:.12f} kg*m^2",
        drive__inertia="0 kg*m^2",
        drive__friction_torque="0 N*m",
    )


def balanced(**part: Any) -> fh.Job:
    """A job on a solid part whose centre of mass lies on its axis, unless said otherwise."""
    return job(part={"kind": "solid", "mass_offset": "0 mm"} | part)


def indexed(rig: fh.Machine, work: fh.Job, angle_deg: float, speed: float, acceleration: float) -> fh.LimitReport:
    """The limits of one index; the part's `speed` (rad/s) and `acceleration` (rad/s^2) as the example has them."""
    turns = np.array([angle_deg / 360])
    return check_limits(rig, work, index_turns=turns, speed=speed, acceleration=acceleration)


def test_the_servo_index_table() -> None:
    # AutomationDirect, SureServo User Manual, 2nd ed. rev. B (08/2011), Selection Appendix, pp. B-14 to B-16: 12 in by
    # 3.25 in at 0.28 lb/in^3, 6:1, rotor 0.014 lbf in s^2; 45 deg in 0.5 s, a quarter of it for each ramp.
    rotor = 0.014 * POUND_FORCE_INCH
    rig = table_machine("6/1", rotor)
    work = balanced(diameter="12 in", length="3.25 in", density="0.28 lb/in^3")
    speed = math.radians(45) / (0.5 - 0.125)
    found = indexed(rig, work, 45, speed, speed / 0.125)
    ratio = named(found, "inertia-ratio").value
    assert ratio == pytest.approx(9.5, rel=0.005)
    assert ratio * rotor / POUND_FORCE_INCH == pytest.approx(0.133, rel=0.005)
    assert ratio * rotor * 36 / POUND_FORCE_INCH == pytest.approx(4.80, rel=0.003)
    assert found.motion.timing.move_s == pytest.approx(0.5, rel=1e-9)
    steps_per_s = named(found, "step-rate-controller").value
    assert steps_per_s / 3200 * 60 == pytest.approx(121, rel=0.01)
    # Printed: 13.68 lbf in, with 0.1 for 2 pi/60 and a ramp rounded to 0.13 s. By exact arithmetic about 8 % more.
    rounded = indexed(rig, work, 45, speed, 121 / 0.13 * 0.1 / 6)
    assert named(rounded, "torque-accelerating").value / POUND_FORCE_INCH == pytest.approx(13.68, rel=0.003)
    assert named(found, "torque-accelerating").value / POUND_FORCE_INCH == pytest.approx(1.08 * 13.68, rel=0.01)


def test_the_stepping_index_table() -> None:
    # Oriental Motor, General Catalog 2003/2004, Technical Reference, pp. F-8 to F-9: 300 mm by 10 mm of steel, twelve
    # works of 40 mm by 30 mm 125 mm from the axis, 7.2:1; 30 deg in 0.3 s, a quarter of it for each ramp. Ounces are
    # mass there; its density is printed to few figures, hence 1.5 %.
    rig = table_machine("36/5", 1e-4)
    speed = math.radians(30) / (0.3 - 0.075)

    def inertia(**part: Any) -> tuple[float, fh.LimitReport]:
        found = indexed(rig, balanced(material="steel", **part), 30, speed, speed / 0.075)
        ratio = named(found, "inertia-ratio").value
        assert ratio is not None
        return ratio * 1e-4 * 7.2**2 / OUNCE_INCH2, found

    table, found = inertia(diameter="300 mm", length="10 mm")
    one, _ = inertia(diameter="40 mm", length="30 mm", mass_offset="125 mm")
    assert table == pytest.approx(3442, rel=0.015)
    assert 12 * one == pytest.approx(3118, rel=0.015)
    assert table + 12 * one == pytest.approx(6560, rel=0.015)
    steps_per_s = named(found, "step-rate-controller").value
    assert steps_per_s / 3200 * 60 / 7.2 == pytest.approx(22.2, rel=0.002)
    assert found.motion.timing.move_s == pytest.approx(0.3, rel=1e-9)
