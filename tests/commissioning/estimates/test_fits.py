"""A line and a first harmonic beside the GUM's thermometer, SciPy's and NumPy's least squares, and draws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from firmware_host.commissioning.estimates.fits import difference, first_harmonic, line_through
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.errors import FormulaRangeError

#: JCGM 100:2008, annex H.3, table H.6: a thermometer's readings (deg C) and its observed corrections (deg C).
TEMPERATURES = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def test_the_thermometer_of_the_gum_has_its_line_and_its_correction_at_thirty_degrees() -> None:
    """H.3.3 and H.3.4: y1 = -0.1712(29), y2 = 0.00218(67), r = -0.930, s = 0.0035; b(30) = -0.1494(41), 9 degrees."""
    line = line_through([each - 20 for each in TEMPERATURES], CORRECTIONS)
    assert (line.intercept.value, line.intercept.deviation) == pytest.approx((-0.1712, 0.0029), abs=5e-5)
    assert (line.slope.value, line.slope.deviation) == pytest.approx((0.00218, 0.00067), abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.scatter == pytest.approx(0.0035, abs=5e-5)
    at_thirty = line.at(10.0)
    assert (at_thirty.value, at_thirty.deviation, at_thirty.freedom) == pytest.approx((-0.1494, 0.0041, 9), abs=5e-5)


def test_a_line_is_that_of_scipy() -> None:
    rng = np.random.default_rng(1)
    x = np.linspace(0, 9, 12)
    y = 0.3 - 0.02 * x + rng.normal(0, 0.01, 12)
    line, theirs = line_through(x.tolist(), y.tolist()), stats.linregress(x, y)
    assert (line.slope.value, line.slope.deviation) == pytest.approx((theirs.slope, theirs.stderr))
    assert (line.intercept.value, line.intercept.deviation) == pytest.approx(
        (theirs.intercept, theirs.intercept_stderr)
    )


def test_a_first_harmonic_is_what_a_search_by_scipy_finds() -> None:
    rng = np.random.default_rng(2)
    angles = np.linspace(0, 2 * math.pi, 9)[:-1]
    readings = 0.1 + 0.25 * np.cos(angles - 2.1) + rng.normal(0, 0.01, 8)
    found = first_harmonic(angles.tolist(), readings.tolist())

    def model(angle: np.ndarray, offset: float, amplitude: float, phase: float) -> np.ndarray:
        return np.asarray(offset + amplitude * np.cos(angle - phase))

    best, covariance = optimize.curve_fit(model, angles, readings, p0=(0.0, 0.2, 2.0))
    sizes = np.sqrt(np.diag(covariance))
    ours = (found.offset, found.amplitude, found.phase)
    assert [each.value for each in ours] == pytest.approx(best.tolist(), rel=1e-6)
    assert [each.deviation for each in ours] == pytest.approx(sizes.tolist(), rel=1e-3)


def test_what_is_out_of_round_is_no_run_out() -> None:
    """An oval has two humps a turn: its first harmonic is nothing, all of it is out of round."""
    angles = [math.radians(each) for each in range(0, 360, 30)]
    found = first_harmonic(angles, [0.05 * math.cos(2 * each) for each in angles])
    assert found.amplitude.value == pytest.approx(0.0, abs=1e-12)
    assert found.out_of_round == pytest.approx(0.05)


@pytest.mark.parametrize("within", [0.0, 0.02])
def test_the_interval_of_the_run_out_holds_it_in_nineteen_of_twenty_draws(within: float) -> None:
    rng = np.random.default_rng(4)
    angles = np.linspace(0, 2 * math.pi, 13)[:-1]
    held = held_phase = 0
    for _ in range(1000):
        noise = rng.uniform(-within, within, 12) if within else rng.normal(0, 0.01, 12)
        found = first_harmonic(angles.tolist(), (0.2 * np.cos(angles - 1.0) + noise).tolist(), within)
        held += found.amplitude.lowest <= 0.2 <= found.amplitude.highest
        held_phase += found.phase.lowest <= 1.0 <= found.phase.highest
    assert 0.93 <= held / 1000 <= 0.99
    assert 0.93 <= held_phase / 1000 <= 0.99


def test_nothing_measured_by_a_coarse_instrument_is_nothing_to_that_instrument() -> None:
    found = first_harmonic([0, 1.5, 3, 4.5], [0.1, 0.1, 0.1, 0.1], within=0.01)
    assert found.amplitude.value == pytest.approx(0.0, abs=1e-12)
    assert found.amplitude.highest > 0.005


def test_the_difference_of_two_has_the_uncertainty_of_both() -> None:
    found = difference(Measured(1.0, 0.03, 4), Measured(0.2, 0.04, 4))
    assert (found.value, found.deviation) == pytest.approx((0.8, 0.05))
    assert 4 < found.freedom < 8


@pytest.mark.parametrize(
    ("x", "y"), [pytest.param([1, 2], [1, 2], id="two"), pytest.param([1, 1, 1], [1, 2, 3], id="one place")]
)
def test_a_line_needs_three_readings_at_different_places(x: list[float], y: list[float]) -> None:
    with pytest.raises(FormulaRangeError, match="at least three, at different places"):
        line_through(x, y)


@pytest.mark.parametrize(
    "angles", [pytest.param([0, 1, 2], id="three"), pytest.param([0, 0.1, 0.2, 0.3], id="one side")]
)
def test_run_out_needs_readings_all_around(angles: list[float]) -> None:
    with pytest.raises(FormulaRangeError, match="readings around the part"):
        first_harmonic(angles, [0.0] * len(angles))
