"""The greatest value that still works, between one that does and one that does not, in few trials.

Values are positive; the search halves the ratio of the two, not their difference: it is as fine anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from firmware_host.commissioning.estimates.measured import Measured, uniform_between
from firmware_host.errors import FormulaRangeError


@dataclass(frozen=True)
class Trial:
    """One trial at `value` (> 0): whether it failed."""

    value: float
    failed: bool


@dataclass(frozen=True)
class Bracket:
    """What trials tell. `works`: the highest value below every failure at which `passes` > 0 trials worked, 0 if none.

    `fails`: the lowest value at which one failed, infinite if none did. `certain`: above `fails` none worked; else they
    did up to `mixed`, and the next failure above that is `surely`.
    """

    works: float
    fails: float
    passes: int
    mixed: float
    surely: float

    @classmethod
    def of(cls, trials: Iterable[Trial]) -> Bracket:
        """The bracket of some trials, in any order."""
        trials = tuple(trials)
        failed = sorted({each.value for each in trials if each.failed})
        fails = failed[0] if failed else math.inf
        worked = sorted(each.value for each in trials if not each.failed)
        below = [value for value in worked if value < fails]
        works = below[-1] if below else 0.0
        mixed = max((value for value in worked if value >= fails), default=0.0)
        surely = next((value for value in failed if value > mixed), math.inf)
        return cls(works, fails, below.count(works) if below else 0, mixed, surely)

    @property
    def ratio(self) -> float:
        """Between the two, > 1."""
        return self.fails / self.works if self.works > 0 else math.inf

    @property
    def limit(self) -> Measured:
        """Where it begins to fail: anywhere between the two alike (JCGM 100:2008, 4.3.7).

        Where a value worked and failed, anywhere up to the next that failed. Raises `FormulaRangeError` while one end is
        missing.
        """
        highest = self.surely if self.surely < math.inf else max(self.fails, self.mixed)
        if self.works <= 0 or self.fails == math.inf:
            raise FormulaRangeError("trials", self.passes, "", 1, "Try until one works and one fails")
        return uniform_between(self.works, highest)


def halfway(works: float, fails: float) -> float:
    """The next value to try: as many times the one as the other is times it."""
    return math.sqrt(works * fails)


def chance_at_most(trials: int) -> float:
    """The highest chance of a failure that leaves 5 % for none in so many trials (>= 1): 1 - 0.05^(1/n), near 3/n.

    The rule of three: Hanley and Lippman-Hand, JAMA 249 (1983), 1743 (from memory).
    """
    if trials < 1:
        raise FormulaRangeError("trials", trials, "", 1, "Try at least once")
    return 1 - 0.05 ** (1 / trials)
