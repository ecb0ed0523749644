"""What opens or closes a seam, one cause at a time, each with the range that it may do so in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SeamCause:
    """What one cause does to each seam: at least `low` and at most `high` (m, + gap, - overlap), shape (s,) each.

    `key`: its name for programs; `remedy`: what makes it less. `along`: it is not the same along the seam, but `high`
    at one edge of the mark and `low` at the other. `assumed`: it rests on a datum that nobody stated.
    """

    key: str
    name: str
    low: Floats
    high: Floats
    remedy: str = ""
    along: bool = False
    assumed: bool = False

    def __post_init__(self) -> None:
        """What is the same at every seam is kept once: a job may have a million of them."""
        for end in ("low", "high"):
            object.__setattr__(self, end, _kept_once(getattr(self, end)))

    @property
    def certain(self) -> Floats:
        """What of it happens in any case, m, signed: the end of its range that is nearer to zero, or zero."""
        return np.minimum(np.maximum(self.low, 0.0), self.high)

    @property
    def worst(self) -> float:
        """The most that it does to any seam, m, >= 0."""
        return float(np.maximum(np.abs(self.low), np.abs(self.high)).max(initial=0.0))


def _kept_once(values: Floats) -> Floats:
    return np.broadcast_to(values[0], values.shape) if values.size > 1 and (values == values[0]).all() else values


def either_way(key: str, name: str, size: Floats, remedy: str = "") -> SeamCause:
    """A cause that may open a seam as much as close it, by `size` (m, >= 0, shape (s,))."""
    return SeamCause(key, name, -size, size, remedy)
