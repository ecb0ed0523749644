"""A measured value with its standard uncertainty, as the GUM (JCGM 100:2008) has it: pure, no units, no files."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from firmware_host.commissioning.estimates.sensible import require_readings
from firmware_host.errors import FormulaRangeError

#: Degrees of freedom, and the factor that holds 95 % of Student's distribution: JCGM 100:2008, table G.2.
_T95 = (
    (1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (6, 2.45), (7, 2.36), (8, 2.31), (9, 2.26), (10, 2.23),
    (11, 2.20), (12, 2.18), (13, 2.16), (14, 2.14), (15, 2.13), (16, 2.12), (17, 2.11), (18, 2.10), (19, 2.09),
    (20, 2.09), (25, 2.06), (30, 2.04), (35, 2.03), (40, 2.02), (45, 2.01), (50, 2.01), (100, 1.984),
)  # fmt: skip
NORMAL_95 = 1.960
"""The same of a normal distribution, which nothing is learned about: table G.1."""


_DECIMALS = 3
"""Of a value that has no interval."""


def give_or_take(value: float, within: float) -> str:
    """A value and half of its interval (>= 0): two digits of that, and the value to the same place (clause 7.2.6)."""
    decimals = max(0, 1 - math.floor(math.log10(float(f"{within:.1e}")))) if within > 0 else _DECIMALS
    return f"{value:.{decimals}f} ± {within:.{decimals}f}"


@dataclass(frozen=True, slots=True)
class Measured:
    """`value` with its standard uncertainty `deviation` (>= 0, same unit) of `freedom` degrees (inf: without doubt)."""

    value: float
    deviation: float
    freedom: float = math.inf
    ends: tuple[float, float] | None = None
    """The interval's ends where it does not lie evenly about the value, as that of a standard deviation."""

    def __post_init__(self) -> None:
        if not 0 <= self.deviation < math.inf:
            raise FormulaRangeError("standard uncertainty", self.deviation, "", 0.0, "It must be a number, >= 0")
        if not self.freedom >= 1:
            raise FormulaRangeError("degrees of freedom", self.freedom, "", 1.0, "At least one is needed")

    @property
    def within(self) -> float:
        """Half of the interval that holds the true value in 95 of 100 cases (clause 6.2, annex G.3)."""
        if self.ends is not None:
            return max(self.value - self.ends[0], self.ends[1] - self.value)
        return coverage_95(self.freedom) * self.deviation

    @property
    def lowest(self) -> float:
        """The lower end of that interval."""
        return self.value - self.within if self.ends is None else self.ends[0]

    @property
    def highest(self) -> float:
        """Its upper end."""
        return self.value + self.within if self.ends is None else self.ends[1]

    def told(self, unit: str) -> str:
        """As it is written (`give_or_take`)."""
        return f"{give_or_take(self.value, self.within)} {unit}".rstrip()

    def no_better_than(self, deviation: float) -> Measured:
        """The same, but with no less than `deviation`, which is known without doubt: what the instrument can't show."""
        return self if self.deviation >= deviation else Measured(self.value, deviation)

    def scaled(self, factor: float) -> Measured:
        """The same in another unit, or times an exact number (> 0 where its ends are told)."""
        ends = None if self.ends is None else (self.ends[0] * factor, self.ends[1] * factor)
        return Measured(self.value * factor, self.deviation * abs(factor), self.freedom, ends)


def coverage_95(freedom: float) -> float:
    """The coverage factor for 95 %, `freedom` >= 1 cut down to the next entry of table G.2 (clause G.4.1, note)."""
    if freedom == math.inf:
        return NORMAL_95
    place = bisect_right(_T95, (freedom, math.inf)) - 1
    if place < 0:
        raise FormulaRangeError("degrees of freedom", freedom, "", 1.0, "At least one is needed")
    return _T95[place][1]


def of_limits(within: float) -> float:
    """Standard uncertainty of a value known to lie within limits, any place alike: clause 4.3.7."""
    return within / math.sqrt(3)


def mean_of(readings: Sequence[float], within: float) -> Measured:
    """The mean of readings of one thing (at least one), by an instrument that is right to `within` (>= 0).

    Type A from the readings' own scatter, s/sqrt(n) with n - 1 degrees (clause 4.2.3); type B from the instrument, any
    place in its limits alike, within/sqrt(3) (4.3.7), which more readings don't make less. A single reading has no
    scatter of its own: then the instrument is all that is known.
    """
    count = len(readings)
    if count < 1:
        raise FormulaRangeError("readings", count, "", 1, "Take at least one")
    require_readings(readings)
    mean = math.fsum(readings) / count
    instrument = Measured(0.0, of_limits(within))
    if count == 1:
        return Measured(mean, instrument.deviation)
    scatter = math.sqrt(math.fsum((each - mean) ** 2 for each in readings) / (count - 1))
    return combined(mean, [(1.0, Measured(0.0, scatter / math.sqrt(count), count - 1)), (1.0, instrument)])


def combined(value: float, terms: Sequence[tuple[float, Measured]]) -> Measured:
    """`value`, a function of independent inputs: each with how much it moves the value for one of its own units.

    u^2 = sum((c_i u_i)^2) (clause 5.1.2), with the degrees of freedom of Welch and Satterthwaite, u^4 over
    sum((c_i u_i)^4/v_i) (annex G.4.1).
    """
    parts = [(abs(sensitivity) * each.deviation, each.freedom) for sensitivity, each in terms]
    deviation = math.hypot(*(size for size, _ in parts))
    shares = math.fsum(size**4 / freedom for size, freedom in parts if freedom != math.inf)
    freedom = deviation**4 / shares if shares > 0 else math.inf
    return Measured(value, deviation, max(freedom, 1.0))
