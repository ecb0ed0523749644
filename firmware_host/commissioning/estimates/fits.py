"""Least squares of a straight line and of the first harmonic around a turn, each with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firmware_host.commissioning.estimates.measured import Measured, combined, of_limits
from firmware_host.commissioning.estimates.sensible import require_readings
from firmware_host.errors import FormulaRangeError


@dataclass(frozen=True)
class Line:
    """y = intercept + slope x; `correlation` of the two estimates; `scatter`: of one reading about the line.

    `spread`: root of the sum of squares of x about its mean.
    """

    intercept: Measured
    slope: Measured
    correlation: float
    scatter: float
    spread: float = 0.0

    def slope_read_to(self, within: float) -> Measured:
        """The slope, by readings that are right to `within` (a limit): what they scatter less than that is chance."""
        return self.slope.no_better_than(of_limits(within) / self.spread)

    def at(self, x: float) -> Measured:
        """The line's value at `x`, with the correlation of the two (JCGM 100:2008, H.3.3, equation H.15)."""
        value = self.intercept.value + x * self.slope.value
        first, second = self.intercept.deviation, x * self.slope.deviation
        variance = first**2 + second**2 + 2 * first * second * self.correlation
        return Measured(value, math.sqrt(max(variance, 0.0)), self.intercept.freedom)


def line_through(x: Sequence[float], y: Sequence[float]) -> Line:
    """The straight line through n >= 3 readings, all as good as one another (JCGM 100:2008, annex H.3.2).

    Raises `FormulaRangeError` for fewer readings, or where all are at one x.
    """
    count = len(x)
    if count < 3 or len(y) != count or max(x, default=0) == min(x, default=0):
        raise FormulaRangeError("readings", count, "", 3, "Take at least three, at different places")
    require_readings((*x, *y))
    design = np.column_stack((np.ones(count), np.asarray(x, dtype=float)))
    solution, variance, covariance = _solved(design, np.asarray(y, dtype=float))
    sizes = np.sqrt(np.diag(covariance))
    correlation = float(covariance[0, 1] / (sizes[0] * sizes[1])) if sizes.all() else 0.0
    freedom = float(count - 2)
    return Line(
        Measured(float(solution[0]), float(sizes[0]), freedom),
        Measured(float(solution[1]), float(sizes[1]), freedom),
        correlation,
        math.sqrt(variance),
        float(np.std(x) * math.sqrt(count)),
    )


@dataclass(frozen=True)
class Harmonic:
    """offset + amplitude cos(angle - phase): `amplitude` >= 0, `phase` (rad) where it is largest.

    `out_of_round`: the most that a reading lies off that, >= 0: what is no run-out. `scatter`: of one reading.
    """

    offset: Measured
    amplitude: Measured
    phase: Measured
    out_of_round: float
    scatter: float


def first_harmonic(angles: Sequence[float], readings: Sequence[float], within: float = 0.0) -> Harmonic:
    """The run-out in `readings` taken at `angles` (rad, n >= 4, not all within half a turn), good to `within` each.

    Least squares for offset, cosine and sine; an instrument's limits count as the scatter does, in whichever is larger.
    Raises `FormulaRangeError` where the readings can't tell it.
    """
    count = len(angles)
    if count < 4 or len(readings) != count:
        raise FormulaRangeError("readings around the part", count, "", 4, "Take at least four, evenly around")
    require_readings((*angles, *readings))
    places = np.asarray(angles, dtype=float)
    design = np.column_stack((np.ones(count), np.cos(places), np.sin(places)))
    if np.linalg.cond(design) > _TOO_CLOSE:
        raise FormulaRangeError("readings around the part", count, "", 4, "Take them all around, not at one side")
    values = np.asarray(readings, dtype=float)
    solution, variance, covariance = _solved(design, values)
    instrument = of_limits(within) ** 2
    if instrument > variance:
        covariance = np.linalg.inv(design.T @ design) * instrument
    offset, cosine, sine = (float(each) for each in solution)
    amplitude, phase = math.hypot(cosine, sine), math.atan2(sine, cosine)
    along = np.array([math.cos(phase), math.sin(phase)])
    across = np.array([-math.sin(phase), math.cos(phase)])
    planar = covariance[1:, 1:]
    freedom = float(max(count - 3, 1)) if variance >= instrument else math.inf
    sideways = math.sqrt(float(across @ planar @ across))
    return Harmonic(
        Measured(offset, math.sqrt(float(covariance[0, 0])), freedom),
        Measured(amplitude, math.sqrt(float(along @ planar @ along)), freedom),
        Measured(phase, min(sideways / amplitude, math.pi) if amplitude > 0 else math.pi, freedom),
        float(np.abs(values - design @ solution).max()),
        math.sqrt(variance),
    )


def difference(first: Measured, second: Measured) -> Measured:
    """The first less the second, measured independently of one another."""
    return combined(first.value - second.value, [(1.0, first), (-1.0, second)])


_TOO_CLOSE = 20.0
"""Condition of the readings' places beyond which cosine and sine are not told apart well."""


def _solved(design: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, float, np.ndarray]:
    """Least squares: the solution, the variance of one reading, the covariance of the solution."""
    solution, *_ = np.linalg.lstsq(design, values, rcond=None)
    rest = values - design @ solution
    freedom = design.shape[0] - design.shape[1]
    variance = float(rest @ rest) / freedom if freedom > 0 else 0.0
    return solution, variance, np.linalg.inv(design.T @ design) * variance
