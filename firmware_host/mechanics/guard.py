"""Refusing values for which a formula means nothing, and the number types every formula here takes."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import FormulaRangeError

FloatArray: TypeAlias = NDArray[np.float64]
FloatOrArray: TypeAlias = float | FloatArray


def real(value: Fraction | float) -> float:
    """An exact number as a float; those of many parts, an array of objects, as an array of floats."""
    if isinstance(value, np.ndarray):
        return value.astype(np.float64)
    return float(value)


def beside(value: FloatOrArray) -> FloatArray:
    """A figure of a part, or of many along the last axis, beside an axis of its own: shape (1,) or (parts, 1)."""
    return np.asarray(value, dtype=np.float64)[..., np.newaxis]


def require_positive(what: str, value: FloatOrArray, unit: str = "") -> FloatArray:
    """`value` as an array if every element is finite and > 0; otherwise `FormulaRangeError` with the first other."""
    if isinstance(value, float) and 0 < value < math.inf:
        return np.asarray(value)
    array = np.asarray(value, dtype=np.float64)
    _refuse(what, array, ~(np.isfinite(array) & (array > 0)), 0.0, unit, "It must be finite and greater than 0")
    return array


def require_not_negative(what: str, value: FloatOrArray, unit: str = "") -> FloatArray:
    """`value` as an array if every element is finite and >= 0; otherwise `FormulaRangeError`."""
    if isinstance(value, float) and 0 <= value < math.inf:
        return np.asarray(value)
    array = np.asarray(value, dtype=np.float64)
    _refuse(what, array, ~(np.isfinite(array) & (array >= 0)), 0.0, unit, "It must be finite and at least 0")
    return array


def require_at_most(what: str, value: FloatOrArray, limit: float, unit: str = "", remedy: str = "") -> FloatArray:
    """`value` as an array if every element is finite and <= `limit`; otherwise `FormulaRangeError`."""
    if isinstance(value, float) and -math.inf < value <= limit:
        return np.asarray(value)
    array = np.asarray(value, dtype=np.float64)
    wrong = ~(np.isfinite(array) & (array <= limit))
    _refuse(what, array, wrong, limit, unit, remedy or f"It must be at most {limit:g}")
    return array


def _refuse(what: str, array: FloatArray, wrong: NDArray[np.bool_], limit: float, unit: str, remedy: str) -> None:
    if wrong.any():
        raise FormulaRangeError(what, float(array[wrong].flat[0]), unit, limit, remedy)
