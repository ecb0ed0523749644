"""The chosen motion run in time: an undamped rotor on the motor's sine-shaped torque must not lose a step.

J e'' = J alpha(t) + load - T(speed) sin(p e), e the lag behind the command: integrated with SciPy, with none of the
limits' arithmetic. A step is lost once the lag passes half an electrical period.
"""

import math

import numpy as np
import pytest
from scipy import integrate

from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.route.velocity import plan_index
from tests.planning.index.workshop import safe_motion, speed_at
from tests.planning.limits.workshop import job, machine


def largest_lag(load: LoadCase, turns: float, acceleration: float, speed: float, imbalance_sign: float) -> float:
    """Largest |p e| (rad) from the index's start to ten periods after its end; infinite once a step is lost."""
    inertia = load.rotor_inertia + load.reflected_inertia
    move = plan_index(2 * math.pi * turns, acceleration, speed)
    ramp, cruise, end = float(move.ramp_time), float(move.cruise_time), float(move.duration)
    gravity = imbalance_sign * load.imbalance_torque / load.ratio
    lost = lambda t, y: math.pi - abs(50 * y[0])  # noqa: E731
    lost.terminal = True
    phases = [
        (0.0, ramp, acceleration, 1.0),
        (ramp, ramp + cruise, 0.0, 1.0),
        (ramp + cruise, end, -acceleration, 1.0),
        (end, end + 10 * 2 * math.pi / load.natural_frequency, 0.0, 0.0),
    ]
    state, largest = [0.0, 0.0], 0.0
    for start, stop, part_acceleration, moving in phases:
        if stop <= start:
            continue
        steady = inertia * part_acceleration * load.ratio + gravity + moving * load.friction_torque / load.ratio
        times = np.linspace(start, stop, 200)
        torque_at = load.pull_out(speed_at(move, times))

        def rhs(
            t: float, y: np.ndarray, steady: float = steady, times: np.ndarray = times, at: np.ndarray = torque_at
        ) -> list[float]:
            return [y[1], (steady - np.interp(t, times, at) * math.sin(50 * y[0])) / inertia]

        solution = integrate.solve_ivp(
            rhs, (start, stop), state, events=lost, rtol=1e-7, atol=1e-10, max_step=0.05 / load.natural_frequency * 6
        )
        largest = max(largest, float(np.abs(50 * solution.y[0]).max()))
        if solution.status == 1:
            return math.inf
        state = [float(solution.y[0, -1]), float(solution.y[1, -1])]
    return largest


RIG = machine(gearing__0__efficiency=1.0)


@pytest.mark.some(4)
@pytest.mark.parametrize(
    "turns", [pytest.param(t, id=f"{t:g} turns") for t in (0.004, 0.01, 0.02, 0.03, 0.05, 1 / 12, 0.2, 0.5, 2.0)]
)
def test_the_chosen_motion_loses_no_step_even_undamped(turns: float) -> None:
    load = load_case(RIG, job())
    found = safe_motion(load, np.array([turns]))
    for imbalance_sign in (1.0, -1.0):
        lag = largest_lag(load, turns, found.acceleration, found.speed, imbalance_sign)
        assert 0.1 < lag < 2.0  # pi loses a step


def test_a_motion_that_needs_all_the_pull_out_torque_loses_steps() -> None:
    load = load_case(RIG, job())
    found = safe_motion(load, np.array([0.2]))
    assert math.isinf(largest_lag(load, 0.2, 2.4 * found.acceleration, found.speed, 1.0))


def test_a_slow_motion_lags_by_little() -> None:
    load = load_case(RIG, job())
    steady = (load.friction_torque + load.imbalance_torque) / load.ratio
    lag = largest_lag(load, 0.05, 5.0, 1.0, 1.0)
    assert lag < 2.5 * math.asin((steady + 0.001) / 0.8)
