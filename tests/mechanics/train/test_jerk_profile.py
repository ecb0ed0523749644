"""Jerk-limited moves against ruckig, and against the integral of their own jerk (SciPy)."""

import math

import numpy as np
import pytest
from ruckig import InputParameter, Result, Ruckig, Trajectory
from scipy import integrate

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.train.jerk_profile import JerkLimitedMove, plan_jerk_limited


def random_moves(count: int) -> tuple[JerkLimitedMove, tuple[np.ndarray, ...]]:
    rng = np.random.default_rng(20260201)
    distance, speed = 10 ** rng.uniform(-3, 1, count), 10 ** rng.uniform(-1, 2, count)
    acceleration = 10 ** rng.uniform(0, 3, count)
    jerk = acceleration * 10 ** rng.uniform(0, 3, count)
    return plan_jerk_limited(distance, speed, acceleration, jerk), (distance, speed, acceleration, jerk)


def test_ten_thousand_random_moves_last_as_long_as_ruckig_s() -> None:
    # ruckig, time-optimal single-axis profile with limited jerk.
    motion, limits = random_moves(10_000)
    otg, wanted, trajectory = Ruckig(1), InputParameter(1), Trajectory(1)
    durations, third = np.empty(10_000), np.empty(10_000)
    for k, (distance, speed, acceleration, jerk) in enumerate(zip(*(part.tolist() for part in limits), strict=True)):
        wanted.target_position = [distance]
        wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [speed], [acceleration], [jerk]
        assert otg.calculate(wanted, trajectory) in (Result.Working, Result.Finished)
        durations[k] = trajectory.duration
        third[k] = trajectory.at_time(trajectory.duration / 3)[0][0]
    assert motion.duration == pytest.approx(durations, rel=1e-6)
    assert motion.position_at(motion.duration / 3) == pytest.approx(third, rel=2e-6)
    cruises, steady = motion.cruise_time > 0, motion.steady_time > 0
    for kind in (cruises & steady, cruises & ~steady, ~cruises & steady, ~cruises & ~steady):
        assert kind.mean() > 0.03  # all four cases were drawn


def test_no_limit_is_exceeded_and_the_distance_is_met() -> None:
    motion, (distance, speed, acceleration, _) = random_moves(5000)
    assert (motion.peak_speed <= speed * (1 + 1e-9)).all()
    assert (motion.peak_acceleration <= acceleration * (1 + 1e-9)).all()
    covered = motion.peak_speed * (motion.ramp_time + motion.cruise_time)
    assert covered == pytest.approx(distance, rel=1e-9)
    assert motion.position_at(motion.duration / 2) == pytest.approx(distance / 2, rel=1e-9)


@pytest.mark.parametrize("distance", [pytest.param(d, id=f"{d:g} rad") for d in (0.004, 0.05, 0.3, 3.0)])
def test_position_speed_and_acceleration_are_integrals_of_one_another(distance: float) -> None:
    motion = plan_jerk_limited(distance, 4.0, 60.0, 3000.0)
    t = np.linspace(-0.01, float(motion.duration) + 0.01, 40001)
    speed = integrate.cumulative_simpson(motion.acceleration_at(t), x=t, initial=0.0)
    position = integrate.cumulative_simpson(motion.speed_at(t), x=t, initial=0.0)
    assert motion.speed_at(t) == pytest.approx(speed, abs=2e-5 * float(motion.peak_speed))
    assert motion.position_at(t) == pytest.approx(position, abs=2e-5 * distance)
    jerk = np.diff(motion.acceleration_at(t)) / np.diff(t)
    assert np.abs(jerk).max() <= 3000.0 * (1 + 1e-6)


def test_endless_jerk_is_the_move_of_constant_acceleration() -> None:
    motion = plan_jerk_limited(np.array([0.1, 2.0]), 2.0, 8.0, 1e12)
    assert motion.duration == pytest.approx([2 * math.sqrt(0.1 / 8), 2.0 / 2.0 + 2.0 / 8])


def test_no_distance_takes_no_time() -> None:
    assert float(plan_jerk_limited(0.0, 1.0, 1.0, 1.0).duration) == 0.0


def test_a_jerk_of_nothing_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match=r"jerk: 0 rad/s\^3, limit 0"):
        plan_jerk_limited(1.0, 1.0, 1.0, 0.0)
