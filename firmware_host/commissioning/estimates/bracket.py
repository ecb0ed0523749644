"""The greatest value that still works, between one that does and one that does not, in few trials.

Values are positive; the search halves the ratio of the two, not their difference: it is as fine anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from firmware_host.commissioning.estimates.measured import Measured, of_limits
from firmware_host.errors import FormulaRangeError

_HALVINGS = 60


@dataclass(frozen=True)
class Trial:
    """One trial at `value` (> 0): whether it failed."""

    value: float
    failed: bool


@dataclass(frozen=True)
class Bracket:
    """What trials tell. `works`: the highest value below every failure at which `passes` > 0 trials worked, 0 if none.

    `fails`: the lowest value at which one failed, infinite if none did. What worked there or above it was good luck.
    """

    works: float
    fails: float
    passes: int

    @classmethod
    def of(cls, trials: Iterable[Trial]) -> Bracket:
        """The bracket of some trials, in any order."""
        trials = tuple(trials)
        fails = min((each.value for each in trials if each.failed), default=math.inf)
        below = [each.value for each in trials if not each.failed and each.value < fails]
        works = max(below, default=0.0)
        return cls(works, fails, below.count(works))

    @property
    def ratio(self) -> float:
        """Between the two, > 1."""
        return self.fails / self.works if self.works > 0 else math.inf

    def limit(self, scatter: float = 0.0) -> Measured:
        """The lowest value at which it fails: anywhere between the two alike (JCGM 100:2008, 4.3.7), but for `scatter`.

        `scatter`: of it. Raises `FormulaRangeError` while an end is missing.
        """
        if self.works <= 0 or self.fails == math.inf:
            raise FormulaRangeError("trials", self.passes, "", 1, "Try until one works and one fails")
        return uniform_between(self.works, self.fails, scatter * self.works)


def halfway(works: float, fails: float) -> float:
    """The next value to try: as many times the one as the other is times it."""
    return math.sqrt(works * fails)


def chance_at_most(trials: int) -> float:
    """The highest chance of a failure that leaves 5 % for none in so many trials (>= 1): 1 - 0.05^(1/n), near 3/n.

    The rule of three: Hanley and Lippman-Hand, JAMA 249 (1983), 1743 (from memory).
    """
    if trials < 1:
        raise FormulaRangeError("trials", trials, "", 1, "Try at least once")
    return 1 - math.exp(math.log(0.05) / trials)


def uniform_between(lowest: float, highest: float, scatter: float = 0.0) -> Measured:
    """A value that is known to lie between two others, any place alike (clause 4.3.7), but for a normal `scatter`.

    The interval is that of the sum of the two; without a scatter it is 95 % of the limits (EA-4/02, S9, has 1.65 times
    the standard uncertainty, from memory).
    """
    value, half = (lowest + highest) / 2, (highest - lowest) / 2
    low, high = 0.0, half + 4 * scatter
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if _within(middle, half, scatter) < 0.95 else (low, middle)
    return Measured(value, math.hypot(of_limits(half), scatter), ends=(value - high, value + high))


def _within(size: float, half: float, scatter: float) -> float:
    """Chance that a uniform error of limits +-`half` and a normal one of `scatter` come to less than `size` together.

    Of the integral of the normal distribution, z Phi(z) + phi(z).
    """
    if scatter <= 0 or half <= 0:
        return min(size / half, 1.0) if half > 0 else math.erf(size / scatter / math.sqrt(2))

    def integral(z: float) -> float:
        return z * 0.5 * math.erfc(-z / math.sqrt(2)) + math.exp(-z * z / 2) / math.sqrt(2 * math.pi)

    ends = [(size + half) / scatter, (size - half) / scatter, (half - size) / scatter, (-half - size) / scatter]
    first, second, third, fourth = map(integral, ends)
    return scatter / (2 * half) * ((first - second) - (third - fourth))
