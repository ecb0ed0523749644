"""What ringing costs an index: the time to settle to half a microstep, and the peak torque on the way.

A rotor swings on its magnetic spring at a natural frequency and a damping that follow from data with tolerances, so
nothing here trusts them: they may lie anywhere in the load's `natural_band` and `damping`, and of all these the worst
counts. Ramps that last a whole number
of natural periods still pay: with one period the worst residual in that band is a third of what it could be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.train.vibration import FrequencyBand, settle_time, worst_phasor
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.limits.limit import SUDDEN_PEAK
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.load.torsion import RIGID, Torsion

WORST_PEAK = 4.0
"""The most it can be: a ramp reversed half a period after its start swings back from twice its lag, undamped."""


@dataclass(frozen=True, slots=True, eq=False)
class PeakFactors:
    """Peak over steady torque of the inertia, >= 2, broadcast: pushing the load on, and holding it back."""

    accelerating: FloatArray
    braking: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class IndexTimes:
    """Groups of indexes at some motions, s, arrays of shape (..., groups).

    `ramp_*`: one ramp; `until_brake_*`: ramp and cruise; each shortest and longest in the group. `duration`: of the
    group's mean index.
    """

    acceleration: FloatArray
    ramp_short: FloatArray
    ramp_long: FloatArray
    until_brake_short: FloatArray
    until_brake_long: FloatArray
    duration: FloatArray


@dataclass(frozen=True, slots=True)
class IndexTiming:
    """What the indexes take: `move_s` on average, and `settle_s`, the longest settling, waited after each."""

    move_s: float
    settle_s: float

    @property
    def index_s(self) -> float:
        """An average index with its settling, s."""
        return self.move_s + self.settle_s


def index_times(
    shortest: FloatArray, longest: FloatArray, mean: FloatArray, acceleration: FloatOrArray, speed: FloatOrArray
) -> IndexTimes:
    """Times of groups of index lengths (rad, shape (groups,)) at each motion (rad/s^2, rad/s; they broadcast, > 0).

    A triangle in speed if d <= v^2/a, else a trapezoid (see `velocity.plan_index`).
    """
    a, v = (part[..., None] for part in np.broadcast_arrays(np.asarray(acceleration), np.asarray(speed)))
    full_ramp = v / a

    def ramp(length: FloatArray) -> FloatArray:
        return np.asarray(np.minimum(full_ramp, np.sqrt(length / a)))

    def until_brake(length: FloatArray) -> FloatArray:
        return np.asarray(np.maximum(length / v, np.sqrt(length / a)))

    duration = ramp(mean) + until_brake(mean)
    return IndexTimes(a, ramp(shortest), ramp(longest), until_brake(shortest), until_brake(longest), duration)


def half_microstep(load: LoadCase) -> float:
    """Half a microstep in rad of the part: how still it must be before a gate opens."""
    return math.pi / (load.full_steps * load.microsteps * load.ratio)


def residual_amplitude(
    times: IndexTimes, band: FrequencyBand, damping_ratio: float, torsion: Torsion = RIGID
) -> FloatArray:
    """Largest amplitude (rad of the part) of the ringing at the end of an index, shape (..., groups): an upper bound.

    Ramp up, cruise, ramp down of the same length leave (a/w^2)/sqrt(1 - zeta^2) |1 - z(T)| |1 - z(T + c)| with
    z(t) = exp(pole t): the four jumps of `vibration.index_residual_amplitude`, factorised. Each factor is taken at its
    worst over the band. `torsion`: what a train that twists adds to that of its lowest frequency.
    """
    ramp = worst_phasor(1.0, times.ramp_short, times.ramp_long, band, damping_ratio)
    brake = worst_phasor(1.0, times.until_brake_short, times.until_brake_long, band, damping_ratio)
    swing = torsion.swing(times.acceleration * ramp * brake, times.acceleration)
    return swing / (band.lowest**2 * math.sqrt(1.0 - damping_ratio**2))


def settle_times(
    load: LoadCase, moves: IndexMoves, times: IndexTimes, acceleration: FloatOrArray, speed: FloatOrArray
) -> FloatArray:
    """Seconds until the part rings by less than half a microstep, shape (..., groups); 0 where no gate opens.

    `times`: of these moves at this motion. The ringing of a take-up directly before has decayed during the index only.
    """
    band, tolerance = load.natural_band, half_microstep(load)
    leads = None
    if moves.lead_longest.any():
        lead = moves.lead_shortest, moves.lead_longest, moves.lead_longest
        leads = index_times(*lead, acceleration, speed)
    worst = np.zeros(times.duration.shape)
    for damping_ratio in (load.damping.lowest, load.damping.highest):
        amplitude = residual_amplitude(times, band, damping_ratio, load.torsion)
        if leads is not None:
            passed = times.ramp_short + times.until_brake_short
            decay = np.exp(-damping_ratio * band.lowest * passed)
            amplitude = amplitude + decay * residual_amplitude(leads, band, damping_ratio, load.torsion)
        worst = np.maximum(worst, settle_time(amplitude, tolerance, damping_ratio, band.lowest))
    return np.where(moves.gated, worst, 0.0)


def peak_factors(load: LoadCase, times: IndexTimes) -> PeakFactors:
    """How far the ringing lifts the inertia's torque above the steady one, in the worst phase, shape (..., groups).

    The ramp up sets in at once: twice, undamped. When braking sets in, the ramp before may still ring: the lag swings
    about its new rest from |P| = |1 + y (1 - z(T))| steady lags away (y the decay and phase of the cruise), and so
    reaches 1 + |P| exp(-zeta phase): up to 4 undamped, when a triangle is reversed half a period after its start. After
    the stop the residual swings both ways. Least damping; |P| at its worst over the band of natural frequencies.
    """
    band, zeta = load.natural_band, load.damping.lowest
    ring = worst_phasor(1.0, times.ramp_short, times.ramp_long, band, zeta)
    brake = worst_phasor(1.0, times.until_brake_short, times.until_brake_long, band, zeta)
    cruise_short = np.maximum(times.until_brake_short - times.ramp_short, 0.0)
    cruise_long = np.maximum(times.until_brake_long - times.ramp_long, 0.0)
    left = ring * np.exp(-zeta * band.lowest * cruise_short)
    at_once = worst_phasor(2.0, times.ramp_short, times.ramp_long, band, zeta)
    soon = at_once + ring * worst_phasor(1.0, cruise_short, cruise_long, band, zeta)
    swing = np.minimum(1.0 + left, soon)
    phase = math.pi - np.arcsin(np.minimum(left, 1.0))
    reached = 1.0 + swing * np.exp(-zeta * phase / math.sqrt(1.0 - zeta**2))
    pushing, holding = (load.torsion.peak(np.maximum(peak, SUDDEN_PEAK)) for peak in (ring * brake, reached))
    return PeakFactors(pushing, holding)


def largest_peaks(load: LoadCase, moves: IndexMoves, acceleration: float, speed: float) -> tuple[float, float]:
    """The largest peak factors of all moves, accelerating and braking, at one motion (part rad/s^2 and rad/s, > 0)."""
    times = index_times(moves.shortest, moves.longest, moves.mean, acceleration, speed)
    factors = peak_factors(load, times)
    return float(factors.accelerating.max()), float(factors.braking.max())
