"""The warming curve beside SciPy's least squares, the closed form of three readings, and Monte Carlo (JCGM 101)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from firmware_host.commissioning.estimates.warming import warming_curve
from firmware_host.errors import FormulaRangeError


def first_order(t: np.ndarray, end: float, drop: float, tau: float) -> np.ndarray:
    return np.asarray(end - drop * np.exp(-t / tau))


TIMES = np.arange(0.0, 3601.0, 600.0)


@pytest.mark.parametrize("seed", range(5))
def test_end_and_time_constant_and_their_uncertainties_are_those_of_curve_fit(seed: int) -> None:
    rng = np.random.default_rng(seed)
    read = first_order(TIMES, 71.0, 49.0, 1100.0) + rng.normal(0, 0.6, len(TIMES))
    ours = warming_curve(TIMES.tolist(), read.tolist(), 0.0)
    values, covariance = curve_fit(first_order, TIMES, read, p0=(70, 40, 1000))
    assert ours.end.value == pytest.approx(values[0], rel=1e-6)
    assert ours.time_constant.value == pytest.approx(values[2], rel=1e-5)
    assert ours.end.deviation == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-3)
    assert ours.time_constant.deviation == pytest.approx(math.sqrt(covariance[2, 2]), rel=1e-3)
    assert ours.end.freedom == len(TIMES) - 3


def test_two_readings_after_the_cold_one_have_the_closed_form() -> None:
    """With y1 and y2 above the start at t and 2t: exp(-t/tau) = y2/y1 - 1, and it ends y1^2/(2 y1 - y2) above."""
    y1, y2 = 24.0, 36.0
    ours = warming_curve([0.0, 900.0, 1800.0], [20.0, 20.0 + y1, 20.0 + y2], 1.0)
    assert ours.time_constant.value == pytest.approx(-900.0 / math.log(y2 / y1 - 1), rel=1e-6)
    assert ours.end.value == pytest.approx(20.0 + y1**2 / (2 * y1 - y2), rel=1e-6)
    assert ours.end.freedom == math.inf
    assert ours.end.deviation > 1 / math.sqrt(3)


@pytest.mark.parametrize(("draws", "within"), [(80, 0.25), pytest.param(400, 0.1, marks=pytest.mark.slow)])
def test_the_uncertainty_from_the_instrument_is_that_of_a_monte_carlo(draws: int, within: float) -> None:
    """JCGM 101: readings drawn within the instrument's limits, the curve fitted anew each time."""
    rng, true = np.random.default_rng(7), first_order(TIMES, 71.0, 49.0, 1100.0)
    drawn = [warming_curve(TIMES.tolist(), (true + rng.uniform(-1, 1, len(TIMES))).tolist(), 1.0) for _ in range(draws)]
    told = warming_curve(TIMES.tolist(), true.tolist(), 1.0)
    assert told.end.deviation == pytest.approx(np.std([each.end.value for each in drawn]), rel=within)
    assert told.time_constant.deviation == pytest.approx(
        np.std([each.time_constant.value for each in drawn]), rel=within
    )


@pytest.mark.parametrize(
    ("times", "read"),
    [
        pytest.param([0.0, 600.0], [20.0, 40.0], id="two"),
        pytest.param([0.0, 600.0, 600.0], [20.0, 40.0, 40.0], id="twice at one time"),
    ],
)
def test_too_few_readings_are_refused(times: list[float], read: list[float]) -> None:
    with pytest.raises(FormulaRangeError, match="at least three"):
        warming_curve(times, read, 1.0)


def test_readings_that_are_all_alike_have_no_time_constant() -> None:
    with pytest.raises(FormulaRangeError, match="has to get warmer"):
        warming_curve(TIMES.tolist(), [21.0] * len(TIMES), 0.5)
