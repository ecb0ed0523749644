"""Limits of heat: how warm the motor gets, held for ever and over cycles of move and pass."""

from __future__ import annotations

from abc import abstractmethod

from firmware_host.mechanics.motor.heat import cycle_loss, sine_copper_loss, winding_rise
from firmware_host.model.job.gate import TimedGateOptions
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, not_known, upper_limit
from firmware_host.planning.limits.limit import Limit

_SOURCE = "thermal equivalent circuit, copper at 3.93e-3/K (IEC 60028); iron losses left out"
_NEEDED = ("resistance", "thermal_resistance", "highest_temperature", "ambient")


class Heat(Limit):
    """The winding's rise over the hottest air."""

    formula: str

    def check(self, case: LimitCase) -> LimitCheck:
        motor, driver = case.machine.motor, case.machine.driver
        resistance, thermal, highest, ambient = (getattr(motor, name) for name in _NEEDED)
        missing = tuple(f"motor.{name}" for name in _NEEDED if getattr(motor, name) is None)
        if missing:
            return not_known(self.name, "K", formula=self.formula, source=_SOURCE, missing=missing)
        moving = sine_copper_loss(driver.current.si, resistance.si)
        holding = sine_copper_loss(driver.current.si * driver.standstill_current, resistance.si)
        return upper_limit(
            self.name,
            winding_rise(self.loss(case, moving, holding), thermal.si, ambient.si),
            highest.si - ambient.si,
            "K",
            formula=self.formula,
            source=_SOURCE,
            remedy="Lower driver.current or driver.standstill_current, cool the motor, or take a larger one",
        )

    @abstractmethod
    def loss(self, case: LimitCase, moving: float, holding: float) -> float:
        """Copper loss (W) that counts, from that of the running and of the standing motor."""


class HeatHolding(Heat):
    """Held for ever."""

    name = "heat-holding"
    formula = "rise = R_th*P_cu(1 + 3.93e-3*(T - 20)) <= highest - ambient, P_cu = I_standstill^2*R"

    def loss(self, case: LimitCase, moving: float, holding: float) -> float:
        del case, moving
        return holding


class HeatCycle(Heat):
    """Over cycles of the longest index, which moves for the largest share, and its pass.

    A gate that says how long a pass takes counts as holding; for any other no pause at all is counted, the hottest
    case.
    """

    name = "heat-cycle"
    formula = "the same with P_cu over index and pass, I^2*R moving and I_standstill^2*R holding"

    def loss(self, case: LimitCase, moving: float, holding: float) -> float:
        return cycle_loss(moving, case.index.duration, holding, _holding_time(case))


def _holding_time(case: LimitCase) -> float:
    """Time (s) that the axis is known to stand between two indexes."""
    gate, settle = case.job.gate, case.job.index.settle
    passes = gate.duration.si * case.job.mark.passes if isinstance(gate, TimedGateOptions) else 0.0
    return passes + (settle.si if settle is not None else 0.0)
