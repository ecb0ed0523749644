"""Refusing what no instrument reads, before anything is worked out of it: no number, or a size beyond all measures."""

from __future__ import annotations

from collections.abc import Iterable

from firmware_host.errors import FormulaRangeError

MOST, LEAST = 1e12, 1e-12
"""Sizes in SI beyond which nothing is measured at a machine."""
_TOO_MUCH = "Read it again: look at the number and its unit"


def require_readings(readings: Iterable[float], what: str = "reading") -> None:
    """Raises `FormulaRangeError` for the first that is no number, or beyond `MOST` either way."""
    for each in readings:
        if not abs(each) <= MOST:
            raise FormulaRangeError(what, each, "", MOST, _TOO_MUCH)


def require_sizes(**sizes: float) -> None:
    """Raises `FormulaRangeError` for the first that is not a positive size from `LEAST` to `MOST`."""
    for name, value in sizes.items():
        what = name.replace("_", " ")
        if value > MOST:
            raise FormulaRangeError(what, value, "", MOST, _TOO_MUCH)
        if not value >= LEAST:
            remedy = "It must be above nothing: look at the number and its unit"
            raise FormulaRangeError(what, value, "", LEAST, remedy)
