"""Limits of the motor's torque: speeding up, braking, the peak of both, and holding at a standstill."""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.motor.torque import TorquePoints
from firmware_host.planning.limits.case import AnyLoad, DrawnCase, IndexExtremes, LimitCase
from firmware_host.planning.limits.check import LimitCheck, drawn_margin, upper_limit
from firmware_host.planning.limits.limit import NO_STEP_LOST, SUDDEN_PEAK, TENFOLD, Figures, Limit, MotionBound, share
from firmware_host.planning.limits.remedy import GEAR_DOWN, GENTLER, SLOWER, higher, lower
from firmware_host.planning.load.case import LoadCase

_NEWTON = "Newton's law through the gearing; safety factor 1.5 to 2 in handbooks"
_SAMPLES = 2049
_HALVINGS = 60
_SWEEP = np.concatenate([np.zeros(1), np.geomspace(1e-4, 1e2, 121)])


class TorqueLimit(Limit):
    """A torque that the motor gives on the way, against the least pull-out torque up to the peak speed."""

    costs_as = "torque"
    source: ClassVar[str] = _NEWTON
    ways = (GENTLER, SLOWER, higher("driver.current", until="motor.rated_current"), GEAR_DOWN)

    def check(self, case: LimitCase) -> LimitCheck:
        return upper_limit(
            self.name,
            *self.figures(case),
            "N*m",
            formula=self.formula(case.load, case.index),
            source=self.source,
            remedy="Take a stronger motor",
        )

    def figures(self, case: LimitCase) -> Figures:
        return self.needed(case.load, case.index), case.least_pull_out / self.factor(case.load)

    @abstractmethod
    def needed(self, load: LoadCase, index: IndexExtremes) -> FloatOrArray:
        """Torque at the motor, N m."""

    @abstractmethod
    def formula(self, load: LoadCase, index: IndexExtremes) -> str:
        """The limit as a formula, for a reader."""

    def factor(self, load: LoadCase) -> float:
        """Safety factor that the pull-out torque is divided by."""
        return load.safety_factor

    def lifted(self, load: LoadCase) -> LoadCase:
        """Ten times the pull-out torque at every speed; rotor and natural frequency stay."""
        if load.curve is not None:
            return replace(load, curve=replace(load.curve, torques=load.curve.torques * TENFOLD))
        fastest = 2 * load.supply_voltage / load.winding.torque_constant
        speeds = np.linspace(0.0, fastest, _SAMPLES)
        torques = load.pull_out(speeds / load.ratio) * TENFOLD
        return replace(load, curve=TorquePoints(speeds, torques, load.current, load.supply_voltage))


def _least(load: LoadCase) -> str:
    return f"least pull-out torque up to the peak speed / {load.safety_factor:g}"


class TorqueAccelerating(TorqueLimit):
    """Speeding up, with the safety factor."""

    name = "torque-accelerating"

    def needed(self, load: LoadCase, index: IndexExtremes) -> FloatArray:
        return load.torque(index.acceleration).accelerating

    def formula(self, load: LoadCase, index: IndexExtremes) -> str:
        del index
        return f"J_m*alpha_m + (J*alpha + T_friction + m*g*e)/(n*eta) <= {_least(load)}"

    def bound(self, load: LoadCase, reserve: float) -> MotionBound:
        return _SteadyTorque(load, 1 - reserve, *load.torque_line)


class TorqueBraking(TorqueLimit):
    """Braking, with the safety factor. It never needs more than speeding up, so that binds the motion."""

    name = "torque-braking"

    def needed(self, load: LoadCase, index: IndexExtremes) -> FloatArray:
        return load.torque(index.acceleration).braking

    def formula(self, load: LoadCase, index: IndexExtremes) -> str:
        del index
        return f"J_m*alpha_m + (J*alpha - T_friction + m*g*e)*eta/n <= {_least(load)}"


class TorquePeak(TorqueLimit):
    """The peak while part and rotor swing on the magnetic spring: no safety factor on top of it."""

    name = "torque-peak"
    keeps = NO_STEP_LOST
    source = "step responses of the oscillator, the worst of one natural frequency and one damping at a time"

    def needed(self, load: AnyLoad, index: IndexExtremes) -> FloatArray:
        return load.peak_torque(index.peak_pushing * index.acceleration, index.peak_holding * index.acceleration)

    def formula(self, load: LoadCase, index: IndexExtremes) -> str:
        del load
        return (
            f"the same with {index.peak_pushing:.3g}*alpha speeding up and {index.peak_holding:.3g}*alpha braking, "
            "as the rotor swings on its magnetic spring <= least pull-out torque up to the peak speed"
        )

    def factor(self, load: LoadCase) -> float:
        del load
        return 1.0

    def bound(self, load: LoadCase, reserve: float) -> MotionBound:
        return _PeakTorque(load, 1 - reserve, *load.torque_line)

    def drawn(self, case: DrawnCase) -> FloatArray:
        limit = np.asarray(case.load.lowest_pull_out(case.index.peak_speed))
        return drawn_margin(self.needed(case.load, case.index), limit)


class HoldingTorque(Limit):
    """Torque of the imbalance at a standstill against what the motor holds with at its standstill current."""

    name = "holding-torque"
    keeps = NO_STEP_LOST
    ways = (
        lower("part.mass_offset"),
        higher("driver.standstill_current", until=1.0),
        higher("driver.current", until="motor.rated_current"),
        GEAR_DOWN,
    )

    def check(self, case: LimitCase) -> LimitCheck:
        load = case.load
        return upper_limit(
            self.name,
            *self.figures(case),
            "N*m",
            formula=f"m*g*e/n <= k_T*I_standstill / {load.safety_factor:g}, k_T = T_hold/(sqrt(2)*I_rated)",
            source="statics at the worst angle; no help from friction or a self-locking stage is counted",
            remedy="Balance the part",
        )

    def figures(self, case: LimitCase) -> Figures:
        return case.load.imbalance_at_motor, case.load.standstill_torque / case.load.safety_factor

    def drawn(self, case: DrawnCase) -> FloatArray:
        load = case.load
        return drawn_margin(np.asarray(load.imbalance_at_motor), np.asarray(load.standstill_torque))


@dataclass(frozen=True, slots=True, eq=False)
class _SteadyTorque(MotionBound):
    """The torque needed rises linearly with the acceleration; it is largest while speeding up.

    `left`: share of the pull-out torque that may be used. `still` N m without acceleration, `slope` N m per rad/s^2.
    """

    load: LoadCase
    left: float
    still: float
    slope: float

    def _allowed(self, pull_out: FloatArray) -> FloatArray:
        return pull_out * self.left / self.load.safety_factor

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del speeds
        return (self._allowed(pull_out) - self.still) / self.slope

    def braking(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        allowed, up = self._allowed(pull_out), self.steady(speeds, pull_out)
        low, high = np.zeros_like(up), np.maximum(2 * up, 0.0) + 1.0
        while (growing := self.load.torque(high).braking <= allowed).any():
            high = np.where(growing, 2 * high, high)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            fits = self.load.torque(middle).braking <= allowed
            low, high = np.where(fits, middle, low), np.where(fits, high, middle)
        return np.maximum(low, up)

    def steady_share(self, acceleration: FloatArray, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del speeds
        needed = self.load.safety_factor * self.load.torque(acceleration).accelerating
        return share(needed, pull_out * self.left)


@dataclass(frozen=True, slots=True, eq=False)
class _PeakTorque(MotionBound):
    """`_SteadyTorque` without the safety factor, of the part as it swings."""

    load: LoadCase
    left: float
    still: float
    slope: float

    def sudden(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del speeds
        return (pull_out * self.left - self.still) / self.slope / SUDDEN_PEAK

    def peak_share(self, up: FloatArray, down: FloatArray, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del speeds
        return share(self.load.peak_torque(up, down), pull_out * self.left)

    def swung(self, speeds: FloatArray, pull_out: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The torque rises with the acceleration of either ramp: its curve while braking is read backwards."""
        del speeds
        allowed = pull_out * self.left
        up = (allowed - self.still) / self.slope
        down = _SWEEP * max(float(up.max()), 1e-9)
        braking = np.maximum.accumulate(self.load.torque(down).braking)
        return up, np.interp(allowed, braking, down)
