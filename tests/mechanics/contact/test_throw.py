"""An eccentric part that turns: its centrifugal force in the plane statics, and what is left of the grip."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import constants, optimize

from firmware_host.mechanics.contact import rollers
from firmware_host.mechanics.contact.throw import CORNERS, centrifugal_force
from firmware_host.mechanics.contact.trough import DrivenRows, Trough
from tests.mechanics.contact.test_rollers import TROUGH, all_bodies
from tests.mechanics.contact.test_rollers_statics import solved

ROWS = [pytest.param(rows, id=f"{rows.value} driven") for rows in DrivenRows]
OFFSET = 0.006
ECCENTRIC = replace(TROUGH, unbalance=TROUGH.mass * OFFSET)
TORQUE = TROUGH.mass * constants.g * OFFSET


def test_the_force_is_mass_times_offset_times_speed_squared() -> None:
    # 2 kg, 5 mm off, 30 rad/s: 0.01 * 900 = 9 N.
    assert float(centrifugal_force(0.01, 30.0)) == pytest.approx(9.0)
    assert float(np.asarray(replace(TROUGH, unbalance=0.01).turning(30.0).throw)) == pytest.approx(9.0)


def test_the_corners_lie_around_the_circle_and_touch_it_on_the_axes() -> None:
    assert np.hypot(*CORNERS).min() >= 1.0
    assert np.hypot(*CORNERS).max() < 1.02
    assert (CORNERS.max(axis=1), CORNERS.min(axis=1)) == (pytest.approx([1, 1]), pytest.approx([-1, -1]))


@pytest.mark.parametrize("angle", [pytest.param(a, id=f"{a} deg") for a in (0, 40, 90, 135, 200, 290)])
def test_contact_forces_satisfy_newton_with_a_pull_in_any_direction(angle: int) -> None:
    pull = 4.0 * math.cos(math.radians(angle)), 4.0 * math.sin(math.radians(angle))
    one = rollers.contact_forces(TROUGH, 30.0, 0.01, 1.0, lift=pull[1], across=pull[0])
    exact = all_bodies(TROUGH, 30.0, 0.01, 1.0, pull)
    got = (one.normal_driven, one.normal_other, one.traction_driven, one.traction_other)
    assert [float(value) for value in got] == pytest.approx(
        [exact[name] for name in ("normal_l", "normal_r", "traction_l", "traction_r")], rel=1e-9
    )
    trough = replace(TROUGH, driven=DrivenRows.BOTH)
    both = rollers.contact_forces(trough, 30.0, 0.01, 1.0, lift=pull[1], across=pull[0])
    roots = solved(trough, DrivenRows.BOTH, 30.0, 0.01, 1.0, pull)
    got = (both.normal_driven, both.normal_other, both.traction_driven, both.traction_other)
    assert [float(value) for value in got] == pytest.approx(roots, rel=1e-7)


def worst_of_all_angles(trough: Trough, speed: float, acceleration: float) -> tuple[float, float]:
    """(friction needed, smallest normal) over 1440 places of the centre of mass, both signs and directions, and on
    the way from a standstill."""
    needed, least = 0.0, math.inf
    angle = np.linspace(0, 2 * math.pi, 1440, endpoint=False)
    x, y = np.cos(angle), np.sin(angle)
    for alpha, sense in itertools.product((acceleration, -acceleration), (1.0, -1.0)):
        for throw in trough.unbalance * np.linspace(0.0, speed, 9) ** 2:
            forces = rollers.contact_forces(trough, alpha, x * TORQUE, sense, lift=y * throw, across=x * throw)
            needed = max(needed, float(forces.friction_needed.max()))
            least = min(least, float(np.minimum(forces.normal_driven, forces.normal_other).min()))
    return needed, least


@pytest.mark.parametrize("rows", ROWS)
@pytest.mark.parametrize("speed", [pytest.param(v, id=f"{v} rad per s") for v in (2.0, 8.0, 14.0)])
def test_the_worst_corner_is_no_kinder_than_any_angle_and_little_worse(rows: DrivenRows, speed: float) -> None:
    trough = replace(ECCENTRIC, driven=rows)
    needed, least = worst_of_all_angles(trough, speed, 20.0)
    turning = trough.turning(speed)
    assert needed <= float(rollers.friction_needed(turning, 20.0, TORQUE)) <= needed * 1.03
    assert (
        least
        >= float(rollers.smallest_normal(turning, 20.0, TORQUE))
        >= least * 0.98 - 0.02 * trough.unbalance * speed**2
    )


@pytest.mark.parametrize("rows", ROWS)
@pytest.mark.parametrize("ramp", [None, *rollers.Ramp], ids=["both ramps", "up", "down"])
def test_grip_at_many_speeds_is_what_a_root_search_finds_at_each(rows: DrivenRows, ramp: rollers.Ramp | None) -> None:
    trough, speeds = replace(ECCENTRIC, driven=rows), np.array([0.0, 3.0, 6.0, 9.0])
    found = rollers.grip_accelerations(trough.turning(speeds), 0.4, TORQUE, ramp=ramp)
    assert (np.diff(found) <= 0).all()
    assert found[-1] < found[0]
    for speed, most in zip(speeds, found, strict=True):
        turning = trough.turning(float(speed))

        def left(a: float, turning: Trough = turning) -> float:
            up, down = (a * (ramp is not other) for other in (rollers.Ramp.DOWN, rollers.Ramp.UP))
            return 0.4 - min(float(rollers.friction_needed(turning, up, TORQUE, braking=down)), 10.0)

        assert most == pytest.approx(optimize.brentq(left, 0.0, 300.0), rel=1e-6)


def test_a_part_that_its_imbalance_lifts_has_no_grip_left() -> None:
    lifting = math.sqrt(constants.g / OFFSET) * 1.01
    for rows in DrivenRows:
        turning = replace(ECCENTRIC, driven=rows).turning(lifting)
        assert math.isinf(float(rollers.friction_needed(turning, 0.0, TORQUE)))
        assert rollers.grip_acceleration(turning, 0.9, TORQUE) == 0.0
