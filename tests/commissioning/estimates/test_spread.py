"""The spread of readings and its interval, against SciPy's chi-square and by drawing."""

from __future__ import annotations

import math
import random

import pytest
from scipy.stats import chi2

from firmware_host.commissioning.estimates.spread import spread_of
from firmware_host.errors import FormulaRangeError


@pytest.mark.parametrize("count", [2, 5, 10, 31, 32, 101], ids=str)
def test_its_ends_are_those_of_chi_square(count: int) -> None:
    readings = [math.sin(7 * each) for each in range(count)]
    found = spread_of(readings, 0.0)
    mean = sum(readings) / count
    squares = sum((each - mean) ** 2 for each in readings)
    assert found.value == pytest.approx(math.sqrt(squares / (count - 1)))
    low, high = (math.sqrt(squares / chi2.ppf(share, count - 1)) for share in (0.975, 0.025))
    assert (found.lowest, found.highest) == pytest.approx((low, high), rel=1e-3)
    assert found.deviation == pytest.approx(found.value / math.sqrt(2 * (count - 1)))


def test_what_the_instrument_scatters_by_itself_is_taken_off() -> None:
    rng = random.Random(1)
    readings = [rng.gauss(0, 1) + rng.uniform(-2, 2) for _ in range(4000)]
    assert spread_of(readings, 2.0).value == pytest.approx(1.0, abs=0.05)
    assert spread_of(readings, 0.0).value == pytest.approx(math.sqrt(1 + 4 / 3), abs=0.05)


def test_readings_that_scatter_less_than_the_instrument_tell_of_no_spread() -> None:
    found = spread_of([0.0, 0.1, -0.1, 0.0, 0.05], 1.0)
    assert (found.value, found.lowest) == (0.0, 0.0)
    assert found.within == found.highest


def test_in_another_unit_its_ends_are_in_that_unit() -> None:
    found = spread_of([1.0, 2.0, 4.0], 0.0)
    assert found.scaled(10).highest == pytest.approx(10 * found.highest)
    assert found.scaled(10).lowest == pytest.approx(10 * found.lowest)


def test_one_reading_has_no_spread() -> None:
    with pytest.raises(FormulaRangeError, match="readings"):
        spread_of([1.0], 0.0)
