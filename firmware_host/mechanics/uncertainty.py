"""Drawing uncertain inputs, and what a sample of outcomes says: a share with its interval, and whose doing it is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.guard import FloatArray, require_at_most, require_not_negative

_BINS = 64


@dataclass(frozen=True, slots=True)
class FactorRange:
    """An input times a factor from `lowest` to `highest`, 0 <= lowest <= highest, both finite."""

    lowest: float
    highest: float

    def __post_init__(self) -> None:
        require_not_negative("lowest factor", self.lowest)
        require_at_most("lowest factor", self.lowest, self.highest, remedy="It must not exceed the highest")
        require_not_negative("highest factor", self.highest)

    @classmethod
    def around(cls, tolerance: float) -> FactorRange:
        """1 plus-minus `tolerance` (0 to 1)."""
        require_at_most("tolerance", tolerance, 1.0)
        return cls(1 - tolerance, 1 + tolerance)


def rectangular_factors(rng: np.random.Generator, count: int, ranges: tuple[FactorRange, ...]) -> FloatArray:
    """`count` (>= 1) draws of every factor, each independent and anywhere in its range alike, shape (ranges, count).

    The rectangular distribution is what is known of a value of which only the limits are known (JCGM 100:2008, GUM,
    4.3.7; JCGM 101:2008, 6.4.2): mean in the middle, standard deviation half the width over sqrt(3).
    """
    lowest = np.array([r.lowest for r in ranges])[:, None]
    highest = np.array([r.highest for r in ranges])[:, None]
    factors: FloatArray = lowest + (highest - lowest) * rng.random((len(ranges), count))
    return factors


def wilson_interval(successes: int, draws: int, confidence: float = 0.95) -> tuple[float, float]:
    """The Wilson score interval of a probability that showed itself `successes` times in `draws` (>= 1).

    (p + z^2/2n -+ z sqrt(p(1 - p)/n + z^2/4n^2))/(1 + z^2/n), p = successes/draws, z the normal quantile of the
    two-sided `confidence` (0 < confidence < 1). E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209. It never leaves 0 to 1
    and says something also where nothing, or everything, succeeded.
    """
    if not 0 <= successes <= draws or draws < 1:
        raise FormulaRangeError("successes", successes, "", draws, "They must be from 0 to the number of draws, >= 1")
    if not 0 < confidence < 1:
        raise FormulaRangeError("confidence", confidence, "", 1.0, "It must lie between 0 and 1")
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    share, weight = successes / draws, z**2 / draws
    middle = share + weight / 2
    half = z * math.sqrt(share * (1 - share) / draws + weight / (4 * draws))
    low = 0.0 if successes == 0 else (middle - half) / (1 + weight)
    high = 1.0 if successes == draws else (middle + half) / (1 + weight)
    return low, high


def correlation_ratio(inputs: FloatArray, outcome: FloatArray) -> float:
    """First-order sensitivity Var(E[y|x])/Var(y), 0 to 1: the part of the outcome's variance that one input explains.

    `inputs` and `outcome` of shape (n,), n >= 2. K. Pearson's correlation ratio, the first-order index of Saltelli et
    al., Global Sensitivity Analysis: The Primer, Wiley 2008, chapter 4, here by up to 64 classes of equally many draws
    in order of x. What so many classes explain by chance is taken off, 1 - (1 - eta^2)(n - 1)/(n - classes) (T. L.
    Kelley's epsilon squared, form from memory), so an input without effect comes to about 0. 0 if nothing varies.
    """
    if inputs.shape != outcome.shape or inputs.ndim != 1 or inputs.size < 2:
        raise FormulaRangeError("draws", float(inputs.size), "", 2.0, "Give as many inputs as outcomes, at least two")
    total = float(outcome.var())
    if total <= (1e-12 * float(np.abs(outcome).max())) ** 2:
        return 0.0
    classes = min(_BINS, max(inputs.size // 8, 1))
    bounds = np.linspace(0, inputs.size, classes + 1).astype(np.intp)
    counts = np.diff(bounds)
    means = np.add.reduceat(outcome[np.argsort(inputs, kind="stable")], bounds[:-1]) / counts
    between = float(((means - outcome.mean()) ** 2 * counts).sum()) / inputs.size
    unexplained = (1 - between / total) * (inputs.size - 1) / (inputs.size - classes)
    return min(max(1 - unexplained, 0.0), 1.0)
