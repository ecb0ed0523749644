"""The limit of cruising: beside the band of step rates where a motor fed by its voltage may hunt."""

from __future__ import annotations

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.remedy import SLOWER, higher


class MidRange(Limit):
    """Full-step rate of the cruise beside the band of mid-range instability. Moves too short to cruise pass through.

    It is told, but no motion is chosen to keep it: where the band lies is known but roughly.
    """

    name = "mid-range"
    advisory = True
    ways = (SLOWER, higher("index.speed"))

    def check(self, case: LimitCase) -> LimitCheck:
        load = case.load
        formula = "full steps/s outside max(f/2, f_c) to 2*max(f, f_c); f = 2*R/(pi*L), f_c where the voltage limits"
        source = (
            "P. Acarnley, Stepping Motors, IET, 4th ed., section 5.5; that a driver which holds the current moves the "
            "band up to f_c: from memory; its width: common practice, no source"
        )
        rate, (above, below) = float(_rate(case)), _apart(case)
        margin, edge = float(self.margins(case)), load.mid_range[1 if above > below else 0]
        remedy = f"Cruise well away from {edge:.4g} full steps/s"
        return LimitCheck(self.name, rate, edge, "Hz", margin, formula, source, remedy)

    def margins(self, case: LimitCase) -> FloatArray:
        return np.maximum(*_apart(case))


def _rate(case: LimitCase) -> FloatArray:
    """Full steps/s of the cruise."""
    return case.load.step_rate(case.index.cruising) / case.load.microsteps


def _apart(case: LimitCase) -> tuple[FloatArray, FloatArray]:
    """How far it lies above the band and below it, in parts of its edges."""
    low, high = case.load.mid_range
    return _rate(case) / high - 1, 1 - _rate(case) / low
