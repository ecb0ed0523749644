"""Where a motion is likely to lie, as far as that is known before it is looked for."""

from __future__ import annotations

from typing import NamedTuple


class Guess(NamedTuple):
    """A motion near the quickest: part `acceleration` rad/s^2 and `speed` rad/s, each to the part `width` of it.

    A search that is given one looks near it alone: it finds the quickest there, which is proved as any other.
    """

    acceleration: float
    speed: float
    width: float
