"""The travel that a board keeps by itself: what lies beyond is not made as it was asked, and often nothing is said."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import NamedTuple

from firmware_host.errors import PlanError
from firmware_host.planning.route.unwinding import Span


class KeptTravel(NamedTuple):
    """From `lowest` to `highest` (units from machine zero, as the controller counts them).

    `beyond`: what becomes of a move to a place beyond; `keys`: the settings of both ends, none where they are none.
    """

    lowest: float
    highest: float
    beyond: str
    keys: tuple[str, ...]

    def span(self, scale: Fraction, sign: int, origin: int) -> Span:
        """In microsteps from the job's zero; `scale` steps per unit, `sign` -1 for a reversed axis."""
        ends = self.lowest * float(scale) * sign, self.highest * float(scale) * sign
        return Span(math.ceil(min(ends)) - origin, math.floor(max(ends)) - origin)

    def require(self, lowest: int, highest: int, scale: Fraction, sign: int, origin: int) -> None:
        """Raise `PlanError` where a route from `lowest` to `highest` (microsteps from the job's zero) leaves it."""
        span = self.span(scale, sign, origin)
        if span.holds(lowest, highest):
            return
        beyond = lowest if lowest < span.lowest else highest
        units = float((beyond + origin) * sign / scale)
        named = f" ({' and '.join(self.keys)})" if self.keys else " with its own tools"
        raise PlanError(
            f"a place of the route lies outside the travel that the board keeps to, {self.lowest:g} to "
            f"{self.highest:g} units, and beyond it {self.beyond}",
            units,
            "units",
            self.lowest if units < self.lowest else self.highest,
            f"Widen that travel{named}, or begin the job further from its end: mark.start_angle",
        )
