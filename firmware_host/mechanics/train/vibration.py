"""The rotor on its magnetic spring: how it rings after a ramp, and for how long.

With lag e (rad at the motor) behind the command, e'' + 2 zeta w e' + w^2 e = -a(t): w the natural angular frequency
(rad/s), zeta the damping ratio (0 <= zeta < 1), a the commanded acceleration (rad/s^2). Linear, so it holds for lags
well below a full step. Lags scale with a: hand in accelerations of the part, and the lags are the part's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


def stiffness(rotor_teeth: int, holding_torque: float) -> float:
    """Slope p T_h (N m/rad at the motor) of T = T_h sin(p e); T_h > 0 N m at the set current, p >= 1 rotor teeth."""
    require_positive("rotor teeth", float(rotor_teeth))
    require_positive("holding torque", holding_torque, "N m")
    return rotor_teeth * holding_torque


def natural_frequency(rotor_teeth: int, holding_torque: float, total_inertia: float) -> float:
    """Natural angular frequency w = sqrt(p T_h/J) (rad/s); `total_inertia` > 0 kg m^2, rotor and reflected load."""
    require_positive("total inertia", total_inertia, "kg m^2")
    return math.sqrt(stiffness(rotor_teeth, holding_torque) / total_inertia)


def measured_stiffness(natural: float, total_inertia: float) -> float:
    """Stiffness J w^2 (N m/rad at the motor) of the spring that swings `total_inertia` J (kg m^2) at `natural` w.

    w > 0 rad/s as measured, J > 0 of rotor and all that turned with it: `natural_frequency` solved for p T_h.
    """
    require_positive("natural angular frequency", natural, "rad/s")
    require_positive("total inertia", total_inertia, "kg m^2")
    return total_inertia * natural**2


def sudden_peak_factor(damping_ratio: float) -> float:
    """Peak over steady lag when an acceleration sets in at once: 1 + exp(-pi zeta/sqrt(1 - zeta^2)).

    Step response of the oscillator: 2 undamped, and so the motor's peak torque is up to 2 J a; falls toward 1.
    """
    _check_damping(damping_ratio)
    return 1.0 + math.exp(-math.pi * damping_ratio / math.sqrt(1.0 - damping_ratio**2))


def settle_time(amplitude: FloatOrArray, tolerance: float, damping_ratio: float, natural: float) -> FloatArray:
    """Time ln(A/tolerance)/(zeta w) (s, >= 0) until a ringing of `amplitude` stays below `tolerance`.

    The envelope A exp(-zeta w t). `amplitude` >= 0 and `tolerance` > 0 in the same unit; `natural` w > 0 rad/s;
    infinite for an undamped oscillator that starts above the tolerance, 0 for one that starts below.
    """
    amplitude = require_not_negative("amplitude", amplitude)
    require_positive("tolerance", tolerance)
    require_positive("natural angular frequency", natural, "rad/s")
    _check_damping(damping_ratio)
    exceeds = amplitude > tolerance
    if damping_ratio == 0:
        return np.where(exceeds, np.inf, 0.0)
    return np.log(np.where(exceeds, amplitude / tolerance, 1.0)) / (damping_ratio * natural)


def index_residual_amplitude(
    acceleration: FloatOrArray,
    ramp_time: FloatOrArray,
    cruise_time: FloatOrArray,
    natural: float,
    damping_ratio: float = 0.0,
) -> FloatArray:
    """Amplitude (rad) of the ringing at the end of an index: ramp up, cruise, ramp down of the same length.

    `acceleration` rad/s^2; `ramp_time`, `cruise_time` >= 0 s; they broadcast.
    """
    ramp = require_not_negative("ramp time", ramp_time, "s")
    cruise = require_not_negative("cruise time", cruise_time, "s")
    step = np.asarray(acceleration, dtype=np.float64)
    ages = [2 * ramp + cruise, ramp + cruise, ramp, np.zeros_like(ramp)]
    return residual_amplitude([step, -step, -step, step], ages, natural, damping_ratio)


def residual_amplitude(
    steps: list[FloatArray], ages: list[FloatArray], natural: float, damping_ratio: float = 0.0
) -> FloatArray:
    """Envelope (rad) at an instant, `ages` s (>= 0) after each of the jumps `steps` (rad/s^2) of the acceleration.

    Each jump leaves the free response (da/w^2) exp(-zeta w t) cos(w_d t - psi)/sqrt(1 - zeta^2) about the new rest;
    their phasors add (linear superposition). The jumps must sum to 0, or the lag doesn't return to 0.
    """
    require_positive("natural angular frequency", natural, "rad/s")
    _check_damping(damping_ratio)
    damped = math.sqrt(1.0 - damping_ratio**2)
    pole = natural * complex(-damping_ratio, damped)
    phasor = sum(step * np.exp(pole * age) for step, age in zip(steps, ages, strict=True))
    amplitude: FloatArray = np.abs(phasor) / (natural**2 * damped)
    return amplitude


def resonant_step_rates(
    natural: FloatOrArray, damping_ratio: float, fractions: tuple[int, ...] = (1, 2, 3)
) -> FloatArray:
    """Bands of full-step rates (steps/s) that excite the natural frequency, shape (len(fractions), 2): lowest, highest.

    Centred on f_n/k for each k of `fractions`, as wide as the half-power band, f_n/k (1 -+ zeta). That the simple
    fractions excite it too is common practice, no source.
    """
    require_positive("natural angular frequency", natural, "rad/s")
    _check_damping(damping_ratio)
    centres = np.asarray(natural)[..., np.newaxis] / (2 * math.pi) / np.asarray(fractions, dtype=np.float64)
    return np.stack([centres * (1 - damping_ratio), centres * (1 + damping_ratio)], axis=-1)


@dataclass(frozen=True, slots=True)
class FrequencyBand:
    """Where the natural angular frequency may lie: from `lowest` to `highest`, rad/s, 0 < lowest <= highest."""

    lowest: float
    highest: float

    def __post_init__(self) -> None:
        require_positive("lowest natural angular frequency", self.lowest, "rad/s")
        require_positive("highest natural angular frequency", self.highest, "rad/s")
        if np.any(self.highest < self.lowest):
            remedy = "The highest must not lie below the lowest"
            raise FormulaRangeError("natural angular frequency", self.highest, "rad/s", self.lowest, remedy)

    @classmethod
    def around(cls, natural: float, uncertainty: float) -> FrequencyBand:
        """`natural` (rad/s, > 0) plus-minus the part `uncertainty` (0 <= uncertainty < 1) of it."""
        return cls(natural * (1 - uncertainty), natural * (1 + uncertainty))


@dataclass(frozen=True, slots=True)
class DampingRange:
    """Where the damping ratio may lie: from `lowest` to `highest`, 0 < lowest <= highest < 1."""

    lowest: float
    highest: float

    def __post_init__(self) -> None:
        _check_damping(self.highest)
        require_positive("lowest damping ratio", self.lowest)
        if self.highest < self.lowest:
            raise FormulaRangeError("damping ratio", self.highest, "", self.lowest, "Give the lower one first")

    @property
    def middle(self) -> float:
        """The geometric mean."""
        return math.sqrt(self.lowest * self.highest)


def worst_phasor(
    first: float, shortest: FloatOrArray, longest: FloatOrArray, band: FrequencyBand, damping_ratio: float = 0.0
) -> FloatArray:
    """The largest |first - exp(pole t)| for t from `shortest` to `longest` (s, >= 0) and any frequency of `band`.

    pole = w (-zeta + i sqrt(1 - zeta^2)). With `first` 1 it is how much a pulse of length t rings, over the ringing of
    one jump: |1 - exp(pole t)|, undamped 2 |sin(w t/2)|. |first - r e^(i phi)|^2 = first^2 - 2 first r cos(phi) + r^2
    falls with cos(phi) and is convex in r, so the largest lies at the least cosine of the phases and at an end of r: an
    upper bound, exact where t and w are known.
    """
    low = require_not_negative("shortest time", shortest, "s")
    high = require_not_negative("longest time", longest, "s")
    _check_damping(damping_ratio)
    damped = math.sqrt(1.0 - damping_ratio**2)
    phase_low, phase_high = band.lowest * damped * low, band.highest * damped * high
    half_turn = (2 * np.ceil((phase_low / math.pi - 1) / 2) + 1) * math.pi
    least = np.where(half_turn <= phase_high, -1.0, np.minimum(np.cos(phase_low), np.cos(phase_high)))
    most = np.exp(-damping_ratio * band.lowest * low)
    fewest = np.exp(-damping_ratio * band.highest * high) if damping_ratio > 0 else most
    square = np.maximum(most * (most - 2 * first * least), fewest * (fewest - 2 * first * least))
    largest: FloatArray = np.sqrt(np.maximum(first**2 + square, 0.0))
    return largest


def _check_damping(damping_ratio: float) -> None:
    if not 0 <= damping_ratio < 1:
        raise FormulaRangeError("damping ratio", damping_ratio, "", 1.0, "It must be at least 0 and less than 1")
