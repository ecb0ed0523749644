"""Values with their uncertainty, beside the GUM's own worked examples, SciPy, and draws (JCGM 101:2008)."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from firmware_host.commissioning.estimates.measured import Measured, combined, coverage_95, mean_of
from firmware_host.errors import FormulaRangeError


def test_the_end_gauge_of_the_gum_comes_to_its_thirty_two_nanometres_of_sixteen_degrees() -> None:
    """JCGM 100:2008, annex H.1: the budget of table H.1 in nm; u_c = 32 nm, 16 degrees of freedom.

    The second-order term that H.1.7 adds is not in it: to first order the sum is 31.7 nm and 16.7 degrees.
    """
    budget = [
        (1.0, Measured(0.0, 25.0, 18)),  # the standard, from its certificate
        (1.0, Measured(0.0, 5.8, 24)),  # the repeated comparison
        (1.0, Measured(0.0, 3.9, 5)),  # random effects of the comparator
        (1.0, Measured(0.0, 6.7, 8)),  # systematic effects of the comparator
        (1.0, Measured(0.0, 2.9, 50)),  # difference of the expansion coefficients
        (1.0, Measured(0.0, 16.6, 2)),  # difference of the temperatures
    ]
    found = combined(50_000_838.0, budget)
    assert found.deviation == pytest.approx(32.0, abs=0.4)
    assert math.floor(found.freedom) == 16
    assert coverage_95(found.freedom) == 2.12


def test_the_comparison_alone_is_that_of_the_annex() -> None:
    """H.1.3.2: five readings, their pooled deviation 13 nm of 24 degrees: 5.8 nm; all of it 9.7 nm of 25.6."""
    repeated = Measured(215.0, 13.0 / math.sqrt(5), 24)
    assert repeated.deviation == pytest.approx(5.8, abs=0.02)
    found = combined(215.0, [(1.0, repeated), (1.0, Measured(0.0, 3.9, 5)), (1.0, Measured(0.0, 6.7, 8))])
    assert found.deviation == pytest.approx(9.7, abs=0.05)
    assert found.freedom == pytest.approx(25.6, abs=0.4)


#: JCGM 100:2008, annex H.2, table H.2: five sets of voltage (V), current (mA) and phase angle (rad), read at once.
VOLTAGES = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENTS = (19.663, 19.639, 19.640, 19.685, 19.678)
PHASES = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


@pytest.mark.parametrize(
    ("readings", "mean", "deviation"),
    [
        pytest.param(VOLTAGES, 4.9990, 0.0032, id="voltage"),
        pytest.param(CURRENTS, 19.6610, 0.0095, id="current"),
        pytest.param(PHASES, 1.04446, 0.00075, id="phase angle"),
    ],
)
def test_the_means_of_simultaneous_readings_are_those_of_the_annex(
    readings: tuple[float, ...], mean: float, deviation: float
) -> None:
    """H.2.2, table H.2: arithmetic mean and its experimental standard deviation."""
    found = mean_of(readings, within=0.0)
    digits = 10.0 ** -len(str(deviation).split(".")[1])
    assert (found.value, found.deviation) == pytest.approx((mean, deviation), abs=0.51 * digits)
    assert found.freedom == 4


@pytest.mark.parametrize(
    ("of_a_set", "mean", "deviation"),
    [
        pytest.param(lambda v, i, phase: v / i * math.cos(phase), 127.732, 0.071, id="resistance"),
        pytest.param(lambda v, i, phase: v / i * math.sin(phase), 219.847, 0.295, id="reactance"),
        pytest.param(lambda v, i, phase: v / i, 254.260, 0.236, id="impedance"),
    ],
)
def test_readings_that_depend_on_one_another_are_worked_out_set_by_set_as_the_annex_does(
    of_a_set: Callable[[float, float, float], float], mean: float, deviation: float
) -> None:
    """H.2.4, table H.5 (approach 2): what is worked out of each set has the correlation of its readings in it."""
    sets = zip(VOLTAGES, CURRENTS, PHASES, strict=True)
    found = mean_of([of_a_set(v, i / 1e3, phase) for v, i, phase in sets], within=0.0)
    assert (found.value, found.deviation) == pytest.approx((mean, deviation), abs=5.1e-4)


def test_taken_for_independent_the_same_readings_would_tell_too_much_of_the_resistance() -> None:
    """H.2.3: the correlations of table H.2 are what makes 0.071 ohm of it; without them it is far more."""
    v, i, phase = (mean_of(each, within=0.0) for each in (VOLTAGES, CURRENTS, PHASES))
    value = v.value / i.value * 1e3 * math.cos(phase.value)
    apart = combined(
        value, [(value / v.value, v), (value / i.value, i), (value * math.tan(phase.value), phase)]
    ).deviation
    assert apart > 2.5 * 0.071


@pytest.mark.parametrize("freedom", [1, 2, 5, 10, 17, 20, 25, 50, 100])
def test_the_coverage_factor_is_student_s_to_the_digits_of_the_table(freedom: int) -> None:
    assert coverage_95(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), abs=0.006)


@pytest.mark.parametrize(("freedom", "entry"), [(5.9, 5), (21.0, 20), (29.9, 25), (99.0, 50), (1e6, 100)])
def test_degrees_of_freedom_between_two_entries_are_cut_down(freedom: float, entry: int) -> None:
    assert coverage_95(freedom) == coverage_95(entry)
    assert coverage_95(freedom) >= stats.t.ppf(0.975, freedom) - 0.005


def test_without_end_the_factor_is_that_of_the_normal_distribution() -> None:
    assert coverage_95(math.inf) == pytest.approx(stats.norm.ppf(0.975), abs=1e-3)


def test_the_mean_of_readings_has_the_scatter_of_scipy_and_the_instrument_beside_it() -> None:
    readings = [0.121, 0.118, 0.124, 0.119, 0.122]
    found = mean_of(readings, within=0.0)
    assert found.value == pytest.approx(np.mean(readings))
    assert found.deviation == pytest.approx(stats.sem(readings))
    assert found.freedom == pytest.approx(4)
    low, high = stats.t.interval(0.95, 4, loc=np.mean(readings), scale=stats.sem(readings))
    assert (found.lowest, found.highest) == pytest.approx((low, high), abs=1e-5)
    coarse = mean_of(readings, within=0.01)
    assert coarse.deviation == pytest.approx(math.hypot(stats.sem(readings), 0.01 / math.sqrt(3)))


def test_one_reading_is_as_good_as_the_instrument() -> None:
    found = mean_of([4.2], within=0.05)
    assert (found.value, found.deviation, found.freedom) == (4.2, pytest.approx(0.05 / math.sqrt(3)), math.inf)


def test_more_readings_do_not_make_the_instrument_better() -> None:
    assert mean_of([1.0] * 1000, within=0.1).deviation == pytest.approx(0.1 / math.sqrt(3))


@pytest.mark.parametrize("count", [3, 5, 10])
def test_the_interval_holds_the_true_value_in_nineteen_of_twenty_draws(count: int) -> None:
    """Normal readings of an instrument that is off by anything within its limits: JCGM 101:2008, by drawing both."""
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(2000):
        off = rng.uniform(-0.02, 0.02)
        found = mean_of((5.0 + off + rng.normal(0, 0.02, count)).tolist(), within=0.02)
        held += found.lowest <= 5.0 <= found.highest
    assert 0.93 <= held / 2000 <= 0.995


def test_a_value_in_another_unit_keeps_its_relative_uncertainty() -> None:
    found = Measured(2.0, 0.1, 7).scaled(-25.4)
    assert (found.value, found.deviation, found.freedom) == (-50.8, pytest.approx(2.54), 7)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        pytest.param(lambda: Measured(1.0, -0.1), "standard uncertainty", id="negative"),
        pytest.param(lambda: Measured(1.0, math.nan), "standard uncertainty", id="no number"),
        pytest.param(lambda: Measured(1.0, 0.1, 0.5), "degrees of freedom", id="no freedom"),
        pytest.param(lambda: mean_of([], 0.1), "readings", id="no reading"),
        pytest.param(lambda: coverage_95(0.5), "degrees of freedom", id="no factor"),
    ],
)
def test_what_can_not_be_is_refused(make: object, words: str) -> None:
    with pytest.raises(FormulaRangeError, match=words):
        make()  # type: ignore[operator]
