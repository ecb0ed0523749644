"""Limits of the steps: how many a second driver and controller make, and how long a pulse they leave."""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import replace
from typing import ClassVar

from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, upper_limit
from firmware_host.planning.limits.limit import TENFOLD, Figures, Limit, MotionBound, SpeedBound
from firmware_host.planning.limits.remedy import GENTLER, SLOWER, lower
from firmware_host.planning.load.case import LoadCase

_WAYS = (SLOWER, GENTLER, lower("driver.microsteps", until=1))


class StepRate(Limit):
    """Step rate at the peak speed against the highest of a device."""

    ways = _WAYS
    device: ClassVar[str]

    def check(self, case: LimitCase) -> LimitCheck:
        return upper_limit(
            self.name,
            *self.figures(case),
            "Hz",
            formula="speed*n*N*M/(2*pi) <= highest step rate",
            source="the data of the driver and of the controller",
            remedy=f"Take a faster {self.device}",
        )

    def figures(self, case: LimitCase) -> Figures:
        return case.load.step_rate(case.index.peak_speed), self.highest(case.load)

    @abstractmethod
    def highest(self, load: LoadCase) -> float:
        """Microsteps per second that the device can make."""

    def bound(self, load: LoadCase, reserve: float) -> MotionBound:
        return SpeedBound(self.highest(load) * (1 - reserve) / load.step_rate(1.0))


class DriverStepRate(StepRate):
    """Of the driver."""

    name = "step-rate-driver"
    device = "driver"
    never_waived = "the driver leaves out steps that come faster than it takes them"

    def highest(self, load: LoadCase) -> float:
        return load.driver_step_rate

    def lifted(self, load: LoadCase) -> LoadCase:
        return replace(load, driver_step_rate=load.driver_step_rate * TENFOLD)


class ControllerStepRate(StepRate):
    """Of the controller."""

    name = "step-rate-controller"
    device = "controller"
    never_waived = "the controller cannot make steps faster than that"

    def highest(self, load: LoadCase) -> float:
        return load.controller_step_rate

    def lifted(self, load: LoadCase) -> LoadCase:
        return replace(load, controller_step_rate=load.controller_step_rate * TENFOLD)


class StepPulse(Limit):
    """The shortest pulse that the driver sees against half the step's period."""

    name = "step-pulse"
    ways = _WAYS

    def check(self, case: LimitCase) -> LimitCheck:
        formula, source = "pulse <= 1/(2*step rate)", "the driver's data; as long low as high (common practice)"
        remedy = "Take a driver that sees shorter pulses"
        return upper_limit(self.name, *self.figures(case), "s", formula=formula, source=source, remedy=remedy)

    def figures(self, case: LimitCase) -> Figures:
        return case.load.smallest_pulse, 1 / (2 * case.load.step_rate(case.index.peak_speed))

    def bound(self, load: LoadCase, reserve: float) -> MotionBound:
        return SpeedBound((1 - reserve) / (2 * load.smallest_pulse) / load.step_rate(1.0))

    def lifted(self, load: LoadCase) -> LoadCase:
        return replace(load, smallest_pulse=load.smallest_pulse / TENFOLD)
