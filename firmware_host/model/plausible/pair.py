"""Values that belong together: each row compares two of them by a ratio that is near one where all is well.

A ratio outside `least` .. `most` cannot be, and outside `low` .. `high` it hardly is. `slips` name what was probably
confused, by the size of the ratio. The bounds are common practice, no source, but where a row says more.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from pydantic import BaseModel

from firmware_host.units import Quantity

#: (from, to, what was probably confused), for a ratio between the two; a function tells it of what is described
Slip = tuple[float, float, str | Callable[..., str]]


class Pair(NamedTuple):
    """Two values that belong together; the first of `keys` is the one that is named."""

    keys: tuple[str, ...]
    words: str
    ratio: Callable[..., float | None]
    least: float
    low: float
    high: float
    most: float
    slips: tuple[Slip, ...] = ()

    def problem(self, ratio: float, *about: Any) -> str:
        """What does not go together, with how many times it is off."""
        off = max(ratio, 1 / ratio)
        times = f"{off:,.0f}" if off >= 100 else f"{off:.3g}"
        way = f"{times} times" if ratio >= 1 else f"1/{times} of"
        return f"{self.words.format(*about)} is {way} what one would expect"

    def meant(self, ratio: float, *about: Any) -> str:
        """What was probably confused."""
        found = [told for low, high, told in self.slips if low <= ratio <= high]
        if not found:
            return f"Check {', '.join(self.keys[:-1])} and {self.keys[-1]}"
        return found[0] if isinstance(found[0], str) else found[0](*about)


def size_of(described: BaseModel, key: str) -> float | None:
    """The value of a key in SI units; None where it is not stated, or what is described has no such key."""
    value = getattr(described, key, None)
    return value.si if isinstance(value, Quantity) else None


def over(value: Quantity | None, usual: float | None) -> float | None:
    """How many times the usual a value is; None where either is not stated."""
    return value.si / usual if value is not None and usual and value.si > 0 else None


#: Between inertias.
INERTIA_SLIPS: tuple[Slip, ...] = (
    (300, 3e3, "kg*cm^2 for g*cm^2?"),
    (1e6, 1e8, "kg*m^2 for g*cm^2?"),
    (3e3, 1e6, "kg*cm^2 or kg*m^2 for g*cm^2?"),
    (3e-4, 3e-3, "g*cm^2 for kg*cm^2?"),
    (1e-9, 3e-4, "g*cm^2 for kg*m^2?"),
)
