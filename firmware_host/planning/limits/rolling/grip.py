"""Limits of a part on rollers while it speeds up and brakes: it keeps its grip, and both rows keep pressing."""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from firmware_host.mechanics.contact.rollers import (
    friction_needed,
    grip_accelerations,
    grip_by_ramp,
    seat_accelerations,
    seat_by_ramp,
    smallest_normal,
)
from firmware_host.mechanics.contact.trough import Trough, normal_at_standstill
from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.limits.case import AnyLoad, DrawnCase, IndexExtremes, LimitCase
from firmware_host.planning.limits.check import LimitCheck, drawn_margin, upper_limit
from firmware_host.planning.limits.limit import NO_SLIP, SUDDEN_PEAK, TENFOLD, Figures, Limit, MotionBound, share
from firmware_host.planning.limits.remedy import GENTLER, higher, lower, setting
from firmware_host.planning.load.case import LoadCase

_STATICS = "plane equilibrium of the part on its rollers, both directions, up and down the ramp"
_SWINGING = "step responses of the oscillator, the worst of one natural frequency and damping at a time"
_SPEEDS = 33


class RollerLimit(Limit):
    """A limit of the part's equilibrium on its rollers; none where the drive holds it otherwise.

    `swings`: whether it is checked of the part as it swings with the rotor on its magnetic spring, or of the ramps as
    commanded. Only what the part's inertia takes swings: rolling friction and gravity on an imbalance don't change with
    it. While braking rolling friction helps.
    """

    swings: ClassVar[bool] = False
    ways = (
        GENTLER,
        higher("drive.friction", "rollers with more grip"),
        higher("drive.centre_distance", "the rows further apart"),
        setting("drive.driven_rows", 2),
        setting("drive.axial_stop", True),
        lower("part.mass_offset", "balance it"),
    )

    def check(self, case: LimitCase) -> LimitCheck | None:
        found = self.figures(case)
        if found is None:
            return None
        return upper_limit(
            self.name,
            *found,
            "",
            formula=self.formula(case.index),
            source=self.source(case.load),
            remedy="Turn it in a chuck",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        load, index = case.load, case.index
        trough, friction = load.trough, load.friction
        if trough is None or friction is None:
            return None
        up, down = self.accelerations(load, index)
        return self.value_and_limit(load, trough.turning(index.peak_speed), friction, up, down)

    def accelerations(self, load: AnyLoad, index: IndexExtremes) -> tuple[FloatArray, FloatArray]:
        """Of the part (rad/s^2, >= 0): speeding up, and braking."""
        at_part = np.asarray(load.of_part(index.acceleration))
        if not self.swings:
            return at_part, at_part
        return index.peak_pushing * at_part, index.peak_holding * at_part

    def bound(self, load: LoadCase, reserve: float) -> MotionBound | None:
        trough, friction = load.trough, load.friction
        if trough is None or friction is None:
            return None
        # At each speed up to the one at which an imbalance lifts the part.
        lifted = math.sqrt(trough.weight / trough.unbalance) if trough.unbalance else 0.0
        speeds = lifted * np.sqrt(np.linspace(0.0, 1.0, _SPEEDS if lifted else 1))
        turning = trough.turning(speeds)
        if not self.swings:
            return _SteadyRamp(_BySpeed.of(speeds, self.highest(turning, friction, load.imbalance_torque, reserve)))
        up, down = self.highest_by_ramp(turning, friction, load.imbalance_torque, reserve)
        return _Swing(_BySpeed.of(speeds, up), _BySpeed.of(speeds, down))

    def at_motions(self, load: LoadCase, reserve: float) -> MotionBound | None:
        trough, friction = load.trough, load.friction
        if trough is None or friction is None:
            return None

        def used(up: FloatArray, down: FloatArray, speeds: FloatArray) -> FloatArray:
            value, limit = self.value_and_limit(load, trough.turning(speeds), friction, up, down)
            return share(np.asarray(value), np.asarray(limit * (1 - reserve)))

        return _SwingAsChecked(used) if self.swings else _RampAsChecked(used)

    @abstractmethod
    def value_and_limit(
        self, load: LoadCase, trough: Trough, friction: float, up: FloatArray, down: FloatArray
    ) -> Figures:
        """The figure and what it may be, of a part that speeds up at `up` and brakes at `down` (rad/s^2)."""

    @abstractmethod
    def highest(self, trough: Trough, friction: float, imbalance_torque: float, reserve: float) -> FloatArray:
        """Highest part acceleration (rad/s^2, >= 0) with `reserve` of the limit kept.

        The shape is that of the trough's throw.
        """

    @abstractmethod
    def highest_by_ramp(
        self, trough: Trough, friction: float, imbalance_torque: float, reserve: float
    ) -> tuple[FloatArray, FloatArray]:
        """The same while speeding up and while braking."""

    @abstractmethod
    def formula(self, index: IndexExtremes) -> str:
        """The limit as a formula, for a reader."""

    def source(self, load: LoadCase) -> str:
        """Where formula and figures come from."""
        del load
        return f"{_STATICS}; {_SWINGING}" if self.swings else _STATICS


class Grip(RollerLimit):
    """The friction that the driven contacts need, against what they have."""

    name = "grip"
    costs_as = "grip"

    def value_and_limit(
        self, load: LoadCase, trough: Trough, friction: float, up: FloatArray, down: FloatArray
    ) -> Figures:
        return friction_needed(trough, up, load.imbalance_torque, braking=down), friction

    def highest(self, trough: Trough, friction: float, imbalance_torque: float, reserve: float) -> FloatArray:
        return grip_accelerations(trough, friction * (1 - reserve), imbalance_torque)

    def highest_by_ramp(
        self, trough: Trough, friction: float, imbalance_torque: float, reserve: float
    ) -> tuple[FloatArray, FloatArray]:
        return grip_by_ramp(trough, friction * (1 - reserve), imbalance_torque)

    def formula(self, index: IndexExtremes) -> str:
        del index
        return (
            "F/N at the driven rollers <= friction; r*F = J*alpha + idle rollers + rolling friction + m*g*e; "
            "m*e*omega^2 lifts"
        )

    def source(self, load: LoadCase) -> str:
        return f"{super().source(load)}; {load.friction_source}"

    def lifted(self, load: LoadCase) -> LoadCase:
        return replace(load, friction=load.friction * TENFOLD) if load.friction is not None else load


class Seating(RollerLimit):
    """The share of its resting normal force that a row loses."""

    name = "seating"
    costs_as = "seating"

    def value_and_limit(
        self, load: LoadCase, trough: Trough, friction: float, up: FloatArray, down: FloatArray
    ) -> Figures:
        del friction
        least = smallest_normal(trough, up, load.imbalance_torque, braking=down)
        return 1 - least / normal_at_standstill(trough.mass, trough.half_angle, trough.tilt), 1.0

    def highest(self, trough: Trough, friction: float, imbalance_torque: float, reserve: float) -> FloatArray:
        """`reserve` of each row's normal force at standstill is kept."""
        del friction
        return seat_accelerations(trough, _kept(trough, reserve), imbalance_torque)

    def highest_by_ramp(
        self, trough: Trough, friction: float, imbalance_torque: float, reserve: float
    ) -> tuple[FloatArray, FloatArray]:
        del friction
        return seat_by_ramp(trough, _kept(trough, reserve), imbalance_torque)

    def formula(self, index: IndexExtremes) -> str:
        del index
        return "1 - N_min/N_rest <= 1, N_rest = m*g/(2*cos(beta)); above 1 the part climbs out"

    def lifted(self, load: LoadCase) -> LoadCase:
        """Without rollers: a part that cannot climb out cannot slip on them either."""
        return replace(load, trough=None, friction=None)


class GripPeak(Grip):
    """`Grip` of the part as it swings."""

    name = "grip-peak"
    keeps = NO_SLIP
    swings = True

    def formula(self, index: IndexExtremes) -> str:
        return f"F/N <= friction {_swing_words(index)}"

    def drawn(self, case: DrawnCase) -> FloatArray | None:
        trough, friction = case.load.trough, case.load.friction
        if trough is None or friction is None:
            return None
        up, down = self.accelerations(case.load, case.index)
        turning = trough.turning(case.load.of_part(case.index.peak_speed))
        needed = friction_needed(turning, up, case.load.imbalance_torque, braking=down)
        return drawn_margin(needed, np.asarray(friction))


class SeatingPeak(Seating):
    """`Seating` of the part as it swings."""

    name = "seating-peak"
    swings = True

    def formula(self, index: IndexExtremes) -> str:
        return f"1 - N_min/N_rest <= 1 {_swing_words(index)}"


def _kept(trough: Trough, reserve: float) -> float:
    return reserve * normal_at_standstill(trough.mass, trough.half_angle, trough.tilt)


def _swing_words(index: IndexExtremes) -> str:
    swinging = f"with {index.peak_pushing:.3g}*alpha speeding up and {index.peak_holding:.3g}*alpha braking"
    return f"{swinging}, as part and rotor swing on the magnetic spring"


@dataclass(frozen=True, slots=True, eq=False)
class _BySpeed:
    """Highest acceleration of the part (rad/s^2, >= 0) by the square of its speed, both of shape (n,), rising squares.

    Between two of them a straight line: with an idle row what is allowed falls ever quicker with the square, so that
    errs low. Nothing beyond the last, at which an imbalance lifts the part.
    """

    squares: FloatArray
    highest: FloatArray

    @classmethod
    def of(cls, speeds: FloatArray, highest: FloatArray) -> _BySpeed:
        """By rising speeds (rad/s); `highest` of their shape, or one for all."""
        return cls(np.square(speeds), np.broadcast_to(highest, speeds.shape))

    def at(self, speeds: FloatArray) -> FloatArray:
        """At each of `speeds` (rad/s)."""
        if self.squares.size == 1:
            return np.full(speeds.shape, self.highest[0])
        return np.interp(np.square(speeds), self.squares, self.highest, right=0.0)


@dataclass(frozen=True, slots=True)
class _RampAsChecked(MotionBound):
    """What the check says of ramps as commanded: `used`, of the two accelerations and the speed, 1 at the limit."""

    used: Callable[[FloatArray, FloatArray, FloatArray], FloatArray]

    def steady_share(self, acceleration: FloatArray, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        return self.used(acceleration, acceleration, speeds)


@dataclass(frozen=True, slots=True)
class _SwingAsChecked(MotionBound):
    """The same of the part as it swings."""

    used: Callable[[FloatArray, FloatArray, FloatArray], FloatArray]

    def peak_share(self, up: FloatArray, down: FloatArray, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        return self.used(up, down, speeds)


@dataclass(frozen=True, slots=True)
class _SteadyRamp(MotionBound):
    """A highest acceleration of the ramps as commanded."""

    highest: _BySpeed

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        return self.highest.at(speeds)


@dataclass(frozen=True, slots=True)
class _Swing(MotionBound):
    """Highest accelerations of the part as it swings, while it speeds up and while it brakes."""

    up: _BySpeed
    down: _BySpeed

    def sudden(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        return np.minimum(self.up.at(speeds), self.down.at(speeds)) / SUDDEN_PEAK

    def peak_share(self, up: FloatArray, down: FloatArray, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        return np.maximum(share(up, self.up.at(speeds)), share(down, self.down.at(speeds)))

    def swung(self, speeds: FloatArray, pull_out: FloatArray) -> tuple[FloatArray, FloatArray]:
        del pull_out
        return self.up.at(speeds), self.down.at(speeds)
