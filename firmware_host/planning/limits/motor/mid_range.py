"""The limit of cruising: beside the band of step rates where a motor fed by its voltage may hunt."""

from __future__ import annotations

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
        load, index = case.load, case.index
        formula = "full steps/s outside max(f/2, f_c) to 2*max(f, f_c); f = 2*R/(pi*L), f_c where the voltage limits"
        source = (
            "P. Acarnley, Stepping Motors, IET, 4th ed., section 5.5; that a driver which holds the current moves the "
            "band up to f_c: from memory; its width: common practice, no source"
        )
        cruise = index.peak_speed if index.cruises else 0.0
        rate = float(load.step_rate(cruise)) / load.microsteps
        low, high = load.mid_range
        above, below = rate / high - 1, 1 - rate / low
        margin, edge = max(above, below), high if above > below else low
        remedy = f"Cruise well away from {edge:.4g} full steps/s"
        return LimitCheck(self.name, rate, edge, "Hz", margin, formula, source, remedy)
