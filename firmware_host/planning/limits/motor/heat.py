"""Limits of heat: how warm the motor gets, held for ever and over cycles of move and pass."""

from __future__ import annotations

from abc import abstractmethod
from typing import ClassVar

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.motor.heat import cycle_loss, warmest_cycle_loss, winding_rise
from firmware_host.model.base import stated
from firmware_host.model.job.gate import TimedGateOptions
from firmware_host.model.job.job import Job
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, upper_limit
from firmware_host.planning.limits.limit import Figures, Limit
from firmware_host.planning.limits.remedy import GENTLER, SLOWER, Way, higher, lower
from firmware_host.planning.load.supply import Losses

_SOURCE = "thermal equivalent circuit, copper at 3.93e-3/K (IEC 60028)"


class Heat(Limit):
    """The winding's rise over the hottest air."""

    formula: str
    source: str = _SOURCE
    ways: ClassVar[tuple[Way, ...]] = (lower("driver.standstill_current"), lower("driver.current"))

    def check(self, case: LimitCase) -> LimitCheck:
        return upper_limit(
            self.name,
            *self.figures(case),
            "K",
            formula=self.formula,
            source=self.source,
            remedy="Cool the motor",
        )

    def figures(self, case: LimitCase) -> Figures:
        motor, losses = case.machine.motor, case.load.supply.losses
        thermal = stated(case.machine.winding_to_air, "motor.thermal_resistance")
        highest = stated(motor.highest_temperature, "motor.highest_temperature")
        ambient = stated(motor.ambient, "motor.ambient")
        return winding_rise(self.loss(case, losses), thermal.si, ambient.si), highest.si - ambient.si

    @abstractmethod
    def loss(self, case: LimitCase, losses: Losses) -> FloatOrArray:
        """Loss (W) that counts."""


class HeatHolding(Heat):
    """Held for ever."""

    name = "heat-holding"
    formula = (
        "rise = R_th*P_cu(1 + 3.93e-3*(T - 20)) <= highest - ambient, P_cu = I_standstill^2*R, twice that where both "
        "phases carry I"
    )

    def loss(self, case: LimitCase, losses: Losses) -> FloatOrArray:
        del case
        return losses.holding


class HeatCycle(Heat):
    """Over cycles of the longest index, which moves for the largest share, and its pass.

    What a timed gate or mark.pass_time says of a pass counts as holding; without either no pause at all is counted, the
    hottest case. While it moves the iron loss counts, too. Where the motor's time constant was measured, the warmest
    moment of the cycle counts, else its mean.
    """

    name = "heat-cycle"
    formula = "the same over index and pass: copper and iron loss moving, copper loss holding"
    ways = (
        *Heat.ways,
        Way("state", "mark.pass_time", "it counts as a pause"),
        higher("mark.pass_time"),
        higher("gate.duration"),
        SLOWER,
        GENTLER,
    )
    source = f"{_SOURCE}; iron loss from motor.iron_loss_speed, from memory where not stated"

    def loss(self, case: LimitCase, losses: Losses) -> FloatOrArray:
        index, ratio = case.index, case.load.ratio
        iron = losses.iron(index.longest / index.duration * ratio, index.peak_speed * ratio)
        cycle = losses.moving + iron, index.duration, losses.holding, holding_time(case.job)
        slow = case.machine.warming.time_constant
        return warmest_cycle_loss(*cycle, slow.si) if slow is not None else cycle_loss(*cycle)

    def margins(self, case: LimitCase) -> FloatArray | None:
        """None where the motor's warming is known: then each part has to say which half of its cycle is the hotter."""
        return super().margins(case) if case.machine.warming.time_constant is None else None


def holding_time(job: Job) -> float:
    """Time (s) that the axis is known to stand between two indexes."""
    gate, mark, settle = job.gate, job.mark, job.index.settle
    timed = gate.duration.si if isinstance(gate, TimedGateOptions) else 0.0
    stated = mark.pass_time.si if mark.pass_time is not None else 0.0
    return max(timed, stated) * mark.passes + (settle.si if settle is not None else 0.0)
