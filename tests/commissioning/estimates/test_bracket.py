"""A limit between what works and what fails, beside draws and SciPy's binomial distribution."""

from __future__ import annotations

import math
import random

import pytest
from scipy import stats

from firmware_host.commissioning.estimates.bracket import Bracket, Trial, chance_at_most, halfway, uniform_between
from firmware_host.errors import FormulaRangeError


def trials(text: str) -> list[Trial]:
    """ "1 2 3! 2": three values, ! for a failure."""
    return [Trial(float(each.rstrip("!")), each.endswith("!")) for each in text.split()]


@pytest.mark.parametrize(
    ("text", "works", "fails", "passes", "ends"),
    [
        pytest.param("1 2 3! 2 2", 2.0, 3.0, 3, (2.0, 3.0), id="as it should be"),
        pytest.param("1 2 3! 2 2!", 1.0, 2.0, 1, (1.0, 2.0), id="what worked fails once"),
        pytest.param("1 2! 4! 2", 1.0, 2.0, 1, (1.0, 2.0), id="what failed works once"),
        pytest.param("1 2! 3", 1.0, 2.0, 1, (1.0, 2.0), id="a higher one worked"),
    ],
)
def test_trials_in_any_order_leave_a_bracket(
    text: str, works: float, fails: float, passes: int, ends: tuple[float, float]
) -> None:
    given = trials(text)
    for order in (given, given[::-1]):
        bracket = Bracket.of(order)
        assert (bracket.works, bracket.fails, bracket.passes) == (works, fails, passes)
        limit = bracket.limit()
        assert limit.value == pytest.approx(sum(ends) / 2)
        assert limit.deviation == pytest.approx((ends[1] - ends[0]) / math.sqrt(12))


@pytest.mark.parametrize("text", ["", "1 2", "1! 2!"])
def test_one_end_alone_is_no_bracket(text: str) -> None:
    with pytest.raises(FormulaRangeError, match="one works and one fails"):
        Bracket.of(trials(text)).limit()


def test_halving_the_ratio_needs_few_trials() -> None:
    works, fails, count = 0.5, 1.0, 0
    while fails / works > 1.1:
        middle = halfway(works, fails)
        works, fails, count = (middle, fails, count + 1) if middle <= 0.731 else (works, middle, count + 1)
    assert count == 3
    assert works <= 0.731 <= fails


@pytest.mark.parametrize("count", [1, 3, 10, 30, 300])
def test_none_of_so_many_proves_what_the_binomial_distribution_says(count: int) -> None:
    most = chance_at_most(count)
    assert stats.binom.cdf(0, count, most) == pytest.approx(0.05)
    assert most == pytest.approx(stats.beta.ppf(0.95, 1, count))  # Clopper and Pearson
    assert count < 30 or most == pytest.approx(3 / count, rel=0.06)


def test_nothing_tried_proves_nothing() -> None:
    with pytest.raises(FormulaRangeError, match="Try at least once"):
        chance_at_most(0)


@pytest.mark.parametrize("scatter", [0.0, 0.1, 0.5, 2.0])
def test_the_interval_of_limits_and_scatter_holds_nineteen_of_twenty_draws(scatter: float) -> None:
    """JCGM 101:2008: draws of the sum of the two."""
    rng, draws = random.Random(1), 20_000
    found = uniform_between(-1.0, 1.0, scatter)
    held = sum(abs(rng.uniform(-1, 1) + rng.gauss(0, scatter)) <= found.within for _ in range(draws))
    assert held / draws == pytest.approx(0.95, abs=0.005)
    assert found.deviation == pytest.approx(math.hypot(1 / math.sqrt(3), scatter))
    assert found.scaled(2.0).within == pytest.approx(2 * found.within)


def test_limits_alone_keep_the_factor_of_a_uniform_value_and_a_wide_scatter_that_of_a_normal_one() -> None:
    for scatter, factor in ((0.0, 1.645), (20.0, 1.96)):
        found = uniform_between(0.0, 1.0, scatter)
        assert found.within / found.deviation == pytest.approx(factor, abs=1e-3)
