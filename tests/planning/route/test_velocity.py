"""Index moves against ruckig and published index tables."""

import math

import numpy as np
import pytest
from ruckig import InputParameter, Result, Ruckig, Trajectory

from firmware_host.errors import FormulaRangeError
from firmware_host.planning.route.velocity import plan_index


def random_moves(count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(20260101)
    return 10 ** rng.uniform(-3, 1, count), 10 ** rng.uniform(0, 3, count), 10 ** rng.uniform(-1, 2, count)


def test_ten_thousand_random_moves_last_as_long_as_ruckig_s() -> None:
    # ruckig, time-optimal single-axis profile with unlimited jerk.
    distance, acceleration, speed = random_moves(10_000)
    motion = plan_index(distance, acceleration, speed)
    otg, given_move, trajectory = Ruckig(1), InputParameter(1), Trajectory(1)
    durations = np.empty(distance.size)
    for k in range(distance.size):
        given_move.target_position = [distance[k]]
        given_move.max_velocity, given_move.max_acceleration = [speed[k]], [acceleration[k]]
        given_move.max_jerk = [math.inf]
        assert otg.calculate(given_move, trajectory) in (Result.Working, Result.Finished)
        durations[k] = trajectory.duration
    assert motion.duration == pytest.approx(durations, rel=1e-6)
    both_kinds = motion.is_trapezoid.mean()
    assert 0.1 < both_kinds < 0.9


def test_the_two_ramps_and_the_cruise_cover_the_distance() -> None:
    distance, acceleration, speed = random_moves(5000)
    motion = plan_index(distance, acceleration, speed)
    assert motion.peak_speed * (motion.ramp_time + motion.cruise_time) == pytest.approx(distance, rel=1e-12)
    assert motion.acceleration * motion.ramp_time == pytest.approx(motion.peak_speed, rel=1e-12)


def test_triangle_and_trapezoid_meet_where_two_ramps_take_the_distance() -> None:
    a, v = 8.0, 2.0
    motion = plan_index(np.array([0.0, 0.4999, 0.5, 0.5001]), a, v)
    assert motion.is_trapezoid.tolist() == [False, False, False, True]
    assert motion.duration == pytest.approx([0.0, 2 * math.sqrt(0.4999 / a), 0.5, 0.5001 / v + v / a])
    assert motion.peak_speed == pytest.approx([0.0, math.sqrt(0.4999 * a), 2.0, 2.0])


def test_published_index_table_speeds() -> None:
    # AutomationDirect, SureServo User Manual (08/2011), pp. B-14 to B-16: 45 deg in 0.5 s, ramps of a quarter, ratio 6:
    # 121 rpm at the motor. Oriental Motor, General Catalog 2003/2004, pp. F-8 to F-9: 30 deg in 0.3 s: 22.2 rpm.
    for angle, total, ratio, printed, tolerance in ((45, 0.5, 6, 121, 0.01), (30, 0.3, 1, 22.2, 0.002)):
        v = math.radians(angle) / (0.75 * total)
        motion = plan_index(math.radians(angle), v / (0.25 * total), v)
        assert float(motion.duration) == pytest.approx(total)
        assert float(motion.peak_speed) * ratio * 60 / (2 * math.pi) == pytest.approx(printed, rel=tolerance)


@pytest.mark.parametrize(
    ("distance", "acceleration", "speed", "message"),
    [
        pytest.param(-1.0, 1.0, 1.0, "index distance: -1 rad", id="negative distance"),
        pytest.param(1.0, 0.0, 1.0, r"acceleration: 0 rad/s\^2", id="no acceleration"),
        pytest.param(1.0, 1.0, math.inf, "speed limit: inf rad/s", id="endless speed"),
    ],
)
def test_a_move_that_cannot_be_is_refused(distance: float, acceleration: float, speed: float, message: str) -> None:
    with pytest.raises(FormulaRangeError, match=message):
        plan_index(distance, acceleration, speed)
