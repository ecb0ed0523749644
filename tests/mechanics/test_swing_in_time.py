"""The swing of an index, instant by instant, beside the equation of motion integrated with SciPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.train.swing_in_time import commanded_speed, lag_in_time
from firmware_host.mechanics.train.vibration import index_residual_amplitude

TIMES = np.linspace(0.0, 0.4, 801)


@pytest.mark.parametrize("damping", [0.0, 0.03, 0.4], ids=["undamped", "little", "much"])
@pytest.mark.parametrize("cruise", [0.0, 0.05], ids=["triangle", "trapezoid"])
def test_the_lag_is_what_the_equation_of_motion_says(damping: float, cruise: float) -> None:
    natural, acceleration, ramp = 2 * math.pi * 23.0, 80.0, 0.06

    def pull(time: float) -> float:
        if time < ramp:
            return acceleration
        return -acceleration if ramp + cruise <= time < 2 * ramp + cruise else 0.0

    def motion(time: float, state: np.ndarray) -> list[float]:  # type: ignore[type-arg]
        return [state[1], pull(time) - 2 * damping * natural * state[1] - natural**2 * state[0]]

    solved = solve_ivp(motion, (0.0, 0.4), [0.0, 0.0], t_eval=TIMES, max_step=2e-4, rtol=1e-9, atol=1e-13)
    lag = lag_in_time(TIMES, acceleration, ramp, cruise, natural, damping)
    assert np.abs(lag - solved.y[0]).max() < 2e-3 * np.abs(solved.y[0]).max()


def test_what_is_left_at_the_end_swings_with_the_residual_amplitude() -> None:
    natural, acceleration, ramp, cruise = 150.0, 60.0, 0.05, 0.02
    after = np.linspace(2 * ramp + cruise, 2 * ramp + cruise + 1.0, 20_001)
    swing = np.abs(lag_in_time(after, acceleration, ramp, cruise, natural, 0.0)).max()
    assert swing == pytest.approx(float(index_residual_amplitude(acceleration, ramp, cruise, natural)), rel=1e-4)


def test_the_commanded_speed_rises_to_its_peak_and_covers_the_way() -> None:
    speed = commanded_speed(TIMES, 50.0, 0.1, 0.08)
    assert speed.max() == pytest.approx(5.0)
    assert speed[0] == 0.0
    assert speed[-1] == 0.0
    assert np.trapezoid(speed, TIMES) == pytest.approx(5.0 * 0.1 + 5.0 * 0.08, rel=1e-4)


def test_a_time_below_zero_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match="ramp time"):
        lag_in_time(TIMES, 1.0, -0.1, 0.0, 100.0, 0.1)
