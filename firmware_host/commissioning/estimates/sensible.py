"""Refusing what no instrument reads, before anything is worked out of it: no number, or a size beyond all measures."""

from __future__ import annotations

from collections.abc import Iterable

from firmware_host.errors import FormulaRangeError

MOST, LEAST = 1e12, 1e-12
"""Sizes in SI beyond which nothing is measured at a machine."""


def require_readings(readings: Iterable[float], what: str = "reading") -> None:
    """Raises `FormulaRangeError` for the first that is no number, or beyond `MOST` either way."""
    for each in readings:
        if not abs(each) <= MOST:
            raise FormulaRangeError(what, each, "", MOST, "Read it again: look at the number and its unit")


def require_sizes(**sizes: float) -> None:
    """Raises `FormulaRangeError` for the first that is not a positive size from `LEAST` to `MOST`."""
    for name, value in sizes.items():
        if not LEAST <= value <= MOST:
            remedy = "It must be above nothing: look at the number and its unit"
            raise FormulaRangeError(name.replace("_", " "), value, "", LEAST, remedy)
