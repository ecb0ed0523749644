"""Pull-out torque of a two-phase hybrid stepping motor: from its datasheet's points, or from its electrical data.

Speeds are motor rad/s (the sign doesn't matter), torques N m, currents A (peak of a sinusoidal phase current), voltages
V, R ohm, L H. A pull-out torque is what the motor can carry at that speed in steady rotation, with no margin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.guard import (
    FloatArray,
    FloatOrArray,
    require_at_most,
    require_not_negative,
    require_positive,
)
from firmware_host.mechanics.motor.phases import PhaseMode

ComplexArray: TypeAlias = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class TorquePoints:
    """A datasheet's pull-out curve: `speeds` (rad/s, >= 0, rising) and `torques` (N m, >= 0).

    Both of shape (n,), n >= 2. Taken at `current` (A per phase) and `voltage` (V), both > 0.
    """

    speeds: FloatArray
    torques: FloatArray
    current: float
    voltage: float

    def __post_init__(self) -> None:
        require_not_negative("speed of a torque point", self.speeds, "rad/s")
        require_not_negative("torque of a torque point", self.torques, "N m")
        require_positive("current of the torque points", self.current, "A")
        require_positive("voltage of the torque points", self.voltage, "V")
        if self.speeds.ndim != 1 or self.speeds.shape != self.torques.shape or self.speeds.size < 2:
            raise FormulaRangeError("torque points", self.speeds.size, "", 2, "Give as many speeds as torques")
        steps = np.diff(self.speeds)
        if (steps <= 0).any():
            wrong = float(self.speeds[1:][steps <= 0][0])
            raise FormulaRangeError("speed of a torque point", wrong, "rad/s", wrong, "The speeds must rise")


def pull_out_from_points(
    speed: FloatOrArray,
    points: TorquePoints,
    *,
    current: float,
    voltage: float,
    rated_current: float,
    mode: PhaseMode = PhaseMode.SINE,
) -> FloatArray:
    """Pull-out torque (N m) at `speed` with the driver at `current` A and `voltage` V (all > 0).

    Piecewise linear between the points and zero past the last: never extrapolated. Below the first point its torque
    holds down to rest (pull-out torque falls with speed, so that errs low). Current scales the torque, and `current`
    above `rated_current` is refused; supply voltage scales the speed axis (both first order; common practice, no
    source). The points count as taken in microsteps or in full steps with both phases full on, which pull the same in
    slow steps; a `mode` of shaped full or half steps has its lower `pull_out_share` of them.
    """
    require_positive("current", current, "A")
    require_positive("rated current", rated_current, "A")
    require_at_most("current", current, rated_current, "A", "Set at most the motor's rated current")
    require_positive("supply voltage", voltage, "V")
    as_measured = np.abs(np.asarray(speed, dtype=np.float64)) * (points.voltage / voltage)
    torque = np.interp(as_measured, points.speeds, points.torques, right=0.0)
    return np.asarray(torque * (current / points.current * mode.pull_out_share))


@dataclass(frozen=True, slots=True)
class Winding:
    """Electrical data of a two-phase hybrid motor, per phase as connected.

    `resistance` R > 0 ohm, `inductance` L >= 0 H, `torque_constant` k_T > 0 N m/A (also the back-EMF amplitude
    in V s/rad), `rotor_teeth` p >= 1 (full steps per revolution over 4).
    """

    resistance: float
    inductance: float
    torque_constant: float
    rotor_teeth: int

    def __post_init__(self) -> None:
        require_positive("phase resistance", self.resistance, "ohm")
        require_not_negative("phase inductance", self.inductance, "H")
        require_positive("torque constant", self.torque_constant, "N m/A")
        require_positive("rotor teeth", float(self.rotor_teeth))


def torque_constant(holding_torque: float, rated_current: float) -> float:
    """k_T = T_hold/(sqrt(2) I) (N m/A), T_hold > 0 N m with both phases at `rated_current` I > 0 A.

    The two phases' sinusoidal torques are a quarter electrical period apart and add as sqrt(2) k_T I.
    """
    require_positive("holding torque", holding_torque, "N m")
    require_positive("rated current", rated_current, "A")
    return holding_torque / (math.sqrt(2.0) * rated_current)


def static_torque(torque_constant_value: float, peak_current: float, mode: PhaseMode = PhaseMode.SINE) -> float:
    """Peak of the static torque (N m) at `peak_current` A (> 0): k_T I, or sqrt(2) k_T I with both phases full on.

    At the rated current the sine gives 1/sqrt(2) of the holding torque, which has both phases at full current.
    """
    require_positive("torque constant", torque_constant_value, "N m/A")
    require_positive("peak current", peak_current, "A")
    return torque_constant_value * peak_current * mode.static_share


def best_phase_current(speed: FloatOrArray, winding: Winding, *, peak_current: float, voltage: float) -> ComplexArray:
    """The phase current (A) that makes the most torque: complex, its real part in phase with the back-EMF.

    Steady rotation: electrical w = p omega, (R + jwL) I + k_T omega = U. The currents allowed are the common part of
    two discs, |I| <= `peak_current` (the driver's limit) and |U| <= `voltage`; torque is k_T Re(I), so the best is the
    rightmost point of their common part: the rightmost of either disc if it lies in the other, else a crossing of the
    circles. NaN where the discs don't meet (the supply can't keep the current down). Formula: phasor form of the
    voltage-limited maximum in P. Acarnley, Stepping Motors, IET, chapter 5 (form from memory).
    """
    require_positive("peak current", peak_current, "A")
    require_positive("supply voltage", voltage, "V")
    omega = np.abs(np.asarray(speed, dtype=np.float64))
    impedance = winding.resistance + 1j * winding.rotor_teeth * omega * winding.inductance
    centre = -winding.torque_constant * omega / impedance
    reach = voltage / np.abs(impedance)
    by_current = np.full(omega.shape, peak_current, dtype=np.complex128)
    by_voltage = centre + reach
    crossing = _rightmost_crossing(centre, reach, peak_current)
    slack = 1.0 + 1e-12
    return np.where(
        np.abs(by_current - centre) <= reach * slack,
        by_current,
        np.where(np.abs(by_voltage) <= peak_current * slack, by_voltage, crossing),
    )


def pull_out_from_winding(
    speed: FloatOrArray,
    winding: Winding,
    *,
    peak_current: float,
    voltage: float,
    mode: PhaseMode = PhaseMode.SINE,
) -> FloatArray:
    """Pull-out torque (N m, >= 0) k_T Re(I) with the best current the driver can set; see `best_phase_current`.

    With voltage alone the limit it is k_T (V/Z - k_T omega R/Z^2), Z = |R + jwL|. Zero where the motor can't drive.
    In full steps V is the fundamental of the square wave (only it makes torque with a sinusoidal back-EMF), and slow
    steps pull what two neighbouring static curves have at their crossing (`PhaseMode.pull_out_share`): that share of
    `peak_current` is the current limit (P. Acarnley, Stepping Motors, IET, chapters 4 and 5, from memory). Iron loss,
    detent torque and bearing friction are not in it.
    """
    reach = require_positive("supply voltage", voltage, "V") * mode.voltage_share
    most = peak_current * mode.pull_out_share
    current = best_phase_current(speed, winding, peak_current=most, voltage=float(reach)).real
    return winding.torque_constant * np.where(np.isnan(current), 0.0, np.maximum(current, 0.0))


def _rightmost_crossing(centre: ComplexArray, reach: FloatArray, radius: float) -> ComplexArray:
    """Of the points common to |I| = radius and |I - centre| = reach, the one with the larger real part; NaN if none."""
    distance = np.abs(centre)
    safe = np.where(distance > 0, distance, 1.0)
    along = (radius**2 - reach**2 + distance**2) / (2 * safe)
    square = radius**2 - along**2
    across = np.sqrt(np.where(square >= 0, square, np.nan))
    unit = centre / safe
    first, second = unit * (along + 1j * across), unit * (along - 1j * across)
    return np.where(distance > 0, np.where(first.real >= second.real, first, second), np.nan)


def static_lag(load_torque: FloatOrArray, holding_torque: float, rotor_teeth: int) -> FloatArray:
    """How far `load_torque` (N m) holds a resting rotor off its commanded place: asin(T/T_h)/p in rad, signed.

    At the motor.     T = T_h sin(p e), the motor's static torque. NaN where |T| > T_h: it doesn't hold at all.
    """
    require_positive("holding torque", holding_torque, "N m")
    require_positive("rotor teeth", float(rotor_teeth))
    ratio = np.asarray(load_torque, dtype=np.float64) / holding_torque
    return np.arcsin(np.where(np.abs(ratio) <= 1, ratio, np.nan)) / rotor_teeth
