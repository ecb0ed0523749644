"""Drawn inputs, intervals and sensitivities, against SciPy's distributions and intervals and against closed forms."""

import math

import numpy as np
import pytest
from scipy import stats

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.uncertainty import FactorRange, correlation_ratio, rectangular_factors, wilson_interval


def test_draws_have_the_mean_the_variance_and_the_shape_of_scipys_uniform_distribution() -> None:
    ranges = (FactorRange(0.8, 1.2), FactorRange(1.0, 2.25), FactorRange(1.0, 1.0))
    drawn = rectangular_factors(np.random.default_rng(7), 200_000, ranges)
    assert drawn.shape == (3, 200_000)
    for row, r in zip(drawn[:2], ranges[:2], strict=True):
        wanted = stats.uniform(r.lowest, r.highest - r.lowest)
        # The standard error of the mean is sd/447, that of the variance (kurtosis 1.8) 0.89 var/447: four of each.
        assert row.mean() == pytest.approx(wanted.mean(), abs=4 * wanted.std() / math.sqrt(row.size))
        assert row.var() == pytest.approx(wanted.var(), rel=4 * 0.9 / math.sqrt(row.size))
        assert stats.kstest(row, wanted.cdf).pvalue > 1e-3
    assert (drawn[2] == 1.0).all()
    assert abs(stats.pearsonr(drawn[0], drawn[1]).statistic) < 4 / math.sqrt(drawn.shape[1])


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
@pytest.mark.parametrize(
    ("successes", "draws"),
    [(0, 100), (1, 100), (50, 100), (99, 100), (100, 100), (99_987, 100_000), (0, 1), (1, 1)],
    ids=lambda value: str(value),
)
def test_the_interval_is_scipys_wilson_interval(successes: int, draws: int, confidence: float) -> None:
    wanted = stats.binomtest(successes, draws).proportion_ci(confidence, method="wilson")
    low, high = wilson_interval(successes, draws, confidence)
    assert (low, high) == pytest.approx((wanted.low, wanted.high), rel=1e-9, abs=1e-12)
    assert 0 <= low <= successes / draws <= high <= 1


@pytest.mark.parametrize(("successes", "draws"), [(-1, 10), (11, 10), (0, 0)], ids=["negative", "too many", "none"])
def test_an_impossible_count_is_refused(successes: int, draws: int) -> None:
    with pytest.raises(FormulaRangeError, match="from 0 to the number of draws"):
        wilson_interval(successes, draws)


@pytest.mark.parametrize("confidence", [0.0, 1.0, float("nan")])
def test_an_impossible_confidence_is_refused(confidence: float) -> None:
    with pytest.raises(FormulaRangeError, match="between 0 and 1"):
        wilson_interval(1, 2, confidence)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(-0.1, 1.0, "at least 0"), (1.2, 1.0, "must not exceed"), (0.5, math.inf, "finite")],
    ids=["negative", "turned round", "endless"],
)
def test_an_impossible_range_is_refused(low: float, high: float, words: str) -> None:
    with pytest.raises(FormulaRangeError, match=words):
        FactorRange(low, high)


def test_a_sum_s_variance_is_shared_as_the_closed_form_says() -> None:
    # y = sum a_i x_i of independent x_i: Var y = sum a_i^2 Var x_i, and each share is its own term of that.
    ranges = (FactorRange(0.9, 1.1), FactorRange(0.7, 1.3), FactorRange(0.5, 1.5), FactorRange(0.0, 2.0))
    weights = np.array([4.0, -2.0, 1.0, 0.0])
    drawn = rectangular_factors(np.random.default_rng(3), 200_000, ranges)
    outcome = weights @ drawn
    terms = weights**2 * np.array([(r.highest - r.lowest) ** 2 / 12 for r in ranges])
    assert outcome.mean() == pytest.approx(float(weights.sum()), abs=4 * math.sqrt(terms.sum() / 200_000))
    assert outcome.var() == pytest.approx(float(terms.sum()), rel=0.01)
    shares = [correlation_ratio(row, outcome) for row in drawn]
    assert shares == pytest.approx((terms / terms.sum()).tolist(), abs=0.01)


def ishigami(x: np.ndarray) -> np.ndarray:
    return np.asarray(np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0]))


def test_the_ishigami_function_has_its_published_first_order_indices() -> None:
    # Saltelli et al., Global Sensitivity Analysis, 2008: S = 0.3139, 0.4424, 0 for a = 7, b = 0.1. No input but the
    # first has a slope here, so a measure of slopes would miss the second altogether.
    x = np.random.default_rng(5).uniform(-np.pi, np.pi, (3, 400_000))
    shares = [correlation_ratio(row, ishigami(x)) for row in x]
    assert shares == pytest.approx([0.3139, 0.4424, 0.0], abs=0.005)


def test_the_indices_are_those_that_scipy_estimates_by_saltelli_s_method() -> None:
    sampled = stats.sobol_indices(func=ishigami, n=4096, dists=[stats.uniform(-np.pi, 2 * np.pi)] * 3, rng=11)
    x = np.random.default_rng(12).uniform(-np.pi, np.pi, (3, 200_000))
    shares = [correlation_ratio(row, ishigami(x)) for row in x]
    assert shares == pytest.approx(sampled.first_order.tolist(), abs=0.02)


@pytest.mark.parametrize("draws", [2, 20, 100, 1000])
def test_few_draws_claim_no_influence_that_is_not_there(draws: int) -> None:
    rng = np.random.default_rng(draws)
    found = [correlation_ratio(rng.random(draws), rng.random(draws)) for _ in range(400)]
    assert min(found) >= 0
    assert float(np.mean(found)) < 2.5 / math.sqrt(draws)


def test_an_outcome_that_never_changes_is_nobodys_doing() -> None:
    x = np.linspace(0.0, 1.0, 500)
    assert correlation_ratio(x, np.full(500, 0.3)) == 0
    assert correlation_ratio(x, 0.3 + x) == pytest.approx(1.0, abs=0.001)


def test_inputs_and_outcomes_must_belong_together() -> None:
    with pytest.raises(FormulaRangeError, match="as many inputs as outcomes"):
        correlation_ratio(np.zeros(3), np.zeros(4))
