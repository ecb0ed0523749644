"""The step grid: exact whole microsteps for many angles at once, in integer arithmetic only."""

from __future__ import annotations

from fractions import Fraction
from math import lcm

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import PlanError

Steps = NDArray[np.int64]

_WORD = np.uint64(32)
_MASK = np.uint64(0xFFFF_FFFF)
_HALF = 1 << 63
_FARTHEST = 1 << 61


def round_progression(first: Fraction, step: Fraction, count: int) -> Steps:
    """Round `first + k*step` for k = 0 .. count-1 to whole numbers, ties to even, exactly.

    `count` is at most 2**31. Returns an int64 array of shape (count,). Raises `PlanError` for results beyond 2**61.
    The rounding error of a target is at most half a microstep whatever k is: nothing is summed up.
    """
    if count == 0:
        return np.zeros(0, dtype=np.int64)
    divisor = lcm(first.denominator, step.denominator)
    start, stride = (each.numerator * (divisor // each.denominator) for each in (first, step))
    farthest = abs(start) + count * abs(stride)
    if farthest > _FARTHEST * divisor:
        remedy = "Check gearing, microsteps and diameters: no machine makes that many"
        raise PlanError("farthest target", farthest / divisor, "microsteps", float(_FARTHEST), remedy)
    if 4 * (abs(start) + count * abs(stride) + divisor) < 1 << 62:
        return _round_ratio(np.int64(start) + np.arange(count, dtype=np.int64) * np.int64(stride), divisor)
    return _round_fixed_point(first, step, count)


def _round_ratio(numerators: Steps, divisor: int) -> Steps:
    """Numerators over a positive divisor, rounded with ties to even."""
    quotient, rest = np.divmod(numerators, np.int64(divisor))
    twice = 2 * rest
    up = (twice > divisor) | ((twice == divisor) & (quotient % 2 == 1))
    return np.asarray(quotient + up, dtype=np.int64)


def _round_fixed_point(first: Fraction, step: Fraction, count: int) -> Steps:
    """As `round_progression`, with 64 binary places; rows too near a half for that are settled exactly."""
    whole_first, part_first = _split(first)
    whole_step, part_step = _split(step)
    k = np.arange(count, dtype=np.uint64)
    low = k * np.uint64(part_step & 0xFFFF_FFFF) + np.uint64(part_first & 0xFFFF_FFFF)
    high = k * np.uint64(part_step >> 32) + np.uint64(part_first >> 32) + (low >> _WORD)
    part = (high << _WORD) | (low & _MASK)
    whole = np.int64(whole_first) + k.astype(np.int64) * np.int64(whole_step) + (high >> _WORD).astype(np.int64)
    rounded = whole + (part > np.uint64(_HALF))
    unsure = np.flatnonzero((part >= np.uint64(_HALF - count - 2)) & (part <= np.uint64(_HALF)))
    if unsure.size:
        rounded[unsure] = _round_exactly(first, step, unsure)
    return np.asarray(rounded, dtype=np.int64)


def _split(value: Fraction) -> tuple[int, int]:
    """Whole part (floor) and the 64 leading binary places of the rest (cut off, so at most the true value)."""
    whole, rest = divmod(value.numerator, value.denominator)
    return whole, (rest << 64) // value.denominator


def _round_exactly(first: Fraction, step: Fraction, k: NDArray[np.int64]) -> Steps:
    divisor = lcm(first.denominator, step.denominator)
    numerators = int(first * divisor) + k.astype(object) * int(step * divisor)
    quotient = numerators // divisor
    twice = 2 * (numerators - quotient * divisor)
    up = (twice > divisor) | ((twice == divisor) & (quotient % 2 == 1))
    return np.asarray(quotient + up, dtype=np.int64)


def round_half_even(value: Fraction) -> int:
    """One target: the nearest whole number, ties to even."""
    return round(value)
