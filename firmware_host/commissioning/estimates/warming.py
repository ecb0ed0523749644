"""From temperatures at several times to where a motor ends, and how quickly it gets there. SI, degC; no files."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firmware_host.commissioning.estimates.measured import Measured, of_limits
from firmware_host.commissioning.estimates.sensible import require_readings
from firmware_host.errors import FormulaRangeError

BENT = 1.5
"""Readings over fewer time constants lie nearly on a straight line: they tell neither of the two well."""
_LONGEST, _SHORTEST = 30.0, 1 / 30
_GRID, _HALVINGS = 241, 60
_GOLDEN = (math.sqrt(5) - 1) / 2
_LEAST_RISE = 1e-6
"""Of temperature (K): what no thermometer shows."""


@dataclass(frozen=True)
class WarmingCurve:
    """T = end - (end - start) exp(-t/tau): `end` (degC), `time_constant` (s); `scatter` of one reading (K).

    `lasted`: time of the last reading over the time constant; less than `BENT` tells little.
    """

    end: Measured
    time_constant: Measured
    scatter: float
    lasted: float


def warming_curve(
    times: Sequence[float], temperatures: Sequence[float], within: float, first_within: float = 0.0
) -> WarmingCurve:
    """The curve of first order through n >= 3 readings (degC) at `times` (s, rising), each good to `within` (K).

    Least squares for end, start and time constant; the covariance is that of the linear problem at the solution
    (JCGM 100:2008, 5.1.2 and H.3), with the readings' scatter or the instrument's limits, whichever is larger. Three
    readings leave no scatter: then the instrument is all that is known. `first_within` (K): the first one lies
    so close to the curve, where that is less close than the others do. Raises `FormulaRangeError` for fewer readings,
    and where they are all alike: then they have no time constant.
    """
    count = len(times)
    if count < 3 or len(temperatures) != count or any(b <= a for a, b in itertools.pairwise(times)):
        raise FormulaRangeError("readings of temperature", count, "", 3, "Take at least three, one after the other")
    require_readings((*times, *temperatures), "reading of temperature")
    if max(temperatures) - min(temperatures) < _LEAST_RISE:
        raise FormulaRangeError("rise of temperature", 0.0, "K", within, "It has to get warmer to tell anything")
    at = np.asarray(times, dtype=float) - times[0]
    read = np.asarray(temperatures, dtype=float)
    close = np.ones(count)
    close[0] = within / max(within, first_within) if within > 0 else 1.0
    tau = _best(at, read, close)
    decay = np.exp(-at / tau)
    (end, drop), rest = _linear(decay, read, close)
    jacobian = np.column_stack((np.ones(count), -decay, -drop * decay * at / tau**2)) * close[:, None]
    freedom = count - 3
    variance, instrument = float(rest @ rest) / freedom if freedom else 0.0, of_limits(within) ** 2
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * max(variance, instrument)
    degrees = float(freedom) if variance > instrument else math.inf
    return WarmingCurve(
        end=Measured(end, math.sqrt(float(covariance[0, 0])), degrees),
        time_constant=Measured(tau, math.sqrt(float(covariance[2, 2])), degrees),
        scatter=math.sqrt(variance),
        lasted=float(at[-1]) / tau,
    )


def _linear(decay: np.ndarray, read: np.ndarray, close: np.ndarray) -> tuple[tuple[float, float], np.ndarray]:
    """(End, end less start) of the best curve with this decay, and what is left of the readings, times `close`."""
    design = np.column_stack((np.ones(len(decay)), -decay)) * close[:, None]
    solution, *_ = np.linalg.lstsq(design, read * close, rcond=None)
    return (float(solution[0]), float(solution[1])), read * close - design @ solution


def _best(at: np.ndarray, read: np.ndarray, close: np.ndarray) -> float:
    """The time constant of least squares: the others follow from it, so it alone is searched for, by its logarithm."""

    def squares(log_tau: float) -> float:
        _, rest = _linear(np.exp(-at / math.exp(log_tau)), read, close)
        return float(rest @ rest)

    grid = np.linspace(math.log(at[-1] * _SHORTEST), math.log(at[-1] * _LONGEST), _GRID)
    best = int(np.argmin([squares(each) for each in grid]))
    low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, _GRID - 1)])
    for _ in range(_HALVINGS):
        first, second = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        if squares(first) < squares(second):
            high = second
        else:
            low = first
    return math.exp((low + high) / 2)
