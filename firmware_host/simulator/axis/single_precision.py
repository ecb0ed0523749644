"""The arithmetic of a small controller: 32-bit floats, and rounding half away from zero.

Values are kept as Python floats that are exactly representable in 32 bits. Working in 64 bits and rounding each single
operation to 32 gives the same result as 32-bit hardware (53 >= 2 * 24 + 2 bits: S. Figueroa, "When is double rounding
innocuous?", ACM SIGNUM Newsletter 30(3), 1995, cited from memory).
"""

from __future__ import annotations

import math
from functools import lru_cache
from struct import Struct

INT32_MAX = 2**31 - 1
_SINGLE = Struct("<f")


def single(value: float) -> float:
    """Round `value` to the nearest 32-bit float (overflow gives an infinity of the same sign)."""
    try:
        rounded: float = _SINGLE.unpack(_SINGLE.pack(value))[0]
    except OverflowError:
        return math.copysign(math.inf, value)
    return rounded


def lround(value: float) -> int:
    """Nearest whole number, halves away from zero, saturated to 32 bits.

    Source of the rule: ISO C `lround`; the saturation is this board's own way with values that don't fit.
    """
    if math.isnan(value):
        return 0
    size = INT32_MAX if abs(value) >= INT32_MAX else math.floor(abs(value) + 0.5)
    return -size if value < 0 else size


def to_steps(position: float, steps_per_unit: float) -> int:
    """Whole steps of a position (units) on an axis: `lround(position * steps_per_unit)`, the product in 32 bits."""
    return lround(single(position * steps_per_unit))


@lru_cache(maxsize=1024)  # most axes stand
def printed(value: float, decimals: int) -> str:
    """The text of a 32-bit float as a small controller makes it: times ten for each decimal in 32 bits, half up.

    The rule is drawn from recordings of real boards (89 steps at 8.8889 steps a unit are told as 10.013).
    """
    size = single(abs(value))
    for _ in range(decimals):
        size = single(size * 10)
    digits = str(min(int(single(size + 0.5)), 2**31)).rjust(decimals + 1, "0")
    sign = "-" if value < 0 else ""
    return sign + (f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits)


def to_position(steps: int, steps_per_unit: float) -> float:
    """Position in units (a 32-bit float) of a step counter; `steps_per_unit` > 0."""
    return single(single(steps) / steps_per_unit)
